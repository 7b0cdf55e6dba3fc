"""How what lies beyond an obstacle gets water where no blank tubing carries on to it: loops tie it to other lines.

Of a row that an obstacle parts, the line up to the obstacle is fed from the manifold. The line beyond has no water
of its own. A row beside it, whole and fed, goes out to the far end and comes back on that line, up to the obstacle; a
loop there leads over to the next such line, and so on. An even number of lines comes back on a whole row. A row that
the obstacle parts near its flank is as good as whole: a loop about the flank leads on from its one line to the other.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from shapely import LineString

from layout.runs.loops import ROUND, Loops

WEIGHT_FAR, WEIGHT_INSIDE, WEIGHT_UNFED = 0.75, 6.0, 6.0
"""Weights of :attr:`Ties.cost` (a judgement, no published source)."""
WINDOW = 12
"""How many rows to either side of one are looked at for tubing that its loop may come near."""

MANY = 3
"""Rows of so many lines and more are not tied to others: only how many there are counts."""

UNDECIDED = LineString()
"""Stands for what is still to be decided of the way past an obstacle: as if blank tubing carried on there."""


@dataclass(slots=True)
class Carried:
    """The pieces of one row, from the manifold end, and the blank tubing between them.

    `blanks[k]` leads from piece k to piece k + 1; None where the row ends at an obstacle, and the line beyond begins.
    `fed` says whether it begins at the manifold end.
    """

    place: float
    pieces: list[LineString]
    blanks: list[LineString | None] = field(default_factory=list)
    fed: bool = True

    def copy(self) -> Carried:
        """One that can be changed without changing this."""
        return Carried(self.place, list(self.pieces), list(self.blanks), self.fed)

    def join(self, at: int, piece: LineString) -> None:
        """Put one piece in place of two and what is between them."""
        self.pieces[at : at + 2] = [piece]
        del self.blanks[at]

    def blank(self) -> list[LineString]:
        """The blank tubing there is."""
        return [blank for blank in self.blanks if blank is not None and not blank.is_empty]

    def lines(self) -> list[tuple[int, int]]:
        """First and last piece of each line: pieces that blank tubing joins."""
        starts = [0, *(k + 1 for k, blank in enumerate(self.blanks) if blank is None)]
        return list(zip(starts, [*(k - 1 for k in starts[1:]), len(self.pieces) - 1], strict=True))

    def length(self, line: tuple[int, int]) -> float:
        """Of the tubing of a line [m]."""
        first, last = line
        blanks = [blank.length for blank in self.blanks[first:last] if blank is not None]
        return math.fsum((*(piece.length for piece in self.pieces[first : last + 1]), *blanks))


Way = tuple[tuple[int, int], ...]
"""Lines in the order of flow, each as its row and its place in the row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ties:
    """What loops tie.

    Attributes
    ----------
    windings : tuple of tuple of (int, int)
        Lines in the order of flow, each as its row and its first piece.
    unfed : int
        Lines beyond obstacles that get no water so.
    far, inside : int
        Laterals that do not come back to the manifold end, but end at the far end, or at an obstacle.
    blank : float
        Length of the loops that lead round obstacles [m].
    """

    windings: tuple[Way, ...]
    unfed: int
    far: int
    inside: int
    blank: float

    @property
    def cost(self) -> float:
        """0.75 × laterals that end at the far end + 6 × those that end at an obstacle + 6 × lines without water."""
        return _cost(far=self.far, inside=self.inside, unfed=self.unfed)


def _cost(*, far: int, inside: int, unfed: int) -> float:
    """See :attr:`Ties.cost`."""
    return WEIGHT_FAR * far + WEIGHT_INSIDE * inside + WEIGHT_UNFED * unfed


