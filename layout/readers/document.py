"""The site file as TOML, with the keys that were set on the command line laid over it.

A *loc* is the path of a key in the document: ``("runs", "spacing")``, ``("feature", 1, "setback")``.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from layout.errors import Fault, ReadError
from layout.units import UNIT_SETS, UnitSet

Loc = tuple[str | int, ...]

MOST_BYTES = 2_000_000
MOST_STEPS = 64
"""Parts of a key with dots between them; the time to read one grows with their square."""
_TOML_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)")
_TOML_KEYS = re.compile(r"\(('[^']*'(, )?)+,?\)")
_STEPS = re.compile(
    r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){""" + str(MOST_STEPS) + "}"
)
_MARKS = re.compile(r"#[^\n]*|\"{3}.*?\"{3}|'{3}.*?'{3}|\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*'|[\[\]{}]", re.DOTALL)
"""Remarks and texts, and the brackets outside of them."""
_KEY = re.compile(r"[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)*")


@dataclass(slots=True, kw_only=True)
class Document:
    """A site file as read, not yet checked.

    Attributes
    ----------
    path : Path
    raw : dict
        What TOML says, with overrides laid over it.
    overridden : dict
        The ``KEY=VALUE`` text by the loc it set.
    """

    path: Path
    raw: dict[str, Any]
    overridden: dict[Loc, str] = field(default_factory=dict)

    def source(self, *locs: Loc) -> str:
        """Name what a fault in these keys is blamed on: a ``--set`` if one set any of them, else the file."""
        for loc in locs:
            for length in range(len(loc), 0, -1):
                if loc[:length] in self.overridden:
                    return f"--set {shortened(self.overridden[loc[:length]], 60)}"
        return str(self.path)

    def get(self, *loc: str | int) -> Any:
        """Find the raw value at a loc; None where there is none or the way to it is no table."""
        value: Any = self.raw
        for step in loc:
            if isinstance(value, dict) and isinstance(step, str):
                value = value.get(step)
            elif isinstance(value, list) and isinstance(step, int) and step < len(value):
                value = value[step]
            else:
                return None
        return value

    @property
    def units(self) -> UnitSet:
        """The site's units; where the file states none, some that serve to find its other faults."""
        word = self.get("units")
        return UNIT_SETS.get(word, UNIT_SETS["m"]) if isinstance(word, str) else UNIT_SETS["m"]

    def field(self, loc: Loc) -> str:
        """Write a loc the way the user knows it: ``runs.spacing``, ``feature[2] "well": setback``."""
        if len(loc) < 2 or loc[0] != "feature" or not isinstance(loc[1], int):
            return ".".join(str(step) for step in loc)
        name = self.get("feature", loc[1], "name")
        title = f' "{shortened(name, 40)}"' if isinstance(name, str) and name else ""
        key = ".".join(str(step) for step in loc[2:])
        return f"feature[{loc[1] + 1}]{title}" + (f": {key}" if key else "")

    def fault(self, loc: Loc, said: str, remedy: str, *also: Loc) -> Fault:
        """Make a fault of the key at a loc; `also` are other keys it depends on."""
        return Fault(file=self.source(loc, *also), field=self.field(loc), said=said, remedy=remedy)


def shortened(text: str, most: int) -> str:
    """Cut a text to a length for a message, on one line and free of control characters."""
    flat = "".join(char if char.isprintable() else " " for char in text)
    return flat if len(flat) <= most else flat[: most - 3] + "..."


def load(path: Path) -> Document:
    """Read a site file as TOML.

    Raises
    ------
    ReadError
        Where there is no such file, or it is no TOML; with the line.
    """
    text = _text_of(path)
    if long := _STEPS.search(text):
        where = f"line {text.count(chr(10), 0, long.start()) + 1}"
        said = f"more than {MOST_STEPS} words with dots between them are no key of a site file"
        raise ReadError(Fault(file=str(path), field=where, said=said, remedy="Write table.key, or [table]."))
    try:
        return Document(path=path, raw=tomllib.loads(text))
    except RecursionError:
        fault = Fault(
            file=str(path),
            said="lists stand in lists too many times over",
            remedy="Look for brackets that are not closed.",
        )
    except ValueError as error:  # a TOMLDecodeError is one, and so is a number of thousands of digits
        fault = _toml_fault(path, text, str(error))
    raise ReadError(fault)


