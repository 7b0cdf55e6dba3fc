"""From a finished design to the network of one zone: pipes with their lengths, bores and fittings, emitters, levels.

Water goes from the pump through the zone's supply lines and manifolds, risers, runs and loops to the return manifolds.
With the return open it goes on through the return lines to one valve at the pump tank, and ends at the liquid's level.
Flush valves at the manifolds, that open on a shared trunk, take as much as that one would: what they take is off the
heads before them alike, wherever along the way it is taken; only what a gauge reads before and behind them differs.
Pipe and tubing are taken to lie at one depth below the ground.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from shapely import Point

from layout.hydraulics.laws import EmitterLaw, PumpCurve
from layout.hydraulics.losses import FITTING_LOSSES
from layout.hydraulics.solve import Network, Numbers, Solution
from layout.hydraulics.water import kinematic_viscosity
from layout.model import XY, Design, Join, Pipe, PipeKind, Plumbing, Riser, Run, Zone, need
from layout.pipes import bore
from layout.plane import TOLERANCE, Array, coordinates, points_at
from layout.units import WATER_HEAD_PER_PASCAL

Heights = Callable[[Array], Array]
FLATTEST = 0.02
"""Least exponent that an emitter's law is taken with: one of 0 would give its flow at no pressure at all."""
SHORTEST = TOLERANCE
"""Length taken for what is shorter [m]: an emitter at the very end of a run."""
BY_SIDE = FITTING_LOSSES["tee, to or from the side"]
STRAIGHT = FITTING_LOSSES["tee, straight on"]


@dataclass(frozen=True, eq=False, kw_only=True)
class ZoneNetwork:
    """The network of a zone, and where in it things are.

    Attributes
    ----------
    network : Network
        Fed at a head held at `source`, without a pump.
    source, tank : int
        Where the pump gives its water, and the node it takes it from.
    valve : int or None
        The end of the return before its valve, with a head held; None where it is shut.
    rows : tuple of (str, Numbers)
        By run in the order of the design's emitters: the place of each among the network's emitters.
    ends : tuple of (str, int)
        Laterals, and the pipe at the end of each.
    bore : float
        Of tubing [m].
    return_bore : float
        [m].
    points : (n, 2) array or None
        Where the nodes are [m]; None of a network made by hand.
    feeds : tuple of int
        Where return manifolds with their flush valves meet the trunk; empty where valves stand by the pump or are shut.
    behind : tuple of int
        The pipe that leads on from each of these valves, which begins there.
    """

    network: Network
    source: int
    tank: int
    valve: int | None
    rows: tuple[tuple[str, Numbers], ...]
    ends: tuple[tuple[str, int], ...]
    bore: float
    return_bore: float
    points: Array | None = None
    feeds: tuple[int, ...] = ()
    behind: tuple[int, ...] = ()

    def fed_at(self, head: float) -> Network:
        """With a head held where the pump gives its water [m]."""
        return self._held(self.source, head)

    def backed_by(self, head: float) -> ZoneNetwork:
        """With a head held before the flush valve [m]."""
        need(self.valve is not None, "a return that is shut has no valve to set")
        return replace(self, network=self._held(self.valve or 0, head))

    def pumped(self, curve: PumpCurve) -> Network:
        """Fed by a pump."""
        fed = self._held(self.source, math.nan)
        return replace(fed, pump=(self.tank, self.source), curve=curve)

    def _held(self, node: int, head: float) -> Network:
        fixed = self.network.fixed.copy()
        fixed[node] = head
        return replace(self.network, fixed=fixed)

    def given(self, solution: Solution) -> float:
        """Flow from the pump [m³/s]."""
        out = self.network.starts == self.source
        back = self.network.ends == self.source
        return float(solution.flows[out].sum() - solution.flows[back].sum())

    def pressures(self, solution: Solution) -> Array:
        """Head over the level of each emitter [m]."""
        nodes = self.network.emitters
        return np.asarray(solution.heads[nodes] - self.network.levels[nodes])

    def velocities(self, solution: Solution) -> Array:
        """Velocity at the end of each lateral towards the return [m/s]."""
        pipes = [pipe for _, pipe in self.ends]
        return np.asarray(solution.flows[pipes] / (math.pi / 4.0 * self.bore**2))


