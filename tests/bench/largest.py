"""Plans as large as the limits allow: what each takes of processor time and memory, whole sets of sheets included.

Run with ``python tests/bench/largest.py [NAME ...]``. Within the limits of ``layout/limits.py`` none may take over 60 s
on each of two cores, or 2 GiB; one that is refused says so at once.
"""

from __future__ import annotations

import math
import random
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.bench.mangled import ran  # noqa: E402 (the path comes first)

MOST_SECONDS = 120
"""Of processor time: a minute on each of two cores."""
SITE = """title = "{name}"
units = "ft"

[bed]
outline = {outline}

[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6
inside_diameter = 0.55
bend_radius = {bend}

[runs]
spacing = 2.0
pattern = "{pattern}"

[pump]
at = {pump}
level = -5.0

[stakeout]
interval = {interval}

[laterals]
longest = {longest}

{more}
"""
Points = list[list[float]]


def site(outline: Points, **parts: object) -> str:
    """A site file of an outline [ft]."""
    west = min(x for x, _ in outline)
    given = {
        "name": "As large as can be",
        "pattern": "best",
        "bend": 2.0,
        "interval": 10.0,
        "longest": 600.0,
        "more": "",
        "pump": [west - 60.0, outline[0][1] - 20.0],
        **parts,
    }
    return SITE.format(outline=[[round(x, 3), round(y, 3)] for x, y in outline], **given)


def box(wide: float, high: float) -> Points:
    """A rectangle [ft]."""
    return [[0.0, 0.0], [wide, 0.0], [wide, high], [0.0, high]]


def walked(count: int, noise: float) -> Points:
    """A winding bed walked point by point, each point off by a little [ft]."""
    chance = random.Random(7)
    half = count // 2
    sides: list[Points] = [[], []]
    for number in range(half):
        x = 600.0 * number / (half - 1)
        middle, slope = 40.0 * math.sin(x / 60.0), 40.0 / 60.0 * math.cos(x / 60.0)
        size = math.hypot(1.0, slope)
        for side, aside in enumerate((-15.0, 15.0)):
            off = aside + chance.gauss(0.0, noise)
            sides[side].append([x - off * slope / size, middle + off / size])
    return sides[0] + sides[1][::-1]


def woods(wide: float, high: float, count: int) -> str:
    """Trees that stand in a bed, as features."""
    chance = random.Random(3)
    return "\n".join(
        f'[[feature]]\nname = "tree {number}"\nkind = "tree"\nsetback = 2.0\ninside = true\n'
        f"shape = [{chance.uniform(8, wide - 8):.2f}, {chance.uniform(8, high - 8):.2f}]\n"
        for number in range(1, count + 1)
    )


CASES: dict[str, Callable[[], str]] = {
    "10 acres, best": lambda: site(box(660, 660)),
    "10 acres, 8 zones, left": lambda: site(box(660, 660), pattern="left", more="[zones]\ncount = 8"),
    "100 km of tubing, left": lambda: site(box(800, 820), pattern="left"),
    "outline of 2,000 corners, off by 0.05 ft": lambda: site(walked(2000, 0.05)),
    "outline of 2,000 corners, off by 0.3 ft": lambda: site(walked(2000, 0.3)),
    "outline of 1,000 corners, off by 0.05 ft": lambda: site(walked(1000, 0.05)),
    "60 trees in 18,000 ft², best": lambda: site(box(134, 134), more=woods(134, 134, 60)),
    "100 trees in 30,000 ft², left": lambda: site(box(173, 173), pattern="left", more=woods(173, 173, 100)),
    "300 trees in 90,000 ft², best: refused": lambda: site(box(300, 300), more=woods(300, 300, 300)),
    "40,000 stakes": lambda: site(box(300, 260), pattern="left", interval=1.0),
    "200,000 emitters": lambda: site(box(630, 630), pattern="left").replace(
        "spacing = 2.0", "spacing = 1.0", 1
    ),
}


def main(wanted: list[str]) -> int:
    """Plan what is asked for and print a table."""
    import layout.plan
    import layout.sheets.dxf
    import layout.sheets.plot
    import layout.sheets.write  # noqa: F401 (so that the processes need not)

    bad = 0
    print("| plan | exit | processor time (s) | memory (MiB) |\n| --- | --- | --- | --- |")
    for name, make in CASES.items():
        if wanted and not any(word in name for word in wanted):
            continue
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "site.toml").write_text(make(), encoding="utf-8")
            code, seconds, memory, said = ran(Path(folder), ["plan", "site.toml"], seconds=600)
        bad += seconds > MOST_SECONDS or memory > 2 << 30 or code not in (0, 1)
        print(f"| {name} | {code} | {seconds:.0f} | {memory / 2**20:.0f} |", flush=True)
        if code != 0:
            print(f"  {said.strip()[-400:]}", flush=True)
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
