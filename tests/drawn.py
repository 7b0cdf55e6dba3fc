"""Drawings made by the CAD library for tests of the readers, and what a layer of them is read as."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import ezdxf  # noqa: TID253 - a test may start slowly
import pytest
from shapely import Polygon

from layout.errors import ReadError
from layout.readers.cad.pick import Drawings
from layout.readers.points import PointTable, Role
from layout.units import UNIT_SETS

BED = {"layer": "BED"}
TRACK = [(0, 0, 0), (100, 0, 1), (100, 20, 0), (0, 20, 1)]
"""Two straights of 100, two half circles of radius 10."""
TRACK_AREA = 2000 + 100 * math.pi


def drawing(units: int = 2, version: str = "R2010") -> Any:
    return ezdxf.new(version, units=units)


def read(
    folder: Path,
    doc: Any,
    layer: str = "",
    role: Role = "outline",
    units: str = "ft",
    stated: str | None = None,
) -> PointTable:
    doc.saveas(folder / "lot.dxf")
    return Drawings(UNIT_SETS[units], stated).table(folder / "lot.dxf", layer, role)


def fault_of(folder: Path, doc: Any, layer: str = "", role: Role = "outline") -> str:
    with pytest.raises(ReadError) as caught:
        read(folder, doc, layer, role)
    return str(caught.value).replace(str(folder) + "/", "")


def area_of(table: PointTable) -> float:
    polygon = Polygon(table.xy)
    assert polygon.is_valid
    return float(polygon.area)


def exploded(corners: Sequence[tuple[float, float, float]]) -> list[Any]:
    """A bulged polyline as loose lines and arcs."""
    model = drawing().modelspace()
    parts = list(model.add_lwpolyline(corners, format="xyb", close=True, dxfattribs=BED).virtual_entities())
    for part in parts:
        part.dxf.layer = "BED"
    return parts


def lot() -> Any:
    doc = drawing()
    model = doc.modelspace()
    model.add_lwpolyline([(0, 0), (100, 0), (100, 20), (0, 20)], close=True, dxfattribs=BED)
    model.add_circle((60, 10), 2, dxfattribs=BED)
    model.add_circle((30, 10), 2, dxfattribs={"layer": "Tree Ø"})
    model.add_line((0, 50), (100, 50), dxfattribs={"layer": "LOT"})
    return doc
