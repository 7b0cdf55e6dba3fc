"""Placing labels: laws that hold whatever is asked of the board."""

from __future__ import annotations

import math

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from layout.sheets.placing import Board, along, around, inside, joined

WINDOW = (0.0, 0.0, 10.0, 8.0)
HEIGHT = 0.08
coordinate = st.floats(-1.0, 11.0)
requests = st.lists(st.tuples(coordinate, coordinate, st.floats(0.1, 2.0)), min_size=1, max_size=25)


def box_of(at: tuple[float, float], angle: float, width: float) -> shapely.Polygon:
    flat = shapely.box(-width / 2, -0.5 * HEIGHT, width / 2, 0.5 * HEIGHT)
    turn = math.radians(angle)

    def moved(points: np.ndarray) -> np.ndarray:
        matrix = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        return np.asarray(points @ matrix + np.asarray(at))

    return shapely.transform(flat, moved)


@settings(max_examples=40, deadline=None)
@given(requests)
def test_labels_never_touch_each_other_a_symbol_or_the_edge(asked: list[tuple[float, float, float]]) -> None:
    board = Board(WINDOW, [LineString([(0, 4), (10, 4)])], avoid=Point(5, 5).buffer(1.0))
    symbol = Point(3.0, 3.0).buffer(0.5)
    board.claim(symbol)
    placed: list[shapely.Polygon] = []
    for x, y, width in asked:
        spot = board.place(around((x, y), width), width, HEIGHT)
        if spot is None:
            continue
        box = box_of(spot.at, spot.angle, width)
        assert shapely.box(*WINDOW).covers(box)
        assert not box.intersects(symbol)
        assert not any(box.intersects(other) for other in placed)
        if spot.leader is not None:
            leader = LineString(spot.leader)
            assert not any(leader.intersects(other) for other in placed)
            assert leader.coords[-1] == (x, y)
        placed.append(box)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.0, 360.0), st.floats(0.5, 40.0), st.booleans())
def test_text_along_an_arc_follows_it_and_can_be_read(start: float, radius: float, mask: bool) -> None:
    turns = np.radians(np.linspace(start, start + 90.0, 91))
    line = radius * np.column_stack((np.cos(turns), np.sin(turns)))
    spots = along(line, 0.6, HEIGHT, prefer=0.5, above=0.0 if mask else 0.08, mask=mask)
    for at, angle in zip(spots.at, spots.angle, strict=True):
        assert -95.0 < angle <= 95.5
        off = abs(math.hypot(*at) - radius)
        assert off <= (HEIGHT if mask else 0.08 + HEIGHT)
        across = abs(math.cos(math.radians(angle) - math.atan2(at[1], at[0])))
        assert across < 0.2


def test_text_on_an_upright_line_reads_from_the_right() -> None:
    for line in (np.array([[1.0, 1.0], [1.0, 5.0]]), np.array([[1.0, 5.0], [1.05, 1.0]])):
        angles = along(line, 1.0, HEIGHT, prefer=0.5, above=0.0, mask=True).angle
        assert len(angles)
        assert np.all(np.abs(angles - 90.0) < 1.0)


def test_too_short_a_line_takes_no_text() -> None:
    assert len(along(np.array([[0.0, 0.0], [0.5, 0.0]]), 0.6, HEIGHT, prefer=0.5, above=0.0, mask=True)) == 0
    assert Board(WINDOW, [], avoid=Point(0, 0)).place(joined([]), 0.6, HEIGHT) is None


def test_the_free_side_of_a_line_is_chosen() -> None:
    board = Board(WINDOW, [LineString([(1, 4.1), (9, 4.1)])], avoid=Point(0, 0))
    line = np.array([[1.0, 4.0], [9.0, 4.0]])
    sides = [along(line, 0.6, HEIGHT, prefer=0.5, above=side, mask=False) for side in (0.08, -0.08)]
    spot = board.place(joined(sides), 0.6, HEIGHT)
    assert spot is not None
    assert spot.at[1] < 4.0
    assert not spot.mask


def test_a_text_that_must_cover_lines_breaks_them() -> None:
    lines = [LineString([(0, y), (10, y)]) for y in np.arange(0.0, 8.0, 0.04)]
    spot = Board(WINDOW, lines, avoid=Point(0, 0)).place(around((5.0, 4.0), 0.6), 0.6, HEIGHT)
    assert spot is not None
    assert spot.mask


def test_text_within_an_area_stays_there() -> None:
    area = shapely.box(2, 2, 4, 3)
    spots = inside(area, 0.8, HEIGHT)
    assert len(spots)
    assert all(area.covers(box_of((float(x), float(y)), 0.0, 0.8)) for x, y in spots.at)
    assert len(inside(area, 2.5, HEIGHT)) == 0
