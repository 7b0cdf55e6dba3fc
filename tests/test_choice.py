"""Which pattern is laid where the plumbing of the best one leaves out a manifold or a lateral."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from layout import choice
from layout.choice import NEXT, choice_findings, choose, lay_comparison
from layout.model import NoWay, Pattern, Site, Trial, UsableGround
from layout.piping import Piped, pipe_trial
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.trials import lay_trials
from layout.usable import usable_ground

RECTANGLE = Path(__file__).parent / "sites" / "rectangle.toml"  # 100 x 12 ft, 6 rows
Lost = dict[Pattern, tuple[int, bool]]
"""Manifolds without a line by pattern, and whether these are supplies."""


@pytest.fixture
def site() -> Site:
    return read_site(RECTANGLE, ["runs.pattern=best", "pump.at=[-20, 6]"])


@pytest.fixture
def piping(monkeypatch: pytest.MonkeyPatch) -> Callable[[Lost], list[Pattern]]:
    """Lets some patterns lose manifolds; gives the list of patterns that come to be piped."""

    def lose(lost: Lost) -> list[Pattern]:
        asked: list[Pattern] = []

        def pipe(site: Site, ground: UsableGround, trial: Trial) -> Piped:
            pattern = trial.candidate.pattern
            asked.append(pattern)
            made = pipe_trial(site, ground, trial)
            count, supplies = lost.get(pattern, (0, False))
            kind = "supply" if supplies else "return"
            pipes = [item for item in made.plumbing.manifolds if item.kind == kind][:1] * count
            gone = [NoWay(kind=item.kind, zone=item.zone, at=item.feed, closed_by=()) for item in pipes]
            return replace(made, plumbing=replace(made.plumbing, unreached=tuple(gone)))

        monkeypatch.setattr(choice, "pipe_trial", pipe)
        return asked

    return lose


def laid(site: Site) -> tuple[tuple[Trial, ...], UsableGround]:
    ground = usable_ground(site.bed, site.features)
    trials = lay_trials(site, ground, progress=lambda _stage: None)
    # apart from each other, for a rectangle is covered alike by all patterns
    scored = [
        replace(trial, candidate=replace(trial.candidate, score=float(number)))
        for number, trial in enumerate(trials)
    ]
    return tuple(scored), ground


def test_a_whole_pattern_is_taken_without_piping_another(
    site: Site, piping: Callable[[Lost], list[Pattern]]
) -> None:
    trials, ground = laid(site)
    asked = piping({})
    chosen, _ = choose(site, ground, trials)
    assert asked == [trials[0].candidate.pattern]
    assert [item.candidate.pattern for item in chosen] == [item.candidate.pattern for item in trials]
    assert (chosen[0].candidate.fed, chosen[0].candidate.unreached) == (1.0, 0)
    assert chosen[1].candidate.unreached is None
    assert not list(choice_findings([trial.candidate for trial in chosen]))


def test_the_next_that_is_whole_is_taken_and_that_is_said(
    site: Site, piping: Callable[[Lost], list[Pattern]]
) -> None:
    trials, ground = laid(site)
    order = [trial.candidate.pattern for trial in trials]
    asked = piping({order[0]: (1, True), order[1]: (1, False)})
    chosen, piped = choose(site, ground, trials)
    assert asked == order[:3]
    assert [item.candidate.pattern for item in chosen] == [order[2], order[0], order[1], *order[3:]]
    assert not piped.plumbing.unreached
    (finding,) = choice_findings([trial.candidate for trial in chosen])
    for words in (
        f"{order[0]}, 0.00: no line can lead to 1 manifold and 100.0% of the tubing stays dry",
        f"{order[1]}, 1.00: no line can lead to 1 manifold;",
        f"The {order[2]} pattern, 2.00, is the next whose manifolds all have a line",
    ):
        assert words.replace(";", "") in finding.said


def test_a_pattern_passed_over_at_an_equal_score_is_told_and_one_after_it_is_not(
    site: Site, piping: Callable[[Lost], list[Pattern]]
) -> None:
    ground = usable_ground(site.bed, site.features)
    trials = lay_trials(site, ground, progress=lambda _stage: None)
    order = [trial.candidate.pattern for trial in trials]
    piping({order[0]: (1, True)})
    chosen, _ = choose(site, ground, trials)
    (finding,) = choice_findings([trial.candidate for trial in chosen])
    assert finding.said.startswith(f"{order[0]}, {trials[0].candidate.score:.2f}: ")
    assert "passed over" in finding.said
    assert [trial.candidate.passed for trial in chosen] == [False, True, *([False] * (len(chosen) - 2))]


def test_where_none_is_whole_that_is_taken_which_leaves_the_least(
    site: Site, piping: Callable[[Lost], list[Pattern]]
) -> None:
    trials, ground = laid(site)
    order = [trial.candidate.pattern for trial in trials]
    lost = dict.fromkeys(order, (2, False)) | {order[0]: (1, True), order[2]: (1, False)}
    asked = piping(lost)
    chosen, _ = choose(site, ground, trials)
    assert len(asked) == min(len(trials), 1 + NEXT)
    assert chosen[0].candidate.pattern is order[2]
    extra = [replace(trial, extra=True) if number == 2 else trial for number, trial in enumerate(trials)]
    assert choose(site, ground, extra)[0][0].candidate.pattern is order[1]


def test_compare_takes_what_a_plan_lays(site: Site, piping: Callable[[Lost], list[Pattern]]) -> None:
    first = plan_field(site).candidates[0].pattern
    piping({first: (1, True)})
    plan = plan_field(site)
    compared = lay_comparison(site, usable_ground(site.bed, site.features), progress=lambda _stage: None)
    assert plan.candidates[0].pattern is not first
    assert compared[0].candidate == plan.candidates[0]
    assert compared[0].planned
    assert next(item.candidate for item in compared if item.candidate.pattern is first).unreached == 1
