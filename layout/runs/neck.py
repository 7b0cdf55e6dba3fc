"""One neck of a bed with the lines of tubing on its two sides: which pass it, which end before it, which lie beyond.

Left and right are as seen from the manifold end. The two *walls* of a neck are the stretches of the bed's edge that
lead from the ground before it along the neck and on round the lobe beyond.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import Dropped, Lobe, Run
from layout.plane import stretch
from layout.runs.leading import Round
from layout.runs.led import Led
from layout.runs.loops import LOOP_DETOUR, LOOP_REACH, Loops
from layout.runs.nearby import Nearby
from layout.runs.rings import MARGIN
from layout.runs.trim import CRUMB, GAP_SHARE, Ground
from layout.runs.windings import Chain, Strand

NEAR_ENOUGH = 0.9
"""Least distance from blank tubing to other tubing, in steps between rings: what easing may take from it."""
MOST_LINES = 8
"""Lines led along one wall of a neck, at most."""


def _beyond(lobes: Sequence[Lobe], number: int) -> set[int]:
    """Numbers of a lobe and of all lobes that are reached through it."""
    found = {number}
    for other, lobe in enumerate(lobes):  # each stands after the lobe before it
        if lobe.before in found:
            found.add(other)
    return found


@dataclass(slots=True)
class Found:
    """What was worked out in one try to lead lines through the necks of a bed, and serves other tries.

    Attributes
    ----------
    walls : dict
        Walls swung wide, by neck and stretch.
    bands : dict of (LineString, float) to BaseGeometry
        Ground within a distance of a wall [m].
    ways : dict
        Ways along a wall, by its wall, distance, hand and the two runs; None where there is none.
    """

    walls: dict[tuple[float, ...], LineString] = field(default_factory=dict)
    bands: dict[tuple[LineString, float], BaseGeometry] = field(default_factory=dict)
    ways: dict[tuple[LineString, float, int, LineString, LineString], Round | None] = field(
        default_factory=dict
    )


class Neck:
    """One neck with the lines on its two sides."""

    def __init__(
        self,
        led: Led,
        lobes: Sequence[Lobe],
        number: int,
        ground: Ground,
        found: Found,
        loops: Loops,
    ) -> None:
        self.found, self.loops = found, loops
        lobe = lobes[number]
        assert lobe.neck is not None, "only the first lobe has no neck"
        self.led, self.ground, self.across = led, ground, lobe.neck
        self.edge = LineString(shapely.orient_polygons(ground.outline).exterior.coords)
        self.ends = tuple(float(self.edge.project(Point(at))) for at in lobe.neck.coords)
        self.before, self.number, self.beyond = lobe.before, number, _beyond(lobes, number)
        self.outline, self.outline_before = lobe.outline, lobes[lobe.before].outline
        lines = self._parted(led.lines())
        self.tubing = shapely.STRtree([run.line for run in led.runs.values()])
        crossing = {line: self.crossings(line) for line in lines}
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
            and (self.before > 0 or led.runs[line[0]].from_end)
        ]
        places = [self.far.index(line) for line in self.through]
        self.inner = (min(places), max(places)) if places else None
        self.near = {
            hand: sorted(
                (line for line in here if self._hand_before(line) == hand),
                key=lambda line: self.wall_length(self.end(line), hand, beyond=False),
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
            if len(line) > 1 or self._brings(run) or beside is None or self.crossings(line) % 2 == 0:
                continue
            at = float(run.line.project(Point(runs[beside].line.coords[0])))
            gap = CRUMB * self.ground.spacing
            if at < gap or run.length - at < self.ground.least:
                continue  # too little lies beyond to be a run
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
            # what is wound to it in lobes further on is wound to the part that leads there
            self.led.windings = [
                tuple(name if wound == run.name else wound for wound in winding)
                for winding in self.led.windings
            ]
        return self.led.lines()

    def _brings(self, run: Run) -> bool:
        """Whether a line that begins with this run brings water to the neck."""
        if run.lobe in self.beyond:
            return False
        return run.from_end or (
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

    def crossings(self, line: Sequence[str]) -> int:
        """How often a line passes the neck."""
        tubing = [self.led.runs[name].line for name in line]
        tubing += [join.line for join in self.led.carries if join.start in line]
        crossed = shapely.intersection(np.asarray(tubing, dtype=object), self.across)
        return int(shapely.get_num_coordinates(crossed).sum())

    def start(self, line: Sequence[str]) -> Point:
        """Where a line begins [m]."""
        return Point(self.led.runs[line[0]].line.coords[0])

    def end(self, line: Sequence[str]) -> Point:
        """Where a line ends [m]."""
        return Point(self.led.runs[line[-1]].line.coords[-1])

    def wall_length(self, at: Point, hand: int, *, beyond: bool) -> float:
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

    def hand(self, place: int) -> int:
        """On which wall blank tubing to a far line would lie."""
        if self.inner is not None:
            return -1 if place < self.inner[0] else 1 if place > self.inner[1] else 0
        at = self.start(self.far[place])
        return -1 if self.wall_length(at, -1, beyond=True) <= self.wall_length(at, 1, beyond=True) else 1

    def _hand_before(self, line: Sequence[str]) -> int:
        """The same for a line that ends before the neck; 0 where its end does not stand at the edge."""
        at = self.end(line)
        if not self.at_edge(at):
            return 0
        left, right = (self.wall_length(at, hand, beyond=False) for hand in (-1, 1))
        hand = -1 if left <= right else 1
        if self.inner is not None:
            row = self.led.runs[line[-1]].row
            rows = [self.led.runs[passing[0]].row for passing in self.through]
            if (hand < 0 and row > min(rows)) or (hand > 0 and row < max(rows)):
                return 0
        return hand

    def at_edge(self, at: Point) -> bool:
        """Whether a tubing end stands at the bed's edge."""
        return float(self.edge.distance(at)) <= self.ground.clearance + self.ground.spacing

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

    def room(self, pitch: float) -> tuple[int, int]:
        """Lines a pitch [m] apart that fit through the neck along either wall, beside those that pass."""
        spare, share = self._spare(), NEAR_ENOUGH if pitch < self.ground.spacing else GAP_SHARE
        if spare is not None:
            left, right = (math.floor((free - share * pitch) / pitch + 1e-9) + 1 for free in spare)
        else:
            whole = math.floor(self._free() / (share * pitch)) + 1 if self._free() >= 0 else 0
            left, right = (whole + 1) // 2, whole // 2
        return (
            min(max(left, 0), len(self.near[-1]), MOST_LINES),
            min(max(right, 0), len(self.near[1]), MOST_LINES),
        )

    def pitch(self, left: int, right: int) -> dict[int, float]:
        """How far apart lines along either wall are led: as far as they may, a spacing at most [m]."""
        spare, most = self._spare(), self.ground.spacing
        if spare is None:
            pitch = min(self._free() / max(left + right - 1, 1), most)
            return {-1: pitch, 1: pitch}
        return {-1: min(spare[0] / max(left, 1), most), 1: min(spare[1] / max(right, 1), most)}

    @cached_property
    def strands(self) -> tuple[Strand, ...]:
        """The far lines, as chains see them."""
        inward = {line[0] for line in self.through}
        heads = {winding[0]: winding for winding in self.led.windings}
        nearest = {
            hand: (self.led.length(lines[0]), self.wall_length(self.end(lines[0]), hand, beyond=False))
            for hand, lines in self.near.items()
            if lines
        }
        strands = []
        for place, line in enumerate(self.far):
            through = line[0] in inward
            hand = 0 if through else self.hand(place)
            before, blank = 0.0, 0.0
            if not through:
                blank = math.inf
                if hand in nearest and self.at_edge(self.start(line)):
                    before, wall = nearest[hand]
                    blank = wall + self.wall_length(self.start(line), hand, beyond=True)
            following = self.far[place + 1] if place + 1 < len(self.far) else None
            winding = heads.get(line[0])
            tied = winding is not None and following is not None and winding[-1] == following[0]
            outer, inner = (
                None if following is None else self._tie(line, following, outer=end) for end in (True, False)
            )
            closed = self._closed(line)
            strands.append(
                Strand(
                    length=self.led.length(line) + (0.0 if closed is None else self._further(closed)),
                    before=before,
                    blank=blank,
                    through=through,
                    hand=hand,  # type: ignore[arg-type]
                    outer=outer is not None,
                    inner=inner is not None,
                    tied=tied,
                    closed=closed is not None,
                    outer_loop=self._further(winding) if tied and winding is not None else outer or 0.0,
                    inner_loop=inner or 0.0,
                )
            )
        return tuple(strands)

    def _closed(self, line: Sequence[str]) -> tuple[str, ...] | None:
        """The chain that a line's outer end is tied into, further on, and that does not come back to this lobe."""
        here = {other[0] for other in self.far}
        found = (
            winding
            for winding in self.led.windings
            if line[0] in winding and not {winding[0], winding[-1]} <= here
        )
        return next(found, None)

    def _further(self, winding: Sequence[str]) -> float:
        """Length of the lines of a chain that are not of this lobe, and about that of its loops [m]."""
        here = {other[0] for other in self.far}
        lines = [line for line in self.led.lines() if line[0] in winding and line[0] not in here]
        loops = (len(winding) - 1) * self.ground.spacing
        return math.fsum((*(self.led.length(line) for line in lines), loops))

    def _tie(self, one: Sequence[str], other: Sequence[str], *, outer: bool) -> float | None:
        """Length of a loop from the end of one line to that of the next [m]; None where none can be laid."""
        tip = -1 if outer else 0
        one_tip, other_tip = (self.led.runs[line[tip]].line for line in (one, other))
        ends = Point(one_tip.coords[tip]), Point(other_tip.coords[tip])
        # all tubing that a loop between them could come near
        reach = 2 * LOOP_DETOUR * max(ends[0].distance(ends[1]), LOOP_REACH * self.ground.spacing)
        near = self.tubing.geometries[
            self.tubing.query(LineString(ends), predicate="dwithin", distance=reach)
        ]
        loop = self.loops.between((one_tip, other_tip), (tip, tip), tubing=Nearby.of(near))
        return None if loop is None else float(loop.length)

    def carried(self, chains: Sequence[Chain], hand: int) -> list[int]:
        """Far lines that need blank tubing along one wall, the outermost first."""
        inward = {line[0] for line in self.through}
        found = []
        for chain in chains:
            gates = (chain.strands[0], chain.strands[-1]) if chain.back else chain.strands[:1]
            found += [k for k in gates if self.far[k][0] not in inward and self.hand(k) == hand]
        return sorted(found, key=lambda k: -self.wall_length(self.start(self.far[k]), hand, beyond=True))
