"""Which parts of the outline are the bed's long sides and which are its ends, found from its shape alone.

The *trunk* is the longest path through the medial axis of the bed; each of its two tips points at an end.
An end is the stretch of outline there that joins the two sides best: where the sides still run parallel to
each other and the outline then turns. A bed without a long direction gets straight sides from its smallest
enclosing rectangle, and says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from layout.model import XY, Sides, xy
from layout.motion import Motion
from layout.plane import Array, SegmentIndex, coordinates, distances, points_at, resample, stations

CORNER_BRANCH = 2.2
"""A medial ridge whose two outline points lie nearer along the outline than this × their distance leads
into a corner, not along the bed (up to corners of about 90 degrees)."""
LEAST_TRUNK = 0.35
"""Trunk length over mean width below which a bed has no long direction."""
SLIM = 0.6
"""The trunk is followed to where the bed's half width falls below this share of its median: beyond that it
runs into an acute corner."""
REACH = 3.2
"""How far from the trunk's tip, in local widths along the outline, an end may begin: an end at 20 degrees."""
ALONG = np.radians(1.0)
"""An edge within this of a direction runs along it [rad]."""
LEANING = 0.2
"""Least share of an outline that runs along or across its smallest rectangle, for that one to be the bed's own."""
SKEW_COST, LENGTH_COST, CORNER_GAIN = 4.0, 0.13, 0.20
"""Weights of an end: sides out of parallel (quarter turn = 1, squared), its length in local widths, and
the outline turning there (60 degrees = 1)."""


@dataclass(frozen=True, slots=True)
class _Ring:
    """The outline as a dense closed walk, counter-clockwise, with the outline's own vertices kept."""

    points: Array
    station: Array
    length: float

    def between(self, start: float, end: float) -> Array:
        """The walk from one station on to another, round the ring if need be."""
        start, end = start % self.length, start % self.length + (end - start) % self.length
        wide = np.concatenate((self.station[:-1], self.station[:-1] + self.length))
        inner = wide[(wide > start + 1e-7) & (wide < end - 1e-7)]
        along = np.concatenate(([start], inner, [end]))
        return self.at(along)

    def at(self, along: Array) -> Array:
        """Points at stations, taken round the ring."""
        return points_at(self.points, np.mod(along, self.length))


def find_sides(outline: Polygon, *, toward: XY, far: bool = False) -> Sides:
    """Split an outline into two long sides and two ends.

    Parameters
    ----------
    outline : Polygon
        Valid, without holes, counter-clockwise [m].
    toward : (x, y)
        The manifold stands at the end nearer to this point [m].
    far : bool
        The other end instead.

    Returns
    -------
    Sides
        Left and right as seen from the manifold end, looking along the bed.
    """
    upright = _upright(outline, toward)
    found = _found(
        shapely.orient_polygons(upright.turn(Polygon(outline.exterior))),
        toward=xy(upright.turn(Point(toward))),
        far=far,
    )
    left, right, near, far_end, centre = (
        upright.back(line) for line in (found.left, found.right, found.near, found.far, found.centre)
    )
    if upright.mirrored:
        left, right, near, far_end = right, left, near.reverse(), far_end.reverse()
    return Sides(left=left, right=right, near=near, far=far_end, centre=centre, certain=found.certain)


def _upright(outline: Polygon, toward: XY) -> Motion:
    """The motion that lays a bed along its principal axis, so that sides do not hang on how a bed is turned.

    The manifold end comes first, and the side to which the bed bellies out comes to the left.
    """
    middle = outline.centroid
    centre = complex(middle.x, middle.y)
    axis = _principal_axis(outline) or 1 + 0j
    if ((complex(*toward) - centre) / axis).real > 0:
        axis = -axis
    points = coordinates(
        Motion(centre, axis).turn(shapely.segmentize(outline.exterior, outline.length / 400))
    )
    size = np.hypot(*np.diff(points, axis=0).T)
    lean = float((((points[:-1] + points[1:]) / 2)[:, 1] ** 3 * size).sum())
    return Motion(centre, axis, mirrored=lean < 0)


