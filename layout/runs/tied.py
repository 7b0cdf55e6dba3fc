"""How what lies beyond an obstacle gets water where no blank tubing carries on to it: loops tie it to other lines.

Of a row that an obstacle parts, the line up to the obstacle is fed from the manifold. The line beyond has no water
of its own. A row beside it, whole and fed, goes out to the far end and comes back on that line, up to the obstacle; a
loop there leads over to the next such line, and so on. An even number of lines comes back on a whole row. A row that
the obstacle parts near its flank is as good as whole: a loop about the flank leads on from its one line to the other.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from layout.runs.carried import Carried, Way
from layout.runs.loops import Loops
from layout.runs.wound import MANY, NONE_LED, Gap, Wound, came_to, way_of

WEIGHT_FAR, WEIGHT_INSIDE, WEIGHT_UNFED = 0.75, 6.0, 6.0
"""Weights of :attr:`Ties.cost` (a judgement, no published source)."""
BESIDE = 12
"""Rows farther apart than this are chosen for one at a time where there are very many."""
FEW = 40
"""So many are not very many yet."""


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
        return _cost(self.far, self.inside, self.unfed)


def _cost(far: int, inside: int, unfed: int) -> float:
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
    choice = _Choice(Wound(rows, loops, longest))
    while longest > 0 and choice.cost > 0:
        if not choice.better():
            break
    return choice.tied()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Option:
    """Gaps more where loops lead rows round.

    `rows` are what rows are made to, but for those that stay of many lines; `fewer`, how many lines fewer go without
    water whatever is wound. `blank` is the length of the loops [m], `dearer` what all costs more for it. It matters to
    the rows from `start` on up to `end`.
    """

    gaps: tuple[Gap, ...]
    rows: tuple[tuple[int, int], ...]
    fewer: int
    blank: float
    dearer: float
    start: int
    end: int

    def is_apart(self, other: _Option) -> bool:
        """Whether it matters to rows that another does not matter to, and so costs the same with that and without."""
        return self.end <= other.start or other.end <= self.start


class _Choice:
    """Where loops lead rows round obstacles, as chosen so far."""

    def __init__(self, wound: Wound) -> None:
        self.wound = wound
        self.led: dict[int, frozenset[int]] = {}
        self._known: dict[tuple[Gap, ...], _Option] = {}
        self._walk()

    def _walk(self) -> None:
        self.walk = self.wound.walk(self.wound.states(self.led))
        self.surplus = self.wound.surplus(self.led)
        far, inside, unfed = came_to(self.walk.end)
        self.cost = _cost(far, inside, unfed + self.surplus)

    def better(self) -> bool:
        """Choose one or two gaps more, those that cost least; False where none cost less than what there is.

        Of what costs the same, what takes least blank tubing.
        """
        cheaper = [option for option in self._more() if option.dearer < 0]
        if not cheaper:
            return False
        best = min(cheaper, key=lambda option: (option.dearer, option.blank, len(option.gaps), option.gaps))
        for k, part in best.gaps:
            self.led[k] = self.led.get(k, NONE_LED) | {part}
        self._walk()
        changed = {k for k, _ in best.gaps}
        self._known = {
            gaps: option
            for gaps, option in self._known.items()
            if option.is_apart(best) and changed.isdisjoint(k for k, _ in gaps)
        }
        return True

    def _more(self) -> Iterator[_Option]:
        """One or two gaps more; not all pairs where there are very many."""
        free = self._free()
        # what is alike in all its costs is alike in pairs; two may be wanted of one kind
        alike: dict[object, dict[int, _Option]] = {}
        for k, gaps in free.items():
            for option in (self._of_row(k, gap) for gap in gaps):
                yield option
                rows = alike.setdefault((option.rows, option.fewer), {})
                rows[k] = min(rows.get(k, option), option, key=_by_blank)
        few = [option for rows in alike.values() for option in sorted(rows.values(), key=_by_blank)[:2]]
        few.sort(key=lambda option: option.gaps)
        for one, other in itertools.combinations(few, 2):
            apart = other.gaps[0][0] - one.gaps[0][0]
            # one after the other costs the same where each is of use; where one is not, nor are both
            if apart and not one.is_apart(other) and (apart <= BESIDE or len(few) <= FEW):
                yield self._both(one, other)
        for k, gaps in free.items():
            left = self.wound.counts[k] - len(self.led.get(k, NONE_LED)) - 2
            # where many lines are left it is the same whichever are joined
            for pair in itertools.combinations(sorted(gaps)[:2] if left > 2 else gaps, 2):
                yield self._of_row(k, *sorted(pair, key=lambda offered: offered[1]))

    def _free(self) -> dict[int, list[tuple[float, Gap]]]:
        """Gaps not chosen yet that a loop can lead round, by row, with the length of that loop [m]."""
        found: dict[int, list[tuple[float, Gap]]] = {}
        for gap in self.wound.gaps:
            k, part = gap
            if part not in self.led.get(k, NONE_LED):
                length = self.wound.round_(gap)
                if length is not None:
                    found.setdefault(k, []).append((length, gap))
        return found

    def _of_row(self, k: int, *offered: tuple[float, Gap]) -> _Option:
        """Some gaps of one row more."""
        gaps = tuple(gap for _, gap in offered)
        if gaps not in self._known:
            had = self.led.get(k, NONE_LED)
            state, lines = (
                self.wound.state(k, had.union(part for _, part in gaps)),
                self.wound.counts[k] - len(had),
            )
            rows = () if state == MANY else ((k, state),)
            fewer = max(lines - 2, 0) - max(lines - len(gaps) - 2, 0)
            self._offer(gaps, rows, fewer, sum(length for length, _ in offered))
        return self._known[gaps]

    def _both(self, one: _Option, other: _Option) -> _Option:
        """The gaps of two rows, those of the earlier one first."""
        gaps = one.gaps + other.gaps
        if gaps not in self._known:
            self._offer(gaps, one.rows + other.rows, one.fewer + other.fewer, one.blank + other.blank)
        return self._known[gaps]

    def _offer(
        self, gaps: tuple[Gap, ...], rows: tuple[tuple[int, int], ...], fewer: int, blank: float
    ) -> None:
        """Work out what it costs to choose some gaps more."""
        mark, start, end = self.wound.again(self.walk, rows) if rows else (self.walk.end, 0, 0)
        far, inside, unfed = came_to(mark)
        dearer = _cost(far, inside, unfed + self.surplus - fewer) - self.cost
        self._known[gaps] = _Option(
            gaps=gaps, rows=rows, fewer=fewer, blank=blank, dearer=dearer, start=start, end=end
        )

    def tied(self) -> Ties:
        """What comes of the choice."""
        wound = self.wound
        walk, (far, inside, unfed) = self.walk, came_to(self.walk.end)
        spans = [wound.spans(k, self.led.get(k, NONE_LED)) for k in range(len(wound.rows))]
        last = [parts[-1] for parts in spans]
        ways = [way_of(order, last) for order in walk.orders]
        ways += [way_of((k,), last) for k in walk.alone() if len(last[k]) > 1]
        # what comes before the first obstacle of a row that loops do not lead on from
        ways += [
            tuple((k, part) for part in spans[k][0])
            for k, row in enumerate(wound.rows)
            if row.from_end and len(spans[k]) > 1 and len(spans[k][0]) > 1
        ]
        return Ties(
            windings=tuple(
                tuple((k, wound.rows[k].lines[part][0]) for k, part in way) for way in sorted(ways)
            ),
            unfed=unfed + self.surplus,
            far=far,
            inside=inside,
            blank=math.fsum(
                wound.round_((k, part)) or 0.0
                for k, parts in sorted(self.led.items())
                for part in sorted(parts)
            ),
        )


def _by_blank(option: _Option) -> tuple[float, tuple[Gap, ...]]:
    return option.blank, option.gaps
