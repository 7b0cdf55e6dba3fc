"""Small networks made by hand in the units of the trade: a lateral, a bed of six runs, random beds."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np

from layout.hydraulics.laws import EmitterLaw, PumpCurve
from layout.hydraulics.solve import Friction, Network, solve
from layout.units import FOOT, GALLON, HOUR, INCH, MINUTE, UNIT_SETS

FEET = UNIT_SETS["ft"]
GPM = GALLON / MINUTE
GPH = GALLON / HOUR
PSI = 2.3089 * FOOT
"""Head under a pound to the square inch at the usual temperature [m]."""
VISCOSITY = 1.21e-5 * FOOT**2
CURVE = PumpCurve(points=tuple((q * GPM, h * FOOT) for q, h in ((0.0, 120.0), (6.0, 100.0), (12.0, 50.0))))
COMPENSATING = EmitterLaw(flow=0.6 * GPH, head=7.0 * PSI)
PLAIN = EmitterLaw(flow=0.6 * GPH, head=15.0 * PSI, exponent=0.5, compensating=False)


class Sketch:
    """A network as it is drawn, in feet and inches."""

    def __init__(self) -> None:
        self.levels: list[float] = []
        self.fixed: list[float] = []
        self.pipes: list[tuple[int, int, float, float, float]] = []
        self.emitters: list[int] = []

    def node(self, level_ft: float = 0.0, head_ft: float = math.nan) -> int:
        self.levels.append(level_ft * FOOT)
        self.fixed.append(head_ft * FOOT)
        return len(self.levels) - 1

    def pipe(self, a: int, b: int, length_ft: float, bore_inch: float, k: float = 0.0) -> int:
        self.pipes.append((a, b, length_ft * FOOT, bore_inch * INCH, k))
        return len(self.pipes) - 1

    def emitter(self, node: int) -> None:
        self.emitters.append(node)

    def network(
        self,
        *,
        law: EmitterLaw | None = None,
        pump: tuple[int, int] | None = None,
        curve: PumpCurve | None = None,
        demands: dict[int, float] | None = None,
        friction: Friction = "darcy-weisbach",
        smoothness: float = 140.0,
        viscosity: float = VISCOSITY,
    ) -> Network:
        a, b, length, bore, k = (np.asarray(part) for part in zip(*self.pipes, strict=True))
        taken = None
        if demands:
            taken = np.zeros(len(self.levels))
            for node, flow in demands.items():
                taken[node] = flow
        return Network(
            levels=np.asarray(self.levels),
            fixed=np.asarray(self.fixed),
            starts=a.astype(np.intp),
            ends=b.astype(np.intp),
            lengths=length,
            bores=bore,
            fittings=k,
            emitters=np.asarray(self.emitters, dtype=np.intp),
            law=law,
            pump=pump,
            curve=curve,
            demands=taken,
            viscosity=viscosity,
            friction=friction,
            smoothness=smoothness,
        )


def lateral(
    count: int,
    *,
    spacing_ft: float = 2.0,
    bore_inch: float = 0.55,
    head_ft: float = 100.0,
    slope: float = 0.0,
    first_ft: float | None = None,
) -> tuple[Sketch, list[int]]:
    """A dead-ended lateral and the nodes of its outlets."""
    sketch = Sketch()
    here = sketch.node(0.0, head_ft)
    outlets, along = [], 0.0
    for number in range(count):
        step = spacing_ft if number or first_ft is None else first_ft
        along += step
        node = sketch.node(slope * along)
        sketch.pipe(here, node, step, bore_inch)
        outlets.append(node)
        here = node
    return sketch, outlets


class ReferenceBed:
    """Six runs of 100 ft in three laterals, two feet apart, 50 emitters each, all round from pump to return.

    Invented; figures of it were worked out once by another program of the authors', and by an independent engine.
    """

    def __init__(
        self,
        *,
        along: float = 0.0,
        cross: float = 0.0,
        law: EmitterLaw = COMPENSATING,
        open_return: bool = False,
        curve: PumpCurve | None = CURVE,
    ) -> None:
        sketch = Sketch()
        tank = sketch.node(-5.0, -5.0)
        outlet = sketch.node(-5.0)
        rows = [2.0 * row for row in range(6)]

        def level(x: float, y: float) -> float:
            return along * x + cross * y

        supply = [sketch.node(level(0, rows[2 * k])) for k in range(3)]
        back = [sketch.node(level(0, rows[2 * k + 1])) for k in range(3)]
        sketch.pipe(outlet, supply[0], 60.0, 1.049)
        for k in range(2):
            sketch.pipe(supply[k], supply[k + 1], 4.0, 1.049)
            sketch.pipe(back[k + 1], back[k], 4.0, 1.049)
        self.ends: list[int] = []
        for k in range(3):
            here = supply[k]
            for row, way in ((2 * k, range(50)), (2 * k + 1, reversed(range(50)))):
                out = row % 2 == 0
                x = 0.0 if out else 100.0
                for number in way:
                    to = 1.0 + 2.0 * number
                    node = sketch.node(level(to, rows[row]))
                    sketch.pipe(here, node, abs(to - x), 0.55)
                    sketch.emitter(node)
                    here, x = node, to
                node = sketch.node(level(100.0 if out else 0.0, rows[row])) if out else back[k]
                last = sketch.pipe(here, node, abs((100.0 if out else 0.0) - x), 0.55)
                here = node
                if out:
                    turn = sketch.node(level(100.0, rows[row + 1]))
                    sketch.pipe(here, turn, 3.0, 0.55)
                    here = turn
            self.ends.append(last)
        self.valve = None
        if open_return:
            self.valve = sketch.node(-5.0, -5.0)
            self.line = sketch.pipe(back[0], self.valve, 60.0, 1.049)
        self.source = outlet
        if curve is None:
            sketch.fixed[outlet] = 100.0 * FOOT
        self.network = sketch.network(
            law=law, pump=(tank, outlet) if curve is not None else None, curve=curve
        )


def random_bed(number: int) -> Network:
    """A bed of a few laterals on ground of its own, with a pump that may be too weak, open or closed at the end."""
    dice = random.Random(number)
    sketch = Sketch()
    lift = dice.uniform(-15.0, 60.0)
    tank = sketch.node(-lift, -lift)
    outlet = sketch.node(-lift)
    along, cross = dice.uniform(-0.2, 0.2), dice.uniform(-0.2, 0.2)
    count = dice.randint(1, 6)
    pipe, bore = dice.choice((0.824, 1.049, 1.61, 2.067)), dice.uniform(0.4, 0.9)
    supply, back = ([sketch.node(cross * 4.0 * k + off) for k in range(count)] for off in (0.0, cross * 2.0))
    sketch.pipe(outlet, supply[0], dice.uniform(5.0, 300.0), pipe, k=dice.uniform(0.0, 10.0))
    for k in range(count - 1):
        sketch.pipe(supply[k], supply[k + 1], 4.0, pipe, k=0.6)
        sketch.pipe(back[k], back[k + 1], 4.0, pipe, k=0.6)
    spacing = dice.choice((1.0, 2.0))
    for k in range(count):
        here, emitters = supply[k], dice.randint(5, 150)
        for n in range(emitters):
            node = sketch.node(along * spacing * min(n, emitters - n) + cross * 4.0 * k)
            sketch.pipe(here, node, spacing, bore, k=1.8 if n == 0 else 0.0)
            sketch.emitter(node)
            here = node
        sketch.pipe(here, back[k], spacing, bore, k=1.8)
    if dice.random() < 0.5:
        end = sketch.node(-lift, -lift + dice.choice((0.0, 0.0, 20.0)))
        sketch.pipe(
            back[dice.choice((0, -1))], end, dice.uniform(5.0, 300.0), pipe, k=dice.uniform(0.0, 2000.0)
        )
    flow = dice.uniform(0.3, 1.2) * GPH
    law = EmitterLaw(flow=flow, head=dice.uniform(3.0, 15.0) * PSI)
    if dice.random() < 0.5:
        law = replace(law, compensating=False, exponent=dice.uniform(0.05, 1.0))
    most, top = dice.uniform(1.0, 40.0) * GPM, dice.uniform(10.0, 160.0) * FOOT
    if dice.random() < 0.5:
        points = (
            (0.0, top),
            (0.5 * most, dice.uniform(0.76, 0.98) * top),
            (most, dice.uniform(0.1, 0.5) * top),
        )
    else:
        points = ((0.0, top), (0.3 * most, 0.95 * top), (0.7 * most, 0.6 * top), (most, 0.2 * top))
    return sketch.network(
        law=law,
        pump=(tank, outlet),
        curve=PumpCurve(points=points),
        friction=dice.choice(("darcy-weisbach", "hazen-williams")),
        viscosity=dice.uniform(0.7e-6, 1.8e-6),
    )


def with_head(network: Network, node: int, head: float) -> Network:
    """The network with another head held at a node [m]."""
    fixed = network.fixed.copy()
    fixed[node] = head
    return replace(network, fixed=fixed)


def balance(network: Network) -> float:
    """Water missing at the worst node over all that flows, worked out anew from the solution."""
    found = solve(network)
    missing = np.zeros(len(network.levels))
    np.add.at(missing, network.ends, found.flows)
    np.subtract.at(missing, network.starts, found.flows)
    np.subtract.at(missing, network.emitters, found.emitted)
    if network.pump is not None:
        missing[network.pump[1]] += found.pumped
    free = np.isnan(network.fixed)
    whole = max(float(found.emitted.sum()), float(np.abs(found.flows).max()))
    return float(np.abs(missing[free]).max()) / whole if whole > 1e-12 else 0.0
