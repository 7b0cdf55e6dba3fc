"""The checker of the laws finds each law broken, and finds nothing on a lawful layout."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from layout.model import Laying, Pattern, Run
from tests.laid import field
from tests.laws import Laid, broken, broken_laws, end_to_end, sharpest_turn, three_point_radius, unlisted

LAWFUL = Laid(
    outline=box(0, 0, 40, 10),
    lines=[LineString([(1, y), (39, y)]) for y in (1, 3, 5, 7, 9)],
    clearance=1.0,
    spacing=2.0,
    gap=2.0,
    bend_radius=2.0,
    shortest=10.0,
)


def with_run(*points: tuple[float, float]) -> Laid:
    """The lawful layout with its middle run replaced."""
    lines = list(LAWFUL.lines)
    lines[2] = LineString(points)
    return replace(LAWFUL, lines=lines)


def arc_line(radius: float, *, step: float = 2.0, sweep: float = 90.0) -> LineString:
    """Two straights of 10 joined by an arc of chords `step` degrees long."""
    angle = np.radians(np.linspace(-90, sweep - 90, round(sweep / step) + 1))
    arc = np.column_stack((radius * np.cos(angle), radius * np.sin(angle) + radius))
    out = arc[-1] + 10 * np.array([-np.sin(angle[-1]), np.cos(angle[-1])])
    return LineString(np.vstack(([-10, 0], arc, out)))


def test_lawful_layout_breaks_nothing() -> None:
    assert broken(LAWFUL) == []


@pytest.mark.parametrize(
    ("laid", "said"),
    [
        (with_run((1, 5), (20, 4.5), (39, 5)), "least gap"),
        (with_run((1, 5), (20, 8), (39, 5)), "cross or touch"),
        (with_run((1, 5), (39, 5), (39, 3)), "cross or touch"),
        (with_run((1, 5), (6, 5)), "under the shortest"),
        (with_run((0.95, 5), (39, 5)), "bed's edge"),
        (with_run((1, 5), (41, 5)), "leaves the bed"),
        (with_run((1, 5), (20, 5), (38, 5.4), (38, 4.6), (20, 5.2)), "crosses itself"),
        (with_run((1, 5), (20, 5), (20.5, 5.5), (21, 5), (39, 5)), "bends at a radius"),
        (with_run((5, 5), (5, 5)), "no line"),
        (with_run((1, 5), (39, 5), (39, 5)), "without a direction"),
        (replace(LAWFUL, zones=[(Point(20, 5.9), 1.0)]), "a feature"),
        (replace(LAWFUL, zones=[(box(20, 4.9, 21, 5.1), 0.0)]), "a feature"),
        (replace(LAWFUL, lengths=[38, 38, 38.001, 38, 38]), "states a length"),
    ],
)
def test_each_broken_law_is_named(laid: Laid, said: str) -> None:
    assert any(said in sentence for sentence in broken(laid)), broken(laid)


def test_slack_is_two_hundredths_of_a_spacing_and_no_more() -> None:
    assert broken(with_run((0.96, 5), (39, 5))) == []
    assert broken(with_run((0.9599, 5), (39, 5))) != []


def test_gap_may_be_two_per_cent_short_and_no_more() -> None:
    assert broken(replace(LAWFUL, gap=2 / 0.98)) == []
    assert len(broken(replace(LAWFUL, gap=2.0001 / 0.98))) == 4


def test_setback_is_exact() -> None:
    assert broken(replace(LAWFUL, zones=[(Point(20, 6), 1.0)])) == []
    assert len(broken(replace(LAWFUL, zones=[(Point(20, 6), 1.000001)]))) == 2


def test_pieces_on_either_side_of_an_obstacle_may_face_each_other() -> None:
    lines = [
        *LAWFUL.lines[:2],
        LineString([(1, 5), (19.7, 5)]),
        LineString([(20.3, 5), (39, 5)]),
        *LAWFUL.lines[3:],
    ]
    assert broken(replace(LAWFUL, lines=lines)) == []


def test_pieces_of_one_line_may_not_lie_beside_each_other() -> None:
    one, other = LineString([(0, 0), (20, 0)]), LineString([(20, 0.5), (40, 0.5)])
    assert end_to_end(one, other, 2.0)
    assert not end_to_end(one, LineString([(19, 0.5), (40, 0.5)]), 2.0)
    assert not end_to_end(one, LineString([(20, 0.5), (0, 0.5)]), 2.0)
    assert not end_to_end(one, LineString([(20, 0.5), (0, 10)]), 2.0), "askew by 26 degrees: side by side"
    assert end_to_end(one, LineString([(20, 0.5), (20, 20)]), 2.0), "round a corner"
    assert not end_to_end(one, LineString([(10, 0.5), (10, 20)]), 2.0), "an end facing a side"


@pytest.mark.parametrize("radius", [1.0, 2.0, 7.5])
def test_radius_of_an_arc_is_measured_within_a_hundredth(radius: float) -> None:
    line = arc_line(radius)
    assert three_point_radius(line, radius / 4)[0] == pytest.approx(radius, rel=0.01)
    turn = sharpest_turn(line, radius / 4, radius)[0]
    assert turn == pytest.approx(1.0, rel=0.01), "an arc turns by one radian in a length of one radius"


def test_second_measure_sees_what_the_first_may_not() -> None:
    kinks = [(0.0, 0.0)]
    heading = 0.0
    for step, turn in ((5.0, 14.5), (0.26, 14.5), (0.26, 14.5), (0.26, 14.5), (0.26, 14.5), (5.0, 0.0)):
        x, y = kinks[-1]
        kinks.append((x + step * np.cos(np.radians(heading)), y + step * np.sin(np.radians(heading))))
        heading += turn
    laid = replace(LAWFUL, outline=box(-5, -5, 15, 15), lines=[LineString(kinks)], shortest=0.0)
    assert sharpest_turn(laid.lines[0], 0.5, 1.0)[0] > 1.0 / (0.95 * 2.0)
    assert broken(laid) != []


def test_a_kink_that_tube_spans_is_no_bend() -> None:
    slight = with_run((1, 5), (20, 5.0), (39, 5 + 19 * np.tan(np.radians(2))))
    assert not [said for said in broken(slight) if "radius" in said or "turns" in said]
    assert three_point_radius(LineString([(0, 0), (10, 0), (20, 1)]), 0.5)[0] == pytest.approx(
        0.5 / (2 * np.sin(np.arctan(0.1) / 2)), rel=1e-6
    )


def test_bare_ground_is_reported_unless_the_piece_left_out_is_listed() -> None:
    without = replace(LAWFUL, lines=[*LAWFUL.lines[:2], *LAWFUL.lines[3:]])
    assert unlisted(LAWFUL, 1.1) == []
    assert len(unlisted(without, 1.1)) == 1
    assert unlisted(replace(without, dropped=[LAWFUL.lines[2]]), 1.1) == []


def test_laying_is_checked_with_its_own_gap() -> None:
    site = field(shapely.get_coordinates(box(0, 0, 40, 10))[:-1], closest=1.0)
    runs = tuple(
        Run(name=f"R{number + 1}", line=LineString([(1, y), (39, y)]), row=number)
        for number, y in enumerate((1.0, 2.5, 4.0))
    )
    for pattern, lawful in ((Pattern.LEFT, False), (Pattern.EVEN, True)):
        laying = Laying(pattern=pattern, runs=runs)
        assert (broken_laws(laying, site.bed, site.rules, site.tubing) == []) is lawful


def test_pieces_inside_a_hole_of_the_bed_are_outside_it() -> None:
    outline = Polygon(box(0, 0, 40, 10).exterior, [box(18, 4, 22, 6).exterior])
    assert any("leaves the bed" in said for said in broken(replace(LAWFUL, outline=outline)))


HALVES = replace(
    LAWFUL,
    lines=[*LAWFUL.lines[:2], LineString([(1, 5), (15, 5)]), LineString([(25, 5), (39, 5)]), LAWFUL.lines[4]],
)


def carried(*points: tuple[float, float]) -> Laid:
    """The fourth row left out, the third carried from one half to the other."""
    return replace(HALVES, carries=[(2, 3, LineString(points))])


def test_blank_tubing_may_carry_a_line_on() -> None:
    assert broken(carried((15, 5), (25, 5))) == []


@pytest.mark.parametrize(
    ("laid", "said"),
    [
        (carried((15, 5), (24, 5)), "misses the ends"),
        (carried((15, 5), (18, 5), (20, 6), (22, 5), (25, 5)), "bends at a radius"),
        (carried((15, 5), (20, 2.5), (25, 5)), "crosses or touches"),
        (carried((15, 5), (14, 6), (14, 4), (25, 5)), "crosses its own line"),
        (replace(carried((15, 5), (25, 5)), zones=[(Point(20, 5.5), 1.0)]), "a feature"),
    ],
)
def test_blank_tubing_keeps_the_laws(laid: Laid, said: str) -> None:
    assert any(said in sentence for sentence in broken(laid)), broken(laid)
