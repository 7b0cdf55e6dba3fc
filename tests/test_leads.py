"""Leads: blank tubing from run ends amid the bed to a manifold."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from shapely import LineString, MultiPolygon, Point, Polygon, box

from layout import reaching
from layout.checks.laterals import lateral_findings, longest_lateral
from layout.fittings import sharp_bends
from layout.manifolds import crossing_checks, lead_findings, setback_check
from layout.manifolds.leads import KEPT, Channels
from layout.model import Feature, FeatureKind, NoWay, Pattern, Plumbing, Pump, Site, Trial, UsableGround
from layout.piping import Piped, pipe_trial
from layout.routes import route_lines
from layout.routes.blocked import closed_by
from layout.routes.ground import Ground
from layout.stakes import stake_out
from layout.takeoff import count_parts
from layout.trials import lay_trials
from layout.usable import usable_ground
from tests.fields import curved_field

LEAST = 0.5 * min(KEPT)


def rows(*spans: tuple[float, float, float]) -> list[LineString]:
    """Lay runs along x: from, to, at y."""
    return [LineString([(start, y), (end, y)]) for start, end, y in spans]


def test_a_lead_runs_midway_between_two_runs_to_the_open_end() -> None:
    tubes = rows((0.3, 19.7, 0.5), (0.3, 10, 1.0), (12, 19.7, 1.0), (0.3, 19.7, 1.5))
    channels = Channels(tubes, box(0, 0, 20, 2), MultiPolygon(), spacing=0.5, inset=0.3, toward=(-5, 1))
    lead = channels.lead((10, 1.0))
    assert lead is not None
    assert lead.coords[0] == (10.0, 1.0)
    assert math.isclose(lead.coords[-1][0], 0.3, abs_tol=0.01)
    rest = lead.difference(Point(10, 1.0).buffer(0.6))
    assert min(tube.distance(rest) for tube in tubes) > 0.3 * 0.5


def test_a_narrow_place_draws_a_lead_near_to_tubing_there_alone() -> None:
    """Two stubs leave 0.38 m instead of 0.5: on either side of them the lead lies in the middle all the same."""
    tubes = rows((0.3, 19.7, 0.5), (0.3, 10, 1.0), (12, 19.7, 1.0), (0.3, 19.7, 1.5))
    tubes += [*rows((5, 5.3, 0.62), (5, 5.3, 1.38)), LineString([(19.7, 0.5), (19.7, 1.5)])]
    channels = Channels(tubes, box(0, 0, 20, 2), MultiPolygon(), spacing=0.5, inset=0.3, toward=(-5, 1))
    lead = channels.lead((10, 1.0))
    assert lead is not None
    assert lead.coords[-1][0] < 0.31
    for place, least in ((box(0.4, 0, 4, 2), 0.18), (box(6.3, 0, 9, 2), 0.18), (box(4, 0, 6.3, 2), 0.12)):
        assert min(tube.distance(lead.intersection(place)) for tube in tubes) > least


def test_where_loops_close_every_channel_there_is_no_lead() -> None:
    tubes = rows((0.3, 19.7, 0.5), (0.3, 10, 1.0), (12, 19.7, 1.0), (0.3, 19.7, 1.5))
    tubes += [LineString([(x, 0.5), (x, 1.5)]) for x in (0.3, 19.7)]
    channels = Channels(tubes, box(0, 0, 20, 2), MultiPolygon(), spacing=0.5, inset=0.3, toward=(-5, 1))
    assert channels.lead((10, 1.0)) is None


def piped(
    obstacle: tuple[float, float, float, float], *, longest: float = 91.44
) -> tuple[Piped, tuple[Site, UsableGround, Trial]]:
    """Pipe a rectangle of 30 by 14 m with a building in it, its setback 1.2 m."""
    design = curved_field()
    feature = Feature(name="shed", kind=FeatureKind.BUILDING, shape=box(*obstacle), setback=1.2, inside=True)
    site = replace(
        design.site,
        bed=replace(design.site.bed, outline=box(0, 0, 30, 14), levels=None),
        features=(feature,),
        pump=Pump(at=(-4, 5)),
        zones=None,
        runs=replace(design.site.runs, pattern=Pattern.LEFT, sides="rectangle", spacing=0.6),
        laterals=replace(design.site.laterals, runs=None, longest=longest),
        manifold=replace(design.site.manifold, end="pump"),
    )
    ground = usable_ground(site.bed, site.features, frame=site.frame, file=site.file.name)
    trial = lay_trials(site, ground, progress=lambda _stage: None)[0]
    return pipe_trial(site, ground, trial), (site, ground, trial)


@pytest.mark.parametrize("obstacle", [(12, 3, 18, 8), (12, 4, 18, 9.2), (9, 3.6, 17, 10.4)])
def test_run_ends_at_a_building_in_the_bed_are_all_reached(
    obstacle: tuple[float, float, float, float],
) -> None:
    made, (site, ground, trial) = piped(obstacle)
    plumbing = made.plumbing
    assert not plumbing.unreached
    ends = {
        (kind, lateral.name): at
        for lateral in made.laterals
        for kind, at in (("supply", lateral.supply), ("return", lateral.drain))
    }
    assert {(riser.kind, riser.lateral) for riser in plumbing.risers} == set(ends)
    for riser in plumbing.risers:
        assert riser.line.coords[-1] == ends[riser.kind, riser.lateral]
        assert riser.manifold is not None
        assert plumbing.manifolds[riser.manifold].line.distance(Point(riser.line.coords[0])) < 1e-6
    over, _ = crossing_checks(site, plumbing, trial.laying.runs, made.joins)
    assert over.ok, over.place
    assert setback_check(site, plumbing, ground.kept_clear).ok


def arc(radius: float, turn: float) -> LineString:
    """Two straight legs of 2 m with an arc between them that turns by so many degrees, drawn finely."""
    angles = np.radians(np.linspace(0, turn, 60))
    bend = np.column_stack((radius * np.sin(angles), radius * (1 - np.cos(angles))))
    way = np.array([math.cos(angles[-1]), math.sin(angles[-1])])
    return LineString(np.vstack(([[-2.0, 0.0]], bend, bend[-1] + 2.0 * way)))


def test_a_lead_has_an_elbow_where_tubing_cannot_bend() -> None:
    """Over arms of a radius R a corner of angle t is a bend of R / (2 sin(t / 2)): from 63.5 degrees on too tight."""
    for turn, count in ((20.0, 0), (60.0, 0), (66.0, 1), (90.0, 1), (130.0, 1)):
        way = (math.cos(math.radians(turn)), math.sin(math.radians(turn)))
        corner = LineString([(-2, 0), (0, 0), (2 * way[0], 2 * way[1])])
        assert list(sharp_bends(corner, 0.6)) == [(0.0, 0.0)] * count, turn
    assert list(sharp_bends(arc(0.6, 180), 0.6)) == []
    assert len(list(sharp_bends(arc(0.3, 180), 0.6))) >= 1
    assert list(sharp_bends(LineString([(0, 0), (1, 0), (1, 1), (2, 1)]), 0.0)) == []
    two = LineString([(0, 0), (2, 0), (2, 3), (4, 3)])
    assert list(sharp_bends(two, 0.6)) == [(2.0, 0.0), (2.0, 3.0)]


def test_elbows_of_leads_are_counted_staked_and_told_alike() -> None:
    made, (site, _, trial) = piped((12, 4, 18, 9.2))
    elbows = [item for item in made.plumbing.fittings if (item.kind, item.on) == ("elbow 90", "tubing")]
    assert elbows
    leads = {riser.lateral for riser in made.plumbing.risers if len(riser.line.coords) > 2}
    assert {item.of for item in elbows} <= leads
    parts = count_parts(site, trial.laying.runs, made.joins, made.plumbing, laterals=made.laterals)
    assert {part.item: part.net for part in parts}["lead elbow"] == len(elbows)
    staking = stake_out(site, trial.laying, made.plumbing, heights=lambda points: np.zeros(len(points)))
    marks = [stake.description for stake in staking.stakes if "lead elbow" in stake.description]
    assert len(marks) == len(elbows)
    told = [
        int(finding.said.split(" round ")[1].split()[0]) for finding in lead_findings(site, made.plumbing)
    ]
    assert sum(told) == len(elbows)


def test_leads_are_told_with_their_length_and_keep_off_tubing() -> None:
    made, (site, _, trial) = piped((12, 4, 18, 9.2))
    led = [riser for riser in made.plumbing.risers if len(riser.line.coords) > 2]
    assert led
    tubes = [run.line for run in trial.laying.runs] + [join.line for join in made.joins]
    for riser in led:
        rest = riser.line.difference(Point(riser.line.coords[-1]).buffer(1.2 * site.runs.spacing))
        assert min(tube.distance(rest) for tube in tubes) >= LEAST * site.runs.spacing
    told = list(lead_findings(site, made.plumbing))
    assert len(told) == len(led)
    assert all("amid the bed" in finding.said for finding in told)


def test_a_lateral_is_within_longest_with_its_leads_too_where_runs_can_be_joined_so() -> None:
    """Two laterals of 85 m would have leads of 11 m here."""
    made, (site, _, _) = piped((12, 3, 18, 8))
    assert max(item.whole for item in made.laterals) <= site.laterals.longest
    assert not made.plumbing.unreached
    assert {item.name for item in made.laterals} == made.plumbing.fed


def test_a_lateral_that_is_too_long_with_its_lead_fails_a_check_and_that_is_said() -> None:
    made, (site, _, trial) = piped((9, 3.6, 17, 10.4))
    for item in made.laterals:
        own = (riser for riser in made.plumbing.risers if riser.lateral == item.name and riser.lead)
        assert math.isclose(item.lead, sum(riser.line.length for riser in own))
    assert longest_lateral(site, made.laterals).ok
    led = max(made.laterals, key=lambda item: item.whole)
    assert led.lead > 10
    short = replace(site, laterals=replace(site.laterals, longest=led.whole - 1))
    check = longest_lateral(short, made.laterals)
    assert not check.ok
    assert math.isclose(check.value, led.whole)
    assert f"{led.name} from (E " in check.place
    assert check.place.endswith(f"{led.lead / site.frame.units.length:.2f} ft of it leads")
    told = {item.code: item.said for item in lateral_findings(short, made.laterals, trial.laying.runs)}
    assert led.name in told["long-lead"]
    assert led.name not in told.get("long-lateral", "")


STRIP = box(0, 0, 30, 2)


def odd_rows(
    *,
    pump: tuple[float, float],
    longest: float,
    outline: Polygon = STRIP,
    told: Collection[str] = (),
) -> Piped:
    """Pipe a bed in which rows lie 0.6 m apart; if not told otherwise, three of 30 m, two of which fill a lateral."""
    design = curved_field()
    site = replace(
        design.site,
        bed=replace(design.site.bed, outline=outline, levels=None),
        features=(),
        pump=Pump(at=pump),
        zones=None,
        runs=replace(design.site.runs, pattern=Pattern.LEFT, sides="rectangle", spacing=0.6),
        laterals=replace(design.site.laterals, runs=None, longest=longest),
        manifold=replace(design.site.manifold, end=(0.0, 1.0)),
    )
    ground = usable_ground(site.bed, site.features, frame=site.frame, file=site.file.name)
    trial = lay_trials(site, ground, progress=lambda _stage: None)[0]
    made = pipe_trial(site, ground, trial)
    over, _ = crossing_checks(site, made.plumbing, trial.laying.runs, made.joins)
    assert over.ok, over.place
    found = {item.code for item in lead_findings(site, made.plumbing)}
    assert found == ({"led-back"} if any(riser.back for riser in made.plumbing.risers) else set(told))
    return made


def test_the_odd_row_is_led_back_where_that_takes_less_than_a_line() -> None:
    """A lead of 30 m in the bed saves 40 m of pipe and as much trench."""
    made = odd_rows(pump=(-6, 1), longest=65)
    assert sorted(len(item.runs) for item in made.laterals) == [1, 2]
    assert [pipe.kind for pipe in made.plumbing.manifolds] == ["supply", "return"]
    (lead,) = (riser for riser in made.plumbing.risers if riser.back)
    assert lead.kind == "return"
    assert 29 < lead.line.length < 31.5
    assert max(pipe.line.length for pipe in made.plumbing.lines) < 9
    runs = {item.name: item for item in made.laterals}
    assert lead.line.coords[-1] == runs[lead.lateral].drain


def test_a_row_is_not_led_back_where_the_lateral_would_be_too_long_or_the_pump_is_nearer() -> None:
    assert not any(riser.back for riser in odd_rows(pump=(-6, 1), longest=59).plumbing.risers)
    beside = odd_rows(pump=(25, -3), longest=65)
    assert not any(riser.back for riser in beside.plumbing.risers)
    assert Counter(pipe.kind for pipe in beside.plumbing.manifolds) == {"supply": 1, "return": 2}


def test_runs_are_joined_anew_where_a_lateral_would_be_too_long_with_its_lead() -> None:
    """Three of 30 m make a lateral of 95 m, but not with another 30 m back: five make two pairs and one."""
    made = odd_rows(pump=(-6, 1), longest=95, outline=box(0, 0, 30, 3.2))
    assert sorted(len(item.runs) for item in made.laterals) == [1, 2, 2]
    assert [pipe.kind for pipe in made.plumbing.manifolds] == ["supply", "return"]
    (lead,) = (riser for riser in made.plumbing.risers if riser.back)
    (led,) = (item for item in made.laterals if item.name == lead.lateral)
    assert len(led.runs) == 1
    near = odd_rows(pump=(33, 1), longest=95, outline=box(0, 0, 30, 3.2))
    assert sorted(len(item.runs) for item in near.laterals) == [2, 3]


@pytest.mark.parametrize(("rounds", "lost"), [(0, 1), (reaching.ELSEWHERE, 0)])
def test_what_no_line_reaches_is_led_to_where_one_does(
    rounds: int, lost: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As if the far end were shut to lines, though the pump is nearer to it."""

    def route(plumbing: Plumbing, **ground: Any) -> Plumbing:
        routed = route_lines(plumbing, **ground)
        shut = [pipe for pipe in routed.manifolds if pipe.feed[0] > 20]
        ways = [NoWay(kind=pipe.kind, zone=pipe.zone, at=pipe.feed, closed_by=()) for pipe in shut]
        return replace(routed, unreached=tuple(ways))

    monkeypatch.setattr(reaching, "route_lines", route)
    monkeypatch.setattr(reaching, "ELSEWHERE", rounds)
    made = odd_rows(pump=(25, -3), longest=65, told={"led-end"} if rounds else set())
    assert len(made.plumbing.unreached) == lost
    leads = [riser for riser in made.plumbing.risers if riser.lead]
    assert len(leads) == 1 - lost
    assert all(28 < riser.line.length < 31 and riser.line.coords[0][0] < 1 for riser in leads)
    assert all(item.whole <= 65 and not item.shut for item in made.laterals)


