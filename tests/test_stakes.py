"""Stakes: from the figures on paper alone each is found within its stated error, and they follow the runs."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box

from layout.model import (
    XY,
    Feature,
    FeatureKind,
    Fitting,
    Laying,
    Pattern,
    Pipe,
    Plumbing,
    Pump,
    Riser,
    Rounding,
    Run,
)
from layout.plane import coordinates
from layout.stakes import stake_findings, stake_out
from layout.stakes.standing import blocked_tapes
from layout.units import FOOT, UNIT_SETS
from tests import beds
from tests.fields import arc, curved_field, tree_field
from tests.staked import Staked, by_baseline, by_ties, one_run, random_bed, site_with, staked

HALF = {"ft": 0.0071, "us-ft": 0.0071, "m": 0.00071}
"""How far rounded coordinates lie from the true ones at most."""


RULES: list[dict[str, Any]] = [
    {"units": "ft", "interval": 10.0, "tolerance": 0.1},
    {"units": "m", "interval": 3.0, "tolerance": 0.03},
    {"units": "ft", "interval": 25.0, "tolerance": 0.3, "rounding": "1/8 in"},
    {"units": "us-ft", "interval": 3.33, "tolerance": 0.02, "origin": (2_100_000.5, 7_100_000.25)},
    {"units": "m", "interval": 7.7, "tolerance": 0.1, "origin": (2_100_000.5, 7_100_000.25)},
]
SEEDS = range(5)


@pytest.fixture(scope="module", params=[(kind, seed) for kind in sorted(beds.RANDOM) for seed in SEEDS])
def bed(request: pytest.FixtureRequest) -> Staked:
    """A random bed, each family with all the rules."""
    kind, seed = request.param
    found = random_bed(kind, 100 * len(kind) + seed, **RULES[seed % len(RULES)])
    if found is None:
        pytest.skip("no run can be laid on it")
    return found


def test_paper_alone_leads_to_every_stake(bed: Staked) -> None:
    shared = bed.shared
    step = bed.staking.step / bed.site.frame.units.length
    for stake in bed.paper:
        place = complex(stake["x"], stake["y"])
        assert abs(by_baseline(stake, shared["baseline"]) - place) <= stake["baseline"]["error"] + 1e-6
        figures = [stake["baseline"]["station"], stake["baseline"]["offset"]]
        if stake["ties"]:
            assert abs(by_ties(stake) - place) <= stake["ties_error"] + 1e-6
            # and the mirror point is another one
            assert abs(by_ties(stake, mirrored=True) - place) > stake["ties_error"]
            figures += [tie["distance"] for tie in stake["ties"]]
        marks = np.asarray(figures) / step
        assert np.abs(marks - np.rint(marks)).max() < 1e-5


def test_stakes_follow_their_runs(bed: Staked) -> None:
    frame, rules = bed.site.frame, bed.site.stakeout
    unit = frame.units.length
    for run in bed.laying.runs:
        stakes = bed.on(run)
        line = bed.placed(coordinates(run.line))
        walked = np.array([[stake["x"], stake["y"]] for stake in stakes])
        half = HALF[frame.units.word]
        assert np.hypot(*(walked[0] - line[0])) <= half
        assert np.hypot(*(walked[-1] - line[-1])) <= half
        # both ways: no part of the run far from the chords, none of the chords far from the run
        fine = shapely.segmentize(LineString(line), 0.2)
        chords = LineString(walked)
        away = shapely.distance(shapely.points(coordinates(fine)), chords).max()
        off = shapely.distance(
            shapely.points(coordinates(shapely.segmentize(chords, 0.2))), LineString(line)
        ).max()
        assert max(away, off) <= rules.tolerance / unit + 1e-6
        # stations are true, and never farther apart than the interval
        along = np.array([LineString(line).project(Point(point)) for point in walked])
        stations = np.array([stake["station"] for stake in stakes])
        assert np.all(np.diff(stations) > 0)
        if np.all(np.abs(along - stations) < 1.0):  # a run that comes near itself has two such places
            assert np.abs(along - stations).max() <= bed.shared["step"] / 2 + half + 1e-6
        assert np.diff(stations).max() <= rules.interval / unit + bed.shared["step"] / 2 + 1e-6


def test_straight_runs_have_whole_intervals_and_no_sliver() -> None:
    def stations(length: float) -> list[float]:
        bed = one_run(np.array([[0.0, 0.0], [length * FOOT, 0.0]]))
        return [stake["station"] for stake in bed.on(bed.laying.runs[0])]

    assert stations(34.0) == [0, 10, 20, 30, 34]
    assert stations(40.0) == [0, 10, 20, 30, 40]
    assert stations(31.0) == [0, 10, 20, 25.5, 31]
    assert stations(10.5) == [0, 5.25, 10.5]
    assert stations(4.0) == [0, 4]


def test_a_corner_has_its_stake() -> None:
    bed = one_run(np.array([[0.0, 0.0], [7.3, 0.0], [7.3, 9.0]]) * FOOT)
    stakes = bed.on(bed.laying.runs[0])
    assert [stake["station"] for stake in stakes] == [0, 7.3, 10, 16.3]
    assert (stakes[1]["x"], stakes[1]["y"]) == (5007.3, 2000)


@pytest.mark.parametrize("radius", [12.0, 20.0, 45.0])
def test_bends_have_stakes_where_they_begin_and_end(radius: float) -> None:
    bend = np.asarray(arc(radius, -90.0, 0.0, centre=(37.3, radius), step=0.25))
    line = np.vstack(([0.0, 0.0], bend, bend[-1] + [0.0, 41.1])) * FOOT
    length = LineString(line).length / FOOT
    stakes = one_run(line).on(one_run(line).laying.runs[0])
    stations = [stake["station"] for stake in stakes]
    for wanted in (37.3, length - 41.1):
        # the bend is drawn with chords: it begins at one of its corners
        assert min(abs(station - wanted) for station in stations) <= 0.6
    # the straights on either side keep their whole intervals
    assert stations[:4] == [0, 10, 20, 30]
    # where it hardly bends there is none
    plain = one_run(np.array([[0.0, 0.0], [37.3, 0.0], [80.0, 3.0]]) * FOOT)
    stations = [stake["station"] for stake in plain.on(plain.laying.runs[0])]
    assert min(abs(station - 37.3) for station in stations) > 1


def test_curves_have_no_more_stakes_than_they_need() -> None:
    line = np.asarray(arc(25.0, 0.0, 90.0, step=0.25)) * FOOT
    bed = one_run(line)
    gaps = np.diff([stake["station"] for stake in bed.on(bed.laying.runs[0])])
    most = math.sqrt(8 * 25 * 0.1)  # of chords that stay within the tolerance, 4.47
    assert gaps.max() <= most
    assert len(gaps) == math.ceil(3 * math.ceil(10 / most) + (25 * math.pi / 2 - 30) / most)


def test_walking_order() -> None:
    design = tree_field()
    bed = staked(design.site, design.laying, design.plumbing)
    paper = bed.paper
    assert [stake["point"] for stake in paper] == list(range(1, len(paper) + 1))
    kinds = [kind for kind, _ in itertools.groupby(stake["kind"] for stake in paper)]
    assert kinds[:2] == ["baseline", "bed corner"]
    assert len({(stake["x"], stake["y"]) for stake in paper}) == len(paper)
    # runs out and back: from stake to stake it is never far, but where a row is begun
    on_runs = [stake for stake in paper if stake["kind"] in {"run", "run end", "blank"}]
    steps = [math.dist((a["x"], a["y"]), (b["x"], b["y"])) for a, b in itertools.pairwise(on_runs)]
    assert max(steps) <= 10.2
    assert {stake["run"] for stake in on_runs} == {run.name for run in design.laying.runs} | {None}
    assert [stake["description"] for stake in paper if stake["kind"] == "bed corner"] == [
        f"bed corner {number}" for number in range(1, 5)
    ]


def test_manifolds_risers_valves_and_bends() -> None:
    site = site_with(np.asarray(beds.rect(100, 12)) * FOOT, ties=((0.0, 40.0), (60.0, 40.0)))
    bend = [(30.0, 9.0), (36.0, 9.0), (36.0, 30.0)]
    supply = Pipe(kind="supply", line=LineString([(-1.0, 3.0), (-1.0, 0.0)]), diameter=0.025)
    line = Pipe(kind="supply", line=LineString([*bend[::-1], (-1.0, 3.0)]), diameter=0.025)
    riser = Riser(kind="supply", lateral="L1", line=LineString([(-1.0, 1.0), (0.3, 1.0)]))
    valve = Fitting(kind="air valve", at=(-1.0, 0.0), on="supply", size=0.025)
    run = Run(name="R1", line=LineString([(0.3, 1.0), (29.0, 1.0)]), row=0)
    plumbing = Plumbing(manifolds=(supply,), risers=(riser,), lines=(line,), fittings=(valve,))
    bed = staked(site, Laying(pattern=Pattern.LEFT, runs=(run,)), plumbing)
    piping = [
        stake
        for stake in bed.paper
        if stake["kind"] not in {"baseline", "bed corner", "bed edge", "run", "run end"}
    ]
    assert [stake["description"] for stake in piping] == [
        "supply manifold end + supply air valve",
        "riser L1 supply",
        "supply manifold end",
        "supply line bend",
        "supply line bend",
        "supply line end",
    ]
    placed = bed.placed([(-1, 0), (-1, 1), (-1, 3), *bend])
    assert np.abs([(stake["x"], stake["y"]) for stake in piping] - placed).max() <= 0.005 + 1e-9
    assert all(stake["run"] is None and stake["station"] is None for stake in piping)


@pytest.mark.parametrize(("jog", "staked_too"), [(0.2, False), (0.4, True)])
def test_a_bend_within_a_foot_of_where_its_line_ends_has_no_stake(jog: float, staked_too: bool) -> None:
    """One stake does for both: at its end a pipe is cut and turned by hand."""
    run = one_run(np.array([[0.0, 0.0], [20.0, 0.0]]))
    way = LineString([(-10.0, -8.0), (-10.0, -8.0 + jog), (-5.0, -4.0), (-5.0, 0.0)])
    supply = Pipe(kind="supply", line=way, diameter=0.025)
    bed = staked(run.site, run.laying, Plumbing(manifolds=(), risers=(), lines=(supply,)))
    said = [stake["description"] for stake in bed.paper if "supply" in stake["description"]]
    inner = ["supply line bend"] * (2 if staked_too else 1)
    assert sorted(said) == sorted(["supply line end", "supply line end", *inner])


def test_the_baseline_is_short_of_nothing_and_avoids_what_stands_there() -> None:
    design = curved_field()
    bed = staked(design.site, design.laying, design.plumbing)
    stations = [stake["baseline"]["station"] for stake in bed.paper]
    (start, end), unit = bed.staking.baseline, FOOT
    assert min(stations) >= 0
    assert max(stations) <= math.dist(start, end) / unit + 0.05
    assert bed.paper[0]["baseline"] == {"station": 0, "offset": 0, "error": 0.04}
    # no straight line has shorter offsets to the runs on the whole, but by the fineness of the search
    points = np.array([stake.at for stake in bed.staking.stakes if stake.run])
    mean = np.mean([abs(stake.baseline.offset) for stake in bed.staking.stakes if stake.run])
    for turn in np.linspace(0, math.pi, 721):
        across = points @ np.array([-math.sin(turn), math.cos(turn)])
        assert np.abs(across - np.median(across)).mean() > 0.98 * mean - 0.01
    # a shed in its way: the next best line is taken
    middle = LineString(bed.staking.baseline).interpolate(0.5, normalized=True).buffer(0.5)
    shed = Feature(name="shed", kind=FeatureKind.BUILDING, shape=middle, setback=0.0, inside=True)
    other = staked(replace(design.site, features=(shed,)), design.laying, design.plumbing)
    assert not LineString(other.staking.baseline).intersects(middle)
    assert other.staking.blocked_by == ()


def test_a_baseline_that_nothing_can_free_is_told() -> None:
    design = curved_field()
    pond = Feature(
        name="pond", kind=FeatureKind.WATER_BODY, shape=design.site.bed.outline.buffer(100.0), setback=0.0
    )
    site = replace(design.site, features=(pond,))
    staking = staked(site, design.laying).staking
    assert staking.blocked_by == ("pond",)
    (finding,) = stake_findings(site, staking)
    assert (finding.code, 'runs through "pond"' in finding.said) == ("baseline-blocked", True)


def test_a_given_baseline_is_taken() -> None:
    outline = np.asarray(beds.rect(100, 12)) * FOOT
    site = site_with(outline, baseline=((0.0, 20.0), (50.0, 20.0)))
    run = Run(name="R1", line=LineString(np.array([[1.0, 6.0], [99.0, 6.0]]) * FOOT), row=0)
    bed = staked(site, Laying(pattern=Pattern.LEFT, runs=(run,)))
    assert bed.shared["baseline"] == {"from": [5000, 2020], "to": [5050, 2020], "given": True}
    assert "baseline" not in {stake["kind"] for stake in bed.paper}
    first = bed.on(run)[0]
    # the bed lies to the right of one who walks east along its north
    assert first["baseline"] == {"station": 1, "offset": 14, "error": 0.04}


def feature(name: str, kind: FeatureKind, shape: Any, setback: float = 0.0) -> Feature:
    return Feature(name=name, kind=kind, shape=shape, setback=setback)


@pytest.mark.parametrize("closed", [False, True])
def test_a_chosen_baseline_stays_on_the_lot(closed: bool) -> None:
    """The neighbour's land is not for stakes: a lot line that the best line crosses turns the choice to another."""
    design = curved_field()
    (x, _), end = staked(design.site, design.laying, design.plumbing).staking.baseline
    edge = min(x, end[0]) + 0.1  # just inside the end of the line that would be taken
    lot = box(edge, -500, edge + 1000, 500) if closed else LineString([(edge, -500), (edge, 500)])
    line = feature("west lot line", FeatureKind.PROPERTY_LINE, lot)
    bed = staked(replace(design.site, features=(line,)), design.laying, design.plumbing)
    assert min(at[0] for at in bed.staking.baseline) > edge
    assert bed.staking.blocked_by == ()


