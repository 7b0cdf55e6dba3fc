"""The table of a crew's sheet: every stake with its station, what the baseline reads, and its ties."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from layout.model import XY, Rounding, Site, Stake, Staking
from layout.sheets.crew.paper import BOLD, LARGE, LETTER, MARGIN, PITCH, ROW, THIN, TITLES, Frame, Letterer
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Align
from layout.sheets.stakeout import error_words, offset_words, place_words, taped
from layout.stakes import rounding_of

SET_BY_INSTRUMENT = "No fixed points are stated: set A and B by instrument or receiver, by these coordinates."
SET_BY_TIES = "Set A and B first, by their tapes from the fixed points or by instrument."
NAMES_ROOM = 2
"""Lines under the table for the names of fixed points."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its title in two lines, its width [in], which end of it text stands at."""

    title: str
    width: float
    align: Align = "right"


_BASE = (
    Column("point\n", 0.56),
    Column("what\n", 1.5, "left"),
    Column("station\non run", 0.86),
    Column("baseline\nstation", 0.9),
    Column("offset\n", 0.92),
)
_TIES = (Column("tape from\n", 1.08), Column("tape from\n", 1.08), Column("side\n", 0.6, "left"))
_PIPE = re.compile(r"(?:Z\d+ )?(?:supply|return) ")
"""How what stands on a pipe begins, as in ``Z1 supply air valve``."""
_INCHES, _INCHES_OFFSET = 0.27, 0.34
"""Feet and inches are wider than feet by so much, with the side of an offset [in]."""


WHAT, STATION = 1, 2
"""The columns that say what a stake marks, and where on its run it stands."""


def columns_of(site: Site) -> list[Column]:
    """The columns of the table of a site."""
    inches = rounding_of(site.stakeout, site.frame) == "1/8 in"
    columns = [*_BASE, *(_TIES if site.stakeout.ties else ())]
    wider = {2: _INCHES, 3: _INCHES, 4: _INCHES_OFFSET, 5: _INCHES, 6: _INCHES} if inches else {}
    return [
        Column(item.title, item.width + wider.get(number, 0.0), item.align)
        for number, item in enumerate(columns)
    ]


def table_width(site: Site) -> float:
    """Width of the table of a site [in]."""
    return sum(column.width for column in columns_of(site)) + 0.1


def rows_that_fit(frame: Frame, site: Site) -> int:
    """How many stakes the table of a sheet holds."""
    names = NAMES_ROOM * PITCH if site.stakeout.ties else PITCH
    return int((frame.top - MARGIN - TITLES - names) / ROW)


def letters_of(site: Site) -> dict[XY, str]:
    """What fixed points are called on the sheets: ``T1``, ``T2`` …, in the order of the site file."""
    return {at: f"T{number}" for number, (_, at) in enumerate(site.stakeout.ties, start=1)}


def rows_of(stake: Stake, site: Site, lettering: Lettering) -> int:
    """How many rows of the table a stake takes: what it marks is told in full."""
    return len(_what(stake, columns_of(site), lettering))


def _what(stake: Stake, columns: Sequence[Column], lettering: Lettering) -> list[str]:
    """What a stake marks, in as many lines as it takes; where it has no station, the room of that is free."""
    room = columns[WHAT].width + (columns[STATION].width if stake.station is None else 0.0) - 0.1
    return lettering.wrapped(lettering.clean(says(stake)), LETTER, room)


def letter_table(made: Letterer, frame: Frame, site: Site, stakes: Sequence[Stake]) -> float:
    """Letter the table beside the picture; the base line of what may come under it [in]."""
    columns = columns_of(site)
    left, y = frame.beside, frame.top
    edges = [left]
    for column in columns:
        edges.append(edges[-1] + column.width)
    made.rule(left, y, frame.right, y, BOLD)
    stations = any(stake.station is not None for stake in stakes)
    for number, (column, a, b) in enumerate(zip(columns, edges, edges[1:], strict=False)):
        if number == STATION and not stations:
            continue
        for line, title in enumerate(column.title.split("\n")):
            _cell(made, title, a, b, y - 0.19 - line * PITCH, column.align, strong=True)
    y -= TITLES - 0.06
    made.rule(left, y, frame.right, y, BOLD)
    rounding, letters = rounding_of(site.stakeout, site.frame), letters_of(site)
    base = y + 0.035
    for number, stake in enumerate(stakes):
        base -= ROW
        number_said, *cells = _cells(stake, site, rounding, letters)
        what, *more = _what(stake, columns, made.lettering)
        _cell(made, number_said, edges[0], edges[1], base, "right", strong=True)
        made.put(
            _one_line(made, [what, *cells[1:]], columns[1:], edges[1:]), edges[1] + 0.1, base, spaced=True
        )
        for text in more:
            base -= ROW
            made.put(text, edges[1] + 0.25, base)
        # a line under every fifth row leads the eye
        if number % 5 == 4 or number == len(stakes) - 1:
            made.rule(left, base - 0.035, frame.right, base - 0.035, THIN)
    return _fixed_points(made, frame, site, base - 0.175, stakes)


