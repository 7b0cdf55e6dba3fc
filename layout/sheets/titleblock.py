"""Title block, north arrow, bar scale, borders and the plan's heading."""

from __future__ import annotations

import math

from shapely import LineString, box

from layout.checks import unchecked
from layout.model import Design, Site
from layout.sheets import layers
from layout.sheets.arrange import MARGIN, TITLE_HEIGHT
from layout.sheets.blocks import COLUMN, GUTTER
from layout.sheets.figures import spelt
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Line, Mark, Paper, Pen, Symbol, Text, View
from layout.sheets.tables import NOT_A_PERMIT

_THIN = Pen(weight=0.18)
_SCALE_ROW = 0.82
_LONGEST_BAR = 2.6
_ROW, _MIDDLE = 0.23, 2.4
DRAWINGS = "Drip dispersal bed"
"""The title of the drawings where the site states none."""


def title_block(
    site: Site,
    paper: Paper,
    scale: str,
    view: View | None,
    lettering: Lettering,
    *,
    sheet: tuple[int, int],
    subject: str,
) -> list[Mark]:
    """Draw border and title block of one sheet.

    Parameters
    ----------
    site : Site
    paper : Paper
    scale : str
        In words; empty on a sheet without a picture to scale.
    view : View or None
        What north arrow and bar scale are for.
    lettering : Lettering
    sheet : (int, int)
        Its number and how many there are.
    subject : str
        What the sheet shows: ``layout of runs``.
    """
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
        marks += _scale_row(view, left, top, site)
    marks += _names(site, lettering, left, top - _SCALE_ROW, subject)
    marks += _fields(site, paper, scale, lettering, left, bottom, sheet)
    return marks


def _scale_row(view: View, left: float, top: float, site: Site) -> list[Mark]:
    """Draw north arrow and bar scale."""
    unit = site.frame.units
    per_inch = view.metres_per_inch / unit.length
    step = _bar_step(per_inch)
    start, y = left + 1.15, top - 0.38
    width = step / per_inch
    grid = "grid north" if site.frame.crs else "plan north"
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


def _names(site: Site, lettering: Lettering, left: float, top: float, subject: str) -> list[Mark]:
    """Letter the title of the site, that of the drawings, and the subject of the sheet."""
    title = lettering.clean(site.title) or "Untitled"
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
    under = (lettering.clean(site.sheet.title) or DRAWINGS, subject[:1].upper() + subject[1:])
    for index, line in enumerate(under):
        at = (left + 0.1, top - 0.62 - 0.16 * index)
        text = lettering.fitted(line, 0.08, room)
        marks.append(Text(layer=layers.TITLE, text=text, at=at, height=0.08))
    return marks


def _fields(
    site: Site,
    paper: Paper,
    scale: str,
    lettering: Lettering,
    left: float,
    bottom: float,
    sheet: tuple[int, int],
) -> list[Mark]:
    """Letter scale, size, coordinates, and what the site file says of the sheet, or lines for it."""
    frame, stated = site.frame, site.sheet
    unit = {"ft": "international ft", "us-ft": "US survey ft", "m": "m"}[frame.units.word]
    grid = lettering.fitted(lettering.clean(frame.plane or frame.crs or "plan grid"), 0.08, 1.1)
    rows = (
        (
            f"Scale {scale}, {paper.name}" if scale else f"Sheet size {paper.name}",
            f"Sheet {sheet[0]} of {sheet[1]}",
        ),
        (f"Grid: {grid}, {unit}", f"Revision {stated.revision}"),
        (f"Drawn by {stated.drawn_by}", f"Date {stated.date}"),
        (f"Checked by {stated.checked_by}", "Date"),
        (f"{spelt('Licence', frame.units)} and seal", ""),
    )
    middle = left + _MIDDLE
    marks: list[Mark] = []
    y = bottom + 0.36 + _ROW * len(rows)
    marks.append(Line(layer=layers.TITLE, line=_level(left, y), pen=_THIN))
    rooms = (_MIDDLE - 0.2, COLUMN + GUTTER - _MIDDLE - 0.16)
    for first, second in rows:
        for words, start, room in ((first, left + 0.1, rooms[0]), (second, middle + 0.08, rooms[1])):
            if words:
                text = lettering.fitted(lettering.clean(words), 0.08, room)
                marks.append(Text(layer=layers.TITLE, text=text, at=(start, y - 0.15), height=0.08))
        if second:
            upright = LineString([(middle, y), (middle, y - _ROW)])
            marks.append(Line(layer=layers.TITLE, line=upright, pen=_THIN))
        y -= _ROW
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
    design: Design,
    view: View,
    scale: str,
    lettering: Lettering,
    note: str,
    *,
    what: str = "Plan",
    drop: float = 0.0,
) -> list[Mark]:
    """Draw the window's frame, and under it the plan's heading with what found no room for a label.

    The heading stands `drop` lower [in] where the window has lettering along its edges.
    """
    left, bottom, right, _ = view.window
    bottom -= drop
    failed = sum(not check.ok for check in design.checks)
    verdict = (
        "all design checks are ok" if not failed else f"{failed} of {len(design.checks)} design checks FAIL"
    )
    left_out = unchecked(design)
    if left_out:
        verdict += f"; not checked: {', '.join(left_out)}"
    name = f"{what}    {scale}"
    room = right - left - 0.5 - lettering.width(name, 0.11, strong=True)
    marks: list[Mark] = [
        Area(layer=layers.TITLE, shape=box(*view.window)),
        Text(layer=layers.TITLE, text=name, at=(left + 0.1, bottom - 0.18), height=0.11, strong=True),
        Text(
            layer=layers.TITLE,
            text=lettering.fitted(verdict, 0.08, room, strong=bool(failed)),
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
