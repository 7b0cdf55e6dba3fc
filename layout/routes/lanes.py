"""Pipes side by side in one trench: each keeps a lane of its own beside the trench's centre line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cmp_to_key

import numpy as np
from shapely import LineString

from layout.plane import TOLERANCE, Array, coordinates, unit
from layout.routes.ground import Ground
from layout.routes.items import Laid
from layout.routes.trench import Group, tidy


def in_lane(centre: Array, offset: float, *, swing: float) -> Array:
    """A pipe that starts in the middle of a trench and keeps to a lane from there on.

    Parameters
    ----------
    centre : (n, 2) array
        The trench, no two points alike [m].
    offset : float
        How far to the left of it the lane lies; below 0 to the right [m].
    swing : float
        Length along the trench on which it moves over into the lane [m].

    Returns
    -------
    (k, 2) array
        From the first point of the trench over into the lane, and along that to its end [m].

    Examples
    --------
    >>> in_lane(np.array([[0.0, 0.0], [10.0, 0.0], [10.0, -5.0]]), 0.5, swing=0.5).tolist()
    [[0.0, 0.0], [0.5, 0.5], [10.5, 0.5], [10.5, -5.0]]
    """
    if abs(offset) < TOLERANCE:
        return centre
    way = unit(np.diff(centre, axis=0))
    left = np.column_stack((-way[:, 1], way[:, 0]))
    # At a corner the lane bends on the bisector, where both of its sides keep their distance.
    bisector = left[:-1] + left[1:]
    bisector /= np.maximum(1.0 + np.einsum("ij,ij->i", left[:-1], left[1:]), 0.1)[:, None]
    lane = centre + offset * np.vstack((left[:1], bisector, left[-1:]))
    first = math.dist(centre[0], centre[1])
    into = centre[0] + way[0] * swing + left[0] * offset
    rest = lane[1:]
    if first > 2 * swing:
        rest = np.vstack((into, rest))
    return np.vstack((centre[:1], rest))


def from_left(ways: Sequence[Array]) -> list[int]:
    """The order, from left to right, in which trenches from one place part from each other.

    Parameters
    ----------
    ways : sequence of (n, 2) arrays
        Centre lines that share their first leg [m].

    Returns
    -------
    list of int
        Their numbers; of two that do not part, the first given comes first.
    """

    def hand(one: int, other: int) -> int:
        return _hand(ways[one], ways[other])

    return sorted(range(len(ways)), key=cmp_to_key(hand))


def _hand(one: Array, other: Array) -> int:
    """Tell on which hand of another way one leaves it: -1 left, 1 right, 0 where they do not part."""
    for at in range(1, min(len(one), len(other))):
        if math.dist(one[at], other[at]) <= TOLERANCE:
            continue
        here = one[at - 1]
        onward = [way[at] - here for way in (one, other)]
        turn = _turn(onward[1], onward[0])
        if abs(turn) * min(math.hypot(*step) for step in onward) > TOLERANCE:
            before = here - one[at - 2] if at > 1 else onward[0] + onward[1]
            turns = [_turn(before, step) for step in onward]
            return int(np.sign(turns[1] - turns[0]))
        # Both go straight on, one of them farther: the other leaves it where it ends or bends.
        first = 0 if math.hypot(*onward[0]) < math.hypot(*onward[1]) else 1
        way = (one, other)[first]
        if at + 1 == len(way):
            return 0
        away = _turn(onward[first], way[at + 1] - way[at])
        return int(np.sign(away)) * (-1 if first == 0 else 1)
    return 0


def _turn(before: Array, after: Array) -> float:
    """Give the turn to the left from one direction to another [rad]."""
    cross = float(before[0] * after[1] - before[1] * after[0])
    return math.atan2(cross, float(before @ after))


def led_in_lanes(
    ground: Ground, group: Group, centre: Array, offsets: Sequence[float], swing: float
) -> Laid | None:
    """Lead each pipe of a group along its lane and to its manifold.

    Parameters
    ----------
    ground : Ground
    group : Group
    centre : (n, 2) array
        The middle of the trench [m].
    offsets : sequence of float
        From the middle to the lane of each pipe, as :func:`in_lane` takes them [m].
    swing : float
        Length along the trench on which a pipe moves over into its lane [m].

    Returns
    -------
    Laid or None
        None where a pipe breaks a distance.
    """
    ways: list[Array] = []
    legs: list[LineString] = []
    for pipe, feed, offset in zip(group.pipes, group.feeds, offsets, strict=True):
        lane = in_lane(centre, offset, swing=swing)
        leg = ground.leg((float(lane[-1, 0]), float(lane[-1, 1])), pipe, feed, group.feeds)
        if leg is None:
            return None
        walk = tidy(np.vstack((lane, coordinates(leg))))
        if not LineString(walk).is_simple or not ground.allows(walk, group.feeds):
            return None
        ways.append(walk)
        legs.append(leg)
    return Laid(group, tuple(ways), tuple(legs), centre)
