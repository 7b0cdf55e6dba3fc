"""What is dimensioned on the plan: setbacks, the distance of runs, the clearance, and how long the bed is."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point

from layout.model import XY, Design, Feature
from layout.plane import Array, coordinates
from layout.sheets import fieldmarks, layers
from layout.sheets.dimensions import GAP, LETTER, dimensioned, on_plan
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Dimension, Line, Mark, Symbol, Text, View
from layout.sheets.placing import Board

Way = tuple[XY, XY, float, float]
"""What is dimensioned: from where to where [m], how far beside [in], and its length to the last digit [m]."""

_TURNS = 24
_TRIED = 60
"""Of the places where a distance could be dimensioned, so many are tried."""
_BARELY = 0.05
"""So much of what is built the figure of a setback may cover [in]."""
_ALONG = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)
_BESIDE = (0.0, 0.12, -0.12)
_OUTSIDE = (0.35, 0.5, 0.7, 0.95)
_APART, _ALONGSIDE = 0.08, 0.5
"""Nearer than this, and along so much of it, a dimension line would read as a limit of a setback [in]."""
_LONGEST_NAME = 1.3
"""Of a feature in the figure of its setback [in]."""
_CLEAR = 0.13
"""How much of the ends of a dimension line may lie on the symbol it starts from [in]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimensions:
    """The dimensions of one view.

    Attributes
    ----------
    items : tuple of Dimension
        In the local plane [m].
    marks : tuple of Mark
        Their lines and figures [m].
    setbacks : frozenset of str
        Features whose setback is dimensioned.
    """

    items: tuple[Dimension, ...]
    marks: tuple[Mark, ...]
    setbacks: frozenset[str]


def plan_dimensions(
    design: Design,
    view: View,
    marks: Sequence[Mark],
    figures: Figures,
    lettering: Lettering,
    *,
    done: frozenset[str] = frozenset(),
    first: bool = True,
) -> Dimensions:
    """Dimension what a view shows of the plan, as far as there is room.

    Parameters
    ----------
    design : Design
    view : View
    marks : sequence of Mark
        Of the field [m].
    figures : Figures
    lettering : Lettering
    done : frozenset of str
        Features whose setback is dimensioned on an earlier sheet.
    first : bool
        Of several views each has its setbacks, and the first the rest.
    """
    board = _board(design, view, marks)
    built = [mark for mark in marks if mark.layer not in {layers.SETBACK, layers.USABLE}]
    limits = fieldmarks.linework([mark for mark in marks if mark.layer is layers.SETBACK], view)
    made = _Maker(view, board, figures, lettering, fieldmarks.linework(built, view), limits)
    if first:
        _spacing(made, design)
        _clearance(made, design)
        _overall(made, design)
    found = {
        item.name
        for item in design.site.features
        if item.setback > 0 and item.name not in done and _setback(made, item, design)
    }
    return Dimensions(items=tuple(made.items), marks=tuple(made.marks), setbacks=frozenset(found))


def _board(design: Design, view: View, marks: Sequence[Mark]) -> Board:
    left, bottom, right, top = view.window
    room = (left + 0.06, bottom + 0.06, right - 0.06, top - 0.06)
    bed = shapely.transform(design.site.bed.outline, view.to_paper)
    board = Board(room, fieldmarks.linework(list(marks), view), avoid=bed)
    for mark in marks:
        if isinstance(mark, Symbol):
            board.claim(Point(view.to_paper([mark.at])[0]).buffer(mark.size / 2))
    return board


