"""What becomes of rows that an obstacle interrupts: a tree or tank in the bed, a setback that bites into it.

A row may bend round the obstacle with its emitters, where it keeps its gap to all others. It may be *carried* past by
blank tubing on a ring about the setback zone, the row nearest the middle on the innermost ring and each next one
further out, so that no two touch; where the ring is a gap from all emitters it has some, too. Or the row ends at the
zone, and what lies beyond is *tied* to its neighbours by loops (:mod:`layout.runs.tied`). Which rows are carried and
which tied is decided at each obstacle by what that costs.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely
from shapely import Polygon

from layout.plane import union
from layout.runs.aside import bent_round
from layout.runs.beside import Beside
from layout.runs.carried import UNDECIDED, Carried, Way
from layout.runs.emitting import joined, let_emit
from layout.runs.leading import Round, ends_clear, interrupted, is_lawful, led_round, outward, way_round
from layout.runs.loops import Loops
from layout.runs.nearby import Nearby, away
from layout.runs.obstacles import blunt, is_sharper, middle_of, obstacles
from layout.runs.rings import JOINT, MARGIN, RING_STEP
from layout.runs.tied import Ties, ties
from layout.runs.trim import GAP_SHARE, Ground, Row

REACH = 20.0
"""How far from an obstacle rows are looked at, in spacings."""
MOST_BARE = 1.3
"""Greatest distance from where emitting tubing gave way to blank to what is left, in spacings: one row may give way
along a stretch, the rows beside it may not as well."""
WEIGHT_DRY, WEIGHT_BARE, WEIGHT_BLANK = 4.0, 0.1, 0.03
"""Weights of what a way past an obstacle costs (a judgement, no published source)."""
SHARP = 1.5
"""A corner of a zone that is rounded with no more than this is sharp, in clearances."""
ROUNDING = 1e-6
"""Costs that differ by no more are equal."""
MOST_SPLITS = 2
"""How unevenly the rows tied may lie to the two sides of an obstacle's middle, where more than that are tied."""

State = Mapping[int, Carried]


def carry(
    rows: Sequence[Row], ground: Ground, *, from_end: Sequence[bool] | None = None, longest: float = 0.0
) -> tuple[list[Carried], tuple[Way, ...]]:
    """Lead interrupted rows past obstacles.

    Parameters
    ----------
    rows : sequence of Row
        Lawful rows from left to right, pieces from the manifold end on.
    ground : Ground
    from_end : sequence of bool, optional
        Whether each row begins at the manifold end; all of them where it is not given.
    longest : float
        Greatest length of a lateral that rows tied past an obstacle may make [m]; 0 where none are to be tied.

    Returns
    -------
    carried : list of Carried
        In the same order; pieces may be shorter than before where blank tubing takes their place, or longer where
        they bend round an obstacle.
    windings : tuple of tuple of (int, int)
        What is tied, see :class:`layout.runs.tied.Ties`.
    """
    carried = [
        Carried(row.place, tuple(row.pieces), (UNDECIDED,) * (len(row.pieces) - 1), begins)
        for row, begins in zip(rows, from_end or [True] * len(rows), strict=True)
    ]
    loops = Loops(ground)
    parted = [k for k, row in enumerate(carried) if len(row.pieces) > 1]
    across = [box for k in parted for _, _, box in carried[k].undecided]
    for zone in sorted(obstacles(ground, across), key=lambda zone: -round(zone.area, 6)):
        cut = [k for k in parted if interrupted(carried[k], zone, RING_STEP * ground.spacing) is not None]
        if cut:
            _Obstacle(zone, carried, loops, longest).pass_by(cut)
    for k in parted:
        blanks = tuple(None if blank is UNDECIDED else blank for blank in carried[k].blanks)
        carried[k] = replace(carried[k], blanks=blanks)
    return carried, ties(carried, loops, longest=longest).windings if longest > 0 else ()


class _Option(NamedTuple):
    """What may become of the rows on one side of an obstacle: how many end at it, and are carried past it."""

    ended: int
    carried: int
    rows: State


