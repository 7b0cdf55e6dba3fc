"""A picture at a scale of its own: a window on paper, what is drawn in it, and its lettering."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from layout.model import XY, Site
from layout.plane import Array, coordinates, lines_of
from layout.sheets import layers
from layout.sheets.dimensions import dimensioned
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Dimension, Dots, Line, Mark, Pen, Symbol, Text, View
from layout.sheets.pages import through
from layout.sheets.placing import REACHES, Board, Spots, along, around, joined
from layout.units import INCH, UnitSet

Window = tuple[float, float, float, float]
LETTER = 0.08
"""Height of a capital [in]."""
STRIP = 0.56
"""Room for the title under a picture, and for a note of two lines [in]."""
NOTE_LINES = 2
NOT_TO_SCALE = "not to scale"
_NOTE_PITCH = 0.13
_LEADER_DOT = 0.03
_SPARED = 0.015
"""Between a text and a line that is to stay whole [in]."""
_FEET_TO_INCH = (0.5, 1, 2, 3, 4, 5, 10, 20, 30, 40, 50, 60, 100, 200, 500, 1000, 2000, 5000)
_RATIOS = (5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)
_FRAME = Pen(weight=0.25)
_NORTH = (0.86, 0.84)
"""Room of a north arrow in a corner [in]."""


def scale_for(wide: float, high: float, window: Window, units: UnitSet) -> tuple[float, str]:
    """Choose the largest usual scale at which a place [m] fits a window: ground [m] to an inch, and in words."""
    room = (window[2] - window[0], window[3] - window[1])
    known = large_scales(units)
    for metres, words in known:
        if wide / metres <= room[0] and high / metres <= room[1]:
            return metres, words
    return known[-1]


def scale_under(most: float, units: UnitSet) -> float:
    """The smallest usual scale with no more than so much ground to an inch: ground [m] to an inch."""
    return max(
        (metres for metres, _ in large_scales(units) if metres <= most), default=large_scales(units)[0][0]
    )


def large_scales(units: UnitSet) -> list[tuple[float, str]]:
    """List the usual scales of details, the largest first: ground [m] to an inch, and in words."""
    if units.word == "m":
        return [(ratio * INCH, f"1 : {ratio}") for ratio in _RATIOS]
    return [(feet * units.length, f"1 in = {feet:g} ft") for feet in _FEET_TO_INCH]


@dataclass(kw_only=True)
class Picture:
    """What is drawn and lettered in one window.

    Attributes
    ----------
    view : View
    figures : Figures
    lettering : Lettering
    marks : list of Mark
        On paper [in].
    dimensions : list of Dimension
        On paper [in]; their lines and figures are among the marks.
    unlettered : list of str
        What found no room.
    remarks : list of str
        What is said under the picture.
    whole : geometry
        Lines on paper that no text may break [in].
    """

    view: View
    figures: Figures
    lettering: Lettering
    marks: list[Mark] = field(default_factory=list)
    dimensions: list[Dimension] = field(default_factory=list)
    unlettered: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    whole: BaseGeometry = field(default_factory=LineString)
    board: Board = field(init=False)

    def draw(self, marks: Sequence[Mark], north: str, whole: Sequence[LineString] = ()) -> None:
        """Draw marks of the plan [m], and a north arrow in the corner with least in it.

        No text breaks a line of those that are to stay whole.
        """
        found = through(self.view, marks)
        corner = _emptiest(self.view.window, found)
        self.marks += [part for mark in found for part in _outside(mark, corner)]
        left, bottom, right, top = self.view.window
        room = (left + 0.06, bottom + 0.06, right - 0.06, top - 0.06)
        linework = [mark.line for mark in self.marks if isinstance(mark, Line)]
        self.board = Board(room, linework, avoid=shapely.Polygon())
        self.board.claim(corner)
        for mark in self.marks:
            if isinstance(mark, Symbol):
                self.board.claim(Point(mark.at).buffer(mark.size / 2 + 0.01))
        self.marks += _north(corner, north)
        if whole:
            self.whole = shapely.union_all([shapely.transform(line, self.view.to_paper) for line in whole])
            shapely.prepare(self.whole)

    def remark(self, text: str) -> None:
        """Say something under the picture, once."""
        if text not in self.remarks:
            self.remarks.append(text)

    def paper(self, at: XY) -> XY:
        """Find a point of the plan on paper [in]."""
        x, y = self.view.to_paper([at])[0]
        return (float(x), float(y))

    def seen(self, line: LineString) -> list[Array]:
        """Put a line of the plan on paper, in the pieces that show, the longest first [in]."""
        shown = shapely.transform(line, self.view.to_paper).intersection(self.board.window)
        return [coordinates(piece) for piece in sorted(lines_of(shown), key=lambda piece: -piece.length)]

    def letter(
        self,
        text: str,
        spots: Spots,
        *,
        strong: bool = False,
        told: str | None = None,
        height: float = LETTER,
        tip: tuple[XY, float] | None = None,
    ) -> bool:
        """Letter a text at its best free spot; where there is none, that is told of it.

        A leader is drawn on to the edge of a symbol where that is given as its middle and radius [in].
        """
        text = self.lettering.clean(text)
        width = self.lettering.width(text, height, strong=strong)
        spot = self.board.place(self._sparing(spots, width, height), width, height)
        if spot is None:
            if told is not None:
                self.unlettered.append(told)
            return False
        turn = math.radians(spot.angle)
        self.marks.append(
            Text(
                layer=layers.LABEL,
                text=text,
                at=(
                    spot.at[0] + math.sin(turn) * height / 2,
                    spot.at[1] - math.cos(turn) * height / 2,
                ),
                height=height,
                angle=spot.angle,
                align="centre",
                strong=strong,
                mask=spot.mask,
            )
        )
        if spot.leader is not None:
            end = _reached(spot.leader, tip)
            self.marks.append(Line(layer=layers.LEADER, line=LineString([spot.leader[0], end])))
            self.marks.append(Symbol(layer=layers.LEADER, name="dot", at=end, size=_LEADER_DOT))
        return True

    def _sparing(self, spots: Spots, width: float, height: float) -> Spots:
        """Keep the spots at which a text breaks no line that is to stay whole."""
        if self.whole.is_empty or not len(spots):
            return spots
        turn = np.radians(spots.angle)
        half = (width / 2 * np.column_stack((np.cos(turn), np.sin(turn))))[:, None, :]
        texts = shapely.linestrings(spots.at[:, None, :] + np.concatenate((-half, half), axis=1))
        return spots.only(~np.asarray(shapely.dwithin(self.whole, texts, height / 2 + _SPARED)))

    def name(self, text: str, at: XY, *, size: float = 0.0, strong: bool = False, led: bool = False) -> bool:
        """Letter what a point of the plan is called, beside it or with a leader; only with one on demand."""
        width = self.lettering.width(self.lettering.clean(text), LETTER, strong=strong)
        spots = around(self.paper(at), width, size=size, reaches=REACHES[:7])
        if led:
            spots = spots.only(~np.isnan(spots.leader[:, 0, 0]))
        return self.letter(text, spots, strong=strong, told=text, tip=(self.paper(at), size))

    def best_of(self, ways: Sequence[Sequence[Callable[[], object]]]) -> None:
        """Letter in the first way that leaves nothing unlettered, or else in that which leaves least.

        Of those that leave as much, that with the shortest leaders. A way is one step after the other; once it leaves
        more than another does it is given up.
        """
        count, marks, told = self.board.count, len(self.marks), len(self.unlettered)
        least = (math.inf, math.inf)
        best: tuple[list[Mark], list[str], list[BaseGeometry]] = ([], [], [])
        for way in ways:
            for step in way:
                step()
                if len(self.unlettered) - told > least[0]:
                    break
            left = len(self.unlettered) - told
            if not left:
                return
            leaders = [
                mark.line.length
                for mark in self.marks[marks:]
                if isinstance(mark, Line) and mark.layer is layers.LEADER
            ]
            cost = (left, round(sum(leaders), 3))
            if cost < least:
                least, best = cost, (self.marks[marks:], self.unlettered[told:], self.board.since(count))
            self.board.release(count)
            del self.marks[marks:], self.unlettered[told:]
        self.marks += best[0]
        self.unlettered += best[1]
        for shape in best[2]:
            self.board.claim(shape)

    def name_along(self, line: LineString, text: str, *, told: bool = True) -> bool:
        """Letter what a line of the plan is called, along it or with a leader."""
        pieces = self.seen(line)
        if not pieces:
            return False
        width = self.lettering.width(self.lettering.clean(text), LETTER)
        side = LETTER / 2 + 0.06
        spots = [
            along(pieces[0], width, LETTER, prefer=0.5, above=above, mask=False) for above in (side, -side)
        ]
        on_paper = LineString(pieces[0])
        for share in (0.5, 0.2, 0.8, 0.05, 0.95):
            at = on_paper.interpolate(share, normalized=True)
            spots.append(around((at.x, at.y), width, reaches=REACHES).dearer(0.3))
        return self.letter(text, joined(spots), told=text if told else None)

    def measure(
        self, start: XY, end: XY, offs: Sequence[float], *, words: str = "<>", told: str | None = None
    ) -> bool:
        """Dimension the straight distance between two points of the plan; no room is told of it."""
        found = dimensioned(
            self.board,
            self.lettering,
            self.figures,
            (self.paper(start), self.paper(end)),
            length=math.dist(start, end),
            offs=offs,
            words=words,
        )
        if found is None:
            if told is not None:
                self.unlettered.append(told)
            return False
        self.dimensions.append(found[0])
        self.marks += found[1]
        return True


def _reached(leader: Array, tip: tuple[XY, float] | None) -> XY:
    """Find where a leader ends: at the edge of the symbol it points to."""
    end = (float(leader[1][0]), float(leader[1][1]))
    if tip is None:
        return end
    middle, radius = tip
    far = math.dist(end, middle)
    if far <= radius:
        return end
    share = (far - radius) / far
    return (end[0] + share * (middle[0] - end[0]), end[1] + share * (middle[1] - end[1]))


def title(
    window: Window, number: int, count: int, name: str, scale: str, note: str, lettering: Lettering
) -> list[Mark]:
    """Draw the frame of a picture, and under it its number, name and scale, and a note."""
    left, bottom, right, _ = window
    text = f"Detail {number} of {count}: {name}"
    room = right - left - lettering.width(scale, 0.09, strong=True) - 0.5
    marks: list[Mark] = [
        Line(layer=layers.TITLE, line=LineString(box(*window).exterior.coords), pen=_FRAME),
        Text(
            layer=layers.TITLE,
            text=lettering.fitted(text, 0.1, room, strong=True),
            at=(left + 0.05, bottom - 0.18),
            height=0.1,
            strong=True,
        ),
        Text(
            layer=layers.TITLE,
            text=scale,
            at=(right - 0.05, bottom - 0.18),
            height=0.09,
            align="right",
            strong=True,
        ),
    ]
    room = right - left - 0.1
    lines = lettering.wrapped(note, LETTER, room) if note else []
    if len(lines) > NOTE_LINES:
        lines[NOTE_LINES - 1 :] = [lettering.fitted(" ".join(lines[NOTE_LINES - 1 :]), LETTER, room)]
    for below, line in enumerate(lines):
        at = (left + 0.05, bottom - 0.34 - below * _NOTE_PITCH)
        marks.append(Text(layer=layers.TITLE, text=line, at=at, height=LETTER))
    return marks


def _emptiest(window: Window, marks: Sequence[Mark]) -> shapely.Polygon:
    """Choose the corner of a window with the least linework in it, for a north arrow."""
    left, bottom, right, top = window
    corners = [
        box(x, y, x + _NORTH[0], y + _NORTH[1])
        for y in (top - _NORTH[1], bottom)
        for x in (left, right - _NORTH[0])
    ]
    shapes: list[BaseGeometry] = [mark.line for mark in marks if isinstance(mark, Line)]
    shapes += [mark.shape.boundary for mark in marks if isinstance(mark, Area)]
    lines = np.asarray(shapes, dtype=object)
    return min(
        corners, key=lambda corner: round(float(shapely.length(shapely.intersection(lines, corner)).sum()), 3)
    )


def _outside(mark: Mark, corner: shapely.Polygon) -> list[Mark]:
    """Cut away what lies in a corner."""
    if isinstance(mark, Line) and mark.line.intersects(corner):
        return [replace(mark, line=piece) for piece in lines_of(mark.line.difference(corner))]
    if isinstance(mark, Symbol | Text) and shapely.intersects_xy(corner, *mark.at):
        return []
    if isinstance(mark, Dots):
        kept = tuple(at for at in mark.points if not shapely.intersects_xy(corner, *at))
        return [replace(mark, points=kept)] if kept else []
    return [mark]


def _north(corner: shapely.Polygon, words: str) -> list[Mark]:
    left, bottom, right, _ = corner.bounds
    x, y = (left + right) / 2, bottom + 0.42
    return [
        Symbol(layer=layers.TITLE, name="north", at=(x, y), size=0.36),
        Text(layer=layers.TITLE, text="N", at=(x, y + 0.23), height=LETTER, align="centre", strong=True),
        Text(layer=layers.TITLE, text=words, at=(x, y - 0.32), height=LETTER, align="centre"),
    ]


def north_words(site: Site) -> str:
    """Tell which north the arrow points to."""
    return "grid north" if site.frame.crs else "plan north"


def middle_of(points: Array) -> XY:
    """Find the middle of the bounding box of points [their unit]."""
    low, high = points.min(axis=0), points.max(axis=0)
    x, y = (low + high) / 2
    return (float(x), float(y))


def window_around(points: Array, around_it: float) -> tuple[XY, float, float]:
    """Find middle, width and height of a place with some room around it [m]."""
    low, high = points.min(axis=0), points.max(axis=0)
    wide, high_ = np.asarray(high - low) + 2 * around_it
    return middle_of(points), float(wide), float(high_)
