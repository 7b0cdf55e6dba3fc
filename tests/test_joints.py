"""Elbows of lines: one at a place, with room between two, and told where there is none."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString

from layout.model import Fitting, Pipe, Plumbing, Pump
from layout.plane import Array
from layout.routes import route_findings, route_lines
from layout.routes.elbows import elbows_along
from layout.routes.joints import APART, LONGER, buildable, faults
from layout.routes.told import close_elbows
from tests.fields import curved_field
from tests.test_routes import by_hand


def along(*turns: float, leg: float = 5.0) -> Array:
    """A way of equal legs that turns by so many degrees at each corner, to the left."""
    bearing = np.radians(np.cumsum([0.0, *turns]))
    steps = np.column_stack((np.cos(bearing), np.sin(bearing))) * leg
    return np.vstack(([0.0, 0.0], np.cumsum(steps, axis=0)))


def anything(_way: Array) -> bool:
    return True


def stations(way: Array) -> list[float]:
    """Where elbows stand along a way that goes on beyond its last point but one."""
    line = LineString(way)
    return [float(line.project(LineString([at, at]).centroid)) for _, at in elbows_along(way)]


@pytest.mark.parametrize("turn", [67.5, 60.0, 112.5, 135.0, 157.5, 170.0])
def test_a_corner_is_made_of_elbows_with_a_piece_of_pipe_between(turn: float) -> None:
    way = along(turn)
    onward = way[-1] + (way[-1] - way[-2])
    assert faults(np.vstack((way, onward)))
    corner = LineString(way)
    made = buildable(way, onward, lambda tried: LineString(tried).hausdorff_distance(corner) < 2.5 * APART)
    places = stations(np.vstack((made, onward)))
    assert len(places) >= 2
    assert min(np.diff(places)) >= APART - 1e-6
    assert np.allclose(made[[0, -1]], way[[0, -1]])


@pytest.mark.parametrize("turn", [-157.5, -112.5, -67.5, 67.5, 112.5, 135.0, 157.5, 180.0])
def test_a_line_comes_into_its_manifold_by_elbows_with_room(turn: float) -> None:
    way = along(0.0)
    angle = math.radians(turn)
    onward = way[-1] + np.array([math.cos(angle), math.sin(angle)])
    made = buildable(way, onward, anything)
    assert not faults(np.vstack((made, onward)))
    assert LineString(made).length <= LineString(way).length + LONGER


def test_what_is_not_allowed_is_left() -> None:
    way = along(67.5)
    onward = way[-1] + (way[-1] - way[-2])
    assert buildable(way, onward, lambda _way: False) is way
    outside = buildable(way, onward, lambda tried: bool(tried[:, 0].max() <= way[:, 0].max() + 1e-9))
    assert not faults(np.vstack((outside, onward)))


@given(st.lists(st.floats(-170, 170), min_size=1, max_size=6), st.floats(0.4, 6.0))
@settings(max_examples=40, deadline=None)
def test_ways_become_no_worse_and_keep_their_ends(turns: list[float], leg: float) -> None:
    way = along(*turns, leg=leg)
    onward = way[-1] + (way[-1] - way[-2])
    before = len(faults(np.vstack((way, onward))))
    made = buildable(way, onward, anything)
    after = len(faults(np.vstack((made, onward))))
    assert after <= before
    assert after < before or made is way
    assert np.allclose(made[[0, -1]], way[[0, -1]])


@pytest.mark.parametrize("pump", [(-9.0, 14.0), (-3.0, -6.0), (-6.0, 25.0), (-30.0, 3.6)])
def test_lines_to_manifolds_by_hand_can_be_joined(pump: tuple[float, float]) -> None:
    plumbing, outline = by_hand(zones=2)
    laid = route_lines(plumbing, pump=Pump(at=pump), features=[], outline=outline)
    assert len(laid.lines) == 4
    assert close_elbows(laid) == []


def test_elbows_that_cannot_be_joined_are_told_with_their_places() -> None:
    def elbow(x: float, kind: str = "elbow 45") -> Fitting:
        return Fitting(kind=kind, at=(x, 0.0), on="supply", of="line", size=0.025)  # type: ignore[arg-type]

    line = Pipe(kind="supply", line=LineString([(0, 0), (9, 0)]), diameter=0.025)
    made = [elbow(1.0), elbow(1.0, "elbow 22.5"), elbow(3.0), elbow(3.1), elbow(6.0), elbow(6.2)]
    plumbing = Plumbing(manifolds=(), risers=(), lines=(line,), fittings=tuple(made))
    assert [(at, round(apart, 6)) for at, apart in close_elbows(plumbing)] == [
        ((1.0, 0.0), 0.0),
        ((3.0, 0.0), 0.1),
    ]
    site = replace(curved_field().site, pump=Pump(at=(0.0, 0.0)), features=())
    (told,) = (item for item in route_findings(site, plumbing) if item.code == "close-elbows")
    assert told.said.count(" at (E ") == 2
    assert "at one place at (E " in told.said
