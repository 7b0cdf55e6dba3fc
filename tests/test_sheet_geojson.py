"""The map of a layout: valid by the standard, and back on the plan within a millimetre."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.geometry import shape

from layout.frame import to_plan, to_site
from layout.model import Design, Frame, Levels
from layout.plane import coordinates
from layout.readers.geojson import read_geojson
from layout.sheets.geojson import is_on_earth, map_document, write_map
from layout.sheets.layoutjson import document
from layout.sheets.write import write_plan
from layout.units import UNIT_SETS
from tests.fields import curved_field

PLACES = {"EPSG:2249": ("us-ft", (775_000.0, 2_956_500.0)), "EPSG:6494": ("ft", (19_685_000.0, 500_000.0)),
          "EPSG:26919": ("m", (330_000.0, 4_700_000.0))}  # fmt: skip


def placed(crs: str) -> Design:
    word, origin = PLACES[crs]
    design = curved_field(word)
    frame = Frame(units=UNIT_SETS[word], origin=origin, crs=crs)
    return replace(design, site=replace(design.site, frame=frame))


def sloping(design: Design, *, reach: float = 500.0) -> Design:
    """The same on ground that rises by 3 % to the east, surveyed as far as `reach` [m] round its middle."""
    x, y = design.site.bed.outline.centroid.coords[0]
    points = tuple(
        (x + a, y + b, 30.0 + 0.03 * (x + a)) for a in (-reach, 0.0, reach) for b in (-reach, 0.0, reach)
    )
    bed = replace(design.site.bed, levels=Levels(points=points))
    return replace(design, site=replace(design.site, bed=bed))


def of_layer(made: dict[str, Any], layer: str) -> list[dict[str, Any]]:
    return [feature for feature in made["features"] if feature["properties"]["layer"] == layer]


@pytest.mark.parametrize("crs", list(PLACES))
def test_back_on_the_plan_within_a_millimetre(tmp_path: Path, crs: str) -> None:
    from pyproj import Transformer

    design = placed(crs)
    write_map(design, tmp_path / "layout.geojson")
    made = json.loads((tmp_path / "layout.geojson").read_text(encoding="utf-8"))
    back = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    unit = design.site.frame.units.length
    runs = of_layer(made, "run")
    assert len(runs) == len(design.laying.runs)
    for run, feature in zip(design.laying.runs, runs, strict=True):
        x, y = np.asarray(feature["geometry"]["coordinates"]).T
        plan = np.column_stack(back.transform(x, y))
        assert np.abs(plan - to_site(design.site.frame, coordinates(run.line))).max() * unit < 1e-3
        assert feature["properties"]["name"] == run.name
        assert feature["properties"]["length"] == pytest.approx(run.line.length / unit, rel=1e-12)


def test_what_the_standard_asks() -> None:
    made = map_document(placed("EPSG:2249"))
    assert made["type"] == "FeatureCollection"
    assert "crs" not in made
    west, south, east, north = made["bbox"]
    assert -180 <= west < east <= 180
    assert -90 <= south < north <= 90
    for feature in made["features"]:
        assert feature["type"] == "Feature"
        assert isinstance(feature["properties"], dict)
        geometry = shape(feature["geometry"])
        assert geometry.is_valid
        bounds = geometry.bounds
        assert west <= bounds[0] <= bounds[2] <= east
        assert south <= bounds[1] <= bounds[3] <= north
        for part in shapely.get_parts(geometry):
            if part.geom_type == "Polygon":
                assert part.exterior.is_ccw
                assert not any(ring.is_ccw for ring in part.interiors)
                assert part.exterior.coords[0] == part.exterior.coords[-1]


def test_everything_laid_is_on_it() -> None:
    design = placed("EPSG:26919")
    made = map_document(design)
    counts = {
        layer: len(of_layer(made, layer))
        for layer in ("bed", "run", "lateral", "join", "manifold", "riser", "line")
    }
    assert counts == {
        "bed": 1,
        "run": len(design.laying.runs),
        "lateral": len(design.laterals),
        "join": len(design.joins),
        "manifold": len(design.plumbing.manifolds),
        "riser": len(design.plumbing.risers),
        "line": len(design.plumbing.lines),
    }
    assert len(of_layer(made, "feature")) == len(design.site.features)
    for lateral, feature in zip(design.laterals, of_layer(made, "lateral"), strict=True):
        assert feature["properties"]["runs"] == list(lateral.runs)
        assert feature["geometry"]["type"] == "MultiLineString"


def test_its_bed_can_be_read_again() -> None:
    design = placed("EPSG:2249")
    table = read_geojson(json.dumps(map_document(design)), "layout.geojson", part="bed", role="outline")
    found = to_plan("EPSG:2249", table.xy)
    again = shapely.Polygon(found)
    assert again.area == pytest.approx(design.site.bed.outline.area / design.site.frame.units.area, rel=1e-5)


def test_only_where_the_crs_is_known(tmp_path: Path) -> None:
    assert not is_on_earth(curved_field().site)
    names = [path.name for path in write_plan(placed("EPSG:6494"), tmp_path)]
    assert "layout.geojson" in names
    assert "layout.geojson" not in [path.name for path in write_plan(curved_field(), tmp_path / "local")]


# --- heights ----------------------------------------------------------------------------------------------


def test_heights_beside_every_point() -> None:
    design = sloping(placed("EPSG:2249"))
    unit, frame = design.site.frame.units.length, design.site.frame
    made = document(design)
    for block in ("runs", "joins", "manifolds", "risers", "lines"):
        for entry in made[block]:
            east = (np.asarray(entry["points"])[:, 0] - frame.origin[0]) * unit
            assert entry["z"] == pytest.approx(((30.0 + 0.03 * east) / unit).tolist(), abs=1e-6)
    for feature in of_layer(map_document(design), "run"):
        assert len(feature["properties"]["z"]) == len(feature["geometry"]["coordinates"])


def test_no_height_is_made_up() -> None:
    design = sloping(placed("EPSG:2249"), reach=8.0)
    heights = [height for entry in document(design)["runs"] for height in entry["z"]]
    assert None in heights
    assert any(height is not None for height in heights)
    assert all(entry["z"] is None for entry in document(curved_field())["runs"])


def test_one_level_for_all() -> None:
    design = placed("EPSG:26919")
    bed = replace(design.site.bed, levels=Levels(uniform=42.5))
    made = document(replace(design, site=replace(design.site, bed=bed)))
    assert set(made["runs"][0]["z"]) == {42.5}
