"""Where stakes stand along a line: its ends and corners, an interval on straights, closer on curves."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from layout.plane import TOLERANCE, Array, points_at, stations
from layout.stakes.tape import Tape

CORNER = np.radians(20.0)
"""A line that turns by more at one point has a corner there, and a stake on it [rad]; a judgement."""
BEND = np.radians(10.0)
"""A bend that has stakes where it begins and ends turns by more over an interval [rad]; a judgement."""
SHORT = 0.25
"""A last gap shorter than this share of the interval is evened out with the one before it."""
_ROUNDS = 100


@dataclass(frozen=True, slots=True)
class Marks:
    """Stakes along one line.

    Attributes
    ----------
    along : (n,) array
        Stations, rising from 0 to the length of the line [m].
    points : (n, 2) array
        As printed [m].
    curved : (n,) array of bool
        Whether the line bends there so that the interval alone would leave the tolerance.
    """

    along: Array
    points: Array
    curved: NDArray[np.bool_]


def marks_along(line: Array, *, interval: float, tolerance: float, tape: Tape) -> Marks:
    """Stakes along a line, so that the chord from each to the next stays near it.

    Stations are whole intervals from the start of the line, so that they are round figures; where the line leaves the
    chord by more than the tolerance, an interval is divided evenly into as few parts as keep it.

    Parameters
    ----------
    line : (n, 2) array
        [m].
    interval : float
        Greatest distance between stakes along the line [m].
    tolerance : float
        Greatest distance of the line from the chord [m].
    tape : Tape
        Stations between the ends are marks of the tape.
    """
    station = stations(line)
    gap = interval if interval < 4 * tape.step else np.floor(interval / tape.step + 1e-6) * tape.step
    corners = station[1:-1][_turns(line) > CORNER]
    fixed = np.unique(np.concatenate(([0.0], corners, _bend_ends(line, interval), [station[-1]])))
    fixed = fixed[np.concatenate(([True], np.diff(fixed) > TOLERANCE))]
    if len(fixed) == 1:  # a line of next to no length
        fixed = np.array([0.0, station[-1]])
    whole = [_whole_intervals(a, b, gap, tape) for a, b in itertools.pairwise(fixed)]
    base = np.concatenate([*whole, fixed[-1:]])
    parts = np.ones(len(base) - 1, dtype=np.intp)
    for _ in range(_ROUNDS):
        along = _divided(base, parts, tape)
        points = tape.printed(points_at(line, along))
        worst = np.maximum.reduceat(
            _deviations(line, station, along, points), np.concatenate(([0], np.cumsum(parts)[:-1]))
        )
        # no shorter than what coordinates can tell apart
        wide = (worst > tolerance) & (np.diff(base) / parts > 4 * tape.grain)
        if not wide.any():
            break
        likely = np.floor(parts * np.sqrt(worst / tolerance)).astype(np.intp)
        parts = np.where(wide, np.maximum(parts + 1, likely), parts)
    bent = np.repeat(parts > 1, parts)
    return Marks(along, points, np.concatenate(([False], bent)) | np.concatenate((bent, [False])))


def _turns(line: Array) -> Array:
    """By how much a line turns at each of its inner points, either way, shape (n - 2,) [rad]."""
    step = np.diff(line, axis=0)
    heading = step[:, 0] + 1j * step[:, 1]
    return np.asarray(np.abs(np.angle(heading[1:] * heading[:-1].conj())))


def _bend_ends(line: Array, interval: float) -> Array:
    """Stations where a straight stretch passes into a bend or a bend into a straight one [m], rising.

    A stretch is straight where it is drawn as one edge of half an interval or more; a bend turns by more than
    :data:`BEND` over the interval next to it.
    """
    lean = shapely.get_coordinates(shapely.simplify(LineString(line), TOLERANCE))
    if len(lean) < 4:
        return np.empty(0)
    along, turn = stations(lean), _turns(lean)
    edge = np.diff(along)
    found = []
    for inner in range(1, len(lean) - 1):
        if turn[inner - 1] > CORNER:
            continue
        before, after = edge[inner - 1], edge[inner]
        if (before >= interval / 2) == (after >= interval / 2):
            continue
        reach = (
            (along[inner], along[inner] + interval)
            if after < before
            else (along[inner] - interval, along[inner])
        )
        bending = turn[(along[1:-1] >= reach[0]) & (along[1:-1] <= reach[1])]
        if bending.sum() > BEND:
            found.append(along[inner])
    return np.array(found)


def _whole_intervals(start: float, end: float, gap: float, tape: Tape) -> Array:
    """Stations from one fixed one up to the next, which is not among them: whole intervals, none a sliver."""
    first, last = np.floor(start / gap) + 1, np.ceil(end / gap) - 1
    between = np.arange(first, last + 1) * gap
    between = between[(between > start + TOLERANCE) & (between < end - TOLERANCE)]
    marks = np.concatenate(([start], between, [end]))
    for tip, inner, beyond in ((0, 1, 2), (-1, -2, -3)):
        if len(between) and abs(marks[inner] - marks[tip]) < SHORT * gap:
            marks[inner] = _read((marks[tip] + marks[beyond]) / 2, abs(marks[beyond] - marks[tip]), tape)
    return np.asarray(marks[:-1])


def _divided(base: Array, parts: NDArray[np.intp], tape: Tape) -> Array:
    """Stations with each interval divided evenly."""
    share = np.diff(base) / parts
    room = np.repeat(share, parts)
    inner = np.arange(len(room)) - np.repeat(np.cumsum(parts) - parts, parts)
    along = inner * room + np.repeat(base[:-1], parts)
    along = np.where((inner > 0) & (room > 4 * tape.step), tape.read(along), along)
    return np.append(along, base[-1])


def _read(along: Array, room: float, tape: Tape) -> Array:
    """Stations on marks of the tape, where there is room to move them so far."""
    return tape.read(along) if room > 4 * tape.step else along


def _deviations(line: Array, station: Array, along: Array, points: Array) -> Array:
    """How far a line leaves the chord from each mark to the next, shape (n - 1,) [m]."""
    part = np.clip(np.searchsorted(along, station, side="right") - 1, 0, len(along) - 2)
    start, step = points[part], points[part + 1] - points[part]
    away = line - start
    square = np.maximum(np.einsum("ij,ij->i", step, step), 1e-18)
    share = np.clip(np.einsum("ij,ij->i", away, step) / square, 0.0, 1.0)
    found = np.zeros(len(along) - 1)
    np.maximum.at(found, part, np.hypot(*(away - share[:, None] * step).T))
    return found
