"""Level lines of the field that counts gaps between two sides, each put on its exact level.

They are traced on a grid, and put on their levels by Newton's method. The field is linear in most places, and so its
level lines are straight there, with corners where a foot on either side passes from one segment to the next, or
where the count of gaps begins or ceases to climb. Two points on straight parts tell the corner between them: there
their tangents meet.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from layout.plane import Array, unit
from layout.runs.field import Index, Span, Spread

NEWTON_STEPS, CORNER_STEPS = 3, 2
"""Newton's steps at most: from the grid, and from where tangents meet."""
ON_LEVEL = 1e-5
"""A point this near its level line, in least gaps, is on it."""
SAGITTA = 1e-4
"""Greatest distance between a level line and its chords, in least gaps."""
PASSES = 2
"""How often corners are looked for on what is left of chords."""
MOST_POINTS = 150_000
"""Points of level lines above which no more are put between them."""
STRAYS, SETTLED, APART = 0.25, 1e-3, 5e-3
"""Where tangents meet is no corner if it lies farther from the line than the first, in chords; if after all steps it
still moves by more than the second, or comes nearer to an end of the chord than the third, in least gaps."""
OPPOSITE, LEAST_RISE = -0.5, 0.1
"""Cosine of the angle between the ways from both sides up to which they face each other, and the field rises as it
ought to; and what its squared gradient is taken for at least."""


def level_lines(spread: Spread) -> list[tuple[int, list[LineString]]]:
    """The level lines 0, 1, 2, … that enter the bed, each as the lines found, put on the exact level."""
    from contourpy import contour_generator

    grid = spread.between.grid
    field = np.full(grid.near.shape, np.nan)
    field[grid.near] = spread.level(grid.off, grid.width)
    maker = contour_generator(grid.xs, grid.ys, np.ma.masked_invalid(field), name="serial")
    top = round(float(spread.gaps(grid.width).max(initial=0.0)))
    step = grid.xs[1] - grid.xs[0]
    traced = [
        (level, _thinned(np.asarray(line, dtype=np.float64), step))
        for level in range(top + 1)
        for line in maker.lines(level)
    ]
    traced = [(level, line) for level, line in traced if len(line) > 1]
    found: list[tuple[int, list[LineString]]] = [(level, []) for level in range(top + 1)]
    if traced:
        exact = _on_level([line for _, line in traced], [level for level, _ in traced], spread)
        for (level, _), line in zip(traced, exact, strict=True):
            found[level][1].append(line)
    return found


@dataclass(frozen=True, slots=True)
class _Placed:
    """Points on their levels [m], the way the field rises there, the nearest segments of both sides.

    `moved` is how far off they were at first, `still` at last [m].
    """

    points: Array
    rise: Array
    left: Index
    right: Index
    moved: Array
    still: Array

    def of(self, which: NDArray[np.bool_]) -> _Placed:
        """Some of them."""
        return _Placed(*(getattr(self, part.name)[which] for part in fields(self)))

    def with_others(self, after: Index, others: _Placed) -> _Placed:
        """With others, each after one of them."""
        both = ((getattr(self, part.name), getattr(others, part.name)) for part in fields(self))
        return _Placed(*(np.insert(own, after + 1, other, axis=0) for own, other in both))

    def between(self, after: Index) -> tuple[Span, Span]:
        """The segments of both sides from those nearest to points to those nearest to the next ones."""
        left, right = (
            (np.minimum(side[after], side[after + 1]), np.maximum(side[after], side[after + 1]))
            for side in (self.left, self.right)
        )
        return left, right


def _on_level(lines: list[Array], levels: list[int], spread: Spread) -> list[LineString]:
    """Traced lines put on their levels, with a point at every corner that can be told."""
    owner = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    points = np.vstack(lines)
    level = np.asarray(levels, dtype=np.float64)[owner]
    found = _projected(points, level, spread.between.grid.about(points), spread, steps=NEWTON_STEPS)
    # chords that may leave the curve, by their first point
    unsure = np.append(owner[1:] == owner[:-1], False)
    for _ in range(PASSES):
        if len(found.points) > MOST_POINTS:
            break
        after = np.flatnonzero(unsure)
        meet, bent = _corners(found, after, SAGITTA * spread.closest)
        unsure[:] = False
        after, meet = after[bent], meet[bent]
        if not len(after):
            break
        put = _projected(meet, level[after], found.between(after), spread, steps=CORNER_STEPS)
        sound = _are_between(found.points, after, put, spread.closest)
        after, put = after[sound], put.of(sound)
        found = found.with_others(after, put)
        off = put.moved > SAGITTA * spread.closest
        unsure[after] = off
        unsure, level = np.insert(unsure, after + 1, off), np.insert(level, after + 1, level[after])
        owner = np.insert(owner, after + 1, owner[after])
    made = np.atleast_1d(np.asarray(shapely.linestrings(found.points, indices=owner), dtype=object))
    # points nearer to a chord than this tell nothing, and cost time at every later step
    return list(shapely.simplify(made, SAGITTA * spread.closest, preserve_topology=False))


