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
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
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

Array = NDArray[np.float64]
FILES = {
    "layout.json",
    "plan.dxf",
    "plan.pdf",
    "plan.png",
    "stakeout.csv",
    "stakeout.pdf",
    "startup.pdf",
    "takeoff.csv",
}

SITE = """
title = "{title}"
units = "{units}"

[bed]
outline = {outline}
clearance = 1.0

[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6
bend_radius = 2.0

[runs]
spacing = 2.0
pattern = "{pattern}"
shortest = 10.0

[laterals]
longest = 400.0

[pump]
at = {pump}

[design]
flow = {flow}
loading = 1.0
"""


def sinuate(*arguments: object, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
    """The command as a user runs it, in a process of its own."""
    command = [sys.executable, "-m", "cli.main", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)


def site(
    folder: Path,
    outline: str,
    *,
    pump: Sequence[float],
    units: str = "ft",
    pattern: str = "left",
    title: str = "A bed",
    flow: float = 100.0,
    more: str = "",
) -> Path:
    """Write a site file."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "site.toml"
    text = SITE.format(title=title, units=units, outline=outline, pattern=pattern, pump=list(pump), flow=flow)
    path.write_text(text + more, encoding="utf-8")
    return path


def inline(points: Array) -> str:
    return json.dumps(points.tolist())


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


def _rectangle(folder: Path) -> Path:
    """100 x 12, its points in the site file."""
    return site(folder, inline(beds.rect()), pump=(-10, 6))


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
        write=_rectangle,
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
    done = sinuate("plan", path)
    assert (done.returncode, done.stderr) == (0, "")
    folder = path.parent / "plan"
    assert {entry.name for entry in folder.iterdir()} >= FILES
    layout = json.loads((folder / "layout.json").read_text(encoding="utf-8"))
    return Planned(exact=exact, folder=folder, said=done.stdout, layout=layout)


def length(points: Any) -> float:
    return float(np.hypot(*np.diff(np.asarray(points, dtype=float), axis=0).T).sum())


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


# --- the command's promises -----------------------------------------------------------------------------


def held(folder: Path) -> dict[str, bytes]:
    """Every file below a folder."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def laid_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a rectangle that has been planned."""
    folder = tmp_path_factory.mktemp("lot")
    assert sinuate("plan", _rectangle(folder)).returncode == 0
    return folder


@pytest.fixture
def rectangle(laid_out: Path, tmp_path: Path) -> Path:
    """The site file of a rectangle, with the outputs of an earlier plan beside it."""
    return Path(shutil.copytree(laid_out, tmp_path / "lot")) / "site.toml"


def test_json_is_one_document_and_the_file(rectangle: Path) -> None:
    done = sinuate("plan", rectangle, "--json")
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout) == json.loads((rectangle.parent / "plan/layout.json").read_text())


def test_the_same_site_gives_the_same_bytes(rectangle: Path, tmp_path: Path) -> None:
    sinuate("plan", "site.toml", "--out", tmp_path / "again", folder=rectangle.parent)
    assert held(rectangle.parent / "plan") == held(tmp_path / "again")


def test_best_of_all_patterns(rectangle: Path) -> None:
    layout = json.loads(sinuate("plan", rectangle, "--set", "runs.pattern=best", "--json").stdout)
    scores = [item["score"] for item in layout["candidates"]]
    assert {item["pattern"] for item in layout["candidates"]} >= {"left", "right", "centre", "even"}
    assert [round(score, 9) for score in scores] == sorted(round(score, 9) for score in scores)
    assert layout["pattern"] == layout["candidates"][0]["pattern"]
    assert layout["totals"]["tubing"] == pytest.approx(588, abs=1e-5)


