"""What is lettered last, where room is left: contours, surveyed levels, and the grid of site coordinates."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString, Point

from layout.frame import to_local, to_site
from layout.model import Design
from layout.sheets import layers
from layout.sheets.contours import contours, interval_of
from layout.sheets.figures import plain
from layout.sheets.labelpen import LETTER, LabelPen, reach_of
from layout.sheets.marks import Line, Symbol
from layout.sheets.placing import REACHES, along, around, joined

_CROSS, _TICK = 0.1, 0.1
"""Width of a grid cross, length of a grid tick [in]."""
_GRID = 2.0
"""Least distance of grid lines on paper [in]."""
_LEVEL = 0.05
"""Width of the mark of a surveyed level [in]."""
_LEVELS_APART = 0.9
_LEAST_CONTOUR = 1.5
"""Shorter contours are not lettered [in]."""


def ground_labels(pen: LabelPen, design: Design) -> None:
    """Letter contours, levels and grid, each where nothing else stands."""
    _contours(pen, design)
    _levels(pen, design)
    _grid(pen, design)


def _contours(pen: LabelPen, design: Design) -> None:
    levels = design.site.bed.levels
    if levels is None or not levels.points:
        return
    units = design.site.frame.units
    interval = interval_of(levels, units)
    step = interval / units.length
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    for number, line in contours(levels, interval):
        text = f"{plain(number * step, decimals, thousands=False)} {units.length_name}"
        pieces = sorted(pen.paper(line), key=reach_of, reverse=True)
        if pieces and reach_of(pieces[0]) >= _LEAST_CONTOUR:
            spots = [
                along(pieces[0], pen.width(text), LETTER, prefer=at, above=0.0, mask=True)
                for at in (0.2, 0.8)
            ]
            pen.write(text, joined(spots))


def _levels(pen: LabelPen, design: Design) -> None:
    """Mark surveyed levels, as many as stand well apart; all of them are in the survey."""
    levels = design.site.bed.levels
    units = design.site.frame.units
    points = np.asarray(levels.points if levels is not None else (), dtype=np.float64).reshape(-1, 3)
    paper = pen.view.to_paper(points[:, :2])
    kept: list[tuple[float, float]] = []
    for (x, y), level in zip(paper.tolist(), points[:, 2].tolist(), strict=True):
        if any(math.dist((x, y), other) < _LEVELS_APART for other in kept):
            continue
        spot = Point(x, y).buffer(_LEVEL)
        if not pen.board.free(spot):
            continue
        text = plain(level / units.length, 2 if units.word == "m" else 1, thousands=False)
        near = around((x, y), pen.width(text), size=_LEVEL / 2, reaches=REACHES[:1])
        if pen.write(text, near.only(near.cost < 0.08)):
            pen.board.claim(spot)
            kept.append((x, y))
            at = pen.view.to_plan([(x, y)])[0]
            pen.marks.append(
                Symbol(layer=layers.SPOT, name="level", at=(float(at[0]), float(at[1])), size=_LEVEL)
            )


def _grid(pen: LabelPen, design: Design) -> None:
    """Set crosses where lines of round site coordinates meet, and letter the lines at the edges of the window."""
    frame, view = design.site.frame, pen.view
    # a hair inside, so that ticks on the edge lie in the window
    left, bottom, right, top = pen.board.window.buffer(-0.02, join_style="mitre").bounds
    corners = to_site(frame, view.to_plan([(left, bottom), (right, top)]))
    step = _round(_GRID * view.metres_per_inch / frame.units.length)
    easts, norths = (
        np.arange(math.ceil(corners[0, axis] / step), math.floor(corners[1, axis] / step) + 1) * step
        for axis in (0, 1)
    )
    bed = design.site.bed.outline.buffer(_CROSS * view.metres_per_inch)
    # the figures first: without those of both ways the crosses say nothing
    for east in easts:
        x = float(view.to_paper(to_local(frame, [(east, corners[0, 1])]))[0, 0])
        if not _tick(pen, f"E {east:.0f}", (x, bottom), (0, 1)):
            _tick(pen, f"E {east:.0f}", (x, top), (0, -1))
    for north in norths:
        y = float(view.to_paper(to_local(frame, [(corners[0, 0], north)]))[0, 1])
        if not _tick(pen, f"N {north:.0f}", (left, y), (1, 0)):
            _tick(pen, f"N {north:.0f}", (right, y), (-1, 0))
    for east in easts:
        for north in norths:
            at = to_local(frame, [(east, north)])[0]
            if bed.intersects(Point(at)):
                continue
            spot = Point(view.to_paper([at])[0]).buffer(0.6 * _CROSS)
            if pen.board.free(spot):
                pen.board.claim(spot)
                place = (float(at[0]), float(at[1]))
                pen.marks.append(Symbol(layer=layers.GRID, name="grid cross", at=place, size=_CROSS))


def _tick(pen: LabelPen, text: str, at: tuple[float, float], inward: tuple[int, int]) -> bool:
    """Draw a tick inward from the edge, its coordinate beside it; neither where there is no room."""
    x, y = at
    width = pen.width(text)
    tick = LineString([at, (x + inward[0] * _TICK, y + inward[1] * _TICK)])
    if inward[0]:
        start = (x + 0.05 if inward[0] > 0 else x - 0.05 - width - 0.125, y + 0.09)
    else:
        start = (x + 0.01, y + 0.09 * inward[1])
    level = np.asarray([start, (start[0] + width + 0.125, start[1])])
    if not pen.board.free(tick.buffer(0.01)):
        return False
    if not pen.write(text, along(level, width, LETTER, prefer=0.5, above=0.0, mask=False)):
        return False
    pen.board.claim(tick.buffer(0.005))
    pen.marks.append(Line(layer=layers.GRID, line=shapely.transform(tick, pen.view.to_plan)))
    return True


def _round(least: float) -> float:
    """Find 1, 2 or 5 times a power of ten, at least this and at least 1."""
    power = 10.0 ** math.floor(math.log10(max(least, 1.0)))
    return next(
        factor * power
        for factor in (1, 2, 5, 10)
        if factor * power >= least * (1 - 1e-9) and factor * power >= 1
    )
