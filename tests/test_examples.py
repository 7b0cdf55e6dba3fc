"""The example sites: each plans without an error, and what is said of it holds."""

from __future__ import annotations

import csv
import itertools
import json
import math
import re
import tomllib
from collections.abc import Callable, Iterator
from fnmatch import fnmatchcase
from operator import itemgetter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString

from tests.examples import FOLDER, NAMES, Example, site_of
from tests.plans import FILES
from tests.staked import by_baseline, by_ties

HONEST = {"corner": {"farthest usable ground from tubing"}}
"""Checks that fail for a reason the example's README tells; all others pass."""
TOLD = {
    "hillside": ("columns are read as point, northing, easting",),
    "paddock": (
        "heights are metres",
        "misses its start by",
        "good to 2 m",
        "as a line",
        "100.014 on the plan",
    ),
}
"""What is said beside the results, note by note; nothing of the other examples."""


@pytest.fixture(scope="module", params=NAMES)
def planned(request: pytest.FixtureRequest, example: Callable[[str], Example]) -> tuple[str, Path]:
    done = example(request.param)
    assert done.code == 0
    notes, told = done.err.splitlines(), TOLD.get(done.name, ())
    assert len(notes) == len(told)
    assert all(words in note for words, note in zip(told, notes, strict=True))
    return done.name, done.folder


@pytest.fixture
def layout(planned: tuple[str, Path]) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((planned[1] / "layout.json").read_text(encoding="utf-8"))
    return document


def test_there_are_five() -> None:
    assert NAMES == ["corner", "field", "hillside", "paddock", "serpentine"]


def test_files(planned: tuple[str, Path]) -> None:
    assert {path.name for path in planned[1].iterdir()} >= FILES
    assert all(path.stat().st_size > 500 for path in planned[1].iterdir())


def test_checks_pass_but_for_those_the_readme_tells_of(
    planned: tuple[str, Path], layout: dict[str, Any]
) -> None:
    failed = {check["name"] for check in layout["checks"] if not check["ok"]}
    assert failed == HONEST.get(planned[0], set())


def test_every_lateral_returns_to_the_manifold_end(layout: dict[str, Any]) -> None:
    assert all(lateral["returns_near"] for lateral in layout["laterals"])


def test_elbows_of_lines_can_be_joined(layout: dict[str, Any]) -> None:
    """One at a place, and 0.15 m or more from one to the next along the pipe; common practice, no source."""
    least = 0.15 if layout["units"] == "m" else 0.15 / 0.3048
    for line in layout["lines"]:
        pipe = LineString(line["points"])
        places = sorted(
            pipe.project(shapely.Point(item["at"]))
            for item in layout["fittings"]
            if item["kind"].startswith("elbow ") and item["of"] == "line"
            if (item["on"], item["zone"]) == (line["kind"], line["zone"])
            if pipe.distance(shapely.Point(item["at"])) < 1e-6
        )
        assert all(after - before >= least - 1e-5 for before, after in itertools.pairwise(places))


