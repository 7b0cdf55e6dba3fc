"""Emitters along runs, and the totals of a field."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point

from layout.emitters import field_totals, place_emitters, seconds_per_volume
from layout.model import Join, Run, Tubing

TUBING = Tubing(emitter_spacing=0.6, emitter_flow=6e-7, bend_radius=0.6, coil=150.0)


def run(*points: tuple[float, float], name: str = "R1") -> Run:
    return Run(name=name, line=LineString(points), row=0)


def test_first_at_half_a_spacing_then_every_spacing() -> None:
    row = place_emitters(run((0, 0), (3, 0)), TUBING)
    assert np.allclose(row.points, [(0.3, 0), (0.9, 0), (1.5, 0), (2.1, 0), (2.7, 0)], rtol=0, atol=1e-12)
    assert row.flow == pytest.approx(5 * 6e-7)


@pytest.mark.parametrize(
    ("length", "count"),
    [(0.29, 0), (0.3, 1), (0.3 - 5e-10, 1), (0.3 - 5e-9, 0), (0.89, 1), (0.9, 2), (0.91, 2), (600.0, 1000)],
)
def test_the_last_one_fits_or_is_left_out(length: float, count: int) -> None:
    assert place_emitters(run((0, 0), (length, 0)), TUBING).count == count


def test_emitters_follow_a_bend() -> None:
    turn = np.linspace(0, math.pi, 2001)
    half_circle = run(*np.column_stack((10 * np.cos(turn), 10 * np.sin(turn))).tolist())
    row = place_emitters(half_circle, TUBING)
    angle = (np.arange(row.count) + 0.5) * 0.6 / 10
    assert np.allclose(row.points, np.column_stack((10 * np.cos(angle), 10 * np.sin(angle))), atol=1e-4)


@given(
    points=st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=2, max_size=9, unique=True),
    spacing=st.floats(0.2, 1.5),
)
def test_emitters_lie_on_their_run_in_order_and_as_many_as_fit(
    points: list[tuple[float, float]], spacing: float
) -> None:
    tubing = Tubing(emitter_spacing=spacing, emitter_flow=6e-7, bend_radius=0.6, coil=150.0)
    one = run(*points)
    row = place_emitters(one, tubing)
    assert all(one.line.distance(Point(at)) < 1e-9 * (1 + one.length) for at in row.points)
    assert (row.count - 0.5) * spacing <= one.length + 1e-8
    assert (row.count + 0.5) * spacing > one.length
    straight = [math.dist(a, b) for a, b in zip(row.points, row.points[1:], strict=False)]
    assert all(step <= spacing * (1 + 1e-9) for step in straight)


def test_totals_add_up() -> None:
    runs = (run((0, 0), (30, 0)), run((0, 1), (30, 1), name="R2"))
    rows = [place_emitters(one, TUBING) for one in runs]
    loop = Join(kind="loop", start="R1", end="R2", line=LineString([(30, 0), (30, 1)]))
    totals = field_totals(runs, rows, (loop,))
    assert totals.tubing == 60
    assert totals.blank == 1
    assert totals.emitters == 100
    assert totals.flow == pytest.approx(100 * 6e-7)


def test_no_flow_never_fills_a_volume() -> None:
    with pytest.raises(ValueError, match="flow over 0"):
        seconds_per_volume(0.0, 1.0)
