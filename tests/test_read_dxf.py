"""Drawings: every kind of entity, flattened, out of blocks, with levels, in the right units."""

from __future__ import annotations

import math
import random
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely
from shapely import Polygon

from layout.readers.cad.pick import Drawings
from layout.readers.cad.pieces import SAGITTA, Fineness, bulged_points
from layout.readers.cad.units import DRAWING_UNITS, Extent, scale_of
from layout.readers.sitefile import read_site
from layout.units import FOOT, UNIT_SETS, US_SURVEY_FOOT
from tests.drawn import BED, TRACK, TRACK_AREA, area_of, drawing, exploded, fault_of, lot, read

# --- kinds of entity ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "way", ["light", "heavy", "loose", "shuffled", "doubled", "hatch", "hatch edges", "block"]
)
def test_a_track_however_it_is_drawn(tmp_path: Path, way: str) -> None:
    doc = drawing()
    model = doc.modelspace()
    chance = random.Random(3)
    parts = exploded(TRACK)
    if way == "light":
        model.add_lwpolyline(TRACK, format="xyb", close=True, dxfattribs=BED)
    elif way == "heavy":
        model.add_polyline2d(TRACK, format="xyb", close=True, dxfattribs=BED)
    elif way == "hatch":
        model.add_hatch(dxfattribs=BED).paths.add_polyline_path(TRACK, is_closed=True)
    elif way == "hatch edges":
        path = model.add_hatch(dxfattribs=BED).paths.add_edge_path()
        path.add_line((0, 0), (100, 0))
        path.add_arc((100, 10), 10, 270, 90)
        path.add_line((100, 20), (0, 20))
        path.add_arc((0, 10), 10, 90, 270)
    elif way == "block":
        doc.blocks.new("B").add_lwpolyline(TRACK, format="xyb", close=True)
        model.add_blockref("B", (0, 0), dxfattribs=BED)
    else:
        if way != "loose":
            chance.shuffle(parts)
        for part in [*parts, *(parts if way == "doubled" else [])]:
            model.add_entity(part.copy())
    table = read(tmp_path, doc, "BED")
    assert area_of(table) == pytest.approx(TRACK_AREA, rel=1e-5)
    shape = Polygon([(x, y) for x, y, _ in TRACK]).buffer(0)
    assert shape.within(Polygon(table.xy).buffer(1e-6))
    assert table.notes == (
        ("lot.dxf#BED: the outline is the edge of a hatch, for there is no other",) * way.startswith("hatch")
    )


@pytest.mark.parametrize("radius", [2.0, 5.0, 20.0, 300.0])
def test_a_circle_keeps_its_area_and_the_sagitta(tmp_path: Path, radius: float) -> None:
    doc = drawing()
    doc.modelspace().add_circle((50, 60), radius)
    table = read(tmp_path, doc)
    points = np.array(table.xy)
    assert np.hypot(*(points - (50, 60)).T) == pytest.approx(radius)
    middles = np.hypot(*((points[1:] + points[:-1]) / 2 - (50, 60)).T)
    assert (radius - middles).max() * FOOT <= SAGITTA * 1.001
    assert area_of(table) == pytest.approx(math.pi * radius**2, rel=1e-4)


@pytest.mark.parametrize(("ratio", "turn"), [(0.5, 0.0), (0.1, 0.7), (1.0, 0.0)])
def test_an_ellipse(tmp_path: Path, ratio: float, turn: float) -> None:
    doc = drawing()
    doc.modelspace().add_ellipse((5, 5), (30 * math.cos(turn), 30 * math.sin(turn)), ratio)
    assert area_of(read(tmp_path, doc)) == pytest.approx(math.pi * 900 * ratio, rel=1e-4)


@pytest.mark.parametrize("form", ["fit", "control", "joined"])
def test_splines(tmp_path: Path, form: str) -> None:
    """A circle by way of splines: through its points, or as exact rational ones."""
    from ezdxf.entities import Spline

    doc = drawing()
    model = doc.modelspace()
    angles = np.linspace(0, math.tau, 73)
    if form == "fit":
        model.add_spline([(20 * math.cos(angle), 20 * math.sin(angle)) for angle in angles])
    elif form == "control":
        model.add_entity(Spline.from_arc(model.add_circle((0, 0), 20)))
        model.delete_entity(model[0])
    else:
        for start in (0, 180):
            model.add_entity(Spline.from_arc(model.add_arc((0, 0), 20, start, start + 180)))
        for arc in model.query("ARC"):
            model.delete_entity(arc)
    assert area_of(read(tmp_path, doc)) == pytest.approx(math.pi * 400, rel=1e-4)


