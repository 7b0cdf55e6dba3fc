"""Runs: what holds for every bed and every pattern. Feet."""

from __future__ import annotations

import functools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box

from layout.coverage import cover
from layout.model import Feature, Laying, Pattern
from layout.runs import lay_runs
from layout.runs.fronts import fronts
from layout.runs.guides import extended, rolled, rounded, swung_wide
from tests import beds
from tests.laid import PATTERNS, Array, Field, field, lines, mirrored, moved, obstacle
from tests.laws import Laid, three_point_radius, unlisted

EVERY = {**beds.EXACT, **beds.HARD}

NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
"""A random bed has no simpler neighbour: the first one found is as good as any."""


@functools.cache
def bed(name: str) -> Field:
    return field(EVERY[name]())


@functools.cache
def laid(name: str, pattern: Pattern) -> Laying:
    return bed(name).lay(pattern)


def figures(laying: Laying) -> list[float]:
    return sorted(run.length for run in laying.runs)


def bare(site: Field, laying: Laying) -> list[str]:
    """Ground that rows a spacing apart would have covered, without a run and without a listed piece."""
    return unlisted(
        Laid(
            outline=site.bed.outline,
            lines=[*lines(laying), *(join.line for join in laying.carries)],
            clearance=site.bed.clearance,
            spacing=site.rules.spacing,
            gap=site.rules.spacing,
            bend_radius=site.tubing.bend_radius,
            dropped=[piece.line for piece in laying.dropped],
            zones=[(feature.shape, feature.setback) for feature in site.features],
        ),
        1.5 * site.rules.spacing,
        speck=0.2 * site.rules.spacing,
    )


# --- the laws, on every bed ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "pattern"),
    [
        *((name, pattern) for name in beds.HARD for pattern in PATTERNS),
        *((name, Pattern.CENTRE) for name in beds.EXACT),
        *((name, Pattern.EVEN) for name in ("racetrack", "wedge", "ell")),
    ],
)
def test_laws_hold_on_known_beds(name: str, pattern: Pattern) -> None:
    laying = laid(name, pattern)
    assert laying.runs
    assert bed(name).broken(laying) == []


RULES = st.fixed_dictionaries(
    {
        "spacing": st.sampled_from([1.5, 2.0, 2.0, 3.0]),
        "clearance": st.sampled_from([0.0, 0.5, 1.0, 1.0, 2.0]),
        "bend_radius": st.sampled_from([0.0, 1.0, 2.0, 2.0, 3.5]),
        "shortest": st.sampled_from([0.0, 3.0, 10.0, 10.0]),
        "far": st.booleans(),
    }
)


Rules = dict[str, float]


def random_site(kind: str, seed: int, rules: Rules, *, features: tuple[Feature, ...] = ()) -> Field:
    """A random bed; its least gap is at times less than its spacing."""
    outline = beds.RANDOM[kind](seed)
    closest = float(rules["spacing"]) * (0.7 if seed % 3 == 0 else 1.0)
    start = (float(outline[0][0]), float(outline[0][1]))
    return field(outline, toward=start, features=features, closest=closest, **rules)  # type: ignore[arg-type]


def roomy(kind: str, seed: int, rules: Rules) -> None:
    """Only beds with more room than their clearance takes, and not too large for a quick test."""
    outline = Polygon(beds.RANDOM[kind](seed))
    assume(outline.area < 1800 * float(rules["spacing"]))
    assume(not outline.buffer(-float(rules["clearance"]) - 0.5).is_empty)


@pytest.mark.parametrize("kind", beds.RANDOM)
@settings(max_examples=12, deadline=None, phases=NO_SHRINKING)
@given(seed=st.integers(0, 10**6), rules=RULES, pattern=st.sampled_from(PATTERNS))
def test_laws_hold_on_random_beds(kind: str, seed: int, rules: Rules, pattern: Pattern) -> None:
    roomy(kind, seed, rules)
    site = random_site(kind, seed, rules)
    assert site.broken(site.lay(pattern)) == []