def _found(outline: Polygon, *, toward: XY, far: bool) -> Sides:
    """The sides of a bed in its own axes."""
    width = 2.0 * outline.area / outline.length
    ring = _dense_ring(outline, width / 6.0)
    trunk = _trunk(outline, ring)
    if trunk is None or stations(trunk)[-1] < LEAST_TRUNK * width:
        return _straight_sides(outline, toward=toward, far=far)
    ends = _ends(outline, ring, trunk)
    if ends is None:
        return _straight_sides(outline, toward=toward, far=far)
    return _assemble(ring, *ends, trunk, toward=toward, far=far)


def straight_sides(outline: Polygon, *, toward: XY, far: bool = False) -> Sides:
    """Straight sides from the smallest enclosing rectangle, for beds that no curve suits.

    Parameters and result as for :func:`find_sides`; `certain` is False.
    """
    return _straight_sides(shapely.orient_polygons(Polygon(outline.exterior)), toward=toward, far=far)


def _dense_ring(outline: Polygon, step: float) -> _Ring:
    """Each edge divided on its own, so that a turned or mirrored bed gives the turned or mirrored points."""
    corners = coordinates(outline.exterior)
    step = max(step, outline.length / 6000)
    pieces = [resample(corners[i : i + 2], step)[:-1] for i in range(len(corners) - 1)]
    points = np.vstack([*pieces, corners[:1]])
    station = stations(points)
    return _Ring(points, station, float(station[-1]))


def _trunk(outline: Polygon, ring: _Ring) -> Array | None:
    """The longest path through the medial axis, corner branches left out; None where there is none."""
    from scipy.spatial import Voronoi

    sites = ring.points[:-1]
    voronoi = Voronoi(sites - sites.mean(axis=0))
    vertices = voronoi.vertices + sites.mean(axis=0)
    shapely.prepare(outline)
    inside = np.asarray(shapely.contains_xy(outline, vertices[:, 0], vertices[:, 1]))
    ends = np.asarray(voronoi.ridge_vertices)
    owners = np.asarray(voronoi.ridge_points)
    bounded = (ends >= 0).all(axis=1)
    ends, owners = ends[bounded], owners[bounded]
    within = inside[ends].all(axis=1)
    ends, owners = ends[within], owners[within]
    arc = np.abs(ring.station[owners[:, 0]] - ring.station[owners[:, 1]])
    arc = np.minimum(arc, ring.length - arc)
    chord = np.hypot(*(sites[owners[:, 0]] - sites[owners[:, 1]]).T)
    ends = ends[arc >= CORNER_BRANCH * chord]
    if len(ends) < 2:
        return None
    return _longest_path(vertices, ends)


def _longest_path(vertices: Array, edges: np.ndarray) -> Array | None:
    """The longest shortest path through the largest part of a graph (exact for a tree: two sweeps)."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import dijkstra

    used, index = np.unique(edges, return_inverse=True)
    index = index.reshape(edges.shape)
    weight = np.maximum(np.hypot(*(vertices[edges[:, 0]] - vertices[edges[:, 1]]).T), 1e-9)
    graph = coo_matrix((weight, (index[:, 0], index[:, 1])), shape=(len(used), len(used))).tocsr()
    best: list[int] = []
    longest = 0.0
    seen = np.zeros(len(used), dtype=bool)
    while not seen.all():
        seed = int(np.flatnonzero(~seen)[0])
        first = dijkstra(graph, directed=False, indices=seed)
        reached = np.isfinite(first)
        seen |= reached
        start = int(np.argmax(np.where(reached, first, -1)))
        reach, before = dijkstra(graph, directed=False, indices=start, return_predecessors=True)
        end = int(np.argmax(np.where(np.isfinite(reach), reach, -1)))
        if reach[end] > longest:
            longest, best = float(reach[end]), [end]
            while best[-1] != start:
                best.append(int(before[best[-1]]))
    return vertices[used[best]] if len(best) >= 3 else None


def _ends(
    outline: Polygon, ring: _Ring, trunk: Array
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Stations (from, to), counter-clockwise, of the end before the trunk and of the one after it."""
    walked = resample(trunk, stations(trunk)[-1] / 200)
    radius = distances(walked, outline.exterior)
    usual = float(np.median(radius))
    full = np.flatnonzero(radius >= SLIM * usual)
    first, last = int(full[0]), int(full[-1])
    tip0 = _tip(outline, ring, walked[first : last + 1][::-1], float(radius[first]))
    tip1 = _tip(outline, ring, walked[first : last + 1], float(radius[last]))
    width0, width1 = (2.0 * max(float(radius[end]), 0.8 * usual) for end in (first, last))
    apart = (tip1 - tip0) % ring.length
    end0 = _best_end(ring, tip0, width0, before=ring.length - apart, after=apart)
    end1 = _best_end(ring, tip1, width1, before=apart, after=ring.length - apart)
    span = ring.length * 1e-6
    if (end1[0] - end0[1]) % ring.length < span or (end0[0] - end1[1]) % ring.length < span:
        return None
    return end0, end1