def emitter_law(design: Design) -> EmitterLaw:
    """How the stated emitter gives water over the head at it."""
    tubing = design.site.tubing
    if tubing.compensating or not tubing.emitter_exponent:
        assert tubing.pressure_range is not None
        return EmitterLaw(flow=tubing.emitter_flow, head=max(tubing.pressure_range[0], LEAST_HEAD))
    assert tubing.emitter_pressure is not None
    return EmitterLaw(
        flow=tubing.emitter_flow,
        head=tubing.emitter_pressure,
        exponent=max(tubing.emitter_exponent, FLATTEST),
        compensating=False,
    )


LEAST_HEAD = 100.0 * WATER_HEAD_PER_PASCAL
"""Least head taken for the start of an emitter's range [m]: it gives nothing at none."""


def zone_network(design: Design, zone: Zone, heights: Heights, *, open_return: bool) -> ZoneNetwork:
    """Make the network of a zone.

    Parameters
    ----------
    design : Design
        With a pump whose level is known, the bore of tubing, and lines to all manifolds of the zone.
    zone : Zone
    heights : callable
        Levels of the ground at points [m].
    open_return : bool
        Whether the return is open, as in flushing, or shut, as in dosing.

    Returns
    -------
    ZoneNetwork
    """
    site = design.site
    assert site.pump is not None
    assert site.pump.level is not None
    assert site.tubing.inside_diameter is not None
    drawing = _Drawing(tubing=site.tubing.inside_diameter)
    tank, source = drawing.node(site.pump.at), drawing.node(site.pump.at)
    valve = drawing.node(site.pump.at) if open_return else None
    feet: dict[int, int] = {}
    feeds: list[int] = []
    behind: list[int] = []
    for pipe in design.plumbing.manifolds:
        if pipe.zone == zone.number:
            end = source if pipe.kind == "supply" else valve
            feed = _lay_manifold(drawing, design, pipe, end, feet)
            if open_return and design.plumbing.flushed_at(pipe):
                feeds.append(feed)
                behind.append(drawing.last)
    ends = tuple(_lay_laterals(drawing, design, zone, feet))
    starts, stops, lengths, bores, losses = drawing.pipes()
    points = np.asarray(drawing.points)
    levels = heights(points)
    levels[[tank, source]] = site.pump.level
    fixed = np.full(len(points), math.nan)
    fixed[[tank, source]] = site.pump.level
    if valve is not None:
        fixed[valve] = levels[valve] = site.pump.level
    order, count = [], 0
    rows: dict[str, Numbers] = {}
    for run, nodes in drawing.emitters.items():
        rows[run] = np.arange(count, count + len(nodes), dtype=np.intp)
        order.append(nodes)
        count += len(nodes)
    basis = site.design
    # The tank is there only for a pump: by itself it would hang on nothing, but its head is held.
    return ZoneNetwork(
        network=Network(
            levels=levels,
            fixed=fixed,
            starts=starts,
            ends=stops,
            lengths=np.maximum(lengths, SHORTEST),
            bores=bores,
            fittings=losses,
            emitters=np.concatenate(order) if order else np.zeros(0, dtype=np.intp),
            law=emitter_law(design),
            viscosity=kinematic_viscosity(basis.water_temperature),
            friction=basis.friction,
            smoothness=basis.smoothness,
        ),
        source=source,
        tank=tank,
        valve=valve,
        rows=tuple((row.run, rows[row.run]) for row in design.emitters if row.run in rows and row.count),
        ends=ends,
        bore=site.tubing.inside_diameter,
        return_bore=bore(site.manifold.return_diameter),
        points=points,
        feeds=tuple(feeds),
        behind=tuple(behind),
    )


@dataclass
class _Drawing:
    """Nodes and pipes as they are added."""

    tubing: float
    points: list[XY] = field(default_factory=list)
    emitters: dict[str, Numbers] = field(default_factory=dict)
    joints: dict[PipeKind, dict[XY, int]] = field(default_factory=lambda: {"supply": {}, "return": {}})
    _parts: list[tuple[Array, ...]] = field(default_factory=list)
    _pipes: int = 0

    def node(self, at: Iterable[float]) -> int:
        x, y = list(at)[:2]
        self.points.append((float(x), float(y)))
        return len(self.points) - 1

    def pipe(self, start: int, end: int, length: float, size: float, loss: float = 0.0) -> int:
        return self.chain([start, end], np.array([length]), size, loss)

    def chain(self, nodes: Sequence[int], lengths: Array, size: float, loss: float = 0.0) -> int:
        """Pipes from node to node, the fittings in the first; the number of the last."""
        count = len(lengths)
        losses = np.zeros(count)
        losses[0] = loss
        ways = np.asarray(nodes, dtype=np.float64)
        self._parts.append((ways[:-1], ways[1:], lengths, np.full(count, size), losses))
        self._pipes += count
        return self._pipes - 1

    @property
    def last(self) -> int:
        """The number of the last pipe."""
        return self._pipes - 1

    def pipes(self) -> tuple[Numbers, Numbers, Array, Array, Array]:
        starts, ends, lengths, bores, losses = (
            np.concatenate(part) for part in zip(*self._parts, strict=True)
        )
        return starts.astype(np.intp), ends.astype(np.intp), lengths, bores, losses


