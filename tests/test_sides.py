"""The long sides and the ends of a bed, found from its outline alone."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LinearRing, LineString, Polygon

from layout.model import Sides
from layout.sides import find_sides, straight_sides
from tests import beds
from tests.laid import Array, mirrored, moved

LONG = {
    **beds.EXACT,
    **{name: beds.HARD[name] for name in ("gentle", "serpentine", "gnss", "parallelogram", "trapezium")},
}
"""Beds with a long direction and two clear ends; each outline begins at the left of its manifold end."""


def found(outline: Array, *, far: bool = False, toward: tuple[float, float] | None = None) -> Sides:
    start = (outline[0] + outline[-1]) / 2
    polygon = shapely.orient_polygons(Polygon(outline))
    return find_sides(polygon, toward=toward or (float(start[0]), float(start[1])), far=far)


def ends_of(line: LineString) -> Array:
    return np.asarray([line.coords[0], line.coords[-1]])


def same_line(one: LineString, other: LineString, *, within: float = 1e-6) -> bool:
    """Same place and same direction."""
    return bool(
        shapely.hausdorff_distance(one, other) < within
        and np.allclose(ends_of(one), ends_of(other), atol=within)
    )


@pytest.mark.parametrize("name", LONG)
def test_sides_and_ends_make_up_the_outline(name: str) -> None:
    outline = LONG[name]()
    sides = found(outline)
    ring = np.vstack(
        [
            shapely.get_coordinates(sides.left),
            shapely.get_coordinates(sides.far),
            shapely.get_coordinates(sides.right)[::-1],
        ]
    )
    assert sides.certain
    assert sides.left.length + sides.right.length + sides.near.length + sides.far.length == pytest.approx(
        Polygon(outline).length, rel=1e-9
    )
    assert ends_of(sides.near) == pytest.approx(np.asarray([sides.left.coords[0], sides.right.coords[0]]))
    assert ends_of(sides.far) == pytest.approx(np.asarray([sides.left.coords[-1], sides.right.coords[-1]]))
    assert not LinearRing(ring).is_ccw, "along the left side the bed lies on the right hand"


@pytest.mark.parametrize("name", LONG)
def test_centre_line_leads_from_end_to_end_through_the_middle(name: str) -> None:
    outline = LONG[name]()
    sides = found(outline)
    assert sides.centre.is_simple
    assert Polygon(outline).buffer(1e-6).covers(sides.centre)
    middle = [sides.centre.interpolate(share, normalized=True) for share in (0.35, 0.5, 0.65)]
    for point in middle:
        left, right = sides.left.distance(point), sides.right.distance(point)
        assert abs(left - right) < 0.12 * (left + right)
    for place in (0, -1):
        chord = LineString([sides.left.coords[place], sides.right.coords[place]])
        assert chord.distance(shapely.Point(sides.centre.coords[place])) < 0.05 * chord.length


CORNERS = {
    "rect": [(0, 12), (100, 12), (0, 0), (100, 0)],
    "wedge": [(0, 16), (100, 8), (0, 0), (100, 0)],
    "ell": [(0, 60), (60, 0), (0, 48), (48, 0)],
    "s_arcs": [(0, 6), (52, 58), (0, -6), (52, 46)],
    "parallelogram": [(23.5513, 12), (123.5513, 12), (0, 0), (100, 0)],
    "trapezium": [(12, 12), (88, 12), (0, 0), (100, 0)],
    "racetrack": [(0, 8), (80, 8), (0, -8), (80, -8)],
    "annular": [(20, 0), (-17.3205, 10), (32, 0), (-27.7128, 16)],
    "horseshoe": [(16, 0), (12.2567, -10.2846), (30, 0), (22.9813, -19.2836)],
    "meander": [(-6, 0), (254, 20), (6, 0), (266, 20)],
}
"""Where the left side begins and ends, and the right one: the corners that the outline was drawn with. Ends
oblique by 27 and 45 degrees among them; a rounded end begins where the straight ends."""


@pytest.mark.parametrize("name", CORNERS)
def test_sides_begin_and_end_at_the_corners(name: str) -> None:
    sides = found(beds.EXACT[name]() if name in beds.EXACT else beds.HARD[name]())
    got = np.vstack((ends_of(sides.left), ends_of(sides.right)))
    assert got == pytest.approx(np.asarray(CORNERS[name], float), abs=1e-3)


@pytest.mark.parametrize(
    ("length", "width", "angle"), [(100, 12, 27), (80, 20, 45), (60, 10, 60), (120, 12, 35)]
)
def test_parallelogram_keeps_its_oblique_ends(length: float, width: float, angle: float) -> None:
    outline = beds.parallelogram(length, width, angle)
    sides = found(outline)
    assert sides.left.length == pytest.approx(length, abs=1e-6)
    assert sides.right.length == pytest.approx(length, abs=1e-6)
    assert sides.near.length == pytest.approx(width / np.sin(np.radians(angle)), abs=1e-6)


def spindle(half_width: float) -> Array:
    """Two flat arches that meet in a point at either end, 120 apart."""
    x = np.linspace(-60, 60, 61)
    arch = half_width * (1 - (x / 60) ** 2)
    return np.vstack((np.column_stack((x, arch)), np.column_stack((x, -arch))[-2:0:-1]))


DIAMOND = np.array([[-60, 0], [0, 12], [60, 0], [0, -12]], float)


@pytest.mark.parametrize("outline", [spindle(5), spindle(8), DIAMOND], ids=["slim", "stout", "diamond"])
def test_pointed_ends_have_no_length(outline: Array) -> None:
    """All of such an outline is long side."""
    sides = found(outline, toward=(-70, 0))
    assert sides.near.length < 1e-6
    assert sides.far.length < 1e-6
    for side in (sides.left, sides.right):
        assert ends_of(side) == pytest.approx(np.array([[-60, 0], [60, 0]]), abs=1e-6)
        assert side.length == pytest.approx(Polygon(outline).length / 2, rel=1e-6)


def test_gentle_bed_has_its_drawn_sides() -> None:
    outline = beds.gentle()
    sides = found(outline)
    half = len(outline) // 2
    assert shapely.hausdorff_distance(sides.left, LineString(outline[:half])) < 0.5
    assert shapely.hausdorff_distance(sides.right, LineString(outline[half:])) < 0.5


@pytest.mark.parametrize("name", LONG)
def test_manifold_end_is_the_one_toward_the_point_and_far_is_the_other(name: str) -> None:
    outline = LONG[name]()
    near = found(outline)
    target = near.near.interpolate(0.5, normalized=True)
    other = near.far.interpolate(0.5, normalized=True)
    far = found(outline, far=True)
    assert near.near.distance(target) < near.far.distance(target)
    for turned in (far, found(outline, toward=(other.x, other.y))):
        assert same_line(turned.left, near.right.reverse())
        assert same_line(turned.right, near.left.reverse())
        assert same_line(turned.near, near.far.reverse())
        assert same_line(turned.far, near.near.reverse())
        assert same_line(turned.centre, near.centre.reverse())


@pytest.mark.parametrize("name", LONG)
def test_turned_bed_has_its_sides_turned(name: str) -> None:
    turn = 37.0
    outline = LONG[name]()
    sides, turned = found(outline), found(moved(outline, turn=turn, by=(300.0, -800.0)))
    for part in ("left", "right", "near", "far"):
        line = LineString(moved(shapely.get_coordinates(getattr(sides, part)), turn=turn, by=(300.0, -800.0)))
        assert same_line(line, getattr(turned, part), within=1e-5)


@pytest.mark.parametrize("name", LONG)
def test_mirrored_bed_has_left_and_right_exchanged(name: str) -> None:
    outline = LONG[name]()
    sides, seen = found(outline), found(mirrored(outline))
    for part, other in (("left", "right"), ("right", "left")):
        line = LineString(mirrored(shapely.get_coordinates(getattr(sides, part))))
        assert same_line(line, getattr(seen, other), within=1e-5)


@pytest.mark.parametrize("name", ["annular", "ell", "gentle", "parallelogram"])
def test_sides_do_not_depend_on_unit_winding_or_first_point(name: str) -> None:
    outline = LONG[name]()
    start = (outline[0] + outline[-1]) / 2
    toward = (float(start[0]), float(start[1]))
    sides = found(outline)
    for points in (outline[::-1], np.roll(outline, 7, axis=0)):
        other = found(points, toward=toward)
        assert same_line(sides.left, other.left, within=1e-5)
        assert same_line(sides.right, other.right, within=1e-5)
    small = found(outline * 0.3048)
    assert small.left.length == pytest.approx(0.3048 * sides.left.length, rel=1e-6)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10**6), turn=st.floats(0, 360))
def test_random_serpentine_bed_has_its_sides_wherever_it_lies(seed: int, turn: float) -> None:
    outline = beds.wobbly(seed)
    sides, turned = found(outline), found(moved(outline, turn=turn))
    parts = (sides.left, sides.right, sides.near, sides.far)
    if sides.certain:
        assert sum(part.length for part in parts) == pytest.approx(Polygon(outline).length, rel=1e-9)
    assert turned.certain == sides.certain
    assert turned.left.length == pytest.approx(sides.left.length, rel=1e-4)
    assert turned.right.length == pytest.approx(sides.right.length, rel=1e-4)


@pytest.mark.parametrize("name", ["square", "circle", "short"])
def test_bed_without_a_long_direction_gets_straight_sides_and_says_so(name: str) -> None:
    outline = beds.HARD[name]()
    sides = found(outline)
    polygon = Polygon(outline)
    box = polygon.minimum_rotated_rectangle
    assert not sides.certain
    assert len(sides.left.coords) == len(sides.right.coords) == 2
    assert sides.left.length == pytest.approx(sides.right.length)
    assert sides.left.length * sides.near.length == pytest.approx(box.area, rel=1e-6)
    assert sides.left.length >= sides.near.length - 1e-6


@pytest.mark.parametrize(
    ("toward", "far", "start"), [((0, 5), False, 0), ((40, 5), False, 40), ((0, 5), True, 40)]
)
def test_straight_sides_begin_at_the_manifold_end(
    toward: tuple[float, float], far: bool, start: float
) -> None:
    sides = straight_sides(shapely.box(0, 0, 40, 10), toward=toward, far=far)
    assert not sides.certain
    assert {x for line in (sides.left, sides.right, sides.near) for x in (line.coords[0][0],)} == {start}
    ring = LinearRing([*sides.left.coords, *sides.right.coords[::-1]])
    assert not ring.is_ccw, "along the left side the bed lies on the right hand"
    assert sides.centre.length == pytest.approx(40)
