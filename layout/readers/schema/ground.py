"""Keys of the ground: survey, bed, features."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from layout.readers.schema.base import Table
from layout.readers.values import (
    DrawingUnits,
    Flag,
    Kind,
    Levels,
    Positive,
    Printable,
    Shape,
    ZeroOrMore,
)


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