# --- manifolds and lines --------------------------------------------------------------------------------


def _lay_manifold(
    drawing: _Drawing, design: Design, pipe: Pipe, end: int | None, feet: dict[int, int]
) -> int:
    """A manifold with the feet of its risers, and the line to it where its end is open; the node they meet at."""
    line = pipe.line if pipe.kind == "supply" else pipe.line.reverse()
    feed = drawing.node(line.coords[0])
    size = bore(pipe.diameter)
    fittings = [item for item in design.plumbing.fittings if (item.on, item.zone) == (pipe.kind, pipe.zone)]
    standing = sorted(
        (float(line.project(Point(riser.line.coords[0]))), number)
        for number, riser in enumerate(design.plumbing.risers)
        if design.plumbing.under(riser) is pipe
    )
    bends = [
        (float(line.project(Point(item.at))), FITTING_LOSSES[item.kind])
        for item in fittings
        if item.kind in {"elbow 90", "elbow 45", "elbow 22.5"}
        and item.of == "manifold"
        and line.distance(Point(item.at)) < TOLERANCE
    ]
    here, along = feed, 0.0
    for place, (station, number) in enumerate(standing):
        if station - along > SHORTEST:
            loss = sum(k for at, k in bends if along < at <= station) + (STRAIGHT if place else 0.0)
            foot = drawing.node(line.interpolate(station).coords[0])
            drawing.pipe(here, foot, station - along, size, loss)
            here, along = foot, station
        feet[number] = here
    if end is not None:
        _lay_line(drawing, design, pipe, feed, end)
    return feed


def _lay_line(drawing: _Drawing, design: Design, manifold: Pipe, feed: int, end: int) -> None:
    """The line of a manifold, what it shares with others once; where the pump stands on it, a point's width."""
    supply = manifold.kind == "supply"

    def lay(near: int, far: int, length: float, size: float, loss: float) -> None:
        drawing.pipe(*((near, far) if supply else (far, near)), length, size, loss)

    way = design.plumbing.way_to(manifold)
    here, at_tank = end, 0.0 if supply else FITTING_LOSSES["exit"]
    for piece in way:
        last = piece is way[-1]
        if piece.far not in drawing.joints[manifold.kind]:
            there = drawing.joints[manifold.kind][piece.far] = feed if last else drawing.node(piece.far)
            loss = at_tank + math.fsum(_lost_on(piece, design.plumbing, manifold.zone))
            lay(here, there, float(piece.line.length), bore(piece.diameter), loss)
        here, at_tank = drawing.joints[manifold.kind][piece.far], 0.0
    if here != feed:
        lay(here, feed, SHORTEST, bore(manifold.diameter), at_tank)


def _lost_on(piece: Pipe, plumbing: Plumbing, zone: int) -> Iterable[float]:
    """Velocity heads lost in a piece of line: its elbows, the tee it begins at, the valve where it meets a manifold.

    None of the flush valve of a return: what it takes is what it is set to.
    """
    before = next(
        (line for line in plumbing.lines if line.kind == piece.kind and line.far == piece.near), None
    )
    for item in plumbing.fittings:
        if item.on != piece.kind or piece.line.distance(Point(item.at)) >= TOLERANCE:
            continue
        if item.kind == "zone valve":
            yield FITTING_LOSSES[item.kind] if item.zone == zone and piece.zone == zone else 0.0
        elif item.of == "line" and item.kind != "trunk tee" and item.zone == piece.zone:
            # an elbow where two pieces meet belongs to the first
            shared = before is not None and before.zone == piece.zone
            if not (shared and math.dist(item.at, piece.near) < TOLERANCE):
                yield FITTING_LOSSES.get(item.kind, 0.0)
    if before is not None:
        yield STRAIGHT if _goes_straight(before, piece) else BY_SIDE


