"""What was laid is found in a survey and measured right, whatever the survey's order, gaps, doubles and blunders."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
import shapely.affinity
from shapely import LineString

from layout.asbuilt.match import run_named
from layout.asbuilt.measure import laid_line
from layout.asbuilt.near import extended
from layout.asbuilt.told import NAMED
from layout.model import AsBuilt, Design, Shot
from layout.plan import measure_laid
from layout.plane import coordinates, points_at, stations
from layout.units import FOOT
from tests.fields import curved_field, tree_field
from tests.surveyed import normals, on_runs, shots_of


@pytest.fixture(scope="module")
def design() -> Design:
    return curved_field()


def taken_wrong(found: AsBuilt, shots: list[Shot], truth: list[str]) -> int:
    """How many shots were given to another run than their own, or to none."""
    given = {shot.place: run.run for run in found.runs for shot in run.shots}
    return sum(given.get(shot.place) != run for shot, run in zip(shots, truth, strict=True))


@pytest.mark.parametrize("run", ["R1", "R3", "R6"])
@pytest.mark.parametrize("aside", [1.0, -1.0])
@pytest.mark.parametrize("shuffled", [None, 5])
def test_one_run_laid_a_foot_off_is_found_named_and_measured(
    design: Design, run: str, aside: float, shuffled: int | None
) -> None:
    points = on_runs(design, noise=0.05, moved={run: aside}, seed=3)
    shots, truth = shots_of(points, shuffled=shuffled)
    found = measure_laid(design, shots)
    assert taken_wrong(found, shots, truth) == 0
    off = {item.run: item for item in found.runs if item.verdict != "as planned"}
    assert set(off) == {run}
    # the points are normal with 0.05: the mean of some 20 lies within 3 of 0.05 / sqrt 20, the greatest within 4
    assert off[run].offset_mean / FOOT == pytest.approx(1.0, abs=0.04)
    assert 1.0 <= off[run].offset_greatest / FOOT <= 1.2
    assert np.sign(np.mean(off[run].offsets)) == np.sign(aside)
    assert f"{1.0:.0f}" in off[run].why[0]
    assert ("right" if aside > 0 else "left") in off[run].why[0]
    for item in found.runs:
        if item.run != run:
            assert item.offset_mean < 0.08 * FOOT
    (failing,) = [check for check in found.checks if check.name == "greatest offset of a run from the plan"]
    assert not failing.ok
    assert run in failing.place


def test_lengths_and_flow_as_laid(design: Design) -> None:
    # on a circle a run laid a foot farther out is longer by the angle it turns through
    points = on_runs(design, moved={"R1": -1.0, "R2": -1.0, "R3": -1.0, "R4": -1.0, "R5": -1.0, "R6": -1.0})
    found = measure_laid(design, shots_of(points)[0])
    for item, run in zip(found.runs, design.laying.runs, strict=True):
        steps = np.diff(coordinates(run.line), axis=0)
        heading = np.unwrap(np.angle(steps[:, 0] + 1j * steps[:, 1]))
        turn = abs(heading[-1] - heading[0]) * (1 + 1 / (len(heading) - 1))
        assert (item.length - item.planned) / FOOT == pytest.approx(turn, abs=0.03)


def test_curves_are_not_cut_short_by_chords(design: Design) -> None:
    # points 14 ft apart on a radius of some 105 ft: chords alone lose length
    points = on_runs(design, apart=14.0)
    found = measure_laid(design, shots_of(points)[0])
    for item in found.runs:
        assert item.verdict == "as planned"
        assert item.length == pytest.approx(item.planned, rel=1e-9)
        assert item.emitters == item.emitters_planned
        chords = LineString(points[item.run])
        assert chords.length < 0.9996 * item.planned


def test_gaps_clearance_and_setbacks_as_laid(design: Design) -> None:
    points = on_runs(design, moved={"R3": 0.4})
    found = {item.run: item for item in measure_laid(design, shots_of(points)[0]).runs}
    assert found["R3"].gap_least is not None
    assert found["R3"].gap_least / FOOT == pytest.approx(1.6, abs=0.01)
    assert found["R3"].gap_to == "R4"
    assert found["R4"].gap_to == "R3"
    assert found["R1"].edge / FOOT == pytest.approx(1.0, abs=0.01)
    lines = {item.run: item.line for item in found.values()}
    for item in found.values():
        for setback, feature in zip(item.setbacks, design.site.features, strict=True):
            assert setback.distance == pytest.approx(feature.shape.distance(lines[item.run]))
            assert (setback.feature, setback.setback) == (feature.name, feature.setback)


def test_outside_the_bed_the_clearance_is_below_nothing(design: Design) -> None:
    points = on_runs(design, moved={"R1": -1.3})
    run = measure_laid(design, shots_of(points)[0]).runs[0]
    assert run.edge / FOOT == pytest.approx(-0.3, abs=0.02)
    assert any("outside the bed" in why for why in run.why)


@pytest.mark.parametrize("moved", [("R2", "R3"), ("R3", "R4", "R5"), ("R1", "R2")])
def test_several_runs_shifted_towards_the_next(design: Design, moved: tuple[str, ...]) -> None:
    """Each is nearer to the next run than to its own: the chain of them is moved on together."""
    points = on_runs(design, noise=0.04, moved=dict.fromkeys(moved, 1.1), seed=8)
    shots, truth = shots_of(points, shuffled=2)
    found = measure_laid(design, shots)
    assert taken_wrong(found, shots, truth) == 0
    assert {item.run for item in found.runs if item.verdict == "off"} == set(moved)


def test_the_order_of_the_survey_does_not_matter(design: Design) -> None:
    points = on_runs(design, noise=0.08, moved={"R4": 0.9}, seed=11)
    texts = set()
    for order in (None, 1, 2):
        found = measure_laid(design, shots_of(points, shuffled=order)[0])
        texts.add(
            tuple(
                (item.run, round(item.length, 9), round(item.offset_greatest, 9), item.verdict)
                for item in found.runs
            )
        )
    assert len(texts) == 1


def test_points_measured_twice_count_once(design: Design) -> None:
    points = on_runs(design, noise=0.02, seed=4)
    plain = measure_laid(design, shots_of(points)[0])
    again = dict(points)
    again["R2"] = np.vstack((points["R2"], points["R2"][[0, 3, 3, 7]] + [0.02, -0.01]))
    found = measure_laid(design, shots_of(again, shuffled=9)[0])
    assert sorted(len(same) for same in found.doubled) == [2, 2, 3]
    assert found.runs[1].places == plain.runs[1].places
    assert found.runs[1].length == pytest.approx(plain.runs[1].length, abs=0.02)
    assert found.runs[1].verdict == "as planned"
    assert [finding.code for finding in found.findings if "doubled" in finding.code] == ["doubled-points"]


def test_missing_points_and_runs_are_told(design: Design) -> None:
    points = on_runs(design, noise=0.03, seed=6)
    del points["R2"]
    points["R4"] = points["R4"][:-4]
    points["R6"] = np.delete(points["R6"], [4, 5], axis=0)
    shots, truth = shots_of(points, shuffled=3)
    found = measure_laid(design, shots)
    assert taken_wrong(found, shots, truth) == 0
    by_name = {item.run: item for item in found.runs}
    assert by_name["R2"].verdict == "not found"
    assert (by_name["R2"].length, by_name["R2"].emitters, by_name["R2"].flow) == (0.0, 0, 0.0)
    assert by_name["R4"].verdict == "partly measured"
    assert "of its planned end" in by_name["R4"].why[0]
    assert by_name["R6"].verdict == "as planned"
    assert by_name["R6"].length == pytest.approx(by_name["R6"].planned, abs=0.1)
    assert not found.complete
    failing = {check.name: check.place for check in found.checks if not check.ok}
    assert failing["runs found in the survey"] == "R2"
    assert failing["runs not measured to their ends and bends"] == "R4"
    codes = [finding.code for finding in found.findings]
    assert codes.count("run-not-found") == 1


def test_a_missing_run_beside_one_laid_half_way_to_it(design: Design) -> None:
    """With a name on one of its points the tube is the run it is named for."""
    points = on_runs(design, noise=0.03, moved={"R3": 1.05}, seed=6)
    del points["R4"]
    shots, truth = shots_of(points)
    named = [
        replace(shot, description="R3") if run == "R3" else shot
        for shot, run in zip(shots, truth, strict=True)
    ]
    found = measure_laid(design, named)
    assert taken_wrong(found, named, truth) == 0
    by_name = {item.run: item for item in found.runs}
    assert by_name["R3"].offset_mean / FOOT == pytest.approx(1.05, abs=0.05)
    assert by_name["R4"].verdict == "not found"


def test_blunders_are_named_with_their_place(design: Design) -> None:
    points = on_runs(design, noise=0.03, seed=2)
    shots, truth = shots_of(points, shuffled=4)
    far = Shot(at=(points["R1"][0][0] - 30.0, points["R1"][0][1]), place="line 998", name="777")
    # a foot beside R3, right at a point of R3's own
    x, y = points["R3"][6]
    extra = Shot(at=(float(x), float(y) + 0.36), place="line 999")
    found = measure_laid(design, [*shots, far, extra])
    assert taken_wrong(found, shots, truth) == 0
    assert {item.shot.place for item in found.astray} == {"line 998", "line 999"}
    assert all(item.verdict == "as planned" for item in found.runs)
    said = [finding.said for finding in found.findings if finding.code == "point-astray"]
    assert any("777" in text and "line 998" in text and "nearest run" in text for text in said)
    assert any("line 999" in text and "points of its own" in text for text in said)


def test_of_many_blunders_the_first_are_named_and_the_rest_counted(design: Design) -> None:
    shots, _ = shots_of(on_runs(design, seed=2))
    far = [Shot(at=(-900.0 - 5 * k, 900.0), place=f"line {900 + k}") for k in range(NAMED + 7)]
    found = measure_laid(design, [*shots, *far])
    assert len(found.astray) == NAMED + 7
    said = [finding.said for finding in found.findings if finding.code == "point-astray"]
    assert len(said) == NAMED + 1
    assert said[-1] == "7 more points are on nothing planned"


def test_where_nothing_was_found_no_run_is_measured(design: Design) -> None:
    found = measure_laid(design, [Shot(at=(-900.0, 900.0), place="line 1")])
    assert {run.verdict for run in found.runs} == {"not found"}
    assert all(run.line is None for run in found.runs)
    assert sum(finding.code == "run-not-found" for finding in found.findings) == len(found.runs)


def test_a_bulge_in_a_run_is_told_not_left_out(design: Design) -> None:
    points = on_runs(design, noise=0.02, seed=2)
    line = coordinates(design.laying.runs[2].line)
    at = design.laying.runs[2].line.project(shapely.Point(points["R3"][9]))
    points["R3"][9] += 1.0 * FOOT * normals(line, np.array([at]))[0]
    shots, truth = shots_of(points, shuffled=1)
    found = measure_laid(design, shots)
    assert taken_wrong(found, shots, truth) == 0
    run = found.runs[2]
    assert run.verdict == "off"
    assert run.greatest_at == pytest.approx(tuple(points["R3"][9]))


def test_a_whole_survey_that_is_shifted_is_told(design: Design) -> None:
    points = {
        run: places + np.array([0.20, 0.11]) for run, places in on_runs(design, noise=0.02, seed=1).items()
    }
    found = measure_laid(design, shots_of(points, shuffled=7)[0])
    (shift,) = [finding for finding in found.findings if finding.code == "survey-shifted"]
    assert "0.75 ft" in shift.said or "0.74 ft" in shift.said or "0.76 ft" in shift.said
    assert not any(
        finding.code == "survey-shifted"
        for finding in measure_laid(design, shots_of(on_runs(design, noise=0.1, seed=1))[0]).findings
    )


@pytest.mark.parametrize("east", [-1.3, -1.0, 1.0, 1.3])
def test_ends_of_a_shifted_survey_are_linked_though_they_lie_by_the_manifold(
    design: Design, east: float
) -> None:
    aside = np.array([east * FOOT, 0.0])
    points = {run: places + aside for run, places in on_runs(design, noise=0.02, seed=1).items()}
    shots, truth = shots_of(points, shuffled=7)
    found = measure_laid(design, shots)
    assert not found.pipes
    assert not found.astray
    assert taken_wrong(found, shots, truth) == 0
    for run in found.runs:
        # as long as planned, and off by what was measured, not by what is left without the shift
        assert run.length == pytest.approx(run.planned, abs=0.15 * FOOT)
        assert run.start_beyond * run.end_beyond < 0
        assert abs(run.start_beyond) == pytest.approx(0.85 * abs(east) * FOOT, abs=0.2 * FOOT)
    (shift,) = [finding for finding in found.findings if finding.code == "survey-shifted"]
    told = re.search(r"(-?[0-9.]+) to the east", shift.said)
    assert told is not None
    assert float(told[1]) == pytest.approx(east, abs=0.05)


def test_points_on_pipes_and_loops_are_set_aside(design: Design) -> None:
    points = on_runs(design, noise=0.03, seed=2)
    shots, truth = shots_of(points)
    loop = design.joins[0].line.interpolate(0.5, normalized=True)
    main = design.plumbing.lines[0].line.interpolate(0.5, normalized=True)
    more = [
        Shot(at=(loop.x, loop.y), place="line 900"),
        Shot(at=(main.x, main.y), place="line 901"),
        Shot(
            at=(float(points["R2"][5][0]), float(points["R2"][5][1])),
            place="line 902",
            description="riser L1 supply",
        ),
    ]
    found = measure_laid(design, [*shots, *more])
    assert taken_wrong(found, shots, truth) == 0
    assert {shot.place for shot in found.pipes} == {"line 900", "line 901", "line 902"}
    assert not found.astray


def test_drawn_lines_are_matched_whole(design: Design) -> None:
    """Polylines that follow each lateral through its loops, as an as-built drawing has them."""
    shots: list[Shot] = []
    for number, run in enumerate(design.laying.runs):
        line = coordinates(run.line)
        along = np.linspace(0, run.length, 300)
        aside = 0.9 * FOOT if run.name == "R5" else 0.0
        for x, y in points_at(line, along) + normals(line, along) * aside:
            shots.append(Shot(at=(float(x), float(y)), place="LWPOLYLINE 2A", line=number))
    found = measure_laid(design, shots)
    assert [item.verdict for item in found.runs] == ["as planned"] * 4 + ["off", "as planned"]
    assert found.runs[4].offset_mean / FOOT == pytest.approx(0.9, abs=0.01)
    assert not found.doubled


def test_interrupted_rows_keep_their_own_points() -> None:
    design = tree_field()
    shots, truth = shots_of(on_runs(design, noise=0.04, moved={"R4": 0.8}, seed=5), shuffled=6)
    found = measure_laid(design, shots)
    assert taken_wrong(found, shots, truth) == 0
    assert {item.run for item in found.runs if item.verdict != "as planned"} == {"R4"}


@pytest.mark.parametrize(
    ("description", "name", "run"),
    [
        ("R3", "", "R3"),
        ("r3 start", "12", "R3"),
        ("Run 03, end", "", "R3"),
        ("row_3", "", "R3"),
        ("", "R3", "R3"),
        ("R3 end 101.20 + riser L1 supply", "", "R3"),
        ("riser R3", "", None),
        ("blank R2 to R3", "", None),
        ("L3", "", None),
        ("PIPE 3", "3", None),
        ("R33", "", None),
    ],
)
def test_what_names_a_run(design: Design, description: str, name: str, run: str | None) -> None:
    found = run_named(Shot(at=(0, 0), place="", description=description, name=name), design.laying.runs)
    assert (None if found is None else design.laying.runs[found].name) == run


def test_a_name_that_contradicts_the_place_is_told(design: Design) -> None:
    points = on_runs(design, seed=2)
    shots, truth = shots_of(points)
    x, y = points["R1"][4]
    wrong = Shot(at=(float(x), float(y)), place="line 500", name="31", description="R6")
    found = measure_laid(design, [*shots, wrong])
    assert taken_wrong(found, shots, truth) == 0
    run = next(item for item in found.runs if item.run == "R6")
    assert run.verdict == "as planned"
    assert [item.shot.place for item in found.astray] == ["line 500"]
    assert "from R6, for which it is named" in found.astray[0].why


def test_a_point_far_from_the_run_it_is_named_for_is_told_in_plain_words(design: Design) -> None:
    shots, _ = shots_of(on_runs(design, seed=2))
    x, y = shots[0].at
    far = Shot(at=(x + 40 * FOOT, y + 40 * FOOT), place="line 500", name="31", description="R2")
    told = [item.said for item in measure_laid(design, [*shots, far]).findings if item.code == "point-astray"]
    assert len(told) == 1
    assert re.search(r"^Point 31 \(line 500, .*\) lies [0-9.]+ ft from R2, for which it is named$", told[0])


def test_a_name_of_no_run_of_the_plan_is_told(design: Design) -> None:
    shots, _ = shots_of(on_runs(design, seed=2))
    assert not measure_laid(design, shots).notes
    wrong = [replace(shots[0], description="R99"), replace(shots[1], description="run 0", name="5")]
    other = replace(shots[2], description="riser R99")
    found = measure_laid(design, [*wrong, other, *shots[3:]], notes=["before"])
    assert found.notes == (
        "before",
        f"A point is named for R0 ({shots[1].place}), but the plan has no such run; the nearest names are R1, R2, R3; "
        "matched by place alone",
        f"A point is named for R99 ({shots[0].place}), but the plan has no such run; the nearest names are R6, R5, R4; "
        "matched by place alone",
    )


def test_the_laid_line_goes_through_the_points_and_bends_as_planned(design: Design) -> None:
    run = design.laying.runs[0]
    line = coordinates(run.line)
    along = np.array([0.0, 0.3, 0.7, 1.0]) * run.length
    points = points_at(line, along) + np.array([0.1, -0.05])
    found = laid_line(run.line, along, points, 3.0)
    assert shapely.distance(shapely.points(points), found).max() < 1e-9
    assert found.hausdorff_distance(shapely.affinity.translate(run.line, 0.1, -0.05)) < 1e-9
    assert math.isclose(stations(coordinates(found))[-1], run.length, rel_tol=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_random_surveys_are_matched(seed: int) -> None:
    """Noise, gaps, doubles and one or two shifted runs at once, in random order."""
    rng = np.random.default_rng(seed)
    design = curved_field("m" if seed % 2 else "ft")
    names = [run.name for run in design.laying.runs]
    moved = {str(name): float(rng.uniform(-1.1, 1.1)) for name in rng.choice(names, 2, replace=False)}
    points = on_runs(design, noise=0.06, moved=moved, apart=float(rng.uniform(3, 9)), seed=seed)
    for run, places in points.items():
        keep = rng.random(len(places)) > 0.1
        keep[[0, -1]] = True
        points[run] = places[keep]
    shots, truth = shots_of(points, shuffled=seed)
    found = measure_laid(design, shots)
    near = [abs(a[1] - b[1]) for a, b in itertools.pairwise(sorted(moved.items()))]
    assert near
    assert taken_wrong(found, shots, truth) <= 1
    for name, aside in moved.items():
        item = next(run for run in found.runs if run.run == name)
        assert float(np.mean(item.offsets)) / FOOT == pytest.approx(aside, abs=0.1)


def test_every_pair_that_lies_too_near_is_named_with_both_runs(design: Design) -> None:
    """Two runs moved to both sides of one that lies right: both pairs are told, though it has one nearest run."""
    found = measure_laid(design, shots_of(on_runs(design, moved={"R2": 1.0, "R4": -0.9}))[0])
    (said,) = [item.said for item in found.findings if item.code == "runs-too-near"]
    lines = {item.run: item.line for item in found.runs}
    pairs = re.findall(r"(R\d+) and (R\d+) ([\d.]+) ft", said)
    assert {("R2", "R3"), ("R3", "R4")} <= {pair[:2] for pair in pairs}
    for first, second, gap in pairs:
        assert lines[first] is not None
        assert float(gap) == pytest.approx(lines[first].distance(lines[second]) / FOOT, abs=0.05)


def test_the_pair_with_least_to_spare_is_checked_not_that_which_lies_nearest(design: Design) -> None:
    """R5 and R6 as near as they were planned hide no other pair that was planned a whole spacing apart."""
    by_name = {run.name: run for run in design.laying.runs}
    away = normals(coordinates(by_name["R6"].line), stations(coordinates(by_name["R6"].line)))
    near = LineString(coordinates(by_name["R6"].line) - away * 1.5 * FOOT)
    runs = tuple(replace(run, line=near) if run.name == "R6" else run for run in design.laying.runs)
    planned = replace(design, laying=replace(design.laying, runs=runs))
    points = on_runs(planned, moved={"R2": 1.0})
    found = measure_laid(planned, shots_of(points)[0])
    (check,) = [item for item in found.checks if item.name == "least gap between runs as laid"]
    assert not check.ok
    assert check.place.startswith("R2 to R3 ")
    assert check.value / FOOT == pytest.approx(1.0, abs=0.02)
    assert check.limit / FOOT == pytest.approx(0.98 * 2.0 - 0.5, abs=0.01)


def test_a_line_with_repeated_points_is_carried_on_straight() -> None:
    line = LineString([(0, 0), (0, 0), (3, 4), (3, 4), (6, 8), (6, 8)])
    assert extended(line, 5.0) == pytest.approx(np.array([(-3, -4), (0, 0), (3, 4), (6, 8), (9, 12)]))