@pytest.mark.parametrize("kind", beds.RANDOM)
@settings(max_examples=3, deadline=None, phases=NO_SHRINKING)
@given(
    seed=st.integers(0, 10**6),
    rules=RULES,
    pattern=st.sampled_from(PATTERNS),
    places=st.lists(
        st.tuples(st.floats(0, 1), st.floats(0.1, 0.9), st.sampled_from("pla"), st.floats(0.2, 3.0)),
        min_size=1,
        max_size=3,
    ),
)
def test_laws_hold_round_obstacles(
    kind: str, seed: int, rules: Rules, pattern: Pattern, places: list[tuple[float, float, str, float]]
) -> None:
    """Points, lines and areas in the bed, each with a setback: no tubing within it."""
    roomy(kind, seed, rules)
    outline = Polygon(beds.RANDOM[kind](seed))
    features = tuple(standing_in(outline, *place) for place in places)
    kept = shapely.union_all([feature.shape.buffer(feature.setback + 0.5) for feature in features])
    assume(not outline.buffer(-float(rules["clearance"]) - 0.5).difference(kept).is_empty)
    site = random_site(kind, seed, rules, features=features)
    assert site.broken(site.lay(pattern)) == []


def standing_in(outline: Polygon, along: float, inward: float, kind: str, setback: float) -> Feature:
    """A point, a line or an area between a place on the outline and its middle."""
    edge, middle = outline.exterior.interpolate(along, normalized=True), outline.centroid
    x, y = edge.x + inward * (middle.x - edge.x), edge.y + inward * (middle.y - edge.y)
    shapes = {"p": Point(x, y), "l": LineString([(x, y), (x + 6, y + 2)]), "a": box(x, y, x + 3, y + 4)}
    return obstacle(shapes[kind], setback)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_rectangle_with_round_and_square_holes(pattern: Pattern) -> None:
    holes = [obstacle(Point(30, 8), 2.0), obstacle(Point(70, 5), 1.5), obstacle(box(48, 9, 52, 11), 1.0)]
    site = field(beds.rect(100, 16), features=holes)
    laying = site.lay(pattern)
    assert site.broken(laying) == []
    assert sum(run.length for run in laying.runs) > 0.8 * site.ground.area.area / 2


@pytest.mark.parametrize("pattern", [Pattern.LEFT, Pattern.RIGHT, Pattern.CENTRE])
@pytest.mark.parametrize("name", [*beds.EXACT, "gentle", "serpentine", "gnss", "kidney", "trapezium"])
def test_ground_without_tubing_has_its_piece_listed(name: str, pattern: Pattern) -> None:
    assert bare(bed(name), laid(name, pattern)) == []


