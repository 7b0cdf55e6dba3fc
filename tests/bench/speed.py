"""How long the command takes to start, and each stage to work, as ratios that hold on any machine.

Run ``python tests/bench/speed.py``; ``--beds`` picks some of the beds, ``--repeat`` sets how often each thing
is timed (the median counts). Start-up is compared with importing the command-line library alone, stages with
the bare offset calls of the geometry engine that would draw the same rows: one call a row, no clipping, no
laws. Stages are timed by the processor time they take, of both cores together, so that other work on the machine
counts little; the whole plan by the clock as well.
"""

from __future__ import annotations

import argparse
import functools
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from itertools import chain
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from layout.checks import design_checks
from layout.coverage import candidate, cover
from layout.emitters import field_totals, place_emitters
from layout.laterals import join_runs
from layout.manifolds import lay_plumbing
from layout.model import (
    Bed,
    DesignBasis,
    Frame,
    LateralRules,
    ManifoldRules,
    Pattern,
    Pump,
    RunRules,
    Sides,
    Site,
    StakeRules,
    Tubing,
)
from layout.plan import plan_field
from layout.runs import lay_runs
from layout.sheets.write import write_plan
from layout.sides import find_sides
from layout.takeoff import count_parts
from layout.units import FOOT, UNIT_SETS
from layout.usable import usable_ground
from tests import beds

Array = NDArray[np.float64]

SPACING, CLEARANCE = 2.0 * FOOT, 1.0 * FOOT
PUMP_OFF = 10.0
"""From the pump to where the outline begins [m]."""
MOST_START_UP = 2.5
"""What start-up may cost, in imports of the command-line library."""
MOST_BARE = {"runs, left": 6.0, "runs, right": 6.0, "runs, even": 30.0}
"""What stages may cost, in bare offsets of as many rows."""
MOST_WHOLE = {"10 acres": 10.0}
"""What the whole plan of a bed may take by the clock, all patterns tried [s]."""
MOST_PLANNED = {"dumbbell": 10.0}
"""What the whole plan of a bed with a neck may take of the processor [s]."""
GROWN_ROWS, GROWN_LENGTH = (20, 40, 80), 400.0
"""Beds over which growth is measured: their rows, and their length [ft]."""
GROWN_SWING = (0.0, 0.1)
"""By what share their width swings to either side."""
MOST_GROWTH = 1.2
"""Greatest exponent of time over the number of rows."""
MOST_MEMORY = 1024.0
"""What it may hold at once [MiB]."""
PATTERNS = (Pattern.LEFT, Pattern.RIGHT, Pattern.CENTRE, Pattern.EVEN)


def strip(rows: int, length: float, bow: float, swing: float = 0.0) -> Array:
    """A bed for so many rows of a length [ft], bowed like a sine, its guide drawn with a point every 2 ft.

    Its width swings by a share to either side of that of the rows.
    """
    width = 2.0 * rows
    return beds.sinuous(bow, length, ((1 + swing) * width, (1 - swing) * width), length, step=2.0)


BEDS: dict[str, Callable[[], Array]] = {
    "6 x 100 ft": lambda: strip(6, 100, 4),
    "50 x 500 ft": lambda: strip(50, 500, 30),
    "200 x 1000 ft": lambda: strip(200, 1000, 40),
    "6 x 100 ft, swelling": lambda: strip(6, 100, 4, 0.2),
    "50 x 500 ft, swelling": lambda: strip(50, 500, 30, 0.2),
    "10 acres": beds.field10ac,
    "dumbbell": beds.dumbbell,
}


def median_of(
    repeat: int, work: Callable[[], Any], *, clock: Callable[[], float] = time.process_time
) -> tuple[float, Any]:
    """Median time of some work by a clock [s], and what it gave."""
    times = []
    for _ in range(repeat):
        started = clock()
        given = work()
        times.append(clock() - started)
    return statistics.median(times), given


