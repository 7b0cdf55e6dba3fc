"""The level line through a bed's middle, for runs to follow; and how closed lines are opened for that."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from layout.model import XY, Levels, xy
from layout.plane import TOLERANCE, Array, coordinates, points_at, polygons_of, resample, stations, unit
from layout.terrain.surface import Surface, distinct, merged, surface_of

FLATTEST = 0.001
"""Ground that falls less than this on average, 0.1 %, is flat: its level lines mean nothing (a judgement)."""
SOFTENING = 0.25
"""A level line is smoothed along itself by a Gaussian of this standard deviation, in mean distances between
surveyed points: the corners it has at the edges of triangles go, its bends stay."""
_GRID = 40
"""Samples across the longer extent of a bed, where its ground is looked at as a whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelLine:
    """What came of looking for the level line through a bed's middle.

    Attributes
    ----------
    line : LineString or None
        It, as far as the bed and the surveyed ground around it go [m]; None where there is none to follow.
    why : str
        Why there is none, as a clause; empty where there is one.
    slope : float
        Mean slope of the bed's ground.
    general : bool
        True where the line itself turns back upon itself, round a hump or a hollow, and that of the general lie of
        the ground (a second-degree surface fitted to it) stands in.
    """

    line: LineString | None
    why: str
    slope: float
    general: bool = False


def level_line(levels: Levels, outline: Polygon) -> LevelLine:
    """Find the level line through a bed's middle, for runs to follow.

    The middle is the bed's centroid, or the place nearest to it where the bed is about as wide as anywhere; where
    that lies beyond the surveyed points, the middle of the part that does not. The line is traced exactly along
    the triangles between the points, smoothed along itself (see :data:`SOFTENING`), and given as far as the
    bed's width beyond the bed, or to the edge of the surveyed ground; whoever follows it carries it on straight.

    Parameters
    ----------
    levels : Levels
        Surveyed points, or one number, which has no level lines.
    outline : Polygon
        [m].

    Raises
    ------
    SiteError
        Levels that make no surface.
    """
    if levels.uniform is not None:
        return LevelLine(line=None, why="one number for all levels has no level lines", slope=0.0)
    surface = surface_of(levels)
    known = [
        part
        for part in polygons_of(shapely.intersection(outline, surface.ground))
        if part.area > TOLERANCE * part.length
    ]
    if not known:
        return LevelLine(line=None, why="no part of the bed lies between the surveyed levels", slope=0.0)
    part = max(known, key=lambda polygon: polygon.area)
    lie = _Lie.of(surface, part)
    if lie.slope < FLATTEST:
        why = f"the ground is flat: its mean slope is {100 * lie.slope:.2g} %, under {100 * FLATTEST:g} %"
        return LevelLine(line=None, why=why, slope=lie.slope)
    middle = middle_of(part)
    for general, ground in ((False, surface), (True, lie.surface(surface, part))):
        line = ground.level_line(middle)
        if line is not None and not _round_a_hump(line, outline):
            line = _near(opened(line, outline), outline, by=_width(outline))
            line = None if line is None else _soft(line, SOFTENING * surface.spacing)
            line = None if line is None or _turns_back(line, outline) else spread_ends(line, outline)
            if line is not None:
                return LevelLine(line=line, why="", slope=lie.slope, general=general)
    why = "the level line through its middle turns back upon itself, round a hump or a hollow"
    return LevelLine(line=None, why=why, slope=lie.slope)


def middle_of(outline: Polygon) -> XY:
    """The centroid of a bed, or the place nearest to it where the bed is about as wide as anywhere [m]."""
    inner = outline.buffer(-0.4 * _width(outline))
    centre = outline.centroid
    if inner.is_empty:
        return xy(outline.representative_point())
    return xy(Point(shapely.shortest_line(inner, centre).coords[0]))


def bearing_on(line: LineString, outline: Polygon) -> LineString:
    """What of a drawn line runs in a bed can follow: closed ones are opened, and what is too far off is left out.

    Nothing changes by that: whatever lies farther from the bed's hull than any point of the bed from the line is
    nearest to no point of the bed, nor is a straight continuation that leaves the hull's surroundings there.
    """
    line = opened(line, outline)
    west, south, east, north = outline.bounds
    return _near(line, outline, by=line.distance(outline) + math.hypot(east - west, north - south)) or line


