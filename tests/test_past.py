"""Rows past obstacles: bent round, carried or tied by loops; on beds drawn at random, with holes and necks, by law.

Laws are checked by `tests.laws`, loops and blank tubing by distances of the lines themselves.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, box

from layout.coverage import cover
from layout.laterals import join_runs
from layout.model import Bed, Feature, Join, Lateral, LateralRules, Laying, Pattern, begun_at_end
from layout.necks import find_lobes
from layout.plane import polygons_of
from layout.runs import feed_lobes, lay_runs
from tests import beds
from tests.laid import PATTERNS, Field, field, obstacle
from tests.laws import Laid, unlisted

Array = NDArray[np.float64]

SPACING, CLEARANCE, LONGEST = 2.0, 1.0, 500.0


def laid(site: Field, pattern: Pattern | str, *, longest: float = LONGEST) -> Laying:
    """A bed laid as the plan lays it: rows past obstacles tied where it has no necks, else fed through these."""
    bed = site.bed
    lobes = find_lobes(bed.outline, near=site.sides.near, least=CLEARANCE + SPACING)
    laying = lay_runs(
        bed,
        site.ground,
        site.sides,
        site.rules,
        site.tubing,
        pattern=Pattern(pattern),
        longest=0.0 if lobes else longest,
    )
    return feed_lobes(laying, lobes, bed, site.ground, site.sides, site.rules, site.tubing, longest=longest)


def joined(
    site: Field, laying: Laying, *, longest: float = LONGEST
) -> tuple[tuple[Lateral, ...], tuple[Join, ...]]:
    return join_runs(
        laying,
        LateralRules(runs=None, longest=longest),
        spacing=SPACING,
        bed=site.bed,
        kept_clear=site.ground.kept_clear,
    )


def wrong_joins(site: Field, laying: Laying) -> list[str]:
    """Loops and blank tubing that touch other tubing, or lie nearer to the edge or a feature than allowed."""
    _, joins = joined(site, laying)
    found = []
    for join in joins:
        name = f"the {join.kind} from {join.start} to {join.end}"
        found += [f"{name} {said}" for said in astray(site.bed, site.features, join.line)]
        for run in laying.runs:
            if run.name in {join.start, join.end}:
                continue
            least = 0.2 * SPACING if join.kind == "blank" else 1e-6
            if (near := float(join.line.distance(run.line))) < least:
                found.append(f"{name} lies {near:.4f} from {run.name}")
    for one, other in itertools.combinations(joins, 2):
        if {one.start, one.end} & {other.start, other.end}:
            continue
        least = 0.2 * SPACING if "blank" in {one.kind, other.kind} else 1e-6
        if (near := float(one.line.distance(other.line))) < least:
            found.append(
                f"{one.kind} {one.start} to {one.end} and {other.kind} {other.start} to {other.end}: {near:.4f}"
            )
    return found


def astray(bed: Bed, features: Sequence[Feature], line: LineString) -> list[str]:
    """What is wrong with where some tubing lies."""
    found = []
    least = bed.clearance - 0.02 * SPACING - 1e-6
    if not bed.outline.covers(line) or float(line.distance(bed.outline.exterior)) < least:
        found.append(f"lies {line.distance(bed.outline.exterior):.4f} from the edge")
    # a setback is drawn in chords, and a loop along it may bend with these
    return found + [
        f"lies {line.distance(feature.shape):.4f} from {feature.name}, setback {feature.setback:g}"
        for feature in features
        if float(line.distance(feature.shape)) < feature.setback * (1 - 1e-3) - 1e-6
    ]


def unlisted_ground(site: Field, laying: Laying) -> list[str]:
    """Ground that rows a spacing apart would have covered, without tubing and without a listed piece."""
    return unlisted(
        Laid(
            outline=site.bed.outline,
            lines=[*(run.line for run in laying.runs), *(join.line for join in laying.carries)],
            clearance=CLEARANCE,
            spacing=SPACING,
            gap=SPACING,
            bend_radius=site.tubing.bend_radius,
            dropped=[piece.line for piece in laying.dropped],
            zones=[(feature.shape, feature.setback) for feature in site.features],
        ),
        1.5 * SPACING,
        speck=0.2 * SPACING,
    )


def dry_names(site: Field, laying: Laying) -> set[str]:
    """Runs that water reaches as the laying says, but not as laterals have it."""
    laterals, _ = joined(site, laying)
    wet = {name for lateral in begun_at_end(laying.runs, laterals) for name in lateral.runs}
    return set(laying.reached) - wet


# --- random beds ---------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Case:
    """A bed drawn at random, with holes."""

    outline: Array
    features: tuple[Feature, ...]
    closest: float
    bend_radius: float

    def site(self) -> Field:
        first = self.outline[0]
        return field(
            self.outline,
            features=self.features,
            closest=self.closest,
            bend_radius=self.bend_radius,
            shortest=6.0,
            toward=(float(first[0]), float(first[1])),
        )


def case(seed: int) -> Case:
    """A bed with one to four holes, a neck, or both."""
    rng = np.random.default_rng(seed)
    neck = rng.uniform() < 0.3
    outline = necked(rng) if neck else plain(rng)
    whole = Polygon(outline)
    features: list[Feature] = []
    for number in range(int(rng.integers(0 if neck else 1, 5))):
        x0, y0, x1, y1 = whole.bounds
        x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
        if not whole.buffer(2.0).contains(Point(x, y)):
            continue
        size = rng.uniform(1.0, 8.0)
        round_ = rng.uniform() < 0.6
        shape = Point(x, y) if round_ else box(x, y, x + size, y + rng.uniform(1.0, 5.0))
        features.append(obstacle(shape, float(rng.uniform(0.5, 5.0)), name=f"hole {number + 1}"))
    return Case(
        outline=outline,
        features=tuple(features),
        closest=float(rng.choice([1.4, 2.0])),
        bend_radius=float(rng.choice([0.0, 1.0, 2.0, 3.0])),
    )


def plain(rng: np.random.Generator) -> Array:
    """A bed without necks: straight, bent like a bow, sinuous or oval."""
    length, width = rng.uniform(50, 110), rng.uniform(14, 34)
    kind = rng.integers(0, 4)
    if kind == 0:
        lean = rng.uniform(-8, 8, 4)
        return np.array(
            [[lean[0], width], [length + lean[1], width + lean[2] / 2], [length, 0], [lean[3], 0]], float
        )
    if kind == 1:
        inner = rng.uniform(15, 40)
        return beds.annular(inner, inner + width, float(np.degrees(min(length / inner, 2.6))), step=3.0)
    if kind == 2:
        return beds.sinuous(rng.uniform(1, 5), rng.uniform(50, 90), (width, width + 3), length, step=2.0)
    a = np.linspace(0, 2 * np.pi, 73)[:-1]
    return np.column_stack(
        (length / 2 * np.cos(a), width / 2 * np.sin(a) + rng.uniform(-6, 6) * np.cos(a) ** 2)
    )


def necked(rng: np.random.Generator) -> Array:
    """Two lobes and the neck between them, straight or bent."""
    a = np.linspace(0, 2 * np.pi, 61)[:-1]

    def lobe(x: float, y: float) -> Polygon:
        if rng.uniform() < 0.4:
            w, h = rng.uniform(14, 24), rng.uniform(10, 18)
            return box(x - w, y - h, x + w, y + h)
        return Polygon(
            np.column_stack((x + rng.uniform(14, 24) * np.cos(a), y + rng.uniform(11, 18) * np.sin(a)))
        )

    far = rng.uniform(50, 75), rng.uniform(-12, 12)
    middle = rng.uniform(24, far[0] - 24), rng.uniform(-6, 6)
    way = LineString([(0, 0), middle, far]).buffer(rng.uniform(1.4, 5.0), quad_segs=8)
    whole = shapely.union_all([lobe(0.0, 0.0), lobe(*far), way])
    points = np.asarray(
        shapely.get_coordinates(
            shapely.orient_polygons(max(polygons_of(whole), key=lambda part: part.area)).exterior
        )
    )
    return np.roll(points[:-1], -int(np.argmin(points[:-1, 0])), axis=0)


def faults(seed: int, pattern: Pattern) -> list[str]:
    """All that is wrong with a random bed's layout."""
    drawn = case(seed)
    whole = Polygon(drawn.outline)
    if not whole.is_valid or whole.buffer(-CLEARANCE - 1.0).is_empty:
        return []
    site = drawn.site()
    if site.ground.area.is_empty:
        return []
    laying = laid(site, pattern)
    if not laying.runs:
        return []
    found = [*site.broken(laying), *wrong_joins(site, laying)]
    flat = [name for winding in laying.windings for name in winding]
    if len(flat) != len(set(flat)) or not set(flat) <= {run.name for run in laying.runs}:
        found.append(f"windings {laying.windings}")
    found += [f"no water in {name}" for name in sorted(dry_names(site, laying))]
    if pattern in {Pattern.LEFT, Pattern.RIGHT} and site.sides.certain and not laying.lobes:
        found += unlisted_ground(site, laying)
    return found


