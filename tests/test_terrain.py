"""Level lines and slopes on ground whose shape is known."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from layout.errors import NoRoomError, SiteError
from layout.model import Design, Levels, Pattern
from layout.plan import plan_field
from layout.plane import coordinates
from layout.readers.sitefile import read_site
from layout.runs import lay_runs
from layout.terrain import bearing_on, heights, level_line, slopes_along, surveyed_share
from layout.terrain.levelline import middle_of, spread_ends
from layout.terrain.surface import Surface
from tests import beds
from tests.command import Command
from tests.examples import Example, site_of
from tests.laid import Field, field
from tests.test_read_sitefile import BASE, faults_of, site_file

Array = NDArray[np.float64]
Height = Callable[[Array, Array], Array]


BED = Polygon([(10, 10), (50, 10), (50, 22), (10, 22)])


def surveyed(height: Callable[[float, float], float], *, step: float = 3.0) -> Levels:
    """Levels on a grid about the bed."""
    xs, ys = np.meshgrid(np.arange(-10, 75, step), np.arange(-10, 45, step))
    return Levels(
        points=tuple((float(x), float(y), float(height(x, y))) for x, y in zip(xs.flat, ys.flat, strict=True))
    )


def test_on_a_plane_the_level_line_is_straight_and_runs_along_it_are_level() -> None:
    levels = surveyed(lambda x, y: 100 + 0.03 * x + 0.04 * y)
    found = level_line(levels, BED)
    assert found.line is not None
    assert found.slope == pytest.approx(0.05, rel=1e-6)
    (x0, y0), (x1, y1) = found.line.coords[0], found.line.coords[-1]
    assert abs((x1 - x0) * 0.03 + (y1 - y0) * 0.04) < 1e-6 * math.hypot(x1 - x0, y1 - y0)
    assert found.line.distance(BED.centroid) < 1e-6
    (slope,) = slopes_along(
        levels, ["R1"], [LineString(shapely.get_coordinates(shapely.intersection(found.line, BED)))], over=1.0
    )
    assert slope.greatest == pytest.approx(0.0, abs=1e-6)


def test_no_level_line_through_a_point_beyond_the_survey_or_on_flat_ground() -> None:
    slope = Surface.of(surveyed(lambda x, y: 100 + 0.03 * x + 0 * y))
    assert slope.level_line((30.0, 15.0)) is not None
    assert slope.level_line((900.0, 15.0)) is None
    flat = Surface.of(surveyed(lambda x, y: 100.0 + 0 * x * y))
    assert flat.level_line((30.0, 15.0)) is None


def test_straight_down_a_plane_the_slope_is_that_of_the_plane() -> None:
    levels = surveyed(lambda x, y: 100 + 0.05 * y + 0 * x)
    (slope,) = slopes_along(levels, ["R1"], [LineString([(30, 10), (30, 22)])], over=2.0)
    assert slope.greatest == pytest.approx(0.05, rel=1e-9)


def test_on_a_cone_the_level_line_keeps_its_distance_from_the_tip() -> None:
    tip = np.array([30.0, -60.0])
    levels = surveyed(lambda x, y: 100 - 0.1 * math.hypot(x - tip[0], y - tip[1]), step=1.5)
    found = level_line(levels, BED)
    assert found.line is not None
    inside = shapely.intersection(found.line, BED)
    reach = np.hypot(*(shapely.get_coordinates(inside) - tip).T)
    assert np.ptp(reach) < 0.05


@pytest.mark.parametrize(
    ("levels", "why"),
    [
        (Levels(uniform=100.0), "one number"),
        (surveyed(lambda x, y: 100.0 + 0 * x * y), "flat"),
    ],
)
def test_flat_ground_has_no_line_and_says_why(levels: Levels, why: str) -> None:
    found = level_line(levels, BED)
    assert found.line is None
    assert why in found.why


def test_levels_in_one_line_make_no_surface() -> None:
    with pytest.raises(SiteError, match="no surface"):
        level_line(Levels(points=((0, 0, 1), (10, 10, 2), (20, 20, 3))), BED)


def test_beyond_the_surveyed_points_nothing_is_made_up() -> None:
    levels = Levels(points=((10, 10, 1), (30, 10, 1), (30, 22, 2), (10, 22, 2)))
    assert surveyed_share(levels, BED) == pytest.approx(0.5)
    assert np.isnan(heights(levels, np.array([[45.0, 15.0]]))[0])


# --- runs on ground of known shape ---------------------------------------------------------------------


def ground(height: Height, *, step: float, jitter: float = 0.0) -> Levels:
    """Levels all round the beds of the tests, on a grid or near one."""
    x, y = np.meshgrid(np.arange(-60, 161, step), np.arange(-60, 81, step))
    points = np.column_stack((x.ravel(), y.ravel()))
    points += np.random.default_rng(5).uniform(-jitter, jitter, points.shape)
    return Levels(
        points=tuple((*at, z) for at, z in zip(points.tolist(), height(*points.T).tolist(), strict=True))
    )


def laid_along(site: Field, levels: Levels) -> list[LineString]:
    """Runs of the contour pattern; no law may be broken, and most of the ground must be used."""
    found = level_line(levels, site.bed.outline)
    assert found.line is not None
    laying = lay_runs(
        site.bed, site.ground, site.sides, site.rules, site.tubing, pattern=Pattern.CONTOUR, guide=found.line
    )
    assert site.broken(laying) == []
    assert sum(run.length for run in laying.runs) > 0.85 * site.ground.area.area / site.rules.spacing
    return [run.line for run in laying.runs]


def steepest(levels: Levels, runs: list[LineString]) -> float:
    slopes = slopes_along(levels, [str(number) for number in range(len(runs))], runs, over=2.0)
    return max(slope.greatest for slope in slopes if slope.greatest is not None)


def plane(x: Array, y: Array) -> Array:
    return np.asarray(300 + 0.05 * x + 0.02 * y)


def cone(x: Array, y: Array) -> Array:
    return np.asarray(100 - 0.1 * np.hypot(x - 50, y + 60))


def saddle(x: Array, y: Array) -> Array:
    return np.asarray(0.001 * (x - 50) * (y - 6))


BEDS = {name: {**beds.EXACT, **beds.HARD}[name] for name in ("rect", "gentle", "kidney", "tee", "square")}


@pytest.mark.parametrize("name", BEDS)
@pytest.mark.parametrize("jitter", [0.0, 2.0])
def test_runs_on_a_plane_are_level_and_lie_across_its_fall(name: str, jitter: float) -> None:
    levels = ground(plane, step=8.0, jitter=jitter)
    runs = laid_along(field(BEDS[name]()), levels)
    assert steepest(levels, runs) < 1e-6
    for run in runs:
        step = np.diff(shapely.get_coordinates(run), axis=0)
        assert np.abs(step @ (0.05, 0.02)).max() < 1e-6


@pytest.mark.parametrize("name", ["rect", "gentle", "kidney", "square"])
def test_runs_on_a_cone_are_concentric(name: str) -> None:
    """The closer the survey, the rounder: by its square, as chords do."""
    site = field(BEDS[name]())
    for step, off, slope in ((8.0, 0.2, 0.012), (2.0, 0.0125, 0.0012)):
        levels = ground(cone, step=step)
        runs = laid_along(site, levels)
        for run in runs:
            reach = np.hypot(*(shapely.get_coordinates(run.segmentize(0.5)) - (50.0, -60.0)).T)
            assert np.ptp(reach) < off
        assert steepest(levels, runs) < slope  # of ground that falls by 0.1


@pytest.mark.parametrize("name", ["gentle", "kidney", "tee"])
@pytest.mark.parametrize("height", [saddle, lambda x, y: 0.0005 * ((x - 50) ** 2 - 4 * (y - 6) ** 2)])
def test_runs_on_a_saddle_keep_the_laws(name: str, height: Height) -> None:
    laid_along(field(BEDS[name]()), ground(height, step=8.0, jitter=2.0))


@pytest.mark.parametrize("seed", range(6))
def test_noise_on_a_slope_does_not_lead_runs_astray(seed: int) -> None:
    rng = np.random.default_rng(seed)
    levels = ground(lambda x, y: 0.05 * y + rng.normal(0, 0.03, x.shape), step=8.0, jitter=2.0)
    found = level_line(levels, Polygon(beds.rect()))
    assert found.line is not None
    assert found.slope == pytest.approx(0.05, rel=0.1)
    inside = shapely.intersection(found.line, Polygon(beds.rect()))
    assert inside.length > 90
    laid_along(field(beds.rect()), levels)


@pytest.mark.parametrize("seed", range(12))
def test_mere_noise_is_taken_without_a_crash_or_a_broken_law(seed: int) -> None:
    rng = np.random.default_rng(seed)
    levels = ground(lambda x, _y: rng.normal(0, 0.3, x.shape), step=8.0, jitter=2.0)
    site = field(BEDS[list(BEDS)[seed % len(BEDS)]]())
    found = level_line(levels, site.bed.outline)
    assert (found.line is None) == bool(found.why)
    if found.line is not None:
        assert found.line.is_simple
        laying = lay_runs(
            site.bed,
            site.ground,
            site.sides,
            site.rules,
            site.tubing,
            pattern=Pattern.CONTOUR,
            guide=found.line,
        )
        assert site.broken(laying) == []


def test_terraces_have_a_level_line_though_the_middle_is_on_a_step() -> None:
    levels = ground(lambda x, y: np.round(0.05 * y + 0.01 * x), step=2.0)
    assert level_line(levels, Polygon(beds.kidney())).line is not None


def test_a_hump_in_the_bed_gives_way_to_the_general_lie() -> None:
    def bumpy(x: Array, y: Array) -> Array:
        return np.asarray(0.03 * y + 0.6 * np.exp(-((x - 50) ** 2 + (y - 5) ** 2) / 18))

    found = level_line(ground(bumpy, step=2.0), Polygon(beds.rect()))
    assert found.line is not None
    assert found.general
    assert found.line.distance(shapely.Point(50, 6)) < 0.1


def test_a_hill_that_is_the_bed_is_refused() -> None:
    found = level_line(
        ground(lambda x, y: -0.05 * np.hypot(x - 20, y - 19.5), step=2.0), Polygon(beds.rect(40, 40))
    )
    assert found.line is None
    assert "hump" in found.why


def test_levels_beside_the_bed_are_no_levels_of_it() -> None:
    found = level_line(ground(plane, step=8.0), Polygon(beds.rect() + 1000))
    assert found.line is None
    assert "no part of the bed" in found.why


@pytest.mark.parametrize(("tilt", "flat"), [(0.0009, True), (0.0011, False)])
def test_flat_is_under_a_tenth_of_a_percent(tilt: float, flat: bool) -> None:
    found = level_line(ground(lambda _x, y: tilt * y, step=8.0), Polygon(beds.rect()))
    assert found.slope == pytest.approx(tilt, rel=1e-6)
    assert (found.line is None) == flat


def test_level_line_moves_with_the_ground() -> None:
    levels = ground(cone, step=8.0, jitter=2.0)
    here = level_line(levels, Polygon(beds.gentle())).line
    shift = np.array([4321.0, -987.0])
    there = level_line(
        Levels(points=tuple((x + shift[0], y + shift[1], z + 50) for x, y, z in levels.points)),
        Polygon(beds.gentle() + shift),
    ).line
    assert here is not None
    assert there is not None
    back = shapely.transform(there, lambda points: points - shift)
    assert shapely.hausdorff_distance(here, back, densify=0.05) < 0.005


# --- heights and slopes --------------------------------------------------------------------------------


def test_points_that_nearly_coincide_count_as_one_at_their_mean() -> None:
    levels = Levels(points=((0, 0, 0), (10, 0, 0), (0, 10, 0), (4, 4, 1.0), (4.0004, 4, 2.0)))
    assert heights(levels, np.array([[4.0, 4.0]]))[0] == pytest.approx(1.5, abs=1e-6)


def test_one_level_for_all_has_heights_everywhere() -> None:
    assert heights(Levels(uniform=31.0), np.array([[1e6, 0.0]])).tolist() == [31.0]
    assert surveyed_share(Levels(uniform=31.0), BED) == 1.0


@pytest.mark.parametrize(
    "points", [(), ((0, 0, 1),), ((0, 0, 1), (5, 5, 2)), ((0, 0, 1), (5, 0, 2), (0.0001, 0, 3), (9, 1e-5, 3))]
)
def test_too_few_levels_make_no_surface(points: tuple[tuple[float, float, float], ...]) -> None:
    with pytest.raises(SiteError, match="no surface") as error:
        heights(Levels(points=points), np.zeros((1, 2)))
    assert error.value.faults[0].remedy


def test_slope_is_that_of_the_steepest_stretch_and_says_where() -> None:
    """A step of 0.5 over 2, in level ground."""
    levels = ground(lambda x, _y: np.clip(x - 40, 0, 2) / 4, step=2.0)
    runs = [LineString([(0, 5), (60, 5)]), LineString([(0, 7), (30, 7)]), LineString([(300, 0), (310, 0)])]
    first, second, beyond = slopes_along(levels, ["R1", "R2", "R3"], runs, over=2.0)
    assert first.greatest == pytest.approx(0.25, abs=1e-9)
    assert first.at == pytest.approx((41.0, 5.0), abs=0.2)
    assert second.greatest == pytest.approx(0.0, abs=1e-12)
    assert (beyond.greatest, beyond.at) == (None, None)
    (halved,) = slopes_along(levels, ["R1"], runs[:1], over=4.0)
    assert halved.greatest == pytest.approx(0.125, abs=1e-9)


def test_run_shorter_than_the_length_is_taken_as_a_whole() -> None:
    (slope,) = slopes_along(ground(plane, step=8.0), ["R1"], [LineString([(10, 5), (11, 5)])], over=5.0)
    assert slope.greatest == pytest.approx(0.05)
    assert slope.at == pytest.approx((10.5, 5.0))


# --- drawn lines ---------------------------------------------------------------------------------------

DRAWN: dict[str, list[tuple[float, float]]] = {
    "inside": [(40, 5), (60, 7)],
    "crossing": [(30, -10), (70, 30)],
    "beside": [(0, 20), (50, 24), (100, 20)],
    "beyond": [(120, 6), (140, 7)],
    "sharp": [(0, 2), (50, 11), (50.5, 1), (51, 11), (100, 2)],
    "short": [(50, 6), (50.01, 6)],
    "round the bed": [(-20, -13), (120, -13), (120, 29), (-20, 29), (-20, -13)],
    "partly in the bed": [(50, 6), (150, 6), (150, 60), (50, 60), (50, 6)],
}


@pytest.mark.parametrize("name", DRAWN)
@pytest.mark.parametrize("outline", ["rect", "gentle"])
def test_any_drawn_line_is_followed_on_both_its_sides(outline: str, name: str) -> None:
    site = field(BEDS[outline]())
    guide = bearing_on(LineString(DRAWN[name]), site.bed.outline)
    laying = lay_runs(
        site.bed, site.ground, site.sides, site.rules, site.tubing, pattern=Pattern.DRAWN, guide=guide
    )
    assert site.broken(laying) == []
    assert sum(run.length for run in laying.runs) > 0.75 * site.ground.area.area / site.rules.spacing


def test_what_lies_far_off_changes_no_run() -> None:
    site = field(beds.gentle())
    x = np.linspace(-1500, 1500, 3001)
    whole = LineString(np.column_stack((x, 6 + 3 * np.sin(x / 15))))
    near = bearing_on(whole, site.bed.outline)
    assert near.length < 0.3 * whole.length
    rules = (site.bed, site.ground, site.sides, site.rules, site.tubing)
    one, other = (lay_runs(*rules, pattern=Pattern.DRAWN, guide=line) for line in (whole, near))
    assert [run.length for run in one.runs] == pytest.approx([run.length for run in other.runs], rel=1e-6)


def test_closed_lines_are_opened_off_the_bed() -> None:
    bed = Polygon(beds.rect())
    part = bearing_on(LineString(DRAWN["partly in the bed"]), bed)
    assert not part.is_closed
    assert part.intersection(bed).length == pytest.approx(56.0, abs=0.01)
    inside = bearing_on(LineString([(20, 3), (80, 3), (80, 8), (20, 8), (20, 3)]), bed)
    assert inside.is_closed
    assert bed.exterior.distance(shapely.Point(inside.coords[0])) == pytest.approx(3.0)
    open_line = LineString(DRAWN["inside"])
    assert bearing_on(open_line, bed).equals(open_line)


def test_ends_that_would_meet_are_turned_away_and_what_meets_even_so_is_refused() -> None:
    """A horseshoe whose ends, carried on straight, cross; a spiral from within which nothing leads straight out."""
    outline = Polygon(beds.rect())
    straight = LineString([(0, 6), (100, 6)])
    assert spread_ends(straight, outline) is straight
    shoe = LineString([(40, 20), (20, 6), (50, -30), (80, 6), (60, 20)])
    turned = spread_ends(shoe, outline)
    assert turned is not None
    assert turned.is_simple
    assert coordinates(turned)[1:-1].tolist() == coordinates(shoe).tolist()
    turn = np.linspace(0, 5 * np.pi, 200)
    spiral = LineString(np.column_stack((53 + 3 * turn * np.cos(turn), 7 + 3 * turn * np.sin(turn))))
    assert spread_ends(spiral, outline) is None


def test_of_a_bed_thinner_than_its_width_tells_the_middle_is_a_point_of_it() -> None:
    """Two lobes of 12 with a hair between them: nowhere is the bed 0.8 of its mean width, by area and length, wide."""
    thin = Polygon([(0, 0), (1000, 0), (1000, 0.001), (0, 0.001)])
    assert thin.covers(shapely.Point(middle_of(thin)))
    assert middle_of(Polygon(beds.rect())) == pytest.approx((50.0, 6.0))


@pytest.mark.parametrize(
    ("guide", "said"),
    [
        ("[[50, 6]]", "only one point"),
        ("[[50, 6], [50, 6]]", "only one point"),
        ("[[0, 0], [20, 20], [20, 0], [0, 20]]", "crosses itself"),
        ("[[90000, 0], [90000, 50]]", "89,900 ft from the bed"),
    ],
)
def test_a_line_that_cannot_be_followed_is_refused(tmp_path: Path, guide: str, said: str) -> None:
    text = BASE + f'pattern = "drawn"\nguide = {guide}\n'
    faults = faults_of(site_file(tmp_path, text))
    assert "runs.guide" in faults
    assert said in faults


def test_a_line_that_closes_in_the_bed_keeps_the_laws_and_is_pointed_out(tmp_path: Path) -> None:
    text = BASE + 'pattern = "drawn"\nguide = [[20, 3], [80, 3], [80, 9], [20, 9], [20, 3]]\n'
    design = plan_field(read_site(site_file(tmp_path, text)))
    assert "closed-guide" in {finding.code for finding in design.findings}
    laws = [check for check in design.checks if "tightest bend" in check.name or "cross" in check.name]
    assert len(laws) >= 2
    assert all(check.ok for check in laws)
    # a ring so narrow has bends that no tubing takes: they are cut out, and fail a check with their places
    (broken,) = [check for check in design.checks if "bend too tight" in check.name]
    assert not broken.ok
    assert "at (" in broken.place
    opened = text.replace(", [20, 3]]", "]")
    design = plan_field(read_site(site_file(tmp_path, opened)))
    assert "closed-guide" not in {finding.code for finding in design.findings}


# --- whole sites ---------------------------------------------------------------------------------------


def planned(tmp_path: Path, levels: str, *settings: str) -> Design:
    text = BASE.replace("[tubing]", f"levels = {levels}\n\n[tubing]")
    return plan_field(read_site(site_file(tmp_path, text), settings))


def test_hillside_by_the_command(sinuate: Command, tmp_path: Path, example: Callable[[str], Example]) -> None:
    done = sinuate("plan", site_of("hillside"), "--out", tmp_path, "--set", "runs.pattern=contour")
    assert done.code == 0
    layout = json.loads((tmp_path / "layout.json").read_text())
    assert layout["pattern"] == "contour"
    slopes = [run["slope_max"] for run in layout["runs"]]
    (check,) = [check for check in layout["checks"] if "slope" in check["name"]]
    assert check["value"] == pytest.approx(max(slopes))
    assert check["limit"] is None
    assert check["ok"]
    assert "local code" in check["source"]
    assert max(slopes) < 0.02  # of a bank that falls by some 8 %
    layout = json.loads((example("hillside").folder / "layout.json").read_text())
    assert "contour" in {candidate["pattern"] for candidate in layout["candidates"]}


def test_bed_beyond_its_levels_is_found_with_its_share(tmp_path: Path) -> None:
    levels = "[[-5, -5, 100], [75, -5, 100], [75, 20, 102], [-5, 20, 102]]"
    design = planned(tmp_path, levels, "runs.pattern=contour")
    (finding,) = [finding for finding in design.findings if finding.code == "beyond-levels"]
    assert finding.said.startswith("25 % of the bed lies beyond the surveyed levels")
    assert len(design.slopes) == len(design.laying.runs)
    assert all(slope.greatest == pytest.approx(0.0, abs=1e-6) for slope in design.slopes)


def test_flat_ground_is_refused_for_contour_and_left_out_of_best(tmp_path: Path) -> None:
    levels = "[[-5, -5, 100], [105, -5, 100], [105, 20, 100.01], [-5, 20, 100.01]]"
    with pytest.raises(NoRoomError, match=r"flat: its mean slope is 0\.04 %"):
        planned(tmp_path, levels, "runs.pattern=contour")
    design = planned(tmp_path, levels)
    assert Pattern.CONTOUR not in {candidate.pattern for candidate in design.candidates}
    (finding,) = [finding for finding in design.findings if finding.code == "no-level-line"]
    assert "flat" in finding.said


def test_other_patterns_have_slopes_but_no_check_of_them(tmp_path: Path) -> None:
    levels = "[[-5, -5, 100], [105, -5, 102.2], [105, 20, 102.2], [-5, 20, 100]]"
    design = planned(tmp_path, levels, "runs.pattern=left")
    assert [slope.greatest for slope in design.slopes] == pytest.approx([0.02] * 6)
    assert not any("slope" in check.name for check in design.checks)
    assert not any(finding.code == "no-level-line" for finding in design.findings)


def test_site_without_levels_has_no_slopes(tmp_path: Path) -> None:
    design = plan_field(read_site(site_file(tmp_path)))
    assert design.slopes == ()


@pytest.mark.parametrize(
    ("levels", "said"),
    [
        ("[[0, 0, 1], [50, 5, 2]]", "no surface"),
        ("[[0, 0, 1], [50, 5, 2], [100, 10, 3], [20, 2, 5]]", "no surface"),
        ("[[0, 0, 1], [50, 5, 2], [50, 5, 3], [20, 30, 5]]", "has the level"),
        ("[[0, 0, 1], [50, 5, 2], [50.001, 5, 3], [20, 30, 5]]", "have the levels 2 and 3"),
    ],
)
def test_levels_that_are_none_are_refused(tmp_path: Path, levels: str, said: str) -> None:
    text = BASE.replace("[tubing]", f"levels = {levels}\n\n[tubing]")
    faults = faults_of(site_file(tmp_path, text))
    assert "bed.levels" in faults
    assert said in faults
