"""The baseline: a straight line that all stakes are measured from, by stations along it and square offsets."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layout.model import XY, Feature, FeatureKind, Offset
from layout.plane import Array
from layout.stakes.standing import in_the_way
from layout.stakes.tape import Tape

DIRECTIONS = 180
"""Directions that are tried, evenly over half a turn."""
PLACES = (0.5, 0.25, 0.75, 0.0, 1.0)
"""Shares of the stakes that lie to one side of the lines that are tried in each direction."""
_PASSED_OVER = frozenset(
    {FeatureKind.PROPERTY_LINE, FeatureKind.WATER_LINE, FeatureKind.DRIVE, FeatureKind.SLOPE}
)
"""Features that a tape can be laid across."""


@dataclass(frozen=True, slots=True)
class Baseline:
    """A baseline.

    Attributes
    ----------
    ends : ((x, y), (x, y))
        From station 0 on [m].
    blocked_by : str
        A feature that stands in the way of its tape; empty where none does.
    """

    ends: tuple[XY, XY]
    blocked_by: str = ""


def choose_baseline(weighed: Array, reached: Array, features: Sequence[Feature], tape: Tape) -> Baseline:
    """Choose the baseline with the least mean offset of some points, that runs through no feature if it can be.

    Parameters
    ----------
    weighed : (n, 2) array
        The points whose offsets are to be short [m].
    reached : (m, 2) array
        All points; the baseline is as long as it takes for each to lie square to it [m].
    features : sequence of Feature
    tape : Tape
        Its ends are where they are printed to be.
    """
    middle = weighed.mean(axis=0)
    main = _main_direction(weighed - middle)
    turns = main + np.arange(DIRECTIONS) * math.pi / DIRECTIONS
    ahead = np.column_stack((np.cos(turns), np.sin(turns)))
    aside = np.column_stack((ahead[:, 1], -ahead[:, 0]))
    beside = (weighed - middle) @ aside.T
    along = (reached - middle) @ ahead.T
    level = np.quantile(beside, PLACES, axis=0)
    mean = np.abs(beside[None, :, :] - level[:, None, :]).mean(axis=1)
    foot = middle + level[..., None] * aside
    ends = np.stack(
        (foot + along.min(axis=0)[:, None] * ahead, foot + along.max(axis=0)[:, None] * ahead), axis=2
    ).reshape(-1, 2, 2)
    order = np.argsort(np.round(mean.ravel(), 6), kind="stable")
    solid = [(item.name, in_the_way(item)) for item in features if item.kind not in _PASSED_OVER]
    lines = np.atleast_1d(np.asarray(shapely.linestrings(ends[order]), dtype=object))
    free = ~shapely.intersects(shapely.union_all([shape for _, shape in solid]), lines)
    best = int(np.argmax(free)) if free.any() else 0
    name = "" if free.any() else next(name for name, shape in solid if shape.intersects(lines[best]))
    start, end = tape.printed(ends[order[best]])
    if np.hypot(*(end - start)) < tape.step:
        end = start + np.array([tape.step, 0.0])
    return Baseline(((float(start[0]), float(start[1])), (float(end[0]), float(end[1]))), name)


def _main_direction(points: Array) -> float:
    """The direction in which points spread most [rad]."""
    (xx, xy), (_, yy) = points.T @ points
    return 0.5 * math.atan2(2 * xy, xx - yy)


def offsets(points: Array, ends: tuple[XY, XY], tape: Tape) -> list[Offset]:
    """Stations and offsets of points, rounded for the tape; offsets to the right are over 0."""
    start, end = np.asarray(ends)
    ahead = (end - start) / np.hypot(*(end - start))
    away = points - start
    station = tape.read(away @ ahead)
    offset = tape.read(away @ np.array([ahead[1], -ahead[0]]))
    error = tape.step / math.sqrt(2)
    return [
        Offset(station=float(s), offset=float(o), error=error) for s, o in zip(station, offset, strict=True)
    ]
