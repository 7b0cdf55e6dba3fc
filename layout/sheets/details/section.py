"""A section through a riser, not to scale: what falls where, with the design's figures, and blanks for the rest."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from shapely import LineString

from layout.model import XY, Design, ZoneLevels
from layout.sheets import layers
from layout.sheets.blocks import Block, Titles, paragraphs, table
from layout.sheets.details.picture import LETTER, Picture, Window
from layout.sheets.dimensions import drawn
from layout.sheets.figures import Figures, plain
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Align, Dash, Dimension, Layer, Line, Mark, Pen, Symbol, Text, View
from layout.terrain import heights
from layout.terrain.zonelevels import ALL
from layout.units import INCH

BLANK = "______"
"""What is not known, to be filled in by hand."""
WIDTH, HEIGHT = 5.4, 3.1
"""Of the section [in]."""
_GROUND, _TUBING, _SUPPLY, _RETURN = 2.45, 1.75, 1.0, 0.86
_TIP, _APART = 3.5, 1.05
_PIPE = 0.2
_THIN = Pen(weight=0.18)


def section_picture(design: Design, window: Window, figures: Figures, lettering: Lettering) -> Picture:
    """Draw tubing, connector, risers and manifolds as cut along a riser, with cover and falls."""
    view = View(window=window, centre=(0.0, 0.0), metres_per_inch=INCH)
    picture = Picture(view=view, figures=figures, lettering=lettering)
    left = (window[0] + window[2] - WIDTH) / 2
    bottom = (window[1] + window[3] - HEIGHT) / 2
    place = _Place(left, bottom)
    marks = picture.marks
    marks += _ground(place)
    marks += _pipes(place)
    marks += _words(design, place, figures)
    if any(item.kind == "air valve" for item in design.plumbing.fittings):
        marks += _air_valve(design, place)
    for item, text in _distances(design, place, figures):
        marks += drawn(item, text, lettering.width(text, LETTER))
    return picture


class _Place:
    """Points of the section from its lower left corner, on paper [in]."""

    def __init__(self, left: float, bottom: float) -> None:
        self.left, self.bottom = left, bottom

    def at(self, x: float, y: float) -> XY:
        return (self.left + x, self.bottom + y)

    def line(self, layer: Layer, points: Sequence[XY], pen: Pen | None = None) -> Line:
        return Line(layer=layer, line=LineString([self.at(*point) for point in points]), pen=pen)

    def text(self, x: float, y: float, text: str, align: Align = "left") -> Text:
        return Text(
            layer=layers.LABEL,
            text=text,
            at=self.at(x, y),
            height=LETTER,
            align=align,
        )


def _ground(place: _Place) -> list[Mark]:
    """Draw the ground's surface with strokes under it."""
    marks: list[Mark] = [place.line(layers.BED, [(0.0, _GROUND), (WIDTH, _GROUND)])]
    for x in np.arange(0.15, WIDTH - 0.2, 0.9):
        marks += [
            place.line(layers.BED, [(x + s, _GROUND), (x + s - 0.1, _GROUND - 0.1)], _THIN)
            for s in (0.0, 0.08, 0.16)
        ]
    return marks


def _pipes(place: _Place) -> list[Mark]:
    """Draw tubing, connector, both risers, both manifolds, and an air valve."""
    supply, back = _TIP - _APART, _TIP - 2 * _APART
    marks: list[Mark] = [
        place.line(layers.RUN, [(_TIP, _TUBING), (WIDTH - 0.1, _TUBING)]),
        place.line(layers.RISER, [(_TIP, _TUBING), (supply, _SUPPLY + _PIPE / 2)]),
        place.line(
            layers.RISER, [(_TIP, _TUBING), (back, _RETURN + _PIPE / 2)], Pen(weight=0.35, dash=Dash.SHORT)
        ),
        Symbol(layer=layers.RISER, name="connector", at=place.at(_TIP, _TUBING), size=0.1),
        Symbol(layer=layers.MANIFOLD, name="elbow", at=place.at(supply, _SUPPLY), size=_PIPE),
        Symbol(layer=layers.RETURN_MANIFOLD, name="elbow", at=place.at(back, _RETURN), size=_PIPE),
    ]
    marks += [
        Symbol(layer=layers.EMITTER, name="dot", at=place.at(x, _TUBING), size=0.05)
        for x in (_TIP + 0.5, _TIP + 1.3, _TIP + 2.0)
        if x < WIDTH - 0.1
    ]
    # The way the water falls back after a dose.
    for x, y, angle in ((supply + 0.42, _SUPPLY + 0.45, -145.0), (back + 0.9, _RETURN + 0.52, -157.0)):
        marks.append(Symbol(layer=layers.FLOW, name="arrow", at=place.at(x, y), size=0.11, angle=angle))
    return marks


