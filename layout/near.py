"""What lies near what: lines that come near each other, and exact distances from very many points. In [m]."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from layout.plane import Array, coordinates, stations

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

PART = 12
"""Segments of each part that :func:`chopped` cuts a line into."""
LINE_MARKS = 200
"""Marks along each line of a :class:`SegmentIndex`, on average, at least."""
MOST_AMONG = 8
"""Segments, less one, among which a nearest one is looked for where it must be close by; of more, all are looked at."""
MANY = 1 << 40
"""More segments than there are."""
BESIDE = 2
"""Segments beside those that are looked at as well."""
STRIDE = 4
"""Of the nodes of a grid one in so many, each way, is looked for among all segments."""
MANY_PAIRS = 500
"""Pairs of parts from which on a look at closer boxes costs less than it saves."""
FEW = 6
"""A group of no more segments is looked at whole, without asking the marks."""
MOST_MARKS = 400_000
"""Marks along the lines of a :class:`SegmentIndex`, beyond one or two a segment."""


def chopped(lines: Sequence[LineString]) -> tuple[NDArray[np.object_], NDArray[np.intp]]:
    """Lines cut into parts of a few segments each, and which line each part is of.

    The bounds of such parts tell well what lies near what; those of whole lines side by side in a bend all overlap.
    """
    if not lines:
        return np.empty(0, dtype=object), np.empty(0, dtype=np.intp)
    walks = [coordinates(line) for line in lines]
    steps = np.array([len(walk) - 1 for walk in walks])
    parts = -(-steps // PART)
    owner = np.repeat(np.arange(len(walks)), parts)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(parts) - parts, parts)
    origin = (np.cumsum(steps + 1) - steps - 1)[owner]
    first, last = number * PART, np.minimum((number + 1) * PART, steps[owner])
    size = last - first + 1
    which = np.repeat(np.arange(len(owner)), size)
    vertex = np.arange(len(which)) - np.repeat(np.cumsum(size) - size, size)
    found = shapely.linestrings(np.vstack(walks)[(origin + first)[which] + vertex], indices=which)
    return np.atleast_1d(np.asarray(found, dtype=object)), owner


def near_pairs(lines: Sequence[LineString], distance: float) -> list[tuple[int, int]]:
    """Which lines come within a distance [m] of each other: pairs of their numbers, the lower one first, in order."""
    return list(near_parts(lines, distance))


def near_parts(
    lines: Sequence[LineString], distance: float
) -> dict[tuple[int, int], tuple[list[LineString], list[LineString]]]:
    """Which lines come within a distance [m] of each other, and where.

    Returns
    -------
    dict
        By pairs of their numbers, the lower one first, in order: those of the parts of each, see :func:`chopped`, that
        come within the distance of the other.
    """
    parts, owner = chopped(lines)
    x0, y0, x1, y1 = shapely.bounds(parts).T
    around = shapely.box(x0 - distance, y0 - distance, x1 + distance, y1 + distance)
    left, right = shapely.STRtree(parts).query(around)
    other = owner[left] < owner[right]
    left, right = left[other], right[other]
    if len(left) > MANY_PAIRS:
        maybe = ~_are_apart(parts, left, right, distance)
        left, right = left[maybe], right[maybe]
    close = shapely.dwithin(parts[left], parts[right], distance)
    found: dict[tuple[int, int], tuple[set[int], set[int]]] = {}
    for one, two in zip(left[close].tolist(), right[close].tolist(), strict=True):
        pair = found.setdefault((int(owner[one]), int(owner[two])), (set(), set()))
        pair[0].add(one)
        pair[1].add(two)
    return {
        pair: (parts[sorted(ones)].tolist(), parts[sorted(twos)].tolist())
        for pair, (ones, twos) in sorted(found.items())
    }


def _are_apart(
    parts: NDArray[np.object_], left: NDArray[np.intp], right: NDArray[np.intp], distance: float
) -> NDArray[np.bool_]:
    """Which pairs of parts lie in boxes along their chords that are farther than a distance apart [m].

    True of most rows side by side: boxes along the axes overlap wherever rows run slantwise. Boxes are apart where they
    are along a side of one of them.
    """
    points, part = shapely.get_coordinates(parts, return_index=True)
    walk = points[:, 0] + 1j * points[:, 1]
    last = np.flatnonzero(np.diff(part, append=len(parts)))
    first = np.append(0, last[:-1] + 1)
    chord = walk[last] - walk[first]
    size = np.abs(chord)
    ahead = np.where(size > 0, chord, 1.0) / np.where(size > 0, size, 1.0)
    seen = (walk - walk[first][part]) * ahead.conj()[part]
    (x0, x1), (y0, y1) = (
        (np.minimum.reduceat(along, first), np.maximum.reduceat(along, first))
        for along in (seen.real, seen.imag)
    )
    middle = walk[first] + ((x0 + x1) + 1j * (y0 + y1)) / 2 * ahead
    half = (x1 - x0) / 2, (y1 - y0) / 2
    apart = np.zeros(len(left), dtype=bool)
    for ones, others in ((left, right), (right, left)):
        unsure = np.flatnonzero(~apart)
        one, other = ones[unsure], others[unsure]
        back = ahead[one].conj()
        off, turn = (middle[other] - middle[one]) * back, ahead[other] * back
        cosine, sine = np.abs(turn.real), np.abs(turn.imag)
        along = half[0][one] + cosine * half[0][other] + sine * half[1][other]
        beside = half[1][one] + sine * half[0][other] + cosine * half[1][other]
        reach = distance * (1 + 1e-9)
        apart[unsure] = (np.abs(off.real) > along + reach) | (np.abs(off.imag) > beside + reach)
    return apart


def _every(count: int, stride: int) -> NDArray[np.intp]:
    """Numbers below a count a stride apart, and the last one."""
    return np.unique(np.append(np.arange(0, count, stride), count - 1))


def spans(node: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The least and the greatest number at the corners of each cell of a grid, shape (rows - 1, columns - 1).

    Those below 0 do not count.
    Where cells beside have numbers far apart, so has the cell: what parts these may cut one of its edges twice.
    """
    corners = np.stack((node[:-1, :-1], node[:-1, 1:], node[1:, :-1], node[1:, 1:]))
    low, high = np.where(corners < 0, MANY, corners).min(axis=0), corners.max(axis=0)
    parted = np.pad(high - low > MOST_AMONG, 1)
    rows, columns = low.shape
    beside = np.zeros(low.shape, dtype=bool)
    for down in range(3):
        for right in range(3):
            beside |= parted[down : down + rows, right : right + columns]
    return np.where(beside, 0, low), np.where(beside, MANY, high)


