"""The whole command ``plan`` over a bare script, and what its stages take and hold, on every example.

The bare script imports the same libraries and saves one PNG, PDF and DXF of as many lines and texts as the plan's
(`tests/bench/drawings.py` has it); both run in processes of their own. Processor time, the median of three. On the
serpentine example at most 2.5 times is allowed.

Run: ``python tests/bench/whole.py [EXAMPLE ...]``
"""

from __future__ import annotations

import itertools
import os
import pickle
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

EXAMPLES = ROOT / "examples"
ALLOWED = {"serpentine": 2.5}
ROUNDS = 3
BARE = """
import pickle, sys
from pathlib import Path
import numpy, scipy.spatial, scipy.sparse.linalg, scipy.optimize, shapely, contourpy, pyproj, matplotlib, ezdxf
import typer, pydantic, xlsxwriter
sys.path.insert(0, sys.argv[1])
from tests.bench import bare
bare.save(*pickle.loads(Path(sys.argv[2]).read_bytes()), Path(sys.argv[3]))
"""


def main(names: Sequence[str]) -> int:
    """Print a line an example, then its stages; 1 where one takes more than is allowed."""
    slow = 0
    for name in names:
        site = EXAMPLES / name / "site.toml"
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder)
            content = _drawn(site, out)
            own = [
                _run("-m", "cli.main", "plan", str(site), "--out", str(out / "plan")) for _ in range(ROUNDS)
            ]
            bare = [_run("-c", BARE, str(ROOT), str(content), str(out)) for _ in range(ROUNDS)]
        took, base = (statistics.median(seconds for seconds, _ in runs) for runs in (own, bare))
        most = ALLOWED.get(name)
        verdict = (
            "" if most is None else f"   {'ok' if took <= most * base else 'TOO SLOW'}: at most {most:g} x"
        )
        slow += most is not None and took > most * base
        memory = max(held for _, held in own) / 2**20
        print(
            f"{name:12} {took:6.2f} s {base:6.2f} s bare {took / base:6.2f} x {memory:6.0f} MiB{verdict}",
            flush=True,
        )
        _stages(site)
    return int(slow > 0)


def _run(*command: str) -> tuple[float, int]:
    """Processor time [s] and greatest memory [bytes] of a process."""
    child = os.fork()
    if child == 0:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1)
        os.dup2(null, 2)
        os.chdir(ROOT)
        os.execv(sys.executable, [sys.executable, *command])
    _, status, used = os.wait4(child, 0)
    if status != 0:
        raise SystemExit(f"failed: {' '.join(command[:4])}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss * 1024


def _drawn(site: Path, out: Path) -> Path:
    """Write down the lines and texts of a plan's sheets for the bare script."""
    from layout.plan import plan_field
    from layout.readers.sitefile import read_site
    from layout.sheets.drafting import draft
    from tests.bench.bare import plain

    drawing = draft(plan_field(read_site(site)))
    sheets = [plain(drawing, sheet) for sheet in drawing.sheets]
    path = out / "drawn.pickle"
    path.write_bytes(pickle.dumps(((drawing.paper.width, drawing.paper.height), sheets)))
    return path


def _stages(site: Path) -> None:
    """Print what each stage and each file takes, in this process, once."""
    from layout.plan import plan_field
    from layout.readers.sitefile import read_site
    from layout.sheets.write import plan_makers

    marks: list[tuple[str, float]] = []
    design = plan_field(read_site(site), progress=lambda name: marks.append((name, time.process_time())))
    marks.append(("", time.process_time()))
    for (name, begin), (_, end) in itertools.pairwise(marks):
        print(f"    {name:32} {end - begin:7.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        for name, make in plan_makers(design):
            begin = time.process_time()
            make(Path(folder) / name)
            print(f"    {name:32} {time.process_time() - begin:7.2f} s", flush=True)


if __name__ == "__main__":
    every = sorted(path.parent.name for path in EXAMPLES.glob("*/site.toml"))
    sys.exit(main(sys.argv[1:] or every))