def _goes_straight(before: Pipe, piece: Pipe) -> bool:
    """Whether a piece goes on from the one before it through the straight way of a tee."""
    one, other = (
        coordinates(item.line if item.kind == "supply" else item.line.reverse()) for item in (before, piece)
    )
    steps = one[-1] - one[-2], other[1] - other[0]
    turned = math.atan2(steps[0][0] * steps[1][1] - steps[0][1] * steps[1][0], float(steps[0] @ steps[1]))
    return abs(turned) < math.pi / 4


def line_is_missing(design: Design, zone: Zone, kind: PipeKind) -> bool:
    """Whether a manifold of a zone has no line to the pump, and does not begin at it."""
    pump = design.site.pump
    return any(
        not design.plumbing.way_to(pipe) and (pump is None or math.dist(pipe.feed, pump.at) > TOLERANCE)
        for pipe in design.plumbing.manifolds
        if (pipe.kind, pipe.zone) == (kind, zone.number)
    )


# --- laterals -------------------------------------------------------------------------------------------


def _lay_laterals(
    drawing: _Drawing, design: Design, zone: Zone, feet: dict[int, int]
) -> Iterable[tuple[str, int]]:
    """The laterals of a zone from riser to riser: the name of each, and its last pipe."""
    risers = {(riser.lateral, riser.kind): n for n, riser in enumerate(design.plumbing.risers) if n in feet}
    runs = {run.name: run for run in design.laying.runs}
    counts = {row.run: row.count for row in design.emitters}
    onward = {join.start: join for join in design.joins}
    for lateral in design.laterals:
        if lateral.zone != zone.number:
            continue
        supply, drain = (risers[lateral.name, kind] for kind in _KINDS)
        here = _through(drawing, design.plumbing, supply, feet[supply])
        entry = lateral.supply
        for name in lateral.runs:
            here, tip = _lay_run(
                drawing, runs[name], counts[name], design.site.tubing.emitter_spacing, here, entry
            )
            join = onward.get(name)
            entry = tip
            if join is not None and name != lateral.runs[-1]:
                here, entry = _lay_join(drawing, join, here)
        riser = design.plumbing.risers[drain]
        loss = BY_SIDE + _lost_in_lead(riser, design.plumbing)
        yield lateral.name, drawing.pipe(here, feet[drain], float(riser.line.length), drawing.tubing, loss)


_KINDS: tuple[Literal["supply"], Literal["return"]] = ("supply", "return")


def _through(drawing: _Drawing, plumbing: Plumbing, number: int, foot: int) -> int:
    """A riser from its foot up: the node at the end of the tubing."""
    riser = plumbing.risers[number]
    top = drawing.node(riser.line.coords[-1])
    drawing.pipe(
        foot, top, float(riser.line.length), drawing.tubing, BY_SIDE + _lost_in_lead(riser, plumbing)
    )
    return top


def _lost_in_lead(riser: Riser, plumbing: Plumbing) -> float:
    """Velocity heads lost in the elbows of a lead."""
    elbows = [
        item
        for item in plumbing.fittings
        if (item.kind, item.on, item.of) == ("elbow 90", "tubing", riser.lateral)
        and riser.line.distance(Point(item.at)) < TOLERANCE
    ]
    return FITTING_LOSSES["elbow 90"] * len(elbows)


def _lay_run(drawing: _Drawing, run: Run, count: int, spacing: float, here: int, entry: XY) -> tuple[int, XY]:
    """A run with its emitters, walked from where water enters it: the node and place where it leaves."""
    points, length = coordinates(run.line), run.length
    outward = math.dist(points[0], entry) <= math.dist(points[-1], entry)
    along = (np.arange(count) + 0.5) * spacing
    along = np.minimum(along, length)
    walked = along if outward else length - along[::-1]
    first = len(drawing.points)
    leaving = points[-1] if outward else points[0]
    drawing.points += [(x, y) for x, y in points_at(points, along if outward else along[::-1]).tolist()]
    tip = drawing.node(leaving)
    nodes = np.arange(first, first + count, dtype=np.intp)
    drawing.emitters[run.name] = nodes if outward else nodes[::-1]
    drawing.chain(
        [here, *nodes.tolist(), tip], np.diff(np.concatenate(([0.0], walked, [length]))), drawing.tubing
    )
    return tip, drawing.points[tip]


def _lay_join(drawing: _Drawing, join: Join, here: int) -> tuple[int, XY]:
    """A loop or blank tubing: the node and place where it ends."""
    end = drawing.node(join.line.coords[-1])
    loss = 2.0 * FITTING_LOSSES["elbow"] if join.kind == "loop" else 0.0
    drawing.pipe(here, end, float(join.line.length), drawing.tubing, loss)
    return end, drawing.points[end]
