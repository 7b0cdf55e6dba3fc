"""Drawings: loose lines are joined to the outline they draw; and which of several shapes is meant."""

from __future__ import annotations

import itertools
import math
import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from layout.units import FOOT
from tests.drawn import BED, TRACK, area_of, drawing, exploded, fault_of, lot, read

# --- joining --------------------------------------------------------------------------------------------


def sides(*ends: tuple[tuple[float, float], tuple[float, float]]) -> Any:
    doc = drawing()
    for start, end in ends:
        doc.modelspace().add_line(start, end, dxfattribs=BED)
    return doc


def test_ends_that_nearly_meet(tmp_path: Path) -> None:
    doc = sides(((0, 0), (100, 0)), ((100.02, 0), (100, 20)), ((0, 20), (100, 20)), ((0, 20), (0, 0.001)))
    table = read(tmp_path, doc)
    assert area_of(table) == pytest.approx(2000, rel=1e-3)
    assert table.notes == (
        "lot.dxf: ends that lie up to 0.020 ft apart were joined, at (100.01, 0.00) and maybe elsewhere",
    )


def test_a_gap_that_is_left(tmp_path: Path) -> None:
    doc = drawing()
    doc.modelspace().add_lwpolyline([(0, 0), (100, 0), (100, 20), (0, 20), (0, 0.3)], dxfattribs=BED)
    table = read(tmp_path, doc)
    assert area_of(table) == pytest.approx(2000)
    assert table.notes == ("lot.dxf: the outline was open by 0.30 ft at (0.00, 0.30) and is closed there",)
    doc = drawing()
    doc.modelspace().add_lwpolyline([(0, 0), (100, 0), (100, 20), (0, 20), (0, 5)], dxfattribs=BED)
    assert fault_of(tmp_path, doc, "BED") == (
        "lot.dxf: layer BED: there is no closed outline on it; the longest line on it (LWPOLYLINE 2F) is open by "
        "5.00 ft, from (0.00, 5.00) to (0.00, 0.00). Close the outline in the drawing, or name another layer. It "
        "has: BED: 1 open line (235 ft)."
    )


def test_lines_that_overshoot_their_corners(tmp_path: Path) -> None:
    doc = sides(((-1, 0), (11, 0)), ((10, -1), (10, 11)), ((11, 10), (-1, 10)), ((0, 11), (0, -1)))
    table = read(tmp_path, doc)
    assert area_of(table) == pytest.approx(100)
    assert "the area between lines that cross or branch" in table.notes[0]


def test_a_line_that_branches_off_the_outline(tmp_path: Path) -> None:
    doc = sides(
        ((0, 0), (50, 0)), ((50, 0), (50, 30)), ((50, 30), (0, 30)), ((0, 30), (0, 0)), ((50, 30), (80, 40))
    )
    assert area_of(read(tmp_path, doc, "BED")) == pytest.approx(1500)


def test_an_outline_on_two_layers(tmp_path: Path) -> None:
    doc = sides(((0, 0), (50, 0)))
    doc.modelspace().add_lwpolyline([(50, 0), (50, 30), (0, 30), (0, 0)], dxfattribs={"layer": "OTHER"})
    assert area_of(read(tmp_path, doc)) == pytest.approx(1500)


def test_short_pieces_are_not_lost(tmp_path: Path) -> None:
    """A circle of 6 mm long lines."""
    angles = np.linspace(0, math.tau, 2000)
    points = [(6 * math.cos(angle), 6 * math.sin(angle)) for angle in angles]
    table = read(tmp_path, sides(*itertools.pairwise(points)))
    assert area_of(table) == pytest.approx(36 * math.pi, rel=1e-4)


def test_the_order_of_entities_does_not_matter(tmp_path: Path) -> None:
    outlines = []
    for seed in range(4):
        doc = drawing()
        parts = exploded(TRACK)
        first, *rest = parts
        random.Random(seed).shuffle(rest)
        for part in (first, *rest):
            doc.modelspace().add_entity(part)
        outlines.append(read(tmp_path, doc).xy)
    assert all(np.allclose(outline, outlines[0], atol=1e-9) for outline in outlines)


# --- which one is meant ---------------------------------------------------------------------------------


def test_several_outlines_are_listed(tmp_path: Path) -> None:
    assert fault_of(tmp_path, lot()) == (
        "lot.dxf: all layers: there are 3 closed outlines; one is wanted. The drawing has BED: 2 closed outlines "
        "(2,000 ft², 13 ft²); Tree Ø: 1 closed outline (13 ft²); LOT: 1 open line (100 ft). "
        'Name a layer: "lot.dxf#LAYER".'
    )
    said = fault_of(tmp_path, lot(), "BED")
    assert said.startswith(
        "lot.dxf: layer BED: there are 2 closed outlines on it; one is wanted: LWPOLYLINE 2F of 2,000 ft² at "
    )
    assert 'Name one by its handle, "lot.dxf#BED/2F"' in said


