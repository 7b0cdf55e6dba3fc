"""What no tape can be drawn through: buildings, tanks, wells, trees and water, points of them with a reach."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import Feature, FeatureKind
from layout.plane import Array

SOLID = frozenset(
    {FeatureKind.BUILDING, FeatureKind.WATER_BODY, FeatureKind.TANK, FeatureKind.WELL, FeatureKind.TREE}
)
"""No tape is drawn across these."""
_CLOSED = frozenset({FeatureKind.BUILDING, FeatureKind.WATER_BODY})
"""What stands in the way of a tape to a stake in it too; the stake of a line that ends in a tank stands over it."""
POINT_REACH = 0.3
"""A trunk, a well head or a lid that is given as a point is taken to reach so far round it [m]; a judgement."""
TOUCHED = 0.1
"""A tape may run through a corner by so much, or start at one that is so far inside its wall as surveyed [m]."""
FINE = 0.01
"""A tape along a wall may lie in it by so much: what rounding of coordinates makes of it [m]."""

Flags = NDArray[np.bool_]


def in_the_way(feature: Feature) -> BaseGeometry:
    """What of a feature stands in the way of a tape: its shape, or what is round a point of it [m]."""
    if isinstance(feature.shape, Point):
        return feature.shape.buffer(POINT_REACH)
    return feature.shape


def blocked_tapes(starts: Array, ends: Array, features: Sequence[Feature]) -> Flags:
    """Whether something solid lies across each of some tapes.

    A tape may start, or end, at what it would else be kept off: at a corner of a building, at a tree that is a fixed
    point, over a tank that a line ends in.

    Parameters
    ----------
    starts, ends : (n, 2) arrays
        [m].
    features : sequence of Feature
    """
    found = np.zeros(len(starts), dtype=np.bool_)
    tapes = np.atleast_1d(np.asarray(shapely.linestrings(np.stack((starts, ends), axis=1)), dtype=object))
    for item in features:
        if item.kind not in SOLID:
            continue
        shape = item.shape
        if isinstance(shape, Point):
            found |= _past_a_point(starts, ends, tapes, shape)
        elif isinstance(shape, LineString):
            shapely.prepare(shape)
            found |= shapely.crosses(shape, _shortened(starts, ends))
        else:
            through = _through(tapes, shape.buffer(-FINE))
            if item.kind not in _CLOSED:
                through &= ~shapely.contains_xy(shape, ends)
            found |= through
    return found


def _past_a_point(starts: Array, ends: Array, tapes: Array, point: Point) -> Flags:
    """Tapes that pass a point within its reach; one that starts or ends within it may come no nearer than there."""
    at = np.array([point.x, point.y])
    nearer = np.minimum(np.hypot(*(starts - at).T), np.hypot(*(ends - at).T))
    reach = np.minimum(POINT_REACH, 0.99 * nearer)
    return np.asarray(shapely.distance(tapes, point) < reach)


def _through(tapes: Array, shape: Polygon | BaseGeometry) -> Flags:
    """Tapes of which more lies in a shape than a corner that is touched."""
    found = np.zeros(len(tapes), dtype=np.bool_)
    if shape.is_empty:
        return found
    shapely.prepare(shape)
    hit = np.flatnonzero(shapely.intersects(shape, tapes))
    found[hit] = shapely.length(shapely.intersection(tapes[hit], shape)) > TOUCHED
    return found


def _shortened(starts: Array, ends: Array) -> Array:
    """Tapes without what touches a wall at their ends."""
    along = ends - starts
    share = np.minimum(TOUCHED / np.maximum(np.hypot(*along.T), 1e-9), 0.25)[:, None]
    return np.atleast_1d(
        np.asarray(
            shapely.linestrings(np.stack((starts + share * along, ends - share * along), axis=1)),
            dtype=object,
        )
    )