def opened(line: LineString, outline: Polygon) -> LineString:
    """A closed line cut open where it lies outside the bed: the middle half of its longest stretch there goes.

    One that lies in the bed as a whole stays closed, but begins on a straight where it is nearest to the bed's edge;
    an open line stays as it is.
    """
    if not line.is_closed:
        return line
    ring = distinct(coordinates(shapely.segmentize(line, min(line.length, outline.length) / 200)))[:-1]
    out = ~shapely.contains_xy(outline, ring)
    if not out.any():
        away = shapely.distance(shapely.points(ring), outline.exterior)
        ahead = np.roll(ring, -1, axis=0) - ring
        back = np.roll(ahead, 1, axis=0)
        turn = np.abs(
            np.arctan2(back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0], (back * ahead).sum(axis=1))
        )
        straight = turn < max(float(turn.min()), 1e-6) * 2  # at a corner the seam would hide it
        nearest = int(np.argmin(np.where(straight, away, np.inf)))
        return LineString(np.vstack((ring[nearest:], ring[: nearest + 1])))
    if out.all():
        farthest = int(np.argmax(shapely.distance(shapely.points(ring), outline)))
        ring, out = np.roll(ring, -farthest, axis=0), np.roll(out, -farthest)
        return LineString(np.vstack((ring, ring[:1])))
    start = int(np.argmin(out))  # on the bed, so that no stretch off it runs over the ring's seam
    ring, out = np.roll(ring, -start, axis=0), np.roll(out, -start)
    ring = np.vstack((ring, ring[:1]))
    edges = np.flatnonzero(np.diff(np.concatenate(([0], out.astype(int), [0]))))
    along = stations(ring)
    first, last = max(
        ((along[a - 1], along[b]) for a, b in zip(edges[::2], edges[1::2], strict=True)),
        key=lambda stretch: float(stretch[1] - stretch[0]),
    )
    leaves, comes = first + (last - first) / 4, last - (last - first) / 4
    ends = points_at(ring, np.array([comes, leaves]))
    return LineString(
        np.vstack(
            (ends[:1], ring[along > comes + TOLERANCE], ring[1:][along[1:] < leaves - TOLERANCE], ends[1:])
        )
    )


def spread_ends(line: LineString, outline: Polygon) -> LineString | None:
    """A line whose straight continuations do not meet: where they would, its ends turn away from the bed.

    Returns
    -------
    LineString or None
        As it was wherever that will do; None where it meets itself even so.
    """
    west, south, east, north = outline.union(line).bounds
    reach = 4 * math.hypot(east - west, north - south)
    points = coordinates(line)
    heading = unit(np.vstack((points[0] - points[1], points[-1] - points[-2])))
    if LineString(
        np.vstack((points[0] + heading[0] * reach, points, points[-1] + heading[1] * reach))
    ).is_simple:
        return line
    away = unit(points[[0, -1]] - coordinates(outline.centroid))
    turned = np.vstack((points[0] + away[0] * reach, points, points[-1] + away[1] * reach))
    return LineString(turned) if LineString(turned).is_simple else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lie:
    """The general lie of the ground: a surface of the second degree, fitted to it on the bed by least squares."""

    zero: Array
    size: float
    weights: Array
    slope: float

    @classmethod
    def of(cls, surface: Surface, part: Polygon) -> _Lie:
        west, south, east, north = part.bounds
        size = max(east - west, north - south)
        x, y = np.meshgrid(
            np.arange(west, east, size / _GRID) + size / _GRID / 2,
            np.arange(south, north, size / _GRID) + size / _GRID / 2,
        )
        inside = shapely.contains_xy(part, x.ravel(), y.ravel())
        points = np.vstack(
            (np.column_stack((x.ravel(), y.ravel()))[inside], coordinates(part.representative_point()))
        )
        levels = surface.heights(points)
        points, levels = points[~np.isnan(levels)], levels[~np.isnan(levels)]
        zero = points.mean(axis=0)
        u, v = ((points - zero) / size).T
        terms = _second_degree(u, v)
        normal, right = (
            np.einsum("ki,kj->ij", terms, terms),
            np.einsum("ki,k->i", terms, levels - levels.mean()),
        )
        weights = np.einsum("ij,j->i", np.linalg.pinv(normal, rcond=1e-12, hermitian=True), right)
        weights[0] += levels.mean()
        _, a, b, c, d, e = weights
        fall = np.hypot(a + 2 * c * u + d * v, b + d * u + 2 * e * v) / size
        return cls(zero=zero, size=size, weights=weights, slope=float(fall.mean()))

    def surface(self, ground: Surface, part: Polygon) -> Surface:
        """It as triangles, on the surveyed part of the bed's surroundings."""
        west, south, east, north = part.bounds
        step = self.size / _GRID
        x, y = np.meshgrid(np.arange(west, east + step, step), np.arange(south, north + step, step))
        points = np.column_stack((x.ravel(), y.ravel()))
        points = np.vstack((points[shapely.contains_xy(ground.ground, points)], coordinates(part)[:-1]))
        points, _ = merged(points, np.zeros(len(points)))
        u, v = ((points - self.zero) / self.size).T
        return Surface(points, np.einsum("ki,i->k", _second_degree(u, v), self.weights))


