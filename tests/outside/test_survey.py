"""Survey arithmetic against published figures; the source stands beside each check."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import Polygon

from layout.frame import to_plan
from layout.readers.angles import angle
from layout.readers.traversefile import read_traverse
from layout.traverse import (
    Course,
    Curve,
    azimuth_of,
    latitude_departure,
    misclosure,
    perimeter,
    radius_of_degree,
    walk,
)
from layout.units import FOOT, US_SURVEY_FOOT

# Open Access Surveying Library (college teaching text), Traverse Computations, chapter I, figure I-5
CALLS = ("S 68-05-35 W 472.68", "N 19-46-00 W 216.13", "N 45-55-20 E 276.52", "S 54-59-15 E 382.24")
FIGURE_I_5 = "START N 500 E 2000\n" + "\n".join(CALLS)


def radians(text: str) -> float:
    found = angle(text)
    assert found is not None
    return math.radians(found)


def course(call: str) -> Course:
    north, bearing, east, distance = call.split()
    return Course(azimuth=azimuth_of(north + east, radians(bearing)), distance=float(distance))


def test_latitudes_and_departures() -> None:
    # the same, figure I-5
    published = [(-176.357, -438.548), (203.395, -73.093), (192.357, 198.651), (-219.312, 313.065)]
    assert [latitude_departure(course(call)) for call in CALLS] == [
        pytest.approx(pair, abs=0.001) for pair in published
    ]


def test_misclosure() -> None:
    # the same: misclosure +0.083 and +0.075 of rounded parts, in 1347.57
    courses = [course(call) for call in CALLS]
    north, east = misclosure(courses)
    assert (north, east) == pytest.approx((0.083, 0.075), abs=0.001)
    assert perimeter(courses) == pytest.approx(1347.57, abs=0.001)
    # and the preliminary return to the first point, 500.083 and 2000.075
    x, y = walk((2000.0, 500.0), courses)[-1]
    assert (y, x) == pytest.approx((500.083, 2000.075), abs=0.001)
    said = read_traverse(FIGURE_I_5, "lot.txt", closed=True).notes[0]
    assert (
        "misses its start by 0.111 (0.083 north, 0.074 east), 1 in 12,116; balanced by the compass rule"
        in said
    )


def test_coordinates_by_the_compass_rule() -> None:
    # the same text, chapter G, figure G-7: northing, easting
    published = [(323.614, 1561.426), (526.996, 1488.321), (719.336, 1686.956), (500.0, 2000.0)]
    table = read_traverse(FIGURE_I_5, "lot.txt", closed=True)
    assert [(y, x) for x, y in table.xy[1:]] == [pytest.approx(pair, abs=0.001) for pair in published]


def test_area_by_coordinates() -> None:
    # the same text, chapter G, example 1: cross sums 3,384,174.1 and 3,590,045.6
    table = read_traverse(FIGURE_I_5, "lot.txt", closed=True)
    assert Polygon(table.xy).area == pytest.approx((3_590_045.6 - 3_384_174.1) / 2, abs=1.0)


def test_coordinates_from_latitudes_and_departures() -> None:
    # US Navy training course, Engineering Aid, "Area from Coordinates", figure 7-24, in a reprint
    parts = [(255.96, 125.66), (-153.53, 590.65), (-694.07, -192.69)]
    courses = [Course(azimuth=math.atan2(dep, lat), distance=math.hypot(lat, dep)) for lat, dep in parts]
    points = walk((0.0, 591.64), courses)
    assert np.allclose(points[1:], [(125.66, 847.60), (716.31, 694.07), (523.62, 0.0)], atol=0.01)


def test_a_circular_curve() -> None:
    # web tutorial "Surveying Mathematics Made Simple", simple curve: R 1800.00, delta 43-25-46
    curve = Curve(radius=1800.0, delta=radians("43-25-46"))
    assert (curve.length, curve.chord) == pytest.approx((1364.38, 1331.95), abs=0.01)
    # the same curve as a call between its two tangents
    table = read_traverse(
        "START 0 0\nN14-26-17E 100\nCURVE R 1800 DELTA 43-25-46 RIGHT\nN57-52-03E 100\n", "road.txt"
    )
    points = np.asarray(table.xy)
    assert np.hypot(*(points[-2] - points[1])) == pytest.approx(1331.95, abs=0.01)
    assert np.hypot(*np.diff(points[1:-1], axis=0).T).sum() == pytest.approx(1364.38, abs=0.01)
    # the last chord of the arc and the tangent behind it differ by half the angle between chords
    before, after = points[-2] - points[-3], points[-1] - points[-2]
    turn = math.degrees(math.atan2(*after) - math.atan2(*before))
    assert 0 < turn < 0.05


def test_the_angle_of_a_curve_from_its_bearings() -> None:
    # the same tutorial: in N 14-26-17 E, out N 57-52-03 E
    turn = azimuth_of("NE", radians("57-52-03")) - azimuth_of("NE", radians("14-26-17"))
    assert math.degrees(turn) * 3600 == pytest.approx((43 * 60 + 25) * 60 + 46, abs=1.0)


def test_a_curve_from_its_degree() -> None:
    # after US Army FM 5-233, chapter 3, from memory: D 15 (arc), I 45
    curve = Curve(radius=radius_of_degree(math.radians(15)), delta=math.radians(45))
    assert (curve.radius, curve.length, curve.chord) == pytest.approx((381.97, 300.00, 292.35), abs=0.01)
    # the same, chord definition, from memory
    assert radius_of_degree(math.radians(15), chord=True) == pytest.approx(383.06, abs=0.01)


def test_a_curve_of_one_degree() -> None:
    # US Army FM 5-430-00-1, appendix F, in a reprint: 5729.578 ft, arc definition
    assert radius_of_degree(math.radians(1)) == pytest.approx(5729.578, abs=0.001)


# --- projections ------------------------------------------------------------------------------------------


def test_a_lambert_conic() -> None:
    # IOGP 373-7-2 (EPSG Guidance Note 7-2), Lambert conic with two parallels: NAD27 / Texas South Central, in US survey
    # feet; as quoted in open-source test suites
    found = to_plan("EPSG:32040", [[-96.0, 28.5]], datum="EPSG:4267")
    assert found[0] == pytest.approx((2963503.91, 254759.80), abs=0.01)


def test_a_transverse_mercator() -> None:
    # the same, transverse Mercator: the British National Grid on OSGB36
    found = to_plan("EPSG:27700", [[0.5, 50.5]], datum="EPSG:4277")
    assert found[0] == pytest.approx((577274.99, 69740.50), abs=0.02)


def test_a_transverse_mercator_far_from_its_meridian() -> None:
    # IOGP GIGS test 5101, part 1, file test/gigs/5101.1-jhs.gie in the PROJ repository
    crs = "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +datum=WGS84 +units=m"
    found = to_plan(crs, [[3.0, 49.0], [2.9999999, 60.0]])
    assert np.abs(found - [(765648.501, -87944.74), (678711.584, 1134498.83)]).max() < 0.03


def test_the_us_survey_foot() -> None:
    # PROJ src/units.cpp: 0.3048006096012192 m; 4 ft on an easting of 2,000,000 ft
    assert abs(US_SURVEY_FOOT - 0.3048006096012192) <= 1e-15
    assert abs(2e6 * US_SURVEY_FOOT / FOOT - 2e6 - 4.0) <= 1e-4


def test_the_wrong_foot_puts_a_bed_four_feet_away() -> None:
    # one point of the earth on two definitions of one zone, in metres and in survey feet, and its eastings read in the
    # wrong foot: 2 parts in a million
    metric, feet = to_plan("EPSG:32140", [[-96.0, 28.5]])[0], to_plan("EPSG:2278", [[-96.0, 28.5]])[0]
    assert np.abs(feet * US_SURVEY_FOOT - metric).max() < 1e-3
    wrong = (feet * FOOT - metric) / FOOT
    assert np.abs(wrong).max() == pytest.approx(2e-6 * max(feet), rel=1e-3)
    assert np.abs(wrong).max() > 4
