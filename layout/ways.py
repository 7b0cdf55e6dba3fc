"""The shortest way through ground with obstacles: a visibility graph on their corners, exactly.

A shortest way among polygons is straight but for bends at their convex corners, round which it is taut. So the graph
has those corners and the two ends as its nodes, and as its edges every straight line between two of them that is
taut at both and enters no obstacle. Of these only the edges are made that the search for the shortest way asks for, the
one of least length so far and straight on to the end first (A*).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import Array, coordinates, polygons_of, union

XY = tuple[float, float]

MARGIN = 1.0
"""How much farther than all obstacles the ground reaches [m]: no shortest way leaves their hull."""
TAUT = 1e-9
"""What rounding may cost a corner that a line is to graze, as a sine."""


def free_ground(obstacles: Sequence[BaseGeometry], ends: Sequence[XY]) -> Polygon | MultiPolygon:
    """All ground outside some obstacles, as far as a shortest way between some places may reach.

    Parameters
    ----------
    obstacles : sequence of Polygon or MultiPolygon
        [m].
    ends : sequence of (x, y)
        [m].

    Returns
    -------
    Polygon or MultiPolygon
        Its edge belongs to it.
    """
    shapes = [*obstacles, *(Point(end) for end in ends)]
    left, bottom, right, top = shapely.total_bounds(np.asarray(shapes, dtype=object))
    frame = shapely.box(left - MARGIN, bottom - MARGIN, right + MARGIN, top + MARGIN)
    return MultiPolygon(polygons_of(frame.difference(union(obstacles))))


def shortest_way(start: XY, end: XY, obstacles: Sequence[BaseGeometry]) -> LineString | None:
    """Find the shortest way between two places that enters no obstacle.

    Only the obstacles that stand in the way are looked at: a shortest way round some of them that all the others
    leave open is the shortest of all.

    Parameters
    ----------
    start, end : (x, y)
        Outside all obstacles, or on their edge [m].
    obstacles : sequence of Polygon or MultiPolygon
        [m]; the way may touch their edges.

    Returns
    -------
    LineString or None
        From start to end, its corners on corners of obstacles; None where there is none.

    Examples
    --------
    >>> way = shortest_way((-2, 0), (2, 0), [shapely.box(-1, -3, 1, 1)])
    >>> list(way.coords)
    [(-2.0, 0.0), (-1.0, 1.0), (1.0, 1.0), (2.0, 0.0)]
    """
    way: LineString | None = LineString([start, end])
    tree = shapely.STRtree(list(obstacles))
    standing: set[int] = set()
    asked = False
    while True:
        met = {int(number) for number in tree.query(way, predicate="intersects")} - standing
        if not met:
            break
        looked = bool(standing)
        # Before more and more of very many are looked at: all together may leave no way.
        if looked and not asked and _room(start, end, obstacles) is None:
            return None
        asked = looked
        standing |= met
        room = _room(start, end, [obstacles[number] for number in sorted(standing)])
        way = None if room is None else way_within(room, start, end)
        if way is None:
            break
    return way


def _room(start: XY, end: XY, obstacles: Sequence[BaseGeometry]) -> Polygon | None:
    """The free ground between some obstacles that holds both ends of a way."""
    ends = shapely.points([start, end])
    rooms = polygons_of(free_ground(obstacles, [start, end]))
    return next((part for part in rooms if bool(np.all(shapely.covers(part, ends)))), None)


def way_within(room: Polygon, start: XY, end: XY) -> LineString | None:
    """Find the shortest way between two places in a room, its walls and columns.

    Parameters
    ----------
    room : Polygon
        [m]; its edges belong to it.
    start, end : (x, y)
        Within it [m].

    Examples
    --------
    >>> room = shapely.box(0, 0, 4, 4) - shapely.box(1, 0, 3, 3)
    >>> list(way_within(room, (0.5, 0.0), (3.5, 0.0)).coords)
    [(0.5, 0.0), (1.0, 3.0), (3.0, 3.0), (3.5, 0.0)]
    """
    corners, behind, ahead = _corners(room)
    nodes = np.vstack(([start], corners, [end]))
    # At an end the line may leave as it likes, which two sides of no length say.
    none = np.zeros((1, 2))
    behind, ahead = np.vstack((none, behind, none)), np.vstack((none, ahead, none))
    shapely.prepare(room)
    last = len(nodes) - 1
    onward = np.hypot(*(nodes - nodes[last]).T)
    far, before = np.full(len(nodes), np.inf), np.zeros(len(nodes), dtype=np.intp)
    left = np.ones(len(nodes), dtype=bool)
    far[0] = 0.0
    # The way goes on from the node by which it might be shortest, and only lines from there are looked at.
    while (here := int(np.argmin(np.where(left, far + onward, np.inf)))) != last:
        if not np.isfinite(far[here]) or not left[here]:
            return None
        left[here] = False
        to = np.flatnonzero(left)
        # An edge of no length counts, too: two obstacles may share a corner.
        length = far[here] + np.maximum(np.hypot(*(nodes[to] - nodes[here]).T), 1e-12)
        shorter = length < far[to]
        to, length = to[shorter], length[shorter]
        for turned in (False, True):  # at either end; few lines are left for the second
            at = np.full(len(to), here)
            taut = _taut(nodes, behind, ahead, *((to, at) if turned else (at, to)))
            to, length = to[taut], length[taut]
        ends = np.stack((nodes[np.minimum(to, here)], nodes[np.maximum(to, here)]), axis=1)
        seen = np.atleast_1d(shapely.covers(room, shapely.linestrings(ends)))
        far[to[seen]], before[to[seen]] = length[seen], here
    walk = [last]
    while walk[-1] != 0:
        walk.append(int(before[walk[-1]]))
    return LineString(nodes[walk[::-1]])


def _corners(room: Polygon) -> tuple[Array, Array, Array]:
    """Corners of free ground round which a line can bend, and the sides of the obstacle before and after each."""
    points, behind, ahead = [], [], []
    oriented = shapely.orient_polygons(room)
    for ring in (oriented.exterior, *oriented.interiors):
        walk = coordinates(ring)[:-1]
        before, after = walk - np.roll(walk, 1, axis=0), np.roll(walk, -1, axis=0) - walk
        turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
        # A point on a straight edge stays: rounding may hide one end of the edge from the other, but not from it.
        outer = turn < TAUT * np.hypot(*before.T) * np.hypot(*after.T)
        points.append(walk[outer])
        behind.append(-before[outer])
        ahead.append(after[outer])
    corners, back, on = np.vstack(points), np.vstack(behind), np.vstack(ahead)
    places, index, count = np.unique(corners, axis=0, return_index=True, return_counts=True)
    back, on = back[index], on[index]
    # Where two obstacles touch in a corner of both, either may be the one a line bends round.
    back[count > 1] = on[count > 1] = 0.0
    return places, back, on


def _taut(
    nodes: Array, behind: Array, ahead: Array, at: NDArray[np.intp], to: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Whether lines leave their first node with both sides of the obstacle there on one hand."""
    way = nodes[to] - nodes[at]
    hands = []
    for side in (behind[at], ahead[at]):
        size = np.maximum(np.hypot(*way.T) * np.hypot(*side.T), 1e-300)
        hands.append((way[:, 0] * side[:, 1] - way[:, 1] * side[:, 0]) / size)
    one, other = hands
    return np.asarray(((one >= -TAUT) & (other >= -TAUT)) | ((one <= TAUT) & (other <= TAUT)))
