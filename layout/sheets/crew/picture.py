"""The picture of a crew's sheet: its stakes with their numbers, its runs bold, all else thin, true to scale."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, STRtree, box
from shapely.geometry.base import BaseGeometry

from layout.errors import Fault, SheetError
from layout.model import XY, Design, FeatureKind, Pipe, Riser, Stake, xy
from layout.near import chopped
from layout.plane import Array, coordinates, lines_of, pair, points_at
from layout.sheets import layers
from layout.sheets.arrange import scales
from layout.sheets.claimed import Claimed
from layout.sheets.crew.notes import CheckLine
from layout.sheets.crew.paper import BOLD, CREW, LARGE, LETTER, STAKE, THIN, Frame
from layout.sheets.crew.stretches import Stretch
from layout.sheets.crew.table import letters_of
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Align, Area, Colour, Dash, Dots, Line, Mark, Pen, Symbol, Text, View

AROUND = 0.55
"""Left free round the stakes for their numbers [in]."""
ROOM = 0.022
"""Left free round a number [in]."""
DOT, END_DOT = 0.075, 0.12
"""A stake, and one at the end of a run [in]."""
AWAY = 0.09
"""From a stake to its number [in]."""
REACHES, FAR = (AWAY, AWAY + 0.18), (AWAY + 0.36, AWAY + 0.6, AWAY + 0.9)
"""The same, on leaders where it is longer; the far ones for what found no room [in]."""
_GREY = Pen(weight=0.25, colour=Colour.GREY)
_PIPE = Pen(weight=0.35, colour=Colour.GREY)
_OWN = {"supply": Pen(weight=0.5), "return": Pen(weight=0.5, dash=Dash.LONG)}
_BASE = Pen(weight=0.35, dash=Dash.CENTRE)
_CHECK = Pen(weight=0.25, dash=Dash.SHORT)
_FAN = (0.0, 0.4, -0.4, 0.8, -0.8)
"""How far a leader may be turned from the way a number lies in [rad]."""
_FINE = 0.004
"""Lines are drawn with no more corners than show [in]."""


def view_of(design: Design, bounds: tuple[float, float, float, float], frame: Frame) -> tuple[View, str]:
    """The view at the largest scale that shows some bounds [m] with room round them, and the scale in words."""
    left, bottom, right, top = frame.window
    wide, high = right - left - 2 * AROUND, top - bottom - 2 * AROUND
    centre = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    for metres, words in scales(design.site.frame.units):
        if (bounds[2] - bounds[0]) / metres <= wide and (bounds[3] - bounds[1]) / metres <= high:
            return View(window=frame.window, centre=centre, metres_per_inch=metres), words
    raise SheetError(
        Fault(
            field="stakeout.ties",
            said="what the crew's sheets must show is larger than the smallest scale shows",
            remedy="Check the coordinates, and the site's units.",
        )
    )


def background(design: Design, view: View, stretch: Stretch) -> list[Mark]:
    """The field thin, and the runs or pipes of this sheet bold, in the local plane [m]; only what shows."""
    seen = _seen(view)
    fine = _FINE * view.metres_per_inch
    marks: list[Mark] = [Area(layer=layers.BED, shape=design.site.bed.outline)]
    for item in design.site.features:
        if not item.shape.intersects(seen):
            continue
        layer = layers.FEATURES[item.kind]
        if isinstance(item.shape, Point):
            marks.append(Symbol(layer=layer, name=item.kind.value, at=xy(item.shape), size=0.2))
        elif isinstance(item.shape, Polygon):
            fill = Colour.WHITE if item.kind is not FeatureKind.BUILDING else Colour.SKY
            marks.append(Area(layer=layer, shape=item.shape, fill=fill))
        else:
            marks += [Line(layer=layer, line=line) for line in lines_of(item.shape)]
    plumbing, own = design.plumbing, _OWN if stretch.kind == "pipes" else {}
    pipes: list[Pipe | Riser] = [*plumbing.risers, *plumbing.manifolds, *plumbing.lines]
    marks += [
        Line(layer=CREW, line=item.line, pen=own.get(item.kind, _PIPE))
        for item in pipes
        if item.line.intersects(seen)
    ]
    marks += [
        Line(layer=CREW, line=join.line, pen=_GREY) for join in design.joins if join.line.intersects(seen)
    ]
    for run in design.laying.runs:
        if run.line.intersects(seen):
            pen = BOLD if run.name in stretch.runs else _GREY
            line = shapely.simplify(run.line, fine)
            marks.append(Line(layer=CREW, line=line, pen=pen))
    if design.staking is not None:
        marks.append(Line(layer=CREW, line=LineString(design.staking.baseline), pen=_BASE))
    return marks


def _seen(view: View) -> Polygon:
    left, bottom, right, top = view.window
    return Polygon(view.to_plan([(left, bottom), (right, bottom), (right, top), (left, top)]))


def check_mark(view: View, check: CheckLine) -> Mark:
    """The check as a thin line of dashes on paper."""
    ends = view.to_paper([check.first.at, check.second.at])
    return Line(layer=CREW, line=LineString(ends), pen=_CHECK)


def stake_marks(
    design: Design, stretch: Stretch, view: View, lettering: Lettering, first: frozenset[int] = frozenset()
) -> tuple[list[Mark], list[Stake]]:
    """Dots and numbers of the stakes on paper [in], and what the fixed points are called.

    Parameters
    ----------
    design : Design
    stretch : Stretch
    view : View
    lettering : Lettering
    first : frozenset of int
        Numbers that are lettered before all others.

    Returns
    -------
    marks : list of Mark
    bare : list of Stake
        Those whose number found no room.
    """
    places = view.to_paper([stake.at for stake in stretch.stakes])
    ends = [stake.kind == "run end" for stake in stretch.stakes]
    marks: list[Mark] = []
    for size, wanted in ((DOT, False), (END_DOT, True)):
        points = tuple(
            (float(x), float(y)) for (x, y), end in zip(places, ends, strict=True) if end is wanted
        )
        if points:
            marks.append(Dots(layer=STAKE, points=points, size=size))
    taken = Taken(view, lettering, [box(x - 0.05, y - 0.05, x + 0.05, y + 0.05) for x, y in places])
    taken.keep_off(
        [shapely.transform(run.line, view.to_paper) for run in design.laying.runs if run.name in stretch.runs]
    )
    marks += _fixed(design, view, taken)
    outward = _outward(design, stretch, view)

    def letter(number: int, reaches: Sequence[float], fan: Sequence[float], *, past: bool) -> list[Mark]:
        ways = tuple(way + turn for turn in fan for way in outward[number])
        text = str(stretch.stakes[number].number)
        return taken.place(text, places[number], ways, strong=ends[number], reaches=reaches, past=past)

    named = [stake.number in first for stake in stretch.stakes]
    bare: list[int] = []
    for number in sorted(range(len(places)), key=lambda n: (not named[n], not ends[n], n)):
        found = letter(number, REACHES, (0.0,), past=True)
        if not found and named[number]:
            found = letter(number, (*REACHES, *FAR), _FAN, past=True)
        if not found:
            bare.append(number)
        marks += found
    left: list[Stake] = []
    for number in sorted(bare):
        found = letter(number, FAR, _FAN, past=False)
        marks += found
        left += [] if found else [stretch.stakes[number]]
    return marks, left


class Taken:
    """What numbers stand where, so that none lies on another."""

    def __init__(self, view: View, lettering: Lettering, boxes: Sequence[Polygon]) -> None:
        self.window = box(*view.window)
        self.lettering = lettering
        self.boxes, self.letters = Claimed(boxes), Claimed()
        self.lines = STRtree([])

    def keep_off(self, lines: Sequence[LineString]) -> None:
        """Keep off some lines on paper."""
        self.lines = STRtree(chopped(lines)[0].tolist())

    def place(
        self,
        text: str,
        at: Array,
        ways: tuple[float, ...],
        *,
        strong: bool = False,
        reaches: Sequence[float] = REACHES,
        past: bool = True,
    ) -> list[Mark]:
        """A number beside its stake, on one of some ways from it; none where there is no room.

        Where it stands farther off a leader leads to it, through no other number, and, where it may not go `past`
        them, through no other stake.
        """
        turned = bool(ways)
        ways = ways or (0.4, 2.7, -0.4, -2.7, 1.57, -1.57)
        tries = [(reach, angle) for reach in reaches for angle in ways]
        marks = [self._mark(text, at, angle, reach, turned=turned, strong=strong) for reach, angle in tries]
        bare = self.lettering.boxes(marks)
        open_ = np.flatnonzero(self.are_free(bare))
        shapes = np.asarray(shapely.buffer(bare[open_], ROOM, quad_segs=16), dtype=object)
        free = self.are_free(shapes)  # with room about it
        for number, shape in zip(open_[free].tolist(), shapes[free].tolist(), strict=True):
            (reach, angle), mark = tries[number], marks[number]
            if reach == AWAY:
                self.take(shape)
                return [mark]
            ahead = np.array([math.cos(angle), math.sin(angle)])
            leader = LineString([at + 0.075 * ahead, at + (reach - 0.03) * ahead])
            if not (self.letters if past else self.boxes).touch(leader):
                self.take(shape)
                return [Line(layer=CREW, line=LineString([at, at + reach * ahead]), pen=THIN), mark]
        return []

    def beside(self, text: str, at: Array) -> list[Mark]:
        """A letter close by its mark, where it hides neither a stake nor another letter; on a leader if it must be."""
        fallback: list[Text] = []
        for reach in (0.14, 0.3, 0.5, 0.8):
            for angle in (0.4, -0.4, 2.74, -2.74, math.pi / 2, -math.pi / 2):
                ahead = np.array([math.cos(angle), math.sin(angle)])
                x, y = pair(at + reach * ahead)
                low = y - LARGE / 2 + 0.5 * LARGE * ahead[1]
                align: Align = "left" if ahead[0] > 0.1 else "right" if ahead[0] < -0.1 else "centre"
                mark = Text(
                    layer=CREW, text=text, at=(x, low), height=LARGE, align=align, strong=True, mask=True
                )
                shape = self.lettering.box(mark).buffer(ROOM)
                if not self.window.contains(shape):
                    continue
                leader = (
                    [Line(layer=CREW, line=LineString([pair(at), (x, y)]), pen=THIN)] if reach > 0.2 else []
                )
                fallback = fallback or [mark]
                if self.are_free(np.array([shape], dtype=object))[0]:
                    self.take(shape)
                    return [*leader, mark]
        for mark in fallback:
            self.take(self.lettering.box(mark))
        return [*fallback]

    def take(self, shape: Polygon) -> None:
        """Keep what follows off a text."""
        self.boxes.claim(shape)
        self.letters.claim(shape)

    def _mark(self, text: str, at: Array, angle: float, reach: float, *, turned: bool, strong: bool) -> Text:
        """Lettered along the way it lies in, upright for the reader."""
        ahead = np.array([math.cos(angle), math.sin(angle)])
        tip = at + reach * ahead
        if not turned:
            low = tip - np.array([0.0, LETTER / 2])
            align: Align = "left" if ahead[0] > 0.1 else "right" if ahead[0] < -0.1 else "centre"
            return Text(
                layer=CREW, text=text, at=pair(low), height=LETTER, align=align, strong=strong, mask=True
            )
        upright = ahead[0] > 1e-6 or (abs(ahead[0]) <= 1e-6 and ahead[1] > 0)
        turn = angle if upright else angle + math.pi
        down = np.array([math.sin(turn), -math.cos(turn)]) * LETTER / 2
        return Text(
            layer=CREW,
            text=text,
            at=pair(tip + down),
            height=LETTER,
            angle=math.degrees(turn),
            align="left" if upright else "right",
            strong=strong,
            mask=True,
        )

    def are_free(self, shapes: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Which of some shapes lie in the window and touch nothing."""
        found = np.asarray(shapely.contains(self.window, shapes), dtype=bool)
        left = np.flatnonzero(found)
        found[left[self.boxes.touched_by(shapes[left])]] = False
        left = np.flatnonzero(found)
        found[left[self.lines.query(shapes[left], predicate="intersects")[0]]] = False
        return found


