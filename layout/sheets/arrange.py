"""The choice of sheet, scale and columns, so that the bed fills the window and the lettering can be read.

Sheet sizes: ANSI/ASME Y14.1 and ISO 216; scales: the faces of an engineer's scale, and ISO 5455 with its
usual in-between steps (sizes and scales from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layout.errors import Fault, SheetError
from layout.model import SheetRules
from layout.papers import METRIC, SIZES, in_words
from layout.sheets.blocks import COLUMN, GUTTER, Block, Column, flow
from layout.sheets.marks import Paper, View
from layout.sheets.tiling import MATCH, Objects, key_height, tiles
from layout.units import INCH, UnitSet

Bounds = tuple[float, float, float, float]
UNSTATED = SheetRules()
MARGIN = 0.4
"""From the edge of the paper to the border [in]."""
TITLE_HEIGHT = 3.2
"""Of the title block in the lower right corner, with north arrow and bar scale [in]."""
STRIP = 0.42
"""Room for the plan's heading under the window [in]."""
AROUND = 0.6
"""Left free around the field for labels [in]."""
LEGIBLE = 0.1
"""Least distance from run to run on paper that leaves each run its own label [in]."""

_IN_INCHES = ("ANSI B", "ANSI C", "ANSI D")
_IN_MILLIMETRES = ("A3", "A2", "A1")
_FEET_TO_INCH = (5, 10, 20, 30, 40, 50, 60, 100, 200, 300, 400, 500, 600, 1000, 2000, 5000)
_RATIOS = (50, 100, 125, 200, 250, 500, 750, 1000, 1250, 2000, 2500, 5000, 10000, 20000, 50000)
_BANDS = (0.0, 1.6, 2.2, 2.8, 3.4, 4.0, 4.8, 5.6, 6.6, 7.6)
_FILLED = 0.7
"""Share of the window's width or height that the field had better take."""
_FURTHER = 1.2
"""What a further sheet costs beside the first."""
_READABLE = 0.06
"""Runs nearer to each other on paper ask for several sheets at a larger scale [in]."""
_EDGE = 0.35
"""Left free around the field where it takes several sheets [in]."""
_MOST_CHOSEN, _MOST_STATED = 12, 99
"""Sheets of the plan at a scale that was chosen, and at one that was stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """Where everything goes on the sheets of the plan.

    Attributes
    ----------
    paper : Paper
    views : tuple of View
        One a sheet of the plan.
    scale : str
        In words.
    columns : tuple of Column
        For tables, of each sheet of the plan.
    """

    paper: Paper
    views: tuple[View, ...]
    scale: str
    columns: tuple[Column, ...]

    @property
    def view(self) -> View:
        """The view of the first sheet."""
        return self.views[0]


def paper_named(name: str) -> Paper:
    """Give the sheet of a name of :data:`layout.papers.SIZES`, lying on its long side."""
    width, height = SIZES[name]
    return Paper(name=name, width=width / INCH, height=height / INCH, metric=name in METRIC)


def scales(units: UnitSet) -> list[tuple[float, str]]:
    """List the scales of a site's units, the largest first: ground [m] to an inch of paper, and in words."""
    if units.word == "m":
        return [(ratio * INCH, f"1 : {ratio}") for ratio in _RATIOS]
    return [(feet * units.length, f"1 in = {feet} ft") for feet in _FEET_TO_INCH]


