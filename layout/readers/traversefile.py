"""Traverses by bearings and distances, ``.txt``, one call a line, into a `PointTable`.

``START x y`` stands first; then calls such as ``N 45°30'15" E 120.50``, ``AZ 123.25 80.00``, ``DUE WEST 45.00``
or ``CURVE R 100 DELTA 30°00'00" LEFT``; ``CLOSE`` where the last side was not measured. The misclosure is
shared out by the compass rule, and told.
"""

from __future__ import annotations

import math
from pathlib import Path

from layout.readers.angles import in_words
from layout.readers.calls import CALL, Traverse, WrongCall, read_line
from layout.readers.document import shortened
from layout.readers.points import MOST_POINTS, Faults, PointTable
from layout.traverse import (
    Course,
    arc_points,
    arc_steps,
    compass_rule,
    misclosure,
    perimeter,
    walk,
)

CLOSES = 100
"""A traverse that misses its start by less than one in this of its length is meant to close: a judgement."""
POOR = 1000
"""A misclosure of more than one in this deserves a look: a judgement; surveys of lots do far better."""
SAGITTA = 2e-4
"""How far an arc may leave the chords it is drawn with [site units]."""


def read_traverse(text: str, name: str, *, closed: bool = False) -> PointTable:
    """Read the text of a traverse.

    Parameters
    ----------
    text : str
    name : str
        What faults call the file.
    closed : bool
        Whether it must come back to its start, as the outline of a bed does.

    Returns
    -------
    PointTable
        The start, the end of each course and the points of arcs, in site units; a traverse that closes ends on its
        start.

    Raises
    ------
    ReadError
        With every fault of the file: line, what was found, the remedy.
    """
    faults = Faults(name)
    traverse = Traverse()
    for number, line in enumerate(text.splitlines(), start=1):
        try:
            read_line(line, f"line {number}", traverse)
        except WrongCall as wrong:
            faults.add(f"line {number}", f'"{shortened(line.strip(), 60)}": {wrong.said}', wrong.remedy)
    if not faults.listed:
        _judge_whole(traverse, faults)
    faults.stop()
    return _table(traverse, name, faults, closed=closed)


def _judge_whole(traverse: Traverse, faults: Faults) -> None:
    if traverse.start is None:
        faults.add("", "the traverse has no start", "Begin it with START x y: easting and northing.")
    elif not traverse.courses:
        faults.add("", "the traverse has no courses", CALL)
    elif len(traverse.courses) > MOST_POINTS:
        faults.add("", f"{len(traverse.courses)} courses are more than {MOST_POINTS}", "Thin them out.")
    elif len(traverse.units) > 1:
        said = f"distances are in {' and in '.join(sorted(traverse.units))}"
        faults.add("", said, "Give all of them in the site's units.")


# --- the whole ------------------------------------------------------------------------------------------


def _table(traverse: Traverse, name: str, faults: Faults, *, closed: bool) -> PointTable:
    """Close, balance and draw a traverse."""
    assert traverse.start is not None  # judged before
    start, courses, places = traverse.start, traverse.courses, traverse.places
    short = Path(name).name
    north, east = misclosure(courses)
    gap, whole = math.hypot(north, east), perimeter(courses)
    several = len(courses) > 2 or any(course.turn for course in courses)
    notes = []
    if traverse.close:
        corners = (*walk(start, courses), start)
        way = in_words(math.degrees(math.atan2(-east, -north)) % 360)
        courses = [*courses, *([Course(azimuth=0.0, distance=gap)] if gap > 0 else [])]
        notes.append(f"{short}: CLOSE draws the last side, {way} {gap:.2f}; there is no misclosure to tell")
    elif several and gap <= whole / CLOSES:
        corners = compass_rule(start, courses)
        notes.append(_closing_note(short, courses, north, east))
    else:
        corners = walk(start, courses)
        ratio = f"1 in {whole / gap:,.0f} of its {whole:.2f}" if gap > 0 else "it goes out and back"
        if closed:
            said = (
                f"the traverse ends {gap:.2f} from its start ({_parts_of(north, east)}; {ratio}), so a course is wrong "
                "or missing"
            )
            faults.add(
                places[-1], said, "Mend it, or make CLOSE the last line where the last side was not measured."
            )
            faults.stop()
        if several:
            notes.append(f"{short}: the traverse ends {gap:.2f} from its start and is read as an open line")
    xy, written = [start], ["START"]
    for index, course in enumerate(courses):
        place = places[index] if index < len(places) else "CLOSE"
        begin, end = corners[index], corners[index + 1]
        steps = arc_steps(course, sagitta=SAGITTA) if course.turn else 1
        if len(xy) + steps > MOST_POINTS:
            faults.add(place, f"its arcs take more than {MOST_POINTS} points", "Check radius and units.")
            faults.stop()
        points = arc_points(begin, end, course.turn, steps=steps) if course.turn else [end]
        xy.extend(points)
        written.extend([place] * len(points))
    unit = next(iter(traverse.units), None)
    return PointTable(
        xy=tuple(xy), z=(None,) * len(xy), places=tuple(written), file=name, notes=tuple(notes), unit=unit
    )


def _closing_note(name: str, courses: list[Course], north: float, east: float) -> str:
    """The misclosure in words, and what was done about it."""
    gap, whole = math.hypot(north, east), perimeter(courses)
    said = f"{name}: the traverse of {len(courses)} courses, {whole:.2f} long,"
    if gap <= 1e-9 * whole:
        return f"{said} closes exactly"
    parts, ratio = _parts_of(north, east), f"1 in {whole / gap:,.0f}"
    said += f" misses its start by {gap:.3f} ({parts}), {ratio}; balanced by the compass rule"
    return said if whole / gap >= POOR else f"{said}. That is poor: is a course wrong or missing?"


def _parts_of(north: float, east: float) -> str:
    """How far something lies north or south, east or west, to a thousandth: ``0.083 north, 0.074 east``."""
    ways = (("north", "south", north), ("east", "west", east))
    parts = [
        f"{abs(part):.3f} {ahead if part > 0 else back}" for ahead, back, part in ways if abs(part) >= 5e-4
    ]
    return ", ".join(parts) or "less than 0.001"
