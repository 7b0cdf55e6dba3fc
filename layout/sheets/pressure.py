"""The pressure drawing: the bed coloured by pressure at its emitters, dosed and flushed; pressure along laterals.

Colours run from light for little pressure to dark for much, in even steps of lightness (cividis; see the coverage
picture), so that they keep their order in grey print and for colour-blind eyes. Emitters under the least pressure of
their range have a black dot besides.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from layout.errors import Fault, SheetError
from layout.model import Design
from layout.plane import Array, coordinates, stretch
from layout.sheets import layers
from layout.sheets.arrange import AROUND, MARGIN, STRIP, TITLE_HEIGHT, paper_named, scales
from layout.sheets.blocks import GUTTER, PITCH, Block, Column, draw, flow
from layout.sheets.fieldmarks import field_marks
from layout.sheets.figures import Figures
from layout.sheets.labels import name_marks
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Dots, Drawing, Line, Mark, Paper, Pen, Sheet, View
from layout.sheets.pages import open_area
from layout.sheets.pdf import write_pages
from layout.sheets.plot import figure_of, save_png, settings
from layout.sheets.pressureblocks import (
    Classes,
    FieldState,
    classes_of,
    figures_block,
    laterals_block,
    legend_block,
    reading_block,
)
from layout.sheets.pressurecharts import chart_pages
from layout.sheets.titleblock import heading, title_block

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_UNDER_LINES = 1.5
_STRIP, _WIDEST, _THINNEST = 0.8, 10.0, 1.2
"""Width of a coloured run over the spacing of runs; most and least [points]."""
_LEGIBLE = 0.04
"""Least distance from run to run at which the next larger sheet is not taken [in]."""
_INCHES, _METRIC = ("ANSI B", "ANSI C", "ANSI D"), ("A3", "A2", "A1")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Where everything goes on a sheet."""

    paper: Paper
    view: View
    scale: str
    column: Column


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
        with settings():
            maps = (drawn(number, outlined=False) for number in range(len(states)))
            rest = (figure_of(charts, sheet, outlined=False) for sheet in charts.sheets)
            write_pages(itertools.chain(maps, rest), path, title=charts.title)

    def png(number: int) -> Callable[[Path], None]:
        def make(path: Path) -> None:
            with settings():
                save_png(drawn(number, outlined=True), path)

        return make

    names = ("pressure.png", "pressure-flushing.png")
    return [("pressure.pdf", pdf), *((name, png(number)) for number, name in enumerate(names[: len(states)]))]


def _states(design: Design) -> list[FieldState]:
    water = design.hydraulics
    if water is None:
        return []
    dosed = FieldState(doing="dosing", zones=tuple((zone.zone, zone.dose) for zone in water.zones))
    flushed = tuple((zone.zone, zone.flush) for zone in water.zones if zone.flush is not None)
    return [dosed, *([FieldState(doing="flushing", zones=flushed)] if flushed else [])]


# --- the map --------------------------------------------------------------------------------------------


def _map(
    design: Design, state: FieldState, classes: Classes, *, sheet: tuple[int, int], outlined: bool
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


def _arranged(design: Design, state: FieldState, classes: Classes) -> tuple[_Place, list[Block]]:
    """The smallest sheet on which runs can be told from each other, with as many laterals listed as find room."""
    figures, lettering = Figures(design.site.frame.units), Lettering()
    place = _placed(design)
    blocks = [
        legend_block(state, classes, figures),
        figures_block(state, figures, lettering),
        reading_block(design, state, figures, lettering),
    ]
    column = place.column
    room = column.top - column.bottom - sum(block.height for block in blocks)
    blocks.append(laterals_block(design, state, figures, lettering, most=max(int((room - 0.6) / PITCH), 0)))
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
    field = field_marks(design, view)
    said = [mark for part in placed for mark in draw(part, layers.LEGEND)]
    swatches = [mark.shape for mark in said if isinstance(mark, Area)]
    drawing = Drawing(
        title=lettering.clean(design.site.title),
        frame=design.site.frame,
        paper=paper,
        scale=scale,
        plan=(*_under_colours(field), *name_marks(design, view, field, lettering)),
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


def _strips(figure: Figure, design: Design, view: View, state: FieldState, classes: Classes) -> None:
    """Colour each run piece by piece, a piece an emitter."""
    from matplotlib.collections import LineCollection

    unit = design.site.frame.units.pressure
    width = 72.0 * _STRIP * design.site.runs.spacing / view.metres_per_inch
    runs = {run.name: run for run in design.laying.runs}
    lines: list[Array] = []
    colours: list[str] = []
    for _, zone in state.zones:
        for water in zone.runs:
            line = runs[water.run].line
            numbers = classes.of(np.asarray(water.heads) / unit)
            # Neighbours of one class are one piece: no seams, and few lines.
            cuts = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), len(numbers)]
            spacing = design.site.tubing.emitter_spacing
            for a, b in itertools.pairwise(cuts):
                end = line.length if b == len(numbers) else b * spacing
                lines.append(view.to_paper(coordinates(stretch(line, a * spacing, end))))
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


def _starved(design: Design, view: View, state: FieldState) -> Array:
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