def test_a_layer_and_a_handle(tmp_path: Path) -> None:
    assert area_of(read(tmp_path, lot(), "bed/2f")) == pytest.approx(2000)
    assert area_of(read(tmp_path, lot(), "tree Ø", "shape")) == pytest.approx(4 * math.pi, rel=1e-4)
    assert area_of(read(tmp_path, lot(), "BED/30", "shape")) == pytest.approx(4 * math.pi, rel=1e-3)
    assert "no entity with the handle FFF" in fault_of(tmp_path, lot(), "BED/FFF")
    assert fault_of(tmp_path, lot(), "BEDS").startswith(
        "lot.dxf: there is no layer BEDS in it. Is it BED? It has: BED: "
    )


def test_of_a_feature_the_outermost_shape_is_meant(tmp_path: Path) -> None:
    doc = lot()
    assert area_of(read(tmp_path, doc, "BED", "shape")) == pytest.approx(2000)
    doc.modelspace().add_line((300, 0), (310, 0), dxfattribs=BED)
    table = read(tmp_path, doc, "BED", "shape")
    assert area_of(table) == pytest.approx(2000)
    assert table.notes[-1].startswith(
        "lot.dxf#BED: only the closed outline LWPOLYLINE 2F is read; 1 other shape left out: LINE"
    )


def test_a_figure_of_eight_holds_no_other_outline(tmp_path: Path) -> None:
    """Of a shape that crosses itself nobody can say what lies within."""
    doc = drawing()
    doc.modelspace().add_lwpolyline([(0, 0), (60, 40), (60, 0), (0, 10)], close=True, dxfattribs=BED)
    doc.modelspace().add_circle((10, 20), 2, dxfattribs=BED)
    assert "there are 2" in fault_of(tmp_path, doc, "BED", "shape")


def test_a_closed_outline_alone_serves_as_a_guide(tmp_path: Path) -> None:
    doc = drawing()
    doc.modelspace().add_circle((10, 20), 5, dxfattribs=BED)
    table = read(tmp_path, doc, "BED", "guide")
    assert table.xy[0] == table.xy[-1]
    assert area_of(table) == pytest.approx(25 * math.pi, rel=1e-3)
    doc.modelspace().add_circle((40, 20), 5, dxfattribs=BED)
    assert "there are 2 lines on it; one is wanted" in fault_of(tmp_path, doc, "BED", "guide")


def test_what_is_drawn_three_times_counts_once(tmp_path: Path) -> None:
    doc = drawing()
    for _ in range(3):
        doc.modelspace().add_circle((10, 20), 5, dxfattribs=BED)
        doc.modelspace().add_line((0, 0), (40, 0), dxfattribs={"layer": "LOT"})
    assert area_of(read(tmp_path, doc, "BED")) == pytest.approx(25 * math.pi, rel=1e-3)
    assert read(tmp_path, doc, "LOT", "guide").xy == ((0, 0), (40, 0))


def test_lines_two_hundredths_of_a_metre_apart_are_two(tmp_path: Path) -> None:
    """Nearly, but not, the same line drawn twice: 10 mm would be."""
    doc = drawing()
    for side in (0.0, 0.02 / FOOT):
        doc.modelspace().add_line((0, side), (40, side), dxfattribs={"layer": "LOT"})
    assert "there are 2 lines on it" in fault_of(tmp_path, doc, "LOT", "guide")


def test_lines_and_points_of_features(tmp_path: Path) -> None:
    doc = lot()
    doc.modelspace().add_point((7, 8), dxfattribs={"layer": "WELL"})
    assert read(tmp_path, doc, "LOT", "shape").xy == ((0, 50), (100, 50))
    assert read(tmp_path, doc, "LOT", "guide").xy == ((0, 50), (100, 50))
    assert read(tmp_path, doc, "WELL", "shape").xy == ((7, 8),)
    assert "there is no line on it" in fault_of(tmp_path, doc, "WELL", "guide")


def test_layers_that_are_off_are_not_looked_at(tmp_path: Path) -> None:
    doc = lot()
    doc.modelspace().add_circle((0, 0), 40, dxfattribs={"layer": "OLD"})
    doc.layers.add("OLD").off()
    doc.layers.add("BED").freeze()
    assert area_of(read(tmp_path, doc)) == pytest.approx(4 * math.pi, rel=1e-4)
    assert area_of(read(tmp_path, doc, "OLD")) == pytest.approx(1600 * math.pi, rel=1e-4)


def test_what_stands_on_sheets_only_is_not_looked_at(tmp_path: Path) -> None:
    doc = lot()
    doc.paperspace().add_lwpolyline(
        [(0, 0), (17, 0), (17, 11), (0, 11)], close=True, dxfattribs={"layer": "SHEET"}
    )
    assert "there is no layer SHEET" not in fault_of(tmp_path, doc)
    assert "SHEET" not in fault_of(tmp_path, doc)


def test_an_empty_model(tmp_path: Path) -> None:
    said = fault_of(tmp_path, drawing())
    assert said.startswith("lot.dxf: all layers: there is no closed outline. The drawing has ")