@pytest.mark.parametrize("kind", ["wobbly", "convex", "crooked"])
@settings(max_examples=4, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_ground_without_tubing_has_its_piece_listed_on_random_beds(kind: str, seed: int) -> None:
    site = field(beds.RANDOM[kind](seed))
    assume(site.sides.certain)
    for pattern in (Pattern.LEFT, Pattern.RIGHT):
        assert bare(site, site.lay(pattern)) == [], pattern


def test_rows_beyond_the_farthest_corner_are_laid() -> None:
    """A triangle whose one side is two edges: every corner lies on the line that the rows follow."""
    site = field(np.array([[0, 0], [50, 25], [100, 0]], float), toward=(0.0, 0.0), shortest=3.0)
    for pattern in (Pattern.LEFT, Pattern.RIGHT):
        laying = site.lay(pattern)
        assert sum(run.length for run in laying.runs) > 0.8 * site.ground.area.area / 2, pattern


def test_row_along_the_far_edge_is_whole() -> None:
    """Both legs of the innermost row of an L lie on the clearance line, each 46 ft from its end to the corner."""
    site = field(beds.ell(), shortest=5.0)
    laying = site.lay(Pattern.CENTRE)
    inner = max(run.row for run in laying.runs)
    assert sorted(run.length for run in laying.runs if run.row == inner) == pytest.approx([46, 46], abs=0.5)
    assert site.broken(laying) == []


# --- order, names, feeding -----------------------------------------------------------------------------


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("name", ["rect", "annular", "s_arcs", "wedge", "meander", "horseshoe"])
def test_runs_are_named_from_the_left_and_start_at_the_manifold_end(name: str, pattern: Pattern) -> None:
    site, laying = bed(name), laid(name, pattern)
    assert [run.name for run in laying.runs] == [f"R{number + 1}" for number in range(len(laying.runs))]
    assert [run.row for run in laying.runs] == sorted(run.row for run in laying.runs)
    starts = [Point(run.line.coords[0]) for run in laying.runs]
    from_left = [site.sides.near.project(start) for start in starts]
    assert from_left == sorted(from_left)
    assert all(start.distance(site.sides.near) == pytest.approx(1.0, abs=0.05) for start in starts)
    assert all(run.from_end for run in laying.runs)


def test_run_that_begins_beyond_the_manifold_end_is_not_fed() -> None:
    """The wedge turned round: rows beside its narrow end start half way."""
    site = field(beds.wedge(), toward=(110.0, 4.0))
    laying = site.lay("left")
    late = [run for run in laying.runs if Point(run.line.coords[0]).distance(site.sides.near) > 1.1]
    assert late
    assert all(not run.from_end for run in late)
    assert all(run.from_end for run in laying.runs if run not in late)


def test_cap_on_runs_keeps_those_nearest_the_side_and_lists_the_rest() -> None:
    for pattern, kept in ((Pattern.LEFT, [11, 9, 7]), (Pattern.RIGHT, [5, 3, 1])):
        laying = field(beds.rect(), most=3).lay(pattern)
        assert [round(run.line.coords[0][1], 6) for run in laying.runs] == kept
        assert len(laying.dropped) == 3
        assert {piece.why for piece in laying.dropped} == {"over runs.most"}


def test_cap_on_runs_spreads_the_even_pattern() -> None:
    laying = field(beds.rect(), most=3, closest=2.0, widest=6.0).lay("even")
    assert len(laying.runs) == 3


def test_piece_exactly_the_shortest_is_laid() -> None:
    """Rows of 18 in a rectangle of 20: laid at 18, left out and listed above it."""
    outline = beds.rect(60, 20)
    across = np.column_stack((outline[:, 1], outline[:, 0]))
    for turn in (0.0, 37.0, 90.0, 211.0):
        assert len(field(moved(across, turn=turn), shortest=58.0).lay("left").runs) == 10
    none = field(outline, shortest=58.001).lay("left")
    assert none.runs == ()
    assert len(none.dropped) == 10
    assert {piece.why for piece in none.dropped} == {"shorter than runs.shortest"}


@pytest.mark.parametrize("pattern", [Pattern.DRAWN, Pattern.CONTOUR])
def test_pattern_that_follows_a_line_needs_one(pattern: Pattern) -> None:
    site = bed("rect")
    with pytest.raises(ValueError, match="line to follow"):
        lay_runs(site.bed, site.ground, site.sides, site.rules, site.tubing, pattern=pattern)


@pytest.mark.parametrize("line", [[(-5, 6), (105, 6)], [(10, 6), (90, 6)], [(0, 2), (50, 9), (100, 4)]])
def test_drawn_pattern_follows_the_line(line: list[tuple[float, float]]) -> None:
    site = field(beds.rect(), shortest=3.0)
    guide = LineString(line)
    laying = lay_runs(
        site.bed, site.ground, site.sides, site.rules, site.tubing, pattern=Pattern.DRAWN, guide=guide
    )
    assert site.broken(laying) == []
    assert sum(run.length for run in laying.runs) > 0.75 * site.ground.area.area / 2
    step = np.diff(np.asarray(line), axis=0)
    allowed = {round(math.degrees(math.atan2(dy, dx)) % 180, 3) for dx, dy in step}
    for run in laying.runs:
        points = shapely.get_coordinates(run.line)
        legs = np.diff(points, axis=0)
        long = np.hypot(*legs.T) > 3
        heading = np.degrees(np.arctan2(legs[long, 1], legs[long, 0])) % 180
        assert all(min(abs(h - a) for a in allowed) < 0.1 for h in heading)


@pytest.mark.parametrize("name", ["wedge", "gentle"])
def test_even_rows_keep_their_gaps_between_closest_and_widest(name: str) -> None:
    site = field(EVERY[name](), closest=1.4, widest=3.0)
    laying = site.lay(Pattern.EVEN)
    assert site.broken(laying) == []
    found = cover(site.ground.area, site.bed.outline, laying.runs, spacing=2.0, radius=2.0)
    assert found.gap_least is not None
    assert found.gap_greatest is not None
    assert found.gap_least >= 0.98 * 1.4
    assert found.gap_greatest <= 1.02 * 3.0
    assert found.covered > 0.98


def test_even_rows_of_a_wedge_do_not_crowd_for_a_row_that_finds_no_room() -> None:
    """Its wide end, of 13.9 ft, asks for seven gaps of less than 2: there are seven, and eight rows begin there."""
    site = field(beds.wedge(), closest=1.4, shortest=5.0)
    laying = site.lay(Pattern.EVEN)
    begin = sorted(run.line.coords[0][1] for run in laying.runs if run.line.coords[0][0] < 2)
    assert np.diff(begin) == pytest.approx([13.92 / 7] * 7, abs=0.02)
    found = cover(site.ground.area, site.bed.outline, laying.runs, spacing=2.0, radius=2.0)
    assert found.dry < 1.25
    assert site.broken(laying) == []


@pytest.mark.parametrize("name", ["wedge", "gentle", "gnss", "kidney", "serpentine", "racetrack"])
def test_even_rows_that_may_come_nearer_leave_no_place_dry(name: str) -> None:
    """None farther from tubing than 1.25 × half a spacing, where rows a spacing apart leave up to 1.9 ft."""
    site = field(EVERY[name](), closest=1.4, shortest=5.0)
    laying = site.lay(Pattern.EVEN)
    found = cover(site.ground.area, site.bed.outline, laying.runs, spacing=2.0, radius=2.0)
    assert found.dry <= 1.25
    assert site.broken(laying) == []


@pytest.mark.parametrize("first", [1.5, 2.0])
def test_first_even_rows_lie_as_far_from_both_sides_as_asked(first: float) -> None:
    site = field(beds.rect(100, 14), closest=1.4)
    rules = replace(site.rules, first=first)
    laying = lay_runs(site.bed, site.ground, site.sides, rules, site.tubing, pattern=Pattern.EVEN)
    heights = sorted(run.line.coords[0][1] for run in laying.runs)
    assert (heights[0], heights[-1]) == pytest.approx((first, 14 - first))
    assert np.ptp(np.diff(heights)) < 1e-6


# --- what moves with the bed ---------------------------------------------------------------------------


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("name", ["annular", "gentle", "dumbbell"])
def test_turned_and_moved_bed_has_the_same_runs(name: str, pattern: Pattern) -> None:
    there = field(moved(EVERY[name](), turn=37.0, by=(1234.5, -678.9)))
    assert figures(there.lay(pattern)) == pytest.approx(figures(laid(name, pattern)), rel=1e-6)


@pytest.mark.parametrize("pattern", [Pattern.LEFT, Pattern.RIGHT, Pattern.CENTRE])
@pytest.mark.parametrize("name", ["annular", "gentle"])
def test_bed_far_from_the_origin_has_the_same_runs(name: str, pattern: Pattern) -> None:
    """Moved by state-plane coordinates, 2,000,000 east and 7,000,000 north."""
    there = field(moved(EVERY[name](), by=(2e6, 7e6)))
    assert figures(there.lay(pattern)) == pytest.approx(figures(laid(name, pattern)), rel=1e-6)


@pytest.mark.parametrize(
    ("pattern", "seen"),
    [(Pattern.LEFT, Pattern.RIGHT), (Pattern.RIGHT, Pattern.LEFT), (Pattern.CENTRE, Pattern.CENTRE)],
)
@pytest.mark.parametrize("name", ["wedge", "serpentine"])
def test_mirrored_bed_has_left_and_right_exchanged(name: str, pattern: Pattern, seen: Pattern) -> None:
    """To an eighth of an inch where bends are eased: they are taken one after the other along the line."""
    within = 0.01 if name == "serpentine" or pattern is Pattern.CENTRE else 1e-5
    there = field(mirrored(EVERY[name]()))
    assert figures(there.lay(seen)) == pytest.approx(figures(laid(name, pattern)), rel=1e-7, abs=within)


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("name", ["wedge"])
def test_outline_wound_the_other_way_has_the_same_runs(name: str, pattern: Pattern) -> None:
    assert figures(field(EVERY[name]()[::-1]).lay(pattern)) == pytest.approx(
        figures(laid(name, pattern)), rel=1e-6
    )


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize(("name", "scale"), [("annular", 1.001), ("wedge", 0.3048)])
def test_scaled_bed_with_scaled_rules_has_scaled_runs(name: str, pattern: Pattern, scale: float) -> None:
    """To 1e-4 only: chords are drawn to a height that does not scale."""
    rules = {"spacing": 2 * scale, "clearance": scale, "bend_radius": 2 * scale, "shortest": 10 * scale}
    found = figures(field(EVERY[name]() * scale, **rules).lay(pattern))  # type: ignore[arg-type]
    assert found == pytest.approx([scale * length for length in figures(laid(name, pattern))], rel=1e-4)
    assert found != pytest.approx(figures(laid(name, pattern)), rel=1e-4)


# --- less ground, less tubing --------------------------------------------------------------------------


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10**6), more=st.floats(0.05, 2.0))
def test_more_clearance_never_gives_more_tubing(seed: int, more: float) -> None:
    """On a convex bed: a row moved inward by d gains at most 2 d tan a at ends that lean out by a, and its
    clearance there takes 2 d / cos a."""
    outline = beds.convex(seed)
    assume(not Polygon(outline).buffer(-1 - more).is_empty)
    toward = (float(outline[0][0]), float(outline[0][1]))
    for pattern in (Pattern.LEFT, Pattern.RIGHT):
        little, much = (
            sum(field(outline, clearance=clearance, shortest=3.0, toward=toward).lengths(pattern))
            for clearance in (1.0, 1.0 + more)
        )
        assert much <= little * (1 + 1e-3), pattern


