"""The lines where they leave the pump, at a larger scale: with the flush valve of each return, by name and distance."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely
from shapely import LineString, Point

from layout.model import Design, FeatureKind, Fitting
from layout.sheets import fieldmarks, layers
from layout.sheets.details.picture import Picture, Window, middle_of, north_words, scale_for
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Mark, Symbol, View

AROUND = 1.2
"""Shown around pump and valves [m]."""
_VALVE = 0.2
"""Width of a valve's symbol [in]."""
_SHOWN = (FeatureKind.TANK, FeatureKind.BUILDING)


def flush_valves(design: Design) -> list[Fitting]:
    """List the flush valves at the pump, in the design's order; where zones share a trunk they stand at manifolds."""
    return [item for item in design.plumbing.fittings if (item.kind, item.of) == ("flush valve", "line")]


def pump_picture(
    design: Design, window: Window, figures: Figures, lettering: Lettering
) -> tuple[Picture, str]:
    """Draw the pump, what it stands in, lines and flush valves, with the scale in words.

    Parameters
    ----------
    design : Design
        With a pump and a flush valve.
    window : Window
        [in].
    figures : Figures
    lettering : Lettering
    """
    assert design.site.pump is not None
    pump, valves = design.site.pump.at, flush_valves(design)
    points = np.array([pump, *(item.at for item in valves)])
    wide, high = (np.ptp(points, axis=0) + 2.0 * AROUND).tolist()
    metres, scale = scale_for(wide, high, window, design.site.frame.units)
    view = View(window=window, centre=middle_of(points), metres_per_inch=metres)
    picture = Picture(view=view, figures=figures, lettering=lettering)
    lines = [line.line for line in design.plumbing.lines]
    picture.draw(list(_marks(design, view)), north_words(design.site), whole=lines)
    several = len(design.zones) > 1
    picture.name("pump", pump, size=fieldmarks.PUMP / 2)
    for item in valves:
        of = f"Z{item.zone} " if several else ""
        size = "" if item.size is None else f", {figures.diameter_of(item.size)}"
        picture.name(f"{of}return flush valve{size}", item.at, size=_VALVE / 2, led=True)
    for line in design.plumbing.lines:
        picture.name_along(line.line, f"{f'Z{line.zone} ' if several else ''}{line.kind} line", told=False)
    for feature in design.site.pump_house:
        edge = LineString(shapely.get_coordinates(feature.shape.boundary))
        picture.name_along(edge, lettering.clean(feature.name), told=False)
    apart = [math.dist(pump, item.at) for item in valves]
    far = dict.fromkeys(figures.length(distance) for distance in (min(apart), max(apart)))
    what, boxes = ("Flush valve", "in a box") if len(valves) == 1 else ("Flush valves", "in boxes")
    picture.remark(
        f"{what}, {' to '.join(far)} {figures.units.length_name} from the pump, {boxes}: shut but for flushing, then "
        "set as the start-up form tells."
    )
    return picture, scale


def _marks(design: Design, view: View) -> Iterator[Mark]:
    """Draw features, lines, pump and valves as on the plan, valves as large as there is room for."""
    kept = {layers.SUPPLY.name, layers.RETURN.name, layers.PUMP.name, layers.SETBACK.name}
    kept |= {layers.FEATURES[kind].name for kind in _SHOWN}
    for mark in fieldmarks.field_marks(design, view):
        if mark.layer.name in kept:
            yield mark
    for item in flush_valves(design):
        place = Point(item.at)
        line = min(
            (pipe.line for pipe in design.plumbing.lines if pipe.kind == item.on and pipe.zone == item.zone),
            key=lambda one: float(one.distance(place)),
        )
        station = line.project(place)
        before, after = (line.interpolate(max(station + step, 0.0)) for step in (-0.05, 0.05))
        angle = math.degrees(math.atan2(after.y - before.y, after.x - before.x))
        yield Symbol(layer=layers.FLUSH_VALVE, name=item.kind, at=item.at, size=_VALVE, angle=angle)
