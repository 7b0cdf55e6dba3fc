"""Slopes of the ground along runs, and what of it a reviewer should see."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import LineString

from layout.model import XY, Levels, RunSlope, xy
from layout.plane import coordinates, points_at, resample
from layout.terrain.surface import heights


def slopes_along(
    levels: Levels, names: Sequence[str], lines: Sequence[LineString], *, over: float
) -> tuple[RunSlope, ...]:
    """The greatest slope of the ground along each run.

    Parameters
    ----------
    levels : Levels
    names : sequence of str
        Of the runs.
    lines : sequence of LineString
        The runs [m].
    over : float
        Length along the run that a slope is taken over [m]; the whole run, where that is shorter.

    Returns
    -------
    tuple of RunSlope
        In the order of the runs; without a figure where no such length lies on surveyed ground.
    """
    walks, ends = [], [0]
    for line in lines:
        points = coordinates(line)
        span = min(over, line.length)
        first = resample(np.asarray([[0.0, 0.0], [line.length - span, 0.0]]), span / 8)[:, 0]
        walks += [points_at(points, first), points_at(points, first + span)]
        ends += [ends[-1] + len(first)]
    found = heights(levels, np.vstack(walks)) if walks else np.empty(0)
    slopes = []
    for k, (name, line) in enumerate(zip(names, lines, strict=True)):
        low, high = ends[k], ends[k + 1]
        start, end = found[2 * low : low + high], found[low + high : 2 * high]
        rise = np.abs(end - start) / min(over, line.length)
        worst = None if np.isnan(rise).all() else int(np.nanargmax(rise))
        slopes.append(
            RunSlope(
                run=name,
                greatest=None if worst is None else float(rise[worst]),
                at=None if worst is None else _between(line, worst, high - low, over),
            )
        )
    return tuple(slopes)


def _between(line: LineString, number: int, count: int, over: float) -> XY:
    """The middle of one of the lengths that slopes along a line are taken over."""
    span = min(over, line.length)
    first = 0.0 if count == 1 else (line.length - span) * number / (count - 1)
    return xy(line.interpolate(first + span / 2))
