"""The calls of a traverse, one a line, as deeds and field books write them: bearings, distances, curves."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

from layout.model import XY
from layout.readers.angles import angle, plain
from layout.readers.points import COORDINATE_LIMIT
from layout.traverse import Course, Curve, azimuth_of, radius_of_degree

FITS = 1e-3
"""Figures of one curve may differ by this share of the radius, for they are rounded, and by 0.02."""

_NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)"
_UNITS = {"FT": "ft", "FEET": "ft", "FOOT": "ft", "'": "ft", "USFT": "us-ft", "US-FT": "us-ft",
          "M": "m", "METRES": "m", "METERS": "m", "METRE": "m", "METER": "m"}  # fmt: skip
_LONGEST = 500
"""No line of a traverse has more characters."""
_LABEL = re.compile(r"(?:[LC]\d+:?|\d+[.):])\s+(?=[A-Z])")
"""What a line of a table of courses begins with: ``L4``, ``3.``, ``7)``."""
_UNIT = "(?:" + "|".join(sorted(_UNITS, key=len, reverse=True)) + r")(?![A-Z])\.?"
_DISTANCE = re.compile(rf"({_NUMBER})\s*({_UNIT})?")
_WORDS = (
    (re.compile(r"\b(?:THENCE|DUE|DISTANCE|DIST|BEARING|AZIMUTH|AZ|A DISTANCE OF)\b\.?:?"), " "),
    (re.compile(r"\bNORTH(?:ERLY)?\b"), "N"),
    (re.compile(r"\bSOUTH(?:ERLY)?\b"), "S"),
    (re.compile(r"\bEAST(?:ERLY)?\b"), "E"),
    (re.compile(r"\bWEST(?:ERLY)?\b"), "W"),
    (re.compile(r"(?<=\d)\s*(?:DEGREES?|DEG\b\.?|D(?=\s*\d))"), "°"),
    (re.compile(r"(?<=\d)\s*MIN(?:UTES?)?\b\.?"), "'"),
    (re.compile(r"(?<=\d)\s*SEC(?:ONDS?)?\b\.?"), '"'),
)
_QUADRANT = re.compile(rf"([NS])\s*([^EW]+?)\s*([EW])(?:\s*({_NUMBER}\s*{_UNIT}|{_NUMBER}))?")
_CARDINAL = re.compile(rf"([NSEW])\s*({_NUMBER}\s*{_UNIT}|{_NUMBER})?")
_AZIMUTH = re.compile(rf"(.*\S)\s+({_NUMBER}\s*{_UNIT}|{_NUMBER})")
_CARDINALS = {"N": 0.0, "E": 90.0, "S": 180.0, "W": 270.0}
_START = re.compile(r"START\s*[:=]?\s*(.*)")
_PAIR = re.compile(r"(?:([XYEN])\s*=?\s*)?(\S+)\s+(?:([XYEN])\s*=?\s*)?(\S+)")
_SIGNED = re.compile(rf"[+-]?{_NUMBER}")
_PARTS = re.compile(
    r"\b(RADIUS|R|DELTA|CENTRAL ANGLE|D|LENGTH|ARC|L|CHORD BEARING|CHORD LENGTH|CHORD|CB|CH|TANGENT|DEGREE|LEFT|RIGHT"
    r"|LT|RT)\b\s*[:=]?"
)
_KEYS = {"R": "RADIUS", "CENTRAL ANGLE": "DELTA", "D": "DELTA", "L": "LENGTH", "ARC": "LENGTH", "LT": "LEFT",
         "RT": "RIGHT", "CB": "CHORD BEARING", "CH": "CHORD"}  # fmt: skip
CALL = "Write N 45°30'15\" E 120.50, AZ 45.5042 120.50, or CURVE R 100 DELTA 30°00'00\" LEFT."
_CURVE = "Write CURVE R 100 DELTA 30°00'00\" LEFT, or with LENGTH 52.36 or CHORD N 45°00'00\" E 51.76."


class WrongCall(Exception):  # noqa: N818 - never leaves the readers
    """What is wrong with a line, and the remedy."""

    def __init__(self, said: str, remedy: str = CALL) -> None:
        super().__init__(said)
        self.said, self.remedy = said, remedy


@dataclass(slots=True)
class Traverse:
    """What has been read so far."""

    start: XY | None = None
    courses: list[Course] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    units: set[str] = field(default_factory=set)
    close: bool = False
    startless: bool = False


# --- lines ----------------------------------------------------------------------------------------------


def read_line(line: str, place: str, traverse: Traverse) -> None:
    """Read one line of a traverse into it.

    Raises
    ------
    WrongCall
        Where the line is no call.
    """
    if len(line) > _LONGEST:
        raise WrongCall(f"the line is longer than {_LONGEST} characters")
    call = plain(line.partition("#")[0]).strip(" .;")
    label = _LABEL.match(call)
    call = call[label.end() :] if label else call
    if not call:
        return
    if traverse.close:
        raise WrongCall("a call stands after CLOSE", "Make CLOSE the last line.")
    start = _START.fullmatch(call)
    if start:
        if traverse.start is not None:
            raise WrongCall(
                "the traverse starts twice", "Keep one START; put each traverse into its own file."
            )
        traverse.start = _start_point(start[1])
        return
    if traverse.start is None and not traverse.startless:
        traverse.startless = True  # said once
        remedy = "Begin with START x y: easting and northing. A file of points needs the ending .csv."
        raise WrongCall("the first line must be START", remedy)
    if call in {"CLOSE", "TO START", "TO THE START", "TO THE POINT OF BEGINNING", "TO POB"}:
        traverse.close = True
        return
    call = _without_words(call)
    if re.match(r"(?:CURVE|ARC)\b", call):
        course = _curve(re.sub(r"^(?:CURVE|ARC)\b(?:\s+TO\s+THE\b)?", "", call), traverse)
    else:
        course = _straight(call, traverse)
    traverse.courses.append(course)
    traverse.places.append(place)


def _without_words(call: str) -> str:
    """Take out what a deed says around a call, and commas between its parts or thousands."""
    call = re.sub(r"(?<![\d.])\d{1,3}(?:,\d{3})+(?![\d,])", lambda found: found[0].replace(",", ""), call)
    call = call.replace(",", " ")
    for pattern, mark in _WORDS:
        call = pattern.sub(mark, call)
    return " ".join(call.split())


def _start_point(text: str) -> XY:
    remedy = "Write START x y: easting and northing, two plain numbers."
    pair = _PAIR.fullmatch(text.replace(",", " ").replace(";", " ").strip())
    found = [] if pair is None else [part for part in (pair[2], pair[4]) if _SIGNED.fullmatch(part)]
    if pair is None or len(found) != 2:
        raise WrongCall("this is no start", remedy)
    x, y = (float(part) for part in found)
    letters = (pair[1] or "", pair[3] or "")
    if letters in {("N", "E"), ("Y", "X")}:
        x, y = y, x
    elif letters not in {("", ""), ("E", "N"), ("X", "Y")}:
        raise WrongCall("this is no start", "Write START x y, or START N 500.00 E 2000.00.")
    if max(abs(x), abs(y)) > COORDINATE_LIMIT:
        raise WrongCall(f"the start is beyond {COORDINATE_LIMIT:,.0f}", "Check it, and the units.")
    return x, y


def _straight(call: str, traverse: Traverse) -> Course:
    degrees, distance = _bearing(call)
    if distance is None:
        raise WrongCall("the call has no distance")
    return Course(azimuth=math.radians(degrees), distance=_length(distance, traverse))


def _bearing(call: str) -> tuple[float, str | None]:
    """The azimuth that a call begins with [degrees], and the distance behind it where there is one."""
    cardinal = _CARDINAL.fullmatch(call)
    if cardinal:
        return _CARDINALS[cardinal[1]], cardinal[2]
    quadrant = _QUADRANT.fullmatch(call)
    if quadrant:
        degrees = angle(quadrant[2])
        if degrees is None:
            raise WrongCall(f'"{quadrant[2][:40]}" is no angle: degrees, minutes and seconds under 60')
        if degrees > 90:
            said = f"the bearing turns {degrees:g} degrees from {quadrant[1]}, but a quadrant has 90"
            raise WrongCall(said, "Write it as an azimuth, AZ 123.25, or mend the bearing.")
        return math.degrees(azimuth_of(quadrant[1] + quadrant[3], math.radians(degrees))), quadrant[4]
    azimuth = _AZIMUTH.fullmatch(call)
    text, distance = (azimuth[1], azimuth[2]) if azimuth else (call, None)
    found = angle(text)
    if found is None or not call[:1].isdigit():
        raise WrongCall("this is no call")
    if found > 360:
        raise WrongCall(f"an azimuth of {found:g} degrees is more than a circle")
    return found, distance


def _length(text: str, traverse: Traverse, what: str = "distance") -> float:
    found = _DISTANCE.fullmatch(text.strip())
    if found is None:
        raise WrongCall(f'the {what} "{text.strip()[:40]}" is no number')
    if found[2]:
        traverse.units.add(_UNITS[found[2].rstrip(".")])
    value = float(found[1])
    if not 0 < value <= COORDINATE_LIMIT:
        raise WrongCall(f"the {what} is {value:g}, but it must be over 0 and under {COORDINATE_LIMIT:,.0f}")
    return value


# --- curves ---------------------------------------------------------------------------------------------


def _curve(text: str, traverse: Traverse) -> Course:
    """Make a course of a curve call: its radius, its angle, and the way its chord goes."""
    parts = _curve_parts(text)
    side = [word for word in ("LEFT", "RIGHT") if word in parts]
    if len(side) != 1:
        raise WrongCall("the curve does not say LEFT or RIGHT", _CURVE)
    sign = 1.0 if side[0] == "RIGHT" else -1.0
    chord_way, chord = _chord(parts, traverse)
    radius = _radius(parts, traverse)
    delta = _delta(parts, radius, chord, traverse)
    if chord_way is not None:
        azimuth = chord_way
    elif "TANGENT" in parts:
        azimuth = math.radians(_bearing(parts["TANGENT"])[0]) + sign * delta / 2
    elif traverse.courses:
        azimuth = traverse.courses[-1].ahead + sign * delta / 2
    else:
        said = "the traverse begins with a curve whose direction is not given"
        raise WrongCall(said, "Add CHORD N 45°00'00\" E, or TANGENT and the bearing in which it begins.")
    return Course(azimuth=azimuth, distance=Curve(radius=radius, delta=delta).chord, turn=sign * delta)


def _curve_parts(text: str) -> dict[str, str]:
    """What a curve call says, by its key words."""
    found = list(_PARTS.finditer(text))
    if not found or text[: found[0].start()].strip():
        raise WrongCall("this is no curve", _CURVE)
    parts: dict[str, str] = {}
    for index, part in enumerate(found):
        end = found[index + 1].start() if index + 1 < len(found) else len(text)
        value = re.sub(r"\b(?:TO THE|OF|AND|A|THE)\b", " ", text[part.end() : end]).strip(" =:;")
        key = {"R": "RIGHT", "L": "LEFT"}.get(part[1], part[1]) if not value else part[1]
        key = _KEYS.get(key, key)
        if key in parts:
            raise WrongCall(f"the curve gives its {key.lower()} twice", _CURVE)
        if bool(value) == (key in {"LEFT", "RIGHT"}):
            said = (
                f'"{value[:30]}" stands behind {key}'
                if value
                else f"the curve has a {key.lower()} without a figure"
            )
            raise WrongCall(said, _CURVE)
        parts[key] = value
    return parts


def _chord(parts: dict[str, str], traverse: Traverse) -> tuple[float | None, float | None]:
    """Azimuth [rad] and length of the chord, as far as they are given."""
    way, length = parts.get("CHORD BEARING"), parts.get("CHORD LENGTH")
    both = parts.get("CHORD")
    if both is not None and _DISTANCE.fullmatch(both):
        length = both
    elif both is not None:
        degrees, behind = _bearing(both)
        return math.radians(degrees), _length(behind, traverse, "chord") if behind else None
    return (
        None if way is None else math.radians(_bearing(way)[0]),
        None if length is None else _length(length, traverse, "chord"),
    )


def _radius(parts: dict[str, str], traverse: Traverse) -> float:
    if "RADIUS" in parts:
        return _length(parts["RADIUS"], traverse, "radius")
    degree = angle(parts.get("DEGREE", ""))
    if degree is None or not 0 < degree <= 180:
        raise WrongCall("the curve has no radius", _CURVE)
    return radius_of_degree(math.radians(degree))


def _delta(parts: dict[str, str], radius: float, chord: float | None, traverse: Traverse) -> float:
    """The central angle [rad], from whatever gives it; a fault where two figures do not fit each other."""
    found = []
    if "DELTA" in parts:
        degrees = angle(parts["DELTA"])
        if degrees is None or not 0 < degrees < 360:
            raise WrongCall(
                f'"{parts["DELTA"][:40]}" is no central angle over 0 and under 360 degrees', _CURVE
            )
        found.append(math.radians(degrees))
    if "LENGTH" in parts:
        found.append(_length(parts["LENGTH"], traverse, "length") / radius)
    if chord is not None:
        if chord > 2 * radius * (1 + FITS):
            raise WrongCall(
                f"a chord of {chord:g} does not fit into a radius of {radius:g}", "Mend one of them."
            )
        small = 2 * math.asin(min(chord / (2 * radius), 1.0))
        # a chord has a short and a long arc: which one, another figure says
        found.append(small if not found or found[0] <= math.pi else 2 * math.pi - small)
    if not found:
        raise WrongCall("the curve has neither delta, length nor chord", _CURVE)
    if found[0] >= 2 * math.pi:
        raise WrongCall(f"the curve is longer than its full circle of radius {radius:g}", "Mend one of them.")
    allowed = FITS + 0.02 / radius
    if any(abs(other - found[0]) > allowed for other in found[1:]):
        listed = ", ".join(in_degrees(value) for value in found)
        raise WrongCall(
            f"the figures of the curve give different central angles: {listed}", "Mend the wrong one."
        )
    return found[0]


def in_degrees(value: float) -> str:
    """An angle [rad] in decimal degrees."""
    return f"{math.degrees(value):.4f}"
