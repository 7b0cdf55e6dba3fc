"""Emitter cells: lattices worked out by hand, the ground divided without rest, other engines, odd fields."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial import cKDTree  # noqa: TID253 - a test may start slowly
from shapely import LineString, MultiPoint, MultiPolygon, Polygon, box

from layout import cells as stage
from layout.cells import dosed_ground, emitter_cells, evenness
from layout.emitters import place_emitters
from layout.model import Cells, EmitterRow, Pattern
from tests import beds
from tests.laid import field, obstacle

Array = NDArray[np.float64]


def row(points: Sequence[Sequence[float]] | Array, *, flow: float = 1.0, name: str = "R1") -> EmitterRow:
    return EmitterRow(run=name, points=tuple((float(x), float(y)) for x, y in points), flow=flow)


def made(ground: Polygon, points: Sequence[Sequence[float]] | Array, *, spacing: float = 1.0) -> Cells:
    found = emitter_cells(ground, ground, [row(points)], spacing=spacing)
    assert found is not None
    return found


def mean_and_cv(cells: Cells) -> list[float]:
    even = evenness(cells)
    assert even is not None
    return list(even)


def of_bed(outline: Array, pattern: Pattern, *, emitter_spacing: float) -> tuple[Cells, Array, Polygon]:
    """Cells of a bed laid out 2 apart with 1 clear; its emitters, and the ground they share."""
    laid = field(outline)
    tubing = replace(laid.tubing, emitter_spacing=emitter_spacing)
    rows = [place_emitters(run, tubing) for run in laid.lay(pattern).runs]
    found = emitter_cells(laid.ground.area, laid.bed.outline, rows, spacing=2.0)
    assert found is not None
    ground = dosed_ground(laid.ground.area, laid.bed.outline, spacing=2.0)
    assert isinstance(ground, Polygon)
    return found, np.array([point for one in rows for point in one.points]), ground


def lattice(across: int, along: int, *, pitch: float, spacing: float, slip: float = 0.0) -> Array:
    x, y = np.meshgrid((np.arange(along) + 0.5) * pitch, (np.arange(across) + 0.5) * spacing)
    x = x + slip * (np.arange(across) % 2)[:, None]
    return np.column_stack((x.ravel(), y.ravel()))


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0])
def test_every_cell_of_a_lattice_is_pitch_by_spacing(turn: float) -> None:
    points = lattice(9, 30, pitch=0.5, spacing=0.7)
    bed = box(0.0, 0.0, 15.0, 6.3)
    middle = (7.0, 3.0)
    turned = shapely.affinity.rotate(MultiPoint(points), turn, origin=middle)
    found = made(
        shapely.affinity.rotate(bed, turn, origin=middle), shapely.get_coordinates(turned), spacing=0.7
    )
    assert found.areas == pytest.approx([0.35] * 270, rel=1e-9)
    assert mean_and_cv(found) == pytest.approx([0.35, 0.0], rel=1e-9, abs=1e-9)


def test_staggered_rows_have_hexagons_of_the_same_area() -> None:
    points = lattice(8, 20, pitch=0.6, spacing=0.6, slip=0.3)
    # Here those count as inner that stand farther than two rows from the edge.
    found = made(box(0.0, 0.0, 12.3, 4.8), points, spacing=1.3)
    assert mean_and_cv(found) == pytest.approx([0.36, 0.0], abs=1e-9)
    inner = [shape for shape, one in zip(found.shapes, found.inner, strict=True) if one]
    assert {len(shape.exterior.coords) - 1 for shape in inner if isinstance(shape, Polygon)} == {6}


def test_two_rows_apart_share_the_ground_half_way() -> None:
    # x: 1, 3 and 5; y: 1 and 4 in a bed 6 by 5: half way is 2.5.
    found = made(box(0, 0, 6, 5), [(1, 1), (3, 1), (5, 1), (1, 4), (3, 4), (5, 4)])
    assert found.areas == pytest.approx((5.0,) * 6)
    found = made(box(0, 0, 6, 5), [(1, 1), (3, 1), (5, 1), (1, 2), (3, 2), (5, 2)])
    assert found.areas == pytest.approx((3.0,) * 3 + (7.0,) * 3)
    # Farther than 1 from the edge are only the two middle ones, the edge at 1 itself not counted.
    assert found.inner == (False, False, False, False, True, False)
    assert mean_and_cv(found) == pytest.approx([7.0, 0.0])


def test_evenness_is_that_of_the_inner_cells() -> None:
    cells = Cells(
        shapes=(box(0, 0, 1, 1),) * 3, areas=(1.0, 3.0, 50.0), flows=(1.0,) * 3, inner=(True, True, False)
    )
    assert evenness(cells) == (2.0, 0.5)
    assert evenness(replace(cells, inner=(False,) * 3)) is None


@pytest.mark.parametrize("pattern", [Pattern.LEFT, Pattern.RIGHT, Pattern.EVEN])
@pytest.mark.parametrize(
    ("outline", "pitch"),
    [
        (np.array([[0, 12], [100, 12], [100, 0], [0, 0]], float), 1.0),
        (beds.annular(), 1.0),
        (beds.annular(6, 18), 1.0),
        (beds.s_arcs(), 1.0),
        (beds.s_arcs(), 2.0),
    ],
)
def test_parallel_runs_dose_bends_and_straights_alike(outline: Array, pitch: float, pattern: Pattern) -> None:
    """A run round a bend is longer by as much as its ground is larger, so no bend is dosed more than a straight."""
    found, _, ground = of_bed(outline, pattern, emitter_spacing=pitch)
    assert mean_and_cv(found) == pytest.approx([2.0 * pitch, 0.0], rel=1e-4, abs=1e-3)
    assert math.fsum(found.areas) == pytest.approx(ground.area, rel=1e-9)


def test_another_engines_diagram_has_the_same_areas() -> None:
    """The wedge, whose slanted edge leaves the ends of runs cells of many sizes; points shaken against its faults."""
    found, points, ground = of_bed(beds.wedge(), Pattern.RIGHT, emitter_spacing=1.0)
    shaken = points + np.random.default_rng(7).normal(scale=1e-5, size=points.shape)
    other = shapely.get_parts(
        shapely.voronoi_polygons(MultiPoint(shaken), extend_to=ground.buffer(50), ordered=True)
    )
    areas = shapely.area(shapely.intersection(other, ground))
    np.testing.assert_allclose(found.areas, areas, atol=1e-3)
    inner = areas[np.asarray(found.inner)]
    even = mean_and_cv(found)
    assert even == pytest.approx([2.160, 0.209], abs=5e-4)
    assert even == pytest.approx([inner.mean(), inner.std() / inner.mean()], rel=1e-3)


def test_every_place_lies_in_the_cell_of_its_nearest_emitter() -> None:
    found, points, ground = of_bed(beds.ell(), Pattern.LEFT, emitter_spacing=2.0)
    draw = np.random.default_rng(3)
    x0, y0, x1, y1 = ground.bounds
    places = draw.uniform((x0, y0), (x1, y1), size=(4000, 2))
    places = places[shapely.contains_xy(ground, places[:, 0], places[:, 1])]
    assert len(places) > 500
    nearest = cKDTree(points).query(places)[1]
    shapes = np.array(found.shapes, dtype=object)[nearest]
    assert shapely.distance(shapes, shapely.points(places)).max() < 1e-9
    union = shapely.union_all(np.array(found.shapes, dtype=object))
    assert union.area == pytest.approx(math.fsum(found.areas), rel=1e-9)


def test_ground_is_shared_half_a_spacing_beyond_where_tubing_may_lie() -> None:
    """Whatever the clearance: a wide one does not make cells wider, and a setback takes no half cells."""
    outline = np.array([[0, 20], [60, 20], [60, 0], [0, 0]], float)
    laid = field(outline, clearance=5.0, features=[obstacle(box(28, -9, 32, 4), 3.0)])
    ground = dosed_ground(laid.ground.area, laid.bed.outline, spacing=2.0)
    assert ground.bounds == pytest.approx((4.0, 4.0, 56.0, 16.0))
    assert shapely.distance(ground, box(28, -9, 32, 4)) == pytest.approx(2.0, abs=0.01)
    narrow = field(outline, clearance=0.25)
    assert dosed_ground(narrow.ground.area, narrow.bed.outline, spacing=2.0).area == pytest.approx(1200.0)


def test_flows_are_those_of_the_emitters() -> None:
    rows = [row([(1, 1), (3, 1)], flow=4.0), row([], flow=0.0, name="R2"), row([(1, 3)], flow=7.0, name="R3")]
    found = emitter_cells(box(0, 0, 4, 4), box(0, 0, 4, 4), rows, spacing=2.0)
    assert found is not None
    assert found.flows == (2.0, 2.0, 7.0)


def test_few_or_lined_up_or_coinciding_emitters() -> None:
    bed = box(0, 0, 100, 50)
    assert made(bed, [(1, 1)]).areas == pytest.approx((5000.0,))
    assert made(bed, [(1, 1), (2, 1), (3, 1)]).areas == pytest.approx((75.0, 50.0, 4875.0))
    assert made(bed, [(1, 1), (1, 1), (3, 1)]).areas == pytest.approx((50.0, 50.0, 4900.0))
    assert made(bed, [(1, 1), (1.0001, 1), (3, 1)]).areas == pytest.approx((50.0, 50.0, 4900.0))
    assert emitter_cells(bed, bed, [], spacing=1.0) is None
    assert emitter_cells(bed, bed, [row([])], spacing=1.0) is None


def test_too_many_emitters_have_no_cells(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stage, "MOST_CELLS", 3)
    bed = box(0, 0, 8, 2)
    assert emitter_cells(bed, bed, [row([(1, 1), (3, 1), (5, 1), (7, 1)])], spacing=1.0) is None
    assert made(bed, [(1, 1), (3, 1), (5, 1)]).areas == pytest.approx((4.0, 4.0, 8.0))


def test_a_bed_in_two_parts_is_shared_between_them() -> None:
    bed = box(0, 0, 30, 6)
    parts = MultiPolygon([box(1, 1, 9, 5), box(21, 1, 29, 5)])
    found = emitter_cells(parts, bed, [row([(5, 3), (25, 3)])], spacing=2.0)
    assert found is not None
    assert found.areas[0] == pytest.approx(found.areas[1])
    assert math.fsum(found.areas) == pytest.approx(dosed_ground(parts, bed, spacing=2.0).area)


@settings(max_examples=25, deadline=None)
@given(
    turn=st.floats(0.0, 360.0),
    by=st.tuples(st.floats(-3000.0, 3000.0), st.floats(-3000.0, 3000.0)),
    seed=st.integers(0, 9999),
)
def test_a_bed_moved_and_turned_has_the_same_cells(turn: float, by: tuple[float, float], seed: int) -> None:
    points = np.random.default_rng(seed).uniform((1, 1), (19, 9), size=(40, 2))
    bed = LineString([(0, 5), (12, 5), (20, 7)]).buffer(5.0)

    def motion(xy: Array) -> Array:
        a = math.radians(turn)
        return np.asarray(xy @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]) + by)

    here, there = made(bed, points), made(shapely.transform(bed, motion), motion(points))
    assert there.areas == pytest.approx(here.areas, rel=1e-6, abs=1e-6)


def test_twenty_thousand_emitters_take_a_second_or_two() -> None:
    points = lattice(100, 200, pitch=0.6, spacing=0.6)
    bed = box(0.0, 0.0, 120.0, 60.0)
    made(box(0, 0, 2, 2), [(0.5, 1), (1.5, 1)])
    start = time.process_time()
    found = made(bed, points, spacing=0.6)
    # About 1 s of work on a common machine; the limit only catches a change of kind.
    assert time.process_time() - start < 5.0
    assert found.areas == pytest.approx([0.36] * 20_000, rel=1e-9)