SEEDS = (*range(24), 171)
"""Beds enough for a quick test, and one that was mended; a larger number was tried by hand."""


@pytest.mark.parametrize("seed", SEEDS)
def test_random_beds_with_holes_and_necks_by_law(seed: int) -> None:
    assert faults(seed, PATTERNS[seed % len(PATTERNS)]) == []


# --- past one obstacle ---------------------------------------------------------------------------------


def tree(y: float, setback: float, *, width: float = 24.0) -> Field:
    """A bed 120 long whose rows lie at 1, 3, 5 … from either long side, and a tree half way along it."""
    return field(beds.rect(120, width), features=[obstacle(Point(60, y), setback)])


def dry(site: Field, laying: Laying) -> float:
    """The farthest usable ground from any tubing."""
    area, bed = site.ground.area, site.bed.outline
    return cover(area, bed, laying.runs, spacing=SPACING, radius=site.tubing.bend_radius).dry


def test_two_rows_parted_by_a_tree_are_tied_and_all_laterals_come_back() -> None:
    """Rows at 11 and 13 end at a tree between them: rows 9 and 15 go out, and come back along what lies beyond."""
    site = tree(12.0, 2.0)
    laying = laid(site, "left")
    assert laying.carries == ()
    (winding,) = laying.windings
    named = {run.name: run for run in laying.runs}
    assert [named[name].line.coords[0][1] for name in winding] == pytest.approx([15.0, 13.0, 11.0, 9.0])
    assert [named[name].from_end for name in winding] == [True, False, False, True]
    assert laying.reached == set(named)
    laterals, joins = joined(site, laying)
    assert all(lateral.returns_near for lateral in laterals)
    assert [join.kind for join in joins] == ["loop"] * len(joins)
    assert wrong_joins(site, laying) == []
    # the rows end at the setback, half a chord of it from the tree, and 1 off its middle: sqrt(4 - 1) = 1.732
    assert named[winding[1]].line.coords[0][0] == pytest.approx(60 + math.sqrt(3), abs=0.01)
    # ground half way between two rows and the edge of the setback
    assert dry(site, laying) < 1.25


