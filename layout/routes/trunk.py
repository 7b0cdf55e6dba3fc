"""One trunk for the lines of all zones: supply and return side by side in a trench that branches to every manifold.

The middle of the trench grows from the pump: the manifolds nearest to what is dug already come next, by the shortest
way from any place of it. The trunk is what the lines of one kind then have in common.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, MultiPoint, Point
from shapely.geometry.base import BaseGeometry

from layout.model import XY
from layout.plane import TOLERANCE, Array, coordinates
from layout.routes.ground import Ground
from layout.routes.items import Laid
from layout.routes.lanes import led_in_lanes
from layout.routes.trench import Group, pulled_back, tidy
from layout.ways import shortest_way

CROSSING = 1.5
"""What a place where pipes cross weighs, as a length of pipe [m] (judgement of this tool)."""
SAME = 1e-6
"""Places of a trench that are nearer to each other are one [m]."""


def lay_trunk(
    ground: Ground, groups: Sequence[Group], gaps: Sequence[float], risers: Sequence[LineString]
) -> list[Laid]:
    """Lay the lines of groups along one trunk, with its pipes as far apart as fits.

    Parameters
    ----------
    ground : Ground
    groups : sequence of Group
    gaps : sequence of float
        From pipe to pipe [m].
    risers : sequence of LineString
        What it should not lie under [m].

    Returns
    -------
    list of Laid
        Of the groups that it can lead to: of most of them, then with least pipe and fewest crossings.
    """
    # Beyond the manifolds it lies under no riser of theirs; where there is no room for that, between them and the bed.
    feeds = [feed for group in groups for feed in group.feeds]
    beyond = max((float(ground.outline.distance(Point(feed))) for feed in feeds), default=0.0)
    found: list[tuple[int, float, list[Laid]]] = []
    for gap, beside in itertools.product(gaps, (beyond, 0.0)):
        middles = _middles(ground, groups, gap, beside + gap)
        for hand in (1.0, -1.0):
            laid = [
                made
                for group, middle in zip(groups, middles, strict=True)
                if middle is not None and (made := _beside(ground, group, middle, hand * gap / 2)) is not None
            ]
            found.append((len(groups) - len(laid), round(_cost(ground, laid, risers), 6), laid))
    return min(found, key=lambda option: option[:2])[2]


def _cost(ground: Ground, laid: Sequence[Laid], risers: Sequence[LineString]) -> float:
    """Length of what is laid, every stretch once, and a stated length for each place where pipes cross [m]."""
    length = 0.0
    for kind in ("supply", "return"):
        ways = [
            LineString(way)
            for item in laid
            for pipe, way in zip(item.group.pipes, item.ways, strict=True)
            if pipe.kind == kind
        ]
        length += float(shapely.union_all(ways, grid_size=SAME).length)
    return length + CROSSING * _crossed(ground, laid, risers)


def _middles(ground: Ground, groups: Sequence[Group], gap: float, beside: float) -> list[Array | None]:
    """The middle of the trench from the pump to each group, one tree; None where there is no way."""
    zones = ground.zones(half=gap / 2, beside_bed=beside)
    start = ground.landing(ground.pump, zones)
    found: dict[int, Array] = {}
    if start is None:
        return [None] * len(groups)
    tree = [np.array([ground.pump, start]) if math.dist(ground.pump, start) > SAME else np.array([start])]
    ends = {
        number: [(feed, at) for feed in group.feeds if (at := ground.landing(feed, zones)) is not None]
        for number, group in enumerate(groups)
    }
    while True:
        reach: list[tuple[float, int, Array]] = []
        for number, places in ends.items():
            if number in found:
                continue
            for feed, at in places:
                way = _from_tree(tree, at, zones, most=min((item[0] for item in reach), default=math.inf))
                if way is not None:
                    length, whole = way
                    back = gap / 2 + math.dist(at, feed)
                    reach.append((round(length, 6), number, pulled_back(tidy(whole), back)))
        if not reach:
            break
        _, number, whole = min(reach, key=lambda item: item[:2])
        found[number] = whole
        tree.append(whole)
    every = np.vstack(list(found.values())) if found else np.empty((0, 2))
    return [_with_joints(found[number], every) if number in found else None for number in range(len(groups))]


def _from_tree(
    tree: Sequence[Array], end: XY, zones: Sequence[BaseGeometry], *, most: float
) -> tuple[float, Array] | None:
    """The shortest way to a place from any place of a tree: its length, and the way from the pump through the tree."""
    here = np.asarray(end)
    starts: list[tuple[float, int, int, XY]] = []
    for number, points in enumerate(tree):
        for place, (x, y) in enumerate(points.tolist()):
            if place or len(points) == 1:
                starts.append((math.dist((x, y), end), number, place, (x, y)))
        for place, (one, other) in enumerate(itertools.pairwise(points)):
            step = other - one
            share = float((here - one) @ step) / max(float(step @ step), SAME**2)
            if 0.0 < share < 1.0 and (place or number):
                x, y = (one + share * step).tolist()
                starts.append((math.dist((x, y), end), number, place, (x, y)))
    best: tuple[float, Array] | None = None
    for straight, number, place, start in sorted(starts):
        if straight >= min(most, best[0] if best else math.inf):
            break
        way = shortest_way(start, end, zones)
        if way is not None and (best is None or way.length < best[0] - SAME):
            before = tree[number][: place + 1]
            best = float(way.length), np.vstack((before, coordinates(way)))
    return best


def _with_joints(way: Array, points: Array) -> Array:
    """A way with all the points of others that lie on it, so that what is shared has the same corners."""
    parts = []
    for one, other in itertools.pairwise(way):
        parts.append(one[None])
        step = other - one
        length = float(np.hypot(*step))
        along = (points - one) @ step / length
        off = np.abs((points - one) @ np.array([-step[1], step[0]]) / length)
        on = np.unique(np.round(along[(off < SAME) & (along > SAME) & (along < length - SAME)], 6))
        parts.append(one + np.outer(on / length, step))
    return tidy(np.vstack((*parts, way[-1:])))


def _beside(ground: Ground, group: Group, middle: Array, offset: float) -> Laid | None:
    """Lead supply and return of a group to either side of the middle; None where one breaks a distance."""
    offsets = [offset if pipe.kind == "supply" else -offset for pipe in group.pipes]
    swing = min(abs(offset), math.dist(middle[0], middle[1]) / 3)
    return led_in_lanes(ground, group, middle, offsets, swing)


def _crossed(ground: Ground, laid: Sequence[Laid], risers: Sequence[LineString]) -> int:
    """Count the places where lines cross each other but at tees, other manifolds, or lie under risers."""
    lines = [
        (pipe, LineString(way))
        for item in laid
        for pipe, way in zip(item.group.pipes, item.ways, strict=True)
    ]
    count = 0
    for (one, first), (other, second) in itertools.combinations(lines, 2):
        met = shapely.get_parts(first.intersection(second))
        shared = shapely.union_all([Point(ground.pump), *(part for part in met if part.length > 0)])
        if one.kind != other.kind:
            shared = Point(ground.pump)
        count += sum(part.distance(shared) > TOLERANCE for part in met)
    every = shapely.union_all([line for _, line in lines], grid_size=SAME)
    ends = MultiPoint([pipe.feed for pipe, _ in lines]).buffer(TOLERANCE)
    for crossed in (*(pipe.line for pipe in ground.manifolds), *risers):
        under = every.intersection(crossed).difference(ends)
        count += 0 if under.is_empty else len(shapely.get_parts(under))
    return count
