"""Manifolds beyond the run ends, a riser to each end of a lateral, and the lines to the pump.

A *foot* is where a riser stands on its manifold.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.ops import substring

from layout.manifolds.trench import (
    OUTWARD,
    Place,
    beside,
    clear_of,
    led_out,
    side_of,
    span,
    stub_at,
    trench,
)
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
from layout.plane import TOLERANCE, coordinates, polygons_of

BEYOND: dict[PipeKind, int] = {"supply": 1, "return": 2}
"""How far beyond the run ends each manifold lies, in stated offsets: the supply first."""
SIDE_REACH = 1.5
"""How much farther than a usual run end one may lie from an edge and still be served from along it [m]."""
BITTEN = 0.01
"""A run end nearer than this to a setback zone ends there because of it [m]."""
ROUNDING = 1e-6
"""Points of a line nearer to each other than this are one [m]."""
HEADING = 0.5
"""Length of the end of a run that its direction is taken from [m]."""
SIGHT = 5000.0
"""How far ahead a run end looks for the edge it heads for, in such lengths."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tip:
    """One end of a lateral that wants a riser."""

    kind: PipeKind
    lateral: str
    zone: int
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
    kept_clear: MultiPolygon | None = None,
) -> Plumbing:
    """Lay manifolds, risers, and the lines to the pump.

    Each zone has its own. Supply and return manifold follow the bed's end outside the run ends, one and two
    stated offsets beyond them, from the first to the last lateral that uses them; one that serves a single lateral is
    a stub. Laterals that drain at the far end, or on a side, have a return manifold there. Ends that lie at no edge,
    beside an obstacle in the bed, have a stub each.

    Manifolds stay out of setback zones. Where the bed's end, or the way along it, lies in one, they follow its
    edge under the ends of the tubing: the return on the edge itself, the supply one offset from it; there they are
    led on to just outside the bed, for their lines to meet them.

    Lines run straight from the pump to the nearer end of each manifold at the manifold end of the bed; those
    to another edge follow the sides of the bed there, outside it. They are not yet led round features.

    Parameters
    ----------
    laterals : sequence of Lateral
        From left to right.
    runs : sequence of Run
    sides : Sides
    rules : ManifoldRules
        For the sizes of pipe, and the offset.
    pump : Pump or None
        None: no lines.
    features : sequence of Feature, optional
        Setbacks are those of tubing, so pipe may lie within them; but where a manifold, riser or line crosses
        the shape of a feature itself, that is listed. The feature in which the pump stands is not.
    outline : Polygon, optional
        The bed, to tell its edge from an obstacle where its sides are a convention only.
    kept_clear : MultiPolygon, optional
        Setback zones, which manifolds stay out of [m].

    Returns
    -------
    Plumbing
        By zone, supply before return, the manifold end before others; each riser starts on a manifold of its kind
        and zone.
    """
    tips = tuple(_tips(laterals, runs, sides, outline))
    manifolds: list[Pipe] = []
    risers: list[Riser] = []
    lines: list[Pipe] = []
    sizes: dict[PipeKind, float] = {"supply": rules.supply_diameter, "return": rules.return_diameter}
    trenches = _Trenches(tips, runs, sides, rules, kept_clear or MultiPolygon(), pump)
    for group in _groups(tips):
        kind, zone = group[0].kind, group[0].zone
        laid = trenches.of(group[0])
        feet = [laid.project(Point(tip.at)) for tip in group]
        manifold = span(laid, min(feet), max(feet), pump.at if pump else None)
        line = _line_back(manifold, laid, group[0], sides, pump, rules.offset) if pump else None
        # Both are made as a return, on the way to the pump.
        if line is not None and line.length > TOLERANCE:
            manifold = _facing(manifold, Point(line.coords[0]))
        elif pump is not None:
            manifold = _facing(manifold, Point(pump.at))
        else:
            manifold = manifold.reverse()
        if outline is not None and trenches.moved(group[0]):
            ways = (
                led_out(way, laid, outline, trenches.clear[kind]) for way in (manifold, manifold.reverse())
            )
            out = next((way for way in ways if way is not None), None)
            manifold = out or manifold
            line = LineString([manifold.coords[-1], pump.at]) if out and pump else line
        if line is not None and line.length > TOLERANCE:
            lines.append(Pipe(kind=kind, line=_flowing(line, kind), diameter=sizes[kind], zone=zone))
        manifolds.append(Pipe(kind=kind, line=_flowing(manifold, kind), diameter=sizes[kind], zone=zone))
        for tip, foot in zip(group, feet, strict=True):
            riser = LineString([xy(laid.interpolate(foot)), tip.at])
            risers.append(Riser(kind=kind, lateral=tip.lateral, line=riser, zone=zone))
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
        name, zone = lateral.name, lateral.zone
        yield _Tip(kind="supply", lateral=name, zone=zone, at=lateral.supply, place=supply)
        yield _Tip(kind="return", lateral=name, zone=zone, at=lateral.drain, place=drain)


def _is_gate(lateral: Lateral, named: dict[str, Run]) -> bool:
    """Whether a lateral is fed at the manifold end of the bed."""
    first = named[lateral.runs[0]]
    return first.fed and first.line.coords[0][:2] == lateral.supply


