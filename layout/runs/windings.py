"""How rows beyond a neck are divided into chains, so that water reaches all of them with the least blank tubing.

A *strand* is one line of tubing of a lobe, in its order from left to right. A chain is neighbouring strands that
loops tie end to end. Water comes to a chain, and leaves it, through the neck: on a strand that passes the neck with
its emitters, or by blank tubing led through beside these. Only a chain of an even number of strands can come back
to the neck; others are fed through the neck and end in their lobe.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Literal

MOST_CHAINED = 40
"""Strands to a chain, at most."""
LONGER = 0.1
"""What blank tubing may become longer than was reckoned when it is led along a wall in bends, as a share of it."""

Cost = tuple[int, int, int, float]
"""Strands without water, gates wanted and not used, chains that do not come back, blank tubing [m]: compared in this
order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strand:
    """One line of tubing of a lobe, as chains see it.

    Attributes
    ----------
    length : float
        [m].
    blank : float
        Blank tubing that would lead it through the neck [m]; 0 where it passes by itself, infinity where none can.
    before : float
        Length of the line that this blank tubing would come from [m].
    through : bool
        Whether it passes the neck by itself: it can only be the first or the last of a chain.
    hand : -1, 0 or 1
        On which wall of the neck its blank tubing would lie: left, none, right.
    outer : bool
        Whether a loop can tie its outer end to that of the next strand.
    inner : bool
        The same for its end at the neck.
    tied : bool
        Whether its outer end is tied to that of the next strand already, through a lobe further on.
    closed : bool
        Whether its outer end leads into a chain that ends further on.
    outer_loop, inner_loop : float
        Length of those loops, with what lies between the two in lobes further on where it is tied [m].
    """

    length: float
    blank: float
    through: bool
    hand: Literal[-1, 0, 1]
    before: float = 0.0
    outer: bool = True
    inner: bool = True
    tied: bool = False
    closed: bool = False
    outer_loop: float = 0.0
    inner_loop: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """Strands by number in the order of flow, and whether the last one comes back to the neck."""

    strands: tuple[int, ...]
    back: bool


Option = tuple[Chain, tuple[int, ...], float]
"""A chain, on which walls its blank tubing would lie, and the length of that [m]."""
Known = dict[tuple[int, tuple[int, ...]], tuple[Sequence[Strand], list[Option]]]
"""Chains by the number of their first strand and by the strands they could hold, known by their ids: kept with them."""


def best_chains(
    strands: Sequence[Strand],
    *,
    room: tuple[int, int],
    longest: float,
    most_blank: float,
    eager: bool = False,
    known: Known | None = None,
) -> tuple[Chain, ...]:
    """Divide the strands of a lobe into chains.

    Parameters
    ----------
    strands : sequence of Strand
        From left to right.
    room : (int, int)
        Blank lines that fit through the neck along its left and its right wall.
    longest : float
        Length of a chain, at most [m].
    most_blank : float
        Greatest share of blank tubing in a chain.
    eager : bool
        Use all the room there is, since the lines there will have emitters.
    known : Known, optional
        Chains found before, with the same lengths and shares for strands that are mostly the same; added to.

    Returns
    -------
    tuple of Chain
        From left to right: as many strands as can be get water, as many chains as can be come back, and the rest
        is decided by the length of blank tubing. Strands without water are in none.

    Examples
    --------
    >>> carried = Strand(length=20.0, before=15.0, blank=8.0, through=False, hand=-1)
    >>> passing = Strand(length=50.0, blank=0.0, through=True, hand=0)
    >>> best_chains([carried] * 3 + [passing], room=(1, 0), longest=300.0, most_blank=0.3)
    (Chain(strands=(0, 1, 2, 3), back=True),)
    """
    known = {} if known is None else known
    options = []
    for first in range(len(strands)):
        key = (first, tuple(map(id, _within(strands, first, longest))))
        if key not in known:
            known[key] = strands, list(_chains_from(strands, first, longest, most_blank))
        options.append(known[key][1])

    @cache
    def best(first: int, left: int, right: int) -> tuple[Cost, tuple[Chain, ...]]:
        if first == len(strands):
            return (0, 0, 0, 0.0), ()
        (dry, unused, astray, blank), chains = best(first + 1, left, right)
        found = [((dry + 1, unused, astray, blank), chains)]
        for chain, hands, added in options[first]:
            used_left, used_right = hands.count(-1), hands.count(1)
            if used_left > left or used_right > right:
                continue
            end = max(chain.strands) + 1
            (dry, unused, astray, blank), chains = best(end, left - used_left, right - used_right)
            unused -= eager * len(hands)
            cost = (dry, unused, astray + (not chain.back), round(blank + added, 6))
            found.append((cost, (chain, *chains)))
        return min(found, key=lambda option: option[0])

    return best(0, *room)[1]


def _within(strands: Sequence[Strand], first: int, longest: float) -> Sequence[Strand]:
    """All strands that the chains from one on could hold, and those beside them."""
    length, end = 0.0, first
    while end < min(first + MOST_CHAINED, len(strands)) and (end == first or length <= longest):
        length += strands[end].length
        end += 1
    return strands[max(first - 1, 0) : end + 1]


def _chains_from(
    strands: Sequence[Strand], first: int, longest: float, most_blank: float
) -> Iterator[Option]:
    """The chains that begin with one strand at the left: the hands of their blank tubing, and its length."""
    length = 0.0
    for end in range(first, min(first + MOST_CHAINED, len(strands))):
        length += strands[end].length
        if end > first and (length > longest or any(strand.through for strand in strands[first + 1 : end])):
            return
        numbers = tuple(range(first, end + 1))
        ways: list[tuple[tuple[int, ...], tuple[int, ...]]] = [(numbers, (first,))]
        if end > first:
            ways.append((numbers[::-1], (end,)))
        if len(numbers) % 2 == 0:
            ways.append((numbers, (first, end)))
        for order, gates in ways:
            blank = math.fsum(strands[gate].blank for gate in gates)
            whole = (
                length + blank + math.fsum(strands[gate].before for gate in gates) + _loops(strands, order)
            )
            if (end > first and whole + LONGER * blank > longest) or not blank <= most_blank * whole:
                continue
            if any(strands[k].through for k in order if k not in gates) or not _can_be_tied(strands, order):
                continue
            hands = tuple(strands[gate].hand for gate in gates if not strands[gate].through)
            yield Chain(strands=order, back=len(gates) > 1), hands, blank


def _loops(strands: Sequence[Strand], order: tuple[int, ...]) -> float:
    """Length of the loops that tie strands in an order [m]."""
    lefts = [strands[min(pair)] for pair in pairwise(order)]
    return math.fsum(left.inner_loop if place % 2 else left.outer_loop for place, left in enumerate(lefts))


def _can_be_tied(strands: Sequence[Strand], order: tuple[int, ...]) -> bool:
    """Whether loops can tie strands in an order, at outer ends and at ends by the neck by turns."""
    for place, (here, there) in enumerate(pairwise(order)):
        left = strands[min(here, there)]
        outer = place % 2 == 0
        if outer and not left.tied and (not left.outer or strands[here].closed or strands[there].closed):
            return False
        if not outer and (left.tied or not left.inner):
            return False
    # a strand that is tied to one outside the chain has no free outer end
    tied = {k for k in range(len(strands)) if strands[k].tied and k in order and k + 1 not in order}
    return not tied and not any(k - 1 not in order and k and strands[k - 1].tied for k in order)
