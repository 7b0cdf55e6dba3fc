"""A whole field in zones: what every output says of them, and that it adds up."""

from __future__ import annotations

import csv
import io
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from layout.model import Design
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.sheets.drafting import draft
from layout.sheets.layoutjson import document
from layout.sheets.marks import Line, Symbol, Text
from layout.sheets.takeoff import write_takeoff

SITE = Path(__file__).resolve().parent / "sites" / "rectangle.toml"
ZONES = 3


@pytest.fixture(scope="module")
def design() -> Design:
    settings = [
        f"zones.count={ZONES}",
        "runs.pattern=left",
        "laterals.runs=2",
        "runs.spacing=1.0",
        "pump.at=[-30, 6]",
        "bed.clearance=1.5",
    ]
    return plan_field(read_site(SITE, settings))


@pytest.fixture(scope="module")
def layout(design: Design) -> dict[str, Any]:
    return document(design)


@pytest.fixture(scope="module")
def takeoff(design: Design, tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, str]]:
    path = tmp_path_factory.mktemp("takeoff") / "takeoff.csv"
    write_takeoff(design, path)
    return {row["item"]: row for row in csv.DictReader(io.StringIO(path.read_text(encoding="utf-8")))}


def test_layout_json_adds_up(layout: dict[str, Any]) -> None:
    zones, totals = layout["zones"], layout["totals"]
    assert [zone["name"] for zone in zones] == ["Z1", "Z2", "Z3"]
    assert totals["zones"] == ZONES
    assert sum(zone["emitters"] for zone in zones) == totals["emitters"]
    assert sum(zone["flow"] for zone in zones) == pytest.approx(totals["flow"], rel=1e-12)
    assert sum(zone["tubing"] for zone in zones) == pytest.approx(totals["tubing"], rel=1e-12)
    assert sum(len(zone["runs"]) for zone in zones) == totals["runs"]
    assert sum(len(zone["laterals"]) for zone in zones) == totals["laterals"]
    assert sum(zone["drain_back"] for zone in zones) == pytest.approx(totals["drain_back"], rel=1e-12)
    for zone in zones:
        laterals = [lateral for lateral in layout["laterals"] if lateral["zone"] == zone["name"]]
        assert [lateral["name"] for lateral in laterals] == zone["laterals"]
        assert [name for lateral in laterals for name in lateral["runs"]] == zone["runs"]
        assert sum(lateral["emitters"] for lateral in laterals) == zone["emitters"]
        assert sum(lateral["flow"] for lateral in laterals) == pytest.approx(zone["flow"])


def test_each_zone_has_its_own_pipes_and_valves(layout: dict[str, Any]) -> None:
    for name in ("Z1", "Z2", "Z3"):
        for block in ("manifolds", "lines"):
            kinds = Counter(pipe["kind"] for pipe in layout[block] if pipe["zone"] == name)
            assert kinds == {"supply": 1, "return": 1}, block
        found = Counter((item["on"], item["kind"]) for item in layout["fittings"] if item["zone"] == name)
        assert found["supply", "zone valve"] == found["return", "flush valve"] == 1
        assert found["supply", "air valve"] == found["return", "air valve"] == 1
        own = {lateral["name"] for lateral in layout["laterals"] if lateral["zone"] == name}
        assert {riser["lateral"] for riser in layout["risers"] if riser["zone"] == name} == own


def test_the_takeoff_adds_up_and_counts_the_fittings(
    layout: dict[str, Any], takeoff: dict[str, dict[str, str]]
) -> None:
    for item, row in takeoff.items():
        shares = [row[f"Z{zone}"] for zone in range(1, ZONES + 1)]
        if item in {"line trench", "other stake", "marking paint", "splice coupling"}:
            assert shares == [""] * ZONES
            continue
        # As printed, to two decimals each.
        assert sum(map(float, shares)) == pytest.approx(float(row["net"]), abs=0.005 * (ZONES + 1)), item
    totals = layout["totals"]
    assert int(takeoff["emitter"]["net"]) == totals["emitters"]
    assert int(takeoff["run"]["net"]) == totals["runs"]
    assert int(takeoff["lateral"]["net"]) == totals["laterals"]
    assert float(takeoff["flow"]["net"]) == pytest.approx(totals["flow"], abs=0.005)
    for number, zone in enumerate(layout["zones"], start=1):
        assert int(takeoff["emitter"][f"Z{number}"]) == zone["emitters"]
        assert float(takeoff["flow"][f"Z{number}"]) == pytest.approx(zone["flow"], abs=0.005)
    fittings = Counter((item["on"], item["kind"]) for item in layout["fittings"])
    connectors = fittings.pop(("supply", "connector")) + fittings.pop(("return", "connector"))
    assert int(takeoff["riser connector"]["net"]) == connectors
    named = {("tubing", "elbow"): "loop elbow", ("tubing", "coupling"): "tubing coupling"}
    del fittings["tubing", "loop"]  # its elbows are what is bought
    for (on, kind), count in fittings.items():
        assert int(takeoff[named.get((on, kind), f"{on} {kind}")]["net"]) == count


def test_the_drawing_shows_each_valve_and_the_limits_between_zones(
    design: Design, layout: dict[str, Any]
) -> None:
    drawing = draft(design)
    valves = ("zone valve", "flush valve", "air valve")
    shown = Counter(mark.name for mark in drawing.plan if isinstance(mark, Symbol) and mark.name in valves)
    placed = Counter(item["kind"] for item in layout["fittings"] if item["kind"] in valves)
    assert shown == placed
    limits = [
        mark.line
        for mark in drawing.plan
        if isinstance(mark, Line) and mark.layer.description == "limit between zones"
    ]
    assert len(limits) == ZONES - 1
    lines = {run.name: run.line for run in design.laying.runs}
    for limit, (one, other) in zip(limits, zip(design.zones, design.zones[1:], strict=False), strict=True):
        apart = [min(lines[name].distance(limit) for name in zone.runs) for zone in (one, other)]
        assert apart == pytest.approx([design.site.runs.spacing / 2] * 2, rel=1e-3)
    said = " ".join(mark.text for sheet in drawing.sheets for mark in sheet.marks if isinstance(mark, Text))
    for words in (
        "zone valve",
        "return flush valve",
        "air and vacuum release valve",
        "Zones, dosed one after the other",
    ):
        assert words in said
