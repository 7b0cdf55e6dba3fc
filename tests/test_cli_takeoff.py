"""``sinuate takeoff``: what is printed, written and compared."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from tests.command import Command

SITE = """
title = "{title}"
units = "ft"

[bed]
outline = [[500, 200], [{east}, 200], [{east}, 208], [500, 208]]

[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6
coil = 100.0

[runs]
spacing = 2.0
pattern = "left"

[pump]
at = [490, 215]
"""


def site(folder: Path, title: str = "Short Strip", east: int = 560) -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / "site.toml"
    path.write_text(SITE.format(title=title, east=east))
    return path


def test_what_is_printed_and_written(sinuate: Command, tmp_path: Path) -> None:
    done = sinuate("takeoff", site(tmp_path))
    assert done.code == 0
    assert sorted(path.name for path in (tmp_path / "plan").iterdir()) == ["takeoff.csv", "takeoff.xlsx"]
    # four runs of 58 ft and their 5 %: one to a coil of 100 ft
    assert "Emitting tubing in 4 coils of 100 ft, each piece with 5 % of waste; no way" in done.out
    assert "Cut lengths add up to 232.00 ft." in done.out
    assert "With runs spliced anywhere 3 coils would do" in done.out
    assert "Not counted: pump, tank and openings in its wall, filter, meter" in done.out
    with (tmp_path / "plan" / "takeoff.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            line = next(line for line in done.out.splitlines() if line.strip().startswith(f"{row['item']}  "))
            assert row["net"] in line.split()


def test_the_document(sinuate: Command, tmp_path: Path) -> None:
    done = sinuate(
        "takeoff", site(tmp_path), "--json", "--out", tmp_path / "there", "--set", "tubing.coil=500"
    )
    found = done.json
    assert found["format"] == "sinuate-takeoff/1"
    tubing = next(line for line in found["takeoff"] if line["item"] == "emitting tubing")
    runs = math.fsum(run["length"] for run in found["runs"])
    assert tubing["net"] == pytest.approx(runs, rel=1e-12)
    assert math.fsum(cut["length"] for cut in found["coils"]["cuts"]) == pytest.approx(runs, rel=1e-12)
    assert (tubing["order"], tubing["packs"], found["coils"]["count"]) == (500.0, 1, 1)
    assert found["cost"] is None
    assert (tmp_path / "there" / "takeoff.xlsx").is_file()


def test_prices_and_wastes_of_the_users(sinuate: Command, tmp_path: Path) -> None:
    path = site(tmp_path)
    path.write_text(
        path.read_text()
        + '[takeoff]\nprices = "prices.csv"\nwaste = { "stake" = 50.0, "tubing and pipe" = 0 }\n'
    )
    (tmp_path / "prices.csv").write_text(
        "item,unit,price\nemitting tubing,coil,80\nstake,ea,0.40\nsand,cu yd,30\n"
    )
    found = sinuate("takeoff", path, "--json").json
    lines = {line["item"]: line for line in found["takeoff"]}
    stakes = math.ceil(lines["stake"]["net"] * 1.5)
    assert (lines["stake"]["waste"], lines["stake"]["order"]) == (0.5, stakes)
    assert lines["supply line pipe"]["waste"] == 0
    # four runs of 58 ft: one to a coil of 100 ft
    assert (lines["emitting tubing"]["cost"], lines["stake"]["cost"]) == (320.0, pytest.approx(0.4 * stakes))
    assert found["cost"] == pytest.approx(320.0 + 0.4 * stakes)
    assert found["idle_prices"] == "No line of this takeoff takes these prices: sand."
    assert found["without_price"] == sum(line["order"] > 0 for line in found["takeoff"]) - 2
    with (tmp_path / "plan" / "takeoff.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["item"]: row for row in csv.DictReader(file)}
    assert [rows["emitting tubing"][key] for key in ("price", "per", "cost")] == ["80", "coil", "320.00"]
    assert rows["marking paint"]["cost"] == ""
    said = sinuate("takeoff", path).out
    assert (
        f"Cost of what has a price: {found['cost']:,.2f}; {found['without_price']} lines have no price."
        in said
    )
    beside = sinuate("takeoff", path, "--patterns", "left,centre").out
    assert f"{found['cost']:,.2f}" in beside


def test_prices_that_are_none_stop_before_anything_is_written(sinuate: Command, tmp_path: Path) -> None:
    path = site(tmp_path)
    path.write_text(path.read_text() + '[takeoff]\nprices = "prices.csv"\n')
    (tmp_path / "prices.csv").write_text("item,unit,price\nstake,coil,x\n")
    done = sinuate("takeoff", path)
    assert done.code == 2
    assert len(done.err.splitlines()) == 2
    assert 'prices.csv: line 2: "x" is no price.' in done.err
    assert not (tmp_path / "plan").exists()


def test_long_runs_are_spliced_and_the_places_told(sinuate: Command, tmp_path: Path) -> None:
    done = sinuate("takeoff", site(tmp_path), "--set", "tubing.coil=50")
    # 50 / 1.05 = 47.6: 46 is the last place before it midway between two emitters
    assert "Splice in R1 at 46.00 ft from its manifold end, (" in done.out
    assert done.out.count("Splice in R") == 4


def test_two_sites_side_by_side(sinuate: Command, tmp_path: Path) -> None:
    one, other = site(tmp_path / "a"), site(tmp_path / "b", "Long Strip", 580)
    done = sinuate("takeoff", one, "--against", other)
    assert done.code == 0
    row = next(line for line in done.out.splitlines() if line.strip().startswith("tubing trench"))
    short, long, apart = row.split()[-3:]
    assert float(apart) == pytest.approx(float(long) - float(short), abs=0.005)
    assert "Short Strip" in done.out
    assert not (tmp_path / "a" / "plan").exists()
    found = sinuate("takeoff", one, "--against", other, "--json").json
    assert [each["title"] for each in found["layouts"]] == ["Short Strip", "Long Strip"]
    net = {line["item"]: line["net"] for line in found["lines"]}
    assert net["emitting tubing"] == pytest.approx([232.0, 312.0])
    assert net["supply riser"] == [2, 2]


def test_two_patterns_side_by_side(sinuate: Command, tmp_path: Path) -> None:
    found = sinuate("takeoff", site(tmp_path), "--patterns", "left,centre", "--json").json
    assert [each["pattern"] for each in found["layouts"]] == ["left", "centre"]


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        (["--patterns", "left"], "--patterns names two patterns or more"),
        (["--patterns", "left,sideways"], '--patterns left,sideways: runs.pattern: found "sideways"'),
        (["--against", "nowhere.toml"], "nowhere.toml: there is no such file"),
    ],
)
def test_what_cannot_be_compared(sinuate: Command, tmp_path: Path, extra: list[str], said: str) -> None:
    done = sinuate("takeoff", site(tmp_path), *extra)
    assert done.code == 2
    assert said in done.err


def test_sites_in_other_units_are_not_compared(sinuate: Command, tmp_path: Path) -> None:
    other = site(tmp_path / "b")
    other.write_text(other.read_text().replace('units = "ft"', 'units = "m"'))
    done = sinuate("takeoff", site(tmp_path / "a"), "--against", other)
    assert done.code == 2
    assert "different units: ft and m" in done.err


def test_the_folder_that_cannot_be_made_is_named_not_the_one_above(
    sinuate: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(**_: object) -> str:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("layout.sheets.whole.tempfile.mkdtemp", refused)
    done = sinuate("takeoff", site(tmp_path), "--out", tmp_path / "nope")
    assert done.code == 2
    assert done.err.startswith(f"{tmp_path / 'nope'}: cannot be written (Read-only file system)")
