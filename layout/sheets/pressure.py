"""The pressure drawing: the bed coloured by pressure at its emitters, dosed and flushed; pressure along laterals.

Colours run from light for little pressure to dark for much, in even steps of lightness (cividis; see the coverage
picture), so that they keep their order in grey print and for colour-blind eyes. Emitters under the least pressure of
their range have a black dot besides.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from layout.errors import Fault, SheetError
from layout.model import AtEmitter, Design, WaterState
from layout.plane import Array, coordinates, points_at
from layout.sheets import layers
from layout.sheets.arrange import AROUND, MARGIN, STRIP, TITLE_HEIGHT, paper_named, scales
from layout.sheets.blocks import (
    COLUMN,
    GUTTER,
    PITCH,
    Block,
    Cell,
    Column,
    Row,
    Sample,
    Titles,
    draw,
    flow,
    pairs,
    paragraphs,
    table,
)
from layout.sheets.coveragemap import RAMP
from layout.sheets.fieldmarks import field_marks
from layout.sheets.figures import Figures, plain
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Dots, Drawing, Line, Mark, Paper, Pen, Sheet, View
from layout.sheets.pages import open_area
from layout.sheets.plot import figure_of, save_png, settings
from layout.sheets.pressurecharts import chart_pages
from layout.sheets.titleblock import heading, title_block
from layout.startup.expected import NO_HEAD

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
_MET = 1e-5
"""What a pressure that is asked for may be off, in steps between classes."""
_UNDER_LINES = 1.5
_STRIP, _WIDEST, _THINNEST = 0.8, 10.0, 1.2
"""Width of a coloured run over the spacing of runs; most and least [points]."""
_MOST_ZONES = 20
_LEGIBLE = 0.04
"""Least distance from run to run at which the next larger sheet is not taken [in]."""
_INCHES, _METRIC = ("ANSI B", "ANSI C", "ANSI D"), ("A3", "A2", "A1")


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """The whole field in one state."""

    doing: str
    zones: tuple[tuple[int, WaterState], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Where everything goes on a sheet."""

    paper: Paper
    view: View
    scale: str
    column: Column


@dataclass(frozen=True, slots=True, kw_only=True)
class Classes:
    """Limits between classes of pressure, the same for all states.

    Attributes
    ----------
    limits : tuple of float
        Rising [in the site's unit].
    """

    limits: tuple[float, ...]

    def of(self, pressure: Array) -> Any:
        """The class of pressures, from 0 for the least [in the site's unit]."""
        return np.searchsorted(self.limits, pressure + _MET, side="right")

    def colour(self, number: int) -> str:
        """The colour of a class."""
        return RAMP[round(number * (len(RAMP) - 1) / max(len(self.limits), 1))]

    def words(self, number: int) -> str:
        """The limits of a class."""
        said = [f"{limit:g}" for limit in self.limits]
        if not said:
            return "all"
        if number == 0:
            return f"under {said[0]}"
        return f"{said[-1]} and over" if number == len(said) else f"{said[number - 1]} to {said[number]}"


def pressure_makers(design: Design) -> list[tuple[str, Callable[[Path], None]]]:
    """The files of the pressure drawing, each with what makes it; none where pressures are not worked out."""
    states = _states(design)
    if not states:
        return []
    classes = classes_of(design, [state for one in states for _, state in one.zones])
    paper = _placed(design).paper
    charts = chart_pages(design, [(one.doing, one.zones) for one in states], paper=paper, before=len(states))
    count = len(states) + len(charts.sheets)

    def drawn(number: int, *, outlined: bool) -> Figure:
        return _map(design, states[number], classes, sheet=(number + 1, count), outlined=outlined)

    def pdf(path: Path) -> None:
        from matplotlib.backends.backend_pdf import PdfPages

        metadata = {"Title": charts.title, "CreationDate": None, "Creator": None, "Producer": None}
        with settings(), PdfPages(path, metadata=metadata) as pages:
            for number in range(len(states)):
                pages.savefig(drawn(number, outlined=False))
            for sheet in charts.sheets:
                pages.savefig(figure_of(charts, sheet, outlined=False))

    def png(number: int) -> Callable[[Path], None]:
        def make(path: Path) -> None:
            with settings():
                save_png(drawn(number, outlined=True), path)

        return make

    names = ("pressure.png", "pressure-flushing.png")
    return [("pressure.pdf", pdf), *((name, png(number)) for number, name in enumerate(names[: len(states)]))]


def _states(design: Design) -> list[_State]:
    water = design.hydraulics
    if water is None:
        return []
    dosed = _State(doing="dosing", zones=tuple((zone.zone, zone.dose) for zone in water.zones))
    flushed = tuple((zone.zone, zone.flush) for zone in water.zones if zone.flush is not None)
    return [dosed, *([_State(doing="flushing", zones=flushed)] if flushed else [])]