def test_lengths_agree(planned: tuple[str, Path], layout: dict[str, Any]) -> None:
    for run in layout["runs"]:
        walked = np.hypot(*np.diff(np.asarray(run["points"]), axis=0).T).sum()
        assert run["length"] == pytest.approx(walked, rel=1e-6)
    tubing = sum(run["length"] for run in layout["runs"])
    assert layout["totals"]["tubing"] == pytest.approx(tubing, rel=1e-9)
    with (planned[1] / "takeoff.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["item"]: row for row in csv.DictReader(file)}
    assert rows["emitting tubing"]["net"] == f"{tubing:.2f}"


def test_what_the_readmes_say_of_runs_and_laterals(planned: tuple[str, Path], layout: dict[str, Any]) -> None:
    said = {
        "corner": ("right", 10, 4),
        "field": ("right", 84, 42),
        "hillside": ("centre", 8, 4),
        "paddock": ("left", 8, 4),
        "serpentine": ("centre", 8, 4),
    }[planned[0]]
    assert (layout["pattern"], len(layout["runs"]), len(layout["laterals"])) == said


def test_stakes_are_found_from_paper_and_tapes_cross_well(
    planned: tuple[str, Path], layout: dict[str, Any]
) -> None:
    stakes, baseline = layout["stakes"], layout["staking"]["baseline"]
    for stake in stakes:
        place = complex(stake["x"], stake["y"])
        assert abs(by_baseline(stake, baseline) - place) <= stake["baseline"]["error"] + 1e-6
        if stake["ties"]:
            assert abs(by_ties(stake) - place) <= stake["ties_error"] + 1e-6
    tied = planned[0] in {"corner", "hillside", "serpentine"}
    assert all(bool(stake["ties"]) is tied for stake in stakes)
    codes = {finding["code"] for finding in layout["findings"]}
    assert not codes & {"no-tie", "poor-tie", "blocked-tie", "baseline-blocked"}
    assert {stake["run"] for stake in stakes} >= {run["name"] for run in layout["runs"]}


def test_stakes_follow_every_run(planned: tuple[str, Path], layout: dict[str, Any]) -> None:
    """Whoever bends a tube from stake to stake keeps within the tolerance of the run, all along it."""
    site = tomllib.loads(site_of(planned[0]).read_text(encoding="utf-8"))
    usual = 0.03 if layout["units"] == "m" else 0.1
    tolerance = site.get("stakeout", {}).get("tolerance", usual)
    for run in layout["runs"]:
        on = sorted(
            (stake for stake in layout["stakes"] if stake["run"] == run["name"]), key=itemgetter("station")
        )
        chords = LineString([(stake["x"], stake["y"]) for stake in on])
        fine = shapely.get_coordinates(shapely.segmentize(LineString(run["points"]), 0.5))
        assert shapely.distance(shapely.points(fine), chords).max() <= tolerance + 1e-6


def test_zones_add_up(planned: tuple[str, Path], layout: dict[str, Any]) -> None:
    zones, totals = layout["zones"], layout["totals"]
    assert len(zones) == {"field": 4}.get(planned[0], 1)
    assert sum(zone["emitters"] for zone in zones) == totals["emitters"]
    assert sum(zone["flow"] for zone in zones) == pytest.approx(totals["flow"], rel=1e-9)
    assert sum(zone["tubing"] for zone in zones) == pytest.approx(totals["tubing"], rel=1e-9)
    laterals = [name for zone in zones for name in zone["laterals"]]
    assert laterals == [lateral["name"] for lateral in layout["laterals"]]
    assert sorted(name for zone in zones for name in zone["runs"]) == sorted(
        run["name"] for run in layout["runs"]
    )
    if planned[0] == "field":
        assert all(32 < zone["flow"] < 34 for zone in zones)
        assert all(zone["return_pitch"] > 0.01 for zone in zones)


@pytest.mark.parametrize("name", NAMES)
def test_readme_tells_of_every_file(name: str) -> None:
    text = (FOLDER / name / "README.md").read_text(encoding="utf-8")
    for path in (FOLDER / name).iterdir():
        if path.is_file() and path.name != "README.md":
            assert f"`{path.name}`" in text
    assert f"sinuate plan examples/{name}/site.toml" in text
    assert "example value" in text
    assert "example value" in (FOLDER / name / "site.toml").read_text(encoding="utf-8")


def test_cut_lengths_add_up_to_the_tubing(planned: tuple[str, Path], layout: dict[str, Any]) -> None:
    """Cut list, takeoff, runs and totals are one figure, to the last digit that is printed."""
    with (planned[1] / "takeoff.csv").open(encoding="utf-8", newline="") as file:
        row = next(row for row in csv.DictReader(file) if row["item"] == "emitting tubing")
    coils = layout["coils"]
    sums = [
        math.fsum(cut["length"] for cut in coils["cuts"]),
        math.fsum(run["length"] for run in layout["runs"]),
        layout["totals"]["tubing"],
        next(line["net"] for line in layout["takeoff"] if line["item"] == "emitting tubing"),
    ]
    assert {f"{value:.2f}" for value in sums} == {row["net"]}
    whole = {name: math.fsum(c["length"] for c in coils["cuts"] if c["run"] == name)
             for name in {cut["run"] for cut in coils["cuts"]}}  # fmt: skip
    assert whole == pytest.approx({run["name"]: run["length"] for run in layout["runs"]}, rel=1e-12)
    assert coils["fewest"]
    assert coils["count"] == int(row["packs"])
    assert float(row["order"]) == pytest.approx(coils["count"] * coils["length"])
    assert all(left >= 0 for left in coils["left"])


BY_HAND = {
    # Eight runs, joined in pairs: 4 laterals, so 4 loops with an elbow at both ends (8), and a supply and a return
    # riser to each lateral (4, 4), each with an adapter at its foot and a connector to its tubing (8, 8). Along a
    # manifold three of the four risers stand on tees, the last on an elbow that closes the pipe; the air valve, which
    # stands along it, takes one tee more (3 + 1 = 4). One air valve a manifold, each in a box. Nothing interrupts a
    # run: no couplings; one zone: no zone valve. The one return line has its flush valve, in a box.
    "hillside": {
        "loop": 4, "loop elbow": 8, "tubing coupling": 0, "splice coupling": 0, "supply riser": 4, "return riser": 4,
        "riser adapter": 8, "riser connector": 8, "supply tee": 4, "supply elbow": 1, "supply cap": 0, "return tee": 4,
        "return elbow": 1, "return cap": 0, "supply air valve": 1, "return air valve": 1, "air valve box": 2,
        "supply zone valve": 0, "return flush valve": 1, "valve box": 1,
    },
    # 84 runs in pairs: 42 laterals and loops, 84 elbows on loops, 42 risers a kind, 84 adapters, 84 connectors. Four
    # zones with two manifolds each: 42 - 4 risers stand on tees, 4 close a manifold on an elbow, and 4 air valves have
    # a tee each: 38 + 4 = 42 tees a kind. A zone valve on each supply, a flush valve on each return, in 8 boxes; 8 air
    # valves.
    "field": {
        "loop": 42, "loop elbow": 84, "tubing coupling": 0, "splice coupling": 0, "supply riser": 42,
        "return riser": 42, "riser adapter": 84, "riser connector": 84, "supply tee": 42, "supply elbow": 4,
        "supply cap": 0,
        "return tee": 42, "return elbow": 4, "return cap": 0, "supply air valve": 4, "return air valve": 4,
        "air valve box": 8, "supply zone valve": 4, "return flush valve": 4, "valve box": 8,
    },
}  # fmt: skip
"""Fittings of two examples, reasoned from the plan by the rules beside them."""


def test_fittings_counted_by_hand(planned: tuple[str, Path]) -> None:
    name, out = planned
    if name not in BY_HAND:
        pytest.skip("counted for two examples")
    with (out / "takeoff.csv").open(encoding="utf-8", newline="") as file:
        net = {row["item"]: row["net"] for row in csv.DictReader(file)}
    assert {item: int(net.get(item, "0")) for item in BY_HAND[name]} == BY_HAND[name]


def test_elbows_turn_as_far_as_the_pipes(planned: tuple[str, Path], layout: dict[str, Any]) -> None:
    """Elbows make up what line and manifold turn together; at a corner the pipe takes half the smallest by itself."""
    with (planned[1] / "takeoff.csv").open(encoding="utf-8", newline="") as file:
        net = {row["item"]: float(row["net"]) for row in csv.DictReader(file)}
    for kind in ("supply", "return"):
        turned, corners = 0.0, 0
        for zone in {pipe["zone"] for pipe in layout["manifolds"]}:
            line, manifold = ([pipe["points"] for pipe in layout[block] if (pipe["kind"], pipe["zone"]) == (kind, zone)]
                              for block in ("lines", "manifolds"))  # fmt: skip
            assert len(line) == len(manifold) == 1
            pipe = [*line[0], *manifold[0]] if kind == "supply" else [*manifold[0], *line[0]]
            steps = np.diff(np.asarray(pipe, float), axis=0)
            steps = steps[np.hypot(*steps.T) > 1e-6]
            turns = (np.diff(np.degrees(np.arctan2(steps[:, 1], steps[:, 0]))) + 180) % 360 - 180
            turned, corners = turned + float(np.abs(turns).sum()), corners + len(turns)
        made = sum(net.get(f"{kind} elbow {angle:g}", 0.0) * angle for angle in (90.0, 45.0, 22.5))
        assert made > 0
        assert made == pytest.approx(turned, abs=11.25 * corners)


# --- what vouches for their figures -----------------------------------------------------------------------


def figures(value: Any, key: str = "") -> Iterator[str]:
    """The keys of all numbers in a document, as ``runs.length``."""
    if isinstance(value, dict):
        for name, item in value.items():
            yield from figures(item, f"{key}.{name}" if key else name)
    elif isinstance(value, list):
        for item in value:
            yield from figures(item, key)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield key


def test_developers_are_told_what_vouches_for_every_figure(example: Callable[[str], Example]) -> None:
    text = (FOLDER.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.partition("**Every figure that is printed**")[2].partition("\n\n|")[2].partition("\n\n")[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[2:]]
    assert all(len(row) == 3 and row[0] and row[2] for row in rows)
    patterns = [name for row in rows for name in re.findall(r"`([^`]+)`", row[1])]
    documents = [(example(name).folder / "layout.json").read_text(encoding="utf-8") for name in NAMES]
    found = {key for document in documents for key in figures(json.loads(document))}
    assert len(found) > 100
    assert [key for key in sorted(found) if not any(fnmatchcase(key, name) for name in patterns)] == []
    seldom = {"dropped.*", "hydraulics.zones.doses.*", "crossings.*", "unreached.*", "candidates.first"}
    unused = {name for name in patterns if not any(fnmatchcase(key, name) for key in found)}
    assert unused <= seldom
