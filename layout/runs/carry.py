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
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import Array, coordinates, lines_of, polygons_of, stretch, union
from layout.runs.rings import JOINT, MARGIN, RING_STEP, bends_enough, clear_of, way_along
from layout.runs.tied import UNDECIDED, Carried, Ties, ties
from layout.runs.trim import CRUMB, GAP_SHARE, Ground, Row

REACH = 20.0
"""How far from an obstacle rows are looked at, in spacings."""
BESIDE = 2.5
"""How far from an obstacle ground is looked at for dry places, in spacings."""
SAMPLE = 0.3
"""How far apart such places are looked at, in spacings."""
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
) -> list[Carried]:
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
    list of Carried
        In the same order; pieces may be shorter than before where blank tubing takes their place, or longer where
        they bend round an obstacle.
    """
    carried = [
        Carried(row.place, list(row.pieces), [UNDECIDED] * (len(row.pieces) - 1), begins)
        for row, begins in zip(rows, fed or [True] * len(rows), strict=True)
    ]
    zones = sorted(_obstacles(ground), key=lambda zone: -round(zone.area, 6))
    for zone in zones:
        reach = zone.buffer(REACH * ground.spacing).envelope
        near = [k for k, row in enumerate(carried) if any(piece.intersects(reach) for piece in row.pieces)]
        if any(len(carried[k].pieces) > 1 for k in near):
            _Obstacle(zone, carried, near, ground, longest).pass_by()
    for row in carried:
        row.blanks = [None if blank is UNDECIDED else blank for blank in row.blanks]
    return carried


def _obstacles(ground: Ground) -> list[Polygon]:
    """Setback zones that reach into the bed, and the hollows of its outline with the clearance round them."""
    zones = [zone for zone in polygons_of(ground.kept_clear) if zone.intersects(ground.outline)]
    hollows = polygons_of(ground.outline.convex_hull.difference(ground.outline))
    deep = [hollow for hollow in hollows if not hollow.buffer(-ground.spacing / 4).is_empty]
    return zones + [hollow.buffer(ground.clearance, quad_segs=32) for hollow in deep]


class _Obstacle:
    """One obstacle, and the rows of a bed that it interrupts."""

    def __init__(
        self, zone: Polygon, rows: list[Carried], near: Sequence[int], ground: Ground, longest: float
    ) -> None:
        self.zone, self.rows, self.near = zone, rows, near
        self.ground, self.longest = ground, longest
        self.step = RING_STEP * ground.spacing
        self.gap = GAP_SHARE * ground.closest
        self.allowed = ground.limits.buffer(1e-6)
        middle = _middle(zone, ground)
        self.outward = {side: self._outward(middle, side) for side in (1.0, -1.0)}
        self.cut = {
            side: [k for k in numbers if self._interrupted(rows[k], self.step) is not None]
            for side, numbers in self.outward.items()
        }

    def pass_by(self) -> None:
        """Lead its rows past it, in the way that costs least."""
        if not any(self.cut.values()):
            return
        base = max(self.ground.radius - _blunt(self.zone), 0.0)
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
        samples = self._samples()
        least = math.inf
        chosen: State | None = None
        for bound, _, way in sorted(waiting, key=lambda option: option[:2]):
            if bound >= least:
                break
            state = self._emitting(way)
            if state is None or self._leaves_bare(state):
                continue
            cost = round(self._cost(state, samples), 6)
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
        row.join(at, _joined(before, bend, after))
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
        return self.ground.radius <= 0 or bends_enough(coordinates(_joined(*way)), self.ground.radius)

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
                    self._let_emit(row, at, self._others(state, k))
        return state

    def _let_emit(self, row: Carried, at: int, others: BaseGeometry) -> None:
        """Give a stretch of blank tubing emitters from the runs it joins on, or in its middle, as far as gaps allow."""
        blank = row.blanks[at]
        assert blank is not None, "only blank tubing can be given emitters"
        before, after = row.pieces[at], row.pieces[at + 1]
        length = float(blank.length)
        along = np.linspace(0.0, length, max(math.ceil(8 * length / self.ground.spacing), 2) + 1)
        free = shapely.distance(shapely.line_interpolate_point(blank, along), others) > self.gap
        if free.all() and float(blank.distance(others)) >= self.gap:
            row.join(at, _joined(before, blank, after))
            return
        if free.all():
            return
        on, off = along[max(int(np.argmin(free)) - 1, 0)], along[-max(int(np.argmin(free[::-1])), 1)]
        longer, on, off = self._longer((before, after), blank, (float(on), float(off)), others)
        blanks: list[LineString | None] = [stretch(blank, on, off)]
        pieces = list(longer)
        middle = self._middle_span(blanks[0], shapely.union_all([others, *longer]))  # type: ignore[arg-type]
        if middle is not None:
            start, end = middle
            rest = blanks[0]
            assert rest is not None, "it was made just now"
            pieces.insert(1, stretch(rest, start, end))
            blanks = [stretch(rest, 0.0, start), stretch(rest, end, rest.length)]
        row.pieces[at : at + 2] = pieces
        row.blanks[at : at + 1] = blanks

    def _longer(
        self,
        runs: tuple[LineString, LineString],
        blank: LineString,
        span: tuple[float, float],
        others: BaseGeometry,
    ) -> tuple[tuple[LineString, LineString], float, float]:
        """Two runs carried on along the blank tubing between them, and the span [m] of it that stays blank.

        Where that would break a gap they stay as they are.
        """
        (before, after), (on, off) = runs, span
        crumb = CRUMB * self.ground.spacing
        whole = (runs, 0.0, float(blank.length))
        gained: list[LineString] = []
        if on > crumb:
            gained.append(stretch(blank, 0.0, on))
            before = _joined(before, gained[-1])
        else:
            on = 0.0
        if off < blank.length - crumb:
            gained.append(stretch(blank, off, blank.length))
            after = _joined(gained[-1], after)
        else:
            off = float(blank.length)
        if not gained or min(float(line.distance(others)) for line in gained) < self.gap:
            return whole
        kept = min(self.gap, float(runs[0].distance(runs[1])))
        return ((before, after), on, off) if float(before.distance(after)) >= kept else whole

    def _middle_span(self, blank: LineString, others: BaseGeometry) -> tuple[float, float] | None:
        """The longest stretch of some blank tubing a gap from all runs [m]; None where it is too short for a run."""
        length = float(blank.length)
        along = np.linspace(0.0, length, max(math.ceil(8 * length / self.ground.spacing), 2) + 1)
        near = shapely.distance(shapely.line_interpolate_point(blank, along), others) <= self.gap
        edges = np.flatnonzero(np.diff(np.concatenate(([0], ~near, [0]))))
        spans = [(along[a], along[b - 1]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
        start, end = max(spans, key=lambda span: span[1] - span[0], default=(0.0, 0.0))
        if end - start < self.ground.least or not 0 < start < end < length:
            return None
        return (start, end) if float(stretch(blank, start, end).distance(others)) >= self.gap else None

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

    def _samples(self) -> _Samples:
        """Points of the usable ground round the zone, and of its edge."""
        step = SAMPLE * self.ground.spacing
        around = self.zone.buffer(BESIDE * self.ground.spacing).difference(self.zone)
        around = around.intersection(self.ground.limits)
        grid = np.empty((0, 2))
        if not around.is_empty:
            x0, y0, x1, y1 = around.bounds
            grid_x, grid_y = np.meshgrid(
                np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)
            )
            shapely.prepare(around)
            inside = shapely.contains_xy(around, grid_x.ravel(), grid_y.ravel())
            grid = np.column_stack((grid_x.ravel()[inside], grid_y.ravel()[inside]))
        edge = shapely.segmentize(self.zone.exterior, step / 2).intersection(self.ground.limits)
        points = np.asarray(shapely.points(np.vstack((grid, shapely.get_coordinates(edge)))))
        rim = shapely.box(*self.zone.buffer(2 * BESIDE * self.ground.spacing).bounds)
        moved = {k for side in (1.0, -1.0) for k in self.outward[side][: len(self.cut[side]) + 3]}
        still = [piece for k in self.near if k not in moved for piece in self.rows[k].pieces]
        away = np.asarray(shapely.distance(points, shapely.intersection(shapely.MultiLineString(still), rim)))
        return _Samples(
            points=points, rim=rim, away=np.nan_to_num(away, nan=np.inf), still=frozenset(self.near) - moved
        )

    def _ties(self, state: State) -> Ties:
        """What loops tie, with some rows led past or ended at the zone."""
        return ties([state.get(k, row) for k, row in enumerate(self.rows)], self.ground, longest=self.longest)

    def _cost(self, state: State, samples: _Samples) -> float:
        """What a way past the zone costs; the least is taken.

        4 × (driest place beside the zone ÷ half a spacing − 1) + 0.1 × ground there farther than half a
        spacing from tubing [squares of the spacing] + 0.03 × blank tubing and loops past obstacles [spacings] + what
        ties cost.
        """
        half = self.ground.spacing / 2
        lines = [
            piece for k in self.near if k not in samples.still for piece in state.get(k, self.rows[k]).pieces
        ]
        near = shapely.intersection(shapely.MultiLineString(lines), samples.rim)
        away = np.fmin(shapely.distance(samples.points, near), samples.away)
        driest = float(away.max()) if len(away) else 0.0
        tied = self._ties(state)
        blank = math.fsum(blank.length for row in state.values() for blank in row.blank())
        return (
            WEIGHT_DRY * max(driest / half - 1.0, 0.0)
            + WEIGHT_BARE * SAMPLE**2 * float((away > 1.01 * half).sum())
            + WEIGHT_BLANK * (blank + tied.blank) / self.ground.spacing
            + tied.cost
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Samples:
    """Points beside a zone, the ground they lie in, and how far they are from rows that the zone leaves alone."""

    points: NDArray[np.object_]
    rim: Polygon
    away: Array
    still: frozenset[int]


def _middle(zone: Polygon, ground: Ground) -> Point:
    """The point rows pass on one side or the other: a closed obstacle's centre, an open one's mouth."""
    if ground.outline.contains(zone):
        return zone.centroid
    mouth = zone.difference(ground.outline.convex_hull)
    return (zone.difference(ground.outline) if mouth.is_empty else mouth).centroid


def _blank_near(row: Carried, led: Carried, least: float) -> bool:
    """Whether a row's tubing comes too near the blank tubing of a row that was led round."""
    return any(shapely.dwithin(piece, blank, least) for piece in row.pieces for blank in led.blank())


def _blunt(zone: Polygon) -> float:
    """A radius that every outward corner of the zone has at least: that of the setback's own rounding."""
    inradius = float(shapely.maximum_inscribed_circle(zone).length)
    for share in (0.99, 0.75, 0.5, 0.35, 0.2, 0.1):
        radius = share * inradius
        opened = zone.buffer(-radius, quad_segs=16).buffer(radius, quad_segs=16)
        if not opened.is_empty and zone.difference(opened.buffer(0.02 * radius)).is_empty:
            return radius
    return 0.0


def _joined(*lines: LineString) -> LineString:
    """Lines that follow each other, as one."""
    points = [coordinates(lines[0]), *(coordinates(line)[1:] for line in lines[1:])]
    return LineString(np.vstack(points))