def _text_of(path: Path) -> str:
    def refuse(said: str, remedy: str) -> ReadError:
        return ReadError(Fault(file=str(path), said=said, remedy=remedy))

    try:
        if path.is_dir():
            raise refuse("this is a folder", f"Name the site file in it: {path / 'site.toml'}.")
        if not path.is_file():
            raise refuse(
                "there is no such file",
                "Give the path of a site file; `sinuate new FOLDER` writes one to start from.",
            )
        if path.stat().st_size > MOST_BYTES:
            raise refuse(
                "the file is too large for a site file", "Put long outlines into .csv files beside it."
            )
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise refuse(f"line {line} is not in UTF-8", "Save the file as UTF-8 text.") from error
    except (OSError, ValueError) as error:
        if isinstance(error, ReadError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(f"the file cannot be opened ({reason})", "Check the path.") from error


def _toml_fault(path: Path, text: str, message: str) -> Fault:
    """Turn what the TOML parser says into a fault that shows the line."""
    place = _TOML_PLACE.search(message)
    said = _TOML_PLACE.sub("", message) if place else message
    said = _TOML_KEYS.sub(lambda keys: "[" + ".".join(re.findall(r"'([^']*)'", keys[0])) + "]", said)
    said = "the text is not closed" if "character '\\n'" in said else said[:1].lower() + said[1:]
    remedy = 'Write key = value: text in "double quotes", points as [x, y], remarks after #.'
    if "overwrite" in message or "twice" in message or "mutate" in message:
        remedy = "A key or [table] may stand only once; each feature begins with its own [[feature]]."
    where, line = "", ""
    if place and place.group(1):
        number = int(place.group(1))
        where = f"line {number}, column {place.group(2)}"
        line = f" in `{shortened(text.split(chr(10))[number - 1].strip(), 60)}`"
    elif place:
        where = "end of file"
        remedy = "Look for a quotation mark or bracket that is not closed."
    opened = _open_bracket(text, place)
    if opened:
        remedy = f"Close the bracket that is opened on line {opened}."
    return Fault(file=str(path), field=where, said=f"this is not valid TOML: {said}{line}", remedy=remedy)


def _open_bracket(text: str, place: re.Match[str] | None) -> int:
    """The line of the bracket that is still open where the parser gave up, if it is an earlier one; else 0.

    A list may run over lines, so the parser is at a loss only some lines below the one that lacks its bracket.
    """
    lines = text.split("\n")
    if place and place.group(1):
        line, column = int(place.group(1)), int(place.group(2))
        lines = [*lines[: line - 1], lines[line - 1][: column - 1]]
    text, last = "\n".join(lines), len(lines)
    opened: list[int] = []
    for mark in _MARKS.finditer(text):
        if mark[0] in "[{":
            opened.append(text.count("\n", 0, mark.start()) + 1)
        elif mark[0] in "]}" and opened:
            opened.pop()
    return opened[-1] if opened and (opened[-1] < last or not (place and place.group(1))) else 0


# --- overrides ------------------------------------------------------------------------------------------


def override(document: Document, settings: Iterable[str]) -> list[Fault]:
    """Lay ``KEY=VALUE`` settings over a document, in order, and return what is wrong with them.

    A value is written as in the site file; a bare word counts as text. ``feature.NAME.KEY`` reaches a feature
    by its name.

    Returns
    -------
    list of Fault
        A setting with a fault is not applied.
    """
    faults = []
    for setting in settings:
        said = _apply(document, setting)
        if said is not None:
            faults.append(Fault(file=f"--set {shortened(setting, 60)}", said=said[0], remedy=said[1]))
    return faults


def _apply(document: Document, setting: str) -> tuple[str, str] | None:
    """Apply one setting; what is wrong with it, and the remedy, where it cannot be."""
    key, equals, text = setting.partition("=")
    key = key.strip()
    if not equals or not text.strip():
        return (
            "a setting needs a key and a value",
            "Write --set KEY=VALUE, for instance --set runs.spacing=1.5.",
        )
    value = _value(text.strip())
    if isinstance(value, ValueError):
        return (
            f"the value cannot be read: {value}",
            'Write it as in the site file: 1.5, "text", [[0, 0], [9, 0]].',
        )
    if key.startswith("feature."):
        return _apply_to_feature(document, key, value, setting)
    if not _KEY.fullmatch(key):
        return f'"{shortened(key, 40)}" is no key', "Write it as table.key, for instance runs.spacing."
    loc: Loc = tuple(key.split("."))
    table = document.raw
    for depth, step in enumerate(loc[:-1], start=1):
        if step not in table:
            document.overridden[loc[:depth]] = setting
        table = table.setdefault(str(step), {})
        if not isinstance(table, dict):
            return f"{document.field(loc[:depth])} is no table", "Name a key of the site file."
    table[str(loc[-1])] = value
    document.overridden[loc] = setting
    return None


def _apply_to_feature(document: Document, key: str, value: Any, setting: str) -> tuple[str, str] | None:
    name, dot, last = key.removeprefix("feature.").rpartition(".")
    name, last = name.strip().strip('"'), last.strip()
    if not dot or not _KEY.fullmatch(last):
        return (
            f'"{shortened(key, 40)}" is no key of a feature',
            "Write feature.NAME.KEY, as in feature.well.setback.",
        )
    features = document.raw.get("feature")
    tables = features if isinstance(features, list) else []
    for index, table in enumerate(tables):
        if isinstance(table, dict) and table.get("name") == name:
            table[last] = value
            document.overridden["feature", index, last] = setting
            return None
    names = [str(table["name"]) for table in tables if isinstance(table, dict) and "name" in table]
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.0)
    remedy = f"The nearest is {near[0]}." if near else "The site file has no feature with a name."
    return f'there is no feature "{shortened(name, 40)}"', remedy


def _value(text: str) -> Any:
    """Read a value in TOML's syntax; a bare word is text; a ValueError, returned, where it is neither."""
    try:
        parsed = tomllib.loads(f"value = {text}")
        if parsed.keys() == {"value"}:
            return parsed["value"]
        return ValueError("it holds more than one value")
    except RecursionError:
        return ValueError("brackets stand in brackets too many times over")
    except ValueError as error:
        if text[0] in "[{\"'" or "\n" in text:
            return ValueError(_TOML_PLACE.sub("", str(error)))
        return text