def _second_degree(u: Array, v: Array) -> Array:
    return np.column_stack((np.ones_like(u), u, v, u * u, u * v, v * v))


def _width(outline: Polygon) -> float:
    """Where a bed is widest, how wide it is [m]."""
    return 2 * float(shapely.maximum_inscribed_circle(outline, tolerance=outline.length * 1e-3).length)


def _round_a_hump(line: LineString, outline: Polygon) -> bool:
    """Whether a level line closes upon itself in the bed, or outside it but smaller than the bed is wide."""
    if not line.is_closed:
        return False
    west, south, east, north = line.bounds
    return bool(outline.contains(line) or math.hypot(east - west, north - south) < _width(outline))


def _turns_back(line: LineString, outline: Polygon) -> bool:
    """Whether a line turns back within the bed's own width, so that runs on both sides cannot follow it.

    Either a stretch twice as long as the bed is wide has its ends less than a third of that apart (it bends on a
    radius under 0.44 of the width), or stretches farther from each other along the line come within half the width.
    """
    from scipy.spatial import cKDTree

    width = _width(outline)
    points = resample(coordinates(line), width / 10)
    if len(points) <= 20:
        return False
    chord = np.hypot(*(points[20:] - points[:-20]).T)
    pairs = cKDTree(points).query_pairs(width / 2, output_type="ndarray")
    return bool((chord < 2 * width / 3).any() or (np.abs(pairs[:, 0] - pairs[:, 1]) > 20).any())


def _near(line: LineString, outline: Polygon, *, by: float) -> LineString | None:
    """The stretch of a line from where it first comes within a distance of the bed's hull to where it last is."""
    near = shapely.intersection(line, outline.convex_hull.buffer(by))
    if near.length <= TOLERANCE:
        return None
    if near.length >= line.length - TOLERANCE:
        return line
    along = shapely.line_locate_point(line, shapely.points(coordinates(near)))
    first, last = float(along.min()), float(along.max())
    points = coordinates(line)
    station = stations(points)
    inner = points[(station > first + TOLERANCE) & (station < last - TOLERANCE)]
    return LineString(
        np.vstack((points_at(points, np.array([first])), inner, points_at(points, np.array([last]))))
    )


def _soft(line: LineString, deviation: float) -> LineString:
    """A line smoothed along itself by a Gaussian [m]; its ends and its straights stay, chords to a millimetre."""
    step = deviation / 2
    if step <= 0 or line.length < 4 * step:
        return line
    points = resample(coordinates(line), step)
    step = line.length / (len(points) - 1)
    reach = min(math.ceil(4 * deviation / step), len(points) - 1)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / deviation) ** 2)
    weights /= weights.sum()
    before, after = 2 * points[0] - points[reach:0:-1], 2 * points[-1] - points[-2 : -reach - 2 : -1]
    padded = np.vstack((before, points, after))
    soft = np.column_stack([np.convolve(padded[:, k], weights, mode="valid") for k in (0, 1)])
    return LineString(coordinates(LineString(soft).simplify(TOLERANCE)))