@settings(max_examples=10, deadline=None)
@given(
    x=st.floats(-5, 105), y=st.floats(-4, 20), setback=st.floats(0.1, 6), pattern=st.sampled_from(PATTERNS)
)
def test_setback_added_leaves_no_tubing_in_it(x: float, y: float, setback: float, pattern: Pattern) -> None:
    tree = obstacle(Point(x, y), setback)
    site = field(beds.rect(100, 16), features=[tree])
    laying = site.lay(pattern)
    assert laying.runs
    for run in laying.runs:
        assert run.line.distance(tree.shape) >= setback - 1e-9
    for join in laying.carries:
        assert join.line.distance(tree.shape) >= setback - 1e-9
    without = sum(field(beds.rect(100, 16)).lengths(pattern))
    assert sum(run.length for run in laying.runs) <= without + 1e-6


# --- guides --------------------------------------------------------------------------------------------


def test_no_distances_make_no_fronts() -> None:
    """As where a spacing is wider than the bed."""
    lines, passed = fronts(
        LineString([(0, 0), (9, 0)]), np.empty(0), radius=0.6, bed=box(0, 0, 9, 3), beside=0.1
    )
    assert len(lines) == len(passed) == 0


def test_guide_is_extended_straight_on() -> None:
    line = LineString([(10, 0), (20, 0), (30, 10)])
    longer = extended(line, box(0, -20, 40, 20), by=5.0)
    assert longer.coords[0] == pytest.approx((5.0, 0.0))
    assert longer.coords[-1] == pytest.approx((30 + 5 / math.sqrt(2), 10 + 5 / math.sqrt(2)))
    assert longer.length == pytest.approx(line.length + 10)


