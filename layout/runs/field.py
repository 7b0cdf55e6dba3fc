"""Runs spread between two sides: level lines of a field that counts gaps from the left side to the right.

Where the usable width is w, k gaps of w / k each fit for any whole k with w / k between the least and the
greatest gap. The field is u × k(w), u going from 0 on the left clearance line to 1 on the right one; run i lies where
it equals i. k(w) is whole on long stretches and climbs smoothly between them, so that a new run begins at
the right-hand side where the bed has widened enough, and the others make room for it gradually.

Where gaps are to be as small as they may be, all that a wide bed has to share out is less than one of them. There
the rows from the left are plain offsets of that side, and the last :data:`SHARING` gaps share what is left over: as
much ground is covered, and fewer rows bend where one begins or ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from layout.model import Sides
from layout.near import SegmentIndex, spans
from layout.plane import Array, unit

ENOUGH_NODES, MOST_NODES = 15_000, 80_000
"""Grid nodes to trace on; the lines traced are put on their exact level afterwards. Beds that take more than the first
have a grid coarser by up to two, and none has more than the second."""
RAMP = 0.6
"""Share of a least gap of widening over which the count of gaps climbs by one."""
SHARING = 16
"""Where gaps are to be as small as they may be, the width that a whole number of them leaves over goes to so many of
them, those at the right-hand side."""
TIGHT = 0.98
"""Share of the gap asked for from which on the least gap is as good as that."""
INVERTED = 4
"""Newton's steps from a place to its level."""
EASED = 6
"""Counts of gaps, from that on, over which they come to share it smoothly: none at the edge, most amid them."""

Index = NDArray[np.intp]
Span = tuple[Index, Index]
"""First and last of the segments of a side that are nearest to something about some points."""


