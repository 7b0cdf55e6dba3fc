"""What all tables of the site file share, and what holds where a key is left out."""

from __future__ import annotations

from typing import Any, NamedTuple, Self

from pydantic import BaseModel, ConfigDict, model_validator
from pydantic_core import PydanticCustomError

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
