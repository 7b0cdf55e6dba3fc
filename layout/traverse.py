"""Traverse and curve arithmetic: courses into coordinates, misclosure, the compass rule, circular curves.

Trade words: a *course* is one leg of a traverse; its *latitude* is how far it goes north, its *departure* how far
east; the *misclosure* is by how much a traverse that should end where it began does not. Azimuths count
clockwise from north. Lengths are in whatever unit the traverse is measured in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from layout.model import XY, need


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One leg of a traverse, straight or along an arc.

    Attributes
    ----------
    azimuth : float
        Of the leg, or of the chord of an arc, clockwise from north [rad].
    distance : float
        Of the leg, or of the chord, over 0.
    turn : float
        What the direction turns by from one end of an arc to the other, over 0 to the right [rad]; 0 for a straight
        leg.
    """

    azimuth: float
    distance: float
    turn: float = 0.0

    def __post_init__(self) -> None:
        need(
            self.distance > 0 and abs(self.turn) < 2 * math.pi,
            "a course has a length, an arc is no full circle",
        )

    @property
    def length(self) -> float:
        """Length on the ground: of the arc, where it is one."""
        half = abs(self.turn) / 2
        return self.distance if half == 0 else self.distance * half / math.sin(half)

    @property
    def ahead(self) -> float:
        """Azimuth in which the course ends [rad]."""
        return self.azimuth + self.turn / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A circular curve.

    Attributes
    ----------
    radius : float
    delta : float
        Central angle, over 0 and under a full circle [rad].

    Examples
    --------
    >>> curve = Curve(radius=100.0, delta=math.radians(90))
    >>> round(curve.length, 3), round(curve.chord, 3)
    (157.08, 141.421)
    """

    radius: float
    delta: float

    def __post_init__(self) -> None:
        need(self.radius > 0 and 0 < self.delta < 2 * math.pi, "a curve has a radius and an angle")

    @property
    def length(self) -> float:
        """Along the arc."""
        return self.radius * self.delta

    @property
    def chord(self) -> float:
        """From end to end."""
        return 2 * self.radius * math.sin(self.delta / 2)


def radius_of_degree(degree: float, *, chord: bool = False) -> float:
    """Radius of a curve from its degree, the angle at the centre over 100 units of it.

    Parameters
    ----------
    degree : float
        [rad].
    chord : bool
        True where the 100 units are those of a chord, as railways count; else of the arc, as roads do.
    """
    return 50.0 / math.sin(degree / 2) if chord else 100.0 / degree


def azimuth_of(quadrant: str, angle: float) -> float:
    """Azimuth of a quadrant bearing [rad].

    Parameters
    ----------
    quadrant : str
        ``NE``, ``SE``, ``SW`` or ``NW``.
    angle : float
        From north or south towards east or west, 0 to a right angle [rad].
    """
    return {"NE": angle, "SE": math.pi - angle, "SW": math.pi + angle, "NW": 2 * math.pi - angle}[quadrant]


def latitude_departure(course: Course) -> tuple[float, float]:
    """How far a course goes north and how far east [its unit]."""
    return course.distance * math.cos(course.azimuth), course.distance * math.sin(course.azimuth)


def walk(start: XY, courses: Sequence[Course]) -> tuple[XY, ...]:
    """The points of a traverse as measured: the start, and the end of each course, as (east, north) [its unit]."""
    points = [start]
    for course in courses:
        latitude, departure = latitude_departure(course)
        points.append((points[-1][0] + departure, points[-1][1] + latitude))
    return tuple(points)


def misclosure(courses: Sequence[Course]) -> tuple[float, float]:
    """By how much a traverse ends north and east of its start [its unit]: the sums of latitudes and departures."""
    parts = [latitude_departure(course) for course in courses]
    return math.fsum(part[0] for part in parts), math.fsum(part[1] for part in parts)


def perimeter(courses: Sequence[Course]) -> float:
    """Length of all legs [their unit]; of an arc its chord, as the misclosure is shared out."""
    return math.fsum(course.distance for course in courses)


def compass_rule(start: XY, courses: Sequence[Course]) -> tuple[XY, ...]:
    """The points of a closed traverse with its misclosure shared out over the courses by their length.

    The compass (Bowditch) rule: each latitude and departure is corrected by the misclosure in the ratio of the
    course's length to the whole.

    Returns
    -------
    tuple of (east, north)
        The start, and the end of each course; the last is the start.
    """
    north, east = misclosure(courses)
    whole = perimeter(courses)
    points, walked = [start], 0.0
    for course, (x, y) in zip(courses, walk(start, courses)[1:], strict=True):
        walked += course.distance
        points.append((x - east * walked / whole, y - north * walked / whole))
    return (*points[:-1], start)


def arc_steps(course: Course, *, sagitta: float) -> int:
    """How many chords an arc takes so that it leaves none of them by more than a sagitta [its unit]."""
    radius = course.distance / (2 * abs(math.sin(course.turn / 2)))
    step = 2 * math.acos(1 - min(sagitta / radius, 1.0))
    return max(math.ceil(abs(course.turn) / max(step, 1e-12)), 2)


def arc_points(start: XY, end: XY, turn: float, *, steps: int) -> list[XY]:
    """Points along an arc, its end last and its start left out.

    Parameters
    ----------
    start, end : (east, north)
    turn : float
        What the direction turns by, over 0 to the right [rad].
    steps : int
        How many chords lie between them.
    """
    east, north = end[0] - start[0], end[1] - start[1]
    half = turn / 2
    points = []
    for number in range(1, steps):
        # the chord to a point of the arc is the whole chord, turned and made shorter
        part = turn * number / steps
        share, swing = math.sin(part / 2) / math.sin(half), half - part / 2
        cos, sin = share * math.cos(swing), share * math.sin(swing)
        points.append((start[0] + east * cos - north * sin, start[1] + north * cos + east * sin))
    return [*points, end]
