"""Dimensions on paper: the lines, strokes and figure of each, found room for among what is lettered already."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString

from layout.model import XY
from layout.plane import Array, coordinates, pair
from layout.sheets import layers
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Dimension, Line, Mark, Text, View
from layout.sheets.placing import Board, Spots

LETTER = 0.08
"""Height of the figures [in]."""
TICK = 0.07
"""Length of the stroke across the end of a dimension line [in]."""
GAP, BEYOND = 0.04, 0.05
"""From what is measured to its extension line, and what that reaches beyond the dimension line [in]."""
_UPRIGHT = 0.09
_ROOM = 0.05
_LEAST = 0.02
SHORT = 0.05
"""Of each end of a line that may lie on the lines of another dimension [in]."""


def dimensioned(
    board: Board,
    lettering: Lettering,
    figures: Figures,
    ends: tuple[XY, XY],
    *,
    length: float,
    offs: Sequence[float],
    words: str = "<>",
    clear: float = SHORT,
    beside: bool = False,
) -> tuple[Dimension, list[Mark]] | None:
    """Dimension a distance on paper.

    Parameters
    ----------
    board : Board
        On which its figure and its line take their places.
    lettering : Lettering
    figures : Figures
    ends : pair of (x, y)
        What it is measured between, on paper [in].
    length : float
        On the ground [m].
    offs : sequence of float
        How far to the left of the distance the dimension line may lie, the best first; to the right below 0 [in].
    words : str
        With ``<>`` for the figure and its unit.
    clear : float
        How much of each end of the dimension line may lie on what has its place already [in].
    beside : bool
        Whether a figure too wide for its line stands across it, beside its middle, and not beyond an end.

    Returns
    -------
    (Dimension, list of Mark) or None
        On paper [in]; None where there is no room.
    """
    start, end = ends
    size = math.dist(start, end)
    if size < _LEAST:
        return None
    text = words.replace("<>", figures.length_of(length))
    width = lettering.width(text, LETTER)
    for off in offs:
        line = _shifted(start, end, off)
        # Its ends may stand on the extension lines of the dimension before it.
        inner = _between(line, clear)
        if not board.free(inner.buffer(0.01)):
            continue
        spots = _across(line, width, off) if beside and width + 2 * _ROOM > size else _spots(line, width)
        spot = board.place(spots, width, LETTER)
        if spot is None:
            continue
        made = Dimension(
            layer=layers.DIMENSION,
            start=start,
            end=end,
            across=pair(coordinates(line)[0]),
            words=words,
            text_at=spot.at,
            angle=spot.angle,
            height=LETTER,
            length=length,
        )
        marks = drawn(made, text, width, mask=spot.mask)
        for mark in marks:
            if isinstance(mark, Line):
                board.claim(_between(mark.line).buffer(0.015))
        return made, marks
    return None


def drawn(item: Dimension, text: str, width: float, *, mask: bool = False) -> list[Mark]:
    """Draw a dimension: extension lines, dimension line with a stroke at each end, and its text [in].

    A text with a mask breaks the lines under it.
    """
    start, end = np.asarray(item.start), np.asarray(item.end)
    way = (end - start) / np.hypot(*(end - start))
    up = np.array([-way[1], way[0]])
    off = float((np.asarray(item.across) - start) @ up)
    side = math.copysign(1.0, off)
    at, to = start + off * up, end + off * up
    parts = []
    if abs(off) > GAP:
        parts += [(point + side * GAP * up, point + (off + side * BEYOND) * up) for point in (start, end)]
    # Where the figure stands beyond an end, the dimension line is drawn on under it.
    middle = (np.asarray(item.text_at) - at) @ way
    turn = math.radians(item.angle)
    under = width / 2 * abs(way @ np.array([math.cos(turn), math.sin(turn)]))
    low = min(0.0, middle - under)
    high = max(math.dist(item.start, item.end), middle + under)
    parts.append((at + low * way, at + high * way))
    stroke = TICK / 2 * (way + up) / math.sqrt(2)
    parts += [(point - stroke, point + stroke) for point in (at, to)]
    marks: list[Mark] = [Line(layer=item.layer, line=LineString(pair)) for pair in parts]
    base = (
        item.text_at[0] + math.sin(turn) * item.height / 2,
        item.text_at[1] - math.cos(turn) * item.height / 2,
    )
    marks.append(
        Text(
            layer=item.layer,
            text=text,
            at=base,
            height=item.height,
            angle=item.angle,
            align="centre",
            mask=mask,
        )
    )
    return marks


def on_plan(found: tuple[Dimension, list[Mark]], view: View) -> tuple[Dimension, list[Mark]]:
    """Bring a dimension drawn on paper [in] into the plan [m]."""
    item, marks = found

    def plan(point: XY) -> XY:
        return pair(view.to_plan([point])[0])

    moved = replace(
        item,
        start=plan(item.start),
        end=plan(item.end),
        across=plan(item.across),
        text_at=plan(item.text_at),
    )
    placed: list[Mark] = []
    for mark in marks:
        if isinstance(mark, Line):
            placed.append(replace(mark, line=shapely.transform(mark.line, view.to_plan)))
        elif isinstance(mark, Text):
            placed.append(replace(mark, at=plan(mark.at)))
    return moved, placed


def _shifted(start: XY, end: XY, off: float) -> LineString:
    way = (np.asarray(end) - np.asarray(start)) / math.dist(start, end)
    up = np.array([-way[1], way[0]])
    return LineString([np.asarray(start) + off * up, np.asarray(end) + off * up])


def _between(line: LineString, short: float = SHORT) -> LineString:
    """Cut a straight line short of its ends."""
    first, last = coordinates(line)
    cut = min(short / max(float(np.hypot(*(last - first))), short), 0.4) * (last - first)
    return LineString([first + cut, last - cut])


def _spots(line: LineString, width: float) -> Spots:
    """List places for the figure: over the line, under it, beyond either end."""
    first, last = coordinates(line)
    size = float(np.hypot(*(last - first)))
    way = (last - first) / size
    # To be read from below or from the right.
    read = way[0] > _UPRIGHT or (way[0] > -_UPRIGHT and way[1] > 0)
    sense = 1.0 if read else -1.0
    up = sense * np.array([-way[1], way[0]])
    lift = LETTER / 2 + _ROOM
    middle = (first + last) / 2
    fits = width + 2 * _ROOM <= size
    reach = width / 2 + 0.12
    places: list[tuple[Array, float]] = []
    if fits:
        places += [(middle + lift * up, 0.0), (middle - lift * up, 0.1)]
    for end, out in ((last, way), (first, -way)):
        places += [(end + reach * out + lift * up, 0.3), (end + reach * out - lift * up, 0.35)]
    count = len(places)
    return Spots(
        at=np.array([place for place, _ in places]),
        angle=np.full(count, math.degrees(math.atan2(sense * way[1], sense * way[0]))),
        cost=np.array([cost for _, cost in places]),
        leader=np.full((count, 2, 2), np.nan),
        mask=np.zeros(count, dtype=bool),
    )


def _across(line: LineString, width: float, off: float) -> Spots:
    """List places for a figure that stands across its line: beside its middle, outside or inside."""
    first, last = coordinates(line)
    way = (last - first) / float(np.hypot(*(last - first)))
    out = math.copysign(1.0, off) * np.array([-way[1], way[0]])
    read = out if out[0] > _UPRIGHT or (out[0] > -_UPRIGHT and out[1] > 0) else -out
    reach = width / 2 + _ROOM
    middle = (first + last) / 2
    return Spots(
        at=np.array([middle + reach * out, middle - reach * out]),
        angle=np.full(2, math.degrees(math.atan2(read[1], read[0]))),
        cost=np.array([0.0, 0.2]),
        leader=np.full((2, 2, 2), np.nan),
        mask=np.zeros(2, dtype=bool),
    )
