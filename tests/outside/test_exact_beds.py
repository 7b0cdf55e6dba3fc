"""Beds whose run lengths follow from geometry, laid out through the public functions.

Derived, no source: every formula is worked out here from the shape of the bed. Rows lie at d = 1, 3, 5 … from
the side they follow (clearance 1, spacing 2, feet), and end 1 short of the two end lines. Tolerances:
straight beds 1e-5; arcs drawn in chords of 1 degree 0.003, or what their chords take from a row that follows
them; the racetrack's caps of 2 degrees 0.018; the meander's ten bends in chords of 2 degrees 0.05."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest
from shapely import Polygon

from tests import beds
from tests.laid import PATTERNS, Array, field, lines

Row = Callable[[float], float]

STRAIGHT, ARCS, RACETRACK, MEANDER = 1e-5, 0.003, 0.018, 0.05


def rows(formula: Row, distances: Sequence[int]) -> list[float]:
    return [formula(float(distance)) for distance in distances]


def across(width: int) -> range:
    """1, 3, 5 … as far as 1 short of a width."""
    return range(1, width, 2)


def sector_arc(radius: float, sweep: float) -> float:
    """An arc less what lies within 1 of the two radii that bound it: each takes the angle whose sine is 1 /
    r."""
    return radius * (math.radians(sweep) - 2 * math.asin(1 / radius))


def s_curve(offset: float, turn: float = 26.0) -> float:
    """Two quarter turns, the first about a centre on the left, `offset` to the left of the middle line."""
    return sum(r * (math.pi / 2 - math.asin(1 / r)) for r in (turn - offset, turn + offset))


def racetrack(distance: float) -> float:
    """A straight of 80 between half circles of 8: the row runs on to where the cap of radius 7 cuts it."""
    return 80 + 2 * math.sqrt(7**2 - (distance - 8) ** 2)


SLANT = math.hypot(1, 0.08)
"""Length of the wedge's slanted side for 1 along its straight one."""


def wedge_from_straight(distance: float) -> float:
    """Up to the far end, or to 1 under the slanted side (16 at the near end, 8 at the far one, 100 on)."""
    return min(99.0, (16 - SLANT - distance) / 0.08) - 1


def wedge_from_slant(distance: float) -> float:
    """Parallel to the slanted side: up to the far end, or down to 1 above the straight side."""
    return (min(99.0, (16 - SLANT * distance - 1) / 0.08) - 1) * SLANT


def ell_outer(distance: float) -> float:
    """Two legs of 60 that meet at a sharp outer corner."""
    return 2 * (59 - distance)


def ell_inner(distance: float) -> float:
    """Two legs of 48, and a quarter circle about the inner corner."""
    return 2 * 47 + math.pi / 2 * distance


def meander(offset: float) -> float:
    """Eleven straights of 20, and five half turns of radius 13 to either side."""
    return 11 * 20 - 2 + math.pi * (5 * (13 + offset) + 5 * (13 - offset))


def annular(distance: float) -> float:
    return sector_arc(20 + distance, 150)


def horseshoe(distance: float) -> float:
    return sector_arc(16 + distance, 320)


CASES: dict[str, tuple[Callable[[], Array], list[float], float]] = {
    "rect": (beds.rect, rows(lambda _: 98.0, across(12)), STRAIGHT),
    "annular": (beds.annular, rows(annular, across(12)), ARCS),
    "s_arcs": (beds.s_arcs, rows(lambda d: s_curve(6 - d), across(12)), ARCS),
    "racetrack": (beds.racetrack, rows(racetrack, across(16)), RACETRACK),
    "meander": (beds.meander, rows(lambda d: meander(6 - d), across(12)), MEANDER),
    "horseshoe": (beds.horseshoe, rows(horseshoe, across(14)), ARCS),
}
"""Beds as wide everywhere as a whole number of spacings and two clearances: the rows from the left side are
those from the right."""


