"""Traverse arithmetic: courses, arcs, balancing, and the figures of curves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.traverse import (
    Course,
    Curve,
    arc_points,
    arc_steps,
    azimuth_of,
    compass_rule,
    misclosure,
    perimeter,
    radius_of_degree,
    walk,
)

RIGHT_ANGLE = math.pi / 2
leg = st.builds(Course, azimuth=st.floats(0, 2 * math.pi), distance=st.floats(0.1, 1e4), turn=st.just(0.0))


def test_quadrants() -> None:
    found = [math.degrees(azimuth_of(quadrant, math.radians(30))) for quadrant in ("NE", "SE", "SW", "NW")]
    assert found == pytest.approx([30, 150, 210, 330])


def test_a_square_closes() -> None:
    square = [Course(azimuth=k * RIGHT_ANGLE, distance=10.0) for k in range(4)]
    assert misclosure(square) == pytest.approx((0, 0), abs=1e-12)
    assert perimeter(square) == 40
    assert np.allclose(walk((5.0, 5.0), square), [(5, 5), (5, 15), (15, 15), (15, 5), (5, 5)])


@given(st.lists(leg, min_size=3, max_size=20))
def test_the_compass_rule_closes_and_shares_by_length(courses: list[Course]) -> None:
    raw, balanced = np.asarray(walk((7.0, -3.0), courses)), np.asarray(compass_rule((7.0, -3.0), courses))
    whole = perimeter(courses)
    assert tuple(balanced[-1]) == (7.0, -3.0)
    walked = np.cumsum([0.0, *(course.distance for course in courses)])
    north, east = misclosure(courses)
    moved = np.column_stack((-east * walked / whole, -north * walked / whole))
    assert np.abs(balanced - raw - moved).max() <= 1e-9 * whole


@given(
    start=st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3)),
    way=st.floats(0, 2 * math.pi),
    chord=st.floats(1.0, 500.0),
    turn=st.floats(0.05, 6.0),
    side=st.sampled_from((-1.0, 1.0)),
)
def test_arc_points_lie_on_one_circle_and_begin_along_the_tangent(
    start: tuple[float, float], way: float, chord: float, turn: float, side: float
) -> None:
    end = (start[0] + chord * math.sin(way), start[1] + chord * math.cos(way))
    count = arc_steps(Course(azimuth=way, distance=chord, turn=turn), sagitta=chord * 1e-3)
    points = np.asarray([start, *arc_points(start, end, side * turn, steps=count)])
    assert len(points) == count + 1
    radius = chord / (2 * math.sin(turn / 2))
    tangent = way - side * turn / 2
    # the centre lies a radius from the start, to the right of the tangent where the arc turns right
    centre = np.asarray(start) + side * radius * np.array([math.cos(tangent), -math.sin(tangent)])
    assert np.abs(np.hypot(*(points - centre).T) - radius).max() < 1e-6 * (radius + 1)
    steps = np.hypot(*np.diff(points, axis=0).T)
    assert steps.max() - steps.min() < 1e-6 * chord
    assert (
        radius - math.sqrt(max(radius**2 - (steps.max() / 2) ** 2, 0)) <= 1.001e-3 * chord or len(points) == 3
    )
    assert 2 * radius * math.sin(turn / count / 2) == pytest.approx(steps.max(), rel=1e-6)


def test_an_arc_as_a_course() -> None:
    course = Course(azimuth=0.0, distance=100.0, turn=math.pi)
    assert course.length == pytest.approx(50 * math.pi)
    assert course.ahead == pytest.approx(RIGHT_ANGLE)
    assert Course(azimuth=1.0, distance=5.0).length == 5.0


def test_degree_of_curve() -> None:
    assert radius_of_degree(math.radians(1), chord=True) > radius_of_degree(math.radians(1))


def test_what_is_no_course_or_curve() -> None:
    for wrong in (
        lambda: Course(azimuth=0, distance=0),
        lambda: Course(azimuth=0, distance=1, turn=7),
        lambda: Curve(radius=0, delta=1),
        lambda: Curve(radius=1, delta=0),
    ):
        with pytest.raises(ValueError, match="has a"):
            wrong()
