"""Supply and return lines from the pump to the manifolds, on the shortest legal ways, in shared trenches."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from layout.model import Feature, Fitting, NoWay, Pipe, PipeKind, Plumbing, Pump
from layout.plane import TOLERANCE, Array
from layout.routes.blocked import closed_by
from layout.routes.branches import pieces_of
from layout.routes.ground import GAP, Ground
from layout.routes.items import Laid, elbows_of, line_of, trenches_of
from layout.routes.joints import joined
from layout.routes.lanes import from_left, led_in_lanes
from layout.routes.trench import Group, clusters, facing, middle, pairs, reach
from layout.routes.trunk import lay_trunk

NARROW = (GAP, GAP / 2, GAP / 4)
"""From pipe to pipe in one trench [m]: the usual gap, and what is tried where there is no room for it."""
FAN = 1.05
"""How much farther out than where lanes of neighbouring trenches just touch they are taken up."""
DETOUR, ASIDE = 1.1, 3.0
"""A shared trench is longer than the lines one by one at most by this factor, and as many metres."""


def route_lines(
    plumbing: Plumbing,
    *,
    pump: Pump | None,
    features: Sequence[Feature],
    outline: Polygon,
    tubing: Sequence[LineString] = (),
    trunk: bool = False,
) -> Plumbing:
    """Lay a supply or return line to every manifold.

    The middle of a trench is the shortest way from the pump that stays out of every setback, widened by half the
    trench, and off the bed by half a pipe gap more. A line meets its manifold from outside the bed, and crosses no
    more of the bed's edge than the manifold itself stands within it. The feature that the pump stands in, such as its
    tank, is no obstacle. Where the pump or a manifold stands within the setback of another, the line leaves it by the
    shortest way.

    Supply and return of one end of the bed lie 0.3 m apart in one trench; so do all lines, in an order that
    needs no crossing, where they leave the pump the same way. Where there is no room for that, or only on a detour,
    each end of the bed has a trench of its own, with its pipes nearer together; and where there is none for that,
    each line has one.

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
    trunk : bool, optional
        Lay one supply and one return trunk, side by side, with a tee to each manifold, instead of a line each.
        Manifolds that it cannot lead to have lines of their own.

    Returns
    -------
    Plumbing
        The same with lines in the order of the manifolds, or from the pump on in pieces from tee to tee, with their
        elbows, tees and trenches, and the manifolds that no
        line can lead to; manifolds are turned where their lines are shorter to the other end.
    """
    plumbing = replace(plumbing, lines=())
    if pump is None:
        return plumbing
    ground = Ground(pump.at, tuple(features), outline, tuple(tubing), plumbing.manifolds)
    manifolds = list(plumbing.manifolds)
    groups: list[Group] = []
    gap = _usual_gap(ground, pairs(manifolds))
    for group in pairs(manifolds):
        groups.append(facing(ground, group, plumbing.risers, gap=gap))
        for pipe, turned in zip(group.pipes, groups[-1].pipes, strict=True):
            manifolds[manifolds.index(pipe)] = turned
    ground = replace(ground, manifolds=tuple(manifolds))
    risers = [riser.line for riser in plumbing.risers]
    laid = lay_trunk(ground, groups, [item for item in NARROW if item <= gap], risers) if trunk else []
    trenches = list(trenches_of(laid, trunk=True))
    lines, fittings = _along_trunk(laid)
    alone = [group for group in groups if all(item.group is not group for item in laid)]
    own = joined(ground, _each_its_own(ground, alone, gap), risers)
    ways = {id(pipe): way for item in own for pipe, way in zip(item.group.pipes, item.ways, strict=True)}
    # A pump that stands on the very end of a manifold needs no line to it.
    for pipe in manifolds:
        if id(pipe) in ways and LineString(ways[id(pipe)]).length > TOLERANCE:
            lines.append(line_of(pipe, ways[id(pipe)]))
            fittings += elbows_of(pipe, ways[id(pipe)])
    reached = {*ways, *(id(pipe) for item in laid for pipe in item.group.pipes)}
    return replace(
        plumbing,
        manifolds=tuple(manifolds),
        lines=tuple(lines),
        fittings=(*plumbing.fittings, *fittings),
        trenches=(*plumbing.trenches, *trenches, *trenches_of(own)),
        unreached=tuple(_no_way(ground, pipe) for pipe in manifolds if id(pipe) not in reached),
    )


def _along_trunk(laid: Sequence[Laid]) -> tuple[list[Pipe], list[Fitting]]:
    """The pieces and fittings of lines that share a trunk, supply before return."""
    lines: list[Pipe] = []
    fittings: list[Fitting] = []
    kinds: tuple[PipeKind, PipeKind] = ("supply", "return")
    for kind in kinds:
        ways = [
            (pipe, way)
            for item in laid
            for pipe, way in zip(item.group.pipes, item.ways, strict=True)
            if pipe.kind == kind
        ]
        if ways:
            pieces, made = pieces_of(ways)
            lines += pieces
            fittings += made
    return lines, fittings


def _each_its_own(ground: Ground, groups: Sequence[Group], gap: float) -> list[Laid]:
    """Lines of their own for the manifolds of each group, in shared trenches."""
    laid: list[Laid] = []
    parted = clusters(ground, groups, gap=gap)
    for cluster, swing in zip(parted, _swings(ground, parted, gap), strict=True):
        laid += _laid(ground, cluster, swing, gap)
    return laid


def _usual_gap(ground: Ground, groups: Sequence[Group]) -> float:
    """From pipe to pipe in a trench: the widest that leads no pair of lines on a long detour [m]."""
    straight = [reach(ground, group, gap=0.0) for group in groups]
    for gap in NARROW[:-1]:
        ways = [reach(ground, group, gap=gap) for group in groups]
        if all(
            _no_detour(way, least, len(group.pipes))
            for way, least, group in zip(ways, straight, groups, strict=True)
        ):
            return gap
    return NARROW[-1]


def _no_detour(length: float, least: float, pipes: int) -> bool:
    """Whether lines are hardly longer than they have to be, or cannot be laid at all."""
    return least == math.inf or length <= DETOUR * least + ASIDE * pipes


def _swings(ground: Ground, parted: Sequence[Sequence[Group]], gap: float) -> list[float]:
    """On what length the pipes of each trench move over into their lanes, so as to cross none of the trench beside it.

    All begin at the pump. Where two trenches leave it at a small angle, their outer lanes are apart only some way out;
    nearer to the pump the pipes fan out from it, straight, each in a direction of its own.
    """
    first = [middle(ground, cluster[0], len(cluster[0].pipes), gap=gap) for cluster in parted]
    half = [(sum(len(group.pipes) for group in cluster) - 1) / 2 * gap for cluster in parted]
    bearing = [None if way is None else math.atan2(*(way[1] - way[0])[::-1]) for way in first]
    swings = []
    for number, own in enumerate(bearing):
        least = 0.0
        for other, at in enumerate(bearing):
            angle = abs(math.remainder(own - at, math.tau)) if own is not None and at is not None else 0.0
            if other != number and TOLERANCE < angle < math.pi / 2:
                least = max(least, FAN * (half[number] + half[other]) / (2 * math.sin(angle / 2)))
        swings.append(least)
    return swings


def _laid(ground: Ground, cluster: Sequence[Group], swing: float, widest: float) -> list[Laid]:
    """Lay the lines of a cluster in one trench, in one to each group, or one by one; without those that find no way."""
    gaps = [gap for gap in NARROW if gap <= widest]
    alone = [_one_by_one(ground, group) for group in cluster]
    if len(cluster) > 1:
        tries = (_side_by_side(ground, cluster, gap, swing) for gap in gaps)
        every = [item for items in alone for item in items]
        together = next((made for made in tries if made and _worth(made, every)), None)
        if together:
            return together
    found: list[Laid] = []
    for group, items in zip(cluster, alone, strict=True):
        tries = (_side_by_side(ground, [group], gap, swing) for gap in gaps)
        found += next((made for made in tries if made and _worth(made, items)), items)
    return found


def _one_by_one(ground: Ground, group: Group) -> list[Laid]:
    """Lay each line of a group on the very shortest way, whatever lies there already."""
    made = [_side_by_side(ground, [Group((pipe,))], 0.0, 0.0) for pipe in group.pipes]
    return [item for items in made for item in items or ()]


def _worth(together: Sequence[Laid], alone: Sequence[Laid]) -> bool:
    """Whether a shared trench leads to as many manifolds as lines one by one, and is no long detour."""
    if sum(len(item.ways) for item in together) < sum(len(item.ways) for item in alone):
        return False
    least = sum(item.length for item in alone)
    count = sum(len(item.ways) for item in together)
    return _no_detour(sum(item.length for item in together), least, count)


def _side_by_side(ground: Ground, groups: Sequence[Group], gap: float, swing: float) -> list[Laid] | None:
    """Lay groups in one trench that branches, in their lanes after `swing`; None where it does not fit."""
    pipes = sum(len(group.pipes) for group in groups)
    found = [way for group in groups if (way := middle(ground, group, pipes, gap=gap)) is not None]
    if len(found) < len(groups):
        return None
    laid: list[Laid] = []
    outermost = (pipes - 1) / 2 * gap
    lane = outermost
    # Each leaves its trench towards its manifolds.
    toward = [
        np.vstack((way, np.mean(group.feeds, axis=0))) for group, way in zip(groups, found, strict=True)
    ]
    for number in from_left(toward):
        offsets = [lane - gap * place for place in range(len(groups[number].pipes))]
        lane -= gap * len(offsets)
        made = _in_best_order(ground, groups[number], found[number], offsets, max(outermost, swing))
        if made is None:
            return None
        laid.append(made)
    return laid


def _in_best_order(
    ground: Ground, group: Group, way: Array, offsets: Sequence[float], swing: float
) -> Laid | None:
    """Give the lanes of a group to its pipes in the order that crosses least, then is shortest."""
    orders = [offsets] if len(offsets) == 1 else [offsets, offsets[::-1]]
    made = [laid for order in orders if (laid := led_in_lanes(ground, group, way, order, swing)) is not None]
    return min(made, key=lambda laid: (_crossings(ground, laid), round(laid.length, 6)), default=None)


def _crossings(ground: Ground, laid: Laid) -> int:
    """Count how often lines of a group cross each other and manifolds; they meet in the pump, and their own."""
    count = 0
    lines = [LineString(way) for way in laid.ways]
    pump = Point(ground.pump).buffer(TOLERANCE)
    for number, (line, pipe) in enumerate(zip(lines, laid.group.pipes, strict=True)):
        for other in lines[:number]:
            met = line.intersection(other).difference(pump)
            count += 0 if met.is_empty else len(shapely.get_parts(met))
        count += sum(line.intersects(other.line) for other in ground.manifolds if other is not pipe)
    return count


def _no_way(ground: Ground, pipe: Pipe) -> NoWay:
    """Say what closes the way to a manifold."""
    names, alone = closed_by(ground, pipe.feed)
    return NoWay(kind=pipe.kind, zone=pipe.zone, at=pipe.feed, closed_by=names, alone=alone)
