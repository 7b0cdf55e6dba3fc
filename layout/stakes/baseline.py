"""The baseline: a straight line that all stakes are measured from, by stations along it and square offsets."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import XY, Feature, FeatureKind, Offset
from layout.plane import Array, lines_of
from layout.stakes.standing import SOLID, TOUCHED, blocked_tapes, in_the_way
from layout.stakes.tape import Tape

DIRECTIONS = 180
"""Directions that are tried, evenly over half a turn."""
PLACES = (0.5, 0.25, 0.75, 0.0, 1.0)
"""Shares of the stakes that lie to one side of the lines that are tried in each direction."""
PASSED_OVER = frozenset({FeatureKind.WATER_LINE, FeatureKind.DRIVE, FeatureKind.SLOPE})
"""Features that a tape can be laid across."""


@dataclass(frozen=True, slots=True)
class Baseline:
    """A baseline.

    Attributes
    ----------
    ends : ((x, y), (x, y))
        From station 0 on [m].
    blocked_by : tuple of str
        Features that stand in the way of its tape, or property lines that it crosses.
    """

    ends: tuple[XY, XY]
    blocked_by: tuple[str, ...] = ()


def given_baseline(ends: tuple[XY, XY], features: Sequence[Feature]) -> Baseline:
    """A baseline as the user states it, with what it runs through.

    It may lie along a wall or a property line, and begin at one.

    Parameters
    ----------
    ends : ((x, y), (x, y))
        [m].
    features : sequence of Feature
    """
    starts, line = np.array(ends)[:1], LineString(ends)
    through = [
        item.name
        for item in features
        if (item.kind in SOLID and blocked_tapes(starts, np.array(ends)[1:], [item])[0])
        or (item.kind is FeatureKind.PROPERTY_LINE and _crosses(line, _boundary(item)))
    ]
    return Baseline(ends, tuple(through))


def _crosses(line: LineString, boundary: BaseGeometry) -> bool:
    """Whether a line goes over to the other side of a boundary, and not by a touch only."""
    return bool(line.crosses(boundary)) and len(lines_of(line.difference(boundary.buffer(TOUCHED)))) > 1


def _boundary(feature: Feature) -> BaseGeometry:
    """The line of a property line, whether it was given as a line or as an area."""
    return feature.shape.boundary if isinstance(feature.shape, Polygon) else feature.shape


def choose_baseline(weighed: Array, reached: Array, features: Sequence[Feature], tape: Tape) -> Baseline:
    """Choose the baseline with the least mean offset of some points, that runs through no feature if it can be.

    If any does, it crosses no property line either and keeps out of the setbacks of trees, whose trunks are wider than
    their points; else it may pass near a tree; else cross a property line.

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
    level = np.quantile(np.ascontiguousarray(beside.T), PLACES, axis=1)
    mean = np.stack([np.abs(beside - one).mean(axis=0) for one in level])
    foot = middle + level[..., None] * aside
    ends = np.stack(
        (foot + along.min(axis=0)[:, None] * ahead, foot + along.max(axis=0)[:, None] * ahead), axis=2
    ).reshape(-1, 2, 2)
    order = np.argsort(np.round(mean.ravel(), 6), kind="stable")
    lines = np.atleast_1d(np.asarray(shapely.linestrings(ends[order]), dtype=object))
    best = 0
    for shapes in _kept_off(features):
        free = ~shapely.intersects(shapely.union_all(shapes), lines)
        if free.any():
            best = int(np.argmax(free))
            break
    through = [
        item.name
        for item in features
        if item.kind not in PASSED_OVER and _stands_there(item).intersects(lines[best])
    ]
    start, end = tape.printed(ends[order[best]])
    if np.hypot(*(end - start)) < tape.step:
        end = start + np.array([tape.step, 0.0])
    return Baseline(((float(start[0]), float(start[1])), (float(end[0]), float(end[1]))), tuple(through))


def _kept_off(features: Sequence[Feature]) -> Iterator[list[BaseGeometry]]:
    """What a baseline keeps off, the most that is asked of it first."""
    standing = [item for item in features if item.kind not in PASSED_OVER]
    trees = [
        item.shape.buffer(item.setback)
        for item in standing
        if item.kind is FeatureKind.TREE and item.setback > 0
    ]
    yield [*map(_stands_there, standing), *trees]
    yield [*map(_stands_there, standing)]
    yield [in_the_way(item) for item in standing if item.kind is not FeatureKind.PROPERTY_LINE]


def _stands_there(feature: Feature) -> BaseGeometry:
    """What no baseline may run through: a property line as a line, what stands in the way of a tape."""
    return _boundary(feature) if feature.kind is FeatureKind.PROPERTY_LINE else in_the_way(feature)


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
        Offset(station=s, offset=o, error=error)
        for s, o in zip(station.tolist(), offset.tolist(), strict=True)
    ]
