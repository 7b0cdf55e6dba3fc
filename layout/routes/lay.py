"""Supply and return lines from the pump to the manifolds, on the shortest legal ways, in shared trenches.

A *feed* is the end of a manifold that its line meets. Lines that lead to one end of the bed share a trench up to its
*mouth*, shortly before the first feed; from there each has a *leg* of its own. Trenches that leave the pump the same
way are one, with a lane to each pipe.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from layout.model import XY, Feature, Fitting, NoWay, Pipe, Plumbing, Pump, Trench
from layout.plane import TOLERANCE, Array, coordinates
from layout.routes.blocked import closed_by
from layout.routes.elbows import elbows_along
from layout.routes.ground import GAP, Ground
from layout.routes.lanes import from_left, in_lane
from layout.routes.ways import shortest_way

TOGETHER = 5.0
"""Feeds of one zone that are nearer to each other than this share a trench [m]."""


@dataclass(frozen=True, slots=True)
class _Group:
    """Manifolds whose lines share a trench up to its mouth."""

    pipes: tuple[Pipe, ...]

    @property
    def feeds(self) -> tuple[XY, ...]:
        return tuple(_feed(pipe) for pipe in self.pipes)


@dataclass(frozen=True, slots=True)
class _Laid:
    """The lines of a group, each from the pump on, with the middle of their trench as far as its mouth."""

    group: _Group
    ways: tuple[Array, ...]
    legs: tuple[LineString, ...]
    middle: Array


def route_lines(
    plumbing: Plumbing,
    *,
    pump: Pump | None,
    features: Sequence[Feature],
    outline: Polygon,
    tubing: Sequence[LineString] = (),
) -> Plumbing:
    """Lay a supply or return line to every manifold.

    The middle of a trench is the shortest way from the pump that stays out of every setback, widened by half the
    trench, and off the bed by half a pipe gap more. A line meets its manifold from outside the bed, and crosses no more
    of the bed's edge than the manifold itself stands within it. For what holds where the pump stands in a tank or
    near something, see :func:`layout.routes.obstacles.obstacles_of`.

    Supply and return of one end of the bed lie 0.3 m apart in one trench; so do all lines, in an order that
    needs no crossing, where they leave the pump the same way. Where a trench for all finds no way, each end of the bed
    has one of its own; where that finds none, each line has.

    Parameters
    ----------
    plumbing : Plumbing
        With manifolds; lines that it may have are replaced.
    pump : Pump or None
        None: no lines.
    features : sequence of Feature
    outline : Polygon
        Of the bed [m].
    tubing : sequence of LineString, optional
        All tubing in the bed, for lines to stay off [m].

    Returns
    -------
    Plumbing
        The same with lines in the order of the manifolds, their elbows and trenches, and the manifolds that no
        line can lead to.
    """
    standing = shapely.GeometryCollection(
        [pipe.line for pipe in plumbing.manifolds] + [riser.line for riser in plumbing.risers]
    )
    # No line crosses a feature: what is left are crossings of manifolds and risers.
    crossings = [item for item in plumbing.crossings if standing.distance(Point(item[1])) < 2 * TOLERANCE]
    plumbing = replace(plumbing, lines=(), crossings=tuple(crossings))
    if pump is None:
        return plumbing
    ground = Ground(pump.at, tuple(features), outline, tuple(tubing), plumbing.manifolds)
    laid: list[_Laid] = []
    unreached: list[NoWay] = []
    for cluster in _clusters(ground, _pairs(plumbing.manifolds)):
        together = _lay(ground, cluster)
        for group in () if together else cluster:
            for found, alone in _apart(ground, group):
                laid += found
                unreached += [_no_way(ground, pipe) for pipe in alone]
        laid += together or ()
    ways = {id(pipe): way for item in laid for pipe, way in zip(item.group.pipes, item.ways, strict=True)}
    lines = [(pipe, ways[id(pipe)]) for pipe in plumbing.manifolds if id(pipe) in ways]
    return replace(
        plumbing,
        lines=tuple(_line(pipe, way) for pipe, way in lines),
        fittings=(*plumbing.fittings, *(item for pipe, way in lines for item in _elbows(pipe, way))),
        trenches=(*plumbing.trenches, *_trenches(laid)),
        unreached=tuple(unreached),
    )


def _feed(manifold: Pipe) -> XY:
    """Where the line of a manifold meets it."""
    x, y = manifold.line.coords[0 if manifold.kind == "supply" else -1][:2]
    return (x, y)


def _pairs(manifolds: Sequence[Pipe]) -> list[_Group]:
    """Pair each supply manifold with the nearest return manifold of its zone; others stand alone."""
    left = list(manifolds)
    groups: list[_Group] = []
    for supply in [pipe for pipe in manifolds if pipe.kind == "supply"]:
        left.remove(supply)
        near = [
            (math.dist(_feed(supply), _feed(pipe)), number)
            for number, pipe in enumerate(left)
            if pipe.kind == "return" and pipe.zone == supply.zone
        ]
        if near and min(near)[0] <= TOGETHER:
            groups.append(_Group((supply, left.pop(min(near)[1]))))
        else:
            groups.append(_Group((supply,)))
    return groups + [_Group((pipe,)) for pipe in left]


def _clusters(ground: Ground, groups: Sequence[_Group]) -> list[list[_Group]]:
    """Groups that leave the pump by the same first leg, each in a trench of its own, share one."""
    clusters: list[tuple[Array | None, list[_Group]]] = []
    for group in groups:
        middle = _middle(ground, group, len(group.pipes))
        for first, cluster in clusters:
            if middle is not None and first is not None and math.dist(first[1], middle[1]) <= 2 * GAP:
                cluster.append(group)
                break
        else:
            clusters.append((middle, [group]))
    return [cluster for _, cluster in clusters]


def _apart(ground: Ground, group: _Group) -> Iterator[tuple[list[_Laid], list[Pipe]]]:
    """Lay a group on its own; or its lines one by one, with those that find no way at all."""
    laid = _lay(ground, [group])
    if laid:
        yield laid, []
        return
    for pipe in group.pipes:
        alone = _lay(ground, [_Group((pipe,))], beside_bed=0.0)
        yield alone or [], [] if alone else [pipe]


def _lay(ground: Ground, groups: Sequence[_Group], *, beside_bed: float | None = None) -> list[_Laid] | None:
    """Lay groups in one trench that branches; None where it does not fit."""
    pipes = sum(len(group.pipes) for group in groups)
    middles = [_middle(ground, group, pipes, beside_bed=beside_bed) for group in groups]
    found = [middle for middle in middles if middle is not None]
    if len(found) < len(groups):
        return None
    laid: list[_Laid] = []
    lane = (pipes - 1) / 2 * GAP
    for number in from_left(found):
        group = groups[number]
        offsets = [lane - GAP * place for place in range(len(group.pipes))]
        lane -= GAP * len(group.pipes)
        made = _in_best_order(ground, group, found[number], offsets)
        if made is None:
            return None
        laid.append(made)
    return laid


def _middle(ground: Ground, group: _Group, pipes: int, *, beside_bed: float | None = None) -> Array | None:
    """Find the middle of a trench from the pump to just before the nearer feed of a group; None where it is closed."""
    half = (pipes - 1) / 2 * GAP
    off_bed = half + GAP / 2 if beside_bed is None else beside_bed
    zones = ground.zones(ground.obstacles(group.feeds), half=half, beside_bed=off_bed)
    start = ground.landing(ground.pump, zones)
    ends = [ground.landing(feed, zones) for feed in group.feeds]
    if start is None:
        return None
    ways = [shortest_way(start, end, zones) for end in ends if end is not None]
    found = [way for way in ways if way is not None]
    if not found:
        return None
    way = coordinates(min(found, key=lambda line: round(float(line.length), 6)))
    return _pulled_back(_tidy(np.vstack(([ground.pump], way))), half)


def _pulled_back(way: Array, size: float) -> Array:
    """Leave out the last of a way, as much as a pipe needs to swing out of its lane."""
    last = way[-1] - way[-2]
    length = float(np.hypot(*last))
    return np.vstack((way[:-1], way[-1] - last * min(size / length, 0.5))) if length > TOLERANCE else way


def _in_best_order(ground: Ground, group: _Group, middle: Array, offsets: Sequence[float]) -> _Laid | None:
    """Give the lanes of a group to its pipes in the order that crosses least, then is shortest."""
    orders = [offsets] if len(offsets) == 1 else [offsets, offsets[::-1]]
    made = [laid for order in orders if (laid := _in_lanes(ground, group, middle, order)) is not None]
    return min(made, key=lambda laid: _cost(ground, laid), default=None)


def _in_lanes(ground: Ground, group: _Group, middle: Array, offsets: Sequence[float]) -> _Laid | None:
    """Lead each pipe of a group along its lane and to its manifold; None where one breaks a distance."""
    ways: list[Array] = []
    legs: list[LineString] = []
    obstacles = ground.obstacles(group.feeds)
    for pipe, feed, offset in zip(group.pipes, group.feeds, offsets, strict=True):
        lane = in_lane(middle, offset)
        mouth = (float(lane[-1, 0]), float(lane[-1, 1]))
        leg = ground.leg(mouth, pipe, feed, group.feeds)
        if leg is None:
            return None
        way = _tidy(np.vstack((lane, coordinates(leg))))
        if not LineString(way).is_simple or not ground.allows(way, obstacles, group.feeds):
            return None
        ways.append(way)
        legs.append(leg)
    return _Laid(group, tuple(ways), tuple(legs), middle)


def _cost(ground: Ground, laid: _Laid) -> tuple[int, float]:
    """How often lines cross each other and manifolds, and how long they are [m]."""
    ways = [LineString(way) for way in laid.ways]
    crossings = 0
    for number, (way, pipe) in enumerate(zip(ways, laid.group.pipes, strict=True)):
        for other in ways[:number]:
            # All meet in the pump.
            met = way.intersection(other).difference(Point(ground.pump).buffer(TOLERANCE))
            crossings += len(shapely.get_parts(met)) if not met.is_empty else 0
        for manifold in ground.manifolds:
            if manifold is not pipe and way.intersects(manifold.line):
                crossings += 1
    return crossings, round(sum(way.length for way in ways), 6)


def _tidy(way: Array) -> Array:
    """Leave out points that repeat the one before, and keep the last."""
    kept = [0]
    for number in range(1, len(way)):
        if math.dist(way[number], way[kept[-1]]) > TOLERANCE:
            kept.append(number)
    if kept[-1] != len(way) - 1:
        if len(kept) > 1:
            kept.pop()
        kept.append(len(way) - 1)
    return way[kept]


def _line(manifold: Pipe, way: Array) -> Pipe:
    """Make the line of a manifold, in the direction of flow."""
    points = way if manifold.kind == "supply" else way[::-1]
    return replace(manifold, line=LineString(points))


def _elbows(manifold: Pipe, way: Array) -> Iterator[Fitting]:
    """Turn the bends of a line into elbows, and the one where it meets its manifold."""
    on = coordinates(manifold.line)
    onward = on[1:] if manifold.kind == "supply" else on[-2::-1]
    for kind, at in elbows_along(np.vstack((way, onward[:1]))):
        yield Fitting(
            kind=kind, at=at, on=manifold.kind, zone=manifold.zone, size=manifold.diameter, of="line"
        )


def _trenches(laid: Sequence[_Laid]) -> Iterator[Trench]:
    """Give each trench once: stretches that groups share, what is a group's alone, and each leg."""
    dug: dict[tuple[XY, XY], int] = {}
    for item in laid:
        for edge in _edges(item.middle):
            dug[edge] = dug.get(edge, 0) + len(item.group.pipes)
    done: set[tuple[XY, XY]] = set()
    for item in laid:
        stretch: list[XY] = []
        pipes = 0
        for edge in _edges(item.middle):
            if stretch and (edge in done or dug[edge] != pipes):
                yield Trench(line=LineString(stretch), pipes=pipes)
                stretch = []
            if edge not in done:
                pipes = dug[edge]
                stretch += edge if not stretch else edge[1:]
            done.add(edge)
        if stretch:
            yield Trench(line=LineString(stretch), pipes=pipes)
    for item in laid:
        yield from (Trench(line=leg, pipes=1) for leg in item.legs if leg.length > TOLERANCE)


def _edges(way: Array) -> list[tuple[XY, XY]]:
    """Name the sides of a way by their ends, to a hundredth of a millimetre."""
    points = [(float(x), float(y)) for x, y in np.round(way, 5)]
    return list(itertools.pairwise(points))


def _no_way(ground: Ground, pipe: Pipe) -> NoWay:
    """Say what closes the way to a manifold."""
    names, alone = closed_by(ground, _feed(pipe))
    return NoWay(kind=pipe.kind, zone=pipe.zone, at=_feed(pipe), closed_by=names, alone=alone)
