"""The end of a bed at a larger scale: manifolds with risers, tees, elbows and valves, dimensioned and named."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from layout.model import XY, Design, Fitting, Pipe
from layout.plane import lines_of
from layout.sheets import layers
from layout.sheets.blocks import Block, Titles, table
from layout.sheets.details.measuring import measure_chains, measure_offsets
from layout.sheets.details.picture import (
    LETTER,
    Picture,
    Window,
    north_words,
    scale_for,
    scale_under,
    window_around,
)
from layout.sheets.details.place import ON, Place, ends, own_pipe
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Line, Mark, Symbol, View
from layout.sheets.placing import along

MOST_PARTS, MOST_TILES = 6, 64
"""A place that would take more pictures to be drawn large is drawn in one."""
AROUND = 1.6
"""Shown around them, in spacings of the runs."""
FITTING, LEAST_FITTING = 0.085, 0.05
"""Greatest and least width of a fitting's symbol [in]."""
VALVE = 0.15
"""Width of a valve's symbol [in]."""
_ASIDE = 0.26
"""From the manifold to the symbol of an air valve on it [in]."""
_BESIDE = 0.035
"""On either side of a manifold the edge of the bed is broken so far [in]."""
_CROWDED = 0.3
"""Laterals closer than this on paper are named on the supply side only [in]."""
SYMBOLS = {
    "tee": ("tee", layers.RISER),
    "trunk tee": ("trunk tee", layers.TRUNK_TEE),
    "connector": ("connector", layers.RISER),
    "cap": ("cap", layers.RISER),
    "coupling": ("coupling", layers.BLANK),
    "elbow": ("elbow", layers.RISER),
    "elbow 90": ("elbow", layers.RISER),
    "elbow 45": ("elbow", layers.RISER),
    "elbow 22.5": ("elbow", layers.RISER),
    "zone valve": ("zone valve", layers.ZONE_VALVE),
    "air valve": ("air valve", layers.AIR_VALVE),
    "flush valve": ("flush valve", layers.FLUSH_VALVE),
}
"""Symbol and layer of the fittings that a detail shows; a riser is a line, and a loop has a detail of its own."""


def manifold_picture(
    design: Design,
    place: Place,
    window: Window,
    figures: Figures,
    lettering: Lettering,
    *,
    part: Polygon | None = None,
) -> tuple[Picture, str]:
    """Draw one place, or a part of it [m], with its scale in words."""
    shapes: list[BaseGeometry] = [*place.shapes] if part is None else [part]
    around = (1.0 if part is None else 0.5) * AROUND * design.site.runs.spacing
    points = shapely.get_coordinates(np.asarray(shapes, dtype=object))
    centre, wide, high = window_around(points, around)
    metres, scale = scale_for(wide, high, window, design.site.frame.units)
    view = View(window=window, centre=centre, metres_per_inch=metres)
    picture = Picture(view=view, figures=figures, lettering=lettering)
    if part is not None:
        seen = box(*window)
        standing = [picture.paper(ends(riser)[0]) for riser in place.risers]
        place = replace(
            place,
            risers=tuple(
                riser
                for riser, at in zip(place.risers, standing, strict=True)
                if shapely.intersects_xy(seen, *at)
            ),
        )
    fittings = [item for item in _fittings(design, place) if item.kind in SYMBOLS]
    heavy = [LineString(design.site.bed.outline.exterior.coords)]
    heavy += [pipe.line for pipe in [*place.pipes, *_lines(design, place)]]
    picture.draw(_marks(design, place, fittings, metres), north_words(design.site), whole=heavy)
    measure_chains(design, place, picture)
    _name_valves(design, place, picture)
    measure_offsets(place, picture)
    _letter(design, place, picture)
    return picture, scale


