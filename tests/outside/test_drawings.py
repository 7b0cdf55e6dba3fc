"""Drawings against their reference and against another reader.

DXF reference, LWPOLYLINE and VERTEX, group code 42 (from memory): the bulge is the tangent of one fourth of the
included angle of the arc, negative where the arc goes clockwise from the start point to the end point; 0 is a straight
segment and 1 a semicircle. DXF reference, header variable $INSUNITS (from memory): 1 inches, 2 feet, 4 millimetres,
5 centimetres, 6 metres, 21 US survey feet.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import ezdxf  # noqa: TID253 - a test may start slowly
import pyogrio
import pytest
import shapely

from layout.readers.cad.pick import Drawings
from layout.readers.cad.pieces import Fineness, bulged_points
from layout.readers.cad.units import DRAWING_UNITS
from layout.units import FOOT, UNIT_SETS, US_SURVEY_FOOT

FINE = Fineness(sagitta=1e-4, share=1e-4)


@pytest.mark.parametrize("degrees", [-300.0, -180.0, -90.0, -12.0, 12.0, 45.0, 90.0, 180.0, 300.0])
def test_a_bulge_is_the_tangent_of_a_quarter_of_the_angle(degrees: float) -> None:
    """Chord 2 r sin(a / 2), length r a, and to the right of the chord where the angle is positive."""
    angle = math.radians(degrees)
    radius = 25.0
    chord = 2 * radius * abs(math.sin(angle / 2))
    points = bulged_points([(0, 0, math.tan(angle / 4)), (chord, 0, 0)], closed=False, fine=FINE)
    line = shapely.LineString(points)
    assert line.length == pytest.approx(radius * abs(angle), rel=1e-4)
    rise = radius * (1 - math.cos(angle / 2))
    middle = line.interpolate(0.5, normalized=True)
    assert (middle.x, middle.y) == pytest.approx((chord / 2, -math.copysign(rise, angle)), abs=0.05)


def test_a_straight_segment_and_a_semicircle() -> None:
    assert bulged_points([(0, 0, 0), (8, 0, 0)], closed=False, fine=FINE) == [(0, 0), (8, 0)]
    half = shapely.LineString(bulged_points([(0, 0, 1), (8, 0, 0)], closed=False, fine=FINE))
    assert half.bounds == pytest.approx((0, -4, 8, 0), abs=1e-3)


def test_codes_of_units() -> None:
    lengths = {1: 0.0254, 2: FOOT, 4: 0.001, 5: 0.01, 6: 1.0, 21: US_SURVEY_FOOT}
    assert {code: DRAWING_UNITS[code][0] for code in lengths} == lengths


def test_the_same_as_another_reader(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """GDAL, through pyogrio, takes nested and mirrored blocks and flipped extrusions apart just so."""
    doc = ezdxf.new("R2010", units=2)
    model = doc.modelspace()
    corners = [(0, 0, 0.3), (40, 0, 0), (40, 25, -0.2), (10, 30, 0)]
    doc.blocks.new("INNER").add_lwpolyline(corners, format="xyb", close=True)
    doc.blocks.new("OUTER").add_blockref("INNER", (5, 7), dxfattribs={"rotation": 40, "xscale": -1})
    model.add_blockref("OUTER", (100, 200), dxfattribs={"rotation": 15, "layer": "A"})
    model.add_lwpolyline(
        corners, format="xyb", close=True, dxfattribs={"extrusion": (0, 0, -1), "layer": "B"}
    )
    model.add_ellipse((300, 300), (30, 10), 0.4, dxfattribs={"layer": "C"})
    model.add_circle((20, 30), 10, dxfattribs={"extrusion": (0, 0, -1), "layer": "D"})
    doc.saveas(tmp_path / "lot.dxf")
    monkeypatch.setenv("OGR_ARC_STEPSIZE", "0.1")
    read: Any = pyogrio.raw.read  # untyped
    _, _, geometries, fields = read(tmp_path / "lot.dxf", columns=["Layer"])
    drawings = Drawings(UNIT_SETS["ft"])
    seen = set()
    for geometry, layer in zip(shapely.from_wkb(geometries), fields[0], strict=True):
        other = shapely.force_2d(geometry)
        other = other if other.geom_type == "Polygon" else shapely.Polygon(shapely.get_coordinates(other))
        ours = shapely.Polygon(drawings.table(tmp_path / "lot.dxf", str(layer), "outline").xy)
        assert ours.area == pytest.approx(other.area, rel=1e-4), layer
        assert ours.symmetric_difference(other).area < 1e-3 * ours.area, layer
        seen.add(str(layer))
    assert seen == {"A", "B", "C", "D"}