def chord_loss(radius: float, sweep: float, *, step: float = 1.0) -> float:
    """What chords take from a row: an outline drawn in them lies up to their height, r (1 - cos half a step),
    inside its arc, and so does the row that follows it; its length changes by that times the turn."""
    return radius * (1 - math.cos(math.radians(step / 2))) * math.radians(sweep)


OUTER = {"annular": chord_loss(32, 150), "horseshoe": chord_loss(30, 320)}
"""Tolerance for rows that follow the outer arc."""


@pytest.mark.parametrize("pattern", ["left", "right"])
@pytest.mark.parametrize("name", CASES)
def test_lengths_from_either_side(name: str, pattern: str) -> None:
    bed, expected, tolerance = CASES[name]
    tolerance = max(tolerance, OUTER.get(name, 0.0) if pattern == "right" else 0.0)
    site = field(bed())
    laying = site.lay(pattern)
    assert [run.length for run in laying.runs] == pytest.approx(expected, abs=tolerance)
    assert laying.dropped == ()
    assert all(run.from_end for run in laying.runs)
    assert site.broken(laying) == []


@pytest.mark.parametrize(
    ("pattern", "formula"), [("left", wedge_from_slant), ("right", lambda d: wedge_from_straight(16 - d))]
)
def test_wedge(pattern: str, formula: Row) -> None:
    site = field(beds.wedge())
    laying = site.lay(pattern)
    assert [run.length for run in laying.runs] == pytest.approx(
        rows(formula, (1, 3, 5, 7, 9, 11, 13) if pattern == "left" else (3, 5, 7, 9, 11, 13, 15)),
        abs=STRAIGHT,
    )
    assert site.broken(laying) == []


def test_ell_with_sharp_bends_from_its_outer_side() -> None:
    site = field(beds.ell(), bend_radius=0)
    laying = site.lay("left")
    assert [run.length for run in laying.runs] == pytest.approx(rows(ell_outer, across(12)), abs=STRAIGHT)
    assert laying.dropped == ()
    assert site.broken(laying) == []


def corner_run(distance: float) -> float:
    """Beyond the width of the legs, an arc about the inner corner still fits in the outer one, 11 from either
    leg."""
    return distance * (math.pi / 2 - 2 * math.acos(11 / distance))


def test_ell_with_sharp_bends_from_its_inner_side() -> None:
    site = field(beds.ell(), bend_radius=0, shortest=1.0)
    laying = site.lay("right")
    expected = [corner_run(15), corner_run(13), *rows(ell_inner, range(11, 0, -2))]
    assert [run.length for run in laying.runs] == pytest.approx(expected, abs=ARCS)
    assert site.broken(laying) == []


def test_ell_corner_runs_under_the_shortest_are_listed() -> None:
    laying = field(beds.ell(), bend_radius=0).lay("right")
    assert [run.length for run in laying.runs] == pytest.approx(rows(ell_inner, range(11, 0, -2)), abs=ARCS)
    assert sorted(piece.line.length for piece in laying.dropped) == pytest.approx(
        [corner_run(15), corner_run(13)], abs=ARCS
    )


@pytest.mark.parametrize("radius", [1.0, 2.0, 3.0])
def test_ell_bend_eased_at_the_outer_corner(radius: float) -> None:
    """A corner of 90 degrees cut by an arc loses its two tangents, each r tan 45, and gains r pi / 2."""
    site = field(beds.ell(), bend_radius=radius)
    laying = site.lay("left")
    loss = radius * (2 - math.pi / 2)
    whole = sorted((run.length for run in laying.runs if run.length > 50), reverse=True)
    assert whole[:5] == pytest.approx([ell_outer(d) - loss for d in (1, 3, 5, 7, 9)], abs=ARCS)
    assert site.broken(laying) == []


