"""The nouns: small immutable values that the stages pass to each other.

All lengths [m], coordinates [m] in the site's local plane, flows [m³/s], heads [m of water].
A noun plans nothing, draws nothing and writes nothing; a wrong one cannot be made.

Trade words: a *run* is one continuous length of emitting tubing; a *lateral* is one or more runs joined
end to end and fed at one place; a *loop* joins the ends of neighbouring runs; a *riser* brings the end of a
run up or down to its manifold; *blank* tubing has no emitters.

By life stage: `site` is what the user states (its parts are in `ground`, `rules` and `paperwork`), `field` what is laid
out, `zoned` the same by zones, `staked` how it is found on the ground, `cut` how it is cut from coils, `design` what
comes of it, `asbuilt` what was really laid. All are imported from here.
"""

from __future__ import annotations

from layout.model.asbuilt import AsBuilt, Astray, LaidRun, SetbackLaid, Shot, Verdict
from layout.model.base import XY, need, xy
from layout.model.cut import Coil, Cut, CutList, Splice
from layout.model.design import (
    Candidate,
    Check,
    Coverage,
    Design,
    EndTrial,
    Finding,
    Part,
    RunSlope,
    Totals,
    Trial,
    Unit,
)
from layout.model.field import (
    Cells,
    Dropped,
    EmitterRow,
    Join,
    Lateral,
    Laying,
    Lobe,
    Run,
    Sides,
    Take,
    UsableGround,
    begun_at_end,
)
from layout.model.ground import (
    NAMED,
    Bed,
    Feature,
    FeatureKind,
    Frame,
    Levels,
    listed,
    places_in,
    site_place,
)
from layout.model.paperwork import Price, Rounding, SheetRules, StakeRules, TakeoffRules
from layout.model.plumbing import (
    Fitting,
    FittingKind,
    NoWay,
    Pipe,
    PipeKind,
    Plumbing,
    Riser,
    Trench,
)
from layout.model.rules import (
    DesignBasis,
    Follows,
    LateralRules,
    ManifoldRules,
    Pattern,
    Pump,
    RunRules,
    Tubing,
    ZoneRules,
)
from layout.model.site import Site
from layout.model.staked import Offset, Side, Stake, StakeKind, Staking, Swing, SwingTie
from layout.model.water import (
    AtEmitter,
    AtValve,
    Doses,
    FlowReading,
    Hydraulics,
    RunWater,
    Volumes,
    WaterState,
    ZoneWater,
)
from layout.model.zoned import Zone, ZoneLevels

__all__ = [
    "NAMED",
    "XY",
    "AsBuilt",
    "Astray",
    "AtEmitter",
    "AtValve",
    "Bed",
    "Candidate",
    "Cells",
    "Check",
    "Coil",
    "Coverage",
    "Cut",
    "CutList",
    "Design",
    "DesignBasis",
    "Doses",
    "Dropped",
    "EmitterRow",
    "EndTrial",
    "Feature",
    "FeatureKind",
    "Finding",
    "Fitting",
    "FittingKind",
    "FlowReading",
    "Follows",
    "Frame",
    "Hydraulics",
    "Join",
    "LaidRun",
    "Lateral",
    "LateralRules",
    "Laying",
    "Levels",
    "Lobe",
    "ManifoldRules",
    "NoWay",
    "Offset",
    "Part",
    "Pattern",
    "Pipe",
    "PipeKind",
    "Plumbing",
    "Price",
    "Pump",
    "Riser",
    "Rounding",
    "Run",
    "RunRules",
    "RunSlope",
    "RunWater",
    "SetbackLaid",
    "SheetRules",
    "Shot",
    "Side",
    "Sides",
    "Site",
    "Splice",
    "Stake",
    "StakeKind",
    "StakeRules",
    "Staking",
    "Swing",
    "SwingTie",
    "Take",
    "TakeoffRules",
    "Totals",
    "Trench",
    "Trial",
    "Tubing",
    "Unit",
    "UsableGround",
    "Verdict",
    "Volumes",
    "WaterState",
    "Zone",
    "ZoneLevels",
    "ZoneRules",
    "ZoneWater",
    "begun_at_end",
    "listed",
    "need",
    "places_in",
    "site_place",
    "xy",
]
