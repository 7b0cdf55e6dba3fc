"""The main job from end to end: a site file and its survey files through ``sinuate plan``, read back from
disk.

The lengths expected are worked out here from the shape of each bed (derived, no source): rows lie at
clearance, clearance + spacing … from the side they follow and end a clearance short of the bed's two ends.
Straight beds hold to 1e-5, arcs drawn in chords of one degree to 0.003.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import ezdxf  # noqa: TID253 - a test may start slowly
import numpy as np
import pyogrio
import pytest
import shapely
from numpy.typing import NDArray

from layout.sheets.layers import RUN
from layout.units import FOOT, GALLON, HOUR, LITRE
from tests import beds
from tests.plans import FILES, length, numbers, own_process, rectangle, site

Array = NDArray[np.float64]

# --- three exact beds -----------------------------------------------------------------------------------


def arc_row(radius: float, sweep: float) -> float:
    """An arc less what lies within 1 of the radii that bound it: each takes the angle whose sine is 1 / r."""
    return radius * (math.radians(sweep) - 2 * math.asin(1 / radius))


@dataclass(frozen=True, kw_only=True)
class Exact:
    """A bed whose plan is known."""

    units: str
    write: Callable[[Path], Path]
    lengths: tuple[float, ...]
    tolerance: float
    area: float
    length_unit: float
    """[m]."""
    volume_unit: float
    """[m³]."""
    told: str = ""
    """On standard error."""


def _annulus(folder: Path) -> Path:
    """150 degrees between r 20 and r 32, far from the origin, in a file of eastings and northings."""
    east, north = 2_100_000.0, 710_000.0
    rows = [f"{x + east!r},{y + north!r}" for x, y in beds.annular().tolist()]
    path = site(folder, '"bed.csv"', pump=(east + 26, north - 12), units="us-ft")
    (folder / "bed.csv").write_text("Easting,Northing\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def _horseshoe(folder: Path) -> Path:
    """320 degrees between r 16 and r 30, in metres, in the surveyor's order and without a header."""
    rows = [f"{k},{y!r},{x!r},,edge" for k, (x, y) in enumerate(beds.horseshoe().tolist(), start=1)]
    path = site(folder, '"bed.csv"', pump=(32, -1), units="m")
    (folder / "bed.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def _sector(r0: float, r1: float, sweep: float) -> float:
    """Area of a sector of a ring drawn in chords of one degree."""
    return sweep / 2 * math.sin(math.radians(1.0)) * (r1**2 - r0**2)


EXACT = {
    "rectangle": Exact(
        units="ft",
        write=rectangle,
        lengths=(98.0,) * 6,
        tolerance=1e-5,
        area=1200.0,
        length_unit=FOOT,
        volume_unit=GALLON,
    ),
    "annulus": Exact(
        units="us-ft",
        write=_annulus,
        lengths=tuple(arc_row(20 + d, 150) for d in range(1, 12, 2)),
        tolerance=0.003,
        area=_sector(20, 32, 150),
        length_unit=1200 / 3937,
        volume_unit=GALLON,
    ),
    "horseshoe": Exact(
        units="m",
        write=_horseshoe,
        lengths=tuple(arc_row(16 + d, 320) for d in range(1, 14, 2)),
        tolerance=0.003,
        area=_sector(16, 30, 320),
        length_unit=1.0,
        volume_unit=LITRE,
        told="Note: bed.csv has no header; its columns are read as point, northing, easting, elevation, description.\n",
    ),
}


@dataclass(frozen=True, kw_only=True)
class Planned:
    """What one plan left on disk."""

    exact: Exact
    folder: Path
    said: str
    layout: dict[str, Any]

    @property
    def takeoff(self) -> list[dict[str, str]]:
        with (self.folder / "takeoff.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))


@pytest.fixture(scope="module", params=list(EXACT))
def planned(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Planned:
    exact = EXACT[request.param]
    path = exact.write(tmp_path_factory.mktemp(request.param))
    done = own_process("plan", path)
    assert (done.returncode, done.stderr) == (0, exact.told)
    folder = path.parent / "plan"
    assert {entry.name for entry in folder.iterdir()} >= FILES
    layout = json.loads((folder / "layout.json").read_text(encoding="utf-8"))
    return Planned(exact=exact, folder=folder, said=done.stdout, layout=layout)


def test_run_lengths_follow_from_the_shape_of_the_bed(planned: Planned) -> None:
    runs = planned.layout["runs"]
    assert [run["length"] for run in runs] == pytest.approx(
        planned.exact.lengths, abs=planned.exact.tolerance
    )
    assert [run["name"] for run in runs] == [f"R{k + 1}" for k in range(len(runs))]
    for run in runs:
        assert length(run["points"]) == pytest.approx(run["length"], rel=1e-6)


def test_runs_start_at_the_manifold_end(planned: Planned) -> None:
    pump = np.asarray(planned.layout["lines"][0]["points"][0])
    for run in planned.layout["runs"]:
        first, last = (np.hypot(*(np.asarray(run["points"][k]) - pump)) for k in (0, -1))
        assert first < last


def test_areas(planned: Planned) -> None:
    bed = planned.layout["bed"]
    assert bed["area"] == pytest.approx(planned.exact.area, rel=1e-9)
    assert shapely.Polygon(bed["outline"]).area == pytest.approx(bed["area"], rel=1e-6)
    usable = sum(shapely.Polygon(part["shell"], part["holes"]).area for part in bed["usable"])
    assert usable == pytest.approx(bed["usable_area"], rel=1e-6)
    assert bed["usable_area"] < bed["area"]


HAS = {
    "candidates": {"pattern", "tubing", "runs", "coverage", "spacing_min", "spacing_max", "score"},
    "runs": {"name", "points", "length", "emitters", "lateral"},
    "laterals": {"name", "runs", "length", "emitters", "flow"},
    "joins": {"kind", "from", "to", "points", "length"},
    "manifolds": {"kind", "points", "length", "diameter"},
    "lines": {"kind", "points", "length", "diameter"},
    "checks": {"name", "value", "limit", "ok", "source"},
    "takeoff": {"item", "description", "unit", "net", "waste", "order"},
}
TOTALS = {
    "tubing",
    "emitters",
    "flow_per_hour",
    "flow",
    "seconds_per_unit_volume",
    "coverage",
    "dry_max",
    "spacing_min",
    "spacing_max",
    "bend_radius_min",
}


def test_the_layout_document_has_every_block(planned: Planned) -> None:
    layout = planned.layout
    assert (layout["format"], layout["title"]) == ("sinuate/1", "A bed")
    assert (layout["units"], layout["pattern"]) == (planned.exact.units, "left")
    assert layout["bed"].keys() >= {"outline", "area", "usable", "usable_area"}
    assert layout["totals"].keys() >= TOTALS
    for block, keys in HAS.items():
        assert layout[block], block
        for item in layout[block]:
            assert item.keys() >= keys, block
    for kind in ("supply", "return"):
        for block in ("manifolds", "lines"):
            assert kind in {pipe["kind"] for pipe in layout[block]}
    assert all(check["ok"] for check in layout["checks"])


def test_totals_agree_with_the_blocks(planned: Planned) -> None:
    layout, totals = planned.layout, planned.layout["totals"]
    runs = {run["name"]: run for run in layout["runs"]}
    assert totals["tubing"] == pytest.approx(sum(run["length"] for run in runs.values()), rel=1e-9)
    assert totals["emitters"] == sum(run["emitters"] for run in runs.values())
    assert totals["flow_per_hour"] == pytest.approx(totals["emitters"] * 0.6, rel=1e-9)
    assert totals["flow"] == pytest.approx(totals["flow_per_hour"] / 60, rel=1e-9)
    assert totals["seconds_per_unit_volume"] == pytest.approx(60 / totals["flow"], rel=1e-9)
    for run in runs.values():
        # the first half a spacing in, the others a spacing apart
        assert run["emitters"] == math.floor(run["length"] / 2.0 + 0.5)
    assert [name for lateral in layout["laterals"] for name in sorted(lateral["runs"])] == sorted(runs)
    for lateral in layout["laterals"]:
        mine = [runs[name] for name in lateral["runs"]]
        assert {run["lateral"] for run in mine} == {lateral["name"]}
        assert lateral["length"] == pytest.approx(sum(run["length"] for run in mine), rel=1e-9)
        assert lateral["emitters"] == sum(run["emitters"] for run in mine)
        assert lateral["flow"] == pytest.approx(lateral["emitters"] * 0.6 / 60, rel=1e-9)
    taken = next(item for item in layout["candidates"] if item["pattern"] == layout["pattern"])
    assert (taken["tubing"], taken["runs"]) == (pytest.approx(totals["tubing"], rel=1e-9), len(runs))
    assert (taken["coverage"], taken["spacing_min"]) == (totals["coverage"], totals["spacing_min"])


def test_laterals_run_through_their_loops(planned: Planned) -> None:
    layout = planned.layout
    runs = {run["name"]: np.asarray(run["points"]) for run in layout["runs"]}
    loops = {(join["from"], join["to"]): join for join in layout["joins"]}
    for lateral in layout["laterals"]:
        for one, other in zip(lateral["runs"][:-1], lateral["runs"][1:], strict=True):
            loop = loops.pop((one, other))
            assert length(loop["points"]) == pytest.approx(loop["length"], rel=1e-6)
            ends = np.asarray(loop["points"])[[0, -1]]
            for end, points in zip(ends, (runs[one], runs[other]), strict=True):
                assert np.hypot(*(points[[0, -1]] - end).T).min() == pytest.approx(0, abs=1e-6)
    assert loops == {}


def test_the_takeoff_is_the_layout(planned: Planned) -> None:
    rows, totals = planned.takeoff, planned.layout["totals"]
    assert [row["item"] for row in rows] == [item["item"] for item in planned.layout["takeoff"]]
    for row, item in zip(rows, planned.layout["takeoff"], strict=True):
        assert row["unit"] == item["unit"]
        assert float(row["net"]) == pytest.approx(item["net"], abs=0.005 + 1e-9)
        assert float(row["order"]) == pytest.approx(item["order"], abs=0.005 + 1e-9)
    by_item = {row["item"]: row for row in rows}
    assert by_item["emitting tubing"]["net"] == f"{totals['tubing']:.2f}"
    assert float(by_item["blank tubing"]["net"]) == pytest.approx(
        sum(join["length"] for join in planned.layout["joins"]), abs=0.005 + 1e-9
    )
    for kind in ("supply", "return"):
        for block in ("manifold", "line"):
            pipe = sum(item["length"] for item in planned.layout[f"{block}s"] if item["kind"] == kind)
            net = float(by_item[f"{kind} {block} pipe"]["net"])
            assert net == pytest.approx(pipe, abs=0.005 + 1e-9)


def test_the_summary_prints_the_same_footage(planned: Planned) -> None:
    totals = planned.layout["totals"]
    words = " ".join(planned.said.split())
    unit = "m" if planned.exact.units == "m" else "ft"
    assert f"tubing {totals['tubing']:,.2f} {unit}" in words
    assert f"{totals['emitters']:,}" in words
    assert f"{len(planned.layout['checks'])} passed, 0 failed" in words
    assert "local code and licensed practice decide" in words


def test_an_independent_reader_finds_the_footage_in_the_drawing(planned: Planned) -> None:
    path = planned.folder / "plan.dxf"
    read: Any = pyogrio.raw.read  # untyped
    meta, _, shapes, values = read(path, layer="entities")
    layer = values[list(meta["fields"]).index("Layer")]
    geometries: Any = shapely.from_wkb(shapes)
    on_runs = geometries[layer == RUN.name]
    lines = on_runs[shapely.get_type_id(on_runs) == shapely.GeometryType.LINESTRING]
    assert shapely.length(lines).sum() == pytest.approx(planned.layout["totals"]["tubing"], rel=1e-3)
    audit = ezdxf.readfile(path).audit()  # type: ignore[attr-defined]
    assert [str(item) for item in (*audit.errors, *audit.fixes)] == []


def test_sheets_are_what_they_say(planned: Planned) -> None:
    assert (planned.folder / "plan.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert (planned.folder / "plan.pdf").read_bytes()[:5] == b"%PDF-"


def test_si_inside_and_site_units_outside_are_one_flow(planned: Planned) -> None:
    """The flow printed, back in SI, is that of the emitters."""
    totals, exact = planned.layout["totals"], planned.exact
    assert totals["flow"] * exact.volume_unit / 60 == pytest.approx(
        totals["emitters"] * 0.6 * exact.volume_unit / HOUR, rel=1e-12
    )


def test_every_number_is_finite(planned: Planned) -> None:
    assert all(math.isfinite(number) for number in numbers(planned.layout))
