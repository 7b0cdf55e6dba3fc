"""A plan too long for one sheet: views side by side that share edges, match lines along these, and the key plan.

Views do not overlap, so what is lettered in one never shows in another.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon, box

from layout.plane import polygons_of
from layout.sheets import layers
from layout.sheets.blocks import COLUMN, rule
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Line, Mark, Paper, Pen, Text, View
from layout.sheets.seen import ground_of

Objects = NDArray[np.object_]
Window = tuple[float, float, float, float]

MATCH = 0.26
"""Round the window of a sheet with match lines, for their lettering [in]."""
_KEY_LEAST, _KEY_MOST, _KEY_SHARE = 1.2, 1.9, 0.15
_LETTER = 0.08
_SHORTEST = 0.25
"""Windows that share less than this have no match line there, unless something of the field crosses it [in]."""
_THIN, _THICK = Pen(weight=0.18), Pen(weight=0.5)


def tiles(shapes: Objects, window: Window, metres_per_inch: float, *, around: float) -> list[View]:
    """Cover shapes with views of one size and scale, in slices along the way that needs fewer of them.

    Parameters
    ----------
    shapes : array of geometries
        What must be seen [m].
    window : (left, bottom, right, top)
        Of each sheet [in].
    metres_per_inch : float
    around : float
        To be left free beyond the outermost shapes for labels [in].

    Returns
    -------
    list of View
        From one end on; views of neighbouring slices share (parts of) an edge.
    """
    size = (window[2] - window[0]) * metres_per_inch, (window[3] - window[1]) * metres_per_inch
    margin = around * metres_per_inch
    across, up = (_slices(shapes, size, margin, axis=axis) for axis in (0, 1))
    centres = across if len(across) <= len(up) else up
    return [View(window=window, centre=centre, metres_per_inch=metres_per_inch) for centre in centres]


def _slices(
    shapes: Objects, size: tuple[float, float], margin: float, *, axis: int
) -> list[tuple[float, float]]:
    """Centres of tiles: slices across one axis, each with as many tiles as its part of the shapes needs."""
    bounds = shapely.total_bounds(shapes)
    low, high = bounds[:2] - margin, bounds[2:] + margin
    count = max(math.ceil((high[axis] - low[axis]) / size[axis] - 1e-9), 1)
    first = (low[axis] + high[axis] - count * size[axis]) / 2
    other = 1 - axis
    centres = []
    for index in range(count):
        start = first + index * size[axis]
        if axis == 0:
            strip = box(start, low[1], start + size[0], high[1])
        else:
            strip = box(low[0], start, high[0], start + size[1])
        part = shapely.intersection(shapes, strip)
        part = part[~shapely.is_empty(part)]
        if not len(part):
            continue
        found = shapely.total_bounds(part)
        least, most = found[other] - margin, found[2 + other] + margin
        rows = max(math.ceil((most - least) / size[other] - 1e-9), 1)
        # from the top down where slices stand side by side, from the left on where they lie on each other
        steps = range(rows) if other == 0 else range(rows - 1, -1, -1)
        for row in steps:
            middle = (least + most) / 2 + (row - (rows - 1) / 2) * size[other]
            at = [0.0, 0.0]
            at[axis], at[other] = start + size[axis] / 2, middle
            half = (size[0] / 2, size[1] / 2)
            window = box(at[0] - half[0], at[1] - half[1], at[0] + half[0], at[1] + half[1])
            if rows == 1 or bool(np.any(shapely.intersects(part, window))):
                centres.append((float(at[0]), float(at[1])))
    # slices that lie on each other are told from the top down too
    return centres if axis == 0 else sorted(centres, key=lambda at: (-round(at[1], 6), at[0]))


# --- match lines ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """Where a view goes on in another one.

    Attributes
    ----------
    edge : "left", "bottom", "right" or "top"
        Of the window.
    span : (float, float)
        Along the edge, in inches of the sheet.
    sheet : int
        Number of the sheet that the plan goes on on.
    """

    edge: str
    span: tuple[float, float]
    sheet: int


def matches(views: Sequence[View], index: int, shapes: Objects) -> list[Match]:
    """List where a view meets others, in the order of their sheets."""
    mine, here = ground_of(views[index]), views[index]
    found = []
    for number, view in enumerate(views, start=1):
        if number == index + 1:
            continue
        shared = mine.buffer(1e-6).intersection(ground_of(view).buffer(1e-6))
        if shared.is_empty:
            continue
        left, bottom, right, top = (
            np.asarray(here.to_paper(np.reshape(shared.bounds, (2, 2)))).ravel().tolist()
        )
        upright = top - bottom > right - left
        span = (bottom, top) if upright else (left, right)
        crossed = bool(np.any(shapely.intersects(shapes, shared)))
        if span[1] - span[0] < _SHORTEST and not crossed:
            continue
        middle = here.middle
        if upright:
            edge = "right" if (left + right) / 2 > middle[0] else "left"
        else:
            edge = "top" if (bottom + top) / 2 > middle[1] else "bottom"
        found.append(Match(edge=edge, span=span, sheet=number))
    return found


def match_lines(view: View, found: Sequence[Match], lettering: Lettering) -> list[Mark]:
    """Draw a heavy broken line along each shared edge, and letter it outside the window."""
    left, bottom, right, top = view.window
    marks: list[Mark] = []
    for match in found:
        low, high = match.span
        upright = match.edge in {"left", "right"}
        at = {"left": left, "right": right, "bottom": bottom, "top": top}[match.edge]
        ends = [(at, low), (at, high)] if upright else [(low, at), (high, at)]
        marks.append(Line(layer=layers.MATCH, line=LineString(ends)))
        words = f"MATCH LINE, SEE SHEET {match.sheet}"
        if lettering.width(words, _LETTER, strong=True) > high - low:
            words = f"SHEET {match.sheet}"
        if lettering.width(words, _LETTER, strong=True) > high - low:
            continue
        middle = (low + high) / 2
        # over the line at the top and the left, under it at the bottom and the right, always clear of the frame
        off = {"left": -0.08, "right": 0.16, "bottom": -0.16, "top": 0.08}[match.edge]
        place = (at + off, middle) if upright else (middle, at + off)
        marks.append(
            Text(
                layer=layers.MATCH,
                text=words,
                at=place,
                height=_LETTER,
                angle=90.0 if upright else 0.0,
                align="centre",
                strong=True,
            )
        )
    return marks


# --- key plan ----------------------------------------------------------------------------------------------


def key_height(paper: Paper) -> float:
    """Height of the key plan over the title block, with its heading; less on small sheets [in]."""
    return min(max(_KEY_SHARE * paper.height, _KEY_LEAST), _KEY_MOST)


def key_plan(
    outline: Polygon,
    views: Sequence[View],
    index: int,
    place: tuple[float, float, float],
    lettering: Lettering,
) -> list[Mark]:
    """Draw the whole bed small, with the windows of all sheets and their numbers, this one shaded.

    Parameters
    ----------
    outline : Polygon
        Of the bed [m].
    views : sequence of View
    index : int
        Of the sheet the key plan stands on, from 0.
    place : (left, bottom, height)
        Of the picture with its heading on the sheet [in].
    lettering : Lettering
    """
    left, bottom, height = place
    room = box(left + 0.05, bottom + 0.1, left + COLUMN - 0.05, bottom + height - 0.4)
    grounds = [ground_of(view) for view in views]
    whole = shapely.total_bounds(np.asarray([outline, *grounds], dtype=object))
    least, most = whole[:2], whole[2:]
    west, south, east, north = room.bounds
    scale = max((most[0] - least[0]) / (east - west), (most[1] - least[1]) / (north - south))
    middle = ((least[0] + most[0]) / 2, (least[1] + most[1]) / 2)
    small = View(window=(west, south, east, north), centre=middle, metres_per_inch=scale)
    marks: list[Mark] = [
        Text(
            layer=layers.LEGEND,
            text="Key plan",
            at=(left, bottom + height - 0.15),
            height=0.1,
            strong=True,
        ),
        Text(
            layer=layers.LEGEND,
            text="not to scale",
            at=(left + COLUMN, bottom + height - 0.15),
            height=_LETTER,
            align="right",
        ),
        rule(layers.LEGEND, left, bottom + height - 0.2, pen=Pen(weight=0.35)),
    ]
    drawn = [shapely.transform(ground, small.to_paper) for ground in grounds]
    bed = shapely.transform(outline, small.to_paper).simplify(0.005)
    for number in (*(n for n in range(len(drawn)) if n != index), index):
        mine = number == index
        fill = Colour.SHADE if mine else None
        marks.append(Area(layer=layers.LEGEND, shape=drawn[number], fill=fill, pen=_THICK if mine else _THIN))
    marks.extend(
        Line(layer=layers.LEGEND, line=LineString(part.exterior.coords), pen=layers.BED.pen)
        for part in polygons_of(bed)
    )
    taken: list[Polygon] = []
    for number, ground in enumerate(drawn, start=1):
        at = (ground.centroid.x, ground.centroid.y - _LETTER / 2)
        mark = Text(
            layer=layers.LEGEND,
            text=str(number),
            at=at,
            height=_LETTER,
            align="centre",
            strong=number == index + 1,
            mask=True,
        )
        covered = lettering.box(mark)
        if not any(covered.intersects(other) for other in taken):
            taken.append(covered)
            marks.append(mark)
    return marks
