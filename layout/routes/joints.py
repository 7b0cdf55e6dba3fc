"""Lines that can be glued: one elbow at a place, and room for a piece of pipe between two.

The shortest way turns as sharply as it has to, and lanes part from each other close to a manifold. Where that would
take several elbows at one corner, or two nearer to each other than they can be joined, the corner is made of two, or
the line's last piece is turned, or goes on along the manifold's axis, so that each elbow has its room.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.ops import substring

from layout.model import XY
from layout.plane import TOLERANCE, Array, coordinates
from layout.routes.elbows import ELBOWS, count_of, turns_along
from layout.routes.ground import GAP, PASSING, Ground
from layout.routes.items import Laid

APART = 0.15
"""Least distance from elbow to elbow along a pipe [m]: two elbows of 2 in, on a piece of pipe that
fills the sockets of both; common practice, no source."""
LONGER = 1.0
"""How much longer a line may become by that [m]."""
ROUNDS = 12
"""Places of a line that are mended, at most."""
STRIDE = 0.2
"""From place to place at which distances to other pipes are compared [m]."""
LOOKED = 2
"""Corners about such a place that may be done without."""
REACHES = (1.0, 2.5)
"""Lengths that the pieces between elbows are tried at, in the least distance."""
SLACK = 1e-6
"""What rounding may take off a distance [m]."""

Allowed = Callable[[Array], bool]


def faults(line: Array, *, apart: float = APART) -> list[tuple[int, int]]:
    """Corners of a line where elbows cannot be joined.

    Parameters
    ----------
    line : (n, 2) array
        With the first point of the manifold beyond its end [m].
    apart : float, optional
        Least distance between elbows [m].

    Returns
    -------
    list of (int, int)
        A corner twice for each elbow that it has beyond one; two corners for elbows too near to each other.
    """
    counts = [count_of(turn) for turn in turns_along(line)]
    steps = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate(([0.0], np.cumsum(steps)))
    found: list[tuple[int, int]] = []
    turned = [number for number, count in enumerate(counts, start=1) if count]
    for number in turned:
        found += [(number, number)] * (counts[number - 1] - 1)
    found += [
        (one, other) for one, other in itertools.pairwise(turned) if along[other] - along[one] < apart - SLACK
    ]
    return found


def buildable(way: Array, onward: Array, allowed: Allowed) -> Array:
    """Make a line of elbows that can be joined, as far as there is room for it.

    Parameters
    ----------
    way : (n, 2) array
        From the pump to the manifold [m].
    onward : (2,) array
        The next point of the manifold [m].
    allowed : callable
        Tells of a line, like `way`, whether it keeps all its distances and crosses no more than before.

    Returns
    -------
    (k, 2) array
        The same ends, with the fewest faults, and of such the shortest, found step by step [m].
    """
    for _ in range(ROUNDS):
        wrong = faults(np.vstack((way, onward)))
        if not wrong:
            break
        found: list[tuple[int, float, int, Array]] = []
        for number, (one, other) in enumerate(sorted(set(wrong))):
            for tried in _tried(way, onward, one, other):
                if float(np.min(np.hypot(*np.diff(tried, axis=0).T))) < 2 * TOLERANCE:
                    continue
                left = len(faults(np.vstack((tried, onward))))
                if left < len(wrong):
                    length = float(np.hypot(*np.diff(tried, axis=0).T).sum())
                    found.append((left, round(length, 6), number, tried))
        found.sort(key=lambda item: item[:3])
        better = next((tried for _, _, _, tried in found if allowed(tried)), None)
        if better is None:
            break
        way = better
    return way


def joined(ground: Ground, laid: Sequence[Laid], risers: Sequence[LineString]) -> list[Laid]:
    """Make lines of elbows that can be joined, as far as there is room for it, and without more crossings.

    Parameters
    ----------
    ground : Ground
    laid : sequence of Laid
        With a line of its own to each manifold.
    risers : sequence of LineString
        [m].
    """
    fixed = [*(pipe.line for pipe in ground.manifolds), *risers]
    ways = [list(item.ways) for item in laid]
    # Pipes of one trench make room for each other: the inner ones at a corner first, then those beside them.
    changed = True
    for least in (GAP, GAP, 2 * GAP / 3, PASSING):
        if least == GAP and not changed:
            continue
        changed = False
        for number, item in enumerate(laid):
            for place, pipe in enumerate(item.group.pipes):
                own, on = ways[number][place], coordinates(pipe.line)
                onward = on[1] if pipe.kind == "supply" else on[-2]
                if len(own) < 3 and math.dist(own[0], own[-1]) < TOLERANCE:
                    continue
                if not faults(np.vstack((own, onward))):
                    continue
                others = [
                    LineString(way)
                    for k, row in enumerate(ways)
                    for n, way in enumerate(row)
                    if (k, n) != (number, place)
                ]
                keeps = _as_clear(ground, own, item.group.feeds, [*fixed, *others], least)
                ways[number][place] = buildable(own, onward, keeps)
                changed = changed or ways[number][place] is not own
    return [
        item if all(a is b for a, b in zip(item.ways, made, strict=True)) else _with_ways(item, made)
        for item, made in zip(laid, ways, strict=True)
    ]


def _with_ways(item: Laid, ways: Sequence[Array]) -> Laid:
    """The same with other ways: each trench of one pipe begins where the one before it did."""
    legs = []
    for own, way, leg in zip(item.ways, ways, item.legs, strict=True):
        line = LineString(way)
        start = min(float(line.project(Point(leg.coords[0]))), float(line.length) - 2 * TOLERANCE)
        new = LineString(coordinates(substring(line, start, float(line.length)))) if way is not own else leg
        legs.append(new)
    return replace(item, ways=tuple(ways), legs=tuple(legs))


def _as_clear(
    ground: Ground, way: Array, feeds: Sequence[XY], beside: Sequence[LineString], least: float
) -> Allowed:
    """A judge of other ways for a line: they keep all distances, and meet other pipes no more than it does.

    What is new of them comes no nearer to other pipes than what of the line is beside it, or than the least [m].
    """
    line = LineString(way)
    tree = shapely.STRtree(list(beside))
    before = _met(line, tree)

    def allowed(tried: Array) -> bool:
        made = LineString(tried)
        if made.length > line.length + LONGER or not made.is_simple or not ground.allows(tried, feeds):
            return False
        met, along = _met(made, tree)
        if met > before[0] or along > before[1] + TOLERANCE:
            return False
        part = _changed(made, line)
        near = tree.geometries[tree.query(part, predicate="dwithin", distance=least)]
        return not _nearer(part, line, near.tolist(), least)

    return allowed


def _nearer(part: LineString, line: LineString, others: Sequence[LineString], least: float) -> bool:
    """Whether a part of a way comes nearer to other pipes than the line beside it does, and than the least [m]."""
    walked = np.asarray(shapely.points(coordinates(part.segmentize(STRIDE))), dtype=object)
    stood = np.asarray(line.interpolate(line.project(walked)), dtype=object)
    new = shapely.distance(walked, stood) > TOLERANCE
    for other in others:
        before = np.minimum(shapely.distance(stood[new], other), least)
        if bool(np.any(shapely.distance(walked[new], other) < before - TOLERANCE)):
            return True
    return False


def _changed(made: LineString, line: LineString) -> LineString:
    """The part of a way between the corners that it has in common with a line, from either end on."""
    new, old = coordinates(made), coordinates(line)
    same = min(len(new), len(old))
    first = int(np.cumprod((new[:same] == old[:same]).all(axis=1)).sum())
    last = int(np.cumprod((new[::-1][:same] == old[::-1][:same]).all(axis=1)).sum())
    part = new[max(first - 1, 0) : len(new) - max(last - 1, 0)]
    return LineString(part) if len(part) > 1 else made


def _met(line: LineString, tree: shapely.STRtree) -> tuple[int, float]:
    """At how many places a line meets others, and on what length it lies on them [m]."""
    met = shapely.intersection(line, tree.geometries[tree.query(line, predicate="intersects")])
    parts = shapely.get_parts(met)
    return len(parts), float(shapely.length(parts).sum())


def _tried(way: Array, onward: Array, one: int, other: int) -> Iterator[Array]:
    """Other ways past two corners of a line that may be one."""
    last = len(way) - 1
    for low in range(max(one - LOOKED + 1, 1), one + 1):
        for high in range(other, min(other + LOOKED, last)):
            before, after = way[:low], way[high + 1 :]
            for corners in _round(way[low - 1 : high + 2]):
                yield np.vstack((before, *(corner[None] for corner in corners), after))
    if other == last:
        for low in range(max(one - LOOKED + 1, 1), one + 1):
            for corners in _into(way[-1], onward):
                yield np.vstack((way[:low], *(corner[None] for corner in corners), way[-1:]))


def _round(piece: Array) -> Iterator[tuple[Array, ...]]:
    """Corners that lead from the first point of a piece of line to its last, instead of those between."""
    yield ()
    start, end = piece[0], piece[-1]
    into, out = _unit(piece[1] - start), _unit(end - piece[-2])
    meet = _meet(start, into, end, -out)
    kept = [*piece[1:-1], *([] if meet is None else [meet])]
    for corner in kept:
        yield (corner,)
        into, out = _unit(corner - start), _unit(end - corner)
        turn = _angle(into, out)
        for reach, (_, angle) in itertools.product(REACHES, ELBOWS):
            first = math.copysign(math.radians(angle), turn)
            yield corner, corner + reach * APART * _turned(into, first)
            yield corner - reach * APART * _turned(out, -first), corner
            rest = turn - first
            # Two elbows with a piece between them cut the corner.
            if rest * turn > 0 and abs(math.sin(turn)) > SLACK:
                size = reach * APART / math.sin(turn)
                yield corner - size * math.sin(rest) * into, corner + size * math.sin(first) * out
    for corner, reach in itertools.product(piece[1:-1], REACHES):
        yield (corner + reach * APART * out,)
        yield (corner - reach * APART * into,)


def _into(feed: Array, onward: Array) -> Iterator[tuple[Array, ...]]:
    """Corners that lead into a manifold: straight, or by an elbow, and by one more before that."""
    along = _unit(onward - feed)
    turns = [0.0, *(side * math.radians(angle) for _, angle in ELBOWS for side in (1.0, -1.0))]
    for turn, reach in itertools.product(turns, REACHES):
        way = _turned(along, -turn)
        first = feed - reach * APART * way
        yield (first,)
        for second, farther in itertools.product(turns[1:], REACHES):
            corner = first - farther * APART * _turned(way, -second)
            yield corner, first
    yield ()


def _unit(step: Array) -> Array:
    made: Array = step / max(float(np.hypot(*step)), TOLERANCE)
    return made


def _turned(way: Array, angle: float) -> Array:
    cos, sin = math.cos(angle), math.sin(angle)
    return np.array([cos * way[0] - sin * way[1], sin * way[0] + cos * way[1]])


def _angle(one: Array, other: Array) -> float:
    """Turn from one direction to another, to the left over 0 [rad]."""
    return math.atan2(float(one[0] * other[1] - one[1] * other[0]), float(one @ other))


def _meet(start: Array, way: Array, end: Array, back: Array) -> Array | None:
    """Where a line from a start and one back from an end meet, ahead of both."""
    cross = float(way[0] * back[1] - way[1] * back[0])
    if abs(cross) < SLACK:
        return None
    step = end - start
    ahead = float(step[0] * back[1] - step[1] * back[0]) / cross
    behind = float(step[0] * way[1] - step[1] * way[0]) / cross
    return start + ahead * way if ahead > TOLERANCE and behind > TOLERANCE else None