def _edge_at(at: XY, run: Run, sides: Sides, outline: Polygon | None, *, reach: float) -> Place:
    """Find the edge of the bed that a run comes to an end at: of those within reach, the one it heads for."""
    here = Point(at)
    distance = {place: round(side_of(sides, place).distance(here), 3) for place in OUTWARD}
    near = [place for place in OUTWARD if distance[place] <= reach]
    if not near and (outline is None or outline.exterior.distance(here) > reach):
        return "inside"
    line = run.line if run.line.coords[-1][:2] == at else run.line.reverse()
    back = coordinates(line.interpolate(max(line.length - HEADING, 0.0)))[0]
    ray = LineString([at, np.asarray(at) + (np.asarray(at) - back) * SIGHT])
    ahead = {
        place: round(here.distance(hit), 3)
        for place in near or OUTWARD
        if (hit := ray.intersection(side_of(sides, place)))
    }
    return min(ahead or near or OUTWARD, key=lambda place: ahead.get(place, distance[place]))


def _groups(tips: Iterable[_Tip]) -> Iterator[list[_Tip]]:
    """Group ends that share a manifold: of one zone and kind, at one edge; those at none stand alone."""
    order: list[tuple[PipeKind, Place]] = list(
        itertools.product(("supply", "return"), ("near", "far", "left", "right", "inside"))
    )
    for zone in sorted({tip.zone for tip in tips}):
        for kind, place in order:
            group = [tip for tip in tips if (tip.zone, tip.kind, tip.place) == (zone, kind, place)]
            if place == "inside":
                yield from ([tip] for tip in group)
            elif group:
                yield group


class _Trenches:
    """The lines that manifolds are parts of: one for each kind and edge of the bed, whatever the zone."""

    def __init__(
        self,
        tips: Sequence[_Tip],
        runs: Sequence[Run],
        sides: Sides,
        rules: ManifoldRules,
        kept_clear: MultiPolygon,
        pump: Pump | None,
    ) -> None:
        self._tips, self._sides, self._offset, self._pump = tips, sides, rules.offset, pump
        self._starts = _starts(runs)
        grown = kept_clear.buffer(rules.offset, quad_segs=64)
        self.clear: dict[PipeKind, MultiPolygon] = {
            "return": kept_clear,
            "supply": MultiPolygon(polygons_of(grown)),
        }
        self._laid: dict[tuple[PipeKind, Place], LineString] = {}
        self._moved: set[tuple[PipeKind, Place]] = set()

    def moved(self, tip: _Tip) -> bool:
        """Whether the trench that serves the end of a lateral follows the edge of a setback zone somewhere."""
        return (tip.kind, tip.place) in self._moved

    def of(self, tip: _Tip) -> LineString:
        """Give the trench that serves the end of a lateral [m]."""
        key = tip.kind, tip.place
        distance = BEYOND[tip.kind] * self._offset
        if tip.place == "inside":
            toward = self._pump.at if self._pump else xy(self._sides.near.centroid)
            return stub_at(tip.at, toward, distance, self.clear["return"])
        if key not in self._laid:
            front = [other.at for other in self._tips if other.place == tip.place]
            if tip.place == "near":
                front = self._starts or front
            # Run ends cut short by a setback say nothing of where the others stand.
            free = [at for at in front if self.clear["return"].distance(Point(at)) > BITTEN]
            straight = trench(free or front, tip.place, self._sides, distance)
            self._laid[key] = clear_of(straight, self.clear[tip.kind], front)
            if self._laid[key] is not straight:
                self._moved.add(key)
        return self._laid[key]


def _starts(runs: Sequence[Run]) -> list[XY]:
    """Where rows begin at the manifold end, from left to right: other laterals' loops lie there, too."""
    first = {run.row: run for run in reversed(runs)}
    return [xy(Point(run.line.coords[0])) for _, run in sorted(first.items()) if run.fed]


def _line_back(
    manifold: LineString, laid: LineString, tip: _Tip, sides: Sides, pump: Pump, offset: float
) -> LineString:
    """Lay the line from a manifold to the pump: straight, or along the bed's edges to its manifold end."""
    first, last = (laid.project(Point(manifold.coords[end])) for end in (0, -1))
    ways: list[list[XY]] = []
    if tip.place in {"left", "right"}:
        ways = [_walk(laid, first, laid.project(Point(side_of(sides, tip.place).coords[0])))]
    elif tip.place == "far":
        corners: tuple[tuple[Place, float, int], ...] = (("left", first, 0), ("right", last, -1))
        for place, end, corner in corners:
            side = side_of(sides, place)
            along = beside(side, place, BEYOND[tip.kind] * offset)
            round_corner = _walk(laid, end, laid.project(Point(sides.far.coords[corner])))
            home = _walk(along, along.project(Point(round_corner[-1])), along.project(Point(side.coords[0])))
            ways.append(round_corner + home)
    else:
        ways = [_walk(laid, end, end) for end in (first, last)]
    lines = [shapely.remove_repeated_points(LineString([*way, pump.at]), ROUNDING) for way in ways]
    return min(lines, key=lambda line: round(float(line.length), 3))


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