def test_set_holds_for_once_and_touches_no_file(rectangle: Path) -> None:
    before = held(rectangle.parent)
    out = rectangle.parent / "closer"
    done = sinuate(
        "plan", rectangle, "--json", "--out", out, "--set", "runs.spacing=1.25", "--set", "bed.clearance=0.5"
    )
    layout = json.loads(done.stdout)
    # 11 wide inside the clearance: rows at 0, 1.25 … 10; 99 long between the ends
    assert [run["length"] for run in layout["runs"]] == pytest.approx([99.0] * 9, abs=1e-5)
    assert layout["totals"]["spacing_min"] == pytest.approx(1.25, abs=1e-6)
    after = {name: data for name, data in held(rectangle.parent).items() if not name.startswith("closer")}
    assert after == before


@pytest.mark.parametrize("end", ["far", "[110, 6]"])
def test_the_other_end(rectangle: Path, end: str) -> None:
    layout = json.loads(sinuate("plan", rectangle, "--json", "--set", f"manifold.end={end}").stdout)
    assert {run["points"][0][0] for run in layout["runs"]} == {99.0}
    # seen from there, left is the other side
    assert layout["runs"][0]["points"][0][1] == pytest.approx(1.0)


def test_strict_turns_a_failed_check_into_one(rectangle: Path) -> None:
    sound = held(rectangle.parent / "plan")
    assert sinuate("plan", rectangle, "--strict").returncode == 0
    assert held(rectangle.parent / "plan") == sound
    heavy = ("--set", "design.flow=2000", "--set", "design.loading=0.5")
    for strict, code in (((), 0), (("--strict",), 1)):
        out = rectangle.parent / f"heavy{code}"
        done = sinuate("plan", rectangle, "--out", out, *heavy, *strict)
        noted = "".join(f"Note: set for this once, not in the site file: {key}.\n" for key in heavy[1::2])
        assert (done.returncode, done.stderr) == (code, noted)
        layout = json.loads((out / "layout.json").read_text())
        failed = [check for check in layout["checks"] if not check["ok"]]
        assert [check["name"] for check in failed] == [
            "loading of the usable ground",
            "usable ground for the stated flow",
            "tubing for the stated flow",
        ]
        assert failed[0]["value"] == pytest.approx(2000 / 980, rel=1e-6)
        assert "FAILED: loading of the usable ground" in done.stdout


def _words_for_a_number(path: Path) -> str:
    path.write_text(path.read_text().replace("emitter_flow = 0.6", 'emitter_flow = "0.6"'))
    return "tubing.emitter_flow"


def _a_bow_tie(path: Path) -> str:
    bow_tie = [[0, 0], [100, 12], [100, 0], [0, 12]]
    path.write_text(path.read_text().replace(inline(beds.rect()), json.dumps(bow_tie)))
    return "(50.00, 6.00)"


def _no_survey(path: Path) -> str:
    path.write_text(path.read_text().replace(inline(beds.rect()), '"bedd.csv"'))
    return "bedd.csv"


def _no_toml(path: Path) -> str:
    path.write_text(path.read_text() + "\n[runs\n")
    return "line"


def _an_unknown_key(path: Path) -> str:
    path.write_text(path.read_text().replace("bend_radius", "bend_radios"))
    return "tubing.bend_radius"


def _gone(path: Path) -> str:
    path.unlink()
    return "site.toml"


@pytest.mark.parametrize(
    "spoil", [_words_for_a_number, _a_bow_tie, _no_survey, _no_toml, _an_unknown_key, _gone]
)
def test_bad_input_leaves_no_file_and_earlier_ones_whole(
    rectangle: Path, spoil: Callable[[Path], str]
) -> None:
    named = spoil(rectangle)
    before = held(rectangle.parent)
    for also in ((), ("--json",), ("--out", rectangle.parent / "new")):
        done = sinuate("plan", rectangle, *also)
        assert (done.returncode, done.stdout) == (2, "")
        assert "Traceback" not in done.stderr
        assert str(rectangle) in done.stderr or "bedd.csv" in done.stderr
        assert named in done.stderr
    assert held(rectangle.parent) == before
    assert not (rectangle.parent / "new").exists()


