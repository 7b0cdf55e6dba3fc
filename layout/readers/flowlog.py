"""The log of flow readings that stands beside a site, and the flow of the field as it was laid."""

from __future__ import annotations

import csv
import json
import math
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from layout.errors import Fault, LayoutError, ReadError
from layout.model import FlowReading
from layout.readers.document import shortened
from layout.readers.points import Faults
from layout.readers.reading import date_of, flow_of
from layout.startup.log import COLUMNS
from layout.units import UNIT_SETS, UnitSet

NEEDED = ("date", "reading")
MOST_BYTES = 20_000_000
MOST_READINGS = 5000
"""More than a reading a day for a dozen years."""
MOST_FIGURE = 1e12
"""No length or flow of a field is so large; JSON knows infinity, and whole numbers of any length."""
SAME_LENGTH = 0.003
"""Planned lengths of one run that differ by less are the same [m]."""
SAME_FLOW = 1e-4
"""Planned flows of one zone that differ by a smaller share are the same."""
_FORMULA = re.compile(r"'[=+\-@\t\uff1d\uff0b\uff0d\uff20]")


def read_flow_log(path: Path, *, several: bool = False) -> tuple[FlowReading, ...]:
    """Read the log; none where there is none.

    Parameters
    ----------
    path : Path
        Lines may have been added by hand: only ``date`` and ``reading`` are needed, the flow is worked out from the
        reading. Without ``zone`` it is the first, without ``state`` dosing.
    several : bool
        Whether the field has more zones than one: a line without its zone is then refused.

    Returns
    -------
    tuple of FlowReading
        In the order of the file.

    Raises
    ------
    ReadError
        With every fault of the file.
    """
    if not path.exists():
        return ()
    rows = _rows(_text(path), path.name)
    titles = rows[0][1]
    if len(rows) - 1 > MOST_READINGS:
        said = f"has {len(rows) - 1:,} readings; {MOST_READINGS:,} can be read"
        raise ReadError(Fault(file=path.name, said=said, remedy="Start a new log, and keep the old one."))
    faults = Faults(path.name)
    found: list[FlowReading] = []
    for number, row in rows[1:]:
        cells = dict(zip(titles, row, strict=False))
        try:
            found.append(_reading(cells, path.name, f"line {number}", several=several))
        except ReadError as error:
            for fault in error.faults:
                faults.add(fault.field, fault.said, fault.remedy)
    faults.stop()
    return tuple(found)


def _text(path: Path) -> str:
    if not path.is_file():  # a pipe or a device would be read without end
        what, thing = ("a folder", "the folder") if path.is_dir() else ("no plain file", "it")
        remedy = f"Move {thing} away, or give it another name: the log of readings is a file of that name."
        raise ReadError(Fault(file=str(path), said=f"is {what}, so no log can stand there", remedy=remedy))
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ReadError(
                Fault(file=path.name, said="is too large for a log of readings", remedy="Start a new one.")
            )
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        remedy = "Save it as CSV in UTF-8."
        raise ReadError(Fault(file=path.name, said="is no text in UTF-8", remedy=remedy)) from None
    except OSError as error:
        said = f"cannot be read ({error.strerror or error})"
        raise ReadError(Fault(file=path.name, said=said, remedy="Allow it to be read.")) from None


def _rows(text: str, name: str) -> list[tuple[int, list[str]]]:
    """Lines with something in them, the titles first, in lower case."""
    reader = csv.reader(text.splitlines(keepends=True))
    try:
        rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader]
    except csv.Error as error:
        raise ReadError(Fault(file=name, said=f"is no table ({error})", remedy="Save it as CSV.")) from None
    rows = [(number, row) for number, row in rows if any(row)]
    titles = [cell.lower() for cell in rows[0][1]] if rows else []
    if not all(title in titles for title in NEEDED):
        wide = len(titles) == 1 and ";" in titles[0]
        raise ReadError(
            Fault(
                file=name,
                field="line 1",
                said="is parted by semicolons" if wide else "does not begin with the titles date and reading",
                remedy=f"Save it as CSV with commas, under the titles {','.join(COLUMNS)}.",
            )
        )
    return [(rows[0][0], titles), *rows[1:]]


def _reading(cells: Mapping[str, str], file: str, place: str, *, several: bool) -> FlowReading:
    def cell(name: str) -> str:
        text = cells.get(name, "")
        return text[1:] if _FORMULA.match(text) else text

    doing = cell("state").lower() or "dosing"
    if doing not in {"dosing", "flushing"}:
        said = f'state is "{doing}", but a field is dosing or flushing'
        raise ReadError(Fault(file=file, field=place, said=said, remedy="Write one of the two."))
    if several and not cell("zone"):
        said = "does not say its zone, and the field has several"
        remedy = "Write it under the title zone, as Z2; where line 1 has no such title, add it to its end."
        raise ReadError(Fault(file=file, field=place, said=said, remedy=remedy))
    return FlowReading(
        on=date_of(cell("date"), field=place, file=file),
        zone=zone_of(cell("zone") or "1", field=place, file=file),
        doing="flushing" if doing == "flushing" else "dosing",
        said=cell("reading"),
        flow=flow_of(cell("reading"), field=place, file=file),
        note=cell("note"),
    )


