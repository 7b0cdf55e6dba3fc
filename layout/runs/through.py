"""Leading water through the necks of a bed: rows that pass, blank tubing beside them, and chains of loops beyond.

Rows that pass a neck keep their emitters there. Beside them, along the two walls of the neck, as many lines of blank
tubing as fit are led on rings a quarter of a spacing apart, the outermost row on the ring next to the wall, so that
none crosses another. Rows beyond the neck that neither passes by itself are tied end to end into chains.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import Bed, Dropped, Join, Laying, Lobe, Pattern, Run, RunRules, Sides, Tubing, UsableGround
from layout.plane import Array, bend_radii, coordinates, lines_of, points_at, stations, stretch
from layout.runs import fronts, guides
from layout.runs.carry import MARGIN, MOST_BLANK, RING_STEP, _between, _clear_of, _way, _way_across
from layout.runs.trim import BEND_SHARE, CRUMB, GAP_SHARE, SWING_SLACK, Ground
from layout.runs.windings import Chain, Strand, best_chains

NEAR_ENOUGH = 0.9
"""Least distance from blank tubing to other tubing, in steps between rings: what easing may take from it."""
LOOP_REACH, LOOP_SHARE = 4.0, 0.3
"""A loop may be so many spacings long, or this share of the two lines it ties."""
MOST_CHOICES = 3
"""Necks up to which all choices between emitters in a neck and room for more lines are tried."""
LOOP_DETOUR = 2.0
"""A loop that follows the edge may be this × as long."""


@dataclass(slots=True)
class Led:
    """The runs of a bed by name, and what joins them; changed step by step.

    Attributes
    ----------
    runs : dict of str to Run
    carries : list of Join
    windings : list of tuple of str
        See :class:`layout.model.Laying`.
    dropped : list of Dropped
    """

    runs: dict[str, Run]
    carries: list[Join]
    windings: list[tuple[str, ...]] = field(default_factory=list)
    dropped: list[Dropped] = field(default_factory=list)

    def copy(self) -> Led:
        """One that can be changed without changing this."""
        return Led(dict(self.runs), list(self.carries), list(self.windings), list(self.dropped))

    def lines(self) -> list[tuple[str, ...]]:
        """Names of runs that blank tubing joins, each line in the order of flow."""
        onward = {join.start: join.end for join in self.carries}
        found = []
        for name in self.runs.keys() - set(onward.values()):
            line = [name]
            while line[-1] in onward:
                line.append(onward[line[-1]])
            found.append(tuple(line))
        return sorted(found, key=lambda line: list(self.runs).index(line[0]))

    def reached(self) -> set[str]:
        """Names of the runs that have water."""
        wound = {name for winding in self.windings for name in winding}
        return {name for line in self.lines() if self.runs[line[0]].fed or line[0] in wound for name in line}

    def length(self, line: Sequence[str]) -> float:
        """Of the runs and the blank tubing of a line [m]."""
        return math.fsum(
            (
                *(self.runs[name].length for name in line),
                *(join.line.length for join in self.carries if join.start in line),
            )
        )


def lead_through(led: Led, lobes: Sequence[Lobe], ground: Ground, *, longest: float) -> Led:
    """Feed the lobes beyond necks, from the farthest on.

    Parameters
    ----------
    led : Led
        As rows were laid, with what carries them past obstacles.
    lobes : sequence of Lobe
        In the axes of `ground`.
    ground : Ground
    longest : float
        Greatest length of a lateral [m].

    Returns
    -------
    Led
        Runs with their lobes; shorter than before where blank tubing takes their place.
    """
    shapes = [lobe.outline for lobe in lobes]
    led = led.copy()
    for name, run in led.runs.items():
        away = shapely.distance(np.asarray(shapes, dtype=object), Point(run.line.coords[0]))
        number = int(np.argmin(away))
        # of a bed without a long direction any edge is taken for a manifold end, but only the first lobe has one
        led.runs[name] = replace(run, lobe=number, fed=run.fed and number == 0)
    found: list[tuple[float, float, int, Led]] = []
    for eager in _choices(len(lobes) - 1):
        tried = led.copy()
        for number in range(len(lobes) - 1, 0, -1):
            tried = _Neck(tried, lobes, number, ground).fed(longest, eager=eager[number - 1])
        tried = _settled(tried)
        dry = math.fsum(tried.length((name,)) for name in tried.runs.keys() - tried.reached())
        emitting = math.fsum(run.length for run in tried.runs.values())
        found.append((round(dry, 3), -round(emitting, 3), len(found), tried))
        if dry <= 0:
            break
    return min(found, key=lambda option: option[:3])[3]


def _choices(necks: int) -> list[tuple[bool, ...]]:
    """For each neck, whether as many emitting lines as fit are led through it at once; all, then fewer, then none."""
    if necks > MOST_CHOICES:
        return [(True,) * necks, (False,) * necks]
    return sorted(itertools.product((True, False), repeat=necks), key=lambda eager: -sum(eager))


def _settled(led: Led) -> Led:
    """Lines with water told apart from those without, and windings only of those with."""
    fed = {line[0] for line in led.lines() if led.runs[line[0]].fed}
    for line in led.lines():
        for name in line:
            led.runs[name] = replace(led.runs[name], fed=line[0] in fed)
    led.windings = [winding for winding in led.windings if winding[0] in fed]
    return led


def _beyond(lobes: Sequence[Lobe], number: int) -> set[int]:
    """Numbers of a lobe and of all lobes that are reached through it."""
    found = {number}
    for other, lobe in enumerate(lobes):  # each stands after the lobe before it
        if lobe.before in found:
            found.add(other)
    return found


class _Neck:
    """One neck with the lines on its two sides."""

    def __init__(self, led: Led, lobes: Sequence[Lobe], number: int, ground: Ground) -> None:
        lobe = lobes[number]
        assert lobe.neck is not None, "only the first lobe has no neck"
        self.led, self.ground, self.across = led, ground, lobe.neck
        self.edge = LineString(shapely.orient_polygons(ground.outline).exterior.coords)
        self.ends = tuple(float(self.edge.project(Point(at))) for at in lobe.neck.coords)
        self.before, self.number, self.beyond = lobe.before, number, _beyond(lobes, number)
        self.outline, self.outline_before = lobe.outline, lobes[lobe.before].outline
        lines = self._parted(led.lines())
        crossing = {line: self._crossings(line) for line in lines}
        self.through = [line for line in lines if crossing[line] % 2 and self._passes(line)]
        beyond = [
            line
            for line in lines
            if line not in self.through
            and (led.runs[line[0]].lobe == number or crossing[line] % 2)
            and self._within(line, self.outline) >= ground.shortest
        ]
        taken = {led.runs[line[0]].row for line in self.through}
        beyond.sort(key=lambda line: led.runs[line[0]].lobe != number)
        first = {led.runs[line[0]].row: line for line in reversed(beyond)}  # of a row the first piece there
        far = [*self.through, *(line for row, line in first.items() if row not in taken)]
        self.far = sorted(far, key=lambda line: (led.runs[line[0]].row, lines.index(line)))
        here = [
            line
            for line in lines
            if not crossing[line]
            and led.runs[line[-1]].lobe == self.before
            and (self.before > 0 or led.runs[line[0]].fed)
        ]
        places = [self.far.index(line) for line in self.through]
        self.inner = (min(places), max(places)) if places else None
        self.near = {
            hand: sorted(
                (line for line in here if self._hand_before(line) == hand),
                key=lambda line: self._wall_length(self._end(line), hand, beyond=False),
            )
            for hand in (-1, 1)
        }

    def _parted(self, lines: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
        """Lines without water that begin within the neck, parted where the lobe begins: by the row beside them."""
        runs = self.led.runs
        inside = {runs[line[0]].row: line[0] for line in reversed(lines) if runs[line[0]].lobe == self.number}
        for line in lines:
            run = runs[line[0]]
            beside = inside.get(run.row + 1) or inside.get(run.row - 1)
            if len(line) > 1 or self._brings(run) or beside is None or self._crossings(line) % 2 == 0:
                continue
            at = float(run.line.project(Point(runs[beside].line.coords[0])))
            gap = CRUMB * self.ground.spacing
            if min(at, run.length - at) < gap:
                continue
            here, there = stretch(run.line, 0.0, at - gap), stretch(run.line, at, run.length)
            name = f"{run.name} beyond"
            parts = {name: replace(run, name=name, line=there, lobe=self.number)}
            if here.length >= self.ground.least:
                parts = {run.name: replace(run, line=here), **parts}
            else:
                why = "water does not reach it in a neck"
                self.led.dropped.append(Dropped(line=here, row=run.row, why=why))
            items = [
                item for other in runs.items() for item in (parts.items() if other[1] is run else [other])
            ]
            self.led.runs = runs = dict(items)
        return self.led.lines()

    def _brings(self, run: Run) -> bool:
        """Whether a line that begins with this run brings water to the neck."""
        if run.lobe in self.beyond:
            return False
        return run.fed or (
            run.lobe > 0 and self._within((run.name,), self.outline_before) >= self.ground.shortest
        )

    def _passes(self, line: Sequence[str]) -> bool:
        """Whether a line brings water through the neck and far enough to be of use there."""
        return (
            self._brings(self.led.runs[line[0]]) and self._within(line, self.outline) >= self.ground.shortest
        )

    def _within(self, line: Sequence[str], outline: Polygon) -> float:
        """Length of the runs of a line in a lobe [m]."""
        runs = np.asarray([self.led.runs[name].line for name in line], dtype=object)
        return float(shapely.length(shapely.intersection(runs, outline)).sum())

    # --- where things stand -----------------------------------------------------------------------------

    def _crossings(self, line: Sequence[str]) -> int:
        """How often a line passes the neck."""
        tubing = [self.led.runs[name].line for name in line]
        tubing += [join.line for join in self.led.carries if join.start in line]
        crossed = shapely.intersection(np.asarray(tubing, dtype=object), self.across)
        return int(shapely.get_num_coordinates(crossed).sum())

    def _start(self, line: Sequence[str]) -> Point:
        return Point(self.led.runs[line[0]].line.coords[0])

    def _end(self, line: Sequence[str]) -> Point:
        return Point(self.led.runs[line[-1]].line.coords[-1])

    def _wall_length(self, at: Point, hand: int, *, beyond: bool) -> float:
        """Length of a wall from the neck's narrowest place to the point of it nearest to a tubing end [m].

        Below 0 where that point lies on the other side of the neck.
        """
        station, whole = float(self.edge.project(at)), float(self.edge.length)
        # the edge is walked counter-clockwise: up the right wall, and down the left one
        along = self.ends[0] - station if hand < 0 else station - self.ends[1]
        ahead = (self.ends[0] - self.ends[1]) % whole  # of the edge of all that lies beyond
        along = (along if beyond else -along) % whole
        limit = ahead if beyond else whole - ahead
        return along if along <= limit else along - whole

    def _hand(self, place: int) -> int:
        """On which wall blank tubing to a far line would lie."""
        if self.inner is not None:
            return -1 if place < self.inner[0] else 1 if place > self.inner[1] else 0
        at = self._start(self.far[place])
        return -1 if self._wall_length(at, -1, beyond=True) <= self._wall_length(at, 1, beyond=True) else 1

    def _hand_before(self, line: Sequence[str]) -> int:
        """The same for a line that ends before the neck; 0 where its end does not stand at the edge."""
        at = self._end(line)
        if not self._at_edge(at):
            return 0
        left, right = (self._wall_length(at, hand, beyond=False) for hand in (-1, 1))
        hand = -1 if left <= right else 1
        if self.inner is not None:
            row = self.led.runs[line[-1]].row
            rows = [self.led.runs[passing[0]].row for passing in self.through]
            if (hand < 0 and row > min(rows)) or (hand > 0 and row < max(rows)):
                return 0
        return hand

    def _at_edge(self, at: Point) -> bool:
        return float(self.edge.distance(at)) <= self.ground.clearance + self.ground.spacing

    # --- choosing ---------------------------------------------------------------------------------------

    def fed(self, longest: float, *, eager: bool) -> Led:
        """The lines with as many of this lobe fed as can be; eager, with emitters in the neck first of all."""
        if not self.far:
            return self.led
        if eager:
            led, dry = self._chained(self._room(self.ground.spacing), longest, eager=True)
            if not dry:
                return led
        other, drier = self._chained(self._room(RING_STEP * self.ground.spacing), longest, eager=False)
        return led if eager and dry <= drier < len(self.far) else other

    def _chained(self, room: tuple[int, int], longest: float, *, eager: bool) -> tuple[Led, int]:
        """Lines in the best chains that can be laid, and how many stay without water.

        Where blank tubing along a wall cannot be laid, it is tried with one line less.
        """
        left, right = room
        most_blank = 1.0 if eager else MOST_BLANK  # in the neck itself such lines have emitters
        while True:
            chains = best_chains(
                self._strands(), room=(left, right), longest=longest, most_blank=most_blank, eager=eager
            )
            carried = {hand: self._carried(chains, hand) for hand in (-1, 1)}
            led = self.led.copy()
            pitch = self._pitch(len(carried[-1]), len(carried[1]))
            laid = [hand for hand in (-1, 1) if carried[hand]]
            failed = [hand for hand in laid if not self._lead(led, carried[hand], hand, pitch[hand])]
            if not failed and self._loops_clear(led, chains):
                break
            failed = failed or laid
            left = len(carried[-1]) - 1 if -1 in failed else left
            right = len(carried[1]) - 1 if 1 in failed else right
            if not failed:
                break
        self._wind(led, chains)
        return led, len(self.far) - sum(len(chain.strands) for chain in chains)

    def _spare(self) -> tuple[float, float] | None:
        """Width of the neck from the place of a first line beside either wall to the lines that pass [m]."""
        first = self.ground.clearance + MARGIN * self.ground.spacing
        passing = [
            float(self.across.project(Point(at)))
            for line in self.through
            for name in line
            for at in shapely.get_coordinates(shapely.intersection(self.led.runs[name].line, self.across))
        ]
        return (min(passing) - first, self.across.length - max(passing) - first) if passing else None

    def _free(self) -> float:
        """Width of the neck between lines along both its walls [m]."""
        return self.across.length - 2 * (self.ground.clearance + MARGIN * self.ground.spacing)

    def _room(self, pitch: float) -> tuple[int, int]:
        """Lines a pitch apart that fit through the neck along either wall, beside those that pass."""
        spare, share = self._spare(), NEAR_ENOUGH if pitch < self.ground.spacing else GAP_SHARE
        if spare is not None:
            left, right = (math.floor((free - share * pitch) / pitch + 1e-9) + 1 for free in spare)
        else:
            whole = math.floor(self._free() / (share * pitch)) + 1 if self._free() >= 0 else 0
            left, right = (whole + 1) // 2, whole // 2
        return min(max(left, 0), len(self.near[-1])), min(max(right, 0), len(self.near[1]))

    def _pitch(self, left: int, right: int) -> dict[int, float]:
        """How far apart lines along either wall are led: as far as they may, a spacing at most [m]."""
        spare, most = self._spare(), self.ground.spacing
        if spare is None:
            pitch = min(self._free() / max(left + right - 1, 1), most)
            return {-1: pitch, 1: pitch}
        return {-1: min(spare[0] / max(left, 1), most), 1: min(spare[1] / max(right, 1), most)}

    def _strands(self) -> list[Strand]:
        inward = {line[0] for line in self.through}
        heads = {winding[0]: winding for winding in self.led.windings}
        nearest = {
            hand: (self.led.length(lines[0]), self._wall_length(self._end(lines[0]), hand, beyond=False))
            for hand, lines in self.near.items()
            if lines
        }
        strands = []
        for place, line in enumerate(self.far):
            through = line[0] in inward
            hand = 0 if through else self._hand(place)
            before, blank = 0.0, 0.0
            if not through:
                blank = math.inf
                if hand in nearest and self._at_edge(self._start(line)):
                    before, wall = nearest[hand]
                    blank = wall + self._wall_length(self._start(line), hand, beyond=True)
            following = self.far[place + 1] if place + 1 < len(self.far) else None
            winding = heads.get(line[0])
            strands.append(
                Strand(
                    length=self.led.length(line),
                    before=before,
                    blank=blank,
                    through=through,
                    hand=hand,  # type: ignore[arg-type]
                    outer=following is not None and self._tie(line, following, outer=True),
                    inner=following is not None and self._tie(line, following, outer=False),
                    tied=winding is not None and following is not None and winding[-1] == following[0],
                    closed=self._closed(line),
                )
            )
        return strands

    def _closed(self, line: Sequence[str]) -> bool:
        """Whether a line's outer end is tied, further on, into a chain that does not come back to this lobe."""
        here = {other[0] for other in self.far}
        return any(
            line[0] in winding and not {winding[0], winding[-1]} <= here for winding in self.led.windings
        )

    def _tie(self, one: Sequence[str], other: Sequence[str], *, outer: bool) -> bool:
        """Whether a loop could reach from the end of one line to that of the next."""
        ends = (self._end(one), self._end(other)) if outer else (self._start(one), self._start(other))
        tips = [self.led.runs[line[-1 if outer else 0]].line for line in (one, other)]
        reach, loop = LOOP_REACH * self.ground.spacing, LineString(ends)
        if min(tips[0].distance(ends[1]), tips[1].distance(ends[0])) <= reach:
            reach = max(reach, LOOP_SHARE * (tips[0].length + tips[1].length))
        if not 0 < loop.length <= reach:
            return False
        if not self.ground.limits.covers(loop):
            round_ = abs(self.edge.project(ends[0]) - self.edge.project(ends[1]))
            if min(round_, self.edge.length - round_) > LOOP_DETOUR * reach:
                return False
        inner = stretch(loop, 1e-3 * loop.length, (1 - 1e-3) * loop.length)
        return not any(run.line.intersects(inner) for run in self.led.runs.values())

    def _carried(self, chains: Sequence[Chain], hand: int) -> list[int]:
        """Far lines that need blank tubing along one wall, the outermost first."""
        inward = {line[0] for line in self.through}
        found = []
        for chain in chains:
            gates = (chain.strands[0], chain.strands[-1]) if chain.back else chain.strands[:1]
            found += [k for k in gates if self.far[k][0] not in inward and self._hand(k) == hand]
        return sorted(found, key=lambda k: -self._wall_length(self._start(self.far[k]), hand, beyond=True))

    # --- laying -----------------------------------------------------------------------------------------

    def _lead(self, led: Led, carried: Sequence[int], hand: int, pitch: float) -> bool:
        """Lay the blank tubing along one wall; False where it cannot be."""
        near = self.near[hand][: len(carried)][::-1]  # outermost first, as the far lines
        guide = self._wall(self._end(near[0]), self._start(self.far[carried[0]]), hand)
        made = []
        for ring_number, (before, place) in enumerate(zip(near, carried, strict=True)):
            after = self.far[place]
            distance = self.ground.clearance + MARGIN * self.ground.spacing + ring_number * pitch
            band = fronts.grown(guide, distance, radius=self.ground.radius, bed=self.ground.outline)
            join = self._blank(led, before[-1], after[0], band, hand)
            if join is None:
                return False
            made.append(join)
        led.carries += made
        if not self._made_room(led, made):
            return False
        for join in made:
            self._let_emit(led, join)
        return True

    def _wall(self, near: Point, far: Point, hand: int) -> LineString:
        """The wall along the neck from beside one tubing end to beside another and a little further, swung wide."""
        ground, whole = self.ground, float(self.edge.length)
        more = 4 * ground.radius + 2 * ground.spacing
        back = self._wall_length(near, hand, beyond=False) + more
        on = self._wall_length(far, hand, beyond=True) + more
        if hand < 0:
            walk = _between(self.edge, (self.ends[0] - on) % whole, (self.ends[0] + back) % whole).reverse()
        else:
            walk = _between(self.edge, (self.ends[1] - back) % whole, (self.ends[1] + on) % whole)
        return guides.swung_wide(
            walk,
            side=float(hand),
            radius=ground.radius - ground.clearance,
            slack=SWING_SLACK * ground.spacing,
        )

    def _blank(self, led: Led, before: str, after: str, band: BaseGeometry, hand: int) -> Join | None:
        """Cut two runs back to a ring and join them along it."""
        if not isinstance(band, Polygon):
            return None
        ring = Polygon(band.exterior)
        start = _clear_of(led.runs[before].line, ring, last=True)
        end = _clear_of(led.runs[after].line, ring, last=False)
        if start is None or end is None:
            return None
        off = max(float(ring.distance(Point(tip))) for tip in (start.coords[-1], end.coords[0]))
        for lead in (_way, _way_across) if off < 1e-6 * self.ground.spacing else (_way_across,):
            way = lead(start, end, ring, float(hand), self.ground)
            if way is not None and self._lawful(*way):
                break
        else:
            return None
        first, blank, last = way
        led.runs[before] = replace(led.runs[before], line=first)
        led.runs[after] = replace(led.runs[after], line=last)
        return Join(kind="blank", start=before, end=after, line=blank)

    def _lawful(self, first: LineString, blank: LineString, last: LineString) -> bool:
        """Whether two runs and the blank tubing between them keep to the laws."""
        ground, radius = self.ground, self.ground.radius
        if min(first.length, last.length) < ground.shortest or not ground.limits.buffer(1e-6).covers(blank):
            return False
        whole = LineString(np.vstack([coordinates(part) for part in (first, blank, last)]))
        if not whole.is_simple:
            return False
        return radius <= 0 or _bends_enough(coordinates(whole), radius)

    def _made_room(self, led: Led, made: Sequence[Join]) -> bool:
        """Cut the ends of other runs back from new blank tubing; False where more than ends would have to go."""
        step = RING_STEP * self.ground.spacing
        joined = {name for join in led.carries for name in (join.start, join.end)}
        passing = {name for line in self.through for name in line}
        needed = {name for line in self.far for name in line}
        for join in made:
            others = [other.line for other in led.carries if other is not join]
            if any(shapely.dwithin(join.line, other, NEAR_ENOUGH * step) for other in others):
                return False
            keep = join.line.buffer(step, quad_segs=16)
            for name, run in list(led.runs.items()):
                near = float(run.line.distance(join.line))
                if name in {join.start, join.end} or near >= NEAR_ENOUGH * step:
                    continue
                if name in joined or name in passing:
                    return False
                kept = self._cut_back(run, keep)
                if kept is None and (run.fed or name in needed):
                    return False
                gone = run.line if kept is None else run.line.difference(kept.buffer(1e-9))
                for cut in lines_of(gone):
                    if cut.length > CRUMB * self.ground.spacing:
                        why = "makes room for blank tubing through a neck"
                        led.dropped.append(Dropped(line=cut, row=run.row, why=why))
                if kept is None:
                    del led.runs[name]
                else:
                    led.runs[name] = replace(run, line=kept)
        return True

    def _let_emit(self, led: Led, join: Join) -> None:
        """Give blank tubing emitters where it is as far from all runs as a run beside them."""
        ground, gap = self.ground, GAP_SHARE * self.ground.closest
        along = np.linspace(0.0, join.line.length, max(math.ceil(8 * join.line.length / ground.spacing), 2))
        points = shapely.line_interpolate_point(join.line, along)
        runs = shapely.MultiLineString([run.line for run in led.runs.values()])
        free = np.flatnonzero(np.diff(np.concatenate(([0], shapely.distance(points, runs) > gap, [0]))))
        spans = [(along[a], along[b - 1]) for a, b in zip(free[::2], free[1::2], strict=True)]
        start, end = max(spans, key=lambda span: span[1] - span[0], default=(0.0, 0.0))
        if end - start < ground.least or not 0 < start < end < join.line.length:
            return
        line = stretch(join.line, start, end)
        if float(line.distance(runs)) < GAP_SHARE * ground.closest:
            return
        name = f"{join.start} to {join.end}"
        run = Run(name=name, line=line, row=led.runs[join.end].row, fed=False, lobe=self.before)
        before, after = stretch(join.line, 0.0, start), stretch(join.line, end, join.line.length)
        at = led.carries.index(join)
        led.carries[at : at + 1] = [
            replace(join, end=name, line=before),
            replace(join, start=name, line=after),
        ]
        items = list(led.runs.items())
        place = list(led.runs).index(join.end)
        led.runs = dict([*items[:place], (name, run), *items[place:]])
        led.dropped = [
            replace(piece, line=left)
            for piece in led.dropped
            for left in lines_of(piece.line.difference(line.buffer(ground.spacing / 4)))
        ]

    def _cut_back(self, run: Run, keep: BaseGeometry) -> LineString | None:
        """The longest part of a run outside some ground, in its direction; None where it is too short to stay."""
        parts = lines_of(run.line.difference(keep))
        longest = max(parts, key=lambda part: part.length, default=None)
        if longest is None or longest.length < self.ground.least:
            return None
        first, last = (float(run.line.project(Point(longest.coords[tip]))) for tip in (0, -1))
        return stretch(run.line, min(first, last), max(first, last))

    def _loops_clear(self, led: Led, chains: Sequence[Chain]) -> bool:
        """Whether loops between neighbours at the neck keep off the blank tubing."""
        tree = shapely.STRtree([join.line for join in led.carries])
        for chain in chains:
            for here, there in zip(chain.strands[1:-1:2], chain.strands[2::2], strict=False):
                ends = [led.runs[self.far[k][0]].line.coords[0] for k in (here, there)]
                if len(tree.query(LineString(ends), predicate="intersects")):
                    return False
        return True

    def _wind(self, led: Led, chains: Sequence[Chain]) -> None:
        """Write chains down as windings; what leads on into further lobes is put in where it belongs."""
        inward = {line[0] for line in self.through}
        for chain in chains:
            if all(self.far[k][0] in inward for k in chain.strands):
                continue  # these are joined as any neighbours are
            names: list[str] = []
            for k in chain.strands:
                name = self.far[k][0]
                if name in names:
                    continue
                inner = next((winding for winding in led.windings if name in (winding[0], winding[-1])), None)
                if inner is None:
                    names.append(name)
                else:
                    led.windings.remove(inner)
                    names += inner if inner[0] == name else inner[::-1]
            if len(names) > 1:
                led.windings.append(tuple(names))
        back = {join.end: join.start for join in led.carries}
        led.windings = [tuple(_head(name, back) for name in winding) for winding in led.windings]


