"""Damaged drawings: what can be mended is, and said so; else a fault with file, entity or line, and remedy; never a
traceback, and never a drawing that has lost entities in silence."""

from __future__ import annotations

import io
import math
import random
import time
from collections import Counter
from pathlib import Path
from typing import Any

import ezdxf  # noqa: TID253 - a test may start slowly
import pytest
from shapely import Polygon

from layout.errors import LayoutError
from layout.readers.cad.pick import Drawings
from layout.readers.points import PointTable, Role
from layout.units import UNIT_SETS

ROLES: tuple[tuple[str, Role], ...] = (
    ("BED", "outline"),
    ("", "outline"),
    ("HOUSE", "shape"),
    ("WELL", "shape"),
    ("LINE", "guide"),
    ("SPOT", "levels"),
)


def drawing(version: str) -> Any:
    """A small lot with every kind of entity that is read."""
    doc = ezdxf.new(version, units=2)
    model = doc.modelspace()
    block = doc.blocks.new("HEAD")
    block.add_circle((0, 0), 1)
    bed = {"layer": "BED"}
    model.add_line((0, 0), (60, 0), dxfattribs=bed)
    model.add_arc((60, 10), 10, 270, 90, dxfattribs=bed)
    model.add_line((60, 20), (0, 20), dxfattribs=bed)
    model.add_arc((0, 10), 10, 90, 270, dxfattribs=bed)
    house = [(0, 40, 0), (20, 40, 0.2), (20, 60, 0), (0, 60, 0)]
    if version == "R12":
        model.add_polyline2d(house, format="xyb", close=True, dxfattribs={"layer": "HOUSE"})
        model.add_polyline3d([(0, 10, 3), (50, 11, 3)], dxfattribs={"layer": "LINE"})
    else:
        model.add_lwpolyline(house, format="xyb", close=True, dxfattribs={"layer": "HOUSE"})
        model.add_spline([(0, 10), (30, 12), (60, 10)], dxfattribs={"layer": "LINE"})
        model.add_ellipse((90, 90), (5, 0), 0.5, dxfattribs={"layer": "POND"})
    model.add_blockref("HEAD", (100, 10), dxfattribs={"layer": "WELL"})
    for x, y, z in ((0, 0, 96.0), (60, 0, 97.0), (30, 20, 98.5)):
        model.add_point((x, y, z), dxfattribs={"layer": "SPOT"})
    model.add_text("bed", dxfattribs={"layer": "NOTES"})
    return doc


def written(doc: Any) -> str:
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue()


TEXTS = {version: written(drawing(version)) for version in ("R12", "R2000")}


def read(path: Path, layer: str = "BED", role: Role = "outline") -> PointTable:
    return Drawings(UNIT_SETS["ft"]).table(path, layer, role)


def fault_of(folder: Path, data: str | bytes, layer: str = "BED") -> str:
    path = folder / "lot.dxf"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    with pytest.raises(LayoutError) as caught:
        read(path, layer)
    return "\n".join(str(fault) for fault in caught.value.faults).replace(str(folder) + "/", "")


# --- single damages -------------------------------------------------------------------------------------


@pytest.mark.parametrize("version", list(TEXTS))
def test_sound_as_written(tmp_path: Path, version: str) -> None:
    (tmp_path / "lot.dxf").write_text(TEXTS[version])
    for layer, role in ROLES:
        if (layer, role) != ("", "outline"):
            notes = read(tmp_path / "lot.dxf", layer, role).notes
            assert [note for note in notes if "states no units" not in note] == []


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "lot.dxf: the file is empty. Save it as DXF from the CAD program."),
        (b" \n\r\n", "lot.dxf: the file is empty."),
        (b"AC1027\0\0\0", "a CAD program's own format"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" * 9, "this is no drawing in the exchange format (DXF)"),
        (
            b"<!DOCTYPE html><html><body>Not found</body></html>",
            "this is no drawing in the exchange format (DXF)",
        ),
        (b"x,y\n1,2\n3,4\n", "this is no drawing in the exchange format (DXF)"),
        (TEXTS["R12"].encode("utf-16"), "this is no drawing in the exchange format (DXF)"),
        (b"AutoCAD Binary DXF\r\n\x1a\0" + bytes(range(200)), "this binary drawing is damaged"),
    ],
    ids=["empty", "blank", "native", "picture", "page", "csv", "utf-16", "binary"],
)
def test_what_is_no_drawing(tmp_path: Path, data: bytes, expected: str) -> None:
    said = fault_of(tmp_path, data)
    assert expected in said
    assert "\n" not in said


