"""Whether a loop can be laid between two run ends: straight, or along the limit of the ground that it would pass.

What laterals are joined by must be known here already, where rows beyond obstacles and necks rely on it: reach and
clearance are the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from layout.model.laws import LOOP_LAW
from layout.plane import coordinates, polygons_of, stretch, union
from layout.runs.nearby import Nearby
from layout.runs.rings import RING_STEP
from layout.runs.trim import Ground

LOOP_REACH, LOOP_SHARE = 4.0, 0.3
"""A loop may be so many spacings long, or this share of the two lines it ties."""
LOOP_DETOUR = 2.0
"""A loop that follows a limit may be this × as long."""


class Loops:
    """Loops on some ground."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.limits = ground.limits
        shapely.prepare(self.limits)
        self._laid: dict[tuple[int, int, int, int], _Laid] = {}

    @cached_property
    def rings(self) -> list[LineString]:
        """The edges of the usable ground, each as a closed line."""
        ground = self.ground.outline.buffer(-self.ground.clearance, quad_segs=64)
        parts = polygons_of(ground.difference(self.ground.kept_clear))
        return [LineString(ring.coords) for part in parts for ring in (part.exterior, *part.interiors)]

    @cached_property
    def allowed(self) -> BaseGeometry:
        """The ground, larger by rounding."""
        found = self.limits.buffer(1e-6)
        shapely.prepare(found)
        return found

    def limits_about(self, place: BaseGeometry) -> BaseGeometry:
        """The limits within the box round a place: of very many setback zones only those there are looked at."""
        box = shapely.box(*place.bounds)
        near = self._zones.geometries[self._zones.query(box)]
        return shapely.intersection(self._inside, box).difference(union(near))

    @cached_property
    def _inside(self) -> BaseGeometry:
        """The limits as if there were no setbacks."""
        return self.ground.outline.buffer(-self.ground.slack, quad_segs=32)

    @cached_property
    def _zones(self) -> shapely.STRtree:
        """Setback zones by where they are."""
        return shapely.STRtree(polygons_of(self.ground.kept_clear))

    @cached_property
    def _rings_near(self) -> shapely.STRtree:
        """The edges by where they are: past very many obstacles few are near."""
        return shapely.STRtree(self.rings)

    def between(
        self,
        tips: tuple[LineString, LineString],
        ends: tuple[int, int],
        *,
        tubing: Nearby,
        beside: float = LOOP_LAW,
    ) -> LineString | None:
        """Lay a loop between an end of one run and an end of another.

        Parameters
        ----------
        tips : (LineString, LineString)
            The runs.
        ends : (int, int)
            0 or -1: which end of each.
        tubing : Nearby
            That the loop may not come near, but for the two runs.
        beside : float
            How near, in spacings.

        Returns
        -------
        LineString or None
            None where the ends lie too far apart, or no loop keeps clear.
        """
        key = (id(tips[0]), id(tips[1]), *ends)
        if key not in self._laid:
            self._laid[key] = self._lay(tips, ends)
        laid = self._laid[key]
        if laid.loop is None:
            return None
        others = tubing.within(laid.inner, beside * self.ground.spacing)
        return laid.loop if all(line is tips[0] or line is tips[1] for line in others) else None

    def _lay(self, tips: tuple[LineString, LineString], ends: tuple[int, int]) -> _Laid:
        """Lay a loop that keeps to the ground, whatever other tubing there is."""
        one, other = tips
        none = _Laid(tips, None, LineString())
        shapely.prepare(tips)
        points = [shapely.get_point(tip, end) for tip, end in zip(tips, ends, strict=True)]
        reach, loop = LOOP_REACH * self.ground.spacing, LineString(points)
        if one.dwithin(points[1], reach) or other.dwithin(points[0], reach):
            reach = max(reach, LOOP_SHARE * (one.length + other.length))
        if not 0 < loop.length <= reach:
            return none
        if not self.limits.covers(_inner(loop)):
            along = self._along_limit(points)
            if along is None or along.length > LOOP_DETOUR * reach:
                return none
            loop = along
        inner = _inner(loop)
        return none if one.intersects(inner) or other.intersects(inner) else _Laid(tips, loop, inner)

    def _along_limit(self, ends: Sequence[Point]) -> LineString | None:
        """The shorter way along the limit of the ground between two points that stand at it."""
        near = np.sort(self._rings_near.query(ends[0], predicate="dwithin", distance=self.ground.spacing))
        rings = [self.rings[k] for k in near]
        away = [sum(float(ring.distance(end)) for end in ends) for ring in rings]
        if not away or min(away) > self.ground.spacing:
            return None
        ring = rings[int(np.argmin(away))]
        a, b = sorted(float(ring.project(end)) for end in ends)
        ways = [stretch(ring, a, b)] if b > a else []
        rest = [
            coordinates(stretch(ring, *span)) for span in ((b, ring.length), (0.0, a)) if span[1] > span[0]
        ]
        if rest:
            ways.append(LineString(np.vstack(rest)))
        return min(ways, key=lambda way: way.length, default=None)


@dataclass(frozen=True, slots=True)
class _Laid:
    """A loop between two runs, if there is one on the ground that touches neither, and the loop without its ends.

    The runs are kept, for loops are found again by who they are.
    """

    tips: tuple[LineString, LineString]
    loop: LineString | None
    inner: LineString


def _inner(loop: LineString) -> LineString:
    """A loop without its very ends."""
    return stretch(loop, 1e-3 * loop.length, (1 - 1e-3) * loop.length)


ROUND = 0.9 * RING_STEP
"""Least distance to other tubing from a loop that leads a row round an obstacle, in spacings."""
