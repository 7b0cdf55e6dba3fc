"""Sites of one bed planned whole, by the command line or the library, and what their plans leave on disk."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
    "takeoff.xlsx",
}
"""What every plan has."""
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
longest = {longest}

[pump]
at = {pump}

[design]
flow = {flow}
loading = 1.0
"""


def own_process(*arguments: object, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
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
    longest: float = 400.0,
    more: str = "",
) -> Path:
    """Write a site file."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "site.toml"
    text = SITE.format(
        title=title,
        units=units,
        outline=outline,
        pattern=pattern,
        pump=list(pump),
        flow=flow,
        longest=longest,
    )
    path.write_text(text + more, encoding="utf-8")
    return path


def inline(points: Array) -> str:
    """Points as the site file has them."""
    return json.dumps(points.tolist())


def rectangle(folder: Path) -> Path:
    """100 x 12, its points in the site file."""
    return site(folder, inline(beds.rect()), pump=(-10, 6))


def length(points: Any) -> float:
    """Of a line through points."""
    return float(np.hypot(*np.diff(np.asarray(points, dtype=float), axis=0).T).sum())


def held(folder: Path) -> dict[str, bytes]:
    """Every file below a folder."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def numbers(value: Any) -> Iterator[float]:
    """Every figure of a JSON document."""
    if isinstance(value, dict):
        for item in value.values():
            yield from numbers(item)
    elif isinstance(value, list):
        for item in value:
            yield from numbers(item)
    elif isinstance(value, float):
        yield value