def parts_of(design: Design, place: Place, window: Window, most: float) -> list[Polygon]:
    """Cut a place into tiles, each to be drawn in a window with at most so much ground [m] to an inch.

    Only the tiles that manifolds or risers lie in, row by row from the north; the whole place where that would be too
    many.

    Parameters
    ----------
    design : Design
    place : Place
    window : Window
        [in].
    most : float
        Ground to an inch [m].
    """
    shapes, units = shapely.union_all(np.asarray(place.shapes, dtype=object)), design.site.frame.units
    left, bottom, right, top = shapes.bounds
    whole, around = box(left, bottom, right, top), AROUND * design.site.runs.spacing
    if scale_for(right - left + 2 * around, top - bottom + 2 * around, window, units)[0] <= most:
        return [whole]
    metres = scale_under(most, units)
    wide, high = (
        (window[2] - window[0]) * metres - around,
        (window[3] - window[1]) * metres - around,
    )
    if min(wide, high) <= 0:
        return [whole]
    across, down = max(math.ceil((right - left) / wide), 1), max(math.ceil((top - bottom) / high), 1)
    if across * down > MOST_TILES:
        return [whole]
    xs, ys = np.linspace(left, right, across + 1), np.linspace(top, bottom, down + 1)
    tiles = [box(xs[i], ys[j + 1], xs[i + 1], ys[j]) for j in range(down) for i in range(across)]
    found = [shapes.intersection(tile) for tile in tiles]
    parts = [box(*part.bounds) for part in found if part.length > around / 4]
    return parts if 0 < len(parts) <= MOST_PARTS else [whole]


def _marks(design: Design, place: Place, fittings: Sequence[Fitting], metres: float) -> list[Mark]:
    """Draw bed, tubing, pipes and fittings."""
    plain = {"supply": layers.SUPPLY, "return": layers.RETURN}
    manifold = {"supply": layers.MANIFOLD, "return": layers.RETURN_MANIFOLD}
    # the edge gives way to a manifold that lies along it, whose dashes it would fill
    pipes = shapely.union_all([pipe.line for pipe in place.pipes]).buffer(metres * _BESIDE)
    edge = design.site.bed.outline.boundary.difference(pipes)
    marks: list[Mark] = [Line(layer=layers.BED, line=piece) for piece in lines_of(edge)]
    marks += [Line(layer=layers.RUN, line=run.line) for run in design.laying.runs]
    marks += [
        Line(layer=layers.LOOP if join.kind == "loop" else layers.BLANK, line=join.line)
        for join in design.joins
    ]
    marks += [Line(layer=layers.RISER, line=riser.line) for riser in place.risers]
    marks += [Line(layer=plain[pipe.kind], line=pipe.line) for pipe in _lines(design, place)]
    marks += [Line(layer=manifold[pipe.kind], line=pipe.line) for pipe in place.pipes]
    size = _fitting_size(design, metres)
    for item in fittings:
        name, layer = SYMBOLS[item.kind]
        if item.kind == "air valve":
            at = _aside(design, place, item, metres)
            marks.append(Line(layer=layers.AIR_VALVE, line=LineString([item.at, at])))
            marks.append(Symbol(layer=layer, name=name, at=at, size=VALVE))
        elif item.kind.endswith("valve"):
            marks.append(
                Symbol(layer=layer, name=name, at=item.at, size=VALVE, angle=_heading(place, item.at))
            )
        else:
            marks.append(
                Symbol(layer=layer, name=name, at=item.at, size=size, angle=_heading(place, item.at))
            )
    return marks


def _fitting_size(design: Design, metres: float) -> float:
    """Choose the width of a fitting's symbol at a scale [in]."""
    return min(max(0.35 * design.site.manifold.offset / metres, LEAST_FITTING), FITTING)