def start_up(repeat: int) -> None:
    """Print what the command takes to start."""
    print("start-up")
    ours = "import sys; sys.argv = ['sinuate', '--help']; from cli.main import run; run()"
    took = {}
    for name, code in (('python -c "import typer"', "import typer"), ("sinuate --help", ours)):
        command = [sys.executable, "-c", code]
        took[name], _ = median_of(
            max(repeat, 5),
            lambda command=command: subprocess.run(command, check=True, capture_output=True),
            clock=time.perf_counter,
        )
    bare, helped = took.values()
    for name, seconds in took.items():
        print(f"  {name:<26}{1000 * seconds:10.1f} ms{seconds / bare:10.2f} x")
    print(f"  {'ok' if helped <= MOST_START_UP * bare else 'TOO SLOW'}: at most {MOST_START_UP} x\n")


def site_on(outline: Array) -> Site:
    """A site on an outline [ft], its pump beyond the end where the outline begins."""
    polygon = shapely.orient_polygons(Polygon(outline * FOOT))
    x, y = (outline[0] + outline[-1]) / 2 * FOOT
    if polygon.contains(shapely.Point(x - PUMP_OFF, y)):  # that way lies the bed
        x += 2 * PUMP_OFF
    return Site(
        title="Bench",
        frame=Frame(units=UNIT_SETS["ft"]),
        bed=Bed(outline=polygon, clearance=CLEARANCE),
        features=(),
        tubing=Tubing(emitter_spacing=SPACING, emitter_flow=6e-7, bend_radius=2 * FOOT, coil=500 * FOOT),
        runs=RunRules(
            spacing=SPACING,
            pattern=Pattern.BEST,
            shortest=10 * FOOT,
            closest=SPACING,
            widest=1.5 * SPACING,
        ),
        laterals=LateralRules(runs=None, longest=2500 * FOOT),
        manifold=ManifoldRules(end="pump", supply_diameter=0.03, return_diameter=0.03),
        pump=Pump(at=(float(x) - PUMP_OFF, float(y))),
        design=DesignBasis(),
        stakeout=StakeRules(interval=3.0, tolerance=0.03),
    )


def bare_offsets(site: Site, sides: Sides) -> int:
    """Offset the left side once for each row that fits, and no more."""
    distances = np.arange(CLEARANCE, rows_reach(site, sides), SPACING)
    for distance in distances:
        shapely.offset_curve(sides.left, -float(distance), quad_segs=16, join_style="round")
    return len(distances)


def rows_reach(site: Site, sides: Sides) -> float:
    """How far the bed reaches from its left side [m]."""
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(site.bed.outline, SPACING)))
    return float(shapely.distance(points, sides.left).max())


def measured(site: Site, repeat: int) -> Iterable[tuple[str, float]]:
    """Times of all stages on one site [s]; the first is that of the bare offsets."""
    bed, rules, tubing = site.bed, site.runs, site.tubing
    toward = site.pump.at if site.pump else (0.0, 0.0)
    find_sides(bed.outline, toward=toward)  # loads its libraries
    took_sides, sides = median_of(repeat, lambda: find_sides(bed.outline, toward=toward))
    took, rows = median_of(repeat, lambda: bare_offsets(site, sides))
    yield f"bare offsets, {rows} rows", took
    took, ground = median_of(repeat, lambda: usable_ground(bed, ()))
    yield "usable ground", took
    yield "sides and ends", took_sides
    layings = {}
    for pattern in PATTERNS:
        took, layings[pattern] = median_of(
            repeat, lambda pattern=pattern: lay_runs(bed, ground, sides, rules, tubing, pattern=pattern)
        )
        yield f"runs, {pattern}", took
    laying = layings[Pattern.LEFT]
    runs = laying.runs
    took, coverage = median_of(
        repeat, lambda: cover(ground.area, bed.outline, runs, spacing=SPACING, radius=tubing.bend_radius)
    )
    yield "coverage", took
    took, (laterals, joins) = median_of(
        repeat,
        lambda: join_runs(laying, site.laterals, spacing=SPACING, bed=bed, kept_clear=ground.kept_clear),
    )
    yield "laterals", took
    took, plumbing = median_of(
        repeat,
        lambda: lay_plumbing(laterals, runs, sides, site.manifold, pump=site.pump, outline=bed.outline),
    )
    yield "manifolds", took
    took, emitters = median_of(repeat, lambda: tuple(place_emitters(run, tubing) for run in runs))
    yield "emitters", took
    took, _ = median_of(
        repeat, lambda: design_checks(site, ground, laying, laterals, plumbing, coverage, joins=joins)
    )
    yield "checks", took
    took, _ = median_of(
        repeat,
        lambda: (
            candidate(laying, coverage, spacing=SPACING),
            field_totals(runs, emitters, joins),
            count_parts(site, runs, joins, plumbing),
        ),
    )
    yield "totals and takeoff", took


