"""Which trench serves the end of a lateral, and which ends one manifold in it may serve."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from layout.manifolds.fronts import crosses, split, stretches, usual_spacing
from layout.manifolds.leads import Channels
from layout.manifolds.trench import (
    OUTWARD,
    STUB,
    Place,
    beside,
    clear_of,
    follows,
    side_of,
    span,
    stub_at,
    trench,
)
from layout.model import XY, Join, ManifoldRules, PipeKind, Pump, Run, Sides, xy
from layout.plane import TOLERANCE, Array, distances, pair, polygons_of

BEYOND: dict[PipeKind, int] = {"supply": 1, "return": 2}
"""How far beyond the run ends each manifold lies, in stated offsets: the supply first."""
BITTEN = 0.01
"""A run end nearer than this to a setback zone ends there because of it [m]."""
SIDE_REACH = 1.5
"""How much farther than a usual run end one may lie from an edge and still be served from along it [m]."""
LATERAL = 6.0
"""Rows of one lateral that its ends may lie apart, at most, to be seen as beside each other."""
ROUNDS = 3
"""How often leads are looked for: each may change the trench of others."""
TUBE = 0.1
"""How near to tubing a line may come in the bed [m]."""
BESIDE = 2.0
"""So far beyond the rows of a lateral a lead back may come out [row spacings]."""
PUT_OFF = 2.0
"""So near to a place that no line reaches no lead comes out either [row spacings]."""
OUTERMOST = 0.02
"""How far within the edge of the bed a lead ends that comes out between it and the outermost run [m]."""
RISER = 4.0
"""How much longer than the reach of an edge a riser may be, in stated offsets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tip:
    """One end of a lateral that wants a riser.

    Attributes
    ----------
    kind : "supply" or "return"
    lateral : str
    zone : int
    at : (x, y)
        The run end, or where its lead ends at the edge of the bed [m].
    place : Place
    row : int
    lead : tuple of (x, y)
        From there on to the run end [m]; empty without a lead.
    back : bool
        Whether a lead is to bring it from another edge of the bed to the manifold end.
    shut : (x, y) or None
        Where a manifold would stand that no line reaches, for a lead to bring it elsewhere [m].
    """

    kind: PipeKind
    lateral: str
    zone: int
    at: XY
    place: Place
    row: int
    lead: tuple[XY, ...] = ()
    back: bool = False
    shut: XY | None = None

    @property
    def end(self) -> XY:
        """The run end [m]."""
        return self.lead[-1] if self.lead else self.at


def groups(tips: Sequence[Tip]) -> Iterator[list[Tip]]:
    """Group ends that share a manifold: of one zone and kind, at one edge, if they lie beside each other."""
    order: list[tuple[PipeKind, Place]] = list(
        itertools.product(("supply", "return"), ("near", "far", "left", "right", "edge", "inside"))
    )
    for zone in sorted({tip.zone for tip in tips}):
        for kind, place in order:
            group = [tip for tip in tips if (tip.zone, tip.kind, tip.place) == (zone, kind, place)]
            if group:
                yield group