def test_a_line_in_space_and_a_smoothed_one(tmp_path: Path) -> None:
    """Of a polyline smoothed into a spline the frame is not part of the line."""
    doc = drawing()
    model = doc.modelspace()
    model.add_polyline3d(
        [(0, 0, 5), (50, 0, 6), (50, 30, 7), (0, 30, 8)], close=True, dxfattribs={"layer": "SPACE"}
    )
    smooth = model.add_polyline2d([(0, 0), (90, 90), (10, 0), (20, 0)], dxfattribs={"layer": "SMOOTH"})
    smooth.vertices[1].dxf.flags = 16
    assert area_of(read(tmp_path, doc, "SPACE")) == pytest.approx(1500)
    assert read(tmp_path, doc, "SMOOTH", "guide").xy == ((0, 0), (10, 0), (20, 0))


@pytest.mark.parametrize("kind", ["LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE"])
def test_a_mirrored_extrusion(tmp_path: Path, kind: str) -> None:
    """Drawn with the extrusion (0, 0, -1), x counts to the left."""
    doc = drawing()
    model = doc.modelspace()
    flipped = {"layer": "BED", "extrusion": (0, 0, -1)}
    right = [(10, 0, 0), (40, 0, 0.5), (40, 20, 0), (10, 20, 0)]
    if kind == "CIRCLE":
        model.add_circle((30, 10), 20, dxfattribs=flipped)
    elif kind == "ARC":
        model.add_arc((30, 10), 20, 0, 180, dxfattribs=flipped)
        model.add_line((-10, 10), (-50, 10), dxfattribs=BED)
    elif kind == "POLYLINE":
        model.add_polyline2d(right, format="xyb", close=True, dxfattribs=flipped)
    else:
        model.add_lwpolyline(right, format="xyb", close=True, dxfattribs=flipped)
    bounds = Polygon(read(tmp_path, doc).xy).bounds
    bow = 10 * 0.5  # bulge times half the chord
    expected = {"CIRCLE": (-50, -10, -10, 30), "ARC": (-50, 10, -10, 30)}.get(kind, (-40 - bow, 0, -10, 20))
    assert bounds == pytest.approx(expected, abs=1e-3)


# --- blocks ---------------------------------------------------------------------------------------------


def test_nested_blocks_turned_mirrored_and_stretched(tmp_path: Path) -> None:
    doc = drawing()
    doc.blocks.new("INNER").add_lwpolyline(TRACK, format="xyb", close=True)
    doc.blocks.new("OUTER").add_blockref("INNER", (10, 10), dxfattribs={"xscale": -1, "rotation": 30})
    doc.modelspace().add_blockref("OUTER", (1000, 1000), dxfattribs={"xscale": 2, "layer": "BED"})
    table = read(tmp_path, doc, "bed")
    assert area_of(table) == pytest.approx(2 * TRACK_AREA, rel=1e-5)
    turn = math.radians(30)
    corner = (1000 + 2 * (10 - 100 * math.cos(turn)), 1000 + 10 - 100 * math.sin(turn))
    assert min(math.dist(corner, point) for point in table.xy) < 1e-6


def test_layer_nought_in_a_block_is_that_of_the_insert(tmp_path: Path) -> None:
    doc = drawing()
    block = doc.blocks.new("B")
    block.add_circle((0, 0), 5)
    block.add_circle((0, 0), 9, dxfattribs={"layer": "CROWN"})
    doc.modelspace().add_blockref("B", (20, 20), dxfattribs={"layer": "TREE"})
    assert area_of(read(tmp_path, doc, "TREE")) == pytest.approx(25 * math.pi, rel=1e-4)
    assert area_of(read(tmp_path, doc, "CROWN")) == pytest.approx(81 * math.pi, rel=1e-4)


def test_inserts_in_rows(tmp_path: Path) -> None:
    doc = drawing()
    doc.blocks.new("P").add_point((0, 0, 0))
    row = doc.modelspace().add_blockref("P", (0, 0, 7), dxfattribs={"layer": "SPOT"})
    row.dxf.row_count, row.dxf.row_spacing, row.dxf.column_count, row.dxf.column_spacing = 2, 10, 3, 5
    said = fault_of(tmp_path, doc, "SPOT", "guide")
    assert "it holds" not in said
    assert "6 points" in fault_of(tmp_path, doc, "SPOT")


