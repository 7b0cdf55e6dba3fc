"""From a finished design to its drawing: the sheet, the plan's marks and lettering, the tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from layout.model import Design
from layout.sheets import layers, tables
from layout.sheets.arrange import Arrangement, arrange, further_columns
from layout.sheets.blocks import Block, Sample, draw, flow
from layout.sheets.fieldmarks import bounds, field_marks, seen_features, visible
from layout.sheets.figures import Figures
from layout.sheets.labels import label_marks
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Dots, Drawing, Line, Mark, Symbol, Text, View
from layout.sheets.pages import Page, bind
from layout.sheets.tables import LEGEND
from layout.sheets.titleblock import heading


def draft(design: Design) -> Drawing:
    """Draw a finished field.

    Parameters
    ----------
    design : Design

    Returns
    -------
    Drawing
        The plan in the local plane, the first sheet with a view of it and all tables that fit, and further
        sheets for those that do not.
    """
    figures, lettering = Figures(design.site.frame.units), Lettering()
    limits = bounds(design)
    every = frozenset(item.name for item in design.site.features)
    # The blocks do not change in size when features turn out to lie beyond the window.
    guess = _all_blocks(design, figures, lettering, _legend_guess(design), every)
    arrangement = arrange(limits, design.site.runs.spacing, guess, design.site.frame.units)
    view = arrangement.view
    plan = field_marks(design, view)
    labels, unlabelled = label_marks(design, view, plan, figures, lettering)
    plan += labels
    shown = _legend([mark for mark in plan if visible(mark, view)])
    legend = replace(shown, least=guess[0].height)
    found = _all_blocks(design, figures, lettering, legend, seen_features(design, view))
    pages = _pages(design, arrangement, found, lettering, unlabelled)
    return Drawing(
        title=lettering.clean(design.site.title),
        frame=design.site.frame,
        paper=arrangement.paper,
        scale=arrangement.scale,
        plan=tuple(plan),
        sheets=bind(design.site, arrangement.paper, pages, lettering),
        unlabelled=unlabelled,
    )


def _all_blocks(
    design: Design, figures: Figures, lettering: Lettering, legend: Block, seen: frozenset[str]
) -> list[Block]:
    return [legend, *tables.blocks(design, figures, lettering, seen=seen)]


# --- legend ---------------------------------------------------------------------------------------------


def _legend_guess(design: Design) -> Block:
    """Make the legend as if everything in the design were seen: as tall as it can become."""
    view = View(window=(0.0, 0.0, 1e6, 1e6), centre=(0.0, 0.0), metres_per_inch=1e-3)
    marks = field_marks(design, view)
    arrow = Symbol(layer=layers.FLOW, name="arrow", at=(0.0, 0.0), size=0.1)
    dots = Dots(layer=layers.EMITTER, points=((0.0, 0.0),), size=0.1)
    return _legend([*marks, arrow, dots])


def _legend(marks: Sequence[Mark]) -> Block:
    """One row for each look that the marks have, in the order of the layers."""
    shown: dict[tuple[str, str], tuple[Sample, str]] = {}
    for mark in marks:
        if isinstance(mark, Text) or mark.layer in {layers.LEADER, layers.LABEL}:
            continue
        symbol = mark.name if isinstance(mark, Symbol) else "dot" if isinstance(mark, Dots) else ""
        fill = mark.fill if isinstance(mark, Area) and mark.fill is not Colour.WHITE else None
        if isinstance(mark, Line) and mark.pen is not None:
            continue
        key = (mark.layer.name, symbol)
        swatch = isinstance(mark, Area) and mark.layer is not layers.BED
        sample = Sample(layer=mark.layer, symbol=symbol, swatch=swatch, fill=fill)
        shown.setdefault(key, (sample, mark.layer.description))
    order = {layer.name: index for index, layer in enumerate(layers.ALL)}
    return tables.legend([shown[key] for key in sorted(shown, key=lambda key: (order[key[0]], key[1]))])


# --- sheets ---------------------------------------------------------------------------------------------


def _pages(
    design: Design,
    arrangement: Arrangement,
    blocks: Sequence[Block],
    lettering: Lettering,
    unlabelled: Sequence[str],
) -> list[Page]:
    """Make the first sheet with the plan, then as many as the rest of the tables needs."""
    placed, later = flow(blocks, arrangement.columns)
    pages = [placed]
    while later:
        placed, later = flow(later, further_columns(arrangement.paper))
        pages.append(placed)
    made = []
    for number, page in enumerate(pages, start=1):
        view = arrangement.view if number == 1 else None
        marks: list[Mark] = []
        if view is not None:
            note = _note(unlabelled, further=len(pages) - 1)
            marks += heading(design, view, arrangement.scale, lettering, note)
        for part in page:
            layer = layers.LEGEND if part.block.heading == LEGEND else layers.TABLE
            marks += draw(part, layer)
        made.append(
            Page(
                name="Plan" if number == 1 else f"Tables {number}",
                subject=f"layout of runs, pattern {design.laying.pattern.value}"
                if view
                else "schedules and notes",
                marks=tuple(marks),
                view=view,
                scale=arrangement.scale if view else "",
            )
        )
    return made


def _note(unlabelled: Sequence[str], *, further: int) -> str:
    """Say what is not lettered, and where the schedules go on."""
    said = []
    if further:
        said.append(
            f"Schedules go on on sheet {'2' if further == 1 else f'2 to {1 + further}'} (plan.pdf, plan.dxf)."
        )
    if unlabelled:
        said.append(f"Not lettered for want of room, see the schedules: {', '.join(unlabelled)}.")
    return " ".join(said)
