"""Ways to fill one bin, and the integer programme that chooses among them.

Sizes are grouped into kinds; a way says how many of each kind lie in the bin. The linear programme over all ways is
solved by column generation (Gilmore and Gomory, A linear programming approach to the cutting-stock problem, 1961).
Then all ways are listed that a packing with one bin less than the best known could use: those whose reduced cost is
no more than what is left between the two. The integer programme over them is exact.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Way = tuple[tuple[int, int], ...]
"""Kinds in a bin, each with how many of it, by kind."""

MOST_ROUNDS = 100
MOST_WORK = 20_000
"""Rounds of column generation, and rounds times kinds; what they leave open is stated as a gap."""
BATCH = 20
"""Ways that one round adds."""
GRAINS = (400, 4_000, 10**12)
"""Ways are priced with the room in so many steps, and in finer ones only where that finds none."""
MOST_WAYS = 60_000
"""Ways that are listed for the integer programme; where there are more, it is no longer exact."""
MOST_STEPS = 600_000
"""Steps of the search that lists them."""
NODES = 2000
"""Nodes of a search by the integer programme: a bound that, unlike the clock, is the same on every machine, busy or
not, as those on rounds, ways and steps are."""
_EPS = 1e-7


@dataclass(frozen=True, slots=True)
class Kinds:
    """Sizes that are alike, taken together, from the largest down."""

    sizes: tuple[int, ...]
    counts: tuple[int, ...]
    capacity: int

    @classmethod
    def of(cls, sizes: Sequence[int], capacity: int) -> Kinds:
        """Group sizes."""
        found = sorted(Counter(sizes).items(), reverse=True)
        return cls(tuple(size for size, _ in found), tuple(count for _, count in found), capacity)

    def way(self, sizes: Sequence[int]) -> Way:
        """The way that some sizes in one bin make."""
        number = {size: kind for kind, size in enumerate(self.sizes)}
        return tuple(sorted(Counter(number[size] for size in sizes).items()))


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The linear programme, solved as far as it was.

    Attributes
    ----------
    bound : float
        Number of bins; no packing has fewer.
    worth : array
        Of one of each kind, in bins, so that no way is worth more than `most`.
    most : float
        The worth of the best way: 1 but for rounding, or more where column generation stopped early.
    ways : tuple of Way
        That it came upon.
    taken : tuple of Way
        Those of its solution, each as often as it is wholly in it.
    """

    bound: float
    worth: NDArray[np.float64]
    most: float
    ways: tuple[Way, ...]
    taken: tuple[Way, ...] = ()


