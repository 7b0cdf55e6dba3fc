"""Title block, north arrow, bar scale, borders and the plan's heading."""

from __future__ import annotations

import math

from shapely import LineString, box

from layout.model import Design
from layout.sheets import layers
from layout.sheets.arrange import MARGIN, TITLE_HEIGHT
from layout.sheets.blocks import COLUMN, GUTTER
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Line, Mark, Paper, Pen, Symbol, Text, View
from layout.sheets.tables import NOT_A_PERMIT

_THIN = Pen(weight=0.18)
_SCALE_ROW = 0.82
_LONGEST_BAR = 2.6


def title_block(
    design: Design,
    paper: Paper,
    scale: str,
    view: View | None,
    lettering: Lettering,
    *,
    sheet: tuple[int, int],
    subject: str = "layout of runs",
) -> list[Mark]:
    """Draw border and title block of one sheet, `sheet` being its number and how many there are."""
    right, bottom = paper.width - MARGIN, MARGIN
    left = right - COLUMN - GUTTER
    top = bottom + TITLE_HEIGHT
    marks: list[Mark] = [
        Area(
            layer=layers.TITLE, shape=box(MARGIN, MARGIN, right, paper.height - MARGIN), pen=Pen(weight=0.7)
        ),
        Area(layer=layers.TITLE, shape=box(left, bottom, right, top)),
    ]
    marks.append(Line(layer=layers.TITLE, line=_level(left, top - _SCALE_ROW), pen=_THIN))
    if view is not None:
        marks += _scale_row(view, left, top, design)
    marks += _names(design, lettering, left, top - _SCALE_ROW, subject)
    marks += _fields(design, paper, scale, lettering, left, bottom, sheet)
    return marks


def _scale_row(view: View, left: float, top: float, design: Design) -> list[Mark]:
    """Draw north arrow and bar scale."""
    unit = design.site.frame.units
    per_inch = view.metres_per_inch / unit.length
    step = _bar_step(per_inch)
    start, y = left + 1.15, top - 0.38
    width = step / per_inch
    grid = "grid north" if design.site.frame.crs else "plan north"
    marks: list[Mark] = [
        Symbol(layer=layers.TITLE, name="north", at=(left + 0.5, top - 0.34), size=0.42),
        Text(layer=layers.TITLE, text=grid, at=(left + 0.5, top - 0.74), height=0.08, align="centre"),
        Text(
            layer=layers.TITLE,
            text="N",
            at=(left + 0.5, top - 0.105),
            height=0.08,
            align="centre",
            strong=True,
        ),
    ]
    for index in range(4):
        bar = box(start + index * width / 2, y, start + (index + 1) * width / 2, y + 0.07)
        fill = Colour.BLACK if index % 2 == 0 else Colour.WHITE
        marks.append(Area(layer=layers.TITLE, shape=bar, fill=fill, pen=_THIN))
    for index in range(3):
        name = f"{index * step:g}" + (f" {unit.length_name}" if index == 2 else "")
        at = (start + index * width, y + 0.12)
        marks.append(Text(layer=layers.TITLE, text=name, at=at, height=0.08, align="centre"))
    note = f"bar: {2 * step:g} {unit.length_name}; on a reduced print, use the bar"
    marks.append(Text(layer=layers.TITLE, text=note, at=(start, y - 0.17), height=0.08))
    return marks


def _bar_step(per_inch: float) -> float:
    """Find half the bar: 1, 2 or 5 times a power of ten, as long as there is room."""
    most = per_inch * _LONGEST_BAR / 2
    power = 10.0 ** math.floor(math.log10(most))
    return max(factor * power for factor in (1, 2, 5) if factor * power <= most)


