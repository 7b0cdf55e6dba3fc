"""The site, as the user states it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Literal

from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model.base import XY, need
from layout.units import UnitSet


class FeatureKind(StrEnum):
    """What a feature of the lot is; decides its symbol only, never its setback."""

    BUILDING = "building"
    TANK = "tank"
    WELL = "well"
    PROPERTY_LINE = "property line"
    WATER_LINE = "water line"
    WATER_BODY = "water body"
    TREE = "tree"
    DRIVE = "drive"
    SLOPE = "slope"
    OTHER = "other"


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
class Frame:
    """Where the local plane lies: site coordinates = origin + local / unit length.

    Attributes
    ----------
    units : UnitSet
        The site's units.
    origin : tuple of float
        Site coordinates of the local origin [site units].
    crs : str or None
        The projected CRS of the site coordinates, as the user names it, or the definition of one that was chosen
        for a site surveyed in longitude and latitude; None for a local plan grid.
    plane : str
        A chosen CRS in words; empty else.
    """

    units: UnitSet
    origin: XY = (0.0, 0.0)
    crs: str | None = None
    plane: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """Something to keep clear of.

    Attributes
    ----------
    name : str
    kind : FeatureKind
    shape : Point, LineString or Polygon
        In the local plane [m].
    setback : float
        No tubing within this distance of the shape [m]; the user's figure.
    inside : bool
        True where it stands in the bed and cuts a hole in the usable ground.
    """

    name: str
    kind: FeatureKind
    shape: BaseGeometry
    setback: float
    inside: bool = False

    def __post_init__(self) -> None:
        need(
            self.setback >= 0 and not self.shape.is_empty,
            "a feature needs a shape and a setback of 0 or more",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """What is known of the ground's height: scattered points, or one level for the whole bed.

    Attributes
    ----------
    points : tuple of (x, y, z)
        Surveyed levels [m]; empty where one number was given.
    uniform : float or None
        The one level [m].
    """

    points: tuple[tuple[float, float, float], ...] = ()
    uniform: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """The bed as drawn.

    Attributes
    ----------
    outline : Polygon
        A valid simple polygon without holes, counter-clockwise [m].
    clearance : float
        Least distance from the outline to a tubing centre line [m].
    levels : Levels or None
        None: flat, heights unknown.
    walked : Polygon or None
        The outline as it was surveyed, where `outline` is that smoothed [m].
    """

    outline: Polygon
    clearance: float
    levels: Levels | None = None
    walked: Polygon | None = None

    def __post_init__(self) -> None:
        need(self.outline.is_valid and self.outline.area > 0, "the bed's outline must be a valid polygon")
        need(self.clearance >= 0, "clearance is 0 or more")


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
        From the side that ``left`` or ``right`` follows to the first run [m]; None: the bed's clearance, or what
        ``best`` finds better.
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
    """

    count: int | None = None
    most_flow: float | None = None

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


