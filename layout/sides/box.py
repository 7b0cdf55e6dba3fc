"""Straight sides, from the smallest rectangle round a bed, for beds that no curve suits."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString, Polygon

from layout.model import XY, Sides
from layout.plane import Array, coordinates

ALONG = np.radians(1.0)
"""An edge within this of a direction runs along it [rad]."""
LEANING = 0.2
"""Least share of an outline that runs along or across its smallest rectangle, for that one to be the bed's own."""


def straight_sides(outline: Polygon, *, toward: XY, far: bool = False) -> Sides:
    """Straight sides from the smallest enclosing rectangle, for beds that no curve suits.

    Parameters and result as for :func:`find_sides`; `certain` is False.
    """
    return boxed_sides(shapely.orient_polygons(Polygon(outline.exterior)), toward=toward, far=far)


def boxed_sides(outline: Polygon, *, toward: XY, far: bool) -> Sides:
    """The long edges of a rectangle round the bed as sides, its short ones as ends."""
    corner = _rectangle(outline)
    edge = np.hypot(*(np.roll(corner, -1, axis=0) - corner).T)
    if edge[0] < edge[1]:
        corner = np.roll(corner, -1, axis=0)
    low0, low1, high1, high0 = corner
    target = np.array(toward)
    near_first = np.hypot(*((low0 + high0) / 2 - target)) <= np.hypot(*((low1 + high1) / 2 - target)) + 1e-9
    if near_first == far:
        low0, low1, high0, high1 = high1, high0, low1, low0
    return Sides(
        left=LineString([high0, high1]),
        right=LineString([low0, low1]),
        near=LineString([high0, low0]),
        far=LineString([high1, low1]),
        centre=LineString([(high0 + low0) / 2, (high1 + low1) / 2]),
        certain=False,
    )


def _rectangle(outline: Polygon) -> Array:
    """The corners, counter-clockwise, of the smallest rectangle round a bed, where some of its edge runs along it.

    Else that rectangle leans on any edge of the hull, though it be a chord of a curve; then the rectangle lies along
    the bed's principal axis, about which its area turns most easily.
    """
    box = shapely.orient_polygons(Polygon(coordinates(shapely.minimum_rotated_rectangle(outline))))
    corner = coordinates(box.exterior)[:4]
    step = np.diff(coordinates(outline.exterior), axis=0)
    edges = step[:, 0] + 1j * step[:, 1]
    axis = complex(*(corner[1] - corner[0]))
    off = np.abs(np.angle((edges[np.abs(edges) > 0] / axis) ** 4)) / 4  # from the nearest of four directions
    size = np.abs(edges[np.abs(edges) > 0])
    heading = principal_axis(outline)
    if heading is None or size[off < ALONG].sum() >= LEANING * size.sum():
        return corner
    turned = coordinates(outline.exterior) @ np.array(
        [[heading.real, -heading.imag], [heading.imag, heading.real]]
    )
    (x0, y0), (x1, y1) = turned.min(axis=0), turned.max(axis=0)
    back = np.array([[heading.real, heading.imag], [-heading.imag, heading.real]])
    return np.asarray(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) @ back)


def principal_axis(outline: Polygon) -> complex | None:
    """Direction of the long principal axis of a bed's area; None where it has none to speak of."""
    centre = outline.centroid
    points = coordinates(outline.exterior) - [centre.x, centre.y]
    (x0, y0), (x1, y1) = points[:-1].T, points[1:].T
    cross = x0 * y1 - x1 * y0
    xx, yy = ((a * a + a * b + b * b) @ cross / 12 for a, b in ((x0, x1), (y0, y1)))
    xy = (x0 * y1 + 2 * x0 * y0 + 2 * x1 * y1 + x1 * y0) @ cross / 24
    spread = math.hypot(xx - yy, 2 * xy)
    if spread < 0.2 * abs(xx + yy):
        return None
    if cross.sum() < 0:
        xx, yy, xy = -xx, -yy, -xy
    return complex(np.exp(0.5j * math.atan2(2 * xy, xx - yy)))
