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

import numpy as np
import shapely
from shapely import LineString, Polygon

from layout.model import Sides
from layout.plane import Array, SegmentIndex, coordinates, unit

NEWTON_STEPS = 3
MOST_NODES = 120_000
"""Grid nodes to trace on; the lines traced are put on their exact level afterwards."""
RAMP = 0.6
"""Share of a least gap of widening over which the count of gaps climbs by one."""


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Two sides and how runs may be spread between them.

    Attributes
    ----------
    sides : Sides
    left, right : LineString
        Both sides extended beyond the bed, from the manifold end [m].
    clearance : float
        From the sides to the first and last run [m].
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

    sides: Sides
    left: LineString
    right: LineString
    clearance: float
    closest: float
    wanted: float
    widest: float
    slack: float
    most: int | None = None
    count_kept: int = 0

    @cached_property
    def _left(self) -> SegmentIndex:
        return SegmentIndex([self.left])

    @cached_property
    def _right(self) -> SegmentIndex:
        return SegmentIndex([self.right])

    def gaps(self, width: Array) -> Array:
        """The number of gaps, as a real number, for usable widths [m], at least 1 and at most width / closest."""
        steps = self._steps(float(np.max(width, initial=0.0)))
        at, count = np.asarray(steps).T
        return np.asarray(np.interp(width, at, count))

    def _steps(self, widest: float) -> list[tuple[float, float]]:
        """Where the count of gaps changes: (width, count) pairs of a piecewise linear, rising function."""
        top = int((widest + self.slack) / self.closest) + 1
        if self.most is not None:
            top = min(top, max(self.most - 1, 1))
        if self.count_kept and widest / self.count_kept <= self.widest:
            top = min(top, self.count_kept)
        steps = [(0.0, 1.0)]
        for count in range(2, top + 1):
            wish = 0.0 if count <= self.count_kept else (count - 1) * self.wanted + self.slack
            begins = max(count * self.closest - self.slack, wish)
            ends = max(begins - RAMP * self.closest, steps[-1][0] + 1e-9)
            steps += [(ends, count - 1.0), (begins, float(count))]
        return [*steps, (max(widest, steps[-1][0]) + 1.0, steps[-1][1])]

    def measure(self, points: Array) -> tuple[Array, Array, Array]:
        """Field, usable width and direction of steepest rise at points in the bed, shapes (n,), (n,), (n, 2)."""
        to_left, left_foot = self._left.nearest(points)
        to_right, right_foot = self._right.nearest(points)
        width = to_left + to_right - 2 * self.clearance
        share = (to_left - self.clearance) / np.maximum(width, 1e-9)
        rise = unit(points - left_foot) + unit(right_foot - points)
        return share * self.gaps(width), width, unit(rise)

    def constant(self, outline: Polygon) -> tuple[float, int] | None:
        """Gap and number of gaps where the bed is so even that plain offsets give them; else None."""
        points = _inner_points(outline, self.clearance)
        if not len(points):
            return None
        width = self.measure(points)[1]
        usual = float(np.median(width))
        count = max(int(self.gaps(np.array([usual]))[0] + 1e-3), 1)
        gap = usual / count
        if gap < self.closest - self.slack or np.abs(width - usual).max() > 0.01 * gap:
            return None
        return gap, count

    def count_at_widest(self, outline: Polygon) -> int:
        """The count of gaps that the wanted gap asks for where the bed is widest (its 98th percentile)."""
        points = _inner_points(outline, self.clearance)
        if not len(points):
            return 0
        width = float(np.percentile(self.measure(points)[1], 98))
        return math.ceil((width - self.slack) / self.wanted)

    def levels(self, outline: Polygon) -> list[tuple[int, list[LineString]]]:
        """The level lines 0, 1, 2, … that enter the bed, each as the lines found, put on the exact level.

        Parameters
        ----------
        outline : Polygon
            The bed without holes [m].
        """
        from contourpy import contour_generator

        step = max(self.closest / 2, math.sqrt(outline.area / MOST_NODES))
        xs, ys, near = _grid(outline, step)
        grid_x, grid_y = np.meshgrid(xs, ys)
        points = np.column_stack((grid_x[near], grid_y[near]))
        value, count = self._everywhere(outline, points)
        field = np.full(grid_x.shape, np.nan)
        field[near] = value
        maker = contour_generator(xs, ys, np.ma.masked_invalid(field), name="serial")
        traced = [
            (level, [np.asarray(line) for line in maker.lines(level)]) for level in range(round(count) + 1)
        ]
        total = sum(len(line) for _, lines in traced for line in lines)
        passes = 2 if total < 15_000 else 1 if total < 40_000 else 0
        return [
            (
                level,
                [exact for line in lines if (exact := self._exact(line, level, step, passes)) is not None],
            )
            for level, lines in traced
        ]

    def _everywhere(self, outline: Polygon, points: Array) -> tuple[Array, float]:
        """The field also beyond the bed's sides, where a distance counts as negative; and its greatest count."""
        to_left, _ = self._left.nearest(points)
        to_right, _ = self._right.nearest(points)
        beyond = self._side_beyond(outline, points)
        to_left = np.where(beyond == 0, -to_left, to_left)
        to_right = np.where(beyond == 1, -to_right, to_right)
        width = np.maximum(to_left + to_right - 2 * self.clearance, 1e-9)
        count = self.gaps(width)
        return (to_left - self.clearance) / width * count, float(np.max(count, initial=0.0))

    def _side_beyond(self, outline: Polygon, points: Array) -> Array:
        """For points outside the bed, which side they lie beyond: 0 left, 1 right; 2 beyond an end, or inside."""
        border = SegmentIndex([self.sides.left, self.sides.right, self.sides.near, self.sides.far])
        index, _, _ = border.locate(points)
        inside = shapely.contains_xy(outline, points[:, 0], points[:, 1])
        return np.where(inside, 2, np.minimum(border.line[index], 2))

    def _exact(self, line: Array, level: int, step: float, passes: int) -> LineString | None:
        """A traced line put on its level by Newton's method, midpoints added between passes."""
        line = line[np.concatenate(([True], np.hypot(*np.diff(line, axis=0).T) > 0.2 * step))]
        if len(line) < 2:
            return None
        line = self._project(line, level, steps=NEWTON_STEPS)
        for _ in range(passes):
            dense = np.empty((2 * len(line) - 1, 2))
            dense[::2], dense[1::2] = line, (line[:-1] + line[1:]) / 2
            line = self._project(dense, level, steps=1)  # midpoints are all but there
        # points nearer to a chord than this tell nothing, and cost time at every later step
        return LineString(coordinates(LineString(line).simplify(1e-4 * self.closest)))

    def _project(self, points: Array, level: int, *, steps: int) -> Array:
        for _ in range(steps):
            value, width, rise = self.measure(points)
            shift = (level - value) * width / self.gaps(width)
            points = points + rise * np.clip(shift, -self.closest / 2, self.closest / 2)[:, None]
        return points


