"""Gaps as laid, and tracks of measured points given to runs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString

from layout.asbuilt import give
from layout.asbuilt.gaps import least_gaps, pair_gaps
from layout.asbuilt.near import Beside
from layout.model import Shot
from layout.plan import measure_laid
from layout.plane import coordinates, points_at
from layout.units import FOOT
from tests.fields import curved_field
from tests.surveyed import on_runs, shots_of


def test_gaps_are_those_of_rows_beside_each_other() -> None:
    """Three rows of 10 m half a metre apart, the middle one in two pieces; a fourth begins where the others end."""
    lines = [
        LineString([(0, 0), (10, 0)]),
        LineString([(0, 0.5), (4.9, 0.5)]),
        LineString([(5.1, 0.5), (10, 0.5)]),
        LineString([(0, 1.1), (10, 1.1)]),
        LineString([(10.3, 0), (20, 0)]),
        None,
    ]
    rows = [(0, 0), (0, 1), (0, 1), (0, 2), (0, 3), (0, 4)]
    pairs = pair_gaps(lines, rows, 0.5)
    assert {pair: round(gap.least, 6) for pair, gap in pairs.items()} == {
        (0, 1): 0.5,
        (0, 2): 0.5,
        (1, 3): 0.6,
        (2, 3): 0.6,
        (0, 3): 1.1,
    }, "those of one row are no pair"
    least = least_gaps(lines, rows, 0.5)
    assert [None if gap is None else (round(gap.least, 6), gap.other) for gap in least[:3]] == [
        *((0.5, 1), (0.5, 0), (0.5, 0)),
    ]
    assert least[4] is None, "its neighbour ends before it begins"
    assert least[5] is None


def _beside(shots: list[int], stations: list[float], offset: float) -> Beside:
    count = len(shots)
    return Beside(
        shot=np.array(shots, dtype=np.intp),
        station=np.array(stations),
        offset=np.full(count, offset),
        beyond=np.zeros(count),
    )


@pytest.mark.parametrize("moves", [400, 1])
def test_tracks_side_by_side_are_dealt_to_runs(moves: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two tubes between two runs, both nearer to the first: one of them is the other run's, of either length."""
    monkeypatch.setattr(give, "MOST_MOVES", moves)
    along = [0.0, 1.0, 2.0, 3.0]
    first = [_beside([0, 1, 2, 3, 4], [*along, 1.5], 0.2), _beside([0, 1, 2, 3, 4], [*along, 1.5], -0.8)]
    given = give.give_tracks([(0, 1, 2, 3), (4,)], [None, None], first, 1.0)
    assert given == [0, 0], "a single shot amid the gaps of a track is one of it"
    both = [_beside(list(range(8)), along * 2, 0.2), _beside(list(range(8)), along * 2, -0.8)]
    assert sorted(give.give_tracks([(0, 1, 2, 3), (4, 5, 6, 7)], [None, None], both, 1.0)) == [0, 1]


def test_a_track_named_for_a_run_far_off_stands_in_nobodys_way() -> None:
    """The shots 0 to 3 say that they are of a run that lies nowhere near them."""
    along = [0.0, 1.0, 2.0, 3.0]
    near = _beside([4, 5, 6, 7], along, 0.1)
    given = give.give_tracks([(0, 1, 2, 3), (4, 5, 6, 7)], [0, None], [near], 1.0)
    assert given == [give.NOWHERE, 0]


def test_tracks_one_behind_the_other_and_single_shots_share_a_run() -> None:
    stations = [0.0, 1.0, 2.0, 20.0, 21.0, 22.0, 40.0]
    near = [_beside(list(range(7)), stations, 0.1)]
    tracks = [(0, 1, 2), (3, 4, 5), (6,)]
    assert give.give_tracks(tracks, [None] * 3, near, 1.0) == [0, 0, 0]
    twice = [_beside([0, 1], [5.0, 5.1], 0.1)]
    assert sorted(give.give_tracks([(0,), (1,)], [None, None], twice, 1.0)) == [give.NOWHERE, 0]


def test_a_field_of_few_points_has_no_shift() -> None:
    """Three points, all a foot to the east: too few to tell a shift of the survey from tubing laid off."""
    design = curved_field()
    run = design.laying.runs[0]
    at = [
        (x + 1.0 * FOOT, y) for x, y in points_at(coordinates(run.line), np.array([1.0, 5.0, 9.0])).tolist()
    ]
    found = measure_laid(design, [Shot(at=(x, y), place=f"line {n}") for n, (x, y) in enumerate(at)])
    assert not [finding for finding in found.findings if finding.code == "survey-shifted"]


def test_a_run_alone_has_no_gap_to_keep() -> None:
    alone = curved_field()
    alone = replace(alone, laying=replace(alone.laying, runs=alone.laying.runs[:1]))
    shots, _ = shots_of(on_runs(alone, noise=0.02, seed=8))
    found = measure_laid(alone, shots)
    assert found.runs[0].gap_least is None
    assert not [check for check in found.checks if "gap" in check.name]
    assert found.runs[0].verdict == "as planned"


def test_a_bend_without_a_point_is_partly_measured() -> None:
    """Of a run round a bend only its ends and their surroundings were measured."""
    design = curved_field()
    points = on_runs(design, noise=0.01, seed=4)
    run = design.laying.runs[2]
    along = (
        np.array([0.0, 3.0, 6.0, run.length / FOOT - 6.0, run.length / FOOT - 3.0, run.length / FOOT]) * FOOT
    )
    points[run.name] = points_at(coordinates(run.line), along)
    found = measure_laid(design, shots_of(points)[0])
    (mine,) = [item for item in found.runs if item.run == run.name]
    assert mine.verdict == "partly measured"
    assert any(why.startswith("no point on the bend between stations 6.0") for why in mine.why)


def test_a_setback_short_by_less_than_the_tolerance_is_for_the_authority_to_judge() -> None:
    plain = curved_field()
    dwelling = plain.site.features[0]
    nearest = min(run.line.distance(dwelling.shape) for run in plain.laying.runs)
    wider = replace(dwelling, setback=nearest + 0.2 * FOOT)
    design = replace(plain, site=replace(plain.site, features=(wider, *plain.site.features[1:])))
    found = measure_laid(design, shots_of(on_runs(design))[0])
    (told,) = [finding for finding in found.findings if finding.code == "setback-short"]
    assert "from dwelling, 0.20 nearer than its setback; that is within the tolerance of laying" in told.said
    assert "authority" in told.remedy
    kept = measure_laid(plain, shots_of(on_runs(plain))[0])
    assert not [finding for finding in kept.findings if finding.code == "setback-short"]