def test_extension_stops_half_way_to_where_it_would_enter_the_bed_again() -> None:
    """A U of two arms: the end of one side looks across the gap of ten at the other arm."""
    bed = Polygon([(0, 0), (30, 0), (30, 30), (20, 30), (20, 10), (10, 10), (10, 30), (0, 30)])
    longer = extended(LineString([(5, 20), (10, 20)]), bed, by=40.0)
    assert longer.coords[-1] == pytest.approx((15.0, 20.0))


@pytest.mark.parametrize("rise", [-1e-9, 0.0, 1e-9])
def test_side_that_ends_amid_a_straight_edge_is_extended_all_the_way(rise: float) -> None:
    """The edge it runs on along is no ground it enters again, on whichever side of it rounding has it."""
    bed = Polygon([(0, 0), (30, 0), (30, -9), (-2, -9), (-3, 0)])
    longer = extended(LineString([(10, 0), (2, rise)]), bed, by=40.0)
    assert longer.coords[-1] == pytest.approx((-38.0, 0.0), abs=1e-6)


def corner(turn: float) -> LineString:
    t = math.radians(turn)
    return LineString([(-30, 0), (0, 0), (30 * math.cos(t), 30 * math.sin(t))])


@pytest.mark.parametrize("turn", [-120.0, -90.0, -30.0])
@pytest.mark.parametrize("radius", [1.0, 2.5])
def test_swung_wide_bends_no_tighter_and_moves_to_one_side_only(turn: float, radius: float) -> None:
    """A corner turning right, its runs on the left: the line passes through the tip, and bends about a centre
    behind.

    Its arcs are drawn in chords of up to 4 degrees, 0.0007 r high.
    """
    line = corner(turn)
    wide = swung_wide(line, side=1.0, radius=radius, slack=1e-4)
    points = shapely.get_coordinates(wide)
    behind = Polygon([*line.coords, (30, -40), (-30, -40)])
    assert not shapely.contains_xy(behind.buffer(-1e-6), *points.T).any(), "never to the other side"
    assert wide.distance(Point(0, 0)) < 0.0007 * radius
    assert three_point_radius(LineString(points[3:-3]), radius / 4)[0] > 0.95 * radius


