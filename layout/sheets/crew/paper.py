"""The paper of the crew's sheets: sizes, pens, type, and where everything stands on them."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import LineString

from layout.sheets.lettering import Lettering
from layout.sheets.marks import Align, Layer, Line, Mark, Paper, Pen, Text
from layout.units import UnitSet

INCH_PAPER = Paper(name="ANSI B", width=17.0, height=11.0, metric=False)
METRIC_PAPER = Paper(name="A3", width=420 / 25.4, height=297 / 25.4, metric=True)
LETTER, PITCH = 0.105, 0.176
"""Height of a capital, a little over that of ten-point type, and from line to line [in]; no letter is smaller."""
LARGE, LARGEST = 0.13, 0.17
MARGIN = 0.45
HEAD = 0.78
"""Room at the top of a sheet for its title [in]."""
FOOT = 2.6
"""Room under the picture for the key plan, the check and the notes [in]."""
ROW = 0.172
"""Height of a row of the table [in]."""
TITLES = 0.52
"""Room of the table's titles [in]."""
KEY_WIDTH, KEY_SHARE = 3.3, 0.45
"""Greatest width of the key plan [in], and its greatest share of that of the picture."""

BOLD = Pen(weight=0.7)
FIRM = Pen(weight=0.35)
THIN = Pen(weight=0.18)
CREW = Layer(name="C-ANNO-CREW-N", description="crew's sheet", pen=FIRM)
STAKE = Layer(name="C-SSWR-STAK-N", description="stake", pen=FIRM)


@dataclass(frozen=True, slots=True)
class Frame:
    """Where everything stands on a sheet [in].

    Attributes
    ----------
    paper : Paper
    table : float
        Width of the table.
    """

    paper: Paper
    table: float

    @property
    def left(self) -> float:
        """Left edge of all that is drawn."""
        return MARGIN

    @property
    def right(self) -> float:
        """Right edge of all that is drawn."""
        return self.paper.width - MARGIN

    @property
    def top(self) -> float:
        """Under the title."""
        return self.paper.height - MARGIN - HEAD

    @property
    def beside(self) -> float:
        """Left edge of the table."""
        return self.right - self.table

    @property
    def window(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of the picture."""
        return (self.left, MARGIN + FOOT, self.beside - 0.15, self.top)


def paper_of(units: UnitSet) -> Paper:
    """The paper in the units of a site."""
    return METRIC_PAPER if units.word == "m" else INCH_PAPER


class Letterer:
    """Letters a sheet: gathers marks, wraps and fits lines."""

    def __init__(self, lettering: Lettering) -> None:
        self.lettering = lettering
        self.marks: list[Mark] = []

    def put(
        self,
        text: str,
        x: float,
        y: float,
        *,
        height: float = LETTER,
        align: Align = "left",
        strong: bool = False,
        room: float | None = None,
        spaced: bool = False,
    ) -> None:
        """Letter one line, cut where it is longer than the room [in]; its blanks kept where it is spaced by them."""
        text = text if spaced else self.lettering.clean(text)
        if room is not None:
            text = self.lettering.fitted(text, height, room, strong=strong)
        if text:
            self.marks.append(
                Text(layer=CREW, text=text, at=(x, y), height=height, align=align, strong=strong)
            )

    def lines(
        self, text: str, x: float, y: float, room: float, *, strong: bool = False, height: float = LETTER
    ) -> float:
        """Letter lines that fit into the room [in]; the base line of what comes next."""
        for line in self.lettering.wrapped(self.lettering.clean(text), height, room, strong=strong):
            self.put(line, x, y, height=height, strong=strong)
            y -= PITCH * height / LETTER
        return y

    def rule(self, x0: float, y0: float, x1: float, y1: float, pen: Pen = THIN) -> None:
        """Draw a straight line [in]."""
        self.marks.append(Line(layer=CREW, line=LineString([(x0, y0), (x1, y1)]), pen=pen))
