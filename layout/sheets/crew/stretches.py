"""The stakes parted into sheets: an overview, the runs row by row as they are walked, the pipes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely

from layout.model import Design, Stake
from layout.plane import coordinates, points_at

MOST_SHEETS = 24
"""Sheets of runs; where it takes more, more rows stand on each, with the ends of runs and some stakes between."""
ROWS_TOGETHER = 2
"""Rows on one sheet, each lettered at its outer side ..."""
ROOMY = 0.5
"""... or more, where they are so far apart on paper [in]."""
CROWDED = 0.3048
"""Stakes on a bend nearer to each other than this are one on the sheets [m]: nobody drives them side by side."""
_MARKS = frozenset({"baseline", "bed corner", "bed edge"})


@dataclass(frozen=True, slots=True)
class Bend:
    """A bend too tight for all of its stakes.

    Attributes
    ----------
    run : str
    begins, ends : float
        Stations of its first and last stake along the run [m].
    radius : float
        Of the circle through its ends and its middle [m].
    """

    run: str
    begins: float
    ends: float
    radius: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """What is staked from one sheet.

    Attributes
    ----------
    kind : "overview", "runs" or "pipes"
    stakes : tuple of Stake
        In walking order.
    runs : tuple of str
        Runs they stand on, in walking order.
    left_out : int
        Stakes between them that stand in the point files only.
    bends : tuple of Bend
        Bends on it that are drawn by their radius rather than by all of their stakes.
    """

    kind: Literal["overview", "runs", "pipes"]
    stakes: tuple[Stake, ...]
    runs: tuple[str, ...] = ()
    left_out: int = 0
    bends: tuple[Bend, ...] = ()


def stretches(
    design: Design, *, most: int, window: tuple[float, float], rows_of: Callable[[Stake], int]
) -> list[Stretch]:
    """Part the stakes of a design into sheets.

    Parameters
    ----------
    design : Design
        With stakes.
    most : int
        Rows of the table on a sheet.
    window : (float, float)
        Width and height of the picture [in].
    rows_of : callable
        How many rows of the table a stake takes.
    """
    staking = design.staking
    if staking is None:
        return []
    first = tuple(stake for stake in staking.stakes if stake.kind in _MARKS)
    rows, last = _rows(design)
    bends: dict[int, Bend] = {}
    rows = [_uncrowded(design, row, bends) for row in rows]
    rows, left_out, rows_together = _thinned(rows, most)
    # more corners than a table holds go on on further sheets
    found = [Stretch("overview", part) for part in _parts(first, most, rows_of)]
    together: list[tuple[Stake, ...]] = []
    for row in [part for whole in rows for part in _parts(whole, most, rows_of)]:
        wanted = [*together, row]
        if together and (
            sum(rows_of(stake) for part in wanted for stake in part) > most
            or not _go_together(design, wanted, window, rows_together)
        ):
            found.append(_of_runs(together))
            together = [row]
        else:
            together = wanted
    if together:
        found.append(_of_runs(together))
    found += [Stretch("pipes", part) for part in _parts(last, most, rows_of)]
    return [
        replace(
            item,
            left_out=left_out if item.kind == "runs" else 0,
            bends=tuple(bends[stake.number] for stake in item.stakes if stake.number in bends),
        )
        for item in found
        if item.stakes
    ]


def _rows(design: Design) -> tuple[list[tuple[Stake, ...]], tuple[Stake, ...]]:
    """Stakes on runs and blank tubing row by row, as they are walked; and those of pipes."""
    row_of = {run.name: run.row for run in design.laying.runs}
    rows: list[tuple[int, list[Stake]]] = []
    last: list[Stake] = []
    for stake in design.staking.stakes if design.staking is not None else ():
        if stake.run:
            row = row_of[stake.run]
            if not rows or rows[-1][0] != row:
                rows.append((row, []))
            rows[-1][1].append(stake)
        elif stake.kind == "blank" and rows:
            rows[-1][1].append(stake)
        elif stake.kind not in _MARKS:
            last.append(stake)
    return [tuple(stakes) for _, stakes in rows], tuple(last)


def _uncrowded(design: Design, row: Sequence[Stake], bends: dict[int, Bend]) -> tuple[Stake, ...]:
    """A row without stakes on a bend that are nearer than a foot: its first, its last, and evenly between.

    What is to be known of the bend is noted by the number of its first stake.
    """
    found: list[Stake] = []
    crowd: list[Stake] = []
    for stake in (*row, None):
        if stake is not None and crowd and _crowd(crowd[-1], stake):
            crowd.append(stake)
            continue
        if len(crowd) > 1:
            bend = _bend(design, crowd)
            parts = max(math.floor((bend.ends - bend.begins) / CROWDED), 1)
            bends[crowd[0].number] = bend
            crowd = [
                crowd[n] for n in sorted({round(k * (len(crowd) - 1) / parts) for k in range(parts + 1)})
            ]
            crowd = _apart(crowd)
        found += crowd
        crowd = [] if stake is None else [stake]
    return tuple(found)


def _crowd(before: Stake, stake: Stake) -> bool:
    """Whether two stakes that follow each other stand side by side on a bend."""
    if before.kind != "run" or stake.kind != "run" or before.run != stake.run:
        return False
    return abs((stake.station or 0.0) - (before.station or 0.0)) < CROWDED


def _apart(crowd: Sequence[Stake]) -> list[Stake]:
    """Stakes of a bend that are no crowd, its last one among them where it is longer than a foot."""
    first, *between, last = crowd
    kept = [first]
    for stake in between:
        if not _crowd(kept[-1], stake) and not _crowd(stake, last):
            kept.append(stake)
    return kept if _crowd(kept[-1], last) else [*kept, last]


def _bend(design: Design, crowd: Sequence[Stake]) -> Bend:
    line = next(coordinates(run.line) for run in design.laying.runs if run.name == crowd[0].run)
    begins, ends = sorted((crowd[0].station or 0.0, crowd[-1].station or 0.0))
    a, b, c = points_at(line, np.array([begins, (begins + ends) / 2, ends]))
    (ux, uy), (vx, vy) = b - a, c - a
    twice = abs(ux * vy - uy * vx)
    sides = math.dist(a, b) * math.dist(b, c) * math.dist(a, c)
    return Bend(crowd[0].run, begins, ends, sides / (2 * twice) if twice > 0 else math.inf)


def _thinned(rows: list[tuple[Stake, ...]], most: int) -> tuple[list[tuple[Stake, ...]], int, int]:
    """For a large field, of every row the ends of runs and only some stakes between, and more rows to a sheet."""
    sheets = max(math.ceil(len(rows) / ROWS_TOGETHER), math.ceil(sum(map(len, rows)) / most))
    if sheets <= MOST_SHEETS:
        return rows, 0, ROWS_TOGETHER
    together = min(math.ceil(1.2 * len(rows) / MOST_SHEETS), most // 2)
    room = max(most // together, 2)
    kept = [_some_of(row, room) for row in rows]
    return kept, sum(map(len, rows)) - sum(map(len, kept)), together


def _some_of(row: tuple[Stake, ...], room: int) -> tuple[Stake, ...]:
    """The ends of runs, and as many stakes between as there is room for, evenly."""
    ends = [place for place, stake in enumerate(row) if stake.kind == "run end"]
    between = [place for place in range(len(row)) if place not in set(ends)]
    free = max(room - len(ends), 0)
    chosen = (
        {between[round((n + 1) * (len(between) - 1) / (free + 1))] for n in range(free)} if between else set()
    )
    if free >= len(between):
        chosen = set(between)
    return tuple(stake for place, stake in enumerate(row) if place in chosen or place in set(ends))


def _parts(stakes: Sequence[Stake], most: int, rows_of: Callable[[Stake], int]) -> list[tuple[Stake, ...]]:
    """Stakes in as few parts as a table holds, of about the same size."""
    ends = np.cumsum([rows_of(stake) for stake in stakes])
    share = ends[-1] / math.ceil(ends[-1] / most) if len(ends) else 0.0
    parts: list[list[Stake]] = []
    begins = 0
    for stake, end in zip(stakes, ends, strict=True):
        if not parts or end > share * len(parts) + 0.5 or end - begins > most:
            parts.append([])
            begins = int(end) - rows_of(stake)
        parts[-1].append(stake)
    return [tuple(part) for part in parts]


def _go_together(
    design: Design, rows: Sequence[tuple[Stake, ...]], window: tuple[float, float], most: int
) -> bool:
    """Whether rows can be told from each other on one sheet."""
    if len(rows) <= most:
        return True
    places = np.array([stake.at for row in rows for stake in row])
    size = np.ptp(places, axis=0)
    scale = max(size[0] / window[0], size[1] / window[1], 1e-9)
    return bool(design.site.runs.spacing / scale >= ROOMY)


def _of_runs(rows: Sequence[tuple[Stake, ...]]) -> Stretch:
    stakes = tuple(stake for row in rows for stake in row)
    return Stretch("runs", stakes, tuple(dict.fromkeys(stake.run for stake in stakes if stake.run)))


def middle_of(stretch: Stretch) -> tuple[float, float, float, float]:
    """What the stakes of a stretch reach: least x and y, greatest x and y [m]."""
    left, bottom, right, top = shapely.total_bounds(
        np.asarray(shapely.points([stake.at for stake in stretch.stakes]), dtype=object)
    )
    return float(left), float(bottom), float(right), float(top)