def whole(name: str, site: Site) -> Iterable[tuple[str, float]]:
    """Times of the whole plan and of its sheets [s], once each; says what a plan may take."""
    started = time.perf_counter()
    took, design = median_of(1, lambda: plan_field(site))
    clock = time.perf_counter() - started
    yield "whole plan, best of all", took
    if name in MOST_PLANNED:
        good = took <= MOST_PLANNED[name]
        print(f"    {'ok' if good else 'TOO SLOW'}: at most {MOST_PLANNED[name]:g} s of the processor")
    if name in MOST_WHOLE:
        held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        good = clock <= MOST_WHOLE[name] and held <= MOST_MEMORY
        print(
            f"    {'ok' if good else 'TOO MUCH'}: {clock:.1f} s by the clock, at most {MOST_WHOLE[name]:g} s; "
            f"{held:.0f} MiB, at most {MOST_MEMORY:g} MiB"
        )
    with tempfile.TemporaryDirectory() as folder:
        took, _ = median_of(1, lambda: write_plan(design, Path(folder)))
    yield "sheets", took


def stages(name: str, repeat: int) -> None:
    """Print what each stage takes on one bed."""
    site = site_on(BEDS[name]())
    print(f"{name}: {len(site.bed.outline.exterior.coords) - 1} points in the outline")
    bare = None
    for stage, seconds in chain(measured(site, repeat), whole(name, site)):
        bare = seconds if bare is None else bare
        # rows of a bed with a neck are led past its hollows, and those of the ten acres follow a side of one edge, the
        # bare offsets of which are nothing: such beds are judged by the whole plan
        most = None if name in MOST_PLANNED or name in MOST_WHOLE else MOST_BARE.get(stage)
        verdict = (
            "" if most is None else f"   {'ok' if seconds <= most * bare else 'TOO SLOW'}: at most {most:g} x"
        )
        print(f"  {stage:<26}{1000 * seconds:10.1f} ms{seconds / bare:10.1f} x{verdict}", flush=True)
    print()


def growth(repeat: int) -> None:
    """Print how the time of patterns grows with the number of rows, over beds alike but for their width."""
    for swing in GROWN_SWING:
        print(f"growth with rows, beds {GROWN_LENGTH:g} ft long, their width swinging by {100 * swing:g} %")
        sites = [site_on(strip(rows, GROWN_LENGTH, GROWN_LENGTH / 16, swing)) for rows in GROWN_ROWS]
        for pattern in PATTERNS:
            took = []
            for site in sites:
                ground = usable_ground(site.bed, ())
                sides = find_sides(site.bed.outline, toward=site.pump.at if site.pump else (0.0, 0.0))
                work = functools.partial(
                    lay_runs, site.bed, ground, sides, site.runs, site.tubing, pattern=pattern
                )
                took.append(median_of(repeat, work)[0])
            exponent = float(np.polyfit(np.log(GROWN_ROWS), np.log(took), 1)[0])
            each = ", ".join(
                f"{rows} rows {1000 * spent:.0f} ms" for rows, spent in zip(GROWN_ROWS, took, strict=True)
            )
            verdict = "ok" if exponent <= MOST_GROWTH else "TOO FAST"
            print(
                f"  runs, {pattern:<8}{exponent:6.2f}   {each}   {verdict}: at most {MOST_GROWTH:g}",
                flush=True,
            )


def main() -> None:
    """Time everything that was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--beds", nargs="*", choices=list(BEDS), default=list(BEDS), help="which beds; none: growth alone"
    )
    parser.add_argument("--repeat", type=int, default=3)
    asked = parser.parse_args()
    start_up(asked.repeat)
    for name in asked.beds:
        stages(name, asked.repeat)
    if asked.beds == list(BEDS) or not asked.beds:
        growth(asked.repeat)


if __name__ == "__main__":
    main()
