"""The local plane against the survey's: exact there and back, and only a fit CRS is let in."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from layout.errors import FrameError
from layout.frame import (
    crs_fault,
    datum_note,
    grid_factors,
    origin_near,
    place_in_crs,
    point_to_site,
    to_degrees,
    to_local,
    to_site,
)
from layout.model import Frame
from layout.units import FOOT, UNIT_SETS, US_SURVEY_FOOT

coordinate = st.floats(-1e7, 1e7, allow_nan=False)


@given(
    word=st.sampled_from(sorted(UNIT_SETS)),
    points=st.lists(st.tuples(coordinate, coordinate), min_size=1, max_size=20),
)
def test_there_and_back_is_the_same(word: str, points: list[tuple[float, float]]) -> None:
    frame = Frame(units=UNIT_SETS[word], origin=origin_near(points))
    assert np.abs(to_site(frame, to_local(frame, points)) - points).max() < 1e-8


@given(st.lists(st.tuples(coordinate, coordinate), min_size=1, max_size=20))
def test_the_origin_is_whole_and_at_the_corner(points: list[tuple[float, float]]) -> None:
    origin = origin_near(points)
    assert all(part == int(part) for part in origin)
    local = np.asarray(points) - origin
    assert local.min() >= 0
    assert local.min(axis=0).max() <= 1.0  # 1 where a negative coordinate is too small to count


def test_lengths_and_points() -> None:
    frame = Frame(units=UNIT_SETS["ft"], origin=(5000.0, 2000.0))
    square = [(5000, 2000), (5010, 2000), (5010, 2010), (5000, 2010)]
    local = to_local(frame, square)
    assert Polygon(local).area == pytest.approx(100 * FOOT**2, rel=1e-12)
    assert to_site(frame, local) == pytest.approx(np.array(square), abs=1e-9)
    assert point_to_site(frame, (3.048, 0.0)) == pytest.approx((5010.0, 2000.0))


def test_the_two_feet_differ_by_four_feet_in_two_million() -> None:
    # 2 000 000 survey feet are 2 000 004.000008 international ones: 1200/3937 over 0.3048 (NIST SP 811)
    feet, survey = Frame(units=UNIT_SETS["ft"]), Frame(units=UNIT_SETS["us-ft"])
    metres = to_local(survey, [[2e6, 0.0]])
    assert to_site(feet, metres)[0, 0] - 2e6 == pytest.approx(4.000008, abs=1e-6)


@pytest.mark.parametrize(
    ("crs", "factor", "name"),
    [
        # the unit of each as its definition in the EPSG registry states it
        ("EPSG:6494", FOOT, "international feet"),
        ("EPSG:2913", FOOT, "international feet"),
        ("EPSG:2249", US_SURVEY_FOOT, "US survey feet"),
        ("EPSG:6492", US_SURVEY_FOOT, "US survey feet"),
        ("EPSG:26919", 1.0, "metres"),
        ("EPSG:26919+5703", 1.0, "metres"),
        ("+proj=utm +zone=19 +units=yd", 0.9144, "yard"),
    ],
)
def test_units_of_known_systems(crs: str, factor: float, name: str) -> None:
    fault = crs_fault(crs, UNIT_SETS["ft" if name == "metres" else "m"])
    assert fault is not None
    assert f"counts in {name} ({factor:.12g} m)" in fault.said


@pytest.mark.parametrize(
    ("crs", "word", "said"),
    [
        ("EPSG:6494", "ft", None),
        ("EPSG:2249", "us-ft", None),
        ("EPSG:26919", "m", None),
        ("EPSG:2193", "m", None),  # northing stands first in its axes; x and y of a plan stay east and north
        (
            "EPSG:2249",
            "ft",
            "counts in US survey feet (0.304800609601 m), but the site in international feet",
        ),
        ("EPSG:6494", "us-ft", "counts in international feet (0.3048 m), but the site in US survey feet"),
        ("EPSG:26919", "ft", "counts in metres (1 m)"),
        ("+proj=utm +zone=19 +units=yd", "ft", "counts in yard (0.9144 m)"),
        ("EPSG:3857", "m", "is Web Mercator"),
        ("ESRI:102100", "m", "is Web Mercator"),
        ("EPSG:3785", "m", "is Web Mercator"),
        ("EPSG:900913", "m", "is Web Mercator"),
        ("+proj=merc +a=6378137 +b=6378137 +units=m", "m", "is Web Mercator"),
        ("EPSG:4326", "m", "counts in degrees"),
        ("EPSG:4978", "m", "is not projected"),
        ("EPSG:2053", "m", "point west and south"),
        ("EPSG:999999", "ft", "is no coordinate reference system"),
        ("", "ft", "is no coordinate reference system"),
        ("EPSG:6494" * 5000, "ft", "is no coordinate reference system"),
    ],
)
def test_which_systems_may_be_a_plans(crs: str, word: str, said: str | None) -> None:
    fault = crs_fault(crs, UNIT_SETS[word])
    if said is None:
        assert fault is None
        return
    assert fault is not None
    assert said in fault.said
    assert fault.field == "survey.crs"
    assert fault.remedy


def test_the_remedy_names_the_units_to_write() -> None:
    fault = crs_fault("EPSG:2249", UNIT_SETS["ft"])
    assert fault is not None
    assert 'units = "us-ft"' in fault.remedy
    assert "international feet" in fault.remedy


def test_a_place_in_its_system_is_fine() -> None:
    frame = Frame(units=UNIT_SETS["us-ft"], crs="EPSG:2249", origin=(775086.0, 2956520.0))
    assert place_in_crs(frame, (10.0, 10.0)) == (None, ())
    assert place_in_crs(Frame(units=UNIT_SETS["ft"]), (0.0, 0.0)) == (None, ())


def test_swapped_columns_are_noted() -> None:
    frame = Frame(units=UNIT_SETS["us-ft"], crs="EPSG:2249", origin=(2956520.0, 775086.0))
    fault, notes = place_in_crs(frame, (0.0, 0.0))
    assert fault is None
    assert "(2956520.00, 775086.00)" in notes[0]
    assert "swapped" in notes[0]


def test_a_system_whose_scale_is_wrong_there() -> None:
    # Mercator's scale is 1 / cos(latitude) on a sphere; at 41.6 degrees about 1.34
    fault, _ = place_in_crs(Frame(units=UNIT_SETS["m"], crs="EPSG:3395", origin=(-8e6, 5.1e6)), (0.0, 0.0))
    assert fault is not None
    assert "133.9" in fault.said
    # an equal-area conic for a whole continent: under one per cent, but more than a tape forgives
    fault, notes = place_in_crs(
        Frame(units=UNIT_SETS["m"], crs="EPSG:5070", origin=(1.9e6, 2.4e6)), (0.0, 0.0)
    )
    assert fault is None
    assert "100.6" in notes[0]


def test_a_system_bound_to_another_datum_counts_as_itself() -> None:
    bound = "+proj=tmerc +lon_0=9 +x_0=3500000 +ellps=bessel +towgs84=598.1,73.7,418.2 +units=m +type=crs"
    frame = Frame(units=UNIT_SETS["m"], crs=bound, origin=(3_500_000.0, 5_500_000.0))
    assert crs_fault(bound, UNIT_SETS["m"]) is None
    assert place_in_crs(frame, (0.0, 0.0)) == (None, ())


def test_a_place_on_a_system_that_is_none_or_does_not_reach_it() -> None:
    fault, notes = place_in_crs(Frame(units=UNIT_SETS["m"], crs="EPSG:0", origin=(0.0, 0.0)), (0.0, 0.0))
    assert fault is not None
    assert "is no coordinate reference system" in fault.said
    assert notes == ()
    far = Frame(units=UNIT_SETS["us-ft"], crs="EPSG:2249", origin=(9e12, 9e12))
    fault, notes = place_in_crs(far, (0.0, 0.0))
    assert fault is None
    assert "lies outside the area that EPSG:2249" in notes[0]


def test_a_local_plan_grid_has_neither_longitude_nor_factors() -> None:
    local = Frame(units=UNIT_SETS["ft"])
    assert grid_factors(local, (0.0, 0.0), level=None) is None
    with pytest.raises(FrameError, match="a local plan grid has no longitude and latitude"):
        to_degrees(local, [(0.0, 0.0)])


def test_a_system_that_is_none_has_no_factors_and_no_note() -> None:
    none = Frame(units=UNIT_SETS["m"], crs="EPSG:0")
    assert grid_factors(none, (0.0, 0.0), level=None) is None
    assert datum_note("EPSG:0") is None
    geocentric = Frame(units=UNIT_SETS["m"], crs="EPSG:4978")
    with pytest.raises(FrameError, match="EPSG:4978"):
        to_degrees(geocentric, [(0.0, 0.0)])
    far = Frame(units=UNIT_SETS["us-ft"], crs="EPSG:2249", origin=(1e300, 1e300))
    assert grid_factors(far, (0.0, 0.0), level=None) is None


def test_pyproj_is_not_imported_with_the_module() -> None:
    code = "import sys, layout.frame; sys.exit('pyproj' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
