"""How well runs cover the ground: dry distance, share covered, gaps, bends, and the measure that ranks patterns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from layout.model import XY, Candidate, Coverage, Follows, Lateral, Laying, Run, begun_at_end
from layout.near import SegmentIndex, chopped
from layout.plane import Array, bend_radii, coordinates, points_at, polygons_of

MOST_SAMPLES = 15_000
"""Points of the ground at which dryness is looked for before the driest places are searched closely."""
MOST_FEET = 50_000
"""Points of runs from which gaps are measured: every half spacing, in a very large bed less often."""
WIDENED = 3e-4
"""How much wider than half a spacing ground is drawn for its area, in half spacings; see :func:`_covered_share`."""
WEIGHT_DRY, WEIGHT_BARE, WEIGHT_UNFED, WEIGHT_PIECES, WEIGHT_BLANK, WEIGHT_UNEVEN = (
    4.0,
    10.0,
    2.0,
    0.5,
    1.0,
    0.25,
)
"""Weights of the measure, see :func:`score`."""
MEASURE = (
    f"score, the less the better = {WEIGHT_DRY:g} × (farthest usable point from tubing ÷ half a spacing − 1) "
    f"+ {WEIGHT_BARE:g} × share of ground not covered + {WEIGHT_UNFED:g} × share of tubing not fed from the "
    f"manifold end + {WEIGHT_PIECES:g} × pieces beyond one to a row, per row + {WEIGHT_BLANK:g} × blank tubing that "
    f"carries lines past obstacles, as a share of the tubing + {WEIGHT_UNEVEN:g} × coefficient of variation of the "
    "lengths of laterals"
)
"""The measure in words."""


def cover(
    area: Polygon | MultiPolygon,
    outline: Polygon,
    runs: Sequence[Run],
    *,
    spacing: float,
    radius: float,
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
    """
    lines = [run.line for run in runs]
    worst, worst_at = _driest(area, SegmentIndex(lines), _samples(area, spacing))
    gaps = _gaps(runs, spacing)
    bend, bend_at = tightest_bend(lines, radius or spacing)
    return Coverage(
        covered=_covered_share(area, lines, 0.5 * spacing),
        dry=worst,
        dry_at=worst_at,
        gap_least=float(gaps.min()) if len(gaps) else None,
        gap_greatest=float(gaps.max()) if len(gaps) else None,
        gap_p5=float(np.percentile(gaps, 5)) if len(gaps) else None,
        gap_p95=float(np.percentile(gaps, 95)) if len(gaps) else None,
        bend_least=bend,
        bend_at=bend_at,
        clearance_least=_least_clearance(lines, outline),
    )


def score(
    coverage: Coverage,
    *,
    spacing: float,
    fed: float,
    runs: int,
    rows: int,
    blank: float = 0.0,
    uneven: float = 0.0,
) -> float:
    """The measure by which patterns are ranked; the less the better.

    4 × (dry distance / half a spacing − 1) + 10 × (share of ground not covered) + 2 × (share of tubing not fed from
    the manifold end) + 0.5 × (pieces beyond one to a row, per row) + 1 × (blank tubing past obstacles, as a share of
    the tubing) + 0.25 × (coefficient of variation of the lengths of laterals). The laws of a layout come first: what
    breaks one is never laid. The weights are a judgement: a strip dry by a quarter of half a spacing more weighs like a
    tenth of the ground bare, or like half the field not fed from its manifold. Rounded so far that the last digits of a
    machine decide nothing.
    """
    dry = max(coverage.dry / (0.5 * spacing) - 1.0, 0.0)
    pieces = (runs - rows) / max(rows, 1)
    total = (
        WEIGHT_DRY * dry
        + WEIGHT_BARE * (1.0 - coverage.covered)
        + WEIGHT_UNFED * (1.0 - fed)
        + WEIGHT_PIECES * pieces
        + WEIGHT_BLANK * blank
        + WEIGHT_UNEVEN * uneven
    )
    return round(total, 9) + 0.0


def candidate(
    laying: Laying,
    coverage: Coverage,
    *,
    spacing: float,
    follows: Follows = "outline",
    first: float | None = None,
    laterals: Sequence[Lateral] | None = None,
) -> Candidate:
    """A pattern that was tried, with its figures.

    Parameters
    ----------
    laying : Laying
    coverage : Coverage
    spacing : float
        Row spacing [m].
    follows : Follows
        Whose sides it follows.
    first : float or None
        Distance of its first run from its side [m].
    laterals : sequence of Lateral, optional
        What its runs are joined into, as a plan joins them: loops bring water to runs that do not begin at the manifold
        end. Without them only runs that begin there, or are wound to one that does, count as fed there.
    """
    tubing = math.fsum(run.length for run in laying.runs)
    if laterals is None:
        reached, uneven = laying.reached, 0.0
    else:
        begun = begun_at_end(laying.runs, laterals)
        reached, uneven = frozenset(name for lateral in begun for name in lateral.runs), _unevenness(begun)
    fed = math.fsum(run.length for run in laying.runs if run.name in reached) / tubing
    rows, runs = len({run.row for run in laying.runs}), len(laying.runs)
    blank = math.fsum(join.line.length for join in laying.carries) / tubing
    return Candidate(
        pattern=laying.pattern,
        follows=follows,
        first=first,
        tubing=tubing,
        runs=runs,
        dropped=len(laying.dropped),
        fed_at_end=fed,
        uneven=uneven,
        coverage=coverage,
        score=score(coverage, spacing=spacing, fed=fed, runs=runs, rows=rows, blank=blank, uneven=uneven),
    )


