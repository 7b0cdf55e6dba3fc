"""How near runs come to the runs beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString

from layout.model import XY
from layout.near import near_pairs
from layout.plane import TOLERANCE, coordinates, resample

STEP = 0.25
"""Runs are looked at so closely [row spacings]."""
LOOKED = 2.5
"""Runs farther apart than this are not beside each other [row spacings]."""


@dataclass(frozen=True, slots=True)
class Gap:
    """The least distance from a run to another one beside it.

    Attributes
    ----------
    least : float
        [m].
    other : int
        Number of the other run.
    at : (x, y)
        On the run itself [m].
    """

    least: float
    other: int
    at: XY


def pair_gaps(
    lines: Sequence[LineString | None], rows: Sequence[tuple[int, int]], spacing: float
) -> dict[tuple[int, int], Gap]:
    """The least gap [m] of each two runs of other rows beside each other, by their numbers, seen from either."""
    there = [number for number, line in enumerate(lines) if line is not None]
    known = [line for line in lines if line is not None]
    walked = [resample(coordinates(line), STEP * spacing) for line in known]
    found: dict[tuple[int, int], Gap] = {}
    for one, other in near_pairs(known, LOOKED * spacing):
        first, second = min(one, other), max(one, other)
        if rows[there[first]] == rows[there[second]]:
            continue
        gaps = (
            _gap(walked[first], known[second], there[second]),
            _gap(walked[second], known[first], there[first]),
        )
        least = min((gap for gap in gaps if gap is not None), key=lambda gap: gap.least, default=None)
        if least is not None:
            found[there[first], there[second]] = least
    return found


def least_gaps(
    lines: Sequence[LineString | None], rows: Sequence[tuple[int, int]], spacing: float
) -> list[Gap | None]:
    """The least gap of each run to those of other rows beside it, feet on the ends of those left out.

    Parameters
    ----------
    lines : sequence of LineString or None
        [m].
    rows : sequence of (int, int)
        The row of each; runs of one row follow each other.
    spacing : float
        From row to row [m].

    Returns
    -------
    list of Gap or None
        None without a run beside it.
    """
    there = [number for number, line in enumerate(lines) if line is not None]
    known = [line for line in lines if line is not None]
    found: list[Gap | None] = [None] * len(lines)
    walked = [resample(coordinates(line), STEP * spacing) for line in known]
    for first, second in near_pairs(known, LOOKED * spacing):
        if rows[there[first]] == rows[there[second]]:
            continue
        for one, other in ((first, second), (second, first)):
            gap = _gap(walked[one], known[other], there[other])
            before = found[there[one]]
            if gap is not None and (before is None or gap.least < before.least):
                found[there[one]] = gap
    return found


def _gap(points: np.ndarray, line: LineString, other: int) -> Gap | None:
    """The least distance from points to a line, feet on its ends left out."""
    marks = shapely.points(points)
    along = shapely.line_locate_point(line, marks)
    beside = (along > TOLERANCE) & (along < line.length - TOLERANCE)
    if not beside.any():
        return None
    away = np.where(beside, shapely.distance(line, marks), np.inf)
    least = int(away.argmin())
    x, y = points[least].tolist()
    return Gap(float(away[least]), other, (x, y))
