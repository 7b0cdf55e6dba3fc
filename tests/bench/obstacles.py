"""What becomes of rows past trees and tanks in a bed, as a Markdown table.

Run ``python tests/bench/obstacles.py``; names pick some of the beds. Spacing and bend radius 2 ft, clearance 1 ft,
laterals of 500 ft at most. Each bed is laid by ``left``, and by ``even`` with `runs.closest` at 0.7 of the spacing;
once with rows only carried past by blank tubing or bent, once with all that the engine can choose.
Last, how long the rows of a large bed with trees take the processor.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from shapely import LineString, Point, Polygon, box

from layout.coverage import cover
from layout.laterals import join_runs
from layout.model import Feature, LateralRules, Pattern
from layout.runs import lay_runs
from tests import beds
from tests.laid import Array, Field, field, obstacle

SPACING, LONGEST = 2.0, 500.0

BEDS: dict[str, tuple[Callable[[], Array], Sequence[Feature]]] = {
    "two holes": (
        lambda: beds.rect(100, 16),
        [obstacle(Point(30, 8), 3), obstacle(Point(70, 5), 2.5)],
    ),
    "tree, setback 2": (lambda: beds.rect(120, 24), [obstacle(Point(60, 12), 2)]),
    "tree, setback 4": (lambda: beds.rect(120, 24), [obstacle(Point(60, 13), 4)]),
    "tree, setback 6": (lambda: beds.rect(120, 30), [obstacle(Point(50, 14), 6)]),
    "tree at the edge": (lambda: beds.rect(120, 24), [obstacle(Point(60, 20), 4)]),
    "tank 10 x 15, setback 10": (lambda: beds.rect(150, 50), [obstacle(box(65, 18, 80, 28), 10)]),
    "the same at the edge": (lambda: beds.rect(150, 50), [obstacle(box(65, 40, 80, 50), 10)]),
    "box 8 x 8, setback 2": (lambda: beds.rect(120, 30), [obstacle(box(50, 10, 58, 18), 2)]),
    "tree in a bend": (
        lambda: beds.annular(40, 64, 120),
        [obstacle(Point(52 * math.cos(1), 52 * math.sin(1)), 4)],
    ),
    "four trees": (
        lambda: beds.rect(160, 32),
        [
            obstacle(Point(30, 8), 3),
            obstacle(Point(60, 22), 4),
            obstacle(Point(95, 12), 2.5),
            obstacle(Point(130, 18), 5),
        ],
    ),
}


MOST_SECONDS = 10.0
"""What rows of :func:`large` may take of the processor, pattern ``left`` [s]."""


def large() -> Field:
    """A bed of 50 x 500 ft that swells by a fifth, and five trees at setbacks of 2.5 to 4.5 ft."""
    outline = beds.sinuous(30.0, 500.0, (120.0, 80.0), 500.0, step=2.0)
    trees = []
    for number in range(5):
        x = 80.0 + 90.0 * number
        across = LineString([(x, -300), (x, 300)]).intersection(Polygon(outline))
        middle = across.interpolate(0.2 + 0.15 * number, normalized=True)
        trees.append(obstacle(middle, 2.5 + 0.5 * number, name=f"tree {number + 1}"))
    return field(outline, features=trees)


def figures(site: Field, pattern: Pattern, longest: float) -> str:
    """Share covered [%] · driest place [ft] · pieces beyond one a row · blank tubing [ft] · laterals that come back."""
    laying = lay_runs(
        site.bed, site.ground, site.sides, site.rules, site.tubing, pattern=pattern, longest=longest
    )
    measured = cover(site.ground.area, site.bed.outline, laying.runs, spacing=SPACING, radius=2.0)
    laterals, joins = join_runs(
        laying,
        LateralRules(runs=None, longest=LONGEST),
        spacing=SPACING,
        bed=site.bed,
        kept_clear=site.ground.kept_clear,
    )
    pieces = len(laying.runs) - len({run.row for run in laying.runs})
    blank = math.fsum(join.line.length for join in joins)
    back = sum(lateral.returns_near for lateral in laterals)
    return f"{100 * measured.covered:.1f} · {measured.dry:.2f} · {pieces} · {blank:.0f} · {back} of {len(laterals)}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("beds", nargs="*", help="names of beds; all if none is named")
    asked = parser.parse_args()
    print("| bed | `left`, carried | `left` | `even`, carried | `even` |\n| --- | --- | --- | --- | --- |")
    for name in asked.beds or BEDS:
        outline, features = BEDS[name]
        cells = []
        for pattern, closest in ((Pattern.LEFT, 1.0), (Pattern.EVEN, 0.7)):
            site = field(outline(), features=features, closest=closest * SPACING)
            cells += [figures(site, pattern, longest) for longest in (0.0, LONGEST)]
        print(f"| {name} | " + " | ".join(cells) + " |", flush=True)
    site, started = large(), time.process_time()
    lay_runs(
        site.bed, site.ground, site.sides, site.rules, site.tubing, pattern=Pattern.LEFT, longest=5 * LONGEST
    )
    took = time.process_time() - started
    print(
        f"\nlarge: {took:.1f} s, {'ok' if took <= MOST_SECONDS else 'TOO SLOW'}: at most {MOST_SECONDS:.0f} s"
    )


if __name__ == "__main__":
    main()
