"""The plane geometry that the stages share."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import GeometryCollection, LineString, MultiLineString, MultiPolygon, Point, Polygon, box
from shapely.ops import substring

from layout.plane import (
    are_gentle,
    areal,
    bend_radii,
    circumradii,
    coordinates,
    is_gentle,
    lines_of,
    points_at,
    points_between,
    polygons_of,
    resample,
    stations,
    stretches_in,
    union,
)
from tests import beds

EMPTY = GeometryCollection()
MIXED = GeometryCollection(
    [Point(0, 0), LineString([(0, 0), (1, 0)]), box(0, 0, 1, 1), MultiPolygon([box(2, 0, 3, 2)])]
)


def test_lines_of_any_overlay_are_merged_end_to_end() -> None:
    assert lines_of(EMPTY) == []
    assert lines_of(box(0, 0, 1, 1)) == []
    assert [line.length for line in lines_of(MIXED)] == [1.0]
    parts = MultiLineString([[(0, 0), (1, 0)], [(1, 0), (2, 0)], [(5, 0), (6, 0)]])
    assert sorted(line.length for line in lines_of(parts)) == [1.0, 2.0]
    closed = lines_of(box(0, 0, 2, 1).exterior)
    assert [line.length for line in closed] == [6.0]
    assert closed[0].is_closed


def test_polygons_of_any_overlay() -> None:
    assert polygons_of(EMPTY) == []
    assert polygons_of(LineString([(0, 0), (1, 1)])) == []
    assert [polygon.area for polygon in polygons_of(MIXED)] == [1.0, 2.0]


def test_areal_is_one_polygon_or_several_or_an_empty_one() -> None:
    assert areal(MIXED).geom_type == "MultiPolygon"
    assert areal(box(0, 0, 1, 1)).geom_type == "Polygon"
    assert areal(EMPTY).is_empty
    assert areal(EMPTY).geom_type == "MultiPolygon"


def test_union_of_nothing_is_empty() -> None:
    assert union([]).is_empty
    assert union([box(0, 0, 2, 1), box(1, 0, 3, 1)]).area == pytest.approx(3.0)


LINE = np.array([[0, 0], [3, 4], [3, 4], [3, 10]], float)
"""Five and six long, with a doubled point."""


def test_stations_and_points_along() -> None:
    assert stations(LINE).tolist() == [0, 5, 5, 11]
    assert points_at(LINE, np.array([0.0, 2.5, 5.0, 8.0, 11.0])).tolist() == [
        [0, 0],
        [1.5, 2],
        [3, 4],
        [3, 7],
        [3, 10],
    ]
    assert points_at(LINE, np.array([-1.0, 12.0])).tolist() == [[0, 0], [3, 10]], "never beyond the ends"


@pytest.mark.parametrize(("step", "count"), [(2.0, 6), (11.0, 1), (100.0, 1), (5.5, 2), (11 / 3, 3)])
def test_resample_walks_in_equal_steps_and_keeps_both_ends(step: float, count: int) -> None:
    walked = resample(LINE, step)
    assert len(walked) == count + 1
    assert walked[[0, -1]].tolist() == [[0, 0], [3, 10]]
    along = shapely.line_locate_point(LineString(LINE), shapely.points(walked))
    assert np.diff(along) == pytest.approx(11 / count)


def test_circle_through_three_points() -> None:
    before, middle, after = (np.array([[math.cos(a), math.sin(a)]]) * 7 + 3 for a in (0.1, 0.9, 2.5))
    assert circumradii(before, middle, after) == pytest.approx([7.0])
    assert circumradii(np.zeros((1, 2)), np.ones((1, 2)), np.full((1, 2), 2.0)).tolist() == [math.inf]
    assert circumradii(np.zeros((1, 2)), np.zeros((1, 2)), np.ones((1, 2))).tolist() == [math.inf]


def test_bend_of_an_arc_and_of_a_kink() -> None:
    arc = beds.arc(0, 0, 5, 0, 120, step=0.5)
    radii, at = bend_radii(arc, arm=1.0)
    assert radii == pytest.approx(np.full(len(radii), 5.0), rel=0.01)
    assert np.hypot(*at.T) == pytest.approx(np.full(len(at), 5.0), abs=1e-3)
    for angle in (10.0, 45.0, 90.0):
        t = math.radians(angle)
        kink = np.array([[-10, 0], [0, 0], [10 * math.cos(t), 10 * math.sin(t)]])
        radii, at = bend_radii(kink, arm=0.5)
        assert radii.min() == pytest.approx(0.5 / (2 * math.sin(t / 2)), rel=1e-9)
        assert at[radii.argmin()] == pytest.approx([0, 0], abs=1e-12)


def test_line_shorter_than_two_arms_has_no_bend() -> None:
    radii, at = bend_radii(LINE, arm=6.0)
    assert radii.shape == (0,)
    assert at.shape == (0, 2)


def test_coordinates_of_nothing() -> None:
    assert coordinates(Polygon()).shape == (0, 2)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), below=st.floats(0.3, 8))
def test_only_bends_that_may_be_tighter_are_looked_at(seed: int, below: float) -> None:
    """Every radius under the limit is among those given, at the same place."""
    rng = np.random.default_rng(seed)
    heading = np.cumsum(rng.normal(0, rng.uniform(0.01, 0.6), 60))
    line = np.cumsum(
        np.column_stack((np.cos(heading), np.sin(heading))) * rng.uniform(0.05, 1, (60, 1)), axis=0
    )
    every, places = bend_radii(line, arm=0.5)
    some, kept = bend_radii(line, arm=0.5, below=below)
    tight, found = every < below, some < below
    assert some[found] == pytest.approx(every[tight])
    assert kept[found] == pytest.approx(places[tight])
    assert len(some) <= len(every)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_points_between_are_those_of_the_engines_substring(seed: int) -> None:
    rng = np.random.default_rng(seed)
    line = LineString(np.repeat(rng.uniform(0.0, 10.0, (12, 2)), rng.integers(1, 3, 12), axis=0))
    first, last = np.sort(rng.uniform(0.0, line.length, 2)).tolist()
    for start, end in ((first, last), (0.0, last), (first, line.length), (first, first), (0.0, line.length)):
        expected = shapely.get_coordinates(substring(line, start, end))
        assert points_between(line, start, end) == pytest.approx(expected, abs=1e-12)


def test_stretches_in_an_area_are_not_taken_from_elsewhere() -> None:
    # The engine's overlay of this line, almost straight and 2 m off the area, gives most of it.
    line = LineString(
        [
            (4.876800000000002, 24.688800060960002),
            (2.3513142857142864, 24.688800060960002),
            (1.5675428571428576, 24.688800060960006),
            (1.219199999999999, 24.688800060960006),
        ]
    )
    ring = shapely.box(-4.0, -12.0, 51.0, 32.0).difference(shapely.box(-1.0, -10.0, 8.0, 31.0))
    assert stretches_in(line, ring) == []
    through = LineString([(-3.0, 0.0), (20.0, 0.0)])
    assert [part.length for part in stretches_in(through, ring)] == pytest.approx([2.0, 12.0])


@given(seed=st.integers(0, 10_000), radius=st.floats(0.2, 3.0))
@settings(max_examples=40, deadline=None)
def test_many_lines_are_gentle_where_each_is(seed: int, radius: float) -> None:
    rng = np.random.default_rng(seed)
    lines = []
    for count in rng.integers(2, 30, size=rng.integers(0, 9)):
        points = np.cumsum(rng.normal([1.0, 0.0], rng.choice([0.05, 0.3]), (count, 2)), axis=0)
        lines.append(LineString(np.repeat(points, rng.integers(1, 3, count), axis=0)))
    assert are_gentle(lines, radius=radius).tolist() == [
        is_gentle(coordinates(line), radius=radius) for line in lines
    ]