def _names(design: Design, lettering: Lettering, left: float, top: float, subject: str) -> list[Mark]:
    """Letter title and subject."""
    title = lettering.clean(design.site.title) or "Untitled"
    room = COLUMN + GUTTER - 0.2
    height, most = 0.13, 2
    lines = lettering.wrapped(title, height, room, strong=True)
    if len(lines) > most:
        height, most = 0.09, 3
        lines = lettering.wrapped(title, height, room, strong=True)
    if len(lines) > most:
        rest = " ".join(lines[most - 1 :])
        lines = [*lines[: most - 1], lettering.fitted(rest, height, room, strong=True)]
    marks: list[Mark] = [
        Text(
            layer=layers.TITLE,
            text=line,
            at=(left + 0.1, top - 0.06 - 1.25 * height - 1.5 * height * index),
            height=height,
            strong=True,
        )
        for index, line in enumerate(lines)
    ]
    marks.append(
        Text(
            layer=layers.TITLE,
            text=f"Drip dispersal bed: {subject}, pattern {design.laying.pattern.value}",
            at=(left + 0.1, top - 0.63),
            height=0.08,
        )
    )
    return marks


def _fields(
    design: Design,
    paper: Paper,
    scale: str,
    lettering: Lettering,
    left: float,
    bottom: float,
    sheet: tuple[int, int],
) -> list[Mark]:
    """Letter scale, size, coordinates, and lines to be filled in by hand."""
    frame = design.site.frame
    unit = {"ft": "international ft", "us-ft": "US survey ft", "m": "m"}[frame.units.word]
    grid = lettering.fitted(lettering.clean(frame.plane or frame.crs or "plan grid"), 0.08, 1.7)
    rows = (
        (f"Scale {scale}, {paper.name}", f"Sheet {sheet[0]} of {sheet[1]}"),
        (f"Grid: {grid}, {unit}", ""),
        ("Prepared by", "Date"),
        ("Licence and seal", "Checked"),
    )
    middle = left + 2.55
    marks: list[Mark] = []
    y = bottom + 0.36 + 0.23 * len(rows)
    marks.append(Line(layer=layers.TITLE, line=_level(left, y), pen=_THIN))
    for first, second in rows:
        marks.append(Text(layer=layers.TITLE, text=first, at=(left + 0.1, y - 0.15), height=0.08))
        if second:
            marks.append(Text(layer=layers.TITLE, text=second, at=(middle + 0.08, y - 0.15), height=0.08))
            upright = LineString([(middle, y), (middle, y - 0.23)])
            marks.append(Line(layer=layers.TITLE, line=upright, pen=_THIN))
        y -= 0.23
        marks.append(Line(layer=layers.TITLE, line=_level(left, y), pen=_THIN))
    said = lettering.wrapped(NOT_A_PERMIT, 0.08, COLUMN, strong=True)
    marks.extend(
        Text(layer=layers.TITLE, text=text, at=(left + 0.1, y - 0.14 * (index + 1)), height=0.08, strong=True)
        for index, text in enumerate(said)
    )
    return marks


def _level(left: float, y: float) -> LineString:
    return LineString([(left, y), (left + COLUMN + GUTTER, y)])


def heading(
    design: Design, view: View, scale: str, lettering: Lettering, note: str, *, what: str = "Plan"
) -> list[Mark]:
    """Draw the window's frame, and under it the plan's heading with what found no room for a label."""
    left, bottom, right, _ = view.window
    failed = sum(not check.ok for check in design.checks)
    verdict = (
        "all design checks are ok" if not failed else f"{failed} of {len(design.checks)} design checks FAIL"
    )
    name = f"{what}    {scale}"
    marks: list[Mark] = [
        Area(layer=layers.TITLE, shape=box(*view.window)),
        Text(layer=layers.TITLE, text=name, at=(left + 0.1, bottom - 0.18), height=0.11, strong=True),
        Text(
            layer=layers.TITLE,
            text=verdict,
            at=(right - 0.1, bottom - 0.18),
            height=0.08,
            align="right",
            strong=bool(failed),
        ),
    ]
    if note:
        text = lettering.fitted(note, 0.08, right - left - 0.2)
        marks.append(Text(layer=layers.TITLE, text=text, at=(left + 0.1, bottom - 0.35), height=0.08))
    return marks
