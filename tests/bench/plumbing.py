"""What becomes of the plumbing on forty random but reasonable sites: a bed, straight, bent, L-shaped, tapering or
blunt, beside a house with its tanks, with trees in it, in one zone or several.

Run ``python tests/bench/plumbing.py``; numbers pick some of the sites, ``--trunk`` lays one trunk for the zones of
each, ``--out FOLDER`` keeps their site files, their plans and a line of figures each. Prints a line a site, then sums:
plans without a crash, manifolds without a line, places where pipes cross, elbows that cannot be joined, laterals over
`laterals.longest`, tubing that is not fed, and failed checks by name. Ends with 1 where a plan crashed.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, affinity, box

from layout.model import Design
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.routes.told import close_elbows
from layout.sheets.write import write_plan

SITES = 40
PATTERNS = ("best", "left", "right", "even", "centre")


def outline(rng: np.random.Generator, kind: int) -> Polygon:
    """A bed of one of five kinds [ft]."""
    length, width = rng.uniform(70, 170), rng.uniform(16, 34)
    if kind == 0:
        return affinity.rotate(box(0, 0, length, width), rng.uniform(0, 180))
    if kind == 1:
        radius = rng.uniform(60, 140)
        turns = np.linspace(0, length / radius, 30)
        middle = np.column_stack((radius * np.sin(turns), radius * np.cos(turns)))
        return LineString(middle).buffer(width / 2, cap_style="flat")
    if kind == 2:
        arm = rng.uniform(40, 80)
        return Polygon(
            [(0, 0), (length, 0), (length, width), (width, width), (width, width + arm), (0, width + arm)]
        )
    x = np.linspace(0, length, 24)
    if kind == 3:
        sway = rng.uniform(4, 12) * np.sin(x / length * 2 * math.pi)
        half = np.linspace(width / 2, width * rng.uniform(0.25, 0.45), len(x))
        return Polygon([*zip(x, sway - half, strict=True), *zip(x[::-1], (sway + half)[::-1], strict=True)])
    turns = np.linspace(0, 2 * math.pi, 40, endpoint=False)
    swell = 1 + 0.12 * np.sin(2 * turns + rng.uniform(0, 6)) + 0.06 * np.sin(3 * turns + rng.uniform(0, 6))
    return Polygon(np.column_stack((length / 2 * np.cos(turns) * swell, width * np.sin(turns) * swell)))


def beside(rng: np.random.Generator, bed: Polygon, shape: Polygon, away: float) -> Polygon:
    """A shape turned at random and moved to so far from the bed, somewhere about it."""
    shape = affinity.rotate(shape, rng.uniform(0, 90))
    at = bed.exterior.interpolate(rng.uniform(0, bed.exterior.length))
    out = np.array([at.x - bed.centroid.x, at.y - bed.centroid.y])
    out /= max(float(np.hypot(*out)), 1e-9)
    for step in range(400):
        x, y = np.array([at.x, at.y]) + out * step
        moved = affinity.translate(shape, x - shape.centroid.x, y - shape.centroid.y)
        if moved.distance(bed) >= away:
            return moved
    raise ValueError("a bed is smaller than that")


def feature(name: str, kind: str, points: Any, setback: float, *, inside: bool = False) -> str:
    shape = [[round(float(x), 2), round(float(y), 2)] for x, y in points]
    text = (
        f'[[feature]]\nname = "{name}"\nkind = "{kind}"\nshape = {shape[0] if len(shape) == 1 else shape}\n'
    )
    return text + f"setback = {setback:.1f}\n" + ("inside = true\n" if inside else "")


def site_text(seed: int) -> str:
    """The site file of one site."""
    rng = np.random.default_rng(1000 + seed)
    bed = outline(rng, seed % 5)
    setback = float(rng.choice([5.0, 10.0]))
    house = beside(rng, bed, box(0, 0, rng.uniform(30, 60), rng.uniform(24, 36)), rng.uniform(setback, 22))
    tank = affinity.translate(box(0, 0, 6, 9), house.bounds[0] - rng.uniform(10, 18), house.bounds[1])
    if tank.distance(bed) < 6:
        tank = beside(rng, bed, box(0, 0, 6, 9), rng.uniform(8, 30))
    parts = [
        feature("house", "building", house.exterior.coords, setback),
        feature("dosing tank", "tank", tank.exterior.coords, 5.0),
    ]
    if rng.random() < 0.6:
        shed = beside(rng, bed, box(0, 0, 12, 10), rng.uniform(3, 12))
        parts.append(feature("shed", "building", shed.exterior.coords, 3.0))
    if rng.random() < 0.4:
        well = beside(rng, bed, box(0, 0, 1, 1), rng.uniform(50, 60)).centroid
        parts.append(feature("well", "well", [(well.x, well.y)], 50.0))
    for number in range(int(rng.choice([0, 0, 1, 2, 3]))):
        west, south, east, north = bed.buffer(-3).bounds
        at = Point(rng.uniform(west, east), rng.uniform(south, north))
        if bed.buffer(-2).contains(at):
            parts.append(
                feature(
                    f"tree {number + 1}", "tree", [(at.x, at.y)], float(rng.choice([2, 3, 4])), inside=True
                )
            )
    lot = shapely.union_all([bed, house, tank]).envelope.buffer(rng.uniform(15, 40), join_style="mitre")
    parts.append(feature("lot line", "property line", lot.exterior.coords, 5.0))
    zones = int(rng.choice([1, 1, 2, 3, 4]))
    pump = tank.centroid
    ring = [[round(x, 2), round(y, 2)] for x, y in bed.exterior.coords[:-1]]
    return "\n".join(
        [
            f'title = "Random site {seed}"\nunits = "ft"',
            f"[bed]\noutline = {ring}\nclearance = 1.0",
            *parts,
            "[tubing]\nemitter_spacing = 2.0\nemitter_flow = 0.6\nbend_radius = 2.0\ninside_diameter = 0.55",
            f'[runs]\nspacing = 2.0\npattern = "{PATTERNS[int(rng.integers(len(PATTERNS)))]}"',
            f"[laterals]\nlongest = {float(rng.choice([200, 300, 400]))}",
            f'[manifold]\nend = "{rng.choice(["pump", "pump", "far"])}"',
            f"[zones]\ncount = {zones}" if zones > 1 else "",
            f"[pump]\nat = [{pump.x:.2f}, {pump.y:.2f}]\nlevel = 95.0",
        ]
    )


def figures(design: Design) -> dict[str, Any]:
    """What is counted of one plan."""
    plumbing = design.plumbing
    limit = design.site.laterals.longest
    over = [lateral for lateral in design.laterals if lateral.whole > limit + 1e-6]
    value = {check.name: check.value for check in design.checks}
    return {
        "pattern": design.laying.pattern.value,
        "zones": len(design.zones),
        "laterals": len(design.laterals),
        "over": len(over),
        "manifolds": len(plumbing.manifolds),
        "lost": len(plumbing.unreached),
        "crossings": int(value["places where pipes cross that do not join"]),
        "close": len(close_elbows(plumbing)),
        "fed": next(value[name] for name in value if name.startswith("share of tubing fed")),
        "failed": [check.name for check in design.checks if not check.ok],
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("numbers", nargs="*", type=int, help="sites to plan; all if none is named")
    parser.add_argument("--out", type=Path, help="where to keep site files, plans and figures")
    parser.add_argument("--trunk", action="store_true", help="lines of zones share a trunk")
    asked = parser.parse_args()
    failed: Counter[str] = Counter()
    sums: Counter[str] = Counter()
    fed: list[float] = []
    crashed = 0
    started = time.process_time()
    with tempfile.TemporaryDirectory() as scratch:
        for seed in asked.numbers or range(SITES):
            folder = (asked.out or Path(scratch)) / f"{seed:02}"
            folder.mkdir(parents=True, exist_ok=True)
            (folder / "site.toml").write_text(site_text(seed))
            try:
                trunk = asked.trunk and "[zones]" in (folder / "site.toml").read_text()
                settings = ['zones.lines="trunk"'] if trunk else []
                design = plan_field(read_site(folder / "site.toml", settings))
                found = figures(design)
                if asked.out:
                    write_plan(design, folder / "plan")
                    (folder / "figures.json").write_text(json.dumps(found))
            except Exception:  # whatever it is, the other sites are to be seen as well
                crashed += 1
                print(f"{seed:02} crashed: " + traceback.format_exc(limit=-2).replace("\n", " "), flush=True)
                continue
            failed.update(found.pop("failed"))
            sums.update(
                {key: found[key] for key in ("laterals", "over", "manifolds", "lost", "crossings", "close")}
            )
            fed.append(found["fed"])
            print(f"{seed:02} " + " · ".join(f"{key} {value}" for key, value in found.items()), flush=True)
    print(f"{len(fed)} plans without a crash, {crashed} crashed, {time.process_time() - started:.0f} s")
    print(f"{sums['lost']} of {sums['manifolds']} manifolds without a line, {sums['crossings']} crossings")
    print(f"{sums['close']} pairs of elbows nearer to each other than they can be joined")
    print(f"{sums['over']} of {sums['laterals']} laterals over laterals.longest")
    print(
        f"least share of tubing fed {min(fed, default=1):.4f}, under 1 on {sum(item < 1 for item in fed)} sites"
    )
    for name, number in failed.most_common():
        print(f"{number:4} × {name}")
    return 1 if crashed else 0


if __name__ == "__main__":
    sys.exit(main())
