"""Contours and surveyed levels of the ground, where they are known."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString, MultiLineString

from layout.model import Levels
from layout.plane import Array, lines_of
from layout.terrain import surface_of
from layout.units import UnitSet

_MOST = 12
"""Contours over the whole range of levels, about."""
_LEAST_STEP = 0.1
_MOST_POINTS = 20_000


def interval_of(levels: Levels, units: UnitSet) -> float:
    """Find the height between contours: 1, 2 or 5 times a power of ten, in site units, for about ten of them [m]."""
    rise = float(np.ptp([z for _, _, z in levels.points])) / units.length
    step = max(rise / _MOST, _LEAST_STEP)
    power = 10.0 ** math.floor(math.log10(step))
    return units.length * next(
        factor * power for factor in (1, 2, 5, 10) if factor * power >= step * (1 - 1e-9)
    )


def contours(levels: Levels, interval: float) -> list[tuple[int, LineString]]:
    """Draw the contours of flat triangles between surveyed levels.

    Parameters
    ----------
    levels : Levels
    interval : float
        From one to the next [m].

    Returns
    -------
    list of (int, LineString)
        How many intervals each lies above zero, the lowest first, and its line [m]. Empty for ground that is not
        surveyed, and for so many points that contours would not be read.
    """
    if not 3 <= len(levels.points) <= _MOST_POINTS:
        return []
    surface = surface_of(levels)
    points, heights, corners = surface.points, surface.levels, surface.triangles
    first, last = math.ceil(heights.min() / interval + 1e-9), math.floor(heights.max() / interval - 1e-9)
    found: list[tuple[int, LineString]] = []
    for number in range(first, last + 1):
        pieces = _crossings(points[corners], heights[corners], number * interval)
        if len(pieces):
            merged = shapely.line_merge(MultiLineString(pieces.tolist()))
            found += [(number, line) for line in lines_of(merged)]
    return found


def _crossings(corners: Array, heights: Array, level: float) -> Array:
    """Cut triangles by a level: the piece of it in each triangle that it passes through, shape (n, 2, 2)."""
    # A corner just at the level counts as above it, so that neighbours agree on where the line passes.
    above = heights >= level
    mixed = np.flatnonzero(above.any(axis=1) & ~above.all(axis=1))
    pieces = np.empty((len(mixed), 2, 2))
    lonely = np.where(
        above[mixed].sum(axis=1) == 1, above[mixed].argmax(axis=1), (~above[mixed]).argmax(axis=1)
    )
    rows = np.arange(len(mixed))
    for end, step in enumerate((1, 2)):
        other = (lonely + step) % 3
        # Always from the lower to the higher corner: both triangles of an edge find the very same point.
        low = np.where(heights[mixed, lonely] < heights[mixed, other], lonely, other)
        high = np.where(low == lonely, other, lonely)
        z_low, z_high = heights[mixed][rows, low], heights[mixed][rows, high]
        share = (level - z_low) / np.maximum(z_high - z_low, 1e-300)
        start, stop = corners[mixed][rows, low], corners[mixed][rows, high]
        pieces[:, end] = start + share[:, None] * (stop - start)
    long = np.hypot(*(pieces[:, 1] - pieces[:, 0]).T) > 1e-9
    return np.asarray(pieces[long], dtype=np.float64)
