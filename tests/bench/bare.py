"""A bare script that saves as many lines and texts as a plan's drawings by the plainest calls of the same libraries."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from layout.sheets.marks import Drawing, Mark, Sheet

Lines = list[np.ndarray]
Texts = list[tuple[float, float, str, float]]


def save(size: tuple[float, float], sheets: Sequence[tuple[Lines, Texts]], out: Path) -> None:
    """Save sheets of a size [in] as one DXF, one PNG (the first) and one PDF."""
    from matplotlib.backends.backend_pdf import PdfPages

    _bare_dxf(sheets, out / "bare.dxf")
    figures = [_figure(size, *sheet) for sheet in sheets]
    figures[0].savefig(out / "bare.png", dpi=200 if size[0] < 20 else 150)
    with PdfPages(out / "bare.pdf") as pages:
        for figure in figures:
            pages.savefig(figure)


def plain(drawing: Drawing, sheet: Sheet) -> tuple[Lines, Texts]:
    """All lines and texts of a sheet on paper, without layers, pens, fills and symbols."""
    from layout.sheets.seen import near

    lines, texts = _of(sheet.marks, None)
    if sheet.view is not None:
        more, lettered = _of(near(drawing.plan, sheet.view), sheet.view.to_paper)
        lines, texts = [*more, *lines], [*lettered, *texts]
    return lines, texts


def _of(marks: Sequence[Mark], to_paper: Any) -> tuple[Lines, Texts]:
    from layout.plane import coordinates, polygons_of
    from layout.sheets.marks import Area, Line, Text

    lines: Lines = []
    texts = []
    for mark in marks:
        if isinstance(mark, Line):
            lines.append(coordinates(mark.line))
        elif isinstance(mark, Area):
            lines += [
                coordinates(ring)
                for part in polygons_of(mark.shape)
                for ring in (part.exterior, *part.interiors)
            ]
        elif isinstance(mark, Text):
            x, y = mark.at if to_paper is None else to_paper([mark.at])[0].tolist()
            texts.append((x, y, mark.text, mark.height))
    return [line if to_paper is None else to_paper(line) for line in lines], texts


def _figure(size: tuple[float, float], lines: Lines, texts: Texts) -> Any:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.collections import LineCollection
    from matplotlib.figure import Figure

    figure = Figure(figsize=size)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, size[0])
    axes.set_ylim(0, size[1])
    axes.axis("off")
    axes.add_collection(LineCollection(lines))
    for x, y, text, height in texts:
        figure.text(x / size[0], y / size[1], text, fontsize=72 * height)
    return figure


def _bare_dxf(sheets: Sequence[tuple[Lines, Any]], path: Path) -> None:
    import ezdxf

    library: Any = ezdxf
    document = library.new("R2010")
    space = document.modelspace()
    for lines, texts in sheets:
        for line in lines:
            space.add_lwpolyline([(float(x), float(y)) for x, y in line])
        for x, y, text, height in texts:
            space.add_text(text, height=height).set_placement((x, y))
    document.saveas(path)