def _tip(outline: Polygon, ring: _Ring, line: Array, radius: float) -> float:
    """Station where the trunk, extended straight from its last stretch, meets the outline."""
    length = stations(line)[-1]
    back = points_at(line, np.array([max(length - 1.5 * radius, 0.0)]))[0]
    heading = line[-1] - back
    size = float(np.hypot(*heading)) or 1.0
    ray = LineString([line[-1], line[-1] + heading / size * ring.length])
    hits = coordinates(shapely.intersection(ray, outline.exterior))
    hit = hits[np.argmin(np.hypot(*(hits - line[-1]).T))] if len(hits) else line[-1]
    return float(shapely.line_locate_point(shapely.LinearRing(ring.points), shapely.Point(hit)))


def _best_end(ring: _Ring, tip: float, width: float, *, before: float, after: float) -> tuple[float, float]:
    """The two stations round a tip that make the best end, see the weights above."""
    back = _candidates(ring, tip, width, reach=-min(REACH * width, 0.45 * before))
    fore = _candidates(ring, tip, width, reach=min(REACH * width, 0.45 * after))
    window = width / 2.5
    into = _heading(ring, back - window, back)
    out_of = _heading(ring, fore + window, fore)
    skew = np.abs(np.angle(into[:, None] / out_of[None, :])) / (np.pi / 2)
    length = (fore[None, :] - back[:, None]) / width
    corner = _corner(ring, back, width, sign=1.0)[:, None] + _corner(ring, fore, width, sign=-1.0)[None, :]
    folded = _folded(ring, back, window)[:, None] | _folded(ring, fore, -window)[None, :]
    pointed = np.clip(2.0 * length, 0.5, 1.0)  # one acute tip is one corner, not two
    cost = SKEW_COST * skew**2 + LENGTH_COST * length - CORNER_GAIN * corner * pointed + folded
    cost[length < 0] = np.inf
    i, j = np.unravel_index(int(np.argmin(np.round(cost, 9))), cost.shape)
    return _straight_to(ring, back, int(i), width, sign=1.0), _straight_to(
        ring, fore, int(j), width, sign=-1.0
    )


def _folded(ring: _Ring, at: Array, window: float) -> np.ndarray:
    """Whether the outline folds back (over about 50 degrees) within a window before a station: no side's end."""
    return np.asarray(np.hypot(*(ring.at(at) - ring.at(at - window)).T) < 0.9 * abs(window))


def _straight_to(ring: _Ring, found: Array, chosen: int, width: float, *, sign: float) -> float:
    """Where a straight side turns into a rounded end just before the chosen station, the last straight one."""
    near = found[(sign * (found[chosen] - found) >= 0) & (sign * (found[chosen] - found) <= width / 6)]
    back = sign * np.linspace(width / 3, 0.0, 9)
    walk = ring.at((near[:, None] - back[None, :]).ravel()).reshape(len(near), 9, 2)
    chord = walk[:, -1] - walk[:, 0]
    off = walk - walk[:, :1]
    bow = np.abs(off[:, :, 0] * chord[:, None, 1] - off[:, :, 1] * chord[:, None, 0]).max(axis=1)
    straight = bow <= 1e-4 * width * np.hypot(*chord.T)
    if straight[near == found[chosen]].all() or not straight.any():
        return float(found[chosen])
    return float(near[straight][np.argmin(sign * (found[chosen] - near[straight]))])


