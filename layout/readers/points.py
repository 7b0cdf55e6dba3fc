"""Point files: ``.csv`` as a surveyor or a spreadsheet writes them, into coordinates in site units.

With a header the columns may stand in any order; without one they stand in the surveyor's order: point,
northing, easting, elevation, description. Two columns without a header are x, y.
"""

from __future__ import annotations

import codecs
import csv
import difflib
import re
from dataclasses import dataclass, field
from pathlib import Path

from layout.errors import Fault, ReadError

COORDINATE_LIMIT = 1e9
"""No survey counts this far from its origin [site units]."""
MOST_POINTS = 200_000
MOST_BYTES = 50_000_000
MOST_FAULTS = 8
"""Faults listed of one file; the rest are counted."""

READABLE = "Survey files can be .csv for now; short outlines can stand in the site file: [[x, y], ...]."

_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_COLUMNS = {
    "x": ("x",),
    "y": ("y",),
    "easting": ("easting", "east", "e"),
    "northing": ("northing", "north", "n"),
    "z": ("z", "elevation", "elev", "height", "level"),
    "point": ("point", "pt", "number", "no", "id", "name"),
    "description": ("description", "desc", "code", "remark"),
    "latitude": ("lat", "latitude"),
    "longitude": ("lon", "long", "lng", "longitude"),
}
_COLUMN_OF = {alias: column for column, aliases in _COLUMNS.items() for alias in aliases}
_SURVEYOR = "point, northing, easting, elevation, description"
_HEADER_REMEDY = (
    "Begin the file with a header: x,y or easting,northing (with z, point, description if wanted)."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PointTable:
    """Points in the order they were written, in site units.

    Attributes
    ----------
    xy : tuple of (x, y)
        Easting, northing [site units].
    z : tuple of float or None
        [site units]; None where a point has none.
    places : tuple of str
        Where each was written: ``line 12``, or ``point 3`` of a list in the site file.
    file : str
        The survey file as the user would name it; empty for a list in the site file.
    notes : tuple of str
        What was assumed in reading.
    """

    xy: tuple[tuple[float, float], ...]
    z: tuple[float | None, ...]
    places: tuple[str, ...]
    file: str = ""
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Faults:
    """The faults of one file: the first few in full, the others counted."""

    file: str
    listed: list[Fault] = field(default_factory=list)
    more: int = 0

    def add(self, where: str, said: str, remedy: str) -> None:
        if len(self.listed) < MOST_FAULTS:
            self.listed.append(Fault(file=self.file, field=where, said=said, remedy=remedy))
        else:
            self.more += 1

    def stop(self) -> None:
        """Raise what has been gathered, if anything."""
        if self.more:
            said = f"{self.more} more faults of this kind are not listed"
            self.listed.append(Fault(file=self.file, said=said, remedy="Mend these first."))
        if self.listed:
            raise ReadError(*self.listed)


def read_points(path: Path, *, shown: str | None = None) -> PointTable:
    """Read a point file.

    Parameters
    ----------
    path : Path
    shown : str, optional
        What faults call the file; `path` itself when left out.

    Returns
    -------
    PointTable
        In the order of the file.

    Raises
    ------
    ReadError
        With every fault of the file: file, line, what was found, the remedy.
    """
    name = shown if shown is not None else str(path)
    suffix = path.suffix.lower().partition("#")[0]
    if suffix != ".csv":
        kind = (
            f"{suffix} files cannot be read yet" if suffix else "the file has no ending that tells its kind"
        )
        raise ReadError(Fault(file=name, said=kind, remedy=READABLE))
    text = decoded(_bytes_of(path, name), name)
    return _Reader(name).read(text)


def _bytes_of(path: Path, name: str) -> bytes:
    try:
        if path.is_dir():
            raise ReadError(Fault(file=name, said="this is a folder", remedy="Name the file in it."))
        if not path.is_file():
            raise ReadError(Fault(file=name, said="there is no such file", remedy=_nearest_file(path)))
        if path.stat().st_size > MOST_BYTES:
            said = f"the file is larger than {MOST_BYTES // 1_000_000} MB"
            raise ReadError(Fault(file=name, said=said, remedy="Thin its points out."))
        return path.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, ReadError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        said = f"the file cannot be opened ({reason})"
        raise ReadError(
            Fault(file=name, said=said, remedy="Check its name and that you may read it.")
        ) from error


def _nearest_file(path: Path) -> str:
    try:
        there = sorted(entry.name for entry in path.parent.iterdir() if entry.is_file())
    except OSError:
        return "Check the path."
    near = difflib.get_close_matches(path.name, there, n=1)
    return f"Is it {near[0]}?" if near else "Check the path, and upper and lower case in it."


def decoded(data: bytes, name: str) -> str:
    """Turn the bytes of a text file into text: UTF-8, UTF-16 or, where neither fits, Windows-1252.

    Raises
    ------
    ReadError
        Where the bytes are no text.
    """
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        codings = ["utf-16"]
    elif b"\0" in data[:4]:  # UTF-16 without its mark: every other byte of an ASCII text is zero
        codings = ["utf-16-be" if data[:1] == b"\0" else "utf-16-le"]
    else:
        codings = ["utf-8-sig", "cp1252"]
    for coding in codings:
        try:
            text = data.decode(coding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise ReadError(Fault(file=name, said="this is no text file", remedy="Save it as a .csv file in UTF-8."))


class _Reader:
    """Reads the text of one .csv file; a class only because its steps share the file's faults."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.faults = _Faults(name)
        self.decimal_comma = False

    def read(self, text: str) -> PointTable:
        rows = self._rows(text)
        if not rows:
            self._refuse("", "the file holds no points", _HEADER_REMEDY)
        header = not any(self._number(cell) is not None for cell in rows[0][1])
        if header:
            columns = self._columns_of(rows[0])
            notes: tuple[str, ...] = ()
            rows = rows[1:]
            if not rows:
                self._refuse("", "the file holds a header but no points", "Write one point a line below it.")
        else:
            columns, notes = self._columns_without_header(rows)
        if len(rows) > MOST_POINTS:
            self._refuse(
                "", f"the file holds {len(rows)} points; {MOST_POINTS} can be read", "Thin them out."
            )
        table = self._table(rows, columns, notes)
        self.faults.stop()
        return table

    def _refuse(self, where: str, said: str, remedy: str) -> None:
        self.faults.add(where, said, remedy)
        self.faults.stop()

    def _rows(self, text: str) -> list[tuple[int, list[str]]]:
        """Split every line that is neither empty nor a comment: its number and its cells."""
        lines = _without_comments(text)
        delimiter = _delimiter(next((line for line in lines if line.strip()), ""))
        self.decimal_comma = delimiter == ";"
        reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True, strict=True)
        rows: list[tuple[int, list[str]]] = []
        begins = 1
        try:
            for cells in reader:
                stripped = [cell.strip() for cell in cells]
                while stripped and not stripped[-1]:
                    stripped.pop()
                if stripped:
                    rows.append((begins, stripped))
                begins = reader.line_num + 1
        except csv.Error as error:
            said = f"the line cannot be split into columns ({error})"
            self._refuse(f"line {begins}", said, "Look for a quotation mark that is not closed.")
        return rows

    def _number(self, text: str) -> float | None:
        return _number(text, decimal_comma=self.decimal_comma)

    def _columns_of(self, header: tuple[int, list[str]]) -> dict[str, int]:
        """Column by what it holds, from the header line."""
        line, cells = header
        columns: dict[str, int] = {}
        for index, cell in enumerate(cells):
            column = _COLUMN_OF.get(cell.lower().rstrip("."))
            if column is None:
                continue
            if column in columns:
                said = f"two columns hold {column}: {cells[columns[column]]} and {cell}"
                self._refuse(f"line {line}", said, "Take one of them out.")
            columns[column] = index
        if "latitude" in columns or "longitude" in columns:
            said = "latitude and longitude cannot be read yet"
            self._refuse(
                f"line {line}", said, "Write plan coordinates, x,y or easting,northing, in site units."
            )
        plain, grid = {"x", "y"} & columns.keys(), {"easting", "northing"} & columns.keys()
        if plain and grid:
            said = f"the header names both {' and '.join(sorted(plain))} and {' and '.join(sorted(grid))}"
            self._refuse(f"line {line}", said, "Keep x,y or easting,northing; take the others out.")
        if len(plain) + len(grid) < 2:
            found = ", ".join(cell or "(empty)" for cell in cells[:8])
            said = f"the header names no pair of coordinates; it holds: {found}"
            self._refuse(f"line {line}", said, _HEADER_REMEDY)
        columns["east"] = columns["x"] if plain else columns["easting"]
        columns["north"] = columns["y"] if plain else columns["northing"]
        return columns

    def _columns_without_header(
        self, rows: list[tuple[int, list[str]]]
    ) -> tuple[dict[str, int], tuple[str, ...]]:
        """Columns of a file that begins with a point: x, y alone, or the surveyor's order."""
        width = max(len(cells) for _, cells in rows)
        if width == 1:
            self._refuse(f"line {rows[0][0]}", "there is only one column", _HEADER_REMEDY)
        if width == 2:
            return {"east": 0, "north": 1}, (
                f"{Path(self.name).name} has no header; its two columns are read as x, y",
            )
        # x, y, z without a header looks almost like point, northing, easting: refuse what no point number is.
        seen: dict[str, tuple[int, list[str]]] = {}
        for line, cells in rows:
            label = cells[0]
            number = self._number(label)
            if not label or (number is not None and not label.isdigit()):
                said = f'"{label}" in the first column is no point number; without a header the columns are '
                self._refuse(f"line {line}", said + _SURVEYOR, _HEADER_REMEDY)
            before = seen.setdefault(label, (line, cells))
            if before[1][1:3] != cells[1:3]:
                said = f"point {label} stands on line {before[0]} already, with other coordinates"
                self.faults.add(f"line {line}", said, f"Give each point its own number. {_HEADER_REMEDY}")
        self.faults.stop()
        return {"point": 0, "north": 1, "east": 2, "z": 3}, ()

    def _table(
        self, rows: list[tuple[int, list[str]]], columns: dict[str, int], notes: tuple[str, ...]
    ) -> PointTable:
        xy: list[tuple[float, float]] = []
        z: list[float | None] = []
        for line, cells in rows:
            east = self._coordinate(cells, columns["east"], "easting", line)
            north = self._coordinate(cells, columns["north"], "northing", line)
            blank = "z" not in columns or columns["z"] >= len(cells) or not cells[columns["z"]]
            height = None if blank else self._coordinate(cells, columns["z"], "elevation", line)
            xy.append((east, north))
            z.append(height)
        places = tuple(f"line {line}" for line, _ in rows)
        return PointTable(xy=tuple(xy), z=tuple(z), places=places, file=self.name, notes=notes)

    def _coordinate(self, cells: list[str], column: int, what: str, line: int) -> float:
        """Read the number in a cell; a fault, and 0, where there is none."""
        text = cells[column] if column < len(cells) else ""
        value = self._number(text)
        if value is None:
            found = f'"{text[:40]}" is no number' if text else "it is missing"
            said = f"the {what} (column {column + 1}) cannot be read: {found}"
            self.faults.add(f"line {line}", said, "Write it as a plain number, 1234.56, in site units.")
            return 0.0
        if abs(value) > COORDINATE_LIMIT:
            said = f"the {what} (column {column + 1}) is {value:.6g}, beyond {COORDINATE_LIMIT:,.0f}"
            self.faults.add(f"line {line}", said, "Check the columns and the units.")
        return value


def _number(text: str, *, decimal_comma: bool) -> float | None:
    if decimal_comma and _DECIMAL_COMMA.fullmatch(text):
        text = text.replace(",", ".")
    return float(text) if _NUMBER.fullmatch(text) else None


def _without_comments(text: str) -> list[str]:
    """Blank out lines that begin with #, but keep a first one that is a header."""
    lines = text.splitlines(keepends=True)
    first = next((index for index, line in enumerate(lines) if line.strip()), None)
    for index, line in enumerate(lines):
        bare = line.lstrip()
        if not bare.startswith("#"):
            continue
        # "#,x,y" and "# x,y" are headers; taken for comments, x and y would be read the other way round
        names = {_COLUMN_OF.get(cell.strip().lower()) for cell in re.split("[,;\t]", bare[1:])}
        header = index == first and ({"x", "y"} <= names or {"easting", "northing"} <= names)
        lines[index] = bare[1:] if header else "\n"
    return lines


def _delimiter(line: str) -> str:
    """Find what parts the columns: the mark that leaves most cells that mean something."""

    def meaning(mark: str) -> tuple[int, int]:
        cells = [cell.strip().strip('"').lower() for cell in line.split(mark)]
        numbers = sum(_number(cell, decimal_comma=mark == ";") is not None for cell in cells)
        return numbers + sum(cell in _COLUMN_OF for cell in cells), len(cells)

    return max("\t;,", key=meaning)