Rounding = Literal["0.05 ft", "1/8 in", "1 cm"]
"""What tapes are read to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StakeRules:
    """How runs are staked.

    Attributes
    ----------
    interval : float
        Greatest distance between stakes along a run [m].
    tolerance : float
        Greatest mid-ordinate between the run and the chord from stake to stake [m].
    ties : tuple of (name, (x, y))
        Fixed points for swing ties [m]; empty, or at least two.
    baseline : ((x, y), (x, y)) or None
        From station 0 on [m]; None: one is chosen.
    rounding : "0.05 ft", "1/8 in", "1 cm" or None
        Of distances; None: as suits the site's units.
    laid_within : float
        How far from the plan tubing may be laid [m].
    laid_within_stated : bool
        Whether the user stated it.
    """

    interval: float
    tolerance: float
    ties: tuple[tuple[str, XY], ...] = ()
    baseline: tuple[XY, XY] | None = None
    rounding: Rounding | None = None
    laid_within: float = 0.1524
    laid_within_stated: bool = False

    def __post_init__(self) -> None:
        need(self.interval > 0 and self.tolerance > 0, "interval and tolerance are over 0")
        need(self.laid_within > 0, "tubing is laid within some distance of the plan")


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRules:
    """What the drawings are to be like; what is not stated is chosen, or left blank to be filled in by hand.

    Attributes
    ----------
    size : str
        Of the sheets, one of :data:`layout.papers.SIZES`; empty: chosen.
    ratio : float or None
        Scale of the plan, ground over paper: 240 for 1 in = 20 ft; None: chosen.
    title : str
        Of the drawings, under that of the site; empty: what they show.
    date, drawn_by, checked_by, revision : str
        As the title block has them; empty: blank.
    """

    size: str = ""
    ratio: float | None = None
    title: str = ""
    date: str = ""
    drawn_by: str = ""
    checked_by: str = ""
    revision: str = ""

    def __post_init__(self) -> None:
        need(self.ratio is None or self.ratio > 0, "a scale is over 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What one item of the takeoff costs, in money of the user's.

    Attributes
    ----------
    item : str
    amount : float
        For one unit [1/m, 1/m³ or 1/piece], or for one pack.
    per : "unit" or "pack"
    """

    item: str
    amount: float
    per: Literal["unit", "pack"]

    def __post_init__(self) -> None:
        need(self.amount >= 0, "a price is 0 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeoffRules:
    """What is added to the quantities laid out, and how things are sold; None: as is common.

    Attributes
    ----------
    waste : float
        Share added to tubing and pipe.
    wastes : tuple of (str, float)
        Share added to single items.
    pipe : float or None
        Length of a pipe as sold [m].
    blank_coil : float or None
        Length of one coil of blank tubing [m]; None: it is cut to length where it is bought.
    staple_interval : float or None
        Greatest distance between staples along tubing [m]; None: no staples.
    staple_box : int
        Staples in a box.
    paint : float or None
        Length that one can of marking paint marks [m].
    cover_depth : float or None
        Of fill over the whole bed [m].
    sand_depth, trench_width : float or None
        Of sand in the trenches of pipes [m]; both, or none.
    prices : tuple of Price
    """

    waste: float = 0.05
    wastes: tuple[tuple[str, float], ...] = ()
    pipe: float | None = None
    blank_coil: float | None = None
    staple_interval: float | None = None
    staple_box: int = 1
    paint: float | None = None
    cover_depth: float | None = None
    sand_depth: float | None = None
    trench_width: float | None = None
    prices: tuple[Price, ...] = ()

    def __post_init__(self) -> None:
        need(all(0 <= share <= 1 for share in (self.waste, *dict(self.wastes).values())), "waste is a share")
        need((self.sand_depth is None) == (self.trench_width is None), "sand has a depth and a width")

    def waste_of(self, item: str, usual: float) -> float:
        """The share added to an item; `usual` where it is not stated."""
        return dict(self.wastes).get(item, usual)


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """All that the site file says, in the local plane and SI."""

    title: str
    frame: Frame
    bed: Bed
    features: tuple[Feature, ...]
    tubing: Tubing
    runs: RunRules
    laterals: LateralRules
    manifold: ManifoldRules
    pump: Pump | None
    design: DesignBasis
    stakeout: StakeRules
    file: Path = Path("site.toml")
    zones: ZoneRules | None = None
    """None: one zone."""
    sheet: SheetRules = SheetRules()
    takeoff: TakeoffRules = TakeoffRules()
    notes: tuple[str, ...] = ()
    """What the readers did that the user should know (a point dropped, an outline closed)."""


def site_place(frame: Frame, at: tuple[float, ...]) -> str:
    """A local point [m] in words, in site coordinates to a hundredth: ``(512.40, 1033.75)``."""
    x, y = (zero + local / frame.units.length for zero, local in zip(frame.origin, at[:2], strict=True))
    return f"({x:.2f}, {y:.2f})"
