"""How dry the ground beside an obstacle is with rows led past it in one way or another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from layout.plane import Array
from layout.runs.loops import Loops
from layout.runs.nearby import Nearby, away

BESIDE = 2.5
"""How far from an obstacle ground is looked at for dry places, in spacings."""
SAMPLE = 0.3
"""How far apart such places are looked at, in spacings."""
COVERED = 1.01
"""Ground within this × half a spacing of tubing is covered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """Points of the usable ground beside a zone, the box they lie in, and how far they are from rows left alone.

    Attributes
    ----------
    points : array of Point
    rim : Polygon
    away : array of float
        [m].
    half : float
        Half a spacing [m].
    """

    points: NDArray[np.object_]
    rim: Polygon
    away: Array
    half: float

    @classmethod
    def of(cls, zone: Polygon, loops: Loops, still: Nearby) -> Beside:
        """The ground beside a zone, and its edge; `still` is the tubing that any way past the zone leaves alone."""
        ground = loops.ground
        step = SAMPLE * ground.spacing
        about = zone.buffer(BESIDE * ground.spacing)
        limits = loops.limits_about(about)
        around = about.difference(zone).intersection(limits)
        grid = np.empty((0, 2))
        if not around.is_empty:
            x0, y0, x1, y1 = around.bounds
            grid_x, grid_y = np.meshgrid(
                np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)
            )
            shapely.prepare(around)
            inside = shapely.contains_xy(around, grid_x.ravel(), grid_y.ravel())
            grid = np.column_stack((grid_x.ravel()[inside], grid_y.ravel()[inside]))
        edge = shapely.segmentize(zone.exterior, step / 2).intersection(limits)
        points = np.asarray(shapely.points(np.vstack((grid, shapely.get_coordinates(edge)))))
        rim = shapely.box(*zone.buffer(2 * BESIDE * ground.spacing).bounds)
        beside = cls(points=points, rim=rim, away=np.full(len(points), np.inf), half=ground.spacing / 2)
        return cls(points=points, rim=rim, away=beside._from(still), half=ground.spacing / 2)

    def _from(self, lines: Nearby) -> Array:
        """Distance of each point from all tubing [m]."""
        return np.minimum(away(self.points, lines.about(self.rim, 0.0)), self.away)

    def dry(self, lines: Nearby) -> tuple[float, float]:
        """The driest place with some more tubing [half spacings], and ground not covered [squares of the spacing]."""
        if not len(self.points):
            return 0.0, 0.0
        away = self._from(lines)
        bare = SAMPLE**2 * float((away > COVERED * self.half).sum())
        return float(away.max()) / self.half, bare
