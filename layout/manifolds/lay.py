"""Manifolds beyond the run ends, a riser to each end of a lateral, and the lines to the pump.

A *foot* is where a riser stands on its manifold.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.ops import substring

from layout.model import (
    XY,
    Feature,
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
from layout.plane import TOLERANCE, Array, coordinates, lines_of

BEYOND: dict[PipeKind, float] = {"supply": 0.3, "return": 0.6}
"""How far beyond the run ends the trench of each manifold lies [m]: a spade apart, the supply first."""
STUB = 0.3
"""Length of a manifold that serves one lateral [m]."""
SIDE_REACH = 1.5
"""How much farther than a usual run end one may lie from an edge and still be served from along it [m]."""
RAGGED = 0.5
"""Run ends that differ by less than this in their distance to the bed's end stand in one front [m]."""
ROUNDING = 1e-6
"""Points of a line nearer to each other than this are one [m]."""
HEADING = 0.5
"""Length of the end of a line that its direction is taken from [m]."""
SIGHT = 5000.0
"""How far ahead a run end looks for the edge it heads for, in such lengths."""
EXTENSION = 5.0
"""How far a trench may be carried on straight past the corners of the bed to reach outer run ends [m]."""

Place = Literal["near", "far", "left", "right", "inside"]
OUTWARD: dict[Place, float] = {"near": -1.0, "far": 1.0, "left": 1.0, "right": -1.0}
"""On which hand of each line of :class:`Sides` the bed's outside lies: 1 left, -1 right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tip:
    """One end of a lateral that wants a riser."""

    kind: PipeKind
    lateral: str
    at: XY
    place: Place


def lay_plumbing(
    laterals: Sequence[Lateral],
    runs: Sequence[Run],
    sides: Sides,
    rules: ManifoldRules,
    *,
    pump: Pump | None,
    features: Sequence[Feature] = (),
    outline: Polygon | None = None,
) -> Plumbing:
    """Lay manifolds, risers, and the lines to the pump.

    Supply and return manifold follow the bed's end outside the run ends, 0.3 m and 0.6 m beyond them, from
    the first to the last lateral that uses them; one that serves a single lateral is a stub. Laterals that
    drain at the far end, or on a side, have a return manifold there. Ends that lie at no edge, beside an
    obstacle in the bed, have a stub each.

    Lines run straight from the pump to the nearer end of each manifold at the manifold end of the bed; those
    to another edge follow the sides of the bed there, outside it. They are not yet led round features.

    Parameters
    ----------
    laterals : sequence of Lateral
        From left to right.
    runs : sequence of Run
    sides : Sides
    rules : ManifoldRules
        For the sizes of pipe.
    pump : Pump or None
        None: no lines.
    features : sequence of Feature, optional
        Setbacks are those of tubing, so pipe may lie within them; but where a manifold, riser or line crosses
        the shape of a feature itself, that is listed. The feature in which the pump stands is not.
    outline : Polygon, optional
        The bed, to tell its edge from an obstacle where its sides are a convention only.

    Returns
    -------
    Plumbing
        Supply before return, the manifold end before others; each riser starts on a manifold of its kind.
    """
    tips = tuple(_tips(laterals, runs, sides, outline))
    manifolds: list[Pipe] = []
    risers: list[Riser] = []
    lines: list[Pipe] = []
    sizes: dict[PipeKind, float] = {"supply": rules.supply_diameter, "return": rules.return_diameter}
    for kind, group in _groups(tips):
        place = group[0].place
        front = [tip.at for tip in tips if tip.place == place]
        if place == "near":
            front = _starts(runs) or front
        trench = _trench(group[0], front, sides, pump)
        feet = [trench.project(Point(tip.at)) for tip in group]
        manifold = _span(trench, min(feet), max(feet), pump)
        line = _line_back(manifold, trench, group[0], sides, pump) if pump else None
        if line is not None and line.length > TOLERANCE:
            # Both are made as a return, on the way to the pump.
            manifold = _facing(manifold, Point(line.coords[0]))
            lines.append(Pipe(kind=kind, line=_flowing(line, kind), diameter=sizes[kind]))
        elif pump is not None:
            manifold = _facing(manifold, Point(pump.at))
        else:
            manifold = manifold.reverse()
        manifolds.append(Pipe(kind=kind, line=_flowing(manifold, kind), diameter=sizes[kind]))
        for tip, foot in zip(group, feet, strict=True):
            riser = LineString([xy(trench.interpolate(foot)), tip.at])
            risers.append(Riser(kind=kind, lateral=tip.lateral, line=riser))
    pipes = [pipe.line for pipe in (*manifolds, *lines)] + [riser.line for riser in risers]
    return Plumbing(
        manifolds=tuple(manifolds),
        risers=tuple(risers),
        lines=tuple(lines),
        crossings=tuple(_crossings(pipes, features, pump)),
    )


def _tips(
    laterals: Sequence[Lateral], runs: Sequence[Run], sides: Sides, outline: Polygon | None
) -> Iterator[_Tip]:
    """Both ends of every lateral, each with the edge of the bed from which it is served."""
    named = {run.name: run for run in runs}
    gates = [Point(lateral.supply) for lateral in laterals if _is_gate(lateral, named)]
    edge = sides.near if outline is None else outline.exterior
    reach = SIDE_REACH + (float(np.median(shapely.distance(gates, edge))) if gates else 0.0)
    for lateral in laterals:
        supply: Place = "near"
        if not _is_gate(lateral, named):
            supply = _edge_at(lateral.supply, named[lateral.runs[0]], sides, outline, reach=reach)
        drain: Place = "near"
        if not lateral.returns_near:
            drain = _edge_at(lateral.drain, named[lateral.runs[-1]], sides, outline, reach=reach)
        yield _Tip(kind="supply", lateral=lateral.name, at=lateral.supply, place=supply)
        yield _Tip(kind="return", lateral=lateral.name, at=lateral.drain, place=drain)


def _is_gate(lateral: Lateral, named: dict[str, Run]) -> bool:
    """Whether a lateral is fed at the manifold end of the bed."""
    first = named[lateral.runs[0]]
    return first.fed and first.line.coords[0][:2] == lateral.supply


def _edge_at(at: XY, run: Run, sides: Sides, outline: Polygon | None, *, reach: float) -> Place:
    """Find the edge of the bed that a run comes to an end at: of those within reach, the one it heads for."""
    here = Point(at)
    distance = {place: round(_side(sides, place).distance(here), 3) for place in OUTWARD}
    near = [place for place in OUTWARD if distance[place] <= reach]
    if not near and (outline is None or outline.exterior.distance(here) > reach):
        return "inside"
    line = run.line if run.line.coords[-1][:2] == at else run.line.reverse()
    back = coordinates(line.interpolate(max(line.length - HEADING, 0.0)))[0]
    ray = LineString([at, np.asarray(at) + (np.asarray(at) - back) * SIGHT])
    ahead = {
        place: round(here.distance(hit), 3)
        for place in near or OUTWARD
        if (hit := ray.intersection(_side(sides, place)))
    }
    return min(ahead or near or OUTWARD, key=lambda place: ahead.get(place, distance[place]))


def _groups(tips: Iterable[_Tip]) -> Iterator[tuple[PipeKind, list[_Tip]]]:
    """Group ends that share a manifold: of one kind, at one edge; those at none stand alone."""
    order: list[tuple[PipeKind, Place]] = list(
        itertools.product(("supply", "return"), ("near", "far", "left", "right", "inside"))
    )
    for kind, place in order:
        group = [tip for tip in tips if tip.kind == kind and tip.place == place]
        if place == "inside":
            yield from ((kind, [tip]) for tip in group)
        elif group:
            yield kind, group


def _starts(runs: Sequence[Run]) -> list[XY]:
    """Where rows begin at the manifold end, from left to right: other laterals' loops lie there, too."""
    first = {run.row: run for run in reversed(runs)}
    return [xy(Point(run.line.coords[0])) for _, run in sorted(first.items()) if run.fed]


