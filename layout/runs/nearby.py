"""Tubing by where it is, so that what lies near a place is soon found in a bed with very many runs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiLineString, Point
from shapely.geometry.base import BaseGeometry

from layout.near import SegmentIndex
from layout.plane import Array

MANY = 50
"""Places from which on an index of the tubing costs less than it saves."""


@dataclass(frozen=True, slots=True)
class Nearby:
    """Lines, and the boxes they lie in, shape (n, 4) [m]."""

    lines: NDArray[np.object_]
    bounds: Array

    @classmethod
    def of(cls, lines: Iterable[LineString]) -> Nearby:
        """Some lines."""
        found = np.asarray(list(lines), dtype=object)
        return cls(found, np.asarray(shapely.bounds(found)).reshape(-1, 4))

    @classmethod
    def of_all(cls, parts: Iterable[Nearby]) -> Nearby:
        """The lines of all of some."""
        every = list(parts)
        if not every:
            return cls.of(())
        return cls(
            np.concatenate([part.lines for part in every]), np.concatenate([part.bounds for part in every])
        )

    def part(self, first: int, end: int) -> Nearby:
        """The lines from one on, up to another."""
        return Nearby(self.lines[first:end], self.bounds[first:end])

    def boxed(self, place: BaseGeometry, distance: float) -> NDArray[np.object_]:
        """Those whose box comes within a distance of that of a place [m]."""
        x0, y0, x1, y1 = self.bounds.T
        left, low, right, high = place.bounds
        reach = distance * (1 + 1e-9)
        near = (x0 <= right + reach) & (x1 >= left - reach) & (y0 <= high + reach) & (y1 >= low - reach)
        return np.asarray(self.lines[near], dtype=object)

    def within(self, place: BaseGeometry, distance: float) -> list[LineString]:
        """Those that come within a distance of a place [m]."""
        if not len(self.lines) or place.is_empty:
            return []
        near = self.boxed(place, distance)
        if not len(near):
            return []
        shapely.prepare(near)
        return list(near[shapely.dwithin(near, place, distance)])

    def about(self, place: BaseGeometry, distance: float) -> MultiLineString:
        """All of the lines that lies within a distance of a place [m], and little else."""
        near = self.boxed(place, distance)
        left, low, right, high = place.bounds
        reach = distance * (1 + 1e-9)
        cut = shapely.get_parts(
            shapely.clip_by_rect(near, left - reach, low - reach, right + reach, high + reach)
        )
        return MultiLineString(list(cut[~shapely.is_empty(cut)]))


def away(places: Point | LineString | NDArray[np.object_], tubing: BaseGeometry) -> Array:
    """Distance of places from tubing [m]; infinity where there is none. Many places must be points."""
    if isinstance(places, np.ndarray) and len(places) > MANY and tubing.length > 0:
        return SegmentIndex(list(shapely.get_parts(tubing))).nearest(shapely.get_coordinates(places))[0]
    found = np.asarray(shapely.distance(places, tubing), dtype=np.float64)
    return np.where(np.isnan(found), np.inf, found)