def arrange(
    bounds: Bounds,
    spacing: float,
    blocks: Sequence[Block],
    units: UnitSet,
    *,
    stated: SheetRules = UNSTATED,
    shapes: Objects | None = None,
) -> Arrangement:
    """Choose sheet, scale and columns, as far as they are not stated.

    The sheet and scale that leave the runs room for their labels, that the field fills well, and that take the
    least paper with the further sheets for those blocks that find no room. Where no sheet shows the whole field,
    or only with runs too near to be told from each other, several sheets.

    Parameters
    ----------
    bounds : (x least, y least, x greatest, y greatest)
        What the plan must show [m].
    spacing : float
        From run to run [m].
    blocks : sequence of Block
    units : UnitSet
    stated : SheetRules
    shapes : array of geometries or None
        What the plan must show [m], where it may take several sheets.

    Raises
    ------
    SheetError
        The field is too large for the scale that was stated, or for any.
    """
    offered = (
        [(stated.ratio * INCH, in_words(stated.ratio, foot=_foot(units)))] if stated.ratio else scales(units)
    )
    best: tuple[tuple[float, ...], Arrangement] | None = None
    for paper, panels, band in _choices(units, stated.size):
        made = _try(bounds, offered, paper, panels, band)
        if made is None:
            continue
        key = _key(made, bounds, spacing, blocks)
        if best is None or key < best[0]:
            best = (key, made)
    if shapes is not None and (best is None or not _is_readable(best[1], spacing, stated)):
        most = best[1].view.metres_per_inch if best else None
        many = _many(shapes, spacing, units, offered, stated, below=most)
        if many is not None:
            return many
    if best is None:
        raise _too_large(stated)
    return best[1]


def _foot(units: UnitSet) -> float | None:
    return None if units.word == "m" else units.length


def _is_readable(made: Arrangement, spacing: float, stated: SheetRules) -> bool:
    return stated.ratio is not None or spacing / made.view.metres_per_inch >= _READABLE - 1e-9


def _too_large(stated: SheetRules) -> SheetError:
    if stated.ratio is not None:
        return SheetError(
            Fault(
                field="sheet.scale",
                said=f"at this scale the plan would take more than {_MOST_STATED} sheets",
                remedy="State a smaller scale or a larger sheet.size, or leave them out.",
            )
        )
    return SheetError(
        Fault(
            field="bed.outline",
            said="what the plan must show is larger than the smallest scale shows on the largest sheet",
            remedy="Check the coordinates of bed, pump and features, and the site's units.",
        )
    )


def _key(made: Arrangement, bounds: Bounds, spacing: float, blocks: Sequence[Block]) -> tuple[float, ...]:
    """What an arrangement costs: runs too near to be named each, paper, and paper that is not filled."""
    paper, view = made.paper, made.view
    left, bottom, right, top = view.window
    crowded = round(max(0.0, LEGIBLE - spacing / view.metres_per_inch), 6)
    wide, high = ((bounds[2 + axis] - bounds[axis]) / view.metres_per_inch for axis in (0, 1))
    fill = max(wide / (right - left - 2 * AROUND), high / (top - bottom - 2 * AROUND), 1e-9)
    _, later = flow(blocks, made.columns)
    further, columns = 0, further_columns(paper)
    while later and further < _MOST_CHOSEN:
        _, later = flow(later, columns)
        further += 1
    cost = paper.width * paper.height * (1 + _FURTHER * further) * max(1.0, _FILLED / fill)
    return (crowded, round(cost, 6), view.metres_per_inch, -(right - left) * (top - bottom))


def _choices(units: UnitSet, size: str) -> Iterator[tuple[Paper, int, float]]:
    """Yield sheet, number of columns at the right, height of the band of columns under the plan [in]."""
    for name in (size,) if size else _IN_MILLIMETRES if units.word == "m" else _IN_INCHES:
        paper = paper_named(name)
        for panels in (1, 2):
            for band in _BANDS:
                if band <= 0.55 * paper.height:
                    yield paper, panels, band


