"""How shots lie beside planned runs: station and offset of each on every run near it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, STRtree

from layout.model import Run
from layout.plane import Array, coordinates, stations


@dataclass(frozen=True, slots=True)
class Beside:
    """Shots near one planned run.

    Attributes
    ----------
    shot : (k,) array of int
        Their numbers, rising.
    station : (k,) array
        Along the run; below 0 and over its length on its straight extensions [m].
    offset : (k,) array
        To the right over 0 [m].
    beyond : (k,) array
        How far beyond an end [m]; 0 beside the run.
    """

    shot: NDArray[np.intp]
    station: Array
    offset: Array
    beyond: Array

    def of(self, number: int) -> int | None:
        """The place of a shot in the arrays; None where it is not near."""
        found = int(np.searchsorted(self.shot, number))
        return found if found < len(self.shot) and self.shot[found] == number else None


def extended(line: LineString, by: float) -> Array:
    """A line carried on straight at both ends, its repeated points left out, shape (n + 2, 2) [m]."""
    points = coordinates(line)
    points = points[np.concatenate(([True], np.hypot(*np.diff(points, axis=0).T) > 0))]
    ahead = points[0] - points[1], points[-1] - points[-2]
    tips = [
        end + by * step / np.hypot(*step) for end, step in zip((points[0], points[-1]), ahead, strict=True)
    ]
    return np.vstack((tips[0], points, tips[1]))


def beside_runs(points: Array, runs: Sequence[Run], *, reach: float, beyond: float) -> list[Beside]:
    """Station and offset of points on every run near them.

    Parameters
    ----------
    points : (n, 2) array
        [m].
    runs : sequence of Run
    reach : float
        Points farther from a run, or its extensions, are not near it [m].
    beyond : float
        Runs are carried on so far at both ends [m].
    """
    marks = np.asarray(shapely.points(points), dtype=object)
    tree = STRtree(marks)
    found = []
    for run in runs:
        line = extended(run.line, beyond)
        near = np.sort(tree.query(LineString(line), predicate="dwithin", distance=reach))
        along = shapely.line_locate_point(LineString(line), marks[near])
        found.append(_beside(near, points[near], line, along, beyond))
    return found


def _beside(near: NDArray[np.intp], points: Array, line: Array, along: Array, beyond: float) -> Beside:
    station = stations(line)
    segment = np.clip(np.searchsorted(station, along, side="right") - 1, 0, len(line) - 2)
    step = line[segment + 1] - line[segment]
    ahead = step / np.hypot(*step.T)[:, None]
    away = points - (line[segment] + (along - station[segment])[:, None] * ahead)
    length = station[-1] - 2 * beyond
    side = np.sign(away[:, 0] * ahead[:, 1] - away[:, 1] * ahead[:, 0])
    offset = np.hypot(*away.T) * np.where(side == 0, 1.0, side)
    over = np.maximum(beyond - along, along - beyond - length)
    return Beside(near, along - beyond, offset, np.maximum(over, 0.0))
