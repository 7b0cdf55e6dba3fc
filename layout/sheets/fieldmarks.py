"""The marks of the field, without lettering: bed, setbacks, features, tubing, pipes, emitters, pump."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiLineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import XY, Design, Feature, FeatureKind, Fitting, xy
from layout.plane import coordinates, lines_of, points_at, polygons_of
from layout.sheets import layers
from layout.sheets.contours import contours, interval_of
from layout.sheets.failing import failing
from layout.sheets.figures import Figures
from layout.sheets.marks import Area, Colour, Dots, Line, Mark, Pen, Symbol, View
from layout.sheets.seen import ground_of

SYMBOL = 0.16
"""Width of a feature's symbol [in]."""
PUMP = 0.2
"""Width of the pump's symbol [in]."""
VALVE, LEAST_VALVE = 0.12, 0.07
"""Greatest and least width of a valve's symbol [in]."""
HEADING = 0.05
"""Length of pipe that the direction of a valve is taken from [m]."""
FAILING = 0.2
"""Width of the mark where a check fails [in]."""
ARROW = 0.1
"""Length of a flow arrow [in]."""
_THIN = Pen(weight=0.13)
_HATCH = 0.16
_EMITTER_APART = 0.12
_MOST_EMITTERS = 4000


def field_marks(design: Design, view: View) -> list[Mark]:
    """All marks of the field in the local plane [m], areas first."""
    return [
        *_ground(design),
        *_zone_ground(design),
        *_contours(design),
        *(mark for item in design.site.features for mark in _feature(item, view)),
        *_setbacks(design),
        *_tubing(design),
        *_emitters(design, view),
        *_pipes(design),
        *_zone_limits(design),
        *_valves(design, view),
        *_failing(design),
    ]


def seen_features(design: Design, view: View) -> frozenset[str]:
    """Names of the features that show in the view's window."""
    window = ground_of(view)
    return frozenset(item.name for item in design.site.features if item.shape.intersects(window))


def core_shapes(design: Design) -> NDArray[np.object_]:
    """List what the plan must show whole [m]: bed, tubing, pipes and pump."""
    plumbing = design.plumbing
    core: list[BaseGeometry] = [design.site.bed.outline]
    core += [run.line for run in design.laying.runs] + [join.line for join in design.joins]
    core += [pipe.line for pipe in (*plumbing.manifolds, *plumbing.lines)]
    core += [riser.line for riser in plumbing.risers]
    if design.site.pump is not None:
        core.append(Point(design.site.pump.at))
    return np.asarray(core, dtype=object)


def bounds(design: Design) -> tuple[float, float, float, float]:
    """Find what the plan must show [m]: bed, tubing, pipes and pump, and of the features what lies near."""
    left, bottom, right, top = shapely.total_bounds(core_shapes(design))
    near = 0.08 * max(right - left, top - bottom)
    shapes = [shapely.box(left, bottom, right, top)]
    for item in design.site.features:
        frame = shapely.box(left - near, bottom - near, right + near, top + near)
        part = item.shape.intersection(frame)
        if not part.is_empty:
            shapes.append(shapely.box(*part.bounds))
    left, bottom, right, top = shapely.total_bounds(np.asarray(shapes, dtype=object))
    return float(left), float(bottom), float(right), float(top)


def flow_lines(design: Design) -> Iterator[tuple[str, LineString]]:
    """Every run, by name, as the water goes through it."""
    named = {run.name: run.line for run in design.laying.runs}
    for lateral in design.laterals:
        at: XY = lateral.supply
        for name in lateral.runs:
            line = named[name]
            if math.dist(at, line.coords[0]) > math.dist(at, line.coords[-1]):
                line = LineString(line.coords[::-1])
            yield name, line
            x, y = line.coords[-1]
            at = (x, y)


def linework(marks: Sequence[Mark], view: View) -> list[LineString]:
    """All lines of the plan on paper [in], clipped to the window."""
    window = shapely.box(*view.window)
    found: list[LineString] = []
    for mark in marks:
        shape: BaseGeometry
        if isinstance(mark, Line):
            shape = mark.line
        elif isinstance(mark, Area):
            if mark.layer is layers.USABLE:
                continue
            shape = mark.shape.boundary
        else:
            continue
        on_paper = shapely.transform(shape, view.to_paper)
        found.extend(lines_of(on_paper.intersection(window)))
    return found


# --- parts ----------------------------------------------------------------------------------------------