def test_a_row_that_just_touches_a_setback_bends_round_it() -> None:
    """A setback of 3.01 round a tree at 12: rows at 9 and 15 are in its way by 0.01, which gaps allow."""
    site = tree(12.0, 3.01)
    laying = laid(site, "left")
    whole = [run for run in laying.runs if run.length > 117.9]
    assert len(whole) == 10  # of 12 rows but those at 11 and 13
    assert site.broken(laying) == []
    for run in whole:
        assert run.line.distance(Point(60, 12)) >= 3.01 - 1e-9


def test_a_row_bends_no_nearer_to_its_neighbour_than_the_least_gap() -> None:
    """A setback of 3.3: round it the row at 9 would come within 1.7 of that at 7."""
    for closest, bent in ((1.4, 10), (2.0, 8)):
        site = field(beds.rect(120, 24), features=[obstacle(Point(60, 12), 3.3)], closest=closest)
        laying = laid(site, "even")
        assert sum(run.length > 117.9 for run in laying.runs) == bent
        assert site.broken(laying) == []


def test_rows_make_room_for_those_that_bend_round_a_tree() -> None:
    """Rows at 11 and 13 bend round a setback of 2; 1.4 from them those at 9 and 15 have to go to 8.6 and 15.4."""
    site = field(beds.rect(120, 24), features=[obstacle(Point(60, 12), 2.0)], closest=1.4)
    laying = laid(site, "even")
    assert site.broken(laying) == []
    assert len(laying.runs) == 12
    assert laying.carries == ()
    middle = LineString([(60, 0), (60, 24)])
    passed = sorted(float(run.line.intersection(middle).y) for run in laying.runs)
    assert passed == pytest.approx([1, 3, 5, 7, 8.6, 10, 14, 15.4, 17, 19, 21, 23], abs=0.04)
    assert dry(site, laying) < 1.25
    straight = [run for run in laying.runs if np.ptp(shapely.get_coordinates(run.line)[:, 1]) < 1e-9]
    assert len(straight) == 8


