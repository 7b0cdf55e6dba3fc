"""What loops make of rows once it is chosen where they lead rows round obstacles: which lines they wind, at what cost.

A row is *whole* where one line is all of it, *parted* where it is two, and of *many* lines otherwise; of these only how
many there are counts. What is parted is wound to the whole rows beside it. So what comes of rows is the sum of what
comes of each *bunch*, the rows with more than one line that stand between whole ones.
"""

from __future__ import annotations

import bisect
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString

from layout.runs.carried import Carried, Way
from layout.runs.loops import ROUND, Loops
from layout.runs.nearby import Nearby

WINDOW = 12
"""How many rows to either side of one are looked at for tubing that its loop may come near."""
WHOLE, UNFED, MANY = 0, -1, 1 << 30
"""What a row is made to; between, one that is parted, by the line that its second begins with."""

Gap = tuple[int, int]
"""A place where an obstacle parts a row, as the row and the line before it."""
Led = Mapping[int, frozenset[int]]
"""The gaps where loops lead rows round an obstacle, by row."""
NONE_LED: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Bunch:
    """What comes of neighbouring rows of more than one line: how laterals end, lines without water, what is wound.

    `end` is the row after them. `left` and `right` say whether the whole row on that side is wound with them.
    """

    end: int
    far: int
    inside: int
    unfed: int
    left: bool
    right: bool
    orders: tuple[tuple[int, ...], ...]


Mark = tuple[int, int, int, int]
"""What the rows up to one come to: laterals that end at the far end, at an obstacle, lines without water that are not
wound, and whole rows just before it that are free."""


def came_to(mark: Mark) -> tuple[int, int, int]:
    """Laterals that end at the far end, at an obstacle, and lines without water that are not wound, of all rows."""
    far, inside, unfed, free = mark
    return far + free % 2, inside, unfed


@dataclass(frozen=True, slots=True)
class Walk:
    """What comes of all rows, walked from left to right.

    `marks` says what it comes to before a row that the walk comes by, by its number.
    """

    states: list[int]
    marks: dict[int, Mark]
    places: list[int]
    orders: list[tuple[int, ...]]

    @property
    def end(self) -> Mark:
        """What all come to."""
        return self.marks[self.places[-1]]

    def alone(self) -> list[int]:
        """Whole rows that no other is wound to."""
        used = {row for order in self.orders for row in order}
        return [k for k, state in enumerate(self.states) if state == WHOLE and k not in used]


