"""The points a site file holds or refers to: inline lists, and files in its own folder."""

from __future__ import annotations

from pathlib import Path, PureWindowsPath
from typing import Any

from layout.errors import Fault, LayoutError, ReadError, SiteError
from layout.readers.cad.pick import Drawings
from layout.readers.cad.units import STATED
from layout.readers.document import Document, Loc
from layout.readers.points import ENDINGS, PointTable, Role, read_points, split_name
from layout.readers.shapes import Place, inline_points
from layout.readers.values import quoted

_ROLES: dict[str | int, Role] = {"outline": "outline", "levels": "levels", "guide": "guide"}
_INSIDE_REMEDY = "Put the survey file into the site file's folder and name it from there."


def point_tables(document: Document) -> tuple[dict[Loc, PointTable], list[Fault]]:
    """Read all points of a site document.

    Returns
    -------
    tables : dict
        By the loc of the key that holds or names them; those that cannot be read are left out.
    faults : list of Fault
        Why.
    """
    locs: list[Loc] = [("bed", "outline"), ("bed", "levels"), ("runs", "guide")]
    features = document.get("feature")
    if isinstance(features, list):
        locs += [("feature", index, "shape") for index in range(len(features))]
    tables: dict[Loc, PointTable] = {}
    faults: list[Fault] = []
    drawings = Drawings(document.units, _drawing_units(document))
    for loc in locs:
        value = document.get(*loc)
        try:
            table = _points_at(document, loc, value, drawings)
        except LayoutError as error:
            faults.extend(error.faults)
        else:
            if table is not None:
                tables[loc] = table
    return tables, faults


def _drawing_units(document: Document) -> str | None:
    word = document.get("survey", "drawing_units")
    return word if isinstance(word, str) and word in STATED else None


def _points_at(document: Document, loc: Loc, value: Any, drawings: Drawings) -> PointTable | None:
    """Read the points of one key; None where it holds neither a list nor a file name."""
    if isinstance(value, list):
        place = Place(file=document.source(loc), field=document.field(loc))
        return inline_points(value, place, with_z=loc[-1] == "levels")
    if not isinstance(value, str):
        return None
    path, part = inside_folder(document, loc, value), ""
    if not _is_file(path):
        name, part = split_name(value)
        path = inside_folder(document, loc, name)
    role = _ROLES.get(loc[-1], "shape")
    try:
        if path.suffix.lower() == ".dxf":
            return drawings.table(path, part, role)
        return read_points(path, part=part, role=role)
    except ReadError as error:
        if path.suffix.lower() in ENDINGS and _is_file(path):
            raise
        # a name that leads to no file of a known kind is a mistake of the site file
        first = error.faults[0]
        raise SiteError(document.fault(loc, f"{quoted(value)}: {first.said}", first.remedy)) from error


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:
        return False


def inside_folder(document: Document, loc: Loc, name: str) -> Path:
    """Find a file named in the site file; a fault where the name leads out of the site file's folder."""
    folder = document.path.parent
    windows = PureWindowsPath(name)
    said = ""
    if not name.strip() or "\0" in name:
        said = "the file name is empty" if not name.strip() else "the file name holds a zero character"
    elif "\\" in name or windows.drive:
        said = f"{quoted(name)} is a path of one system only"
    elif Path(name).is_absolute():
        said = f"{quoted(name)} is an absolute path"
    else:
        try:
            inside = (folder / name).resolve().is_relative_to(folder.resolve())
        except (OSError, RuntimeError, ValueError):
            inside = False
        if not inside:
            said = f"{quoted(name)} leads out of the site file's folder"
    if said:
        remedy = "Name it with / between folders." if "\\" in name else _INSIDE_REMEDY
        raise SiteError(document.fault(loc, said, remedy))
    return folder / name