def test_a_chosen_baseline_keeps_out_of_the_setback_of_a_tree() -> None:
    design = curved_field()
    plain = LineString(staked(design.site, design.laying, design.plumbing).staking.baseline)
    middle = plain.interpolate(0.5, normalized=True)
    tree = feature("oak", FeatureKind.TREE, Point(middle.x, middle.y + 0.8), 1.0)
    bed = staked(replace(design.site, features=(tree,)), design.laying, design.plumbing)
    assert 0.3 < plain.distance(tree.shape) < 1.0
    assert LineString(bed.staking.baseline).distance(tree.shape) >= 1.0 - 0.01


@pytest.mark.parametrize(
    ("kind", "shape", "said"),
    [
        (FeatureKind.BUILDING, box(20, 15, 30, 30), 'stakeout.baseline runs through "it".'),
        (FeatureKind.TANK, box(20, 19, 30, 30), 'stakeout.baseline runs through "it".'),
        (FeatureKind.WELL, Point(25, 20.5), 'stakeout.baseline runs through "it".'),
        (FeatureKind.TREE, Point(25, 20), 'stakeout.baseline runs through "it".'),
        (FeatureKind.PROPERTY_LINE, LineString([(40, -50), (40, 50)]), 'stakeout.baseline crosses "it".'),
        (FeatureKind.PROPERTY_LINE, box(-9, -9, 40, 90), 'stakeout.baseline crosses "it".'),
        # along a wall or a lot line, and up to one, there is room for a tape
        (FeatureKind.BUILDING, box(20, 20, 30, 30), ""),
        (FeatureKind.PROPERTY_LINE, LineString([(-20, 20), (90, 20)]), ""),
        (FeatureKind.PROPERTY_LINE, LineString([(50, -50), (50, 50)]), ""),
        (FeatureKind.DRIVE, box(20, 15, 30, 30), ""),
    ],
)
def test_a_given_baseline_is_held_against_what_stands_there(kind: FeatureKind, shape: Any, said: str) -> None:
    outline = np.asarray(beds.rect(100, 12)) * FOOT
    item = feature("it", kind, shapely.transform(shape, lambda points: points * FOOT))
    site = replace(site_with(outline, baseline=((0.0, 20.0), (50.0, 20.0))), features=(item,))
    run = Run(name="R1", line=LineString(np.array([[1.0, 6.0], [99.0, 6.0]]) * FOOT), row=0)
    staking = staked(site, Laying(pattern=Pattern.LEFT, runs=(run,))).staking
    assert [finding.said for finding in stake_findings(site, staking)] == ([said] if said else [])


