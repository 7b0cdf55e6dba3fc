"""Measured points of what was laid: what is refused, and what a drawing or a map of them holds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from layout.errors import FrameError, LayoutError, ReadError
from layout.model import Site
from layout.readers import measured
from layout.readers.measured import read_measured
from layout.readers.sitefile import read_site
from tests.drawn import drawing
from tests.test_cli_asbuilt import CRS, SITE, degrees

ORIGIN = np.array([13_000_000.0, 700_000.0])


@pytest.fixture
def site(tmp_path: Path) -> Site:
    path = tmp_path / "site.toml"
    path.write_text(SITE)
    return read_site(path)


def refused(site: Site, name: Path | str, **stated: Any) -> str:
    with pytest.raises(LayoutError) as caught:
        read_measured(str(name), site, **stated)
    return str(caught.value)


def as_map(path: Path, places: list[tuple[float, float]], kind: str, **properties: Any) -> Path:
    at = [list(pair) for pair in degrees([(x, y, "") for x, y in np.array(places) + ORIGIN])]
    shape = {"Point": at[0], "LineString": at, "Polygon": [[*at, at[0]]]}[kind]
    feature = {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": shape}}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    return path


def test_a_layer_that_is_none_and_a_layer_without_points(site: Site, tmp_path: Path) -> None:
    doc = drawing()
    doc.modelspace().add_text("north", dxfattribs={"layer": "NOTES"})
    doc.modelspace().add_line(tuple(ORIGIN + 1), tuple(ORIGIN + 9), dxfattribs={"layer": "LAID"})
    path = tmp_path / "laid.dxf"
    doc.saveas(path)
    said = refused(site, f"{path}#TUBES")
    assert "there is no layer TUBES in it. It has: NOTES: 1 text; LAID: 1 open line (11 ft)." in said
    said = refused(site, f"{path}#NOTES")
    assert "there are no points, blocks or lines in it on layer NOTES" in said
    shots, _ = read_measured(f"{path}#LAID", site)
    assert [(shot.line, shot.description) for shot in shots] == [(0, "LAID"), (0, "LAID")]


def test_an_area_of_a_map_is_walked_once(site: Site, tmp_path: Path) -> None:
    """Its first corner, which stands last again, is one point; the names of the feature are its description."""
    corners = [(1.0, 1.0), (50.0, 1.0), (50.0, 9.0)]
    path = as_map(tmp_path / "laid.geojson", corners, "Polygon", name="R1", code="tube")
    shots, _ = read_measured(str(path), site)
    assert len(shots) == 3
    assert {shot.line for shot in shots} == {0}
    assert {shot.description for shot in shots} == {"R1 tube"}


def test_of_a_map_a_feature_may_be_named(site: Site, tmp_path: Path) -> None:
    path = as_map(tmp_path / "laid.geojson", [(1.0, 1.0), (50.0, 1.0)], "LineString", name="R1")
    assert len(read_measured(f"{path}#r1", site)[0]) == 2
    assert 'no feature is named "R2"' in refused(site, f"{path}#R2")
    path.write_text('{"type": "FeatureCollection", "features": []}')
    assert "the file holds no shapes. Export the measured points" in refused(site, path)


def test_longitude_and_latitude_are_in_no_projected_system(site: Site, tmp_path: Path) -> None:
    path = as_map(tmp_path / "laid.geojson", [(1.0, 1.0)], "Point")
    with pytest.raises(ReadError, match=r"it is in longitude and latitude already.*Leave --crs out"):
        read_measured(str(path), site, crs=CRS)


def test_points_that_a_system_does_not_reach_are_named(site: Site, tmp_path: Path) -> None:
    path = tmp_path / "laid.csv"
    path.write_text("x,y\n13000001,700001\n900000000,-900000000\n")
    said = refused(site, path, crs="EPSG:3035")
    assert "line 3" in said
    assert "is out of reach of EPSG:3035. Check the coordinates, and the CRS." in said


def test_a_system_that_is_none_is_a_fault_of_the_option(site: Site, tmp_path: Path) -> None:
    path = tmp_path / "laid.csv"
    path.write_text("x,y\n13000001,700001\n")
    with pytest.raises(FrameError, match="--crs"):
        read_measured(str(path), site, crs="EPSG:4326")


def test_more_points_than_can_be_matched(site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measured, "MOST_SHOTS", 2)
    path = tmp_path / "laid.csv"
    path.write_text("x,y\n" + "".join(f"{13000001 + n},700001\n" for n in range(3)))
    assert "the file comes to 3 points; 2 can be matched. Thin them out" in refused(site, path)


def test_calls_of_a_traverse_are_one_line(site: Site, tmp_path: Path) -> None:
    path = tmp_path / "laid.txt"
    path.write_text("START 13000001 700001\nE 50\nN 2\nW 50\n")
    shots, _ = read_measured(str(path), site)
    assert [shot.line for shot in shots] == [0, 0, 0, 0]