def _air_valve(design: Design, place: _Place) -> list[Mark]:
    """Draw an air valve at the highest point of the return manifold, or at its dead end where levels are not known."""
    x = _TIP - 2 * _APART - 0.75
    return [
        place.line(layers.RISER, [(x, _RETURN), (x, _TUBING + 0.15)]),
        place.line(layers.RETURN_MANIFOLD, [(x, _RETURN), (_TIP - 2 * _APART - _PIPE / 2, _RETURN)]),
        Symbol(layer=layers.AIR_VALVE, name="air valve", at=place.at(x, _TUBING + 0.25), size=0.2),
        place.text(x + 0.17, _TUBING + 0.29, "air valve at the"),
        place.text(
            x + 0.17, _TUBING + 0.15, f"manifold's {'high point' if _surveyed(design) else 'dead end'}"
        ),
    ]


def _words(design: Design, place: _Place, figures: Figures) -> list[Mark]:
    supply, back = _TIP - _APART, _TIP - 2 * _APART
    rules = design.site.manifold
    sizes = (figures.diameter_of(rules.supply_diameter), figures.diameter_of(rules.return_diameter))
    return [
        place.text(WIDTH, _GROUND + 0.08, f"finished ground, level {BLANK}", "right"),
        place.text(_TIP + 0.35, _TUBING - 0.18, "emitting tubing"),
        place.text(_TIP - 0.02, _TUBING + 0.12, "connector", "centre"),
        place.text(supply + 0.62, _SUPPLY + 0.28, f"riser, falls {BLANK}"),
        place.text(supply + 0.62, _SUPPLY + 0.14, "to the manifold"),
        place.text(supply + 0.2, _SUPPLY - 0.13, f"supply manifold, {sizes[0]}"),
        place.text(back + 0.12, _RETURN - 0.22, f"return manifold, {sizes[1]}", "centre"),
        place.text(back + 0.72, _RETURN + 0.48, "return riser", "right"),
    ]


def _distances(design: Design, place: _Place, figures: Figures) -> list[tuple[Dimension, str]]:
    """Make the level distances from the end of the tubing to both manifolds, and the cover."""
    made = []
    for kind, foot, y in (("supply", _TIP - _APART, 0.3), ("return", _TIP - 2 * _APART, 0.04)):
        lengths = [item.line.length for item in design.plumbing.risers if item.kind == kind and not item.lead]
        if not lengths:
            continue
        least, most = figures.length(min(lengths)), figures.length(max(lengths))
        text = (
            figures.length_of(max(lengths))
            if least == most
            else f"{least} to {figures.length_of(max(lengths))}"
        )
        item = _dimension(
            place,
            (foot, 0.55),
            (_TIP, 0.55),
            across=(foot, y),
            text_at=((foot + _TIP) / 2, y + 0.09),
            angle=0.0,
        )
        made.append((item, text))
    x = WIDTH - 0.25
    item = _dimension(
        place,
        (x, _TUBING),
        (x, _GROUND),
        across=(x, _TUBING),
        text_at=(x - 0.55, (_TUBING + _GROUND) / 2),
        angle=0.0,
    )
    return [*made, (item, f"cover {BLANK}")]


