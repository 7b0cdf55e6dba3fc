"""Ends of rows that are led on along the edge, where that runs slantwise to them. Feet."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString, Point, Polygon
from shapely.ops import substring

from layout.coverage import cover
from layout.runs.tips import led_on
from layout.runs.trim import Ground, Row
from tests import beds
from tests.laid import Field, field, mirrored, moved


def slanted(angle: float, *, turn: float = 0.0, mirror: bool = False, closest: float = 1.4) -> Field:
    """A parallelogram 14 ft wide with its ends at an angle to its long sides [degrees]: seven rows 2 ft apart."""
    outline = beds.parallelogram(100.0, 14.0, angle)
    outline = mirrored(outline) if mirror else outline
    return field(moved(outline, turn=turn), closest=closest)


def driest(site: Field) -> float:
    laying = site.lay("even")
    assert site.broken(laying) == []
    return cover(site.ground.area, site.bed.outline, laying.runs, spacing=2.0, radius=2.0).dry


@pytest.mark.parametrize("angle", [27.0, 32.0, 36.0])
def test_ground_amid_slanted_ends_is_wet_where_rows_may_come_nearer(angle: float) -> None:
    """Ends of rows g apart on a slant a leave g / (1 + sin a) amid them.

    Led on, 0.6 of a spacing: no farther than that, which keeps loops possible, or than it takes to turn.
    """
    sine = math.sin(math.radians(angle))
    assert driest(slanted(angle, closest=2.0)) == pytest.approx(2.0 / (1 + sine), abs=0.03)
    assert driest(slanted(angle, closest=1.4)) < 1.2 + 0.03


def test_square_ends_stay_as_they_are() -> None:
    site, apart = (field(beds.rect(100, 14), closest=closest) for closest in (1.4, 2.0))
    assert site.lengths("even") == pytest.approx(apart.lengths("even"))


def test_other_patterns_keep_their_ends() -> None:
    for pattern in ("left", "right", "centre"):
        assert slanted(27.0).lengths(pattern) == slanted(27.0, closest=2.0).lengths(pattern), pattern


def test_led_ends_go_with_their_bed() -> None:
    """Turned or in a mirror, the same runs."""
    lengths = sorted(slanted(27.0).lengths("even"))
    assert sorted(slanted(27.0, turn=33.0).lengths("even")) == pytest.approx(lengths, rel=1e-6)
    assert sorted(slanted(27.0, mirror=True).lengths("even")) == pytest.approx(lengths, rel=1e-6)


def cut(closest: float, *, radius: float = 2.0) -> Ground:
    """Ground that ends on a slant of 30 degrees at its right, in feet: from (60, 0) up to (94.6, 20)."""
    outline = np.array([[0, 0], [60, 0], [60 + 20 * math.sqrt(3), 20], [0, 20]])
    sides = field(outline).sides
    return Ground(
        outline=Polygon(outline),
        sides=sides,
        clearance=1.0,
        spacing=2.0,
        closest=closest,
        radius=radius,
        shortest=5.0,
        kept_clear=Point(0, 0).buffer(0.1),
    )


SLANT = LineString([(60, 0), (60 + 20 * math.sqrt(3), 20)])


def ended(y: float) -> LineString:
    """A run that ends a clearance from the slant."""
    return LineString([(1, y), (60 - 2 + y * math.sqrt(3), y)])


def led(closest: float, *, radius: float = 2.0) -> tuple[LineString, LineString]:
    """Runs at 4 and 6 ft, led on; above them there are none up to 20 ft."""
    rows = [Row(place=y, pieces=[ended(y)]) for y in (4.0, 6.0)]
    led_on(rows, cut(closest, radius=radius))
    (first,), (second,) = (row.pieces for row in rows)
    return first, second


def test_end_turns_along_the_edge_towards_its_neighbour() -> None:
    """Up to the least gap, or to 1.8 ft from it: 0.6 of a spacing is left amid then, 1.8 / (1 + sin 30)."""
    for closest in (1.82, 1.6, 1.2):
        first, _ = led(closest, radius=1.0)
        tip = Point(first.coords[-1])
        assert ended(6).distance(tip) == pytest.approx(max(closest, 1.8), abs=0.04), closest
        assert SLANT.distance(tip) == pytest.approx(1.0, abs=1e-3)


def test_end_beside_bare_ground_is_led_on() -> None:
    _, second = led(2.0)
    assert SLANT.distance(Point(second.coords[-1])) == pytest.approx(1.0, abs=1e-3)
    # four spacings are looked at, of which the last 0.6 lies wet enough then
    # easing the bend takes R t − 2 R tan(t / 2) at a radius of 1.02 times 2 ft
    eased = 2.04 * (math.pi / 6 - 2 * math.tan(math.pi / 12))
    assert second.length == pytest.approx(ended(6).length + 6.8 + eased, abs=0.08)


def test_end_stays_where_there_is_no_room_to_turn() -> None:
    """A bend of 30 degrees at a radius of 12 ft takes 3.3 ft of the edge; 0.8 ft are there."""
    assert led(1.6, radius=12.0)[0] == ended(4)


def test_end_at_a_tree_turns_along_its_setback() -> None:
    """Rows 2 and 4 ft below the middle of a round zone of 3 ft: the nearer one parts, and comes nearer to the other."""
    zone = Point(30, 10).buffer(3, quad_segs=64)
    half = math.sqrt(9 - 4)
    rows = [
        Row(place=0, pieces=[LineString([(1, 6), (60, 6)])]),
        Row(
            place=1,
            pieces=[LineString([(1, 8), (30 - half, 8)]), LineString([(30 + half, 8), (60, 8)])],
        ),
    ]
    led_on(rows, replace(cut(1.4), kept_clear=zone))
    left, right = rows[1].pieces
    assert rows[0].pieces == [LineString([(1, 6), (60, 6)])]
    for tip in (Point(left.coords[-1]), Point(right.coords[0])):
        assert 1.4 - 0.03 < rows[0].pieces[0].distance(tip) < 1.7
        assert zone.distance(tip) < 0.05
    assert left.length == pytest.approx(right.length - 1, abs=0.02)
    assert not zone.intersects(left)
    assert not zone.intersects(right)


def test_end_with_nothing_beside_it_stays() -> None:
    rows = [Row(place=0, pieces=[ended(4)])]
    led_on(rows, cut(1.4))
    assert rows[0].pieces == [ended(4)]
    led_on([], cut(1.4))


def test_no_end_is_led_on_beside_rows_that_a_cap_leaves_out() -> None:
    """Each of three rows is as straight as it was."""
    runs = field(beds.parallelogram(100.0, 14.0, 27.0), closest=1.4, most=3).lay("even").runs
    assert len(runs) == 3
    for run in runs:
        assert run.length == pytest.approx(math.dist(run.line.coords[0], run.line.coords[-1])), run.name


def nearest_to_itself(line: LineString, apart: float) -> float:
    """Least distance from the end of a run to what of it lies more than so far back along it."""
    back = line.reverse()
    return min(Point(way.coords[0]).distance(substring(way, apart, way.length)) for way in (line, back))


@pytest.mark.parametrize(("angle", "first", "closest"), [(74.0, 2.4, 1.8), (70.0, 2.5, 2.0)])
def test_a_run_led_on_does_not_come_back_to_itself(angle: float, first: float, closest: float) -> None:
    """With the first row farther in than the clearance there is a strip that a run could turn into round the corner."""
    outline = beds.parallelogram(60.0, 14.0, angle)
    site = field(outline, closest=closest, shortest=5.0, bend_radius=0.5)
    site = replace(site, rules=replace(site.rules, first=first))
    laying = site.lay("even")
    assert site.broken(laying) == []
    for run in laying.runs:
        assert nearest_to_itself(run.line, 3 * closest) >= 0.98 * closest


@pytest.mark.parametrize(("seed", "first"), [(0, 2.4), (4, 2.4), (10, 3.0)])
def test_blank_tubing_past_a_dent_keeps_the_bend_radius(seed: int, first: float) -> None:
    site = field(beds.wobbly(seed), closest=1.4, shortest=5.0, bend_radius=1.0)
    site = replace(site, rules=replace(site.rules, first=first))
    assert site.broken(site.lay("even")) == []


def test_runs_beside_one_that_was_cut_to_the_least_gap_are_led_on_alike_wherever_the_bed_lies() -> None:
    """An oval bent like a bow, sheared: a run cut where it came too near lies just the least gap from another."""
    a = np.linspace(0, 2 * np.pi, 91)[:-1]
    oval = np.column_stack((34.9117627 * np.cos(a), 8.0403898 * np.sin(a) + 8.8791706 * np.cos(a) ** 2))
    oval = oval @ np.array([[1.0, 0.0], [0.013, 1.0]])
    found = []
    for turn in np.linspace(0.0, 330.0, 6):
        site = field(moved(oval, turn=turn, by=(10 * turn, 2530.0)), closest=1.4, shortest=6.0)
        found.append(sorted(run.length for run in site.lay("even").runs))
    for lengths in found:
        assert lengths == pytest.approx(found[0], rel=1e-4)
