"""What is taken on paper, and whether anything touches it: quickly, for very many tries. All in inches on paper."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import Array

Objects = NDArray[np.object_]
Flags = NDArray[np.bool_]

_FACTS = 9
_ROUNDING = 1e-9


class Claimed:
    """Shapes that have their place, in the order in which they took it.

    Beside them stands what tells at once that most of them are not touched, or that one is: few questions come to the
    geometry engine then.
    """

    def __init__(self, shapes: Iterable[BaseGeometry] = ()) -> None:
        self._count = 0
        # with room to grow
        self._shapes: Objects = np.full(64, None, dtype=object)
        self._facts = np.empty((64, _FACTS))
        for shape in shapes:
            self.claim(shape)

    def __len__(self) -> int:
        return self._count

    def claim(self, shape: BaseGeometry) -> None:
        """Take the place of a shape."""
        if self._count == len(self._facts):
            self._facts = np.concatenate((self._facts, np.empty_like(self._facts)))
            self._shapes = np.concatenate((self._shapes, np.full_like(self._shapes, None)))
        self._facts[self._count], self._shapes[self._count] = _facts_of(shape), shape
        self._count += 1

    def since(self, count: int) -> list[BaseGeometry]:
        """All shapes but the first so many."""
        return list(self._shapes[count : self._count])

    def release(self, count: int) -> None:
        """Give back all places but the first so many."""
        self._count = min(count, self._count)

    def copied(self) -> Claimed:
        """The same, to try more on: what is taken there is not taken here."""
        made = Claimed()
        made._count, made._shapes, made._facts = self._count, self._shapes.copy(), self._facts.copy()
        return made

    def touch(self, shape: BaseGeometry) -> bool:
        """Whether a shape touches any of these."""
        return bool(self.touched_by(np.array([shape], dtype=object))[0])

    def touched_by(self, shapes: Objects, bounds: Array | None = None, level: Flags | None = None) -> Flags:
        """Which of some shapes touch any of these.

        Parameters
        ----------
        shapes : (n,) array of geometries
        bounds : (n, 4) array, optional
            Theirs, where they are known.
        level : (n,) array of bool, optional
            Which of them are boxes that stand level.
        """
        found = np.zeros(len(shapes), dtype=bool)
        if not len(shapes):
            return found
        which, taken = self._meeting(np.asarray(shapely.bounds(shapes)) if bounds is None else bounds)
        if len(which):
            _, _, _, _, x, y, inner, outer, is_level = self._facts[taken].T
            if level is not None:  # two level boxes touch where their bounds do
                found[which[level[which] & (is_level > 0)]] = True
            # What comes no nearer than the circle round it does not touch it, what comes into the one within it does.
            unsure = np.flatnonzero(~found[which])
            away = shapely.distance(shapes[which[unsure]], shapely.points(x[unsure], y[unsure]))
            found[which[unsure[away < inner[unsure]]]] = True
            unsure = unsure[(away <= outer[unsure]) & ~found[which[unsure]]]
            which, taken = which[unsure], taken[unsure]
            found[which[shapely.intersects(shapes[which], self._shapes[taken])]] = True
        return found

    def _meeting(self, bounds: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Pairs of shapes of some bounds, shape (n, 4), and of these whose bounds touch: numbers of both."""
        (left, bottom), (right, top) = np.nanmin(bounds[:, :2], axis=0), np.nanmax(bounds[:, 2:], axis=0)
        taken = self._facts[: self._count, :4]
        near = np.flatnonzero(
            (taken[:, 0] <= right) & (taken[:, 2] >= left) & (taken[:, 1] <= top) & (taken[:, 3] >= bottom)
        )
        of, own = taken[near].T[:, None, :], bounds.T[:, :, None]
        which, other = np.nonzero(
            (of[0] <= own[2]) & (of[2] >= own[0]) & (of[1] <= own[3]) & (of[3] >= own[1])
        )
        return which, near[other]


def _facts_of(shape: BaseGeometry) -> tuple[float, ...]:
    """What tells at once whether a shape may be touched: as many figures as :data:`_FACTS`.

    Its bounds; a middle, with the radius of a circle about it within the shape, and of one round it; and whether it is
    a box that stands level (1) or not (0).
    """
    bounds, points = shape.bounds, shapely.get_coordinates(shape)
    left, bottom, right, top = bounds
    x, y = (left + right) / 2, (bottom + top) / 2
    outer = float(np.hypot(points[:, 0] - x, points[:, 1] - y).max(initial=0.0))
    inner, level = 0.0, False
    if isinstance(shape, Polygon) and not shape.interiors:
        if len(points) == 5:
            corners = {(px, py) for px, py in points.tolist()}
            level = corners == {(left, bottom), (left, top), (right, bottom), (right, top)}
        elif shapely.intersects_xy(shape, x, y):
            inner = float(shapely.distance(shape.exterior, Point(x, y)))
    return (*bounds, x, y, inner * (1 - _ROUNDING), outer * (1 + _ROUNDING), float(level))
