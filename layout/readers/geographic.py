"""Survey files in longitude and latitude, put on the plan: that of `survey.crs`, or a plane chosen for the site.

A site without a CRS whose survey files are all in longitude and latitude is a *geographic* one: its plane is chosen
so that plan lengths are ground lengths, and points in its site file are longitude, latitude, too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from layout.errors import Fault, ReadError
from layout.frame import crs_fault, datum_note, local_plane, to_plan
from layout.model import XY, Frame
from layout.readers.document import Document, Loc
from layout.readers.points import PointTable
from layout.readers.values import is_number, quoted
from layout.units import UnitSet

NEAR = 0.5
"""Points in the site file lie within so much of those in the survey files [degrees]."""
POLAR = 66.5
"""Beds beyond this latitude are asked about [degrees]."""
POINT_KEYS: tuple[Loc, ...] = (
    ("pump", "at"),
    ("manifold", "end"),
    ("stakeout", "ties"),
    ("stakeout", "baseline"),
)
"""Keys of the site file that hold points but no shape."""
_REMEDY = "Write [longitude, latitude], or state survey.crs and give all points in it."


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """The plan of a site.

    Attributes
    ----------
    crs : str or None
        Named by the site file, or chosen for the site.
    words : str
        What people call a chosen one; empty else.
    tables : dict
        All points in site units on this plan; those that cannot be put on it are left out.
    faults, notes
        Of what was put on it.
    """

    crs: str | None
    words: str
    tables: dict[Loc, PointTable]
    faults: tuple[Fault, ...] = ()
    notes: tuple[str, ...] = ()


def on_one_plane(document: Document, tables: dict[Loc, PointTable], units: UnitSet) -> Plane:
    """Bring all points of a site to one plan.

    On a geographic site the points that the site file itself holds are turned in `document`, too.

    Parameters
    ----------
    document : Document
    tables : dict
        Points by the loc of the key that holds or names them.
    units : UnitSet
    """
    stated = document.get("survey", "crs")
    crs = stated.strip() if isinstance(stated, str) else None
    degrees = {loc: table for loc, table in tables.items() if table.geographic}
    if not degrees:
        return Plane(crs=crs, words="", tables=tables)
    if stated is not None:
        return _on_stated(document, crs, tables, degrees, units)
    flat = [table for table in tables.values() if table.file and not table.geographic]
    if flat:
        said = f"it is in longitude and latitude, {Path(flat[0].file).name} in plan coordinates of an unknown system"
        remedy = "State survey.crs, the system of the plan coordinates, or give all files in longitude and latitude."
        names = dict.fromkeys(table.file for table in degrees.values())
        faults = tuple(Fault(file=name, said=said, remedy=remedy) for name in names)
        return Plane(crs=None, words="", tables=_without(tables, degrees), faults=faults)
    return _on_own(document, tables, degrees, units)


def on_plan(table: PointTable, frame: Frame) -> PointTable:
    """Bring points measured later, an as-built survey say, to the plan of a site that has been read.

    Raises
    ------
    ReadError
        Where they are in longitude and latitude, and the site's place on earth is not known or out of reach; or in
        another unit than the site's, as they say themselves.
    """
    said = unit_said(table, frame.units.word)
    if said is not None:
        raise ReadError(
            Fault(file=table.file, said=said, remedy="Convert it, or write the units that it is in.")
        )
    if not table.geographic:
        return table
    if frame.crs is None:
        said = "it is in longitude and latitude, but where the site's plan lies on earth is not known"
        raise ReadError(
            Fault(file=table.file, said=said, remedy="Give plan coordinates, or state survey.crs.")
        )
    turned, faults = _turned({("points",): table}, frame.crs, frame.units)
    if faults:
        raise ReadError(*faults)
    return turned["points",]


def unit_said(table: PointTable, word: str) -> str | None:
    """What is wrong with the unit that a file says it is in; None where nothing is: plain feet fit both feet."""
    if table.unit is None or table.unit == word or (table.unit == "ft" and word == "us-ft"):
        return None
    return f"it says that it is in {table.unit}, but the site is in {word}"


def _without(tables: dict[Loc, PointTable], left_out: Iterable[Loc]) -> dict[Loc, PointTable]:
    gone = set(left_out)
    return {loc: table for loc, table in tables.items() if loc not in gone}


def _on_stated(
    document: Document,
    crs: str | None,
    tables: dict[Loc, PointTable],
    degrees: dict[Loc, PointTable],
    units: UnitSet,
) -> Plane:
    """Put the files in longitude and latitude on the plane that the site file states."""
    if crs is None or document.get("units") != units.word or crs_fault(crs, units) is not None:
        return Plane(
            crs=crs, words="", tables=_without(tables, degrees)
        )  # what is wrong with it is told elsewhere
    turned, faults = _turned(tables, crs, units)
    names = ", ".join(dict.fromkeys(Path(table.file).name for table in degrees.values()))
    step = datum_note(crs)
    notes = [f"{names}: longitude and latitude on WGS 84 are put on {crs}" + (f"; {step}" if step else "")]
    return Plane(crs=crs, words="", tables=turned, faults=tuple(faults), notes=tuple(notes))


def _on_own(
    document: Document, tables: dict[Loc, PointTable], degrees: dict[Loc, PointTable], units: UnitSet
) -> Plane:
    """Choose a plane for a geographic site, and put everything on it."""
    outline = degrees.get(("bed", "outline"))
    centre = outline if outline is not None else next(iter(degrees.values()))
    level = _level(document, tables.get(("bed", "levels")), units)
    crs, where = local_plane(centre.xy, units, level=level or 0.0)
    faults = [
        fault
        for loc, table in tables.items()
        if not table.geographic
        for fault in _misplaced(document, loc, table.xy, centre.xy[0])
    ]
    near = {loc: replace(table, geographic=True) for loc, table in tables.items()} if not faults else degrees
    turned, beyond = _turned(near, crs, units)
    for loc in POINT_KEYS:
        value = document.get(*loc)
        found = list(_points_in(value))
        wrong = _misplaced(document, loc, found, centre.xy[0])
        faults += wrong
        if found and not wrong:
            table = document.get(*loc[:-1])
            table[loc[-1]] = _with_points(value, lambda point: _one(crs, point))
    return Plane(
        crs=crs,
        words=f"local plane {where}",
        tables=turned,
        faults=(*faults, *beyond),
        notes=(_plane_note(crs, where, centre.xy[0][1], level, units),),
    )


def _one(crs: str, point: XY) -> list[float]:
    x, y = to_plan(crs, [point])[0]
    return [float(x), float(y)]


def _level(document: Document, table: PointTable | None, units: UnitSet) -> float | None:
    """The ground's level, as far as the site says it [m]."""
    stated = document.get("bed", "levels")
    if is_number(stated):
        return float(stated) * units.length
    known = [z for z in table.z if z is not None] if table is not None else []
    if table is None or not known:
        return None
    return math.fsum(known) / len(known) * (1.0 if table.metric_z else units.length)


