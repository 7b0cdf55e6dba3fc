"""What the user states of the field: tubing and pump, and the rules that runs, laterals and manifolds are laid by."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from shapely import LineString

from layout.model.base import XY, need


class Pattern(StrEnum):
    """How the runs follow the bed."""

    BEST = "best"
    LEFT = "left"
    RIGHT = "right"
    CENTRE = "centre"
    EVEN = "even"
    DRAWN = "drawn"
    CONTOUR = "contour"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tubing:
    """The emitting tubing as bought.

    Attributes
    ----------
    emitter_spacing : float
        Along the tubing [m].
    emitter_flow : float
        Of one emitter in its pressure range [m³/s].
    bend_radius : float
        Tightest bend a run may take [m].
    coil : float
        Length of one coil [m].
    inside_diameter : float or None
        [m].
    pressure_range : (float, float) or None
        Least and greatest head at which the emitter keeps its flow [m of water].
    compensating : bool
        False: flow = emitter_flow × (head / emitter_pressure) ** emitter_exponent.
    emitter_pressure : float or None
        Head at which a non-compensating emitter gives `emitter_flow` [m of water].
    emitter_exponent : float or None
        0 to 1; 0.5 for a turbulent emitter.
    """

    emitter_spacing: float
    emitter_flow: float
    bend_radius: float
    coil: float
    inside_diameter: float | None = None
    pressure_range: tuple[float, float] | None = None
    compensating: bool = True
    emitter_pressure: float | None = None
    emitter_exponent: float | None = None

    def __post_init__(self) -> None:
        need(self.emitter_spacing > 0 and self.emitter_flow > 0, "emitter spacing and flow are over 0")
        need(self.bend_radius >= 0 and self.coil > 0, "bend radius is 0 or more, a coil has a length")


Follows = Literal["outline", "usable ground", "rectangle", "lobes"]
"""Whose long sides runs follow: the bed's, those of what setbacks leave of it, or straight ones round it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRules:
    """How runs are to be laid.

    Attributes
    ----------
    spacing : float
        Centre to centre [m].
    pattern : Pattern
    shortest : float
        A shorter piece is left out, and listed [m].
    closest, widest : float
        Least and greatest gap between runs, for the even pattern [m].
    most : int or None
        Cap on the number of runs.
    guide : LineString or None
        The line to follow, for the drawn pattern [m].
    first : float or None
        From the side that ``left`` or ``right`` follows, or from both sides for ``even``, to the first run [m];
        None: the bed's clearance, or what ``best`` finds better.
    sides : "outline", "usable ground", "rectangle", "lobes" or None
        Whose long sides runs follow; None: the outline's, and for ``best`` any.
    """

    spacing: float
    pattern: Pattern
    shortest: float
    closest: float
    widest: float
    most: int | None = None
    guide: LineString | None = None
    first: float | None = None
    sides: Follows | None = None

    def __post_init__(self) -> None:
        need(self.spacing > 0 and 0 < self.closest <= self.widest, "gaps are over 0 and closest <= widest")


@dataclass(frozen=True, slots=True, kw_only=True)
class LateralRules:
    """How runs are joined into laterals.

    Attributes
    ----------
    runs : int or None
        Runs to a lateral; None: the best number is found.
    longest : float
        Of tubing in one lateral [m].
    """

    runs: int | None
    longest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ManifoldRules:
    """Where the manifolds stand and what they are made of.

    Attributes
    ----------
    end : "pump", "far" or a point
        The end of the bed: nearer the pump, the other one, or the end nearest this point [m].
    supply_diameter, return_diameter : float
        Nominal [m].
    offset : float
        From the run ends to the supply trench; the return lies as far beyond that [m].
    """

    end: Literal["pump", "far"] | XY
    supply_diameter: float
    return_diameter: float
    offset: float = 0.3

    def __post_init__(self) -> None:
        need(self.offset > 0, "a manifold lies beyond the run ends")


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneRules:
    """How the field is divided into zones; one of both is stated.

    Attributes
    ----------
    count : int or None
        So many zones.
    most_flow : float or None
        As few zones as none of more than this flow [m³/s] allows.
    lines : "own" or "trunk"
        Whether each manifold has a line of its own from the pump, or all share one trunk of each kind.
    """

    count: int | None = None
    most_flow: float | None = None
    lines: Literal["own", "trunk"] = "own"

    def __post_init__(self) -> None:
        need((self.count is None) != (self.most_flow is None), "zones are stated by count or by flow")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """The pump tank.

    Attributes
    ----------
    at : (x, y)
        Where supply and return lines start and end [m].
    level : float or None
        Liquid level [m].
    curve : tuple of (flow, head)
        [m³/s], [m of water]; empty where not given.
    """

    at: XY
    level: float | None = None
    curve: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignBasis:
    """What the field must do, as the user states it; None where not stated.

    Attributes
    ----------
    flow : float or None
        Wastewater per day [m³/s].
    loading : float or None
        What the ground takes [m³/s per m²].
    flush_velocity : float or None
        At the far end of every lateral when flushing [m/s].
    least_pitch : float
        Least fall of the return line over its length.
    water_temperature : float
        [°C]; it makes the viscosity.
    friction : "darcy-weisbach" or "hazen-williams"
        How the loss in pipes is worked out.
    smoothness : float
        The coefficient C of Hazen and Williams.
    filter_loss : float or None
        What filters, meter and valves at the pump take, whatever the flow [m of water]; None: not stated.
    dose_volumes : float or None
        Least dose over what the tubing holds.
    flow_band : float
        Share of the flow worked out by which a measured one may be off.
    """

    flow: float | None = None
    loading: float | None = None
    flush_velocity: float | None = None
    least_pitch: float = 0.01
    water_temperature: float = 15.0
    friction: Literal["darcy-weisbach", "hazen-williams"] = "darcy-weisbach"
    smoothness: float = 140.0
    filter_loss: float | None = None
    dose_volumes: float | None = None
    flow_band: float = 0.10

    def __post_init__(self) -> None:
        need(0 <= self.water_temperature <= 100, "water is neither ice nor steam")
        need(0 < self.flow_band < 1, "a measured flow may be off by a share of it")
        need(self.smoothness > 0 and (self.filter_loss or 0.0) >= 0, "pipes are smooth, filters take head")
