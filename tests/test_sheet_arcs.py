"""Lines and arcs in place of polylines: near enough everywhere, true where the polyline is a true arc."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString

from layout.plane import Array
from layout.sheets.arcs import drawn, fit, length


def arc(radius: float, start: float, sweep: float, count: int, centre: tuple[float, float] = (0, 0)) -> Array:
    turns = start + np.linspace(0.0, sweep, count)
    return np.asarray(centre) + radius * np.column_stack((np.cos(turns), np.sin(turns)))


def apart(points: Array, fitted: Array, *, closed: bool = False) -> float:
    """Greatest distance between a polyline and what was fitted, either way."""
    given_line = LineString(np.vstack((points, points[:1])) if closed else points)
    step = given_line.length / 4000
    made = LineString(drawn(fitted, step, closed=closed))
    there = shapely.distance(shapely.points(shapely.get_coordinates(made)), given_line).max()
    back = shapely.distance(
        shapely.points(shapely.get_coordinates(shapely.segmentize(given_line, step))), made
    )
    return max(float(there), float(back.max()))


@pytest.mark.parametrize("side", [1, -1])
def test_a_true_arc_is_one_arc_and_turns_to_its_own_side(side: int) -> None:
    """With the sign reversed nothing fails; it only takes many short lines in place of one arc."""
    points = arc(50.0, 0.3, side * 1.3, 60)
    fitted = fit(points, 0.02)
    assert len(fitted) == 2
    assert fitted[0, 2] == pytest.approx(side * math.tan(1.3 / 4), abs=1e-9)
    assert fitted[:, :2] == pytest.approx(points[[0, -1]])
    assert length(fitted) == pytest.approx(50.0 * 1.3, rel=1e-12)


def test_points_along_a_fitted_arc_lie_on_the_circle_on_the_right_side() -> None:
    for side in (1, -1):
        points = arc(20.0, 1.0, side * 2.5, 90)
        along = drawn(fit(points, 0.01), 0.1)
        assert np.hypot(*along.T) == pytest.approx(20.0, abs=1e-9)


def test_lines_and_arcs_between_them_keep_their_joints() -> None:
    """A straight, a bend of 90 degrees, a straight: three pieces, the middle one a quarter circle exactly."""
    bend = arc(10.0, -math.pi / 2, math.pi / 2, 80, centre=(30.0, 10.0))
    points = np.vstack(([(0.0, 0.0), (12.0, 0.0)], bend, [(40.0, 35.0)]))
    fitted = fit(points, 0.05)
    assert fitted[:, :2] == pytest.approx(np.array([(0, 0), (30, 0), (40, 10), (40, 35)], dtype=float))
    assert fitted[:, 2] == pytest.approx([0.0, math.tan(math.pi / 8), 0.0, 0.0], abs=1e-9)


def test_a_rounded_ring_of_many_points_is_four_lines_and_four_arcs() -> None:
    ring = shapely.get_coordinates(shapely.box(0, 0, 30, 20).buffer(5.0, quad_segs=32).exterior)[:-1]
    fitted = fit(ring, 0.01, closed=True, longer=math.inf)
    assert len(fitted) == 8
    assert sorted(np.abs(fitted[:, 2])) == pytest.approx([0.0] * 4 + [math.tan(math.pi / 8)] * 4, abs=1e-9)
    assert length(fitted, closed=True) == pytest.approx(100 + 10 * math.pi, rel=1e-9)
    assert apart(ring, fitted, closed=True) < 0.01


def test_a_whole_circle_is_a_few_arcs_and_no_line() -> None:
    ring = arc(8.0, 0.0, 2 * math.pi, 201)[:-1]
    fitted = fit(ring, 0.01, closed=True)
    assert 2 <= len(fitted) <= 4
    assert np.all(fitted[:, 2] > 0)
    assert length(fitted, closed=True) == pytest.approx(16 * math.pi, rel=1e-9)


def test_straight_lines_stay_lines() -> None:
    points = np.column_stack((np.linspace(0, 90, 50), np.linspace(0, 40, 50)))
    assert fit(points, 0.01).tolist() == [[0.0, 0.0, 0.0], [90.0, 40.0, 0.0]]
    assert fit(points[:2], 0.01)[:, 2].tolist() == [0.0, 0.0]


def test_no_tolerance_keeps_every_point() -> None:
    points = arc(50.0, 0.0, 1.3, 60)
    assert fit(points, 0.0)[:, :2].tolist() == points.tolist()


@pytest.mark.parametrize("tolerance", [0.05, 0.02, 0.005])
def test_parallels_of_a_winding_curve_keep_the_tolerance_and_their_length(tolerance: float) -> None:
    x = np.linspace(0.0, 110.0, 160)
    spine = LineString(np.column_stack((x, 8.0 * np.sin(x / 14.0) + 3.0 * np.sin(x / 5.0 + 1.0))))
    for off in (-3.0, -1.0, 1.0, 3.0):
        points = shapely.get_coordinates(spine.offset_curve(off, quad_segs=16))
        fitted = fit(points, tolerance)
        assert apart(points, fitted) < 1.1 * tolerance
        assert length(fitted) == pytest.approx(LineString(points).length, rel=5e-5)
        assert len(fitted) < 0.6 * len(points)
        found = shapely.distance(shapely.points(fitted[:, :2]), shapely.multipoints(points))
        assert float(found.max()) == 0.0


@given(
    st.lists(
        st.tuples(st.integers(-10_000, 10_000), st.integers(-10_000, 10_000)),
        min_size=2,
        max_size=25,
        unique=True,
    ),
    st.floats(0.001, 2.0),
)
def test_any_polyline_is_kept_to(points: list[tuple[int, int]], tolerance: float) -> None:
    walk = np.asarray(points) / 100
    fitted = fit(walk, tolerance)
    assert fitted[0, :2].tolist() == walk[0].tolist()
    assert fitted[-1, :2].tolist() == walk[-1].tolist()
    made = LineString(drawn(fitted, 0.5))
    # Points and middles of edges are measured; what lies between may be farther by the rise of a flat arc.
    assert float(shapely.distance(shapely.points(walk), made).max()) <= tolerance + 0.01


def test_what_would_become_longer_stays_as_it_is() -> None:
    """A half circle of eight chords is 0.6 % shorter than the arc; one of 200 is not."""
    coarse, fine = (arc(3.0, 0.0, math.pi, count) for count in (9, 201))
    assert len(fit(coarse, 0.5)) == 9
    assert len(fit(coarse, 0.5, longer=math.inf)) < 4
    assert len(fit(fine, 0.5)) < 4


def test_a_spike_that_comes_back_to_where_it_began_is_fitted_without_a_word() -> None:
    """Warnings are errors here: a chord of next to no length has no digits to divide by."""
    for width in (1e-8, 1e-9, 1e-12):
        points = np.array([(0.0, 0.0), (0.5 * width, 5.0), (width, 0.0)])
        assert apart(points, fit(points, 0.02)) <= 0.02
