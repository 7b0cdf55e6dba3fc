"""Cutting fronts to the ground: what it is, how much of it a front may use, and the rows that come of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import Sides
from layout.plane import (
    Geometries,
    areal,
    coordinates,
    lines_of,
    stretch,
    union,
)

EDGE_SLACK = 0.018
"""What a run may lie nearer to the bed's far edge than its clearance, in spacings; the law allows 0.02."""
LEAVES = 0.009
"""A run whose end lies farther than this beyond the edge, in spacings, has left the ground for good there and
is cut back to the edge; one that wavers less about the edge is only being drawn in chords."""
GAP_SHARE = 0.985
"""Least distance between runs side by side, in least gaps; the law allows 0.98."""
STILL_APART = GAP_SHARE - 1e-6
"""What is told to be too near to a run, in least gaps: one cut where it came too near lies just :data:`GAP_SHARE` off,
and the last digit must not decide."""
SWING_SLACK = 3e-4
"""Bends that deviate less than this from an arc of the bend radius are left alone, in spacings."""
SLIVER, CRUMB = 0.5, 0.05
"""A piece shorter than the first is never a run; one shorter than the second is not worth listing; in spacings."""
HAIR = 0.002
"""Where the clearance is less, rows at the very edge lie this far inside it, in spacings: on it they would fall to
shreds."""
ROUNDING = 1e-11
"""What the last digits of coordinates may take from a clearance, as a share of it."""
BEND_SHARE = 0.96
"""Least radius, in bend radii; the law allows 0.95."""


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What a front is cut to, and by what rules.

    Attributes
    ----------
    outline : Polygon
        The bed without holes [m].
    sides : Sides
    clearance, spacing, closest, radius, shortest : float
        Clearance to the edge, row spacing, least gap, bend radius, shortest run [m].
    kept_clear : BaseGeometry
        Setback zones [m].
    begins : float
        What the first row keeps from the side it follows, where that is more than the clearance [m].
    """

    outline: Polygon
    sides: Sides
    clearance: float
    spacing: float
    closest: float
    radius: float
    shortest: float
    kept_clear: BaseGeometry
    begins: float = 0.0

    @property
    def first(self) -> float:
        """Distance of the first row from the side it follows [m]."""
        return max(self.clearance, self.begins, HAIR * self.spacing)

    @property
    def inner_edge(self) -> float:
        """Distance from the far side at which rows that would pass it are led along [m]."""
        return max(self.first - EDGE_SLACK * self.spacing * 0.4, self.first / 2)

    @property
    def least(self) -> float:
        """Length of the shortest run [m]."""
        return max(self.shortest, SLIVER * self.spacing) * (1 - 1e-6)

    def region(self, *guides: LineString) -> Region:
        """The ground a front may use: that of the laws, but not cut by the sides it follows.

        A front keeps its distance from its own guide by construction. Cut there as well, a first run that
        lies just on the clearance line would fall to shreds.
        """
        edge, sides = self.outline.exterior, self.sides
        if not sides.certain:  # any part of the edge may lie along the runs
            followed = union(line.buffer(1e-6 * self.spacing) for line in guides)
            far = edge.difference(followed)
            return Region(ground=self, hard=LineString(), far=far, clearance=self.clearance).eased
        soft = [sides.left, sides.right]
        far = union([line for line in soft if not any(line is guide for guide in guides)])
        return Region(ground=self, hard=self._ends, far=far, clearance=self.clearance)

    @cached_property
    def _ends(self) -> BaseGeometry:
        """The bed's edge but for its long sides."""
        sides, edge = self.sides, self.outline.exterior
        ends = [line for line in (sides.near, sides.far) if line.length > 0]
        whole = sum(line.length for line in (sides.left, sides.right, *ends))
        if abs(whole - edge.length) <= 1e-9 * edge.length:
            return shapely.MultiLineString(ends)
        hair = 1e-6 * self.spacing  # sides of some other outline
        return edge.difference(union(line.buffer(hair) for line in (sides.left, sides.right)))

    @cached_property
    def border(self) -> BaseGeometry:
        """The bed's edge, a hair wide."""
        return self.outline.boundary.buffer(HAIR * self.spacing / 2)

    @cached_property
    def limits(self) -> BaseGeometry:
        """The ground of the laws: nothing may lie outside it."""
        return areal(self.outline.buffer(-self.slack, quad_segs=32).difference(self.kept_clear))

    @property
    def slack(self) -> float:
        """What runs keep from the bed's edge at least [m]."""
        return max(self.clearance - EDGE_SLACK * self.spacing, 0.0)