def _outward(design: Design, stretch: Stretch, view: View) -> list[tuple[float, ...]]:
    """Which ways the number of each stake may lie: square to its run, first away from the other rows of the sheet.

    At the end of a run it lies beyond it. Empty off runs.
    """
    runs = {run.name: run for run in design.laying.runs}
    places = view.to_paper([stake.at for stake in stretch.stakes])
    rows = [runs[stake.run].row if stake.run else None for stake in stretch.stakes]
    trees = {
        row: shapely.multipoints([place for place, other in zip(places, rows, strict=True) if other == row])
        for row in dict.fromkeys(rows)
        if row is not None
    }
    found: list[tuple[float, ...]] = []
    for stake, place, row in zip(stretch.stakes, places, rows, strict=True):
        if stake.station is None or not stake.run or row is None:
            found.append(())
            continue
        run = runs[stake.run]
        heading = _heading(coordinates(run.line), stake.station, view)
        left = heading + math.pi / 2
        on: tuple[float, ...] = ()
        if stake.kind == "run end":  # beyond the end there is room
            on = (heading,) if stake.station > run.length / 2 else (heading + math.pi,)
        others = [tree for other, tree in trees.items() if other != row]
        nearest = min(others, key=lambda tree: tree.distance(Point(place)), default=None)
        if nearest is None:
            found.append((*on, left, left + math.pi))
            continue
        foot = shapely.get_coordinates(shapely.shortest_line(Point(place), nearest))[1]
        away = place - foot
        beside = away[0] * math.cos(left) + away[1] * math.sin(left)
        first = left if beside >= 0 else left + math.pi
        found.append((*on, first, first + math.pi))
    return found


