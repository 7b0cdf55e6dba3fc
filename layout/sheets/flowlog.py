"""Adds a reading to the log beside a site: what stands there stays as it is, byte for byte, whatever goes wrong."""

from __future__ import annotations

import contextlib
import csv
import io
import os
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

from layout.errors import Fault, ReadError, SheetError
from layout.model import FlowReading
from layout.sheets.delimited import rows_text
from layout.sheets.figures import plain
from layout.startup.expected import Expected
from layout.startup.log import COLUMNS, first_of, is_far_off
from layout.units import UnitSet

NAME = "flowlog.csv"
_TRIES = 5


def append_reading(
    path: Path,
    reading: FlowReading,
    *,
    before: Sequence[FlowReading],
    expected: Expected | None,
    units: UnitSet,
    several: bool = False,
) -> None:
    """Add one line to the log, which is begun where there is none.

    Parameters
    ----------
    path : Path
    reading : FlowReading
    before : sequence of FlowReading
        What the log has.
    expected : Expected or None
        None where the plan has no such state.
    units : UnitSet
    several : bool
        Whether the field has more zones than one, so that a line must say its own.

    Raises
    ------
    ReadError
        Where the titles of a log begun by hand leave no place for what the reading says.
    SheetError
        Where it cannot be written; it is then as it was.
    """
    row = log_row(reading, before=before, expected=expected, units=units)
    path = path.resolve()
    try:
        for _ in range(_TRIES):
            old = path.read_bytes() if path.exists() else b""
            _refuse_lost(path, old, reading, several)
            if _replace(path, old, old + _addition(old, row)):
                return
    except OSError as error:
        said = f"cannot be written ({error.strerror or error})"
        remedy = "Close the program that holds it open, or allow it to be written; it is as it was."
        raise SheetError(Fault(file=str(path), said=said, remedy=remedy)) from error
    said = "is written by another program again and again"
    raise SheetError(Fault(file=str(path), said=said, remedy="Try again when that is done."))


def refuse_lost(path: Path, reading: FlowReading, *, several: bool) -> None:
    """Refuse a reading of which the titles of a log begun by hand would lose something.

    Parameters
    ----------
    path : Path
        May be missing.
    reading : FlowReading
    several : bool
        Whether the field has more zones than one.

    Raises
    ------
    ReadError
        Naming the columns that are missing.
    """
    _refuse_lost(path, path.read_bytes() if path.exists() else b"", reading, several)


def _refuse_lost(path: Path, old: bytes, reading: FlowReading, several: bool) -> None:
    titles = _titles(old)
    if titles is None:
        return
    wanted = {
        "state": reading.doing != "dosing",
        "zone": several or reading.zone != 1,
        "note": bool(reading.note),
    }
    lacking = [title for title, told in wanted.items() if told and title not in titles]
    if lacking:
        said = f"has no column for {', '.join(lacking)}, so the reading cannot be kept whole"
        remedy = f"Add {','.join(lacking)} to the end of its first line: {','.join((*titles, *lacking))}."
        raise ReadError(Fault(file=str(path), field="line 1", said=said, remedy=remedy))


def log_row(
    reading: FlowReading, *, before: Sequence[FlowReading], expected: Expected | None, units: UnitSet
) -> tuple[str, ...]:
    """The cells of a reading, under the titles of the log."""
    first = first_of([*before, reading], reading.zone, reading.doing, expected)
    of_first = ""
    if first is not None and not is_far_off(first.flow, expected):
        of_first = plain(100.0 * reading.flow / first.flow, 1, thousands=False)
    return (
        reading.on.isoformat(),
        f"Z{reading.zone}",
        reading.doing,
        reading.said,
        plain(reading.flow / units.flow, 4, thousands=False),
        units.flow_name,
        "" if expected is None else plain(expected.flow / units.flow, 4, thousands=False),
        "" if expected is None else plain(100.0 * reading.flow / expected.flow, 1, thousands=False),
        of_first,
        reading.note,
    )


def _addition(old: bytes, row: Sequence[str]) -> bytes:
    """What comes after the bytes that stand there: a line, with the titles before the first, in their line ends.

    A file begun by hand may have its columns in another order, or fewer: its titles are followed.
    """
    end = "\r\n" if b"\r\n" in old else "\n"
    titles = _titles(old)
    cells = dict(zip(COLUMNS, row, strict=True))
    line = rows_text([[cells.get(title, "") for title in titles or COLUMNS]], end=end)
    if titles is None:
        line = rows_text([COLUMNS], end=end) + line
    elif not old.endswith((b"\n", b"\r")):
        line = end + line
    return line.encode("utf-8")


def _titles(old: bytes) -> Sequence[str] | None:
    for row in csv.reader(io.StringIO(old.decode("utf-8-sig"), newline="")):
        if any(cell.strip() for cell in row):
            return [cell.strip().lower() for cell in row]
    return None


def _replace(path: Path, old: bytes, new: bytes) -> bool:
    """Put the new bytes in the place of the old ones, all at once; False where others stand there by now."""
    handle, name = tempfile.mkstemp(prefix=".flowlog-", dir=path.parent)
    work = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(new)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            shutil.copymode(path, work)
        else:
            work.chmod(0o666 & ~_mask())
        if (path.read_bytes() if path.exists() else b"") != old:
            return False
        work.replace(path)
        return True
    finally:
        with contextlib.suppress(OSError):
            work.unlink()


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
