"""Manifolds beyond the run ends, and a riser to each end of a lateral; the lines to them are laid by routes.

A *foot* is where a riser stands on its manifold.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon

from layout.manifolds.served import SIDE_REACH, Tip, Trenches, groups
from layout.manifolds.trench import OUTWARD, Place, led_out, side_of, span
from layout.model import (
    XY,
    Feature,
    Join,
    Lateral,
    ManifoldRules,
    Pipe,
    PipeKind,
    Plumbing,
    Pump,
    Riser,
    Run,
    Sides,
    xy,
)
from layout.plane import TOLERANCE, coordinates

PAST = 0.15
"""How far past the last return riser a supply manifold goes on [m]."""
EDGE = 0.05
"""A manifold within this distance of the bed's edge lies along it, and not in the bed [m]."""
HEADING = 0.5
"""Length of the end of a run that its direction is taken from [m]."""
SIGHT = 5000.0
"""How far ahead a run end looks for the edge it heads for, in such lengths."""


def lay_plumbing(
    laterals: Sequence[Lateral],
    runs: Sequence[Run],
    sides: Sides,
    rules: ManifoldRules,
    *,
    pump: Pump | None,
    features: Sequence[Feature] = (),
    outline: Polygon | None = None,
    kept_clear: MultiPolygon | None = None,
    joins: Sequence[Join] = (),
) -> Plumbing:
    """Lay manifolds and risers.

    Each zone has its own. Supply and return manifold follow the bed's end outside the run ends, one and two
    stated offsets beyond them, from the first to the last lateral that uses them; one that serves a single lateral is
    a stub. Laterals that drain at the far end, or on a side, have a return manifold there, and so have those that end
    elsewhere at the edge of the bed. A manifold joins only run ends that lie beside each other, and crosses no run:
    where they lie apart, each part has one of its own. Ends that lie at no edge, beside an obstacle in the bed, have a
    stub each.

    Manifolds stay out of setback zones. Where the bed's end, or the way along it, lies in one, they follow its
    edge under the ends of the tubing: the return on the edge itself, the supply one offset from it; there they are
    led on to just outside the bed, for their lines to meet them.

    Ends that are marked as shut, since no line reaches them, get a lead to elsewhere, if there is a way for one.

    Parameters
    ----------
    laterals : sequence of Lateral
        From left to right.
    runs : sequence of Run
    sides : Sides
    rules : ManifoldRules
        For the sizes of pipe, and the offset.
    pump : Pump or None
        Which manifolds face.
    features : sequence of Feature, optional
        Where a manifold or riser crosses the shape of one, that is listed. The feature in which the pump stands is
        not.
    outline : Polygon, optional
        The bed, to tell its edge from an obstacle where its sides are a convention only.
    kept_clear : MultiPolygon, optional
        Setback zones, which manifolds stay out of [m].
    joins : sequence of Join, optional
        Blank tubing, which manifolds do not lie across either.

    Returns
    -------
    Plumbing
        Without lines. By zone, supply before return, the manifold end before others; each riser starts on the
        manifold that it names.
    """
    reach = _reach(laterals, runs, sides, outline)
    trenches = Trenches(
        tuple(_tips(laterals, runs, sides, outline, reach=reach)),
        runs,
        sides,
        rules,
        kept_clear or MultiPolygon(),
        pump,
        outline,
        reach=reach,
        joins=joins,
    )
    parts = [part for group in groups(trenches.settled()) for part in trenches.parts(group)]
    manifolds = tuple(_manifold(laid, part, parts, trenches, rules, pump, outline) for laid, part in parts)
    risers = tuple(_riser(laid, tip, number) for number, (laid, part) in enumerate(parts) for tip in part)
    pipes = [pipe.line for pipe in manifolds] + [riser.line for riser in risers]
    return Plumbing(
        manifolds=manifolds,
        risers=risers,
        lines=(),
        crossings=tuple(_crossings(pipes, features, pump)),
    )


Part = tuple[LineString, list[Tip]]
"""A trench, and the ends of laterals that one manifold in it serves."""


