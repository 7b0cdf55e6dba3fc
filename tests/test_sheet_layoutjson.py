"""The layout document: blocks, units, full precision, agreement of its parts, no numbers that are none."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import Polygon

from layout.model import Design
from layout.sheets.layoutjson import document, write_layout
from layout.sheets.takeoff import write_takeoff
from layout.units import UNIT_SETS
from tests.fields import curved_field, kinds_field, tree_field, wide_field
from tests.plans import numbers

FIELDS: dict[str, Callable[[], Design]] = {
    "curved": curved_field,
    "metric": lambda: curved_field("m"),
    "survey feet": lambda: curved_field("us-ft", origin=(2_100_000.5, 7_100_000.25)),
    "tree": tree_field,
    "kinds": kinds_field,
    "wide": wide_field,
}
BLOCKS = {
    "format",
    "title",
    "units",
    "bed",
    "pattern",
    "candidates",
    "runs",
    "laterals",
    "joins",
    "manifolds",
    "lines",
    "totals",
    "checks",
    "takeoff",
    "dropped",
    "findings",
    "risers",
    "notes",
    "zones",
    "fittings",
    "trenches",
}


@pytest.fixture(params=list(FIELDS))
def made(request: pytest.FixtureRequest) -> tuple[Design, dict[str, Any]]:
    design = FIELDS[request.param]()
    return design, document(design)


def length(points: Any) -> float:
    return float(np.hypot(*np.diff(np.asarray(points, dtype=float), axis=0).T).sum())


def test_all_blocks_are_there(made: tuple[Design, dict[str, Any]]) -> None:
    _, layout = made
    assert set(layout) >= BLOCKS
    assert layout["format"] == "sinuate/1"
    assert not set(layout) & {"stakes", "hydraulics"}


def test_lengths_are_those_of_their_points(made: tuple[Design, dict[str, Any]]) -> None:
    _, layout = made
    lines = [*layout["runs"], *layout["joins"], *layout["manifolds"], *layout["lines"], *layout["risers"]]
    assert lines
    for line in lines:
        assert line["length"] == pytest.approx(length(line["points"]), rel=1e-6)


def test_totals_agree_with_the_blocks(made: tuple[Design, dict[str, Any]]) -> None:
    _, layout = made
    totals = layout["totals"]
    assert totals["tubing"] == pytest.approx(sum(run["length"] for run in layout["runs"]), rel=1e-9)
    assert totals["emitters"] == sum(run["emitters"] for run in layout["runs"])
    assert totals["emitters"] == sum(lateral["emitters"] for lateral in layout["laterals"])
    assert totals["flow"] == pytest.approx(sum(lateral["flow"] for lateral in layout["laterals"]))
    assert totals["tubing"] == pytest.approx(sum(lateral["length"] for lateral in layout["laterals"]))
    assert totals["flow_per_hour"] == pytest.approx(60 * totals["flow"])
    assert totals["seconds_per_unit_volume"] == pytest.approx(60 / totals["flow"])
    assert totals["blank"] == pytest.approx(sum(join["length"] for join in layout["joins"]))


def test_names_refer_to_each_other(made: tuple[Design, dict[str, Any]]) -> None:
    _, layout = made
    runs = {run["name"]: run for run in layout["runs"]}
    for lateral in layout["laterals"]:
        assert all(runs[name]["lateral"] == lateral["name"] for name in lateral["runs"])
    for join in layout["joins"]:
        assert join["kind"] in {"loop", "blank"}
        ends = [np.asarray(runs[join[side]]["points"])[[0, -1]] for side in ("from", "to")]
        tips = (join["points"][0], join["points"][-1])
        for tip, candidates in zip(tips, ends, strict=True):
            assert np.hypot(*(candidates - np.asarray(tip)).T).min() < 1e-6


def test_areas_are_those_of_their_outlines(made: tuple[Design, dict[str, Any]]) -> None:
    _, layout = made
    bed = layout["bed"]
    assert bed["area"] == pytest.approx(Polygon(bed["outline"]).area, rel=1e-6)
    usable = [Polygon(part["shell"], part["holes"]) for part in bed["usable"]]
    assert bed["usable_area"] == pytest.approx(sum(part.area for part in usable), rel=1e-6)
    assert bed["outline"][0] == bed["outline"][-1]


def test_points_are_site_coordinates() -> None:
    design = curved_field("us-ft", origin=(2_100_000.5, 7_100_000.25))
    first = document(design)["runs"][0]["points"][0]
    x, y = design.laying.runs[0].line.coords[0]
    foot = 1200 / 3937
    assert first == pytest.approx([2_100_000.5 + x / foot, 7_100_000.25 + y / foot], abs=1e-8)


def test_the_trades_own_arithmetic() -> None:
    """600 ft, an emitter every 2 ft, 0.61 gal/h: 183 gal/h, 3.05 gal/min, 19.7 s (common practice)."""
    design = curved_field()
    unit = UNIT_SETS["ft"]
    whole = replace(
        design.totals, tubing=600 * unit.length, emitters=300, flow=300 * 0.61 * unit.emitter_flow
    )
    totals = document(replace(design, totals=whole))["totals"]
    assert totals["tubing"] == pytest.approx(600)
    assert totals["flow_per_hour"] == pytest.approx(183)
    assert totals["flow"] == pytest.approx(3.05)
    assert totals["seconds_per_unit_volume"] == pytest.approx(19.672, abs=0.001)


def test_what_is_not_known_is_null_and_nothing_is_infinite(tmp_path: Path) -> None:
    design = curved_field()
    cover = replace(design.coverage, gap_least=None, gap_greatest=None, dry=math.inf, bend_least=math.nan)
    bare = replace(
        design,
        coverage=cover,
        totals=replace(design.totals, flow=0.0),
        candidates=(replace(design.candidates[0], coverage=cover, score=math.nan),),
    )
    layout = document(bare)
    assert layout["totals"]["spacing_min"] is None
    assert layout["totals"]["seconds_per_unit_volume"] is None
    assert layout["totals"]["bend_radius_min"] is None
    assert layout["totals"]["dry_max"] is None
    assert layout["candidates"][0]["score"] is None
    assert all(math.isfinite(number) for number in numbers(layout))
    write_layout(bare, tmp_path / "layout.json")
    text = (tmp_path / "layout.json").read_text(encoding="utf-8")
    assert "NaN" not in text
    assert "Infinity" not in text


def test_the_file_is_the_document_in_full_precision(tmp_path: Path) -> None:
    design = kinds_field()
    write_layout(design, tmp_path / "layout.json")
    assert json.loads((tmp_path / "layout.json").read_text(encoding="utf-8")) == document(design)


def test_the_takeoff_prints_the_same_footage(made: tuple[Design, dict[str, Any]], tmp_path: Path) -> None:
    design, layout = made
    write_takeoff(design, tmp_path / "takeoff.csv")
    row = (tmp_path / "takeoff.csv").read_text(encoding="utf-8").splitlines()[1].split(",")
    assert row[0] == "emitting tubing"
    assert row[3] == f"{layout['totals']['tubing']:.2f}"
    assert layout["takeoff"][0]["net"] == pytest.approx(layout["totals"]["tubing"], rel=1e-12)
    always = {"item", "description", "unit", "net", "waste", "order", "zones"}
    assert set(layout["takeoff"][0]) == always | {"pack", "packs", "sold", "least", "price", "per", "cost"}


def test_checks_are_in_the_units_of_the_site() -> None:
    checks = {check["name"]: check for check in document(curved_field())["checks"]}
    assert checks["longest lateral"]["limit"] == pytest.approx(300)
    assert checks["loading of the usable ground"]["limit"] == pytest.approx(0.4)
    assert checks["coverage of the usable ground"]["value"] == pytest.approx(1.0)
    assert checks["longest lateral"]["ok"] is True
    assert {"name", "value", "limit", "ok", "source"} <= set(checks["longest lateral"])