class _Maker:
    """Dimensions distances of the plan on one board."""

    def __init__(
        self,
        view: View,
        board: Board,
        figures: Figures,
        lettering: Lettering,
        built: Sequence[LineString],
        limits: Sequence[LineString],
    ) -> None:
        self.built = shapely.STRtree(list(built))
        self.limits = shapely.union_all(list(limits))
        self.view, self.board, self.figures, self.lettering = view, board, figures, lettering
        self.items: list[Dimension] = []
        self.marks: list[Mark] = []

    def crosses(self, line: LineString) -> bool:
        """Whether a line of the plan [m] crosses one of what is built or stands."""
        on_paper = shapely.transform(line, self.view.to_paper)
        return len(self.built.query(on_paper, predicate="intersects")) > 0

    def lies_on_setback(self, line: LineString) -> bool:
        """Whether a line of the plan [m] or its ends lie so near to a limit of a setback that they read as one."""
        on_paper = shapely.transform(line, self.view.to_paper)
        ends = shapely.MultiPoint([on_paper.coords[0], on_paper.coords[-1]])
        return bool(
            shapely.distance(ends, self.limits) < _APART
            or shapely.length(shapely.intersection(self.limits, on_paper.buffer(_APART))) > _ALONGSIDE
        )

    def lead_to_bed(self, design: Design, tip: Array, way: Array) -> None:
        """Draw the extension line at one end of the length over all on to where the bed reaches as far."""
        outline = coordinates(design.site.bed.outline.exterior)
        reach = (outline - tip) @ (way / np.hypot(*way))
        foot = outline[int(np.argmin(np.abs(reach)))]
        far = float(np.hypot(*(foot - tip)))
        gap = GAP * self.view.metres_per_inch
        if far > gap:
            self.marks.append(
                Line(layer=layers.LEADER, line=LineString([tip, foot + gap / far * (tip - foot)]))
            )

    def covered(self, start: XY, end: XY, offs: Sequence[float], words: str, *, length: float) -> float:
        """How much of what is built the figure of a dimension would cover [in]; infinite where there is no room."""
        found = self._found(self.board.tried(), start, end, offs, words, length=length)
        if found is None:
            return math.inf
        figure = next(mark for mark in found[1] if isinstance(mark, Text))
        box = self.lettering.box(figure)
        under = self.built.geometries[self.built.query(box, predicate="intersects")]
        return float(np.sum(shapely.length(shapely.intersection(under, box))))

    def best(self, ways: Iterable[Way], words: str, *, most: float = math.inf) -> bool:
        """Dimension the first of several distances whose figure covers nothing built, else what covers least.

        Where all cover more than `most` [in], none is dimensioned.
        """
        least, chosen = math.inf, None
        for way in itertools.islice(ways, _TRIED):
            start, end, off, length = way
            under = self.covered(start, end, [off], words, length=length)
            if under < least - 1e-9:
                least, chosen = under, way
            if under <= 0:
                break
        if chosen is None or least > most:
            return False
        start, end, off, length = chosen
        return self.measure(start, end, [off], words, length=length)

    def measure(self, start: XY, end: XY, offs: Sequence[float], words: str, *, length: float) -> bool:
        """Dimension the distance between two points of the plan, `length` being what it is to the last digit."""
        found = self._found(self.board, start, end, offs, words, length=length)
        if found is None:
            return False
        item, marks = on_plan(found, self.view)
        self.items.append(item)
        self.marks += marks
        return True

    def _found(
        self, board: Board, start: XY, end: XY, offs: Sequence[float], words: str, *, length: float
    ) -> tuple[Dimension, list[Mark]] | None:
        ends = [(float(x), float(y)) for x, y in self.view.to_paper([start, end])]
        if not all(shapely.intersects_xy(board.window, *end) for end in ends):
            return None
        return dimensioned(
            board,
            self.lettering,
            self.figures,
            (ends[0], ends[1]),
            length=length,
            offs=offs,
            words=words,
            clear=_CLEAR,
        )


def _setback(made: _Maker, item: Feature, design: Design) -> bool:
    """Dimension one setback from the feature, by its name, towards the bed if there is room, else to any side.

    Not at all where its figure would cover pipes, tubing or walls everywhere: it is then lettered with a leader.
    """
    # A figure that finds no room between the two stands beyond the second: behind a line, not on its way to the bed.
    reaches = list(_reaches(item, design))
    line = item.shape.geom_type != "Polygon"
    ways = [(b, a, 0.0, item.setback) if line else (a, b, 0.0, item.setback) for a, b in reaches]
    name = made.lettering.fitted(made.lettering.clean(item.name).replace("<>", ""), LETTER, _LONGEST_NAME)
    return any(made.best(ways, words, most=_BARELY) for words in (f"<> setback of {name}", "<> setback"))