def ties(rows: Sequence[Carried], loops: Loops, *, longest: float) -> Ties:
    """Tie the lines beyond obstacles to whole rows, or to the lines before them.

    Parameters
    ----------
    rows : sequence of Carried
        From left to right.
    loops : Loops
    longest : float
        Greatest length of what is tied together [m].

    Returns
    -------
    Ties
        The best found by choosing, one or two at a time, which rows loops lead round which obstacle.
    """
    field_ = _Field(rows, loops, longest)
    chosen = frozenset[Gap]()
    best = field_.price(chosen)
    while best[0] > 0 and longest > 0:
        tried = ((field_.price(led), led) for led in field_.more(chosen))
        found, then = min(tried, key=lambda option: option[0], default=(best, chosen))
        if found[0] >= best[0]:
            break
        best, chosen = found, then
    return field_.tied(chosen)


Gap = tuple[int, int]
"""A place where an obstacle parts a row, as the row and the line before it."""


@dataclass(frozen=True, slots=True)
class _Outcome:
    """The lines of each row that loops make one, the last of them, what is wound and what not, and what counts."""

    spans: list[list[range]]
    last: list[range]
    orders: list[tuple[int, ...]]
    alone: set[int]
    stubs: list[int]
    unfed: int
    far: int
    inside: int


