"""What is taken on paper: against the geometry engine asked about every pair."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from layout.sheets.claimed import Claimed


def shapes(rng: np.random.Generator, count: int) -> list[BaseGeometry]:
    """Boxes level and turned, discs, capsules, rings and lines, on a grid fine enough for many to just touch."""
    made: list[BaseGeometry] = []
    for x, y, size in np.round(rng.uniform(0.0, 6.0, (count, 3)), 1):
        level = box(x, y, x + size + 0.1, y + 0.3)
        made += [
            level,
            affinity.rotate(level, 30.0 * size),
            Point(x, y).buffer(0.1 + size / 10),
            LineString([(x, y), (x + size, y + 1)]).buffer(0.05),
            Polygon(Point(x, y).buffer(0.5).exterior, [Point(x, y).buffer(0.4).exterior]),
            LineString([(x, y), (x + size, y - 1)]),
        ]
    return [made[number] for number in rng.permutation(len(made))[:count]]


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_what_touches_is_what_the_engine_says(seed: int) -> None:
    rng = np.random.default_rng(seed)
    taken, tried = shapes(rng, 90), np.array(shapes(rng, 40), dtype=object)
    claimed = Claimed(taken)
    expected = np.array([any(shape.intersects(other) for other in taken) for shape in tried])
    level = np.array([shape.equals(box(*shape.bounds)) for shape in tried])
    assert claimed.touched_by(tried).tolist() == expected.tolist()
    assert claimed.touched_by(tried, shapely.bounds(tried), level).tolist() == expected.tolist()
    assert [claimed.touch(shape) for shape in tried] == expected.tolist()


def test_places_are_given_back_and_copies_are_their_own() -> None:
    claimed = Claimed([box(k, 0, k + 0.5, 1) for k in range(100)])
    tried = claimed.copied()
    tried.claim(box(200, 0, 201, 1))
    assert (len(claimed), len(tried)) == (100, 101)
    assert tried.touch(Point(200.5, 0.5))
    assert not claimed.touch(Point(200.5, 0.5))
    assert [part.bounds[0] for part in claimed.since(98)] == [98.0, 99.0]
    claimed.release(50)
    assert not claimed.touch(Point(70.2, 0.5))
    assert claimed.touch(Point(20.2, 0.5))


@pytest.mark.parametrize("count", [0, 3])
def test_no_shape_touches_nothing(count: int) -> None:
    assert len(Claimed([box(0, 0, 1, 1)] * count).touched_by(np.empty(0, dtype=object))) == 0
