"""Blocks of tables and notes: rows of cells under a heading, set into columns on paper, split where need be.

All in inches on paper; x counts from a column's left edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from shapely import LineString, Polygon, box

from layout.sheets import layers
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Align, Area, Colour, Layer, Line, Mark, Pen, Symbol, Text

Titles = Sequence[tuple[str, float, Align]]
"""Of each column of a table: its title, where its text stands [in], and which end of it stands there."""
COLUMN = 3.75
"""Width of a column [in]."""
GUTTER = 0.15
"""Between columns [in]."""
LETTER = 0.08
"""Height of a capital in tables and notes [in]."""
PITCH = 0.14
"""From line to line [in]."""
HEADING = 0.24
"""Room of a block's heading [in]."""
AFTER = 0.12
"""Room after a block [in]."""
_FEWEST_ROWS = 3
_SPLIT_FROM = 3.5
"""Lower blocks are kept whole [in]."""
_MOST_LINES = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A piece of text in a row.

    Attributes
    ----------
    text : str
    x : float
        Of the left end, middle or right end [in].
    align : "left", "centre" or "right"
    line : int
        Which line of the row, from 0.
    strong : bool
    """

    text: str
    x: float = 0.0
    align: Align = "left"
    line: int = 0
    strong: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """What a row of the legend shows.

    Attributes
    ----------
    layer : Layer
    symbol : str
        Its symbol; empty for a line.
    swatch : bool
        A small area in place of a line.
    fill : Colour or None
        Of the swatch.
    hatched : bool
        Whether the swatch is hatched.
    """

    layer: Layer
    symbol: str = ""
    swatch: bool = False
    fill: Colour | None = None
    hatched: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of a block; `lines` is its height in lines of text, `space` what is left free below [in]."""

    cells: tuple[Cell, ...]
    lines: int = 1
    sample: Sample | None = None
    space: float = 0.0

    @property
    def height(self) -> float:
        """Height of the row [in]."""
        return self.lines * PITCH + self.space


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A heading, column titles, and rows.

    Attributes
    ----------
    heading : str
    rows : tuple of Row
    titles : Row or None
        Repeated where the block is split.
    least : float
        Room it takes even where its rows need less [in].
    """

    heading: str
    rows: tuple[Row, ...]
    titles: Row | None = None
    least: float = 0.0

    @property
    def height(self) -> float:
        """Height with heading, titles and the room after it [in]."""
        return max(self.overhead + sum(row.height for row in self.rows), self.least)

    @property
    def overhead(self) -> float:
        """Height without rows [in]."""
        return HEADING + AFTER + (self.titles.height + 0.04 if self.titles else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A place for blocks on paper [in]."""

    left: float
    top: float
    bottom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A block, or a part of one, at its upper left corner [in]."""

    block: Block
    left: float
    top: float


def flow(blocks: Sequence[Block], columns: Sequence[Column]) -> tuple[list[Placed], list[Block]]:
    """Set blocks into columns, each into the first with room for it, split where none takes it whole.

    Returns
    -------
    placed : list of Placed
    left : list of Block
        What found no room, in the given order.
    """
    tops = [column.top for column in columns]
    placed: list[Placed] = []
    left: list[Block] = []
    for block in blocks:
        rest: Block | None = block
        height = block.height
        for index, column in enumerate(columns):
            if height - AFTER <= tops[index] - column.bottom:
                placed.append(Placed(block=block, left=column.left, top=tops[index]))
                tops[index] -= height
                rest = None
                break
        if rest is not None and height > _SPLIT_FROM:
            rest = _split_over(rest, columns, tops, placed)
        if rest is not None:
            left.append(rest)
    return placed, left


def _split_over(
    block: Block, columns: Sequence[Column], tops: list[float], placed: list[Placed]
) -> Block | None:
    """Set as many rows as fit into each column in turn; what is left, or None."""
    rest = block
    for index, column in enumerate(columns):
        room = tops[index] - column.bottom - rest.overhead + AFTER
        count, used = 0, 0.0
        while count < len(rest.rows) and used + rest.rows[count].height <= room:
            used += rest.rows[count].height
            count += 1
        if count < min(_FEWEST_ROWS, len(rest.rows)):
            if placed or column is not columns[-1] or min(tops) < max(tops):
                continue
            # Taller than any column of an empty sheet: let it hang out rather than look for a place for ever.
            count = max(count, 1)
        part = replace(rest, rows=rest.rows[:count])
        placed.append(Placed(block=part, left=column.left, top=tops[index]))
        tops[index] -= part.height
        if count == len(rest.rows):
            return None
        heading = rest.heading.removesuffix(" (continued)") + " (continued)"
        rest = replace(rest, heading=heading, rows=rest.rows[count:])
    return rest


# --- filling ---------------------------------------------------------------------------------------------


def table(
    heading: str,
    titles: Titles,
    rows: Sequence[Sequence[str]],
    lettering: Lettering,
    *,
    wrap: dict[int, float],
) -> Block:
    """Make a table of single-line cells; columns named in `wrap` break their text to that width [in]."""
    made = []
    for row in rows:
        cells: list[Cell] = []
        most = 1
        for index, (text, (_, x, align)) in enumerate(zip(row, titles, strict=True)):
            lines = lettering.wrapped(text, LETTER, wrap[index]) if index in wrap else [text]
            most = max(most, len(lines))
            cells.extend(Cell(text=line, x=x, align=align, line=i) for i, line in enumerate(lines) if line)
        made.append(Row(cells=tuple(cells), lines=most))
    head = Row(cells=tuple(Cell(text=text, x=x, align=align, strong=True) for text, x, align in titles))
    return Block(heading=heading, titles=head, rows=tuple(made))


def shortened(lines: Sequence[str]) -> list[str]:
    """At most a dozen lines of a text; in place of what is left out the file that holds it is named."""
    if len(lines) <= _MOST_LINES:
        return list(lines)
    return [*lines[: _MOST_LINES - 1], "\u2026 and more: all of it is in layout.json"]


def paragraphs(heading: str, texts: Sequence[str], lettering: Lettering, *, numbered: bool = False) -> Block:
    """Make a block of paragraphs, broken to the column's width."""
    indent = 0.26 if numbered else 0.0
    rows = []
    for number, text in enumerate(texts, start=1):
        lines = shortened(lettering.wrapped(text, LETTER, COLUMN - indent))
        cells = [Cell(text=line, x=indent, line=i) for i, line in enumerate(lines)]
        if numbered:
            cells.insert(0, Cell(text=f"{number}."))
        rows.append(Row(cells=tuple(cells), lines=len(lines), space=0.03))
    return Block(heading=heading, rows=tuple(rows))