class _Obstacle:
    """One obstacle, and the rows of a bed that it interrupts."""

    def __init__(self, zone: Polygon, rows: list[Carried], loops: Loops, longest: float) -> None:
        ground = loops.ground
        self.zone, self.rows = zone, rows
        self.ground, self.loops, self.longest = ground, loops, longest
        self.step = RING_STEP * ground.spacing
        self.gap = GAP_SHARE * ground.closest
        self._rings: dict[float, Polygon] = {}
        self._bent: dict[int, Round | None] = {}
        self.outward: dict[float, list[int]] = {}
        self.cut: dict[float, list[int]] = {}

    @cached_property
    def near(self) -> list[int]:
        """The rows that lie near it."""
        x0, y0, x1, y1 = self.zone.bounds
        reach = REACH * self.ground.spacing
        box = shapely.box(x0 - reach, y0 - reach, x1 + reach, y1 + reach)
        owner = np.repeat(np.arange(len(self.rows)), [len(row.pieces) for row in self.rows])
        every = np.array([piece for row in self.rows for piece in row.pieces], dtype=object)
        near: list[int] = np.unique(owner[shapely.intersects(box, every)]).tolist()
        return near

    def pass_by(self, cut: Sequence[int]) -> None:
        """Lead the rows that it interrupts past it, in the way that costs least."""
        chosen = None
        if not self._is_hopeless(cut):
            chosen = self._best(self._ways(cut))
            cut = [k for numbers in self.cut.values() for k in numbers]  # some may bend round it now
        for k, row in (self._ending(cut) if chosen is None else chosen).items():
            self.rows[k] = row

    def _is_hopeless(self, cut: Sequence[int]) -> bool:
        """Whether it is clear beforehand that too little is left of each row by whatever ring it could be led along.

        The corners of a hollow are rounded with the clearance, and mostly with no more.
        """
        ground, sharp = self.ground, SHARP * self.ground.clearance
        # no disc in the zone is larger than that of its area
        most = math.sqrt(self.zone.area / math.pi)
        if not 0 < sharp < ground.radius or not is_sharper(self.zone, sharp, most=most):
            return False
        ring = self._ring(ground.radius - sharp)
        for k in cut:
            at = interrupted(self.rows[k], self.zone, self.step)
            if at is not None and ends_clear(self.rows[k], at, ring, ground) is not None:
                return False
        return True

    def _ways(self, cut: Sequence[int]) -> list[State]:
        """All ways past it that are to be looked at, once the outermost rows are bent round it where they can be."""
        self.outward = outward(self.rows, self.near, middle_of(self.zone, self.ground))
        self.cut = {side: [k for k in numbers if k in cut] for side, numbers in self.outward.items()}
        base = max(self.ground.radius - blunt(self.zone), 0.0)
        for side in (1.0, -1.0):
            self._bend(side, base)
        options = {side: list(self._options(side, base)) for side in (1.0, -1.0)}
        return [
            {**left.rows, **right.rows}
            for left, right in itertools.product(options[1.0], options[-1.0])
            if self._worth_trying(left, right)
        ]

    def _best(self, ways: Sequence[State]) -> State | None:
        """The way past that costs least, with emitters; None where each leaves ground bare or comes near to others."""
        ways = [way for way in ways if self._apart(way)]
        if len(ways) < 2:
            states = (self._with_emitters(way) for way in ways)
            return next((state for state in states if not self._leaves_bare(state)), None)
        tied = [(self._ties(way), way) for way in ways]
        waiting = sorted(tied, key=lambda option: option[0].cost)
        moved = {k for way in ways for k in way}
        least, best = math.inf, None
        ground: Beside | None = None
        for number, (ties_of_way, way) in enumerate(waiting, start=1):
            if ties_of_way.cost >= least:
                break
            state = self._with_emitters(way)
            if self._leaves_bare(state):
                continue
            if best is None and number == len(waiting):
                return state  # whatever it costs
            if ground is None:
                still = Nearby.of_all(self.rows[k].runs for k in self.near if k not in moved)
                ground = Beside.of(self.zone, self.loops, still)
            beside = self._beside(state, ground, moved)
            if beside > least + ROUNDING:
                continue
            same = all(state[k] is row for k, row in way.items())
            cost = round(beside + self._tying(ties_of_way if same else self._ties(state)), 6)
            if cost < least:
                least, best = cost, state
        return best

    def _worth_trying(self, left: _Option, right: _Option) -> bool:
        """Whether of the rows that do not bend all or few end at the zone, few or none, or as many left as right."""
        ended, carried = left.ended + right.ended, left.carried + right.carried
        even = ended % 2 == 0 and abs(left.ended - right.ended) <= MOST_SPLITS
        return self.longest <= 0 or min(ended, carried) <= MOST_SPLITS or even

    def _options(self, side: float, base: float) -> Iterator[_Option]:
        """What may become of the rows on one side: the innermost ones end there, the others are carried or bend."""
        count = len(self.cut[side])
        for ends in range(count + 1):
            led = self._chain(side, ends, base)
            if led is not None:
                yield _Option(ends, count - ends, {**led, **self._ending(self.cut[side][:ends])})
        if count and self._cannot_bend(self.cut[side][-1]):
            return  # nor can any of them
        for ends in reversed(range(count)):
            first = self.outward[side].index(self.cut[side][ends])
            bent = bent_round(
                self.rows,
                self.outward[side][first:],
                self.zone,
                self._ring,
                side=side,
                base=base,
                ground=self.ground,
                allowed=self.loops.allowed,
            )
            if bent is None:
                break
            yield _Option(ends, 0, {**bent, **self._ending(self.cut[side][:ends])})

    # --- bending and carrying ---------------------------------------------------------------------------

    def _ring(self, distance: float) -> Polygon:
        if distance not in self._rings:
            self._rings[distance] = self.zone.buffer(distance + MARGIN * self.ground.spacing, quad_segs=32)
        return self._rings[distance]

    def _bend(self, side: float, base: float) -> None:
        """Let the outermost row that the zone interrupts on one side bend round it, where it keeps its gap."""
        if not self.cut[side]:
            return
        number = self.cut[side][-1]
        row = self.rows[number]
        at = interrupted(row, self.zone, self.step)
        assert at is not None, "it is interrupted"
        way = way_round(row, at, self._ring(base), side, self.ground)
        if way is not None and not is_lawful(way, self.ground, self.loops.allowed):
            way = None
        self._bent[number] = way
        if way is None:
            return
        before, bend, after = way
        others = Nearby.of_all(self.rows[k].runs for k in self.near if k != number)
        if float(away(bend, others.about(bend, self.gap))) < self.gap:
            return
        self.rows[number] = row.join(at, joined(before, bend, after))
        self.cut[side].pop()

    def _cannot_bend(self, number: int) -> bool:
        """Whether it is known of a row that it has no lawful way along the innermost ring."""
        return number in self._bent and self._bent[number] is None

    def _chain(self, side: float, ends: int, base: float) -> State | None:
        """The rows on one side led round the zone, each further out, but for the innermost ones that end at it.

        On until one is neither interrupted nor touched. None where that cannot be.
        """
        led: dict[int, Carried] = {}
        if ends == len(self.cut[side]):
            return led
        first = self.outward[side].index(self.cut[side][ends])
        for k in self.outward[side][first:]:
            row = self.rows[k]
            cut = interrupted(row, self.zone, self.step)
            if cut is None and not any(_blank_near(row, other, 0.9 * self.step) for other in led.values()):
                break
            ring = self._ring(base + len(led) * self.step)
            # of the outermost one the way on the innermost ring is known, for it might have bent there
            known = None if led else self._bent.get(k)
            if not led and self._cannot_bend(k):
                return None
            carried = led_round(row, cut, ring, side, self.ground, self.loops.allowed, known=known)
            if carried is None:
                return None
            led[k] = carried
        return led

    def _ending(self, cut: Sequence[int]) -> State:
        """Rows as they are where they end at the zone."""
        found = {}
        for k in cut:
            row = self.rows[k]
            while (at := interrupted(row, self.zone, self.step)) is not None:
                row = row.ending(at)
            found[k] = row
        return found

    def _with_emitters(self, led: State) -> State:
        """Rows led round the zone, with emitters on the rings where they are a gap from all others."""
        state = dict(led)
        for k in led:
            others = Nearby.of_all(
                state.get(other, self.rows[other]).runs for other in self.near if other != k
            )
            for at in reversed(range(len(state[k].blanks))):
                blank = state[k].blanks[at]
                if blank is not None and not blank.is_empty and blank not in self.rows[k].blank():
                    about = others.about(blank, self.ground.spacing)
                    state[k] = let_emit(state[k], at, about, self.ground)
        return state

    # --- what it comes to -------------------------------------------------------------------------------

    def _apart(self, led: State) -> bool:
        """Whether the blank tubing of rows led round keeps its distance from all other tubing."""
        for k, row in led.items():
            blanks = row.blank()
            if blanks:
                others = Nearby.of_all(
                    led.get(other, self.rows[other]).tubing for other in self.near if other != k
                )
                if any(others.within(blank, 0.9 * self.step) for blank in blanks):
                    return False
        return True

    def _leaves_bare(self, state: State) -> bool:
        """Whether blank tubing took the place of so much emitting tubing that ground lies bare beside it."""
        spacing = self.ground.spacing
        for k, row in state.items():
            new = Nearby.of(piece for piece in row.pieces if piece not in self.rows[k].pieces)
            old = Nearby.of(piece for piece in self.rows[k].pieces if piece not in row.pieces)
            if not len(old.lines):
                continue
            taken = union(row.blank()).union(self.zone)  # what is lost lies by that
            lost = old.about(taken, 2 * spacing).difference(
                new.about(taken, 3 * spacing).buffer(JOINT * spacing)
            )
            places = np.asarray(
                shapely.points(shapely.get_coordinates(shapely.segmentize(lost, spacing / 2)))
            )
            if not len(places):
                continue
            kept = Nearby.of_all(state.get(other, self.rows[other]).runs for other in self.near)
            if away(places, kept.about(taken, 4 * spacing)).max() > MOST_BARE * spacing:
                return True
        return False

    def _ties(self, state: State) -> Ties:
        """What loops tie of the rows about the zone, with some of them led past or ended at it."""
        first, last = min(self.near), max(self.near)
        # with all the whole rows beside these, for it counts how many there are
        while first > 0 and len(self.rows[first - 1].lines) == 1:
            first -= 1
        while last + 1 < len(self.rows) and len(self.rows[last + 1].lines) == 1:
            last += 1
        rows = [state.get(k, self.rows[k]) for k in range(first, last + 1)]
        return ties(rows, self.loops, longest=self.longest)

    # What a way past the zone costs, the least of which is taken, is the sum of these two.

    def _beside(self, state: State, ground: Beside, moved: Collection[int]) -> float:
        """What rows led past cost by themselves.

        4 × (driest place beside the zone ÷ half a spacing − 1) + 0.1 × ground there farther than half a
        spacing from tubing [squares of the spacing] + 0.03 × blank tubing [spacings].
        """
        driest, bare = ground.dry(Nearby.of_all(state.get(k, self.rows[k]).runs for k in sorted(moved)))
        blank = math.fsum(blank.length for row in state.values() for blank in row.blank())
        return (
            WEIGHT_DRY * max(driest - 1.0, 0.0)
            + WEIGHT_BARE * bare
            + WEIGHT_BLANK * blank / self.ground.spacing
        )

    def _tying(self, tied: Ties) -> float:
        """What ties cost, and 0.03 × the loops past obstacles that they take [spacings]."""
        return WEIGHT_BLANK * tied.blank / self.ground.spacing + tied.cost


def _blank_near(row: Carried, led: Carried, least: float) -> bool:
    """Whether a row's tubing comes too near the blank tubing of a row that was led round."""
    return any(row.runs.within(blank, least) for blank in led.blank())
