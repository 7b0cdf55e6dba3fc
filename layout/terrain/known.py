"""Heights of what is laid, where the ground is surveyed; where it is not, that is said, and nothing made up."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from shapely import LineString

from layout.model import Finding, Join, Laying, Levels, Plumbing, Site
from layout.plane import Array, coordinates, resample
from layout.terrain.surface import heights

STEP = 0.25
"""Whether the ground is surveyed is asked so often along what is laid [m]."""
_NAMED = 6
"""Lines named in a finding; the rest are counted."""


def known_heights(levels: Levels | None, points: Array) -> list[float | None]:
    """Heights of the ground at points [m]; None beyond the surveyed levels, or without any."""
    if levels is None or not len(points):
        return [None] * len(points)
    return [None if math.isnan(height) else float(height) for height in heights(levels, points)]


def height_findings(
    site: Site, laying: Laying, joins: Sequence[Join], plumbing: Plumbing
) -> Iterator[Finding]:
    """Which runs, joins, manifolds and lines lie on ground whose height is not known, in part or as a whole."""
    levels = site.bed.levels
    if levels is None or not levels.points:
        return
    named: list[tuple[str, LineString]] = [(run.name, run.line) for run in laying.runs]
    named += [(f"{join.kind} {join.start}-{join.end}", join.line) for join in joins]
    named += [(f"{pipe.kind} manifold", pipe.line) for pipe in plumbing.manifolds]
    named += [(pipe.named("line", several=False), pipe.line) for pipe in plumbing.lines]
    if not named:
        return
    walks = [_walk(line) for _, line in named]
    unknown = np.isnan(heights(levels, np.vstack([middles for middles, _ in walks])))
    steps = np.concatenate([lengths for _, lengths in walks])
    parts = np.split(unknown, np.cumsum([len(lengths) for _, lengths in walks])[:-1])
    names = list(dict.fromkeys(name for (name, _), part in zip(named, parts, strict=True) if part.any()))
    if not names:
        return
    unit = site.frame.units
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    yield Finding(
        code="unknown-heights",
        said=(
            f"The ground's height is not known under {float(steps[unknown].sum()) / unit.length:,.0f} of "
            f"{float(steps.sum()) / unit.length:,.0f} {unit.length_name} laid, "
            f"beyond the surveyed levels: {', '.join(names[:_NAMED])}{more}."
        ),
        remedy="Survey levels round all that is laid, the pump included.",
    )


def _walk(line: LineString) -> tuple[Array, Array]:
    """Middles of short steps along a line, shape (n, 2), and the length of each step [m]."""
    points = resample(coordinates(line), STEP)
    middles = (points[:-1] + points[1:]) / 2
    return middles, np.full(len(middles), line.length / len(middles))
