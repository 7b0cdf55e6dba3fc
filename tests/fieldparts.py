"""What a field laid out by hand is made of, each part worked out from its runs; `tests.fields` puts them together."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon

from layout.model import (
    XY,
    Check,
    Coverage,
    EmitterRow,
    Feature,
    FeatureKind,
    Join,
    Lateral,
    Part,
    Pipe,
    PipeKind,
    Plumbing,
    Riser,
    Run,
    Sides,
    Site,
    Take,
    Totals,
    Tubing,
    UsableGround,
)
from layout.plane import areal
from layout.units import UnitSet

Array = NDArray[np.float64]


def feature_of(
    size: float, name: str, kind: str, points: Sequence[XY], setback: float, inside: bool
) -> Feature:
    array = np.asarray(points) * size
    shape: Point | LineString | Polygon
    if len(array) == 1:
        shape = Point(array[0])
    elif len(array) > 3 and np.allclose(array[0], array[-1]):
        shape = Polygon(array)
    else:
        shape = LineString(array)
    return Feature(name=name, kind=FeatureKind(kind), shape=shape, setback=setback * size, inside=inside)


def ground_of(bed: Polygon, clearance: float, features: tuple[Feature, ...]) -> UsableGround:
    zones = [item.shape.buffer(item.setback, quad_segs=32) for item in features]
    kept = areal(shapely.union_all(zones)) if zones else MultiPolygon()
    within = bed.buffer(-clearance)
    return UsableGround(
        area=areal(within.difference(kept)),
        kept_clear=kept if isinstance(kept, MultiPolygon) else MultiPolygon([kept]),
        takes=tuple(
            Take(feature=item.name, area=within.intersection(zone).area)
            for item, zone in zip(features, zones, strict=True)
        ),
    )


def emitters_of(run: Run, tubing: Tubing) -> EmitterRow:
    along = np.arange(tubing.emitter_spacing / 2, run.length, tubing.emitter_spacing)
    points = shapely.line_interpolate_point(run.line, along)
    return EmitterRow(
        run=run.name,
        points=tuple((float(point.x), float(point.y)) for point in points),
        flow=len(points) * tubing.emitter_flow,
    )


def _end(line: LineString, index: int) -> XY:
    x, y = line.coords[index]
    return (x, y)


def _loop(first: XY, second: XY, outward: Array) -> LineString:
    """Half a circle from one run end to the next, bulging outward."""
    a, b = np.asarray(first), np.asarray(second)
    middle, half = (a + b) / 2, (a - b) / 2
    side = outward / np.hypot(*outward) * np.hypot(*half)
    turns = np.linspace(0.0, math.pi, 13)[:, None]
    points = middle + half * np.cos(turns) + side * np.sin(turns)
    points[0], points[-1] = a, b
    return LineString(points)


def carry_of(before: Run, after: Run) -> Join:
    a, b = np.asarray(before.line.coords[-1]), np.asarray(after.line.coords[0])
    across = np.array([-(b - a)[1], (b - a)[0]]) * 0.15
    points = [a, a + (b - a) * 0.25 + across, a + (b - a) * 0.75 + across, b]
    return Join(kind="blank", start=before.name, end=after.name, line=LineString(points))


def laterals_of(
    runs: tuple[Run, ...], per_lateral: int, blanks: tuple[Join, ...]
) -> tuple[tuple[Lateral, ...], tuple[Join, ...]]:
    """Chains of runs joined by blank tubing, then so many neighbouring chains to a lateral."""
    follows = {join.start: join.end for join in blanks}
    named = {run.name: run for run in runs}
    chains: list[list[Run]] = []
    for run in runs:
        if run.name in follows.values():
            continue
        chain = [run]
        while chain[-1].name in follows:
            chain.append(named[follows[chain[-1].name]])
        chains.append(chain)
    laterals: list[Lateral] = []
    loops: list[Join] = []
    for start in range(0, len(chains), per_lateral):
        group = chains[start : start + per_lateral]
        mine: list[Join] = []
        for i, (one, other) in enumerate(itertools.pairwise(group)):
            far = i % 2 == 0
            a, b = (one[-1], other[-1]) if far else (one[0], other[0])
            tail = np.asarray(a.line.coords[-2:] if far else a.line.coords[1::-1])
            tip = -1 if far else 0
            line = _loop(_end(a.line, tip), _end(b.line, tip), tail[1] - tail[0])
            mine.append(Join(kind="loop", start=a.name, end=b.name, line=line))
        loops += mine
        names = [
            run.name for i, chain in enumerate(group) for run in (chain if i % 2 == 0 else reversed(chain))
        ]
        even = len(group) % 2 == 0
        drain = _end(group[-1][0].line, 0) if even else _end(group[-1][-1].line, -1)
        laterals.append(
            Lateral(
                name=f"L{len(laterals) + 1}",
                runs=tuple(names),
                length=sum(named[name].length for name in names),
                blank=sum(join.line.length for join in mine)
                + sum(join.line.length for join in blanks if join.start in names),
                supply=_end(group[0][0].line, 0),
                drain=drain,
                returns_near=even,
            )
        )
    return tuple(laterals), tuple(loops)


def plumbing_of(site: Site, runs: tuple[Run, ...], laterals: tuple[Lateral, ...]) -> Plumbing:
    named = {run.name: run for run in runs}
    unit = site.runs.spacing
    manifolds, risers, lines = [], [], []
    kinds: tuple[tuple[PipeKind, float], ...] = (("supply", 0.9), ("return", 1.6))
    for kind, reach in kinds:
        ends = []
        for lateral in laterals:
            if kind == "return" and not lateral.returns_near:
                continue
            run = named[lateral.runs[0 if kind == "supply" else -1]]
            first = np.asarray(run.line.coords[:2])
            back = first[0] - first[1]
            tip = first[0] + back / np.hypot(*back) * reach * unit
            ends.append(tip)
            risers.append(Riser(kind=kind, lateral=lateral.name, line=LineString([tip, first[0]])))
        if len(ends) < 2:
            continue
        pump = np.asarray(site.pump.at) if site.pump else np.asarray(ends[0])
        if np.hypot(*(ends[-1] - pump)) < np.hypot(*(ends[0] - pump)):
            ends.reverse()
        path = LineString(ends if kind == "supply" else ends[::-1])
        size = site.manifold.supply_diameter if kind == "supply" else site.manifold.return_diameter
        manifolds.append(Pipe(kind=kind, line=path, diameter=size))
        if site.pump:
            route = [site.pump.at, tuple(ends[0])] if kind == "supply" else [tuple(ends[0]), site.pump.at]
            lines.append(Pipe(kind=kind, line=LineString(route), diameter=size))
    return Plumbing(manifolds=tuple(manifolds), risers=tuple(risers), lines=tuple(lines))


def sides_of(runs: tuple[Run, ...]) -> Sides:
    first, last, middle = runs[0].line, runs[-1].line, runs[len(runs) // 2].line
    return Sides(
        left=first,
        right=last,
        near=LineString([first.coords[0], last.coords[0]]),
        far=LineString([first.coords[-1], last.coords[-1]]),
        centre=middle,
    )


def coverage_of(ground: UsableGround, runs: tuple[Run, ...], bed: Polygon) -> Coverage:
    gaps: list[float] = []
    rows = sorted({run.row for run in runs})
    lying = {row: shapely.union_all([run.line for run in runs if run.row == row]) for row in rows}
    for run in runs:
        if run.row + 1 in lying:
            points = shapely.line_interpolate_point(run.line, np.linspace(0.05, 0.95, 19), normalized=True)
            gaps.extend(np.asarray(shapely.distance(points, lying[run.row + 1])).tolist())
    tubes = shapely.union_all([run.line for run in runs])
    half = min(gaps) / 2 if gaps else 0.3
    left, low, right, high = ground.area.bounds
    across, up = np.meshgrid(np.linspace(left, right, 60), np.linspace(low, high, 60))
    grid = np.column_stack((across.ravel(), up.ravel()))
    grid = grid[shapely.contains_xy(ground.area, grid)]
    far = np.asarray(shapely.distance(shapely.points(grid), tubes))
    worst = int(np.argmax(far))
    return Coverage(
        covered=min(ground.area.intersection(tubes.buffer(half * 1.001)).area / ground.area.area, 1.0),
        dry=float(far[worst]),
        dry_at=(float(grid[worst, 0]), float(grid[worst, 1])),
        gap_least=min(gaps) if gaps else None,
        gap_greatest=max(gaps) if gaps else None,
        gap_p5=float(np.percentile(gaps, 5)) if gaps else None,
        gap_p95=float(np.percentile(gaps, 95)) if gaps else None,
        bend_least=None,
        bend_at=None,
        clearance_least=float(min(run.line.distance(bed.exterior) for run in runs)),
    )


def checks_of(
    site: Site, coverage: Coverage, ground: UsableGround, laterals: tuple[Lateral, ...]
) -> tuple[Check, ...]:
    checks = []
    if coverage.gap_least is not None:
        checks.append(
            Check(
                name="least gap between runs",
                value=coverage.gap_least,
                limit=0.98 * site.runs.spacing,
                unit="length",
                sense="least",
                ok=coverage.gap_least >= 0.98 * site.runs.spacing,
                source="runs.spacing less 2 %",
            )
        )
    longest = max(laterals, key=lambda lateral: lateral.length)
    checks.append(
        Check(
            name="longest lateral",
            value=longest.length,
            limit=site.laterals.longest,
            unit="length",
            sense="most",
            ok=longest.length <= site.laterals.longest,
            source="laterals.longest",
        )
    )
    assert site.design.flow is not None
    assert site.design.loading is not None
    rate = site.design.flow / ground.area.area
    checks.append(
        Check(
            name="loading of the usable ground",
            value=rate,
            limit=site.design.loading,
            unit="loading",
            sense="most",
            ok=rate <= site.design.loading,
            source="design.flow, design.loading",
            place="" if rate <= site.design.loading else "the whole bed",
        )
    )
    checks.append(
        Check(
            name="coverage of the usable ground",
            value=coverage.covered,
            limit=0.5,
            unit="ratio",
            sense="least",
            ok=coverage.covered >= 0.5,
            source="common practice, no source",
        )
    )
    return tuple(checks)


def parts_of(
    unit: UnitSet, totals: Totals, plumbing: Plumbing, laterals: tuple[Lateral, ...]
) -> tuple[Part, ...]:
    coil = 500 * unit.length if unit.word != "m" else 150.0
    supply = sum(pipe.line.length for pipe in (*plumbing.manifolds, *plumbing.lines) if pipe.kind == "supply")
    return (
        Part(
            item="emitting tubing",
            description="tubing with emitters",
            unit="length",
            net=totals.tubing,
            waste=0.05,
            pack=coil,
        ),
        Part(item="blank tubing", description="end loops", unit="length", net=totals.blank, waste=0.1),
        Part(item="supply pipe", description="manifold and line, by the length", unit="length", net=supply),
        Part(item="riser fitting", description="tee, riser, adapter", unit="each", net=2 * len(laterals)),
        Part(item="staples, for tubing", description='box of 100, "U" shape', unit="each", net=101, pack=100),
    )
