"""Point files in columns, as a surveyor, a receiver or a spreadsheet writes them, into a `PointTable`.

With a header the columns may stand in any order; without one they stand in the surveyor's order: point,
northing, easting, elevation, description. Two columns without a header are x, y.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

from layout.readers.angles import latitude_or_longitude
from layout.readers.columns import column_of, decimal_commas, delimiter, number
from layout.readers.points import COORDINATE_LIMIT, MOST_POINTS, Faults, PointTable

_ORDER = ("point", "northing", "easting", "elevation", "description")
_SURVEYOR = ", ".join(_ORDER)
_HEADER_REMEDY = (
    "Begin the file with a header: x,y or easting,northing (with z, point, description if wanted)."
)
_SURPLUS_REMEDY = "Write decimal points, not commas; put a text that holds commas in quotation marks."
_DEGREES_REMEDY = "Write it in degrees, 42.3601234, south and west negative, or as 42°21'36.44\" N."
_MOST_CODES = 8
"""Description codes listed when the wanted one is not there."""

_Rows = list[tuple[int, list[str]]]


def read_delimited(text: str, name: str, *, part: str = "") -> PointTable:
    """Read the text of a point file.

    Parameters
    ----------
    text : str
    name : str
        What faults call the file.
    part : str
        The description code that is wanted: points whose description begins with it, upper and lower case alike;
        empty for all points.

    Raises
    ------
    ReadError
        With every fault of the file: line, what was found, the remedy.
    """
    return _Reader(name, part).read(text)


class _Reader:
    """Reads the text of one file; a class only because its steps share the file's faults."""

    def __init__(self, name: str, part: str) -> None:
        self.name, self.part = name, part
        self.faults = Faults(name)
        self.decimal_comma = False
        self.notes: list[str] = []
        self.unit: str | None = None
        self.metric_z = False
        self.headings = 0
        """Cells of the header, empty ones behind the last name included; 0 without one."""

    def read(self, text: str) -> PointTable:
        rows = self._rows(text)
        if not rows:
            self._refuse("", "the file holds no points", _HEADER_REMEDY)
        header = not any(self._number(cell) is not None for cell in rows[0][1])
        if header:
            columns = self._columns_of(rows[0])
            rows = rows[1:]
            if not rows:
                self._refuse("", "the file holds a header but no points", "Write one point a line below it.")
        else:
            columns = self._columns_without_header(rows)
        rows = self._within_columns(rows, columns, self.headings if header else len(_ORDER))
        if len(rows) > MOST_POINTS:
            said = f"the file holds {len(rows)} points; {MOST_POINTS} can be read"
            self._refuse("", said, "Thin them out.")
        if self.part:
            rows = self._with_code(rows, columns)
        table = self._table(rows, columns)
        self.faults.stop()
        return table

    def _refuse(self, where: str, said: str, remedy: str) -> None:
        self.faults.add(where, said, remedy)
        self.faults.stop()

    # --- rows and columns -------------------------------------------------------------------------------

    def _rows(self, text: str) -> _Rows:
        """Split every line that is neither empty nor a comment: its number and its cells."""
        lines = _without_comments(text)
        mark = delimiter(lines)
        rows = self._spaced(lines) if mark == " " else self._marked(lines, mark)
        if mark != ",":
            self._judge_commas(rows, mark)
        return rows

    def _spaced(self, lines: list[str]) -> _Rows:
        """Rows of columns that only spaces part, one at least: what stands behind the last column is its text."""
        split = [(line, text.split()) for line, text in enumerate(lines, start=1) if text.strip()]
        first = split[0][1]
        header = not any(number(cell, decimal_comma=True) is not None for cell in first)
        self.headings = len(first)
        most = len(first) if header else len(_ORDER)
        return [(line, [*cells[: most - 1], *([" ".join(cells[most - 1 :])] * (len(cells) >= most))])
                for line, cells in split]  # fmt: skip

    def _marked(self, lines: list[str], mark: str) -> _Rows:
        reader = csv.reader(lines, delimiter=mark, skipinitialspace=True, strict=True)
        rows: _Rows = []
        begins = 1
        try:
            for cells in reader:
                stripped = [cell.strip() for cell in cells]
                if not rows:
                    self.headings = len(stripped)
                while stripped and not stripped[-1]:
                    stripped.pop()
                if stripped:
                    rows.append((begins, stripped))
                begins = reader.line_num + 1
        except csv.Error as error:
            said = f"the line cannot be split into columns ({error})"
            self._refuse(f"line {begins}", said, "Look for a quotation mark that is not closed.")
        return rows

    def _judge_commas(self, rows: _Rows, mark: str) -> None:
        """Take commas in numbers for decimal ones, unless all of them could as well part thousands."""
        open_question = decimal_commas([cell for _, cells in rows for cell in cells])
        if open_question and mark != ";":  # a semicolon between columns goes with decimal commas
            line = next(line for line, cells in rows if open_question in cells)
            said = f'"{open_question}" may have a decimal comma or one that parts thousands'
            self._refuse(f"line {line}", said, "Write 1234.56 or 1234,56: no mark between thousands.")
        self.decimal_comma = True

    def _number(self, text: str) -> float | None:
        return number(text, decimal_comma=self.decimal_comma)

    def _columns_of(self, header: tuple[int, list[str]]) -> dict[str, int]:
        """Column by what it holds, from the header line."""
        line, cells = header
        columns: dict[str, int] = {}
        units: dict[str, str] = {}
        for index, cell in enumerate(cells):
            column, unit = column_of(cell)
            if column is None:
                continue
            if column in columns:
                said = f"two columns hold {column}: {cells[columns[column]]} and {cell}"
                self._refuse(f"line {line}", said, "Take one of them out.")
            columns[column] = index
            if unit is not None:
                units[column] = unit
        self._place_columns(line, cells, columns)
        self._judge_units(line, units, geographic="longitude" in columns)
        return columns

    def _place_columns(self, line: int, cells: list[str], columns: dict[str, int]) -> None:
        """Settle which two columns say where a point is: `east` and `north`, on the plan or in degrees."""
        plain, grid = {"x", "y"} & columns.keys(), {"easting", "northing"} & columns.keys()
        degrees = {"latitude", "longitude"} & columns.keys()
        if plain and grid:
            said = f"the header names both {' and '.join(sorted(plain))} and {' and '.join(sorted(grid))}"
            self._refuse(f"line {line}", said, "Keep x,y or easting,northing; take the others out.")
        if len(plain) + len(grid) == 2:
            if degrees:
                self.notes.append(
                    f"{Path(self.name).name}: plan coordinates are read; latitude and longitude are not looked at"
                )
            columns.pop("latitude", None)
            columns.pop("longitude", None)
            columns["east"] = columns["x"] if plain else columns["easting"]
            columns["north"] = columns["y"] if plain else columns["northing"]
        elif len(degrees) == 2:
            columns["east"], columns["north"] = columns["longitude"], columns["latitude"]
        else:
            found = ", ".join(cell or "(empty)" for cell in cells[:8])
            said = f"the header names no pair of coordinates; it holds: {found}"
            self._refuse(f"line {line}", said, _HEADER_REMEDY)

    def _judge_units(self, line: int, units: dict[str, str], *, geographic: bool) -> None:
        """Keep the unit that headings name, for the site's to be held against."""
        level = units.pop("z", None)
        plan = set() if geographic else set(units.values())
        self.metric_z = geographic and level == "m"
        if level is not None and not self.metric_z:
            plan.add(level)
        if len(plan) > 1:
            said = f"the header names two units: {' and '.join(sorted(plan))}"
            self._refuse(f"line {line}", said, "Give coordinates and levels in one unit, that of the site.")
        self.unit = plan.pop() if plan else None

    def _columns_without_header(self, rows: _Rows) -> dict[str, int]:
        """Columns of a file that begins with a point: x, y alone, or the surveyor's order."""
        width = max(len(cells) for _, cells in rows)
        if width == 1:
            self._refuse(f"line {rows[0][0]}", "there is only one column", _HEADER_REMEDY)
        if width == 2:
            self.notes.append(f"{Path(self.name).name} has no header; its two columns are read as x, y")
            return {"east": 0, "north": 1}
        # x, y, z without a header looks almost like point, northing, easting: refuse what no point number is.
        seen: dict[str, tuple[int, list[str]]] = {}
        for line, cells in rows:
            label = cells[0]
            value = self._number(label)
            if not label or (value is not None and not label.isdigit()):
                said = f'"{label}" in the first column is no point number; without a header the columns are '
                self._refuse(f"line {line}", said + _SURVEYOR, _HEADER_REMEDY)
            before = seen.setdefault(label, (line, cells))
            if before[1][1:3] != cells[1:3]:
                said = f"point {label} stands on line {before[0]} already, with other coordinates"
                self.faults.add(f"line {line}", said, f"Give each point its own number. {_HEADER_REMEDY}")
        self.faults.stop()
        fourth = [cells[3] for _, cells in rows if len(cells) > 3 and cells[3]]
        told = list(_ORDER[:width])
        if width == 4 and fourth and not any(self._number(cell) is not None for cell in fourth):
            told[3] = "description"
        self.notes.append(f"{Path(self.name).name} has no header; its columns are read as {', '.join(told)}")
        key = {"northing": "north", "easting": "east", "elevation": "z"}
        return {key.get(name, name): index for index, name in enumerate(told)}

    def _within_columns(self, rows: _Rows, columns: dict[str, int], width: int) -> _Rows:
        """Rows of no more cells than there are columns: what is over belongs to a text behind them, or is a fault.

        A comma that was meant as a decimal one shifts all cells behind it: a number stands where the text should.
        """
        last = columns.get("description") == width - 1
        kept: _Rows = []
        for line, cells in rows:
            over = cells[width:]
            if over and not (last and cells[width - 1] and self._number(cells[width - 1]) is None):
                said = f"there are {len(cells)} cells in {width} columns"
                self.faults.add(f"line {line}", said, _SURPLUS_REMEDY)
            kept.append((line, [*cells[: width - 1], ", ".join(cells[width - 1 :])] if over else cells))
        return kept

    def _with_code(self, rows: _Rows, columns: dict[str, int]) -> _Rows:
        """The rows whose description begins with the wanted code."""
        at = columns.get("description")
        said_of = [(row, row[1][at] if at is not None and at < len(row[1]) else "") for row in rows]
        if not any(text for _, text in said_of):
            said = f"no point has a description, so none can be chosen by #{self.part}"
            self._refuse("", said, "Add a column description, or name the file without #.")
        wanted = [row for row, text in said_of if text.casefold().startswith(self.part.casefold())]
        if not wanted:
            there = list(dict.fromkeys(text for _, text in said_of if text))
            more = f" and {len(there) - _MOST_CODES} more" if len(there) > _MOST_CODES else ""
            listed = ", ".join(text[:30] for text in there[:_MOST_CODES]) + more
            said = f"no description begins with {self.part[:30]}; there are: {listed}"
            self._refuse("", said, "Write one of these behind the #, or its beginning.")
        return wanted

    # --- values -----------------------------------------------------------------------------------------

    def _table(self, rows: _Rows, columns: dict[str, int]) -> PointTable:
        geographic = "longitude" in columns
        xy: list[tuple[float, float]] = []
        z: list[float | None] = []
        for line, cells in rows:
            if geographic:
                xy.append(self._degrees(cells, columns, line))
            else:
                east = self._coordinate(cells, columns["east"], "easting", line)
                north = self._coordinate(cells, columns["north"], "northing", line)
                xy.append((east, north))
            blank = "z" not in columns or columns["z"] >= len(cells) or not cells[columns["z"]]
            z.append(None if blank else self._coordinate(cells, columns["z"], "elevation", line))
        return PointTable(
            xy=tuple(xy),
            z=tuple(z),
            places=tuple(f"line {line}" for line, _ in rows),
            file=self.name,
            notes=tuple(self.notes),
            geographic=geographic,
            metric_z=self.metric_z,
            unit=self.unit,
            names=_texts(rows, columns.get("point")),
            descriptions=_texts(rows, columns.get("description")),
        )

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

    def _degrees(self, cells: list[str], columns: dict[str, int], line: int) -> tuple[float, float]:
        """Read longitude and latitude; a fault, and 0, where there is none."""
        found = []
        for what, most in (("longitude", 180.0), ("latitude", 90.0)):
            column = columns[what]
            text = cells[column] if column < len(cells) else ""
            value = self._number(text)
            value = latitude_or_longitude(text) if value is None else value
            if value is None:
                shown = f'"{text[:40]}" is no angle' if text else "it is missing"
                said = f"the {what} (column {column + 1}) cannot be read: {shown}"
                self.faults.add(f"line {line}", said, _DEGREES_REMEDY)
            elif abs(value) > most:
                said = f"the {what} (column {column + 1}) is {value:.10g}, beyond {most:g} degrees"
                self.faults.add(f"line {line}", said, "Check the columns: are plan coordinates in them?")
            found.append(value or 0.0)
        return found[0], found[1]


def _texts(rows: _Rows, column: int | None) -> tuple[str, ...]:
    """What stands in a column, as written; nothing where there is none."""
    if column is None:
        return ()
    return tuple(cells[column] if column < len(cells) else "" for _, cells in rows)


def _without_comments(text: str) -> list[str]:
    """Blank out lines that begin with #, but keep a first one that is a header."""
    lines = text.splitlines(keepends=True)
    first = next((index for index, line in enumerate(lines) if line.strip()), None)
    for index, line in enumerate(lines):
        bare = line.lstrip()
        if not bare.startswith("#"):
            continue
        # "#,x,y" and "# x,y" are headers; taken for comments, x and y would be read the other way round
        names = {column_of(cell)[0] for cell in re.split("[,;|\t]", bare[1:])}
        pairs = ({"x", "y"}, {"easting", "northing"}, {"latitude", "longitude"})
        header = index == first and any(pair <= names for pair in pairs)
        lines[index] = bare[1:] if header else "\n"
    return lines
