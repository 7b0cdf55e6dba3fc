"""Bends of a line turned into elbows of 90, 45 and 22.5 degrees."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import cache

import numpy as np

from layout.model import XY, FittingKind
from layout.plane import TOLERANCE, Array

ELBOWS: tuple[tuple[FittingKind, float], ...] = (("elbow 90", 90.0), ("elbow 45", 45.0), ("elbow 22.5", 22.5))
"""Those that are sold, and by how much each turns [degrees]; common practice, no source."""
SMALLEST = ELBOWS[-1][1]
TAKEN = SMALLEST / 2
"""What the pipe itself takes of a bend, to either side [degrees]: half the smallest elbow, so none is left over."""


def elbows_along(points: Array) -> Iterator[tuple[FittingKind, XY]]:
    """Elbows that lead a pipe along a line.

    A corner gets the elbows that come nearest to its turn. What they leave, at most 11.25 degrees to either side, the
    pipe takes by bending; it is carried on to the next corner, so that many slight turns to one side come to an
    elbow too, and the pipe as joined never heads more than 11.25 degrees off the line.

    Parameters
    ----------
    points : (n, 2) array
        The line [m].

    Yields
    ------
    kind : FittingKind
        The largest first, at one corner.
    at : (x, y)
        The corner [m].

    Examples
    --------
    >>> corner = np.array([[0.0, 0.0], [10.0, 0.0], [15.0, 5.0 * 3**0.5]])  # 60 degrees
    >>> [kind for kind, _ in elbows_along(corner)]
    ['elbow 45', 'elbow 22.5']
    """
    points = points[np.concatenate(([True], np.hypot(*np.diff(points, axis=0).T) > TOLERANCE))]
    for corner, turn in zip(points[1:-1], turns_along(points), strict=True):
        for kind in made_up_of(turn):
            yield kind, (float(corner[0]), float(corner[1]))


def turns_along(points: Array) -> list[float]:
    """By how much elbows turn a pipe at each corner of a line, whatever the hand: multiples of the smallest [degrees].

    Parameters
    ----------
    points : (n, 2) array
        No two alike [m].
    """
    if len(points) < 3:
        return []
    step = np.diff(points, axis=0)
    bearing = np.degrees(np.arctan2(step[:, 1], step[:, 0]))
    owed, turns = 0.0, []
    for turn in np.diff(bearing).tolist():
        owed += math.remainder(turn, 360.0)
        made = SMALLEST * round(owed / SMALLEST) if abs(owed) > TAKEN + 1e-6 else 0.0
        owed -= made
        turns.append(abs(made))
    return turns


@cache
def count_of(turn: float) -> int:
    """How many elbows turn by a multiple of the smallest one [degrees]."""
    return sum(1 for _ in made_up_of(turn))


def made_up_of(turn: float) -> Iterator[FittingKind]:
    """Name the fewest elbows that turn by a multiple of the smallest one [degrees]."""
    for kind, angle in ELBOWS:
        while turn >= angle - 1e-6:
            turn -= angle
            yield kind