def _projected(
    points: Array, level: Array, among: tuple[Span, Span], spread: Spread, *, steps: int
) -> _Placed:
    """Points put on their levels by some of Newton's steps, that lie beside some segments of both sides."""
    count = len(points)
    rise, (left, right), (moved, still) = (
        np.empty((count, 2)),
        np.empty((2, count), dtype=np.intp),
        np.empty((2, count)),
    )
    points, moving, hair = points.copy(), np.arange(count), 1e-6 * spread.closest
    for step in range(steps):
        here = spread.between.measure(points[moving], among)
        place = spread.place(level[moving], here.width)
        steeper = (spread.place(level[moving], here.width + hair) - place) / hair
        up = here.from_left - steeper[:, None] * (here.from_left + here.from_right)
        facing = (here.from_left * here.from_right).sum(axis=1) < OPPOSITE
        size = np.maximum((up**2).sum(axis=1), LEAST_RISE)
        way = np.where(facing[:, None], up / size[:, None], unit(here.from_left - here.from_right))
        shift = np.clip(place - here.off, -spread.closest / 2, spread.closest / 2)
        points[moving] += way * shift[:, None]
        rise[moving], left[moving], right[moving] = up, here.left, here.right
        still[moving] = np.abs(shift)
        if step == 0:
            moved[:] = still
        moving = moving[np.abs(shift) > ON_LEVEL * spread.closest]
        if not len(moving):
            break
        among = (left[moving], left[moving]), (right[moving], right[moving])
    return _Placed(points, rise, left, right, moved, still)


def _corners(found: _Placed, after: Index, sagitta: float) -> tuple[Array, NDArray[np.bool_]]:
    """Where the tangents at both ends of chords meet, and whether that is farther than this off the chord [m].

    Halfway along the chord, where they do not meet beside it.
    """
    walk, rise = (part[:, 0] + 1j * part[:, 1] for part in (found.points, found.rise))
    start, chord = walk[after], walk[after + 1] - walk[after]
    size = np.abs(chord)
    ahead = [1j * rise[end] / np.maximum(np.abs(rise[end]), 1e-12) for end in (after, after + 1)]
    first, last = (way * np.where((way * chord.conj()).real < 0, -1.0, 1.0) for way in ahead)
    cross = (first.conj() * last).imag
    cross = np.where(np.abs(cross) < 1e-9, np.inf, cross)
    on, back = (chord.conj() * last).imag / cross, (first.conj() * chord).imag / cross
    beside = (on >= 0) & (back >= 0) & (on + back < 1.5 * size)
    away = np.abs((first.conj() * chord).imag) / np.maximum(size, 1e-12) * on
    # a line that bends both ways leaves its chord by about this
    skew = size / 4 * (np.abs(np.angle(first * chord.conj())) + np.abs(np.angle(last * chord.conj())))
    place = start + np.where(beside, first * on, chord / 2)
    return np.column_stack((place.real, place.imag)), np.where(beside, away, skew) > sagitta


def _are_between(points: Array, after: Index, put: _Placed, closest: float) -> NDArray[np.bool_]:
    """Whether what was put in lies between points and those after them, as seen along these, and is a corner there."""
    before, beyond = put.points - points[after], points[after + 1] - put.points
    chord = before + beyond
    size = np.hypot(*chord.T)
    along = np.minimum((before * chord).sum(axis=1), (beyond * chord).sum(axis=1))
    near = (put.moved < STRAYS * size) & (put.still <= SETTLED * closest)
    return np.asarray(near & (along > APART * closest * size))


def _thinned(line: Array, step: float) -> Array:
    """A traced line without points that crowd where it passes the corners of the grid."""
    return np.asarray(line[np.concatenate(([True], np.hypot(*np.diff(line, axis=0).T) > 0.2 * step))])
