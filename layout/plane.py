"""Plane geometry the stages share: resampling, densifying, bends, parts of overlays. Coordinates in [m]."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

TOLERANCE = 1e-3
"""Distances below this are one point [m]: a millimetre, far below any tape."""

GENTLE_TURN = np.radians(12.0)
"""Turning over half a bend radius that is no tight bend however it is spread: a kink of 14.9 degrees would be [rad]."""

Array = NDArray[np.float64]
Geometries = NDArray[np.object_]
"""Many geometries."""


def coordinates(geometry: BaseGeometry) -> Array:
    """The coordinates of a geometry, shape (n, 2) [m]."""
    return np.asarray(shapely.get_coordinates(geometry), dtype=np.float64)


def lines_of(geometry: BaseGeometry) -> list[LineString]:
    """The lines of any overlay result, merged end to end, longer than nothing, in the order found."""
    if isinstance(geometry, LineString) and not isinstance(geometry, LinearRing):
        return [geometry] if geometry.length > 0 else []
    parts = [
        part
        for part in shapely.get_parts(geometry)
        if part.geom_type in {"LineString", "LinearRing"} and not part.is_empty
    ]
    if not parts:
        return []
    merged = shapely.line_merge(shapely.MultiLineString([LineString(part.coords) for part in parts]))
    return [line for line in shapely.get_parts(merged) if line.length > 0]


def stretches_in(line: LineString, area: BaseGeometry) -> list[LineString]:
    """The stretches of a line that lie in an area, longer than nothing.

    Where points of a line are in line but for the last digit, the engine's overlay may give stretches far from the
    area; so it is asked only about lines that meet the area, and each stretch is tested by its middle.
    """
    if not area.intersects(line):
        return []
    found = lines_of(line.intersection(area))
    return [
        part for part in found if area.intersects(part.interpolate(0.5, normalized=True).buffer(TOLERANCE))
    ]


def polygons_of(geometry: BaseGeometry) -> list[Polygon]:
    """The polygons of any overlay result, larger than nothing, in the order found."""
    flat: list[Polygon] = []
    for part in shapely.get_parts(geometry):
        if part.geom_type == "Polygon" and part.area > 0:
            flat.append(part)
        elif part.geom_type in {"MultiPolygon", "GeometryCollection"}:
            flat.extend(polygons_of(part))
    return flat


def areal(geometry: BaseGeometry) -> Polygon | MultiPolygon:
    """Only the areas of an overlay result: one polygon, or a multipolygon that may be empty."""
    parts = polygons_of(geometry)
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def stations(line: Array) -> Array:
    """Distance along a polyline at each of its points, shape (n,) [m]."""
    steps = np.hypot(*np.diff(line, axis=0).T)
    return np.concatenate(([0.0], np.cumsum(steps)))


def pair(point: Sequence[float] | Array) -> tuple[float, float]:
    """The first two figures of a point as a plain pair [its unit], as geometry and marks take it."""
    return float(point[0]), float(point[1])


def points_at(line: Array, along: Array) -> Array:
    """Points of a polyline at given distances along it, shape (k, 2) [m]; O(n + k log n)."""
    return _at(line, stations(line), along)


def _at(line: Array, station: Array, along: Array) -> Array:
    """Points of a polyline whose stations are known."""
    return np.column_stack((np.interp(along, station, line[:, 0]), np.interp(along, station, line[:, 1])))


def stretch(line: LineString, start: float, end: float) -> LineString:
    """A line from one distance along it to another, never less than a point's width [m]."""
    along = stations(points := coordinates(line))
    end = min(max(end, start + 1e-9), along[-1])
    inner = points[(along > start) & (along < end)]
    ends = points_at(points, np.array([start, end]))
    return LineString(np.vstack((ends[:1], inner, ends[1:])))


