"""Swing ties: two distances from two fixed points, chosen so that the tapes cross well, and the side told."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layout.model import XY, Feature, Side, Swing, SwingTie
from layout.plane import Array
from layout.stakes.standing import Flags, blocked_tapes
from layout.stakes.tape import Tape

LEAST_CROSSING, GREATEST_CROSSING = math.radians(30.0), math.radians(150.0)
"""Tapes that cross at less, or more, find a stake badly [rad]; common practice, no source."""
GOOD_LEAST, GOOD_GREATEST = math.radians(45.0), math.radians(135.0)
"""Between these it is the length of the tapes that counts [rad]; a judgement."""
NEAREST = 8
"""Fixed points looked at for a stake: the nearest ones."""
KEPT = 1.25
"""The pair of the stake before is kept while its longer tape is no longer than so many times that of the best pair."""

Index = NDArray[np.intp]


def meeting_points(
    first: XY | Array, first_distance: float | Array, second: XY | Array, second_distance: float | Array
) -> tuple[Array, Array]:
    """Both points that have given distances from two fixed points.

    Parameters
    ----------
    first, second : (x, y) or (n, 2) array
        The fixed points [m].
    first_distance, second_distance : float or (n,) array
        [m].

    Returns
    -------
    left, right : arrays
        As seen by one who stands at the first point and faces the second, shapes (n, 2) [m]; NaN where the
        distances do not meet.
    """
    a, b = np.atleast_2d(np.asarray(first, float)), np.atleast_2d(np.asarray(second, float))
    ra, rb = (
        np.atleast_1d(np.asarray(first_distance, float)),
        np.atleast_1d(np.asarray(second_distance, float)),
    )
    apart = np.hypot(*(b - a).T)
    with np.errstate(invalid="ignore", divide="ignore"):
        ahead = (b - a) / apart[:, None]
        along = (apart**2 + ra**2 - rb**2) / (2 * apart)
        beside = np.sqrt(ra**2 - along**2)
    foot = a + along[:, None] * ahead
    aside = beside[:, None] * np.column_stack((-ahead[:, 1], ahead[:, 0]))
    return foot + aside, foot - aside


def swings(
    points: Array, ties: Sequence[tuple[str, XY]], features: Sequence[Feature], tape: Tape
) -> list[Swing | None]:
    """Two swing ties for each of some points.

    Pairs with something solid across their tapes come last. Of the others that cross at 45 to 135 degrees the one
    with the shorter tapes is taken, but the pair of the point before as long as that costs little; else the pair that
    crosses nearest to a right angle.

    Parameters
    ----------
    points : (n, 2) array
        In walking order [m].
    ties : sequence of (name, (x, y))
        Fixed points [m].
    features : sequence of Feature
    tape : Tape

    Returns
    -------
    list of Swing or None
        None where the distances of no pair, rounded, are sure to meet: fewer than two fixed points, or a point in line
        with them.
    """
    if len(ties) < 2 or not len(points):
        return [None] * len(points)
    pairs = _Pairs.of(points, np.array([at for _, at in ties]), features, tape)
    made: list[Swing | None] = []
    before: tuple[int, int] | None = None
    for row in range(len(points)):
        choice = pairs.choice(row, before)
        if choice is None:
            made.append(None)
            continue
        before = (int(pairs.first[row, choice]), int(pairs.second[row, choice]))
        one, other = (
            SwingTie(name=ties[tie][0], at=ties[tie][1], distance=float(tape.read(pairs.away[row, tie])))
            for tie in before
        )
        side: Side = "left" if pairs.left[row, choice] else "right"
        made.append(
            Swing(
                ties=(one, other),
                side=side,
                crossing=float(pairs.crossing[row, choice]),
                error=float(pairs.error[row, choice]),
                blocked=bool(pairs.blocked[row, choice]),
            )
        )
    return made


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Pairs of the fixed points nearest to each point, by row: shapes (n, k), but for `away`.

    Attributes
    ----------
    away : (n, t) array
        Distance from each fixed point [m].
    first, second : arrays of int
        Which fixed points.
    longer : array
        The longer tape [m].
    crossing : array
        Of the tapes [rad].
    left : array of bool
        Whether the point is on the left from first to second.
    error : array
        How far rounding can lead from the point [m]; infinity where rounded distances may not meet.
    blocked : array of bool
        Whether something lies across a tape.
    """

    away: Array
    first: Index
    second: Index
    longer: Array
    crossing: Array
    left: Flags
    error: Array
    blocked: Flags

    @classmethod
    def of(cls, points: Array, fixed: Array, features: Sequence[Feature], tape: Tape) -> _Pairs:
        away = np.hypot(*(points[:, None, :] - fixed[None, :, :]).transpose(2, 0, 1))
        near = np.argsort(away, axis=1, kind="stable")[:, :NEAREST]
        near.sort(axis=1)
        pairs = np.array(list(itertools.combinations(range(near.shape[1]), 2)))
        first, second = near[:, pairs[:, 0]], near[:, pairs[:, 1]]
        crossing, left = _crossings(points, fixed, first, second)
        behind = _blocked(points, fixed, features)
        return cls(
            away=away,
            first=first,
            second=second,
            longer=np.maximum(np.take_along_axis(away, first, 1), np.take_along_axis(away, second, 1)),
            crossing=crossing,
            left=left,
            error=_errors(points, fixed, away, first, second, left, tape),
            blocked=np.take_along_axis(behind, first, 1) | np.take_along_axis(behind, second, 1),
        )

    def choice(self, row: int, before: tuple[int, int] | None) -> int | None:
        """The pair to take for one point, of equals the first; None where none is sure."""
        sure = np.isfinite(self.error[row])
        clear = sure & ~self.blocked[row]
        sure = clear if clear.any() else sure
        if not sure.any():
            return None
        crossing, longer = self.crossing[row], self.longer[row]
        good = sure & (crossing >= GOOD_LEAST) & (crossing <= GOOD_GREATEST)
        if not good.any():
            return int(np.where(sure, np.abs(crossing - math.pi / 2), np.inf).argmin())
        best = int(np.where(good, longer, np.inf).argmin())
        if before is not None:
            same = np.flatnonzero(good & (self.first[row] == before[0]) & (self.second[row] == before[1]))
            if len(same) and longer[same[0]] <= KEPT * longer[best]:
                return int(same[0])
        return best


