"""Level lines and slopes on ground whose shape is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon

from layout.errors import SiteError
from layout.model import Levels
from layout.terrain import heights, level_line, slopes_along, surveyed_share

BED = Polygon([(10, 10), (50, 10), (50, 22), (10, 22)])


def surveyed(height: object, *, step: float = 3.0) -> Levels:
    """Levels on a grid about the bed."""
    xs, ys = np.meshgrid(np.arange(-10, 75, step), np.arange(-10, 45, step))
    return Levels(
        points=tuple((float(x), float(y), float(height(x, y))) for x, y in zip(xs.flat, ys.flat, strict=True))
    )  # type: ignore[operator]


def test_on_a_plane_the_level_line_is_straight_and_runs_along_it_are_level() -> None:
    levels = surveyed(lambda x, y: 100 + 0.03 * x + 0.04 * y)
    found = level_line(levels, BED)
    assert found.line is not None
    assert found.slope == pytest.approx(0.05, rel=1e-6)
    (x0, y0), (x1, y1) = found.line.coords[0], found.line.coords[-1]
    assert abs((x1 - x0) * 0.03 + (y1 - y0) * 0.04) < 1e-6 * math.hypot(x1 - x0, y1 - y0)
    assert found.line.distance(BED.centroid) < 1e-6
    (slope,) = slopes_along(levels, ["R1"], [shapely.intersection(found.line, BED)], over=1.0)
    assert slope.greatest == pytest.approx(0.0, abs=1e-6)


def test_straight_down_a_plane_the_slope_is_that_of_the_plane() -> None:
    levels = surveyed(lambda x, y: 100 + 0.05 * y + 0 * x)
    (slope,) = slopes_along(levels, ["R1"], [LineString([(30, 10), (30, 22)])], over=2.0)
    assert slope.greatest == pytest.approx(0.05, rel=1e-9)


def test_on_a_cone_the_level_line_keeps_its_distance_from_the_tip() -> None:
    tip = np.array([30.0, -60.0])
    levels = surveyed(lambda x, y: 100 - 0.1 * math.hypot(x - tip[0], y - tip[1]), step=1.5)
    found = level_line(levels, BED)
    assert found.line is not None
    inside = shapely.intersection(found.line, BED)
    reach = np.hypot(*(shapely.get_coordinates(inside) - tip).T)
    assert np.ptp(reach) < 0.05


@pytest.mark.parametrize(
    ("levels", "why"),
    [
        (Levels(uniform=100.0), "one number"),
        (surveyed(lambda x, y: 100.0 + 0 * x * y), "flat"),
    ],
)
def test_flat_ground_has_no_line_and_says_why(levels: Levels, why: str) -> None:
    found = level_line(levels, BED)
    assert found.line is None
    assert why in found.why


def test_levels_in_one_line_make_no_surface() -> None:
    with pytest.raises(SiteError, match="no surface"):
        level_line(Levels(points=((0, 0, 1), (10, 10, 2), (20, 20, 3))), BED)


def test_beyond_the_surveyed_points_nothing_is_made_up() -> None:
    levels = Levels(points=((10, 10, 1), (30, 10, 1), (30, 22, 2), (10, 22, 2)))
    assert surveyed_share(levels, BED) == pytest.approx(0.5)
    assert np.isnan(heights(levels, np.array([[45.0, 15.0]]))[0])