class SegmentIndex:
    """The segments of some lines under a spatial index, for exact distances from very many points.

    Linear referencing on the lines themselves would cost a whole line for every point, and a tree of segments
    is slow for points far from all of them. Here a k-d tree of marks along the segments names a few to look at;
    the closed form gives the nearest of them, and its distance tells whether any other could be nearer still.

    Parameters
    ----------
    lines : sequence of LineString
        [m].
    groups : sequence of int, optional
        Which group each line is of, where each point is to look for the lines of one group alone: a tree for each of
        hundreds of rows would cost far more than one for all.

    Attributes
    ----------
    line : (k,) array of int
        Which line each segment belongs to.
    along : (k,) array
        Distance along its line at which each segment starts [m].
    """

    def __init__(self, lines: Sequence[LineString], *, groups: Sequence[int] | None = None) -> None:
        walks = [coordinates(line) for line in lines]
        start = np.vstack([walk[:-1] for walk in walks])
        step = np.vstack([np.diff(walk, axis=0) for walk in walks])
        line = np.repeat(np.arange(len(walks)), [len(walk) - 1 for walk in walks])
        along = np.concatenate([stations(walk)[:-1] for walk in walks])
        real = np.hypot(*step.T) > 0
        self._start, self._step, self.line, self.along = start[real], step[real], line[real], along[real]
        self._size = np.hypot(*self._step.T)
        # as complex numbers: where each segment starts, and what turns it to lie along the x axis
        self._origin = self._start[:, 0] + 1j * self._start[:, 1]
        self._turned = (self._step[:, 0] - 1j * self._step[:, 1]) / self._size
        total = float(self._size.sum())
        # half a segment apart; long straight ones would have too few to tell anything
        wanted = min(float(np.median(self._size)) / 2, total / (LINE_MARKS * len(walks)))
        self._pitch = max(wanted, total / MOST_MARKS)
        self._groups: NDArray[np.intp] | None = None
        if groups is not None:
            self._groups = np.asarray(groups, dtype=np.intp)[self.line]
            # groups lie above each other, so far apart that none is nearer than all of another
            self._storey = 4.0 * float(np.ptp(np.vstack(walks), axis=0).max() + total)

    @cached_property
    def _marks(self) -> tuple[cKDTree, NDArray[np.intp]]:
        """Marks along the segments, and which segment each is on; where no point asks for them, they are not made."""
        from scipy.spatial import cKDTree

        count = np.maximum(np.ceil(self._size / self._pitch - 1e-9), 1).astype(np.intp) + 1
        marked = np.repeat(np.arange(len(count)), count)
        number = np.arange(len(marked)) - np.repeat(np.cumsum(count) - count, count)
        share = number / np.repeat(count - 1, count)
        marks = self._start[marked] + self._step[marked] * share[:, None]
        if self._groups is not None:
            marks = np.column_stack((marks, self._storey * self._groups[marked]))
        return cKDTree(marks), marked

    def nearest(self, points: Array) -> tuple[Array, Array]:
        """Distance from points to the lines, and the nearest points of the lines, shapes (n,), (n, 2) [m]."""
        _, foot, _ = self.locate(points)
        return np.hypot(*(points - foot).T), foot

    def at_most(self, points: Array) -> Array:
        """Distances of points from the lines, or a little more, shape (n,) [m]: to marks on them at half a pitch."""
        return np.asarray(self._marks[0].query(points)[0], dtype=np.float64)

    def farthest(self, points: Array, count: int) -> tuple[NDArray[np.intp], Array]:
        """Those of some points that are farthest from the lines, the farthest first: numbers, and distances [m]."""
        upper = self.at_most(points)
        lower = np.sqrt(np.maximum(upper**2 - self._pitch**2 / 4, 0.0))
        count = min(count, len(points))
        # only what may be farther than the least of that many needs its exact distance
        asked = np.flatnonzero(upper >= np.partition(lower, -count)[-count] * (1 - 1e-9))
        away = self.nearest(points[asked])[0]
        order = np.argsort(-away, kind="stable")[:count]
        return asked[order], away[order]

    def nearest_among(
        self, points: Array, first: NDArray[np.intp], last: NDArray[np.intp]
    ) -> tuple[Array, Array, NDArray[np.intp]]:
        """As :meth:`nearest` [m], for points beside others whose nearest segments lie from one to another, shape (n,).

        Only those segments and the ones beside them are looked at, and all where the nearest is at the end of these, or
        where they are many. Gives the nearest segments as well.
        """
        begin, end, most = first - BESIDE, last + BESIDE, len(self.line) - 1
        few = last - first <= MOST_AMONG
        width = int((last - first)[few].max(initial=0)) + 2 * BESIDE + 1
        about = np.clip(begin[:, None] + np.arange(width), 0, np.minimum(end, most)[:, None])
        best = self._squared(points, about).argmin(axis=1)
        index = about[np.arange(len(points)), best]
        lost = ~few | ((index <= begin) & (index > 0)) | ((index >= end) & (index < most))
        if lost.any():
            index[lost] = self.locate(points[lost])[0]
        foot = self._foot(points, index)[0]
        return np.hypot(*(points - foot).T), foot, index

    def locate_nodes(self, xs: Array, ys: Array, asked: NDArray[np.bool_]) -> NDArray[np.intp]:
        """Nearest segments of nodes of a grid [m], -1 for those not asked for, shape (len(ys), len(xs)).

        Few are asked one by one; what lies amid four of them has its nearest segment among theirs, where these are near
        each other.
        """
        across, up = (_every(len(ticks), STRIDE) for ticks in (xs, ys))
        grid_x, grid_y = np.meshgrid(xs, ys)
        coarse = np.column_stack((grid_x[np.ix_(up, across)].ravel(), grid_y[np.ix_(up, across)].ravel()))
        low, high = spans(self.locate(coarse)[0].reshape(len(up), len(across)))
        row, column = np.nonzero(asked)
        cell = np.minimum(row // STRIDE, len(up) - 2), np.minimum(column // STRIDE, len(across) - 2)
        points = np.column_stack((xs[column], ys[row]))
        found = np.full(asked.shape, -1, dtype=np.intp)
        found[asked] = self.nearest_among(points, low[cell], high[cell])[2]
        return found

    def locate(
        self, points: Array, groups: NDArray[np.intp] | None = None
    ) -> tuple[NDArray[np.intp], Array, Array]:
        """Nearest segment of each point, the foot on it, and the foot's distance along its line [m].

        `groups`, shape (n,), are those that the points look for, where the lines are in groups.
        """
        index = np.empty(len(points), dtype=np.intp)
        unsure = np.arange(len(points))
        if groups is not None:
            unsure = self._among_few(points, groups, index)
        for looked_at in (4, 16, 64):
            if not len(unsure):
                break
            asked = points[unsure]
            raised = asked if groups is None else np.column_stack((asked, self._storey * groups[unsure]))
            tree, marked = self._marks
            far, mark = tree.query(raised, k=looked_at)  # beyond all marks: infinity, and no mark
            segment = marked[np.minimum(mark, len(marked) - 1)]
            away = self._squared(asked, segment)
            if groups is not None and self._groups is not None:
                away[self._groups[segment] != groups[unsure][:, None]] = np.inf
            nearest = away.argmin(axis=1)[:, None]
            index[unsure] = np.take_along_axis(segment, nearest, axis=1)[:, 0]
            # a foot lies within half a pitch of a mark of its own segment, so its mark is nearer than this
            bound = np.take_along_axis(away, nearest, axis=1)[:, 0] + self._pitch**2 / 4
            unsure = unsure[far[:, -1] ** 2 < bound]
        if len(unsure):  # as near to very many segments: about the centre of an arc
            index[unsure] = self._by_tree(points[unsure], None if groups is None else groups[unsure])
        foot, share = self._foot(points, index)
        return index, foot, self.along[index] + share * self._size[index]

    def _among_few(
        self, points: Array, groups: NDArray[np.intp], index: NDArray[np.intp]
    ) -> NDArray[np.intp]:
        """Fill in the nearest segments of points that look for a group of few; gives the numbers of the others."""
        assert self._groups is not None, "lines are in groups where points look for one"
        order = np.argsort(self._groups, kind="stable")
        sizes = np.bincount(self._groups, minlength=int(groups.max(initial=0)) + 1)
        begins, count = (np.cumsum(sizes) - sizes)[groups], sizes[groups]
        for size in range(1, FEW + 1):
            asked = np.flatnonzero(count == size)
            segment = order[begins[asked][:, None] + np.arange(size)]
            nearest = self._squared(points[asked], segment).argmin(axis=1)[:, None]
            index[asked] = np.take_along_axis(segment, nearest, axis=1)[:, 0]
        return np.flatnonzero((count < 1) | (count > FEW))

    def _foot(self, points: Array, index: NDArray[np.intp]) -> tuple[Array, Array]:
        """Nearest points of segments, and how far along these they lie, as shares, shapes (n, 2) and (n,)."""
        start, step = self._start[index], self._step[index]
        share = np.clip(np.einsum("ij,ij->i", points - start, step) / self._size[index] ** 2, 0.0, 1.0)
        return start + step * share[:, None], share

    def _squared(self, points: Array, segment: NDArray[np.intp]) -> Array:
        """Squared distances of points from segments, shapes (n, 2) and (n, k) to (n, k) [m²]."""
        place = points[:, 0] + 1j * points[:, 1]
        # as seen along each segment: how far on, and how far beside it
        seen = (place[:, None] - self._origin[segment]) * self._turned[segment]
        beyond = seen.real - np.clip(seen.real, 0.0, self._size[segment])
        return np.asarray(beyond**2 + seen.imag**2)

    def _by_tree(self, points: Array, groups: NDArray[np.intp] | None) -> NDArray[np.intp]:
        """Nearest segment of each point, by the tree of segments."""
        places = np.asarray(shapely.points(points), dtype=object)
        if groups is None or self._groups is None:
            return np.asarray(self._tree.nearest(places))
        index = np.empty(len(points), dtype=np.intp)
        for group in np.unique(groups).tolist():
            own, asked = np.flatnonzero(self._groups == group), groups == group
            tree = shapely.STRtree(self._tree.geometries[own].tolist())
            index[asked] = own[tree.nearest(places[asked])]
        return index

    @cached_property
    def _tree(self) -> shapely.STRtree:
        """The segments themselves, in their order."""
        segments = shapely.linestrings(np.stack((self._start, self._start + self._step), axis=1))
        return shapely.STRtree(np.atleast_1d(np.asarray(segments, dtype=object)).tolist())