def points_between(line: LineString, start: float, end: float) -> Array:
    """The points of a line from one distance along it on to another, shape (n, 2); one point where they are the same.

    As of the engine's own ``substring`` [m], which walks a line point by point in Python.
    """
    points = coordinates(line)
    step = np.diff(points, axis=0)
    along = np.concatenate(([0.0], np.cumsum(np.sqrt(step[:, 0] ** 2 + step[:, 1] ** 2))))[:-1]
    ends = shapely.get_coordinates(shapely.line_interpolate_point(line, [start, end]))
    if start == end or min(start, end) >= line.length:
        return np.asarray(ends[:1])
    inner = points[:-1][(along > max(start, 0.0)) & (along < end)]
    return np.vstack((ends[:1], inner, ends[1:]))


def thinned(line: LineString, within: float) -> LineString:
    """A line without the points that lie within a distance of the line through those left [m].

    The engine's simplification that keeps to the topology is ten times slower; to lines that nowhere come near
    themselves it does the same.
    """
    return shapely.simplify(line, within, preserve_topology=False)


def merged_spans(start: Array, end: Array) -> tuple[Array, Array]:
    """Overlapping spans made one, in order: their starts and their ends [m]."""
    if not len(start):
        return start, end
    order = np.argsort(start, kind="stable")
    start, reach = start[order], np.maximum.accumulate(end[order])
    new = np.concatenate(([True], start[1:] > reach[:-1]))
    return start[new], reach[np.append(np.flatnonzero(new)[1:] - 1, len(reach) - 1)]


def distances(points: Array, geometry: BaseGeometry) -> Array:
    """Distance of points from a geometry, shape (n,) [m]."""
    return np.asarray(
        shapely.distance(np.asarray(shapely.points(points), dtype=object), geometry), dtype=np.float64
    )


def resample(line: Array, step: float) -> Array:
    """A polyline walked in equal steps of at most `step` [m], both ends kept."""
    length = stations(line)[-1]
    count = max(int(np.ceil(length / step - 1e-9)), 1)
    return points_at(line, np.linspace(0.0, length, count + 1))


def bend_radii(line: Array, *, arm: float, below: float | None = None) -> tuple[Array, Array]:
    """Radius of the circle through each point of a line and its neighbours an arm away on either side.

    A kink of angle t reads arm / (2 sin(t / 2)): a tube spans a slight one, and only a real bend counts.

    Parameters
    ----------
    line : (n, 2) array
        [m].
    arm : float
        Distance along the line to the two other points [m].
    below : float or None
        Leave out places where the line turns too little for a radius below this [m].

    Returns
    -------
    radii : (k,) array
        [m], infinity where straight; empty where the line is shorter than two arms.
    at : (k, 2) array
        The middle points [m].
    """
    station = stations(line)
    length = station[-1]
    turns = None if below is None else Turns.of(line, station)
    slight = 0.0 if below is None else 2 * np.arcsin(min(arm / (2 * below), np.sqrt(0.5)))
    if length < 2 * arm or (turns is not None and turns.most_within(2 * arm) <= slight):
        return np.empty(0), np.empty((0, 2))
    along = np.concatenate((np.arange(arm, length - arm, arm / 4), [length - arm], station))
    if turns is not None:  # most of a line bends nowhere
        corner = turns.bends(2 * arm, slight)[0]
        first, last = merged_spans(corner - 1.001 * arm, corner + 1.001 * arm)
        span = np.searchsorted(first, along, side="right") - 1
        along = along[(span >= 0) & (along <= last[span])]
    along = np.unique(along[(along >= arm) & (along <= length - arm)])
    if turns is not None:
        along = along[turns.about(along, arm) > slight]
    before, middle, after = (_at(line, station, along + shift) for shift in (-arm, 0.0, arm))
    return circumradii(before, middle, after), middle


