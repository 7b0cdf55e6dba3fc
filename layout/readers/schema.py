"""The site file key by key: what may stand there, what it means, and what holds where it is left out.

Every key states what it is (`description`) and how it is written (`examples`); faults quote both.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, NamedTuple, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from layout.readers.plausible import other_units
from layout.readers.values import (
    Band,
    BaselinePoints,
    Count,
    CountOrBest,
    Curve,
    DrawingUnits,
    End,
    Flag,
    Flow,
    FrictionWord,
    Kind,
    Lettered,
    Level,
    Levels,
    PaperSize,
    PatternWord,
    PerCent,
    PlotScale,
    Point,
    Positive,
    Printable,
    Range,
    RoundingWord,
    Shape,
    Share,
    SidesWord,
    Smoothness,
    Temperature,
    Ties,
    ZeroOrMore,
)
from layout.readers.wastes import Waste

MOST_FEATURES = 5000

DEFAULTS: dict[str, tuple[Any, Any]] = {
    "bed.clearance": (1.0, 0.3),
    "tubing.bend_radius": (2.0, 0.6),
    "tubing.pressure_range": ((7.0, 60.0), (50.0, 400.0)),
    "tubing.coil": (500.0, 150.0),
    "runs.shortest": (10.0, 3.0),
    "laterals.longest": (300.0, 90.0),
    "manifold.supply_diameter": (1.0, 25.0),
    "manifold.return_diameter": (1.0, 25.0),
    "manifold.offset": (1.0, 0.3),
    "design.water_temperature": (60.0, 15.0),
    "stakeout.interval": (10.0, 3.0),
    "stakeout.tolerance": (0.1, 0.03),
    "stakeout.laid_within": (0.5, 0.15),
}
"""What holds where a key is left out: with units ft or us-ft, and with m."""
WIDEST_OVER_SPACING = 1.5
"""The greatest gap between runs, where it is left out, over their spacing."""
LEAST_PITCH = 1.0
"""The least fall of the return line, where it is left out, in per cent."""

# --- tables ---------------------------------------------------------------------------------------------


class Rule(NamedTuple):
    """A rule between the keys of a table that is broken."""

    said: str
    remedy: str
    keys: tuple[str, ...]
    """The first is the one to mend."""


class Table(BaseModel):
    """What all tables share: no key but the known ones, and the rules between them."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    def broken(self) -> list[Rule]:
        """List the rules between keys that this table breaks."""
        return []

    @model_validator(mode="after")
    def _keeps_its_rules(self) -> Self:
        rules = self.broken()
        if rules:
            raise PydanticCustomError("rules", "rules between keys", {"rules": rules})
        return self


class SurveyTable(Table):
    """``[survey]``."""

    crs: Annotated[str, Field(max_length=20_000)] | None = Field(
        default=None,
        description="the projected CRS of the plan coordinates",
        examples=['crs = "EPSG:6494"'],
    )
    drawing_units: DrawingUnits | None = Field(
        default=None,
        description="the units of the coordinates in drawings, whatever their headers say",
        examples=['drawing_units = "ft"'],
    )


class BedTable(Table):
    """``[bed]``."""

    outline: Shape = Field(
        description="the outline of the bed, a file or its points",
        examples=['outline = "bed.csv"'],
    )
    clearance: ZeroOrMore | None = Field(
        default=None,
        description="the least distance from the bed's edge to a tubing centre line",
        examples=["clearance = 1.0"],
    )
    smooth: Positive | None = Field(
        default=None,
        description="how far smoothing may move a walked outline; left out, it is not smoothed",
        examples=["smooth = 0.5"],
    )
    levels: Levels = Field(
        default=None,
        description="the ground's levels, a file of x, y, z points or one number",
        examples=['levels = "levels.csv"'],
    )


