"""Either end of the bed: what manifolds there would take of pipe, and whether the other end saves much of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from shapely import LineString, MultiPoint, Point

from layout.errors import NoRoomError
from layout.model import EndTrial, Finding, Pattern, Plumbing, Site, Trial, UsableGround, site_place, xy
from layout.piping import Piped, pipe_trial
from layout.trials import lay_trials

MIRRORED = {Pattern.LEFT: Pattern.RIGHT, Pattern.RIGHT: Pattern.LEFT}
"""Seen from the other end, left is right."""
SAVING = 0.25
"""Share of the pipe and blank tubing that the other end has to save to be worth a finding (judgement of this tool)."""


def end_findings(site: Site, ground: UsableGround, trial: Trial, piped: Piped) -> Iterator[Finding]:
    """Say where manifolds at the other end of the bed would save much pipe.

    The runs as laid are piped once more from their far ends, which takes a fraction of a new laying, and only where
    lines to that end, led straight, are short enough. It is an estimate: a plan of that end lays its runs anew. Beds
    whose runs are led on through necks or past obstacles are left out, for their runs would not be these.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    trial : Trial
        What is laid.
    piped : Piped
        What became of it.
    """
    laying, plumbing = trial.laying, piped.plumbing
    rows = {run.row for run in laying.runs}
    plain = len(rows) == len(laying.runs) and all(run.from_end for run in laying.runs)
    if site.pump is None or not plumbing.lines or plumbing.unreached or not plain:
        return
    if laying.lobes or laying.carries or laying.windings:
        return
    now = _pipe(piped)
    ends = MultiPoint([run.line.coords[-1] for run in laying.runs])
    straight = 2.0 * Point(site.pump.at).distance(ends)
    if straight > (1 - SAVING) * now:
        return
    try:
        other = pipe_trial(site, ground, _turned(trial))
    except NoRoomError:
        return
    then = _pipe(other)
    if other.plumbing.unreached or then >= (1 - SAVING) * now:
        return
    unit = site.frame.units
    at = site_place(site.frame, xy(trial.sides.far.interpolate(0.5, normalized=True)))
    words = {"pump": '"far"', "far": '"pump"'}
    end = words[site.manifold.end] if isinstance(site.manifold.end, str) else f"a point near {at}"
    yield Finding(
        code="other-end",
        said=(
            f"Manifolds, lines, loops and blank tubing take {now / unit.length:.0f} {unit.length_name}; with the "
            f"manifolds at the other end of the bed, at {at}, they would take about {then / unit.length:.0f} "
            f"{unit.length_name}."
        ),
        remedy=f"Unless the fall of the ground or the lot decides it, set manifold.end to {end}.",
    )


def _pipe(piped: Piped) -> float:
    """Length of manifolds, lines, loops and blank tubing, that of leads included [m]."""
    pipes = [pipe.line for pipe in (*piped.plumbing.manifolds, *piped.plumbing.lines)]
    lines = (*pipes, *(join.line for join in piped.joins))
    return math.fsum(line.length for line in lines) + _leads(piped.plumbing)


def _leads(plumbing: Plumbing) -> float:
    """Length of leads [m]."""
    return math.fsum(riser.line.length for riser in plumbing.risers if riser.lead)


def _turned(trial: Trial) -> Trial:
    """A trial with one run a row, all fed, as seen from the other end of the bed."""
    sides, laying = trial.sides, trial.laying
    last = max(run.row for run in laying.runs)
    runs = tuple(
        replace(run, name=f"R{number}", line=run.line.reverse(), row=last - run.row)
        for number, run in enumerate(reversed(laying.runs), start=1)
    )
    return replace(
        trial,
        laying=replace(laying, pattern=MIRRORED.get(laying.pattern, laying.pattern), runs=runs),
        sides=replace(
            sides,
            left=sides.right.reverse(),
            right=sides.left.reverse(),
            near=sides.far.reverse(),
            far=sides.near.reverse(),
            centre=sides.centre.reverse(),
        ),
    )


def try_ends(site: Site, ground: UsableGround, trial: Trial) -> tuple[EndTrial, EndTrial]:
    """Put the manifolds at either end of the bed, with the runs of a trial, and measure the pipe it takes.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    trial : Trial
        At the end that the site asks for.

    Returns
    -------
    tuple of EndTrial
        The end nearer the pump, then the other one. The same pattern is laid from the other end, so its runs may
        begin and end a little elsewhere.
    """
    found = []
    for end in ("pump", "far"):
        variant = replace(site, manifold=replace(site.manifold, end=end))
        if end == site.manifold.end:
            found.append(_end_trial(variant, ground, trial, asked=True))
            continue
        try:
            other = _other_end(variant, ground, trial) if isinstance(site.manifold.end, str) else None
            if other is None:
                other = _stated_end(variant, ground, trial)
        except NoRoomError as error:
            found.append(_refused(variant, trial, error))
            continue
        found.append(_end_trial(variant, ground, other, asked=other is trial))
    return found[0], found[1]


def _other_end(site: Site, ground: UsableGround, trial: Trial) -> Trial:
    """Lay the pattern of a trial from the other end of the bed, which a site asks for: left and right change there."""
    pattern = trial.candidate.pattern
    return _from(site, ground, trial, MIRRORED.get(pattern, pattern))


def _stated_end(site: Site, ground: UsableGround, trial: Trial) -> Trial:
    """Lay the pattern of a trial from the end that a site asks for, or keep it where it was laid from there."""
    middle = trial.sides.near.interpolate(0.5, normalized=True)
    laid = _from(site, ground, trial, trial.candidate.pattern)
    if laid.sides.near.distance(middle) < laid.sides.far.distance(middle):
        return trial
    return _other_end(site, ground, trial) if trial.candidate.pattern in MIRRORED else laid


def _from(site: Site, ground: UsableGround, trial: Trial, pattern: Pattern) -> Trial:
    """Lay the pattern of a trial from the end that a site asks for."""
    item = trial.candidate
    rules = replace(site.runs, pattern=pattern, sides=item.follows, first=item.first)
    return lay_trials(replace(site, runs=rules), ground, progress=lambda _stage: None)[0]


def _end_trial(site: Site, ground: UsableGround, trial: Trial, *, asked: bool) -> EndTrial:
    try:
        piped = pipe_trial(site, ground, trial)
    except NoRoomError as error:
        return replace(_refused(site, trial, error), at=xy(_middle(trial.sides.near)), asked=asked)
    plumbing = piped.plumbing
    return EndTrial(
        end="far" if site.manifold.end == "far" else "pump",
        at=xy(_middle(trial.sides.near)),
        pattern=trial.candidate.pattern,
        manifolds=sum(pipe.line.length for pipe in plumbing.manifolds),
        lines=sum(pipe.line.length for pipe in plumbing.lines),
        leads=_leads(plumbing),
        laterals=len(piped.laterals),
        longest=max(item.whole for item in piped.laterals),
        unreached=len(plumbing.unreached),
        asked=asked,
    )


def _refused(site: Site, trial: Trial, error: NoRoomError) -> EndTrial:
    """An end that no field can be piped from, the one across from where a trial was laid."""
    return EndTrial(
        end="far" if site.manifold.end == "far" else "pump",
        at=xy(_middle(trial.sides.far)),
        pattern=trial.candidate.pattern,
        manifolds=0.0,
        lines=0.0,
        leads=0.0,
        laterals=0,
        refused=error.faults[0].said,
    )


def _middle(line: LineString) -> Point:
    return line.interpolate(0.5, normalized=True)
