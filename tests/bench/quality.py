"""What `best` makes of hard beds, beside what a prototype made of the same beds, as a Markdown table.

Run ``python tests/bench/quality.py``; names pick some of the beds. Spacing 2 ft, clearance 1 ft, bend radius 2 ft,
no run under 5 ft. The prototype offset one side (*offsets*) or spread a fixed number of rows by the ratio of the
distances to both sides, whatever gap that left (*spread*); its figures were measured once and are typed in here.
Ours stand below them, with `runs.closest` at the spacing, as when it is not stated, and at 0.7 of it. Of a place drier
than 1.25 × half the spacing it says which law keeps tubing from it as the rows lie, see `kept_off`; where none does,
the promise is broken. Ends with 1 where one of the promises that are checked is; what they are, `broken` says.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import shapely
from shapely import LineString, Point

from layout.model import Design, Feature, Pattern, Run
from layout.plan import plan_field
from layout.units import FOOT
from tests import beds
from tests.bench.speed import SPACING, site_on
from tests.laid import Array, obstacle
from tests.outlines import outlines

CLOSEST = (1.0, 0.7)
"""`runs.closest`, in spacings."""
SHORTEST = 5 * FOOT
MOST_DRY = 1.25
"""Greatest dry distance promised, in half spacings."""


@dataclass(frozen=True, kw_only=True)
class Theirs:
    """What the prototype measured: gaps and dry distance [ft], pieces beyond one a row."""

    mode: str
    gap: tuple[float, float, float]
    covered: float
    dry: float
    pieces: int
    fed: str = ""


@dataclass(frozen=True, kw_only=True)
class HardBed:
    """A bed, and what the prototype made of it."""

    outline: Callable[[], Array]
    features: Sequence[Feature] = field(default=())
    theirs: tuple[Theirs, ...] = ()


def offsets(
    gap: tuple[float, float, float], covered: float, dry: float, pieces: int, fed: str = ""
) -> Theirs:
    return Theirs(mode="offsets", gap=gap, covered=covered, dry=dry, pieces=pieces, fed=fed)


def spread(gap: tuple[float, float, float], covered: float, dry: float, pieces: int, fed: str = "") -> Theirs:
    return Theirs(mode="spread", gap=gap, covered=covered, dry=dry, pieces=pieces, fed=fed)


HOLES = [obstacle(Point(30 * FOOT, 8 * FOOT), 3 * FOOT), obstacle(Point(70 * FOOT, 5 * FOOT), 2.5 * FOOT)]
"""Holes of radius 2 and 1.5 ft, with 1 ft of clearance each."""

BEDS: dict[str, HardBed] = {
    "annular": HardBed(
        outline=beds.annular,
        theirs=(
            offsets((2.00, 2.00, 2.00), 100.0, 1.00, 0, "100"),
            spread((2.00, 2.00, 2.00), 100.0, 1.00, 0, "100"),
        ),
    ),
    "wedge": HardBed(
        outline=beds.wedge,
        theirs=(
            offsets((2.00, 2.00, 2.00), 97.8, 1.75, 0, "100"),
            spread((1.22, 2.00, 2.78), 90.3, 1.39, 0, "100"),
        ),
    ),
    "gentle": HardBed(
        outline=beds.gentle,
        theirs=(
            offsets((2.00, 2.00, 2.00), 98.6, 1.97, 5, "94"),
            spread((1.43, 1.73, 2.00), 100.0, 1.00, 0, "100"),
        ),
    ),
    "gnss": HardBed(
        outline=beds.gnss,
        theirs=(
            offsets((2.00, 2.00, 2.07), 99.0, 1.61, 5, "92"),
            spread((1.25, 1.56, 1.87), 100.0, 0.92, 0, "100"),
        ),
    ),
    "kidney": HardBed(
        outline=beds.kidney,
        theirs=(
            offsets((2.00, 2.00, 2.37), 98.3, 1.84, 0, "57"),
            spread((0.71, 2.00, 2.51), 91.4, 1.25, 0, "100"),
        ),
    ),
    "dumbbell": HardBed(
        outline=beds.dumbbell,
        theirs=(
            offsets((2.00, 2.16, 8.26), 99.2, 1.68, 8, "16"),
            spread((0.00, 2.86, 9.77), 44.6, 4.77, 4),
        ),
    ),
    "two holes": HardBed(
        outline=lambda: beds.rect(100, 16),
        features=HOLES,
        theirs=(
            offsets((2.00, 2.00, 2.00), 99.9, 1.34, 5),
            spread((2.00, 2.00, 2.00), 99.9, 1.34, 5),
        ),
    ),
    "outline 704": HardBed(
        outline=lambda: outlines()["704"] / FOOT,
        theirs=(
            offsets((2.00, 2.06, 5.56), 98.9, 2.40, 36, "25"),
            spread((0.15, 1.75, 4.76), 82.0, 2.69, 1, "100"),
        ),
    ),
    "outline 191": HardBed(
        outline=lambda: outlines()["191"] / FOOT,
        theirs=(
            offsets((2.00, 2.36, 27.6), 98.4, 2.36, 10),
            spread((0.00, 3.57, 27.5), 63.6, 5.61, 0),
        ),
    ),
    "serpentine": HardBed(outline=beds.serpentine),
    "horseshoe": HardBed(outline=beds.horseshoe),
    "meander": HardBed(outline=beds.meander),
    "racetrack": HardBed(outline=beds.racetrack),
    "L": HardBed(outline=beds.ell),
    "T": HardBed(outline=beds.tee),
    "X": HardBed(outline=beds.cross),
    "star": HardBed(outline=beds.star),
    "circle": HardBed(outline=beds.circle),
}


@dataclass(frozen=True, kw_only=True)
class Ours:
    """What `best` gives, in the same terms."""

    pattern: str
    gap: tuple[float, float, float]
    covered: float
    dry: float
    dry_at: tuple[float, float]
    pieces: int
    fed: float
    shortest: float
    law: str
    """What keeps tubing from the driest place, where it is drier than promised; empty where nothing does."""

    @property
    def is_dry(self) -> bool:
        """Whether it leaves a place drier than promised."""
        return self.dry > MOST_DRY * 1.005 * SPACING / FOOT / 2


def planned(bed: HardBed, closest: float) -> Design:
    """The best plan; `closest` in spacings."""
    site = site_on(bed.outline())
    rules = replace(site.runs, closest=closest * SPACING, shortest=SHORTEST)
    return plan_field(replace(site, features=tuple(bed.features), runs=rules))


def figures(design: Design) -> Ours:
    """The figures of a plan [ft]."""
    runs, chosen = design.laying.runs, design.candidates[0]
    between = gaps(runs) / FOOT
    return Ours(
        pattern=str(design.laying.pattern)
        + ("" if chosen.follows == "outline" else f", along the {chosen.follows}"),
        gap=(float(between.min()), float(between.mean()), float(between.max())),
        covered=100 * chosen.coverage.covered,
        dry=chosen.coverage.dry / FOOT,
        dry_at=(chosen.coverage.dry_at[0] / FOOT, chosen.coverage.dry_at[1] / FOOT),
        pieces=len(runs) - len({run.row for run in runs}),
        fed=100 * chosen.fed_at_end,
        shortest=min(run.length for run in runs) / FOOT,
        law=kept_off(design),
    )


def kept_off(design: Design) -> str:
    """The law that keeps tubing from the driest place, as the rows lie; empty where none does.

    Where the place is as far from the end of one run as from the side of another, that end and that side are some gap g
    apart. On a straight slant it is g / (1 + sine of the slant) from both, and were they as near as the least gap c, it
    would be c / g times as dry: where that is still drier than promised, the least gap is what keeps tubing off. Else
    it may be the bend radius, where the nearest run turns as tightly as it may; or a piece left out there for a law.
    """
    chosen, runs, rules = design.candidates[0].coverage, design.laying.runs, design.site.runs
    place, dry, most = Point(chosen.dry_at), chosen.dry, MOST_DRY * SPACING / 2
    near = sorted(runs, key=lambda run: run.line.distance(place))
    near = [run for run in near if run.line.distance(place) < 1.02 * dry]
    ends = [
        (run, end)
        for run in near
        for end in shapely.get_point(run.line, np.array([0, -1]))
        if end.distance(place) < 1.02 * dry
    ]
    least = rules.closest if design.laying.pattern is Pattern.EVEN else rules.spacing
    for run, end in ends:
        for other in near:
            if other is run:
                continue
            gap = other.line.distance(end)
            slant = np.degrees(np.arcsin(np.clip(gap / dry - 1, 0, 1)))
            left = dry * least / gap
            if left > most:
                return (
                    f"rows that end there at {slant:.0f}° lie {gap / FOOT:.2f} ft apart, and leave "
                    f"{left / FOOT:.2f} ft at the least gap of {least / FOOT:.2f} ft"
                )
    radius = design.site.tubing.bend_radius
    for run in near:
        at = run.line.project(place)
        points = [run.line.interpolate(at + shift) for shift in (-radius / 4, 0, radius / 4)]
        turn = radius_through(*points)
        if turn < 1.1 * radius and dry * 0.95 * radius / turn > most:
            return (
                f"the nearest run turns there at a radius of {turn / FOOT:.2f} ft, and may not turn tighter"
            )
    for piece in design.laying.dropped:
        if piece.line.distance(place) < most:
            return f"a piece of {piece.line.length / FOOT:.1f} ft there is {piece.why}"
    return ""


def radius_through(one: Point, two: Point, three: Point) -> float:
    """Radius of the circle through three points [m]."""
    sides = one.distance(two), two.distance(three), three.distance(one)
    area = shapely.Polygon([one, two, three]).area
    return float(np.prod(sides) / (4 * area)) if area > 1e-9 else float("inf")


def gaps(runs: Sequence[Run], step: float = 0.25 * FOOT) -> Array:
    """Distances from points of a row to the next row, those left out that face one of its ends [m]."""
    rows: dict[int, list[LineString]] = {}
    for run in runs:
        rows.setdefault(run.row, []).append(run.line)
    order = sorted(rows)
    found = [np.array([np.nan])]
    for this, following in pairwise(order):
        beside = np.asarray(rows[following], dtype=object)
        for line in rows[this]:
            points = shapely.line_interpolate_point(line, np.arange(step / 2, line.length, step))
            apart = shapely.distance(points[:, None], beside[None, :])
            nearest = beside[apart.argmin(axis=1)]
            foot = shapely.line_locate_point(nearest, points)
            on = (foot > 1e-6) & (foot < shapely.length(nearest) - 1e-6)
            found.append(apart.min(axis=1)[on])
    every = np.concatenate(found)
    return every[~np.isnan(every)] if len(every) > 1 else np.zeros(1)


def row(name: str, figures: Theirs | Ours) -> str:
    """A line of the table."""
    theirs = isinstance(figures, Theirs)
    fed = figures.fed if isinstance(figures, Theirs) else f"{figures.fed:.0f}"
    mode = f"theirs, {figures.mode}" if isinstance(figures, Theirs) else f"**{figures.pattern}**"
    gap = "/".join(f"{value:.2f}" for value in figures.gap)
    mark = "" if theirs else "**"
    cells = (f"{figures.covered:.1f}", f"{figures.dry:.2f}", str(figures.pieces), fed)
    return f"| {name} | {mode} | {gap} | " + " | ".join(f"{mark}{cell}{mark}" for cell in cells) + " |"


def dryness(ours: Ours) -> str:
    """How dry the driest place of a plan is."""
    x, y = ours.dry_at
    return f"dry {ours.dry:.2f} ft at ({x:.1f}, {y:.1f}), over {MOST_DRY} × half the spacing"


def broken(bed: HardBed, ours: Ours) -> Iterator[str]:
    """The promises that a plan breaks."""
    if ours.is_dry and not ours.law:
        yield dryness(ours)
    if ours.shortest < SHORTEST / FOOT - 1e-6:
        yield f"a piece of {ours.shortest:.2f} ft, under runs.shortest"
    if not bed.theirs:
        return
    best = max(figures.covered for figures in bed.theirs)
    if ours.covered < best - 0.05:
        yield f"{ours.covered:.1f} % covered, under {best:.1f} %"
    pieces = bed.theirs[0].pieces
    if ours.pieces >= max(pieces, 1):
        yield f"{ours.pieces} pieces beyond one a row, offsets {pieces}"


def brief(figures: Theirs | Ours) -> str:
    """What counts most, in a cell."""
    return f"{figures.covered:.1f} · {figures.dry:.2f} · {figures.pieces}"


def print_brief(names: Sequence[str]) -> None:
    """One line a bed: share covered [%] · driest place [ft] · pieces beyond one a row."""
    heads = [f"`best`, closest {closest:g} s" for closest in CLOSEST]
    print("| bed | offsets | spread | " + " | ".join(heads) + " |")
    print("| --- " * (3 + len(heads)) + "|")
    for name in names:
        theirs = [brief(figures) for figures in BEDS[name].theirs] or ["", ""]
        ours = [figures(planned(BEDS[name], closest)) for closest in CLOSEST]
        cells = [*theirs, *(f"{brief(found)}, {found.pattern}" for found in ours)]
        print(f"| {name} | " + " | ".join(cells) + " |", flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("beds", nargs="*", help="names of beds; all if none is named")
    parser.add_argument("--brief", action="store_true", help="one line a bed, and no promises")
    asked = parser.parse_args()
    if asked.brief:
        print_brief(asked.beds or list(BEDS))
        return 0
    print("| bed | pattern | gap least/mean/greatest, ft | covered % | driest, ft | pieces | fed % |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    promises: list[str] = []
    left: list[str] = []
    for name in asked.beds or BEDS:
        bed = BEDS[name]
        for theirs in bed.theirs:
            print(row(name, theirs))
        for closest in CLOSEST:
            ours = figures(planned(bed, closest))
            print(row(name, replace(ours, pattern=f"{ours.pattern}; closest {closest:g} s")), flush=True)
            what = f"{name}, closest {closest:g} s"
            promises += [f"{what}: {said}" for said in broken(bed, ours)]
            if ours.is_dry and ours.law:
                left += [f"{what}: {dryness(ours)}: {ours.law}"]
    print()
    print("\n".join(f"LEFT BY A LAW, as the rows lie: {said}" for said in left))
    print("\n".join(f"BROKEN {said}" for said in promises) or "All promises are kept.")
    return 1 if promises else 0


if __name__ == "__main__":
    sys.exit(main())
