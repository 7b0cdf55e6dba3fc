"""Cutting fronts to the ground: what it is, how much of it a front may use, and the rows that come of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
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
        """The same with a clearance to the far edge smaller by rounding.

        A front that lies on that clearance line falls to shreds, or is lost, without it.
        """
        eased = replace(self, clearance=self.clearance * (1 - ROUNDING), is_eased=True)
        eased.__dict__["_open"] = self._open  # the hard edge is eased already
        return eased

    def cut(self, fronts: Geometries) -> list[list[LineString]]:
        """The parts of each of some fronts on this ground, drawn back to its edge where they leave it for good."""
        found = [lines_of(part) for part in shapely.intersection(fronts, self.loose)]
        every = np.asarray([part for parts in found for part in parts], dtype=object)
        if not len(every):
            return found
        ends = shapely.get_point(every[:, None], [0, -1])
        out = ~shapely.dwithin(self.strict, ends, LEAVES * self.ground.spacing)
        beyond = out.any(axis=1)
        single = np.array([len(parts) == 1 or self.is_eased for parts in found for _ in parts])
        for edge, which in ((self, beyond & single), (self.eased, beyond & ~single)):
            if which.any():
                every[which] = edge._drawn_back(every[which], out[which])
        each = iter(every.tolist())
        return [[next(each) for _ in parts] for parts in found]

    def _drawn_back(self, parts: Geometries, out: NDArray[np.bool_]) -> Geometries:
        """Parts of fronts drawn back to the edge, each at its start, its end or both, shape (n,) and (n, 2)."""
        inner = shapely.intersection(parts, self.strict)
        length = shapely.length(parts)
        # what lies along the edge would be drawn back to wherever its chords happen to be inside
        beside = (length - shapely.length(inner) > self.ground.spacing) & ~shapely.is_empty(inner)
        if beside.any():
            inner[beside] = shapely.intersection(parts[beside], self._nearly)
        lines, owner = shapely.get_parts(inner, return_index=True)
        size = shapely.get_num_coordinates(lines)
        owner, size = owner[size > 0], size[size > 0]
        last = np.cumsum(size) - 1
        tips, owner = shapely.get_coordinates(lines)[np.append(last - size + 1, last)], np.tile(owner, 2)
        along = shapely.line_locate_point(parts[owner], shapely.points(tips))
        # of what has nothing inside, all lies within the slack that the law allows
        start, end = np.full(len(parts), np.inf), np.full(len(parts), -np.inf)
        np.minimum.at(start, owner, along)
        np.maximum.at(end, owner, along)
        start, end = np.where(out[:, 0], start, 0.0), np.where(out[:, 1], end, length)
        drawn = parts.copy()
        for k in np.flatnonzero(end > start):
            drawn[k] = stretch(parts[k], float(start[k]), float(end[k]))
        return drawn


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
