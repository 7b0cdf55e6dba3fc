"""The example sites, each planned once by the command line for all tests of a run, whichever process they are in."""

from __future__ import annotations

import contextlib
import functools
import io
import pickle
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

from layout.model import Design

FOLDER = Path(__file__).resolve().parent.parent / "examples"
NAMES = sorted(path.parent.name for path in FOLDER.glob("*/site.toml"))
_PATIENCE = 300.0
"""How long a process waits for another one to plan an example [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """What ``sinuate plan examples/NAME/site.toml`` made and said; nobody may write into its folder."""

    name: str
    design: Design
    folder: Path
    code: int
    out: str
    err: str


def site_of(name: str) -> Path:
    """The site file of an example."""
    return FOLDER / name / "site.toml"


def shared(root: Path) -> Callable[[str], Example]:
    """Give what plans examples in a folder that all processes of a test run share, or reads what another planned."""

    @functools.cache
    def get(name: str) -> Example:
        place, kept = root / f"example-{name}", root / f"example-{name}.pickle"
        try:
            place.mkdir()
        except FileExistsError:
            _wait(kept)
        else:
            # what another process finds under its last name is whole
            draft = kept.with_suffix(".draft")
            draft.write_bytes(pickle.dumps(_planned(name, place)))
            draft.replace(kept)
        made: Example = pickle.loads(kept.read_bytes())
        return made

    return get


def _wait(kept: Path) -> None:
    end = time.monotonic() + _PATIENCE
    while not kept.exists():
        if time.monotonic() > end:
            raise TimeoutError(f"no process finished {kept.name}")
        time.sleep(0.1)


def _planned(name: str, folder: Path) -> Example:
    """Run the command in this process and keep the design that it writes down."""
    from cli.main import run
    from layout import plan

    made: list[Design] = []

    def keeping(*given: Any, **named: Any) -> Design:
        made.append(plan_field(*given, **named))
        return made[-1]

    plan_field = plan.plan_field
    out, err, code = io.StringIO(), io.StringIO(), 0
    command = ["sinuate", "plan", str(site_of(name)), "--out", str(folder)]
    with (
        mock.patch.object(plan, "plan_field", keeping),
        mock.patch("sys.argv", command),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            run()
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else 0
    assert made, err.getvalue()
    return Example(
        name=name, design=made[0], folder=folder, code=code, out=out.getvalue(), err=err.getvalue()
    )
