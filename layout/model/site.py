"""The site, as the user states it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from shapely import Point

from layout.model.ground import Bed, Feature, FeatureKind, Frame
from layout.model.paperwork import SheetRules, StakeRules, TakeoffRules
from layout.model.rules import (
    DesignBasis,
    LateralRules,
    ManifoldRules,
    Pump,
    RunRules,
    Tubing,
    ZoneRules,
)


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
    sheet: SheetRules = field(default_factory=SheetRules)
    takeoff: TakeoffRules = field(default_factory=TakeoffRules)
    notes: tuple[str, ...] = ()
    """What the readers did that the user should know (a point dropped, an outline closed)."""

    @property
    def pump_house(self) -> tuple[Feature, ...]:
        """The tanks and buildings that the pump stands in; empty where none is, or where they have no area.

        A pump on a drive, on a slope or in anything else stands in the open there.
        """
        if self.pump is None:
            return ()
        at = Point(self.pump.at)
        return tuple(
            item
            for item in self.features
            if item.kind in {FeatureKind.TANK, FeatureKind.BUILDING}
            and item.shape.area > 0
            and item.shape.covers(at)
        )