def classes_of(design: Design, states: Sequence[WaterState]) -> Classes:
    """Choose round limits between as many classes as there are colours, at most, over all states."""
    unit = design.site.frame.units.pressure
    low = min(state.least.head for state in states) / unit
    high = max(state.greatest.head for state in states) / unit
    for step in _STEPS:
        first, last = math.floor(low / step + _MET) + 1, math.ceil(high / step - _MET) - 1
        if last - first + 2 <= len(RAMP):
            return Classes(limits=tuple(round(number * step, 6) for number in range(first, last + 1)))
    return Classes(limits=())


# --- the map --------------------------------------------------------------------------------------------


def _map(
    design: Design, state: _State, classes: Classes, *, sheet: tuple[int, int], outlined: bool
) -> Figure:
    place, blocks = _arranged(design, state, classes)
    drawing, swatches = pressure_sheet(design, state.doing, place, blocks, sheet=sheet)
    figure = figure_of(drawing, drawing.sheets[0], outlined=outlined)
    _strips(figure, design, place.view, state, classes)
    shown = range(len(classes.limits), -1, -1)
    _fill(figure, swatches, [classes.colour(number) for number in shown])
    starved = _starved(design, place.view, state)
    if len(starved):
        _dots(figure, starved)
    return figure


def _arranged(design: Design, state: _State, classes: Classes) -> tuple[_Place, list[Block]]:
    """The smallest sheet on which runs can be told from each other, with as many laterals listed as find room."""
    figures, lettering = Figures(design.site.frame.units), Lettering()
    place = _placed(design)
    blocks = [
        _legend(state, classes, figures),
        _figures(state, figures, lettering),
        _reading(design, state, figures, lettering),
    ]
    column = place.column
    room = column.top - column.bottom - sum(block.height for block in blocks)
    blocks.append(_laterals(design, state, figures, lettering, most=max(int((room - 0.6) / PITCH), 0)))
    return place, [block for block in blocks if block.rows]


def _placed(design: Design) -> _Place:
    units, bounds = design.site.frame.units, design.site.bed.outline.bounds
    best: _Place | None = None
    for name in _METRIC if units.word == "m" else _INCHES:
        paper = paper_named(name)
        left, bottom, right, top = open_area(paper)
        window = (left, bottom + STRIP, right, top)
        wide, high = window[2] - window[0] - 2 * AROUND, window[3] - window[1] - 2 * AROUND
        fitting = (
            (metres, words)
            for metres, words in scales(units)
            if (bounds[2] - bounds[0]) / metres <= wide and (bounds[3] - bounds[1]) / metres <= high
        )
        found = next(fitting, None)
        if found is None:
            continue
        centre = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
        column = Column(left=right + GUTTER / 2, top=top - 0.1, bottom=MARGIN + 0.1 + TITLE_HEIGHT)
        view = View(window=window, centre=centre, metres_per_inch=found[0])
        best = _Place(paper=paper, view=view, scale=found[1], column=column)
        if design.site.runs.spacing / found[0] >= _LEGIBLE:
            return best
    if best is None:
        said = "the bed is larger than the smallest scale shows on the largest sheet"
        raise SheetError(
            Fault(field="bed.outline", said=said, remedy="Check its coordinates, and the site's units.")
        )
    return best


def pressure_sheet(
    design: Design, doing: str, place: _Place, blocks: Sequence[Block], *, sheet: tuple[int, int]
) -> tuple[Drawing, list[Any]]:
    """Draw all but the colours: the sheet, and the boxes of the legend to be coloured, the most pressure first."""
    lettering = Lettering()
    paper, scale, view = place.paper, place.scale, place.view
    placed, _ = flow(blocks, (place.column,))
    marks = title_block(
        design.site, paper, scale, view, lettering, sheet=sheet, subject=f"pressure at emitters, {doing}"
    )
    marks += heading(design, view, scale, lettering, "", what=f"Pressure, {doing}")
    said = [mark for part in placed for mark in draw(part, layers.LEGEND)]
    swatches = [mark.shape for mark in said if isinstance(mark, Area)]
    drawing = Drawing(
        title=lettering.clean(design.site.title),
        frame=design.site.frame,
        paper=paper,
        scale=scale,
        plan=tuple(_under_colours(field_marks(design, view))),
        sheets=(Sheet(name=f"Pressure {doing}", marks=(*marks, *said), view=view),),
    )
    return drawing, swatches


