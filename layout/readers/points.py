"""Survey files into points: the noun that all readers give, and the choice of the reader by the file's ending.

A file is named as ``bed.csv``, or with a part of it as ``lot.csv#EDGE``: the points of a description code, the
layer of a drawing, the feature of a map.
"""

from __future__ import annotations

import codecs
import difflib
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from layout.errors import Fault, ReadError
from layout.readers.document import shortened

COORDINATE_LIMIT = 1e9
"""No survey counts this far from its origin [site units]."""
MOST_POINTS = 200_000
MOST_BYTES = 50_000_000
MOST_FAULTS = 8
"""Faults listed of one file; the rest are counted."""
_LONGEST = 500
"""No message is longer."""

ENDINGS = (".csv", ".dxf", ".geojson", ".json", ".txt")
"""Endings of the files that can be read."""
READABLE = (
    "Survey files are .csv points, .dxf drawings, .geojson maps and .txt traverses; short outlines can stand in the "
    "site file: [[x, y], ...]."
)
_PART = re.compile(r"(.*?\.(?:csv|dxf|geojson|json|txt))#(.*)", re.IGNORECASE | re.DOTALL)

Role = Literal["outline", "levels", "guide", "shape"]
"""What the points are read for."""


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
    geographic : bool
        True where `xy` are longitude and latitude on WGS 84 [degrees], still to be put on the plan.
    metric_z : bool
        True where `z` are metres, whatever the site's units.
    unit : str or None
        The unit that the file itself says its coordinates are in, ``ft``, ``us-ft`` or ``m``, for the site's to be
        held against.
    names, descriptions : tuple of str
        The number or name of each point, and what the survey says of it, as written; empty where the file has none.
    """

    xy: tuple[tuple[float, float], ...]
    z: tuple[float | None, ...]
    places: tuple[str, ...]
    file: str = ""
    notes: tuple[str, ...] = ()
    geographic: bool = False
    metric_z: bool = False
    unit: str | None = None
    names: tuple[str, ...] = ()
    descriptions: tuple[str, ...] = ()


@dataclass(slots=True)
class Faults:
    """The faults of one file: the first few in full, the others counted."""

    file: str
    listed: list[Fault] = field(default_factory=list)
    more: int = 0

    def add(self, where: str, said: str, remedy: str) -> None:
        """Note a fault; it is raised with the others by `stop`. What it quotes of the file is made printable."""
        if len(self.listed) < MOST_FAULTS:
            said = shortened(said, _LONGEST)
            self.listed.append(Fault(file=self.file, field=where, said=said, remedy=remedy))
        else:
            self.more += 1

    def stop(self) -> None:
        """Raise what has been gathered, if anything.

        Raises
        ------
        ReadError
        """
        if self.listed:
            raise self.error()

    def error(self) -> ReadError:
        """What has been gathered, to be raised."""
        if not self.more:
            return ReadError(*self.listed)
        said = f"{self.more} more faults of this kind are not listed"
        return ReadError(*self.listed, Fault(file=self.file, said=said, remedy="Mend these first."))


def split_name(name: str) -> tuple[str, str]:
    """Part the name of a survey file from what is wanted of it.

    Examples
    --------
    >>> split_name("lot.csv#EDGE"), split_name("bed #2.csv")
    (('lot.csv', 'EDGE'), ('bed #2.csv', ''))
    """
    found = _PART.fullmatch(name)
    return (found[1], found[2].strip()) if found else (name, "")


def read_points(path: Path, *, shown: str | None = None, part: str = "", role: Role = "shape") -> PointTable:
    """Read a survey file.

    Parameters
    ----------
    path : Path
    shown : str, optional
        What faults call the file; `path` itself when left out.
    part : str
        What is wanted of it: a description code, a layer, the name of a feature; empty for all.
    role : "outline", "levels", "guide" or "shape"
        What the points are for.

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
    suffix = path.suffix.lower()
    if suffix not in ENDINGS:
        kind = f"{suffix} files cannot be read" if suffix else "the file has no ending that tells its kind"
        raise ReadError(Fault(file=name, said=kind, remedy=READABLE))
    data = bytes_of(path, name)
    if suffix == ".dxf":  # its reader needs the site's units: `layout.readers.cad`
        said = "a drawing is read only where a site file names it"
        raise ReadError(Fault(file=name, said=said, remedy="Give the points as .csv."))
    text = decoded(data, name)
    if suffix == ".txt":
        from layout.readers.traversefile import read_traverse

        if part:
            said = f"a traverse has no part #{part[:40]}"
            raise ReadError(Fault(file=name, said=said, remedy="Name the file alone."))
        return read_traverse(text, name, closed=role == "outline")
    if suffix in {".geojson", ".json"}:
        from layout.readers.geojson import read_geojson

        return read_geojson(text, name, part=part, role=role)
    from layout.readers.delimited import read_delimited

    return read_delimited(text, name, part=part)


def bytes_of(path: Path, name: str) -> bytes:
    """Read a survey file's bytes, or say why they cannot be had; `name` is what faults call it."""
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
    raise ReadError(Fault(file=name, said="this is no text file", remedy="Save it as text in UTF-8."))
