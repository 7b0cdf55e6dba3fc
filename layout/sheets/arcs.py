"""Lines and arcs in place of a polyline of many points, for a program that draws true arcs.

Runs are parallels of curves, written down as polylines of very many points. Here as many of them as possible are
taken together as one line, or one arc, that keeps within a tolerance of all of them and of the middles of the
edges between them. Every joint is a point of the polyline, so that nothing gapes. Where the polyline is a true
arc, drawn by points, so is what comes of it.

A *bulge* is the tangent of a quarter of an arc's angle, over 0 where it turns to the left.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layout.plane import Array, stations

FIT = 0.01
"""How far tubing and pipes may lie from their points where they are drawn as lines and arcs, in run spacings."""
LONGER = 5e-5
"""How much longer or shorter than the polyline lines and arcs may be, as a share."""
MOST_BULGE = math.tan(math.radians(170.0) / 4)
"""Of one arc: wider ones are drawn as two."""
_ARC_TURN = 0.35
"""True arcs that turn farther than this begin and end at joints [rad]."""
_SAME_RADIUS = 1e-3
"""How much the radius through three points of a true arc may differ from that through the next three, as a share."""
_SAME_BULGE = 1e-4
"""The same for bulges of the arcs through both ends of a true arc and each of its points."""
_FEWEST = 5
"""Points of a true arc."""
_STRAIGHT = 0.05
"""A line is a line where it stays within this share of the tolerance."""
_CLOSED = 1e-6
"""Ends of a chord nearer together than this share of the way between them are one place."""


def fit(points: Array, tolerance: float, *, closed: bool = False, longer: float = LONGER) -> Array:
    """Fit lines and arcs to a polyline.

    Parameters
    ----------
    points : (n, 2) array
        A ring has its first point once.
    tolerance : float
        How far points, and the middles of edges, may lie from what is fitted.
    closed : bool
        Whether it is a ring.
    longer : float
        How much longer or shorter than its edges a piece of the polyline may become, as a share.

    Returns
    -------
    (m, 3) array
        x, y and the bulge of what leads on to the next point; of a ring, the last leads to the first. The bulge of
        the last point of an open line is 0.

    Examples
    --------
    >>> turns = np.linspace(0.0, 1.3, 60)
    >>> fit(50.0 * np.column_stack((np.cos(turns), np.sin(turns))), 0.02).round(4).tolist()
    [[50.0, 0.0, 0.3369], [13.3749, 48.1779, 0.0]]
    """
    walk = _walked(points, closed=closed)
    if len(walk) < 3 or tolerance <= 0:
        return _plain(walk, closed=closed)
    joints = _joints(walk)
    kept, bulges, owed = [0], [], 0.0
    station = stations(walk)
    for first, last in itertools.pairwise(joints):
        at = first
        reach = 8
        while at < last:
            end, found = _farthest(walk, station, (at, last), reach, (tolerance, longer))
            if end - at > 1:
                wanted = float(station[end] - station[at]) + owed
                found = found.as_long_as(wanted)
                owed = wanted - found.length
            kept.append(end)
            bulges.append(found.bulge)
            at, reach = end, end - at
    made = np.column_stack((walk[kept], [*bulges, 0.0]))
    return made[:-1] if closed else made


def length(fitted: Array, *, closed: bool = False) -> float:
    """Length of fitted lines and arcs, exactly [unit of the points]."""
    ends = np.roll(fitted, -1, axis=0) if closed else fitted[1:]
    starts = fitted if closed else fitted[:-1]
    chord = np.hypot(*(ends - starts)[:, :2].T)
    half = 2 * np.arctan(np.abs(starts[:, 2]))
    return float(np.sum(chord / np.sinc(half / math.pi)))


def drawn(fitted: Array, step: float, *, closed: bool = False) -> Array:
    """Points along fitted lines and arcs, at most `step` apart [unit of the points] and at all joints, shape (n, 2)."""
    ends = np.roll(fitted, -1, axis=0) if closed else fitted[1:]
    parts = []
    for (x, y, bulge), (to_x, to_y, _) in zip(fitted if closed else fitted[:-1], ends, strict=True):
        start, chord = np.array([x, y]), np.array([to_x - x, to_y - y])
        count = max(math.ceil(float(np.hypot(*chord)) * (1 + abs(bulge)) / step), 1)
        share = np.arange(count) / count
        angle = 4 * math.atan(bulge)
        if abs(angle) > 1e-9:
            turned = angle * share / 2
            # Along the chord that leads from the start to each point: it turns by half of what the arc has turned.
            reach = np.sin(turned) / math.sin(angle / 2)
            way = turned - angle / 2
            along, across = reach * np.cos(way), reach * np.sin(way)
        else:
            along, across = share, np.zeros(count)
        left = np.array([-chord[1], chord[0]])
        parts.append(start + along[:, None] * chord + across[:, None] * left)
    tail = fitted[:1, :2] if closed else fitted[-1:, :2]
    return np.vstack([*parts, tail])


def _walked(points: Array, *, closed: bool) -> Array:
    """Drop points that repeat the one before; let a ring begin, and end, where its longest edge ends."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    walk = points[np.concatenate(([True], steps > 0))]
    if not closed:
        return walk
    if len(walk) > 1 and np.array_equal(walk[0], walk[-1]):
        walk = walk[:-1]
    edges = np.hypot(*np.diff(np.vstack((walk[-1:], walk)), axis=0).T)
    start = int(np.argmax(edges > edges.max() - 1e-9))
    return np.vstack((walk[start:], walk[: start + 1]))


def _plain(walk: Array, *, closed: bool) -> Array:
    made = np.column_stack((walk, np.zeros(len(walk))))
    return made[:-1] if closed and len(made) > 1 else made


