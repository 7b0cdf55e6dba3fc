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

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import coordinates, lines_of, stretch, union
from layout.runs.beside import Beside
from layout.runs.emitting import joined, let_emit
from layout.runs.loops import Loops
from layout.runs.obstacles import blunt, middle_of, obstacles
from layout.runs.rings import JOINT, MARGIN, RING_STEP, bends_enough, clear_of, way_along
from layout.runs.tied import UNDECIDED, Carried, Ties, Way, ties
from layout.runs.trim import GAP_SHARE, Ground, Row

REACH = 20.0
"""How far from an obstacle rows are looked at, in spacings."""
MOST_BARE = 1.3
"""Greatest distance from where emitting tubing gave way to blank to what is left, in spacings: one row may give way
along a stretch, the rows beside it may not as well."""
MOST_BLANK = 0.30
"""Greatest share of blank tubing in a carried line; nor may it be longer than the run that it leads to (a judgement, no
published source)."""
WEIGHT_DRY, WEIGHT_BARE, WEIGHT_BLANK = 4.0, 0.1, 0.03
"""Weights of :func:`_cost` (a judgement, no published source)."""
MOST_SPLITS = 2
"""How unevenly the rows tied may lie to the two sides of an obstacle's middle, where more than that are tied."""

State = Mapping[int, Carried]


