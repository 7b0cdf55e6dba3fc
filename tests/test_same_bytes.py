"""The same site gives the same bytes, file by file, whatever the machine's seed, clock, time zone or folder."""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parents[1]
SITE = ROOT / "tests" / "sites" / "every_key.toml"
MACHINES = (
    {"PYTHONHASHSEED": "1", "TZ": "UTC"},
    {"PYTHONHASHSEED": "77", "TZ": "Asia/Tokyo", "SOURCE_DATE_EPOCH": "1500000000", "LC_ALL": "C"},
)


def planned(folder: Path, machine: dict[str, str]) -> dict[str, bytes]:
    """Every file of a plan, each by a process of its own."""
    run = subprocess.run(
        [sys.executable, "-m", "cli.main", "plan", str(SITE), "--coverage", "--out", str(folder)],
        env={**os.environ, **machine},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_every_file_of_a_plan_is_the_same_on_every_machine(tmp_path: Path) -> None:
    with ThreadPoolExecutor() as both:
        one, other = both.map(planned, (tmp_path / "one", tmp_path / "a" / "second"), MACHINES)
    assert one.keys() == other.keys()
    assert len(one) >= 10
    assert [name for name in one if one[name] != other[name]] == []