@pytest.mark.parametrize(
    ("units", "rounding", "step", "error"),
    [
        ("ft", None, 0.05, 0.04),
        ("ft", "1/8 in", 1 / 96, 0.01),
        ("us-ft", None, 0.05, 0.04),
        ("m", None, 0.01, 0.008),
    ],
)
def test_rounding(units: str, rounding: Rounding | None, step: float, error: float) -> None:
    bed = one_run(np.array([[0.0, 0.0], [11.0, 1.0]]), units=units, rounding=rounding)
    assert bed.shared["step"] == pytest.approx(step, abs=1e-9)
    assert bed.staking.step == pytest.approx(step * UNIT_SETS[units].length)
    assert {stake["baseline"]["error"] for stake in bed.paper} == {error}


def test_coordinates_are_as_fine_as_the_tolerance_asks() -> None:
    line = np.array([[0.0, 0.0], [11.0, 1.0]])
    assert [one_run(line, tolerance=tolerance).shared["decimals"] for tolerance in (0.1, 0.05, 0.01)] == [
        2,
        2,
        3,
    ]
    assert one_run(line, units="m", tolerance=0.03).shared["decimals"] == 3


def test_stakes_in_line_with_the_fixed_points_are_told() -> None:
    line = np.array([[0.0, 0.0], [40.0, 0.0]]) * FOOT
    bed = one_run(line, ties=((-30.0, 0.0), (-10.0, 0.0)))
    assert all(not stake["ties"] and stake["side"] is None for stake in bed.on(bed.laying.runs[0]))
    finding, *_ = (item for item in stake_findings(bed.site, bed.staking) if item.code == "no-tie")
    in_line = {stake["point"] for stake in bed.paper if stake["kind"] != "bed edge"}
    named = numbers_in(finding.said.split(" cannot be found")[0])
    assert named >= in_line
    assert {stake["point"] for stake in bed.paper if not stake["ties"]} == named


