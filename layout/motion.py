"""Rigid motions of the plane: laying a bed along the x axis before it is worked on, and back again.

What is worked out in the bed's own axes is the same wherever the bed lies and however it is turned, to the last
digits of a machine; with the mirror, also for its mirror image.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString
from shapely.geometry.base import BaseGeometry

Geometry = TypeVar("Geometry", bound=BaseGeometry)
Complex = NDArray[np.complex128]
Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Motion:
    """A motion that brings a place to the origin, a direction along the x axis and, mirrored, left to the right.

    Attributes
    ----------
    origin : complex
        The place [m], as x + iy.
    heading : complex
        The direction, of length 1.
    mirrored : bool
    """

    origin: complex
    heading: complex
    mirrored: bool = False

    def turn(self, geometry: Geometry) -> Geometry:
        """A geometry moved."""
        return _moved(geometry, lambda z: self._flip((z - self.origin) / self.heading))

    def back(self, geometry: Geometry) -> Geometry:
        """And back again."""
        return _moved(geometry, self._back)

    def all_back(self, lines: Sequence[LineString]) -> list[LineString]:
        """And many lines at once."""
        return [*shapely.transform(np.array(lines, dtype=object), _of_points(self._back))]

    def _back(self, z: Complex) -> Complex:
        return self._flip(z) * self.heading + self.origin

    def _flip(self, z: Complex) -> Complex:
        return np.conj(z) if self.mirrored else z


def _moved(geometry: Geometry, motion: Callable[[Complex], Complex]) -> Geometry:
    return shapely.transform(geometry, _of_points(motion))


def _of_points(motion: Callable[[Complex], Complex]) -> Callable[[Points], Points]:
    def move(xy: Points) -> Points:
        z = motion(xy[:, 0] + 1j * xy[:, 1])
        return np.column_stack((z.real, z.imag))

    return move