def test_no_room_is_one(rectangle: Path) -> None:
    before = held(rectangle.parent)
    done = sinuate("plan", rectangle, "--set", "runs.shortest=99")
    assert (done.returncode, done.stdout) == (1, "")
    assert "no run of 99 ft fits in the usable ground of 980.0 ft²" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    done = sinuate("plan", rectangle, "--set", "bed.clearance=6")
    assert (done.returncode, done.stdout) == (1, "")
    assert len(done.stderr.splitlines()) == 1
    assert held(rectangle.parent) == before


def test_what_is_not_laid_is_listed(tmp_path: Path) -> None:
    """Arcs about the inner corner of an L, too short to be runs, are named with their places."""
    path = site(tmp_path, inline(beds.ell()), pump=(-10, 54), pattern="right")
    done = sinuate("plan", path, "--set", "tubing.bend_radius=0")
    assert done.returncode == 0
    layout = json.loads((tmp_path / "plan/layout.json").read_text())
    assert len(layout["dropped"]) >= 2
    for piece in layout["dropped"]:
        assert piece["why"] == "shorter than runs.shortest"
        assert length(piece["points"]) == pytest.approx(piece["length"], rel=1e-6)
        assert piece["length"] < 10.0
        (x, y) = piece["points"][0]
        assert f"({x:.2f}, {y:.2f})" in done.stdout


TREE = """
[[feature]]
name = "ash"
kind = "tree"
shape = [50, 6]
setback = 1.5
inside = true

[[feature]]
name = "cable house"
kind = "building"
shape = [[-6, 0], [-4, 0], [-4, 12], [-6, 12], [-6, 0]]
setback = 0.5
"""


def test_features_are_kept_clear_of_by_tubing_and_lines(tmp_path: Path) -> None:
    path = site(tmp_path, inline(beds.rect()), pump=(-10, 6), more=TREE)
    done = sinuate("plan", path)
    assert (done.returncode, done.stderr) == (0, "")
    layout = json.loads((tmp_path / "plan/layout.json").read_text())
    tree = shapely.Point(50, 6)
    tubing = [shapely.LineString(item["points"]) for block in ("runs", "joins") for item in layout[block]]
    assert min(line.distance(tree) for line in tubing) >= 1.5 - 1e-9
    checks = {check["name"]: check for check in layout["checks"]}
    # rows that meet the ash are led past it by blank tubing or tied by loops: all have water either way
    assert {join["kind"] for join in layout["joins"]} <= {"loop", "blank"}
    assert checks["share of tubing fed"]["value"] == 1.0
    assert sorted(name for row in layout["laterals"] for name in row["runs"]) == sorted(
        run["name"] for run in layout["runs"]
    )
    assert checks["distance to ash"]["ok"]
    # The cable house stands between pump and bed: straight lines would cross it, so they are led round its setback.
    assert (checks["features crossed by manifolds, risers or lines"]["value"], layout["crossings"]) == (0, [])
    house = shapely.box(-6, 0, -4, 12)
    lines = [shapely.LineString(item["points"]) for item in layout["lines"]]
    assert [item["kind"] for item in layout["lines"]] == ["supply", "return"]
    for line in lines:
        assert line.distance(house) >= 0.5
        assert house.intersects(shapely.LineString([line.coords[0], line.coords[-1]]))
    # a hole of radius 1.5 in 98 x 10
    assert layout["bed"]["usable_area"] == pytest.approx(980 - math.pi * 1.5**2, rel=1e-4)
    assert len(layout["bed"]["usable"][0]["holes"]) == 1


def every_number(value: Any) -> Iterator[float]:
    if isinstance(value, dict):
        for item in value.values():
            yield from every_number(item)
    elif isinstance(value, list):
        for item in value:
            yield from every_number(item)
    elif isinstance(value, float):
        yield value


def test_every_number_is_finite(planned: Planned) -> None:
    assert all(math.isfinite(number) for number in every_number(planned.layout))
