"""How well runs cover the ground: dry distance, share covered, gaps, bends, and the measure that ranks patterns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from layout.model import XY, Candidate, Coverage, Follows, Laying, Run
from layout.plane import Array, SegmentIndex, bend_radii, coordinates, stations

MOST_SAMPLES = 15_000
"""Points of the ground at which dryness is looked for before the driest places are searched closely."""
WEIGHT_DRY, WEIGHT_BARE, WEIGHT_UNFED, WEIGHT_PIECES = 4.0, 10.0, 2.0, 0.5
"""Weights of the measure, see :func:`score`."""
MEASURE = (
    f"score, the less the better = {WEIGHT_DRY:g} × (farthest usable point from tubing ÷ half a spacing − 1) "
    f"+ {WEIGHT_BARE:g} × share of ground not covered + {WEIGHT_UNFED:g} × share of tubing not fed from the "
    f"manifold end + {WEIGHT_PIECES:g} × pieces beyond one to a row, per row"
)
"""The measure in words."""


def cover(
    area: Polygon | MultiPolygon,
    outline: Polygon,
    runs: Sequence[Run],
    *,
    spacing: float,
    radius: float,
    counted: bool = False,
) -> Coverage:
    """Measure what runs cover.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        The usable ground [m].
    outline : Polygon
        The bed [m].
    runs : sequence of Run
        At least one.
    spacing : float
        Row spacing [m].
    radius : float
        Bend radius, which sets how closely bends are looked at [m].
    counted : bool
        Count the share covered at sample points, to compare patterns, instead of measuring it as an area.
    """
    lines = [run.line for run in runs]
    index = SegmentIndex(lines)
    grid, rim = _samples(area, spacing)
    samples = np.vstack((grid, rim))
    dry = index.nearest(samples)[0]
    worst, worst_at = _driest(area, index, samples, dry)
    if counted and len(grid):
        covered = float(np.mean(dry[: len(grid)] <= 0.5 * spacing * (1 + 1e-4)))
    else:
        covered = _covered_share(area, lines, 0.5 * spacing)
    gaps = _gaps(runs, spacing)
    bend, bend_at = tightest_bend(lines, radius or spacing)
    vertices = np.vstack([coordinates(line) for line in lines])
    edge = SegmentIndex([LineString(outline.exterior.coords)]).nearest(vertices)[0]
    return Coverage(
        covered=covered,
        dry=worst,
        dry_at=worst_at,
        gap_least=float(gaps.min()) if len(gaps) else None,
        gap_greatest=float(gaps.max()) if len(gaps) else None,
        gap_p5=float(np.percentile(gaps, 5)) if len(gaps) else None,
        gap_p95=float(np.percentile(gaps, 95)) if len(gaps) else None,
        bend_least=bend,
        bend_at=bend_at,
        clearance_least=float(edge.min()),
    )


def score(coverage: Coverage, *, spacing: float, fed: float, runs: int, rows: int) -> float:
    """The measure by which patterns are ranked; the less the better.

    4 × (dry distance / half a spacing − 1) + 10 × (share of ground not covered) + 2 × (share of tubing not fed from
    the manifold end) + 0.5 × (pieces beyond one to a row, per row). The laws of a layout come first: what
    breaks one is never laid. The weights are a judgement: a strip dry by a quarter of half a spacing more
    weighs like a tenth of the ground bare, or like half the field not fed from its manifold.
    """
    dry = max(coverage.dry / (0.5 * spacing) - 1.0, 0.0)
    pieces = (runs - rows) / max(rows, 1)
    return (
        WEIGHT_DRY * dry
        + WEIGHT_BARE * (1.0 - coverage.covered)
        + WEIGHT_UNFED * (1.0 - fed)
        + WEIGHT_PIECES * pieces
    )


def candidate(
    laying: Laying, coverage: Coverage, *, spacing: float, follows: Follows = "outline"
) -> Candidate:
    """A pattern that was tried, with its figures."""
    tubing = sum(run.length for run in laying.runs)
    fed = sum(run.length for run in laying.runs if run.fed) / tubing
    rows = len({run.row for run in laying.runs})
    return Candidate(
        pattern=laying.pattern,
        follows=follows,
        tubing=tubing,
        runs=len(laying.runs),
        dropped=len(laying.dropped),
        fed=fed,
        coverage=coverage,
        score=score(coverage, spacing=spacing, fed=fed, runs=len(laying.runs), rows=rows),
    )


def tightest_bend(lines: Sequence[LineString], radius: float) -> tuple[float | None, XY | None]:
    """Least bend radius of some lines, seen over arms of a quarter of `radius`, and where; None where all straight."""
    least, at = math.inf, None
    for line in lines:
        radii, places = bend_radii(coordinates(line), arm=radius / 4)
        if len(radii) and radii.min() < least:
            least = float(radii.min())
            at = (float(places[radii.argmin()][0]), float(places[radii.argmin()][1]))
    return (least, at) if math.isfinite(least) else (None, None)


def _samples(area: Polygon | MultiPolygon, spacing: float) -> tuple[Array, Array]:
    """Points of a grid over the ground, and points along its edge, where dry corners lie."""
    step = max(spacing / 4, math.sqrt(area.area / MOST_SAMPLES))
    x0, y0, x1, y1 = area.bounds
    grid_x, grid_y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
    shapely.prepare(area)
    inside = shapely.contains_xy(area, grid_x.ravel(), grid_y.ravel())
    grid = np.column_stack((grid_x.ravel()[inside], grid_y.ravel()[inside]))
    edges = [ring for part in shapely.get_parts(area) for ring in (part.exterior, *part.interiors)]
    walks = [
        shapely.get_coordinates(shapely.line_interpolate_point(ring, np.arange(0.0, ring.length, step)))
        for ring in edges
    ]
    return grid, np.vstack((*walks, *(coordinates(ring) for ring in edges)))


def _driest(
    area: Polygon | MultiPolygon, index: SegmentIndex, samples: Array, dry: Array
) -> tuple[float, XY]:
    """The farthest usable point from any tubing: the driest samples, each searched about in shrinking steps."""
    best = samples[np.argsort(-dry, kind="stable")[:40]]
    value = np.sort(-dry, kind="stable")[:40] * -1
    step = float(np.sqrt(area.area / max(len(samples), 1)))
    around = np.array([(math.cos(a), math.sin(a)) for a in np.linspace(0, 2 * math.pi, 13)[:-1]])
    for _ in range(11):
        tried = (best[:, None, :] + step * around[None, :, :]).reshape(-1, 2)
        inside = shapely.contains_xy(area, tried[:, 0], tried[:, 1])
        reach = np.where(inside, index.nearest(tried)[0], -1.0).reshape(len(best), -1)
        choice = reach.argmax(axis=1)
        better = reach[np.arange(len(best)), choice] > value
        best = np.where(better[:, None], tried.reshape(len(best), -1, 2)[np.arange(len(best)), choice], best)
        value = np.where(better, reach[np.arange(len(best)), choice], value)
        step *= 0.55
    worst = int(value.argmax())
    return float(value[worst]), (float(best[worst][0]), float(best[worst][1]))


def _covered_share(area: Polygon | MultiPolygon, lines: Sequence[LineString], reach: float) -> float:
    """Share of the ground within reach of a line, as an area."""
    wet = shapely.union_all(shapely.buffer(np.asarray(lines, dtype=object), reach, quad_segs=16))
    return min(float(shapely.intersection(wet, area).area / area.area), 1.0)


def _gaps(runs: Sequence[Run], spacing: float) -> Array:
    """Distances from points of runs to the next row beside them, feet on the ends of runs left out."""
    rows: dict[int, list[LineString]] = {}
    for run in runs:
        rows.setdefault(run.row, []).append(run.line)
    ordered = sorted(rows)
    found = [np.empty(0)]
    for this, following in pairwise(ordered):
        for here, beside in ((rows[this], rows[following]), (rows[following], rows[this])):
            index = SegmentIndex(beside)
            length = np.array([line.length for line in beside])
            points = np.vstack([_walk(line, spacing / 2) for line in here])
            segment, foot, along = index.locate(points)
            on = length[index.line[segment]]
            within = (along > 1e-6 * on) & (along < (1 - 1e-6) * on)
            found.append(np.hypot(*(points - foot).T)[within])
    return np.concatenate(found)


def _walk(line: LineString, step: float) -> Array:
    """The vertices of a line, thinned where they stand closer than a step, and points between where wider."""
    points = coordinates(line)
    along = stations(points)
    every = np.linspace(0.0, along[-1], max(int(along[-1] / step), 1) + 1)
    return np.column_stack((np.interp(every, along, points[:, 0]), np.interp(every, along, points[:, 1])))
