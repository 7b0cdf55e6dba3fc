"""The nouns: small immutable values that the stages pass to each other.

All lengths [m], coordinates [m] in the site's local plane, flows [m³/s], heads [m of water].
A noun plans nothing, draws nothing and writes nothing; a wrong one cannot be made.

Trade words: a *run* is one continuous length of emitting tubing; a *lateral* is one or more runs joined
end to end and fed at one place; a *loop* joins the ends of neighbouring runs; a *riser* brings the end of a
run up or down to its manifold; *blank* tubing has no emitters.

By life stage: `site` is what the user states, `field` what is laid out, `zoned` the same by zones, `staked` how it
is found on the ground, `design` what comes of it. All are imported from here.
"""

from __future__ import annotations

from layout.model.base import XY, need, xy
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
    Fitting,
    FittingKind,
    Join,
    Lateral,
    Laying,
    Lobe,
    NoWay,
    Pipe,
    PipeKind,
    Plumbing,
    Riser,
    Run,
    Sides,
    Take,
    Trench,
    UsableGround,
)
from layout.model.site import (
    Bed,
    DesignBasis,
    Feature,
    FeatureKind,
    Follows,
    Frame,
    LateralRules,
    Levels,
    ManifoldRules,
    Pattern,
    Pump,
    Rounding,
    RunRules,
    Site,
    StakeRules,
    Tubing,
    ZoneRules,
    site_place,
)
from layout.model.staked import Offset, Side, Stake, StakeKind, Staking, Swing, SwingTie
from layout.model.zoned import Zone, ZoneLevels

__all__ = [
    "XY",
    "Bed",
    "Candidate",
    "Cells",
    "Check",
    "Coverage",
    "Design",
    "DesignBasis",
    "Dropped",
    "EmitterRow",
    "EndTrial",
    "Feature",
    "FeatureKind",
    "Finding",
    "Fitting",
    "FittingKind",
    "Follows",
    "Frame",
    "Join",
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
    "Pump",
    "Riser",
    "Rounding",
    "Run",
    "RunRules",
    "RunSlope",
    "Side",
    "Sides",
    "Site",
    "Stake",
    "StakeKind",
    "StakeRules",
    "Staking",
    "Swing",
    "SwingTie",
    "Take",
    "Totals",
    "Trench",
    "Trial",
    "Tubing",
    "Unit",
    "UsableGround",
    "Zone",
    "ZoneLevels",
    "ZoneRules",
    "need",
    "site_place",
    "xy",
]
