"""Ways round a ring: blank tubing that leaves one piece of a row, follows the ring and joins the next."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, box

from layout.plane import coordinates
from layout.runs.obstacles import blunt, is_sharper
from layout.runs.rings import arc, bends_enough, clear_of, way_across, way_along
from layout.runs.trim import Ground
from tests import beds
from tests.plumbed import straight_sides

RING = Point(0, 0).buffer(5.0, quad_segs=64)
FULL = 2 * math.pi * 5.0


def ground(*, radius: float = 0.6, spacing: float = 0.6) -> Ground:
    return Ground(
        outline=box(-50, -20, 50, 20),
        sides=straight_sides(100.0, 40.0),
        clearance=0.3,
        spacing=spacing,
        closest=spacing,
        radius=radius,
        shortest=3.0,
        kept_clear=MultiPolygon(),
    )


def row(y: float) -> tuple[LineString, LineString]:
    """A straight row from left to right, in two pieces that end on the ring."""
    x = math.sqrt(max(25.0 - y * y, 0.0))
    return LineString([(-30, y), (-x, y)]), LineString([(x, y), (30, y)])


@pytest.mark.parametrize(("y", "side"), [(0.0, 1.0), (0.0, -1.0), (2.0, 1.0), (-3.0, -1.0)])
def test_the_way_round_is_as_long_as_the_arc_and_bends_no_tighter_than_it_may(y: float, side: float) -> None:
    before, after = row(y)
    found = way_along(before, after, RING, side, ground())
    assert found is not None
    first, blank, last = found
    assert first.coords[-1] == blank.coords[0]
    assert blank.coords[-1] == last.coords[0]
    whole = LineString(np.vstack([coordinates(part) for part in found]))
    assert bends_enough(coordinates(whole), 0.6)
    # over the ring or under it, by the nearer way; derived: the arc between the two ends
    turn = math.pi - 2 * math.asin(abs(y) / 5.0)
    assert blank.length + first.length + last.length == pytest.approx(
        before.length + after.length + 5.0 * turn, abs=1.0
    )
    assert (blank.centroid.y > y) == (side > 0)
    assert RING.buffer(-0.05).intersection(whole).length == pytest.approx(0.0, abs=1e-6)


def test_what_is_slanted_on_and_off_needs_room_on_the_ring() -> None:
    """From ends a metre off a ring: a quarter of it is enough, the way between neighbouring ends is not."""
    wide = way_across(LineString([(-30, 0), (-6, 0)]), LineString([(6, 0), (30, 0)]), RING, 1.0, ground())
    assert wide is not None
    assert wide[1].length > 5.0 * math.pi * 0.6
    near = LineString([(-30, 0), (-6, 0)]), LineString([(-6, -0.8), (-30, -0.8)])
    assert way_across(*near, RING, -1.0, ground()) is None
    assert arc(RING, Point(-6, 0), Point(-6, -0.8), -1.0).length == pytest.approx(0.66, abs=0.02)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_arcs_to_either_side_make_the_whole_ring(side: float) -> None:
    a, b = Point(-5, 0), Point(3, 4)
    one, other = arc(RING, a, b, side), arc(RING, a, b, -side)
    assert one.length + other.length == pytest.approx(FULL, rel=1e-3)
    for found in (one, other):
        assert Point(found.coords[0]).distance(a) < 0.01
        assert Point(found.coords[-1]).distance(b) < 0.01


def test_of_a_piece_across_a_ring_the_part_at_its_far_end_is_kept() -> None:
    piece = LineString([(-30, 1), (30, 1)])
    x = math.sqrt(24.0)
    for last, kept in ((True, (-30, -x)), (False, (x, 30))):
        found = clear_of(piece, RING, last=last)
        assert found is not None
        assert (found.coords[0][0], found.coords[-1][0]) == pytest.approx(kept, abs=1e-2)
    assert clear_of(LineString([(-2, 0), (2, 0)]), RING, last=True) is None, "all of it lies in the ring"
    assert clear_of(LineString([(-2, 0), (30, 0)]), RING, last=True) is None, "the end to be kept does"


@pytest.mark.parametrize(("radius", "kept"), [(0.55, True), (0.65, False)])
def test_bends_are_judged_by_their_radius(radius: float, kept: bool) -> None:
    """A half circle of 0.6 m between straights; 0.95 of the radius is asked for."""
    turn = np.linspace(-math.pi / 2, math.pi / 2, 200)
    bend = np.column_stack((0.6 * np.cos(turn), 0.6 * np.sin(turn)))
    line = np.vstack(([[-3.0, -0.6]], bend, [[-3.0, 0.6]]))
    assert bends_enough(line, radius) == kept


def test_a_stretch_shorter_than_half_the_radius_turns_hardly_at_all() -> None:
    assert bends_enough(np.array([[0.0, 0.0], [0.2, 0.0]]), 0.6)


@pytest.mark.parametrize("clearance", [0.3, 1.0, 2.0])
@pytest.mark.parametrize("name", ["meander", "kidney", "tee", "star", "dumbbell"])
def test_a_hollow_sharper_than_a_radius_is_as_blunt_as_no_larger_one(name: str, clearance: float) -> None:
    outline = Polygon({**beds.EXACT, **beds.HARD}[name]())
    for hollow in shapely.get_parts(outline.convex_hull.difference(outline)):
        zone = hollow.buffer(clearance, quad_segs=32)
        most = float(np.sqrt(zone.area / np.pi))
        for radius in (0.5 * clearance, 1.5 * clearance, 3 * clearance):
            if is_sharper(zone, radius, most=most):
                assert blunt(zone) <= radius


def test_a_disc_is_as_blunt_as_it_is_large_and_no_sharper() -> None:
    disc = Point(0, 0).buffer(3.0, quad_segs=32)
    assert blunt(disc) == pytest.approx(0.99 * 3.0, rel=0.01)
    assert not is_sharper(disc, 1.0, most=3.0)
