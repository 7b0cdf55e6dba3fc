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

from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.sheets.drafting import draft
from layout.sheets.dxf import write_dxf
from layout.sheets.marks import Drawing
from layout.sheets.plot import write_pdf, write_png
from tests.bench.bare import plain, save

EXAMPLES = Path(__file__).parents[2] / "examples"
ALLOWED = 2.0
ROUNDS = 3


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
        sheets = [plain(drawing, sheet) for sheet in drawing.sheets]
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


def _bare(drawing: Drawing, out: Path) -> None:
    sheets = [plain(drawing, sheet) for sheet in drawing.sheets]
    save((drawing.paper.width, drawing.paper.height), sheets, out)


def _write(drawing: Drawing, out: Path) -> None:
    write_dxf(drawing, out / "plan.dxf")
    write_png(drawing, out / "plan.png")
    write_pdf(drawing, out / "plan.pdf")


if __name__ == "__main__":
    every = sorted(path.parent.name for path in EXAMPLES.glob("*/site.toml"))
    sys.exit(main(sys.argv[1:] or every))
