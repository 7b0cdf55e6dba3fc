"""The as-built drawing: the plan thin, what was laid thick, what is off marked, with the figures of every run."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely import LineString, Point

from layout.model import AsBuilt, FeatureKind
from layout.plane import coordinates
from layout.sheets import layers
from layout.sheets.arrange import Arrangement, arrange, further_columns
from layout.sheets.asbuilt import check_rows, run_rows, total_rows
from layout.sheets.blocks import COLUMN, GUTTER, Block, Sample, Titles, draw, flow, pairs, paragraphs, table
from layout.sheets.crew.picture import Taken
from layout.sheets.fieldmarks import bounds, core_shapes, field_marks
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Dash, Drawing, Layer, Line, Mark, Pen, Sheet, Symbol, Text, View
from layout.sheets.pages import Page, bind, over_title
from layout.sheets.tables import legend
from layout.sheets.tiling import MATCH, key_height, key_plan, match_lines, matches

PLANNED = Layer(name="C-SSWR-PLAN-N", description="run as planned", pen=Pen(weight=0.18, colour=Colour.BLUE))
LAID = Layer(name="C-SSWR-LAID-N", description="run as laid", pen=Pen(weight=0.7))
NOT_MEASURED = Layer(name="C-SSWR-MISS-N", description="run not found", pen=Pen(weight=0.35, dash=Dash.SHORT))
WORST = Layer(name="C-SSWR-WRST-N", description="greatest offset of a run that is off", pen=Pen(weight=0.35))
ASTRAY = Layer(name="C-SSWR-STRY-N", description="measured point on nothing planned", pen=Pen(weight=0.35))
PIPES = Layer(
    name="C-SSWR-PIPE-N", description="pipe, loop as planned", pen=Pen(weight=0.18, colour=Colour.GREY)
)
_KEPT = frozenset({layers.BED.name, layers.SETBACK.name, *(item.name for item in layers.FEATURES.values())})
_MARK = 0.16


def asbuilt_drawing(found: AsBuilt) -> Drawing:
    """Draw a field as laid, in sheets like those of the plan."""
    design, lettering = found.design, Lettering()
    figures = Figures(design.site.frame.units)
    blocks = _blocks(found, figures, lettering)
    arrangement = arrange(
        bounds(design),
        design.site.runs.spacing,
        blocks,
        design.site.frame.units,
        stated=design.site.sheet,
        shapes=core_shapes(design),
    )
    field = _field(found, arrangement.view)
    return Drawing(
        title=lettering.clean(design.site.title),
        frame=design.site.frame,
        paper=arrangement.paper,
        scale=arrangement.scale,
        plan=tuple(field),
        sheets=_sheets(found, arrangement, blocks, figures, lettering),
    )


# --- the field ------------------------------------------------------------------------------------------


def _field(found: AsBuilt, view: View) -> list[Mark]:
    """Bed, features and setbacks as in the plan; pipes and loops quiet; every run thin, and thick as laid."""
    design = found.design
    plan = [mark for mark in field_marks(design, view) if mark.layer.name in _KEPT]
    plumbing = design.plumbing
    pipes = [pipe.line for pipe in (*plumbing.manifolds, *plumbing.lines)]
    pipes += [riser.line for riser in plumbing.risers] + [join.line for join in design.joins]
    plan += [Line(layer=PIPES, line=line) for line in pipes]
    for run, laid in zip(design.laying.runs, found.runs, strict=True):
        if laid.line is None:
            plan.append(Line(layer=NOT_MEASURED, line=run.line))
            continue
        plan.append(Line(layer=LAID, line=laid.line))
        plan.append(Line(layer=PLANNED, line=run.line))
        if laid.offset_greatest > found.within and laid.greatest_at is not None:
            plan.append(Symbol(layer=WORST, name="balloon", at=laid.greatest_at, size=_MARK))
    plan += [
        Symbol(layer=ASTRAY, name=FeatureKind.OTHER.value, at=item.shot.at, size=_MARK / 2)
        for item in found.astray
    ]
    return plan


def _labels(found: AsBuilt, view: View, figures: Figures, lettering: Lettering) -> list[Mark]:
    """The name of each run at its manifold end, on paper; of one that is off its greatest offset beside the place."""
    taken = Taken(view, lettering, [])
    marks: list[Mark] = []
    window = shapely.box(*view.window)
    taken.keep_off(
        [
            shapely.transform(item.line or run.line, view.to_paper)
            for item, run in zip(found.runs, found.design.laying.runs, strict=True)
        ]
    )
    for item, run in zip(found.runs, found.design.laying.runs, strict=True):
        if item.line is not None and item.offset_greatest > found.within and item.greatest_at is not None:
            at = view.to_paper([item.greatest_at])[0]
            text = f"{item.run} off {figures.length(item.offset_greatest)}"
            ways = tuple(math.pi * step / 6 for step in range(12))
            if window.contains(Point(at)):
                marks += _beside(taken, text, at, ways)
        line = view.to_paper(coordinates(item.line or run.line))
        for tip, inner in ((line[0], line[1]), (line[-1], line[-2])):
            named = window.contains(Point(tip)) and taken.place(
                item.run, tip, (math.atan2(*(tip - inner)[::-1]),)
            )
            if named:  # at the other end only where there is no room at the manifold
                marks += named
                break
    return marks


def _beside(taken: Taken, text: str, at: np.ndarray, ways: Sequence[float]) -> list[Mark]:
    """A level label with a leader, the nearest place round a point where there is room."""
    for reach in (0.3, 0.5, 0.8, 1.2, 1.8):
        for angle in ways:
            tip = at + reach * np.array([math.cos(angle), math.sin(angle)])
            mark = Text(
                layer=layers.LABEL,
                text=text,
                at=(float(tip[0]), float(tip[1]) - 0.05),
                height=0.1,
                align="left" if math.cos(angle) >= 0 else "right",
                strong=True,
                mask=True,
            )
            shape = taken.lettering.box(mark).buffer(0.02)
            if taken.are_free(np.array([shape], dtype=object))[0]:
                taken.boxes.claim(shape)
                leader = Line(layer=layers.LEADER, line=LineString([at, tip]))
                return [leader, mark]
    return []


# --- the tables ------------------------------------------------------------------------------------------


def _blocks(found: AsBuilt, figures: Figures, lettering: Lettering) -> list[Block]:
    units = found.design.site.frame.units
    totals = [
        (name, f"{planned} planned, {laid} laid" if planned else laid)
        for name, planned, laid in total_rows(found)
    ]
    checks = [
        (f"{verdict}: {name}", f"{value}{f', {limit}' if limit else ''}")
        for verdict, name, value, limit, _, _ in check_rows(found)
    ]
    blocks = [
        legend(
            [
                (Sample(layer=layer), layer.description)
                for layer in (layers.BED, PLANNED, LAID, NOT_MEASURED, PIPES, layers.SETBACK)
            ]
        ),
        pairs("As laid", [("may be off by", figures.length_of(found.within)), *totals], lettering),
        pairs("Checks of what was laid", checks, lettering),
        _run_table(found, lettering, units.length_name),
    ]
    said = [item.words for item in found.findings]
    if said:
        blocks.append(paragraphs("To be looked at", said, lettering, numbered=True))
    blocks.append(
        paragraphs(
            "How it was measured",
            [
                f"What was laid may be off by {figures.length_of(found.within)}: {found.source}.",
                "Between two measured points a run is taken to bend as planned, moved by what both points are off.",
                "Offsets are square to the planned run; ends are beyond (+) the planned ones or short of them (-).",
                "Lengths are horizontal. Local code and the authority decide whether what was laid may stay.",
            ],
            lettering,
        )
    )
    return blocks


_TITLES: Titles = (
    ("run", 0.0, "left"),
    ("planned", 0.8, "right"),
    ("laid", 1.25, "right"),
    ("offset", 1.65, "right"),
    ("mean", 2.05, "right"),
    ("start", 2.47, "right"),
    ("end", 2.89, "right"),
    ("gap", 3.24, "right"),
    ("", COLUMN, "right"),
)
_SHORT = {"as planned": "ok", "off": "OFF", "partly measured": "PARTLY", "not found": "NONE"}


def _run_table(found: AsBuilt, lettering: Lettering, unit: str) -> Block:
    rows = [(*row[:8], _SHORT[row[-1]]) for row in run_rows(found)]
    return table(f"Runs as laid, {unit}", _TITLES, rows, lettering, wrap={})


# --- the sheets ------------------------------------------------------------------------------------------


def _sheets(
    found: AsBuilt,
    arrangement: Arrangement,
    blocks: Sequence[Block],
    figures: Figures,
    lettering: Lettering,
) -> tuple[Sheet, ...]:
    """The plan in as many sheets as it takes, then the tables that found no room."""
    design, views = found.design, arrangement.views
    pages: list[Page] = []
    later = list(blocks)
    for index, view in enumerate(views):
        placed, later = flow(later, arrangement.columns)
        marks = [mark for part in placed for mark in draw(part, layers.TABLE)]
        marks += [
            *_heading(found, view, arrangement.scale, several=len(views) > 1),
            *_labels(found, view, figures, lettering),
        ]
        if len(views) > 1:
            marks += match_lines(view, matches(views, index, core_shapes(design)), lettering)
            left, bottom, _, _ = over_title(arrangement.paper)
            place = (left + GUTTER / 2, bottom, key_height(arrangement.paper))
            marks += key_plan(design.site.bed.outline, views, index, place, lettering)
        subject = "as laid" + (f", part {index + 1} of {len(views)}" if len(views) > 1 else "")
        pages.append(
            Page(
                name=f"As built {index + 1}",
                subject=subject,
                marks=tuple(marks),
                view=view,
                scale=arrangement.scale,
            )
        )
    while later:
        placed, later = flow(later, further_columns(arrangement.paper))
        marks = [mark for part in placed for mark in draw(part, layers.TABLE)]
        pages.append(Page(name=f"As built {len(pages) + 1}", subject="figures as laid", marks=tuple(marks)))
    return bind(design.site, arrangement.paper, pages, lettering)


def _heading(found: AsBuilt, view: View, scale: str, *, several: bool) -> Iterator[Mark]:
    """The frame of the window, and what it shows, with the verdict."""
    left, bottom, right, _ = view.window
    bottom -= MATCH if several else 0.0
    failed = sum(not check.ok for check in found.checks)
    verdict = (
        f"{failed} of {len(found.checks)} checks of what was laid FAIL"
        if failed
        else "all checks of what was laid are ok"
    )
    yield Area(layer=layers.TITLE, shape=shapely.box(*view.window))
    at = bottom - 0.18
    yield Text(layer=layers.TITLE, text=f"As built    {scale}", at=(left + 0.1, at), height=0.11, strong=True)
    yield Text(
        layer=layers.TITLE,
        text=verdict,
        at=(right - 0.1, at),
        height=0.08,
        align="right",
        strong=bool(failed),
    )
