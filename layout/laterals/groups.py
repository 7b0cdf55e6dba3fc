"""How many neighbouring lines make a lateral: a number the user states, or the best by a stated measure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from layout.plane import TOLERANCE

EVEN = 1.6
"""Laterals are even where the longest is at most this × the shortest: a three beside a pair."""

Loops = Sequence[float | None]


def best_groups(lengths: Sequence[float], near: Loops, far: Loops, *, longest: float) -> tuple[int, ...]:
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
    """
    if not lengths:
        return ()
    table = _divisions(lengths, near, far, longest)
    least = min(astray for astray, _, _ in table.values())
    ranked = [
        (max(ratio, EVEN), number == 1, number)
        for number, (astray, ratio, _) in table.items()
        if astray == least
    ]
    return table[min(ranked)[2]][2]


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


def _divisions(
    lengths: Sequence[float], near: Loops, far: Loops, longest: float
) -> dict[int, tuple[int, float, tuple[int, ...]]]:
    """By number of laterals: those that do not return, longest over shortest, and sizes of the best division.

    Lengths are taken to the millimetre, so that equal ones are equal wherever the site lies.
    """
    count = len(lengths)
    ending: list[list[tuple[int, int]]] = [[] for _ in range(count + 1)]
    for first in range(count):
        for size, total in enumerate(lateral_lengths(lengths, near, far, first=first), start=1):
            if size > 1 and total > longest:
                break
            ending[first + size].append((size, round(total / TOLERANCE)))
    # Row: how many lines are divided so far; column: into how many laterals.
    never = np.iinfo(np.int64).max // 4
    astray: NDArray[np.int64] = np.full((count + 1, count + 1), never)
    squares: NDArray[np.int64] = np.full((count + 1, count + 1), never)
    last: NDArray[np.int64] = np.zeros((count + 1, count + 1), dtype=np.int64)
    astray[0, 0] = squares[0, 0] = 0
    for end in range(1, count + 1):
        for size, total in sorted(ending[end]):
            new_astray = astray[end - size, :-1] + size % 2
            new_squares = squares[end - size, :-1] + total**2
            fewer, same = new_astray < astray[end, 1:], new_astray == astray[end, 1:]
            better = (fewer | (same & (new_squares < squares[end, 1:]))) & (astray[end - size, :-1] < never)
            astray[end, 1:][better] = new_astray[better]
            squares[end, 1:][better] = new_squares[better]
            last[end, 1:][better] = size
    table = {}
    for number in np.flatnonzero(astray[count] < never).tolist():
        sizes = _walked_back(last, number)
        totals = [dict(ending[sum(sizes[: k + 1])])[size] for k, size in enumerate(sizes)]
        table[number] = (int(astray[count, number]), max(totals) / max(min(totals), 1), sizes)
    return table


def _walked_back(last: NDArray[np.int64], number: int) -> tuple[int, ...]:
    """Find the sizes of a division into `number` laterals, from the table of last sizes."""
    sizes: list[int] = []
    end = len(last) - 1
    for column in range(number, 0, -1):
        sizes.append(int(last[end, column]))
        end -= sizes[-1]
    return tuple(reversed(sizes))