def _aside(design: Design, place: Place, item: Fitting, metres: float) -> XY:
    """Find where an air valve is shown: off the manifold it stands on, for its riser's foot may be there too.

    On from the manifold's nearer end where that is free, or else on the side where other pipes lie farthest.
    """
    turn = math.radians(_heading(place, item.at))
    own = [pipe for pipe in place.pipes if pipe.kind == item.on]
    pipe = min(own or place.pipes, key=lambda pipe: float(pipe.line.distance(Point(item.at))))
    last = pipe.line.length - pipe.line.project(Point(item.at)) < pipe.line.project(Point(item.at))
    others = [other for other in [*place.pipes, *_lines(design, place)] if other is not pipe]
    shapes = [*(other.line for other in others), *(riser.line for riser in place.risers)]
    lines = shapely.union_all([*shapes, *(run.line for run in design.laying.runs)])
    onward = turn if last else turn + math.pi
    best, widest = item.at, -1.0
    for swing in (0.0, 45.0, -45.0, 90.0, -90.0, 135.0, -135.0):
        way = onward + math.radians(swing)
        reach = metres * _ASIDE
        at = (item.at[0] + reach * math.cos(way), item.at[1] + reach * math.sin(way))
        free = float(lines.distance(Point(at))) / metres
        if free > VALVE:
            return at
        if free > widest + 1e-6:
            best, widest = at, free
    return best


def _lines(design: Design, place: Place) -> list[Pipe]:
    """List the lines that lead to or from these manifolds, and the pieces of a trunk that meet those."""
    ends = shapely.union_all([pipe.line for pipe in place.pipes])
    lines = design.plumbing.lines
    own = [line for line in lines if line.zone == place.zone and line.line.distance(ends) <= ON]
    met = [(line.kind, line.near) for line in own if _of_trunk(design, line)]
    return own + [
        line
        for line in lines
        if line not in own
        and any(line.kind == kind and line.line.distance(Point(at)) <= ON for kind, at in met)
    ]


def _of_trunk(design: Design, line: Pipe) -> bool:
    """Whether a line leaves a trunk, not the pump."""
    return any(
        other.kind == line.kind and math.dist(other.far, line.near) <= ON for other in design.plumbing.lines
    )


def _fittings(design: Design, place: Place) -> Iterator[Fitting]:
    """Yield the fittings on these manifolds, risers and tubing ends, those at one place once."""
    tree = shapely.STRtree([*place.shapes, *(Point(line.near) for line in _lines(design, place))])
    every = [item for item in design.plumbing.fittings if item.zone == place.zone or item.kind == "trunk tee"]
    points = np.asarray([Point(item.at) for item in every], dtype=object)
    hits = tree.query(points, predicate="dwithin", distance=ON)[0]
    near = frozenset(hits.tolist())
    seen: set[tuple[str, XY]] = set()
    for index, item in enumerate(every):
        key = (item.kind, item.at)
        if index in near and key not in seen:
            seen.add(key)
            yield item


def _heading(place: Place, at: XY) -> float:
    """Find which way the nearest manifold leads, in degrees."""
    point = Point(at)
    line = min((pipe.line for pipe in place.pipes), key=lambda line: float(line.distance(point)))
    station = min(line.project(point), line.length - 0.05)
    before, after = (line.interpolate(max(station, 0.0) + step) for step in (0.0, 0.05))
    return math.degrees(math.atan2(after.y - before.y, after.x - before.x))


# --- lettering --------------------------------------------------------------------------------------------


def _name_valves(design: Design, place: Place, picture: Picture) -> None:
    """Name the valves, which come first: there are few, and no table names them."""
    metres = picture.view.metres_per_inch
    seen = box(*picture.view.window)
    for item in _fittings(design, place):
        if not shapely.intersects_xy(seen, *picture.paper(item.at)):
            continue
        if item.kind == "air valve":
            picture.name(f"{item.on} air valve", _aside(design, place, item, metres), size=VALVE / 2)
        elif item.kind.endswith("valve"):
            picture.name(item.kind, item.at, size=VALVE / 2)


def _letter(design: Design, place: Place, picture: Picture) -> None:
    """Name pipes, laterals and runs, in the order in which they find most room."""
    named = _laterals(place, picture)
    lead = np.subtract(place.pipes[0].line.coords[-1][:2], place.pipes[0].line.coords[0][:2])
    ordered = sorted(named, key=lambda item: float(np.dot(item[1], lead)))
    size = _fitting_size(design, picture.view.metres_per_inch) / 2

    pipes = partial(_name_pipes, design, place, picture)
    ways: list[list[Callable[[], object]]] = []
    for pipes_first in (False, True):
        for order in (named, ordered, ordered[::-1]):
            names = [partial(picture.name, text, at, size=size, strong=True) for text, at in order]
            ways.append([pipes, *names] if pipes_first else [*names, pipes])
    picture.best_of(ways)
    for riser in place.risers:
        if riser.lead:
            picture.name_along(riser.line, f"lead of {riser.lateral} {riser.kind}")
    _runs(design, place, picture)
    picture.name_along(LineString(design.site.bed.outline.exterior.coords), "edge of bed", told=False)


