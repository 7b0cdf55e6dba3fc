"""What is drawn for CAD only: stakes with their figures, on a layer that is not plotted."""

from __future__ import annotations

from layout.model import Design, Stake
from layout.sheets import layers
from layout.sheets.figures import Figures, plain
from layout.sheets.marks import Mark, Symbol, Text

STAKE = 0.05
"""Width of a stake's symbol [in]."""
LETTER = 0.05
"""Height of a stake's number [in]."""


def cad_marks(design: Design, figures: Figures, metres_per_inch: float) -> list[Mark]:
    """Set a symbol at every stake that tells number, kind, place and height, and letter its number beside it.

    Parameters
    ----------
    design : Design
    figures : Figures
    metres_per_inch : float
        Of the plan, for the size of symbols and numbers.

    Returns
    -------
    list of Mark
        In the local plane [m]; empty where nothing is staked.
    """
    marks: list[Mark] = []
    for stake in design.staking.stakes if design.staking is not None else ():
        symbol = Symbol(
            layer=layers.STAKE,
            name="stake",
            at=stake.at,
            size=STAKE,
            attributes=_attributes(stake, design, figures),
        )
        beside = (
            stake.at[0] + 0.7 * STAKE * metres_per_inch,
            stake.at[1] + 0.7 * STAKE * metres_per_inch,
        )
        number = Text(layer=layers.STAKE, text=str(stake.number), at=beside, height=LETTER)
        marks += [symbol, number]
    return marks


def _attributes(stake: Stake, design: Design, figures: Figures) -> tuple[tuple[str, str], ...]:
    frame = design.site.frame
    east, north = (
        zero + local / frame.units.length for zero, local in zip(frame.origin, stake.at, strict=True)
    )
    return (
        ("NUMBER", str(stake.number)),
        ("KIND", stake.kind),
        ("MARKS", stake.description),
        ("EASTING", plain(east, 3, thousands=False)),
        ("NORTHING", plain(north, 3, thousands=False)),
        ("HEIGHT", "" if stake.height is None else figures.length(stake.height)),
        ("RUN", stake.run),
        ("STATION", "" if stake.station is None else figures.length(stake.station)),
    )