def test_a_symbol_is_its_place(tmp_path: Path) -> None:
    doc = drawing()
    block = doc.blocks.new("MARK")
    for start, end in (((-2, 0), (2, 0)), ((0, -2), (0, 2))):
        block.add_line(start, end)
    doc.modelspace().add_blockref("MARK", (70, 80), dxfattribs={"layer": "WELL"})
    table = read(tmp_path, doc, "WELL", "shape")
    assert table.xy == ((70.0, 80.0),)
    assert table.notes == (
        "lot.dxf#WELL: the block MARK is read as a point, where it is inserted: (70.00, 80.00)",
    )


def test_a_block_of_another_drawing_is_told(tmp_path: Path) -> None:
    doc = drawing()
    doc.add_xref_def("other.dxf", "OTHER")
    doc.modelspace().add_blockref("OTHER", (0, 0))
    doc.modelspace().add_circle((0, 0), 30)
    assert read(tmp_path, doc).notes == (
        "lot.dxf: the block OTHER stands in another drawing, which is not read",
    )


# --- levels ---------------------------------------------------------------------------------------------


def test_levels(tmp_path: Path) -> None:
    doc = drawing()
    model = doc.modelspace()
    spot = {"layer": "SPOT"}
    model.add_point((0, 0, 96), dxfattribs=spot)
    model.add_polyline3d([(10, 0, 97), (20, 0, 98)], dxfattribs=spot)
    model.add_lwpolyline([(0, 10), (20, 12)], dxfattribs={"layer": "SPOT", "elevation": 99})
    model.add_3dface([(0, 0, 96), (30, 0, 97), (0, 30, 98)], dxfattribs=spot)
    block = doc.blocks.new("CROSS")
    block.add_line((-1, 0), (1, 0))
    block.add_line((0, -1), (0, 1))
    model.add_blockref("CROSS", (40, 40, 101.5), dxfattribs=spot)
    model.add_line((0, 0), (1, 1), dxfattribs=spot)
    table = read(tmp_path, doc, "SPOT", "levels")
    rows = {(x, y): z for (x, y), z in zip(table.xy, table.z, strict=True)}
    assert rows == {
        (0, 0): 96,
        (10, 0): 97,
        (20, 0): 98,
        (0, 10): 99,
        (20, 12): 99,
        (30, 0): 97,
        (0, 30): 98,
        (40, 40): 101.5,
    }
    assert table.notes == (
        "lot.dxf#SPOT: 2 points at height 0 left out; the others lie from 96.00 to 101.50",
    )


def test_a_flat_drawing_has_no_levels(tmp_path: Path) -> None:
    doc = lot()
    doc.modelspace().add_text("97.5", dxfattribs={"layer": "LOT"})
    said = fault_of(tmp_path, doc, "LOT", "levels")
    assert "of 2 points on it none has a level other than 0; its 1 text cannot be read as levels" in said


# --- units ----------------------------------------------------------------------------------------------


def test_lengths_of_drawing_units() -> None:
    """NIST SP 811, appendix B: the inch, yard and mile of the international foot; those of the US survey foot."""
    assert DRAWING_UNITS[1][0] == 0.0254
    assert DRAWING_UNITS[10][0] == pytest.approx(0.9144, rel=1e-15)
    assert DRAWING_UNITS[3][0] == pytest.approx(1609.344, rel=1e-15)
    assert DRAWING_UNITS[21][0] == US_SURVEY_FOOT
    assert DRAWING_UNITS[24][0] == pytest.approx(1609.347, abs=5e-4)


@pytest.mark.parametrize(
    ("code", "units", "factor", "noted"),
    [
        (2, "ft", 1.0, False),
        (6, "m", 1.0, False),
        (21, "us-ft", 1.0, False),
        (6, "ft", 1 / 0.3048, True),
        (2, "m", 0.3048, True),
        (6, "us-ft", 3937 / 1200, True),
        (4, "m", 0.001, True),
        (1, "ft", 1 / 12, True),
        (5, "m", 0.01, True),
        (0, "ft", 1.0, True),
        (20, "m", 1.0, True),
    ],
)
def test_units_from_the_header(tmp_path: Path, code: int, units: str, factor: float, noted: bool) -> None:
    """A lot of two kilometres near its origin, so that even millimetres are believed."""
    doc = drawing(code)
    doc.modelspace().add_lwpolyline(
        [(0, 0), (20000, 0, 5), (20000, 9000), (0, 9000)], format="xyz"[:2], close=True
    )
    table = read(tmp_path, doc, units=units)
    assert table.xy[2] == pytest.approx((20000 * factor, 9000 * factor), rel=1e-12)
    assert bool(table.notes) is noted
    if noted:
        assert "if that is wrong, state survey.drawing_units" in table.notes[0]