@dataclass(frozen=True, kw_only=True)
class Region:
    """Ground to cut a front to: once with the slack the law allows at the far side, once without.

    A run that lies on the very edge wavers about it by the height of the chords it is drawn in; the slack keeps
    it in one piece. Where a run leaves the ground for good it is cut back to the edge itself.

    Attributes
    ----------
    ground : Ground
    hard, far : BaseGeometry
        The parts of the bed's edge without slack and with it.
    clearance : float
        [m].
    is_eased : bool
        Whether it is what another is eased to.
    """

    ground: Ground
    hard: BaseGeometry
    far: BaseGeometry
    clearance: float
    is_eased: bool = False

    @cached_property
    def _open(self) -> BaseGeometry:
        """The bed less what lies near its hard edge, but for rounding, and in setback zones.

        An end may go on a little along the side that rows follow: the first one lies on both clearance lines there.
        """
        near = self.hard.buffer(self.clearance * (1 - ROUNDING), quad_segs=32)
        outline = self.ground.outline.difference(near)
        return outline.difference(self.ground.kept_clear)

    @cached_property
    def loose(self) -> BaseGeometry:
        """With the slack."""
        return areal(self._open.difference(self.far.buffer(self.ground.slack, quad_segs=64)))

    @cached_property
    def strict(self) -> BaseGeometry:
        """Without."""
        found = areal(self._open.difference(self.far.buffer(self.clearance, quad_segs=64)))
        shapely.prepare(found)
        return found

    @cached_property
    def _nearly(self) -> BaseGeometry:
        """With what a row may waver about the edge."""
        return self.strict.buffer(LEAVES * self.ground.spacing, quad_segs=32)

    @cached_property
    def eased(self) -> Region:
        """The same with a clearance smaller by rounding.

        A front that lies on the clearance line of some other edge falls to shreds, or is lost, without it.
        """
        return replace(self, clearance=self.clearance * (1 - ROUNDING), is_eased=True)

    def cut(self, fronts: Geometries) -> list[list[LineString]]:
        """The parts of each of some fronts on this ground."""
        found = [lines_of(part) for part in shapely.intersection(fronts, self.loose)]
        again = [] if self.is_eased else [k for k, parts in enumerate(found) if len(parts) != 1]
        found = self._to_edge(found)
        if again:
            for k, parts in zip(again, self.eased.cut(fronts[again]), strict=True):
                found[k] = parts
        return found

    def _to_edge(self, found: list[list[LineString]]) -> list[list[LineString]]:
        """Parts of fronts, drawn back to the edge where they leave the ground for good."""
        every = np.asarray([part for parts in found for part in parts], dtype=object)
        if not len(every):
            return found
        ends = shapely.get_point(np.repeat(every, 2), np.tile([0, -1], len(every)))
        out = ~shapely.dwithin(self.strict, ends, LEAVES * self.ground.spacing).reshape(-1, 2)
        drawn = [
            self._drawn_back(part, *beyond) if any(beyond) else part
            for part, beyond in zip(every.tolist(), out.tolist(), strict=True)
        ]
        each = iter(drawn)
        return [[next(each) for _ in parts] for parts in found]

    def _drawn_back(self, part: LineString, at_start: bool, at_end: bool) -> LineString:
        """A part of a front, drawn back to the edge at one end or at both."""
        inner = shapely.intersection(part, self.strict)
        if inner.is_empty:
            return part  # all of it within the slack that the law allows
        if part.length - inner.length > self.ground.spacing:
            # it lies along the edge, and would be drawn back to wherever its chords happen to be inside
            inner = shapely.intersection(part, self._nearly)
        tips = [tip for line in shapely.get_parts(inner) for tip in (line.coords[0], line.coords[-1])]
        along = shapely.line_locate_point(part, shapely.points(tips))
        start = float(along.min()) if at_start else 0.0
        end = float(along.max()) if at_end else part.length
        return stretch(part, start, end) if end > start else part


@dataclass(slots=True)
class Row:
    """The pieces of one front, from the manifold end on; `place` is its number across the bed from the left.

    `passed` is what easing its bends passed by.
    """

    place: float
    pieces: list[LineString] = field(default_factory=list)
    passed: list[LineString] = field(default_factory=list)


def clip(fronts: Geometries, region: Region, along: LineString) -> list[list[LineString]]:
    """The parts of each front within a region, each turned to run the way of a guide and sorted along it."""
    found = [[_opened(part, along) for part in parts] for parts in region.cut(fronts)]
    every = np.asarray([part for parts in found for part in parts], dtype=object)
    if not len(every):
        return found
    middle = shapely.get_num_points(every) // 2
    start, half, end = (
        np.asarray(shapely.line_locate_point(along, shapely.get_point(every, number)))
        for number in (0, middle, -1)
    )
    forward = (start < end) | ((start == end) & (start <= half))
    turned = iter(np.where(forward, every, shapely.reverse(every)).tolist())
    first = iter(np.round(np.minimum(start, end), 6).tolist())
    placed = [[(next(first), part.length, next(turned)) for part in parts] for parts in found]
    return [[line for _, _, line in sorted(parts, key=lambda part: part[:2])] for parts in placed]


def _opened(line: LineString, along: LineString) -> LineString:
    """A closed front cut open at its point nearest the manifold end."""
    if not line.is_closed:
        return line
    points = coordinates(line)[:-1]
    first = int(np.argmin(shapely.line_locate_point(along, shapely.points(points))))
    walk = np.vstack((points[first:], points[: first + 1]))
    return LineString(walk)