def _candidates(ring: _Ring, tip: float, width: float, *, reach: float) -> Array:
    """Stations within reach of a tip on one side of it: outline vertices and the points between them."""
    over = -0.5 * width * np.sign(reach)  # a corner may lie just across the tip
    low, high = sorted((tip + over, tip + reach))
    wide = np.concatenate([ring.station[:-1] + turn * ring.length for turn in (-1, 0, 1)])
    found = wide[(wide >= low) & (wide <= high)]
    thin = max(len(found) // 160, 1)
    if thin > 1:
        rough = np.hypot(*(ring.at(found + width / 40) - 2 * ring.at(found) + ring.at(found - width / 40)).T)
        found = np.union1d(found[::thin], found[np.argsort(-rough, kind="stable")[:80]])
    return found if len(found) else np.array([tip])


def _heading(ring: _Ring, start: Array, end: Array) -> np.ndarray:
    """Direction of the walk from one set of stations to another, as unit complex numbers."""
    step = ring.at(end) - ring.at(start)
    size = np.maximum(np.hypot(*step.T), 1e-12)
    return np.asarray((step[:, 0] + 1j * step[:, 1]) / size)


def _corner(ring: _Ring, at: Array, width: float, *, sign: float) -> Array:
    """How much more the outline turns inward just beyond a station than just before it, 60 degrees = 1.

    Taken over a long and a short stretch: a walked outline's corner is blunt, a drawn one's is sharp.
    """
    total = np.zeros(len(at))
    for share in (4.0, 15.0):
        window, small = sign * width / share, sign * width / 60.0
        before = _heading(ring, at - window, at - small)
        here = _heading(ring, at - small, at)
        beyond = _heading(ring, at + small, at + window)
        turn = sign * (np.angle(beyond / here) - np.angle(here / before))
        total += np.clip(turn / np.radians(60), 0.0, 1.0) / 2
    return total


def _assemble(
    ring: _Ring, end0: tuple[float, float], end1: tuple[float, float], trunk: Array, *, toward: XY, far: bool
) -> Sides:
    """Name the four stretches, seen from the manifold end. The ring is counter-clockwise."""
    gap0, gap1 = (LineString(_two(ring.between(*end))) for end in (end0, end1))
    target = shapely.Point(toward)
    near_is_1 = shapely.distance(gap1, target) < shapely.distance(gap0, target) - 1e-9
    if near_is_1 != far:
        end0, end1, trunk = end1, end0, trunk[::-1]
    right = ring.between(end0[1], end1[0])
    left = ring.between(end1[1], end0[0])[::-1]
    near = _two(ring.between(*end0))
    far_end = _two(ring.between(*end1))[::-1]
    return Sides(
        left=LineString(left),
        right=LineString(right),
        near=LineString(near),
        far=LineString(far_end),
        centre=LineString(_centre(left, right, near, far_end, trunk)),
    )


def _two(points: Array) -> Array:
    """A pointed end has no length: give it two equal points, so that it stays a line."""
    return points if len(points) > 1 else np.vstack((points, points))


def _centre(left: Array, right: Array, near: Array, far: Array, trunk: Array) -> Array:
    """The stretch of the trunk that lies between the sides, led to the middles of the ends where those lie ahead."""
    inner = resample(trunk, max(stations(trunk)[-1] / 400, 1e-6))
    to_left, to_right, to_near, to_far = (
        SegmentIndex([LineString(part)]).nearest(inner)[0]
        if np.ptp(part, axis=0).any()
        else np.full(len(inner), np.inf)
        for part in (left, right, near, far)
    )
    between = np.flatnonzero(np.maximum(to_left, to_right) <= np.minimum(to_near, to_far))
    if len(between) >= 3:
        inner = inner[between[0] : between[-1] + 1]
    back = len(inner) // 20 + 1
    first = _led_to(inner[back], inner[0], (left[0] + right[0]) / 2, near)
    last = _led_to(inner[-1 - back], inner[-1], (left[-1] + right[-1]) / 2, far)
    return np.vstack((first, inner, last))


def _led_to(behind: Array, tip: Array, middle: Array, end: Array) -> Array:
    """The middle of an end where it lies ahead of a line's tip, else where the line straight on meets the end."""
    heading, way = tip - behind, middle - tip
    if way @ heading > 0.5 * np.hypot(*way) * np.hypot(*heading):
        return middle[None, :]
    reach = 2.0 * np.hypot(*way) + np.hypot(*np.ptp(end, axis=0))
    ray = LineString([tip, tip + heading / np.hypot(*heading) * reach])
    hits = coordinates(shapely.intersection(ray, LineString(end)))
    return hits[:1] if len(hits) else np.empty((0, 2))


def _straight_sides(outline: Polygon, *, toward: XY, far: bool) -> Sides:
    """The long edges of a rectangle round the bed as sides, its short ones as ends."""
    corner = _rectangle(outline)
    edge = np.hypot(*(np.roll(corner, -1, axis=0) - corner).T)
    if edge[0] < edge[1]:
        corner = np.roll(corner, -1, axis=0)
    low0, low1, high1, high0 = corner
    target = np.array(toward)
    near_first = np.hypot(*((low0 + high0) / 2 - target)) <= np.hypot(*((low1 + high1) / 2 - target)) + 1e-9
    if near_first == far:
        low0, low1, high0, high1 = high1, high0, low1, low0
    return Sides(
        left=LineString([high0, high1]),
        right=LineString([low0, low1]),
        near=LineString([high0, low0]),
        far=LineString([high1, low1]),
        centre=LineString([(high0 + low0) / 2, (high1 + low1) / 2]),
        certain=False,
    )


def _rectangle(outline: Polygon) -> Array:
    """The corners, counter-clockwise, of the smallest rectangle round a bed, where some of its edge runs along it.

    Else that rectangle leans on any edge of the hull, though it be a chord of a curve; then the rectangle lies along
    the bed's principal axis, about which its area turns most easily.
    """
    box = shapely.orient_polygons(Polygon(coordinates(shapely.minimum_rotated_rectangle(outline))))
    corner = coordinates(box.exterior)[:4]
    step = np.diff(coordinates(outline.exterior), axis=0)
    edges = step[:, 0] + 1j * step[:, 1]
    axis = complex(*(corner[1] - corner[0]))
    off = np.abs(np.angle((edges[np.abs(edges) > 0] / axis) ** 4)) / 4  # from the nearest of four directions
    size = np.abs(edges[np.abs(edges) > 0])
    heading = _principal_axis(outline)
    if heading is None or size[off < ALONG].sum() >= LEANING * size.sum():
        return corner
    turned = coordinates(outline.exterior) @ np.array(
        [[heading.real, -heading.imag], [heading.imag, heading.real]]
    )
    (x0, y0), (x1, y1) = turned.min(axis=0), turned.max(axis=0)
    back = np.array([[heading.real, heading.imag], [-heading.imag, heading.real]])
    return np.asarray(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) @ back)


def _principal_axis(outline: Polygon) -> complex | None:
    """Direction of the long principal axis of a bed's area; None where it has none to speak of."""
    centre = outline.centroid
    points = coordinates(outline.exterior) - [centre.x, centre.y]
    (x0, y0), (x1, y1) = points[:-1].T, points[1:].T
    cross = x0 * y1 - x1 * y0
    xx, yy = ((a * a + a * b + b * b) @ cross / 12 for a, b in ((x0, x1), (y0, y1)))
    xy = (x0 * y1 + 2 * x0 * y0 + 2 * x1 * y1 + x1 * y0) @ cross / 24
    spread = math.hypot(xx - yy, 2 * xy)
    if spread < 0.2 * abs(xx + yy):
        return None
    if cross.sum() < 0:
        xx, yy, xy = -xx, -yy, -xy
    return complex(np.exp(0.5j * math.atan2(2 * xy, xx - yy)))