def _trench(tip: _Tip, front: Sequence[XY], sides: Sides, pump: Pump | None) -> LineString:
    """Lay the line that the manifold of one kind behind a front is a part of, carried on past its ends."""
    kind, place = tip.kind, tip.place
    if place == "inside":
        toward = np.asarray(pump.at if pump else coordinates(sides.near).mean(axis=0))
        start = np.asarray(tip.at)
        way = (toward - start) / max(float(np.hypot(*(toward - start))), TOLERANCE)
        return LineString([start + way * BEYOND[kind], start + way * (BEYOND[kind] + STUB)])
    edge = _side(sides, place)
    gaps = shapely.distance(shapely.points(front), edge)
    usual = float(np.median(gaps))
    if edge.length < TOLERANCE or np.mean(np.abs(gaps - usual) <= RAGGED) < 0.6:
        return _beside(_through(front, place, sides), place, BEYOND[kind])
    # Beside a long side the trench lies outside the bed, since runs lie along it inside.
    return _beside(edge, place, BEYOND[kind] - (usual if place in {"near", "far"} else 0.0))


def _through(front: Sequence[XY], place: Place, sides: Sides) -> LineString:
    """Lay a line through run ends, in the direction of their edge, for where they do not follow it."""
    points = np.array(list(dict.fromkeys(front)))
    along = coordinates(sides.centre)[-1] - coordinates(sides.centre)[0]
    to_right = np.array([along[1], -along[0]]) / np.hypot(*along)
    if len(points) == 1:
        way = to_right if place in {"near", "far"} else along / np.hypot(*along)
        return LineString([points[0] - STUB * way, points[0] + STUB * way])
    if place in {"near", "far"}:
        return LineString(points)
    # Ends at a side come in the order of rows, which may step to and fro along it.
    middle = points.mean(axis=0)
    way = np.linalg.svd(points - middle)[2][0]
    outward = middle - coordinates(sides.centre.interpolate(sides.centre.project(Point(middle))))[0]
    if OUTWARD[place] * (way[0] * outward[1] - way[1] * outward[0]) < 0:
        way = -way
    return LineString(points[np.argsort(points @ way, kind="stable")])