def test_a_folder_and_no_file(tmp_path: Path) -> None:
    with pytest.raises(LayoutError, match="this is a folder"):
        read(tmp_path)
    with pytest.raises(LayoutError, match="there is no such file"):
        read(tmp_path / "none.dxf")


@pytest.mark.parametrize("share", [0.5, 0.7, 0.8, 0.9])
@pytest.mark.parametrize("version", list(TEXTS))
def test_cut_off_in_the_middle_is_refused(tmp_path: Path, version: str, share: float) -> None:
    """The recovery of the CAD library calls such a drawing sound, and empty."""
    text = TEXTS[version]
    first, last = text.index("\nENTITIES\n"), text.index("ENDSEC", text.index("\nENTITIES\n"))
    cut = text[: first + int(share * (last - first))]
    said = fault_of(tmp_path, cut)
    assert f"lot.dxf: line {cut.count(chr(10)) + 1}: the drawing breaks off here" in said
    assert "Open it in a CAD program" in said


def test_only_the_end_mark_is_missing(tmp_path: Path) -> None:
    """All entities are there, and that is said."""
    text = TEXTS["R2000"]
    (tmp_path / "lot.dxf").write_text(text[: text.rindex("  0\nEOF")])
    table = read(tmp_path / "lot.dxf")
    assert Polygon(table.xy).area == pytest.approx(1200 + math.pi * 100, rel=1e-4)
    (note,) = table.notes
    assert note.startswith("lot.dxf is damaged (")
    assert "it was repaired while reading, and all 13 of its entities are there" in note


def test_letters_for_a_number_are_found_by_line(tmp_path: Path) -> None:
    rows = TEXTS["R2000"].split("\n")
    line = next(index for index, row in enumerate(rows) if row.strip() == "60.0")
    rows[line] = "sixty"
    assert f'lot.dxf: line {line + 1}: "sixty" is no number' in fault_of(tmp_path, "\n".join(rows))


def test_decimal_commas_are_refused(tmp_path: Path) -> None:
    """The recovery would read 20,5 as 20."""
    head, entities = TEXTS["R2000"].split("\nENTITIES\n")
    said = fault_of(tmp_path, head + "\nENTITIES\n" + entities.replace(".0\n", ",0\n"))
    assert ',0" is no number' in said


def test_an_inserted_line_is_found(tmp_path: Path) -> None:
    rows = TEXTS["R2000"].split("\n")
    line = rows.index("ENTITIES") + 9
    said = fault_of(tmp_path, "\n".join([*rows[:line], "stray", *rows[line:]]))
    assert said.startswith("lot.dxf: line ")
    assert "a code must stand here" in said


@pytest.mark.parametrize(
    ("value", "expected"), [("nan", "no number"), ("inf", "no number"), ("1e300", "beyond")]
)
def test_numbers_that_no_coordinate_has(tmp_path: Path, value: str, expected: str) -> None:
    said = fault_of(tmp_path, TEXTS["R2000"].replace("\n60.0\n", f"\n{value}\n"))
    assert "lot.dxf: LINE " in said
    assert expected in said
    assert "Delete or redraw it" in said


def test_what_is_wrong_on_another_layer_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "lot.dxf"
    path.write_text(TEXTS["R2000"].replace("\n98.5\n", "\nnan\n"))
    assert len(read(path).xy) > 100
    assert "POINT" in fault_of(tmp_path, path.read_text(), "SPOT")


# --- too much -------------------------------------------------------------------------------------------


