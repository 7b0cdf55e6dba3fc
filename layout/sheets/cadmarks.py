"""What is drawn for CAD only, on layers that are not plotted: stakes and risers that tell what they are."""

from __future__ import annotations

from layout.model import XY, Design, Stake
from layout.sheets import layers
from layout.sheets.marks import Layer, Mark, Symbol, Text

Told = tuple[tuple[str, str], ...]
POINT = 0.05
"""Width of a symbol [in]."""
LETTER = 0.05
"""Height of the number or name beside it [in]."""
MOST_STAKES = 3000
"""Where there are more, those between the ends of runs are left to the point files: CAD would crawl."""


def cad_marks(design: Design, metres_per_inch: float) -> list[Mark]:
    """Set a symbol at the foot of every riser and at every stake, with its name beside it.

    A stake tells its number and what it marks, a riser its lateral, kind and zone.

    Parameters
    ----------
    design : Design
    metres_per_inch : float
        Of the plan, for the size of symbols and numbers.

    Returns
    -------
    list of Mark
        In the local plane [m]; a riser's symbol lies where it stands on its manifold.
    """
    marks: list[Mark] = []
    told: Told
    for riser in design.plumbing.risers:
        x, y = riser.line.coords[0][:2]
        told = (("LATERAL", riser.lateral), ("KIND", riser.kind), ("ZONE", f"Z{riser.zone}"))
        marks += _named(layers.RISER_POINT, "riser", (x, y), told, riser.lateral, metres_per_inch)
    for stake in _shown(design):
        number = str(stake.number)
        told = (("NUMBER", number), ("MARKS", stake.description))
        marks += _named(layers.STAKE, "stake", stake.at, told, number, metres_per_inch)
    return marks


def _shown(design: Design) -> list[Stake]:
    """The stakes that CAD shows: all, or of very many those that are not amid a run."""
    stakes = list(design.staking.stakes) if design.staking is not None else []
    if len(stakes) <= MOST_STAKES:
        return stakes
    return [stake for stake in stakes if stake.kind not in ("run", "blank")]


def _named(layer: Layer, symbol: str, at: XY, told: Told, name: str, metres_per_inch: float) -> list[Mark]:
    """Make a symbol with what it tells, and its name in plain text: not every reader shows the former."""
    beside = 0.7 * POINT * metres_per_inch
    return [
        Symbol(layer=layer, name=symbol, at=at, size=POINT, attributes=told),
        Text(layer=layer, text=name, at=(at[0] + beside, at[1] + beside), height=LETTER),
    ]