def _reaches(item: Feature, design: Design) -> Iterator[tuple[XY, XY]]:
    """Yield ways from a feature straight to the limit of its setback."""
    near = shapely.shortest_line(item.shape, design.site.bed.outline)
    starts: list[tuple[XY, float]] = []
    if near.length > 0:
        at, to = near.coords[0], near.coords[-1]
        starts.append(((at[0], at[1]), math.atan2(to[1] - at[1], to[0] - at[0])))
    middle = item.shape.centroid
    for turn in 2 * math.pi * np.arange(_TURNS) / _TURNS:
        far = LineString(
            [
                (middle.x + 1e5 * math.cos(turn), middle.y + 1e5 * math.sin(turn)),
                (middle.x, middle.y),
            ]
        )
        crossing = far.intersection(item.shape)
        if item.shape.geom_type == "Point":
            starts.append(((middle.x, middle.y), float(turn)))
        elif item.shape.geom_type == "Polygon" and not crossing.is_empty:
            first = shapely.get_point(far, 0)
            foot = shapely.shortest_line(item.shape, first).coords[0]
            starts.append(((foot[0], foot[1]), float(turn)))
    if isinstance(item.shape, LineString):
        starts += _square_to(item.shape)
    limit = item.shape.buffer(item.setback, quad_segs=64)
    for (x, y), turn in starts:
        end = (x + item.setback * math.cos(turn), y + item.setback * math.sin(turn))
        # Only where nothing of the feature is nearer is this its limit.
        if abs(item.shape.distance(Point(end)) - item.setback) < 1e-6 and limit.distance(Point(end)) < 1.0:
            yield (float(x), float(y)), (float(end[0]), float(end[1]))


def _square_to(line: LineString) -> list[tuple[XY, float]]:
    """List points along a line, with the way square to it on either side."""
    found: list[tuple[XY, float]] = []
    for share in np.linspace(0.1, 0.9, 17):
        at = line.interpolate(float(share), normalized=True)
        on = line.interpolate(min(float(share) + 1e-4, 1.0), normalized=True)
        way = math.atan2(on.y - at.y, on.x - at.x)
        found += [((at.x, at.y), way + side * math.pi / 2) for side in (1, -1)]
    return found


def _spacing(made: _Maker, design: Design) -> None:
    """Dimension the distance of the first two runs that lie beside each other."""
    made.best(_gaps(design), "<> run to run")


def _gaps(design: Design) -> Iterator[Way]:
    """Yield ways from a run to the one beside it, the first runs first."""
    runs = design.laying.runs
    for one in runs:
        for other in (run for run in runs if run.row == one.row + 1):
            for start, end in _across(one.line, other.line):
                length = math.dist(start, end)
                if length < 1.6 * design.site.runs.spacing:
                    yield from ((start, end, off, length) for off in _BESIDE)


def _clearance(made: _Maker, design: Design) -> None:
    """Dimension the distance of an outer run to the edge of the bed: the last one, then the first."""
    made.best(_margins(design), "<> to the edge")


def _margins(design: Design) -> Iterator[Way]:
    """Yield ways from an outer run to the edge of the bed."""
    edge = LineString(design.site.bed.outline.exterior.coords)
    for run in (design.laying.runs[-1:] + design.laying.runs[:1]) if design.laying.runs else ():
        for start, end in _across(run.line, edge):
            length = math.dist(start, end)
            if length < 3 * max(design.site.bed.clearance, 0.3 * design.site.runs.spacing):
                yield from ((start, end, off, length) for off in _BESIDE)


def _across(line: LineString, other: LineString) -> Iterator[tuple[XY, XY]]:
    for share in _ALONG:
        at = line.interpolate(share, normalized=True)
        foot = other.interpolate(other.project(at))
        yield (at.x, at.y), (foot.x, foot.y)


def _overall(made: _Maker, design: Design) -> None:
    """Dimension the bed from end to end, beside it, where no line of the plan is crossed but limits of setbacks."""
    box = coordinates(design.site.bed.outline.minimum_rotated_rectangle)[:-1]
    sides = [(box[i], box[(i + 1) % len(box)]) for i in range(len(box))]
    longest = max(math.dist(a, b) for a, b in sides)
    middle = box.mean(axis=0)
    sides = [pair for pair in sides if math.dist(*pair) > longest - 1e-6]
    for strict in (True, False):
        for off, (start, end) in itertools.product(_OUTSIDE, sides):
            way, lean = end - start, middle - start
            outward = -1.0 if way[0] * lean[1] - way[1] * lean[0] > 0 else 1.0
            aside = outward * off * made.view.metres_per_inch / longest * np.array([-way[1], way[0]])
            line = LineString([start + aside, end + aside])
            if made.crosses(line) or (strict and made.lies_on_setback(line)):
                continue
            first, last = (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))
            if made.measure(first, last, [outward * off], "bed <> over all", length=longest):
                for tip in (start, end):
                    made.lead_to_bed(design, tip, way)
                return
