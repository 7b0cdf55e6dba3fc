"""Level lines between two sides, by distances that the engine measures to the sides themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon

from layout.model import Sides
from layout.plane import Array
from layout.runs.field import SHARING, Between, Spread
from layout.runs.levels import level_lines

CLEARANCE, GAP = 0.5, 1.0


def spread(half: Array, along: Array, *, closest: float = GAP) -> Spread:
    """Between two mirrored sides so far from the x axis at places along it."""
    left, right = np.column_stack((along, half)), np.column_stack((along, -half))
    sides = Sides(
        left=LineString(left),
        right=LineString(right),
        near=LineString([left[0], right[0]]),
        far=LineString([left[-1], right[-1]]),
        centre=LineString(np.column_stack((along, 0 * along))),
        certain=True,
    )
    beyond = np.array([[20.0, 0.0]])
    return Spread(
        between=Between(
            outline=Polygon(np.vstack((left, right[::-1]))),
            sides=sides,
            left=LineString(np.vstack((left[:1] - beyond, left, left[-1:] + beyond))),
            right=LineString(np.vstack((right[:1] - beyond, right, right[-1:] + beyond))),
            clearance=CLEARANCE,
            step=closest / 2,
        ),
        closest=closest,
        wanted=GAP,
        widest=1.5 * GAP,
        slack=0.01,
    )


def swelling(rows: float, swing: float, *, closest: float = GAP) -> Spread:
    along = np.linspace(0, 80, 54)
    return spread(rows / 2 * (1 + swing * np.sin(along / 9)), along, closest=closest)


def samples(line: LineString, inside: Polygon) -> Array:
    """Points every tenth of a gap along the parts of a line in a bed."""
    parts = [part for part in shapely.get_parts(line.intersection(inside)) if part.geom_type == "LineString"]
    at = [shapely.line_interpolate_point(part, np.arange(0.0, part.length, 0.1)) for part in parts]
    return shapely.get_coordinates(np.concatenate(at)) if at else np.empty((0, 2))


@pytest.mark.parametrize(("rows", "swing", "closest"), [(7, 0.2, GAP), (30, 0.12, GAP), (20, 0.1, 0.7)])
def test_level_lines_lie_on_their_levels_all_along(rows: float, swing: float, closest: float) -> None:
    """Between their points, too: what the engine measures to either side is what the level asks for there.

    Only just where a row begins at the right-hand clearance line its sharp bend may be cut.
    """
    made = swelling(rows, swing, closest=closest)
    off, at_edge = [], []
    for level, lines in level_lines(made):
        for line in lines:
            points = shapely.points(samples(line, made.between.outline))
            to_left, to_right = (
                shapely.distance(points, side) for side in (made.between.left, made.between.right)
            )
            width = to_left + to_right - 2 * CLEARANCE
            place = made.place(np.full(len(points), float(level)), width)
            off.append(np.abs(to_left - CLEARANCE - place) / closest)
            at_edge.append(width - place < closest)
    every, by_edge = np.concatenate(off), np.concatenate(at_edge)
    assert len(every) > 1000
    assert np.quantile(every, 0.9) < 2e-4
    assert np.quantile(every, 0.99) < 2e-3
    assert every[~by_edge].max() < 0.02


def test_tight_gaps_are_whole_but_for_the_last_and_share_what_is_left_over() -> None:
    made = swelling(60, 0.0)
    count = 48
    width = np.full(count + 1, count * GAP + 0.3)
    places = made.place(np.arange(count + 1.0), width)
    gaps = np.diff(places)
    assert places[[0, -1]] == pytest.approx([0.0, width[0]])
    assert gaps[: count - SHARING] == pytest.approx(GAP)
    assert (gaps >= GAP - 1e-9).all()
    assert gaps.max() < GAP + 0.3 * 1.6 / SHARING
    assert gaps[-1] < GAP + 0.1 * 0.3  # hardly any beside the edge, where a row is to begin


@pytest.mark.parametrize("width", [5.3, 15.9, 17.2, 20.7, 31.4])
@pytest.mark.parametrize("closest", [GAP, 0.7])
def test_place_and_level_are_each_others_inverse(width: float, closest: float) -> None:
    made = swelling(60, 0.0, closest=closest)
    count = math.floor(float(made.gaps(np.array([width]))[0]))
    level = np.linspace(0, count, 41)
    wide = np.full(len(level), width)
    assert made.level(made.place(level, wide), wide) == pytest.approx(level, abs=1e-3)


def test_gaps_that_may_shrink_are_all_alike() -> None:
    made = swelling(60, 0.0, closest=0.7)
    width = np.full(9, 40.0)
    assert np.diff(made.place(np.arange(9.0), width)) == pytest.approx(
        np.full(8, 40.0 / made.gaps(width[:1])[0])
    )