@dataclass(frozen=True, kw_only=True)
class Between:
    """Two sides of a bed, and how far any place is from either.

    Attributes
    ----------
    outline : Polygon
        The bed without holes [m].
    sides : Sides
    left, right : LineString
        Both sides extended beyond the bed, from the manifold end [m].
    clearance : float
        From the sides to the first and last run [m].
    step : float
        Distance between grid nodes [m]; wider on beds with many.
    """

    outline: Polygon
    sides: Sides
    left: LineString
    right: LineString
    clearance: float
    step: float

    def measure(self, points: Array, among: tuple[Span, Span] | None = None) -> Measured:
        """What is measured at points in the bed; quicker with the segments of both sides that lie about them."""
        if among is None:
            here = self._left.locate(points)[0], self._right.locate(points)[0]
            among = (here[0], here[0]), (here[1], here[1])
        (to_left, left_foot, left), (to_right, right_foot, right) = (
            side.nearest_among(points, *span)
            for side, span in zip((self._left, self._right), among, strict=True)
        )
        return Measured(
            off=to_left - self.clearance,
            width=to_left + to_right - 2 * self.clearance,
            from_left=unit(points - left_foot),
            from_right=unit(points - right_foot),
            left=left,
            right=right,
        )

    @cached_property
    def _left(self) -> SegmentIndex:
        return SegmentIndex([self.left])

    @cached_property
    def _right(self) -> SegmentIndex:
        return SegmentIndex([self.right])

    @cached_property
    def inner_widths(self) -> Array:
        """Usable widths at a few hundred points on the bed's inner clearance line and half way in [m]."""
        rings = [self.outline.buffer(-self.clearance * share - 1e-6).boundary for share in (1.0, 2.0)]
        lines = [line for ring in rings for line in shapely.get_parts(ring) if not line.is_empty]
        if not lines:
            return np.empty(0)
        along = np.linspace(0, 1, 200)
        walks = [
            shapely.get_coordinates(shapely.line_interpolate_point(line, along, normalized=True))
            for line in lines
        ]
        return self.measure(np.vstack(walks)).width

    @cached_property
    def grid(self) -> Grid:
        """Nodes over the bed and two steps beyond it, alike for a bed and its mirror image."""
        x0, y0, x1, y1 = self.outline.bounds
        fewer, least = (math.sqrt(self.outline.area / nodes) for nodes in (ENOUGH_NODES, MOST_NODES))
        step = max(self.step, min(2 * self.step, fewer), least)
        xs, ys = _ticks(x0, x1, step), _ticks(y0, y1, step)
        around = self.outline.buffer(2 * step, quad_segs=4)
        shapely.prepare(around)
        grid_x, grid_y = np.meshgrid(xs, ys)
        near = np.asarray(shapely.contains_xy(around, grid_x, grid_y))
        points = np.column_stack((grid_x[near], grid_y[near]))
        left, right = (side.locate_nodes(xs, ys, near) for side in (self._left, self._right))
        to_left, to_right = (
            side.nearest_among(points, at[near], at[near])[0]
            for side, at in ((self._left, left), (self._right, right))
        )
        beyond = self._side_beyond(points)  # a distance beyond a side counts as negative
        to_left = np.where(beyond == 0, -to_left, to_left)
        to_right = np.where(beyond == 1, -to_right, to_right)
        return Grid(
            xs=xs,
            ys=ys,
            near=near,
            off=to_left - self.clearance,
            width=np.maximum(to_left + to_right - 2 * self.clearance, 1e-9),
            left=left,
            right=right,
        )

    def _side_beyond(self, points: Array) -> NDArray[np.intp]:
        """For points outside the bed, which side they lie beyond: 0 left, 1 right; 2 beyond an end, or inside."""
        shapely.prepare(self.outline)
        outside = ~shapely.contains_xy(self.outline, points[:, 0], points[:, 1])
        border = SegmentIndex([self.sides.left, self.sides.right, self.sides.near, self.sides.far])
        beyond = np.full(len(points), 2)
        if outside.any():
            beyond[outside] = np.minimum(border.line[border.locate(points[outside])[0]], 2)
        return beyond


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What :class:`Between` measures at points.

    Attributes
    ----------
    off, width : (n,) array
        How far they are off the left clearance line, and the usable width there [m].
    from_left, from_right : (n, 2) array
        The ways straight from either side.
    left, right : (n,) array of int
        The segments of both sides that are nearest.
    """

    off: Array
    width: Array
    from_left: Array
    from_right: Array
    left: Index
    right: Index


@dataclass(frozen=True, kw_only=True)
class Grid:
    """What :class:`Between` measures at nodes: lines of the grid, which nodes count, and how far off the left they are.

    And the width there [m], and the nearest segments of both sides.
    """

    xs: Array
    ys: Array
    near: NDArray[np.bool_]
    off: Array
    width: Array
    left: Index
    right: Index

    def about(self, points: Array) -> tuple[Span, Span]:
        """The segments of both sides that are nearest to something in the cells in which points lie."""
        step = self.xs[1] - self.xs[0]
        column, row = (
            np.clip(((at - ticks[0]) / step).astype(np.intp), 0, len(ticks) - 2)
            for at, ticks in zip(points.T, (self.xs, self.ys), strict=True)
        )
        first, last = (
            tuple(number[row, column] for number in spans(side)) for side in (self.left, self.right)
        )
        return first, last


@dataclass(frozen=True, kw_only=True)
class Spread:
    """How runs are spread between two sides.

    Attributes
    ----------
    between : Between
    closest, wanted : float
        Least gap, and the gap not to exceed where the least allows it [m].
    widest : float
        Greatest gap [m].
    slack : float
        Usable width that may be missing for a gap to be counted: a drawn curve is narrower by its chords [m].
    most : int or None
        Greatest number of runs.
    count_kept : int
        Gaps to keep wherever the least gap lets them, even where fewer would do.
    """

    between: Between
    closest: float
    wanted: float
    widest: float
    slack: float
    most: int | None = None
    count_kept: int = 0

    def gaps(self, width: Array) -> Array:
        """The number of gaps, as a real number, for usable widths [m], at least 1 and at most width / closest."""
        return np.asarray(np.interp(width, *self._steps))

    def place(self, level: Array, width: Array) -> Array:
        """How far off the left clearance line levels lie where the usable width is so much, shape (n,) [m]."""
        count = self.gaps(width)
        if not self._is_tight:
            return np.asarray(level * width / count)
        from_right = count - level
        spare = (width - count * self.wanted) * self._shared(from_right, count)[0]
        return np.asarray(width - from_right * self.wanted - spare)

    def level(self, off: Array, width: Array) -> Array:
        """The field, nearly, so far off the left clearance line where the usable width is so much, shape (n,) [m]."""
        count = self.gaps(width)
        if not self._is_tight:
            return np.asarray(off / width * count)
        spare, from_right = width - count * self.wanted, (width - off) / width * count
        for _ in range(INVERTED):
            share, rate = self._shared(from_right, count)
            from_right = from_right - (from_right * self.wanted + spare * share - width + off) / (
                self.wanted + spare * rate
            )
        return np.asarray(count - from_right)

    @property
    def _is_tight(self) -> bool:
        """Whether gaps are to be as small as they may be."""
        return self.most is None and not self.count_kept and self.closest >= TIGHT * self.wanted

    def _shared(self, from_right: Array, count: Array) -> tuple[Array, Array]:
        """The share of the width left over that the gaps up to one, from the right, take, and that of the next."""
        sharing = np.minimum(count, SHARING)
        along = from_right / sharing
        inner = np.clip(along, 0.0, 1.0)
        plain, smooth = np.where(count > SHARING, inner, along), inner**2 * (3 - 2 * inner)
        eased = np.clip((count - SHARING) / EASED, 0.0, 1.0)
        within = (inner == along) | (count <= SHARING)
        rate = (1 - eased) * within + eased * 6 * inner * (1 - inner)
        return plain + eased * (smooth - plain), rate / sharing

    @cached_property
    def _steps(self) -> tuple[Array, Array]:
        """Where the count of gaps changes: widths and counts of a piecewise linear, rising function."""
        x0, y0, x1, y1 = self.between.outline.bounds
        top = int((math.hypot(x1 - x0, y1 - y0) + self.slack) / self.closest) + 1
        if self.most is not None:
            top = min(top, max(self.most - 1, 1))
        if self.count_kept and self.between.inner_widths.max() / self.count_kept <= self.widest:
            top = min(top, self.count_kept)
        steps = [(0.0, 1.0)]
        for count in range(2, top + 1):
            wish = 0.0 if count <= self.count_kept else (count - 1) * self.wanted + self.slack
            begins = max(count * self.closest - self.slack, wish)
            ends = max(begins - RAMP * self.closest, steps[-1][0] + 1e-9)
            steps += [(ends, count - 1.0), (begins, float(count))]
        at, count_at = np.asarray(steps).T
        # what the widest place does not ask for would only crowd the rows there: its own would be a stub, or none
        width = self.between.inner_widths.max(initial=0.0)
        while len(at) > 1 and width < at[-1] and (count_at[-1] - 1) * self.wanted + self.slack >= at[-1]:
            at, count_at = at[:-2], count_at[:-2]
        return at, count_at

    def constant(self) -> tuple[float, int] | None:
        """Gap and number of gaps where the bed is so even that plain offsets give them; else None."""
        width = self.between.inner_widths
        if not len(width):
            return None
        usual = float(np.median(width))
        count = max(int(self.gaps(np.array([usual]))[0] + 1e-3), 1)
        gap = usual / count
        if gap < self.closest - self.slack or np.abs(width - usual).max() > 0.01 * gap:
            return None
        return gap, count

    def count_at_widest(self) -> int:
        """The count of gaps that the wanted gap asks for where the bed is widest (its 98th percentile)."""
        width = self.between.inner_widths
        if not len(width):
            return 0
        return math.ceil((float(np.percentile(width, 98)) - self.slack) / self.wanted)


def _ticks(low: float, high: float, step: float) -> Array:
    """Grid lines over a range and three steps beyond, even about its middle.

    A range of whole steps, as a bed of round measures has, must not have one line more for its last digit.
    """
    count = math.ceil((high - low) / step - 1e-6) + 7
    return np.asarray((low + high) / 2 + step * (np.arange(count) - (count - 1) / 2))
