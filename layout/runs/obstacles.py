"""What stands in the way of rows: setback zones in the bed, and hollows of its outline."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Point, Polygon

from layout.plane import polygons_of
from layout.runs.carried import Box
from layout.runs.trim import Ground

SHARES = (0.99, 0.75, 0.5, 0.35, 0.2, 0.1)
"""Radii that corners are tried with, in those of the largest disc in the zone."""
MISSED = 0.02
"""What a disc may leave of a corner, in radii."""
CHORDS = 0.002
"""What arcs drawn in chords may add to that."""


def obstacles(ground: Ground, across: Sequence[Box]) -> list[Polygon]:
    """Setback zones that reach into the bed, and the hollows of its outline with the clearance round them.

    Only those that may lie across some way, each given by the box that it lies in [m].
    """
    if not across:
        return []
    x0, y0, x1, y1 = np.array(across).T
    reach = ground.clearance + ground.spacing

    def may_lie_across(zone: Polygon) -> bool:
        left, low, right, high = zone.bounds
        beside = (x0 > right + reach) | (x1 < left - reach) | (y0 > high + reach) | (y1 < low - reach)
        return not bool(beside.all())

    kept_clear = filter(may_lie_across, polygons_of(ground.kept_clear))
    zones = [zone for zone in kept_clear if zone.intersects(ground.outline)]
    hollows = filter(may_lie_across, polygons_of(ground.outline.convex_hull.difference(ground.outline)))
    deep = [hollow for hollow in hollows if not hollow.buffer(-ground.spacing / 4).is_empty]
    return zones + [hollow.buffer(ground.clearance, quad_segs=32) for hollow in deep]


def middle_of(zone: Polygon, ground: Ground) -> Point:
    """The point rows pass on one side or the other: a closed obstacle's centre, an open one's mouth."""
    if ground.outline.contains(zone):
        return zone.centroid
    mouth = zone.difference(ground.outline.convex_hull)
    return (zone.difference(ground.outline) if mouth.is_empty else mouth).centroid


def blunt(zone: Polygon) -> float:
    """A radius [m] that every outward corner of the zone has at least: that of the setback's own rounding."""
    inradius = float(shapely.maximum_inscribed_circle(zone).length)
    # the smaller the radius, the sooner it is seen how sharp corners are
    sharp = (few for few in (1, 3) if is_sharper(zone, SHARES[-few] * inradius, most=SHARES[0] * inradius))
    for share in SHARES[-next(sharp, len(SHARES)) :]:
        radius = share * inradius
        opened = zone.buffer(-radius, quad_segs=16).buffer(radius, quad_segs=16)
        if not opened.is_empty and zone.difference(opened.buffer(MISSED * radius)).is_empty:
            return radius
    return 0.0


def is_sharper(zone: Polygon, radius: float, *, most: float) -> bool:
    """Whether some outward corner of the zone is for sure sharper than any radius over one and up to another [m].

    Where the corner lies d from the middles of all discs of radius r in the zone, it lies d + R - r from those of
    radius R > r: all of these have discs of radius R - r about them that are middles of the smaller ones.
    """
    inner = zone.buffer(-radius, quad_segs=16)
    shapely.prepare(inner)
    corners = shapely.points(shapely.get_coordinates(zone))
    return not bool(shapely.dwithin(inner, corners, radius + (MISSED + CHORDS) * most).all())
