"""What lies near what: distances by an index of segments, and pairs of lines."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from layout.near import SegmentIndex, near_pairs
from layout.plane import Array
from tests import beds

LINE = np.array([[0, 0], [3, 4], [3, 4], [3, 10]], float)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_segment_index_gives_the_distances_of_the_lines(seed: int) -> None:
    rng = np.random.default_rng(seed)
    lines = [LineString(rng.uniform(0, 50, (int(rng.integers(2, 9)), 2))) for _ in range(4)]
    points = rng.uniform(-10, 60, (50, 2))
    index = SegmentIndex(lines)
    distance, foot = index.nearest(points)
    every = np.array([shapely.distance(shapely.points(points), line) for line in lines])
    assert distance == pytest.approx(every.min(axis=0), abs=1e-9)
    segment, foot_again, along = index.locate(points)
    assert foot_again == pytest.approx(foot)
    for point, owner, at, where in zip(points, index.line[segment], along, foot, strict=True):
        assert lines[owner].distance(Point(point)) == pytest.approx(
            every[:, (points == point).all(axis=1)].min()
        )
        on = lines[owner].interpolate(at)
        assert (on.x, on.y) == pytest.approx(tuple(where), abs=1e-9)


def test_segment_index_passes_over_doubled_points() -> None:
    distance, foot = SegmentIndex([LineString(LINE)]).nearest(np.array([[3.0, 4.0], [5.0, 4.0]]))
    assert distance == pytest.approx([0.0, 2.0])
    assert foot == pytest.approx(np.array([[3.0, 4.0], [3.0, 4.0]]))


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_farthest_points_are_those_of_all_distances_sorted(seed: int) -> None:
    rng = np.random.default_rng(seed)
    lines = [LineString(np.cumsum(rng.normal(0, 3, (int(rng.integers(2, 30)), 2)), axis=0)) for _ in range(3)]
    points = rng.uniform(-40, 40, (200, 2))
    away = np.asarray(shapely.distance(shapely.points(points), shapely.MultiLineString(lines)))
    found, distance = SegmentIndex(lines).farthest(points, 10)
    assert distance == pytest.approx(np.sort(away)[::-1][:10], abs=1e-9)
    assert away[found] == pytest.approx(distance, abs=1e-9)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), distance=st.floats(0.1, 20))
def test_near_pairs_are_the_lines_within_a_distance(seed: int, distance: float) -> None:
    rng = np.random.default_rng(seed)
    lines = [
        LineString(
            rng.uniform(-30, 30, 2) + np.cumsum(rng.normal(0, 2, (int(rng.integers(2, 40)), 2)), axis=0)
        )
        for _ in range(8)
    ]
    expected = [
        (i, j) for i in range(8) for j in range(i + 1, 8) if shapely.distance(lines[i], lines[j]) <= distance
    ]
    assert near_pairs(lines, distance) == expected


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10**6), gap=st.floats(0.9, 1.1), turn=st.floats(0, 2 * np.pi))
def test_near_pairs_of_many_rows_side_by_side(seed: int, gap: float, turn: float) -> None:
    """So many that parts are told apart by closer boxes first."""
    rng = np.random.default_rng(seed)
    along = np.linspace(0, 40, 120)
    wave = rng.uniform(0, 6) * np.sin(along / rng.uniform(3, 9))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    rows = np.cumsum(rng.uniform(0.9, 1.2, 25))
    lines = [LineString(np.column_stack((along, wave + row)) @ spin) for row in rows]
    expected = [
        (i, j) for i in range(25) for j in range(i + 1, 25) if shapely.distance(lines[i], lines[j]) <= gap
    ]
    assert near_pairs(lines, gap) == expected


@given(seed=st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_rough_distances_are_never_less_than_the_true_ones(seed: int) -> None:
    rng = np.random.default_rng(seed)
    line = LineString(np.cumsum(rng.normal(0, 1, (rng.integers(2, 20), 2)), axis=0))
    points = rng.uniform(-5, 5, (50, 2))
    rough, true = SegmentIndex([line]).at_most(points), shapely.distance(shapely.points(points), line)
    assert (rough >= true - 1e-9).all()
    assert (rough <= true + line.length / 100).all()


@given(seed=st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_nearest_among_segments_close_by_is_the_nearest(seed: int) -> None:
    """But for points that moved past the middle between two parts of a line, and these are no farther off than that."""
    rng = np.random.default_rng(seed)
    index = SegmentIndex([LineString(beds.gentle()), LineString(beds.ell() + 100)])
    points = rng.uniform(-10, 140, (60, 2))
    shift = rng.normal(0, 0.1, points.shape)
    near = index.locate(points)[0]
    away, foot, segment = index.nearest_among(points + shift, near, near)
    true = index.nearest(points + shift)[0]
    assert away == pytest.approx(np.hypot(*(points + shift - foot).T))
    assert (away >= true - 1e-9).all()
    assert (away <= true + 2 * np.hypot(*shift.T)).all()
    assert np.mean(away <= true + 1e-9) > 0.9
    assert ((segment >= 0) & (segment < len(index.line))).all()


@pytest.mark.parametrize("bed", [beds.meander, beds.horseshoe, beds.serpentine, beds.gnss, beds.ell])
def test_nodes_of_a_grid_have_their_nearest_segments(bed: Callable[[], Array]) -> None:
    """Those not asked for have none; about bends and where two parts of a line are as near they are no worse off."""
    line = LineString(bed())
    index = SegmentIndex([line])
    x0, y0, x1, y1 = line.bounds
    xs, ys = np.arange(x0 - 3, x1 + 3, 0.9), np.arange(y0 - 3, y1 + 3, 0.9)
    grid_x, grid_y = np.meshgrid(xs, ys)
    asked = np.asarray(shapely.contains_xy(line.buffer(12), grid_x, grid_y))
    found = index.locate_nodes(xs, ys, asked)
    assert (found[~asked] == -1).all()
    points = np.column_stack((grid_x[asked], grid_y[asked]))
    away = index.nearest_among(points, found[asked], found[asked])[0]
    assert away == pytest.approx(shapely.distance(shapely.points(points), line), abs=1e-9)


def test_points_of_a_group_look_for_its_lines_alone() -> None:
    """As an index of each group by itself; about the centre of an arc, where all of it is as near, too."""
    angles = np.linspace(0.0, np.pi, 400)
    arcs = [LineString(np.column_stack((r * np.cos(angles), r * np.sin(angles)))) for r in (5.0, 6.0, 7.0)]
    lines, groups = [*arcs, LineString([(-9, -1), (9, -1)])], [0, 1, 2, 2]
    points = np.array([[0.0, 0.0], [0.0, 5.6], [3.0, 3.0], [0.0, -0.9], [100.0, 40.0]])
    index = SegmentIndex(lines, groups=groups)
    for group in (0, 1, 2):
        own = SegmentIndex([line for line, of in zip(lines, groups, strict=True) if of == group])
        _, foot, _ = index.locate(points, np.full(len(points), group))
        assert np.hypot(*(points - foot).T) == pytest.approx(own.nearest(points)[0], abs=1e-12)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_groups_of_few_segments_are_looked_at_as_those_of_many(seed: int) -> None:
    """Against the geometry engine's distances; groups of one segment, of seven, and of several lines."""
    rng = np.random.default_rng(seed)
    sizes = [2, 8, 3, 2, 40, 6]
    lines = [LineString(rng.uniform(0.0, 10.0, (size, 2))) for size in sizes]
    groups = [3, 0, 1, 1, 2, 4]
    points, asked = rng.uniform(-2.0, 12.0, (60, 2)), rng.integers(0, 5, 60)
    index = SegmentIndex(lines, groups=groups)
    segment, foot, along = index.locate(points, asked)
    assert np.asarray(groups)[index.line[segment]].tolist() == asked.tolist()
    for k, (point, group) in enumerate(zip(shapely.points(points), asked, strict=True)):
        least = min(point.distance(line) for line, of in zip(lines, groups, strict=True) if of == group)
        assert np.hypot(*(points[k] - foot[k])) == pytest.approx(least, abs=1e-9)
        on = lines[index.line[segment[k]]].interpolate(along[k])
        assert on.distance(Point(foot[k])) < 1e-9
