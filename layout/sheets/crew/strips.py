"""Pictures of long runs cut into strips: turned to lie level, one under the other, at a scale that parts the runs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import LineString

from layout.model import Design
from layout.plane import Array, points_at
from layout.sheets.arrange import scales
from layout.sheets.crew.paper import CREW, LETTER, Frame
from layout.sheets.crew.stretches import Stretch
from layout.sheets.marks import Mark, Symbol, Text, View

NARROW = 0.09
"""Runs nearer to each other than this on paper [in] are one bar to the eye."""
MOST_STRIPS = 5
BESIDE, ABOVE = 0.75, 0.5
"""Left free beside and above what a strip shows, for numbers [in]."""
OVERLAP = 0.12
"""By how much a strip shows more than its own part of the runs, where they go on [in]."""
GAIN = 1.5
"""Strips are worth their while where they show the runs so many times larger."""


@dataclass(frozen=True, slots=True)
class TurnedView(View):
    """A view with east turned from the right.

    Attributes
    ----------
    angle : float
        Anticlockwise from the plan to the paper [rad].
    """

    angle: float = 0.0

    def to_paper(self, points: ArrayLike) -> Array:
        """Turn points of the plan [m] into paper [in], shape (n, 2)."""
        local = np.asarray(points, dtype=np.float64).reshape(-1, 2) - np.asarray(self.centre)
        return np.asarray(local @ _turn(self.angle).T / self.metres_per_inch + np.asarray(self.middle))

    def to_plan(self, points: ArrayLike) -> Array:
        """Turn points on paper [in] into the plan [m], shape (n, 2)."""
        paper = np.asarray(points, dtype=np.float64).reshape(-1, 2) - np.asarray(self.middle)
        return np.asarray(paper @ _turn(self.angle) * self.metres_per_inch + np.asarray(self.centre))


@dataclass(frozen=True, slots=True)
class Strip:
    """One part of the runs of a sheet.

    Attributes
    ----------
    stretch : Stretch
        With the stakes of this part only.
    view : TurnedView
        Its window is all that numbers may stand in.
    shown : TurnedView
        The same with the window that the field shows in.
    """

    stretch: Stretch
    view: TurnedView
    shown: TurnedView


def _turn(angle: float) -> Array:
    sine, cosine = math.sin(angle), math.cos(angle)
    return np.array([[cosine, -sine], [sine, cosine]])


def strips_of(design: Design, stretch: Stretch, frame: Frame, plain: View) -> tuple[list[Strip], str]:
    """Cut the picture of a sheet into strips, where its runs would else be one bar; the scale in words.

    Parameters
    ----------
    design : Design
    stretch : Stretch
    frame : Frame
    plain : View
        That of the whole picture.

    Returns
    -------
    strips : list of Strip
        From left to right, to be drawn from the top down; empty where the whole picture serves.
    scale : str
    """
    close = design.site.runs.spacing / plain.metres_per_inch < NARROW
    if stretch.kind != "runs" or not close or len(stretch.runs) < 2:
        return [], ""
    axis = max(
        (run.line for run in design.laying.runs if run.name in stretch.runs), key=lambda line: line.length
    )
    (x, _), (end, _) = axis.coords[0], axis.coords[-1]
    axis = axis if x <= end else axis.reverse()
    along = np.array([axis.project(shapely.Point(stake.at)) for stake in stretch.stakes])
    for metres, words in scales(design.site.frame.units):  # the largest first
        if metres * GAIN > plain.metres_per_inch:
            break
        for count in range(2, MOST_STRIPS + 1):
            found = _cut(axis, along, stretch, frame, metres, count)
            if found:
                return found, words
    return [], ""


def _cut(
    axis: LineString, along: Array, stretch: Stretch, frame: Frame, metres: float, count: int
) -> list[Strip]:
    """So many strips at a scale; none where one of them finds no room."""
    left, bottom, right, top = frame.window
    high = (top - bottom) / count
    edges = np.linspace(0.0, axis.length, count + 1)
    line = shapely.get_coordinates(axis)
    strips = []
    for number in range(count):
        a, b = edges[number], edges[number + 1]
        own = (along >= a) & ((along < b) if number < count - 1 else True)
        stakes = tuple(stake for stake, mine in zip(stretch.stakes, own, strict=True) if mine)
        if not stakes:
            return []
        ends = points_at(line, np.array([a, b]))
        ahead = ends[1] - ends[0]
        angle = -math.atan2(ahead[1], ahead[0])
        shape = (
            np.vstack((points_at(line, np.linspace(a, b, 9)), [stake.at for stake in stakes]))
            @ _turn(angle).T
        )
        low, most = shape.min(axis=0), shape.max(axis=0)
        size = (most - low) / metres
        if size[0] > right - left - 2 * BESIDE or size[1] > high - 2 * ABOVE:
            return []
        x, y = ((low + most) / 2) @ _turn(angle)
        window = (left, top - (number + 1) * high, right, top - number * high)
        view = TurnedView(window=window, centre=(float(x), float(y)), metres_per_inch=metres, angle=angle)
        middle = (left + right) / 2
        reach = [
            middle + way * (BESIDE / 2 if outer else OVERLAP) + way * size[0] / 2
            for way, outer in ((-1, number == 0), (1, number == count - 1))
        ]
        # both windows have one middle, so that they are one view
        half = max(middle - reach[0], reach[1] - middle)
        shown = replace(view, window=(middle - half, window[1], middle + half, window[3]))
        strips.append(Strip(replace(stretch, stakes=stakes), view, shown))
    return strips


def north_marks(strip: Strip) -> Iterator[Mark]:
    """An arrow to the north in the corner of a strip, with its letter beyond the tip."""
    _, _, right, top = strip.view.window
    x, y = strip.view.centre
    base, tip = strip.view.to_paper([(x, y), (x, y + 1.0)])
    ahead = (tip - base) / np.hypot(*(tip - base))
    at = np.array([right - 0.3, top - 0.32])
    turned = math.degrees(math.atan2(-ahead[0], ahead[1]))
    yield Symbol(layer=CREW, name="north", at=(float(at[0]), float(at[1])), size=0.24, angle=turned)
    x, y = at + 0.22 * ahead
    yield Text(
        layer=CREW, text="N", at=(float(x), float(y) - LETTER / 2), height=LETTER, align="centre", strong=True
    )
