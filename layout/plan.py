"""The conductor: one call a stage, from a site to a finished design. Here alone the stages meet."""

from __future__ import annotations

import math
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
from layout.asked import sides_findings
from layout.cells import MOST_EMITTERS, emitter_cells, evenness
from layout.checks import design_checks, row_findings
from layout.coverage import bare_places
from layout.cutting import cut_coils
from layout.emitters import field_totals, place_emitters
from layout.hydraulics.field import water_of
from layout.limits import refuse_too_large
from layout.manifolds import crossing_checks, crossing_findings, lead_findings, setback_check
from layout.meant import meant_findings
from layout.model import (
    AsBuilt,
    Candidate,
    Design,
    Dropped,
    EndTrial,
    Finding,
    Laying,
    Pattern,
    Shot,
    Site,
    Totals,
    Trial,
    UsableGround,
    site_place,
    watered,
)
from layout.necks import neck_findings
from layout.piping import end_findings, pipe_trial, try_ends
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
from layout.trials import Progress, lay_comparison, lay_trials
from layout.usable import usable_ground
from layout.zones import evenness_checks

LEAST_BARE = 0.5
"""Bare places smaller than this are not worth a line, in squares of the spacing."""
LISTED_BARE = 6
"""Bare places that have a finding each; of the others the sum is told."""
HALF_A_FOOT = "half a foot, as WAC 246-272A-0265 asks of record drawings"
"""Where the tolerance of laying comes from, if the user states none."""
LISTED = 30
"""Pieces left out that have a finding each; of the others the sum is told."""


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
    best, laying, sides = trials[0].candidate, trials[0].laying, trials[0].sides
    tell("laterals, manifolds and lines")
    piped = pipe_trial(site, ground, trials[0])
    laterals, joins, emitters = piped.laterals, piped.joins, piped.emitters
    zones, plumbing, levels = piped.zones, piped.plumbing, piped.levels
    tell("emitters and checks")
    totals = field_totals(laying.runs, emitters, joins)
    cells = emitter_cells(ground.area, site.bed.outline, emitters, spacing=site.runs.spacing)
    mean_and_cv = evenness(cells) if cells else None
    if mean_and_cv is not None:
        totals = replace(totals, cell_mean=mean_and_cv[0], cell_cv=mean_and_cv[1])
    checks = (
        *design_checks(
            site, ground, laying, laterals, plumbing, best.coverage, joins=joins, emitters=emitters
        ),
        setback_check(site, plumbing, ground.kept_clear),
        *crossing_checks(site, plumbing, laying.runs, joins),
        *route_checks(site, plumbing),
        *evenness_checks(site, laterals, zones),
        *pitch_checks(site, levels),
    )
    slopes = run_slopes(site, laying)
    tell("stakes")
    staking = stake_out(site, laying, plumbing, heights=lambda points: known_heights(site.bed.levels, points))
    tell("coils and parts")
    waste = site.takeoff.waste_of("emitting tubing", site.takeoff.waste)
    cuts = cut_coils(laying.runs, site.tubing, waste=waste)
    parts = count_parts(
        site,
        laying.runs,
        joins,
        plumbing,
        laterals=laterals,
        zones=zones,
        stakes=staking.stakes,
        cuts=cuts,
    )
    design = Design(
        site=site,
        ground=ground,
        sides=sides,
        laying=laying,
        candidates=tuple(trial.candidate for trial in trials),
        laterals=laterals,
        joins=joins,
        plumbing=plumbing,
        emitters=emitters,
        coverage=best.coverage,
        totals=totals,
        checks=checks + slope_checks(site, laying, slopes),
        parts=parts,
        findings=(
            *meant_findings(site, ground, laying),
            *row_findings(site, laying, joins),
            *_findings(site, laying, totals, [trial.candidate for trial in trials]),
            *_bare_ground(site, ground, laying),
            *ground_findings(site, laying),
            *height_findings(site, laying, joins, plumbing),
            *neck_findings(
                site, laying, {name for lateral in watered(laying.runs, laterals) for name in lateral.runs}
            ),
            *route_findings(site, plumbing),
            *end_findings(site, ground, trials[0], piped),
            *lead_findings(site, plumbing),
            *crossing_findings(site, plumbing),
            *level_findings(site, levels, plumbing),
            *stake_findings(site, staking),
        ),
        slopes=slopes,
        cells=cells,
        zones=zones,
        zone_levels=levels,
        staking=staking,
        cuts=cuts,
    )
    tell("flows and pressures")
    return _with_water(design)


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
        See :func:`layout.trials.lay_comparison`.

    Raises
    ------
    NoRoomError
        Where no run can be laid.
    """
    tell = progress or _silent
    return lay_comparison(site, _ground(site, tell), progress=tell)


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


def _ground(site: Site, progress: Progress) -> UsableGround:
    progress("usable ground")
    refuse_too_large(site)
    return usable_ground(site.bed, site.features, frame=site.frame, file=site.file.name)


def _findings(
    site: Site, laying: Laying, totals: Totals, candidates: Sequence[Candidate]
) -> Iterator[Finding]:
    """What deserves a look though the plan stands."""
    if site.runs.sides is None and all(item.follows == "rectangle" for item in candidates):
        yield Finding(
            code="no-long-direction",
            said="The bed has no clear long direction; its runs are straight, along its smallest enclosing rectangle.",
            remedy='To follow another line, draw it and set runs.pattern = "drawn".',
        )
    yield from sides_findings(site, candidates[0])
    guide = site.runs.guide
    if (
        laying.pattern is Pattern.DRAWN
        and guide is not None
        and guide.is_closed
        and guide.within(site.bed.outline)
    ):
        yield Finding(
            code="closed-guide",
            said="The line to follow closes within the bed; where it is nearest to the edge it is carried on straight.",
            remedy="Leave a piece of it out where runs should begin, or end it off the bed.",
        )
    if totals.emitters > MOST_EMITTERS:
        yield Finding(
            code="no-cells",
            said=(
                f"The field has {totals.emitters:,} emitters; the ground of each is worked out, and the coverage "
                f"picture drawn, for {MOST_EMITTERS:,} at most"
            ),
            remedy="Plan the field as several beds to have them.",
        )
    yield from _left_out(site, laying.dropped)


def _bare_ground(site: Site, ground: UsableGround, laying: Laying) -> Iterator[Finding]:
    """Ground a whole gap from any run: what a run had to leave out, or no row of the pattern reaches."""
    unit, spacing = site.frame.units, site.runs.spacing
    gap = site.runs.widest if laying.pattern is Pattern.EVEN else spacing
    found = bare_places(ground.area, laying.runs, reach=gap, speck=0.3 * spacing)
    places = [place for place in found if place.area > LEAST_BARE * spacing**2]
    reach = f"is farther than {gap / unit.length:g} {unit.length_name} from any tubing."
    for place in places[:LISTED_BARE]:
        at = place.representative_point()
        yield Finding(
            code="bare-ground",
            said=f"{place.area / unit.area:.1f} {unit.area_name} of usable ground round "
            f"{site_place(site.frame, (at.x, at.y))} {reach}",
        )
    rest = places[LISTED_BARE:]
    if rest:
        total = math.fsum(place.area for place in rest) / unit.area
        yield Finding(
            code="bare-ground",
            said=f"{total:.1f} {unit.area_name} of usable ground in {len(rest)} smaller places {reach}",
        )


def _left_out(site: Site, dropped: Sequence[Dropped]) -> Iterator[Finding]:
    """What is left out, the longest pieces one by one, the rest by their reason; layout.json has them all."""
    order = sorted(range(len(dropped)), key=lambda number: -round(dropped[number].line.length, 6))
    for number in sorted(order[:LISTED]):
        yield _dropped(site, dropped[number])
    unit = site.frame.units
    rest: dict[str, list[float]] = {}
    for number in order[LISTED:]:
        rest.setdefault(dropped[number].why, []).append(dropped[number].line.length)
    for why, lengths in rest.items():
        total = math.fsum(lengths) / unit.length
        yield Finding(
            code="dropped-pieces",
            said=f"{len(lengths)} shorter pieces, {total:.2f} {unit.length_name} in all, are left out: {why}.",
        )


def _dropped(site: Site, dropped: Dropped) -> Finding:
    unit = site.frame.units
    start, end = dropped.line.coords[0], dropped.line.coords[-1]
    return Finding(
        code="dropped-piece",
        said=(
            f"{dropped.line.length / unit.length:.2f} {unit.length_name} of tubing is left out between "
            f"{site_place(site.frame, start)} and {site_place(site.frame, end)}: "
            f"{dropped.why}."
        ),
    )