def _beside(edge: LineString, place: Place, distance: float) -> LineString:
    """Lay a parallel to an edge of the bed, `distance` outside it, carried on straight at both ends."""
    points = coordinates(edge)
    points = _carried_on(points[np.concatenate(([True], np.hypot(*np.diff(points, axis=0).T) > 0))])
    if abs(distance) < TOLERANCE:
        return LineString(points)
    moved = lines_of(shapely.offset_curve(LineString(points), OUTWARD[place] * distance, quad_segs=16))
    longest = max(moved, key=lambda line: float(line.length), default=LineString(points))
    if longest.length < edge.length:
        # So jagged a line has no parallel; it is moved out as it is.
        chord = points[-1] - points[0]
        normal = np.array([-chord[1], chord[0]]) / max(float(np.hypot(*chord)), TOLERANCE)
        return LineString(points + OUTWARD[place] * distance * normal)
    ahead = longest.project(Point(points[0])) <= longest.project(Point(points[-1]))
    return longest if ahead else longest.reverse()


def _carried_on(points: Array) -> Array:
    """Carry a polyline on straight at either end."""
    line = LineString(points)
    reach = min(HEADING, float(line.length))
    first, last = points[0], points[-1]
    into = first - coordinates(line.interpolate(reach))[0]
    out_of = last - coordinates(line.interpolate(line.length - reach))[0]
    ends = [
        tip + way / max(float(np.hypot(*way)), 1e-12) * EXTENSION
        for tip, way in ((first, into), (last, out_of))
    ]
    return np.vstack((ends[0], points, ends[1]))


def _span(trench: LineString, first: float, last: float, pump: Pump | None) -> LineString:
    """Cut the part of a trench between two feet; a stub on the pump's side of a single one."""
    if last - first >= TOLERANCE:
        return LineString(coordinates(substring(trench, first, last)))
    spans = ((max(first - STUB, 0.0), first), (first, min(first + STUB, trench.length)))
    ways = [
        LineString(coordinates(substring(trench, *span))) for span in spans if span[1] - span[0] > STUB / 2
    ]
    if pump is None:
        return ways[0]
    return min(ways, key=lambda way: round(float(way.distance(Point(pump.at))), 3))


def _line_back(manifold: LineString, trench: LineString, tip: _Tip, sides: Sides, pump: Pump) -> LineString:
    """Lay the line from a manifold to the pump: straight, or along the bed's edges to its manifold end."""
    first, last = (trench.project(Point(manifold.coords[end])) for end in (0, -1))
    ways: list[list[XY]] = []
    if tip.place in {"left", "right"}:
        ways = [_walk(trench, first, trench.project(Point(_side(sides, tip.place).coords[0])))]
    elif tip.place == "far":
        corners: tuple[tuple[Place, float, int], ...] = (("left", first, 0), ("right", last, -1))
        for place, end, corner in corners:
            side = _side(sides, place)
            along = _beside(side, place, BEYOND[tip.kind])
            round_corner = _walk(trench, end, trench.project(Point(sides.far.coords[corner])))
            home = _walk(along, along.project(Point(round_corner[-1])), along.project(Point(side.coords[0])))
            ways.append(round_corner + home)
    else:
        ways = [_walk(trench, end, end) for end in (first, last)]
    lines = [shapely.remove_repeated_points(LineString([*way, pump.at]), ROUNDING) for way in ways]
    return min(lines, key=lambda line: round(float(line.length), 3))


def _side(sides: Sides, place: Place) -> LineString:
    """Give the line of a place among the sides and ends."""
    return {"near": sides.near, "far": sides.far, "left": sides.left, "right": sides.right}[place]


def _walk(line: LineString, start: float, end: float) -> list[XY]:
    """Give the points of a line from one station to another, in that direction [m]."""
    points = coordinates(substring(line, min(start, end), max(start, end))).tolist()
    return [(x, y) for x, y in (points if start <= end else points[::-1])]


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