def _unevenness(laterals: Sequence[Lateral]) -> float:
    """Coefficient of variation of the lengths of laterals; 0 for none or one."""
    lengths = np.array([lateral.length for lateral in laterals])
    return float(lengths.std() / lengths.mean()) if len(lengths) > 1 else 0.0


def tightest_bend(lines: Sequence[LineString], radius: float) -> tuple[float | None, XY | None]:
    """Least bend radius [m] of lines, seen over arms of a quarter of `radius`, and where; None where all straight."""
    least, at = math.inf, None
    for line in lines:
        radii, places = bend_radii(coordinates(line), arm=radius / 4, below=least)
        if len(radii) and radii.min() < least:
            least = float(radii.min())
            at = (float(places[radii.argmin()][0]), float(places[radii.argmin()][1]))
    return (least, at) if math.isfinite(least) else (None, None)


def _samples(area: Polygon | MultiPolygon, spacing: float) -> Array:
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
    return np.vstack((grid, *walks, *(coordinates(ring) for ring in edges)))


def _driest(area: Polygon | MultiPolygon, index: SegmentIndex, samples: Array) -> tuple[float, XY]:
    """The farthest usable point from any tubing: the driest samples, each searched about in shrinking steps."""
    driest, value = index.farthest(samples, 40)
    best = samples[driest]
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
    """Share of the ground within reach of a line, as an area.

    Rows a spacing apart just touch at half a spacing, and wherever the chords they are drawn in part by a
    hair's breadth the union would get a sliver: tens of thousands of them in a large bed, which take a hundred times
    as long as all the rest. So the ground is drawn wider by less than the height of such chords, and what was
    gained at its open rim, its length × that breadth, is taken off again.
    """
    wider = WIDENED * reach
    near = shapely.union_all(shapely.buffer(np.asarray(lines, dtype=object), reach + wider, quad_segs=16))
    wet = shapely.intersection(near, area)
    rim = shapely.intersection(shapely.boundary(near), area)
    return min(float((wet.area - wider * rim.length) / area.area), 1.0)


def bare_places(
    area: Polygon | MultiPolygon, runs: Sequence[Run], *, reach: float, speck: float
) -> list[Polygon]:
    """Usable ground that no run reaches, the largest place first.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        The usable ground [m].
    runs : sequence of Run
    reach : float
        Ground farther than this from every run is bare [m].
    speck : float
        Places thinner than twice this are nothing [m].
    """
    near = shapely.union_all(
        shapely.buffer(np.asarray([run.line for run in runs], dtype=object), reach, quad_segs=16)
    )
    bare = shapely.buffer(shapely.difference(area, near), -speck, quad_segs=4)
    return sorted(polygons_of(bare), key=lambda place: -round(place.area, 6))


def _least_clearance(lines: Sequence[LineString], outline: Polygon) -> float:
    """Least distance from a vertex of a line to the outline [m]."""
    edge = LineString(outline.exterior.coords)
    index = SegmentIndex([edge])
    least = float(index.nearest(np.vstack([coordinates(line)[[0, -1]] for line in lines]))[0].min())
    # only parts of lines that come nearer than the nearest end need a look at all their vertices
    parts, _ = chopped(lines)
    shapely.prepare(edge)
    near = parts[shapely.dwithin(edge, parts, least * (1 + 1e-9))]
    if not len(near):
        return least  # an end lies on the edge but for the last digit
    return min(least, float(index.nearest(coordinates(shapely.MultiLineString(near.tolist())))[0].min()))


def _gaps(runs: Sequence[Run], spacing: float) -> Array:
    """Distances from points of runs to the next row beside them, feet on the ends of runs left out."""
    step = max(spacing / 2, sum(run.length for run in runs) / MOST_FEET)
    rows: dict[tuple[int, int], list[LineString]] = {}
    for run in runs:
        rows.setdefault((run.lobe, run.row), []).append(run.line)
    ordered = sorted(rows.items())
    beside = [(k, k + 1) for k, (one, two) in enumerate(pairwise(ordered)) if one[0][0] == two[0][0]]
    if not beside:
        return np.empty(0)
    walks = [_walk(lines, step) for _, lines in ordered]
    length = np.array([line.length for _, lines in ordered for line in lines])
    index = SegmentIndex(
        [line for _, lines in ordered for line in lines],
        groups=[k for k, (_, lines) in enumerate(ordered) for _ in lines],
    )
    ways = [way for one, other in beside for way in ((one, other), (other, one))]
    points = np.vstack([walks[one] for one, _ in ways])
    segment, foot, along = index.locate(
        points, np.repeat([other for _, other in ways], [len(walks[one]) for one, _ in ways])
    )
    on = length[index.line[segment]]
    within = (along > 1e-6 * on) & (along < (1 - 1e-6) * on)
    return np.asarray(np.hypot(*(points - foot).T)[within])


def _walk(lines: Sequence[LineString], step: float) -> Array:
    """Points along lines, both ends of each among them, evenly at about a step."""
    return np.vstack(
        [
            points_at(coordinates(line), np.linspace(0.0, line.length, max(int(line.length / step), 1) + 1))
            for line in lines
        ]
    )
