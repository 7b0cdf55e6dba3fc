"""What the user states of stakes, sheets and takeoff."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from layout.model.base import XY, need

Rounding = Literal["0.05 ft", "1/8 in", "1 cm"]
"""What tapes are read to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StakeRules:
    """How runs are staked.

    Attributes
    ----------
    interval : float
        Greatest distance between stakes along a run [m].
    tolerance : float
        Greatest mid-ordinate between the run and the chord from stake to stake [m].
    ties : tuple of (name, (x, y))
        Fixed points for swing ties [m]; empty, or at least two.
    baseline : ((x, y), (x, y)) or None
        From station 0 on [m]; None: one is chosen.
    rounding : "0.05 ft", "1/8 in", "1 cm" or None
        Of distances; None: as suits the site's units.
    laid_within : float
        How far from the plan tubing may be laid [m].
    laid_within_stated : bool
        Whether the user stated it.
    """

    interval: float
    tolerance: float
    ties: tuple[tuple[str, XY], ...] = ()
    baseline: tuple[XY, XY] | None = None
    rounding: Rounding | None = None
    laid_within: float = 0.1524
    laid_within_stated: bool = False

    def __post_init__(self) -> None:
        need(self.interval > 0 and self.tolerance > 0, "interval and tolerance are over 0")
        need(self.laid_within > 0, "tubing is laid within some distance of the plan")


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRules:
    """What the drawings are to be like; what is not stated is chosen, or left blank to be filled in by hand.

    Attributes
    ----------
    size : str
        Of the sheets, one of :data:`layout.papers.SIZES`; empty: chosen.
    ratio : float or None
        Scale of the plan, ground over paper: 240 for 1 in = 20 ft; None: chosen.
    title : str
        Of the drawings, under that of the site; empty: what they show.
    date, drawn_by, checked_by, revision : str
        As the title block has them; empty: blank.
    """

    size: str = ""
    ratio: float | None = None
    title: str = ""
    date: str = ""
    drawn_by: str = ""
    checked_by: str = ""
    revision: str = ""

    def __post_init__(self) -> None:
        need(self.ratio is None or self.ratio > 0, "a scale is over 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What one item of the takeoff costs, in money of the user's.

    Attributes
    ----------
    item : str
    amount : float
        For one unit [1/m, 1/m³ or 1/piece], or for one pack.
    per : "unit" or "pack"
    size : float or None
        Nominal diameter of the pipe that it is for [m]; None: of any size.
    """

    item: str
    amount: float
    per: Literal["unit", "pack"]
    size: float | None = None

    def __post_init__(self) -> None:
        need(self.amount >= 0, "a price is 0 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeoffRules:
    """What is added to the quantities laid out, and how things are sold; None: as is common.

    Attributes
    ----------
    waste : float
        Share added to tubing and pipe.
    wastes : tuple of (str, float)
        Share added to single items.
    pipe : float or None
        Length of a pipe as sold [m].
    blank_coil : float or None
        Length of one coil of blank tubing [m]; None: it is cut to length where it is bought.
    staple_interval : float or None
        Greatest distance between staples along tubing [m]; None: no staples.
    staple_box : int
        Staples in a box.
    paint : float or None
        Length that one can of marking paint marks [m].
    cover_depth : float or None
        Of fill over the whole bed [m].
    sand_depth, trench_width : float or None
        Of sand in the trenches of pipes [m]; both, or none.
    prices : tuple of Price
    """

    waste: float = 0.05
    wastes: tuple[tuple[str, float], ...] = ()
    pipe: float | None = None
    blank_coil: float | None = None
    staple_interval: float | None = None
    staple_box: int = 1
    paint: float | None = None
    cover_depth: float | None = None
    sand_depth: float | None = None
    trench_width: float | None = None
    prices: tuple[Price, ...] = ()

    def __post_init__(self) -> None:
        need(all(0 <= share <= 1 for share in (self.waste, *dict(self.wastes).values())), "waste is a share")
        need((self.sand_depth is None) == (self.trench_width is None), "sand has a depth and a width")

    def waste_of(self, item: str, usual: float) -> float:
        """The share added to an item; `usual` where it is not stated."""
        return dict(self.wastes).get(item, usual)
