"""Corners of a line filleted: where a disc rolled along it would leave it, its arc takes the corner's place.

For corners with room beside them this is what rolling by offsets gives (:func:`layout.runs.guides.rolled`), at a
small part of the cost: the disc that touches the line before a corner and after it is found by Newton's method, for
all corners at once. Points and vectors are complex numbers here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layout.plane import Array

ABOUT, CORNER = 1 / 8, math.radians(4.0)
"""A place where a line turns to one side by more than the second over this many radii may be a corner. An arc of the
radius turns by 7 degrees there."""
DEPTH = 5e-4
"""Corners from which a disc keeps away by less than this are left, in radii: kinks of 3.6 degrees, chords of arcs."""
LEFT = 2.5e-3
"""And by this, once the rest is filleted: seams of arcs, and kinks of 8 degrees."""
BESIDE = 0.4
"""How much farther to either side of a corner a line is looked at than a kink would ask for, in radii."""
SHARPEST = math.radians(100.0)
"""Corners that turn more are not filleted."""
STEPS, CLOSE = 8, 1e-8
"""Newton's steps at most, and how near to touching a disc must come, in radii."""
MERGED = 4
"""How often corners in each other's way are taken as one."""
ARC_STEP = math.pi / 64
"""Angle between points of an arc: chords stay within 3e-4 of the radius."""

Complex = NDArray[np.complex128]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]


def filleted(points: Array, radius: float) -> tuple[Array, Array]:
    """A line with its corners to both sides filleted, those to the left first.

    Parameters
    ----------
    points : (n, 2) array
        [m].
    radius : float
        [m].

    Returns
    -------
    points : (k, 2) array
    left_over : (m,) array
        Where on it corners are left that have to be rolled by other means [m].
    """
    walk = points[:, 0] + 1j * points[:, 1]
    for side in (1.0, -1.0):
        walk = _filleted(walk, radius, side)
    lines = [_Line.of(walk, side) for side in (1.0, -1.0)]
    left = [line.station[line.corners(radius, depth=LEFT).middle] for line in lines]
    left_over = np.sort(np.concatenate(left))
    return np.column_stack((walk.real, walk.imag)), left_over


def _filleted(walk: Complex, radius: float, side: float) -> Complex:
    """A line with those of its corners to one side filleted that have room."""
    line = _Line.of(walk, side)
    corners = line.corners(radius, depth=DEPTH)
    for _ in range(MERGED):
        if not len(corners.first):
            return walk
        discs = line.touching(corners, radius)
        meets = discs.before[1:] < discs.after[:-1] - 1e-9 * radius
        if not meets.any():
            return line.with_arcs(discs.of(discs.sound)) if discs.sound.any() else walk
        corners = corners.merged(meets, line.turn)
    return walk


@dataclass(frozen=True, slots=True)
class _Corners:
    """Corners of a line by their first, last and sharpest point."""

    first: Index
    last: Index
    middle: Index

    def merged(self, meets: Flags, turn: Array) -> _Corners:
        """Those that meet the one before made one with it."""
        begins = np.concatenate(([True], ~meets))
        start = np.flatnonzero(begins)
        sharpness = -np.round(np.abs(turn[self.middle]), 9)
        order = np.lexsort((self.middle, sharpness, np.cumsum(begins)))
        return _Corners(
            self.first[start], self.last[np.append(start[1:], len(self.last)) - 1], self.middle[order[start]]
        )


@dataclass(frozen=True, slots=True)
class _Discs:
    """Discs that touch a line before and after corners: centres, where they touch it [m], and which are sound."""

    centre: Complex
    before: Array
    after: Array
    sound: Flags

    def of(self, which: Flags) -> _Discs:
        """Some of them."""
        return _Discs(self.centre[which], self.before[which], self.after[which], self.sound[which])