def test_bend_the_other_way_is_not_swung() -> None:
    assert swung_wide(corner(60.0), side=1.0, radius=2.0, slack=1e-4).equals(corner(60.0))
    assert swung_wide(corner(-60.0), side=1.0, radius=0.0, slack=1e-4).equals(corner(-60.0))


@pytest.mark.parametrize("turn", [30.0, 90.0, -120.0])
def test_rounded_line_bends_at_the_radius(turn: float) -> None:
    """Cutting a corner of t short by an arc of r takes 2 r tan (t / 2) - r t."""
    line = corner(turn)
    smooth = rounded(line, radius=3.0)
    t = math.radians(abs(turn))
    assert line.length - smooth.length == pytest.approx(2 * 3 * math.tan(t / 2) - 3 * t, abs=0.01)
    assert three_point_radius(smooth, 0.75)[0] == pytest.approx(3.0, rel=0.03)
    assert smooth.coords[0] == pytest.approx(line.coords[0])
    assert rounded(line, radius=0.0).equals(line)


def as_rows(laying: Laying) -> list[Array]:
    return [shapely.get_coordinates(run.line) for run in laying.runs]


@pytest.mark.parametrize("side", [1, -1])
def test_bends_far_apart_are_rolled_as_they_are_by_themselves(side: int) -> None:
    """Three kinks on a long line: between their eased bends it is left as it is, and they bend at the radius."""
    turns = np.radians(side * np.array([0, 25, 60, 20]))
    walk = np.cumsum(np.column_stack((np.cos(turns), np.sin(turns))) * 40.0, axis=0)
    line = LineString(np.vstack(([0.0, 0.0], walk)))
    (smooth,) = rolled(line, radius=2.0)
    assert smooth.distance(line) == 0
    assert len(smooth.coords) > 20
    assert three_point_radius(smooth, 0.5)[0] >= 0.98 * 2.0
    # each bend of angle t leaves the corner by R × (1 / cos(t / 2) − 1) and takes 2 R tan(t / 2) − R t from the way
    bends = np.abs(np.diff(turns))
    assert line.length - smooth.length == pytest.approx((4 * np.tan(bends / 2) - 2 * bends).sum(), abs=2e-3)
    away = 2.0 * (1 / np.cos(bends.max() / 2) - 1)
    assert shapely.hausdorff_distance(smooth, line) == pytest.approx(away, abs=2e-3)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_same_input_gives_the_same_runs(pattern: Pattern) -> None:
    one, other = field(beds.wedge()).lay(pattern), laid("wedge", pattern)
    assert all(np.array_equal(a, b) for a, b in zip(as_rows(one), as_rows(other), strict=True))
