"""Pictures of what `best` lays in twelve hard beds, to be looked at: one sheet, and one picture a bed.

Run ``python tests/bench/gallery.py FOLDER``; names of beds pick some of them. Feet; the manifold end is drawn thick.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import shapely
from shapely import LineString, Point

from layout.model import Design, Feature
from layout.plan import plan_field
from layout.units import FOOT
from tests import beds
from tests.bench.speed import site_on
from tests.laid import Array, obstacle


def tight() -> Array:
    """A serpentine bed that bends as tightly as a bed of its width can."""
    return beds.sinuous(12, 60, (11, 15), 150)


def spindle() -> Array:
    """Two bows that meet in points."""
    x = np.linspace(-60, 60, 61)
    y = 8 * (1 - (x / 60) ** 2)
    return np.vstack((np.column_stack((x, y)), np.column_stack((x, -y))[::-1][1:-1]))


def long_neck() -> Array:
    """Two fields joined by a long crooked neck that holds two rows."""
    parts = [
        shapely.box(0, 0, 50, 30),
        shapely.box(120, 10, 165, 45),
        LineString([(45, 15), (85, 15), (95, 30), (125, 30)]).buffer(2.5, join_style="mitre"),
    ]
    return np.asarray(shapely.get_coordinates(shapely.union_all(parts))[:-1])


def ring_of_ground() -> Array:
    """A ring, cut open: a bed round something."""
    return beds.annular(20, 34, 345, step=2)


HOLES = (obstacle(Point(30 * FOOT, 8 * FOOT), 3 * FOOT), obstacle(Point(70 * FOOT, 5 * FOOT), 2.5 * FOOT))
NONE: tuple[Feature, ...] = ()
BEDS: dict[str, tuple[Callable[[], Array], Sequence[Feature]]] = {
    "dumbbell": (beds.dumbbell, NONE),
    "kidney": (beds.kidney, NONE),
    "gnss": (beds.gnss, NONE),
    "tight": (tight, NONE),
    "holes": (lambda: beds.rect(100, 16), HOLES),
    "ring": (ring_of_ground, NONE),
    "L": (beds.ell, NONE),
    "T": (beds.tee, NONE),
    "X": (beds.cross, NONE),
    "star": (beds.star, NONE),
    "spindle": (spindle, NONE),
    "neck": (long_neck, NONE),
}
EXTRA: dict[str, tuple[Callable[[], Array], Sequence[Feature]]] = {
    "horseshoe": (beds.horseshoe, NONE),
    "ten acres": (beds.field10ac, NONE),
    "meander": (beds.meander, NONE),
    "gentle": (beds.gentle, NONE),
}
"""Drawn on request."""


def planned(name: str, closest: float) -> Design:
    outline, features = {**BEDS, **EXTRA}[name]
    site = site_on(outline())
    rules = replace(site.runs, closest=closest * site.runs.spacing)
    return plan_field(replace(site, features=tuple(features), runs=rules))


def draw(axes: Any, name: str, design: Design) -> None:
    """A plan, with what was left out, and the driest place."""

    def line(geometry: Any, *style: str, **how: Any) -> None:
        axes.plot(*(shapely.get_coordinates(geometry) / FOOT).T, *style, **how)

    bed = shapely.get_coordinates(design.site.bed.outline.exterior) / FOOT
    axes.fill(*bed.T, facecolor="0.93", edgecolor="0.3", linewidth=0.8)
    for zone in design.ground.kept_clear.geoms:
        axes.fill(*(shapely.get_coordinates(zone) / FOOT).T, facecolor="0.8")
    line(design.sides.near, color="black", linewidth=2.5)
    for run in design.laying.runs:
        line(run.line, color="tab:blue" if run.from_end else "tab:purple", linewidth=0.9)
        line(Point(run.line.coords[0]), "o", color="tab:blue", markersize=1.5)
    for join in design.joins:
        line(join.line, color="black", linewidth=0.7, linestyle=(0, (3, 1)))
    for piece in design.laying.dropped:
        line(piece.line, color="tab:red", linewidth=0.7)
    x, y = (value / FOOT for value in design.coverage.dry_at)
    axes.plot(x, y, "x", color="tab:orange", markersize=5)
    chosen = design.candidates[0]
    rows = len({run.row for run in design.laying.runs})
    axes.set_title(
        f"{name}: {chosen.pattern}, {chosen.follows}; {rows} rows, {len(design.laying.runs)} runs\n"
        f"covered {100 * design.coverage.covered:.1f} %, driest {design.coverage.dry / FOOT:.2f} ft (x), "
        f"fed {100 * chosen.fed_at_end:.0f} %, left out {len(design.laying.dropped)}",
        fontsize=7,
    )
    axes.set_aspect("equal")
    axes.tick_params(labelsize=5)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("beds", nargs="*", help="names of beds; the twelve if none is named")
    parser.add_argument("--closest", type=float, default=1.0, help="runs.closest, in spacings")
    asked = parser.parse_args()
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    asked.folder.mkdir(parents=True, exist_ok=True)
    names = asked.beds or list(BEDS)
    columns = min(len(names), 3)
    sheet, cells = plt.subplots(
        math.ceil(len(names) / columns),
        columns,
        figsize=(17, 4.2 * math.ceil(len(names) / columns)),
        squeeze=False,
    )
    for cell, name in zip(cells.flat, names, strict=False):
        design = planned(name, asked.closest)
        draw(cell, name, design)
        page, axes = plt.subplots(figsize=(11, 8))
        draw(axes, name, design)
        page.savefig(asked.folder / f"{name.replace(' ', '_')}.png", dpi=110, bbox_inches="tight")
        plt.close(page)
        print(name, flush=True)
    for cell in cells.flat[len(names) :]:
        cell.set_axis_off()
    sheet.tight_layout()
    sheet.savefig(asked.folder / "gallery.png", dpi=110)


if __name__ == "__main__":
    main()
