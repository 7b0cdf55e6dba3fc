"""Keys of the field: tubing, runs, laterals, manifolds, zones, pump, design."""

from __future__ import annotations

from pydantic import Field

from layout.readers.schema.base import WIDEST_OVER_SPACING, Rule, Table
from layout.readers.values import (
    Band,
    Count,
    CountOrBest,
    Curve,
    End,
    Flag,
    Flow,
    FrictionWord,
    Level,
    LinesWord,
    PatternWord,
    PerCent,
    Point,
    Positive,
    Range,
    Shape,
    Share,
    SidesWord,
    Smoothness,
    Temperature,
    ZeroOrMore,
)


class TubingTable(Table):
    """``[tubing]``."""

    emitter_spacing: Positive = Field(
        description="the distance from emitter to emitter along the tubing",
        examples=["emitter_spacing = 2.0"],
    )
    emitter_flow: Positive = Field(
        description="the flow of one emitter, per hour", examples=["emitter_flow = 0.60"]
    )
    bend_radius: ZeroOrMore | None = Field(
        default=None, description="the tightest bend a run may take", examples=["bend_radius = 2.0"]
    )
    inside_diameter: Positive | None = Field(
        default=None, description="the inside diameter of the tubing", examples=["inside_diameter = 0.55"]
    )
    pressure_range: Range = Field(
        default=None,
        description="the least and greatest pressure at which emitters keep their flow",
        examples=["pressure_range = [7.0, 60.0]"],
    )
    compensating: Flag = Field(
        default=True,
        description="whether emitters keep their flow at any pressure",
        examples=["compensating = true"],
    )
    emitter_pressure: Positive | None = Field(
        default=None,
        description="the pressure at which a non-compensating emitter gives emitter_flow",
        examples=["emitter_pressure = 20.0"],
    )
    emitter_exponent: Share | None = Field(
        default=None,
        description="the power of pressure that a non-compensating emitter's flow follows",
        examples=["emitter_exponent = 0.5"],
    )
    coil: Positive | None = Field(
        default=None, description="the length of one coil", examples=["coil = 500.0"]
    )

    def broken(self) -> list[Rule]:
        """List what a non-compensating emitter lacks."""
        keys = ("emitter_pressure", "emitter_exponent")
        missing = tuple(key for key in keys if getattr(self, key) is None)
        if self.compensating or not missing:
            return []
        said = f"compensating is false, so {' and '.join(missing)} must be given"
        remedy = (
            "Add emitter_pressure (where it gives emitter_flow) and emitter_exponent (0.5 for a turbulent "
            "emitter), or write compensating = true."
        )
        return [Rule(said, remedy, (*missing, "compensating"))]


class RunsTable(Table):
    """``[runs]``."""

    spacing: Positive = Field(description="the distance centre to centre of runs", examples=["spacing = 2.0"])
    pattern: PatternWord = Field(
        default="best", description="how runs follow the bed", examples=['pattern = "best"']
    )
    guide: Shape = Field(
        default=None, description="the line to follow, a file or its points", examples=['guide = "guide.csv"']
    )
    closest: Positive | None = Field(
        default=None, description="the least gap between runs (pattern even)", examples=["closest = 2.0"]
    )
    widest: Positive | None = Field(
        default=None, description="the greatest gap between runs (pattern even)", examples=["widest = 3.0"]
    )
    shortest: ZeroOrMore | None = Field(
        default=None, description="the length below which a piece is left out", examples=["shortest = 10.0"]
    )
    most: Count | None = Field(default=None, description="the most runs to lay", examples=["most = 8"])
    first: ZeroOrMore | None = Field(
        default=None,
        description="the distance from the side followed to the first run (patterns left, right, and even: both)",
        examples=["first = 1.5"],
    )
    sides: SidesWord | None = Field(
        default=None, description="whose long sides runs follow", examples=['sides = "outline"']
    )

    def broken(self) -> list[Rule]:
        """List gaps out of order, and a line to follow that is asked for but not there."""
        rules = []
        closest = self.spacing if self.closest is None else self.closest
        widest = WIDEST_OVER_SPACING * self.spacing if self.widest is None else self.widest
        if closest > widest:
            left_out = " (left out: the spacing)" if self.closest is None else ""
            other = f" (left out: {WIDEST_OVER_SPACING} x spacing)" if self.widest is None else ""
            given = tuple(key for key in ("closest", "widest") if getattr(self, key) is not None)
            said = f"closest, {closest:g}{left_out}, is over widest, {widest:g}{other}"
            rules.append(Rule(said, "Write closest at or under widest.", (*given, "spacing")))
        if self.pattern == "drawn" and self.guide is None:
            said = 'pattern is "drawn", so the line to follow must be given'
            remedy = 'Add guide = "guide.csv", or choose another pattern.'
            rules.append(Rule(said, remedy, ("guide", "pattern")))
        return rules


