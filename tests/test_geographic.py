"""Between plan and earth: axis order and feet, a plane whose lengths are ground lengths, sites in degrees."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layout.errors import FrameError, LayoutError, ReadError
from layout.frame import (
    crs_fault,
    datum_note,
    grid_factors,
    ground_note,
    local_plane,
    mean_level,
    origin_near,
    to_degrees,
    to_local,
    to_plan,
)
from layout.frame.geodetic import mean_radius, middle
from layout.model import Frame, Levels
from layout.readers.geographic import on_plan
from layout.readers.points import PointTable
from layout.readers.sitefile import read_site
from layout.units import FOOT, UNIT_SETS, US_SURVEY_FOOT
from tests.command import Command

BOSTON = (-71.06, 42.36)
BASE = """units = "{units}"
{survey}
[bed]
outline = "{outline}"
{levels}
[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6

[runs]
spacing = 2.0
"""


def frame_of(crs: str, word: str, at: tuple[float, float]) -> Frame:
    return Frame(units=UNIT_SETS[word], origin=origin_near(to_plan(crs, [at])), crs=crs)


# --- longitude and latitude -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("crs", "word", "at"),
    [
        ("EPSG:2249", "us-ft", BOSTON),
        ("EPSG:6494", "ft", (-84.5, 43.7)),
        ("EPSG:26919", "m", (-69.1, 44.2)),
        ("EPSG:2193", "m", (174.8, -41.3)),  # its axes are northing, easting: x and y stay easting, northing
        ("EPSG:26919+5703", "m", (-69.1, 44.2)),
    ],
)
def test_there_and_back(crs: str, word: str, at: tuple[float, float]) -> None:
    frame = frame_of(crs, word, at)
    local = np.array([[0.0, 0.0], [120.0, 35.0], [7.5, 300.0]])
    degrees = to_degrees(frame, local)
    assert np.abs(degrees - at).max() < 0.01
    assert np.abs(to_local(frame, to_plan(crs, degrees)) - local).max() < 1e-6


def test_axis_order_and_foot_of_a_state_plane() -> None:
    x, y = to_plan("EPSG:2249", [BOSTON])[0]
    # the same point by the metric definition of the zone, EPSG:26986
    metric = to_plan("EPSG:26986", [BOSTON])[0]
    assert (x * US_SURVEY_FOOT, y * US_SURVEY_FOOT) == pytest.approx(tuple(metric), abs=1e-3)
    assert 700_000 < x < 800_000
    assert 2_900_000 < y < 3_000_000


def test_a_local_grid_has_no_place_on_earth() -> None:
    with pytest.raises(FrameError, match="a local plan grid has no longitude and latitude"):
        to_degrees(Frame(units=UNIT_SETS["ft"]), [[0.0, 0.0]])


def test_the_step_between_datums_is_told() -> None:
    assert datum_note("EPSG:32619") is None
    assert datum_note("EPSG:2249") is not None
    assert "NAD83" in (datum_note("EPSG:2249") or "")
    assert "not known here" in (datum_note("+proj=tmerc +lat_0=42 +lon_0=-71 +ellps=GRS80 +units=m") or "")


# --- a plane of our own -----------------------------------------------------------------------------------


@pytest.mark.parametrize("word", sorted(UNIT_SETS))
@pytest.mark.parametrize("level", [0.0, 1828.8])
@pytest.mark.parametrize("at", [BOSTON, (-105.07, 39.2), (174.8, -41.3), (25.0, 69.0), (179.9999, -16.5)])
def test_plan_lengths_are_ground_lengths(word: str, level: float, at: tuple[float, float]) -> None:
    from pyproj import Geod

    crs, words = local_plane([at], UNIT_SETS[word], level=level)
    assert crs_fault(crs, UNIT_SETS[word]) is None
    for azimuth in (0.0, 45.0, 90.0, 200.0):
        longitude, latitude, _ = Geod(ellps="WGS84").fwd(*at, azimuth, 500.0)
        plan = to_plan(crs, [at, (longitude, latitude)])
        measured = math.dist(plan[0], plan[1]) * UNIT_SETS[word].length
        # a geodesic of the ellipsoid, raised to the level of the ground
        assert measured == pytest.approx(
            500.0 * (1 + level / mean_radius(at[1])), rel=1e-7 if level == 0 else 2e-6
        )
    assert words[-1] == ("E" if at[0] > 0 else "W")


def test_its_middle_lies_at_the_false_origin_in_site_units() -> None:
    for word, unit in UNIT_SETS.items():
        crs, _ = local_plane([BOSTON], unit)
        assert to_plan(crs, [BOSTON])[0] == pytest.approx((1000.0, 1000.0), abs=1e-6), word


def test_the_middle_of_points_on_both_sides_of_180_degrees() -> None:
    assert middle([(179.99, -16.0), (-179.97, -16.2)]) == pytest.approx((-179.99, -16.1))
    assert middle([(-71.0, 42.0), (-71.2, 42.4)]) == pytest.approx((-71.1, 42.2))


# --- grid and ground --------------------------------------------------------------------------------------


def test_combined_factor() -> None:
    # Colorado Central at 39.2 N, 105 W, 6,000 ft up: scale factor by the projection library, height by R / (R + h)
    frame = frame_of("EPSG:2232", "us-ft", (-105.0, 39.2))
    found = grid_factors(frame, (0.0, 0.0), level=6000 * FOOT)
    assert found is not None
    assert found.scale == pytest.approx(0.999937, abs=2e-6)
    assert found.height == pytest.approx(0.999713, abs=1e-6)
    assert found.combined == pytest.approx(0.999650, abs=2e-6)
    assert found.convergence == pytest.approx(0.32, abs=0.01)
    said = ground_note(frame, (0.0, 0.0), level=6000 * US_SURVEY_FOOT)
    assert said is not None
    assert said.startswith("100 ft on the ground are 99.965 on the plan: combined factor 0.99965")
    unknown = grid_factors(frame, (0.0, 0.0))
    assert unknown is not None
    assert unknown.height is None
    assert unknown.combined == unknown.scale


def test_no_factors_without_a_crs_and_none_told_where_they_are_one() -> None:
    assert grid_factors(Frame(units=UNIT_SETS["ft"]), (0.0, 0.0)) is None
    crs, _ = local_plane([BOSTON], UNIT_SETS["ft"], level=300.0)
    frame = frame_of(crs, "ft", BOSTON)
    found = grid_factors(frame, (0.0, 0.0), level=300.0)
    assert found is not None
    assert found.combined == pytest.approx(1.0, abs=1e-9)
    assert ground_note(frame, (0.0, 0.0), level=300.0) is None


def test_mean_level() -> None:
    assert mean_level(None) is None
    assert mean_level(Levels(uniform=30.0)) == 30.0
    assert mean_level(Levels(points=((0, 0, 10.0), (1, 0, 20.0), (0, 1, 30.0)))) == 20.0


# --- sites in degrees -------------------------------------------------------------------------------------


def rectangle(word: str, level: float = 0.0) -> tuple[str, list[list[float]]]:
    """A bed of 90 by 14 units as longitude and latitude, by a plane that is true on the ground."""
    from pyproj import Transformer

    crs, _ = local_plane([BOSTON], UNIT_SETS[word], level=level)
    plan = [(1000, 1000), (1090, 1000), (1090, 1014), (1000, 1014), (1000, 1000)]
    x, y = np.asarray(plan, dtype=float).T
    back = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    return crs, np.column_stack(back.transform(x, y)).round(12).tolist()


def site_in(
    folder: Path, outline: str, *, units: str = "ft", survey: str = "", levels: str = "", more: str = ""
) -> Path:
    path = folder / "site.toml"
    path.write_text(BASE.format(units=units, outline=outline, survey=survey, levels=levels) + more)
    return path


def write_map(folder: Path, ring: list[list[float]]) -> None:
    document = {
        "type": "Feature",
        "properties": {"name": "bed"},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }
    (folder / "bed.geojson").write_text(json.dumps(document))


@pytest.mark.parametrize("word", sorted(UNIT_SETS))
def test_a_site_in_degrees_gets_a_plane_of_its_own(tmp_path: Path, word: str) -> None:
    _, ring = rectangle(word)
    write_map(tmp_path, ring)
    site = read_site(site_in(tmp_path, "bed.geojson", units=word))
    assert site.bed.outline.area / site.frame.units.area == pytest.approx(90 * 14, rel=1e-6)
    assert site.frame.plane.startswith("local plane 42.360 N, 71.0")
    assert "transverse Mercator on WGS 84 through 42.360 N, 71.0" in site.notes[-1]
    assert "scale factor 1.00000000 at sea level, for no levels are given" in site.notes[-1]
    # the same by a table of latitudes and longitudes
    rows = "".join(f"{latitude},{longitude}\n" for longitude, latitude in ring)
    (tmp_path / "bed.csv").write_text("Latitude,Longitude\n" + rows)
    again = read_site(site_in(tmp_path, "bed.csv", units=word))
    assert again.bed.outline.equals_exact(site.bed.outline, 1e-9)
    assert again.frame == site.frame


def test_its_scale_follows_the_level_of_the_ground(tmp_path: Path) -> None:
    _, ring = rectangle("ft", level=6000 * FOOT)
    write_map(tmp_path, ring)
    site = read_site(site_in(tmp_path, "bed.geojson", levels="levels = 6000.0"))
    assert site.bed.outline.area / site.frame.units.area == pytest.approx(90 * 14, rel=1e-6)
    assert "scale factor 1.00028682 for ground at 6,000.0 ft" in site.notes[-1]


def test_points_of_the_site_file_are_degrees_there(tmp_path: Path) -> None:
    _, ring = rectangle("ft")
    write_map(tmp_path, ring)
    longitude, latitude = ring[1]
    more = f"""
[[feature]]
name = "hub"
shape = [{longitude}, {latitude}]
setback = 2.0

[manifold]
end = [{longitude}, {latitude}]

[pump]
at = [{longitude}, {latitude}]

[stakeout]
ties = {{ a = [{ring[0][0]}, {ring[0][1]}], b = [{longitude}, {latitude}] }}
"""
    site = read_site(site_in(tmp_path, "bed.geojson", more=more))
    corner = np.array([90.0, 0.0]) * FOOT
    zero = np.asarray(site.bed.outline.bounds[:2])
    assert site.pump is not None
    for found in (
        site.pump.at,
        site.manifold.end,
        site.stakeout.ties[1][1],
        site.features[0].shape.coords[0],
    ):
        assert np.abs(np.asarray(found) - zero - corner).max() < 1e-3


def test_a_map_on_a_stated_plan(tmp_path: Path) -> None:
    _, ring = rectangle("us-ft")
    write_map(tmp_path, ring)
    survey = '[survey]\ncrs = "EPSG:2249"'
    site = read_site(site_in(tmp_path, "bed.geojson", units="us-ft", survey=survey))
    assert site.bed.outline.area / site.frame.units.area == pytest.approx(90 * 14, rel=1e-4)
    x, y = site.frame.origin
    assert 700_000 < x < 800_000
    assert 2_900_000 < y < 3_000_000
    assert any(
        "bed.geojson: longitude and latitude on WGS 84 are put on EPSG:2249" in note for note in site.notes
    )
    assert site.frame.plane == ""


def test_heights_of_a_map_come_in_metres(tmp_path: Path) -> None:
    _, ring = rectangle("ft")
    write_map(tmp_path, ring)
    west, south = ring[0]
    shots = [
        {
            "type": "Feature",
            "properties": {},
            "geometry": {"type": "Point", "coordinates": [west + a, south + b, 30.48]},
        }
        for a, b in ((-0.001, -0.001), (0.002, -0.001), (0.002, 0.001), (-0.001, 0.001))
    ]
    (tmp_path / "levels.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": shots}))
    site = read_site(site_in(tmp_path, "bed.geojson", levels='levels = "levels.geojson"'))
    assert site.bed.levels is not None
    assert [z for _, _, z in site.bed.levels.points] == pytest.approx([30.48] * 4)
    assert "for ground at 100.0 ft" in site.notes[-1]


def test_a_wrong_crs_is_the_only_fault(tmp_path: Path) -> None:
    _, ring = rectangle("ft")
    write_map(tmp_path, ring)
    with pytest.raises(LayoutError) as caught:
        read_site(site_in(tmp_path, "bed.geojson", survey='[survey]\ncrs = "EPSG:2249"'))
    assert "counts in US survey feet" in str(caught.value)
    assert len(caught.value.faults) == 1


def test_where_the_projection_does_not_reach(tmp_path: Path) -> None:
    """A conformal cone has no place for the other pole."""
    write_map(tmp_path, [[-71, -89.9], [-70, -89.9], [-70, -90], [-71, -89.9]])
    survey = '[survey]\ncrs = "EPSG:2249"'
    with pytest.raises(
        LayoutError, match=r"\(-70\.000000, -90\.000000\) is out of reach of the plan's projection"
    ):
        read_site(site_in(tmp_path, "bed.geojson", units="us-ft", survey=survey))
    shot = PointTable(xy=((-70.0, -90.0),), z=(None,), places=("line 1",), file="laid.csv", geographic=True)
    with pytest.raises(ReadError, match=r"laid\.csv: line 1: .* is out of reach"):
        on_plan(shot, frame_of("EPSG:2249", "us-ft", BOSTON))
    assert grid_factors(Frame(units=UNIT_SETS["us-ft"], origin=(1e12, 1e12), crs="EPSG:2249"), (0, 0)) is None


def test_points_on_the_plan_beside_a_map(tmp_path: Path) -> None:
    """What is in plan coordinates already stays as it is."""
    _, ring = rectangle("us-ft")
    write_map(tmp_path, ring)
    plan = to_plan("EPSG:2249", ring[:4])
    rows = "\n".join(f"{x:.4f},{y:.4f},{k}" for k, (x, y) in enumerate(plan))
    (tmp_path / "levels.csv").write_text(f"x,y,z\n{rows}\n")
    survey = '[survey]\ncrs = "EPSG:2249"'
    site = read_site(
        site_in(tmp_path, "bed.geojson", units="us-ft", survey=survey, levels='levels = "levels.csv"')
    )
    assert site.bed.levels is not None
    corners = np.asarray(site.bed.outline.exterior.coords)[:4]
    found = np.asarray([point[:2] for point in site.bed.levels.points])
    assert np.abs(np.sort(found, axis=0) - np.sort(corners, axis=0)).max() < 1e-3


def test_check_tells_the_grid(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, ring = rectangle("us-ft")
    write_map(tmp_path, ring)
    path = site_in(
        tmp_path, "bed.geojson", units="us-ft", survey='[survey]\ncrs = "EPSG:2249"', levels="levels = 900.0"
    )
    command = Command(monkeypatch, capsys)
    grid = command("check", path, "--json").json["grid"]
    assert grid["combined"] == pytest.approx(grid["scale"] * grid["height"], rel=1e-12)
    assert grid["level"] == 900.0
    assert 0.99996 < grid["scale"] < 1.00001
    assert grid["convergence"] == pytest.approx(0.29, abs=0.05)
    said = command("check", path).out
    assert "combined factor 0.9999" in said
    assert "grid north 0.30 degrees east of true north" in said


def test_longitude_and_latitude_swapped_are_asked_about(tmp_path: Path) -> None:
    write_map(tmp_path, [[42.36, -71.06], [42.3603, -71.06], [42.3603, -71.0602], [42.36, -71.06]])
    site = read_site(site_in(tmp_path, "bed.geojson"))
    assert site.notes[-1].endswith("does longitude stand first in the files?")


def test_points_measured_later_come_to_the_plan() -> None:
    crs, ring = rectangle("ft")
    table = PointTable(
        xy=tuple((x, y) for x, y in ring),
        z=(30.48,) * 5,
        places=("line 1",) * 5,
        file="laid.geojson",
        geographic=True,
        metric_z=True,
    )
    found = on_plan(table, Frame(units=UNIT_SETS["ft"], origin=(1000.0, 1000.0), crs=crs))
    assert (
        np.abs(
            np.asarray(found.xy) - [(1000, 1000), (1090, 1000), (1090, 1014), (1000, 1014), (1000, 1000)]
        ).max()
        < 1e-3
    )
    assert found.z == pytest.approx([100.0] * 5)
    assert on_plan(found, Frame(units=UNIT_SETS["ft"])) is found
    with pytest.raises(
        ReadError, match=r"laid\.geojson: it is in longitude and latitude, but where the site's plan lies"
    ):
        on_plan(table, Frame(units=UNIT_SETS["ft"]))
    with pytest.raises(ReadError, match="it says that it is in m, but the site is in us-ft"):
        on_plan(replace(found, unit="m"), Frame(units=UNIT_SETS["us-ft"]))
    assert on_plan(replace(found, unit="ft"), Frame(units=UNIT_SETS["us-ft"])).xy == found.xy
