"""The coverage picture: the ground nearest to each emitter, coloured by the water it takes while dosing.

Colours run from light for little water to dark for much, in even steps of lightness, so that they keep their
order in grey print and for colour-blind eyes. They are taken from the cividis colour map (Nuñez, Anderton and
Renslow 2018, PLOS ONE 13(7): e0199239).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from layout.model import Cells, Design
from layout.plane import Array, coordinates, polygons_of
from layout.sheets import layers
from layout.sheets.arrange import arrange
from layout.sheets.blocks import COLUMN, Block, Cell, Row, Sample, Titles, draw, flow, pairs, paragraphs
from layout.sheets.fieldmarks import field_marks
from layout.sheets.figures import Figures, plain
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Dots, Drawing, Line, Mark, Pen, Sheet, View
from layout.sheets.plot import figure_of, save_png, settings
from layout.sheets.titleblock import heading, title_block

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BREAKS = (0.5, 0.7, 0.9, 1.1, 1.4, 2.0)
"""Between the classes, in times the even rate."""
RAMP = ("#f7de3e", "#cfbd62", "#a79d73", "#807f78", "#5d616e", "#34456c", "#002a61")
"""One colour a class, from little water to much."""
_RUN_WEIGHTS = ((0.12, 0.35, 0.70), (0.06, 0.25, 0.50), (0.04, 0.18, 0.35), (0.0, 0.13, 0.18))
"""Least distance between runs on paper [in], weight of a run and of the white line under it [mm]."""
_UNDER_LINES = 1.5
_SEAM = 0.4
"""Width of the edges of cells [points]: of their own colour, so that no white shows between them."""
_TWO_COLUMNS = 0.01
"""Rates under this have too many decimals to stand in two columns side by side."""
_THIN = 0.25
"""Width of a cell's white outline [points]."""
_OUTLINED = 0.1
"""Cells at least this wide on paper [in] have white outlines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """What the ground of each emitter takes.

    Attributes
    ----------
    even : float
        The rate if every emitter had run spacing by emitter spacing to itself [m/s].
    relative : array
        Of each cell, in times the even rate; of a cell without ground not a number.
    shares : array
        Share of the ground in each class.
    classes : array of int
        Of each cell, from 0 for the least.
    daily : float or None
        Of the even rate [m/s], averaged over a day at the design flow; None where that is not stated.
    over : float or None
        Share of the ground that takes more than the stated loading at the design flow; None where not stated.
    """

    even: float
    relative: Array
    shares: Array
    classes: Any
    daily: float | None
    over: float | None


def write_coverage(design: Design, path: Path) -> None:
    """Write the picture of a design that has cells."""
    if design.cells is None:
        raise ValueError("a coverage picture needs the cells of the emitters")
    rates = rates_of(design, design.cells)
    drawing, swatches = coverage_sheet(design, rates)
    with settings():
        figure = figure_of(drawing, drawing.sheets[0], outlined=True)
        _tint(figure, drawing.view, design.cells, rates)
        for swatch, colour in zip(swatches, reversed(RAMP), strict=True):
            _fill(figure, [coordinates(swatch.exterior)], [colour])
        save_png(figure, path)


def rates_of(design: Design, cells: Cells) -> Rates:
    """Work out what the ground of each emitter takes."""
    site, areas, flows = design.site, np.asarray(cells.areas), np.asarray(cells.flows)
    even = site.tubing.emitter_flow / (site.runs.spacing * site.tubing.emitter_spacing)
    with np.errstate(divide="ignore"):
        relative = np.where(areas > 0, flows / areas / even, np.nan)
    classes = np.searchsorted(BREAKS, relative, side="right")
    shares = np.array([areas[classes == one].sum() for one in range(len(RAMP))]) / areas.sum()
    stated, loading = site.design.flow, site.design.loading
    daily = even * stated / design.totals.flow if stated is not None and design.totals.flow > 0 else None
    over = None
    if daily is not None and loading is not None:
        over = float(areas[relative * daily > loading].sum() / areas.sum())
    return Rates(even=even, relative=relative, shares=shares, classes=classes, daily=daily, over=over)


def coverage_sheet(design: Design, rates: Rates) -> tuple[Drawing, list[Any]]:
    """Draw all but the colours: the sheet, and the boxes of the legend to be coloured, the most water first."""
    figures, lettering = Figures(design.site.frame.units), Lettering()
    blocks = [
        legend(rates, figures),
        _figures(design, rates, figures, lettering),
        _reading(design, lettering),
    ]
    # No run is lettered here, so no room between runs is asked for.
    arrangement = arrange(design.site.bed.outline.bounds, np.inf, blocks, design.site.frame.units)
    view = arrangement.view
    placed, _ = flow(blocks, arrangement.columns)
    paper, scale = arrangement.paper, arrangement.scale
    marks = title_block(
        design.site, paper, scale, view, lettering, sheet=(1, 1), subject="ground dosed by each emitter"
    )
    marks += heading(design, view, scale, lettering, "", what="Coverage")
    said = [mark for part in placed for mark in draw(part, layers.LEGEND)]
    swatches = [mark.shape for mark in said if isinstance(mark, Area)]
    marks += said
    drawing = Drawing(
        title=lettering.clean(design.site.title),
        frame=design.site.frame,
        paper=paper,
        scale=scale,
        plan=tuple(_over_colours(field_marks(design, view), design.site.runs.spacing / view.metres_per_inch)),
        sheets=(Sheet(name="Coverage", marks=tuple(marks), view=view),),
    )
    return drawing, swatches


# --- words and figures -----------------------------------------------------------------------------------


def legend(rates: Rates, figures: Figures) -> Block:
    """List the classes, the most water first: rate, loading a day where known, share of the ground."""
    units = figures.units
    hourly = rates.even / (units.emitter_flow / units.area)
    daily = rates.daily / units.loading if rates.daily is not None else None
    if daily is not None and min(hourly, daily) < _TWO_COLUMNS:
        daily = None
    titles: Titles = (
        ("times even", 0.72, "left"),
        (f"{units.emitter_flow_name}/{units.area_name}", 2.36 if daily is not None else 2.8, "right"),
        (units.loading_name if daily is not None else "", 3.24, "right"),
        ("ground", COLUMN, "right"),
    )
    rows = []
    for one in reversed(range(len(RAMP))):
        texts = (
            _between(one, 1.0),
            _between(one, hourly),
            _between(one, daily) if daily is not None else "",
            figures.share(float(rates.shares[one])),
        )
        cells = [Cell(text=text, x=x, align=align) for text, (_, x, align) in zip(texts, titles, strict=True)]
        rows.append(Row(cells=tuple(cells), sample=Sample(layer=layers.LEGEND, swatch=True), space=0.03))
    head = Row(cells=tuple(Cell(text=text, x=x, align=align, strong=True) for text, x, align in titles))
    return Block(heading="Water the ground takes while dosing", titles=head, rows=tuple(rows))


def _between(one: int, factor: float) -> str:
    """The limits of a class, in times the even rate or as rates."""
    bounds = [_three(factor * limit, factor) for limit in BREAKS]
    if one == 0:
        return f"under {bounds[0]}"
    if one == len(BREAKS):
        return f"over {bounds[-1]}"
    return f"{bounds[one - 1]} to {bounds[one]}"


def _three(value: float, like: float) -> str:
    """Print a figure with as many decimals as show three figures of another, two where it is under a tenth."""
    return plain(value, max((2 if like >= 0.1 else 1) - math.floor(math.log10(like)), 0))


def _figures(design: Design, rates: Rates, figures: Figures, lettering: Lettering) -> Block:
    units, totals = figures.units, design.totals
    known = rates.relative[np.isfinite(rates.relative)]
    rate = f"{units.emitter_flow_name}/{units.area_name}"
    even = rates.even / (units.emitter_flow / units.area)
    items = [
        ("Even rate: one emitter on run spacing by emitter spacing", f"{_three(even, even)} {rate}"),
        ("Emitters", plain(totals.emitters, 0)),
        ("Least and most, times even", f"{known.min():.2f} to {known.max():.2f}"),
    ]
    if totals.cell_mean is not None and totals.cell_cv is not None:
        mean = totals.cell_mean / units.area
        items.append(("Mean ground of an inner emitter", f"{_three(mean, mean)} {units.area_name}"))
        items.append(("Coefficient of variation of the same", f"{totals.cell_cv:.3f}"))
    if design.site.design.flow is not None:
        items.append(("Design flow, as stated", figures.daily_of(design.site.design.flow)))
    if rates.over is not None and design.site.design.loading is not None:
        stated = figures.loading_of(design.site.design.loading)
        items.append((f"Ground that takes over {stated} at that flow", figures.share(rates.over)))
    return pairs("Figures", items, lettering)


def _reading(design: Design, lettering: Lettering) -> Block:
    texts = [
        "Each cell is the ground nearer to one emitter than to any other, inside the bed and no farther than "
        "half a run spacing beyond usable ground. Its colour is the emitter's flow over its area: light is "
        "little water, dark is much.",
        "Geometry only: all emitters give their stated flow, and how water spreads in the soil is not worked "
        "out. Inner emitters stand farther than one run spacing from the bed's edge.",
        "Black lines are runs; all other lines as on the plan sheet.",
    ]
    if design.site.design.flow is not None:
        texts.insert(2, "Loading a day: the design flow, shared by all emitters alike.")
    return paragraphs("How to read it", texts, lettering)


# --- marks and colours -----------------------------------------------------------------------------------


def _over_colours(marks: Sequence[Mark], apart: float) -> list[Mark]:
    """Draw runs black on a white line, to be seen on every colour; leave out the tint of usable ground.

    Runs that stand closer on paper, `apart` [in], have thinner lines.
    """
    weight, casing = next(pair for least, *pair in _RUN_WEIGHTS if apart >= least)
    black, white = Pen(weight=weight), Pen(weight=casing, colour=Colour.WHITE)
    runs = [mark for mark in marks if isinstance(mark, Line) and mark.layer is layers.RUN]
    made: list[Mark] = [replace(mark, pen=white) for mark in runs]
    for mark in marks:
        if isinstance(mark, Line) and mark.layer is layers.RUN:
            made.append(replace(mark, pen=black))
        elif isinstance(mark, Area) and mark.layer is layers.USABLE:
            made.append(replace(mark, fill=None))
        elif not isinstance(mark, Dots):
            made.append(mark)
    return made


def _tint(figure: Figure, view: View, cells: Cells, rates: Rates) -> None:
    """Fill the cells; outline them where they are large enough on paper."""
    parts: list[Array] = []
    colours: list[str] = []
    holes: list[Array] = []
    for shape, one in zip(cells.shapes, rates.classes, strict=True):
        for part in polygons_of(shape):
            parts.append(view.to_paper(coordinates(part.exterior)))
            colours.append(RAMP[one])
            # Where a small setback stands in one cell, it is no ground of any other.
            holes += [view.to_paper(coordinates(ring)) for ring in part.interiors]
    across = float(np.median(np.sqrt(np.asarray(cells.areas)))) / view.metres_per_inch
    _fill(figure, parts, colours)
    if across >= _OUTLINED:
        _fill(figure, parts, ["none"] * len(parts), edge="#ffffff", width=_THIN)
    _fill(figure, holes, ["#ffffff"] * len(holes))


def _fill(
    figure: Figure,
    shapes: Sequence[Array],
    colours: Sequence[str],
    *,
    edge: str | None = None,
    width: float = _SEAM,
) -> None:
    from matplotlib.collections import PolyCollection

    filled = PolyCollection(
        list(shapes),
        facecolors=list(colours),
        edgecolors=[edge] if edge else list(colours),
        linewidths=width,
        zorder=_UNDER_LINES,
    )
    filled.set_transform(figure.dpi_scale_trans)
    figure.add_artist(filled)