class FeatureTable(Table):
    """``[[feature]]``."""

    name: Annotated[str, Field(max_length=100), Printable] | None = Field(
        default=None, description="what the feature is called", examples=['name = "dwelling"']
    )
    kind: Kind = Field(default="other", description="what the feature is", examples=['kind = "building"'])
    shape: Shape = Field(
        description="where the feature is, a file or its points", examples=['shape = "dwelling.csv"']
    )
    setback: ZeroOrMore = Field(
        description="the distance tubing keeps from it", examples=["setback = 15.0 (an example value)"]
    )
    inside: Flag = Field(
        default=False, description="whether it stands in the bed", examples=["inside = true"]
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
        description="the distance from the side followed to the first run (patterns left, right)",
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

    def broken(self) -> list[Rule]:
        """List that both keys stand there, or neither."""
        if (self.count is None) != (self.most_flow is None):
            return []
        said = "of count and most_flow " + (
            "only one can hold" if self.count is not None else "one must be given"
        )
        remedy = "Write count for a number of zones, or most_flow for as few as that flow allows; not both."
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


class StakeoutTable(Table):
    """``[stakeout]``."""

    interval: Positive | None = Field(
        default=None, description="the greatest distance between stakes", examples=["interval = 10.0"]
    )
    tolerance: Positive | None = Field(
        default=None,
        description="the greatest mid-ordinate between run and chord",
        examples=["tolerance = 0.1"],
    )
    ties: Ties = Field(
        default=(),
        description="fixed points for swing ties",
        examples=["ties = [[0.0, 0.0], [40.0, 0.0]]"],
    )
    baseline: BaselinePoints | None = Field(
        default=None,
        description="the line that stations and offsets are measured from, by two points",
        examples=["baseline = [[0.0, 0.0], [100.0, 0.0]]"],
    )
    rounding: RoundingWord | None = Field(
        default=None,
        description="what tapes are read to",
        examples=['rounding = "0.05 ft"'],
    )
    laid_within: Positive | None = Field(
        default=None,
        description="how far from the plan tubing may be laid",
        examples=["laid_within = 0.5"],
    )


class SheetTable(Table):
    """``[sheet]``."""

    size: PaperSize | None = Field(
        default=None, description="the size of the drawing sheets", examples=['size = "ANSI D"']
    )
    scale: PlotScale | None = Field(
        default=None, description="the scale of the plan", examples=['scale = "1 in = 20 ft"']
    )
    title: Lettered = Field(
        default="",
        description="the title of the drawings, under that of the site",
        examples=['title = "Drip dispersal bed, construction plan"'],
    )
    date: Lettered = Field(
        default="", description="the date in the title block", examples=['date = "2025-03-14"']
    )
    drawn_by: Lettered = Field(
        default="", description="who drew it, for the title block", examples=['drawn_by = "A. B."']
    )
    checked_by: Lettered = Field(
        default="", description="who checked it, for the title block", examples=['checked_by = "C. D."']
    )
    revision: Lettered = Field(
        default="", description="the revision in the title block", examples=['revision = "1"']
    )


class TakeoffTable(Table):
    """``[takeoff]``."""

    waste: Waste = Field(
        default=None,
        description="what is added for waste, in per cent: of tubing and pipe, or item by item",
        examples=["waste = 5.0", 'waste = { "tubing and pipe" = 5.0, "emitting tubing" = 8.0 }'],
    )
    prices: Annotated[str, Field(max_length=1000)] | None = Field(
        default=None, description="the file with your prices", examples=['prices = "prices.csv"']
    )
    pipe: Positive | None = Field(
        default=None, description="the length of a pipe as sold", examples=["pipe = 20.0"]
    )
    blank_coil: Positive | None = Field(
        default=None,
        description="the length of one coil of tubing without emitters",
        examples=["blank_coil = 100.0"],
    )
    staple_interval: Positive | None = Field(
        default=None,
        description="the greatest distance between staples along tubing",
        examples=["staple_interval = 4.0"],
    )
    staple_box: Count = Field(
        default=1, description="the number of staples in a box", examples=["staple_box = 100"]
    )
    paint: Positive | None = Field(
        default=None,
        description="the length of line that one can of marking paint marks",
        examples=["paint = 500.0"],
    )
    cover_depth: Positive | None = Field(
        default=None, description="the depth of fill over the bed", examples=["cover_depth = 0.5"]
    )
    sand_depth: Positive | None = Field(
        default=None, description="the depth of sand in pipe trenches", examples=["sand_depth = 0.33"]
    )
    trench_width: Positive | None = Field(
        default=None, description="the width of pipe trenches", examples=["trench_width = 1.0"]
    )

    def broken(self) -> list[Rule]:
        """List sand without its depth or width."""
        if (self.sand_depth is None) == (self.trench_width is None):
            return []
        given, missing = ("sand_depth", "trench_width")[:: 1 if self.trench_width is None else -1]
        return [
            Rule(f"{given} is given, {missing} is not", f"Sand needs both: add {missing}.", (missing, given))
        ]


class SiteTable(Table):
    """The whole file."""

    title: Annotated[str, Field(max_length=200), Printable] | None = Field(
        default=None, description="the title on the sheets", examples=['title = "Lot 12"']
    )
    units: Literal["ft", "us-ft", "m"] = Field(
        description='the units: "ft" international foot, "us-ft" US survey foot, "m" metre',
        examples=['units = "ft"'],
    )
    survey: SurveyTable = SurveyTable()
    bed: BedTable
    feature: list[FeatureTable] = Field(default=[], max_length=MOST_FEATURES)
    tubing: TubingTable
    runs: RunsTable
    laterals: LateralsTable = LateralsTable()
    manifold: ManifoldTable = ManifoldTable()
    zones: ZonesTable | None = None
    pump: PumpTable | None = None
    design: DesignTable = DesignTable()
    stakeout: StakeoutTable = StakeoutTable()
    sheet: SheetTable = SheetTable()
    takeoff: TakeoffTable = TakeoffTable()

    def broken(self) -> list[Rule]:
        """List figures of water that cannot be in the units of the site."""
        pressures = self.tubing.pressure_range
        figures = {
            "tubing.inside_diameter": self.tubing.inside_diameter,
            "tubing.emitter_flow": self.tubing.emitter_flow,
            "tubing.pressure_range": None if pressures is None else pressures[1],
            "design.flush_velocity": self.design.flush_velocity,
        }
        odd = other_units(figures, metric=self.units == "m")
        return [
            *self._frozen(),
            *self._deep(),
            *(Rule(said, remedy, (key, "units")) for key, said, remedy in odd),
        ]

    def _deep(self) -> list[Rule]:
        """List depths and widths of ground work that can only be in another unit."""
        most, name, other = (1.0, "m", "mm") if self.units == "m" else (3.0, "ft", "inches")
        found = []
        for key in ("cover_depth", "sand_depth", "trench_width"):
            value = getattr(self.takeoff, key)
            if value is not None and value > most:
                said = f"{value:g} {name} is more than {most:g} {name}"
                remedy = f"Lengths are in {name}, not in {other}: check it."
                found.append(Rule(said, remedy, (f"takeoff.{key}", "units")))
        return found

    def _frozen(self) -> list[Rule]:
        """List water that is ice or steam."""
        given, metric = self.design.water_temperature, self.units == "m"
        least, most, name = (0.0, 100.0, "°C") if metric else (32.0, 212.0, "°F")
        if given is None or least <= given <= most:
            return []
        said = (
            f"{given:g} {name} is no temperature of water, which lies between {least:g} and {most:g} {name}"
        )
        remedy = f'Write water_temperature in {name}, which goes with units = "{self.units}".'
        return [Rule(said, remedy, ("design.water_temperature", "units"))]
