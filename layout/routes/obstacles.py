"""What a line has to go round: every feature grown by its setback, with straight edges all round.

A line is laid of straight pipe and elbows, so a round corner of a setback is drawn as edges that touch the true arc
from outside and turn by at most the smallest elbow: never inside the true setback, and outside it by at most 2 % of
it, at the corners between the edges. Arcs of less than 1.5 m radius may have fewer and sharper corners, up to square
ones and 0.15 m outside, so that elbows do not stand nearer together than they can be laid.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import XY, Feature
from layout.plane import TOLERANCE, Array, areal, coordinates, union

STEP = math.radians(22.5)
"""Greatest turn at a corner of a grown shape: the smallest elbow."""
SHORT = 0.3
"""Least distance from corner to corner on a grown shape [m]: nearer to each other no two elbows can be laid."""
SHARP = math.radians(90.0)
"""Greatest turn at a corner where the shape is grown so little that smaller ones would stand too near together."""
LEAST = 2 * TOLERANCE
"""How far a line stays off a shape that has no setback [m]: enough not to touch it."""
CRACK = 1e-7
"""By how much a grown shape is widened all round [m]: it closes the cracks that rounding leaves between its pieces, and
keeps its edge from coming inside the setback."""
STRAIGHT = 1e-9
"""A turn below this is none [rad]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """A shape to keep away from.

    Attributes
    ----------
    name : str
        As a report names it: ``dwelling``.
    shape : Point, LineString or Polygon
        [m].
    distance : float
        How far a pipe stays from it [m].
    """

    name: str
    shape: BaseGeometry
    distance: float


def obstacles_of(features: Iterable[Feature], *, start: XY) -> tuple[Obstacle, ...]:
    """What of a site's features a line has to keep away from: all, by their setbacks, but the one that it starts in.

    Parameters
    ----------
    features : iterable of Feature
    start : (x, y)
        Where the line starts, as in its pump tank [m].

    Returns
    -------
    tuple of Obstacle
        In the order of the features.
    """
    here = shapely.points(start)
    return tuple(
        Obstacle(name=feature.name, shape=feature.shape, distance=max(feature.setback, LEAST))
        for feature in features
        if feature.shape.distance(here) >= TOLERANCE
    )


def grown(shape: BaseGeometry, distance: float) -> Polygon | MultiPolygon:
    """A shape with all ground nearer to it than a distance, its round corners drawn as edges outside the true arcs.

    Parameters
    ----------
    shape : Point, LineString or Polygon
        [m].
    distance : float
        Over 0 [m].

    Returns
    -------
    Polygon or MultiPolygon
        Holds the true zone whole; beyond a corner it reaches by at most 1 / cos(11.25°) − 1 = 2 % of the distance, or
        by 0.15 m where that is more.

    Examples
    --------
    >>> round(grown(shapely.Point(0, 0), 1.0).area, 4)  # sixteen sides about the unit circle
    3.1826
    """
    drawn: list[BaseGeometry] = []
    pieces: list[Array] = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Point":
            pieces.append(_disc(coordinates(part)[0], distance))
            continue
        rings = part.geom_type == "Polygon"
        if rings:
            drawn.append(part)
        for line in shapely.get_parts(part.boundary if rings else part):
            pieces += _band(coordinates(line), distance, closed=rings or line.is_closed)
    corners = np.repeat(np.arange(len(pieces)), [len(piece) for piece in pieces])
    edges = shapely.linearrings(np.vstack(pieces), indices=corners)
    drawn += np.asarray(shapely.polygons(edges), dtype=object).tolist()
    return areal(union(drawn).buffer(CRACK, join_style="mitre"))


def _band(points: Array, radius: float, *, closed: bool) -> Iterator[Array]:
    """The corners of the ground beside a polyline, a rectangle to each segment and a fan of edges round each corner.

    Neighbours share their corners to the last digit, so that no crack opens between them.
    """
    points = points[np.concatenate(([True], np.hypot(*np.diff(points, axis=0).T) > CRACK))]
    if len(points) < 2:
        yield _disc(points[0], radius)
        return
    step = np.diff(points, axis=0)
    way = step / np.hypot(*step.T)[:, None]
    left = np.column_stack((-way[:, 1], way[:, 0])) * radius
    start, end = points[:-1], points[1:]
    boxes = np.stack((start + left, end + left, end, end - left, start - left, start), axis=1)
    yield from boxes
    bearing = np.arctan2(way[:, 1], way[:, 0])
    for number in range(len(way) - (not closed)):
        follows = (number + 1) % len(way)
        turn = math.remainder(float(bearing[follows] - bearing[number]), 2 * math.pi)
        if abs(turn) > STRAIGHT:
            # The gap between the rectangles is on the outer side of the turn.
            side = -math.copysign(1.0, turn)
            yield _fan(end[number], side * left[number], side * left[follows], turn)
    if not closed:
        yield _fan(start[0], left[0], -left[0], math.pi)
        yield _fan(end[-1], -left[-1], left[-1], math.pi)


def _disc(middle: Array, radius: float) -> Array:
    """The corners of the circle round a point as edges that touch it."""
    count = _corners(2 * math.pi, radius)
    turns: Array = 2 * math.pi / count * np.arange(count, dtype=np.float64)
    return np.asarray(middle + _bearings(turns) * radius / math.cos(math.pi / count))


def _fan(middle: Array, first: Array, last: Array, sweep: float) -> Array:
    """The corners of a sector about a point from one arm to another, its arc as edges that touch it."""
    count = _corners(abs(sweep), math.hypot(*first))
    step = sweep / count
    turns: Array = math.atan2(first[1], first[0]) + step * (np.arange(count, dtype=np.float64) + 0.5)
    edge = _bearings(turns) * math.hypot(*first) / math.cos(step / 2)
    return np.asarray(middle + np.vstack((np.zeros(2), first, edge, last)))


def _corners(sweep: float, radius: float) -> int:
    """Find how many corners stand for an arc: turning by little each, but not too near together."""
    count = math.ceil(sweep / STEP - 1e-9)
    least = max(math.ceil(sweep / SHARP - 1e-9), 1)
    while count > least and 2 * radius * math.tan(sweep / count / 2) < SHORT:
        count -= 1
    return max(count, least)


def _bearings(turns: Array) -> Array:
    return np.column_stack((np.cos(turns), np.sin(turns)))
