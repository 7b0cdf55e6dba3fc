"""The takeoff as a table for the estimator: one line a part, in the site's units.

Lengths and areas have 2 decimals, as everywhere on the sheets; pieces are whole where they are whole; waste
is a share, 0.05 for 5 %. Lines end with a single line feed, text is UTF-8, figures have a decimal point and
no thousands separator, whatever the machine's language.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from layout.model import Design, Part
from layout.sheets.figures import plain
from layout.units import UnitSet

COLUMNS = ("item", "description", "unit", "net", "waste", "order")


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeoffLine:
    """One line of the takeoff in the site's units, full precision.

    Attributes
    ----------
    item, description : str
    unit : str
        ``ft``, ``sq ft``, ``m``, ``sq m``, ``gal/min``, ``L/min`` or ``ea``.
    net : float
        As laid out.
    waste : float
        Share added.
    order : float
        What to order, in the unit.
    zones : dict
        Net by zone, ``Z1`` and so on; empty for what zones share.
    """

    item: str
    description: str
    unit: str
    net: float
    waste: float
    order: float
    zones: dict[str, float]


def takeoff(design: Design) -> list[TakeoffLine]:
    """List the parts of a design in the site's units, in the design's order."""
    return [_line(part, design.site.frame.units) for part in design.parts]


def _line(part: Part, units: UnitSet) -> TakeoffLine:
    factor = {"length": units.length, "area": units.area, "flow": units.flow, "each": 1.0}[part.unit]
    names = {
        "length": units.length_name,
        "area": f"sq {units.length_name}",
        "flow": units.flow_name,
        "each": "ea",
    }
    net = part.net / factor
    return TakeoffLine(
        item=part.item,
        description=part.description,
        unit=names[part.unit],
        net=net,
        waste=part.waste,
        # A whole number of coils stays one after the change of units; what is laid as it is, is one figure.
        order=net if part.order == part.net else round(part.order / factor, 9),
        zones={f"Z{number}": net / factor for number, net in enumerate(part.by_zone, start=1)},
    )


def write_takeoff(design: Design, path: Path) -> None:
    """Write the takeoff as comma-separated values; for several zones, with a column for the net of each."""
    zones = [zone.name for zone in design.zones] if len(design.zones) > 1 else []
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow((*COLUMNS, *zones))
        for line in takeoff(design):
            writer.writerow(
                (
                    _safe(line.item),
                    _safe(line.description),
                    line.unit,
                    _figure(line, line.net),
                    f"{line.waste:g}",
                    _figure(line, line.order),
                    *(_figure(line, line.zones[name]) if line.zones else "" for name in zones),
                )
            )


def _figure(line: TakeoffLine, value: float) -> str:
    whole = line.unit == "ea" and abs(value - round(value)) < 1e-9
    return plain(value, 0 if whole else 2, thousands=False)


def _safe(text: str) -> str:
    """Make one line of text that a spreadsheet does not take for a formula."""
    text = " ".join(text.split())
    return f"'{text}" if text[:1] in {"=", "+", "-", "@"} else text
