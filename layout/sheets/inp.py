"""The network of a zone in the open ``.inp`` text format for pipe networks, for a reviewer's own check.

The format is that of the EPANET 2.2 User Manual, appendix C. It knows no compensating emitters: those are given as the
water they take in the plan, all others by their law. Levels, lengths, bores, fittings and the pump are as in the plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from layout.frame import to_site
from layout.hydraulics.field import ground_levels
from layout.hydraulics.laws import PumpCurve
from layout.hydraulics.network import ZoneNetwork, zone_network
from layout.model import Design, WaterState, Zone
from layout.plane import Array
from layout.terrain import heights
from layout.units import FOOT, GALLON, INCH, LITRE, MINUTE

ENGINE_VISCOSITY = 1.1e-5 * FOOT**2
"""What the format's viscosity is told in [m²/s]."""
ENGINE_PSI = FOOT / 0.4333
"""A pound to the square inch as readers of the format take it [m of water]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    """The units of a file: its word for flow, and what one of each is in SI."""

    flow_word: str
    pressure_word: str
    flow: float
    length: float
    bore: float
    roughness: float
    pressure: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Valve:
    """A flush valve at a manifold: its number from 1, the pipe behind it, and its setting in velocity heads."""

    number: int
    way: int
    loss: float

    @property
    def behind(self) -> str:
        """The node behind it."""
        return f"BEHIND-VALVE-{self.number}"


_FEET = _Words(
    flow_word="GPM",
    pressure_word="PSI",
    flow=GALLON / MINUTE,
    length=FOOT,
    bore=INCH,
    roughness=1e-3 * FOOT,
    pressure=ENGINE_PSI,
)
_METRES = _Words(
    flow_word="LPM",
    pressure_word="METERS",
    flow=LITRE / MINUTE,
    length=1.0,
    bore=1e-3,
    roughness=1e-3,
    pressure=1.0,
)


def network_makers(design: Design) -> list[tuple[str, Callable[[Path], None]]]:
    """The files of all zones, each with what makes it: ``network-dosing.inp``, of several ``network-Z1-...``."""
    water = design.hydraulics
    if water is None:
        return []
    made: list[tuple[str, Callable[[Path], None]]] = []
    for zone in design.zones:
        mine = next(item for item in water.zones if item.zone == zone.number)
        for doing, state in (("dosing", mine.dose), ("flushing", mine.flush)):
            if state is not None:
                of = f"{zone.name}-" if len(design.zones) > 1 else ""
                made.append((f"network-{of}{doing}.inp", _maker(design, zone, state, doing)))
    return made


def _maker(design: Design, zone: Zone, state: WaterState, doing: str) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        text = network_text(design, zone, state, flushing=doing == "flushing")
        path.write_text(text, encoding="utf-8", newline="\n")

    return make


def network_text(design: Design, zone: Zone, state: WaterState, *, flushing: bool) -> str:
    """Write the network of a zone, dosed or flushed, as text."""
    levels = design.site.bed.levels
    ground = ground_levels(design, None if levels is None else lambda points: heights(levels, points))[0]
    bed = zone_network(design, zone, ground, open_return=flushing)
    units = _METRES if design.site.frame.units.word == "m" else _FEET
    return "\n".join(_Writer(design, zone, state, bed, units, flushing=flushing).lines()) + "\n"


class _Writer:
    """Writes one file; a class only because its parts share names and units."""

    def __init__(
        self,
        design: Design,
        zone: Zone,
        state: WaterState,
        bed: ZoneNetwork,
        units: _Words,
        *,
        flushing: bool,
    ) -> None:
        self.design, self.zone, self.state, self.bed, self.units = design, zone, state, bed, units
        self.flushing = flushing
        self.network = bed.network
        pump = design.site.pump
        self.curve = pump.curve if pump is not None else ()
        self.loss = design.site.design.filter_loss or 0.0
        self.taken = np.zeros(len(self.network.levels))
        self.names = self._names()
        self.valves = list(self._at_manifolds())
        used = np.zeros(len(self.network.levels), dtype=bool)
        used[self.network.starts] = used[self.network.ends] = True
        self.used = np.flatnonzero(used).tolist()

    def _names(self) -> list[str]:
        """Of the nodes: emitters by run and number, the ends by what they are."""
        names = [f"N{number}" for number in range(1, len(self.network.levels) + 1)]
        for (run, places), row in zip(self.bed.rows, self.state.runs, strict=True):
            for number, (place, flow) in enumerate(zip(places.tolist(), row.flows, strict=True), start=1):
                node = int(self.network.emitters[place])
                names[node] = f"{run}.{number}"
                self.taken[node] += flow
        names[self.bed.tank], names[self.bed.source] = "TANK", "PUMP-OUT"
        if self.bed.valve is not None:
            # Where valves stand at the manifolds, the trunk behind them runs out freely.
            names[self.bed.valve] = "RETURN-END" if self.bed.feeds else "RETURN-VALVE"
        for number, feed in enumerate(self.bed.feeds, start=1):
            names[feed] = f"FLUSH-VALVE-{number}"
        return names

    def _at_manifolds(self) -> Iterator[_Valve]:
        """The flush valves that stand at manifolds, each set to take the same head at the flow through it."""
        if not self._flows_back():
            return
        speeds, size = dict(self.state.ends), self.design.site.tubing.inside_diameter or 0.0
        plumbing = self.design.plumbing
        manifolds = [
            pipe for pipe in plumbing.manifolds if pipe.zone == self.zone.number and plumbing.flushed_at(pipe)
        ]
        for number, (pipe, way) in enumerate(zip(manifolds, self.bed.behind, strict=True), start=1):
            ends = [item.lateral for item in plumbing.risers if plumbing.under(item) is pipe]
            speed = sum(speeds[name] for name in ends) * size**2 / self.bed.return_bore**2
            taken = 2.0 * self.network.gravity * (self.state.valve_head or 0.0)
            yield _Valve(number=number, way=way, loss=taken / speed**2 if speed > 0 else 0.0)

    def lines(self) -> Iterator[str]:
        plain = self._plain()
        yield from self._title(plain)
        yield from self._section("JUNCTIONS", "name level demand", self._junctions(plain))
        yield from self._section("RESERVOIRS", "name head", self._reservoirs())
        if plain:
            yield from self._section("EMITTERS", "node coefficient", self._emitters())
        yield from self._section("PIPES", "name from to length bore roughness fittings status", self._pipes())
        if self.curve:
            pump = [("PUMP", "TANK", "PUMP-OUT", "HEAD", "PUMP-CURVE")]
            yield from self._section("PUMPS", "name from to curve", pump)
            points = [("PUMP-CURVE", *point) for point in self._curve_points()]
            yield from self._section("CURVES", "name flow head", points)
        valve = list(self._valve())
        if valve:
            yield from self._section("VALVES", "name from to bore kind setting fittings", valve)
        yield from self._section("OPTIONS", "", self._options(plain))
        yield from self._section("TIMES", "", [("Duration", "0")])
        if self.bed.points is not None:
            yield from self._section("COORDINATES", "node x y", self._places(self.bed.points))
        yield "[END]"

    def _plain(self) -> bool:
        law = self.network.law
        return law is not None and not law.compensating

    def _title(self, plain: bool) -> Iterator[str]:
        unit = self.design.site.frame.units
        doing = "flushing" if self.flushing else "dosing"
        title = " ".join("".join(sign for sign in self.design.site.title if sign.isprintable()).split())
        yield "[TITLE]"
        # The first line of a title is free text: kept from being taken for a section.
        yield f"Drip field {title[:60]}, zone {self.zone.name}, {doing}"
        yield ""
        yield f"; In the plan: {self.state.flow / unit.flow:.4f} {unit.flow_name} at a head of"
        yield f"; {self.state.head / unit.length:.3f} {unit.length_name} at the pump, least pressure at an emitter"
        least = self.state.least
        yield f"; {least.head / unit.pressure:.3f} {unit.pressure_name} ({least.run}.{least.number})."
        if not plain:
            yield "; Emitters that compensate are given as the water they take in the plan, whatever the head."
        if self.loss:
            yield (
                "; What filters take at the pump is off the heads of the pump's curve."
                if self.curve
                else ("; What filters take at the pump is off the head that is held.")
            )
        yield ""

    def _section(
        self, name: str, titles: str, rows: Sequence[Sequence[str]] | Iterator[Sequence[str]]
    ) -> Iterator[str]:
        yield f"[{name}]"
        if titles:
            yield f"; {titles}"
        for row in rows:
            yield " ".join(row)
        yield ""

    def _junctions(self, plain: bool) -> Iterator[Sequence[str]]:
        for node in self.used:
            if node == self.bed.source and not self.curve:
                continue
            if self.bed.feeds and node == self.bed.valve and self._flows_back():
                continue
            level = _figure(self.network.levels[node] / self.units.length)
            demand = 0.0 if plain else self.taken[node] / self.units.flow
            yield (self.names[node], level, _figure(demand))
        for valve in self.valves:
            level = _figure(self.network.levels[self.network.starts[valve.way]] / self.units.length)
            yield (valve.behind, level, "0")

    def _reservoirs(self) -> Iterator[Sequence[str]]:
        level = float(self.network.levels[self.bed.tank])
        if self.curve:
            yield ("TANK", _figure(level / self.units.length))
        else:
            held = level + self.state.head - self.loss
            yield ("PUMP-OUT", _figure(held / self.units.length))
        if self._flows_back():
            yield ("RETURN-END", _figure(level / self.units.length))

    def _flows_back(self) -> bool:
        return self.bed.valve is not None and self.state.valve_loss is not None

    def _valve(self) -> Iterator[Sequence[str]]:
        if not self._flows_back() or self.state.valve_loss is None:
            return
        bore = _figure(self.bed.return_bore / self.units.bore)
        for valve in self.valves:
            name = self.names[int(self.network.starts[valve.way])]
            yield (f"SET-VALVE-{valve.number}", name, valve.behind, bore, "TCV", _figure(valve.loss), "0")
        if self.valves:
            return
        yield ("SET-VALVE", "RETURN-VALVE", "RETURN-END", bore, "TCV", _figure(self.state.valve_loss), "0")

    def _emitters(self) -> Iterator[Sequence[str]]:
        law = self.network.law
        assert law is not None
        one = law.flow * (self.units.pressure / law.head) ** law.exponent / self.units.flow
        nodes, counts = np.unique(self.network.emitters, return_counts=True)
        for node, count in zip(nodes.tolist(), counts.tolist(), strict=True):
            yield (self.names[node], _figure(one * count))

    def _pipes(self) -> Iterator[Sequence[str]]:
        net, units = self.network, self.units
        smooth = net.friction == "hazen-williams"
        rough = _figure(net.smoothness if smooth else net.roughness / units.roughness)
        rows = zip(net.starts.tolist(), net.ends.tolist(), net.lengths, net.bores, net.fittings, strict=True)
        begins = {valve.way: valve.behind for valve in self.valves}
        for number, (a, b, length, bore, loss) in enumerate(rows):
            sizes = (_figure(length / units.length), _figure(bore / units.bore))
            start = begins.get(number, self.names[a])
            yield (f"P{number + 1}", start, self.names[b], *sizes, rough, _figure(loss), "Open")

    def _curve_points(self) -> Iterator[tuple[str, str]]:
        """The pump's curve less what filters take.

        Readers lay a power curve through three points; a fourth keeps straight what is straight in the plan.
        """
        points = list(self.curve)
        if len(points) == 3 and points[0][0] == 0 and PumpCurve(points=self.curve).is_straight:
            (q0, h0), (q1, h1) = points[:2]
            points.insert(1, (0.5 * (q0 + q1), 0.5 * (h0 + h1)))
        for flow, head in points:
            yield _figure(flow / self.units.flow), _figure((head - self.loss) / self.units.length)

    def _options(self, plain: bool) -> Iterator[Sequence[str]]:
        law = self.network.law
        friction = "H-W" if self.network.friction == "hazen-williams" else "D-W"
        yield ("Units", self.units.flow_word)
        yield ("Headloss", friction)
        yield ("Viscosity", _figure(self.network.viscosity / ENGINE_VISCOSITY))
        yield ("Trials", "500")
        yield ("Accuracy", "0.00001")
        if plain and law is not None:
            yield ("Emitter Exponent", _figure(law.exponent))

    def _places(self, points: Array) -> Iterator[Sequence[str]]:
        places = to_site(self.design.site.frame, points)
        for node in self.used:
            x, y = places[node].tolist()
            yield (self.names[node], f"{x:.4f}", f"{y:.4f}")
        for valve in self.valves:
            x, y = places[int(self.network.starts[valve.way])].tolist()
            yield (valve.behind, f"{x:.4f}", f"{y:.4f}")
        tank = places[self.bed.tank].tolist()
        end = self._flows_back() and not self.valves  # else it is among the nodes
        for name in (*(("TANK",) if self.curve else ()), *(("RETURN-END",) if end else ())):
            yield (name, f"{tank[0]:.4f}", f"{tank[1]:.4f}")


def _figure(value: float) -> str:
    return f"{float(value):.10g}"
