"""Which lines share a trench, and the way its middle takes.

A *feed* is the end of a manifold that its line meets; the *mouth* of a trench is where its lines part, shortly before
the nearest feed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from shapely import LineString, Point

from layout.model import XY, Pipe, Riser
from layout.plane import TOLERANCE, Array, coordinates
from layout.routes.ground import GAP, Ground

OVER = 0.2
"""How far past a riser over it a manifold may go on that may be fed from either end [m]."""
TOGETHER = 5.0
"""Feeds of one zone that are nearer to each other than this share a trench [m]."""


@dataclass(frozen=True, slots=True)
class Group:
    """Manifolds whose lines share a trench up to its mouth."""

    pipes: tuple[Pipe, ...]

    @property
    def feeds(self) -> tuple[XY, ...]:
        """Where their lines meet them [m]."""
        return tuple(pipe.feed for pipe in self.pipes)


def pairs(manifolds: Sequence[Pipe]) -> list[Group]:
    """Pair each supply manifold with the nearest return manifold of its zone, if it is near; others stand alone."""
    left = list(manifolds)
    groups: list[Group] = []
    for supply in [pipe for pipe in manifolds if pipe.kind == "supply"]:
        left.remove(supply)
        near = [
            (float(supply.line.distance(pipe.line)), number)
            for number, pipe in enumerate(left)
            if pipe.kind == "return" and pipe.zone == supply.zone
        ]
        if near and min(near)[0] <= TOGETHER:
            groups.append(Group((supply, left.pop(min(near)[1]))))
        else:
            groups.append(Group((supply,)))
    return groups + [Group((pipe,)) for pipe in left]


def facing(ground: Ground, group: Group, risers: Sequence[Riser], *, gap: float = GAP) -> Group:
    """Turn the manifolds of a group so that their lines, together, are shortest.

    They come as they face the pump in a straight line; what stands between may make another end the nearer one.
    Only one that ends in a riser either way is turned. The gap is that from pipe to pipe [m].
    """
    choices = [
        (pipe, replace(pipe, line=pipe.line.reverse())) if _turnable(pipe, risers) else (pipe,)
        for pipe in group.pipes
    ]
    ways = [Group(pipes) for pipes in itertools.product(*choices)]
    lengths = [reach(ground, way, gap=gap) for way in ways]
    best = min(range(len(ways)), key=lambda number: (round(lengths[number], 6), number))
    return ways[best] if lengths[best] < lengths[0] - GAP else group


def _turnable(pipe: Pipe, risers: Sequence[Riser]) -> bool:
    """Whether a manifold has a riser at both its ends, or goes on just past one that passes over it."""
    own = [riser.line.coords[0] for riser in risers if riser.kind == pipe.kind]
    over = [riser.line for riser in risers if riser.zone == pipe.zone and riser.kind != pipe.kind]
    return all(
        any(math.dist(foot, end) < TOLERANCE for foot in own)
        or any(line.distance(Point(end)) < OVER and line.intersects(pipe.line) for line in over)
        for end in (pipe.line.coords[0], pipe.line.coords[-1])
    )


def reach(ground: Ground, group: Group, *, gap: float) -> float:
    """Length of the ways to the feeds of a group, together, a gap apart [m]; infinite where there is none."""
    way = middle(ground, group, len(group.pipes), gap=gap)
    if way is None:
        return math.inf
    length = float(LineString(way).length)
    return sum(length + math.dist(way[-1], feed) for feed in group.feeds)


def clusters(ground: Ground, groups: Sequence[Group], *, gap: float = GAP) -> list[list[Group]]:
    """Put groups together that leave the pump alike, each in a trench of its own with pipes a gap apart [m]."""
    found: list[tuple[Array | None, list[Group]]] = []
    for group in groups:
        way = middle(ground, group, len(group.pipes), gap=gap)
        for first, cluster in found:
            if way is not None and first is not None and math.dist(first[1], way[1]) <= 2 * GAP:
                cluster.append(group)
                break
        else:
            found.append((way, [group]))
    return [cluster for _, cluster in found]


def middle(ground: Ground, group: Group, pipes: int, *, gap: float = GAP) -> Array | None:
    """Find the middle of a trench from the pump to its mouth.

    Parameters
    ----------
    ground : Ground
    group : Group
        Whose manifolds it leads to.
    pipes : int
        How many pipes lie in it.
    gap : float, optional
        From pipe to pipe [m]; 0 for the very shortest way of a single pipe.

    Returns
    -------
    (n, 2) array or None
        [m]; None where there is no way.
    """
    half = (pipes - 1) / 2 * gap
    found: list[tuple[float, Array]] = []
    for feed in group.feeds:
        way = ground.way(feed, half=half, beside_bed=half + gap / 2)
        if way is not None:
            # From the mouth each pipe swings out of its lane, and round to its manifold.
            swing = half + math.dist(way.coords[-1], feed)
            found.append((round(float(way.length), 6), pulled_back(tidy(coordinates(way)), swing)))
    return min(found, key=lambda item: item[0])[1] if found else None


def pulled_back(way: Array, size: float) -> Array:
    """Leave out the last stretch of a way, of a size [m], but at most half of its last leg."""
    last = way[-1] - way[-2]
    length = float(np.hypot(*last))
    return np.vstack((way[:-1], way[-1] - last * min(size / length, 0.5))) if length > TOLERANCE else way


def tidy(way: Array) -> Array:
    """A way without points that repeat the one before, shape (n, 2) [m]; its last point stays."""
    kept = [0]
    for number in range(1, len(way)):
        if math.dist(way[number], way[kept[-1]]) > TOLERANCE:
            kept.append(number)
    if kept[-1] != len(way) - 1:
        if len(kept) > 1:
            kept.pop()
        kept.append(len(way) - 1)
    return way[kept]
