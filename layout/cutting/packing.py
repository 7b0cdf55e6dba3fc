"""The fewest bins for some sizes, proven so where it can be; then the most room in one of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from layout.cutting import patterns
from layout.cutting.bounds import Bins, by_rules, least_bins
from layout.cutting.patterns import NODES, Kinds, Way

MOST_FOR_ROOM = 4_000
"""Ways among which the longest remainder is searched exactly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Packing:
    """Sizes in bins, whole numbers of millimetres.

    Attributes
    ----------
    bins : tuple of tuple of int
        The numbers of the sizes in each; the bin with the most room is the last.
    bound : float
        No packing has fewer bins than this: by arithmetic, or the value of the linear programme.
    certain : bool
        Whether there is no packing in fewer bins.
    roomiest : bool
        Whether no packing in so many bins has more room in one of them.
    """

    bins: tuple[tuple[int, ...], ...]
    bound: float
    certain: bool
    roomiest: bool


def pack(sizes: Sequence[int], capacity: int, *, nodes: int = NODES) -> Packing:
    """Pack sizes into the fewest bins, and of such packings take one that leaves the most room in one bin.

    What is left over in all bins together is the same in every packing into as many; the most of it in one piece is
    of the most use.

    Parameters
    ----------
    sizes : sequence of int
        Each over 0 and none over the capacity.
    capacity : int
    nodes : int
        Of the search by each of the two integer programmes; without an answer by then what plain rules found is kept.
    """
    if not sizes:
        return Packing(bins=(), bound=0.0, certain=True, roomiest=True)
    bins, bound = by_rules(sizes, capacity), float(least_bins(sizes, capacity))
    kinds = Kinds.of(sizes, capacity)
    if len(bins) > bound:
        bins, bound = _by_programme(sizes, kinds, bins, bound, nodes)
    most_room = min(capacity - min(sizes), len(bins) * capacity - sum(sizes))
    roomiest = capacity - min(_load(sizes, items) for items in bins) >= most_room
    if not roomiest:
        bins, roomiest = _roomier(sizes, kinds, bins, nodes)
    certain = len(bins) <= math.ceil(bound - 1e-6)
    bins.sort(key=lambda items: -_load(sizes, items))
    return Packing(
        bins=tuple(tuple(items) for items in bins),
        bound=bound,
        certain=certain,
        roomiest=roomiest and certain,
    )


def _load(sizes: Sequence[int], items: Iterable[int]) -> int:
    return sum(sizes[number] for number in items)


def _by_programme(
    sizes: Sequence[int], kinds: Kinds, bins: Bins, bound: float, nodes: int
) -> tuple[Bins, float]:
    """Fewer bins than plain rules found, or a better bound."""
    start = [kinds.way([sizes[number] for number in items]) for items in bins]
    relaxed = patterns.relax(kinds, start, target=len(bins))
    bound = max(bound, relaxed.bound)
    bins = min(bins, _rounded_off(sizes, kinds, relaxed.taken), key=len)
    if len(bins) <= math.ceil(bound - 1e-6):
        return bins, bound
    # of a packing in one bin less, no way lacks more worth than all of them together may lack
    spare = (len(bins) - 1) - relaxed.bound
    ways = patterns.list_ways(kinds, relaxed.worth / relaxed.most, 1.0 - spare - 1e-6)
    chosen, certain = patterns.choose(
        kinds, list(dict.fromkeys((*start, *(ways or relaxed.ways)))), nodes=nodes
    )
    if chosen and len(chosen) < len(bins):
        bins = _dealt(sizes, kinds, chosen)
    if certain and ways is not None:
        bound = max(bound, float(len(bins)))
    return bins, bound


def _rounded_off(sizes: Sequence[int], kinds: Kinds, taken: Sequence[Way]) -> Bins:
    """What the linear programme takes wholly, and the rest by plain rules."""
    bins = _dealt(sizes, kinds, taken)
    gone = {number for items in bins for number in items}
    rest = [number for number in range(len(sizes)) if number not in gone]
    if rest:
        more = by_rules([sizes[number] for number in rest], kinds.capacity)
        bins += [[rest[number] for number in items] for items in more]
    return bins


def _roomier(sizes: Sequence[int], kinds: Kinds, bins: Bins, nodes: int) -> tuple[Bins, bool]:
    """As many bins with more room in one of them, or fewer; whether there is no better."""
    import numpy as np

    nothing = np.zeros(len(kinds.sizes))
    ways = patterns.list_ways(kinds, nothing, 0.0, most=MOST_FOR_ROOM, steps=50 * MOST_FOR_ROOM)
    if ways is None:
        return bins, False
    found = patterns.emptiest(kinds, ways, len(bins), nodes=nodes)
    if found is None:
        return bins, False
    others, last = found
    # nothing may be left for the last bin, where the search for fewer did not come to its end
    better = _dealt(sizes, kinds, [last, *others])
    return better, len(better) == len(bins)


def _dealt(sizes: Sequence[int], kinds: Kinds, ways: Sequence[Way]) -> Bins:
    """Put each size into one bin, where ways hold more of a kind than there are."""
    left = {size: [i for i, other in enumerate(sizes) if other == size] for size in kinds.sizes}
    bins: Bins = []
    for way in ways:
        taken: list[int] = []
        for kind, count in way:
            size = kinds.sizes[kind]
            taken += left[size][:count]
            left[size] = left[size][count:]
        if taken:
            bins.append(taken)
    return bins
