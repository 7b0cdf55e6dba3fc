"""The nouns: small immutable values that the stages pass to each other.

All lengths [m], coordinates [m] in the site's local plane, flows [m³/s], heads [m of water].
A noun plans nothing, draws nothing and writes nothing; a wrong one cannot be made.

Trade words: a *run* is one continuous length of emitting tubing; a *lateral* is one or more runs joined
end to end and fed at one place; a *loop* joins the ends of neighbouring runs; a *riser* brings the end of a
run up or down to its manifold; *blank* tubing has no emitters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Literal

from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.units import UnitSet

XY = tuple[float, float]


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


def _need(condition: bool, what: str) -> None:
    """Raise ``ValueError(what)`` unless the condition holds (a programming error, not the user's)."""
    if not condition:
        raise ValueError(what)


# --- the site, as the user states it -------------------------------------------------------------------


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
        The projected CRS of the site coordinates, as the user names it; None for a local plan grid.
    """

    units: UnitSet
    origin: XY = (0.0, 0.0)
    crs: str | None = None


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
        _need(
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
        _need(self.outline.is_valid and self.outline.area > 0, "the bed's outline must be a valid polygon")
        _need(self.clearance >= 0, "clearance is 0 or more")


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
        _need(self.emitter_spacing > 0 and self.emitter_flow > 0, "emitter spacing and flow are over 0")
        _need(self.bend_radius >= 0 and self.coil > 0, "bend radius is 0 or more, a coil has a length")


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
    """

    spacing: float
    pattern: Pattern
    shortest: float
    closest: float
    widest: float
    most: int | None = None
    guide: LineString | None = None

    def __post_init__(self) -> None:
        _need(self.spacing > 0 and 0 < self.closest <= self.widest, "gaps are over 0 and closest <= widest")


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
    """

    end: Literal["pump", "far"] | XY
    supply_diameter: float
    return_diameter: float


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
    """

    flow: float | None = None
    loading: float | None = None
    flush_velocity: float | None = None


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
    """

    interval: float
    tolerance: float
    ties: tuple[tuple[str, XY], ...] = ()


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
    notes: tuple[str, ...] = ()
    """What the readers did that the user should know (a point dropped, an outline closed)."""


# --- the field, as it is laid out ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """How much of the ground inside the clearance one feature takes.

    Attributes
    ----------
    feature : str
    area : float
        [m²]; ground taken by two features is counted for each.
    """

    feature: str
    area: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UsableGround:
    """Where tubing may lie.

    Attributes
    ----------
    area : Polygon or MultiPolygon
        The outline less clearance, setbacks and holes [m].
    kept_clear : MultiPolygon
        The union of all setback zones, not clipped to the bed [m]; may be empty.
    takes : tuple of Take
        In the order of the site's features.
    """

    area: Polygon | MultiPolygon
    kept_clear: MultiPolygon
    takes: tuple[Take, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sides:
    """A bed's two long sides and two ends; left and right as seen from the manifold end.

    Attributes
    ----------
    left, right : LineString
        The long sides, both from the manifold end to the far end [m].
    near, far : LineString
        The manifold end and the far end, both from left to right [m].
    centre : LineString
        The centre line from the manifold end to the far end [m].
    certain : bool
        False where the bed has no clear long direction and the sides are a convention.
    """

    left: LineString
    right: LineString
    near: LineString
    far: LineString
    centre: LineString
    certain: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One continuous length of emitting tubing.

    Attributes
    ----------
    name : str
        ``R1``, ``R2`` … from left to right, seen from the manifold end.
    line : LineString
        From the manifold end on [m].
    row : int
        Its place across the bed; pieces of one interrupted run share a row.
    fed : bool
        Whether it is fed from the manifold end of the bed: it starts there, or blank tubing carries on to it from
        a run that does.
    """

    name: str
    line: LineString
    row: int
    fed: bool = True

    @property
    def length(self) -> float:
        """Length of the line [m]."""
        return float(self.line.length)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """A piece of tubing that was not laid, and why.

    Attributes
    ----------
    line : LineString
        [m].
    row : int
    why : str
        As a phrase: ``shorter than runs.shortest``.
    """

    line: LineString
    row: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Laying:
    """The runs of one pattern on one bed.

    Attributes
    ----------
    pattern : Pattern
        Never ``best``.
    runs : tuple of Run
        By row from left to right, and along the row from the manifold end.
    dropped : tuple of Dropped
    carries : tuple of Join
        Blank tubing that carries a line past an obstacle from one run to the next.
    """

    pattern: Pattern
    runs: tuple[Run, ...]
    dropped: tuple[Dropped, ...] = ()
    carries: tuple[Join, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """Blank tubing between two runs.

    Attributes
    ----------
    kind : "loop" or "blank"
        A loop at the ends of neighbouring runs; blank tubing past an obstacle.
    start, end : str
        Names of the runs it leaves and enters.
    line : LineString
        In the direction of flow from the supply [m].
    """

    kind: Literal["loop", "blank"]
    start: str
    end: str
    line: LineString


@dataclass(frozen=True, slots=True, kw_only=True)
class Lateral:
    """Runs joined end to end, fed at one place.

    Attributes
    ----------
    name : str
        ``L1``, ``L2`` … from left to right.
    runs : tuple of str
        In the order the water takes.
    length : float
        Of emitting tubing [m].
    blank : float
        Of loops and blank tubing [m].
    supply, drain : (x, y)
        The ends that go to the supply and to the return manifold [m].
    returns_near : bool
        True where both ends stand at the manifold end of the bed.
    """

    name: str
    runs: tuple[str, ...]
    length: float
    blank: float
    supply: XY
    drain: XY
    returns_near: bool


PipeKind = Literal["supply", "return"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pipe:
    """A manifold, or a line between pump and manifold.

    Attributes
    ----------
    kind : "supply" or "return"
    line : LineString
        A supply from the pump on, a return towards the pump [m].
    diameter : float
        Nominal [m].
    """

    kind: PipeKind
    line: LineString
    diameter: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Riser:
    """The short pipe from a manifold to a run end.

    Attributes
    ----------
    kind : "supply" or "return"
    lateral : str
    line : LineString
        From the manifold to the end of the tubing [m].
    """

    kind: PipeKind
    lateral: str
    line: LineString


@dataclass(frozen=True, slots=True, kw_only=True)
class Plumbing:
    """Manifolds, risers, and the lines to the pump.

    Attributes
    ----------
    manifolds : tuple of Pipe
    risers : tuple of Riser
    lines : tuple of Pipe
        Empty where the pump's place is not known.
    crossings : tuple of (str, (x, y))
        Features whose own shape a manifold, riser or line crosses, and where [m].
    """

    manifolds: tuple[Pipe, ...]
    risers: tuple[Riser, ...]
    lines: tuple[Pipe, ...]
    crossings: tuple[tuple[str, XY], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EmitterRow:
    """The emitters of one run.

    Attributes
    ----------
    run : str
    points : tuple of (x, y)
        From the manifold end, the first half an emitter spacing in [m].
    flow : float
        Of all of them together [m³/s].
    """

    run: str
    points: tuple[XY, ...]
    flow: float

    @property
    def count(self) -> int:
        """Number of emitters."""
        return len(self.points)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """The ground that each emitter doses, in the order of the emitters.

    Attributes
    ----------
    shapes : tuple of Polygon or MultiPolygon
        [m]; a multipolygon may be empty.
    areas : tuple of float
        [m²].
    flows : tuple of float
        Of each emitter [m³/s].
    inner : tuple of bool
        Whether the emitter stands farther than one run spacing from the edge of the bed.
    """

    shapes: tuple[Polygon | MultiPolygon, ...]
    areas: tuple[float, ...]
    flows: tuple[float, ...]
    inner: tuple[bool, ...]

    def __post_init__(self) -> None:
        counts = {len(self.shapes), len(self.areas), len(self.flows), len(self.inner)}
        _need(len(counts) == 1, "a cell has a shape, an area and a flow")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How well the runs cover the usable ground.

    Attributes
    ----------
    covered : float
        Share of usable ground within half a spacing of tubing, 0 to 1.
    dry : float
        Distance of the farthest usable point from any tubing [m].
    dry_at : (x, y)
        That point [m].
    gap_least, gap_greatest : float or None
        Least and greatest distance from a point of a run to the next run beside it [m]; None with one run.
    gap_p5, gap_p95 : float or None
        5th and 95th percentile of the same [m].
    bend_least : float or None
        Radius of the tightest bend [m]; None where all runs are straight.
    bend_at : (x, y) or None
        Where it is [m].
    clearance_least : float
        Least distance from tubing to the bed's outline [m].
    """

    covered: float
    dry: float
    dry_at: XY
    gap_least: float | None
    gap_greatest: float | None
    gap_p5: float | None
    gap_p95: float | None
    bend_least: float | None
    bend_at: XY | None
    clearance_least: float


Follows = Literal["outline", "usable ground", "rectangle"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One pattern that was tried.

    Attributes
    ----------
    pattern : Pattern
    follows : "outline", "usable ground" or "rectangle"
        Whose long sides it follows: the outline's, those of what setbacks leave of it, or the straight ones of the
        smallest rectangle round it.
    tubing : float
        Total length of runs [m].
    runs : int
    dropped : int
        Pieces left out.
    fed : float
        Share of tubing on runs that start at the manifold end, 0 to 1.
    coverage : Coverage
    score : float
        The less the better; see :func:`layout.coverage.score`.
    """

    pattern: Pattern
    follows: Follows = "outline"
    tubing: float
    runs: int
    dropped: int
    fed: float
    coverage: Coverage
    score: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A pattern as it was laid, with the figures it is ranked by.

    Attributes
    ----------
    candidate : Candidate
    laying : Laying
    sides : Sides
        Those it followed.
    """

    candidate: Candidate
    laying: Laying
    sides: Sides


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSlope:
    """How steeply the ground rises or falls along one run.

    Attributes
    ----------
    run : str
    greatest : float or None
        Greatest slope over one row spacing of its length; None where the ground under it was not surveyed.
    at : (x, y) or None
        Where that is [m].
    """

    run: str
    greatest: float | None
    at: XY | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """The whole field in a few figures.

    Attributes
    ----------
    tubing : float
        Of all runs [m].
    blank : float
        Of loops and blank tubing [m].
    emitters : int
    flow : float
        Of all emitters [m³/s].
    cell_mean : float or None
        Mean ground of an inner emitter [m²]; None where no cells were made.
    cell_cv : float or None
        Coefficient of variation of the same; see :func:`layout.cells.evenness`.
    """

    tubing: float
    blank: float
    emitters: int
    flow: float
    cell_mean: float | None = None
    cell_cv: float | None = None


Unit = Literal["length", "area", "count", "ratio", "flow", "loading"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A design check that can pass or fail.

    Attributes
    ----------
    name : str
        As a reviewer would write it: ``least gap between runs``.
    value, limit : float
        SI; an infinite limit where none is stated and the figure is for information.
    unit : Unit
        What kind of figure they are, so that sheets can print them in the site's units.
    sense : "least" or "most"
        Whether the limit is the least or the most the value may be.
    ok : bool
    source : str
        Where the limit comes from: a key of the site file, or a published source.
    place : str
        Where it fails, in words, with site coordinates where it has them; empty when it does not.
    """

    name: str
    value: float
    limit: float
    unit: Unit
    sense: Literal["least", "most"]
    ok: bool
    source: str
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something to look at, though the plan stands.

    Attributes
    ----------
    code : str
        Short and stable: ``dropped-piece``.
    said : str
        What, with its place, in the site's units.
    remedy : str
    """

    code: str
    said: str
    remedy: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One line of the takeoff, in SI for lengths and areas and in pieces for counts.

    Attributes
    ----------
    item : str
        Stable key: ``emitting tubing``.
    description : str
    unit : "length", "area" or "each"
    net : float
        As laid out: [m], [m²] or pieces.
    waste : float
        Share added, 0.05 for 5 %.
    pack : float
        How it is sold: [m] a coil or pipe length, pieces a box; 0 for by the unit.
    """

    item: str
    description: str
    unit: Literal["length", "area", "each"]
    net: float
    waste: float = 0.0
    pack: float = 0.0

    @property
    def order(self) -> float:
        """What to order, in the unit: net with waste, rounded up to whole packs (pieces to whole ones)."""
        wanted = self.net * (1.0 + self.waste)
        pack = self.pack or (1.0 if self.unit == "each" else 0.0)
        return math.ceil(wanted / pack - 1e-9) * pack if pack else wanted


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """The finished field: all that the sheets print."""

    site: Site
    ground: UsableGround
    sides: Sides
    laying: Laying
    candidates: tuple[Candidate, ...]
    laterals: tuple[Lateral, ...]
    joins: tuple[Join, ...]
    plumbing: Plumbing
    emitters: tuple[EmitterRow, ...]
    coverage: Coverage
    totals: Totals
    checks: tuple[Check, ...]
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...] = field(default=())
    cells: Cells | None = None
    """None where no cells were made."""
    slopes: tuple[RunSlope, ...] = field(default=())
    """Of the runs, in their order; empty where levels are not surveyed."""


def xy(point: Point) -> XY:
    """The coordinates of a shapely point as plain floats."""
    return (float(point.x), float(point.y))


def site_place(frame: Frame, at: tuple[float, ...]) -> str:
    """A local point in words, in site coordinates to a hundredth: ``(512.40, 1033.75)``."""
    x, y = (zero + local / frame.units.length for zero, local in zip(frame.origin, at[:2], strict=True))
    return f"({x:.2f}, {y:.2f})"
