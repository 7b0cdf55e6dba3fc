"""What becomes of rows past trees and tanks in a bed, as a Markdown table.

Run ``python tests/bench/obstacles.py``; names pick some of the beds. Spacing and bend radius 2 ft, clearance 1 ft,
laterals of 500 ft at most. Each bed is laid by ``left``, and by ``even`` with `runs.closest` at 0.7 of the spacing;
once with rows only carried past by blank tubing or bent, once with all that the engine can choose.
Last, how long the rows of large beds take the processor: one with five trees, and woods of 70 and 300 trees that stand
equally close; and how long all trials of beds with one and two necks. ``--large`` prints only these.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from shapely import LineString, Point, Polygon, box, get_coordinates, union_all

from layout.coverage import cover
from layout.laterals import join_runs
from layout.model import Feature, LateralRules, Pattern
from layout.runs import lay_runs
from layout.trials import lay_trials
from layout.usable import usable_ground
from tests import beds
from tests.bench.speed import site_on
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


MOST_SECONDS = {"large": 10.0, "70 trees": 6.0, "300 trees": 20.0, "dumbbell": 3.0, "three lobes": 8.0}
"""What rows of large beds may take of the processor, pattern ``left``, and all trials of beds with necks [s]."""


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


def woods(count: int, seed: int = 1) -> Field:
    """A gently bowed bed with a tree every 300 square feet, as they stand by chance, at setbacks of 0.5 to 2 ft."""
    size = math.sqrt(300 * count)
    outline = beds.sinuous(size / 30, 1.5 * size, (0.95 * size, 1.05 * size), size, step=2.0)
    rng, bed, trees = np.random.default_rng(seed), Polygon(outline), []
    x0, y0, x1, y1 = bed.bounds
    while len(trees) < count:
        at, setback = Point(rng.uniform(x0, x1), rng.uniform(y0, y1)), rng.uniform(0.5, 2.0)
        if bed.contains(at):
            trees.append(obstacle(at, setback, name=f"tree {len(trees) + 1}"))
    return field(outline, features=trees)


def three_lobes() -> Array:
    """Three round lobes of different size in a row, joined by necks of 5 ft."""
    middles = [(0.0, 0.0), (40.0, 6.0), (80.0, -4.0)]
    lobes = [Point(at).buffer(size) for at, size in zip(middles, (15.0, 16.5, 13.5), strict=True)]
    whole = union_all([*lobes, LineString(middles).buffer(2.5, cap_style="flat")])
    return np.asarray(get_coordinates(whole.exterior)[:-1])


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


def main() -> int:
    """Print the table and the times; 1 where one is too long."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("beds", nargs="*", help="names of beds; all if none is named")
    parser.add_argument("--large", action="store_true", help="only how long large beds take")
    asked = parser.parse_args()
    if not asked.large:
        print_table(asked.beds or list(BEDS))
    large_beds = {"large": (large, 5 * LONGEST), "70 trees": (lambda: woods(70), 300.0)}
    large_beds["300 trees"] = (lambda: woods(300), 300.0)
    times: dict[str, Callable[[], object]] = {}
    for name, (made, longest) in large_beds.items():
        site = made()
        times[name] = lambda site=site, longest=longest: lay_runs(
            site.bed, site.ground, site.sides, site.rules, site.tubing, pattern=Pattern.LEFT, longest=longest
        )
    for name, outline in {"dumbbell": beds.dumbbell, "three lobes": three_lobes}.items():
        bed = site_on(outline())
        times[name] = lambda bed=bed: lay_trials(
            bed, usable_ground(bed.bed, bed.features), progress=lambda _: None
        )
    slow = False
    for name, lay in times.items():
        started = time.process_time()
        lay()
        took, most = time.process_time() - started, MOST_SECONDS[name]
        slow |= took > most
        print(
            f"{name}: {took:.1f} s, {'ok' if took <= most else 'TOO SLOW'}: at most {most:.0f} s", flush=True
        )
    return 1 if slow else 0


def print_table(names: Sequence[str]) -> None:
    """A line for each bed."""
    print("| bed | `left`, carried | `left` | `even`, carried | `even` |\n| --- | --- | --- | --- | --- |")
    for name in names:
        outline, features = BEDS[name]
        cells = []
        for pattern, closest in ((Pattern.LEFT, 1.0), (Pattern.EVEN, 0.7)):
            site = field(outline(), features=features, closest=closest * SPACING)
            cells += [figures(site, pattern, longest) for longest in (0.0, LONGEST)]
        print(f"| {name} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    sys.exit(main())