class LateralsTable(Table):
    """``[laterals]``."""

    runs: CountOrBest = Field(
        default=None, description="the number of runs joined into one lateral", examples=['runs = "best"']
    )
    longest: Positive | None = Field(
        default=None, description="the most tubing in one lateral", examples=["longest = 300.0"]
    )


class ManifoldTable(Table):
    """``[manifold]``."""

    end: End = Field(
        default="pump", description="the bed end where the manifolds stand", examples=['end = "pump"']
    )
    supply_diameter: Positive | None = Field(
        default=None, description="the nominal diameter of the supply", examples=["supply_diameter = 1.0"]
    )
    return_diameter: Positive | None = Field(
        default=None, description="the nominal diameter of the return", examples=["return_diameter = 1.0"]
    )
    offset: Positive | None = Field(
        default=None,
        description="how far beyond the run ends the supply trench lies, and the return beyond that",
        examples=["offset = 1.0"],
    )


class ZonesTable(Table):
    """``[zones]``."""

    count: Count | None = Field(default=None, description="the number of zones", examples=["count = 3"])
    most_flow: Positive | None = Field(
        default=None, description="the most flow of one zone", examples=["most_flow = 20.0"]
    )
    lines: LinesWord = Field(
        default="own",
        description="whether each manifold has lines of its own to the pump or all share a trunk",
        examples=['lines = "trunk"'],
    )

    def broken(self) -> list[Rule]:
        """List that both keys stand there, or neither."""
        if (self.count is None) != (self.most_flow is None):
            return []
        said = "of count and most_flow " + (
            "only one can hold" if self.count is not None else "one must be given"
        )
        remedy = "Write count for a number of zones, or most_flow for as few as that flow allows; not both."
        if self.count is None and self.lines == "trunk":
            remedy += ' lines = "trunk" needs one of them; with count = 1 the manifolds of one zone share the trunk.'
        return [Rule(said, remedy, ("count", "most_flow"))]


class PumpTable(Table):
    """``[pump]``."""

    at: Point = Field(description="where supply and return lines start", examples=["at = [12.0, 40.0]"])
    level: Level | None = Field(default=None, description="the liquid level", examples=["level = 96.0"])
    curve: Curve = Field(
        default=(), description="the pump's flow and head", examples=["curve = [[0, 70], [10, 55]]"]
    )


class DesignTable(Table):
    """``[design]``."""

    flow: Flow | None = Field(default=None, description="the flow per day", examples=["flow = 440.0"])
    loading: Positive | None = Field(
        default=None,
        description="what the ground takes per day and area",
        examples=["loading = 0.6 (an example value)"],
    )
    flush_velocity: Positive | None = Field(
        default=None,
        description="the velocity wanted at lateral ends in flushing",
        examples=["flush_velocity = 2.0"],
    )
    least_pitch: PerCent | None = Field(
        default=None,
        description="the least fall of the return line, in per cent of its length",
        examples=["least_pitch = 1.0"],
    )
    water_temperature: Temperature | None = Field(
        default=None,
        description="the temperature of the water, in °F, or in °C where units are m",
        examples=["water_temperature = 60.0"],
    )
    friction: FrictionWord = Field(
        default="darcy-weisbach",
        description="how the loss in pipes is worked out",
        examples=['friction = "darcy-weisbach"'],
    )
    smoothness: Smoothness = Field(
        default=140.0,
        description="the coefficient C of Hazen and Williams",
        examples=["smoothness = 140.0"],
    )
    filter_loss: ZeroOrMore | None = Field(
        default=None,
        description="the pressure that filters, meter and valves at the pump take",
        examples=["filter_loss = 5.0"],
    )
    dose_volumes: Positive | None = Field(
        default=None,
        description="the least dose, in volumes of the tubing",
        examples=["dose_volumes = 4.0 (an example value)"],
    )
    flow_band: Band = Field(
        default=0.10,
        description="the share of the flow by which a reading at start-up may be off",
        examples=["flow_band = 0.10"],
    )
