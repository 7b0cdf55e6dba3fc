"""A form to be filled in by hand: headings, steps to tick, blanks to write on, ruled tables, page after page.

Upright paper, read on a clipboard: letters of eight points and more, rows that a pencil can write in. All in inches on
paper; the form is filled from the top, and goes on to a new page where one is full.
"""

from __future__ import annotations

from collections.abc import Sequence

from shapely import LineString, box

from layout.sheets import layers
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Align, Area, Line, Mark, Paper, Pen, Sheet, Text

INCH_PAPER = Paper(name="ANSI A", width=8.5, height=11.0, metric=False)
METRIC_PAPER = Paper(name="A4", width=210 / 25.4, height=297 / 25.4, metric=True)
LEFT, OTHER = 0.75, 0.5
"""Margins: for holes at the left, and elsewhere [in]."""
LETTER, PITCH = 0.085, 0.155
"""Height of a capital, and from line to line [in]."""
WRITING = 0.27
"""Height of a row that is written in by hand [in]."""
HEAD, FOOT = 0.62, 0.42
"""Room for what stands at the top and at the foot of every page [in]."""
_THIN, _THICK = Pen(weight=0.18), Pen(weight=0.5)
_BOX = 0.105
_BESIDE = 0.08
"""Room beside the text of a cell [in]."""
_MOST_LINES = 6
"""Lines of a cell."""


