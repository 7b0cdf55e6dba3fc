"""The stakes parted into sheets: an overview, the runs row by row as they are walked, the pipes."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely

from layout.model import Design, Stake

MOST_SHEETS = 24
"""Sheets of runs; where it takes more, more rows stand on each, with the ends of runs and some stakes between."""
ROWS_TOGETHER = 2
"""Rows on one sheet, each lettered at its outer side ..."""
ROOMY = 0.5
"""... or more, where they are so far apart on paper [in]."""
_MARKS = frozenset({"baseline", "bed corner"})


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
    """

    kind: Literal["overview", "runs", "pipes"]
    stakes: tuple[Stake, ...]
    runs: tuple[str, ...] = ()
    left_out: int = 0


def stretches(design: Design, *, most: int, window: tuple[float, float]) -> list[Stretch]:
    """Part the stakes of a design into sheets.

    Parameters
    ----------
    design : Design
        With stakes.
    most : int
        Stakes on a sheet.
    window : (float, float)
        Width and height of the picture [in].
    """
    staking = design.staking
    if staking is None:
        return []
    first = tuple(stake for stake in staking.stakes if stake.kind in _MARKS)
    rows, last = _rows(design)
    rows, left_out, rows_together = _thinned(rows, most)
    found = [Stretch("overview", first[:most])]
    # more corners than a table holds go on
    found += [Stretch("overview", part) for part in _parts(first[most:], most)]
    together: list[tuple[Stake, ...]] = []
    for row in [part for whole in rows for part in _parts(whole, most)]:
        wanted = [*together, row]
        if together and (
            sum(map(len, wanted)) > most or not _go_together(design, wanted, window, rows_together)
        ):
            found.append(_of_runs(together))
            together = [row]
        else:
            together = wanted
    if together:
        found.append(_of_runs(together))
    found += [Stretch("pipes", part) for part in _parts(last, most)]
    return [replace(item, left_out=left_out if item.kind == "runs" else 0) for item in found if item.stakes]


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


def _parts(stakes: Sequence[Stake], most: int) -> list[tuple[Stake, ...]]:
    """Stakes in as few parts as a table holds, of about the same size."""
    count = math.ceil(len(stakes) / most)
    edges = [round(len(stakes) * part / max(count, 1)) for part in range(count + 1)]
    return [tuple(stakes[a:b]) for a, b in itertools.pairwise(edges)]


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
