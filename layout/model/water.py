"""What water does in the finished field: dosed, flushed, and what pipes hold."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Literal

from layout.model.base import XY, need


@dataclass(frozen=True, slots=True, kw_only=True)
class RunWater:
    """The emitters of one run at work.

    Attributes
    ----------
    run : str
    heads : tuple of float
        Pressure at each emitter, in the order of its :class:`EmitterRow` [m of water]; below 0 under suction.
    flows : tuple of float
        Of each emitter [m³/s].
    """

    run: str
    heads: tuple[float, ...]
    flows: tuple[float, ...]

    def __post_init__(self) -> None:
        need(len(self.heads) == len(self.flows), "an emitter has a pressure and a flow")


@dataclass(frozen=True, slots=True, kw_only=True)
class AtEmitter:
    """A pressure, and the emitter that has it.

    Attributes
    ----------
    head : float
        [m of water].
    run : str
    number : int
        Of the emitter along the run, from 1 at the manifold end.
    at : (x, y)
        [m].
    """

    head: float
    run: str
    number: int
    at: XY


@dataclass(frozen=True, slots=True, kw_only=True)
class AtValve:
    """Pressures at a flush valve that stands where a return manifold meets the trunk, over the ground there.

    Attributes
    ----------
    at : (x, y)
        [m].
    before : float
        Between manifold and valve [m of water].
    behind : float
        Between valve and trunk, as the trunk runs full [m of water]; below 0 under suction.
    """

    at: XY
    before: float
    behind: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterState:
    """A zone being dosed, or flushed.

    Attributes
    ----------
    flow, head : float
        At the pump [m³/s], [m]: where its curve meets the field. Without a curve, what the field needs; of emitters
        that do not compensate, what gives them their stated flow on average.
    needed_flow, needed_head : float
        The least at the pump at which every emitter has the least pressure of its range, and in flushing the end of
        every lateral its velocity [m³/s], [m].
    pump_head : float or None
        What the pump gives at the flow needed, before its filters [m]: on its curve, carried on beyond the last point
        but never under 0; None without a curve.
    least, greatest : AtEmitter
        Pressures.
    flow_least, flow_greatest : float
        Of one emitter [m³/s].
    runs : tuple of RunWater
        In the order of the design's emitters.
    ends : tuple of (str, float)
        Laterals, and the velocity at the end of each towards the return [m/s]; below 0 where water comes in from it.
    valve_head : float or None
        What the flush valve takes, each of several in a zone alike [m]; None while it is shut. Where it stands by the
        pump, also the head before it over the liquid in the tank.
    valve_loss : float or None
        The same in velocity heads of the return line; None also where nothing flows there.
    valves : tuple of AtValve
        The flush valves that stand at manifolds; empty while they are shut, and where they stand by the pump.
    wide_open : AtEmitter or None
        The least pressure were the flush valve wide open; None while it is shut, and without a pump's curve.
    beyond_curve : bool
        Whether the flow lies beyond the last point of the pump's curve.
    """

    flow: float
    head: float
    needed_flow: float
    needed_head: float
    least: AtEmitter
    greatest: AtEmitter
    flow_least: float
    flow_greatest: float
    runs: tuple[RunWater, ...]
    ends: tuple[tuple[str, float], ...]
    pump_head: float | None = None
    valve_head: float | None = None
    valve_loss: float | None = None
    valves: tuple[AtValve, ...] = ()
    wide_open: AtEmitter | None = None
    beyond_curve: bool = False

    @property
    def missing_head(self) -> float:
        """How far the pump stays below the head needed, at the flow needed [m]; 0 where it does not."""
        return 0.0 if self.pump_head is None else max(self.needed_head - self.pump_head, 0.0)

    @property
    def uniformity(self) -> float:
        """Least over greatest emitter flow; 0 where nothing flows."""
        return self.flow_least / self.flow_greatest if self.flow_greatest > 0 else 0.0

    @property
    def slowest(self) -> tuple[str, float]:
        """The lateral with the least velocity at its end, and that velocity [m/s]."""
        return min(self.ends, key=lambda end: end[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Volumes:
    """What a zone holds [m³], and how long it takes to fill.

    Attributes
    ----------
    tubing : float
        Runs, loops, blank tubing and risers.
    manifolds, lines : float
        Supply and return; of lines those alone that fill while the flush valve is shut, so no return trunk.
    fill : float
        What an empty zone takes: tubing, manifolds and lines, the return up to its flush valve among them.
    fill_least, fill_greatest : float
        Time for that [s]: at the greatest flow the pump's curve tells of, or that of flushing; and at the flow of
        dosing. No simulation: filling takes something between.
    drain_back : float
        What falls back to the pump tank after a dose.
    """

    tubing: float
    manifolds: float
    lines: float
    fill: float
    fill_least: float
    fill_greatest: float
    drain_back: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Doses:
    """How a zone is dosed through the day.

    Attributes
    ----------
    count : int
        Doses a day.
    volume : float
        Of one, as the emitters give it [m³]; what drains back is pumped on top of it.
    duration : float
        Of one, once the pipes are full [s].
    over_tubing : float
        Its volume over what the tubing holds.
    """

    count: int
    volume: float
    duration: float
    over_tubing: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneWater:
    """What water does in one zone.

    Attributes
    ----------
    zone : int
    dose : WaterState
    flush : WaterState or None
        None where no velocity is asked for.
    volumes : Volumes
    doses : Doses or None
        None where no daily flow or no least dose is stated.
    """

    zone: int
    dose: WaterState
    flush: WaterState | None
    volumes: Volumes
    doses: Doses | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hydraulics:
    """What water does in the field, zone by zone: each is dosed on its own.

    Attributes
    ----------
    zones : tuple of ZoneWater
        By number; at least one.
    viscosity : float
        Kinematic, at the stated temperature [m²/s].
    levels_known : bool
        False where the ground's level is not known: then the bed is taken to lie level with the liquid in the tank.
    lines : float
        What the lines of all zones hold, as in :class:`Volumes`, but each pipe once [m³].
    drain_back : float
        What falls back to the tank out of the pipes of all zones, each pipe once [m³].
    """

    zones: tuple[ZoneWater, ...]
    viscosity: float
    levels_known: bool
    lines: float
    drain_back: float

    def __post_init__(self) -> None:
        need(bool(self.zones) and math.isfinite(self.viscosity), "there is water in one zone at least")


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowReading:
    """A flow as it was measured in the field.

    Attributes
    ----------
    on : date
    zone : int
    doing : "dosing" or "flushing"
    said : str
        As it was read: ``20.4 s/gal``.
    flow : float
        [m³/s], over 0.
    note : str
    """

    on: date
    zone: int
    doing: Literal["dosing", "flushing"]
    said: str
    flow: float
    note: str = ""

    def __post_init__(self) -> None:
        need(self.flow > 0 and math.isfinite(self.flow) and self.zone >= 1, "a flow is over 0, in a zone")
