"""Keys of stakes, sheets and takeoff."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from layout.readers.schema.base import Rule, Table
from layout.readers.values import (
    BaselinePoints,
    Count,
    Lettered,
    PaperSize,
    PlotScale,
    Positive,
    RoundingWord,
    Ties,
)
from layout.readers.wastes import Waste


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
