"""Loops: straight blank tubing between neighbouring ends, or along the limits that a straight would break."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import XY, Bed
from layout.model.laws import EDGE_LAW, LOOP_LAW
from layout.plane import TOLERANCE, coordinates, points_between, stretch

REACH_SPACINGS = 4.0
"""A loop may always reach this far, in row spacings."""
REACH_SHARE = 0.3
"""... and from a line to the one beside it this share of both their lengths: where a bed tapers, the ends of
neighbours lie far apart along them."""
DETOUR = 2.0
"""A loop that follows a limit may be this × its straight reach."""
TIP = LOOP_LAW / 2
"""So near to its ends a loop may touch the runs that it ties [row spacings]."""
ROUNDING = 1e-9
"""What the coordinates of a run end may be out by [m]."""


class Loops:
    """Where loops may lie: clear of all runs, of the bed's edge and of setback zones.

    Parameters
    ----------
    runs : sequence of LineString
        [m].
    spacing : float
        Row spacing [m].
    bed : Bed or None
        None: no edge to keep clear of.
    kept_clear : MultiPolygon or None
        Setback zones [m].
    """

    def __init__(
        self, runs: Sequence[LineString], *, spacing: float, bed: Bed | None, kept_clear: MultiPolygon | None
    ) -> None:
        self._runs = shapely.STRtree(list(runs))
        self._spacing = spacing
        self._bed = bed
        self._kept_clear = kept_clear or MultiPolygon()
        # A loop along the edge of a zone lies neither in it nor out of it.
        self._within = self._kept_clear.buffer(-TOLERANCE)
        self._rings = [] if bed is None else _rings(bed, self._kept_clear)
        self._near = shapely.STRtree(self._rings)
        shapely.prepare(self._kept_clear)
        if bed is not None:
            self._keep = max(bed.clearance - EDGE_LAW * spacing, 0.0) - ROUNDING
            self._edge = LineString(bed.outline.exterior.coords)
            shapely.prepare(self._edge)
            shapely.prepare(bed.outline)

    def inset(self, at: XY) -> int:
        """How far within the edge of the bed a place lies, in whole row spacings; 0 without a bed."""
        return 0 if self._bed is None else round(float(self._edge.distance(Point(at))) / self._spacing)

    def between(self, start: XY, end: XY, *, leaves: LineString, enters: LineString) -> LineString | None:
        """Lay a loop from one run's end to another's.

        Parameters
        ----------
        start, end : (x, y)
            [m].
        leaves, enters : LineString
            The runs that end there [m].

        Returns
        -------
        LineString or None
            None where the ends lie too far apart, or no loop keeps clear.
        """
        span, always = math.dist(start, end), REACH_SPACINGS * self._spacing
        if not 0 < span <= max(always, REACH_SHARE * (leaves.length + enters.length)):
            return None
        if span > always and span > self._reach(start, end, (leaves, enters)):
            return None
        for loop in self._ways(start, end, (leaves, enters)):
            if not self._barred(loop, (leaves, enters)):
                return loop
        return None

    def _reach(self, start: XY, end: XY, tied: tuple[LineString, LineString]) -> float:
        """How far a loop may reach from one run's end to another's [m]."""
        (leaves, enters), reach = tied, REACH_SPACINGS * self._spacing
        if min(leaves.distance(Point(end)), enters.distance(Point(start))) > reach:
            return reach
        return max(reach, REACH_SHARE * (leaves.length + enters.length))

    def _ways(self, start: XY, end: XY, tied: tuple[LineString, LineString]) -> Iterator[LineString]:
        """The straight way from one end to the other, then the one along a limit, each where no limit forbids it."""
        straight = LineString([start, end])
        if self._clear(straight):
            yield straight
        along = self._along_limit(start, end)
        if along is None or along.length > DETOUR * self._reach(start, end, tied) or not self._inside(along):
            return
        if not self._within.intersects(along):
            yield along

    def _barred(self, loop: LineString, tied: Sequence[LineString]) -> bool:
        """Whether a loop would cross the runs that it ties, or come near to other tubing.

        It may touch what it ties right where it leaves it: a run that ends aslant on a limit, and the loop that
        turns back along that limit, lie on each other there.
        """
        length = float(shapely.length(loop))
        tip = min(TIP * self._spacing, length / 3)
        ends = coordinates(loop)
        if len(ends) == 2:
            step = tip / length * (ends[1] - ends[0])
            loop = LineString((ends[0] + step, ends[1] - step))
        else:
            loop = stretch(loop, tip, length - tip)
        near = self._runs.query(loop, predicate="dwithin", distance=LOOP_LAW * self._spacing)
        lines = [self._runs.geometries[k] for k in near.tolist()]
        return any(not any(line is run for run in tied) or line.intersects(loop) for line in lines)

    def _clear(self, loop: LineString) -> bool:
        """Whether a straight loop keeps every setback and the clearance to the edge."""
        if not self._inside(loop):
            return False
        if not self._kept_clear.intersects(loop):
            return True
        return float(loop.intersection(self._kept_clear).length) <= 1e3 * ROUNDING

    def _inside(self, loop: LineString) -> bool:
        """Whether a loop keeps its clearance to the edge."""
        if self._bed is None:
            return True
        return (
            bool(self._bed.outline.covers(loop)) and float(shapely.distance(self._edge, loop)) >= self._keep
        )

    def _along_limit(self, start: XY, end: XY) -> LineString | None:
        """Find the shorter way from one point to the other along the ring of usable ground next to both."""
        one, other = Point(start), Point(end)
        near = [
            (ring.distance(one) + ring.distance(other), number)
            for number in self._near.query(one, predicate="dwithin", distance=self._spacing).tolist()
            for ring in (self._rings[number],)
        ]
        if not near or min(near)[0] > self._spacing:
            return None
        ring = self._rings[min(near)[1]]
        first, last = ring.project(one), ring.project(other)
        low, high = min(first, last), max(first, last)
        inner = points_between(ring, low, high)
        outer = [*points_between(ring, high, float(ring.length)), *points_between(ring, 0.0, low)]
        ways = []
        for way in (inner if first < last else inner[::-1], outer[::-1] if first < last else outer):
            points = [start]
            points += [(x, y) for x, y in way if math.dist((x, y), points[-1]) > 1e-6]
            if math.dist(points[-1], end) <= 1e-6 and len(points) > 1:
                points.pop()
            ways.append(LineString([*points, end]))
        return min(ways, key=lambda line: float(line.length))


def _rings(bed: Bed, kept_clear: BaseGeometry) -> list[LineString]:
    """Find the edges of the usable ground, each as a closed line."""
    ground = bed.outline.buffer(-bed.clearance, quad_segs=64).difference(kept_clear)
    parts = [part for part in shapely.get_parts(ground) if isinstance(part, Polygon)]
    return [LineString(ring.coords) for part in parts for ring in (part.exterior, *part.interiors)]