def numbers_in(said: str) -> set[int]:
    """The stakes that a text names: ``2-3, 29``."""
    found = re.findall(r"(\d+)(?:-(\d+))?", said)
    return {number for first, last in found for number in range(int(first), int(last or first) + 1)}


def test_poor_crossings_are_told_and_good_ones_are_not() -> None:
    line = np.array([[0.0, 0.0], [40.0, 0.0]]) * FOOT
    poor = one_run(line, ties=((20.0, 200.0), (30.0, 200.0)))
    (finding,) = stake_findings(poor.site, poor.staking)
    assert finding.code == "poor-tie"
    assert finding.said.startswith("The tapes cross at under 30 or over 150 degrees at stakes ")
    assert numbers_in(finding.said.split("stakes")[1]) == {stake["point"] for stake in poor.paper}
    good = one_run(line, ties=((-5.0, 30.0), (45.0, 30.0)))
    assert list(stake_findings(good.site, good.staking)) == []
    assert all(30 <= stake["crossing"] <= 150 for stake in good.paper)
    # a third point helps where two do badly
    helped = one_run(line, ties=((20.0, 200.0), (30.0, 200.0), (-60.0, 20.0)))
    assert list(stake_findings(helped.site, helped.staking)) == []
    assert {tie["name"] for stake in helped.paper for tie in stake["ties"]} >= {"T3"}


