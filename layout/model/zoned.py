"""The field by zones, each dosed on its own: what belongs to one, and its levels."""

from __future__ import annotations

from dataclasses import dataclass

from layout.model.base import XY, need


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """Neighbouring laterals that are dosed together, through manifolds of their own.

    Attributes
    ----------
    number : int
        From 1, from left to right.
    laterals : tuple of str
        From left to right.
    runs : tuple of str
        In the order of the laterals and of the water in them.
    tubing : float
        Of its runs [m].
    emitters : int
    flow : float
        Of its emitters [m³/s].
    """

    number: int
    laterals: tuple[str, ...]
    runs: tuple[str, ...]
    tubing: float
    emitters: int
    flow: float

    def __post_init__(self) -> None:
        need(self.number >= 1 and bool(self.laterals), "a zone has a number from 1, and laterals")

    @property
    def name(self) -> str:
        """What it is called: ``Z1``, ``Z2`` and so on."""
        return f"Z{self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneLevels:
    """Heights of one zone and its pipes, as far as they are known.

    Attributes
    ----------
    zone : int
    high : (x, y) or None
        The highest ground over its tubing and manifolds [m]; None where the ground was not surveyed.
    high_level : float or None
        Height there [m].
    return_known : float
        Share of the return's way to the pump whose ground is surveyed, 0 to 1.
    pitch : float or None
        Mean fall of the ground along the return's way to the pump, over its surveyed part; below 0 where it
        rises; None where none of it is.
    deepening : float or None
        How much deeper than elsewhere the return must lie at the worst place, to fall to the pump at the least
        pitch throughout [m].
    deepest_at : (x, y) or None
        That place [m].
    drain_back : float
        What falls back to the pump tank after a dose, out of the supply line, and of its manifold where no zone valve
        holds it [m³]; where heights are not known, all that they hold.
    drain_back_added : float
        What of that falls out of pipe that no zone before it drains, too: in their sum each pipe counts once [m³].
    held : float
        What manifolds and lines hold [m³].
    """

    zone: int
    high: XY | None
    high_level: float | None
    return_known: float
    pitch: float | None
    deepening: float | None
    deepest_at: XY | None
    drain_back: float
    drain_back_added: float
    held: float