def _under_colours(marks: Sequence[Mark]) -> list[Mark]:
    """Leave out emitters and the tint of usable ground; runs are hair lines on their colours."""
    made: list[Mark] = []
    for mark in marks:
        if isinstance(mark, Line) and mark.layer is layers.RUN:
            made.append(replace(mark, pen=Pen(weight=0.13)))
        elif isinstance(mark, Area) and mark.layer is layers.USABLE:
            made.append(replace(mark, fill=None))
        elif not isinstance(mark, Dots):
            made.append(mark)
    return made


def _strips(figure: Figure, design: Design, view: View, state: _State, classes: Classes) -> None:
    """Colour each run piece by piece, a piece an emitter."""
    from matplotlib.collections import LineCollection

    unit = design.site.frame.units.pressure
    width = 72.0 * _STRIP * design.site.runs.spacing / view.metres_per_inch
    runs = {run.name: run for run in design.laying.runs}
    lines: list[Array] = []
    colours: list[str] = []
    for _, zone in state.zones:
        for water in zone.runs:
            points = coordinates(runs[water.run].line)
            numbers = classes.of(np.asarray(water.heads) / unit)
            # Neighbours of one class are one piece: no seams, and few lines.
            cuts = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), len(numbers)]
            spacing = design.site.tubing.emitter_spacing
            for a, b in itertools.pairwise(cuts):
                end = runs[water.run].length if b == len(numbers) else b * spacing
                lines.append(view.to_paper(_piece(points, a * spacing, end)))
                colours.append(classes.colour(int(numbers[a])))
    drawn = LineCollection(
        lines,
        linewidths=min(max(width, _THINNEST), _WIDEST),
        colors=colours,
        capstyle="butt",
        joinstyle="round",
        zorder=_UNDER_LINES,
    )
    drawn.set_transform(figure.dpi_scale_trans)
    figure.add_artist(drawn)


def _piece(points: Array, start: float, end: float) -> Array:
    """A stretch of a line [m]."""
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    end = min(end, float(along[-1]))
    inner = points[(along > start) & (along < end)]
    tips = points_at(points, np.array([min(start, end), end]))
    return np.concatenate((tips[:1], inner, tips[1:]))


def _starved(design: Design, view: View, state: _State) -> Array:
    """Places of emitters under the least pressure of their range, on paper."""
    limits = design.site.tubing.pressure_range
    if limits is None:
        return np.zeros((0, 2))
    points = {row.run: row.points for row in design.emitters}
    found = [
        points[water.run][number]
        for _, zone in state.zones
        for water in zone.runs
        for number, head in enumerate(water.heads)
        if head < limits[0] * (1.0 - 1e-6)
    ]
    return view.to_paper(found) if found else np.zeros((0, 2))


def _dots(figure: Figure, places: Array) -> None:
    from matplotlib.collections import EllipseCollection

    size = 0.045
    drawn = EllipseCollection(
        size, size, 0.0, units="inches", offsets=places, facecolors="black", edgecolors="none", zorder=9.0
    )
    drawn.set_offset_transform(figure.dpi_scale_trans)
    figure.add_artist(drawn)


def _fill(figure: Figure, shapes: Sequence[Any], colours: Sequence[str]) -> None:
    from matplotlib.collections import PolyCollection

    drawn = PolyCollection(
        [coordinates(shape.exterior) for shape in shapes], facecolors=list(colours), zorder=_UNDER_LINES
    )
    drawn.set_transform(figure.dpi_scale_trans)
    figure.add_artist(drawn)


# --- words and figures -----------------------------------------------------------------------------------


def _legend(state: _State, classes: Classes, figures: Figures) -> Block:
    """List the classes, the most pressure first, with the share of emitters in each."""
    heads = np.concatenate([run.heads for _, zone in state.zones for run in zone.runs])
    numbers = classes.of(heads / figures.units.pressure)
    titles: Titles = (
        (figures.units.pressure_name, 0.72, "left"),
        ("emitters", 2.9, "right"),
        ("", COLUMN, "right"),
    )
    rows = []
    for number in reversed(range(len(classes.limits) + 1)):
        count = int((numbers == number).sum())
        texts = (classes.words(number), plain(count, 0), figures.share(count / len(heads)))
        cells = [Cell(text=text, x=x, align=align) for text, (_, x, align) in zip(texts, titles, strict=True)]
        rows.append(Row(cells=tuple(cells), sample=Sample(layer=layers.LEGEND, swatch=True), space=0.03))
    head = Row(cells=tuple(Cell(text=text, x=x, align=align, strong=True) for text, x, align in titles))
    return Block(heading=f"Pressure at emitters, {state.doing}", titles=head, rows=tuple(rows))


