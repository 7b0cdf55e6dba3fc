"""Columns of a point file: what a heading means, what parts the columns, what is a number."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence

_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_COLUMNS = {
    "x": ("x",),
    "y": ("y",),
    "easting": ("easting", "eastings", "east", "e"),
    "northing": ("northing", "northings", "north", "n"),
    "z": ("z", "elevation", "elev", "height", "level", "altitude"),
    "point": (
        "point",
        "pt",
        "number",
        "no",
        "id",
        "name",
        "point no",
        "point number",
        "point name",
        "point id",
    ),
    "description": ("description", "desc", "code", "remark", "remarks", "descriptor", "feature code"),
    "latitude": ("lat", "latitude"),
    "longitude": ("lon", "long", "lng", "longitude"),
}
_COLUMN_OF = {alias: column for column, aliases in _COLUMNS.items() for alias in aliases}
_UNITS = {
    "m": ("m", "metre", "metres", "meter", "meters"),
    "ft": ("ft", "feet", "foot", "ift", "international feet", "international foot"),
    "us-ft": ("us-ft", "us ft", "usft", "ftus", "sft", "us survey feet", "us survey foot", "survey feet"),
}
_UNIT_OF = {alias: word for word, aliases in _UNITS.items() for alias in aliases}
_IN_BRACKETS = re.compile(r"(.+?)\s*[(\[]([^)\]]*)[)\]]")
_MARKS = "\t;,| "
_SAMPLE = 20
"""Lines that are looked at to find what parts the columns."""
_WIDEST = 2000
"""Characters of each that are looked at."""
_LONGEST = 60
"""No heading is longer."""


def number(text: str, *, decimal_comma: bool) -> float | None:
    """Read a plain number; None where the text is none."""
    if decimal_comma and _DECIMAL_COMMA.fullmatch(text):
        text = text.replace(",", ".")
    return float(text) if _NUMBER.fullmatch(text) else None


def column_of(heading: str) -> tuple[str | None, str | None]:
    """What a heading says of its column.

    Returns
    -------
    column : str or None
        ``x``, ``y``, ``easting``, ``northing``, ``z``, ``point``, ``description``, ``latitude``, ``longitude``;
        None where it is another.
    unit : str or None
        ``ft``, ``us-ft`` or ``m`` where the heading names it.

    Examples
    --------
    >>> column_of("Easting (m)"), column_of("elev_ft"), column_of("slope")
    (('easting', 'm'), ('z', 'ft'), (None, None))
    """
    if len(heading) > _LONGEST:
        return None, None
    name = " ".join(heading.lower().replace("_", " ").split()).rstrip(".")
    if name in _COLUMN_OF:
        return _COLUMN_OF[name], None
    bracketed = _IN_BRACKETS.fullmatch(name)
    if bracketed:
        return _COLUMN_OF.get(bracketed[1].rstrip(".")), _UNIT_OF.get(bracketed[2].strip())
    for unit, word in _UNIT_OF.items():
        if name.endswith(" " + unit) and name[: -len(unit) - 1] in _COLUMN_OF:
            return _COLUMN_OF[name[: -len(unit) - 1]], word
    return None, None


def split_line(line: str, mark: str) -> list[str]:
    """Split a line without quotation marks in it into its cells."""
    return line.split() if mark == " " else [cell.strip().strip('"') for cell in line.split(mark)]


def delimiter(lines: Sequence[str]) -> str:
    """Find what parts the columns: the mark that leaves most cells that mean something, and fewest that do not."""
    sample = [line[:_WIDEST] for line in itertools.islice(filter(str.strip, lines), _SAMPLE)]

    def meaning(mark: str) -> tuple[int, float]:
        meant = whole = 0
        for line in sample:
            cells = split_line(line.strip("\r\n "), mark)
            whole += len(cells)
            meant += sum(number(cell, decimal_comma=mark != ",") is not None for cell in cells)
            meant += sum(column_of(cell)[0] is not None for cell in cells)
        return meant, meant / max(whole, 1)

    return max(_MARKS, key=meaning)


def decimal_commas(cells: Sequence[str]) -> str | None:
    """Whether the commas within numbers are decimal ones.

    Returns
    -------
    str or None
        Empty where they are, or there are none; a cell that leaves it open, as 1,500 does, where all do; None where
        some number can only have a thousands comma.
    """
    commas = [cell for cell in cells if _DECIMAL_COMMA.fullmatch(cell)]
    if any(not _THOUSANDS.fullmatch(cell) for cell in commas) or not commas:
        return ""
    return commas[0]