def _heading(line: Array, station: float, view: View) -> float:
    """Which way a line goes at a station, on paper [rad]."""
    before, after = view.to_paper(points_at(line, np.array([station - 0.3, station + 0.3])))
    return math.atan2(after[1] - before[1], after[0] - before[0])


def _fixed(design: Design, view: View, taken: Taken) -> Iterator[Mark]:
    """Fixed points with their letters, and the ends of the baseline, where they show."""
    window = box(*view.window).buffer(-0.15)
    named = [(at, letter) for at, letter in letters_of(design.site).items()]
    if design.staking is not None:
        named += list(zip(design.staking.baseline, "AB", strict=True))
    shown = [
        (place, letter) for at, letter in named if window.contains(Point(place := view.to_paper([at])[0]))
    ]
    for place, _ in shown:
        yield Symbol(layer=CREW, name=FeatureKind.OTHER.value, at=pair(place), size=0.2)
        taken.boxes.claim(Point(place).buffer(0.06))
    for place, letter in shown:
        yield from taken.beside(letter, place)


def feature_names(design: Design, view: View, lettering: Lettering, lettered: Sequence[Mark]) -> list[Mark]:
    """The names of what stands about, for an overview, clear of what is lettered already."""
    marks: list[Mark] = []
    window = box(*view.window).buffer(-0.1)
    taken: list[BaseGeometry] = [lettering.box(mark) for mark in lettered if isinstance(mark, Text)]
    taken.append(shapely.transform(design.site.bed.outline, view.to_paper))
    for item in design.site.features:
        part = shapely.transform(item.shape, view.to_paper).intersection(window)
        if part.is_empty:
            continue
        middle = part.representative_point()
        _, low, _, high = part.bounds
        text = lettering.fitted(lettering.clean(item.name), LETTER, 2.4)
        inside = lettering.width(text, LETTER) < 0.9 * (part.bounds[2] - part.bounds[0])
        levels = [high + 0.06, low - LETTER - 0.06, middle.y + 0.3, middle.y - 0.4]
        for y in [middle.y - LETTER / 2, *levels] if inside and high - low > 0.25 else levels:
            at = (middle.x, y)
            mark = Text(layer=CREW, text=text, at=at, height=LETTER, align="centre", mask=True)
            shape = lettering.box(mark)
            if window.contains(shape) and not any(shape.intersects(other) for other in taken):
                taken.append(shape)
                marks.append(mark)
                break
    return marks