def pairs(heading: str, items: Sequence[tuple[str, str]], lettering: Lettering) -> Block:
    """Make a block of names on the left and figures on the right; a name too long for its line is broken."""
    rows = []
    for name, figure in items:
        room = COLUMN - lettering.width(figure, LETTER) - 0.15
        lines = lettering.wrapped(name, LETTER, room)
        cells = [Cell(text=line, line=i) for i, line in enumerate(lines)]
        cells.append(Cell(text=figure, x=COLUMN, align="right"))
        rows.append(Row(cells=tuple(cells), lines=len(lines)))
    return Block(heading=heading, rows=tuple(rows))


# --- drawing ---------------------------------------------------------------------------------------------


def draw(placed: Placed, layer: Layer) -> list[Mark]:
    """Draw the marks of a block at its place."""
    block, left = placed.block, placed.left
    y = placed.top - HEADING + 0.09
    marks: list[Mark] = [
        Text(layer=layer, text=block.heading, at=(left, y), height=0.1, strong=True),
        rule(layer, left, y - 0.05, pen=Pen(weight=0.35)),
    ]
    y = placed.top - HEADING
    if block.titles is not None:
        marks.extend(_cells(block.titles, layer, left, y))
        y -= block.titles.height + 0.04
        marks.append(rule(layer, left, y + 0.03))
    for row in block.rows:
        marks.extend(_cells(row, layer, left, y))
        if row.sample is not None:
            marks.extend(_sample(row.sample, left, y - row.height / 2))
        y -= row.height
    return marks


def rule(layer: Layer, left: float, y: float, *, width: float = COLUMN, pen: Pen | None = None) -> Line:
    """Draw a level line on paper [in]."""
    return Line(layer=layer, line=LineString([(left, y), (left + width, y)]), pen=pen)


def _cells(row: Row, layer: Layer, left: float, top: float) -> list[Mark]:
    return [
        Text(
            layer=layer,
            text=cell.text,
            at=(left + cell.x, top - cell.line * PITCH - 0.115),
            height=LETTER,
            align=cell.align,
            strong=cell.strong,
        )
        for cell in row.cells
    ]


def _sample(sample: Sample, left: float, y: float) -> list[Mark]:
    """Draw a line, a swatch or a symbol as the plan shows it, but on the legend's layer."""
    width, pen = 0.62, sample.layer.pen
    middle = (left + width / 2, y)
    if sample.symbol:
        size = 0.04 if sample.symbol == "dot" else 0.14
        return [Symbol(layer=layers.LEGEND, name=sample.symbol, at=middle, size=size)]
    if sample.swatch:
        shape: Polygon = box(left, y - 0.055, left + width, y + 0.055)
        area = Area(layer=layers.LEGEND, shape=shape, fill=sample.fill, pen=pen)
        return [area, *(_hatch(left, y - 0.055, width, 0.11) if sample.hatched else ())]
    return [Line(layer=layers.LEGEND, line=LineString([(left, y), (left + width, y)]), pen=pen)]


def _hatch(left: float, bottom: float, width: float, height: float) -> list[Line]:
    """Draw lines at 45 degrees across a low box."""
    count = int((width - height) / height) + 1
    starts = [left + (width - count * height) / 2 + number * height for number in range(count)]
    pen = Pen(weight=0.13)
    return [
        Line(layer=layers.LEGEND, line=LineString([(x, bottom), (x + height, bottom + height)]), pen=pen)
        for x in starts
    ]
