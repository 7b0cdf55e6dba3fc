"""Beds with necks: the necks are found, every lobe gets water through them, and no law of a layout is broken.

Widths, places and counts of lines through a neck are worked out here from the shape of each bed (derived, no
source). Laws are checked by `tests.laws`; loops and blank tubing by distances of the lines themselves.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, box

from layout.laterals import join_runs
from layout.model import Design, LateralRules, Laying, Lobe, Pattern
from layout.necks import faces_neck, facing_sides, find_lobes
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.runs import feed_lobes, lay_lobes
from tests import beds
from tests.laid import Field, field, moved
from tests.plans import inline, site

Array = NDArray[np.float64]

SPACING, CLEARANCE = 2.0, 1.0
LONGEST = 500.0


def blob(x: float, y: float, rx: float, ry: float) -> Polygon:
    """An ellipse."""
    angle = np.linspace(0, 2 * np.pi, 91)[:-1]
    return Polygon(np.column_stack((x + rx * np.cos(angle), y + ry * np.sin(angle))))


def united(*shapes: shapely.Geometry) -> Array:
    """The outline of shapes that overlap."""
    whole = shapely.union_all(list(shapes))
    assert isinstance(whole, Polygon)
    return np.asarray(shapely.get_coordinates(shapely.orient_polygons(whole).exterior)[:-1])


def three() -> Array:
    """Three lobes in a row, the necks between them 6 wide."""
    return united(
        blob(0, 0, 16, 13),
        blob(52, 4, 15, 17),
        blob(100, -2, 14, 12),
        LineString([(0, 0), (52, 4), (100, -2)]).buffer(3),
    )


def bent() -> Array:
    """A box and an ellipse; the neck between them, 7 wide, turns by a right angle."""
    return united(
        box(0, 0, 45, 24), LineString([(40, 12), (62, 12), (62, 45)]).buffer(3.5), blob(62, 62, 22, 18)
    )


def askew() -> Array:
    """Two boxes whose neck, 6 wide, lies along one side."""
    return united(box(0, 0, 40, 26), box(40, 2, 64, 8), box(64, 0, 104, 26))


def boxes() -> Array:
    """A box, a neck 5 wide, and a box that stands across."""
    return united(box(0, 0, 50, 20), box(50, 8, 75, 13), box(75, -20, 97, 50))


NECKED: dict[str, Callable[[], Array]] = {
    "dumbbell": beds.dumbbell,
    "wide": lambda: beds.dumbbell(neck=9.0),
    "narrow": lambda: beds.dumbbell(neck=3.0),
    "three": three,
    "bent": bent,
    "askew": askew,
    "boxes": boxes,
}


def lobes_of(laid: Field) -> tuple[Lobe, ...]:
    return find_lobes(laid.bed.outline, near=laid.sides.near, least=CLEARANCE + SPACING)


def necked(outline: Array) -> Field:
    """A field whose manifold end is at its left."""
    return field(outline, toward=(-1000.0, 0.0))


def fed(laid: Field, pattern: str, *, longest: float = LONGEST) -> Laying:
    """The bed laid as a whole and fed through its necks."""
    return feed_lobes(
        laid.lay(pattern),
        lobes_of(laid),
        laid.bed,
        laid.ground,
        laid.sides,
        laid.rules,
        laid.tubing,
        longest=longest,
    )


@functools.cache
def fed_bed(name: str, pattern: str) -> Laying:
    """One of the beds above, laid as a whole and fed."""
    return fed(necked(NECKED[name]()), pattern)


def lobewise(laid: Field, pattern: str) -> Laying:
    """The bed laid lobe by lobe along its necks, and fed."""
    lobes = lobes_of(laid)
    onward = lobes[1].neck
    assert onward is not None
    sides = [facing_sides(lobe.ground, lobe.neck or onward) for lobe in lobes]
    laying = lay_lobes(laid.bed, laid.ground, lobes, sides, laid.rules, laid.tubing, pattern=Pattern(pattern))
    assert laying is not None
    return feed_lobes(
        laying, lobes, laid.bed, laid.ground, laid.sides, laid.rules, laid.tubing, longest=LONGEST
    )


def share_reached(laying: Laying) -> float:
    """Share of tubing that has water."""
    reached = laying.reached
    return sum(run.length for run in laying.runs if run.name in reached) / sum(
        run.length for run in laying.runs
    )


def through(laying: Laying, number: int = 1) -> tuple[int, int]:
    """Runs and lines of blank tubing that pass a neck."""
    across = laying.lobes[number].neck
    assert across is not None
    return (
        sum(run.line.intersects(across) for run in laying.runs),
        sum(join.line.intersects(across) for join in laying.carries),
    )


# --- finding necks -------------------------------------------------------------------------------------


def test_dumbbell_falls_into_two_lobes() -> None:
    lobes = lobes_of(necked(beds.dumbbell()))
    assert [lobe.before for lobe in lobes] == [-1, 0]
    across = lobes[1].neck
    assert across is not None
    assert across.length == pytest.approx(5.0, abs=1e-6)
    assert abs(across.centroid.x) < 6  # half way of the 24 long neck, or anywhere along its straight middle
    assert lobes[0].outline.centroid.x < 0 < lobes[1].outline.centroid.x
    # seen from the manifold end at the left, left is up
    assert across.coords[0][1] > across.coords[1][1]
    assert sum(lobe.outline.area for lobe in lobes) == pytest.approx(Polygon(beds.dumbbell()).area)
    # without the neck each lobe is its disc, but for the mouth
    for lobe in lobes:
        assert lobe.ground.area == pytest.approx(math.pi * 15**2, rel=0.02)


def test_three_lobes_are_numbered_from_the_manifold_end() -> None:
    laid = necked(three())
    assert [lobe.before for lobe in lobes_of(laid)] == [-1, 0, 1]
    back = field(three(), toward=(1000.0, 0.0))
    lobes = lobes_of(back)
    assert [round(lobe.outline.centroid.x, -1) for lobe in lobes] == [100, 50, 0]
    for lobe in lobes[1:]:
        assert lobe.neck is not None
        assert lobe.neck.length == pytest.approx(6.0, abs=0.05)


def test_bent_neck_is_found_at_its_width() -> None:
    (_, beyond) = lobes_of(necked(bent()))
    assert beyond.neck is not None
    assert beyond.neck.length == pytest.approx(7.0, abs=0.02)


def test_side_lobe_is_found() -> None:
    outline = united(box(0, 0, 80, 20), box(36, 20, 42, 40), blob(39, 52, 18, 14))
    lobes = find_lobes(Polygon(outline), near=Point(0, 10), least=3.0)
    assert [lobe.before for lobe in lobes] == [-1, 0]
    assert lobes[1].outline.centroid.y > 40


@pytest.mark.parametrize("name", sorted({*beds.EXACT, *beds.HARD} - {"dumbbell"}))
def test_other_beds_have_no_neck(name: str) -> None:
    outline = ({**beds.EXACT, **beds.HARD})[name]()
    laid = field(outline)
    assert lobes_of(laid) == ()


@pytest.mark.parametrize("seed", range(8))
def test_random_beds_without_necks_stay_as_they_are(seed: int) -> None:
    laid = field(beds.wobbly(seed))
    lobes = lobes_of(laid)
    assert lobes == ()
    laying = laid.lay("left")
    same = feed_lobes(
        laying, lobes, laid.bed, laid.ground, laid.sides, laid.rules, laid.tubing, longest=LONGEST
    )
    assert same is laying


def test_a_waist_over_half_as_wide_is_no_neck() -> None:
    assert lobes_of(necked(beds.dumbbell(neck=17.0))) == ()
    assert len(lobes_of(necked(beds.dumbbell(neck=12.0)))) == 2


def test_necks_turn_with_the_bed() -> None:
    plain = find_lobes(Polygon(three()), near=Point(-16, 0), least=3.0)
    turned = find_lobes(
        Polygon(moved(three(), turn=37.0, by=(500.0, -300.0))),
        near=Point(moved(np.array([[-16.0, 0.0]]), turn=37.0, by=(500.0, -300.0))[0]),
        least=3.0,
    )
    for one, other in zip(plain[1:], turned[1:], strict=True):
        assert one.neck is not None
        assert other.neck is not None
        there = moved(shapely.get_coordinates(one.neck), turn=37.0, by=(500.0, -300.0))
        assert shapely.get_coordinates(other.neck) == pytest.approx(there, abs=0.2)
        assert other.neck.length == pytest.approx(one.neck.length, abs=1e-3)


def test_straight_sides_face_the_neck() -> None:
    for lobe in lobes_of(necked(boxes()))[1:]:
        assert lobe.neck is not None
        sides = facing_sides(lobe.ground, lobe.neck)
        assert faces_neck(sides, lobe)
        assert sides.left.centroid.y > sides.right.centroid.y
        assert sides.near.centroid.x < sides.far.centroid.x


# --- water through necks -------------------------------------------------------------------------------


def wrong_joins(laid: Field, laying: Laying) -> list[str]:
    """Loops and blank tubing that touch other tubing or leave the bed, and laterals that no water reaches."""
    laterals, joins = join_runs(
        laying,
        LateralRules(runs=None, longest=LONGEST),
        spacing=SPACING,
        bed=laid.bed,
        kept_clear=laid.ground.kept_clear,
    )
    found = []
    named = {run.name: run for run in laying.runs}
    for join in joins:
        for run in laying.runs:
            near = float(join.line.distance(run.line))
            if run.name in {join.start, join.end}:
                continue
            if near < 1e-6:
                found.append(f"the {join.kind} from {join.start} to {join.end} touches {run.name}")
            if join.kind == "blank" and near < 0.22 * SPACING:
                found.append(f"the blank from {join.start} to {join.end} lies {near} from {run.name}")
        if not laid.bed.outline.buffer(-(CLEARANCE - 0.02 * SPACING) + 1e-6).covers(join.line):
            found.append(f"the {join.kind} from {join.start} to {join.end} leaves the ground")
    for one, other in itertools.combinations(joins, 2):
        if {one.start, one.end} & {other.start, other.end}:
            continue
        least = 0.22 * SPACING if "blank" in {one.kind, other.kind} else 1e-6
        if one.line.distance(other.line) < least:
            found.append(f"joins {one.start} to {one.end} and {other.start} to {other.end} are too near")
    for lateral in laterals:
        first = named[lateral.runs[0]]
        if not (first.from_end and first.line.coords[0][:2] == lateral.supply):
            found += [f"no water in {name}" for name in lateral.runs if name in laying.reached]
    return found


@pytest.mark.parametrize(
    ("name", "pattern"),
    [
        *((name, pattern) for name in sorted(NECKED) for pattern in ("left", "right")),
        *((name, "centre") for name in ("dumbbell", "wide", "askew", "bent")),
    ],
)
def test_fed_through_necks_by_law(name: str, pattern: str) -> None:
    laid = necked(NECKED[name]())
    laying = fed_bed(name, pattern)
    assert laid.broken(laying) == []
    assert wrong_joins(laid, laying) == []
    assert [run.name for run in laying.runs] == [f"R{k}" for k in range(1, len(laying.runs) + 1)]
    beyond = [run for run in laying.runs if run.lobe > 0 and run.name in laying.reached]
    assert len(beyond) > 2  # nothing there has water but by what is led through the neck
    assert len({run.lobe for run in laying.runs}) == len(laying.lobes)
    flat = [name for winding in laying.windings for name in winding]
    assert len(flat) == len(set(flat))


ALL_FED = {
    "dumbbell": ("left", "right", "centre"),
    "wide": ("left", "centre"),
    "narrow": ("left",),
    "three": ("left",),
    "bent": ("centre",),
    "askew": ("left", "centre"),
}


@pytest.mark.parametrize(
    ("name", "pattern"), [(name, pattern) for name, patterns in ALL_FED.items() for pattern in patterns]
)
def test_every_lobe_has_water(name: str, pattern: str) -> None:
    assert share_reached(fed_bed(name, pattern)) == pytest.approx(1.0)


@pytest.mark.parametrize("name", ["dumbbell", "wide", "askew", "boxes"])
def test_lobe_by_lobe_has_water_by_law(name: str) -> None:
    laid = necked(NECKED[name]())
    laying = lobewise(laid, "left")
    assert laid.broken(laying) == []
    assert wrong_joins(laid, laying) == []
    assert share_reached(laying) == pytest.approx(1.0)
    assert through(laying)[0] >= 2


def test_dumbbell_needs_no_blank_tubing() -> None:
    """Its neck of 5 holds rows at 1 and 3 (derived): both pass, and loops feed the rest of the far lobe."""
    laying = fed_bed("dumbbell", "centre")
    assert through(laying) == (2, 0)
    assert laying.carries == ()
    for lobe in laying.lobes:
        ground = lobe.outline.buffer(-CLEARANCE)
        wet = shapely.union_all([run.line.buffer(SPACING / 2, quad_segs=32) for run in laying.runs])
        assert ground.intersection(wet).area >= 0.98 * ground.area


def test_what_does_not_fit_goes_by_blank_tubing_beside_the_row_that_passes() -> None:
    """A neck of 3 holds one row; blank tubing beside it brings a chain of loops back."""
    laying = fed_bed("narrow", "left")
    assert through(laying) == (1, 1)
    (blank,) = laying.carries
    assert 24.0 < blank.line.length < 40.0
    across = laying.lobes[1].neck
    assert across is not None
    places = [
        shapely.intersection(line, across)
        for line in (blank.line, *(run.line for run in laying.runs if run.line.intersects(across)))
    ]
    assert places[0].distance(places[1]) >= 0.22 * SPACING


def test_as_many_rows_with_emitters_as_fit() -> None:
    """A neck of 6 holds rows at 1, 3 and 5 (derived)."""
    laying = fed_bed("askew", "left")
    assert through(laying) == (3, 0)
    assert 0 < sum(join.line.length for join in laying.carries) < 15


def test_neck_too_narrow_for_tubing_is_told() -> None:
    laid = necked(beds.dumbbell(neck=1.6))
    laying = fed(laid, "left")
    assert laid.broken(laying) == []
    dry = [run for run in laying.runs if run.name not in laying.reached]
    assert {run.lobe for run in dry} == {1}
    assert {run.lobe for run in laying.runs if run.name in laying.reached} == {0}
    assert not laying.carries
    assert not laying.windings


def test_windings_keep_to_the_longest_lateral() -> None:
    laid = necked(beds.dumbbell())
    laying = fed(laid, "centre", longest=150.0)
    named = {run.name: run for run in laying.runs}
    for winding in laying.windings:
        assert sum(named[name].length for name in winding) <= 150.0


def test_windings_become_laterals() -> None:
    laid = necked(three())
    laying = fed_bed("three", "left")
    laterals, _ = join_runs(
        laying,
        LateralRules(runs=None, longest=LONGEST),
        spacing=SPACING,
        bed=laid.bed,
        kept_clear=laid.ground.kept_clear,
    )
    for winding in laying.windings:
        (lateral,) = [lateral for lateral in laterals if winding[0] in lateral.runs]
        order = [name for name in lateral.runs if name in winding]
        assert order in (list(winding), list(winding[::-1]))


# --- whole plans ---------------------------------------------------------------------------------------


def planned(folder: Path, outline: Array, *, sides: str = "") -> Design:
    """A plan in feet, its pump at the left."""
    path = site(folder, inline(np.round(outline, 6)), pump=(-60, 0), title="Neck", longest=LONGEST)
    return plan_field(read_site(path, [f"runs.sides={sides}"] if sides else []))


def test_plan_tells_what_a_neck_costs(tmp_path: Path) -> None:
    design = planned(tmp_path, beds.dumbbell(neck=3.0))
    (told,) = [finding for finding in design.findings if finding.code == "neck"]
    blank = [join for join in design.joins if join.kind == "blank"]
    (only,) = blank
    assert "narrows to 3.00 ft" in told.said
    assert "1 runs and 1 lines of blank tubing pass" in told.said
    assert f"{only.line.length / 0.3048:.2f} ft of it" in told.said
    (part,) = [part for part in design.parts if part.item == "blank tubing"]
    assert part.net == pytest.approx(sum(join.line.length for join in design.joins))
    checks = {check.name: check for check in design.checks}
    assert checks["share of tubing fed"].ok
    (lateral,) = [lateral for lateral in design.laterals if only.start in lateral.runs]
    assert only.end in lateral.runs


def test_plan_tells_what_gets_no_water_through_a_neck(tmp_path: Path) -> None:
    design = planned(tmp_path, beds.dumbbell(neck=1.6))
    (told,) = [finding for finding in design.findings if finding.code == "lobe-apart"]
    assert "manifolds of their own" in told.said
    dry = {run.name for run in design.laying.runs if run.name not in design.laying.reached}
    assert dry
    assert all(name in told.said for name in dry)


def test_plan_lobe_by_lobe(tmp_path: Path) -> None:
    design = planned(tmp_path, boxes(), sides="lobes")
    assert design.candidates[0].follows == "lobes"
    assert design.candidates[0].fed_at_end == pytest.approx(1.0)
    checks = {check.name: check for check in design.checks}
    assert checks["share of tubing fed"].ok
    assert checks["places where runs cross"].ok
    assert checks["least clearance to the bed's edge"].ok
    assert checks["longest lateral, with loops and leads"].ok
