"""The conductor: one call a stage, from a site to a finished design. Here alone the stages meet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from layout.asbuilt import (
    asbuilt_checks,
    asbuilt_findings,
    judged,
    match_shots,
    measure_runs,
    unknown_runs,
    whole_shift,
)
from layout.asked import asked_findings
from layout.cells import cell_findings, emitter_cells, evenness
from layout.checks import (
    bare_findings,
    design_checks,
    lateral_findings,
    left_out_findings,
    row_findings,
)
from layout.choice import choice_findings, choose, lay_comparison
from layout.coverage import bare_places
from layout.cutting import coil_findings, cut_coils
from layout.emitters import field_totals, place_emitters
from layout.ends import end_findings, try_ends
from layout.hydraulics.field import water_of
from layout.limits import refuse_too_large
from layout.manifolds import crossing_checks, crossing_findings, lead_findings, setback_check
from layout.meant import meant_findings
from layout.model import (
    AsBuilt,
    Design,
    EndTrial,
    Finding,
    Pattern,
    Shot,
    Site,
    Trial,
    UsableGround,
    begun_at_end,
)
from layout.necks import neck_findings
from layout.piping import Piped
from layout.routes import route_checks, route_findings
from layout.stakes import stake_findings, stake_out
from layout.takeoff import count_parts
from layout.terrain import (
    ground_findings,
    height_findings,
    heights,
    known_heights,
    level_findings,
    pitch_checks,
    run_slopes,
    slope_checks,
)
from layout.trials import Progress, lay_trials
from layout.usable import usable_ground
from layout.zones import evenness_checks

HALF_A_FOOT = "half a foot, as WAC 246-272A-0265 asks of record drawings"
"""Where the tolerance of laying comes from, if the user states none."""


def plan_field(site: Site, *, progress: Progress | None = None) -> Design:
    """Lay out a whole field.

    Parameters
    ----------
    site : Site
    progress : callable, optional
        Called with the name of each stage as it begins.

    Returns
    -------
    Design

    Raises
    ------
    NoRoomError
        Where no run can be laid.
    """
    tell = progress or _silent
    ground = _ground(site, tell)
    trials = lay_trials(site, ground, progress=tell)
    tell("laterals, manifolds and lines")
    trials, piped = choose(site, ground, trials)
    tell("emitters and checks")
    design = _measured(site, ground, trials, piped)
    tell("stakes")
    staking = stake_out(
        site,
        design.laying,
        design.plumbing,
        heights=lambda points: known_heights(site.bed.levels, points),
    )
    design = replace(design, staking=staking)
    tell("coils and parts")
    design = _counted(design)
    design = replace(design, findings=tuple(_told(design, trials[0], piped)))
    tell("flows and pressures")
    return _with_water(design)


def _measured(site: Site, ground: UsableGround, trials: Sequence[Trial], piped: Piped) -> Design:
    """The design as laid and piped, with its totals and checks."""
    first = trials[0]
    laying, joins, plumbing = first.laying, piped.joins, piped.plumbing
    dry = {name for item in piped.laterals if item.name not in plumbing.fed for name in item.runs}
    totals = field_totals(laying.runs, piped.emitters, joins, dry=dry)
    cells = emitter_cells(ground.area, site.bed.outline, piped.emitters, spacing=site.runs.spacing)
    mean_and_cv = evenness(cells) if cells else None
    if mean_and_cv is not None:
        totals = replace(totals, cell_mean=mean_and_cv[0], cell_cv=mean_and_cv[1])
    coverage, slopes = first.candidate.coverage, run_slopes(site, laying)
    checks = (
        *design_checks(
            site, ground, laying, piped.laterals, plumbing, coverage, joins=joins, emitters=piped.emitters
        ),
        setback_check(site, plumbing, ground.kept_clear),
        *crossing_checks(site, plumbing, laying.runs, joins),
        *route_checks(site, plumbing),
        *evenness_checks(site, piped.laterals, piped.zones),
        *pitch_checks(site, piped.levels),
        *slope_checks(site, laying, slopes),
    )
    return Design(
        site=site,
        ground=ground,
        sides=first.sides,
        laying=laying,
        candidates=tuple(trial.candidate for trial in trials),
        laterals=piped.laterals,
        joins=joins,
        plumbing=plumbing,
        emitters=piped.emitters,
        coverage=coverage,
        totals=totals,
        checks=checks,
        parts=(),
        slopes=slopes,
        cells=cells,
        zones=piped.zones,
        zone_levels=piped.levels,
    )


def _counted(design: Design) -> Design:
    """The design with its coils cut and its parts counted; stakes are among them."""
    site, runs = design.site, design.laying.runs
    cuts = cut_coils(runs, site.tubing, waste=site.takeoff.waste_of("emitting tubing", site.takeoff.waste))
    parts = count_parts(
        site,
        runs,
        design.joins,
        design.plumbing,
        laterals=design.laterals,
        zones=design.zones,
        levels=design.zone_levels,
        stakes=design.staking.stakes if design.staking else (),
        cuts=cuts,
    )
    return replace(design, cuts=cuts, parts=parts)


def _told(design: Design, trial: Trial, piped: Piped) -> Iterator[Finding]:
    """What deserves a look though the plan stands: of the site, of runs, of laterals and pipes, of stakes."""
    site, ground, laying = design.site, design.ground, design.laying
    laterals, plumbing = design.laterals, design.plumbing
    yield from meant_findings(site, ground, laying)
    yield from row_findings(site, laying, design.joins)
    yield from asked_findings(site, design.candidates)
    yield from choice_findings(design.candidates)
    yield from cell_findings(design.totals)
    yield from left_out_findings(site, laying.dropped)
    gap = site.runs.widest if laying.pattern is Pattern.EVEN else site.runs.spacing
    bare = bare_places(ground.area, laying.runs, reach=gap, speck=0.3 * site.runs.spacing)
    yield from bare_findings(site, bare, gap=gap)
    yield from ground_findings(site, laying)
    yield from height_findings(site, laying, design.joins, plumbing)
    through = {name for item in begun_at_end(laying.runs, laterals) for name in item.runs}
    yield from neck_findings(site, laying, through)
    yield from lateral_findings(site, laterals, laying.runs)
    yield from route_findings(site, plumbing)
    yield from end_findings(site, ground, trial, piped)
    yield from lead_findings(site, plumbing)
    yield from crossing_findings(site, plumbing)
    yield from level_findings(site, design.zone_levels, plumbing)
    if design.staking is not None:
        yield from stake_findings(site, design.staking)
    if design.cuts is not None:
        yield from coil_findings(site, design.cuts)


def _with_water(design: Design) -> Design:
    """The design with what water does in it, and the checks and findings of that."""
    levels = design.site.bed.levels
    water = water_of(design, heights=None if levels is None else lambda points: heights(levels, points))
    return replace(
        design,
        hydraulics=water.hydraulics,
        checks=(*design.checks, *water.checks),
        findings=(*design.findings, *water.findings),
    )


def measure_laid(design: Design, shots: Sequence[Shot], *, notes: Sequence[str] = ()) -> AsBuilt:
    """Hold what was measured of the tubing as laid against the plan.

    Parameters
    ----------
    design : Design
    shots : sequence of Shot
        Measured points, in any order.
    notes : sequence of str
        Of reading them.
    """
    rules = design.site.stakeout
    within, source = rules.laid_within, "stakeout.laid_within" if rules.laid_within_stated else HALF_A_FOOT
    matched = match_shots(design, shots, within=within)
    shift = whole_shift(design, matched, within=within)
    if shift is not None:
        again = match_shots(design, shots, within=within, shift=shift)
        if len(again.pipes) + len(again.astray) <= len(matched.pipes) + len(matched.astray):
            matched, shift = again, whole_shift(design, again, within=within) or shift
    measured, doubled = measure_runs(
        design, shots, matched, within=within, emit=lambda run: place_emitters(run, design.site.tubing)
    )
    runs = judged(design, measured, within=within)
    return AsBuilt(
        design=design,
        within=within,
        source=source,
        runs=runs,
        measured=len(shots),
        doubled=doubled,
        pipes=tuple(shots[number] for number in matched.pipes),
        astray=matched.astray,
        checks=asbuilt_checks(design, runs, within=within, source=source),
        findings=tuple(asbuilt_findings(design, runs, matched.astray, doubled, within=within, shift=shift)),
        notes=(*notes, *unknown_runs(design, shots)),
    )


def compare_patterns(site: Site, *, progress: Progress | None = None) -> tuple[Trial, ...]:
    """Lay and measure every pattern that applies, whichever one the site file asks for.

    Parameters
    ----------
    site : Site
    progress : callable, optional
        Called with the name of each stage as it begins.

    Returns
    -------
    tuple of Trial
        See :func:`layout.choice.lay_comparison`.

    Raises
    ------
    NoRoomError
        Where no run can be laid.
    """
    tell = progress or _silent
    return lay_comparison(site, _ground(site, tell, all_patterns=True), progress=tell)


def compare_ends(
    site: Site, trials: Sequence[Trial], *, progress: Progress | None = None
) -> tuple[EndTrial, EndTrial]:
    """Put the manifolds at either end of the bed, and measure the pipe that it takes.

    Parameters
    ----------
    site : Site
    trials : sequence of Trial
        Those of :func:`compare_patterns`. What a plan lays is taken, else the first.
    progress : callable, optional
        Called with the name of each stage as it begins.

    Returns
    -------
    tuple of EndTrial
        The end nearer the pump, then the other one.
    """
    (progress or _silent)("manifolds at either end")
    planned = [trial for trial in trials if trial.planned]
    return try_ends(site, _ground(site, _silent), (planned or list(trials))[0])


def _silent(_stage: str) -> None:
    """Tell nobody how far the work is."""


def _ground(site: Site, progress: Progress, *, all_patterns: bool = False) -> UsableGround:
    progress("usable ground")
    refuse_too_large(site, all_patterns=all_patterns)
    return usable_ground(site.bed, site.features, frame=site.frame, file=str(site.file))