def key_marks(
    design: Design, stretch: Stretch, left: float, bottom: float, right: float, top: float
) -> list[Mark]:
    """The whole bed small in a window [in], what this sheet stakes bold in it, baseline and fixed points."""
    outline = design.site.bed.outline
    ends = design.staking.baseline if design.staking is not None else ()
    reach = shapely.total_bounds(
        np.asarray([outline, *(Point(at) for at in (*ends, *letters_of(design.site)))], dtype=object)
    )
    room = (left + 0.15, bottom + 0.1, right - 0.2, top - 0.12)
    scale = max((reach[2] - reach[0]) / (room[2] - room[0]), (reach[3] - reach[1]) / (room[3] - room[1]))
    middle = ((reach[0] + reach[2]) / 2, (reach[1] + reach[3]) / 2)
    small = View(window=room, centre=middle, metres_per_inch=float(scale))
    shape = shapely.simplify(shapely.transform(outline, small.to_paper), 0.005)
    marks: list[Mark] = [Area(layer=CREW, shape=shape, fill=Colour.WHITE, pen=_GREY)]
    marks += [
        Line(layer=CREW, line=shapely.simplify(shapely.transform(run.line, small.to_paper), 0.004), pen=BOLD)
        for run in design.laying.runs
        if run.name in stretch.runs
    ]
    if stretch.kind != "runs":
        points = tuple(pair(place) for place in small.to_paper([stake.at for stake in stretch.stakes]))
        marks.append(Dots(layer=STAKE, points=points, size=0.06))
    named: list[tuple[XY, str]] = [*zip(ends, "AB", strict=False), *letters_of(design.site).items()]
    if ends:
        marks.append(Line(layer=CREW, line=LineString(small.to_paper(ends)), pen=_BASE))
    lettering, inside = Lettering(), box(left, bottom, right, top)
    taken: list[Polygon] = []
    for at, letter in named:
        x, y = pair(small.to_paper([at])[0])
        marks.append(Symbol(layer=CREW, name=FeatureKind.OTHER.value, at=(x, y), size=0.1))
        for dx, dy in ((0.07, 0.02), (-0.25, 0.02), (-0.08, 0.08), (-0.08, -0.17)):
            mark = Text(layer=CREW, text=letter, at=(x + dx, y + dy), height=LETTER, mask=True)
            shape = lettering.box(mark)
            if inside.contains(shape) and not any(shape.intersects(other) for other in taken):
                taken.append(shape)
                marks.append(mark)
                break
    return marks


def of_this_sheet(stakes: Sequence[Stake]) -> str:
    """Numbers of stakes, those that follow each other as a stretch: ``3-41, 52``."""
    parts = number_stretches(stakes)
    if len(parts) > 4:
        return f"{stakes[0].number} to {stakes[-1].number}, not all"
    return ", ".join(parts)


def number_stretches(stakes: Sequence[Stake]) -> list[str]:
    """Numbers of stakes, those that follow each other as a stretch."""
    parts: list[list[int]] = []
    for stake in stakes:
        if parts and stake.number == parts[-1][-1] + 1:
            parts[-1][1:] = [stake.number]
        else:
            parts.append([stake.number])
    return ["-".join(map(str, part)) for part in parts]
