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
import math
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from layout.model import Design, Feature, Pattern, Run
from layout.plan import plan_field
from layout.plane import coordinates, polygons_of, stretch, unit
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

    Tubing that would wet it comes within :data:`MOST_DRY` half spacings of it. It would be a further run, or the
    end of a run led on. Room for either is usable ground a least gap from all other runs. Where no room for a run
    comes so near, nor any that an end can reach, turning by a right angle at most, the least gap keeps tubing off;
    where a room does, but no line as long as `runs.shortest` fits into it, see :func:`longest_in`,
    that and the bend radius do.
    """
    place, most = Point(design.candidates[0].coverage.dry_at), MOST_DRY * SPACING / 2
    rules, runs, radius = design.site.runs, design.laying.runs, 0.95 * design.site.tubing.bend_radius
    least = rules.closest if design.laying.pattern is Pattern.EVEN else rules.spacing
    rooms = [part for part in room(design, [run.line for run in runs], least) if part.distance(place) < most]
    longest = max((longest_in(part, radius) for part in rooms), default=0.0)
    if longest >= rules.shortest or any(
        can_be_led_near(design, number, at_end, place, least)
        for number in range(len(runs))
        for at_end in (True, False)
    ):
        return ""
    why = f"no run and no end fits there {least / FOOT:.2f} ft from the others"
    return why + (f" but one of {longest / FOOT:.1f} ft, under runs.shortest" if longest else "")


def room(design: Design, lines: Sequence[LineString], least: float) -> list[Polygon]:
    """Usable ground a least gap from some lines, but for half a hundredth of it [m]."""
    near = shapely.buffer(np.asarray(lines, dtype=object), 0.995 * least, quad_segs=32)
    return polygons_of(design.ground.area.difference(shapely.union_all(near)))


def longest_in(ground: Polygon, radius: float) -> float:
    """A bound [m] on the length of a line that bends no tighter than a radius in some ground; infinite if it is wide.

    By Schur's comparison theorem such a line of length l ≤ π r has its ends 2 r sin(l / 2 r) apart or farther.
    """
    corners = coordinates(ground.convex_hull)
    across = max(float(np.hypot(*(corners - corner).T).max()) for corner in corners)
    return 2 * radius * math.asin(across / (2 * radius)) if across < 2 * radius else math.inf


def can_be_led_near(design: Design, number: int, at_end: bool, place: Point, least: float) -> bool:
    """Whether the end of a run could be led on so near to a place that it is wet."""
    run, most = design.laying.runs[number], MOST_DRY * SPACING / 2
    line = run.line if at_end else run.line.reverse()
    tip, radius = coordinates(line)[-1], 0.95 * design.site.tubing.bend_radius
    if Point(tip).distance(place) > 4 * SPACING:
        return False
    ahead = unit((tip - coordinates(line.interpolate(-radius / 8)))[-1:])[0]
    aside, far = np.array([-ahead[1], ahead[0]]), 8 * SPACING
    others = [other.line for other in design.laying.runs if other is not run]
    body = stretch(line, 0.0, max(line.length - 2 * least, line.length / 2))
    onward = Polygon(
        [tip + far * aside, tip - far * aside, tip + far * (ahead - aside), tip + far * (ahead + aside)]
    )
    too_tight = shapely.union_all(
        [Point(tip + side * radius * aside).buffer(0.999 * radius) for side in (1, -1)]
    )
    return any(
        reached.distance(Point(tip)) < 0.01 * least and reached.distance(place) < most
        for part in room(design, [*others, body], least)
        for reached in polygons_of(part.intersection(onward).difference(too_tight))
    )


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
    best = max(bed.theirs, key=lambda figures: figures.covered)
    if ours.covered < best.covered - 0.05:
        yield (
            f"{ours.covered:.1f} % covered, under the {best.covered:.1f} % of {best.mode}, "
            f"whose rows come within {best.gap[0]:.2f} ft of each other"
        )
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