def _riser(laid: LineString, tip: Tip, manifold: int) -> Riser:
    """From the nearest place of its trench to the end of a lateral, along the lead there is."""
    foot = xy(laid.interpolate(float(laid.project(Point(tip.at)))))
    line = LineString([foot, tip.at, *tip.lead])
    return Riser(
        kind=tip.kind,
        lateral=tip.lateral,
        line=line,
        zone=tip.zone,
        manifold=manifold,
        back=tip.back,
    )


def _manifold(
    laid: LineString,
    part: Sequence[Tip],
    parts: Sequence[Part],
    trenches: Trenches,
    rules: ManifoldRules,
    pump: Pump | None,
    outline: Polygon | None,
) -> Pipe:
    """The manifold of a part: from its first riser to its last, as far on as it must go, in the direction of flow."""
    kind, zone = part[0].kind, part[0].zone
    feet = [float(laid.project(Point(tip.at))) for tip in part]
    ends = min(feet), max(feet)
    if kind == "supply" and pump and not trenches.moved(laid):
        beside = [others for _, others in parts if _beside(others[0], part[0])]
        ends = _past_returns(laid, ends, beside, trenches, pump)
    line = span(laid, *ends, pump.at if pump else None)
    # Each is made as a return, on the way to the pump.
    line = _facing(line, Point(pump.at)) if pump else line.reverse()
    if outline is not None and trenches.moved(laid) and outline.buffer(-EDGE).intersects(line):
        line = _out(line, laid, outline, trenches, pump, kind=kind)
    size = rules.supply_diameter if kind == "supply" else rules.return_diameter
    return Pipe(kind=kind, line=_flowing(line, kind), diameter=size, zone=zone)


def _reach(laterals: Sequence[Lateral], runs: Sequence[Run], sides: Sides, outline: Polygon | None) -> float:
    """How far from an edge a run end may lie to be served from along it [m]."""
    named = {run.name: run for run in runs}
    gates = [Point(lateral.supply) for lateral in laterals if _is_gate(lateral, named)]
    edge = sides.near if outline is None else outline.exterior
    return SIDE_REACH + (float(np.median(shapely.distance(gates, edge))) if gates else 0.0)


def _tips(
    laterals: Sequence[Lateral],
    runs: Sequence[Run],
    sides: Sides,
    outline: Polygon | None,
    *,
    reach: float,
) -> Iterator[Tip]:
    """Both ends of every lateral, each with the edge of the bed from which it is served."""
    named = {run.name: run for run in runs}
    for lateral in laterals:
        first, last = named[lateral.runs[0]], named[lateral.runs[-1]]
        supply: Place = "near"
        if not _is_gate(lateral, named):
            supply = _edge_at(lateral.supply, first, sides, outline, reach=reach)
        drain: Place = "near"
        if not lateral.returns_near:
            drain = _edge_at(lateral.drain, last, sides, outline, reach=reach)
        name, zone = lateral.name, lateral.zone
        shut: dict[PipeKind, XY] = dict(lateral.shut)
        yield Tip(
            kind="supply",
            lateral=name,
            zone=zone,
            at=lateral.supply,
            place=supply,
            row=first.row,
            shut=shut.get("supply"),
        )
        yield Tip(
            kind="return",
            lateral=name,
            zone=zone,
            at=lateral.drain,
            place=drain,
            row=last.row,
            back=lateral.led_back,
            shut=shut.get("return"),
        )


def _is_gate(lateral: Lateral, named: dict[str, Run]) -> bool:
    """Whether a lateral is fed at the manifold end of the bed."""
    first = named[lateral.runs[0]]
    return first.from_end and first.line.coords[0][:2] == lateral.supply


