"""What stands in the way of rows: setback zones in the bed, and hollows of its outline."""

from __future__ import annotations

import shapely
from shapely import Point, Polygon

from layout.plane import polygons_of
from layout.runs.trim import Ground


def obstacles(ground: Ground) -> list[Polygon]:
    """Setback zones that reach into the bed, and the hollows of its outline with the clearance round them."""
    zones = [zone for zone in polygons_of(ground.kept_clear) if zone.intersects(ground.outline)]
    hollows = polygons_of(ground.outline.convex_hull.difference(ground.outline))
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
    for share in (0.99, 0.75, 0.5, 0.35, 0.2, 0.1):
        radius = share * inradius
        opened = zone.buffer(-radius, quad_segs=16).buffer(radius, quad_segs=16)
        if not opened.is_empty and zone.difference(opened.buffer(0.02 * radius)).is_empty:
            return radius
    return 0.0
