"""Least numbers of bins that sizes need, by arithmetic alone, and packings made by plain rules.

All sizes are whole numbers of one small step, so that nothing hangs on rounding.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

Bins = list[list[int]]
"""The numbers of the sizes in each bin."""

_MOST_FACTOR = 24
"""Finest of the functions by which sizes are rounded; finer ones hardly ever raise a bound (tried)."""


def least_bins(sizes: Sequence[int], capacity: int) -> int:
    """A number of bins that no packing can do without.

    The greatest of: the sum over the capacity; the bounds of Martello and Toth (Knapsack Problems, 1990, L2), which
    count sizes that cannot lie together; the sums of sizes rounded by the dual feasible functions u(k) of Fekete
    and Schepers (New classes of fast lower bounds for bin packing problems, 2001), which see that so many sizes
    over a k-th fill a bin alone.

    Parameters
    ----------
    sizes : sequence of int
        None over the capacity.
    capacity : int
    """
    best = -(-sum(sizes) // capacity)
    best = max([best, *(_apart(sizes, capacity, least) for least in {s for s in sizes if 2 * s <= capacity})])
    return max([best, *(_rounded(sizes, capacity, k) for k in range(1, _MOST_FACTOR))])


def _apart(sizes: Sequence[int], capacity: int, least: int) -> int:
    """The bound L2 with sizes under `least` left out."""
    alone = sum(size > capacity - least for size in sizes)
    halves = [size for size in sizes if 2 * size > capacity and size <= capacity - least]
    small = sum(size for size in sizes if least <= size and 2 * size <= capacity)
    room = len(halves) * capacity - sum(halves)
    return alone + len(halves) + max(0, -(-(small - room) // capacity))


def _rounded(sizes: Sequence[int], capacity: int, k: int) -> int:
    """The bound of u(k): a share x becomes floor((k + 1) x) / k, and stays where (k + 1) x is whole."""
    total = 0  # in shares of 1 / (k * capacity)
    for size in sizes:
        parts, rest = divmod((k + 1) * size, capacity)
        total += k * size if rest == 0 else parts * capacity
    return -(-total // (k * capacity))


def by_rules(sizes: Sequence[int], capacity: int) -> Bins:
    """The best packing that plain rules find: the fewest bins, then the most room in one of them."""
    tried = [rule(sizes, capacity) for rule in (_tightest, _closest, _fullest)]
    return min(tried, key=lambda bins: (len(bins), min(sum(sizes[i] for i in items) for items in bins)))


def _tightest(sizes: Sequence[int], capacity: int) -> Bins:
    """Put the largest first, each where it leaves the least room."""
    bins: Bins = []
    room: list[int] = []
    for number in sorted(range(len(sizes)), key=lambda i: (-sizes[i], i)):
        size = sizes[number]
        found = min((k for k in range(len(bins)) if room[k] >= size), key=lambda k: (room[k], k), default=-1)
        if found < 0:
            bins.append([number])
            room.append(capacity - size)
        else:
            bins[found].append(number)
            room[found] -= size
    return bins


def _fullest(sizes: Sequence[int], capacity: int) -> Bins:
    """Fill bin after bin: the largest that is left, and with it whatever fills the bin best."""
    left = sorted(range(len(sizes)), key=lambda i: (-sizes[i], i))
    bins: Bins = []
    while left:
        first, *others = left
        taken = [first, *best_sum(others, sizes, capacity - sizes[first])]
        bins.append(taken)
        gone = set(taken)
        left = [number for number in left if number not in gone]
    return bins


def _closest(sizes: Sequence[int], capacity: int) -> Bins:
    """Fill bin after bin from the largest down, and end it with one or two that leave no more room than can be spared.

    What can be spared is what would be left over in a bin if all of it were spread evenly.
    """
    least = -(-sum(sizes) // capacity)
    spare = (least * capacity - sum(sizes)) // least
    left = sorted(range(len(sizes)), key=lambda i: (-sizes[i], i))
    bins: Bins = []
    while left:
        taken, room = [left.pop(0)], capacity
        room -= sizes[taken[0]]
        while True:
            fits = bisect_left(left, -room, key=lambda i: -sizes[i])
            if fits == len(left):
                break
            last = [fits]
            if room - sizes[left[fits]] > spare:
                pair = _best_pair([sizes[number] for number in left], room, fits)
                last = pair if pair and room - sum(sizes[left[place]] for place in pair) <= spare else last
            for place in sorted(last, reverse=True):
                room -= sizes[left[place]]
                taken.append(left.pop(place))
        bins.append(taken)
    return bins


def _best_pair(falling: Sequence[int], room: int, start: int) -> list[int]:
    """The places of two sizes from a place on that add up to the most that the room takes."""
    best, found = 0, list[int]()
    low, high = start, len(falling) - 1
    while low < high:
        total = falling[low] + falling[high]
        if total > room:
            low += 1
        else:
            if total > best:
                best, found = total, [low, high]
            high -= 1
    return found


def best_sum(numbers: Sequence[int], sizes: Sequence[int], room: int) -> list[int]:
    """Those of some numbers whose sizes add up to the most that the room takes; larger sizes are preferred."""
    reached = 1  # bit s is set where sizes can add up to s
    mask = (1 << (room + 1)) - 1
    before: list[tuple[int, int]] = []
    for number in sorted(numbers, key=lambda i: (-sizes[i], i)):
        if sizes[number] > room:
            continue
        before.append((number, reached))
        reached |= (reached << sizes[number]) & mask
        if reached >> room & 1:
            break
    total, chosen = reached.bit_length() - 1, []
    for number, without in reversed(before):
        if not without >> total & 1:
            chosen.append(number)
            total -= sizes[number]
    return chosen
