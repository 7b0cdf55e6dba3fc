"""The items that a takeoff can have, each with its unit and how it is sold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from layout.model import FittingKind, Plumbing
from layout.units import FOOT

WASTE = 0.05
"""Share added to tubing and pipe for cutting and the way down into trenches; common practice, no source."""
PIPE = (20.0 * FOOT, 6.0)
"""Length of a pipe as sold, in feet and in metres [m]: common practice, no source."""
BY_THE_UNIT = "cut to length"
"""How blank tubing is sold where no coil is stated, by whole feet or metres; common practice, no source."""
PAINT = (500.0 * FOOT, 150.0)
"""Length of a line that one can of marking paint marks, for sites in feet and in metres [m]; common practice, no
source."""

FITTINGS: dict[FittingKind, str] = {
    "tee": "Tee, {size}, along a {on} manifold, with an outlet for {outlet} or an air valve",
    "elbow": "Elbow, {size}, at the dead end of a {on} manifold, with an outlet for {outlet} or an air valve",
    "trunk tee": "Tee, {size}, where a {on} line leaves a trunk",
    "cap": "Cap, {size}, at the dead end of a {on} manifold",
    "elbow 90": "Elbow, {size}, 90 degrees, for bends of {on} pipe",
    "elbow 45": "Elbow, {size}, 45 degrees, for bends of {on} pipe",
    "elbow 22.5": "Elbow, {size}, 22.5 degrees, for bends of {on} pipe",
    "zone valve": "Valve, {size}, where the {on} line enters the manifold of a zone",
    "air valve": "Air and vacuum release valve, at the {top} of a {on} manifold",
    "flush valve": "Throttling valve, {size}, on each {on} line: open to flush, shut to dose",
}
"""Fittings of pipe in the order of the takeoff; risers, connectors and what sits on tubing stand by themselves."""

_NOT_COUNTED = (
    "pump, tank and openings in its wall, filter, meter, valves and outlets at the pump, controls and wiring, cement "
    "and primer for pipe, gravel, electrical work"
)
_NO_LINES = "lines to the pump, return flush valves in their boxes"


def not_counted(plumbing: Plumbing) -> str:
    """Name what a field takes and its layout does not show; lines and flush valves too, where no return line is."""
    laid = any(line.kind == "return" for line in plumbing.lines)
    return _NOT_COUNTED if laid else f"{_NOT_COUNTED}, {_NO_LINES}"


@dataclass(frozen=True, slots=True)
class Item:
    """What an item is counted in, and how it may be priced.

    Attributes
    ----------
    unit : "length", "area", "volume", "flow" or "each"
    sold : str
        What a pack of it is called; empty where it is sold by the unit.
    waste : float
        Share added where none is stated.
    """

    unit: Literal["length", "area", "volume", "flow", "each"]
    sold: str = ""
    waste: float = 0.0


def _items() -> dict[str, Item]:
    found = {
        "emitting tubing": Item("length", "coil", WASTE),
        "blank tubing": Item("length", "coil", WASTE),
        "loop elbow": Item("each"),
        "lead elbow": Item("each"),
        "tubing coupling": Item("each"),
        "splice coupling": Item("each"),
    }
    for on in ("supply", "return"):
        for part in ("manifold", "line"):
            found[f"{on} {part} pipe"] = Item("length", "length", WASTE)
    found |= {"riser adapter": Item("each"), "riser tubing": Item("length", "", WASTE)}
    found |= {"riser connector": Item("each")}
    for on in ("supply", "return"):
        found |= {f"{on} {kind}": Item("each") for kind in FITTINGS}
    found |= {"air valve box": Item("each"), "valve box": Item("each")}
    found |= {"staple": Item("each", "box"), "marking paint": Item("each", "can")}
    found |= {"stake": Item("each"), "other stake": Item("each")}
    found |= {f"{kind} trench": Item("length") for kind in ("tubing", "manifold", "line")}
    return found | {"sand": Item("volume"), "cover": Item("volume")}


ITEMS: dict[str, Item] = _items()
"""By name, in the order of the takeoff; without what stands there for checking only."""


def is_sized(item: str) -> bool:
    """Whether an item has the size of a pipe: pipe, and what sits on it but air valves, whose size is their own."""
    on, _, kind = item.partition(" ")
    return item.endswith(" pipe") or (on in {"supply", "return"} and kind in FITTINGS and kind != "air valve")


def base_item(item: str) -> str:
    """The name of an item without its size: ``supply tee`` for ``supply tee, 1.25 in``."""
    return item.split(", ", 1)[0]
