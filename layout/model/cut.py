"""What is cut from which coil, and in which order it is pulled."""

from __future__ import annotations

import math
from dataclasses import dataclass

from layout.model.base import XY, need


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One uncut piece of tubing.

    Attributes
    ----------
    run : str
        The run that it becomes, or a part of.
    start : float
        Where it begins, along the run from its manifold end [m].
    length : float
        As laid [m].
    taken : float
        Off the coil, with the waste, but never more than a whole coil [m].
    number, of : int
        The piece and the number of pieces of its run, both from 1.
    """

    run: str
    start: float
    length: float
    taken: float
    number: int = 1
    of: int = 1

    def __post_init__(self) -> None:
        need(self.length > 0 and 1 <= self.number <= self.of, "a piece has a length and a number")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """One coil.

    Attributes
    ----------
    number : int
        From 1, in the order of pulling.
    cuts : tuple of Cut
        In the order of pulling.
    left : float
        What remains [m].
    """

    number: int
    cuts: tuple[Cut, ...]
    left: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Splice:
    """A place where two pieces of one run meet.

    Attributes
    ----------
    run : str
    station : float
        Along the run from its manifold end [m].
    at : (x, y)
        [m].
    """

    run: str
    station: float
    at: XY


@dataclass(frozen=True, slots=True, kw_only=True)
class CutList:
    """Every run cut from coils.

    Attributes
    ----------
    length : float
        Of one coil [m].
    waste : float
        Share added to each piece.
    coils : tuple of Coil
    splices : tuple of Splice
        Of runs longer than a coil, as few as can be.
    bound : float
        No way to cut these pieces takes fewer coils than this.
    fewest : bool
        Whether it is proven that no way takes fewer coils.
    longest : bool
        Whether it is proven that no other way with as many leaves a longer remainder in one piece.
    """

    length: float
    waste: float
    coils: tuple[Coil, ...]
    splices: tuple[Splice, ...]
    bound: float
    fewest: bool
    longest: bool

    @property
    def spliced(self) -> int:
        """Coils that would do if runs were spliced wherever a coil ends."""
        laid = math.fsum(cut.length for coil in self.coils for cut in coil.cuts)
        return math.ceil(laid * (1.0 + self.waste) / self.length - 1e-9)

    @property
    def left_over(self) -> float:
        """Share of the coils that becomes neither tubing nor its waste."""
        whole = self.length * len(self.coils)
        return math.fsum(coil.left for coil in self.coils) / whole if whole else 0.0
