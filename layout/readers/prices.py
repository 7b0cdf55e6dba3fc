"""The user's prices, a CSV of item, unit and price, into nouns; none is built in."""

from __future__ import annotations

import csv
import difflib
from pathlib import Path

from layout.model import Price
from layout.pipes import METRIC, SCHEDULE_40, nominal
from layout.readers.columns import number
from layout.readers.points import Faults, bytes_of, decoded
from layout.takeoff import ITEMS, Item, is_sized
from layout.units import INCH, UnitSet

COLUMNS = ("item", "unit", "price")
MOST_PRICE = 1e7
_MOST_SIZE = 10_000
"""Of a pipe, in inches or millimetres: what is more is a slip."""
_LONGEST_LINE = 10_000
_HEADER = "Begin the file with the header item,unit,price."


def read_prices(path: Path, units: UnitSet) -> tuple[Price, ...]:
    """Read a list of prices.

    Parameters
    ----------
    path : Path
        With a header; columns in any order, others are not looked at; lines that begin with ``#`` are remarks. A price
        is for the unit of the takeoff (``ft``, ``m``, ``ea``, ``cu yd``, ``cu m``) or for what the item is sold in
        (``coil``, ``length``, ``box``, ``can``). Behind an item and a comma may stand a size of pipe, ``1.25 in``.
    units : UnitSet
        Of the site.

    Raises
    ------
    ReadError
        With every fault: line, what was found, the remedy.
    """
    reader = _Prices(path, units)
    lines = decoded(bytes_of(path, str(path)), str(path)).splitlines()
    rows = [(n, line) for n, line in enumerate(lines, start=1) if line.strip() and not line.startswith("#")]
    if not rows:
        reader.faults.add("", "the file holds no prices", _HEADER)
        reader.faults.stop()
    mark = ";" if ";" in rows[0][1] else "\t" if "\t" in rows[0][1] else ","
    header = [cell.lower() for cell in _cells(rows[0][1], mark)]
    missing = [name for name in COLUMNS if header.count(name) != 1]
    if missing:
        reader.faults.add(f"line {rows[0][0]}", f"there is no one column {missing[0]}", _HEADER)
        reader.faults.stop()
    prices = [reader.price(n, _cells(line, mark), header) for n, line in rows[1:]]
    reader.faults.stop()
    return tuple(price for price in prices if price is not None)


def _cells(line: str, mark: str) -> list[str]:
    line = line[:_LONGEST_LINE]  # what is longer is no price, and more than the reader takes
    return [cell.strip() for cell in next(csv.reader([line], delimiter=mark, skipinitialspace=True))]


class _Prices:
    """Reads lines; a class only because they share the faults and what was priced before."""

    def __init__(self, path: Path, units: UnitSet) -> None:
        self.units, self.faults = units, Faults(str(path))
        self.seen: dict[tuple[str, float | None], int] = {}

    def price(self, line: int, cells: list[str], header: list[str]) -> Price | None:
        """The price of one line; None, and a fault, where it is none."""
        where = f"line {line}"
        if len(cells) < len(header):
            self.faults.add(where, f"there are {len(cells)} cells under {len(header)} headings", _HEADER)
            return None
        name, unit, said = (cells[header.index(column)] for column in COLUMNS)
        amount = self._amount(where, said)
        known, comma, told = (" ".join(part.lower().split()) for part in name.partition(","))
        item = ITEMS.get(known)
        if item is None:
            near = difflib.get_close_matches(known, ITEMS, n=1, cutoff=0.0)[0]
            remedy = f'The nearest is "{near}"; put # before lines that are for other things.'
            self.faults.add(where, f'the takeoff has no item "{name}"', remedy)
            return None
        size = self._size(where, known, told) if comma else None
        if comma and size is None:
            return None
        if (known, size) in self.seen:
            earlier = self.seen[known, size]
            self.faults.add(where, f'"{name}" is priced on line {earlier} already', "Leave one of them.")
            return None
        self.seen[known, size] = line
        factor = self._per(where, known, item, unit)
        if amount is None or factor is None:
            return None
        pack = unit.lower() == item.sold and item.sold != ""
        return Price(item=known, amount=amount / factor, per="pack" if pack else "unit", size=size)

    def _size(self, where: str, item: str, said: str) -> float | None:
        """The size of pipe behind the comma of an item [m]; None, and a fault, where that is none."""
        name = self.units.diameter_name
        if not is_sized(item):
            self.faults.add(
                where, f'"{item}" is of no size of pipe, but "{said}" is said of it', f'Write "{item}".'
            )
            return None
        value = number(said.removesuffix(name).rstrip(), decimal_comma=False) if said.endswith(name) else None
        if value is None or not 0 < value <= _MOST_SIZE:
            remedy = f'Write "{item}, {self._nearest(said)}", or "{item}" for all sizes.'
            self.faults.add(where, f'"{said}" is no size of pipe', remedy)
            return None
        return value * self.units.diameter

    def _nearest(self, said: str) -> str:
        """The nominal size of the site's units that is nearest to a size in the other ones; else a common one."""
        name = self.units.diameter_name
        sizes, common, other = (
            (tuple(METRIC), 50.0, ("in", INCH)) if name == "mm" else (tuple(SCHEDULE_40), 2.0, ("mm", 1e-3))
        )
        value = (
            number(said.removesuffix(other[0]).rstrip(), decimal_comma=False)
            if said.endswith(other[0])
            else None
        )
        if value is None or not 0 < value <= _MOST_SIZE:
            return f"{common:g} {name}"
        meant = nominal(value * other[1], metric=name == "mm")
        return f"{min(sizes, key=lambda size: abs(size - meant)):g} {name}"

    def _amount(self, where: str, said: str) -> float | None:
        amount = number(said, decimal_comma=False)
        if amount is None:
            remedy = "Write it as 12.50: a decimal point, no thousands mark, no sign of currency."
            self.faults.add(where, f'"{said}" is no price', remedy)
        elif not 0 <= amount <= MOST_PRICE:
            self.faults.add(where, f"the price is {said}", f"A price is 0 to {MOST_PRICE:,.0f}.")
            amount = None
        return amount

    def _per(self, where: str, name: str, item: Item, unit: str) -> float | None:
        """How much the price is for, in SI; None, and a fault, where that is no unit of the item."""
        metric = self.units.word == "m"
        own, factor = {
            "length": (self.units.length_name, self.units.length),
            "volume": ("cu m", 1.0) if metric else ("cu yd", (3.0 * self.units.length) ** 3),
        }.get(item.unit, ("ea", 1.0))
        if unit.lower() == own:
            return factor
        if item.sold and unit.lower() == item.sold:
            return 1.0
        words = f'"{own}"' + (f' or "{item.sold}"' if item.sold else "")
        said = f'the price of "{name}" is for "{unit}", which it is not sold by on this site'
        self.faults.add(where, said, f"Write the price for {words}.")
        return None