def _edge_at(at: XY, run: Run, sides: Sides, outline: Polygon | None, *, reach: float) -> Place:
    """Find the edge of the bed that a run comes to an end at: of those within reach, the one it heads for."""
    here = Point(at)
    distance = {place: round(side_of(sides, place).distance(here), 3) for place in OUTWARD}
    near = [place for place in OUTWARD if distance[place] <= reach]
    if not near:
        return "edge" if outline is not None and outline.exterior.distance(here) <= reach else "inside"
    line = run.line if run.line.coords[-1][:2] == at else run.line.reverse()
    back = coordinates(line.interpolate(max(line.length - HEADING, 0.0)))[0]
    ray = LineString([at, np.asarray(at) + (np.asarray(at) - back) * SIGHT])
    ahead = {
        place: round(here.distance(hit), 3)
        for place in near
        if (hit := ray.intersection(side_of(sides, place)))
    }
    return min(ahead or near, key=lambda place: ahead.get(place, distance[place]))


def _out(
    manifold: LineString,
    laid: LineString,
    outline: Polygon,
    trenches: Trenches,
    pump: Pump | None,
    *,
    kind: PipeKind,
) -> LineString:
    """Lead a manifold out of the bed, by the end from which it and its line are shorter, if either leads out."""
    ways = [led_out(way, laid, outline, trenches.clear[kind]) for way in (manifold, manifold.reverse())]
    out = [way for way in ways if way is not None and not trenches.lies_across(way)]

    def length(way: LineString) -> float:
        onward = math.dist(way.coords[-1], pump.at) if pump else 0.0
        return round(float(way.length) + onward, 6)

    return min(out, key=length, default=manifold)


def _beside(one: Tip, other: Tip) -> bool:
    """Whether one part of run ends has a return manifold in the same trench as another's supply."""
    return one.kind == "return" and (one.zone, one.place) == (other.zone, other.place)


def _past_returns(
    laid: LineString,
    ends: tuple[float, float],
    beside: Sequence[Sequence[Tip]],
    trenches: Trenches,
    pump: Pump,
) -> tuple[float, float]:
    """Carry a supply manifold on, at its end towards the pump, past the return risers beside it.

    So they pass over the manifold there as they do elsewhere, and not over the line that comes to it.

    Parameters
    ----------
    laid : LineString
        Its trench [m].
    ends : tuple of float
        Stations of its first and last riser [m].
    beside : sequence of sequence of Tip
        The run ends of the return manifolds in the same trench.
    trenches : Trenches
    pump : Pump
    """
    low, high = ends
    first, last = (laid.interpolate(end).distance(Point(pump.at)) for end in ends)
    for tips in beside:
        passed = [float(laid.project(Point(tip.at))) for tip in tips]
        if max(passed) < low - trenches.apart or min(passed) > high + trenches.apart:
            continue
        if first <= last and min(passed) < low - TOLERANCE:
            farther = max(min(passed) - PAST, 0.0)
            low = farther if trenches.open_to(span(laid, farther, low, None), "supply") else low
        elif last < first and max(passed) > high + TOLERANCE:
            farther = min(max(passed) + PAST, laid.length)
            high = farther if trenches.open_to(span(laid, high, farther, None), "supply") else high
    return low, high


def _facing(manifold: LineString, end: Point) -> LineString:
    """Turn a manifold so that it ends where it is nearer to a point."""
    first, last = (Point(manifold.coords[tip]).distance(end) for tip in (0, -1))
    return manifold if last <= first else manifold.reverse()


def _flowing(line: LineString, kind: PipeKind) -> LineString:
    """Turn a line that leads to the pump to the direction of flow."""
    return line if kind == "return" else line.reverse()


def _crossings(
    pipes: Sequence[LineString], features: Sequence[Feature], pump: Pump | None
) -> Iterator[tuple[str, XY]]:
    """Features whose own shape a pipe crosses, and where it first does so."""
    for feature in features:
        if pump is not None and feature.shape.distance(Point(pump.at)) < TOLERANCE:
            continue
        for pipe in pipes:
            if pipe.distance(feature.shape) < TOLERANCE:
                place = pipe.interpolate(
                    pipe.project(shapely.shortest_line(pipe, feature.shape).interpolate(0))
                )
                yield feature.name, xy(place)
