"""A hundred outlines of an open dataset as beds; where they are from: `outside/data/README.md`. Metres."""

from __future__ import annotations

import functools
import json
from pathlib import Path

import numpy as np

from layout.coverage import bare_places
from layout.model import Laying, Pattern
from layout.units import FOOT
from layout.usable import usable_ground
from tests.laid import Array, Field, field
from tests.laws import Laid, unlisted

DATA = Path(__file__).parent / "outside" / "data" / "outlines.json"


@functools.cache
def outlines() -> dict[str, Array]:
    """The outlines by their numbers."""
    read = json.loads(DATA.read_text(encoding="utf-8"))
    return {number: np.asarray(points, float) for number, points in read.items()}


def bed(number: str) -> Field:
    """A bed on an outline, with rows 2 ft apart, a clearance of 1 ft, bends of 2 ft, and no run under 10 ft."""
    return field(
        outlines()[number], spacing=2 * FOOT, clearance=FOOT, bend_radius=2 * FOOT, shortest=10 * FOOT
    )


def not_listed(site: Field, laying: Laying) -> list[str]:
    """Ground that no run reaches though its rows would have, with neither a piece nor bare ground listed there."""
    gap = site.rules.widest if laying.pattern is Pattern.EVEN else site.rules.spacing
    ground = usable_ground(site.bed, site.features)
    told = bare_places(ground.area, laying.runs, reach=gap, speck=0.2 * site.rules.spacing)
    return unlisted(
        Laid(
            outline=site.bed.outline,
            lines=[*(run.line for run in laying.runs), *(join.line for join in laying.carries)],
            clearance=site.bed.clearance,
            spacing=site.rules.spacing,
            gap=gap,
            bend_radius=site.tubing.bend_radius,
            dropped=[*(piece.line for piece in laying.dropped), *told],
            zones=[(feature.shape, feature.setback) for feature in site.features],
        ),
        1.5 * gap,
        speck=0.2 * site.rules.spacing,
    )


def broken_promises(site: Field, pattern: Pattern) -> list[str]:
    """What is wrong with the runs of a pattern: broken laws, pieces not listed, nothing laid."""
    laying = site.lay(pattern)
    nothing = [] if laying.runs else ["no run was laid"]
    return [*nothing, *site.broken(laying), *not_listed(site, laying)]