class _Field:
    """The lines of all rows, and the loops between them."""

    def __init__(self, rows: Sequence[Carried], loops: Loops, longest: float) -> None:
        self.rows, self.loops, self.longest = rows, loops, longest
        self.lines = [row.lines() for row in rows]
        self._fed = [k for k, row in enumerate(rows) if row.fed]
        self._unfed = [k for k, row in enumerate(rows) if not row.fed]
        self.gaps = [
            (k, part) for k, row in enumerate(rows) for part in range(len(self.lines[k]) - 1) if row.fed
        ]
        self._prices: dict[object, tuple[int, int, int]] = {}
        self._plain = [self._spans(k, frozenset()) for k in range(len(rows))]
        self._loops: dict[tuple[int, int, int, int, bool], float | None] = {}
        self._rounds: dict[Gap, float | None] = {}
        self._lengths: dict[tuple[int, range], float] = {}
        self._woven: dict[tuple[object, ...], tuple[list[tuple[int, ...]], int]] = {}

    def tied(self, led: frozenset[Gap]) -> Ties:
        """What comes of the choice where loops lead rows round obstacles."""
        outcome = self._outcome(led)
        spans, last = outcome.spans, outcome.last
        ways: list[Way] = [_way(order, last) for order in outcome.orders]
        ways += [_way((k,), last) for k in sorted(outcome.alone) if len(last[k]) > 1]
        ways += [
            tuple((k, part) for part in spans[k][0]) for k in sorted(outcome.stubs) if len(spans[k][0]) > 1
        ]
        return Ties(
            windings=tuple(tuple((k, self.lines[k][part][0]) for k, part in way) for way in sorted(ways)),
            unfed=outcome.unfed,
            far=outcome.far,
            inside=outcome.inside,
            blank=self._blank(led),
        )

    def price(self, led: frozenset[Gap]) -> tuple[float, float]:
        """The cost of a choice, and its blank tubing [m]."""
        key, spare = self._standing(led)
        if key not in self._prices:
            outcome = self._outcome(led)
            self._prices[key] = (outcome.far, outcome.inside, outcome.unfed + spare)
        far, inside, unfed = self._prices[key]
        return _cost(far=far, inside=inside, unfed=unfed - spare), self._blank(led)

    def more(self, chosen: frozenset[Gap]) -> list[frozenset[Gap]]:
        """Choices of one or two gaps more; of those that must cost the same, the one of least blank tubing."""
        free = [gap for gap in self.gaps if gap not in chosen and self.round_(gap) is not None]
        best: dict[object, tuple[float, tuple[Gap, ...]]] = {}

        def offer(*gaps: Gap) -> None:
            led = chosen.union(gaps)
            key = (len(gaps), *self._standing(led))
            blank = self._blank(led)
            if key not in best or blank < best[key][0]:
                best[key] = (blank, gaps)

        for gap in free:
            offer(gap)
        # what is alike in all its costs is alike in pairs; two may be wanted of one kind
        alike: dict[object, dict[int, tuple[float, Gap]]] = {}
        for gap in free:
            rows = alike.setdefault(self._standing(chosen | {gap}), {})
            offered = (self.round_(gap) or 0.0, gap)
            rows[gap[0]] = min(rows.get(gap[0], offered), offered)
        few = sorted(gap for rows in alike.values() for _, gap in sorted(rows.values())[:2])
        for pair in itertools.combinations(few, 2):
            offer(*pair)
        for _, same in itertools.groupby(free, key=lambda gap: gap[0]):
            for pair in itertools.combinations(same, 2):
                offer(*pair)
        return [chosen.union(gaps) for _, gaps in sorted(best.values(), key=lambda o: (len(o[1]), o[1]))]

    def _standing(self, led: frozenset[Gap]) -> tuple[frozenset[tuple[int, range | int]], int]:
        """What a choice makes of rows that end in one or two, and how many lines it joins in rows of more.

        Rows of three lines and more only count.
        """
        found: list[tuple[int, range | int]] = []
        joined: dict[int, int] = {}
        for k, _ in led:
            joined[k] = joined.get(k, 0) + 1
        spare = 0
        for k, count in joined.items():
            left = len(self.lines[k]) - count
            if left >= MANY:
                spare += count
            else:
                part = len(self.lines[k]) - 1
                while (k, part - 1) in led:
                    part -= 1
                found += [(k, left), (k, range(part, len(self.lines[k])))]
        return frozenset(found), spare

    def _blank(self, led: frozenset[Gap]) -> float:
        """Length of the loops that lead rows round obstacles [m]."""
        return math.fsum(self.round_(gap) or 0.0 for gap in led)

    def _outcome(self, led: frozenset[Gap]) -> _Outcome:
        """What is tied to what, and how laterals end."""
        spans = self._plain.copy()
        for k in {k for k, _ in led}:
            spans[k] = self._spans(k, led)
        fed = self._fed
        whole = {k for k in fed if len(spans[k]) == 1}
        parted = [k for k in fed if len(spans[k]) == 2]
        stubs = [k for k in fed if len(spans[k]) > 1]
        last = [parts[-1] for parts in spans]
        # a line between two obstacles has both its ends inside the bed, and so has what lies beyond in a row not fed
        unfed = sum(len(spans[k]) - 2 for k in stubs)
        unfed += sum(len(spans[k]) - 1 for k in self._unfed)
        orders: list[tuple[int, ...]] = []
        used: set[int] = set()
        far = inside = 0
        for group in _neighbours(parted):
            beside = tuple(k for k in (group[0] - 1, group[-1] + 1) if k in whole and k not in used)
            key = (group[0], len(group), beside, *(last[k] for k in (*group, *beside)))
            if key not in self._woven:
                self._woven[key] = self._wound(group, beside, last)
            made, left = self._woven[key]
            unfed += left
            for order in made:
                back = order[-1] in whole
                far += not back and len(order) % 2
                inside += not back and len(order) % 2 == 0
                used.update(whole.intersection(order))
                orders.append(order)
        far += sum(len(group) % 2 for group in _neighbours(whole - used))
        inside += sum(len(group) % 2 for group in _neighbours(stubs))
        return _Outcome(spans, last, orders, whole - used, stubs, unfed, far, inside)

    def _spans(self, k: int, led: frozenset[Gap]) -> list[range]:
        """The lines of a row, those between which loops lead round an obstacle together."""
        count = len(self.lines[k])
        starts = [0, *(part + 1 for part in range(count - 1) if (k, part) not in led)]
        return [range(a, b) for a, b in zip(starts, [*starts[1:], count], strict=True)]

    def _wound(
        self, group: Sequence[int], beside: Iterable[int], last: Sequence[range]
    ) -> tuple[list[tuple[int, ...]], int]:
        """Rows in the order in which they are wound to reach lines beyond an obstacle, and how many lines stay dry."""
        before, after = group[0] - 1, group[-1] + 1
        if before in beside and after in beside and len(group) % 2 == 0:
            through = (before, *group, after)
            if self._reach(through, last) == len(through):
                return [through], 0
        ways = [
            (start, *order)
            for start, order in ((before, group), (after, list(reversed(group))))
            if start in beside
        ]
        reach = [self._reach(way, last) - 1 for way in ways]
        for way, count in zip(ways, reach, strict=True):
            if count == len(group):
                return [way], 0
        if len(ways) < 2 or not all(reach):
            made = [way[: count + 1] for way, count in zip(ways, reach, strict=True) if count]
            return made, len(group) - sum(reach)
        first = min(reach[0], len(group))
        if first % 2 and first - 1 + reach[1] >= len(group):
            first -= 1  # it is better to end at the far end than at the obstacle
        second = min(reach[1], len(group) - first)
        made = [ways[0][: first + 1], ways[1][: second + 1]]
        return [way for way in made if len(way) > 1], len(group) - first - second

    def _reach(self, order: Sequence[int], last: Sequence[range]) -> int:
        """How many rows loops can tie in some order, the first walked outward, within the longest lateral."""
        total = self._length(order[0], last)
        for place, (here, there) in enumerate(pairwise(order)):
            loop = self._loop(here, there, last, outer=place % 2 == 0)
            if loop is None:
                return place + 1
            total += loop + self._length(there, last)
            if total > self.longest:
                return place + 1
        return len(order)

    def _length(self, k: int, last: Sequence[range]) -> float:
        """Of the last lines of a row, and the loops between them [m]."""
        row, parts = self.rows[k], last[k]
        if (k, parts) not in self._lengths:
            rounds = [self.round_((k, part)) or 0.0 for part in parts[:-1]]
            lines = [row.length(self.lines[k][part]) for part in parts]
            self._lengths[k, parts] = math.fsum((*lines, *rounds))
        return self._lengths[k, parts]

    def _loop(self, here: int, there: int, last: Sequence[range], *, outer: bool) -> float | None:
        """Length of a loop between outer or inner ends of the last lines of two rows [m]; None if there is none."""
        one, other = sorted((here, there))
        key = (one, other, last[one][0], last[other][0], outer)
        if key not in self._loops:
            tips = [
                self.rows[k].pieces[self.lines[k][-1][1] if outer else self.lines[k][last[k][0]][0]]
                for k in (one, other)
            ]
            end = -1 if outer else 0
            loop = self.loops.between((tips[0], tips[1]), (end, end), tubing=self._tubing(here))
            self._loops[key] = None if loop is None else float(loop.length)
        return self._loops[key]

    def round_(self, gap: Gap) -> float | None:
        """Length of a loop that leads a row round an obstacle, from one line to the next [m]."""
        if gap not in self._rounds:
            k, part = gap
            (_, before), (after, _) = self.lines[k][part : part + 2]
            tips = self.rows[k].pieces[before], self.rows[k].pieces[after]
            loop = self.loops.between(tips, (-1, 0), tubing=self._tubing(k), beside=ROUND)
            self._rounds[gap] = None if loop is None else float(loop.length)
        return self._rounds[gap]

    def _tubing(self, k: int) -> list[LineString]:
        """Tubing in and beside a row."""
        rows = self.rows[max(k - WINDOW, 0) : k + WINDOW + 1]
        return [line for row in rows for line in (*row.pieces, *row.blank())]


def _way(order: Sequence[int], last: Sequence[range]) -> Way:
    """The last lines of some rows in the order of flow: the first row walked outward, the next back."""
    return tuple(
        (k, part)
        for place, k in enumerate(order)
        for part in (last[k] if place % 2 == 0 else reversed(last[k]))
    )


def _neighbours(numbers: Iterable[int]) -> list[list[int]]:
    """Numbers in order, those that follow each other together."""
    found: list[list[int]] = []
    for k in sorted(numbers):
        if found and found[-1][-1] == k - 1:
            found[-1].append(k)
        else:
            found.append([k])
    return found
