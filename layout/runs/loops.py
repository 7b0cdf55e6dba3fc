"""Whether a loop can be laid between two run ends: straight, or along the limit of the ground that it would pass.

What laterals are joined by must be known here already, where rows beyond obstacles and necks rely on it: reach and
clearance are the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property

import numpy as np
import shapely
from shapely import LineString, Point

from layout.plane import coordinates, polygons_of, stretch
from layout.runs.rings import RING_STEP
from layout.runs.trim import Ground

LOOP_REACH, LOOP_SHARE = 4.0, 0.3
"""A loop may be so many spacings long, or this share of the two lines it ties."""
LOOP_DETOUR = 2.0
"""A loop that follows a limit may be this × as long."""
LOOP_BESIDE = 0.1
"""Least distance from a loop to tubing that it does not tie, in spacings."""


class Loops:
    """Loops on some ground."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.limits = ground.limits
        shapely.prepare(self.limits)

    @cached_property
    def rings(self) -> list[LineString]:
        """The edges of the usable ground, each as a closed line."""
        ground = self.ground.outline.buffer(-self.ground.clearance, quad_segs=64)
        parts = polygons_of(ground.difference(self.ground.kept_clear))
        return [LineString(ring.coords) for part in parts for ring in (part.exterior, *part.interiors)]

    def between(
        self,
        tips: tuple[LineString, LineString],
        ends: tuple[int, int],
        *,
        tubing: Iterable[LineString],
        beside: float = LOOP_BESIDE,
    ) -> LineString | None:
        """Lay a loop between an end of one run and an end of another.

        Parameters
        ----------
        tips : (LineString, LineString)
            The runs.
        ends : (int, int)
            0 or -1: which end of each.
        tubing : iterable of LineString
            That the loop may not come near, but for the two runs.
        beside : float
            How near, in spacings.

        Returns
        -------
        LineString or None
            None where the ends lie too far apart, or no loop keeps clear.
        """
        one, other = tips
        points = [Point(tip.coords[end]) for tip, end in zip(tips, ends, strict=True)]
        reach, loop = LOOP_REACH * self.ground.spacing, LineString(points)
        if min(one.distance(points[1]), other.distance(points[0])) <= reach:
            reach = max(reach, LOOP_SHARE * (one.length + other.length))
        if not 0 < loop.length <= reach:
            return None
        if not self.limits.covers(_inner(loop)):
            along = self._along_limit(points)
            if along is None or along.length > LOOP_DETOUR * reach:
                return None
            loop = along
        inner = _inner(loop)
        if inner.intersects(one) or inner.intersects(other):
            return None
        others = [line for line in tubing if line is not one and line is not other]
        near = shapely.dwithin(np.asarray(others, dtype=object), inner, beside * self.ground.spacing)
        return None if np.any(near) else loop

    def _along_limit(self, ends: Sequence[Point]) -> LineString | None:
        """The shorter way along the limit of the ground between two points that stand at it."""
        away = [sum(float(ring.distance(end)) for end in ends) for ring in self.rings]
        if not away or min(away) > self.ground.spacing:
            return None
        ring = self.rings[int(np.argmin(away))]
        a, b = sorted(float(ring.project(end)) for end in ends)
        ways = [stretch(ring, a, b)] if b > a else []
        rest = [
            coordinates(stretch(ring, *span)) for span in ((b, ring.length), (0.0, a)) if span[1] > span[0]
        ]
        if rest:
            ways.append(LineString(np.vstack(rest)))
        return min(ways, key=lambda way: way.length, default=None)


def _inner(loop: LineString) -> LineString:
    """A loop without its very ends."""
    return stretch(loop, 1e-3 * loop.length, (1 - 1e-3) * loop.length)


ROUND = 0.9 * RING_STEP
"""Least distance to other tubing from a loop that leads a row round an obstacle, in spacings."""
