"""Crowded stakes at a larger scale, in the room under the table: those whose number found none in the picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPoint, Point, STRtree, box
from shapely.geometry.base import BaseGeometry

from layout.model import Design, Stake
from layout.plane import Array
from layout.sheets.crew.paper import CREW, FIRM, LETTER, THIN, Letterer
from layout.sheets.crew.picture import background, stake_marks
from layout.sheets.crew.stretches import Stretch
from layout.sheets.details.picture import Window, large_scales
from layout.sheets.marks import Area, Dots, Line, Mark, Symbol, View
from layout.sheets.pages import through

AROUND = 0.45
"""Left free round the stakes that are shown, for their numbers [in]."""
GAIN = 1.5
"""A picture is worth its room where it shows stakes so many times larger."""
LEAST = 1.9
"""Least height of a picture [in]."""
CAPTION = 0.2
NEAREST = 5
"""A stake is shown with so many, itself among them, that stand nearest to it."""
SHARE = 0.42
"""Of a picture's width and height that one in a corner of it takes."""


@dataclass(frozen=True, slots=True)
class Enlarged:
    """A larger picture of some stakes.

    Attributes
    ----------
    stretch : Stretch
        With the stakes that it shows only.
    view : View
    scale : str
    """

    stretch: Stretch
    view: View
    scale: str


def enlarged(
    design: Design, stretch: Stretch, bare: Sequence[Stake], window: Window, plain: View
) -> Enlarged | None:
    """Choose what to show larger, and how much: as many stakes without a number as may be, as large as may be.

    Each with those nearest to it, so that it can be told where it stands.

    Parameters
    ----------
    design : Design
    stretch : Stretch
        Of the sheet.
    bare : sequence of Stake
        Whose number found no room.
    window : (left, bottom, right, top)
        What is free for it, its caption included [in].
    plain : View
        That of the picture.

    Returns
    -------
    Enlarged or None
        None where no stake is bare, there is no room, or nothing would be larger.
    """
    left, bottom, right, top = window
    window = (left, bottom, right, top - CAPTION)
    wide, high = right - left - 2 * AROUND, top - CAPTION - bottom - 2 * AROUND
    if not bare or top - bottom < LEAST:
        return None
    groups = _with_nearest(stretch, bare)
    best, most = None, 0
    for metres, words in large_scales(design.site.frame.units):  # the largest first
        if metres * GAIN > plain.metres_per_inch:
            break
        half = np.array([wide, high]) * metres / 2
        for middle in _middles(groups, half):
            count = int((np.abs(groups - middle) <= half + 1e-9).all(axis=(1, 2)).sum())
            if count > most:
                best, most = (middle, metres, words), count
    if best is None:
        return None
    middle, metres, words = best
    view = View(window=window, centre=(float(middle[0]), float(middle[1])), metres_per_inch=metres)
    shown = view.to_paper([stake.at for stake in stretch.stakes])
    seen = box(*window).buffer(-LETTER)
    stakes = tuple(
        stake for stake, at in zip(stretch.stakes, shown, strict=True) if shapely.intersects_xy(seen, *at)
    )
    return Enlarged(replace(stretch, stakes=stakes), view, words)


def _with_nearest(stretch: Stretch, bare: Sequence[Stake]) -> Array:
    """Each stake with the few that stand nearest to it, where there are as many: shape (n, 5 or fewer, 2) [m]."""
    every = np.array([stake.at for stake in stretch.stakes])
    apart = np.hypot(*(np.array([stake.at for stake in bare])[:, None, :] - every).transpose(2, 0, 1))
    return np.asarray(every[np.argsort(apart, axis=1, kind="stable")[:, :NEAREST]])


def _middles(groups: Array, half: Array) -> Array:
    """Middles of windows to be tried: of all groups, and of those to the right of one and above one."""
    low, high = groups.min(axis=1), groups.max(axis=1)
    found = [(low.min(axis=0) + high.max(axis=0)) / 2]
    for x in np.unique(low[:, 0]):
        for y in np.unique(low[:, 1]):
            inside = ((low >= (x, y)) & (high <= np.add((x, y), 2 * half))).all(axis=1)
            if inside.any():
                found.append((low[inside].min(axis=0) + high[inside].max(axis=0)) / 2)
    return np.asarray(np.unique(np.array(found), axis=0))


def corners(design: Design, stretch: Stretch, plain: View, marks: Sequence[Mark]) -> list[Window]:
    """Corners of a picture that nothing stands in, as large as a larger picture wants to be [in].

    Parameters
    ----------
    design : Design
    stretch : Stretch
    plain : View
        That of the picture.
    marks : sequence of Mark
        What is lettered on it already, on paper [in].
    """
    left, bottom, right, top = plain.window
    wide, high = SHARE * (right - left), SHARE * (top - bottom)
    shapes: list[BaseGeometry] = []
    for mark in [*marks, *through(plain, background(design, plain, stretch))]:
        if isinstance(mark, Line):
            shapes.append(mark.line)
        elif isinstance(mark, Area):
            shapes.append(mark.shape.boundary)
        elif isinstance(mark, Dots):
            shapes.append(MultiPoint(mark.points))
        else:
            shapes.append(Point(mark.at))
    windows = [(x, y, x + wide, y + high) for y in (bottom, top - high) for x in (left, right - wide)]
    edge = box(*plain.window).exterior.buffer(LETTER)  # the frame of the picture is no hindrance
    tree = STRtree([shape.difference(edge) for shape in shapes])
    return [window for window in windows if not len(tree.query(box(*window).buffer(LETTER), "intersects"))]


def draw(made: Letterer, design: Design, found: Enlarged, plain: View | None) -> list[Stake]:
    """Draw it with its frame and caption, and frame in the picture what it shows; the stakes that it numbers."""
    view = found.view
    left, bottom, right, top = view.window
    made.marks += through(view, background(design, view, found.stretch))
    lettered, bare = stake_marks(design, found.stretch, view, made.lettering)
    made.marks += [*lettered, Area(layer=CREW, shape=box(left, bottom, right, top), pen=FIRM)]
    made.put(f"Enlarged, {found.scale}", left + 0.05, top + 0.07, strong=True, room=right - left - 0.1)
    made.marks.append(Symbol(layer=CREW, name="north", at=(right - 0.2, top - 0.36), size=0.24))
    if plain is not None:
        shown = plain.to_paper(view.to_plan([view.window[:2], view.window[2:]])).ravel()
        low = np.maximum(shown[:2], plain.window[:2])
        high = np.minimum(shown[2:], plain.window[2:])
        made.marks.append(Area(layer=CREW, shape=box(*low, *high), pen=THIN))
    numbers = {stake.number for stake in bare}
    return [stake for stake in found.stretch.stakes if stake.number not in numbers]
