"""Lettering of manifolds, lines and flush valves on the plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from layout.model import Design
from layout.plane import Array
from layout.sheets import fieldmarks
from layout.sheets.figures import Figures
from layout.sheets.labelpen import LETTER, LabelPen, reach_of
from layout.sheets.placing import REACHES, Spots, along, around, joined

_CROSSING = 2.5
"""Cost of a leader that crosses another pipe to reach its own."""
_TOGETHER = 0.4
"""Flush valves nearer to each other than this on paper share a label [in]."""


def pipes(pen: LabelPen, design: Design, figures: Figures) -> None:
    """Letter kind, size and length along each manifold and line, or beside it with a leader.

    Parameters
    ----------
    pen : LabelPen
    design : Design
    figures : Figures
    """
    every = (*design.plumbing.manifolds, *design.plumbing.lines)
    laid = [(pipe, shapely.transform(pipe.line, pen.view.to_paper)) for pipe in every]
    for what, found in (("manifold", design.plumbing.manifolds), ("line", design.plumbing.lines)):
        for pipe in found:
            size, length = figures.diameter_of(pipe.diameter), figures.length_of(pipe.line.length)
            named = pipe.named(what, several=len(design.zones) > 1)
            text = f"{named}, {size}, {length}"
            width = pen.width(text)
            pieces = sorted(pen.paper(pipe.line), key=reach_of, reverse=True)
            if not pieces or not pen.shows(pieces, pipe.line):
                continue
            beside = 0.5 * LETTER + 0.05
            spots = [
                along(pieces[0], width, LETTER, prefer=0.5, above=side, mask=False)
                for side in (beside, -beside)
            ]
            others = shapely.union_all([line for other, line in laid if other is not pipe])
            spots.append(_past(about(pieces[0], width).dearer(0.3), others))
            if not pen.write(text, joined(spots)):
                pen.unplaced.append(named)


def _past(spots: Spots, lines: BaseGeometry) -> Spots:
    """Make spots dearer whose leader crosses one of some lines on paper."""
    led = np.flatnonzero(~np.isnan(spots.leader[:, 0, 0]))
    extra = np.zeros(len(spots))
    extra[led] = _CROSSING * shapely.intersects(shapely.linestrings(spots.leader[led]), lines)
    return replace(spots, cost=spots.cost + extra)


def about(piece: Array, width: float, *, shares: Sequence[float] = (0.5, 0.25, 0.75, 0.02, 0.98)) -> Spots:
    """List spots with a leader to one of several points of a line on paper.

    Parameters
    ----------
    piece : (n, 2) array
        The line [in].
    width : float
        Of the text [in].
    shares : sequence of float, optional
        Where on the line the points lie, from 0 at its start to 1 at its end.
    """
    line = LineString(piece)
    points = [line.interpolate(share, normalized=True) for share in shares]
    return joined([around((at.x, at.y), width, reaches=REACHES[:6]) for at in points])


def flush_valves(pen: LabelPen, design: Design) -> None:
    """Letter what the crew turns: each return flush valve, those side by side together.

    Parameters
    ----------
    pen : LabelPen
    design : Design
    """
    left = [
        pen.view.to_paper([item.at])[0] for item in design.plumbing.fittings if item.kind == "flush valve"
    ]
    lines = [shapely.transform(pipe.line, pen.view.to_paper) for pipe in design.plumbing.lines]
    while left:
        first = left[0]
        beside = [at for at in left if math.dist(at, first) <= _TOGETHER]
        left = [at for at in left if math.dist(at, first) > _TOGETHER]
        if not pen.holds(first):
            continue
        text = "return flush valve" if len(beside) == 1 else f"{len(beside)} return flush valves"
        # With a leader always: without one it would seem to name the pump, or whatever else is near.
        spots = joined(
            [
                around((float(x), float(y)), pen.width(text), size=fieldmarks.VALVE / 2, reaches=REACHES[:6])
                for x, y in beside
            ]
        )
        spots = spots.only(~np.isnan(spots.leader[:, 0, 0]))
        if not pen.write(text, _past(spots, shapely.union_all(lines))):
            pen.unplaced.append(text)
