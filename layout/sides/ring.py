"""The outline of a bed as a dense closed walk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from layout.plane import Array, coordinates, points_at, resample, stations


@dataclass(frozen=True, slots=True)
class Ring:
    """The outline as a dense closed walk [m], counter-clockwise, with the outline's own vertices kept."""

    points: Array
    station: Array
    length: float

    def between(self, start: float, end: float) -> Array:
        """The walk from one station on to another, round the ring if need be."""
        start, end = start % self.length, start % self.length + (end - start) % self.length
        wide = np.concatenate((self.station[:-1], self.station[:-1] + self.length))
        inner = wide[(wide > start + 1e-7) & (wide < end - 1e-7)]
        along = np.concatenate(([start], inner, [end]))
        return self.at(along)

    def at(self, along: Array) -> Array:
        """Points at stations, taken round the ring."""
        return points_at(self.points, np.mod(along, self.length))


def dense_ring(outline: Polygon, step: float) -> Ring:
    """A walk round an outline in steps of at most so much [m].

    Each edge is divided on its own, so that a turned or mirrored bed gives the turned or mirrored points.
    """
    corners = coordinates(outline.exterior)
    step = max(step, outline.length / 6000)
    pieces = [resample(corners[i : i + 2], step)[:-1] for i in range(len(corners) - 1)]
    points = np.vstack([*pieces, corners[:1]])
    station = stations(points)
    return Ring(points, station, float(station[-1]))