def _figures(state: _State, figures: Figures, lettering: Lettering) -> Block:
    """Flow, head, pressures and valve of the one zone; of several, a line each."""
    if len(state.zones) > 1:
        return _zones(state, figures, lettering)
    water = state.zones[0][1]
    items = [
        ("flow at the pump", figures.flow_of(water.flow)),
        ("head at the pump", figures.length_of(water.head)),
        (f"least, {_at(water.least)}", figures.pressure_of(water.least.head)),
        (f"greatest, {_at(water.greatest)}", figures.pressure_of(water.greatest.head)),
    ]
    if state.doing == "dosing":
        items.append(("least over greatest emitter flow", figures.share(water.uniformity)))
    elif water.valve_head is not None:
        items.append(("the valve of the return takes", figures.length_of(water.valve_head)))
    if water.missing_head > NO_HEAD:
        items.append(("head that the pump lacks", figures.length_of(water.missing_head)))
    return pairs("Figures", items, lettering)


def _zones(state: _State, figures: Figures, lettering: Lettering) -> Block:
    units = figures.units
    dosing = state.doing == "dosing"
    titles: Titles = (
        ("Zone", 0.0, "left"),
        (units.flow_name, 0.95, "right"),
        (f"head, {units.length_name}", 1.7, "right"),
        (f"least, {units.pressure_name}", 2.4, "right"),
        ("most", 2.85, "right"),
        ("evenness" if dosing else f"valve, {units.length_name}", COLUMN, "right"),
    )
    rows = []
    for zone, water in state.zones[:_MOST_ZONES]:
        last = figures.share(water.uniformity) if dosing else figures.length(water.valve_head or 0.0)
        ends = (plain(end.head / units.pressure, 1) for end in (water.least, water.greatest))
        lacks = " *" if water.missing_head > NO_HEAD else ""
        rows.append([f"Z{zone}{lacks}", figures.flow(water.flow), figures.length(water.head), *ends, last])
    more = len(state.zones) - len(rows)
    name = "Zones" + (f", the first {len(rows)} of {len(state.zones)}" if more else "")
    if any(water.missing_head > NO_HEAD for _, water in state.zones):
        name += " (* the pump lacks head)"
    return table(name, titles, rows, lettering, wrap={})


def _at(found: AtEmitter) -> str:
    return f"{found.run}, emitter {found.number}"


def _laterals(design: Design, state: _State, figures: Figures, lettering: Lettering, *, most: int) -> Block:
    """List laterals with the velocity at their ends, and the pressures of their emitters."""
    units = figures.units
    rows: list[tuple[float, list[str]]] = []
    for _, water in state.zones:
        heads = {run.run: run.heads for run in water.runs}
        velocity = dict(water.ends)
        for lateral in design.laterals:
            mine = [head for name in lateral.runs for head in heads.get(name, ())]
            if lateral.name in velocity and mine:
                low, high = (plain(head / units.pressure, 1) for head in (min(mine), max(mine)))
                speed = velocity[lateral.name]
                rows.append((speed, [lateral.name, plain(speed / units.velocity, 2), low, high]))
    name = "Laterals"
    if len(rows) > most:
        # those with the slowest ends, in their order
        last = sorted(speed for speed, _ in rows)[most - 1] if most else -math.inf
        rows = [row for row in rows if row[0] <= last][:most]
        name = f"Laterals, the {most} with the slowest ends"
    titles: Titles = (
        ("Lateral", 0.0, "left"),
        (f"End, {units.velocity_name}", 1.7, "right"),
        (f"Least, {units.pressure_name}", 2.75, "right"),
        ("Greatest", COLUMN, "right"),
    )
    return table(name, titles, [row for _, row in rows], lettering, wrap={})


def _reading(design: Design, state: _State, figures: Figures, lettering: Lettering) -> Block:
    limits = design.site.tubing.pressure_range
    texts = [
        "Each run is coloured by the pressure at its emitters: light is little, dark is much; the classes are the same "
        "for dosing and flushing.",
        "Steady flow in clean pipes: nothing here follows air, surge, or a pump that starts. The check of "
        "these figures belongs to a licensed engineer where the law asks for one.",
    ]
    if limits is not None:
        low, high = (figures.pressure_of(limit) for limit in limits)
        texts.insert(
            1, f"Emitters keep their flow from {low} to {high}. A black dot marks those that have less."
        )
    if state.doing == "dosing":
        texts.append(
            "Dosing: the return is shut; velocity at the ends of laterals is what passes between them there."
        )
    else:
        texts.append(
            "Flushing: the valve of the return is set so that the slowest end has the velocity asked for."
        )
    return paragraphs("How to read it", texts, lettering)