@dataclass(frozen=True, slots=True)
class _Line:
    """A line: points, how far along they lie, unit vectors along its steps, and by how much it turns at points.

    It turns to its side where that is above 0; `side` is 1.0 for the left, -1.0 for the right. Steps are `size` long
    [m]; turned `back` they lie along the real axis, from where `turned` is on.
    """

    points: Complex
    station: Array
    ahead: Complex
    turn: Array
    side: float
    size: Array
    back: Complex
    turned: Complex

    @classmethod
    def of(cls, points: Complex, side: float) -> _Line:
        """Of a line [m]."""
        step = np.diff(points)
        if not (real := step != 0).all():
            points, step = points[np.concatenate(([True], real))], step[real]
        size = np.abs(step)
        ahead = step / size
        turn = np.concatenate(([0.0], side * np.angle(ahead[1:] * ahead[:-1].conj()), [0.0]))
        back = ahead.conj()
        return cls(
            points,
            np.concatenate(([0.0], np.cumsum(size))),
            ahead,
            turn,
            side,
            size,
            back,
            points[:-1] * back,
        )

    def corners(self, radius: float, *, depth: float) -> _Corners:
        """Where a disc rolled along its side would leave it, by more than a depth [radii]."""
        reach = ABOUT / 2 * radius * (1 + 1e-9)
        total = np.concatenate(([0.0], np.cumsum(np.maximum(self.turn, 0.0))))
        low = np.searchsorted(self.station, self.station - reach)
        high = np.searchsorted(self.station, self.station + reach, side="right")
        found = np.flatnonzero((self.turn > 0) & (total[high] - total[low] > CORNER))
        if len(found):
            found = found[self._is_off(found, radius, depth)]
        each = _Corners(found, found, found)
        return each.merged(np.diff(self.station[found]) <= reach, self.turn) if len(found) else each

    def _is_off(self, at: Index, radius: float, depth: float) -> Flags:
        """Whether a disc that touched it at some points would cut it."""
        normal = self._normal(at - 1) + self._normal(at)
        centre = self.points[at] + radius * normal / np.maximum(np.abs(normal), 1e-12)
        away, _ = self._nearest(centre, *self._window(at, at, np.full(len(at), BESIDE * radius)))
        return np.asarray(away < (1 - depth) * radius)

    def _normal(self, number: Index) -> Complex:
        """Unit vectors square to steps, towards its side."""
        return np.asarray(1j * self.side * self.ahead[number])

    def _window(self, begin: Index, end: Index, reach: Array) -> tuple[Index, Index]:
        """The first and the last step within reach of stretches between points [m]."""
        first = np.searchsorted(self.station, self.station[begin] - reach, side="right") - 1
        last = np.searchsorted(self.station, self.station[end] + reach) - 1
        return np.maximum(first, 0), np.minimum(last, len(self.ahead) - 1)

    def _nearest(self, places: Complex, first: Index, last: Index) -> tuple[Array, Array]:
        """Distance of places from some steps of the line on end, and how far along the nearest point there lies [m]."""
        number = np.minimum(first[:, None] + np.arange(int((last - first).max()) + 1), last[:, None])
        # as seen along each step: how far on, and how far beside it
        seen = places[:, None] * self.back[number] - self.turned[number]
        beyond = seen.real - np.clip(seen.real, 0.0, self.size[number])
        away = beyond**2 + seen.imag**2
        row, best = np.arange(len(places)), away.argmin(axis=1)
        step = number[row, best]
        return np.sqrt(away[row, best]), self.station[step] + seen.real[row, best] - beyond[row, best]

    def at(self, along: Array) -> Complex:
        """Its points at distances along it [m]."""
        return np.asarray(np.interp(along, self.station, self.points))

    def touching(self, corners: _Corners, radius: float) -> _Discs:
        """The discs that touch the line before and after corners."""
        one, other = self._normal(corners.first - 1), self._normal(corners.last)
        turned = np.abs(np.angle(other * one.conj()))
        reach = radius * (np.tan(np.minimum(turned, SHARPEST) / 2) + BESIDE)
        first, last = self._window(corners.first, corners.last, reach)
        centre = _meeting(
            one,
            other,
            radius + _product(one, self.points[corners.first]),
            radius + _product(other, self.points[corners.last]),
        )
        for _ in range(STEPS):
            near, start = self._nearest(centre, first, corners.middle - 1)
            far, end = self._nearest(centre, corners.middle, last)
            before, after = centre - self.at(start), centre - self.at(end)
            off = np.maximum(np.abs(near - radius), np.abs(far - radius))
            if (off <= CLOSE * radius).all():
                break
            before, after = before / np.maximum(near, 1e-12), after / np.maximum(far, 1e-12)
            centre = centre + _meeting(before, after, radius - near, radius - far)
        on_side = (_product(before, one) > 0) & (_product(after, other) > 0)
        held = (start > self.station[first]) & (end < self.station[last + 1])
        return _Discs(centre, start, end, (turned < SHARPEST) & (off <= CLOSE * radius) & on_side & held)

    def with_arcs(self, discs: _Discs) -> Complex:
        """The line with arcs of discs between where they touch it."""
        one, other = self.at(discs.before) - discs.centre, self.at(discs.after) - discs.centre
        sweep = np.angle(other * one.conj())
        count = np.maximum(np.ceil(np.abs(sweep) / ARC_STEP - 1e-6), 1).astype(np.intp) + 1
        which = np.repeat(np.arange(len(count)), count)
        number = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
        share = number / np.repeat(count - 1, count)
        arcs = discs.centre[which] + one[which] * np.exp(1j * share * sweep[which])
        at = discs.before[which] + share * (discs.after - discs.before)[which]
        covered = np.zeros(len(self.points) + 1, dtype=np.intp)
        np.add.at(covered, np.searchsorted(self.station, discs.before - 1e-9), 1)
        np.add.at(covered, np.searchsorted(self.station, discs.after + 1e-9, side="right"), -1)
        kept = np.cumsum(covered)[:-1] == 0
        order = np.argsort(np.concatenate((self.station[kept], at)), kind="stable")
        return np.asarray(np.concatenate((self.points[kept], arcs))[order])


def _product(one: Complex, other: Complex) -> Array:
    """Scalar products of vectors."""
    return np.asarray(one.real * other.real + one.imag * other.imag)


def _meeting(one: Complex, other: Complex, to_one: Array, to_other: Array) -> Complex:
    """The places with given products with two vectors."""
    cross = one.real * other.imag - one.imag * other.real
    cross = np.where(np.abs(cross) > 1e-9, cross, np.inf)
    return np.asarray((to_other * one - to_one * other) * 1j / cross)
