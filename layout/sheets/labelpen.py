"""What writes labels on one view of the plan: the board they are placed on, the marks made, what found no room."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import LineString

from layout.model import XY
from layout.plane import Array, coordinates, lines_of
from layout.sheets import layers
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Line, Mark, Symbol, Text, View
from layout.sheets.placing import Board, Spots

LETTER = 0.08
"""Height of a capital in labels [in]."""
_LEADER_DOT = 0.035
_ENOUGH = 1.0
"""What shows less of itself on a sheet is lettered on the next one [in]."""


@dataclass(kw_only=True)
class LabelPen:
    """What the label writers share.

    Attributes
    ----------
    view : View
    board : Board
    lettering : Lettering
    several : bool
        Whether the view is one of several.
    marks : list of Mark
        Made so far, in the local plane [m].
    unplaced : list of str
        Names of what found no room.
    """

    view: View
    board: Board
    lettering: Lettering
    several: bool = False
    marks: list[Mark] = field(default_factory=list)
    unplaced: list[str] = field(default_factory=list)

    def write(self, text: str, spots: Spots, *, height: float = LETTER, strong: bool = False) -> bool:
        """Letter a text at its best free spot; False where there is none."""
        spot = self.board.place(spots, self.lettering.width(text, height, strong=strong), height)
        if spot is None:
            return False
        turn = math.radians(spot.angle)
        base = (spot.at[0] + math.sin(turn) * height / 2, spot.at[1] - math.cos(turn) * height / 2)
        self.marks.append(
            Text(
                layer=layers.LABEL,
                text=text,
                at=self._plan(base),
                height=height,
                angle=spot.angle,
                align="centre",
                strong=strong,
                mask=spot.mask,
            )
        )
        if spot.leader is not None:
            ends = self.view.to_plan(spot.leader)
            self.marks.append(Line(layer=layers.LEADER, line=LineString(ends)))
            tip = (float(ends[1][0]), float(ends[1][1]))
            self.marks.append(Symbol(layer=layers.LEADER, name="dot", at=tip, size=_LEADER_DOT))
        return True

    def width(self, text: str, height: float = LETTER, *, strong: bool = False) -> float:
        """Width of a text [in]."""
        return self.lettering.width(text, height, strong=strong)

    def holds(self, point: Array) -> bool:
        """Whether a point on paper lies in the window; one sheet holds everything."""
        return not self.several or bool(shapely.intersects_xy(self.board.window, point[0], point[1]))

    def shows(self, pieces: Sequence[Array], line: LineString) -> bool:
        """Whether enough of a line of the plan shows for it to be lettered here."""
        seen = sum(reach_of(piece) for piece in pieces)
        whole = line.length / self.view.metres_per_inch
        return seen > 0 if not self.several else seen >= min(_ENOUGH, 0.5 * whole)

    def paper(self, line: LineString) -> list[Array]:
        """Put a line of the plan on paper, in the pieces that show in the window [in]."""
        on_paper = shapely.transform(line, self.view.to_paper)
        return [coordinates(piece) for piece in lines_of(on_paper.intersection(self.board.window))]

    def _plan(self, point: XY) -> XY:
        x, y = self.view.to_plan([point])[0]
        return (float(x), float(y))


def reach_of(piece: Array) -> float:
    """Length of a line on paper [in]."""
    return float(np.hypot(*np.diff(piece, axis=0).T).sum())