def test_no_tape_goes_through_a_house_if_another_can_go_round() -> None:
    line = np.array([[0.0, 0.0], [40.0, 0.0]]) * FOOT
    ties = ((0.0, 20.0), (40.0, 20.0), (0.0, 50.0), (40.0, 50.0))
    bed = one_run(line, ties=ties)
    house = Feature(
        name="house", kind=FeatureKind.BUILDING, shape=box(0, 20 * FOOT, 40 * FOOT, 50 * FOOT), setback=3.0
    )
    site = replace(bed.site, features=(house,))
    front = staked(site, bed.laying)
    assert {tie["name"] for stake in front.paper for tie in stake["ties"]} == {"T1", "T2"}
    assert list(stake_findings(site, front.staking)) == []
    # only the back of it is known: the tapes would go through
    behind = replace(site, stakeout=replace(site.stakeout, ties=site.stakeout.ties[2:]))
    (finding, *_) = stake_findings(behind, staked(behind, bed.laying).staking)
    assert finding.code == "blocked-tie"


def test_heights_are_those_of_the_ground() -> None:
    design = curved_field()
    staking = stake_out(
        design.site,
        design.laying,
        design.plumbing,
        heights=lambda points: [None if x < 10 else 30.0 + 0.01 * x for x, _ in points.tolist()],
    )
    for stake in staking.stakes:
        assert stake.height == (None if stake.at[0] < 10 else pytest.approx(30.0 + 0.01 * stake.at[0]))


