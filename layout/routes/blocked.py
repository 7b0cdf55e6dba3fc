"""What closes every way from the pump to a manifold: the setbacks, or the bed, without which one would be open."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from layout.model import XY, xy
from layout.plane import polygons_of
from layout.routes.ground import BED, Ground
from layout.ways import free_ground

BESIDE = 1.0
"""How near to a place a zone stands that may shut it in [m]."""

Named = tuple[str, BaseGeometry]


def closed_by(ground: Ground, feed: XY) -> tuple[tuple[tuple[str, XY], ...], bool]:
    """Find what stands in the way of a line for which there is none.

    Obstacles are taken away one at a time; where no single one opens the way, two at a time; where no two do, all
    that stand about the pump or about the manifold are named.

    Parameters
    ----------
    ground : Ground
    feed : (x, y)
        Where the line would meet its manifold [m].

    Returns
    -------
    closed_by : tuple of (str, (x, y))
        Names, each with the point of its zone that is nearest to the pump [m].
    alone : bool
        Whether taking away any one of them would do.
    """
    obstacles = ground.obstacles
    zones = ground.zones(half=0.0, beside_bed=0.0)
    named: list[Named] = list(zip([*(item.name for item in obstacles), BED], zones, strict=True))
    start, end = ground.landing(ground.pump, zones), ground.landing(feed, zones)
    if start is None or end is None:
        place = ground.pump if start is None else feed
        beside = _shutting(ground, named, place)
        return ((BED, place), *_places(beside, place)), True
    if _open(named, [], start, end):
        # There is a way to free ground by the manifold; the last of it is closed, by a feature or else by tubing.
        last = LineString([end, feed])
        across = [item for item in obstacles if ground.zone_beside(item, feed).intersects(last)]
        return tuple((item.name, feed) for item in across) or ((BED, feed),), len(across) < 2
    about = _about(named, start, end)
    singles = [item for item in about if _open(named, [item], start, end)]
    if singles:
        return _places(singles, ground.pump), True
    pairs = [pair for pair in itertools.combinations(about, 2) if _open(named, pair, start, end)]
    if pairs:
        return _places(pairs[0], ground.pump), False
    return _places(about, ground.pump), False


def _shutting(ground: Ground, named: Sequence[Named], place: XY) -> list[Named]:
    """Give the obstacles that stand where a line would leave a place without crossing tubing, were they taken away."""
    about = [item for item in named if item[0] != BED and item[1].distance(Point(place)) < BESIDE]
    return [
        item for item in about if ground.landing(place, [zone for name, zone in named if name != item[0]])
    ]


def _about(named: Sequence[Named], start: XY, end: XY) -> list[Named]:
    """Give the obstacles that border on the ground about the pump or about the manifold."""
    rooms = polygons_of(free_ground([zone for _, zone in named], [start, end]))
    edges = [room.boundary for room in rooms if any(room.intersects(Point(place)) for place in (start, end))]
    return [item for item in named if any(edge.intersects(item[1]) for edge in edges)]


def _open(named: Sequence[Named], without: Sequence[Named], start: XY, end: XY) -> bool:
    """Tell whether there is a way when some of the obstacles are taken away."""
    left = [zone for name, zone in named if all(name != taken for taken, _ in without)]
    ends = shapely.points([start, end])
    return any(
        bool(np.all(shapely.covers(room, ends))) for room in polygons_of(free_ground(left, [start, end]))
    )


def _places(found: Sequence[Named], pump: XY) -> tuple[tuple[str, XY], ...]:
    here = Point(pump)
    return tuple((name, xy(Point(shapely.shortest_line(zone, here).coords[0]))) for name, zone in found)
