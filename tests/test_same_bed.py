"""One bed, an S of two arcs, given in every way that a survey can come: the same area, the same plan."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

import ezdxf  # noqa: TID253 - a test may start slowly
import numpy as np
import pytest
from ezdxf.entities import Arc, Spline  # noqa: TID253
from ezdxf.enums import InsertUnits  # noqa: TID253
from numpy.typing import NDArray

from layout.frame import to_degrees, to_plan
from layout.model import Design, Frame
from layout.plan import plan_field
from layout.readers.angles import in_words
from layout.readers.sitefile import read_site
from layout.units import UNIT_SETS

Array = NDArray[np.float64]
RADIUS, HALF, TURN = 60.0, 7.0, math.radians(51.3)
CRS = "EPSG:2249"
SITE = """units = "us-ft"
{survey}
[bed]
outline = {outline}

[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6

[runs]
spacing = 2.0
pattern = "even"
"""
EXACT = 2 * TURN / 2 * ((RADIUS + HALF) ** 2 - (RADIUS - HALF) ** 2)
CORNER = (775_000.0, 2_956_500.0)


def at(centre: tuple[float, float], radius: float, angle: float) -> tuple[float, float]:
    return CORNER[0] + centre[0] + radius * math.cos(angle), CORNER[1] + centre[1] + radius * math.sin(angle)


def arcs() -> list[tuple[tuple[float, float], float, float, float]]:
    """Centre, radius, from angle, to angle of the four arcs round the bed; straight ends join the others."""
    up = math.pi / 2
    first = (100.0, 0.0)
    meet = (first[0] + RADIUS * math.cos(up), RADIUS)
    second = (meet[0] + RADIUS * math.cos(-up + math.pi), meet[1] + RADIUS)
    return [
        (first, RADIUS - HALF, up + TURN, up),
        (second, RADIUS + HALF, -up, -up + TURN),
        (second, RADIUS - HALF, -up + TURN, -up),
        (first, RADIUS + HALF, up, up + TURN),
    ]


@lru_cache(maxsize=1)
def outline() -> Array:
    points = [
        at(centre, radius, start + (end - start) * share)
        for centre, radius, start, end in arcs()
        for share in np.linspace(0.0, 1.0, 241)
    ]
    return np.asarray(points)


def rows(points: Array) -> str:
    return "[" + ", ".join(f"[{x:.6f}, {y:.6f}]" for x, y in points) + "]"


def inline(_: Path) -> str:
    return rows(outline())


def with_header(folder: Path) -> str:
    lines = [f"{number};{x:.4f};{y:.4f}" for number, (x, y) in enumerate(outline(), start=1)]
    (folder / "bed.csv").write_text("Point;Easting;Northing\n" + "\n".join(lines), encoding="utf-16")
    return '"bed.csv"'


def surveyors_order(folder: Path) -> str:
    lines = [f"{number},{y:.4f},{x:.4f},98.5,EB {number}" for number, (x, y) in enumerate(outline(), start=1)]
    lines[3:3] = ["9001,5.0,5.0,98.0,HUB"]
    (folder / "bed.csv").write_text("\r\n".join(lines), encoding="cp1252")
    return '"bed.csv#EB"'


def as_map(folder: Path) -> str:
    local = (outline() - CORNER) * UNIT_SETS["us-ft"].length
    degrees = to_degrees(Frame(units=UNIT_SETS["us-ft"], origin=CORNER, crs=CRS), local).round(9)
    ring = [*degrees.tolist(), degrees[0].tolist()]
    feature = {
        "type": "Feature",
        "properties": {"name": "bed"},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }
    (folder / "map.geojson").write_text(json.dumps(feature))
    return '"map.geojson#bed"'


def as_traverse(folder: Path) -> str:
    """Ends as courses, sides as curves: bearings to the second, lengths to a thousandth."""
    calls = [f"START {outline()[0][0]:.3f} {outline()[0][1]:.3f}"]
    last: tuple[float, float] | None = None
    for centre, radius, start, end in arcs():
        first, then = at(centre, radius, start), at(centre, radius, end)
        if last is not None and math.dist(last, first) > 1e-6:
            calls.append(course(last, first))
        side = "LEFT" if end > start else "RIGHT"
        chord = course(first, then)
        calls.append(f"CURVE R {radius:.3f} DELTA {in_dms(abs(end - start))} CHORD {chord} {side}")
        last = then
    assert last is not None
    calls.append(course(last, (float(outline()[0][0]), float(outline()[0][1]))))
    calls[3] = calls[3].replace("14.000", "14.002")  # measured a little long
    (folder / "bed.txt").write_text("\n".join(calls), encoding="utf-8")
    return '"bed.txt"'


def course(start: tuple[float, float], end: tuple[float, float]) -> str:
    way = math.degrees(math.atan2(end[0] - start[0], end[1] - start[1])) % 360
    return f"{in_words(way)} {math.dist(start, end):.3f}"


def in_dms(angle: float) -> str:
    seconds = round(math.degrees(angle) * 3600)
    return f"{seconds // 3600}-{seconds // 60 % 60:02d}-{seconds % 60:02d}"


def bulged(folder: Path) -> str:
    drawing = ezdxf.new("R2010", units=InsertUnits.USSurveyFeet)
    vertices = [
        (*at(centre, radius, start), math.tan((end - start) / 4)) for centre, radius, start, end in arcs()
    ]
    points = []
    for vertex, (centre, radius, _, end) in zip(vertices, arcs(), strict=True):
        points += [vertex, (*at(centre, radius, end), 0.0)]
    drawing.modelspace().add_lwpolyline(points, format="xyb", close=True)
    drawing.saveas(folder / "bed.dxf")
    return '"bed.dxf"'


def exploded(folder: Path) -> str:
    drawing = ezdxf.new("R2010", units=InsertUnits.USSurveyFeet)
    space = drawing.modelspace()
    ends = []
    for centre, radius, start, end in arcs():
        low, high = sorted((start, end))
        middle = (CORNER[0] + centre[0], CORNER[1] + centre[1])
        space.add_arc(middle, radius, math.degrees(low), math.degrees(high))
        ends.append((at(centre, radius, start), at(centre, radius, end)))
    space.add_line(ends[1][1], ends[2][0])
    space.add_line(ends[3][1], ends[0][0])
    drawing.saveas(folder / "bed.dxf")
    return '"bed.dxf"'


def splined(folder: Path) -> str:
    """Two sides as splines through points, two as exact rational ones, every other drawn backwards."""
    drawing = ezdxf.new("R2010", units=InsertUnits.USSurveyFeet)
    space = drawing.modelspace()
    ends = []
    for number, (centre, radius, start, end) in enumerate(arcs()):
        ends.append((at(centre, radius, start), at(centre, radius, end)))
        if number < 2:
            walk = [at(centre, radius, angle) for angle in np.linspace(start, end, 41)]
            space.add_spline(walk[::-1] if number else walk)
        else:
            low, high = map(math.degrees, sorted((start, end)))
            arc = Arc.new(dxfattribs={"radius": radius, "start_angle": low, "end_angle": high})
            arc.dxf.center = (CORNER[0] + centre[0], CORNER[1] + centre[1])
            space.add_entity(Spline.from_arc(arc))
    space.add_line(ends[1][1], ends[2][0])
    space.add_line(ends[0][0], ends[3][1])
    drawing.saveas(folder / "bed.dxf")
    return '"bed.dxf#0"'


Way = Callable[[Path], str]
WAYS: tuple[Way, ...] = (inline, with_header, surveyors_order, as_map, as_traverse, bulged, exploded, splined)


@lru_cache(maxsize=len(WAYS))
def planned(way: Way) -> Design:
    with TemporaryDirectory() as name:
        folder = Path(name)
        survey = f'[survey]\ncrs = "{CRS}"' if way is as_map else ""
        path = folder / "site.toml"
        path.write_text(SITE.format(outline=way(folder), survey=survey))
        return plan_field(read_site(path))


@pytest.mark.parametrize("way", WAYS)
def test_the_same_area(way: Way) -> None:
    site = planned(way).site
    assert site.bed.outline.area / site.frame.units.area == pytest.approx(EXACT, rel=1e-4)


@pytest.mark.parametrize("way", WAYS[1:])
def test_the_same_plan(way: Way) -> None:
    one, other = planned(inline), planned(way)
    assert other.laying.pattern == one.laying.pattern
    assert len(other.laying.runs) == len(one.laying.runs)
    assert len(other.laterals) == len(one.laterals)
    assert [run.line.length for run in other.laying.runs] == [
        pytest.approx(run.line.length, rel=1e-3) for run in one.laying.runs
    ]
    assert other.totals.tubing == pytest.approx(one.totals.tubing, rel=2e-4)
    assert other.totals.emitters == one.totals.emitters


def test_the_traverse_tells_its_misclosure() -> None:
    assert any(
        "traverse of 6 courses" in note and "compass rule" in note for note in planned(as_traverse).site.notes
    )


def test_the_map_lies_where_the_plan_does() -> None:
    x, y = planned(as_map).site.frame.origin
    assert abs(x - planned(inline).site.frame.origin[0]) <= 1
    assert abs(y - planned(inline).site.frame.origin[1]) <= 1
    assert np.isfinite(to_plan(CRS, [(-71.06, 42.36)])).all()
