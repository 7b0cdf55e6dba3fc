"""``sinuate check``: areas and takes, as text and as JSON, and nothing written."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from tests.command import Command

SITES = Path(__file__).parent / "sites"


def test_text(sinuate: Command) -> None:
    done = sinuate("check", SITES / "corner.toml")
    assert done.code == 0
    assert done.err == ""
    lines = [line.split() for line in done.out.splitlines()]
    # an L of two arms 60 by 12: 60 x 12 + 48 x 12
    assert ["bed", "1,296", "ft²"] in lines
    assert any(line[:1] == ["birch"] and line[3:] == ["tree,", "setback", "2.00", "ft"] for line in lines)
    assert any(line[:2] == ["usable", "ground"] for line in lines)
    assert "The bed lies in E 0.00 to 60.00, N 0.00 to 60.00 ft." in done.out


def test_json(sinuate: Command) -> None:
    content = sinuate("check", SITES / "corner.toml", "--json").json
    assert content["format"] == "sinuate-check/1"
    assert content["units"] == "ft"
    assert content["crs"] is None
    bed = content["bed"]
    assert bed["area"] == pytest.approx(1296.0)
    assert bed["outline"][0] == bed["outline"][-1]
    assert {tuple(point) for point in bed["outline"]} >= {(60.0, 12.0), (12.0, 12.0)}
    well, birch = content["features"]
    assert (well["shape"], well["setback"], well["takes"]) == ("point", 50.0, 0.0)
    # a circle of radius 2 about the tree: a regular polygon just over it
    assert birch["takes"] == pytest.approx(3.14159 * 4, rel=1e-3)
    assert (birch["kind"], birch["inside"]) == ("tree", True)
    # an L's clearance strip: its edge is 240 long; less a square at each convex corner, plus a quarter disc
    assert bed["usable_area"] == pytest.approx(
        1296 - 240 + 5 - 0.5 * 3.14159 / 2 - birch["takes"] + 0.0, abs=1.0
    )
    assert bed["usable_pieces"] == 1
    assert content["notes"] == []


def test_settings_and_notes(sinuate: Command, tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text((SITES / "rectangle.toml").read_text().replace("[100, 12],", "[100, 12], [100, 12],"))
    done = sinuate("check", path, "--set", "bed.clearance=2", "--set", "title=Lot 9")
    assert done.code == 0
    assert done.out.startswith("Lot 9: ")
    assert "768 ft²" in done.out  # 96 x 8
    assert done.err == (
        "Note: set for this once, not in the site file: bed.clearance=2.\n"
        "Note: set for this once, not in the site file: title=Lot 9.\n"
        "Note: bed.outline: 1 point that repeats the one before was dropped: point 4 at (100.00, 12.00).\n"
    )
    quiet = sinuate("check", path, "--json")
    assert quiet.err == ""
    assert len(quiet.json["notes"]) == 1


def test_metres_and_coordinates(sinuate: Command) -> None:
    content = sinuate("check", SITES / "every_key.toml", "--json").json
    assert content["crs"] == "EPSG:26919"
    assert content["bed"]["area"] == pytest.approx(120.0)
    assert content["bed"]["outline"][0] == pytest.approx([300000.0, 4700000.0])


@pytest.mark.parametrize("name", ["sliver", "swallowed"])
def test_no_room_is_one(sinuate: Command, name: str) -> None:
    done = sinuate("check", SITES / f"{name}.toml")
    assert (done.code, done.out) == (1, "")
    assert done.err.count("\n") == 1


def test_nothing_is_written(sinuate: Command, tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text((SITES / "rectangle.toml").read_text())
    sinuate("check", path)
    assert [entry.name for entry in tmp_path.iterdir()] == ["site.toml"]


def test_a_terminal_gets_a_ruled_table(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from cli import say

    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    say.table(("lateral", "tubing"), [("L1", "120.00 ft"), ("L2", "98.00 ft")])
    out = capsys.readouterr().out
    assert "─" in out
    assert "120.00 ft" in out


def test_a_plain_table_has_no_rules(capsys: pytest.CaptureFixture[str]) -> None:
    from cli import say

    say.table(("lateral", "tubing", "note"), [("L1", "120.00 ft", ""), ("L2", "98.00 ft", "short")])
    assert capsys.readouterr().out == (
        "  lateral     tubing  note\n  L1       120.00 ft\n  L2        98.00 ft  short\n"
    )
    say.table(("a",), [])
    assert capsys.readouterr().out == ""


def test_what_no_plan_holds_is_refused_here_too(sinuate: Command, tmp_path: Path) -> None:
    """Else check calls a site sound that plan then refuses."""
    ring = [[100 * math.cos(k / 700), 100 * math.sin(k / 700)] for k in range(4300)]
    text = (SITES / "rectangle.toml").read_text()
    path = tmp_path / "site.toml"
    path.write_text(re.sub(r"outline = \[\[.*", f"outline = {ring}", text))
    done = sinuate("check", path)
    assert (done.code, done.out) == (1, "")
    assert "bed.outline: the outline has 4,300 corners; a plan takes 2,000 at most." in done.err
    dense = sinuate("check", SITES / "rectangle.toml", "--set", "runs.spacing=0.002")
    assert dense.code == 1
    assert "runs.spacing: asks for about 600,000 ft of tubing" in dense.err
    trees = "".join(
        f'[[feature]]\nsetback = 0.1\nkind = "tree"\ninside = true\nshape = [{1.5 * k + 2}, {y}]\n'
        for k in range(40)
        for y in (8, 12)
    )
    path.write_text((SITES / "rectangle.toml").read_text() + trees)
    wooded = sinuate("check", path)
    assert (wooded.code, wooded.out) == (1, "")
    assert "feature: setbacks reach into the bed at 80 places; a plan where all patterns are" in wooded.err
    assert sinuate("check", path, "--set", "runs.pattern=left").code == 0
    assert sinuate("plan", SITES / "rectangle.toml", "--set", "runs.spacing=0.002").err == dense.err


@pytest.mark.parametrize(
    ("kind", "shape", "inside", "asked"),
    [
        (
            "building",
            "[[20, 4], [40, 4], [40, 30], [20, 30], [20, 4]]",
            False,
            "takes 160 ft² of the bed; is the outline",
        ),
        ("well", "[50, 6]", False, "stands in the bed; is the outline right?"),
        ("tree", "[50, 6]", True, ""),
        ("building", "[[20, 12], [40, 12], [40, 30], [20, 30], [20, 12]]", False, ""),
        ("water line", "[[50, -9], [50, 30]]", False, ""),
        (
            "tank",
            "[[20, 4], [40, 4], [40, 30], [20, 30], [20, 4]]",
            True,
            "is marked inside but reaches out of the bed",
        ),
        ("tree", "[50, 26]", True, "is marked inside but lies outside the bed"),
    ],
)
def test_what_stands_in_the_bed_unasked(
    sinuate: Command, tmp_path: Path, kind: str, shape: str, inside: bool, asked: str
) -> None:
    text = (SITES / "rectangle.toml").read_text()
    text += f'\n[[feature]]\nname = "it"\nkind = "{kind}"\nshape = {shape}\nsetback = 1\n'
    text += f"inside = {str(inside).lower()}\n"
    path = tmp_path / "site.toml"
    path.write_text(text, encoding="utf-8")
    done = sinuate("check", path)
    assert done.code == 0
    assert f"Note: feature it {asked}" in done.err if asked else done.err == ""


@pytest.mark.parametrize(("at", "asked"), [("[50, 6]", True), ("[50, 12]", False), ("[50, -3]", False)])
def test_a_pump_in_the_bed_is_asked_about(sinuate: Command, at: str, asked: bool) -> None:
    done = sinuate("check", SITES / "rectangle.toml", "--set", f"pump.at={at}")
    assert done.code == 0
    assert ("the pump stands in the bed" in done.err) == asked


def test_ground_and_tubing_needed_and_what_is_hardly_meant(sinuate: Command, tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text(
        (SITES / "rectangle.toml").read_text()
        + '[design]\nflow = 240\nloading = 0.2\n[[feature]]\nname = "hall"\nkind = "building"\n'
        + "shape = [[0, 40], [20, 40], [20, 60], [0, 60], [0, 40]]\nsetback = 5\n"
        + '[[feature]]\nname = "pump tank"\nkind = "tank"\nshape = [[40, 40], [50, 40], [50, 50], [40, 40]]\n'
        + "setback = 5\n[pump]\nat = [10, 50]\n"
    )
    options = ("--set", "runs.spacing=2", "--set", "tubing.bend_radius=18")
    done = sinuate("check", path, *options)
    assert done.code == 0
    lines = [" ".join(line.split()) for line in done.out.splitlines()]
    # 240 gal/day over 0.2 gal/ft2/day: 1200 ft2, and 600 ft of tubing 2 ft apart; 98 x 10 ft are usable
    assert "ground needed 1,200 ft² for 240 gal/day at 0.2 gal/ft²/day; usable ground LACKS 220 ft²" in lines
    assert "tubing needed 600.00 ft for that ground, with runs 2.00 ft apart" in lines
    (bend, pump) = [line for line in lines if line.startswith("Look")]
    assert bend.startswith("Look: tubing.bend_radius is 18 ft")
    assert "is this meant? Write the tightest bend" in bend
    assert pump.startswith("Look: pump.at lies in hall, not in pump tank")
    found = sinuate("check", path, *options, "--json").json
    assert found["needed"] == pytest.approx({"ground": 1200.0, "tubing": 600.0})
    assert [item["code"] for item in found["findings"]] == ["is-this-meant"] * 2
    assert sinuate("check", SITES / "corner.toml", "--json").json["needed"] is None
