"""What is staked, in walking order: the edge of the bed, runs out and back, manifolds, lines to the pump."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Point

from layout.model import (
    XY,
    Bed,
    Feature,
    Fitting,
    FittingKind,
    Join,
    Laying,
    Pipe,
    Plumbing,
    Run,
    Site,
    StakeKind,
    StakeRules,
    xy,
)
from layout.plane import TOLERANCE, Array, coordinates
from layout.stakes.along import marks_along
from layout.stakes.tape import Tape

BED_CORNER = math.radians(30.0)
"""The edge of the bed, but for what the tolerance hides, has a corner where it turns by more [rad]; a judgement."""
EDGE_OFF = 0.3
"""Where the edge of the bed is curved it leaves the chord from stake to stake by no more [m]; a judgement."""
JOG = 0.3
"""A bend of a line so near to where it ends, or to the wall of its tank, has no stake of its own [m]; a judgement."""
VALVES: frozenset[FittingKind] = frozenset({"zone valve", "air valve", "flush valve"})

_RANKS: tuple[StakeKind, ...] = (
    "baseline",
    "run end",
    "run",
    "blank",
    "bed corner",
    "bed edge",
    "manifold end",
    "valve",
    "bend",
    "riser",
    "line end",
)


@dataclass(frozen=True, slots=True)
class Place:
    """One point to be staked.

    Attributes
    ----------
    at : (x, y)
        As printed [m].
    kind : StakeKind
    says : str
        What it marks.
    run : str
        The run it stands on; empty elsewhere.
    station : float or None
        Along that run, rounded for the tape [m].
    """

    at: XY
    kind: StakeKind
    says: str
    run: str = ""
    station: float | None = None


def walk(site: Site, laying: Laying, plumbing: Plumbing, tape: Tape) -> list[Place]:
    """All places to be staked, each once, in walking order.

    Runs are taken row by row from left to right, each from the end that is nearer to the stake before; so are
    manifolds and lines.
    """
    runs = [coordinates(run.line)[0] for run in laying.runs[:1]]
    bed, rules = site.bed, site.stakeout
    walker = _Walker(tape, rules, several=len({pipe.zone for pipe in plumbing.manifolds}) > 1)
    walker.take(_edge(bed, rules, runs[0] if runs else None, tape))
    for row in _rows(laying):
        walker.take_pieces([walker.of_piece(piece) for piece in row])
    for pipe in plumbing.manifolds:
        walker.take_pieces([walker.of_manifold(pipe, plumbing)])
    leads = [item for item in plumbing.fittings if (item.kind, item.on) == ("elbow 90", "tubing")]
    walker.take(Place(walker.printed(item.at), "bend", f"lead elbow {item.of}") for item in leads)
    for pipe in plumbing.lines:
        walker.take_pieces([walker.of_line(pipe, plumbing, site.pump_house)])
    return walker.merged()


def _edge(bed: Bed, rules: StakeRules, near: Array | None, tape: Tape) -> Iterator[Place]:
    """Corners of the bed, and where its edge is curved stakes between, round it from nearest to where runs begin."""
    ring = coordinates(shapely.simplify(bed.outline, rules.tolerance).exterior)[:-1]
    step = np.diff(np.vstack((ring[-1:], ring, ring[:1])), axis=0)
    heading = step[:, 0] + 1j * step[:, 1]
    sharp = np.abs(np.angle(heading[1:] * heading[:-1].conj())) > BED_CORNER
    starts = np.flatnonzero(sharp) if sharp.any() else np.arange(len(ring))
    first = int(starts[0 if near is None else np.hypot(*(ring[starts] - near).T).argmin()])
    ring, sharp = np.roll(ring, -first, axis=0), np.roll(sharp, -first)
    around = np.vstack((ring, ring[:1]))
    ends = [*dict.fromkeys([0, *np.flatnonzero(sharp).tolist()]), len(ring)]
    corners, between = itertools.count(1), itertools.count(1)
    for begin, end in itertools.pairwise(ends):
        line = shapely.simplify(LineString(around[begin : end + 1]), max(EDGE_OFF, rules.tolerance))
        for number, (x, y) in enumerate(tape.printed(coordinates(line))[:-1]):
            if number == 0 and sharp[begin]:
                yield Place((float(x), float(y)), "bed corner", f"bed corner {next(corners)}")
            else:
                yield Place((float(x), float(y)), "bed edge", f"bed edge {next(between)}")


def _rows(laying: Laying) -> Iterator[list[Run | Join]]:
    """The pieces of each row along it, blank tubing behind the run that it leaves."""
    onward = {join.start: join for join in laying.carries}
    rows: dict[int, list[Run | Join]] = {}
    for run in laying.runs:
        pieces = rows.setdefault(run.row, [])
        pieces.append(run)
        if run.name in onward:
            pieces.append(onward[run.name])
    yield from rows.values()


def _one_of(places: Sequence[Place]) -> Place:
    """Make one place of several that coincide; a line need not say that it ends where something else stands."""
    if len(places) == 1:
        return places[0]
    first, *others = sorted(places, key=lambda place: _RANKS.index(place.kind))
    said = [first.says, *(place.says for place in others if place.kind != "line end")]
    return replace(first, says=" + ".join(dict.fromkeys(said)))


class _Walker:
    """Goes from place to place."""

    def __init__(self, tape: Tape, rules: StakeRules, *, several: bool) -> None:
        self.tape, self.rules, self.several = tape, rules, several
        self.places: list[Place] = []

    def take(self, places: Iterable[Place]) -> None:
        self.places += places

    def take_pieces(self, pieces: Sequence[list[Place]]) -> None:
        """Take pieces in line one after the other, from the nearer end of all."""
        there = [piece for piece in pieces if piece]
        if not there:
            return
        if self.places:
            here = self.places[-1].at
            if math.dist(here, there[-1][-1].at) < math.dist(here, there[0][0].at):
                there = [piece[::-1] for piece in there[::-1]]
        for piece in there:
            self.take(piece)

    def merged(self) -> list[Place]:
        """Each place once, where it is first come to, with all that it marks, what says most of the place first."""
        found: dict[tuple[int, int], list[Place]] = {}
        for place in self.places:
            key = (round(place.at[0] / self.tape.grain), round(place.at[1] / self.tape.grain))
            found.setdefault(key, []).append(place)
        return [_one_of(places) for places in found.values()]

    def printed(self, at: XY) -> XY:
        x, y = self.tape.printed(np.array([at]))[0]
        return float(x), float(y)

    def named(self, what: str, kind: str, zone: int) -> str:
        if not zone:
            return f"{kind} {what.replace('line', 'trunk', 1)}"
        return f"{f'Z{zone} ' if self.several else ''}{kind} {what}"

    def of_piece(self, piece: Run | Join) -> list[Place]:
        """Stakes along a run, or along blank tubing between two of them, whose ends are those of the runs."""
        rules, unit = self.rules, self.tape.frame.units.length
        line = coordinates(piece.line)
        marks = marks_along(line, interval=rules.interval, tolerance=rules.tolerance, tape=self.tape)
        places = []
        read = self.tape.read(marks.along).tolist()
        for number, (station, (x, y)) in enumerate(zip(read, marks.points.tolist(), strict=True)):
            at = (x, y)
            if isinstance(piece, Join):
                places.append(Place(at, "blank", f"blank {piece.start} to {piece.end}"))
            elif number == 0:
                places.append(Place(at, "run end", f"{piece.name} start", piece.name, station))
            elif number == len(marks.along) - 1:
                says = f"{piece.name} end {piece.length / unit:.2f}"
                places.append(Place(at, "run end", says, piece.name, station))
            else:
                says = f"{piece.name} {station / unit:.2f}{' curve' if marks.curved[number] else ''}"
                places.append(Place(at, "run", says, piece.name, station))
        return places[1:-1] if isinstance(piece, Join) else places

    def of_manifold(self, pipe: Pipe, plumbing: Plumbing) -> list[Place]:
        """Ends and bends of a manifold, the feet of its risers and its valves, along it."""
        found = [
            (station, Place(at, "manifold end" if end else "bend", self.named(what, pipe.kind, pipe.zone)))
            for station, at, end in self._bends(pipe.line)
            for what in (f"manifold {'end' if end else 'bend'}",)
        ]
        for riser in plumbing.risers:
            foot = Point(riser.line.coords[0])
            if plumbing.under(riser) is pipe:
                place = Place(self.printed((foot.x, foot.y)), "riser", f"riser {riser.lateral} {riser.kind}")
                found.append((pipe.line.project(foot), place))
        found += self._valves(pipe, plumbing)
        return [place for _, place in sorted(found, key=lambda pair: round(pair[0], 6))]

    def _valves(self, pipe: Pipe, plumbing: Plumbing) -> list[tuple[float, Place]]:
        """Stations and places of the valves on a pipe."""
        return [
            (pipe.line.project(Point(fitting.at)), self._valve(fitting))
            for fitting in plumbing.fittings
            if fitting.kind in VALVES and (fitting.on, fitting.zone) == (pipe.kind, pipe.zone)
            if pipe.line.distance(Point(fitting.at)) < TOLERANCE
        ]

    def _valve(self, fitting: Fitting) -> Place:
        return Place(self.printed(fitting.at), "valve", self.named(fitting.kind, fitting.on, fitting.zone))

    def of_line(self, pipe: Pipe, plumbing: Plumbing, house: Sequence[Feature]) -> list[Place]:
        """Ends, bends and valves of a line, along it; where it ends in a tank or a building, the place at its wall.

        Nobody leans in to drive a stake.
        """
        within = shapely.union_all([item.shape for item in house])
        tees = [item.at for item in plumbing.fittings if (item.kind, item.on) == ("trunk tee", pipe.kind)]

        def ending(at: XY) -> str:
            tee = any(math.dist(at, self.printed(other)) < TOLERANCE for other in tees)
            return f"{pipe.kind} trunk tee" if tee else self.named("line end", pipe.kind, pipe.zone)

        found = [
            (
                station,
                Place(
                    at,
                    "line end" if end else "bend",
                    ending(at) if end else self.named("line bend", pipe.kind, pipe.zone),
                ),
            )
            for station, at, end in self._bends(pipe.line)
            if not within.covers(pipe.line.interpolate(station))
        ]
        walls = Point() if within.is_empty else pipe.line.intersection(within.boundary)
        for at in shapely.get_coordinates(walls):
            whose = min(house, key=lambda item: float(item.shape.boundary.distance(Point(at))))
            named = self.named(f"line at the wall of {whose.name}", pipe.kind, pipe.zone)
            found.append(
                (pipe.line.project(Point(at)), Place(self.printed(xy(Point(at))), "line end", named))
            )
        tips = [station for station, place in found if place.kind == "line end"]
        found = [
            (station, place)
            for station, place in found
            if place.kind != "bend" or all(abs(station - tip) >= JOG for tip in tips)
        ]
        found += self._valves(pipe, plumbing)
        return [place for _, place in sorted(found, key=lambda pair: round(pair[0], 6))]

    def _bends(self, line: LineString) -> Iterator[tuple[float, XY, bool]]:
        """Stations and places of the points that a pipe cannot be laid without, and whether they are ends."""
        kept = coordinates(shapely.simplify(line, self.rules.tolerance))
        for number, (x, y) in enumerate(kept):
            yield (
                float(line.project(Point(x, y))),
                self.printed((float(x), float(y))),
                number in {0, len(kept) - 1},
            )
