"""The site file key by key: what may stand there, what it means, and what holds where it is left out.

Every key states what it is (`description`) and how it is written (`examples`); faults quote both.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from layout.readers.plausible import other_units
from layout.readers.schema.base import DEFAULTS, LEAST_PITCH, WIDEST_OVER_SPACING, Rule, Table
from layout.readers.schema.field import (
    DesignTable,
    LateralsTable,
    ManifoldTable,
    PumpTable,
    RunsTable,
    TubingTable,
    ZonesTable,
)
from layout.readers.schema.ground import BedTable, FeatureTable, SurveyTable
from layout.readers.schema.paperwork import SheetTable, StakeoutTable, TakeoffTable
from layout.readers.values import Printable

__all__ = ["DEFAULTS", "LEAST_PITCH", "WIDEST_OVER_SPACING", "FeatureTable", "SiteTable", "Table"]

MOST_FEATURES = 5000


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
