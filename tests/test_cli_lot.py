"""``sinuate new --from``: a site begun from a drawing, its layers guessed, nothing stated that only the user can."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import ezdxf  # noqa: TID253 - a test may start slowly
import pytest

from cli.lot import site_text
from layout.model import FeatureKind
from layout.readers.cad.inventory import inventory_of, part_of
from layout.readers.sitefile import read_site
from layout.units import FOOT
from tests.command import Command


def lot(units: int = 2) -> Any:
    """An invented lot: a bed of loose lines, what stands about it, levels, and things of the sheet."""
    doc = ezdxf.new("R2010", units=units)
    model = doc.modelspace()

    def on(layer: str) -> dict[str, str]:
        return {"layer": layer}

    for start, end in (((0, 0), (100, 0)), ((100, 0), (100, 20)), ((100, 20), (0, 20)), ((0, 20), (0, 0))):
        model.add_line(start, end, dxfattribs=on("V-DRIP-BED"))
    model.add_lwpolyline([(20, 60), (80, 60), (80, 90), (20, 90)], close=True, dxfattribs=on("DWELLING"))
    model.add_lwpolyline(
        [(-20, -20), (150, -20), (150, 140), (-20, 140)], close=True, dxfattribs=on("LOT LINE")
    )
    symbol = doc.blocks.new("WELL-SYM")
    symbol.add_circle((0, 0), 3)
    symbol.add_line((-4, 0), (4, 0))
    model.add_blockref("WELL-SYM", (140, 130), dxfattribs=on("WELL"))
    doc.blocks.new("OAK").add_circle((0, 0), 1)
    for x, y in ((60, 10), (110, 50)):
        model.add_blockref("OAK", (x, y), dxfattribs=on("Trees"))
    for x in (90, 100):
        model.add_lwpolyline(
            [(x, 40), (x + 6, 40), (x + 6, 45), (x, 45)], close=True, dxfattribs=on("SEPTIC_TANKS")
        )
    model.add_point((120, 30), dxfattribs=on("PUMP"))
    for x in range(-10, 131, 20):
        for y in (-10, 10, 30):
            model.add_point((x, y, 95 + x / 100 + y / 25), dxfattribs=on("TOPO-SPOT"))
    for x in (20, 80):
        model.add_point((x, 60), dxfattribs=on("CONTROL"))
    model.add_line((0, -5), (100, -5), dxfattribs=on("X-17"))
    model.add_lwpolyline([(10, 50), (90, 50), (90, 100), (10, 100)], close=True, dxfattribs=on("SETBACK"))
    model.add_text("LOT 4", dxfattribs=on("C-ANNO"))
    return doc


@pytest.mark.parametrize(
    ("layer", "part"),
    [
        ("WELL", FeatureKind.WELL),
        ("DWELLING", FeatureKind.BUILDING),
        ("C-BLDG-EXST", FeatureKind.BUILDING),
        ("SepticTank", FeatureKind.TANK),
        ("WATER LINE", FeatureKind.WATER_LINE),
        ("C-WATR-PIPE", FeatureKind.WATER_LINE),
        ("V-PROP-LINE", FeatureKind.PROPERTY_LINE),
        ("Lot", FeatureKind.PROPERTY_LINE),
        ("wetland", FeatureKind.WATER_BODY),
        ("OAK_TREES", FeatureKind.TREE),
        ("Driveway", FeatureKind.DRIVE),
        ("TOP OF SLOPE", FeatureKind.SLOPE),
        ("BED1", "bed"),
        ("drain field", "bed"),
        ("CONTOURS", "levels"),
        ("BUILDING SETBACK", "drafting"),
        ("WELL-TEXT", "drafting"),
        ("0", None),
        ("EMBEDDED", None),
        ("FARWELL", None),
        ("PLOT", None),
    ],
)
def test_what_names_say(layer: str, part: object) -> None:
    assert part_of(layer) == part


def test_a_site_from_a_drawing(sinuate: Command, tmp_path: Path) -> None:
    lot().saveas(tmp_path / "Lot 4.dxf")
    done = sinuate("new", tmp_path / "site", "--from", tmp_path / "Lot 4.dxf")
    assert done.code == 0
    assert done.err == ""
    for layer, taken, holds in (
        ("V-DRIP-BED", "bed", "1 closed outline (2,000 ft²)"),
        ("WELL", "well", "1 closed outline (28 ft²), 1 open line (8 ft), 1 × block WELL-SYM"),
        ("Trees", "tree", "2 closed outlines (3 ft², 3 ft²), 2 × block OAK"),
        ("TOPO-SPOT", "bed.levels", "24 points (24 with a level)"),
        ("X-17", r"\?", "1 open line (100 ft)"),
        ("C-ANNO", "left out", "1 text"),
    ):
        assert re.search(rf"^ +{layer} +{taken} +{re.escape(holds)}$", done.out, re.MULTILINE), layer
    assert sorted(path.name for path in (tmp_path / "site").iterdir()) == ["Lot 4.dxf", "site.toml"]
    assert (tmp_path / "site" / "Lot 4.dxf").read_bytes() == (tmp_path / "Lot 4.dxf").read_bytes()
    text = (tmp_path / "site" / "site.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text)
    assert raw["title"] == "Lot 4"
    assert raw["bed"] == {"outline": "Lot 4.dxf#V-DRIP-BED", "levels": "Lot 4.dxf#TOPO-SPOT"}
    assert raw["pump"] == {"at": [120.0, 30.0]}
    assert raw["stakeout"] == {"ties": [[20.0, 60.0], [80.0, 60.0]]}
    assert [(feature["name"], feature["kind"]) for feature in raw["feature"]] == [
        ("DWELLING", "building"),
        ("LOT LINE", "property line"),
        ("WELL", "well"),
        ("Trees 1", "tree"),
        ("Trees 2", "tree"),
        ("SEPTIC_TANKS 1", "tank"),
        ("SEPTIC_TANKS 2", "tank"),
    ]
    assert [feature.get("inside", False) for feature in raw["feature"]] == [
        False,
        False,
        False,
        True,
        False,
        False,
        False,
    ]
    assert raw["feature"][2]["shape"] == [[140.0, 130.0]]
    assert '# shape = "Lot 4.dxf#X-17"' in text


def test_nothing_is_stated_that_only_the_user_can(sinuate: Command, tmp_path: Path) -> None:
    """No setback is invented, and check asks for each; with them stated the site is sound."""
    lot().saveas(tmp_path / "lot.dxf")
    sinuate("new", tmp_path / "site", "--from", tmp_path / "lot.dxf")
    file = tmp_path / "site" / "site.toml"
    text = file.read_text(encoding="utf-8")
    assert not re.search(r"^#? ?setback *= *\d", text, re.MULTILINE)
    asked = sinuate("check", file)
    assert asked.code == 2
    assert asked.err.count("setback: it is missing") == 7
    for key in ("tubing.emitter_spacing", "tubing.emitter_flow", "runs.spacing"):
        assert f"{key}: it is missing" in asked.err
    assert len(asked.err.splitlines()) == 10
    text = re.sub(r"^# to be kept clear of.*?\n\n", "", text, flags=re.MULTILINE | re.DOTALL)
    keys = r"^# ((setback|emitter_spacing|emitter_flow|spacing) =) .*"
    file.write_text(re.sub(keys, r"\1 2.0", text, flags=re.MULTILINE), encoding="utf-8")
    site = read_site(file)
    assert site.bed.outline.area == pytest.approx(2000 * FOOT**2)
    assert [feature.shape.geom_type for feature in site.features] == [
        "Polygon",
        "LineString",
        "Point",
        "Point",
        "Point",
        "Polygon",
        "Polygon",
    ]
    assert any('"LOT LINE" runs round the bed: it is kept clear of as a line' in note for note in site.notes)
    assert sinuate("check", file).code == 0


def test_json(sinuate: Command, tmp_path: Path) -> None:
    lot().saveas(tmp_path / "lot.dxf")
    done = sinuate("new", tmp_path / "site", "--from", tmp_path / "lot.dxf", "--json")
    assert [Path(name).name for name in done.json["files"]] == ["site.toml", "lot.dxf"]
    assert done.json["units"] == "ft"
    assert {"layer": "PUMP", "taken_as": "pump", "holds": "1 point"} in done.json["layers"]


@pytest.mark.parametrize(("code", "word"), [(2, "ft"), (21, "us-ft"), (6, "m")])
def test_units_of_the_drawing(tmp_path: Path, code: int, word: str) -> None:
    lot(code).saveas(tmp_path / "lot.dxf")
    assert inventory_of(tmp_path / "lot.dxf").units == word


def test_units_have_to_be_stated_where_the_drawing_does_not(sinuate: Command, tmp_path: Path) -> None:
    lot(0).saveas(tmp_path / "lot.dxf")
    done = sinuate("new", tmp_path / "site", "--from", tmp_path / "lot.dxf")
    assert done.code == 2
    assert done.err.endswith(
        "lot.dxf: $INSUNITS: it states no units. Say what its coordinates are in: --units ft, --units us-ft or "
        "--units m.\n"
    )
    assert not (tmp_path / "site").exists()
    done = sinuate("new", tmp_path / "site", "--from", tmp_path / "lot.dxf", "--units", "us-ft")
    assert done.code == 0
    assert "it is read as US survey feet" in done.err
    assert 'units = "us-ft"\n' in (tmp_path / "site" / "site.toml").read_text()


def test_nothing_is_overwritten(sinuate: Command, tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    lot().saveas(tmp_path / "lot.dxf")
    (tmp_path / "site" / "lot.dxf").write_text("mine")
    done = sinuate("new", tmp_path / "site", "--from", tmp_path / "lot.dxf")
    assert done.code == 2
    assert "lot.dxf: the file is there already" in done.err
    assert [path.name for path in (tmp_path / "site").iterdir()] == ["lot.dxf"]
    assert (tmp_path / "site" / "lot.dxf").read_text() == "mine"


def test_a_drawing_that_is_in_the_folder_stays_there(sinuate: Command, tmp_path: Path) -> None:
    lot().saveas(tmp_path / "lot.dxf")
    before = (tmp_path / "lot.dxf").read_bytes()
    assert sinuate("new", tmp_path, "--from", tmp_path / "lot.dxf").code == 0
    assert (tmp_path / "lot.dxf").read_bytes() == before
    assert sinuate("new", tmp_path, "--from", tmp_path / "lot.dxf").code == 2


@pytest.mark.parametrize(
    ("name", "said"), [("lot.pdf", "this is no .dxf"), ("none.dxf", "there is no such file")]
)
def test_what_is_no_drawing(sinuate: Command, tmp_path: Path, name: str, said: str) -> None:
    (tmp_path / "lot.pdf").write_text("x")
    done = sinuate("new", tmp_path / "site", "--from", tmp_path / name)
    assert done.code == 2
    assert said in done.err
    assert not (tmp_path / "site").exists()


def test_several_beds_are_left_to_choose(tmp_path: Path) -> None:
    doc = lot()
    doc.modelspace().add_lwpolyline(
        [(0, 200), (50, 200), (50, 210)], close=True, dxfattribs={"layer": "BED 2"}
    )
    doc.saveas(tmp_path / "lot.dxf")
    text = site_text(inventory_of(tmp_path / "lot.dxf"), drawing="lot.dxf", stated=False)
    assert "# 2 outlines may be the bed: take the # away from the one that is" in text
    assert re.findall(r'^# outline = "(.*)" +# closed', text, re.MULTILINE) == [
        "lot.dxf#V-DRIP-BED",
        "lot.dxf#BED 2",
    ]
    assert "outline" not in tomllib.loads(text)["bed"]


def test_names_that_toml_has_to_quote(tmp_path: Path) -> None:
    doc = lot()
    doc.modelspace().add_circle((300, 300), 5, dxfattribs={"layer": "Shed ½ {x}'s"})
    doc.saveas(tmp_path / "lot.dxf")
    raw = tomllib.loads(site_text(inventory_of(tmp_path / "lot.dxf"), drawing="lot.dxf", stated=False))
    assert raw["feature"][-1]["shape"] == "lot.dxf#Shed ½ {x}'s"


def test_a_name_with_damaged_letters(sinuate: Command, tmp_path: Path) -> None:
    """A byte that no letter of the drawing's code page has."""
    doc = lot()
    doc.modelspace().add_circle((300, 300), 5, dxfattribs={"layer": "SHEDQ"})
    doc.saveas(tmp_path / "lot.dxf")
    data = (tmp_path / "lot.dxf").read_bytes()
    (tmp_path / "lot.dxf").write_bytes(data.replace(b"SHEDQ", b"SHED\x81"))
    done = sinuate("new", tmp_path / "site", "--from", tmp_path / "lot.dxf")
    assert done.code == 0
    assert "cannot be referred to: its name has damaged letters" in done.out
    assert tomllib.loads((tmp_path / "site" / "site.toml").read_text(encoding="utf-8"))["bed"]
    assert sinuate("new", tmp_path / "other", "--from", tmp_path / "lot.dxf", "--json").code == 0


def test_very_many_things_on_a_layer(tmp_path: Path) -> None:
    doc = lot()
    for number in range(60):
        doc.modelspace().add_blockref("OAK", (200 + number * 5, 0), dxfattribs={"layer": "Trees"})
    doc.saveas(tmp_path / "lot.dxf")
    text = site_text(inventory_of(tmp_path / "lot.dxf"), drawing="lot.dxf", stated=False)
    assert "# 22 more on layer Trees are not written out" in text
    assert len(tomllib.loads(text)["feature"]) == 5 + 40