def relax(kinds: Kinds, ways: Sequence[Way], *, target: int) -> Relaxed:
    """Solve the linear programme over all ways, from some that make a packing.

    It stops early where its bound, rounded up, is the target: the number of bins already known.
    """
    known = dict.fromkeys(ways)
    best = Relaxed(0.0, np.zeros(len(kinds.sizes)), 1.0, ())
    grains = [max(1, kinds.capacity // steps) for steps in GRAINS]
    rounds = min(MOST_ROUNDS, max(10, MOST_WORK // len(kinds.sizes)))
    share = np.zeros(0)
    for number in range(rounds):
        worth, value, share = _master(kinds, tuple(known))
        if number == rounds - 1:
            grains = [1]
        while True:
            new = [way for way in _batch(kinds, worth, grains[0]) if way not in known]
            if new or len(grains) == 1:
                break
            grains.pop(0)
        if grains[0] == 1:
            most = max(1.0, dearest(kinds, worth)[1])
            if value / most > best.bound:  # Farley's bound
                best = Relaxed(value / most, worth, most, ())
            if not new or math.ceil(best.bound - _EPS) >= min(target, math.ceil(value - _EPS)):
                break
        if number < rounds - 1:
            known.update(dict.fromkeys(new))
    taken = [way for way, times in zip(known, share, strict=True) for _ in range(int(times + _EPS))]
    return Relaxed(best.bound, best.worth, best.most, tuple(known), tuple(taken))


def _batch(kinds: Kinds, worth: NDArray[np.float64], grain: int) -> list[Way]:
    """Ways worth more than a bin, that share no piece, the dearest first."""
    found: list[Way] = []
    left = list(kinds.counts)
    while len(found) < BATCH:
        way, most = dearest(Kinds(kinds.sizes, tuple(left), kinds.capacity), worth, grain=grain)
        if most <= 1.0 + _EPS:
            break
        found.append(way)
        for kind, count in way:
            left[kind] -= count
    return found


def _matrix(kinds: Kinds, ways: Sequence[Way]) -> Any:
    from scipy.sparse import csc_array

    pointers = np.cumsum([0, *(len(way) for way in ways)])
    rows = np.array([kind for way in ways for kind, _ in way], dtype=np.int32)
    counts = np.array([count for way in ways for _, count in way], dtype=float)
    return csc_array((counts, rows, pointers), shape=(len(kinds.sizes), len(ways)))


def _master(kinds: Kinds, ways: Sequence[Way]) -> tuple[NDArray[np.float64], float, NDArray[np.float64]]:
    """Worth of one of each kind, the value, and how often each way is taken."""
    from scipy.optimize import linprog

    solved = linprog(
        np.ones(len(ways)), A_ub=-_matrix(kinds, ways), b_ub=-np.array(kinds.counts, float), method="highs"
    )
    worth = np.maximum(-np.asarray(solved.ineqlin.marginals, dtype=float), 0.0)
    return worth, float(solved.fun), np.asarray(solved.x, dtype=float)


def dearest(kinds: Kinds, worth: NDArray[np.float64], *, grain: int = 1) -> tuple[Way, float]:
    """The way of the most worth, and its worth (a share of a bin), by dynamic programming over the room.

    With a grain over 1 sizes are rounded up to multiples of it: the way still fits, but there may be a better one.
    """
    room = kinds.capacity // grain
    best = np.zeros(room + 1)
    steps: list[tuple[int, int, int, NDArray[np.bool_]]] = []
    for kind, size, count in _worth_while(kinds, worth, grain):
        left, times = count, 1
        while left and times * size <= room:
            times = min(times, left)
            tried = best[: -times * size] + times * worth[kind]
            better = tried > best[times * size :] + 1e-12
            best[times * size :] = np.where(better, tried, best[times * size :])
            steps.append((kind, times, times * size, better))
            left, times = left - times, 2 * times
    way: Counter[int] = Counter()
    at = room
    for kind, times, size, better in reversed(steps):
        if at >= size and better[at - size]:
            way[kind] += times
            at -= size
    return tuple(sorted(way.items())), float(best[room])


def _worth_while(kinds: Kinds, worth: NDArray[np.float64], grain: int) -> list[tuple[int, int, int]]:
    """Kinds with their size in grains and how many to consider: of one size the dearest that a bin can hold."""
    room = kinds.capacity // grain
    found: list[tuple[int, int, int]] = []
    left: dict[int, int] = {}
    for kind in sorted(range(len(worth)), key=lambda k: (-worth[k], k)):
        size = -(-kinds.sizes[kind] // grain)
        count = min(left.setdefault(size, room // size), kinds.counts[kind])
        left[size] -= count
        if count and worth[kind] > _EPS:
            found.append((kind, size, count))
    return found


def list_ways(
    kinds: Kinds, worth: NDArray[np.float64], least: float, *, most: int = MOST_WAYS, steps: int = MOST_STEPS
) -> list[Way] | None:
    """All ways of at least some worth (a share of a bin) to which nothing can be added; None where they are too many.

    A way to which something can be added need not be listed, for a packing may hold more than it must.
    """
    n, sizes, counts = len(kinds.sizes), kinds.sizes, kinds.counts
    dear = _limits(kinds, worth)
    found: list[Way] = []
    stack: list[tuple[int, int, float, Way]] = [(0, kinds.capacity, 0.0, ())]
    while stack:
        steps -= 1
        place, room, value, taken = stack.pop()
        if steps < 0 or len(found) > most:
            return None
        while place < n and sizes[place] > room:
            place += 1
        if place == n:
            if value >= least - _EPS and _is_full(kinds, room, taken):
                found.append(taken)
            continue
        if value + min(dear[place] * room, dear[n + 1 + place]) < least - _EPS:
            continue
        fits = min(counts[place], room // sizes[place])
        for count in range(fits + 1):
            more = (*taken, (place, count)) if count else taken
            stack.append((place + 1, room - count * sizes[place], value + count * float(worth[place]), more))
    return found


def _limits(kinds: Kinds, worth: NDArray[np.float64]) -> list[float]:
    """From each kind on: the greatest worth for its size, and, after n + 1 of those, the worth of all."""
    ratio, total = [0.0], [0.0]
    for k in reversed(range(len(worth))):
        ratio.append(max(ratio[-1], float(worth[k]) / kinds.sizes[k]))
        total.append(total[-1] + float(worth[k]) * kinds.counts[k])
    return [*reversed(ratio), *reversed(total)]


def _is_full(kinds: Kinds, room: int, way: Way) -> bool:
    taken = dict(way)
    return all(
        size > room or taken.get(kind, 0) >= kinds.counts[kind] for kind, size in enumerate(kinds.sizes)
    )


def choose(kinds: Kinds, ways: Sequence[Way], *, nodes: int = NODES) -> tuple[list[Way], bool]:
    """The fewest of some ways that hold everything, by integer programming (HiGHS), within so many nodes.

    Returns
    -------
    ways, certain
        None of them where that does not settle it; whether there is no better choice among those given.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    solved = milp(
        np.ones(len(ways)),
        constraints=LinearConstraint(_matrix(kinds, ways), np.array(kinds.counts, float), np.inf),
        integrality=np.ones(len(ways)),
        bounds=Bounds(0, max(kinds.counts)),
        options={"node_limit": nodes, "mip_rel_gap": 0.0},
    )
    if solved.status != 0:
        return [], False
    times = np.rint(solved.x).astype(int)
    return [way for way, count in zip(ways, times, strict=True) for _ in range(count)], True


def emptiest(
    kinds: Kinds, ways: Sequence[Way], bins: int, *, nodes: int = NODES
) -> tuple[list[Way], Way] | None:
    """Of all packings in so many bins, by some ways, the one with the least in one of its bins, within so many nodes.

    Returns
    -------
    ways, last
        The other bins, which may hold more than there is, and what is left for that one; None where they do
        not settle it.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import block_array, csr_array, eye_array

    n, m = len(kinds.sizes), len(ways)
    cost = np.concatenate([np.zeros(m), np.array(kinds.sizes, float)])
    use = csr_array(np.concatenate([np.ones(m), np.zeros(n)])[np.newaxis])
    room = csr_array(cost[np.newaxis])
    rows = block_array([[_matrix(kinds, ways), eye_array(n)]])
    solved = milp(
        cost,
        constraints=[
            LinearConstraint(rows, np.array(kinds.counts, float), np.inf),
            LinearConstraint(use, -np.inf, bins - 1),
            LinearConstraint(room, -np.inf, kinds.capacity),
        ],
        integrality=np.ones(m + n),
        bounds=Bounds(0, np.concatenate([np.full(m, max(kinds.counts)), np.array(kinds.counts, float)])),
        options={"node_limit": nodes, "mip_rel_gap": 0.0},
    )
    if solved.status != 0:
        return None
    times = np.rint(solved.x).astype(int)
    chosen = [way for way, count in zip(ways, times[:m], strict=True) for _ in range(count)]
    return chosen, tuple((kind, int(count)) for kind, count in enumerate(times[m:]) if count)
