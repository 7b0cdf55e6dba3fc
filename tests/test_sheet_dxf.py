"""The plan as DXF: sound by the CAD library's audit, true by an independent reader (GDAL through pyogrio)."""

from __future__ import annotations

import itertools
import json
import math
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf  # noqa: TID253 - a test may start slowly
import numpy as np
import pyogrio
import pytest
import shapely

from layout.frame import to_site
from layout.model import Design
from layout.sheets import layers
from layout.sheets.drafting import draft
from layout.sheets.dxf import write_dxf
from layout.sheets.layoutjson import document
from layout.sheets.marks import Dash
from layout.units import UNIT_SETS
from tests.fields import curved_field, kinds_field, strip_field, tree_field, wide_field

FIELDS: dict[str, Callable[[], Design]] = {
    "curved": curved_field,
    "metric": lambda: curved_field("m"),
    "survey feet": lambda: curved_field("us-ft", origin=(2_100_000.5, 710_000.25)),
    "tree": tree_field,
    "strip": strip_field,
    "kinds": kinds_field,
    "many": lambda: wide_field(200, length=900.0),
}


FIT = 0.01
"""How far lines and arcs may lie from the layout's points, in run spacings."""


def read_by_layer(path: Path) -> dict[str, Any]:
    """Geometries of the model space by layer, as GDAL reads them, arcs in steps of a tenth of a degree."""
    read: Any = pyogrio.raw.read  # untyped
    before = pyogrio.get_gdal_config_option("OGR_ARC_STEPSIZE")
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.1"})
    try:
        meta, _, shapes, values = read(path, layer="entities")
    finally:
        pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": before})
    names = list(meta["fields"])
    layer, space = values[names.index("Layer")], values[names.index("PaperSpace")]
    geometries: Any = shapely.from_wkb(shapes)
    model = np.asarray([not value or isinstance(value, float) for value in space], dtype=bool)
    return {name: geometries[(layer == name) & model] for name in sorted(set(layer))}


@pytest.fixture(scope="module", params=list(FIELDS))
def written(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Design, Path]:
    design = FIELDS[request.param]()
    path = tmp_path_factory.mktemp("dxf") / "plan.dxf"
    write_dxf(draft(design), path)
    return design, path


def test_the_audit_finds_nothing_and_mends_nothing(written: tuple[Design, Path]) -> None:
    audit = ezdxf.readfile(written[1]).audit()  # type: ignore[attr-defined]
    assert [str(item) for item in (*audit.errors, *audit.fixes)] == []


def test_an_independent_reader_finds_the_tubing(written: tuple[Design, Path]) -> None:
    """True arcs are a little longer than the layout's chords between their points, so to one part in 10,000."""
    design, path = written
    found = read_by_layer(path)
    totals = document(design)["totals"]
    assert len(found["C-SSWR-DRIP-N"]) == len(design.laying.runs)
    assert shapely.length(found["C-SSWR-DRIP-N"]).sum() == pytest.approx(totals["tubing"], rel=1e-4)
    blank = [found[name] for name in ("C-SSWR-LOOP-N", "C-SSWR-BLNK-N") if name in found]
    assert sum(float(shapely.length(lines).sum()) for lines in blank) == pytest.approx(
        totals["blank"], rel=1e-4
    )
    bed = shapely.polygons(shapely.get_coordinates(found["C-SSWR-BEDS-N"][0]))
    assert shapely.area(bed) == pytest.approx(document(design)["bed"]["area"], rel=1e-6)