def _bends_enough(line: Array, radius: float) -> bool:
    """Whether a line bends no tighter than a radius, by the circle through three points and by its turning."""
    arm = radius / 4
    radii, _ = bend_radii(line, arm=arm)
    if len(radii) and float(radii.min()) < BEND_SHARE * radius:
        return False
    along = np.arange(0.0, stations(line)[-1], arm / 5)
    if len(along) < 12:
        return True
    step = points_at(line, along[5:]) - points_at(line, along[:-5])
    angle = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    return all(
        len(angle) <= over
        or float(np.abs(angle[over:] - angle[:-over]).max()) <= over * arm / 5 / (BEND_SHARE * radius)
        for over in (10, 20)
    )


def _head(name: str, back: Mapping[str, str]) -> str:
    """The first run of the line that a run is part of."""
    while name in back:
        name = back[name]
    return name


def feed_lobes(
    laying: Laying,
    lobes: Sequence[Lobe],
    bed: Bed,
    ground: UsableGround,
    sides: Sides,
    rules: RunRules,
    tubing: Tubing,
    *,
    longest: float,
) -> Laying:
    """Lead water to the runs beyond the necks of a bed.

    Parameters
    ----------
    laying : Laying
        As :func:`layout.runs.lay_runs` gives it.
    lobes : sequence of Lobe
        None for a bed without necks, which stays as it is.
    bed, ground, sides, rules, tubing
        What it was laid by.
    longest : float
        Greatest length of a lateral [m].

    Returns
    -------
    Laying
        With blank tubing through necks among the carries, and windings; its runs are named anew.
    """
    if not lobes or not laying.runs:
        return laying
    cut = Ground(
        outline=Polygon(bed.outline.exterior),
        sides=sides,
        clearance=bed.clearance,
        spacing=rules.spacing,
        closest=rules.closest if laying.pattern is Pattern.EVEN else rules.spacing,
        radius=tubing.bend_radius,
        shortest=rules.shortest,
        kept_clear=ground.kept_clear,
    )
    led = Led({run.name: run for run in laying.runs}, list(laying.carries))
    led = lead_through(led, lobes, cut, longest=longest)
    named = {name: f"R{number}" for number, name in enumerate(led.runs, start=1)}
    place = {name: number for number, name in enumerate(named.values())}
    carries = [replace(join, start=named[join.start], end=named[join.end]) for join in led.carries]
    windings = [tuple(named[name] for name in winding) for winding in led.windings]
    return Laying(
        pattern=laying.pattern,
        runs=tuple(replace(run, name=named[run.name]) for run in led.runs.values()),
        dropped=(*laying.dropped, *led.dropped),
        carries=tuple(sorted(carries, key=lambda join: place[join.start])),
        lobes=tuple(lobes),
        windings=tuple(sorted(windings, key=lambda winding: place[winding[0]])),
    )