def test_baseline_and_tapes_keep_off_a_tree_that_is_a_point() -> None:
    design = curved_field()
    bed = staked(design.site, design.laying, design.plumbing)
    middle = LineString(bed.staking.baseline).interpolate(0.5, normalized=True)
    at = Point(middle.x + 0.1, middle.y)
    tree = Feature(name="oak", kind=FeatureKind.TREE, shape=at, setback=0.0, inside=True)
    other = staked(replace(design.site, features=(tree,)), design.laying, design.plumbing)
    assert LineString(bed.staking.baseline).distance(at) < 0.3
    assert LineString(other.staking.baseline).distance(at) >= 0.3 - 0.01

    line = np.array([[0.0, 0.0], [40.0, 0.0]]) * FOOT
    run = one_run(line, ties=((0.0, 20.0), (40.0, 20.0), (20.0, 22.0)))
    oak = Feature(name="oak", kind=FeatureKind.TREE, shape=Point(15 * FOOT, 10 * FOOT), setback=0.0)
    site = replace(run.site, features=(oak,))
    for stake in staked(site, run.laying).staking.stakes:
        assert stake.swing is not None
        for tie in stake.swing.ties:
            tape = LineString([tie.at, stake.at])
            assert stake.swing.blocked or tape.distance(oak.shape) >= 0.3
    # a tree that is a fixed point itself stands in the way of none of its tapes
    own = replace(oak, shape=Point(20 * FOOT, 22 * FOOT))
    site = replace(run.site, features=(own,))
    assert not any(stake.swing.blocked for stake in staked(site, run.laying).staking.stakes if stake.swing)


@pytest.mark.parametrize(
    ("start", "end", "blocked"),
    [
        ((0.0, 0.0), (10.0, 0.0), False),  # along the wall
        ((0.0, 0.0), (10.0, 0.15), True),  # from its corner into the wall, and on inside it
        ((0.0, 0.0), (-5.0, -5.0), False),  # from the corner away
        ((0.05, 0.05), (-5.0, 0.0), False),  # a corner that is surveyed a little inside
        ((-1.0, 1.04), (1.04, -1.0), False),  # past a corner that is cut by a hand
        ((-1.0, 2.0), (2.0, -1.0), True),
    ],
)
def test_a_tape_touches_a_corner_only(start: XY, end: XY, blocked: bool) -> None:
    house = Feature(name="house", kind=FeatureKind.BUILDING, shape=box(0, 0, 10, 10), setback=0.0)
    assert blocked_tapes(np.array([start]), np.array([end]), [house]).tolist() == [blocked]
    # a wall that is given as an open row of points
    wall = replace(house, shape=LineString([(0, 10), (0, 0), (10, 0)]))
    starts, ends = np.array([(-5.0, 5.0), (0.0, 0.0)]), np.array([(5.0, 5.0), (-5.0, 5.0)])
    assert blocked_tapes(starts, ends, [wall]).tolist() == [True, False]


