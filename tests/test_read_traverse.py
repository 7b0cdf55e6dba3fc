"""Traverses as they are written: spellings of bearings, curves, how they close, and what is refused."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from shapely import Polygon

from layout.errors import ReadError
from layout.readers.angles import angle, in_words, latitude_or_longitude
from layout.readers.points import MOST_POINTS, PointTable, read_points
from layout.readers.traversefile import SAGITTA, read_traverse


def read(text: str, *, closed: bool = False) -> PointTable:
    return read_traverse(text, "bed.txt", closed=closed)


# --- angles -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["45°30'15\"", "45º30′15″", "45-30-15", "45 30 15", "45:30:15", "45d30m15s", "45 deg 30 min 15 sec",
     "45°30.25'", "45.504166666666667", "45° 30' 15''", "45D30'15\"", "45°30'15", "45–30–15", "045-30-15.0"],
)  # fmt: skip
def test_spellings_of_an_angle(text: str) -> None:
    assert angle(text) == pytest.approx(45 + 30 / 60 + 15 / 3600, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x",
        "45°60'",
        "45°30'60\"",
        "45-",
        "45:30:",
        "45.5°30'",
        "45°30.5'15\"",
        "1 2 3 4",
        "-45",
        "'30",
        "45''30'",
    ],
)
def test_what_is_no_angle(text: str) -> None:
    assert angle(text) is None


@pytest.mark.parametrize(
    ("text", "degrees"),
    [("42.36", 42.36), ("-71.06", -71.06), ("71°03'36\" W", -71.06), ("W 71-03-36", -71.06), ("42.36N", 42.36),
     ("33°51'36\"S", -33.86), ("33°51.6'S", -33.86), ("+5", 5.0), ("S33.86", -33.86)],
)  # fmt: skip
def test_latitudes_and_longitudes(text: str, degrees: float) -> None:
    assert latitude_or_longitude(text) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(
    ("degrees", "words"),
    [(0, "N 0°00'00\" E"), (179.99999, "S 0°00'00\" E"), (359.99999, "N 0°00'00\" E"), (90, "S 90°00'00\" E"),
     (248.0930556, "S 68°05'35\" W"), (340.2333333, "N 19°46'00\" W"), (59.99999, "N 60°00'00\" E")],
)  # fmt: skip
def test_an_azimuth_in_words_is_rounded_before_it_is_split(degrees: float, words: str) -> None:
    found = in_words(degrees)
    assert found == words or (degrees == 179.99999 and found == "S 0°00'00\" W")


# --- calls ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "call",
    [
        "N 45°30'15\" E 120.50",
        "n45-30-15e 120.5",
        "N45°30'15\"E, 120.50 ft",
        "Thence N 45 30 15 E a distance of 120.50 feet;",
        "North 45 deg 30 min 15 sec East 120.50'",
        "thence North 45°30'15'' East, 120.50 feet",
        "N 45.5041667 E 120.50",
        "AZ 45°30'15\" 120.50",
        "az 45.5041667 120.50",
        "45-30-15 120.50",
        "45 30 15 120.50",
        "45.5041667, 120.50",
        "  N 45°30'15\" E   120.50   # to the oak",
        "L4 N 45°30'15\" E 120.50",
        "3. N 45°30'15\" E 120.50",
        "N 45ø30'15\" E 120.50",
    ],
)
def test_spellings_of_one_course(call: str) -> None:
    table = read(f"START 100 200\n{call}\n")
    way = math.radians(45 + 30 / 60 + 15 / 3600)
    assert table.xy[0] == (100.0, 200.0)
    assert table.xy[1] == pytest.approx((100 + 120.5 * math.sin(way), 200 + 120.5 * math.cos(way)), abs=1e-5)


@pytest.mark.parametrize(
    ("call", "end"),
    [("DUE NORTH 10", (0, 10)), ("South 10", (0, -10)), ("E 10", (10, 0)), ("due west 10", (-10, 0)),
     ("S 90 E 10", (10, 0)), ("N 0 W 10", (0, 10)), ("AZ 360 10", (0, 10)), ("S 30 W 10", (-5, -8.660254)),
     ("N 30 W 10", (-5, 8.660254)), ("S 30 E 1,000.00", (500, -866.025404))],
)  # fmt: skip
def test_all_ways(call: str, end: tuple[float, float]) -> None:
    assert read(f"START 0 0\n{call}\n").xy[1] == pytest.approx(end, abs=1e-6)


@pytest.mark.parametrize(
    "start",
    ["START 2000 500", "start 2000, 500", "START E 2000 N 500", "START N 500 E 2000", "START: x=2000 y=500"],
)
def test_starts(start: str) -> None:
    assert read(f"# deed\n\n{start}\nN 10\n").xy[0] == (2000.0, 500.0)


@pytest.mark.parametrize(
    "curve",
    [
        "CURVE R 100 DELTA 30°00'00\" RIGHT",
        "CURVE RIGHT R 100 DELTA 30",
        "CURVE RADIUS = 100, LENGTH = 52.36, RT",
        "Arc to the right, radius 100.00 feet, central angle of 30°00'00\"",
        "CURVE R 100 CHORD 51.764 RIGHT",
        "CURVE R 100 L 52.36 CHORD N 15 E 51.76 RIGHT",
        "CURVE R 100 CB N 15°00'00\" E CHORD LENGTH 51.764 RIGHT",
        "CURVE R 100 DELTA 30 TANGENT N 0 E R",
    ],
)
def test_spellings_of_one_curve(curve: str) -> None:
    table = read(f"START 0 0\nN 10\n{curve}\nN 30 E 5\n")
    points = np.asarray(table.xy)
    assert np.abs(np.hypot(*(points[1:-1] - (100, 10)).T) - 100).max() < 0.01
    assert points[-2] == pytest.approx((100 * (1 - math.cos(math.pi / 6)), 60), abs=0.01)
    # in line with the curve's end
    assert np.hypot(*np.diff(points[1:-1], axis=0).T).sum() == pytest.approx(52.36, abs=0.01)


def test_a_curve_goes_on_from_a_curve() -> None:
    table = read("START 0 0\nN 10\nCURVE R 10 DELTA 90 RIGHT\nCURVE R 10 DELTA 90 LEFT\nN 1\n")
    assert table.xy[-1] == pytest.approx((20, 31), abs=1e-9)


def test_a_road_curve_by_its_degree() -> None:
    table = read("START 0 0\nN 10\nCURVE DEGREE 15 DELTA 45 LEFT\n")
    assert np.hypot(*(np.asarray(table.xy[1:]) - (-381.972, 10)).T) == pytest.approx(381.972, abs=1e-3)


def test_arcs_keep_to_the_stated_sagitta() -> None:
    table = read("START 0 0\nCURVE R 100 DELTA 359 LEFT TANGENT N 0 E\nCLOSE\n", closed=True)
    points = np.asarray(table.xy)
    middles = (points[1:-1] + points[:-2]) / 2
    assert 0 < 100 - np.hypot(middles[:, 0] + 100, middles[:, 1]).min() <= SAGITTA
    assert Polygon(points).area == pytest.approx(math.pi * 1e4, rel=1e-4)


# --- closing ----------------------------------------------------------------------------------------------


def test_a_traverse_that_closes_is_balanced_and_told() -> None:
    table = read("START 0 0\nN 100\nE 100\nS 100.1\nW 100\n", closed=True)
    assert table.xy[0] == table.xy[-1] == (0.0, 0.0)
    assert table.xy[1] == pytest.approx((0, 100 + 0.1 * 100 / 400.1))
    assert table.notes == (
        "bed.txt: the traverse of 4 courses, 400.10 long, misses its start by 0.100 (0.100 south), "
        "1 in 4,001; balanced by the compass rule",
    )


def test_a_poor_one_is_said_to_be_poor() -> None:
    table = read("START 0 0\nN 100\nE 100\nS 102\nW 100\n", closed=True)
    assert "1 in 201; balanced by the compass rule. That is poor" in table.notes[0]


def test_an_exact_one() -> None:
    assert "closes exactly" in read("START 0 0\nN 10\nE 10\nS 10\nW 10\n", closed=True).notes[0]


def test_close_draws_the_last_side() -> None:
    table = read("START 0 0\nN 10\nE 10\nS 10\nCLOSE\n", closed=True)
    assert table.xy[-1] == (0.0, 0.0)
    assert "CLOSE draws the last side, N 90°00'00\" W 10.00" in table.notes[0].replace("S 90", "N 90")


def test_an_open_one_is_a_line_but_no_outline() -> None:
    text = "START 0 0\nN 10\nE 10\nS 10\n"
    assert "ends 10.00 from its start and is read as an open line" in read(text).notes[0]
    with pytest.raises(ReadError) as caught:
        read(text, closed=True)
    assert str(caught.value).startswith(
        "bed.txt: line 4: the traverse ends 10.00 from its start (10.000 east"
    )
    assert "CLOSE" in str(caught.value)


def test_balanced_arcs_keep_their_angle() -> None:
    # a racetrack whose second straight is a little long
    table = read(
        "START 0 0\nN 50\nCURVE R 10 DELTA 180 RIGHT\nS 50.02\nCURVE R 10 DELTA 180 RIGHT\n", closed=True
    )
    assert Polygon(table.xy).area == pytest.approx(1000 + math.pi * 100, rel=1e-3)
    assert "4 courses" in table.notes[0]


def test_units_behind_distances() -> None:
    assert read("START 0 0\nN 10 ft\nE 10'\n").unit == "ft"
    assert read("START 0 0\nN 10 m\n").unit == "m"
    assert read("START 0 0\nN 10\n").unit is None
    with pytest.raises(ReadError, match="distances are in ft and in m"):
        read("START 0 0\nN 10 ft\nE 10 m\n")


# --- faults -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "bed.txt: the traverse has no start"),
        ("START 0 0\n", "the traverse has no courses"),
        ("N 10 E 5\n", 'line 1: "N 10 E 5": the first line must be START'),
        ("1,2,3\n", "A file of points needs the ending .csv"),
        ("START 0\nN 5\n", 'line 1: "START 0": this is no start'),
        ("START 0 0 0\nN 5\n", 'line 1: "START 0 0 0": this is no start'),
        ("START N 5 X 5\nN 5\n", "is no start. Write START x y, or START N 500.00 E 2000.00"),
        ("START 1e12 0\nN 5\n", "is no start"),
        ("START 99999999999 0\nN 5\n", "the start is beyond 1,000,000,000"),
        ("START 0 0\nSTART 5 5\nN 5\n", "line 2: \"START 5 5\": the traverse starts twice"),
        ("START 0 0\nN 45 E " + "1" * 500 + "\n", "the line is longer than 500 characters"),
        ("START 0 0\nhello\n", 'line 2: "hello": this is no call'),
        ("START 0 0\nN 95 E 10\n", "the bearing turns 95 degrees from N, but a quadrant has 90"),
        ("START 0 0\nN 45°75' E 10\n", "is no angle: degrees, minutes and seconds under 60"),
        ("START 0 0\nN 45 E\n", 'line 2: "N 45 E": the call has no distance'),
        ("START 0 0\nN 45 E ten\n", '"N 45 E ten": this is no call'),
        ("START 0 0\nN 45 E 0\n", "the distance is 0, but it must be over 0"),
        ("START 0 0\n400 10\n", "an azimuth of 400 degrees is more than a circle"),
        ("START 0 0\nN 10\nCLOSE\nE 5\n", "line 4: \"E 5\": a call stands after CLOSE"),
        ("START 0 0\nCURVE\n", "this is no curve"),
        ("START 0 0\nCURVE R 10 DELTA 30\n", "the curve does not say LEFT or RIGHT"),
        ("START 0 0\nCURVE R 10 DELTA 30 LEFT\n", "begins with a curve whose direction is not given"),
        ("START 0 0\nN 5\nCURVE DELTA 30 LEFT\n", "the curve has no radius"),
        ("START 0 0\nN 5\nCURVE R 10 LEFT\n", "neither delta, length nor chord"),
        ("START 0 0\nN 5\nCURVE R 10 DELTA 400 LEFT\n", "is no central angle over 0 and under 360"),
        ("START 0 0\nN 5\nCURVE R 10 DELTA 30 LENGTH 9 LEFT\n", "give different central angles: 30.0000, 51.5662"),
        ("START 0 0\nN 5\nCURVE R 10 CHORD 30 LEFT\n", "a chord of 30 does not fit into a radius of 10"),
        ("START 0 0\nN 5\nCURVE R 10 LENGTH 70 LEFT\n", "longer than its full circle of radius 10"),
        ("START 0 0\nN 5\nCURVE R 10 R 11 DELTA 3 LEFT\n", "the curve gives its radius twice"),
        ("START 0 0\nN 5\nCURVE R 10 DELTA 3 LEFT 5\n", '"5" stands behind LEFT'),
        ("START 0 0\nN 5\nCURVE R 1e9 DELTA 3 LEFT\n", 'the radius "1E9" is no number'),
        ("START 0 0\nN 5\nCURVE R 900000000 DELTA 350 LEFT\n", "its arcs take more than 200000 points"),
    ],
)  # fmt: skip
def test_faults(text: str, expected: str) -> None:
    with pytest.raises(ReadError) as caught:
        read(text)
    assert expected in str(caught.value)
    assert all(fault.file == "bed.txt" and fault.remedy for fault in caught.value.faults)


def test_more_courses_than_are_read() -> None:
    with pytest.raises(ReadError, match=f"{MOST_POINTS + 1} courses are more than {MOST_POINTS}"):
        read("START 0 0\n" + "N 1\n" * (MOST_POINTS + 1))


def test_a_missing_start_is_said_once() -> None:
    with pytest.raises(ReadError) as caught:
        read("N 10 E 5\nfoo\nS 5\n")
    assert [str(fault.field) for fault in caught.value.faults] == ["line 1", "line 2"]


def test_all_faults_at_once() -> None:
    with pytest.raises(ReadError) as caught:
        read("START 0 0\n" + "x\n" * 12)
    assert len(str(caught.value).splitlines()) == 9


def test_the_ending_leads_here(tmp_path: Path) -> None:
    path = tmp_path / "deed.txt"
    path.write_text("START 0 0\nN 10\nE 10\nS 10\nW 10\n", encoding="utf-16")
    assert len(read_points(path, role="outline").xy) == 5
    with pytest.raises(ReadError, match=r"a traverse has no part #EDGE"):
        read_points(path, part="EDGE")