def zone_of(text: str, *, field: str, file: str = "") -> int:
    """The number of a zone, written ``Z2`` or ``2``.

    Raises
    ------
    ReadError
    """
    found = re.fullmatch(r"[zZ]?([1-9]\d{0,3})", text.strip())
    if found is None:
        said = f'zone is "{" ".join(text.split())[:40]}"'
        raise ReadError(Fault(file=file, field=field, said=said, remedy="Write Z1, Z2 and so on."))
    return int(found[1])


# --- as laid --------------------------------------------------------------------------------------------


def read_laid_flows(
    path: Path,
    zones: Sequence[int],
    *,
    lengths: Mapping[str, float] | None = None,
    flows: Mapping[int, float] | None = None,
) -> dict[int, float]:
    """The flow of each zone as it was laid, from the as-built [m³/s].

    Parameters
    ----------
    path : Path
        ``asbuilt.json``.
    zones : sequence of int
        Those of the plan.
    lengths : mapping, optional
        Of the runs of the plan [m]; with it the as-built must be of that plan.
    flows : mapping, optional
        Of the zones of the plan [m³/s]; likewise.

    Raises
    ------
    ReadError
        Where there is no such file, it is none of ours or of another plan, or it does not tell the flow of each zone.
    """
    remedy = "Run `sinuate asbuilt SITE POINTS` with all runs measured, or leave out --asbuilt."

    def refuse(said: str) -> ReadError:
        return ReadError(Fault(file=str(path), said=said, remedy=remedy))

    content = _as_built(path, refuse)
    units = UNIT_SETS.get(str(content.get("units")))
    if units is None:
        raise refuse("does not say its units")
    other = _of_another(content, units, lengths or {}, flows or {})
    if other:
        anew = "Run `sinuate asbuilt SITE POINTS` anew, with the same --set, or leave out --asbuilt."
        raise ReadError(Fault(file=str(path), said=f"is of another layout: {other}", remedy=anew))
    found: dict[int, float] = {}
    told = content.get("zones")
    for item in told if isinstance(told, list) else []:
        flow = _laid(item)
        number = _zone_number(item)
        if flow is not None and number is not None:
            if item.get("complete") is False:
                raise refuse(f"has runs of Z{number} that were not measured whole, so its flow is not known")
            found[number] = flow * units.flow
    if not found and len(zones) == 1:
        flow = _laid(content.get("totals"))
        if flow is not None:
            if content.get("complete") is False:
                raise refuse("has runs that were not measured whole, so the flow is not known")
            found[zones[0]] = flow * units.flow
    lacking = [f"Z{zone}" for zone in zones if zone not in found]
    if lacking:
        raise refuse(f"does not tell the flow of {', '.join(lacking)}")
    return {zone: found[zone] for zone in zones}


def _as_built(path: Path, refuse: Callable[[str], ReadError]) -> dict[str, Any]:
    if not path.is_file():
        raise refuse("is not there")
    if path.stat().st_size > MOST_BYTES:
        raise refuse("is too large for an as-built")
    try:
        content = json.loads(path.read_bytes().decode("utf-8"))
    except (OSError, ValueError, RecursionError):
        raise refuse("cannot be read as JSON") from None
    if not isinstance(content, dict) or not str(content.get("format", "")).startswith("sinuate-asbuilt/"):
        raise refuse("is no as-built of this program")
    return content


def _of_another(
    content: Mapping[str, Any], units: UnitSet, lengths: Mapping[str, float], flows: Mapping[int, float]
) -> str:
    """How the plan that an as-built was held against differs from this one; empty where it does not."""
    told = content.get("runs")
    if lengths and isinstance(told, list):
        was = {
            str(item.get("name")): _figure(item, "planned", "length")
            for item in told
            if isinstance(item, dict)
        }
        for name in sorted({*was, *lengths}, key=lambda name: (len(name), name)):
            if name not in was or name not in lengths:
                shown = shortened(name, 40)
                return (
                    f"its plan has {len(was)} runs, this one {len(lengths)}; {shown} is in one of them only"
                )
            before, now = was[name], lengths[name] / units.length
            if before is None or abs(before - now) * units.length > SAME_LENGTH:
                figure = "unknown" if before is None else f"{before:.2f} {units.length_name}"
                return f"the planned length of {name} is {figure} there, {now:.2f} {units.length_name} here"
    zones = content.get("zones")
    for item in zones if isinstance(zones, list) else []:
        flow, number = _figure(item, "planned", "flow"), _zone_number(item)
        if flow is None or number is None or number not in flows:
            continue
        here = flows[number] / units.flow
        if not math.isclose(flow, here, rel_tol=SAME_FLOW):
            return f"the planned flow of Z{number} is {flow:.2f} {units.flow_name} there, {here:.2f} here"
    return ""


def _laid(item: Any) -> float | None:
    return _figure(item, "laid", "flow")


def _figure(item: Any, block: str, key: str) -> float | None:
    """A figure over 0 of a block of an as-built; None where there is none."""
    told = item.get(block) if isinstance(item, dict) else None
    value = told.get(key) if isinstance(told, dict) else None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < MOST_FIGURE:
        return None
    return float(value)


def _zone_number(item: Any) -> int | None:
    if not isinstance(item, dict):
        return None
    try:
        return zone_of(str(item.get("zone", item.get("name", ""))), field="")
    except LayoutError:
        return None