def _grid(outline: Polygon, step: float) -> tuple[Array, Array, np.ndarray]:
    """Grid lines over the bed, and which nodes lie in it or within two steps of it."""
    x0, y0, x1, y1 = outline.bounds
    xs = np.asarray(x0 + step * np.arange(-3, math.ceil((x1 - x0) / step) + 4), dtype=np.float64)
    ys = np.asarray(y0 + step * np.arange(-3, math.ceil((y1 - y0) / step) + 4), dtype=np.float64)
    near = outline.buffer(2 * step, quad_segs=4)
    shapely.prepare(near)
    grid_x, grid_y = np.meshgrid(xs, ys)
    return xs, ys, np.asarray(shapely.contains_xy(near, grid_x.ravel(), grid_y.ravel())).reshape(grid_x.shape)


def _inner_points(outline: Polygon, clearance: float) -> Array:
    """A few hundred points on the bed's inner clearance line and half way in."""
    rings = [outline.buffer(-clearance * share - 1e-6).boundary for share in (1.0, 2.0)]
    points = [
        shapely.get_coordinates(shapely.line_interpolate_point(ring, np.linspace(0, 1, 200), normalized=True))
        for ring in (line for group in rings for line in shapely.get_parts(group))
    ]
    return np.vstack(points) if points else np.empty((0, 2))
