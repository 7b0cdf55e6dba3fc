"""The choice of sheet, scale and columns, so that the bed fills the window and the lettering can be read.

Sheet sizes: ANSI/ASME Y14.1 and ISO 216; scales: the faces of an engineer's scale, and ISO 5455 with its
usual in-between steps (sizes and scales from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from layout.errors import Fault, SheetError
from layout.papers import METRIC, SIZES
from layout.sheets.blocks import COLUMN, GUTTER, Block, Column, flow
from layout.sheets.marks import Paper, View
from layout.units import INCH, UnitSet

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """Where everything goes on the first sheet.

    Attributes
    ----------
    paper : Paper
    view : View
    scale : str
        In words.
    columns : tuple of Column
        Of the first sheet.
    """

    paper: Paper
    view: View
    scale: str
    columns: tuple[Column, ...]


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
    bounds: tuple[float, float, float, float], spacing: float, blocks: Sequence[Block], units: UnitSet
) -> Arrangement:
    """Choose sheet, scale and columns.

    The smallest sheet that takes all blocks and leaves the runs room for their labels; on it the largest
    scale. Where no sheet does, the one that comes nearest, and blocks go on to further sheets.

    Parameters
    ----------
    bounds : (x least, y least, x greatest, y greatest)
        What the plan must show [m].
    spacing : float
        From run to run [m].
    blocks : sequence of Block
    units : UnitSet
    """
    best: tuple[tuple[float, ...], Arrangement] | None = None
    for paper, panels, band in _choices(units):
        made = _try(bounds, units, paper, panels, band)
        if made is None:
            continue
        _, later = flow(blocks, made.columns)
        on_paper = spacing / made.view.metres_per_inch
        crowded = round(max(0.0, LEGIBLE - on_paper), 6)
        area = paper.width * paper.height
        left, bottom, right, top = made.view.window
        room = (right - left) * (top - bottom)
        key = (crowded, float(bool(later)), area, made.view.metres_per_inch, -room)
        if best is None or key < best[0]:
            best = (key, made)
    if best is None:
        raise SheetError(
            Fault(
                field="bed.outline",
                said="what the plan must show is larger than the smallest scale shows on the largest sheet",
                remedy="Check the coordinates of bed, pump and features, and the site's units.",
            )
        )
    return best[1]


def _choices(units: UnitSet) -> Iterator[tuple[Paper, int, float]]:
    """Yield sheet, number of columns at the right, height of the band of columns under the plan [in]."""
    for name in _IN_MILLIMETRES if units.word == "m" else _IN_INCHES:
        paper = paper_named(name)
        for panels in (1, 2):
            for band in _BANDS:
                if band <= 0.55 * paper.height:
                    yield paper, panels, band


def _try(
    bounds: tuple[float, float, float, float],
    units: UnitSet,
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
        for metres, words in scales(units)
        if wide / metres <= width - 2 * AROUND and high / metres <= height - 2 * AROUND
    )
    scale = next(fitting, None)
    if scale is None:
        return None
    centre = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    view = View(window=window, centre=centre, metres_per_inch=scale[0])
    columns = tuple(_columns(paper, panels, band, right))
    return Arrangement(paper=paper, view=view, scale=scale[1], columns=columns)


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
