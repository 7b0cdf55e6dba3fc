"""The command as a whole: quick to start, lean, and every error one line on stderr with its exit code."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from layout.errors import Fault, FrameError, NoRoomError, ReadError, SheetError, SiteError
from tests.command import Command

HEAVY = ("shapely", "numpy", "scipy", "matplotlib", "ezdxf", "pyproj", "pydantic", "rich", "contourpy")
SITES = Path(__file__).parent / "sites"


def python(code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; sys.argv = ['sinuate', '--help']\n"
        "from cli.main import run\n"
        "try: run()\n"
        "except SystemExit: pass\n"
        f"print([name for name in {HEAVY} if name in sys.modules], file=sys.stderr)"
    )
    done = python(code)
    assert "Commands:" in done.stdout
    assert done.stderr.strip() == "[]"


def test_help_starts_soon() -> None:
    def best_of(code: str) -> float:
        times = []
        for _ in range(4):
            started = time.perf_counter()
            python(code)
            times.append(time.perf_counter() - started)
        return min(times)

    bare = best_of("import typer")
    ours = best_of("import sys; sys.argv = ['sinuate', '--help']; from cli.main import run; run()")
    assert ours <= 2.5 * bare


@pytest.mark.parametrize("command", ["new", "check", "plan"])
def test_every_command_has_help(sinuate: Command, command: str) -> None:
    done = sinuate(command, "--help")
    assert done.code == 0
    assert "Usage: sinuate" in done.out
    for option in {"check": ["--json", "--set"], "plan": ["--json", "--set", "--out", "--strict"]}.get(
        command, []
    ):
        assert option in done.out
    assert command in sinuate("--help").out


def test_version(sinuate: Command) -> None:
    from layout import __version__

    done = sinuate("--version")
    assert (done.code, done.out) == (0, f"sinuate {__version__}\n")


@pytest.mark.parametrize(
    "arguments",
    [["plann"], ["check"], ["check", "--bogus"], ["new", "--units", "yd", "x"], ["plan", "--set"]],
)
def test_a_wrong_command_line_is_two(sinuate: Command, arguments: list[str]) -> None:
    done = sinuate(*arguments)
    assert done.code == 2
    assert done.out == ""
    assert "Traceback" not in done.err
    assert done.err


@pytest.mark.parametrize(
    ("error", "code"), [(ReadError, 2), (SiteError, 2), (FrameError, 2), (SheetError, 2), (NoRoomError, 1)]
)
def test_exit_codes(
    sinuate: Command, monkeypatch: pytest.MonkeyPatch, error: type[Exception], code: int
) -> None:
    def fail(*_: object) -> None:
        raise error(
            Fault(file="a.toml", field="b.c", said="it is wrong", remedy="Mend it."), Fault(said="this too")
        )

    monkeypatch.setattr("layout.readers.sitefile.read_site", fail)
    for also in ([], ["--json"]):
        done = sinuate("check", "a.toml", *also)
        assert (done.code, done.out) == (code, "")
        assert done.err == "a.toml: b.c: it is wrong. Mend it.\nthis too.\n"


def test_an_unexpected_error_asks_for_a_report(sinuate: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError("in\nthe field")

    monkeypatch.setattr("layout.readers.sitefile.read_site", fail)
    done = sinuate("check", "a.toml")
    assert done.code == 2
    assert done.err.startswith("sinuate: unexpected error (ZeroDivisionError: in the field).")
    assert "report it" in done.err
    assert len(done.err.splitlines()) == 1
    done = sinuate("--traceback", "check", "a.toml")
    assert done.code == 2
    assert "Traceback" in done.err
    assert "def fail" not in done.out


def test_an_ascii_terminal_is_no_error() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "cli.main", "check", str(SITES / "rectangle.toml")],
        capture_output=True,
        env={"PYTHONIOENCODING": "ascii", "PATH": "", "PYTHONPATH": str(SITES.parent.parent)},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert b"1,200 ft" in done.stdout


def test_bad_sites_end_in_two_and_leave_no_file(sinuate: Command, tmp_path: Path) -> None:
    for name in ("many", "toml_quote", "crs_other_foot", "csv_words"):
        for command in (["check"], ["plan", "--out", tmp_path / "plan"]):
            done = sinuate(*command, SITES / "bad" / f"{name}.toml")
            expected = (SITES / "bad" / f"{name}.expected").read_text()
            assert (done.code, done.out) == (2, "")
            assert done.err.replace(f"{SITES / 'bad'}/", "") == expected
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "arguments",
    [["plan"], ["stakeout"], ["takeoff"], ["startup"], ["compare"], ["asbuilt", "shots.csv"]],
    ids=lambda arguments: arguments[0],
)
def test_every_command_that_writes_tells_what_a_killed_run_left(
    sinuate: Command, tmp_path: Path, arguments: list[str]
) -> None:
    """Half of a set was moved in when its program was killed: said at once, even before the site is read."""
    folder, work = tmp_path / "plan", tmp_path / "plan" / ".sheets-dead"
    (work / "earlier").mkdir(parents=True)
    (work / "owner").touch()
    (work / "earlier" / "takeoff.csv").write_bytes(b"earlier")
    (folder / "takeoff.csv").write_bytes(b"half of a set")
    record = {"work": work.as_posix(), "names": ["takeoff.csv"], "had": ["takeoff.csv"]}
    (folder / ".sheets-moving").write_text(json.dumps(record))
    command, *rest = arguments
    done = sinuate(command, tmp_path / "missing.toml", *rest, "--out", folder)
    assert done.code == 2
    assert done.err.startswith(
        f"Note: An earlier run was cut short as it wrote {folder}; put back as before it"
    )
    assert "missing.toml" in done.err
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == {"takeoff.csv": b"earlier"}