def _dimension(place: _Place, start: XY, end: XY, *, across: XY, text_at: XY, angle: float) -> Dimension:
    return Dimension(
        layer=layers.DIMENSION,
        start=place.at(*start),
        end=place.at(*end),
        across=place.at(*across),
        words="<>",
        text_at=place.at(*text_at),
        angle=angle,
        height=LETTER,
        length=0.0,
    )


# --- in words -------------------------------------------------------------------------------------------


def level_tables(design: Design, figures: Figures, lettering: Lettering) -> list[Block]:
    """List the heights of the ground, and the falls of the returns, by zone, blank where they are not known."""
    unit = figures.units.length_name
    ground: Titles = (
        ("zone", 0.0, "left"),
        ("highest of its ground", 1.75, "right"),
        ("at supply valve", 2.75, "right"),
        ("at return valve", 3.75, "right"),
    )
    falls: Titles = (
        ("zone", 0.0, "left"),
        ("fall to pump", 2.2, "right"),
        (f"to lie deeper by [{unit}]", 3.75, "right"),
    )
    levels = [
        (
            f"Z{item.zone}",
            BLANK if item.high_level is None else figures.length(item.high_level),
            *(_valve_level(design, item.zone, kind, figures) for kind in ("supply", "return")),
        )
        for item in design.zone_levels
    ]
    pitches = [(f"Z{item.zone}", *_fall(item, figures)) for item in design.zone_levels]
    return [
        table(
            f"Ground of the zones and at their air valves [{unit}]",
            ground,
            levels or [("all", BLANK, BLANK, BLANK)],
            lettering,
            wrap={},
        ),
        table("Falls of the return lines", falls, pitches or [("all", BLANK, BLANK)], lettering, wrap={}),
    ]


def _fall(item: ZoneLevels, figures: Figures) -> tuple[str, str]:
    """Tell a return's fall and how much deeper it must lie; of a line surveyed in part, only the least of it."""
    if item.pitch is None or item.deepening is None:
        return BLANK, BLANK
    deeper = figures.length(item.deepening)
    if item.return_known >= ALL:
        return f"{'RISES ' if item.pitch < 0 else ''}{figures.share(abs(item.pitch))}", deeper
    # a line of which nearly all is surveyed is not told to be surveyed whole
    known = min(round(100 * item.return_known), 99)
    return f"not checked: {known} % surveyed", f"at least {deeper}"


def _valve_level(design: Design, zone: int, kind: str, figures: Figures) -> str:
    """Find the height of the ground where an air valve of a zone stands."""
    levels = design.site.bed.levels
    at = [
        item.at
        for item in design.plumbing.fittings
        if (item.kind, item.zone, item.on) == ("air valve", zone, kind)
    ]
    if not at:
        return "-"
    if levels is None or not levels.points:
        return BLANK
    found = float(heights(levels, np.asarray(at[:1]))[0])
    return BLANK if math.isnan(found) else figures.length(found)


def notes(design: Design, lettering: Lettering) -> Block:
    """Say how to read the details."""
    pitch = plain(100 * design.site.design.least_pitch, 1)
    said = [
        "Level distances are the plan's. What this design does not state is left blank, to be filled in by hand.",
        "Lay risers so that they fall from the tubing to the manifold.",
        f"Lay manifolds and lines so that they fall to the pump, the return at {pitch} % or more: where the ground "
        "does not fall so, deeper than elsewhere. The table says how much, where the ground is surveyed.",
        _air(design),
        "Symbols of fittings are larger than the fittings.",
    ]
    return paragraphs("Notes to the details", said, lettering, numbered=True)


def _surveyed(design: Design) -> bool:
    return any(item.high_level is not None for item in design.zone_levels)


def _air(design: Design) -> str:
    """Tell where air valves stand."""
    known = _surveyed(design)
    where = "the highest point" if known else "the dead end, for want of levels,"
    more = "; the zone's ground may be higher than there" if known else ""
    return f"An air valve stands at {where} of the supply and of the return manifold of each zone{more}."