def _ground(design: Design) -> list[Mark]:
    return [
        Area(layer=layers.USABLE, shape=design.ground.area, fill=Colour.SKY),
        Area(layer=layers.BED, shape=design.site.bed.outline),
    ]


def _contours(design: Design) -> list[Mark]:
    """Draw the contours of the ground where it was surveyed, every fifth heavier."""
    levels = design.site.bed.levels
    if levels is None or not levels.points:
        return []
    found = contours(levels, interval_of(levels, design.site.frame.units))
    return [
        Line(layer=layers.CONTOUR if number % 5 else layers.MAJOR_CONTOUR, line=line)
        for number, line in found
    ]


def _zone_ground(design: Design) -> list[Mark]:
    """Shade the ground of every second zone, so that zones can be told apart in black and white."""
    named = {run.name: run.line for run in design.laying.runs}
    half = 0.5 * design.site.runs.spacing
    marks: list[Mark] = []
    for zone in design.zones[1::2]:
        lines = shapely.simplify([named[name] for name in zone.runs if name in named], 0.02 * half)
        # a hair wider than half a spacing, so that no slivers stay between neighbouring runs
        band = shapely.union_all(shapely.buffer(lines, 1.02 * half, quad_segs=4)).intersection(
            design.ground.area
        )
        marks += [Area(layer=layers.ZONE_AREA, shape=part, fill=Colour.SHADE) for part in polygons_of(band)]
    return marks


def _feature(item: Feature, view: View) -> list[Mark]:
    """Draw a feature's shape, with the texture of its kind, and its symbol where it is a point."""
    layer = layers.FEATURES[item.kind]
    shape = item.shape
    if isinstance(shape, Point):
        return [Symbol(layer=layer, name=item.kind.value, at=xy(shape), size=SYMBOL)]
    if not isinstance(shape, Polygon):
        return [Line(layer=layer, line=line) for line in lines_of(shape)]
    marks: list[Mark] = [
        Area(
            layer=layer,
            shape=shape,
            fill=Colour.SKY if item.kind is FeatureKind.WATER_BODY else Colour.WHITE,
        )
    ]
    if item.kind is FeatureKind.BUILDING:
        marks.extend(
            Line(layer=layer, line=line, pen=_THIN) for line in _hatch(shape, _HATCH * view.metres_per_inch)
        )
    elif item.kind is FeatureKind.TREE:
        middle = xy(shape.representative_point())
        marks.append(Symbol(layer=layer, name=item.kind.value, at=middle, size=SYMBOL))
    return marks


def _hatch(shape: Polygon, apart: float) -> list[LineString]:
    """Draw lines at 45 degrees across an area, on a grid fixed to the plane, at most a few hundred."""
    left, bottom, right, top = shape.bounds
    apart = max(apart, (right - left + top - bottom) / 300)
    first, last = math.ceil((bottom - right) / apart), math.floor((top - left) / apart)
    rises = np.arange(first, last + 1) * apart
    lines = [LineString([(left, left + rise), (right, right + rise)]) for rise in rises]
    return lines_of(MultiLineString(lines).intersection(shape)) if lines else []


def _setbacks(design: Design) -> list[Mark]:
    return [
        Line(layer=layers.SETBACK, line=LineString(ring.coords))
        for item in design.site.features
        if item.setback > 0
        for zone in polygons_of(item.shape.buffer(item.setback, quad_segs=32))
        for ring in (zone.exterior, *zone.interiors)
    ]


def _tubing(design: Design) -> list[Mark]:
    marks: list[Mark] = [Line(layer=layers.RUN, line=run.line) for run in design.laying.runs]
    for join in design.joins:
        layer = layers.LOOP if join.kind == "loop" else layers.BLANK
        marks.append(Line(layer=layer, line=join.line))
    return marks


def _emitters(design: Design, view: View) -> list[Mark]:
    """Set a dot at every emitter, where the scale leaves room between them."""
    apart = design.site.tubing.emitter_spacing / view.metres_per_inch
    if apart < _EMITTER_APART or design.totals.emitters > _MOST_EMITTERS:
        return []
    return [
        Dots(layer=layers.EMITTER, points=row.points, size=0.035) for row in design.emitters if row.points
    ]