def test_runs_are_lines_and_arcs_from_points_of_the_layout(written: tuple[Design, Path]) -> None:
    design, path = written
    model: Any = ezdxf.readfile(path).modelspace()  # type: ignore[attr-defined]
    drawn = [line.get_points("xyb") for line in model.query('LWPOLYLINE[layer=="C-SSWR-DRIP-N"]')]
    stated = [np.asarray(run["points"]) for run in document(design)["runs"]]
    assert len(drawn) == len(stated)
    most = FIT * design.site.runs.spacing / design.site.frame.units.length
    for line, points in zip(drawn, stated, strict=True):
        joints = np.asarray(line)[:, :2]
        np.testing.assert_allclose(joints[[0, -1]], points[[0, -1]], rtol=0, atol=1e-8)
        away = shapely.distance(shapely.points(joints), shapely.multipoints(points))
        assert float(away.max()) < 1e-6
        traced = shapely.LineString(traced_arcs(line))
        assert float(shapely.distance(shapely.points(points), traced).max()) < most


def traced_arcs(points: list[tuple[float, float, float]]) -> list[tuple[float, float]]:
    """Walk along lines and arcs in small steps, by turning: nothing shared with what fitted them."""
    found: list[Any] = []
    for (x, y, bulge), (to_x, to_y, _) in itertools.pairwise(points):
        start, chord = complex(x, y), complex(to_x - x, to_y - y)
        angle = 4 * math.atan(bulge)
        steps = 1 if abs(angle) < 1e-9 else max(int(abs(angle) / 0.002), 4)
        at, way = start, chord * complex(math.cos(-angle / 2), math.sin(-angle / 2))
        for _ in range(steps):
            found.append((at.real, at.imag))
            part = angle / steps
            size = 1 / steps if abs(angle) < 1e-9 else math.sin(part / 2) / math.sin(angle / 2)
            at += way * complex(math.cos(part / 2), math.sin(part / 2)) * abs(size)
            way *= complex(math.cos(part), math.sin(part))
    return [*found, points[-1][:2]]


def test_a_bend_of_many_points_is_one_arc(tmp_path: Path) -> None:
    """The runs of this field are true arcs, 58 points each."""
    write_dxf(draft(curved_field()), tmp_path / "plan.dxf")
    model: Any = ezdxf.readfile(tmp_path / "plan.dxf").modelspace()  # type: ignore[attr-defined]
    for line in model.query('LWPOLYLINE[layer=="C-SSWR-DRIP-N"]'):
        (x, y, bulge), (to_x, to_y, _) = line.get_points("xyb")
        radius = math.hypot(to_x - x, to_y - y) * (1 + bulge**2) / (4 * abs(bulge))
        assert bulge < 0
        assert min(abs(radius - known) for known in range(101, 112, 2)) < 1e-6


def test_dimensions_measure_what_the_layout_states(written: tuple[Design, Path]) -> None:
    """A reader that draws them anew gets the figures of the sheet: setbacks, gaps, clearance."""
    design, path = written
    document_: Any = ezdxf.readfile(path)  # type: ignore[attr-defined]
    unit = design.site.frame.units
    style = document_.dimstyles.get("PLAN-DIMENSIONS")
    assert (style.dxf.dimlfac, style.dxf.dimdsep) == (1.0, ord("."))
    found = document_.modelspace().query("DIMENSION")
    assert len(found) >= 3
    setbacks = {round(item.setback / unit.length, 6) for item in design.site.features}
    for item in found:
        start, end = item.dxf.defpoint2, item.dxf.defpoint3
        words = item.override().get("dimpost")
        assert item.get_measurement() == pytest.approx(math.dist(start, end), rel=1e-9)
        assert f"<> {unit.length_name}" in words
        if "setback" in words:
            assert round(item.get_measurement(), 6) in setbacks
    for name in document_.layout_names_in_taborder():
        if not name.startswith("Details"):
            continue
        for item in document_.layout(name).query("DIMENSION"):
            assert item.override().get("dimlfac") > 0