def test_blocks_that_stand_in_blocks_without_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten in each of ten in each of ten ...; and a block in itself shows what else is in it."""
    doc = ezdxf.new("R2000", units=2)
    for level in range(9):
        block = doc.blocks.new(f"B{level}")
        for place in range(10 if level else 0):
            block.add_blockref(f"B{level - 1}", (place, 0))
    doc.modelspace().add_blockref("B8", (0, 0))
    block = doc.blocks.new("SELF")
    block.add_blockref("SELF", (1, 1))
    block.add_circle((0, 0), 4)
    doc.modelspace().add_blockref("SELF", (0, 0), dxfattribs={"layer": "BED"})
    doc.saveas(tmp_path / "lot.dxf")
    assert Polygon(read(tmp_path / "lot.dxf").xy).area == pytest.approx(16 * math.pi, rel=1e-4)
    doc.blocks.get("B0").add_line((0, 0), (1, 1))
    rows = doc.modelspace().add_blockref("B0", (0, 0))
    rows.dxf.row_count = rows.dxf.column_count = 30_000
    rows.dxf.row_spacing = rows.dxf.column_spacing = 1
    doc.saveas(tmp_path / "lot.dxf")
    monkeypatch.setattr("layout.readers.cad.blocks.MOST_IN_BLOCKS", 3000)
    with pytest.raises(LayoutError, match="its blocks, taken apart, come to more than 3,000 entities"):
        read(tmp_path / "lot.dxf", "0")


def test_curves_as_large_as_can_be(tmp_path: Path) -> None:
    """What would come to millions of points is flattened more coarsely."""
    doc = ezdxf.new("R2000", units=2)
    doc.modelspace().add_circle((0, 0), 9e8)
    doc.modelspace().add_lwpolyline(
        [(0, 0, 1e9), (1e-9, 0, -1e9)], format="xyb", close=True, dxfattribs={"layer": "B"}
    )
    doc.modelspace().add_spline([(0, 0), (8e8, 0), (8e8, 8e8), (0, 8e8), (0, 0)], dxfattribs={"layer": "C"})
    doc.saveas(tmp_path / "lot.dxf")
    begun = time.process_time()
    for layer in ("0", "B", "C"):
        assert len(read(tmp_path / "lot.dxf", layer).xy) < 100_000
    assert time.process_time() - begun < 5


# --- fuzz -----------------------------------------------------------------------------------------------


def _flip(data: bytes, chance: random.Random) -> bytes:
    damaged = bytearray(data)
    for _ in range(chance.choice((1, 3, 30))):
        damaged[chance.randrange(len(damaged))] = chance.randrange(256)
    return bytes(damaged)


def _cut(data: bytes, chance: random.Random) -> bytes:
    return data[: chance.randrange(len(data))]


def _hole(data: bytes, chance: random.Random) -> bytes:
    start = chance.randrange(len(data))
    return data[:start] + data[start + chance.randrange(2000) :]


def _swap(data: bytes, chance: random.Random) -> bytes:
    rows = data.split(b"\n")
    for _ in range(chance.choice((1, 2, 20))):
        first, second = chance.randrange(len(rows)), chance.randrange(len(rows))
        rows[first], rows[second] = rows[second], rows[first]
    return b"\n".join(rows)


def _values(data: bytes, chance: random.Random) -> bytes:
    """Other values for codes of the entities."""
    rows = data.split(b"\n")
    start = rows.index(b"BLOCKS")
    odd = [
        b"nan",
        b"-inf",
        b"1e308",
        b"-1e300",
        b"1e-308",
        b"",
        b"999999999999999999999",
        b"-1",
        b"0",
        b"x",
        b"\xff",
    ]
    for _ in range(chance.choice((1, 2, 10))):
        rows[chance.randrange(start, len(rows))] = chance.choice(odd)
    return b"\n".join(rows)


def _numbers(data: bytes, chance: random.Random) -> bytes:
    """Other numbers where numbers stand, so that the drawing still parses."""
    rows = data.split(b"\n")
    places = [place for place, row in enumerate(rows) if b"." in row and place > rows.index(b"BLOCKS")]
    for place in chance.sample(places, min(len(places), chance.choice((1, 3, 15)))):
        rows[place] = chance.choice([b"nan", b"inf", b"1e308", b"-1e18", b"1e9", b"1e-300", b"-0.0", b"7e5"])
    return b"\n".join(rows)


def _mix(data: bytes, chance: random.Random) -> bytes:
    return _cut(data, chance) + bytes(chance.randrange(256) for _ in range(chance.randrange(300)))


DAMAGES = (_flip, _cut, _hole, _swap, _values, _numbers, _mix)


def test_two_hundred_damaged_drawings(tmp_path: Path) -> None:
    chance = random.Random(5)
    path = tmp_path / "lot.dxf"
    tally: Counter[str] = Counter()
    for number in range(210):
        damage = DAMAGES[number % len(DAMAGES)]
        data = damage(TEXTS[("R12", "R2000")[number % 2]].encode(), chance)
        path.write_bytes(data)
        layer, role = chance.choice(ROLES)
        begun = time.process_time()
        try:
            table = read(path, layer, role)
        except LayoutError as error:
            tally["refused"] += 1
            for fault in error.faults:
                assert fault.file == str(path), number
                named = ("DXF", "the file is empty", "there is no layer")
                assert fault.field or any(word in fault.said for word in named), (number, fault.said)
                assert fault.remedy.endswith((".", "?")), number
                assert fault.said.isprintable(), number
                assert "Error" not in fault.said, (number, fault.said)
        else:
            tally["read"] += 1
            assert table.xy, number
            assert all(math.isfinite(value) and abs(value) < 1e10 for point in table.xy for value in point), (
                number
            )
            assert all(value is not None and math.isfinite(value) for value in table.z), number
        assert time.process_time() - begun < 10, number
    assert tally["refused"] > 60
    assert tally["read"] > 30