def carry(
    rows: Sequence[Row], ground: Ground, *, fed: Sequence[bool] | None = None, longest: float = 0.0
) -> tuple[list[Carried], tuple[Way, ...]]:
    """Lead interrupted rows past obstacles.

    Parameters
    ----------
    rows : sequence of Row
        Lawful rows from left to right, pieces from the manifold end on.
    ground : Ground
    fed : sequence of bool, optional
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
        Carried(row.place, list(row.pieces), [UNDECIDED] * (len(row.pieces) - 1), begins)
        for row, begins in zip(rows, fed or [True] * len(rows), strict=True)
    ]
    loops = Loops(ground)
    zones = sorted(obstacles(ground), key=lambda zone: -round(zone.area, 6))
    for zone in zones:
        reach = zone.buffer(REACH * ground.spacing).envelope
        near = [k for k, row in enumerate(carried) if any(piece.intersects(reach) for piece in row.pieces)]
        if any(len(carried[k].pieces) > 1 for k in near):
            _Obstacle(zone, carried, near, loops, longest).pass_by()
    for row in carried:
        row.blanks = [None if blank is UNDECIDED else blank for blank in row.blanks]
    return carried, ties(carried, loops, longest=longest).windings if longest > 0 else ()


class _Obstacle:
    """One obstacle, and the rows of a bed that it interrupts."""

    def __init__(
        self, zone: Polygon, rows: list[Carried], near: Sequence[int], loops: Loops, longest: float
    ) -> None:
        ground = loops.ground
        self.zone, self.rows, self.near = zone, rows, near
        self.ground, self.loops, self.longest = ground, loops, longest
        self.step = RING_STEP * ground.spacing
        self.gap = GAP_SHARE * ground.closest
        self.allowed = loops.allowed
        middle = middle_of(zone, ground)
        self.outward = {side: self._outward(middle, side) for side in (1.0, -1.0)}
        self.cut = {
            side: [k for k in numbers if self._interrupted(rows[k], self.step) is not None]
            for side, numbers in self.outward.items()
        }

    def pass_by(self) -> None:
        """Lead its rows past it, in the way that costs least."""
        if not any(self.cut.values()):
            return
        base = max(self.ground.radius - blunt(self.zone), 0.0)
        for side in (1.0, -1.0):
            self._bend(side, base)
        chains = {
            side: [self._chain(side, ends, base) for ends in range(len(self.cut[side]) + 1)]
            for side in (1.0, -1.0)
        }
        waiting: list[tuple[float, int, State]] = []
        for left, right in self._choices():
            one, other = chains[1.0][left], chains[-1.0][right]
            if one is not None and other is not None:
                led: State = {**one, **other, **self._ending(1.0, left), **self._ending(-1.0, right)}
                waiting.append((self._ties(led).cost, len(waiting), led))
        moved = {k for _, _, way in waiting for k in way}
        still = [piece for k in self.near if k not in moved for piece in self.rows[k].pieces]
        ground = Beside.of(self.zone, self.ground, still)
        least = math.inf
        chosen: State | None = None
        for bound, _, way in sorted(waiting, key=lambda option: option[:2]):
            if bound >= least:
                break
            state = self._emitting(way)
            if state is None or self._leaves_bare(state):
                continue
            cost = round(self._cost(state, ground, moved), 6)
            if cost < least:
                least, chosen = cost, state
        if chosen is None:
            chosen = {**self._ending(1.0, len(self.cut[1.0])), **self._ending(-1.0, len(self.cut[-1.0]))}
        for k, row in chosen.items():
            self.rows[k] = row

    def _choices(self) -> Iterator[tuple[int, int]]:
        """How many rows on either side of the middle end at the zone, the innermost ones.

        All or few of them, few or none, or about as many left as right.
        """
        left, right = (len(self.cut[side]) for side in (1.0, -1.0))
        for counts in itertools.product(range(left + 1), range(right + 1)):
            ended = sum(counts)
            few = min(ended, left + right - ended) <= MOST_SPLITS
            even = ended % 2 == 0 and abs(counts[0] - counts[1]) <= MOST_SPLITS
            if self.longest <= 0 or few or even:
                yield counts

    # --- where rows stand -------------------------------------------------------------------------------

    def _outward(self, middle: Point, side: float) -> list[int]:
        """Rows that pass on one side of an obstacle's middle, nearest first; left is 1.0."""
        found = []
        for k in self.near:
            row = self.rows[k]
            if not row.pieces:
                continue
            whole = LineString(np.vstack([coordinates(piece) for piece in row.pieces]))
            at = shapely.line_locate_point(whole, middle)
            around = coordinates(stretch(whole, max(at - 1e-3, 0), min(at + 1e-3, whole.length)))
            (x0, y0), (x1, y1) = around[0], around[-1]
            cross = (x1 - x0) * (middle.y - y0) - (y1 - y0) * (middle.x - x0)
            if (1.0 if cross <= 0 else -1.0) == side:
                found.append((float(whole.distance(middle)), k))
        return [k for _, k in sorted(found)]

    def _interrupted(self, row: Carried, slack: float) -> int | None:
        """Index of the piece after which the zone interrupts a row."""
        for k, blank in enumerate(row.blanks):
            if blank is UNDECIDED:
                ends = (Point(row.pieces[k].coords[-1]), Point(row.pieces[k + 1].coords[0]))
                chord = LineString([ends[0], ends[1]])
                if all(end.distance(self.zone) < slack + 1e-6 for end in ends) or chord.crosses(self.zone):
                    return k
        return None

    def _ring(self, distance: float) -> Polygon:
        return self.zone.buffer(distance + MARGIN * self.ground.spacing, quad_segs=32)

    # --- bending ----------------------------------------------------------------------------------------

    def _bend(self, side: float, base: float) -> None:
        """Let the outermost row that the zone interrupts on one side bend round it, where it keeps its gap."""
        if not self.cut[side]:
            return
        number = self.cut[side][-1]
        row = self.rows[number]
        at = self._interrupted(row, self.step)
        assert at is not None, "it is interrupted"
        way = self._way(row, at, self._ring(base), side)
        if way is None or not self._lawful(way):
            return
        before, bend, after = way
        if float(shapely.distance(bend, self._others({number: row}, number))) < self.gap:
            return
        row.join(at, joined(before, bend, after))
        self.cut[side].pop()

    def _way(
        self, row: Carried, at: int, ring: Polygon, side: float
    ) -> tuple[LineString, LineString, LineString] | None:
        """The way of a row round a ring that it meets after one of its pieces."""
        before, after = (clear_of(row.pieces[k], ring, last=k == at) for k in (at, at + 1))
        if before is None or after is None:
            return None
        return way_along(before, after, ring, side, self.ground)

    def _lawful(self, way: tuple[LineString, LineString, LineString]) -> bool:
        """Whether a way keeps to the ground and the bend radius, and its runs are long enough."""
        before, middle, after = way
        if min(before.length, after.length) < self.ground.shortest or not middle.is_simple:
            return False
        if not self.allowed.covers(middle):
            return False
        return self.ground.radius <= 0 or bends_enough(coordinates(joined(*way)), self.ground.radius)

    def _others(self, state: State, but: int) -> BaseGeometry:
        """All emitting tubing near the zone but one row's."""
        return shapely.MultiLineString(
            [piece for k in self.near if k != but for piece in state.get(k, self.rows[k]).pieces]
        )

    # --- carrying ---------------------------------------------------------------------------------------

    def _chain(self, side: float, ends: int, base: float) -> State | None:
        """The rows on one side led round the zone, each further out, but for the innermost ones that end at it.

        On until one is neither interrupted nor touched. None where that cannot be.
        """
        led: dict[int, Carried] = {}
        if ends == len(self.cut[side]):
            return led
        first = self.outward[side].index(self.cut[side][ends])
        for k in self.outward[side][first:]:
            row = self.rows[k].copy()
            cut = self._interrupted(row, self.step)
            if cut is None and not any(_blank_near(row, other, 0.9 * self.step) for other in led.values()):
                break
            if not self._lead(row, cut, self._ring(base + len(led) * self.step), side):
                return None
            led[k] = row
        return led

    def _ending(self, side: float, ends: int) -> State:
        """The innermost rows on one side, as they are where they end at the zone."""
        found = {}
        for k in self.cut[side][:ends]:
            row = found[k] = self.rows[k].copy()
            while (at := self._interrupted(row, self.step)) is not None:
                row.blanks[at] = None
        return found

    def _lead(self, row: Carried, cut: int | None, ring: Polygon, side: float) -> bool:
        """Put one row round a ring; False where that cannot be."""
        if cut is None:
            touching = [k for k, piece in enumerate(row.pieces) if piece.crosses(ring)]
            if len(touching) != 1:
                return False
            cut = touching[0]
            outside = lines_of(row.pieces[cut].difference(ring))
            outside.sort(key=lambda part: row.pieces[cut].project(Point(part.coords[0])))
            if len(outside) != 2:
                return False
            way = way_along(outside[0], outside[1], ring, side, self.ground)
            replaced = 1
        else:
            way = self._way(row, cut, ring, side)
            replaced = 2
        if way is None or not self._worth_it(*way):
            return False
        before, blank, after = way
        row.pieces[cut : cut + replaced] = [before, after]
        row.blanks[cut : cut + replaced - 1] = [blank]
        return True

    def _worth_it(self, before: LineString, blank: LineString, after: LineString) -> bool:
        """Whether a carried line stays on the ground and is worth its blank tubing."""
        if min(before.length, after.length) < self.ground.shortest:
            return False
        if blank.length > min(after.length, MOST_BLANK * (before.length + blank.length + after.length)):
            return False
        return bool(self.allowed.covers(blank)) and blank.is_simple

    def _emitting(self, led: State) -> State | None:
        """Rows led round the zone, with emitters on the rings where they are a gap from all others.

        None where their blank tubing comes too near to other tubing.
        """
        if not self._apart(led):
            return None
        state = {k: row.copy() for k, row in led.items()}
        for k, row in state.items():
            for at in reversed(range(len(row.blanks))):
                blank = row.blanks[at]
                if blank is not None and not blank.is_empty and blank not in self.rows[k].blank():
                    let_emit(row, at, self._others(state, k), self.ground)
        return state

    # --- what it comes to -------------------------------------------------------------------------------

    def _apart(self, led: State) -> bool:
        """Whether the blank tubing of rows led round keeps its distance from all other tubing."""
        tubing = [
            (k, line)
            for k in self.near
            for row in [led.get(k, self.rows[k])]
            for line in (*row.pieces, *row.blank())
        ]
        tree = shapely.STRtree([line for _, line in tubing])
        return not any(
            tubing[at][0] != k
            for k, row in led.items()
            for blank in row.blank()
            for at in tree.query(blank, predicate="dwithin", distance=0.9 * self.step).tolist()
        )

    def _leaves_bare(self, state: State) -> bool:
        """Whether blank tubing took the place of so much emitting tubing that ground lies bare beside it."""
        kept = union(piece for k in self.near for piece in state.get(k, self.rows[k]).pieces)
        shapely.prepare(kept)
        for k, row in state.items():
            lost = union(self.rows[k].pieces).difference(
                union(row.pieces).buffer(JOINT * self.ground.spacing)
            )
            places = shapely.points(
                shapely.get_coordinates(shapely.segmentize(lost, self.ground.spacing / 2))
            )
            if not shapely.dwithin(kept, places, MOST_BARE * self.ground.spacing).all():
                return True
        return False

    def _ties(self, state: State) -> Ties:
        """What loops tie, with some rows led past or ended at the zone."""
        return ties([state.get(k, row) for k, row in enumerate(self.rows)], self.loops, longest=self.longest)

    def _cost(self, state: State, ground: Beside, moved: Collection[int]) -> float:
        """What a way past the zone costs; the least is taken.

        4 × (driest place beside the zone ÷ half a spacing − 1) + 0.1 × ground there farther than half a
        spacing from tubing [squares of the spacing] + 0.03 × blank tubing and loops past obstacles [spacings] + what
        ties cost.
        """
        driest, bare = ground.dry([piece for k in moved for piece in state.get(k, self.rows[k]).pieces])
        tied = self._ties(state)
        blank = math.fsum(blank.length for row in state.values() for blank in row.blank())
        return (
            WEIGHT_DRY * max(driest - 1.0, 0.0)
            + WEIGHT_BARE * bare
            + WEIGHT_BLANK * (blank + tied.blank) / self.ground.spacing
            + tied.cost
        )


def _blank_near(row: Carried, led: Carried, least: float) -> bool:
    """Whether a row's tubing comes too near the blank tubing of a row that was led round."""
    return any(shapely.dwithin(piece, blank, least) for piece in row.pieces for blank in led.blank())