def test_a_line_that_ends_in_a_tank_is_staked_over_it() -> None:
    tank = Feature(name="tank", kind=FeatureKind.TANK, shape=box(0, 0, 2, 2), setback=0.0)
    starts, ends = np.array([(-5.0, 1.0), (-5.0, 1.0)]), np.array([(1.0, 1.0), (5.0, 1.0)])
    assert blocked_tapes(starts, ends, [tank]).tolist() == [False, True]
    house = replace(tank, kind=FeatureKind.BUILDING)
    assert blocked_tapes(starts, ends, [house]).tolist() == [True, True]


def test_no_stake_stands_in_the_pumps_tank() -> None:
    """Nobody leans into a tank: its line's last stake is at the wall, bends inside it have none."""
    run = one_run(np.array([[0.0, 0.0], [20.0, 0.0]]))
    tank = Feature(name="tank", kind=FeatureKind.TANK, shape=box(-12, -11, -9, -8), setback=0.0)
    pump = Pump(at=(-10.5, -9.5))
    way = LineString([pump.at, (-10.5, -8.5), (-9.7, -8.2), (-5.0, -4.0), (0.0, 0.0)])
    supply = Pipe(kind="supply", zone=1, line=way, diameter=1.0)
    valve = Fitting(kind="flush valve", at=(-5.0, -4.0), on="supply", zone=1, size=1.0, of="line")
    plumbing = Plumbing(manifolds=(), risers=(), lines=(supply,), fittings=(valve,))
    bed = staked(replace(run.site, features=(tank,), pump=pump), run.laying, plumbing)
    told = [
        (stake["description"], Point(at.at)) for stake, at in zip(bed.paper, bed.staking.stakes, strict=True)
    ]
    piping = [(said, at) for said, at in told if "supply" in said]
    assert [said for said, _ in piping] == [
        "supply flush valve + supply line bend",
        "supply line at the wall of tank",
    ]
    assert piping[-1][1].distance(tank.shape.boundary) < 0.01


@pytest.mark.parametrize("kind", list(FeatureKind))
def test_the_pump_stands_in_tanks_and_buildings_only(kind: FeatureKind) -> None:
    """One rule for stakes, for flush valves and for the detail at the pump: not in a drive, on a slope or in a pond."""
    run = one_run(np.array([[0.0, 0.0], [20.0, 0.0]]))
    about = Feature(name="pump house", kind=kind, shape=box(-12, -11, -9, -8), setback=0.0)
    elsewhere = replace(about, name="far", shape=box(50, 50, 60, 60))
    point = replace(about, name="lid", shape=Point(-10.5, -9.5))
    pump = Pump(at=(-10.5, -9.5))
    site = replace(run.site, features=(about, elsewhere, point), pump=pump)
    inside = kind in {FeatureKind.TANK, FeatureKind.BUILDING}
    assert [item.name for item in site.pump_house] == (["pump house"] if inside else [])
    assert replace(site, pump=None).pump_house == ()
    way = LineString([pump.at, (0.0, -9.5)])
    supply = Pipe(kind="supply", zone=1, line=way, diameter=1.0)
    bed = staked(site, run.laying, Plumbing(manifolds=(), risers=(), lines=(supply,)))
    ends = [stake["description"] for stake in bed.paper if "supply" in stake["description"]]
    assert ("supply line at the wall of pump house" in ends) == inside
    assert len(ends) == 2