@dataclass(frozen=True, slots=True)
class Turns:
    """How far along a line its corners stand [m], and the sum of its turning, either way, up to each [rad].

    What all looks at bends begin with: two arms of a circle through three points that turn by t, however it is
    spread, read no less than a kink of t.
    """

    at: Array
    total: Array

    @classmethod
    def of(cls, line: Array, station: Array, *, side: float = 0.0) -> Turns:
        """Of a line whose stations are known, shape (n, 2) and (n,) [m]; of its turning to one side alone.

        That is 1.0 for what turns to the left, -1.0 to the right, 0 for both.
        """
        real = np.diff(station) > 0
        step = np.diff(line, axis=0)[real]
        heading = step[:, 0] + 1j * step[:, 1]
        turned = np.angle(heading[1:] * heading[:-1].conj())
        turned = np.maximum(side * turned, 0.0) if side else np.abs(turned)
        return cls(station[1:][real][:-1], np.concatenate(([0.0], np.cumsum(turned))))

    def most_within(self, span: float) -> float:
        """Greatest turning [rad] over any stretch of a length [m]."""
        return float(self.within(span).max(initial=0.0))

    def within(self, span: float) -> Array:
        """Turning [rad] over the stretch of a length [m] from each corner on, shape (n,)."""
        return self._onward(span)[1]

    def bends(self, span: float, most: float) -> tuple[Array, Array]:
        """Stretches of a length, each from a corner on, that turn by more than `most`: their starts and ends [m]."""
        until, turned = self._onward(span)
        sharp = turned > most
        return self.at[sharp], self.at[until[sharp] - 1]

    def _onward(self, span: float) -> tuple[NDArray[np.intp], Array]:
        """From each corner on the number of the first beyond a length, and the turning up to there."""
        until = np.searchsorted(self.at, self.at + span * (1 + 1e-9), side="right")
        return until, self.total[until] - self.total[:-1]

    def about(self, along: Array, arm: float) -> Array:
        """Turning within an arm of places along the line, shape (k,)."""
        arm *= 1 + 1e-9
        first = np.searchsorted(self.at, along - arm)
        return np.asarray(self.total[np.searchsorted(self.at, along + arm, side="right")] - self.total[first])


def is_gentle(points: Array, *, radius: float, turn: float = GENTLE_TURN) -> bool:
    """Whether a line turns so little that its bends need no closer look, shape (n, 2) [m].

    Where the turning over half a radius of its length stays under :data:`GENTLE_TURN`, the circle through three
    points a quarter of the radius apart is larger than the radius, however the turning is spread.
    """
    return Turns.of(points, stations(points)).most_within(radius / 2) <= turn


def are_gentle(lines: Sequence[LineString], *, radius: float) -> NDArray[np.bool_]:
    """Which of many lines are gentle for a bend radius [m]; see :func:`is_gentle`."""
    points, line = shapely.get_coordinates(np.asarray(lines, dtype=object), return_index=True)
    step = np.diff(points, axis=0)
    real = (line[1:] == line[:-1]) & step.any(axis=1)
    step, line = step[real], line[:-1][real]
    heading = step[:, 0] + 1j * step[:, 1]
    bent = line[1:] == line[:-1]
    # all lines one after the other, so far apart that no stretch reaches from one into the next
    at = np.cumsum(np.abs(heading))[:-1] + radius * line[:-1]
    turned = np.where(bent, np.abs(np.angle(heading[1:] * heading[:-1].conj())), 0.0)
    most = Turns(at, np.concatenate(([0.0], np.cumsum(turned)))).within(radius / 2)
    found = np.ones(len(lines), dtype=bool)
    found[line[:-1][bent & (most > GENTLE_TURN)]] = False
    return found


def circumradii(before: Array, middle: Array, after: Array) -> Array:
    """Radius of the circle through three points each, shape (k,) [m]; infinity where they lie in line."""
    to_middle, to_after = middle - before, after - before
    cross = np.abs(to_middle[:, 0] * to_after[:, 1] - to_middle[:, 1] * to_after[:, 0])
    sides = np.hypot(*to_middle.T) * np.hypot(*to_after.T) * np.hypot(*(after - middle).T)
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = np.where(cross > 1e-12 * sides, sides / (2 * cross), np.inf)
    return np.asarray(radius, dtype=np.float64)


def unit(vectors: Array) -> Array:
    """Vectors scaled to a length of 1 [1], shape (n, 2); those of no length stay so."""
    return np.asarray(vectors / np.maximum(np.hypot(*vectors.T), 1e-12)[:, None])


def union(geometries: Iterable[BaseGeometry]) -> BaseGeometry:
    """The union of geometries; an empty collection for none (the engine itself gives None)."""
    found = list(geometries)
    return shapely.union_all(found) if found else MultiPolygon()