class Trenches:
    """The lines that manifolds are parts of, whatever the zone: for each kind and each front of run ends."""

    def __init__(
        self,
        tips: Sequence[Tip],
        runs: Sequence[Run],
        sides: Sides,
        rules: ManifoldRules,
        kept_clear: MultiPolygon,
        pump: Pump | None,
        outline: Polygon | None,
        *,
        reach: float,
        joins: Sequence[Join] = (),
    ) -> None:
        self._tips, self._sides, self._offset, self._reach = tips, sides, rules.offset, reach
        self._outline = outline
        self._toward = pump.at if pump else xy(sides.near.centroid)
        self._tubes = [run.line for run in runs] + [join.line for join in joins if join.kind != "loop"]
        self._loops = [join.line for join in joins if join.kind == "loop"]
        self._leads: list[LineString] = []
        self._tree = shapely.STRtree(self._tubes)
        self._starts = _starts(runs)
        self._spacing = usual_spacing(runs)
        edges = stretches(runs, outline, reach=reach, spacing=self._spacing) if outline else []
        ends = [tip.at for tip in tips]
        places = np.array(ends).reshape(-1, 2)
        self._edges = [
            (edge, [at for at, gap in zip(ends, distances(places, edge), strict=True) if gap <= reach])
            for edge in edges
        ]
        grown = kept_clear.buffer(rules.offset, quad_segs=64)
        self.clear: dict[PipeKind, MultiPolygon] = {
            "return": kept_clear,
            "supply": MultiPolygon(polygons_of(grown)),
        }
        self._within = kept_clear.buffer(-TOLERANCE)
        self._channels: dict[float, Channels] = {}
        lost = [Point(tip.shut) for tip in tips if tip.shut]
        self._off = unary_union(lost).buffer(PUT_OFF * self._spacing)
        self._fronts: dict[Place, list[Array]] = {}
        self._laid: dict[tuple[PipeKind, Place, int], LineString] = {}
        self._moved: set[int] = set()

    @property
    def apart(self) -> float:
        """How far apart along a trench run ends of one zone may begin that still belong together [m]."""
        return LATERAL * self._spacing

    def moved(self, laid: LineString) -> bool:
        """Whether a trench follows the edge of a setback zone somewhere."""
        return id(laid) in self._moved

    def settled(self) -> list[Tip]:
        """The ends of laterals, those too far from their trench put to another place at the edge, or to none.

        What no trench has near is led to the edge of the bed first, where that can be; and before that what is to come
        back to the manifold end.
        """
        led_back = [self._led(tip) if tip.back or tip.shut else tip for tip in self._tips]
        self._tips = tuple(replace(tip, back=tip.back and bool(tip.lead)) for tip in led_back)
        found = self._gathered([self._settled(tip) for tip in self._tips])
        for _ in range(ROUNDS):
            shut = self._shut_in(found)
            led = [
                self._led(tip) if closed and not tip.lead else tip
                for tip, closed in zip(found, shut, strict=True)
            ]
            if led == found:
                break
            self._tips = tuple(new if new.lead else tip for tip, new in zip(self._tips, led, strict=True))
            # Where leads end there are run ends to be served that no front knew of.
            self._fronts, self._laid, self._moved = {}, {}, set()
            found = self._gathered([self._settled(tip) for tip in self._tips])
        # A riser that passes through a setback is told; a manifold that no line reaches would be no help.
        found = [
            self._settled(tip, strict=False) if item.place == "inside" and not item.lead else item
            for item, tip in zip(found, self._tips, strict=True)
        ]
        return [replace(tip, at=tip.end, lead=()) if tip.place == "inside" else tip for tip in found]

    def _gathered(self, tips: Sequence[Tip]) -> list[Tip]:
        """Put ends of laterals at a setback on the trench along it that serves most of them."""
        count = Counter((tip.zone, tip.kind, tip.place) for tip in tips)
        gathered = []
        for tip in tips:
            own = count[tip.zone, tip.kind, tip.place]
            more = [place for place in OUTWARD if count[tip.zone, tip.kind, place] > own]
            kept = tip.place == "inside" or not more or not self.moved(self._of(tip))
            other = tip if kept else self._elsewhere(tip, more)
            gathered.append(tip if other.place == "inside" else other)
        return gathered

    def _shut_in(self, tips: Sequence[Tip]) -> list[bool]:
        """Whether no line could come near to the manifold of each end of a lateral."""
        shut = {number for number, tip in enumerate(tips) if tip.place == "inside"}
        number_of = {(tip.kind, tip.lateral): number for number, tip in enumerate(tips)}
        for group in groups([tip for tip in tips if tip.place != "inside"]):
            for laid, part in self.parts(group):
                feet = [float(laid.project(Point(tip.at))) for tip in part]
                ends = [laid.interpolate(foot) for foot in (min(feet), max(feet))]
                if not self.moved(laid) and all(self._enclosed(end) for end in ends):
                    shut |= {number_of[tip.kind, tip.lateral] for tip in part}
        return [number in shut for number in range(len(tips))]

    def _enclosed(self, end: Point) -> bool:
        """Whether tubing lies between a place in the bed and the edge nearest to it."""
        if self._outline is None or not self._outline.contains(end):
            return False
        way = shapely.shortest_line(end, self._outline.exterior)
        return bool(len(self._tree.query(way, predicate="dwithin", distance=TUBE)))

    def _led(self, tip: Tip) -> Tip:
        """Lead a run end to the edge of the bed: anywhere, or back to the manifold end."""
        if self._outline is None or not self._spacing:
            return tip
        usual = max(self._reach - SIDE_REACH, 0.0)
        lead = None
        # Where no line reaches it otherwise, a lead may come out beside the outermost run, too.
        for inset in (usual, min(usual, OUTERMOST)) if tip.shut else (usual,):
            channels = self._channels_to(inset)
            to, off = self._fed_from() if tip.back else None, self._off if tip.shut else None
            lead = lead or channels.lead(tip.at, to=to, off=off)
        if lead is None:
            return tip
        self._leads.append(lead)
        for channels in self._channels.values():
            channels.take(lead)
        x, y = lead.coords[-1][:2]
        end = Point(x, y)
        near = min(OUTWARD, key=lambda place: round(side_of(self._sides, place).distance(end), 3))
        here = near if side_of(self._sides, near).distance(end) <= self._reach else "edge"
        onward = tuple((float(a), float(b)) for a, b in shapely.get_coordinates(lead)[-2::-1])
        return replace(tip, at=(float(x), float(y)), place=here, lead=onward)

    def _channels_to(self, inset: float) -> Channels:
        """Where leads may lie that end so far within the edge of the bed."""
        assert self._outline is not None
        if inset not in self._channels:
            self._channels[inset] = Channels(
                [*self._tubes, *self._loops, *self._leads],
                self._outline,
                self.clear["return"],
                spacing=self._spacing,
                inset=inset,
                toward=self._toward,
            )
        return self._channels[inset]

    def _fed_from(self) -> BaseGeometry:
        """Where a lead back may come out: the manifold end, and beside laterals that begin elsewhere."""
        last = {tip.lateral: tip.row for tip in self._tips if tip.kind == "return"}
        beside = [
            Point(tip.at).buffer((abs(last.get(tip.lateral, tip.row) - tip.row) + BESIDE) * self._spacing)
            for tip in self._tips
            if tip.kind == "supply" and tip.place != "near"
        ]
        return unary_union([self._sides.near.buffer(self._reach), *beside])

    def _settled(self, tip: Tip, *, strict: bool = True) -> Tip:
        """Give the end of a lateral the place whose trench is near; strict, none that a setback lies before."""
        here = Point(tip.at)
        places: list[Place] = [tip.place]
        if tip.place != "edge" and self._outline and self._outline.exterior.distance(here) <= self._reach:
            # Where run ends do not follow a side, or sides are a convention only, they follow the edge itself.
            kept = self._sides.certain and tip.place in OUTWARD and self._follow(tip.place)
            own = tip.place == "near" or kept
            places = [tip.place, "edge"] if own else ["edge", tip.place]
        for place in places:
            if place == "inside" or (place == "edge" and not self._edges):
                continue
            tried = replace(tip, place=place)
            laid = self._of(tried)
            riser = LineString([xy(laid.interpolate(laid.project(here))), tip.at])
            shut = self.lies_across(riser) or (strict and self._within.intersects(riser))
            if riser.length <= self._reach + RISER * self._offset and not shut:
                return tried
        return self._elsewhere(tip, [place for place in OUTWARD if place not in places])

    def _elsewhere(self, tip: Tip, places: Sequence[Place]) -> Tip:
        """Put an end of a lateral on the nearest trench along a setback that a riser reaches, else to no place."""
        here = Point(tip.at)
        found: list[tuple[float, Tip]] = []
        for place in places:
            if not self._front(place):
                continue
            tried = replace(tip, place=place)
            laid = self._of(tried)
            riser = LineString([xy(laid.interpolate(laid.project(here))), tip.at])
            near = riser.length <= RISER * self._offset and not self._within.intersects(riser)
            if near and self.moved(laid) and not self.lies_across(riser):
                found.append((round(riser.length, 3), tried))
        return min(found, key=lambda item: item[0], default=(0.0, replace(tip, place="inside")))[1]

    def parts(self, group: Sequence[Tip]) -> Iterator[tuple[LineString, list[Tip]]]:
        """Part a group into those that one manifold may serve, each with the trench that it lies in."""
        if group[0].place == "inside":
            yield from ((self._stub(tip), [tip]) for tip in group)
            return
        shared: dict[int, list[Tip]] = {}
        for tip in group:
            shared.setdefault(self._front_of(tip), []).append(tip)
        for tips in shared.values():
            laid = self._of(tips[0])
            if laid.length < STUB:
                yield from ((self._stub(tip), [tip]) for tip in tips)
                continue
            for part in self._uncrossed(laid, tips):
                yield laid, part

    def _uncrossed(self, laid: LineString, tips: Sequence[Tip]) -> list[list[Tip]]:
        """Part ends of laterals where the trench between two of them would lie across runs; in their own order."""
        stations = sorted((float(laid.project(Point(tip.at))), number) for number, tip in enumerate(tips))
        parts = [[stations[0][1]]]
        for (before, _), (here, number) in itertools.pairwise(stations):
            piece = span(laid, before, here, None) if here - before > STUB / 2 else None
            if piece is not None and self.lies_across(piece):
                parts.append([])
            parts[-1].append(number)
        return [[tips[number] for number in sorted(part)] for part in parts]

    def lies_across(self, pipe: LineString) -> bool:
        """Whether a part of a manifold, or a riser, lies across tubing rather than under its ends."""
        return crosses(pipe, self._tubes, self._tree, offset=self._offset)

    def open_to(self, pipe: LineString, kind: PipeKind) -> bool:
        """Whether a part of a manifold lies across no tubing and in no setback."""
        return not self.lies_across(pipe) and not self.clear[kind].intersects(pipe)

    def _stub(self, tip: Tip) -> LineString:
        distance = BEYOND[tip.kind] * self._offset
        around = Point(tip.at).buffer(4 * distance + STUB)
        near = [self._tubes[number] for number in self._tree.query(around).tolist()]
        return stub_at(tip.at, self._toward, distance, self.clear["return"], near)

    def _front(self, place: Place) -> list[tuple[XY, int]]:
        """The run ends at an end or side of the bed, and their rows."""
        front = [(tip.at, tip.row) for tip in self._tips if tip.place == place]
        return list(dict.fromkeys((self._starts or front) if place == "near" else front))

    def _follow(self, place: Place) -> bool:
        return follows([at for at, _ in self._front(place)], side_of(self._sides, place))

    def _fronts_at(self, place: Place) -> list[Array]:
        """The run ends in parts that lie beside each other, shape (n, 2) each [m]."""
        if place not in self._fronts:
            front = self._front(place)
            parts = [front] if self._follow(place) else split(front, self._spacing)
            self._fronts[place] = [np.array([at for at, _ in part]) for part in parts]
        return self._fronts[place]

    def _front_of(self, tip: Tip) -> int:
        """The number of the part, or of the stretch of edge, that serves the end of a lateral."""
        here = Point(tip.at)
        if tip.place == "edge":
            gaps = [round(float(edge.distance(here)), 6) for edge, _ in self._edges]
        else:
            gaps = [float(np.hypot(*(front - tip.at).T).min()) for front in self._fronts_at(tip.place)]
        return gaps.index(min(gaps))

    def _of(self, tip: Tip) -> LineString:
        """Give the trench that serves the end of a lateral [m]."""
        part = self._front_of(tip)
        key = tip.kind, tip.place, part
        distance = BEYOND[tip.kind] * self._offset
        if key not in self._laid:
            if tip.place == "edge":
                edge, front = self._edges[part]
                gap = float(np.median(shapely.distance(shapely.points(front), edge))) if front else 0.0
                straight = beside(edge, -1.0, distance - gap)
                front = front or [tip.at]
            else:
                front = [pair(at) for at in self._fronts_at(tip.place)[part]]
                # Run ends cut short by a setback say nothing of where the others stand.
                away = distances(np.array(front), self.clear["return"])
                free = [at for at, gap in zip(front, away, strict=True) if gap > BITTEN]
                straight = trench(free or front, tip.place, self._sides, distance)
            self._laid[key] = clear_of(straight, self.clear[tip.kind], front)
            if self._laid[key] is not straight:
                self._moved.add(id(self._laid[key]))
        return self._laid[key]


def _starts(runs: Sequence[Run]) -> list[tuple[XY, int]]:
    """Where rows begin at the manifold end, from left to right: other laterals' loops lie there, too."""
    first = {run.row: run for run in reversed(runs)}
    return [(xy(Point(run.line.coords[0])), row) for row, run in sorted(first.items()) if run.from_end]
