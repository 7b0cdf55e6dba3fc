"""Which trial is laid: the best one, or the next whose plumbing is whole where that of the best leaves things out."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from layout.errors import NoRoomError
from layout.model import Candidate, Finding, Pattern, Site, Trial, UsableGround, listed
from layout.piping import Piped, pipe_trial
from layout.trials import Progress, is_same, lay_trials

NEXT = 4
"""How many of the next trials are piped, at most, where the best one cannot be piped whole: each takes a second or so,
where rows end all about the bed up to twenty."""
RESIDUE = 1e-9
"""A share of tubing that rounding may leave out."""


def choose(site: Site, ground: UsableGround, trials: Sequence[Trial]) -> tuple[tuple[Trial, ...], Piped]:
    """Pipe the best trial; where that leaves a manifold without a line or a lateral dry, the next ones, too.

    Of these the first is taken that is whole, else the one that leaves the least: of tubing dry, then of manifolds
    without a line. What was piped says in its candidate what that left.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    trials : sequence of Trial
        The best first, the others by their score. Those laid for comparison alone are not taken.

    Returns
    -------
    trials : tuple of Trial
        The one to take first, the others in their order.
    piped : Piped
        What became of that.

    Raises
    ------
    NoRoomError
        Where the best trial cannot be piped at all, see :func:`layout.piping.pipe_trial`.
    """
    first = pipe_trial(site, ground, trials[0])
    made = {0: first}
    if site.pump is not None and not _is_whole(first):
        others = [number for number, trial in enumerate(trials) if number and not trial.extra]
        for number in others[:NEXT]:
            # One with fewer laterals than zones are asked for is no help.
            with contextlib.suppress(NoRoomError):
                made[number] = pipe_trial(site, ground, trials[number])
                if _is_whole(made[number]):
                    break
    taken = min(made, key=lambda number: (*_left(made[number]), number))
    told = [
        replace(trial, candidate=_told(trial.candidate, made[number], passed=number < taken))
        if number in made
        else trial
        for number, trial in enumerate(trials)
    ]
    return (told[taken], *(trial for number, trial in enumerate(told) if number != taken)), made[taken]


def _is_whole(piped: Piped) -> bool:
    return _left(piped) == (0.0, 0)


def _left(piped: Piped) -> tuple[float, int]:
    """What is left out: tubing in laterals that are not fed, as a share, and manifolds without a line."""
    whole = math.fsum(item.length for item in piped.laterals)
    dry = math.fsum(item.length for item in piped.laterals if item.name not in piped.plumbing.fed)
    return (dry / whole if dry > RESIDUE * whole else 0.0), len(piped.plumbing.unreached)


def _told(item: Candidate, piped: Piped, *, passed: bool) -> Candidate:
    dry, unreached = _left(piped)
    return replace(item, fed=1.0 - dry, unreached=unreached, passed=passed)


def choice_findings(candidates: Sequence[Candidate]) -> Iterator[Finding]:
    """Say why a pattern is not laid though it ranks before: what its plumbing would leave out.

    Parameters
    ----------
    candidates : sequence of Candidate
        Those that were tried, the one that is laid first.
    """
    laid, *others = candidates
    passed = [item for item in others if item.passed]
    if not passed:
        return
    lies = (
        "whose manifolds all have a line"
        if not laid.unreached and laid.fed == 1.0
        else "that leaves less out"
    )
    yield Finding(
        code="passed-over",
        said=(
            f"{listed([_named(item) for item in passed], '; ')}: passed over. The {laid.pattern} "
            f"pattern, {laid.score:.2f}, is the next {lies}."
        ),
        remedy=(
            "To have one of them all the same, set runs.pattern and runs.sides; another manifold.end or a longer "
            "laterals.longest may let lines to all its manifolds."
        ),
    )


def _named(item: Candidate) -> str:
    """A pattern with its score and what its plumbing leaves out."""
    left = []
    if item.unreached:
        several = "s" if item.unreached > 1 else ""
        left.append(f"no line can lead to {item.unreached} manifold{several}")
    if item.fed is not None and item.fed < 1.0:
        left.append(f"{1 - item.fed:.1%} of the tubing stays dry")
    along = "" if item.follows == "outline" else f" along the {item.follows}"
    return f"{item.pattern}{along}, {item.score:.2f}: {' and '.join(left)}"


def lay_comparison(site: Site, ground: UsableGround, *, progress: Progress) -> tuple[Trial, ...]:
    """Lay and measure every pattern that applies, along every kind of sides, whichever the site file asks for.

    Parameters and result as for :func:`layout.trials.lay_trials`, the one that `best` takes first; what a plan of the
    site file as it stands lays is among them, and marked.
    """
    rules = site.runs
    free = replace(site, runs=replace(rules, pattern=Pattern.BEST, sides=None))
    trials = lay_trials(free, ground, progress=progress, thorough=True)
    progress("laterals, manifolds and lines")
    with contextlib.suppress(NoRoomError):  # a plan says so; the patterns can be looked at all the same
        trials, _ = choose(free, ground, trials)
    first, *others = trials
    if rules.pattern is Pattern.BEST and rules.sides is None:
        return replace(first, planned=True), *others
    try:
        asked = lay_trials(site, ground, progress=progress)
        with contextlib.suppress(NoRoomError):
            asked, _ = choose(site, ground, asked)
        planned = replace(asked[0], planned=True)
    except NoRoomError:
        return first, *others  # a plan says so; the others can be looked at all the same
    if is_same(first, planned):
        return replace(planned, candidate=first.candidate), *others
    others = [trial for trial in others if not is_same(trial, planned)]
    return first, *sorted((*others, planned), key=lambda trial: trial.candidate.score)