def _joints(walk: Array) -> list[int]:
    """Numbers of the points where a wide true arc begins or ends, and of both ends."""
    a, b, c = walk[:-2], walk[1:-1], walk[2:]
    cross = (b - a)[:, 0] * (c - b)[:, 1] - (b - a)[:, 1] * (c - b)[:, 0]
    sides = np.hypot(*(b - a).T) * np.hypot(*(c - b).T) * np.hypot(*(c - a).T)
    bend = 2 * cross / sides
    turn = np.abs(np.arctan2(cross, np.einsum("ij,ij->i", b - a, c - b)))
    curved = turn > 1e-6
    close = curved[1:] & curved[:-1] & (np.abs(np.diff(bend)) <= _SAME_RADIUS * np.abs(bend[:-1]))
    edges = np.flatnonzero(np.diff(np.concatenate(([False], close, [False])).astype(int)))
    found = {0, len(walk) - 1}
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        # Bends are those of points 1, 2 ...; each reaches over the points beside it.
        if end - start + 1 >= _FEWEST and turn[start : end + 1].sum() >= _ARC_TURN:
            found |= {int(start), int(end) + 2}
    return sorted(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """One line or arc: its chord [m], its bulge, and the least and greatest that would be near enough, too."""

    chord: float
    bulge: float = 0.0
    low: float = 0.0
    high: float = 0.0

    @property
    def length(self) -> float:
        return _arc_length(self.chord, self.bulge)

    def as_long_as(self, wanted: float) -> _Piece:
        """Bend it a little more or less, for its length to be as wanted, or as near to that as it may be."""
        side = math.copysign(1.0, self.bulge)
        ends = sorted((abs(self.low), abs(self.high))) if self.low * self.high > 0 else None
        if ends is None:
            return self
        # An arc is longer than its chord by 2/3 of the square of its bulge, nearly; Newton's step does the rest.
        bulge = math.sqrt(max(1.5 * (wanted / self.chord - 1), 0.0))
        for _ in range(2):
            slope = (_arc_length(self.chord, bulge + 1e-6) - _arc_length(self.chord, bulge)) / 1e-6
            if slope > 0:
                bulge -= (_arc_length(self.chord, bulge) - wanted) / slope
        return replace(self, bulge=side * min(max(bulge, ends[0]), ends[1]))


def _arc_length(chord: float, bulge: float) -> float:
    half = 2 * math.atan(abs(bulge))
    return chord * half / math.sin(half) if half > 1e-6 else chord


def _farthest(
    walk: Array, station: Array, ends: tuple[int, int], reach: int, bounds: tuple[float, float]
) -> tuple[int, _Piece]:
    """Find the farthest point that one line or arc leads to; `reach` is a guess at how many further."""
    at, last = ends
    tolerance, longer = bounds
    good, piece = at + 1, _Piece(chord=math.dist(walk[at], walk[at + 1]))
    bad = last + 1
    step = max(reach, 2)
    while good < last:
        tried = min(at + step, last, bad - 1)
        if tried <= good:
            break
        found = _one(walk[at : tried + 1], float(station[tried] - station[at]), tolerance, longer)
        if found is None:
            bad = tried
            step = (good - at + bad - at) // 2
        else:
            good, piece = tried, found
            step = 2 * step if bad > last else (good - at + bad - at) // 2
    return good, piece


def _one(points: Array, size_along: float, tolerance: float, longer: float) -> _Piece | None:
    """Give one line or arc from the first to the last of some points; None where none is near and long enough."""
    chord = points[-1] - points[0]
    size = math.hypot(chord[0], chord[1])
    if size <= _CLOSED * size_along:
        # Points that come back to where they began are on no arc that a bulge can tell, and leave no digits.
        return None
    between = np.concatenate((points[1:-1], (points[1:] + points[:-1]) / 2)) - points[0]
    along = (between @ chord) / size**2
    across = (between[:, 1] * chord[0] - between[:, 0] * chord[1]) / size**2
    count = len(points) - 2
    passed = along[:count]
    if count and (passed[0] <= 0 or passed[-1] >= 1 or bool(np.any(passed[1:] <= passed[:-1]))):
        return None
    slack = tolerance / size
    if float(np.abs(across).max()) <= _STRAIGHT * slack and size_along - size <= longer * size_along:
        return _Piece(chord=size)
    dot = across**2 - along * (1 - along)
    # Of the arc through both ends and each point. This form keeps its digits where the arc is almost straight.
    each = -across / (np.hypot(dot, across) - dot)
    room = slack / (2 * along * (1 - along))
    low, high = float((each - room).max()), float((each + room).min())
    if low > high:
        return None
    bulge = min(max(_middle(each[:count]), low), high)
    if abs(bulge) > MOST_BULGE or _off(along, across, bulge) > slack:
        return None
    if count >= _FEWEST - 2 and float(np.ptp(each[:count])) <= _SAME_BULGE * abs(bulge):
        # A true arc stays one, though it is longer than the chords between its points.
        low = high = bulge
    made = _Piece(chord=size, bulge=bulge, low=low, high=high)
    return made if abs(made.as_long_as(size_along).length - size_along) <= longer * size_along else None


def _middle(values: NDArray[np.float64]) -> float:
    middle = len(values) // 2
    return float(np.partition(values, middle)[middle])


def _off(along: Array, across: Array, bulge: float) -> float:
    """Find how far points lie from the arc of a bulge on a chord from (0, 0) to (1, 0)."""
    if abs(bulge) < 1e-9:
        return float(np.abs(across).max())
    radius, rise = (1 + bulge**2) / (4 * bulge), (1 - bulge**2) / (4 * bulge)
    return float(np.abs(np.hypot(along - 0.5, across - rise) - abs(radius)).max())