class Wound:
    """The lines of all rows, and the loops between them."""

    def __init__(self, rows: Sequence[Carried], loops: Loops, longest: float) -> None:
        self.rows, self.loops, self.longest = rows, loops, longest
        self.counts = [len(row.lines) for row in rows]
        self.gaps = [
            (k, part) for k, row in enumerate(rows) if row.from_end for part in range(self.counts[k] - 1)
        ]
        self._unfed = sum(count - 1 for count, row in zip(self.counts, rows, strict=True) if not row.from_end)
        self._first = np.cumsum([0, *(len(row.tubing.lines) for row in rows)])
        self._rounds: dict[Gap, float | None] = {}
        self._loops: dict[tuple[int, int, int, int, bool], float | None] = {}
        self._lengths: dict[tuple[int, int], float] = {}
        self._bunches: dict[tuple[object, ...], Bunch] = {}
        self._wound: dict[tuple[object, ...], tuple[list[tuple[int, ...]], int]] = {}
        self._nearby: Nearby | None = None

    def state(self, k: int, led: frozenset[int]) -> int:
        """What a row is made to by loops that lead it round some of its gaps."""
        if not self.rows[k].from_end:
            return UNFED
        count = self.counts[k] - len(led)
        if count > 2:
            return MANY
        return (
            WHOLE if count == 1 else next(part for part in range(self.counts[k] - 1) if part not in led) + 1
        )

    def states(self, led: Led) -> list[int]:
        """The same for all rows."""
        return [self.state(k, led.get(k, NONE_LED)) for k in range(len(self.rows))]

    def surplus(self, led: Led) -> int:
        """Lines that get no water whatever is wound, for both their ends lie inside the bed or in a row not fed."""
        return self._unfed + sum(
            max(count - len(led.get(k, NONE_LED)) - 2, 0)
            for k, count in enumerate(self.counts)
            if self.rows[k].from_end
        )

    def spans(self, k: int, led: frozenset[int]) -> list[range]:
        """The lines of a row, those between which loops lead round an obstacle together."""
        count = self.counts[k]
        starts = [0, *(part + 1 for part in range(count - 1) if part not in led)]
        return [range(a, b) for a, b in zip(starts, [*starts[1:], count], strict=True)]

    # --- what comes of it -------------------------------------------------------------------------------

    def walk(self, states: list[int]) -> Walk:
        """What comes of all rows."""
        k, mark = 0, (0, 0, 0, 0)
        marks: dict[int, Mark] = {0: mark}
        orders: list[tuple[int, ...]] = []
        while k < len(states):
            if states[k] > WHOLE:
                orders += self._bunch_at(states, k, mark[3]).orders
            k, mark = self._step(states, k, mark)
            marks[k] = mark
        return Walk(states, marks, list(marks), orders)

    def again(self, walk: Walk, changes: Sequence[tuple[int, int]]) -> tuple[Mark, int, int]:
        """What all rows come to with some of them made to something else, and the rows that this matters to.

        Rows come to the sum of two changes that matter to different ones.
        """
        states = walk.states.copy()
        for k, state in changes:
            states[k] = state
        # what was walked before depends on no row beyond the next
        k = start = walk.places[max(bisect.bisect_left(walk.places, changes[0][0]) - 1, 0)]
        mark, last = walk.marks[k], changes[-1][0]
        while k < len(states):
            k, mark = self._step(states, k, mark)
            met = walk.marks.get(k) if k > last else None
            if met is not None and met[3] == mark[3]:
                end = walk.end
                far, inside, unfed = (mark[at] - met[at] + end[at] for at in range(3))
                return (far, inside, unfed, end[3]), start, k
        return mark, start, k

    def _step(self, states: Sequence[int], k: int, mark: Mark) -> tuple[int, Mark]:
        """One row on, or one bunch."""
        far, inside, unfed, free = mark
        state = states[k]
        if state == WHOLE:
            return k + 1, (far, inside, unfed, free + 1)
        if state == UNFED:
            return k + 1, (far + free % 2, inside, unfed, 0)
        bunch = self._bunch_at(states, k, free)
        far += bunch.far + (free - bunch.left) % 2
        return bunch.end + bunch.right, (far, inside + bunch.inside, unfed + bunch.unfed, 0)

    def _bunch_at(self, states: Sequence[int], k: int, free: int) -> Bunch:
        """The bunch that begins with a row."""
        end, count = k + 1, len(states)
        while end < count and states[end] > WHOLE:
            end += 1
        return self._bunch(k, tuple(states[k:end]), free > 0, end < count and states[end] == WHOLE)

    def _bunch(self, start: int, states: tuple[int, ...], left: bool, right: bool) -> Bunch:
        """What comes of neighbouring rows of more than one line, with or without a whole row free on either side."""
        key = (start, states, left, right)
        if key not in self._bunches:
            self._bunches[key] = self._bunched(start, states, left, right)
        return self._bunches[key]

    def _bunched(self, start: int, states: tuple[int, ...], left: bool, right: bool) -> Bunch:
        count = len(states)
        far, inside, unfed = 0, count % 2, 0
        used = {"left": False, "right": False}
        orders: list[tuple[int, ...]] = []
        first = 0
        while first < count:
            if states[first] == MANY:
                first += 1
                continue
            end = first + 1
            while end < count and states[end] != MANY:
                end += 1
            beside = {}
            if first == 0 and left:
                beside["left"] = start - 1
            if end == count and right:
                beside["right"] = start + count
            made, dry = self._woven(start + first, states[first:end], beside)
            unfed += dry
            for order in made:
                back = order[-1] in beside.values()
                far += not back and len(order) % 2
                inside += not back and len(order) % 2 == 0
                for hand, row in beside.items():
                    used[hand] |= row in order
            orders += made
            first = end
        return Bunch(start + count, far, inside, unfed, used["left"], used["right"], tuple(orders))

    def _woven(
        self, first: int, states: tuple[int, ...], beside: Mapping[str, int]
    ) -> tuple[list[tuple[int, ...]], int]:
        """As :meth:`_wind`, for the parted rows from one on."""
        key = (first, states, *beside)
        if key not in self._wound:
            group = range(first, first + len(states))
            last = dict(zip(group, states, strict=True)) | dict.fromkeys(beside.values(), WHOLE)
            self._wound[key] = self._wind(group, beside, last)
        return self._wound[key]

    def _wind(
        self, group: Sequence[int], beside: Mapping[str, int], last: Mapping[int, int]
    ) -> tuple[list[tuple[int, ...]], int]:
        """Rows in the order in which they are wound to reach lines beyond an obstacle, and how many lines stay dry."""
        if len(beside) == 2 and len(group) % 2 == 0:
            through = (beside["left"], *group, beside["right"])
            if self._reach(through, last) == len(through):
                return [through], 0
        outward = {"left": tuple(group), "right": tuple(reversed(group))}
        ways = [(row, *outward[hand]) for hand, row in beside.items()]
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

    def _reach(self, order: Sequence[int], last: Mapping[int, int]) -> int:
        """How many rows loops can tie in some order, the first walked outward, within the longest lateral."""
        total = self._length(order[0], last[order[0]])
        for place, (here, there) in enumerate(pairwise(order)):
            loop = self._loop(here, there, last, outer=place % 2 == 0)
            if loop is None:
                return place + 1
            total += loop + self._length(there, last[there])
            if total > self.longest:
                return place + 1
        return len(order)

    # --- tubing -----------------------------------------------------------------------------------------

    def _length(self, k: int, first: int) -> float:
        """Of the lines of a row from one on, and the loops between them [m]."""
        if (k, first) not in self._lengths:
            rounds = [self.round_((k, part)) or 0.0 for part in range(first, self.counts[k] - 1)]
            self._lengths[k, first] = sum(self.rows[k].lengths[first:]) + sum(rounds)
        return self._lengths[k, first]

    def _loop(self, here: int, there: int, last: Mapping[int, int], *, outer: bool) -> float | None:
        """Length of a loop between outer or inner ends of the last lines of two rows [m]; None if there is none."""
        one, other = sorted((here, there))
        key = (one, other, last[one], last[other], outer)
        if key not in self._loops:
            tips = [
                self.rows[k].pieces[self.rows[k].lines[-1][1] if outer else self.rows[k].lines[last[k]][0]]
                for k in (one, other)
            ]
            end = -1 if outer else 0
            self._loops[key] = self._laid((tips[0], tips[1]), (end, end), here)
        return self._loops[key]

    def round_(self, gap: Gap) -> float | None:
        """Length of a loop that leads a row round an obstacle, from one line to the next [m]."""
        if gap not in self._rounds:
            k, part = gap
            (_, before), (after, _) = self.rows[k].lines[part : part + 2]
            tips = self.rows[k].pieces[before], self.rows[k].pieces[after]
            self._rounds[gap] = self._laid(tips, (-1, 0), k, beside=ROUND)
        return self._rounds[gap]

    def _laid(
        self, tips: tuple[LineString, LineString], ends: tuple[int, int], k: int, **how: float
    ) -> float | None:
        """Length of a loop that keeps clear of the tubing in and beside a row [m]."""
        if self._nearby is None:
            self._nearby = Nearby.of_all(row.tubing for row in self.rows)
        first = int(self._first[max(k - WINDOW, 0)])
        end = int(self._first[min(k + WINDOW + 1, len(self.rows))])
        loop = self.loops.between(tips, ends, tubing=self._nearby.part(first, end), **how)
        return None if loop is None else float(shapely.length(loop))


def way_of(order: Sequence[int], last: Sequence[range]) -> Way:
    """The last lines of some rows in the order of flow: the first row walked outward, the next back."""
    return tuple(
        (k, part)
        for place, k in enumerate(order)
        for part in (last[k] if place % 2 == 0 else reversed(last[k]))
    )
