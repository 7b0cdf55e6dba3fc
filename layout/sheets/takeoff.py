"""The takeoff as a table for the estimator: one line a part, in the site's units.

Lengths, areas and volumes have 2 decimals, as everywhere on the sheets; pieces are whole where they are whole; waste
is a share, 0.05 for 5 %. Behind the columns that are always there stand the net of each zone, where there are
several, and price and cost, where prices are given. Lines end with a single line feed, text is UTF-8, figures have a
decimal point and no thousands separator, whatever the machine's language.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from layout.model import Design, Part, Price, Site
from layout.sheets.delimited import write_rows
from layout.sheets.figures import plain
from layout.takeoff import base_item
from layout.units import UnitSet

COLUMNS = ("item", "description", "unit", "net", "waste", "order", "packs", "sold")
PRICED = ("price", "per", "cost")


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeoffLine:
    """One line of the takeoff in the site's units, full precision.

    Attributes
    ----------
    item, description : str
    unit : str
        ``ft``, ``sq ft``, ``cu yd``, ``m``, ``sq m``, ``cu m``, ``gal/min``, ``L/min`` or ``ea``.
    net : float
        As laid out.
    waste : float
        Share added.
    order : float
        What to order, in the unit; 0 for what stands there for checking.
    zones : dict
        Net by zone, ``Z1`` and so on; empty for what zones share.
    pack : float
        How it is sold, in the unit; 0 where it is sold by the unit.
    packs : int
        Whole packs, or pieces, to order; 0 where it is sold by the unit.
    sold : str
        The pack in words: ``coil of 500 ft``; empty where it has no name.
    least : int
        Fewest packs that serve, whatever the sum.
    price : float or None
        None where none is given.
    per : str
        What the price is for: the unit, or the name of the pack; empty without a price.
    cost : float or None
    """

    item: str
    description: str
    unit: str
    net: float
    waste: float
    order: float
    zones: dict[str, float]
    pack: float = 0.0
    packs: int = 0
    sold: str = ""
    least: int = 0
    price: float | None = None
    per: str = ""
    cost: float | None = None


def takeoff(design: Design) -> list[TakeoffLine]:
    """List the parts of a design in the site's units, in the design's order."""
    return [_line(part, design.site) for part in design.parts]


def total_cost(lines: Sequence[TakeoffLine]) -> tuple[float, int] | None:
    """The cost of what has a price, and how many lines to buy have none; None where nothing has one."""
    costs = [line.cost for line in lines if line.cost is not None]
    bare = sum(line.cost is None and line.order > 0 for line in lines)
    return (math.fsum(costs), bare) if costs else None


def unit_of(unit: str, units: UnitSet) -> tuple[str, float]:
    """The name of a takeoff's unit, and how much it is [m, m², m³, m³/s or pieces]."""
    metric = units.word == "m"
    return {
        "length": (units.length_name, units.length),
        "area": (f"sq {units.length_name}", units.area),
        "volume": ("cu m", 1.0) if metric else ("cu yd", (3.0 * units.length) ** 3),
        "flow": (units.flow_name, units.flow),
        "each": ("ea", 1.0),
    }[unit]


def _line(part: Part, site: Site) -> TakeoffLine:
    units = site.frame.units
    unit, factor = unit_of(part.unit, units)
    net = part.net / factor
    # A whole number of coils stays one after the change of units; what is laid as it is, is one figure.
    order = net if part.order == part.net else round(part.order / factor, 9)
    pack = round(part.pack / factor, 9)
    price, per = _price(part, site, unit, factor)
    cost = None if price is None or not part.bought else price * (order if per == unit else part.packs)
    return TakeoffLine(
        item=part.item,
        description=part.description,
        unit=unit,
        net=net,
        waste=part.waste,
        order=order,
        zones={f"Z{number}": net / factor for number, net in enumerate(part.by_zone, start=1)},
        pack=pack,
        packs=part.packs,
        sold=_sold(part, pack, unit),
        least=part.least,
        price=price,
        per=per,
        cost=cost,
    )


def _sold(part: Part, pack: float, unit: str) -> str:
    """How an item is sold, in words."""
    if not part.sold or not pack or pack == 1.0:
        return part.sold
    return f"{part.sold} of {pack:g}{'' if unit == 'ea' else f' {unit}'}"


def _price(part: Part, site: Site, unit: str, factor: float) -> tuple[float | None, str]:
    """The price that the site states for an item, of its size first, and what it is for."""
    price = _stated(part, site)
    if price is None:
        return None, ""
    whole = price.per == "pack"
    return round(price.amount * (1.0 if whole else factor), 9), part.sold if whole else unit


def _stated(part: Part, site: Site) -> Price | None:
    """The price of the site that an item takes: that of its size, or else the one of any size."""
    if not part.bought:
        return None
    own = [price for price in site.takeoff.prices if price.item == base_item(part.item)]
    sized = [price for price in own if price.size is not None and math.isclose(price.size, part.size or 0.0)]
    return next(iter((*sized, *(price for price in own if price.size is None))), None)


def idle_prices(design: Design) -> str:
    """Say which prices no line of the takeoff takes, and the size that there is instead; empty without any."""
    site, units = design.site, design.site.frame.units
    taken = [_stated(part, site) for part in design.parts]
    said = []
    for price in site.takeoff.prices:
        if any(price is other for other in taken):
            continue
        sizes = {
            part.size for part in design.parts if part.size is not None and base_item(part.item) == price.item
        }
        size = "" if price.size is None else f", {_diameter(price.size, units)}"
        here = " and ".join(_diameter(each, units) for each in sorted(sizes))
        said.append(f"{price.item}{size}" + (f" (here it is {here})" if size and here else ""))
    return f"No line of this takeoff takes these prices: {'; '.join(said)}." if said else ""


def _diameter(size: float, units: UnitSet) -> str:
    return f"{size / units.diameter:.4g} {units.diameter_name}"


def write_takeoff(design: Design, path: Path) -> None:
    """Write the takeoff as comma-separated values."""
    zones = [zone.name for zone in design.zones] if len(design.zones) > 1 else []
    lines = takeoff(design)
    priced = total_cost(lines) is not None
    rows = [
        (
            line.item,
            line.description,
            line.unit,
            figure(line, line.net),
            f"{line.waste:g}",
            figure(line, line.order),
            str(line.packs) if line.pack or line.unit == "ea" else "",
            line.sold,
            *(figure(line, line.zones[name]) if line.zones else "" for name in zones),
            *(_money(line) if priced else ()),
        )
        for line in lines
    ]
    write_rows(path, [(*COLUMNS, *zones, *(PRICED if priced else ())), *rows])


def _money(line: TakeoffLine) -> tuple[str, str, str]:
    if line.price is None or line.cost is None:
        return ("", "", "")
    return (f"{line.price:.10g}", line.per, plain(line.cost, 2, thousands=False))


def figure(line: TakeoffLine, value: float) -> str:
    """Print a number of a line in its unit: whole pieces, all else to two decimals."""
    whole = line.unit == "ea" and abs(value - round(value)) < 1e-9
    return plain(value, 0 if whole else 2, thousands=False)
