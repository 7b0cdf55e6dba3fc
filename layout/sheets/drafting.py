"""From a finished design to its drawing: the sheet, the plan's marks and lettering, the tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from layout.model import Design, FeatureKind
from layout.sheets import layers, tables
from layout.sheets.arcs import FIT
from layout.sheets.arrange import Arrangement, arrange, further_columns
from layout.sheets.blocks import GUTTER, Block, Placed, Sample, draw, flow
from layout.sheets.cadmarks import cad_marks
from layout.sheets.details import detail_pages
from layout.sheets.fieldmarks import bounds, core_shapes, field_marks, seen_features
from layout.sheets.figures import Figures
from layout.sheets.labels import label_marks
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Dots, Drawing, Line, Mark, Symbol, Text, View
from layout.sheets.pages import Page, bind, over_title
from layout.sheets.plandimensions import Dimensions, plan_dimensions
from layout.sheets.seen import visible
from layout.sheets.tables import LEGEND
from layout.sheets.tiling import MATCH, key_height, key_plan, match_lines, matches
from layout.sheets.titleblock import heading


def draft(design: Design) -> Drawing:
    """Draw a finished field.

    Parameters
    ----------
    design : Design

    Returns
    -------
    Drawing
        The plan in the local plane, the sheets with a view of it each and all tables that fit, and further
        sheets for those that do not.
    """
    figures, lettering = Figures(design.site.frame.units), Lettering()
    every = frozenset(item.name for item in design.site.features)
    # The blocks do not change in size when features turn out to lie beyond the window.
    guess = _legend_guess(design)
    arrangement = arrange(
        bounds(design),
        design.site.runs.spacing,
        [guess, *tables.blocks(design, figures, lettering, seen=every)],
        design.site.frame.units,
        stated=design.site.sheet,
        shapes=core_shapes(design),
    )
    views = arrangement.views
    field = field_marks(design, arrangement.view)
    measured = _dimensions(design, views, field, figures, lettering)
    lettered = [
        label_marks(
            design,
            view,
            (*field, *found.marks),
            figures,
            lettering,
            several=len(views) > 1,
            dimensioned=frozenset(name for other in measured for name in other.setbacks),
        )
        for view, found in zip(views, measured, strict=True)
    ]
    legends = [
        _legend([mark for mark in (*field, *marks) if visible(mark, view)])
        for view, (marks, _) in zip(views, lettered, strict=True)
    ]
    if len(views) == 1:
        legends[0] = replace(legends[0], least=guess.height)
    seen = frozenset(name for view in views for name in seen_features(design, view))
    rest = tables.blocks(design, figures, lettering, seen=seen)
    pages = _pages(design, arrangement, legends, rest, lettering, [unplaced for _, unplaced in lettered])
    pages += detail_pages(design, arrangement.paper, figures, lettering, plan=arrangement.view, seen=seen)
    return Drawing(
        title=lettering.clean(design.site.title),
        frame=design.site.frame,
        paper=arrangement.paper,
        scale=arrangement.scale,
        plan=(
            *field,
            *(mark for found in measured for mark in found.marks),
            *(mark for marks, _ in lettered for mark in marks),
        ),
        sheets=bind(design.site, arrangement.paper, pages, lettering),
        unlabelled=tuple(dict.fromkeys(name for _, unplaced in lettered for name in unplaced)),
        fit=FIT * design.site.runs.spacing,
        dimensions=tuple(item for found in measured for item in found.items),
        extra=tuple(cad_marks(design, arrangement.view.metres_per_inch)),
    )


def _dimensions(
    design: Design, views: Sequence[View], field: Sequence[Mark], figures: Figures, lettering: Lettering
) -> list[Dimensions]:
    """Dimension what each view shows, a setback once in the set."""
    found: list[Dimensions] = []
    for view in views:
        done = frozenset(name for other in found for name in other.setbacks)
        found.append(
            plan_dimensions(design, view, field, figures, lettering, done=done, first=view is views[0])
        )
    return found


# --- legend ---------------------------------------------------------------------------------------------


def _legend_guess(design: Design) -> Block:
    """Make the legend as if everything in the design were seen: as tall as it can become."""
    view = View(window=(0.0, 0.0, 1e6, 1e6), centre=(0.0, 0.0), metres_per_inch=1e-3)
    marks = field_marks(design, view)
    arrow = Symbol(layer=layers.FLOW, name="arrow", at=(0.0, 0.0), size=0.1)
    dots = Dots(layer=layers.EMITTER, points=((0.0, 0.0),), size=0.1)
    cross = Symbol(layer=layers.GRID, name="grid cross", at=(0.0, 0.0), size=0.1)
    levels = design.site.bed.levels
    if levels is not None and levels.points:
        marks.append(Symbol(layer=layers.SPOT, name="level", at=(0.0, 0.0), size=0.1))
    return _legend([*marks, arrow, dots, cross])


def _legend(marks: Sequence[Mark]) -> Block:
    """One row for each look that the marks have, in the order of the layers."""
    shown: dict[tuple[str, str], tuple[Sample, str]] = {}
    for mark in marks:
        if isinstance(mark, Text) or mark.layer in {layers.LEADER, layers.LABEL, layers.DIMENSION}:
            continue
        symbol = mark.name if isinstance(mark, Symbol) else "dot" if isinstance(mark, Dots) else ""
        fill = mark.fill if isinstance(mark, Area) and mark.fill is not Colour.WHITE else None
        # the ticks of the grid stand beside its crosses, which tell of both
        if isinstance(mark, Line) and (mark.pen is not None or mark.layer is layers.GRID):
            continue
        key = (mark.layer.name, symbol)
        swatch = isinstance(mark, Area) and mark.layer is not layers.BED
        hatched = mark.layer is layers.FEATURES[FeatureKind.BUILDING]
        sample = Sample(layer=mark.layer, symbol=symbol, swatch=swatch, fill=fill, hatched=hatched)
        shown.setdefault(key, (sample, mark.layer.description))
    order = {layer.name: index for index, layer in enumerate(layers.ALL)}
    return tables.legend([shown[key] for key in sorted(shown, key=lambda key: (order[key[0]], key[1]))])


# --- sheets ---------------------------------------------------------------------------------------------


def _pages(
    design: Design,
    arrangement: Arrangement,
    legends: Sequence[Block],
    blocks: Sequence[Block],
    lettering: Lettering,
    unlabelled: Sequence[Sequence[str]],
) -> list[Page]:
    """Make the sheets of the plan, then as many as the rest of the tables needs."""
    settings: list[list[Placed]] = []
    later = list(blocks)
    for legend in legends:
        placed, later = flow([legend, *later], arrangement.columns)
        settings.append(placed)
    count = len(settings)
    while later:
        placed, later = flow(later, further_columns(arrangement.paper))
        settings.append(placed)
    pages = []
    for index, placed in enumerate(settings):
        tabled = [mark for part in placed for mark in _drawn(part)]
        if index < count:
            note = _note(unlabelled[index], first=count + 1, last=len(settings) if index == 0 else 0)
            pages.append(_plan_page(design, arrangement, index, note, tabled, lettering))
        else:
            name = f"Tables {index + 1}"
            pages.append(Page(name=name, subject="schedules and notes", marks=tuple(tabled)))
    return pages


def _drawn(part: Placed) -> list[Mark]:
    return draw(part, layers.LEGEND if part.block.heading == LEGEND else layers.TABLE)


def _plan_page(
    design: Design,
    arrangement: Arrangement,
    index: int,
    note: str,
    tabled: Sequence[Mark],
    lettering: Lettering,
) -> Page:
    """Make one sheet of the plan; of several, with match lines and a key plan."""
    views, paper = arrangement.views, arrangement.paper
    view, several = views[index], len(views) > 1
    marks = heading(design, view, arrangement.scale, lettering, note, drop=MATCH if several else 0.0)
    subject = f"layout of runs, pattern {design.laying.pattern.value}"
    if several:
        subject += f", part {index + 1} of {len(views)}"
        marks += match_lines(view, matches(views, index, core_shapes(design)), lettering)
        left, bottom, _, _ = over_title(paper)
        place = (left + GUTTER / 2, bottom, key_height(paper))
        marks += key_plan(design.site.bed.outline, views, index, place, lettering)
    return Page(
        name=f"Plan {index + 1}" if several else "Plan",
        subject=subject,
        marks=(*marks, *tabled),
        view=view,
        scale=arrangement.scale,
    )


def _note(unlabelled: Sequence[str], *, first: int, last: int) -> str:
    """Say what is not lettered, and where more of the schedules stand: on sheets `first` to `last`, if any."""
    said = []
    if last >= first:
        where = f"sheet {first}" if first == last else f"sheets {first} to {last}"
        said.append(f"Schedules: see {where} (plan.pdf, plan.dxf).")
    if unlabelled:
        said.append(f"Not lettered for want of room, see the schedules: {', '.join(unlabelled)}.")
    return " ".join(said)