def test_rows_bend_round_a_tree_only_where_those_beyond_have_room() -> None:
    """A spacing apart all rows up to the edge would have to move, and the outermost lies on its clearance line."""
    site = field(beds.rect(120, 12), features=[obstacle(Point(60, 6), 2.0)], closest=2.0)
    laying = laid(site, "even")
    assert site.broken(laying) == []
    outer = [
        run.line.intersection(LineString([(60, 0), (60, 12)])).y for run in laying.runs if run.length > 117.9
    ]
    assert sorted(outer) == pytest.approx([1, 3, 9, 11], abs=1e-6)


def test_one_row_is_looped_round_the_obstacle_or_carried() -> None:
    """A tree on the middle of a row parts that row alone: no lateral may end at the tree."""
    site = tree(11.0, 1.5)
    laying = laid(site, "left")
    laterals, joins = joined(site, laying)
    assert all(lateral.returns_near for lateral in laterals)
    assert wrong_joins(site, laying) == []
    assert site.broken(laying) == []
    past = [join for join in joins if join.line.distance(Point(60, 11)) < 1.6]
    assert past
    assert laying.reached == {run.name for run in laying.runs}


def test_rows_are_not_tied_into_laterals_that_are_too_long() -> None:
    site = tree(12.0, 2.0)
    whole = sum(run.length for run in laid(site, "left").runs if run.row in {4, 5, 6, 7}) - 2 * 58
    assert laid(site, "left", longest=whole + 50).windings
    short = laid(site, "left", longest=240.0)
    laterals, _ = joined(site, short, longest=240.0)
    assert max(lateral.length + lateral.blank for lateral in laterals) < 260.0
    assert not any(len(winding) > 2 for winding in short.windings)


def test_nothing_is_tied_where_that_is_not_asked_for() -> None:
    site = tree(12.0, 2.0)
    assert site.lay("left").windings == ()
    assert site.lay("left").carries != ()


def test_the_ring_round_a_tank_has_emitters() -> None:
    """Rows carried past a tank of 15 by 10 with a setback of 10: the innermost lies a gap from the others there."""
    site = field(beds.rect(150, 50), features=[obstacle(box(65, 18, 80, 28), 10.0)])
    laying = laid(site, "left")
    zone = box(65, 18, 80, 28).buffer(10)
    ring = [
        run
        for run in laying.runs
        if run.line.hausdorff_distance(zone.exterior) < 40 and _beside(run.line, zone)
    ]
    assert ring
    assert site.broken(laying) == []
    assert wrong_joins(site, laying) == []
    assert dry(site, laying) < 2.0
    assert unlisted_ground(site, laying) == []


def _beside(line: LineString, zone: Polygon) -> bool:
    """Whether a run lies all along the edge of a zone."""
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(line, 1.0)))
    return bool(shapely.dwithin(zone, points, 0.3).all())


@pytest.mark.parametrize("pattern", ["left", "right", "even"])
@pytest.mark.parametrize(("y", "setback"), [(8.0, 3.0), (12.0, 4.0), (14.0, 6.0), (4.0, 4.0)])
def test_ground_beside_trees_is_hardly_drier_than_elsewhere(pattern: str, y: float, setback: float) -> None:
    """No usable ground lies a whole spacing from tubing, and what is carried past costs little blank tubing."""
    site = tree(y, setback)
    laying = laid(site, pattern)
    assert site.broken(laying) == []
    assert wrong_joins(site, laying) == []
    assert dry(site, laying) < 1.02 * SPACING
    assert sum(join.line.length for join in laying.carries) < 0.03 * sum(run.length for run in laying.runs)
    assert laying.reached == {run.name for run in laying.runs}
