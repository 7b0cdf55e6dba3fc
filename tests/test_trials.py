"""The trials of patterns: which is taken where they are as good, caps over a whole bed, and what is said of both."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layout.errors import NoRoomError
from layout.model import Pattern, Site, Trial
from layout.plan import compare_patterns, plan_field
from layout.readers.sitefile import read_site
from layout.trials import RESOLUTION, _best, lay_trials
from layout.units import FOOT
from layout.usable import usable_ground
from tests import beds

RECTANGLE = Path(__file__).parent / "sites" / "rectangle.toml"  # 100 x 12 ft, 6 rows


def site(*settings: str) -> Site:
    return read_site(RECTANGLE, list(settings))


def on(outline: np.ndarray, *settings: str) -> Site:
    """The site on another bed [ft]."""
    points = ", ".join(f"[{x:.9f}, {y:.9f}]" for x, y in outline)
    return site(f"bed.outline=[{points}]", *settings)


def trials(asked: Site) -> tuple[Trial, ...]:
    return lay_trials(asked, usable_ground(asked.bed, asked.features), progress=lambda _stage: None)


def scored(trial: Trial, score: float) -> Trial:
    return replace(trial, candidate=replace(trial.candidate, score=score))


@pytest.mark.parametrize(
    ("scores", "taken"),
    [
        ((0.5, 0.5, 0.5), 0),
        ((0.5 + 0.9 * RESOLUTION, 0.5, 0.5), 0),
        ((0.5 + 1.1 * RESOLUTION, 0.5, 0.5), 1),
        ((0.9, 0.5 + RESOLUTION / 2, 0.5), 1),
        ((0.9, 0.8, 0.5), 2),
    ],
)
def test_of_equal_scores_the_first_tried_is_taken(scores: tuple[float, ...], taken: int) -> None:
    one = trials(site())[0]
    tried = [scored(one, score) for score in scores]
    assert _best(tried) is tried[taken]


@pytest.mark.parametrize("nudge", [-1e-6, 0.0, 1e-6])
def test_a_hair_of_outline_does_not_change_the_pattern(nudge: float) -> None:
    """Both sides of a serpentine bed that is alike from either end do alike but for rounding."""
    outline = beds.sinuous(5, 50, (13, 13), 100, step=2.5)
    outline[7, 1] += nudge
    found = trials(on(outline, "runs.pattern=best"))
    assert {trial.candidate.pattern for trial in found} >= {Pattern.LEFT, Pattern.RIGHT}
    assert found[0].candidate.pattern is Pattern.LEFT


def test_cap_counts_the_whole_bed_laid_lobe_by_lobe() -> None:
    settings = ("runs.pattern=left", "runs.sides=lobes")
    free = trials(on(beds.dumbbell(), *settings))[0].laying
    capped = trials(on(beds.dumbbell(), *settings, "runs.most=9"))[0].laying
    assert len({run.row for run in free.runs}) > 12
    assert {run.lobe for run in free.runs} == {0, 1}
    assert len({run.row for run in capped.runs}) == 9
    assert "over runs.most" in {piece.why for piece in capped.dropped}
    names = {run.name for run in capped.runs}
    assert all({join.start, join.end} <= names for join in capped.carries)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (('runs.sides="lobes"',), "the bed has no neck; the sides of its outline are followed"),
        (('runs.sides="usable ground"',), "setbacks leave the bed's edge as it is, or take it apart"),
        (
            ('runs.sides="rectangle"', "runs.pattern=drawn", "runs.guide=[[0, 6], [100, 6]]"),
            "the drawn pattern follows a line, no sides",
        ),
    ],
)
def test_sides_that_cannot_be_followed_are_told(settings: tuple[str, ...], words: str) -> None:
    said = [
        finding.said
        for finding in plan_field(site(*settings)).findings
        if finding.code == "sides-not-followed"
    ]
    assert len(said) == 1
    assert words in said[0]


@pytest.mark.parametrize("sides", ["rectangle", "outline"])
def test_sides_that_are_followed_need_no_words(sides: str) -> None:
    made = plan_field(site(f'runs.sides="{sides}"'))
    assert made.candidates[0].follows == sides
    assert "sides-not-followed" not in {finding.code for finding in made.findings}


def test_own_sides_of_a_square_cannot_be_followed() -> None:
    made = plan_field(on(beds.rect(40, 40), 'runs.sides="outline"', "runs.pattern=left"))
    said = [finding.said for finding in made.findings if finding.code == "sides-not-followed"]
    assert said == [
        'runs.sides = "outline" cannot be followed: the bed\'s own sides have no clear long direction; runs are '
        "straight, along its smallest enclosing rectangle."
    ]


def test_no_lobe_has_room() -> None:
    asked = on(beds.dumbbell(), "runs.pattern=left", "runs.sides=lobes", "runs.shortest=40")
    with pytest.raises(
        NoRoomError, match="lobe by lobe the bed cannot be laid: no lobe has room for a run of 40 ft"
    ):
        trials(asked)


def test_what_a_plan_lays_is_among_those_compared_with_its_own_figures() -> None:
    outline = beds.wedge()
    asked = on(outline, "runs.pattern=right", 'runs.sides="rectangle"', "runs.first=1.7")
    compared = compare_patterns(asked)
    planned = [trial for trial in compared if trial.planned]
    made = plan_field(asked)
    assert [trial.candidate for trial in planned] == [made.candidates[0]]
    assert (made.laying.pattern, made.candidates[0].follows) == (Pattern.RIGHT, "rectangle")
    best = compare_patterns(on(outline, "runs.pattern=best"))
    assert [trial.planned for trial in best] == [True] + [False] * (len(best) - 1)


def test_share_fed_counts_what_loops_bring_water_to() -> None:
    """The same in the trial as in the check of the finished plan."""
    made = plan_field(on(beds.kidney(), "runs.pattern=left"))
    check = next(item for item in made.checks if item.name == "share of tubing fed")
    assert made.candidates[0].fed_at_end == pytest.approx(check.value)
    lengths = np.array([lateral.length for lateral in made.laterals])
    assert check.value == pytest.approx(1.0)
    assert made.candidates[0].uneven == pytest.approx(lengths.std() / lengths.mean())


def test_round_bed_is_wet_where_rows_may_come_nearer_than_the_spacing() -> None:
    """Straight rows 2 ft apart leave 1.56 ft where they end on the slant; ends led along the edge do not."""
    asked = on(beds.circle(), "runs.closest=1.4", "runs.shortest=5")
    best = trials(asked)[0].candidate
    assert best.pattern is Pattern.EVEN
    assert best.first == pytest.approx((1.0 + 1.0) * FOOT)
    assert best.coverage.dry < 1.25 * FOOT
    apart = replace(asked, runs=replace(asked.runs, closest=asked.runs.spacing))
    assert trials(apart)[0].candidate.coverage.dry == pytest.approx(1.56 * FOOT, abs=0.01)
