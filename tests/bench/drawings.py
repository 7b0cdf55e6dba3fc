"""Time to draw and write plan.dxf, plan.png and plan.pdf, over that of a bare script with as many lines and texts.

The bare script saves the same polylines, point by point, and the same texts by the plainest calls of the same
libraries: one collection of lines and `Figure.text` a sheet, `add_lwpolyline` and `add_text` for CAD. Processor
time, the median of three. At most twice is allowed.

Run: ``python tests/bench/drawings.py [EXAMPLE ...]``
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from layout.plan import plan_field
from layout.plane import coordinates, polygons_of
from layout.readers.sitefile import read_site
from layout.sheets.drafting import draft
from layout.sheets.dxf import write_dxf
from layout.sheets.marks import Area, Drawing, Line, Mark, Sheet, Text
from layout.sheets.plot import write_pdf, write_png
from layout.sheets.seen import near

EXAMPLES = Path(__file__).parents[2] / "examples"
ALLOWED = 2.0
ROUNDS = 3

Lines = list[np.ndarray]


def main(names: Sequence[str]) -> int:
    """Print a line an example; 1 where one takes more than is allowed."""
    worst = 0.0
    print(
        f"{'example':12} {'lines':>7} {'points':>8} {'texts':>6} {'draft':>7} {'written':>8} {'bare':>7} {'ratio':>6}"
    )
    for name in names:
        design = plan_field(read_site(EXAMPLES / name / "site.toml"))
        drawing = draft(design)
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder)
            drafted = _timed(lambda design=design: draft(design))
            written = _timed(lambda drawing=drawing, out=out: _write(drawing, out))
            bare = _timed(lambda drawing=drawing, out=out: _bare(drawing, out))
        ratio = (drafted + written) / bare
        worst = max(worst, ratio)
        sheets = [_plain(drawing, sheet) for sheet in drawing.sheets]
        lines = sum(len(found) for found, _ in sheets)
        points = sum(len(line) for found, _ in sheets for line in found)
        texts = sum(len(found) for _, found in sheets)
        print(
            f"{name:12} {lines:7} {points:8} {texts:6} {drafted:6.2f}s {written:7.2f}s {bare:6.2f}s {ratio:6.2f}"
        )
    print(f"worst ratio {worst:.2f}, allowed {ALLOWED:g}")
    return int(worst > ALLOWED)


def _timed(work: Callable[[], None] | Callable[[], Any]) -> float:
    """Processor time of a piece of work [s], the median of a few rounds."""
    found = []
    for _ in range(ROUNDS):
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return statistics.median(found)


def _write(drawing: Drawing, out: Path) -> None:
    write_dxf(drawing, out / "plan.dxf")
    write_png(drawing, out / "plan.png")
    write_pdf(drawing, out / "plan.pdf")


# --- the bare script --------------------------------------------------------------------------------------


def _bare(drawing: Drawing, out: Path) -> None:
    from matplotlib.backends.backend_pdf import PdfPages

    sheets = [_plain(drawing, sheet) for sheet in drawing.sheets]
    _bare_dxf(sheets, out / "bare.dxf")
    size = (drawing.paper.width, drawing.paper.height)
    figures = [_figure(size, *sheet) for sheet in sheets]
    figures[0].savefig(out / "bare.png", dpi=200 if size[0] < 20 else 150)
    with PdfPages(out / "bare.pdf") as pages:
        for figure in figures:
            pages.savefig(figure)


def _plain(drawing: Drawing, sheet: Sheet) -> tuple[Lines, list[tuple[float, float, str, float]]]:
    """All lines and texts of a sheet on paper, without layers, pens, fills and symbols."""
    lines, texts = _of(sheet.marks, None)
    if sheet.view is not None:
        more, lettered = _of(near(drawing.plan, sheet.view), sheet.view.to_paper)
        lines, texts = [*more, *lines], [*lettered, *texts]
    return lines, texts


def _of(marks: Sequence[Mark], to_paper: Any) -> tuple[Lines, list[tuple[float, float, str, float]]]:
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


def _figure(size: tuple[float, float], lines: Lines, texts: Sequence[tuple[float, float, str, float]]) -> Any:
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


if __name__ == "__main__":
    every = sorted(path.parent.name for path in EXAMPLES.glob("*/site.toml"))
    sys.exit(main(sys.argv[1:] or every))
