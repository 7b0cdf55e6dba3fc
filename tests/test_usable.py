"""Usable ground: what setbacks and clearance leave, and what is said where they leave nothing."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from layout.errors import NoRoomError
from layout.model import Bed, Feature, FeatureKind, Frame
from layout.units import UNIT_SETS
from layout.usable import setback_zone, usable_ground


def feature(shape: BaseGeometry, setback: float, name: str = "thing", *, inside: bool = False) -> Feature:
    return Feature(name=name, kind=FeatureKind.OTHER, shape=shape, setback=setback, inside=inside)


BED = Bed(outline=box(0, 0, 40, 6), clearance=0.5)


def test_a_bed_without_features_loses_only_its_clearance() -> None:
    ground = usable_ground(BED, ())
    assert ground.area.equals(box(0.5, 0.5, 39.5, 5.5))
    assert ground.kept_clear.is_empty
    assert ground.takes == ()


def test_no_clearance_leaves_the_outline() -> None:
    assert usable_ground(Bed(outline=box(0, 0, 4, 3), clearance=0), ()).area.equals(box(0, 0, 4, 3))


def test_reflex_corners_are_rounded_outside_the_true_arc() -> None:
    ell = Polygon([(0, 0), (20, 0), (20, 6), (6, 6), (6, 20), (0, 20)])
    ground = usable_ground(Bed(outline=ell, clearance=1.0), ())
    true = 18 * 4 + 4 * 14 + 1 - math.pi / 4
    assert ground.area.area == pytest.approx(true, rel=1e-4)


def test_points_lines_and_areas_each_take_their_share() -> None:
    things = (
        feature(Point(20, 3), 1.0, "well"),
        feature(LineString([(-5, 7), (50, 7)]), 2.0, "lot line"),
        feature(box(38, -3, 50, 10), 1.5, "house"),
        feature(Point(500, 500), 30.0, "far spring"),
    )
    ground = usable_ground(BED, things)
    well, line, house, far = (take.area for take in ground.takes)
    assert [take.feature for take in ground.takes] == ["well", "lot line", "house", "far spring"]
    assert well == pytest.approx(math.pi, rel=1e-4)
    assert line == pytest.approx(39 * 0.5, rel=1e-3)
    assert house == pytest.approx(3.0 * 5, rel=1e-4)
    assert far == 0
    both = 3.0 * 0.5  # lot line and house share this corner
    assert ground.area.area == pytest.approx(39 * 5 - well - line - house + both, rel=1e-4)
    assert ground.kept_clear.contains(Point(500, 529))


def test_a_feature_inside_cuts_a_hole() -> None:
    ground = usable_ground(BED, (feature(box(10, 2, 12, 4), 0.0, "tank", inside=True),))
    assert isinstance(ground.area, Polygon)
    assert len(ground.area.interiors) == 1
    assert ground.takes[0].area == pytest.approx(4.0)


def test_points_and_lines_without_setback_take_nothing() -> None:
    ground = usable_ground(BED, (feature(Point(9, 3), 0.0), feature(LineString([(0, 3), (40, 3)]), 0.0)))
    assert ground.area.area == pytest.approx(39 * 5)
    assert [take.area for take in ground.takes] == [0.0, 0.0]


def test_a_bed_cut_in_two_gives_both_parts() -> None:
    ground = usable_ground(BED, (feature(LineString([(20, -9), (20, 9)]), 1.0),))
    assert [round(part.area) for part in shapely.get_parts(ground.area)] == [92, 92]


def test_a_narrow_bed_is_refused_with_its_width_and_place() -> None:
    frame = Frame(units=UNIT_SETS["ft"], origin=(1000.0, 2000.0))
    bed = Bed(outline=box(0, 0, 60 * 0.3048, 1.5 * 0.3048), clearance=0.3048)
    with pytest.raises(NoRoomError) as failed:
        usable_ground(bed, (), frame=frame, file="site.toml")
    text = str(failed.value)
    assert text.startswith("site.toml: bed.clearance: 1 ft on either side leaves no room")
    assert "1.5 ft" in text
    assert "2000.75)" in text


def test_features_that_swallow_the_bed_are_named_in_order_with_coordinates() -> None:
    frame = Frame(units=UNIT_SETS["m"], origin=(100.0, 200.0))
    things = (
        feature(Point(0, 3), 15.0, "small spring"),
        feature(Point(45, 3), 32.0, "well"),
        feature(Point(900, 3), 10.0, "barn"),
    )
    with pytest.raises(NoRoomError) as failed:
        usable_ground(BED, things, frame=frame)
    text = str(failed.value)
    assert text.index("well at (E 145.00, N 203.00)") < text.index("small spring at (E 100.00, N 203.00)")
    assert "barn" not in text


def test_a_lot_drawn_as_an_area_round_the_bed_is_explained() -> None:
    with pytest.raises(NoRoomError, match=r"wholly inside lot.*open line"):
        usable_ground(BED, (feature(box(-50, -50, 90, 60), 2.0, "lot"),))


@st.composite
def shapes(draw: st.DrawFn) -> BaseGeometry:
    seed, count = draw(st.integers(0, 2**32 - 1)), draw(st.integers(1, 14))
    step = draw(st.sampled_from([0.02, 0.3, 3.0]))
    points = np.cumsum(np.random.default_rng(seed).normal(0, step, (count, 2)), axis=0)
    if count == 1:
        return Point(points[0])
    line = LineString(points)
    return line if draw(st.booleans()) else line.buffer(0.3, quad_segs=2)


@given(shape=shapes(), setback=st.sampled_from([0.1, 0.5, 3.0, 15.0]))
@settings(max_examples=60, deadline=None)
def test_no_zone_is_short_of_its_setback(shape: BaseGeometry, setback: float) -> None:
    zone = setback_zone(feature(shape, setback))
    assert zone.is_valid
    assert zone.covers(shape)
    assert shape.distance(zone.boundary) >= setback
    edge = shapely.points(shapely.get_coordinates(zone.boundary))
    assert shapely.distance(shape, edge).max() <= setback * 1.01


@given(
    seed=st.integers(0, 2**32 - 1),
    shift=st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)),
    turn=st.floats(0, 360),
)
@settings(max_examples=25, deadline=None)
def test_ground_moves_and_turns_with_the_site(seed: int, shift: tuple[float, float], turn: float) -> None:
    rng = np.random.default_rng(seed)
    things = tuple(
        feature(Point(rng.uniform(-5, 45), rng.uniform(-9, 15)), rng.uniform(0.5, 4)) for _ in range(5)
    )

    def moved(shape: BaseGeometry) -> BaseGeometry:
        turned = shapely.affinity.rotate(shape, turn, origin=(0, 0))
        return shapely.affinity.translate(turned, *shift)

    first = usable_ground(BED, things)
    second = usable_ground(
        Bed(outline=Polygon(shapely.get_coordinates(moved(BED.outline))), clearance=BED.clearance),
        tuple(feature(moved(thing.shape), thing.setback) for thing in things),
    )
    assert second.area.area == pytest.approx(first.area.area, rel=1e-3)
    for before, after in zip(first.takes, second.takes, strict=True):
        assert after.area == pytest.approx(before.area, rel=1e-3, abs=1e-6)


def test_two_hundred_detailed_features_are_quick() -> None:
    turn = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    ring = np.column_stack((np.cos(turn), np.sin(turn)))
    things = tuple(
        feature(Polygon(8.5 * ring + (17 * (i % 20), 17 * (i // 20))), 1.0, f"pond {i}") for i in range(200)
    )
    start = time.process_time()
    ground = usable_ground(Bed(outline=box(40, 40, 80, 52), clearance=0.5), things)
    assert time.process_time() - start < 3
    assert sum(take.area > 0 for take in ground.takes) >= 4
