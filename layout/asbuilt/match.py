"""Shots matched to runs: by the run they are named for, else by nearness and by order along the tubes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from layout.asbuilt.give import NOWHERE, give_tracks
from layout.asbuilt.near import Beside, beside_runs
from layout.asbuilt.tracks import tracks_of
from layout.model import XY, Astray, Design, Frame, Run, Shot
from layout.plane import Array

REACH = 1.25
"""A shot may be one of a run no farther from it than this [row spacings] ..."""
NAMED_REACH = 5.0
"""... or than this, where it is named for it."""
CARRIED_ON = 3.0
"""Runs are looked for so far beyond their ends [row spacings]."""
NEAREST_NAMES = 3
NAMED_PLACES = 4
_NOT_RUNS = (
    "bed corner",
    "bed edge",
    "baseline",
    "riser",
    "manifold",
    "valve",
    "line end",
    "line bend",
    "bend",
    "blank",
    "loop",
    "corner",
    "benchmark",
    "control",
)
"""What a description begins with, or holds, that is of no run."""
_RUN_WORD = re.compile(r"\b(?:run|row|r)[ _#-]*0*(\d+)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Matched:
    """Shots by run.

    Attributes
    ----------
    on : tuple of tuple of int
        By run: numbers of its shots, along it.
    stations, offsets : tuple of array
        Of the same [m].
    pipes : tuple of int
        Shots on pipes, or that say so.
    astray : tuple of Astray
    """

    on: tuple[tuple[int, ...], ...]
    stations: tuple[Array, ...]
    offsets: tuple[Array, ...]
    pipes: tuple[int, ...]
    astray: tuple[Astray, ...]


def match_shots(design: Design, shots: Sequence[Shot], *, within: float, shift: XY | None = None) -> Matched:
    """Match shots to the runs of a design.

    Parameters
    ----------
    design : Design
    shots : sequence of Shot
        In any order.
    within : float
        How far tubing may lie from the plan [m].
    shift : (x, y), optional
        By how much the whole survey lies off [m]; shots are matched as if it did not, their stations and offsets stay
        those measured.
    """
    runs, spacing = design.laying.runs, design.site.runs.spacing
    points = np.array([shot.at for shot in shots], dtype=np.float64).reshape(-1, 2)
    named = [run_named(shot, runs) for shot in shots]
    reach, beyond = NAMED_REACH * spacing, CARRIED_ON * spacing
    measured = beside_runs(points, runs, reach=reach, beyond=beyond)
    put, wide = points, measured
    if shift is not None:
        put = points - np.asarray(shift)
        wide = beside_runs(put, runs, reach=reach, beyond=beyond)
    pipes = _on_pipes(design, shots, put, named, wide, within)
    beside = [_kept(near, run, named, pipes, spacing) for run, near in enumerate(wide)]
    tracks = tracks_of(shots, named, beside, spacing)
    fixed = [named[numbers[0]] for numbers in tracks]
    given = give_tracks(tracks, fixed, beside, spacing)
    lists: list[list[int]] = [[] for _ in runs]
    for numbers, run in zip(tracks, given, strict=True):
        if run != NOWHERE:
            lists[run] += [
                number
                for number in numbers
                if beside[run].of(number) is not None and measured[run].of(number) is not None
            ]
    on, stations, offsets = [], [], []
    for mine, near in zip(lists, measured, strict=True):
        places = np.searchsorted(near.shot, np.array(sorted(mine), dtype=np.intp))
        order = places[np.argsort(near.station[places], kind="stable")]
        on.append(tuple(int(number) for number in near.shot[order]))
        stations.append(near.station[order])
        offsets.append(near.offset[order])
    taken = {number for numbers in on for number in numbers} | set(pipes)
    lost = [number for number in range(len(shots)) if number not in taken]
    astray = tuple(_astray(design, shots, points, named, lost))
    return Matched(tuple(on), tuple(stations), tuple(offsets), tuple(sorted(pipes)), astray)


def run_named(shot: Shot, runs: Sequence[Run]) -> int | None:
    """The number of the run that a shot is named for; None where it is named for none.

    ``R7``, ``r 7``, ``RUN-07`` and ``R7 start`` all name run R7.
    """
    numbers = {run.name.casefold(): number for number, run in enumerate(runs)}
    for text in (shot.description, shot.name):
        said = text.strip().casefold()
        if said in numbers:
            return numbers[said]
        found = _RUN_WORD.search(said)
        if found is None or any(word in said[: found.start()] for word in _NOT_RUNS):
            continue
        number = numbers.get(f"r{found[1]}")
        if number is not None:
            return number
    return None


def unknown_runs(design: Design, shots: Sequence[Shot]) -> tuple[str, ...]:
    """What is to be said of shots that are named for runs which the plan does not have, a sentence a name."""
    runs = design.laying.runs
    numbered = {int(digits[0]): run.name for run in runs if (digits := re.search(r"\d+", run.name))}
    places: dict[int, list[str]] = {}
    for shot in shots:
        said = (shot.description or shot.name).strip().casefold()
        found = _RUN_WORD.search(said)
        if found and run_named(shot, runs) is None and not _says_other(shot):
            places.setdefault(int(found[1]), []).append(shot.place)
    told = []
    for number, where in sorted(places.items()):
        near = sorted(numbered, key=lambda other: (abs(other - number), other))[:NEAREST_NAMES]
        shown = ", ".join(where[:NAMED_PLACES]) + (", ..." if len(where) > NAMED_PLACES else "")
        points = "A point is" if len(where) == 1 else f"{len(where)} points are"
        told.append(
            f"{points} named for R{number} ({shown}), but the plan has no such run; the nearest names are "
            f"{', '.join(numbered[other] for other in near)}; matched by place alone"
        )
    return tuple(told)


def _says_other(shot: Shot) -> bool:
    """Whether a shot says that it is on no run."""
    said = shot.description.casefold()
    return any(word in said for word in _NOT_RUNS)


def _on_pipes(
    design: Design,
    shots: Sequence[Shot],
    points: Array,
    named: Sequence[int | None],
    wide: Sequence[Beside],
    within: float,
) -> set[int]:
    """Shots of manifolds, lines, risers, loops and blank tubing: those that say so, and those that lie there.

    What lies beside a run, not beyond its end, is taken for a run's: one that was laid off may end on a loop.
    """
    plumbing = design.plumbing
    lines: list[BaseGeometry] = [
        *(pipe.line for pipe in (*plumbing.manifolds, *plumbing.lines)),
        *(riser.line for riser in plumbing.risers),
        *(join.line for join in design.joins),
    ]
    found = {number for number, shot in enumerate(shots) if named[number] is None and _says_other(shot)}
    if not lines:
        return found
    marks = np.asarray(shapely.points(points), dtype=object)
    runs = shapely.multilinestrings([run.line for run in design.laying.runs])
    pipes = shapely.union_all(lines)
    shapely.prepare([runs, pipes])
    near = np.flatnonzero(shapely.dwithin(pipes, marks, within))
    away = shapely.distance(runs, marks[near])
    closer = shapely.distance(pipes, marks[near]) < away / 2
    reach = REACH * design.site.runs.spacing
    beside: set[int] = set()
    for some in wide:
        beside |= set(some.shot[(np.abs(some.offset) <= reach) & (some.beyond <= within)].tolist())
    lying = {int(number) for number in near[(away > within) & closer] if named[number] is None}
    found |= lying - beside
    return found


def _kept(near: Beside, run: int, named: Sequence[int | None], pipes: set[int], spacing: float) -> Beside:
    """Of the shots near a run those that may be its own."""
    far = np.abs(near.offset) > REACH * spacing
    keep: NDArray[np.bool_] = np.array(
        [
            named[number] == run if named[number] is not None else number not in pipes and not away
            for number, away in zip(near.shot.tolist(), far.tolist(), strict=True)
        ],
        dtype=np.bool_,
    )
    return Beside(near.shot[keep], near.station[keep], near.offset[keep], near.beyond[keep])


def _astray(
    design: Design, shots: Sequence[Shot], points: Array, named: Sequence[int | None], lost: Sequence[int]
) -> Iterator[Astray]:
    """Shots that are on nothing that was planned, with the reason."""
    if not lost:
        return
    runs, frame, spacing = design.laying.runs, design.site.frame, design.site.runs.spacing
    tree = shapely.STRtree([run.line for run in runs])
    marks = np.atleast_1d(np.asarray(shapely.points(points[list(lost)]), dtype=object))
    (_, nearest), away = tree.query_nearest(marks, return_distance=True, all_matches=False)
    for number, run, distance in zip(lost, nearest.tolist(), away.tolist(), strict=True):
        mine = named[number]
        if mine is not None:
            far = _said(float(runs[mine].line.distance(shapely.Point(points[number]))), frame)
            why = f"{far} from {runs[mine].name}, for which it is named"
        elif distance > REACH * spacing:
            why = f"{_said(distance, frame)} from the nearest run, {runs[run].name}"
        else:
            why = (
                f"{_said(distance, frame)} from {runs[run].name}, which has points of its own there: it may be a "
                "blunder, or a tube that is not in the plan"
            )
        yield Astray(shot=shots[number], why=why)


def _said(length: float, frame: Frame) -> str:
    return f"{length / frame.units.length:.2f} {frame.units.length_name}"