def _plane_note(crs: str, where: str, latitude: float, level: float | None, units: UnitSet) -> str:
    """What plane was chosen, in a sentence."""
    k = float(next(part for part in crs.split() if part.startswith("+k="))[3:])
    at = (
        "at sea level, for no levels are given"
        if level is None
        else f"for ground at {level / units.length:,.1f}"
    )
    unit = "" if level is None else f" {units.length_name}"
    far = "; so near to a pole: does longitude stand first in the files?" if abs(latitude) > POLAR else ""
    return (
        f"the plan is a plane for this site, transverse Mercator on WGS 84 through {where}, with scale factor {k:.8f} "
        f"{at}{unit}, so that plan lengths are "
        "ground lengths; points in the site file are longitude, latitude; a map may lie 1 to 2 m off marks on the "
        "ground, so tie it to points on site before staking with a receiver"
        f"{far}"
    )


def _turned(
    tables: dict[Loc, PointTable], crs: str, units: UnitSet
) -> tuple[dict[Loc, PointTable], list[Fault]]:
    """All tables in plan coordinates; faults for points that the projection does not reach."""
    turned, faults = {}, []
    for loc, table in tables.items():
        if not table.geographic:
            turned[loc] = table
            continue
        plan = to_plan(crs, table.xy)
        lost = np.flatnonzero(~np.isfinite(plan).all(axis=1))
        if len(lost):
            (longitude, latitude), where = table.xy[lost[0]], table.places[lost[0]]
            said = f"({longitude:.6f}, {latitude:.6f}) is out of reach of the plan's projection"
            faults.append(
                Fault(file=table.file, field=where, said=said, remedy="Check longitude and latitude.")
            )
            continue
        factor = 1.0 / units.length if table.metric_z else 1.0
        turned[loc] = replace(
            table,
            xy=tuple((float(x), float(y)) for x, y in plan),
            z=tuple(None if z is None else z * factor for z in table.z),
            geographic=False,
            metric_z=False,
        )
    return turned, faults


# --- points in the site file ----------------------------------------------------------------------------


def _is_point(value: Any) -> bool:
    return isinstance(value, list) and len(value) == 2 and all(is_number(part) for part in value)


def _points_in(value: Any) -> Iterable[XY]:
    """The points that a value holds: a point, a list of them, or a table of them."""
    if _is_point(value):
        yield float(value[0]), float(value[1])
    elif isinstance(value, list | dict):
        for item in value.values() if isinstance(value, dict) else value:
            if isinstance(item, list):
                yield from _points_in(item)


def _with_points(value: Any, turn: Callable[[XY], list[float]]) -> Any:
    """The same value with all its points turned."""
    if _is_point(value):
        return turn((float(value[0]), float(value[1])))
    if isinstance(value, dict):
        return {key: _with_points(item, turn) for key, item in value.items()}
    return [_with_points(item, turn) for item in value] if isinstance(value, list) else value


def _misplaced(document: Document, loc: Loc, points: Iterable[XY], near: XY) -> list[Fault]:
    """A fault where one of the site file's points is nowhere near the surveyed ones."""
    for x, y in points:
        around = (x - near[0] + 180.0) % 360.0 - 180.0
        if abs(around) <= NEAR and abs(y - near[1]) <= NEAR:
            continue
        said = (
            f"all survey files are in longitude and latitude, and {quoted([x, y])} is nowhere near them, at "
            f"[{near[0]:.6f}, {near[1]:.6f}]"
        )
        return [document.fault(loc, said, _REMEDY)]
    return []
