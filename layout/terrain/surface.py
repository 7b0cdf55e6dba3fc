"""The ground's surface: flat triangles (Delaunay) between surveyed levels, and nothing made up beyond them."""

from __future__ import annotations

import math
from functools import cached_property, lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from layout.errors import Fault, SiteError
from layout.model import XY, Levels
from layout.plane import TOLERANCE, Array, coordinates


class Surface:
    """Ground of flat triangles between points.

    Parameters
    ----------
    points : (n, 2) array
        No two of them nearer than a millimetre, not all in one line [m].
    levels : (n,) array
        [m].
    """

    def __init__(self, points: Array, levels: Array) -> None:
        from scipy.spatial import Delaunay

        self.points, self.levels = points, levels
        self._zero = points.mean(axis=0)
        self._mesh = Delaunay(points - self._zero)

    @classmethod
    def of(cls, levels: Levels) -> Surface:
        """The surface through surveyed levels; points nearer than a millimetre count as one, at their mean level.

        Raises
        ------
        SiteError
            Fewer than three different points, or all in one line.
        """
        surveyed = np.asarray(levels.points, dtype=np.float64).reshape(-1, 3)
        points, heights = merged(surveyed[:, :2], surveyed[:, 2])
        hull = shapely.MultiPoint(points).convex_hull
        if len(points) < 3 or hull.area <= TOLERANCE * hull.length:
            said = f"{len(points)} different points that span no area make no surface"
            raise SiteError(
                Fault(field="bed.levels", said=said, remedy="Give three or more levels round the bed.")
            )
        return cls(points, heights)

    @cached_property
    def ground(self) -> Polygon:
        """The surveyed ground: the hull of the points [m]."""
        return Polygon(coordinates(shapely.MultiPoint(self.points).convex_hull))

    @property
    def triangles(self) -> NDArray[np.intp]:
        """The corners of each triangle, by their number, shape (t, 3)."""
        return np.asarray(self._mesh.simplices, dtype=np.intp)

    @property
    def spacing(self) -> float:
        """Mean distance between surveyed points [m]."""
        return math.sqrt(self.ground.area / len(self.points))

    def heights(self, points: Array) -> Array:
        """Heights of the ground, shape (k,) [m]; NaN beyond the surveyed points."""
        found = np.full(len(points), np.nan)
        number, triangle = self._located(points)
        first, second, third = (self.points[self._mesh.simplices[triangle, k]] for k in range(3))
        at = points[number]
        shares = np.stack(
            (_twice_area(at, second, third), _twice_area(first, at, third), _twice_area(first, second, at))
        )
        shares /= _twice_area(first, second, third)
        found[number] = (shares.T * self.levels[self._mesh.simplices[triangle]]).sum(axis=1)
        return found

    def _located(self, points: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Which points lie on the surveyed ground, and in which triangle each, the first where several meet.

        The triangulation's own search solves a small system for every triangle, which is slow where the linear
        algebra library starts threads for each.
        """
        number, place = self._tree.query(shapely.points(points), predicate="intersects")
        number, first = np.unique(number, return_index=True)
        return number, self._whole[place[first]]

    @cached_property
    def _whole(self) -> NDArray[np.intp]:
        """The triangles that have an area."""
        corners = self.points[self._mesh.simplices]
        area = np.abs(_twice_area(corners[:, 0], corners[:, 1], corners[:, 2]))
        return np.flatnonzero(area > TOLERANCE**2)

    @cached_property
    def _tree(self) -> shapely.STRtree:
        corners = self.points[self._mesh.simplices[self._whole]]
        return shapely.STRtree(np.atleast_1d(shapely.polygons(corners)))

    def level_line(self, through: XY) -> LineString | None:
        """The level line through a point, exactly along the triangles, to the edge of the surveyed ground.

        Returns
        -------
        LineString or None
            Closed where it meets itself; None where all the ground is on one level, or the point lies beyond it.
        """
        at = np.asarray([through])
        level = float(self.heights(at)[0])
        if math.isnan(level):
            return None
        for low in (self.levels < level, self.levels <= level):
            sides = low[self._mesh.simplices]
            crossed = np.flatnonzero(sides.any(axis=1) & ~sides.all(axis=1))
            if len(crossed):
                break
        else:
            return None
        start = int(self._located(at)[1][0])
        if start not in crossed:  # the point stands on a level triangle: the nearest edge of that terrace
            middles = self._mesh.points[self._mesh.simplices[crossed]].mean(axis=1)
            start = int(crossed[np.argmin(np.hypot(*(middles - (at - self._zero)).T))])
        back, ahead = (k for k in range(3) if sides[start][k - 1] != sides[start][k - 2])
        points, closed = self._walk(start, ahead, sides, level)
        if not closed:
            behind, _ = self._walk(start, back, sides, level)
            points = behind[::-1] + points
        walk = distinct(np.asarray(points) + self._zero)
        if len(walk) < 2:
            return None
        return LineString(np.vstack((walk, walk[:1])) if closed else walk)

    def _walk(self, start: int, out: int, sides: NDArray[np.bool_], level: float) -> tuple[list[Array], bool]:
        """The points where a level line leaves triangle after triangle, and whether it comes back to the first."""
        mesh, points = self._mesh, []
        here = start
        while True:
            a, b = (int(mesh.simplices[here][out - k]) for k in (1, 2))
            share = (level - self.levels[a]) / (self.levels[b] - self.levels[a])
            points.append(mesh.points[a] + (mesh.points[b] - mesh.points[a]) * share)
            beyond = int(mesh.neighbors[here][out])
            if beyond in {-1, start}:
                return points, beyond == start
            came = next(k for k in range(3) if mesh.neighbors[beyond][k] == here)
            out = next(k for k in range(3) if k != came and sides[beyond][k - 1] != sides[beyond][k - 2])
            here = beyond


@lru_cache(maxsize=2)
def surface_of(levels: Levels) -> Surface:
    """The surface through surveyed levels, kept for the next to ask; see :meth:`Surface.of`."""
    return Surface.of(levels)


def heights(levels: Levels, points: Array) -> Array:
    """Heights of the ground at points, shape (k,) [m]; NaN beyond the surveyed points."""
    if levels.uniform is not None:
        return np.full(len(points), levels.uniform)
    return surface_of(levels).heights(points)


def surveyed_share(levels: Levels, outline: Polygon) -> float:
    """Share of a bed that lies between surveyed levels, 0 to 1; beyond it heights are not known."""
    if levels.uniform is not None:
        return 1.0
    return float(outline.intersection(surface_of(levels).ground).area / outline.area)


def merged(points: Array, levels: Array) -> tuple[Array, Array]:
    """Points nearer than a millimetre made one, at their mean level, in their order [m]."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if len(points) < 2:
        return points, levels
    pairs = cKDTree(points).query_pairs(TOLERANCE, output_type="ndarray")
    if not len(pairs):
        return points, levels
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    _, group = connected_components(graph, directed=False)
    _, first = np.unique(group, return_index=True)
    mean = np.bincount(group, weights=levels) / np.bincount(group)
    order = np.sort(first)
    return points[order], mean[group[order]]


def distinct(points: Array) -> Array:
    """Points of a line without those that repeat the one before, shape (n, 2) [m]."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    kept: Array = points[np.concatenate(([True], steps > 1e-6 * TOLERANCE))]
    return kept


def _twice_area(first: Array, second: Array, third: Array) -> Array:
    """Twice the areas of triangles, over 0 where they run counter-clockwise, shape (k,) [m²]."""
    a, b = second - first, third - first
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