def test_the_foot_of_a_header_that_says_feet() -> None:
    """At 2,000,000 ft the two feet lie 4 ft apart, and most programs cannot say which they mean."""
    far, near = Extent(size=500, reach=2e6), Extent(size=500, reach=500)
    scale = scale_of(2, UNIT_SETS["us-ft"], name="lot.dxf", extent=far)
    assert scale.factor == 1.0
    assert scale.metres == US_SURVEY_FOOT
    assert "Were they international feet, it would lie 4.00 ft from there" in scale.note
    assert scale_of(2, UNIT_SETS["us-ft"], name="lot.dxf", extent=near).note == ""
    scale = scale_of(21, UNIT_SETS["ft"], name="lot.dxf", extent=far)
    assert scale.factor == US_SURVEY_FOOT / FOOT
    assert "which moves it by up to 4.00 ft" in scale.note
    scale = scale_of(2, UNIT_SETS["us-ft"], name="lot.dxf", extent=far, stated="ft")
    assert scale.factor == FOOT / US_SURVEY_FOOT


@pytest.mark.parametrize(
    ("code", "extent", "believed"),
    [
        (1, Extent(size=300, reach=300), False),  # 25 ft across
        (1, Extent(size=2400, reach=2400), True),  # 200 ft across
        (1, Extent(size=2400, reach=700_000), False),  # on a survey grid
        (4, Extent(size=60, reach=60), False),
        (4, Extent(size=60_000, reach=60_000), True),
    ],
)
def test_small_units_that_nobody_chose(code: int, extent: Extent, believed: bool) -> None:
    scale = scale_of(code, UNIT_SETS["ft"], name="lot.dxf", extent=extent)
    assert (scale.factor != 1.0) is believed
    assert scale.note


@pytest.mark.parametrize("stated", ["ft", "us-ft", "m", "in", "mm", "cm"])
def test_units_as_stated(tmp_path: Path, stated: str) -> None:
    metres = {"ft": FOOT, "us-ft": US_SURVEY_FOOT, "m": 1.0, "in": 0.0254, "mm": 0.001, "cm": 0.01}[stated]
    doc = drawing(7)
    doc.modelspace().add_lwpolyline([(0, 0), (1000, 0), (1000, 300)], close=True)
    table = read(tmp_path, doc, units="m", stated=stated)
    assert table.xy[1] == pytest.approx((1000 * metres, 0))


# --- another writer ---------------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
@pytest.mark.parametrize(("crs", "noted"), [("EPSG:6494", ""), (None, "lot.dxf says inches, but")])
def test_a_drawing_of_another_writer(tmp_path: Path, crs: str | None, noted: str) -> None:
    """GDAL, through pyogrio: areas as hatches, and a header that says inches where the units are not known."""
    shapes = {
        "BED": Polygon([(0, 0), (100, 0), (100, 20), (0, 20)]),
        "FENCE": shapely.LineString([(0, 50), (10, 60), (30, 50)]),
        "WELL": shapely.Point(5, 90),
        "GROUND": shapely.LineString([(0, 0, 96), (100, 0, 97), (100, 20, 98)]),
    }
    write: Any = pyogrio.raw.write  # untyped
    write(
        tmp_path / "lot.dxf",
        np.array([shapely.to_wkb(shape) for shape in shapes.values()], dtype=object),
        [np.array(list(shapes), dtype=object)],
        ["Layer"],
        driver="DXF",
        geometry_type="Unknown",
        crs=crs,
    )
    drawings = Drawings(UNIT_SETS["ft"])
    table = drawings.table(tmp_path / "lot.dxf", "", "outline")
    assert shapely.equals(Polygon(table.xy), shapes["BED"])
    assert table.notes[0].startswith(noted or "lot.dxf: the outline is the edge of a hatch")
    assert not noted or "it is read as international feet, the site's units" in table.notes[0]
    assert drawings.table(tmp_path / "lot.dxf", "FENCE", "shape").xy == tuple(shapes["FENCE"].coords)
    assert drawings.table(tmp_path / "lot.dxf", "WELL", "shape").xy == ((5.0, 90.0),)
    assert drawings.table(tmp_path / "lot.dxf", "GROUND", "levels").z == (96.0, 97.0, 98.0)


# --- whole sites ------------------------------------------------------------------------------------------

SITE = """
units = "{units}"
[bed]
outline = "{outline}"
[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6
[runs]
spacing = 2.0
"""


