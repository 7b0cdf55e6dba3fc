"""Drawings of more than can be read, and entities that are no shapes: refused or told, never lost in silence."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from tests.drawn import BED, drawing, fault_of, read


def square(model: object, size: float = 40.0, **attribs: object) -> None:
    corners = [(0, 0), (size, 0), (size, size), (0, size)]
    model.add_lwpolyline(corners, close=True, dxfattribs={**BED, **attribs})  # type: ignore[attr-defined]


def test_more_entities_than_can_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layout.readers.cad.blocks.MOST_ENTITIES", 3)
    doc = drawing()
    for place in range(4):
        doc.modelspace().add_point((place, 0))
    assert "it holds 4 entities; 3 can be read" in fault_of(tmp_path, doc)


def test_curves_of_more_points_than_can_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layout.readers.cad.pieces.MOST_VERTICES", 50)
    doc = drawing()
    square(doc.modelspace())
    doc.modelspace().add_circle((0, 0), 900, dxfattribs=BED)
    assert "its curves come to more than 50 points" in fault_of(tmp_path, doc, "BED")


def test_an_outline_of_more_points_than_can_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layout.readers.cad.pick.MOST_POINTS", 3)
    doc = drawing()
    square(doc.modelspace())
    assert "the outline comes to 5 points. Simplify it in the drawing" in fault_of(tmp_path, doc, "BED")


def test_levels_of_more_points_than_can_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layout.readers.cad.levels.MOST_POINTS", 3)
    doc = drawing()
    for place in range(4):
        doc.modelspace().add_point((place, place % 2, 9 + place), dxfattribs={"layer": "SPOT"})
    assert "it comes to 4 levels; 3 can be read" in fault_of(tmp_path, doc, "SPOT", "levels")


def test_more_loose_pieces_than_are_joined(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    doc = drawing()
    corners = [(0, 0), (40, 0), (40, 40), (0, 40), (0, 0)]
    for start, end in itertools.pairwise(corners):
        doc.modelspace().add_line(start, end, dxfattribs=BED)
    assert len(read(tmp_path, doc, "BED").xy) >= 4
    monkeypatch.setattr("layout.readers.cad.chains.MOST_LOOSE", 3)
    assert "It has: BED: 4 open lines (160 ft)" in fault_of(tmp_path, doc, "BED")


def test_a_mesh_is_no_outline(tmp_path: Path) -> None:
    doc = drawing()
    doc.modelspace().add_polymesh((3, 3), dxfattribs=BED)
    assert "there is no closed outline on it; it holds 1 mesh." in fault_of(tmp_path, doc, "BED")


def test_what_is_invisible_in_a_block_is_not_read(tmp_path: Path) -> None:
    doc = drawing()
    block = doc.blocks.new("B")
    square(block)
    square(block, 90.0, invisible=1)
    doc.modelspace().add_blockref("B", (0, 0), dxfattribs=BED)
    assert max(x for x, _ in read(tmp_path, doc, "BED").xy) == pytest.approx(40.0)


def test_units_of_the_header_that_nobody_knows(tmp_path: Path) -> None:
    doc = drawing()
    square(doc.modelspace())
    doc.header["$INSUNITS"] = 99
    (note,) = read(tmp_path, doc, "BED").notes
    assert note.startswith("lot.dxf states units of the code 99, which no site is measured in; it is read as")
