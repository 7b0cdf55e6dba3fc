"""The stake-out: points on the ground, and how tapes find them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from layout.model.base import XY, need

StakeKind = Literal[
    "baseline",
    "bed corner",
    "bed edge",
    "run end",
    "run",
    "blank",
    "manifold end",
    "riser",
    "valve",
    "bend",
    "line end",
]
"""What a stake marks; one that marks several things is of the first kind it was set for."""
Side = Literal["left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SwingTie:
    """One of the two distances that find a stake.

    Attributes
    ----------
    name : str
        Of the fixed point.
    at : (x, y)
        The fixed point [m].
    distance : float
        Level, rounded for the tape [m].
    """

    name: str
    at: XY
    distance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """Two swing ties, and what is to be known of the place where they meet.

    Attributes
    ----------
    ties : (SwingTie, SwingTie)
    side : "left" or "right"
        Where the stake lies for one who stands at the first fixed point and faces the second: the mirror point, on
        the other side, has the same distances.
    crossing : float
        Angle at which the tapes cross at the stake, 0 to pi [rad].
    error : float
        How far from the stake rounded distances can lead at most [m].
    blocked : bool
        Whether a building, tank, well, tree or water lies across one of the tapes.
    """

    ties: tuple[SwingTie, SwingTie]
    side: Side
    crossing: float
    error: float
    blocked: bool = False

    def __post_init__(self) -> None:
        need(self.ties[0].at != self.ties[1].at, "two ties have two fixed points")


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """A stake as seen from the baseline.

    Attributes
    ----------
    station : float
        Along the baseline from its start, rounded for the tape [m]; below 0 before the start.
    offset : float
        Square to it, to the right over 0, to the left below, rounded for the tape [m].
    error : float
        How far from the stake rounded figures can lead at most [m].
    """

    station: float
    offset: float
    error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stake:
    """One point of the stake-out.

    Attributes
    ----------
    number : int
        From 1, in walking order.
    kind : StakeKind
    at : (x, y)
        As printed: where coordinates rounded to :attr:`Staking.grain` lie [m].
    height : float or None
        Of the ground [m]; None where it was not surveyed.
    run : str
        The run it stands on; empty elsewhere.
    station : float or None
        Along that run from its manifold end [m], rounded for the tape.
    description : str
        What it marks, short and without commas.
    baseline : Offset
    swing : Swing or None
        None where no two fixed points lead to it.
    """

    number: int
    kind: StakeKind
    at: XY
    height: float | None
    run: str
    station: float | None
    description: str
    baseline: Offset
    swing: Swing | None = None

    def __post_init__(self) -> None:
        need(self.number >= 1 and bool(self.description), "a stake has a number from 1 and a description")
        need("," not in self.description and '"' not in self.description, "descriptions go into point files")


@dataclass(frozen=True, slots=True, kw_only=True)
class Staking:
    """The whole stake-out.

    Attributes
    ----------
    stakes : tuple of Stake
        By number.
    baseline : ((x, y), (x, y))
        From station 0 on [m].
    given : bool
        Whether the user gave the baseline; a chosen one has stakes at its ends.
    blocked_by : tuple of str
        Features that stand in the way of the baseline, and property lines that it crosses; a chosen one has some only
        where none was found that has none.
    step : float
        What distances are rounded to [m].
    grain : float
        What coordinates are rounded to [m].
    """

    stakes: tuple[Stake, ...]
    baseline: tuple[XY, XY]
    given: bool
    blocked_by: tuple[str, ...] = ()
    step: float
    grain: float