def _try(
    bounds: Bounds,
    offered: Sequence[tuple[float, str]],
    paper: Paper,
    panels: int,
    band: float,
) -> Arrangement | None:
    """Make one arrangement; None where its window is too narrow or no scale shows the field in it."""
    right = paper.width - MARGIN - panels * (COLUMN + GUTTER)
    window = (MARGIN, MARGIN + band + STRIP, right, paper.height - MARGIN)
    width, height = window[2] - window[0], window[3] - window[1]
    if width < 6.0 or height < 4.0:
        return None
    wide, high = bounds[2] - bounds[0], bounds[3] - bounds[1]
    fitting = (
        (metres, words)
        for metres, words in offered
        if wide / metres <= width - 2 * AROUND and high / metres <= height - 2 * AROUND
    )
    scale = next(fitting, None)
    if scale is None:
        return None
    centre = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    view = View(window=window, centre=centre, metres_per_inch=scale[0])
    columns = tuple(_columns(paper, panels, band, right))
    return Arrangement(paper=paper, views=(view,), scale=scale[1], columns=columns)


def _many(
    shapes: Objects,
    spacing: float,
    units: UnitSet,
    offered: Sequence[tuple[float, str]],
    stated: SheetRules,
    *,
    below: float | None,
) -> Arrangement | None:
    """Lay the plan out over several sheets, at the scale that was stated or the first at which runs can be named.

    None where a chosen scale would be no larger than that of the one sheet, `below` [m to an inch].
    """
    paper = paper_named(stated.size or (_IN_MILLIMETRES if units.word == "m" else _IN_INCHES)[-1])
    right = paper.width - MARGIN - COLUMN - GUTTER
    window = (MARGIN + MATCH, MARGIN + STRIP + MATCH, right - MATCH, paper.height - MARGIN - MATCH)
    if window[2] - window[0] < 3.0 or window[3] - window[1] < 3.0:
        return None
    legible = [pair for pair in offered if spacing / pair[0] >= LEGIBLE - 1e-9]
    order = offered[max(len(legible) - 1, 0) :]
    most = _MOST_STATED if stated.ratio else _MOST_CHOSEN
    for metres, words in order:
        if below is not None and metres >= below - 1e-12:
            return None
        least = np.ptp(np.reshape(shapely.total_bounds(shapes), (2, 2)), axis=0) / metres
        if max(least) / min(window[2] - window[0], window[3] - window[1]) > 2 * most:
            continue
        views = tiles(shapes, window, metres, around=_EDGE)
        if len(views) <= most:
            over = Column(
                left=right + GUTTER / 2,
                top=paper.height - MARGIN - 0.1,
                bottom=MARGIN + 0.1 + TITLE_HEIGHT + key_height(paper),
            )
            return Arrangement(paper=paper, views=tuple(views), scale=words, columns=(over,))
    return None


def _columns(paper: Paper, panels: int, band: float, right: float) -> list[Column]:
    """List the columns at the right, the last above the title block, then those under the plan."""
    top = paper.height - MARGIN - 0.1
    columns = [
        Column(
            left=right + index * (COLUMN + GUTTER) + GUTTER / 2,
            top=top,
            bottom=MARGIN + 0.1 + (TITLE_HEIGHT if index == panels - 1 else 0.0),
        )
        for index in range(panels)
    ]
    if band:
        count = int((right - MARGIN) // (COLUMN + GUTTER))
        step = (right - MARGIN) / count
        columns += [
            Column(left=MARGIN + (i + 0.5) * step - COLUMN / 2, top=MARGIN + band, bottom=MARGIN + 0.1)
            for i in range(count)
        ]
    return columns


def further_columns(paper: Paper) -> list[Column]:
    """List the columns of a sheet without a plan; the last stands above the title block."""
    count = int((paper.width - 2 * MARGIN) // (COLUMN + GUTTER))
    step = (paper.width - 2 * MARGIN) / count
    top = paper.height - MARGIN - 0.1
    return [
        Column(
            left=MARGIN + (i + 0.5) * step - COLUMN / 2,
            top=top,
            bottom=MARGIN + 0.1 + (TITLE_HEIGHT if i == count - 1 else 0.0),
        )
        for i in range(count)
    ]