def _cell(made: Letterer, text: str, a: float, b: float, y: float, align: Align, *, strong: bool) -> None:
    x = a + 0.1 if align == "left" else b - 0.04
    made.put(text, x, y, align=align, strong=strong, room=b - a - 0.1)


def _one_line(made: Letterer, cells: Sequence[str], columns: Sequence[Column], edges: Sequence[float]) -> str:
    """The cells of a row as one line, parted by blanks so that figures stand below figures.

    In this typeface a figure is as wide as two blanks and a point as one, so columns of figures stand exactly; and a
    line of text is drawn as fast as a cell.
    """
    blank = made.lettering.width(" ", LETTER)
    text, start = "", edges[0] + 0.1
    for number, (cell, column, a, b) in enumerate(zip(cells, columns, edges, edges[1:], strict=False)):
        # where no station follows what is staked, its room is free
        more = columns[1].width if number == 0 and not cells[1] else 0.0
        said = made.lettering.fitted(made.lettering.clean(cell), LETTER, b + more - a - 0.1)
        at = a + 0.1 if column.align == "left" else b - 0.04 - made.lettering.width(said, LETTER)
        gap = round((at - start - made.lettering.width(text, LETTER)) / blank)
        text += " " * max(gap, 1 if text else 0) + said
    return text


def _cells(stake: Stake, site: Site, rounding: Rounding, letters: dict[XY, str]) -> list[str]:
    frame = site.frame
    station = "" if stake.station is None else taped(stake.station, rounding, frame)
    cells = [
        str(stake.number),
        says(stake),
        station,
        taped(stake.baseline.station, rounding, frame),
        offset_words(stake, rounding, frame),
    ]
    if not site.stakeout.ties:
        return cells
    if stake.swing is None:
        return [*cells, "baseline", "", ""]
    tapes = [f"{letters[tie.at]} {taped(tie.distance, rounding, frame)}" for tie in stake.swing.ties]
    return [*cells, *tapes, stake.swing.side]


def says(stake: Stake) -> str:
    """What a stake marks, without what other columns say, and no pipe named twice."""
    first, *more = stake.description.split(" + ")
    if stake.kind == "run":
        first = f"{stake.run}{' curve' if first.endswith('curve') else ''}"
    elif stake.kind == "run end":
        first = f"{stake.run} {'END' if ' end' in first else 'START'}"
    pipe = _PIPE.match(first)
    return " + ".join([first, *(part.removeprefix(pipe[0]) if pipe else part for part in more)])


def _fixed_points(made: Letterer, frame: Frame, site: Site, y: float, stakes: Sequence[Stake]) -> float:
    """Say which fixed points the letters are; the base line of what may come next."""
    used = {tie.at for stake in stakes if stake.swing is not None for tie in stake.swing.ties}
    names = [
        f"{letter} = {site.stakeout.ties[number][0]}"
        for number, (at, letter) in enumerate(letters_of(site).items())
        if at in used and site.stakeout.ties[number][0] != letter
    ]
    if not names:
        return y
    return made.lines("; ".join(names), frame.beside + 0.05, y, frame.table - 0.1, strong=True)


def letter_starts(
    made: Letterer, frame: Frame, site: Site, staking: Staking, y: float, bottom: float
) -> float:
    """List the ends of the baseline and the fixed points, with coordinates, at the foot of the first table [in].

    As many fixed points as find room over the bottom [in].
    """
    room, x = frame.table - 0.1, frame.beside + 0.05
    a, b = (place_words(at, staking, site.frame) for at in staking.baseline)
    rounding = rounding_of(site.stakeout, site.frame)
    length = taped(staking.step * round(math.dist(*staking.baseline) / staking.step), rounding, site.frame)
    y = made.lines("Baseline and fixed points", x, y, room, strong=True, height=LARGE)
    y = made.lines(f"A {a}", x, y, room)
    y = made.lines(f"B {b}; A to B is {length}", x, y, room)
    how = SET_BY_TIES if site.stakeout.ties else SET_BY_INSTRUMENT
    y = made.lines(f"{how} Then check A to B.", x, y, room)
    for (name, at), letter in zip(site.stakeout.ties, letters_of(site).values(), strict=False):
        if y < bottom + LETTER:
            break
        named = letter if name == letter else f"{letter}  {name}"
        made.put(f"{named} {place_words(at, staking, site.frame)}", x, y, room=room)
        y -= PITCH
    return y


def error_of(stakes: Sequence[Stake], site: Site) -> str:
    """How far rounding alone can lead from the worst placed of some stakes, in site units."""
    worst = max(
        max(stake.baseline.error, stake.swing.error if stake.swing is not None else 0.0) for stake in stakes
    )
    return error_words(worst, site.frame)
