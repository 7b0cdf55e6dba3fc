"""Surveys of tubing as laid: points on the runs of a design, with what a crew and a surveyor do to them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from layout.model import Design, Shot
from layout.plane import coordinates, points_at
from layout.units import FOOT
from tests.laid import Array


def on_runs(
    design: Design,
    *,
    noise: float = 0.0,
    moved: Mapping[str, float] | None = None,
    apart: float = 5.0,
    seed: int = 0,
) -> dict[str, Array]:
    """Points along every run [m], both ends among them; noise and moves in feet, moves to the right of the run."""
    rng = np.random.default_rng(seed)
    found = {}
    for run in design.laying.runs:
        line, length = coordinates(run.line), run.length
        along = np.linspace(0.0, length, max(int(length / (apart * FOOT)), 1) + 1)
        along[1:-1] += rng.uniform(-0.3, 0.3, len(along) - 2) * apart * FOOT
        points = points_at(line, along) + rng.normal(0.0, noise * FOOT, (len(along), 2))
        found[run.name] = points + normals(line, along) * (moved or {}).get(run.name, 0.0) * FOOT
    return found


def normals(line: Array, along: Array) -> Array:
    """Unit vectors to the right of a line."""
    step = points_at(line, along + 0.05) - points_at(line, along - 0.05)
    step /= np.hypot(*step.T)[:, None]
    return np.column_stack((step[:, 1], -step[:, 0]))


def shots_of(points: Mapping[str, Array], *, shuffled: int | None = None) -> tuple[list[Shot], list[str]]:
    """Points as a survey without names, and the run that each is really of."""
    rows = [(run, (float(x), float(y))) for run, places in points.items() for x, y in places]
    if shuffled is not None:
        order = np.random.default_rng(shuffled).permutation(len(rows))
        rows = [rows[number] for number in order]
    shots = [Shot(at=at, place=f"line {number}") for number, (_, at) in enumerate(rows, start=1)]
    return shots, [run for run, _ in rows]