def test_what_shuts_a_manifold_in_is_named_on_either_side_of_it() -> None:
    """A place at the far edge of a bed, with tubing on three hands of it and the setback of a house on the fourth."""
    house = Feature(name="house", kind=FeatureKind.BUILDING, shape=box(31, -9, 40, 29), setback=1.8)
    shed = Feature(name="shed", kind=FeatureKind.BUILDING, shape=box(-3, 20, -2, 29), setback=1.8)
    tubing = tuple(
        LineString(line) for line in (((28.5, 5), (28.5, 15)), ((28.5, 5), (30, 5)), ((28.5, 15), (30, 15)))
    )
    for features in ((house, shed), ()):
        ground = Ground((-6, 1), features, box(0, 0, 30, 20), tubing, ())
        if not features:
            assert ground.landing((29, 10), ground.zones(half=0, beside_bed=0)) is not None
            break
        names, alone = closed_by(ground, (29, 10))
        assert [name for name, _ in names] == ["the bed", "house"]
        assert alone


def test_rows_that_begin_at_a_step_of_the_bed_are_led_back_to_it() -> None:
    """The odd one of an arm's short rows needs no pipe round the bed: its lead comes out where its neighbours begin."""
    ell = Polygon([(0, 0), (30, 0), (30, 3.4), (18, 3.4), (18, 6.0), (9, 6.0), (9, 3.4), (0, 3.4)])
    made = odd_rows(pump=(-9, -9), longest=95, outline=ell)
    short = {item.name for item in made.laterals if item.supply[0] > 8}
    back = {riser.lateral: riser for riser in made.plumbing.risers if riser.back}
    assert short & back.keys()
    for name in short & back.keys():
        assert 8 < back[name].line.length < 12
    assert not made.plumbing.unreached
    assert all(pipe.line.bounds[2] < 10 for pipe in made.plumbing.manifolds if pipe.kind == "return")
