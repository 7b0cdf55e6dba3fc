"""Runs spread between two sides: level lines of a field that counts gaps from the left side to the right.

Where the usable width is w, k gaps of w / k each fit for any whole k with w / k between the least and the
greatest gap. The field is u × k(w), u going from 0 on the left clearance line to 1 on the right one; run i lies where
it equals i. k(w) is whole on long stretches and climbs smoothly between them, so that a new run begins at
the right-hand side where the bed has widened enough, and the others make room for it gradually.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from layout.model import Sides
from layout.near import SegmentIndex
from layout.plane import Array, thinned, unit

NEWTON_STEPS = 4
ON_LEVEL = 1e-5
"""A point this near its level line, in least gaps, is on it."""
SAGITTA = 1e-4
"""Greatest distance between a level line and its chords, in least gaps."""
ENOUGH_NODES, MOST_NODES = 15_000, 80_000
"""Grid nodes to trace on; the lines traced are put on their exact level afterwards. Beds that take more than the first
have a grid coarser by up to two, and none has more than the second."""
MOST_POINTS = 150_000
"""Points of level lines above which no more are put between them."""
RAMP = 0.6
"""Share of a least gap of widening over which the count of gaps climbs by one."""


Near = tuple[NDArray[np.intp], NDArray[np.intp]]
"""Segments of the left and of the right side that are nearest to some points."""


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

    def measure(self, points: Array, near: Near | None = None) -> tuple[Array, Array, Array, Near]:
        """Share of the usable width to the left of points in the bed, that width [m], and the way it rises.

        Shapes (n,), (n,), (n, 2). And what part of either side is nearest to each, which makes it quick to measure
        others hardly farther on.
        """
        if near is None:
            near = self._left.locate(points)[0], self._right.locate(points)[0]
        (to_left, left_foot, left), (to_right, right_foot, right) = (
            side.nearest_from(points, start)
            for side, start in zip((self._left, self._right), near, strict=True)
        )
        width = to_left + to_right - 2 * self.clearance
        share = (to_left - self.clearance) / np.maximum(width, 1e-9)
        return share, width, unit(unit(points - left_foot) + unit(right_foot - points)), (left, right)

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
        return self.measure(np.vstack(walks))[1]

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
        to_left, to_right = self._left.nearest(points)[0], self._right.nearest(points)[0]
        beyond = self._side_beyond(points)  # a distance beyond a side counts as negative
        to_left = np.where(beyond == 0, -to_left, to_left)
        to_right = np.where(beyond == 1, -to_right, to_right)
        width = np.maximum(to_left + to_right - 2 * self.clearance, 1e-9)
        return Grid(xs=xs, ys=ys, near=near, share=(to_left - self.clearance) / width, width=width, step=step)

    def _side_beyond(self, points: Array) -> NDArray[np.intp]:
        """For points outside the bed, which side they lie beyond: 0 left, 1 right; 2 beyond an end, or inside."""
        shapely.prepare(self.outline)
        outside = ~shapely.contains_xy(self.outline, points[:, 0], points[:, 1])
        border = SegmentIndex([self.sides.left, self.sides.right, self.sides.near, self.sides.far])
        beyond = np.full(len(points), 2)
        if outside.any():
            beyond[outside] = np.minimum(border.line[border.locate(points[outside])[0]], 2)
        return beyond


@dataclass(frozen=True, kw_only=True)
class Grid:
    """What :class:`Between` measures at nodes: lines of the grid, which nodes count, and their share and width."""

    xs: Array
    ys: Array
    near: NDArray[np.bool_]
    share: Array
    width: Array
    step: float


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

    def field(self, points: Array) -> Array:
        """The field at points in the bed, shape (n,)."""
        share, width, *_ = self.between.measure(points)
        return share * self.gaps(width)

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

    def levels(self) -> list[tuple[int, list[LineString]]]:
        """The level lines 0, 1, 2, … that enter the bed, each as the lines found, put on the exact level."""
        from contourpy import contour_generator

        grid = self.between.grid
        count = self.gaps(grid.width)
        field = np.full(grid.near.shape, np.nan)
        field[grid.near] = grid.share * count
        maker = contour_generator(grid.xs, grid.ys, np.ma.masked_invalid(field), name="serial")
        top = round(float(count.max(initial=0.0)))
        traced = [
            (level, _thinned(np.asarray(line, dtype=np.float64), grid.step))
            for level in range(top + 1)
            for line in maker.lines(level)
        ]
        traced = [(level, line) for level, line in traced if len(line) > 1]
        exact = self._on_level([line for _, line in traced], [level for level, _ in traced])
        found: list[tuple[int, list[LineString]]] = [(level, []) for level in range(top + 1)]
        for (level, _), line in zip(traced, exact, strict=True):
            found[level][1].append(line)
        return found

    def _on_level(self, lines: list[Array], levels: list[int]) -> list[LineString]:
        """Traced lines put on their levels by Newton's method, with points between where a chord leaves the curve."""
        if not lines:
            return []
        points, owner = np.vstack(lines), np.repeat(np.arange(len(lines)), [len(line) for line in lines])
        level = np.asarray(levels, dtype=np.float64)
        points, near = self._projected(points, level[owner], steps=NEWTON_STEPS)
        for _ in range(2):
            if len(points) > MOST_POINTS:
                break
            after = np.flatnonzero(_bowed(points, owner, SAGITTA * self.closest))
            middle, beside = self._projected(
                (points[after] + points[after + 1]) / 2,
                level[owner[after]],
                steps=1,
                near=(near[0][after], near[1][after]),
            )
            points = np.insert(points, after + 1, middle, axis=0)
            near = np.insert(near[0], after + 1, beside[0]), np.insert(near[1], after + 1, beside[1])
            owner = np.insert(owner, after + 1, owner[after])
        ends = np.searchsorted(owner, np.arange(len(lines) + 1))
        # points nearer to a chord than this tell nothing, and cost time at every later step
        parts = [LineString(points[first:last]) for first, last in pairwise(ends)]
        return [thinned(part, SAGITTA * self.closest) for part in parts]

    def _projected(
        self, points: Array, level: Array, *, steps: int, near: Near | None = None
    ) -> tuple[Array, Near]:
        """Points put on their levels by some of Newton's steps, and the parts of the sides nearest to each."""
        points = points.copy()
        moving = np.arange(len(points))
        for _ in range(steps):
            here = None if near is None else (near[0][moving], near[1][moving])
            share, width, rise, found = self.between.measure(points[moving], here)
            if near is None:
                near = found
            else:
                near[0][moving], near[1][moving] = found
            count = self.gaps(width)
            shift = np.clip((level[moving] / count - share) * width, -self.closest / 2, self.closest / 2)
            points[moving] += rise * shift[:, None]
            moving = moving[np.abs(shift) > ON_LEVEL * self.closest]
            if not len(moving):
                break
        assert near is not None, "it takes one step"
        return points, near


def _ticks(low: float, high: float, step: float) -> Array:
    """Grid lines over a range and three steps beyond, even about its middle."""
    count = math.ceil((high - low) / step) + 7
    return np.asarray((low + high) / 2 + step * (np.arange(count) - (count - 1) / 2))


def _thinned(line: Array, step: float) -> Array:
    """A traced line without points that crowd where it passes the corners of the grid."""
    return np.asarray(line[np.concatenate(([True], np.hypot(*np.diff(line, axis=0).T) > 0.2 * step))])


def _bowed(points: Array, owner: NDArray[np.intp], sagitta: float) -> NDArray[np.bool_]:
    """Chords, by their first point, that a curve through the points around leaves by more than a distance."""
    step = np.diff(points, axis=0)
    size = np.maximum(np.hypot(*step.T), 1e-12)
    same = owner[1:] == owner[:-1]
    cross = np.abs(step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]) / (size[:-1] * size[1:])
    turn = np.where(same[:-1] & same[1:], cross, 0.0)
    bent = np.maximum(np.append(0.0, turn), np.append(turn, 0.0))
    bow = np.append(bent * size / 8, 0.0)
    return np.append(same, False) & (bow > sagitta)
