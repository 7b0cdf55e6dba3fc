"""The point files: built as their published schemas ask, read back by an independent reader where there is one.

The rules are those of the LandXML 1.2 and GPX 1.1 schema documentation (from memory); the files are not validated
against the schemas, for no package that could be installed carries them.
"""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as Xml

import numpy as np
import pyogrio
import pytest

from layout.units import UNIT_SETS
from tests.command import Command

LANDXML = "{http://www.landxml.org/schema/LandXML-1.2}"
GPX = "{http://www.topografix.com/GPX/1/1}"
SYSTEMS = {
    "ft": ("EPSG:6494", (13_000_000.0, 700_000.0), "Imperial", "foot", "feet"),
    "us-ft": ("EPSG:2249", (775_000.0, 2_956_000.0), "Imperial", "USSurveyFoot", "feet"),
    "m": ("EPSG:26916", (620_000.0, 4_700_000.0), "Metric", "meter", "meter"),
}
SITE = """
title = "Beech & Birch <invented>"
units = "{units}"
{survey}
[bed]
outline = [[{x0}, {y0}], [{x1}, {y0}], [{x1}, {y1}], [{x0}, {y1}]]
{levels}

[tubing]
emitter_spacing = 0.6
emitter_flow = 1.0

[runs]
spacing = 2.0
pattern = "left"
"""


def written(tmp_path: Path, units: str, *, crs: bool = True, levels: str = "levels = 321.5") -> Path:
    code, (x, y), *_ = SYSTEMS[units]
    survey = f'[survey]\ncrs = "{code}"' if crs else ""
    path = tmp_path / "site.toml"
    path.write_text(SITE.format(units=units, survey=survey, levels=levels, x0=x, y0=y, x1=x + 40, y1=y + 8))
    return path


def made(sinuate: Command, site: Path, *options: str) -> list[dict[str, Any]]:
    done = sinuate("stakeout", site, "--json", *options)
    assert done.code == 0, done.err
    stakes: list[dict[str, Any]] = done.json["stakes"]
    return stakes


@pytest.mark.parametrize("units", list(SYSTEMS))
@pytest.mark.parametrize("levels", ["levels = 321.5", ""])
def test_landxml(sinuate: Command, tmp_path: Path, units: str, levels: str) -> None:
    site = written(tmp_path, units, levels=levels)
    stakes = made(sinuate, site, "--landxml")
    root = Xml.fromstring((tmp_path / "plan" / "stakeout.xml").read_bytes())
    assert root.tag == f"{LANDXML}LandXML"
    assert root.attrib["version"] == "1.2"
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", root.attrib["date"])
    assert re.fullmatch(r"\d\d:\d\d:\d\d", root.attrib["time"])
    assert [child.tag.removeprefix(LANDXML) for child in root] == [
        "Units",
        "CoordinateSystem",
        "Project",
        "Application",
        "CgPoints",
    ]
    code, _, system, linear, elevation = SYSTEMS[units]
    (unit,) = root[0]
    assert unit.tag == LANDXML + system
    assert (unit.attrib["linearUnit"], unit.attrib["elevationUnit"]) == (linear, elevation)
    wanted = {"areaUnit", "linearUnit", "volumeUnit", "temperatureUnit", "pressureUnit", "elevationUnit"}
    assert set(unit.attrib) == wanted
    assert root[1].attrib == {"epsgCode": code.removeprefix("EPSG:")}
    assert root[2].attrib["name"] == "Beech & Birch <invented>"
    points = list(root[4])
    names = [point.attrib["name"] for point in points]
    assert len(set(names)) == len(names)
    for point, stake in zip(points, stakes, strict=True):
        figures = [float(text) for text in (point.text or "").split()]
        # northing before easting
        assert figures == [stake["y"], stake["x"], *([321.5] if levels else [])]
        assert (point.attrib["name"], point.attrib["desc"]) == (str(stake["point"]), stake["description"])
        assert point.attrib["code"]


@pytest.mark.parametrize("units", list(SYSTEMS))
def test_gpx_is_read_back_by_another_program(sinuate: Command, tmp_path: Path, units: str) -> None:
    """By GDAL; its places are put back on the plan by pyproj alone."""
    from pyproj import Transformer

    site = written(tmp_path, units)
    stakes = made(sinuate, site, "--gpx")
    path = tmp_path / "plan" / "stakeout.gpx"
    root = Xml.fromstring(path.read_bytes())
    assert root.tag == f"{GPX}gpx"
    assert root.attrib == {"version": "1.1", "creator": "sinuate"}
    assert [child.tag.removeprefix(GPX) for child in root] == ["metadata", *["wpt"] * len(stakes)]
    for point in root.findall(f"{GPX}wpt"):
        assert [child.tag.removeprefix(GPX) for child in point] == ["ele", "name", "desc"]
        assert re.fullmatch(r"-?\d+\.\d{8}", point.attrib["lat"])
        assert re.fullmatch(r"-?\d+\.\d{8}", point.attrib["lon"])
    meta, _, places, fields = pyogrio.raw.read(path, layer="waypoints")
    columns = dict(zip(meta["fields"], fields, strict=True))
    assert list(columns["name"]) == [str(stake["point"]) for stake in stakes]
    assert list(columns["desc"]) == [stake["description"] for stake in stakes]
    # heights are metres whatever the site's unit
    assert columns["ele"] == pytest.approx(321.5 * UNIT_SETS[units].length, abs=0.001)
    import shapely

    degrees = shapely.get_coordinates(shapely.from_wkb(places))
    back = Transformer.from_crs("EPSG:4326", SYSTEMS[units][0], always_xy=True)
    x, y = back.transform(degrees[:, 0], degrees[:, 1])
    off = np.hypot(x - [stake["x"] for stake in stakes], y - [stake["y"] for stake in stakes])
    # eight decimals of a degree: under 0.8 mm, by either way
    assert off.max() * UNIT_SETS[units].length < 0.0012
    assert math.isfinite(off.max())


def test_gpx_needs_to_know_where_on_earth(sinuate: Command, tmp_path: Path) -> None:
    site = written(tmp_path, "ft", crs=False)
    done = sinuate("stakeout", site, "--gpx")
    assert done.code == 2
    assert "site.toml: survey.crs: " in done.err
    assert "stakeout.csv" in done.err
    assert not (tmp_path / "plan").exists()
    # on a plan grid LandXML is written all the same, without a system
    made(sinuate, site, "--landxml")
    root = Xml.fromstring((tmp_path / "plan" / "stakeout.xml").read_bytes())
    assert root.find(f"{LANDXML}CoordinateSystem") is None


def test_the_same_site_gives_the_same_files_and_old_ones_go(sinuate: Command, tmp_path: Path) -> None:
    site = written(tmp_path, "m")
    folder = tmp_path / "plan"
    made(sinuate, site, "--landxml", "--gpx")
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert set(first) == {"stakeout.csv", "stakeout.pdf", "stakeout.xml", "stakeout.gpx"}
    made(sinuate, site, "--landxml", "--gpx", "--set", "sheet.date=2025-03-14")
    assert b'date="2025-03-14"' in (folder / "stakeout.xml").read_bytes()
    made(sinuate, site, "--landxml", "--gpx")
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == first
    made(sinuate, site)
    assert {path.name for path in folder.iterdir()} == {"stakeout.csv", "stakeout.pdf"}
    assert json.loads(json.dumps(sorted(first)))
