"""``sinuate stakeout`` and what the plan has of it: the point file, the document, what is printed for the crew."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from layout.readers.points import read_points
from tests.command import Command
from tests.staked import by_baseline, by_ties

SITE = """
units = "ft"

[bed]
outline = [[500, 200], [560, 200], [560, 208], [500, 208]]
levels = 98.5

[[feature]]
name = "dwelling"
kind = "building"
shape = [[500, 230], [550, 230], [550, 250], [500, 250], [500, 230]]
setback = 10.0

[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6

[runs]
spacing = 2.0
pattern = "left"

[pump]
at = [490, 215]

[stakeout]
ties = { "dwelling SW" = [500, 230], "dwelling SE" = [550, 230] }
"""


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "site.toml"
    path.write_text(SITE)
    return path


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_point_file_and_the_document_agree(sinuate: Command, site: Path) -> None:
    done = sinuate("stakeout", site, "--json")
    assert (done.code, done.err) == (0, "")
    assert done.json["format"] == "sinuate-stakeout/1"
    stakes, rows = done.json["stakes"], rows_of(site.parent / "plan" / "stakeout.csv")
    assert list(rows[0]) == ["point", "northing", "easting", "elevation", "description"]
    assert len(rows) == len(stakes) > 30
    for row, stake in zip(rows, stakes, strict=True):
        assert row == {
            "point": str(stake["point"]),
            "northing": f"{stake['y']:.2f}",
            "easting": f"{stake['x']:.2f}",
            "elevation": "98.50",
            "description": stake["description"],
        }
        assert stake["z"] == 98.5
    assert {path.name for path in (site.parent / "plan").iterdir()} == {"stakeout.csv", "stakeout.pdf"}


def test_the_plan_has_the_same_stakes(sinuate: Command, site: Path) -> None:
    alone = sinuate("stakeout", site, "--out", site.parent / "alone", "--json").json
    assert sinuate("plan", site).code == 0
    layout = json.loads((site.parent / "plan" / "layout.json").read_text(encoding="utf-8"))
    assert (layout["stakes"], layout["staking"]) == (alone["stakes"], alone["staking"])
    assert {"stakeout.csv", "stakeout.pdf", "plan.dxf"} <= {
        path.name for path in (site.parent / "plan").iterdir()
    }
    assert (site.parent / "plan" / "stakeout.csv").read_bytes() == (
        site.parent / "alone" / "stakeout.csv"
    ).read_bytes()
    rows = {row["item"]: row for row in rows_of(site.parent / "plan" / "takeoff.csv")}
    on_runs = sum(stake["run"] is not None for stake in layout["stakes"])
    assert [int(rows[item]["net"]) for item in ("stake", "other stake")] == [
        on_runs,
        len(layout["stakes"]) - on_runs,
    ]
    for stake in layout["stakes"]:
        place = complex(stake["x"], stake["y"])
        if stake["ties"]:
            assert abs(by_ties(stake) - place) <= stake["ties_error"] + 1e-9
        assert (
            abs(by_baseline(stake, layout["staking"]["baseline"]) - place)
            <= stake["baseline"]["error"] + 1e-9
        )
    for run in layout["runs"]:
        on = sorted((s["station"], s) for s in layout["stakes"] if s["run"] == run["name"])
        assert [on[0][0], on[-1][0]] == [0, pytest.approx(run["length"], abs=0.0251)]
        assert (on[0][1]["x"], on[0][1]["y"]) == pytest.approx(run["points"][0], abs=0.0051)


def test_the_point_file_can_be_read_back(sinuate: Command, site: Path) -> None:
    """By the tool's own reader of survey files, with northing and easting in their places; heights known or not."""
    for levels in ("98.5", "[[500, 190, 90], [520, 190, 91], [520, 220, 92], [500, 220, 90]]"):
        done = sinuate("stakeout", site, "--json", "--set", f"bed.levels={levels}")
        table = read_points(site.parent / "plan" / "stakeout.csv")
        stakes = done.json["stakes"]
        assert list(table.xy) == [(stake["x"], stake["y"]) for stake in stakes]
        assert list(table.z) == [stake["z"] for stake in stakes]
    assert None in table.z


def test_the_table_is_for_the_crew(sinuate: Command, site: Path) -> None:
    done = sinuate("stakeout", site)
    assert (done.code, done.err) == (0, "")
    document = sinuate("stakeout", site, "--json").json
    lines = {words[0]: words for line in done.out.splitlines() if (words := line.split())}
    for stake in document["stakes"]:
        offset = stake["baseline"]["offset"]
        side = "" if offset == 0 else " R" if offset > 0 else " L"
        wanted = f"{stake['point']} {stake['description']} {stake['baseline']['station']:.2f} {abs(offset):.2f}{side}"
        words = lines[str(stake["point"])]
        if stake["ties"]:
            tied = " ".join(f"{tie['distance']:.2f} {tie['name']}" for tie in stake["ties"])
            wanted += f" {tied} {stake['side']}"
            *words, crossing, error = words
            assert float(crossing) == pytest.approx(stake["crossing"], abs=0.55)
            assert float(error) == stake["ties_error"]
        assert " ".join(words) == wanted
    assert "stands at the first point and faces the second" in done.out
    assert "have buried utilities located" in done.out
    written = next(line for line in done.out.splitlines() if line.startswith("Written: "))
    assert all(str(site.parent / "plan" / name) in written for name in ("stakeout.pdf", "stakeout.csv"))


def test_feet_and_inches(sinuate: Command, site: Path) -> None:
    done = sinuate("stakeout", site, "--set", 'stakeout.rounding="1/8 in"', "--set", "stakeout.interval=7.3")
    assert "lengths in feet and inches" in done.out
    document = sinuate("stakeout", site, "--json", "--set", 'stakeout.rounding="1/8 in"').json
    assert document["staking"]["rounding"] == "1/8 in"
    for stake in document["stakes"]:
        eighths = stake["baseline"]["station"] * 96
        assert eighths == pytest.approx(round(eighths), abs=1e-6)


def test_a_given_baseline_and_no_ties(sinuate: Command, site: Path) -> None:
    site.write_text(SITE[: SITE.index("ties =")] + "baseline = [[495, 212], [565, 212]]\n")
    done = sinuate("stakeout", site)
    assert (
        "Baseline: from A (E 495.00, N 212.00) to B (E 565.00, N 212.00), 70.00 long, as given." in done.out
    )
    assert "No swing ties" in done.out
    assert "first tape" not in done.out
    document = sinuate("stakeout", site, "--json").json
    for stake in document["stakes"]:
        assert stake["ties"] == []
        assert stake["baseline"]["station"] == pytest.approx(stake["x"] - 495, abs=0.0251)
        assert stake["baseline"]["offset"] == pytest.approx(212 - stake["y"], abs=0.0251)


def test_faults_leave_nothing_behind(sinuate: Command, site: Path) -> None:
    done = sinuate("stakeout", site, "--set", 'stakeout.rounding="1 cm"')
    assert done.code == 2
    assert 'stakeout.rounding: "1 cm" is on no tape' in done.err
    assert not (site.parent / "plan").exists()
