"""The long sides and the ends of a bed, found by its trunk or, where it has none, by the rectangle round it."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from layout.model import XY, Sides, xy
from layout.motion import Motion
from layout.plane import Array, coordinates, stations
from layout.sides.box import boxed_sides, principal_axis
from layout.sides.ends import ends_of
from layout.sides.ring import Ring, dense_ring
from layout.sides.trunk import centre_of, trunk_of

LEAST_TRUNK = 0.35
"""Trunk length over mean width below which a bed has no long direction."""


def find_sides(outline: Polygon, *, toward: XY, far: bool = False) -> Sides:
    """Split an outline into two long sides and two ends.

    Parameters
    ----------
    outline : Polygon
        Valid, without holes, counter-clockwise [m].
    toward : (x, y)
        The manifold stands at the end nearer to this point [m].
    far : bool
        The other end instead.

    Returns
    -------
    Sides
        Left and right as seen from the manifold end, looking along the bed.
    """
    upright = _upright(outline, toward)
    found = _found(
        shapely.orient_polygons(upright.turn(Polygon(outline.exterior))),
        toward=xy(upright.turn(Point(toward))),
        far=far,
    )
    left, right, near, far_end, centre = (
        upright.back(line) for line in (found.left, found.right, found.near, found.far, found.centre)
    )
    if upright.mirrored:
        left, right, near, far_end = right, left, near.reverse(), far_end.reverse()
    return Sides(left=left, right=right, near=near, far=far_end, centre=centre, certain=found.certain)


def _upright(outline: Polygon, toward: XY) -> Motion:
    """The motion that lays a bed along its principal axis, so that sides do not hang on how a bed is turned.

    The manifold end comes first, and the side to which the bed bellies out comes to the left.
    """
    middle = outline.centroid
    centre = complex(middle.x, middle.y)
    axis = principal_axis(outline) or 1 + 0j
    if ((complex(*toward) - centre) / axis).real > 0:
        axis = -axis
    points = coordinates(
        Motion(centre, axis).turn(shapely.segmentize(outline.exterior, outline.length / 400))
    )
    size = np.hypot(*np.diff(points, axis=0).T)
    lean = float((((points[:-1] + points[1:]) / 2)[:, 1] ** 3 * size).sum())
    return Motion(centre, axis, mirrored=lean < 0)


def _found(outline: Polygon, *, toward: XY, far: bool) -> Sides:
    """The sides of a bed in its own axes."""
    width = 2.0 * outline.area / outline.length
    ring = dense_ring(outline, width / 6.0)
    trunk = trunk_of(outline, ring)
    if trunk is None or stations(trunk)[-1] < LEAST_TRUNK * width:
        return boxed_sides(outline, toward=toward, far=far)
    ends = ends_of(outline, ring, trunk)
    if ends is None:
        return boxed_sides(outline, toward=toward, far=far)
    return _assemble(ring, *ends, trunk, toward=toward, far=far)


def _assemble(
    ring: Ring, end0: tuple[float, float], end1: tuple[float, float], trunk: Array, *, toward: XY, far: bool
) -> Sides:
    """Name the four stretches, seen from the manifold end. The ring is counter-clockwise."""
    gap0, gap1 = (LineString(_two(ring.between(*end))) for end in (end0, end1))
    target = shapely.Point(toward)
    near_is_1 = shapely.distance(gap1, target) < shapely.distance(gap0, target) - 1e-9
    if near_is_1 != far:
        end0, end1, trunk = end1, end0, trunk[::-1]
    right = ring.between(end0[1], end1[0])
    left = ring.between(end1[1], end0[0])[::-1]
    near = _two(ring.between(*end0))
    far_end = _two(ring.between(*end1))[::-1]
    return Sides(
        left=LineString(left),
        right=LineString(right),
        near=LineString(near),
        far=LineString(far_end),
        centre=LineString(centre_of(left, right, near, far_end, trunk)),
    )


def _two(points: Array) -> Array:
    """A pointed end has no length: give it two equal points, so that it stays a line."""
    return points if len(points) > 1 else np.vstack((points, points))
