"""How many neighbouring lines make a lateral: a number the user states, or the best by a stated measure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layout.plane import TOLERANCE

EVEN = 1.6
"""Laterals are even where the longest is at most this × the shortest: a three beside a pair."""
NEVER = np.iinfo(np.int64).max // 4
"""Stands for what no division comes to."""

Loops = Sequence[float | None]


def best_groups(
    lengths: Sequence[float],
    near: Loops,
    far: Loops,
    *,
    longest: float,
    leads: Sequence[float] | None = None,
) -> tuple[int, ...]:
    """Divide neighbouring lines into laterals by a stated measure.

    No lateral of two lines or more is longer than `longest`, loops included; a single line that is longer
    stays alone. Among all such divisions, in this order:

    1. fewest laterals that do not return to the manifold end: each needs a return from the far end;
    2. for each number of laterals the most even division, of least sum of squared lengths; of those, lengths
       within 1.6 × each other count as even, and else the least ratio of longest to shortest is best;
    3. more than one lateral, since a field of one stands still when it is broken;
    4. fewest joints. A loop has two, a lateral four: at either end tubing to riser and riser to manifold. So of
       n lines in k laterals there are 2 (n - k) + 4 k = 2 n + 2 k, and fewest joints are fewest laterals.

    The best is found exactly, by dynamic programming over the end of the last lateral and their number.

    Parameters
    ----------
    lengths : sequence of float
        Of the lines, from left to right [m].
    near, far : sequence of float or None
        Length of the loop between each line and the next at the manifold end and at the other end, one fewer
        than lines [m]; None where none can be laid.
    longest : float
        [m].
    leads : sequence of float, optional
        Where blank tubing is to lead laterals back to the manifold end that end elsewhere: its length from the outer
        end of each line [m]. It is part of the lateral's length then, but of a single line that is too long with it,
        which is not led back.

    Returns
    -------
    tuple of int
        Number of lines to each lateral, from left to right.

    Examples
    --------
    >>> best_groups([98.0] * 6, [2.0] * 5, [2.0] * 5, longest=300.0)
    (2, 2, 2)
    >>> best_groups([98.0] * 5, [2.0] * 4, [2.0] * 4, longest=300.0)
    (3, 2)
    >>> best_groups([98.0] * 5, [2.0] * 4, [2.0] * 4, longest=300.0, leads=[100.0] * 5)
    (2, 2, 1)
    """
    if not lengths:
        return ()
    table = _divisions(lengths, near, far, longest, leads or [0.0] * len(lengths))
    count = len(lengths)
    numbers = np.flatnonzero(table.astray[count] < NEVER)
    astray = table.astray[count, numbers]
    ratios = table.longest[count, numbers] / np.maximum(table.shortest[count, numbers], 1)
    ranked = [
        (max(ratio, EVEN), number == 1, number)
        for number, ratio, left in zip(numbers.tolist(), ratios.tolist(), astray.tolist(), strict=True)
        if left == astray.min()
    ]
    return _walked_back(table.last, min(ranked)[2])


def fixed_groups(lengths: Sequence[float], near: Loops, far: Loops, *, wanted: int) -> tuple[int, ...]:
    """Divide lines into laterals of `wanted` lines from left to right, fewer where no loop can be laid.

    Parameters and result as for :func:`best_groups`; how long a lateral becomes does not count here.
    """
    sizes: list[int] = []
    first = 0
    while first < len(lengths):
        can = sum(1 for _ in lateral_lengths(lengths, near, far, first=first))
        sizes.append(min(wanted, can))
        first += sizes[-1]
    return tuple(sizes)


def lateral_lengths(lengths: Sequence[float], near: Loops, far: Loops, *, first: int) -> Iterator[float]:
    """Length of a lateral of 1, 2, 3 … lines from the `first` on, as far as loops can be laid [m]."""
    total = lengths[first]
    yield total
    for number in range(1, len(lengths) - first):
        loop = (far if number % 2 else near)[first + number - 1]
        if loop is None:
            return
        total += loop + lengths[first + number]
        yield total


@dataclass(frozen=True, slots=True)
class _Divisions:
    """The best division of the first lines into laterals; row: how many lines, column: how many laterals.

    Attributes
    ----------
    astray, longest, shortest : (n + 1, n + 1) array of int
        Laterals that do not return, :data:`NEVER` where there is no division, and its greatest and least length [mm].
    last : (n + 1, n + 1) array of int
        Lines in its last lateral.
    """

    astray: NDArray[np.int64]
    longest: NDArray[np.int64]
    shortest: NDArray[np.int64]
    last: NDArray[np.int64]


def _divisions(
    lengths: Sequence[float], near: Loops, far: Loops, longest: float, leads: Sequence[float]
) -> _Divisions:
    """The best divisions of all lines up to each, into each number of laterals.

    Lengths are taken to the millimetre, so that equal ones are equal wherever the site lies.
    """
    count = len(lengths)
    ending: list[list[tuple[int, int]]] = [[] for _ in range(count + 1)]
    for first in range(count):
        for size, laid in enumerate(lateral_lengths(lengths, near, far, first=first), start=1):
            if size > 1 and laid > longest:
                break
            total = laid + (leads[first + size - 1] if size % 2 else 0.0)
            if total > longest:
                if size > 1:
                    continue
                total = laid
            ending[first + size].append((size, round(total / TOLERANCE)))
    shape = count + 1, count + 1
    table = _Divisions(
        astray=np.full(shape, NEVER),
        longest=np.zeros(shape, dtype=np.int64),
        shortest=np.full(shape, NEVER),
        last=np.zeros(shape, dtype=np.int64),
    )
    squares: NDArray[np.int64] = np.full(shape, NEVER)
    table.astray[0, 0] = squares[0, 0] = 0
    for end in range(1, count + 1):
        for size, total in sorted(ending[end]):
            before = table.astray[end - size, :end]
            new_astray, new_squares = before + size % 2, squares[end - size, :end] + total**2
            had, had_squares = table.astray[end, 1 : end + 1], squares[end, 1 : end + 1]
            fewer, same = new_astray < had, new_astray == had
            better = np.flatnonzero((fewer | (same & (new_squares < had_squares))) & (before < NEVER))
            squares[end, better + 1] = new_squares[better]
            table.astray[end, better + 1] = new_astray[better]
            table.longest[end, better + 1] = np.maximum(table.longest[end - size, better], total)
            table.shortest[end, better + 1] = np.minimum(table.shortest[end - size, better], total)
            table.last[end, better + 1] = size
    return table


def _walked_back(last: NDArray[np.int64], number: int) -> tuple[int, ...]:
    """Find the sizes of a division into `number` laterals, from the table of last sizes."""
    sizes: list[int] = []
    end = len(last) - 1
    for column in range(number, 0, -1):
        sizes.append(int(last[end, column]))
        end -= sizes[-1]
    return tuple(reversed(sizes))
