"""Comma-separated values in which a spreadsheet finds no formula: the one way by which they are written."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path

_SIGNS = frozenset("=+-@\uff1d\uff0b\uff0d\uff20")
"""What a spreadsheet takes for the start of a formula, the wide forms of east Asian keyboards with it."""


def write_rows(path: Path, rows: Iterable[Iterable[object]], *, end: str = "\n") -> None:
    """Write a table to a file, its rows ended by `end`; see :func:`rows_text`."""
    path.write_text(rows_text(rows, end=end), encoding="utf-8", newline="")


def rows_text(rows: Iterable[Iterable[object]], *, end: str = "\n") -> str:
    """Give a table as text, every cell that is text made :func:`safe`; numbers, a `Decimal` for its digits, stay."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator=end).writerows(
        [safe(cell) if isinstance(cell, str) else cell for cell in row] for row in rows
    )
    return text.getvalue()


def safe(text: str) -> str:
    """Make one line of text that a spreadsheet does not take for a formula."""
    text = " ".join(text.split())
    return f"'{text}" if text[:1] in _SIGNS else text
