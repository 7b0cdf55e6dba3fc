"""Small finished fields laid out by hand, so that late stages can be tested without early ones.

`curved_field` is the plain one. `field` builds any other from an outline and run lines given in site units.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.ops import substring

from layout.model import (
    XY,
    Bed,
    Candidate,
    Design,
    DesignBasis,
    Dropped,
    FeatureKind,
    Finding,
    Frame,
    LateralRules,
    Laying,
    ManifoldRules,
    Pattern,
    Pump,
    Run,
    RunRules,
    Site,
    StakeRules,
    Totals,
    Tubing,
)
from layout.units import UNIT_SETS
from tests.fieldparts import (
    carry_of,
    checks_of,
    coverage_of,
    emitters_of,
    feature_of,
    ground_of,
    laterals_of,
    parts_of,
    plumbing_of,
    sides_of,
)

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
    made = tuple(feature_of(size, *item) for item in features)
    ground = ground_of(bed, clearance * size, made)
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
    emitters = tuple(emitters_of(run, tubing) for run in runs)
    blanks = tuple(carry_of(runs[a], runs[b]) for a, b in carries)
    laterals, loops = laterals_of(runs, per_lateral, blanks)
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
    plumbing = plumbing_of(site, runs, laterals)
    coverage = coverage_of(ground, runs, bed)
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
        sides=sides_of(runs),
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
        checks=checks_of(site, coverage, ground, laterals),
        parts=parts_of(unit, totals, plumbing, laterals),
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