def test_a_site_of_drawings(tmp_path: Path) -> None:
    doc = lot()
    doc.modelspace().add_lwpolyline([(0, 2, 0), (100, 2, 0)], format="xyb", dxfattribs={"layer": "GUIDE"})
    for x, y in ((0, 0), (100, 0), (50, 20)):
        doc.modelspace().add_point((x, y, 90 + x / 100), dxfattribs={"layer": "SPOT"})
    (tmp_path / "survey").mkdir()
    doc.saveas(tmp_path / "survey" / "lot.dxf")
    text = SITE.format(units="m", outline="survey/lot.dxf#BED/2F")
    text = (
        text.replace("[tubing]", 'levels = "survey/lot.dxf#SPOT"\n[tubing]')
        + 'guide = "survey/lot.dxf#GUIDE"\n'
    )
    text += '[[feature]]\nname = "oak"\nkind = "tree"\nshape = "survey/lot.dxf#Tree Ø"\nsetback = 1.0\ninside = true\n'
    (tmp_path / "site.toml").write_text(text, encoding="utf-8")
    site = read_site(tmp_path / "site.toml")
    assert site.bed.outline.area == pytest.approx(2000 * FOOT**2)
    assert site.features[0].shape.area == pytest.approx(4 * math.pi * FOOT**2, rel=1e-4)
    assert site.runs.guide is not None
    assert site.runs.guide.length == pytest.approx(100 * FOOT)
    assert site.bed.levels is not None
    assert max(z for _, _, z in site.bed.levels.points) == pytest.approx(91 * FOOT)
    assert [note for note in site.notes if "lot.dxf" in note] == [
        "lot.dxf is in feet, the site in metres: its coordinates are multiplied by 0.3048; if that is wrong, state "
        "survey.drawing_units"
    ]
    overruled = read_site(tmp_path / "site.toml", ['survey.drawing_units="m"'])
    assert overruled.bed.outline.area == pytest.approx(2000)
    assert [note for note in overruled.notes if "lot.dxf" in note] == []


# --- hatches and odd entities ---------------------------------------------------------------------------


def test_of_a_hatch_that_marks_no_edge_the_largest_counts(tmp_path: Path) -> None:
    doc = drawing()
    hatch = doc.modelspace().add_hatch(dxfattribs={"layer": "BED"})
    hatch.paths.add_polyline_path([(2, 2), (8, 2), (8, 8), (2, 8)], is_closed=True, flags=0)
    hatch.paths.add_polyline_path([(0, 0), (100, 0), (100, 20), (0, 20)], is_closed=True, flags=0)
    assert area_of(read(tmp_path, doc, "BED")) == pytest.approx(2000)


@pytest.mark.parametrize("ccw", [True, False])
def test_the_edge_of_a_hatch_may_run_round_an_arc_either_way(tmp_path: Path, ccw: bool) -> None:
    """A track of two straights and two half circles, walked with the clock or against it."""
    doc = drawing()
    path = doc.modelspace().add_hatch(dxfattribs={"layer": "BED"}).paths.add_edge_path()
    if ccw:
        path.add_line((0, 0), (100, 0))
        path.add_arc((100, 10), 10, 270, 90, ccw=True)
        path.add_line((100, 20), (0, 20))
        path.add_arc((0, 10), 10, 90, 270, ccw=True)
    else:
        path.add_line((100, 0), (0, 0))
        path.add_arc((0, 10), 10, 90, 270, ccw=False)
        path.add_line((0, 20), (100, 20))
        path.add_arc((100, 10), 10, 270, 90, ccw=False)
    assert area_of(read(tmp_path, doc, "BED")) == pytest.approx(2000 + 100 * math.pi, rel=1e-4)


def test_what_cannot_be_made_out_is_told_with_the_reason(tmp_path: Path) -> None:
    from ezdxf.entities import Spline

    doc = drawing()
    doc.blocks.new("SIGN").add_line((0, 0), (1, 1), dxfattribs=BED)
    doc.modelspace().add_blockref("SIGN", (50, 5), dxfattribs={"xscale": math.inf})
    doc.modelspace().add_entity(Spline.new(dxfattribs=BED, doc=doc))
    said = fault_of(tmp_path, doc, "BED")
    assert "LINE of block SIGN" in said
    assert "on layer BED, cannot be made out (the scale of its block is no number)" in said
    assert "cannot be made out (it has neither control points nor fit points)" in said


def test_a_polyline_of_no_points_is_passed_over(tmp_path: Path) -> None:
    doc = drawing()
    model = doc.modelspace()
    model.add_lwpolyline([], dxfattribs=BED)
    model.add_lwpolyline([(0, 0), (100, 0), (100, 20), (0, 20)], close=True, dxfattribs=BED)
    assert area_of(read(tmp_path, doc, "BED")) == pytest.approx(2000)
    assert bulged_points([], closed=True, fine=Fineness(sagitta=0.1, share=1.0)) == []
