"""Fillets by formula, and beside what the geometry engine makes of the same corners by growing and shrinking ground."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely import LineString

from layout.plane import bend_radii
from layout.runs.fillets import filleted

Array = NDArray[np.float64]


def walked(turns: list[float], lengths: list[float]) -> Array:
    """A line by its steps, and how much it turns between them [degrees]; it begins along the x axis."""
    heading = np.radians(np.concatenate(([0.0], np.cumsum(turns))))
    steps = np.column_stack((np.cos(heading), np.sin(heading))) * np.asarray(lengths)[:, None]
    return np.vstack(([0.0, 0.0], np.cumsum(steps, axis=0)))


def rolled_by_ground(points: Array, radius: float) -> LineString:
    """The lower edge of the ground above a line, opened with a disc, and closed with it: corners both ways eased."""
    x0, x1 = points[0, 0], points[-1, 0]
    above = shapely.Polygon([*points, (x1, 500.0), (x0, 500.0)])
    for shift in (-radius, 2 * radius, -radius):
        above = above.buffer(shift, quad_segs=256)
    inner = shapely.box(x0 + 3 * radius, -400.0, x1 - 3 * radius, 400.0)
    edge = shapely.line_merge(above.exterior.intersection(inner))
    assert isinstance(edge, LineString)
    return edge


def length(points: Array) -> float:
    return float(LineString(points).length)


@pytest.mark.parametrize("turn", [10.0, 30.0, -60.0, 90.0])
def test_corner_loses_what_the_formula_says(turn: float) -> None:
    """An arc of r in a corner of t takes 2 r tan(t / 2) - r t from the way; r (1 / cos(t / 2) - 1) lie between them."""
    corner = walked([turn], [20.0, 20.0])
    smooth, left_over = filleted(corner, 3.0)
    t = math.radians(abs(turn))
    assert not len(left_over)
    # in chords of 1 / 64 of a half turn, each shorter than its arc by a share of (pi / 64)² / 24
    assert length(corner) - length(smooth) == pytest.approx(
        6 * math.tan(t / 2) - 3 * t * (1 - 1e-4), abs=2e-4
    )
    passed = LineString(smooth).distance(shapely.Point(corner[1]))
    assert passed == pytest.approx(3 * (1 / math.cos(t / 2) - 1), abs=3 * 3e-4)
    assert bend_radii(smooth, arm=0.75)[0].min() >= 0.99 * 3.0


@pytest.mark.parametrize(
    "turns",
    [
        [20.0, -35.0, 15.0],
        [12.0, 14.0, -26.0],
        [-8.0, 30.0, -22.0],
        [5.0, 6.0, 7.0, -18.0],
        [25.0, -25.0, 25.0, -25.0],
    ],
)
@pytest.mark.parametrize("apart", [1.1, 2.0, 7.0])
def test_corners_are_eased_as_ground_is(turns: list[float], apart: float) -> None:
    """Corners to one side in each other's way become one, and what is left for another means is said."""
    radius = 2.0
    line = walked(turns, [25.0, *[apart] * (len(turns) - 1), 25.0])
    smooth, left_over = filleted(line, radius)
    if len(left_over):
        assert apart < 2.0, "there is room for each"
        return
    expected = rolled_by_ground(line, radius)
    off = shapely.distance(shapely.points(shapely.get_coordinates(expected)), LineString(smooth))
    assert off.max() < 1e-3 * radius


def test_arcs_of_the_radius_and_gentle_bends_stay() -> None:
    angle = np.linspace(0.0, math.pi / 2, 33)
    arc = 2.0 * np.column_stack((np.sin(angle), 1 - np.cos(angle)))
    line = np.vstack(([[-10.0, 0.0]], arc, [[2.0, 12.0]]))
    smooth, left_over = filleted(line, 2.0)
    assert not len(left_over)
    assert np.array_equal(smooth, line)
    kink = walked([2.5, -2.5], [10.0, 10.0, 10.0])
    assert np.array_equal(filleted(kink, 2.0)[0], kink)


@pytest.mark.parametrize(
    "line",
    [
        walked([150.0], [20.0, 20.0]),  # too sharp
        walked([60.0], [0.5, 20.0]),  # no room before the end
    ],
    ids=["sharp", "at the end"],
)
def test_what_cannot_be_filleted_is_left_and_told(line: Array) -> None:
    smooth, left_over = filleted(line, 2.0)
    assert np.array_equal(smooth, line)
    assert left_over == pytest.approx([float(np.hypot(*(line[1] - line[0])))])


def test_points_twice_in_a_row_are_one() -> None:
    line = walked([30.0], [20.0, 20.0])
    smooth, left_over = filleted(line, 2.0)
    twice, left_then = filleted(np.repeat(line, 2, axis=0), 2.0)
    assert np.allclose(twice, smooth)
    assert not len(left_over)
    assert not len(left_then)