def test_symbols_tell_what_they_are(tmp_path: Path) -> None:
    design = curved_field()
    write_dxf(draft(design), tmp_path / "plan.dxf")
    model: Any = ezdxf.readfile(tmp_path / "plan.dxf").modelspace()  # type: ignore[attr-defined]
    risers = model.query('INSERT[layer=="C-SSWR-RSRP-N"]')
    assert len(risers) == len(design.plumbing.risers)
    told = [{tag.dxf.tag: tag.dxf.text for tag in item.attribs} for item in risers]
    assert sorted((item["LATERAL"], item["KIND"]) for item in told) == sorted(
        (riser.lateral, riser.kind) for riser in design.plumbing.risers
    )
    said = {item.dxf.text for item in model.query('TEXT[layer=="C-SSWR-RSRP-N"]')}
    assert said == {lateral.name for lateral in design.laterals}


def test_what_is_for_the_screen_is_not_in_the_way_on_a_sheet(written: tuple[Design, Path]) -> None:
    document_: Any = ezdxf.readfile(written[1])  # type: ignore[attr-defined]
    for name in document_.layout_names_in_taborder():
        for viewport in document_.layout(name).query("VIEWPORT"):
            if name == "Model" or viewport.dxf.id == 1:
                continue
            for layer in viewport.frozen_layers:
                assert document_.layers.get(layer).dxf.plot == 0


def test_the_same_bytes_whatever_the_hash_seed(tmp_path: Path) -> None:
    program = (
        "from pathlib import Path\n"
        "from layout.sheets.drafting import draft\n"
        "from layout.sheets.dxf import write_dxf\n"
        "from tests.fields import tree_field\n"
        "import sys\n"
        "write_dxf(draft(tree_field()), Path(sys.argv[1]))\n"
    )
    made = []
    for seed in ("0", "1", "5"):
        path = tmp_path / f"{seed}.dxf"
        root = str(Path(__file__).resolve().parent.parent)
        surroundings = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": root}
        subprocess.run([sys.executable, "-c", program, str(path)], check=True, env=surroundings)
        made.append(path.read_bytes())
    assert made[0] == made[1] == made[2]


@pytest.mark.parametrize(("units", "code", "metric"), [("ft", 2, 0), ("us-ft", 21, 0), ("m", 6, 1)])
def test_units_are_stated(units: str, code: int, metric: int, tmp_path: Path) -> None:
    """$INSUNITS codes of the DXF reference: 2 feet, 6 metres, 21 US survey feet."""
    write_dxf(draft(curved_field(units)), tmp_path / "plan.dxf")
    text = (tmp_path / "plan.dxf").read_text(encoding="utf-8")
    assert re.search(rf"\$INSUNITS\n\s*70\n\s*{code}\n", text)
    assert re.search(rf"\$MEASUREMENT\n\s*70\n\s*{metric}\n", text)
    assert "AC1024" in text.split("$ACADVER")[1][:20]


def test_the_viewport_is_locked_at_the_stated_scale(written: tuple[Design, Path]) -> None:
    design, path = written
    drawing = draft(design)
    sheet: Any = ezdxf.readfile(path).layout(drawing.sheets[0].name)  # type: ignore[attr-defined]
    (viewport,) = [item for item in sheet.query("VIEWPORT") if item.dxf.id != 1]
    assert viewport.dxf.flags & 0x4000
    units_per_paper = viewport.dxf.view_height / viewport.dxf.height
    inch = 25.4 if drawing.paper.metric else 1.0
    assert units_per_paper * inch * UNIT_SETS[design.site.frame.units.word].length == pytest.approx(
        drawing.view.metres_per_inch
    )
    if drawing.scale.startswith("1 in"):
        assert units_per_paper == pytest.approx(float(drawing.scale.split()[3]))
    else:
        assert units_per_paper * 1000 == pytest.approx(float(drawing.scale.split()[2]))
    centre = to_site(drawing.frame, [drawing.view.centre])[0]
    assert (viewport.dxf.view_center_point.x, viewport.dxf.view_center_point.y) == pytest.approx(
        tuple(centre)
    )
    layer = ezdxf.readfile(path).layers.get(viewport.dxf.layer)  # type: ignore[attr-defined]
    assert layer.dxf.plot == 0


