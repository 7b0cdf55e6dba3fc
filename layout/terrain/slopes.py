"""Slopes of the ground along runs, and what of it a reviewer should see."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from shapely import LineString

from layout.model import XY, Check, Finding, Laying, Levels, Pattern, RunSlope, Site, site_place, xy
from layout.plane import coordinates, points_at, resample
from layout.terrain.levelline import level_line
from layout.terrain.surface import heights, surveyed_share

INFORMATION = (
    "judgement: shown for information, no limit stated; 30 TAC 222.121(c) (Texas) asks for not over 1 % lateral slope; "
    "local code decides"
)
ALL = 0.999
"""A bed of which this share lies between the surveyed levels is surveyed as a whole."""


def run_slopes(site: Site, laying: Laying) -> tuple[RunSlope, ...]:
    """The greatest slope along each run over one row spacing of it; empty where the site has no surveyed levels."""
    if site.bed.levels is None or not site.bed.levels.points:
        return ()
    names, lines = [run.name for run in laying.runs], [run.line for run in laying.runs]
    return slopes_along(site.bed.levels, names, lines, over=site.runs.spacing)


def slope_checks(site: Site, laying: Laying, slopes: Sequence[RunSlope]) -> tuple[Check, ...]:
    """How steep the runs that follow a level line are, for the reviewer to judge: there is no limit to fail."""
    known = [slope for slope in slopes if slope.greatest is not None]
    if laying.pattern is not Pattern.CONTOUR or not known:
        return ()
    unit = site.frame.units
    steepest = max(known, key=lambda slope: slope.greatest or 0.0)
    place = "" if steepest.at is None else f" ({steepest.run} at {site_place(site.frame, steepest.at)})"
    return (
        Check(
            name=f"greatest slope along a run, over {site.runs.spacing / unit.length:g} {unit.length_name}{place}",
            value=steepest.greatest or 0.0,
            limit=math.inf,
            unit="ratio",
            sense="most",
            ok=True,
            source=INFORMATION,
        ),
    )


def ground_findings(site: Site, laying: Laying) -> Iterator[Finding]:
    """What a designer should know of the levels: ground beyond them, a level line not tried or stood in for."""
    levels = site.bed.levels
    if levels is None or not levels.points:
        return
    share = surveyed_share(levels, site.bed.outline)
    if share < ALL:
        carried = "; the level line is carried on straight" if laying.pattern is Pattern.CONTOUR else ""
        yield Finding(
            code="beyond-levels",
            said=(
                f"{100 * (1 - share):.2g} % of the bed lies beyond the surveyed levels, where heights are not "
                f"known{carried}."
            ),
            remedy="Survey levels all round the bed, or check that they are of the same survey.",
        )
    if site.runs.pattern not in {Pattern.BEST, Pattern.CONTOUR}:
        return
    found = level_line(levels, site.bed.outline)
    if found.line is None:
        yield Finding(
            code="no-level-line", said=f"Runs along the ground's levels were not tried: {found.why}."
        )
    elif found.general and laying.pattern is Pattern.CONTOUR:
        yield Finding(
            code="general-level-line",
            said=(
                "The level line through the bed's middle turns back upon itself, round a hump or a hollow; runs follow "
                "that of the general lie of the ground, a second-degree surface fitted to the levels."
            ),
            remedy='Look at the slope of each run, or draw the line to follow and set runs.pattern = "drawn".',
        )


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
