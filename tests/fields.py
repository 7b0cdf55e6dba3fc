"""Small finished fields laid out by hand, so that late stages can be tested without early ones.

`curved_field` is the plain one. `field` builds any other from an outline and run lines given in site units.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.ops import substring

from layout.model import (
    XY,
    Bed,
    Candidate,
    Check,
    Coverage,
    Design,
    DesignBasis,
    Dropped,
    EmitterRow,
    Feature,
    FeatureKind,
    Finding,
    Frame,
    Join,
    Lateral,
    LateralRules,
    Laying,
    ManifoldRules,
    Part,
    Pattern,
    Pipe,
    PipeKind,
    Plumbing,
    Pump,
    Riser,
    Run,
    RunRules,
    Sides,
    Site,
    StakeRules,
    Take,
    Totals,
    Tubing,
    UsableGround,
)
from layout.plane import areal
from layout.units import UNIT_SETS, UnitSet

Array = NDArray[np.float64]
Points = Sequence[XY]


def arc(radius: float, start: float, end: float, *, centre: XY = (0.0, 0.0), step: float = 1.0) -> list[XY]:
    """Points of a circular arc from one bearing to another [degrees counter-clockwise from east]."""
    count = max(round(abs(end - start) / step), 1)
    turns = np.radians(np.linspace(start, end, count + 1))
    return [(centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t)) for t in turns]


def feature(
    name: str, kind: str, points: Points, setback: float, *, inside: bool = False
) -> tuple[str, str, Points, float, bool]:
    """A feature in site units, for `field`: 1 point, an open line, or an area (first point = last)."""
    return name, kind, points, setback, inside


def field(
    title: str,
    outline: Points,
    lines: Sequence[Points],
    *,
    units: str = "ft",
    origin: XY = (5000.0, 2000.0),
    spacing: float = 2.0,
    clearance: float = 1.0,
    features: Sequence[tuple[str, str, Points, float, bool]] = (),
    pump: XY | None = None,
    per_lateral: int = 2,
    rows: Sequence[int] | None = None,
    carries: Sequence[tuple[int, int]] = (),
    dropped: Sequence[Points] = (),
    crs: str | None = None,
    notes: tuple[str, ...] = (),
) -> Design:
    """Assemble a finished field from run lines, each given from the manifold end on, left to right.

    Coordinates and lengths are in site units less the origin. Laterals are made of neighbouring runs, loops
    are half circles, manifolds stand just beyond the run starts.
    """
    unit = UNIT_SETS[units]
    size = unit.length
    bed = shapely.orient_polygons(Polygon(np.asarray(outline) * size))
    made = tuple(_feature(size, *item) for item in features)
    ground = _ground(bed, clearance * size, made)
    runs = tuple(
        Run(name=f"R{i + 1}", line=LineString(np.asarray(line) * size), row=rows[i] if rows else i)
        for i, line in enumerate(lines)
    )
    tubing = Tubing(
        emitter_spacing=spacing * size,
        emitter_flow=0.6 * unit.emitter_flow if units != "m" else 2.3 * unit.emitter_flow,
        bend_radius=spacing * size,
        coil=500 * size if units != "m" else 150.0,
        inside_diameter=0.55 * unit.diameter if units != "m" else 14.0 * unit.diameter,
    )
    emitters = tuple(_emitters(run, tubing) for run in runs)
    blanks = tuple(_carry(runs[a], runs[b]) for a, b in carries)
    laterals, loops = _laterals(runs, per_lateral, blanks)
    site = Site(
        title=title,
        frame=Frame(units=unit, origin=origin, crs=crs),
        bed=Bed(outline=bed, clearance=clearance * size),
        features=made,
        tubing=tubing,
        runs=RunRules(
            spacing=spacing * size,
            pattern=Pattern.BEST,
            shortest=10 * 0.3048,
            closest=spacing * size,
            widest=1.5 * spacing * size,
        ),
        laterals=LateralRules(runs=None, longest=300 * 0.3048),
        manifold=ManifoldRules(
            end="pump",
            supply_diameter=unit.diameter * (1 if units != "m" else 32),
            return_diameter=unit.diameter * (1 if units != "m" else 32),
        ),
        pump=Pump(at=(pump[0] * size, pump[1] * size), level=96.0 * size) if pump else None,
        design=DesignBasis(flow=440.0 * unit.daily_flow, loading=0.4 * unit.loading),
        stakeout=StakeRules(interval=10 * 0.3048, tolerance=0.03),
        file=Path("site.toml"),
        notes=notes,
    )
    plumbing = _plumbing(site, runs, laterals)
    coverage = _coverage(ground, runs, bed)
    totals = Totals(
        tubing=sum(run.length for run in runs),
        blank=sum(join.line.length for join in (*loops, *blanks)),
        emitters=sum(row.count for row in emitters),
        flow=sum(row.flow for row in emitters),
    )
    left = tuple(
        Dropped(line=LineString(np.asarray(line) * size), row=0, why="shorter than runs.shortest")
        for line in dropped
    )
    return Design(
        site=site,
        ground=ground,
        sides=_sides(runs),
        laying=Laying(pattern=Pattern.LEFT, runs=runs, dropped=left, carries=blanks),
        candidates=tuple(
            Candidate(
                pattern=pattern,
                tubing=totals.tubing * share,
                runs=len(runs),
                dropped=0,
                fed_at_end=1.0,
                coverage=coverage,
                score=score,
            )
            for pattern, share, score in ((Pattern.LEFT, 1.0, 0.2), (Pattern.CENTRE, 0.97, 0.4))
        ),
        laterals=laterals,
        joins=(*loops, *blanks),
        plumbing=plumbing,
        emitters=emitters,
        coverage=coverage,
        totals=totals,
        checks=_checks(site, coverage, ground, laterals),
        parts=_parts(unit, totals, plumbing, laterals),
        findings=tuple(
            Finding(
                code="dropped-piece",
                said=f"A piece of {line.line.length / size:.2f} {unit.length_name} was not laid: {line.why}",
                remedy="Lower runs.shortest to lay it.",
            )
            for line in left
        ),
    )


def curved_field(units: str = "ft", *, origin: XY = (5000.0, 2000.0)) -> Design:
    """Six runs round a bend of 60 degrees, three laterals, a dwelling, a well, a lot line and a pump tank.

    In metres the same numbers are read as units of 0.3 m.
    """
    unit = 1.0 if units != "m" else 0.3

    def scaled(points: Points) -> list[XY]:
        return [(x * unit, y * unit) for x, y in points]

    centre = (60.0, -20.0)
    outline = arc(112, 120, 60, centre=centre) + arc(100, 60, 120, centre=centre)
    # Run ends keep a foot from the straight ends of the bed.
    inset = [math.degrees(math.asin(1.0 / radius)) for radius in range(101, 112, 2)]
    lines = [
        arc(radius, 120 - turn, 60 + turn, centre=centre)
        for radius, turn in zip(range(111, 100, -2), reversed(inset), strict=True)
    ]
    dwelling = [
        (30.0, 20.0),
        (62.0, 20.0),
        (62.0, 44.0),
        (48.0, 44.0),
        (48.0, 50.0),
        (30.0, 50.0),
        (30.0, 20.0),
    ]
    return field(
        "Curved bed, invented example",
        scaled(outline),
        [scaled(line) for line in lines],
        units=units,
        origin=origin,
        spacing=2.0 * unit,
        clearance=1.0 * unit,
        features=[
            feature("dwelling", "building", scaled(dwelling), 15.0 * unit),
            feature("well", "well", scaled([(128.0, 20.0)]), 50.0 * unit),
            feature("north lot line", "property line", scaled([(-20.0, 108.0), (150.0, 104.0)]), 10.0 * unit),
        ],
        pump=(-8.0 * unit, 52.0 * unit),
    )


def strip_field() -> Design:
    """Five runs, each a lateral of its own, down a winding strip of 420 ft; creek, drive, cut bank."""
    x = np.linspace(0.0, 420.0, 200)
    spine = LineString(np.column_stack((x, 18.0 * np.sin(x / 60.0))))

    def beside(off: float, *, less: float = 0.0) -> list[XY]:
        line = spine.offset_curve(off, quad_segs=16)
        assert isinstance(line, LineString)
        cut = substring(line, less, line.length - less)
        return [(float(px), float(py)) for px, py in cut.coords]

    creek = [(-30.0, -75.0), (200.0, -90.0), (450.0, -70.0), (450.0, -110.0), (-30.0, -110.0), (-30.0, -75.0)]
    return field(
        "Creek side strip, invented example",
        beside(6.0) + beside(-6.0)[::-1],
        [beside(off, less=1.0) for off in (4.0, 2.0, 0.0, -2.0, -4.0)],
        features=[
            feature("creek", "water body", creek, 25.0),
            feature("drive", "drive", [(120.0, 60.0), (140.0, 120.0)], 5.0),
            feature("cut bank", "slope", [(250.0, 40.0), (330.0, 44.0)], 15.0),
        ],
        pump=(-25.0, 20.0),
        per_lateral=1,
    )


def wide_field(runs: int = 60, *, length: float = 400.0, spacing: float = 2.0) -> Design:
    """A rectangle with many straight runs: crowded lettering, long schedules."""
    width = runs * spacing
    levels = [width - (i + 0.5) * spacing for i in range(runs)]
    school = [(-120.0, 20.0), (-60.0, 20.0), (-60.0, 80.0), (-120.0, 80.0), (-120.0, 20.0)]
    return field(
        "Commons field, zone A, an invented example with a title much too long for one line of a title block",
        [(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)],
        [[(1.0, y), (length / 2, y), (length - 1.0, y)] for y in levels],
        spacing=spacing,
        features=[
            feature("school", "building", school, 30.0),
            feature("west lot line", "property line", [(-180.0, -60.0), (-180.0, 220.0)], 10.0),
            feature("water main", "water line", [(-180.0, -40.0), (length + 100.0, -40.0)], 10.0),
        ],
        pump=(-40.0, 100.0),
    )


def tree_field() -> Design:
    """A straight bed with an oak in it: runs cut in two, blank tubing past it, one piece not laid."""
    lines: list[Points] = []
    rows, carries = [], []
    for row, y in enumerate(range(15, 2, -2)):
        half = math.sqrt(max(16.0 - (y - 8.0) ** 2, 0.0)) + 0.01
        rows.append(row)
        if abs(y - 8.0) >= 4.0:
            lines.append([(1.0, y), (99.0, y)])
            continue
        carries.append((len(lines), len(lines) + 1))
        rows.append(row)
        lines += [[(1.0, y), (30.0 - half, y)], [(30.0 + half, y), (99.0, y)]]
    house = [(20.0, 30.0), (60.0, 30.0), (60.0, 50.0), (20.0, 50.0), (20.0, 30.0)]
    return field(
        "Old oak bed, invented example",
        [(0.0, 0.0), (100.0, 0.0), (100.0, 16.0), (0.0, 16.0)],
        lines,
        rows=rows,
        carries=carries,
        features=[
            feature("old oak", "tree", [(30.0, 8.0)], 4.0, inside=True),
            feature("tank lid", "tank", arc(1.5, 0.0, 360.0, centre=(70.0, 19.0)), 1.0),
            feature("neighbour's well", "well", [(170.0, 60.0)], 50.0),
            feature("house", "building", house, 10.0),
        ],
        pump=(-12.0, 22.0),
        dropped=[[(1.0, 1.0), (4.0, 1.0)]],
        notes=("outline.csv: the last point repeats the first; it was left out",),
    )


def kinds_field() -> Design:
    """A small bed among features of every kind as point, line and area, with awkward names; no pump."""
    features = []
    for index, kind in enumerate(FeatureKind):
        x = 8.0 * index
        features += [
            feature(f"{kind.value} point $x^2$ %%d", kind.value, [(x, 24.0)], 1.5),
            feature(f"línea {kind.value} «ñ» \\P 北", kind.value, [(x, 30.0), (x + 5.0, 36.0)], 0.0),
            feature(
                f"area of a {kind.value} whose name is far too long to be lettered on any plan of any size",
                kind.value,
                [(x, -30.0), (x + 6.0, -30.0), (x + 6.0, -24.0), (x, -24.0), (x, -30.0)],
                2.0,
            ),
        ]
    return field(
        "Bed of 12 % « kinds », invented",
        [(0.0, 0.0), (80.0, 0.0), (80.0, 6.0), (0.0, 6.0)],
        [[(1.0, 5.0), (79.0, 5.0)], [(1.0, 3.0), (79.0, 3.0)], [(1.0, 1.0), (79.0, 1.0)]],
        features=features,
        per_lateral=3,
        crs="EPSG:6494",
        origin=(13_000_000.25, 700_000.5),
    )


# --- the parts ------------------------------------------------------------------------------------------


def _feature(size: float, name: str, kind: str, points: Points, setback: float, inside: bool) -> Feature:
    array = np.asarray(points) * size
    shape: Point | LineString | Polygon
    if len(array) == 1:
        shape = Point(array[0])
    elif len(array) > 3 and np.allclose(array[0], array[-1]):
        shape = Polygon(array)
    else:
        shape = LineString(array)
    return Feature(name=name, kind=FeatureKind(kind), shape=shape, setback=setback * size, inside=inside)


def _ground(bed: Polygon, clearance: float, features: tuple[Feature, ...]) -> UsableGround:
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


def _emitters(run: Run, tubing: Tubing) -> EmitterRow:
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


def _carry(before: Run, after: Run) -> Join:
    a, b = np.asarray(before.line.coords[-1]), np.asarray(after.line.coords[0])
    across = np.array([-(b - a)[1], (b - a)[0]]) * 0.15
    points = [a, a + (b - a) * 0.25 + across, a + (b - a) * 0.75 + across, b]
    return Join(kind="blank", start=before.name, end=after.name, line=LineString(points))


def _laterals(
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


def _plumbing(site: Site, runs: tuple[Run, ...], laterals: tuple[Lateral, ...]) -> Plumbing:
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


def _sides(runs: tuple[Run, ...]) -> Sides:
    first, last, middle = runs[0].line, runs[-1].line, runs[len(runs) // 2].line
    return Sides(
        left=first,
        right=last,
        near=LineString([first.coords[0], last.coords[0]]),
        far=LineString([first.coords[-1], last.coords[-1]]),
        centre=middle,
    )


def _coverage(ground: UsableGround, runs: tuple[Run, ...], bed: Polygon) -> Coverage:
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


def _checks(
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


def _parts(
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
