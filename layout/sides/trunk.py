"""The trunk of a bed: the longest path through its medial axis, and what of it lies between its sides."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Polygon

from layout.near import SegmentIndex
from layout.plane import Array, coordinates, resample, stations
from layout.sides.ring import Ring

CORNER_BRANCH = 2.2
"""A medial ridge whose two outline points lie nearer along the outline than this × their distance leads
into a corner, not along the bed (up to corners of about 90 degrees)."""


def trunk_of(outline: Polygon, ring: Ring) -> Array | None:
    """The longest path [m] through the medial axis, corner branches left out; None where there is none."""
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


def centre_of(left: Array, right: Array, near: Array, far: Array, trunk: Array) -> Array:
    """The stretch of the trunk [m] between the sides, led to the middles of the ends where those lie ahead."""
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