def _blocked(points: Array, fixed: Array, features: Sequence[Feature]) -> Flags:
    """Whether something lies across the tape from each fixed point to each point, shape (n, t)."""
    starts = np.tile(fixed, (len(points), 1))
    ends = np.repeat(points, len(fixed), axis=0)
    return blocked_tapes(starts, ends, features).reshape(len(points), len(fixed))


def _crossings(points: Array, fixed: Array, first: Index, second: Index) -> tuple[Array, Flags]:
    """Angle between the tapes of each pair at each point [rad], and whether the point lies on their left."""
    to_first, to_second = fixed[first] - points[:, None, :], fixed[second] - points[:, None, :]
    cross = to_first[..., 0] * to_second[..., 1] - to_first[..., 1] * to_second[..., 0]
    dot = np.einsum("ijk,ijk->ij", to_first, to_second)
    # at a point on the left of first to second, second lies counter-clockwise from first
    return np.abs(np.arctan2(cross, dot)), cross > 0


def _errors(
    points: Array, fixed: Array, away: Array, first: Index, second: Index, left: Flags, tape: Tape
) -> Array:
    """How far from each point the rounded distances of each pair can meet at most [m]; infinity where they may not.

    The distances lie within half a step of the true ones, and the place where they meet moves farthest at a corner of
    that square.
    """
    shape = first.shape
    a, b = fixed[first].reshape(-1, 2), fixed[second].reshape(-1, 2)
    ra, rb = (np.take_along_axis(away, which, 1).ravel() for which in (first, second))
    true = np.repeat(points, shape[1], axis=0)
    worst = np.zeros(len(true))
    for less, more in itertools.product((-tape.step / 2, tape.step / 2), repeat=2):
        on_left, on_right = meeting_points(a, np.maximum(ra + less, 0.0), b, np.maximum(rb + more, 0.0))
        found = np.where(left.ravel()[:, None], on_left, on_right)
        off = np.hypot(*(found - true).T)
        worst = np.maximum(worst, np.where(np.isnan(off), np.inf, off))
    return np.asarray(worst.reshape(shape))