def _name_pipes(design: Design, place: Place, picture: Picture) -> None:
    """Name manifolds, with their lengths, and the lines to and from the pump."""
    for pipe in place.pipes:
        bore = picture.figures.diameter_of(pipe.diameter)
        picture.name_along(
            pipe.line, f"{pipe.kind} manifold, {bore}, {picture.figures.length_of(pipe.line.length)}"
        )
    for pipe in _lines(design, place):
        way = "from the" if pipe.kind == "supply" else "to the"
        where = "trunk" if _of_trunk(design, pipe) and pipe.zone else "pump"
        bore = picture.figures.diameter_of(pipe.diameter)
        picture.name_along(pipe.line, f"{pipe.named('line', several=False)}, {bore}, {way} {where}")


def _laterals(place: Place, picture: Picture) -> list[tuple[str, XY]]:
    """List the laterals' names and where they begin and end; where crowded, those of returns only without supply."""
    risers = [riser for riser in place.risers if not riser.lead]  # leads are named along their line
    tips = [picture.paper(ends(riser)[1]) for riser in risers]
    apart = min((math.dist(a, b) for i, a in enumerate(tips) for b in tips[i + 1 :]), default=1.0)
    fed = {riser.lateral for riser in risers if riser.kind == "supply"}
    named: list[tuple[str, XY]] = []
    for riser in risers:
        if apart < _CROWDED and riser.kind == "return" and riser.lateral in fed:
            picture.remark("Returns stand in the table of risers.")
            continue
        text = riser.lateral if apart < _CROWDED else f"{riser.lateral} {riser.kind}"
        named.append((text, ends(riser)[1]))
    return named


def _runs(design: Design, place: Place, picture: Picture) -> None:
    """Name the runs of these laterals where they leave the picture."""
    served = {riser.lateral for riser in place.risers}
    mine = {name for lateral in design.laterals if lateral.name in served for name in lateral.runs}
    for run in design.laying.runs:
        if run.name not in mine:
            continue
        pieces = picture.seen(run.line)
        if not pieces:
            continue
        width = picture.lettering.width(run.name, LETTER)
        picture.letter(run.name, along(pieces[0], width, LETTER, prefer=0.75, above=0.0, mask=True))


# --- table ----------------------------------------------------------------------------------------------


def riser_table(
    design: Design, found: Sequence[Place], figures: Figures, lettering: Lettering
) -> Block | None:
    """List where each riser stands along its manifold, from the end the pump feeds or drains."""
    stands: dict[tuple[int, str], dict[str, str]] = {}
    for place in found:
        for riser in place.risers:
            pipe = own_pipe(riser, design)
            station = float(pipe.line.project(Point(ends(riser)[0])))
            if pipe.kind == "return":
                station = pipe.line.length - station
            stands.setdefault((place.zone, riser.lateral), {})[riser.kind] = figures.length(station)
    rows = []
    for zone, lateral in sorted(
        stands, key=lambda key: (key[0], int(key[1][1:]) if key[1][1:].isdigit() else 0)
    ):
        at = stands[zone, lateral]
        rows.append((f"Z{zone}", lateral, at.get("supply", "-"), at.get("return", "-")))
    if not rows:
        return None
    unit = figures.units.length_name
    titles: Titles = (
        ("zone", 0.0, "left"),
        ("lateral", 0.5, "left"),
        (f"from supply line [{unit}]", 2.3, "right"),
        (f"to return line [{unit}]", 3.7, "right"),
    )
    heading = "Risers along their manifolds"
    return table(heading, titles, rows, lettering, wrap={})