class Form:
    """Pages as they are filled.

    Parameters
    ----------
    paper : Paper
    title, subject : str
        Stand at the top of every page.
    foot : str
        Stands at the foot of every page.
    """

    def __init__(self, paper: Paper, *, title: str, subject: str, foot: str) -> None:
        self.paper, self.lettering = paper, Lettering()
        self.title, self.subject, self.foot = self.lettering.clean(title), self.lettering.clean(subject), foot
        self.left, self.right = LEFT, paper.width - OTHER
        self.width = self.right - self.left
        self.pages: list[list[Mark]] = [[]]
        self.into = self.pages[0]
        self.y = self._top

    @property
    def _top(self) -> float:
        return self.paper.height - OTHER - HEAD

    @property
    def left_over(self) -> float:
        """Room left on the page that is being filled [in]."""
        return self.y - OTHER - FOOT

    def room(self, height: float) -> None:
        """Go on to a new page if there is less room than this [in]."""
        if self.y - height < OTHER + FOOT and self.into:
            self._turn()

    def _turn(self) -> None:
        self.into = []
        self.pages.append(self.into)
        self.y = self._top

    def space(self, height: float) -> None:
        """Leave room [in]."""
        self.y -= height

    def heading(self, text: str, *, keep: float = 0.6) -> None:
        """Begin a part; it is not parted from the room `keep` after it [in]."""
        self.room(0.3 + keep)
        if self.into:
            self.space(0.1)
        self._letter(text, self.left, self.y - 0.14, height=0.1, strong=True)
        self._rule(self.left, self.y - 0.19, self.width, _THICK)
        self.space(0.25)

    def paragraph(self, text: str, *, indent: float = 0.0, strong: bool = False) -> None:
        """Set lines of text, indented [in]."""
        lines = self.lettering.wrapped(text, LETTER, self.width - indent, strong=strong)
        self.room(len(lines) * PITCH)
        for line in lines:
            self._letter(line, self.left + indent, self.y - 0.115, strong=strong)
            self.space(PITCH)
        self.space(0.03)

    def step(self, number: int, text: str) -> None:
        """Set a numbered step with a box to tick."""
        lines = self.lettering.wrapped(text, LETTER, self.width - 0.42)
        self.room(len(lines) * PITCH + 0.03)
        self._box(self.left + 0.02, self.y - 0.12)
        self._letter(f"{number}.", self.left + 0.38, self.y - 0.115, align="right")
        for line in lines:
            self._letter(line, self.left + 0.42, self.y - 0.115)
            self.space(PITCH)
        self.space(0.03)

    def bullet(self, text: str) -> None:
        """Set a caution with a dash before it."""
        lines = self.lettering.wrapped(text, LETTER, self.width - 0.15)
        self.room(len(lines) * PITCH)
        self._letter("\u2013", self.left + 0.02, self.y - 0.115)
        for line in lines:
            self._letter(line, self.left + 0.15, self.y - 0.115)
            self.space(PITCH)
        self.space(0.015)

    def blanks(self, labels: Sequence[tuple[str, float]]) -> None:
        """Set labels with lines after them to write on, each with its share of the width."""
        self.room(WRITING)
        whole = sum(share for _, share in labels)
        x = self.left
        for label, share in labels:
            wide = self.width * share / whole
            end = self._letter(label, x, self.y - 0.2)
            self._rule(end + 0.06, self.y - 0.22, x + wide - 0.1 - end - 0.06, _THIN)
            x += wide
        self.space(WRITING)

    def choice(self, label: str, words: Sequence[str]) -> None:
        """Set words with a box before each, one to be ticked."""
        self.room(0.22)
        x = self._letter(label, self.left, self.y - 0.14) + 0.2
        for word in words:
            self._box(x, self.y - 0.145)
            x = self._letter(word, x + 0.17, self.y - 0.14) + 0.3
        self.space(0.22)

    def table(
        self,
        titles: Sequence[str],
        widths: Sequence[float],
        rows: Sequence[Sequence[str]],
        *,
        left: Sequence[int] = (0,),
    ) -> None:
        """Set a ruled table; empty cells are to be written in.

        Parameters
        ----------
        titles : sequence of str
            Of the columns; their lines are parted by line feeds.
        widths : sequence of float
            Shares of the width.
        rows : sequence of sequences of str
        left : sequence of int
            Columns whose text stands at the left; that of the others in the middle.
        """
        edges = self._edges(widths, rows)
        cells = [self._cells(row, edges) for row in rows]
        heights = [max(WRITING, max(map(len, row)) * PITCH + 0.1) for row in cells]
        start = 0
        while start < len(rows):
            lines = max(title.count("\n") + 1 for title in titles)
            self.room(lines * PITCH + 0.07 + sum(heights[start : start + 2]))
            top = self.y
            self._titles(titles, edges, lines)
            while start < len(rows) and self.y - heights[start] >= OTHER + FOOT:
                self._row(cells[start], heights[start], edges, left)
                start += 1
            for edge in edges:
                self._upright(edge, top, self.y)
            self._rule(self.left, top, self.width, _THICK)
            if start < len(rows):
                self._turn()
        self.space(0.06)

    def _edges(self, widths: Sequence[float], rows: Sequence[Sequence[str]]) -> list[float]:
        """Where columns part [in]: as wide as stated, but none narrower than its longest word, at the others' cost."""
        shares = [self.width * width / sum(widths) for width in widths]
        needs = [0.0] * len(widths)
        for row in rows:
            for column, text in enumerate(row):
                words = self.lettering.clean(text).split()
                longest = max((self.lettering.width(word, LETTER) for word in words), default=0.0)
                needs[column] = max(needs[column], longest + _BESIDE)
        lacking = sum(max(need - share, 0.0) for need, share in zip(needs, shares, strict=True))
        spare = sum(max(share - need, 0.0) for need, share in zip(needs, shares, strict=True))
        given = min(lacking / spare, 1.0) if spare > 0 else 0.0
        edges = [self.left]
        for need, share in zip(needs, shares, strict=True):
            wide = need if need > share else share - given * (share - need)
            edges.append(edges[-1] + wide)
        return edges

    def _cells(self, row: Sequence[str], edges: Sequence[float]) -> list[list[str]]:
        """The cells of a row, each in lines that fit: no figure is cut; of a long remark the end is."""
        made = []
        for text, a, b in zip(row, edges, edges[1:], strict=False):
            lines = self.lettering.wrapped(self.lettering.clean(text), LETTER, b - a - _BESIDE)
            if len(lines) > _MOST_LINES:
                lines = [*lines[: _MOST_LINES - 1], f"{lines[_MOST_LINES - 1]} \u2026"]
                lines[-1] = self.lettering.fitted(lines[-1], LETTER, b - a - _BESIDE)
            made.append(lines)
        return made

    def picture(self, height: float) -> tuple[float, float, float, float]:
        """Make room for a picture: its left, bottom, right and top on the page that is being filled [in]."""
        self.room(height)
        top = self.y
        self.space(height)
        return (self.left, self.y, self.right, top)

    def add(self, marks: Sequence[Mark]) -> None:
        """Put marks on the page that is being filled."""
        self.into.extend(marks)

    def sheets(self) -> tuple[Sheet, ...]:
        """All pages with what stands at the top and foot of each."""
        count = len(self.pages)
        return tuple(
            Sheet(name=f"Page {number}", marks=(*self._margins(number, count), *marks))
            for number, marks in enumerate(self.pages, start=1)
        )

    # --- marks ------------------------------------------------------------------------------------------

    def _margins(self, number: int, count: int) -> list[Mark]:
        top = self.paper.height - OTHER
        self.into = []
        self._letter(self.subject, self.left, top - 0.17, height=0.14, strong=True)
        page = f"Page {number} of {count}"
        self._letter(page, self.right, top - 0.17, align="right")
        title = self.lettering.fitted(self.title or "Untitled", 0.1, self.width, strong=True)
        self._letter(title, self.left, top - 0.38, height=0.1, strong=True)
        self._rule(self.left, top - 0.47, self.width, _THICK)
        said = self.lettering.wrapped(self.foot, 0.075, self.width)
        for line, text in enumerate(said):
            self._letter(text, self.left, OTHER + 0.13 * (len(said) - 1 - line) + 0.02, height=0.075)
        self._rule(self.left, OTHER + 0.13 * len(said) + 0.05, self.width, _THIN)
        made, self.into = self.into, self.pages[-1]
        return made

    def _titles(self, titles: Sequence[str], edges: Sequence[float], lines: int) -> None:
        for title, a, b in zip(titles, edges, edges[1:], strict=False):
            parts = title.split("\n")
            for line, part in enumerate(parts):
                y = self.y - 0.115 - (line + (lines - len(parts)) / 2) * PITCH - 0.02
                self._letter(part, (a + b) / 2, y, height=0.078, align="centre", strong=True)
        self.space(lines * PITCH + 0.07)
        self._rule(self.left, self.y, self.width, _THIN)

    def _row(
        self, row: Sequence[Sequence[str]], height: float, edges: Sequence[float], left: Sequence[int]
    ) -> None:
        for column, (lines, a, b) in enumerate(zip(row, edges, edges[1:], strict=False)):
            y = self.y - height / 2 - LETTER / 2 + (len(lines) - 1) * PITCH / 2
            for number, text in enumerate(lines):
                if column in left:
                    self._letter(text, a + 0.05, y - number * PITCH)
                else:
                    self._letter(text, (a + b) / 2, y - number * PITCH, align="centre")
        self.space(height)
        self._rule(self.left, self.y, self.width, _THIN)

    def _letter(
        self,
        text: str,
        x: float,
        y: float,
        *,
        height: float = LETTER,
        align: Align = "left",
        strong: bool = False,
    ) -> float:
        """Letter a line of text; where it ends, if it stands at the left."""
        text = self.lettering.clean(text)
        if text:
            mark = Text(layer=layers.TABLE, text=text, at=(x, y), height=height, align=align, strong=strong)
            self.into.append(mark)
        return x + self.lettering.width(text, height, strong=strong)

    def _rule(self, x: float, y: float, width: float, pen: Pen) -> None:
        if width > 0:
            line = LineString([(x, y), (x + width, y)])
            self.into.append(Line(layer=layers.TABLE, line=line, pen=pen))

    def _upright(self, x: float, top: float, bottom: float) -> None:
        line = LineString([(x, top), (x, bottom)])
        self.into.append(Line(layer=layers.TABLE, line=line, pen=_THIN))

    def _box(self, x: float, y: float) -> None:
        shape = box(x, y, x + _BOX, y + _BOX)
        self.into.append(Area(layer=layers.TABLE, shape=shape, pen=Pen(weight=0.25)))