def _pipes(design: Design) -> list[Mark]:
    plumbing = design.plumbing
    lines = {"supply": layers.SUPPLY, "return": layers.RETURN}
    manifolds = {"supply": layers.MANIFOLD, "return": layers.RETURN_MANIFOLD}
    marks: list[Mark] = [Line(layer=layers.RISER, line=riser.line) for riser in plumbing.risers]
    marks += [Line(layer=lines[pipe.kind], line=pipe.line) for pipe in plumbing.lines]
    marks += [Line(layer=manifolds[pipe.kind], line=pipe.line) for pipe in plumbing.manifolds]
    if design.site.pump is not None:
        marks.append(Symbol(layer=layers.PUMP, name="pump", at=design.site.pump.at, size=PUMP))
    return marks


def _zone_limits(design: Design) -> Iterator[Mark]:
    """Draw a line midway between the last runs of each zone and the first ones of the next."""
    zone_of = {name: lateral.zone for lateral in design.laterals for name in lateral.runs}
    apart = 2.0 * design.site.runs.spacing
    runs = design.laying.runs
    for one in runs:
        for other in runs:
            if other.row != one.row + 1 or zone_of.get(one.name, 1) == zone_of.get(other.name, 1):
                continue
            points = coordinates(one.line)
            ways = shapely.shortest_line(shapely.points(points), other.line)
            feet = np.asarray(shapely.get_coordinates(ways))[1::2]
            beside = np.hypot(*(feet - points).T) <= apart
            middle = ((points + feet) / 2)[beside]
            if len(middle) > 1:
                yield Line(layer=layers.ZONE, line=LineString(middle))


def _valves(design: Design, view: View) -> Iterator[Mark]:
    """Set a symbol at each valve and each tee of a trunk; where supply and return lie close on paper, smaller ones."""
    named = {
        "zone valve": layers.ZONE_VALVE,
        "flush valve": layers.FLUSH_VALVE,
        "air valve": layers.AIR_VALVE,
        "trunk tee": layers.TRUNK_TEE,
    }
    figures = Figures(design.site.frame.units)
    size = min(max(design.site.manifold.offset / view.metres_per_inch, LEAST_VALVE), VALVE)
    for item in design.plumbing.fittings:
        if item.kind in named:
            angle = 0.0 if item.kind in {"air valve", "trunk tee"} else _heading(design, item)
            yield Symbol(
                layer=named[item.kind],
                name=item.kind,
                at=item.at,
                size=size,
                angle=angle,
                attributes=_told(item, figures),
            )


def _failing(design: Design) -> Iterator[Mark]:
    """Mark the places where design checks fail."""
    for item in failing(design):
        for at in item.places:
            yield Symbol(layer=layers.FAILING, name="failing", at=at, size=FAILING)


def _told(item: Fitting, figures: Figures) -> tuple[tuple[str, str], ...]:
    nominal = "" if item.size is None else figures.diameter_of(item.size)
    return (
        ("KIND", item.kind),
        ("PIPE", item.on),
        ("ZONE", f"Z{item.zone}" if item.zone else ""),
        ("SIZE", nominal),
    )


def _heading(design: Design, item: Fitting) -> float:
    """Which way the water goes in the pipe that a valve sits on, in degrees counter-clockwise from east."""
    place = Point(item.at)
    plumbing = design.plumbing
    laid = plumbing.manifolds if item.kind != "flush valve" else (*plumbing.lines, *plumbing.manifolds)
    pipes = [pipe.line for pipe in laid if (pipe.kind, pipe.zone) == (item.on, item.zone)]
    line = min(pipes, key=lambda line: float(line.distance(place)))
    station = min(line.project(place), line.length - HEADING)
    before, after = (line.interpolate(max(station, 0.0) + step) for step in (0.0, HEADING))
    return math.degrees(math.atan2(after.y - before.y, after.x - before.x))


def arrows(line: LineString, shares: Sequence[float], view: View, *, size: float = ARROW) -> list[Symbol]:
    """Make a flow arrow at each of several shares of a line's length [m]."""
    points = coordinates(line)
    length = float(line.length)
    half = 0.5 * size * view.metres_per_inch
    middles = np.asarray(shares) * length
    places = np.clip(np.concatenate((middles - half, middles, middles + half)), 0.0, length)
    tails, ats, tips = points_at(points, places).reshape(3, -1, 2)
    angles = np.degrees(np.arctan2(tips[:, 1] - tails[:, 1], tips[:, 0] - tails[:, 0]))
    return [
        Symbol(layer=layers.FLOW, name="arrow", at=(float(x), float(y)), size=size, angle=float(angle))
        for (x, y), angle in zip(ats, angles, strict=True)
    ]
