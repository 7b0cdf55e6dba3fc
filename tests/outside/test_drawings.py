"""Drawings against their reference and against another reader.

DXF reference, LWPOLYLINE and VERTEX, group code 42 (from memory): the bulge is the tangent of one fourth of the
included angle of the arc, negative where the arc goes clockwise from the start point to the end point; 0 is a straight
segment and 1 a semicircle. DXF reference, header variable $INSUNITS (from memory): 1 inches, 2 feet, 4 millimetres,
5 centimetres, 6 metres, 21 US survey feet.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import ezdxf  # noqa: TID253 - a test may start slowly
import numpy as np
import pyogrio
import pytest
import shapely

from layout.readers.cad.pick import Drawings
from layout.readers.cad.pieces import Fineness, bulged_points
from layout.readers.cad.units import DRAWING_UNITS
from layout.units import FOOT, UNIT_SETS, US_SURVEY_FOOT
from tests.examples import NAMES, Example

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


# --- plan.dxf of every example as GDAL reads it, beside layout.json ------------------------------------------------

OF_PIPES = {
    "C-SSWR-MANF-N": ("manifolds", "supply"),
    "C-SSWR-MANR-N": ("manifolds", "return"),
    "C-SSWR-SUPP-N": ("lines", "supply"),
    "C-SSWR-RETN-N": ("lines", "return"),
}


class Entities:
    """What GDAL finds in the model space, blocks as points with their names, arcs in steps of a tenth of a degree."""

    def __init__(self, path: Path) -> None:
        options = {"OGR_ARC_STEPSIZE": "0.1", "DXF_INLINE_BLOCKS": "FALSE"}
        before = {name: pyogrio.get_gdal_config_option(name) for name in options}
        pyogrio.set_gdal_config_options(options)
        try:
            read: Any = pyogrio.raw.read  # untyped
            meta, _, shapes, values = read(path, layer="entities")
        finally:
            pyogrio.set_gdal_config_options(before)
        fields = dict(zip(meta["fields"], values, strict=True))
        model = np.asarray([not value or isinstance(value, float) for value in fields["PaperSpace"]])
        self.shapes = np.asarray(shapely.from_wkb(shapes), dtype=object)[model]
        self.layer = np.asarray(fields["Layer"], dtype=object)[model]
        self.block = np.asarray(fields["BlockName"], dtype=object)[model]

    def lengths(self, layer: str) -> list[float]:
        found = [shape for shape in self.shapes[self.layer == layer] if shape.geom_type == "LineString"]
        return sorted(float(shape.length) for shape in found)

    def points(self, layer: str) -> list[tuple[float, float]]:
        chosen = (self.layer == layer) & np.asarray([isinstance(name, str) for name in self.block])
        return sorted((round(shape.x, 6), round(shape.y, 6)) for shape in self.shapes[chosen])


Drawn = tuple[dict[str, Any], Entities, Path]


@pytest.fixture(scope="module", params=NAMES)
def drawn(request: pytest.FixtureRequest, example: Callable[[str], Example]) -> Drawn:
    folder = example(request.param).folder
    stated: dict[str, Any] = json.loads((folder / "layout.json").read_text(encoding="utf-8"))
    return stated, Entities(folder / "plan.dxf"), folder / "plan.dxf"


def at(points: Iterable[Sequence[float]]) -> list[tuple[float, float]]:
    return sorted((round(x, 6), round(y, 6)) for x, y in points)


def test_runs_and_blank_tubing_are_as_long_as_in_the_layout(drawn: Drawn) -> None:
    stated, found, _ = drawn
    runs = found.lengths("C-SSWR-DRIP-N")
    assert runs == pytest.approx(sorted(run["length"] for run in stated["runs"]), rel=1e-4)
    for layer, kind in (("C-SSWR-LOOP-N", "loop"), ("C-SSWR-BLNK-N", "blank")):
        known = sorted(join["length"] for join in stated["joins"] if join["kind"] == kind)
        assert found.lengths(layer) == pytest.approx(known, rel=1e-4)


def test_pipes_are_as_long_as_in_the_layout(drawn: Drawn) -> None:
    stated, found, _ = drawn
    for layer, (block, kind) in OF_PIPES.items():
        known = sorted(pipe["length"] for pipe in stated[block] if pipe["kind"] == kind)
        assert found.lengths(layer) == pytest.approx(known, rel=1e-4)
    # coordinates of seven digits before the point leave nine behind it, so ends are not known nearer than 1e-8
    assert found.lengths("C-SSWR-RISR-N") == pytest.approx(
        sorted(riser["length"] for riser in stated["risers"]), rel=1e-9, abs=1e-8
    )


def test_risers_valves_and_stakes_are_blocks_where_the_layout_has_them(drawn: Drawn) -> None:
    stated, found, _ = drawn
    assert found.points("C-SSWR-RSRP-N") == at(riser["points"][0] for riser in stated["risers"])
    assert found.points("C-SSWR-STAK-N") == at((stake["x"], stake["y"]) for stake in stated["stakes"])
    for layer, kind in (
        ("C-SSWR-VALV-N", "zone valve"),
        ("C-SSWR-FLSV-N", "flush valve"),
        ("C-SSWR-AIRV-N", "air valve"),
    ):
        assert found.points(layer) == at(item["at"] for item in stated["fittings"] if item["kind"] == kind)


def test_run_ends_have_the_coordinates_of_the_site(drawn: Drawn) -> None:
    stated, found, _ = drawn
    lines = found.shapes[found.layer == "C-SSWR-DRIP-N"].tolist()
    drawn = at(point for line in lines for point in (line.coords[0][:2], line.coords[-1][:2]))
    assert drawn == at(point for run in stated["runs"] for point in (run["points"][0], run["points"][-1]))


def test_the_file_is_sound_small_and_in_plain_letters(drawn: Drawn) -> None:
    stated, _, path = drawn
    document_: Any = ezdxf.readfile(path)  # type: ignore[attr-defined]
    audit = document_.audit()
    assert [str(item) for item in (*audit.errors, *audit.fixes)] == []
    assert path.read_bytes().isascii()
    sheets = [name for name in document_.layout_names_in_taborder() if name != "Model"]
    assert any(name.startswith("Details") for name in sheets)
    runs = document_.modelspace().query('LWPOLYLINE[layer=="C-SSWR-DRIP-N"]')
    assert sum(len(line) for line in runs) < 0.75 * sum(len(run["points"]) for run in stated["runs"])
    assert all(
        viewport.dxf.flags & 0x4000
        for name in sheets
        for viewport in document_.layout(name).query("VIEWPORT")
        if viewport.dxf.id != 1
    )
