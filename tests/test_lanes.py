"""Lines side by side: elbows, lanes, trenches, and where there is no room for them."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point
from shapely.ops import polylabel

from layout.model import Feature, FeatureKind, NoWay, Plumbing, Pump
from layout.routes import elbows_along, route_findings, route_lines
from layout.routes.elbows import ELBOWS, TAKEN
from layout.routes.lanes import from_left, in_lane
from layout.units import FOOT
from tests.fields import curved_field
from tests.test_routes import box, by_hand, feature, legal, planned, site


@given(st.lists(st.floats(-170, 170), min_size=1, max_size=12))
def test_elbows_never_leave_more_than_the_pipe_takes(turns: list[float]) -> None:
    bearing = np.cumsum([0.0, *turns])
    steps = np.column_stack((np.cos(np.radians(bearing)), np.sin(np.radians(bearing))))
    points = np.vstack(([0.0, 0.0], np.cumsum(steps * 10, axis=0)))
    made = list(elbows_along(points))
    # What elbows make of each corner, to the side that was owed.
    owed = 0.0
    for corner, turn in zip(points[1:-1], turns, strict=True):
        owed += turn
        here = sum(dict(ELBOWS)[kind] for kind, at in made if math.dist(at, corner) < 1e-6)
        owed -= math.copysign(here, owed)
        assert abs(owed) <= TAKEN + 1e-4


def test_lanes_keep_their_distance() -> None:
    centre = np.array([[0.0, 0.0], [10.0, 0.0], [18.0, 3.0], [24.0, 9.0]])
    middle = LineString(centre)
    for offset in (-0.45, -0.15, 0.15, 0.45):
        lane = LineString(in_lane(centre, offset, swing=0.45))
        assert lane.coords[0] == (0.0, 0.0)
        walked = shapely.points(shapely.get_coordinates(lane.segmentize(0.3))[3:])
        assert np.allclose(shapely.distance(walked, middle), abs(offset), atol=0.02)


def test_trenches_part_from_left_to_right() -> None:
    stem = [[0.0, 0.0], [10.0, 0.0]]
    ways = [np.array([*stem, tip]) for tip in ([20.0, -5.0], [20.0, 5.0], [20.0, 0.0])]
    assert from_left(ways) == [1, 2, 0]
    # What ends along a straight stretch leaves it to the hand of its manifold.
    for hand, order in ((1.0, [0, 2, 1]), (-1.0, [1, 2, 0])):
        ways = [np.array([*stem, [x, 0.0], [x, hand]]) for x in (12.0, 20.0, 15.0)]
        assert from_left(ways) == order


def test_pipes_lie_nearer_together_where_a_passage_is_narrow() -> None:
    """Between the setbacks are 1.3 m: six pipes 0.3 m apart take 1.5 m, half as far apart 0.75 m."""
    plumbing, outline = by_hand(zones=3)
    walls = [
        Feature(name=name, kind=FeatureKind.BUILDING, shape=shapely.box(-20, low, -10, high), setback=2.0)
        for name, low, high in (("south", -90.0, 1.0), ("north", 6.3, 90.0))
    ]
    laid = route_lines(plumbing, pump=Pump(at=(-30.0, 3.6)), features=walls, outline=outline)
    assert len(laid.lines) == 6
    site = replace(curved_field().site, pump=Pump(at=(-30.0, 3.6)), features=tuple(walls))
    assert [item.code for item in route_findings(site, laid)] == []
    assert (
        max(one.line.intersection(other.line).length for one, other in itertools.combinations(laid.lines, 2))
        == 0
    )


def test_lines_that_have_no_room_side_by_side_are_said_to_lie_one_above_the_other(tmp_path: Path) -> None:
    south = feature("barn", box(-40, -90, -16, -4), 10.0)
    north = feature("house", box(-40, 16.03, -16, 120), 10.0)
    design = planned(site(tmp_path, (-60, 6), south, north))
    legal(design)
    assert "stacked-lines" in {item.code for item in route_findings(design.site, design.plumbing)}


def test_of_a_manifold_amid_the_bed_it_is_said_why_no_line_comes_to_it() -> None:
    site = curved_field().site
    bed = site.bed.outline
    inner = polylabel(bed, 0.01).coords[0]
    at = (float(inner[0]), float(inner[1]))
    lost = NoWay(kind="return", zone=1, at=at, closed_by=(("the bed", at),))
    elsewhere = replace(lost, closed_by=(("the bed", (at[0] - 40.0, at[1])),))
    site = replace(site, pump=Pump(at=(-30.0, 3.6)))
    said = [
        next(route_findings(site, Plumbing(manifolds=(), risers=(), lines=(), unreached=(item,)))).said
        for item in (lost, elsewhere)
    ]
    deep = bed.exterior.distance(Point(at)) / FOOT
    assert f"it stands amid the bed, {deep:.1f} ft from its edge" in said[0]
    assert "closes every way" in said[1]
