"""``sinuate new``: a site that is sound as it stands, and never at the cost of a file that is there."""

from __future__ import annotations

import re
import signal
from pathlib import Path

import pytest

from cli.new import write_new
from cli.starter import starter_files
from layout.errors import SheetError
from layout.model import ZoneRules
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.readers.validate import known_keys
from layout.usable import usable_ground
from tests.command import Command


@pytest.mark.parametrize("units", ["ft", "us-ft", "m"])
def test_the_new_site_is_sound(sinuate: Command, tmp_path: Path, units: str) -> None:
    folder = tmp_path / "deep" / "lot 7"
    done = sinuate("new", folder, "--units", units)
    assert done.code == 0
    assert done.err == ""
    assert str(folder / "site.toml") in done.out
    site = read_site(folder / "site.toml")
    assert site.frame.units.word == units
    assert site.notes == ()
    ground = usable_ground(site.bed, site.features)
    assert ground.area.area > 0.7 * site.bed.outline.area
    assert [take.feature for take in ground.takes if take.area > 0] == ["oak"]


def test_feet_are_the_default(sinuate: Command, tmp_path: Path) -> None:
    sinuate("new", tmp_path / "a")
    assert read_site(tmp_path / "a" / "site.toml").frame.units.word == "ft"


def test_the_first_plan_has_one_manifold_of_each_kind(sinuate: Command, tmp_path: Path) -> None:
    """Its seven rows make an odd lateral, which is led back rather than flushed through a line round the dwelling."""
    sinuate("new", tmp_path / "a")
    design = plan_field(read_site(tmp_path / "a" / "site.toml"))
    assert [pipe.kind for pipe in design.plumbing.manifolds] == ["supply", "return"]
    supply, back = (pipe.line.length for pipe in design.plumbing.lines)
    assert back < 1.2 * supply
    assert {item.code for item in design.findings} >= {"led-back"}
    assert all(check.ok for check in design.checks)


def test_json(sinuate: Command, tmp_path: Path) -> None:
    done = sinuate("new", tmp_path / "a", "--json")
    assert done.json == {"files": [str(tmp_path / "a" / name) for name in starter_files("ft")]}
    assert all(Path(name).is_file() for name in done.json["files"])


@pytest.mark.parametrize("units", ["ft", "us-ft", "m"])
def test_the_new_site_names_every_key(units: str) -> None:
    text = starter_files(units)["site.toml"]
    for table, keys in known_keys().items():
        for key in keys:
            assert re.search(rf"^(# )?(\[+)?{key}(\]+)?( =|$)", text, re.MULTILINE), f"{table}.{key}"


@pytest.mark.parametrize("units", ["ft", "us-ft", "m"])
def test_what_is_remarked_out_can_be_taken_in(tmp_path: Path, units: str) -> None:
    files = starter_files(units)
    text = re.sub(r"^# (\[?[a-z_]+\]?( = .*)?)$", r"\1", files["site.toml"], flags=re.MULTILINE)
    text = text.replace('"EPSG', '"EPSG')
    text = re.sub(r"^most_flow", "# most_flow", text, flags=re.MULTILINE)  # it stands instead of count
    for name, content in files.items():
        (tmp_path / name).write_text(content)
    (tmp_path / "guide.csv").write_text(files["bed.csv"].split("\n", 22)[0] + "\n0,0\n9,0\n")
    (tmp_path / "prices.csv").write_text("item,unit,price\nstake,ea,0.40\n")
    (tmp_path / "site.toml").write_text(text)
    site = read_site(tmp_path / "site.toml")
    assert [price.amount for price in site.takeoff.prices] == [0.4]
    assert site.frame.crs is not None
    assert site.runs.most == 8
    assert site.zones == ZoneRules(count=2)
    assert site.runs.guide is not None
    assert site.tubing.emitter_exponent == 0.5


def test_nothing_is_overwritten(sinuate: Command, tmp_path: Path) -> None:
    (tmp_path / "bed.csv").write_text("mine")
    done = sinuate("new", tmp_path)
    assert done.code == 2
    assert (
        done.err
        == f"{tmp_path / 'bed.csv'}: the file is there already. Name a new folder, or move them away.\n"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["bed.csv"]
    assert (tmp_path / "bed.csv").read_text() == "mine"


def test_a_folder_that_cannot_be(sinuate: Command, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for folder in (tmp_path / "file", tmp_path / "file" / "lot", tmp_path / ("long" * 100)):
        done = sinuate("new", folder)
        assert done.code == 2
        assert "cannot be written to" in done.err
        assert "Traceback" not in done.err
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_all_or_nothing(sinuate: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    texts = {"site.toml": "a", "bed.csv": "b", "no/where.csv": "c"}
    monkeypatch.setattr("cli.starter.starter_files", lambda _units: texts)
    done = sinuate("new", tmp_path / "new" / "lot")
    assert done.code == 2
    assert list(tmp_path.iterdir()) == []


class Stopping(str):
    """A text at whose writing the program is stopped from outside."""

    by: signal.Signals

    def encode(self, *_: object) -> bytes:
        signal.raise_signal(self.by)
        return b"written all the same"


@pytest.mark.parametrize("by", [signal.SIGTERM, signal.SIGINT])
def test_stopped_midway_it_leaves_nothing(
    sinuate: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, by: signal.Signals
) -> None:
    last = Stopping("c")
    last.by = by
    monkeypatch.setattr("cli.starter.starter_files", lambda _units: {"site.toml": "a", "bed.csv": last})
    (tmp_path / "old").mkdir()
    before = {one: signal.getsignal(one) for one in (signal.SIGTERM, signal.SIGINT)}
    # a run in the background of a shell is begun deaf to the keyboard, and the program would rightly stay so
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        for folder in (tmp_path / "new" / "lot", tmp_path / "old"):
            done = sinuate("new", folder)
            assert done.code not in {0, 2}
            assert "Traceback" not in done.err
            assert [path.name for path in tmp_path.rglob("*")] == ["old"]
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


def test_a_file_that_somebody_else_writes_meanwhile_is_left_alone(tmp_path: Path) -> None:
    class Slow(str):
        __slots__ = ()

        def encode(self, *_: object) -> bytes:
            (tmp_path / "bed.csv").write_text("theirs")
            return b"a"

    with pytest.raises(SheetError):
        write_new(tmp_path, {"site.toml": Slow("a"), "bed.csv": "b"})
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("bed.csv", "theirs")]