def test_layers_have_names_of_the_form_descriptions_and_pens(written: tuple[Design, Path]) -> None:
    document_ = ezdxf.readfile(written[1])  # type: ignore[attr-defined]
    ours = [layer for layer in document_.layers if layer.dxf.name not in {"0", "Defpoints"}]
    assert len(ours) > 10
    for layer in ours:
        assert re.fullmatch(r"[A-Z]-[A-Z]{4}-[A-Z]{4}-[NE]", layer.dxf.name)
        assert layer.description
        assert layer.dxf.lineweight in {13, 18, 25, 35, 50, 70, 100}  # widths of ISO 128-2, from memory
    assert document_.layers.get("C-SSWR-SETB-N").dxf.linetype == f"PLAN-{Dash.LONG.value.upper()}"


def test_names_and_figures_are_plain_text_in_ascii(written: tuple[Design, Path]) -> None:
    design, path = written
    model = ezdxf.readfile(path).modelspace()  # type: ignore[attr-defined]
    said = [item.dxf.text for item in model.query("TEXT")]
    assert any(text.startswith("R1") for text in said)
    assert len(model.query("MTEXT")) == 0
    assert (path.read_bytes()).isascii()
    assert design.site.title


def test_extents_hold_the_field(written: tuple[Design, Path]) -> None:
    design, path = written
    document_ = ezdxf.readfile(path)  # type: ignore[attr-defined]
    low, high = document_.header["$EXTMIN"], document_.header["$EXTMAX"]
    outline = np.asarray(document(design)["bed"]["outline"])
    assert np.all(outline >= np.asarray(low[:2]) - 1e-6)
    assert np.all(outline <= np.asarray(high[:2]) + 1e-6)


def test_every_sheet_is_a_layout_and_the_title_stands_on_it(tmp_path: Path) -> None:
    drawing = draft(wide_field(140, length=900.0))
    # plans, tables and details: of each kind of sheet one at least, of plans several
    assert {sheet.name.split()[0] for sheet in drawing.sheets} == {"Plan", "Tables", "Details"}
    assert sum(sheet.name.startswith("Plan") for sheet in drawing.sheets) > 1
    write_dxf(drawing, tmp_path / "plan.dxf")
    document_ = ezdxf.readfile(tmp_path / "plan.dxf")  # type: ignore[attr-defined]
    names = [name for name in document_.layout_names_in_taborder() if name != "Model"]
    assert names == [sheet.name for sheet in drawing.sheets]
    for name in names:
        said = {item.dxf.text for item in document_.layout(name).query("TEXT")}
        assert any("Commons field" in text for text in said)


def test_lines_are_broken_under_lettering_on_a_layer_of_its_own(tmp_path: Path) -> None:
    write_dxf(draft(tree_field()), tmp_path / "plan.dxf")
    model = ezdxf.readfile(tmp_path / "plan.dxf").modelspace()  # type: ignore[attr-defined]
    order = [item.dxftype() for item in model]
    assert order.count("WIPEOUT") > 3
    assert {item.dxf.layer for item in model.query("WIPEOUT")} == {layers.MASK.name}
    # Masks lie over the lines and under the lettering.
    assert max(i for i, kind in enumerate(order) if kind == "WIPEOUT") < order.index("TEXT")
    assert max(i for i, kind in enumerate(order) if kind == "LWPOLYLINE") < order.index("WIPEOUT")


def test_the_layout_and_the_drawing_agree_after_a_round_through_json(tmp_path: Path) -> None:
    design = tree_field()
    write_dxf(draft(design), tmp_path / "plan.dxf")
    stated = json.loads(json.dumps(document(design)))
    found = read_by_layer(tmp_path / "plan.dxf")["C-SSWR-DRIP-N"]
    lengths = sorted(shapely.length(found).tolist())
    # This bed is straight, so its lines are drawn to the last digit.
    assert lengths == pytest.approx(sorted(run["length"] for run in stated["runs"]), rel=1e-9)