def swung(distance: float, radius: float, clearance: float = 1.0) -> float:
    """A row about an inner corner of 90 degrees whose first row would bend more tightly than `radius`.

    The guide swings wide on a circle of p = radius - clearance through the corner's tip, its centre behind it
    on the bisector, so p / sqrt 2 from either leg. The row at d bends about that centre with a = p + d, and
    comes back to its leg, h = d + p / sqrt 2 above the centre, round a disc of `radius` that touches both:
    the disc's centre is radius + h above and a + radius away."""
    p = radius - clearance
    a, h = p + distance, distance + p / math.sqrt(2)
    lean = math.acos((h + radius) / (a + radius))
    straight = 47 - p / math.sqrt(2) - (a + radius) * math.sin(lean)
    return 2 * (straight + radius * lean + a * (lean + math.pi / 4))


def test_ell_bend_swung_wide_at_the_inner_corner() -> None:
    site = field(beds.ell(), bend_radius=2.0)
    laying = site.lay("right")
    whole = [run.length for run in laying.runs if run.length > 50]
    assert whole[::-1] == pytest.approx([swung(d, 2.0) for d in (1, 3, 5, 7, 9)], abs=2 * ARCS)
    assert site.broken(laying) == []


def test_centre_of_a_rectangle() -> None:
    assert field(beds.rect()).lengths("centre") == pytest.approx([98.0] * 6, abs=STRAIGHT)
    five = field(beds.rect(width=10.0 + 1.6)).lay("centre")
    assert sorted(round(line.coords[0][1], 6) for line in lines(five)) == [1.8, 3.8, 5.8, 7.8, 9.8]


def test_rows_between_oblique_ends() -> None:
    """Parallel sides of 100: the ends' clearance of 1 takes 1 / sin 27 along every row at either end."""
    for pattern in PATTERNS:
        lengths = field(beds.parallelogram()).lengths(pattern)
        assert lengths == pytest.approx([100 - 2 / math.sin(math.radians(27))] * 6, abs=1e-3), pattern


@pytest.mark.parametrize("name", ["annular", "s_arcs", "horseshoe"])
def test_centre_of_an_even_bed_gives_the_rows_of_its_sides(name: str) -> None:
    bed, expected, _ = CASES[name]
    site = field(bed())
    laying = site.lay("centre")
    assert [run.length for run in laying.runs] == pytest.approx(expected, abs=0.02)
    assert site.broken(laying) == []


@pytest.mark.parametrize("name", ["rect", "annular", "s_arcs", "meander", "horseshoe"])
def test_even_on_an_even_bed_gives_the_rows_of_its_sides(name: str) -> None:
    bed, expected, tolerance = CASES[name]
    site = field(bed())
    laying = site.lay("even")
    tolerance = max(tolerance, OUTER.get(name, 0.0))
    assert [run.length for run in laying.runs] == pytest.approx(expected, abs=tolerance)
    assert site.broken(laying) == []


@pytest.mark.parametrize("closest", [1.7, 1.9, 2.0])
def test_even_spreads_rows_from_clearance_to_clearance(closest: float) -> None:
    """A usable width of 10 holds five gaps of at least 1.7, 1.9 or 2.0: each is 2.0."""
    site = field(beds.annular(), spacing=closest, closest=closest, widest=2 * closest)
    laying = site.lay("even")
    assert [run.length for run in laying.runs] == pytest.approx(
        rows(annular, across(12)), abs=OUTER["annular"]
    )
    assert site.broken(laying) == []


@pytest.mark.parametrize("pattern", ["right", "centre"])
def test_lengths_do_not_depend_on_where_the_outline_begins_or_how_it_winds(pattern: str) -> None:
    outline = beds.annular()
    site = field(outline)
    toward = (float(outline[0][0]), float(outline[0][1]) - 10)
    first, rolled, wound = (
        field(points, toward=toward).lengths(pattern)
        for points in (outline, np.roll(outline, -40, axis=0), outline[::-1])
    )
    assert rolled == pytest.approx(first, rel=1e-6)
    assert wound == pytest.approx(first, rel=1e-6)
    assert Polygon(outline).area == pytest.approx(site.bed.outline.area)
