"""What the shots of each run say of it: how long it was laid, how far from the plan, how near to what is beside it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString

from layout.asbuilt.gaps import Gap, least_gaps
from layout.asbuilt.match import CARRIED_ON, Matched
from layout.asbuilt.near import extended
from layout.model import Design, EmitterRow, LaidRun, Run, SetbackLaid, Shot
from layout.plane import TOLERANCE, Array, coordinates, points_at, stations

SAME = 0.1
"""Points of one run nearer to each other than this are one place measured twice [row spacings]."""
SPARSE = 2.5
"""A stretch without a point is told from so many intervals of the stake-out on, where the run bends in it."""

Emit = Callable[[Run], EmitterRow]


@dataclass(frozen=True, slots=True)
class _Places:
    """The measured places on one run, doubled shots as one.

    Attributes
    ----------
    stations, offsets : (n,) arrays
        [m].
    points : (n, 2) array
        [m].
    doubled : list of tuple of int
        Numbers of the shots of one place.
    """

    stations: Array
    offsets: Array
    points: Array
    doubled: list[tuple[int, ...]]


def measure_runs(
    design: Design, shots: Sequence[Shot], matched: Matched, *, within: float, emit: Emit
) -> tuple[tuple[LaidRun, ...], tuple[tuple[Shot, ...], ...]]:
    """Measure every run as laid.

    Between two shots a run is taken to bend as planned, moved by what both are off; so a curve is not cut short by the
    chords between the points measured on it.

    Parameters
    ----------
    design : Design
    shots : sequence of Shot
    matched : Matched
    within : float
        How far tubing may lie from the plan [m].
    emit : callable
        Places the emitters of a run.

    Returns
    -------
    runs : tuple of LaidRun
        Of all planned runs, in their order, still without a verdict.
    doubled : tuple of tuple of Shot
    """
    found: list[LaidRun] = []
    doubled: list[tuple[Shot, ...]] = []
    for number, run in enumerate(design.laying.runs):
        places = _places(design, shots, matched, number)
        doubled += [tuple(shots[shot] for shot in same) for same in places.doubled]
        on = tuple(shots[shot] for shot in matched.on[number])
        found.append(_laid(design, run, places, on, within=within, emit=emit))
    return _with_gaps(design, found), tuple(doubled)


def _places(design: Design, shots: Sequence[Shot], matched: Matched, run: int) -> _Places:
    """Take shots of one place for one, at their mean."""
    numbers, same = matched.on[run], SAME * design.site.runs.spacing
    groups: list[list[int]] = []
    for place, number in enumerate(numbers):
        if groups:
            before = numbers[groups[-1][0]]
            apart = np.hypot(*(np.asarray(shots[number].at) - shots[before].at))
            drawn = shots[number].line >= 0 and shots[number].line == shots[before].line
            if apart < (TOLERANCE if drawn else same):
                groups[-1].append(place)
                continue
        groups.append([place])

    def mean(values: Array) -> Array:
        return np.array([values[group].mean(axis=0) for group in groups]).reshape(-1, *values.shape[1:])

    points = np.array([shots[number].at for number in numbers], dtype=np.float64).reshape(-1, 2)
    return _Places(
        stations=mean(matched.stations[run]),
        offsets=mean(matched.offsets[run]),
        points=mean(points),
        doubled=[tuple(numbers[place] for place in group) for group in groups if len(group) > 1],
    )


def _laid(
    design: Design, run: Run, places: _Places, on: tuple[Shot, ...], *, within: float, emit: Emit
) -> LaidRun:
    planned = emit(run)
    bare = LaidRun(
        run=run.name,
        planned=run.length,
        line=None,
        shots=on,
        places=len(places.stations),
        stations=tuple(places.stations.tolist()),
        offsets=tuple(places.offsets.tolist()),
        emitters_planned=planned.count,
        flow_planned=planned.flow,
    )
    if len(places.stations) < 2 or places.stations[-1] - places.stations[0] < TOLERANCE:
        return bare
    line = laid_line(run.line, places.stations, places.points, CARRIED_ON * design.site.runs.spacing)
    laid = emit(replace(run, line=line))
    worst = int(np.abs(places.offsets).argmax())
    x, y = places.points[worst].tolist()
    outline = design.site.bed.outline
    edge = float(LineString(outline.exterior.coords).distance(line))
    return replace(
        bare,
        line=line,
        offset_greatest=float(abs(places.offsets[worst])),
        offset_mean=_mean_offset(places),
        greatest_at=(x, y),
        start_beyond=float(-places.stations[0]),
        end_beyond=float(places.stations[-1] - run.length),
        edge=edge if outline.contains(line) else -_outside(design, line),
        setbacks=tuple(
            SetbackLaid(feature=item.name, distance=float(item.shape.distance(line)), setback=item.setback)
            for item in design.site.features
        ),
        unmeasured=_unmeasured(design, run, places.stations, within),
        emitters=laid.count,
        flow=laid.flow,
    )


def laid_line(planned: LineString, along: Array, points: Array, beyond: float) -> LineString:
    """The line through measured points that bends between them as planned.

    Parameters
    ----------
    planned : LineString
        [m].
    along : (n,) array
        Stations of the points on the planned line and its straight extensions, rising [m].
    points : (n, 2) array
        [m].
    beyond : float
        How far the planned line is carried on at both ends [m].
    """
    line = extended(planned, beyond)
    station = stations(line) - beyond
    own = station[(station > along[0]) & (station < along[-1])]
    every = np.union1d(own, along)
    plain = points_at(line, every + beyond)
    shift = points - points_at(line, along + beyond)
    moved = plain + np.column_stack([np.interp(every, along, shift[:, axis]) for axis in (0, 1)])
    keep = np.concatenate(([True], np.hypot(*np.diff(moved, axis=0).T) > 0))
    return LineString(moved[keep])


def _mean_offset(places: _Places) -> float:
    """The mean of the absolute offset over the length, straight from place to place."""
    a, b = places.offsets[:-1], places.offsets[1:]
    step = np.diff(places.stations)
    crossing = a * b < 0
    total = np.abs(a) + np.abs(b)
    split = (a**2 + b**2) / np.where(total > 0, total, 1.0)
    mean = np.where(crossing, split, total) / 2
    return float((mean * step).sum() / step.sum())


def _outside(design: Design, line: LineString) -> float:
    """How far a line leaves the bed at most [m]."""
    return float(shapely.distance(shapely.points(coordinates(line)), design.site.bed.outline).max())


def _unmeasured(design: Design, run: Run, along: Array, within: float) -> tuple[tuple[float, float], ...]:
    """Stretches without a point, long and bent, where the run may lie elsewhere."""
    longest = SPARSE * design.site.stakeout.interval
    marks = np.clip(np.concatenate(([0.0], along, [run.length])), 0.0, run.length)
    line = coordinates(run.line)
    station = stations(line)
    found = []
    for start, end in zip(marks[:-1].tolist(), marks[1:].tolist(), strict=True):
        if end - start <= longest:
            continue
        chord = LineString(points_at(line, np.array([start, end])))
        inner = line[(station > start) & (station < end)]
        if len(inner) and float(shapely.distance(shapely.points(inner), chord).max()) > within:
            found.append((start, end))
    return tuple(found)


def _with_gaps(design: Design, found: Sequence[LaidRun]) -> tuple[LaidRun, ...]:
    """Add how near runs come to those beside them, as laid and in the plan."""
    runs, spacing = design.laying.runs, design.site.runs.spacing
    rows = [(run.lobe, run.row) for run in runs]
    planned = least_gaps([run.line for run in runs], rows, spacing)
    laid = least_gaps([item.line for item in found], rows, spacing)
    return tuple(
        item if item.line is None else _with_gap(item, runs, own, was)
        for item, own, was in zip(found, laid, planned, strict=True)
    )


def _with_gap(item: LaidRun, runs: Sequence[Run], own: Gap | None, was: Gap | None) -> LaidRun:
    item = replace(item, gap_planned=None if was is None else was.least)
    if own is None:
        return item
    return replace(item, gap_least=own.least, gap_to=runs[own.other].name, gap_at=own.at)
