"""Emitters on the blank tubing that carries a row past an obstacle, where it is a gap from all runs."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from layout.plane import coordinates, stretch
from layout.runs.carried import Carried
from layout.runs.nearby import away
from layout.runs.trim import CRUMB, GAP_SHARE, Ground


def let_emit(row: Carried, at: int, others: BaseGeometry, ground: Ground) -> Carried:
    """A row with emitters on a stretch of its blank tubing: from the runs it joins on, or in its middle, as gaps allow.

    `others` is all tubing of other rows that comes within a gap of that stretch.
    """
    blank = row.blanks[at]
    assert blank is not None, "only blank tubing can be given emitters"
    before, after = row.pieces[at], row.pieces[at + 1]
    length, gap = float(blank.length), GAP_SHARE * ground.closest
    along = np.linspace(0.0, length, max(math.ceil(8 * length / ground.spacing), 2) + 1)
    shapely.prepare(others)
    free = ~shapely.dwithin(others, shapely.line_interpolate_point(blank, along), gap)
    if free.all() and float(away(blank, others)) >= gap:
        return row.join(at, joined(before, blank, after))
    if free.all():
        return row
    on, off = along[max(int(np.argmin(free)) - 1, 0)], along[-max(int(np.argmin(free[::-1])), 1)]
    longer, on, off = _longer((before, after), blank, (float(on), float(off)), others, ground)
    blanks: list[LineString | None] = [stretch(blank, on, off)]
    pieces = list(longer)
    middle = _middle_span(blanks[0], shapely.union_all([others, *longer]), ground)  # type: ignore[arg-type]
    if middle is not None:
        start, end = middle
        rest = blanks[0]
        assert rest is not None, "it was made just now"
        pieces.insert(1, stretch(rest, start, end))
        blanks = [stretch(rest, 0.0, start), stretch(rest, end, rest.length)]
    return row.put(at, 2, pieces, blanks)


def _longer(
    runs: tuple[LineString, LineString],
    blank: LineString,
    span: tuple[float, float],
    others: BaseGeometry,
    ground: Ground,
) -> tuple[tuple[LineString, LineString], float, float]:
    """Two runs carried on along the blank tubing between them, and the span [m] of it that stays blank.

    Where that would break a gap they stay as they are.
    """
    (before, after), (on, off) = runs, span
    crumb, gap = CRUMB * ground.spacing, GAP_SHARE * ground.closest
    whole = (runs, 0.0, float(blank.length))
    gained: list[LineString] = []
    if on > crumb:
        gained.append(stretch(blank, 0.0, on))
        before = joined(before, gained[-1])
    else:
        on = 0.0
    if off < blank.length - crumb:
        gained.append(stretch(blank, off, blank.length))
        after = joined(gained[-1], after)
    else:
        off = float(blank.length)
    if not gained or min(float(away(line, others)) for line in gained) < gap:
        return whole
    kept = min(gap, float(runs[0].distance(runs[1])))
    return ((before, after), on, off) if float(before.distance(after)) >= kept else whole


def _middle_span(blank: LineString, others: BaseGeometry, ground: Ground) -> tuple[float, float] | None:
    """The longest stretch of some blank tubing a gap from all runs [m]; None where it is too short for a run."""
    length, gap = float(blank.length), GAP_SHARE * ground.closest
    along = np.linspace(0.0, length, max(math.ceil(8 * length / ground.spacing), 2) + 1)
    shapely.prepare(others)
    near = shapely.dwithin(others, shapely.line_interpolate_point(blank, along), gap)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], ~near, [0]))))
    spans = [(along[a], along[b - 1]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    start, end = max(spans, key=lambda span: span[1] - span[0], default=(0.0, 0.0))
    if end - start < ground.least or not 0 < start < end < length:
        return None
    return (start, end) if float(stretch(blank, start, end).distance(others)) >= gap else None


def joined(*lines: LineString) -> LineString:
    """Lines that follow each other, as one."""
    points = [coordinates(lines[0]), *(coordinates(line)[1:] for line in lines[1:])]
    return LineString(np.vstack(points))
