"""From the runs of a trial to all that carries water to them: laterals, zones, manifolds, lines, fittings."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from shapely import LineString, MultiPoint, Point

from layout.emitters import place_emitters
from layout.errors import Fault, NoRoomError
from layout.fittings import place_fittings
from layout.laterals import join_runs
from layout.manifolds import lay_plumbing
from layout.model import (
    EmitterRow,
    EndTrial,
    Finding,
    Join,
    Lateral,
    Pattern,
    Plumbing,
    Site,
    Trial,
    UsableGround,
    Zone,
    ZoneLevels,
    site_place,
    xy,
)
from layout.plane import TOLERANCE
from layout.routes import route_lines
from layout.routes.elbows import elbows_along
from layout.terrain import air_places, zone_levels
from layout.trials import lay_trials
from layout.zones import make_zones

MIRRORED = {Pattern.LEFT: Pattern.RIGHT, Pattern.RIGHT: Pattern.LEFT}
"""Seen from the other end, left is right."""


WORTH = 0.05
"""Share of all pipe, trench and blank tubing that leads back through the bed have to save (judgement of this tool)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piped:
    """What a trial becomes.

    Attributes
    ----------
    laterals : tuple of Lateral
    joins : tuple of Join
    emitters : tuple of EmitterRow
    zones : tuple of Zone
    plumbing : Plumbing
    levels : tuple of ZoneLevels
    """

    laterals: tuple[Lateral, ...]
    joins: tuple[Join, ...]
    emitters: tuple[EmitterRow, ...]
    zones: tuple[Zone, ...]
    plumbing: Plumbing
    levels: tuple[ZoneLevels, ...]


def pipe_trial(site: Site, ground: UsableGround, trial: Trial) -> Piped:
    """Join the runs of a trial into laterals and zones, and lay manifolds, lines and fittings.

    No lateral of several runs is longer than `laterals.longest`, unless no line reaches some of its runs by themselves:
    where only a neighbour can feed them, they are tied to it all the same, and a check fails.

    Laterals that end elsewhere than at the manifold end have a return manifold there, with a line to the pump, unless
    blank tubing that leads back through the bed takes less: of pipe, trench and blank tubing all together a twentieth
    less at least. With it they too are within `longest`.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    trial : Trial

    Raises
    ------
    NoRoomError
        Where more zones are asked for than there are laterals, or no run has an emitter.
    """
    made, stranded = _piped(site, ground, trial), frozenset[str]()
    dry = frozenset(
        name for item in made.laterals if item.name not in made.plumbing.fed for name in item.runs
    )
    if dry:
        # Where it leaves fewer laterals than zones are asked for, that is no way.
        with contextlib.suppress(NoRoomError):
            tied = _piped(site, ground, trial, stranded=dry)
            if _fed(tied) > _fed(made) + TOLERANCE:
                made, stranded = tied, dry
    return _led_back(site, ground, trial, made, stranded)


def _led_back(
    site: Site, ground: UsableGround, trial: Trial, made: Piped, stranded: Collection[str]
) -> Piped:
    """Lead returns back through the bed to the manifold end, where that takes less than a manifold and line there."""
    pipes = made.plumbing
    wanted: set[str] = set()
    for manifold in pipes.manifolds:
        ends = [
            item
            for item in made.laterals
            for riser in pipes.risers
            if (riser.kind, riser.lateral) == ("return", item.name)
            and not item.returns_near
            and pipes.under(riser) is manifold
        ]
        own = [pipe for pipe in pipes.way_to(manifold) if pipe.zone]
        spared = math.fsum(2.0 * pipe.line.length for pipe in (manifold, *own))
        least = [trial.sides.near.distance(Point(item.drain)) for item in ends]
        within = (
            item.length + item.blank + lead <= site.laterals.longest
            for item, lead in zip(ends, least, strict=True)
        )
        if ends and own and math.fsum(least) < spared and all(within):
            wanted |= {item.name for item in ends}
    while wanted:
        led = _piped(site, ground, trial, stranded=stranded, led_back=wanted)
        back = {riser.lateral: float(riser.line.length) for riser in led.plumbing.risers if riser.back}
        long = {
            item.name
            for item in led.laterals
            if item.length + item.blank + back.get(item.name, 0.0) > site.laterals.longest
        } & back.keys()
        if not long and _fed(led) >= _fed(made) - TOLERANCE and _taken(led) < (1 - WORTH) * _taken(made):
            return led
        wanted = wanted & back.keys() - long if long else set()
    return made


def _taken(piped: Piped) -> float:
    """Length of pipe, trench and blank tubing [m]."""
    pipes = piped.plumbing
    lines = [pipe.line for pipe in (*pipes.manifolds, *pipes.lines)]
    lines += [trench.line for trench in pipes.trenches]
    lines += [*(riser.line for riser in pipes.risers), *(join.line for join in piped.joins)]
    return math.fsum(line.length for line in lines)


def _fed(piped: Piped) -> float:
    """Length of tubing in laterals that are fed [m]."""
    return math.fsum(item.length for item in piped.laterals if item.name in piped.plumbing.fed)


def _piped(
    site: Site,
    ground: UsableGround,
    trial: Trial,
    *,
    stranded: Collection[str] = (),
    led_back: Collection[str] = (),
) -> Piped:
    """Pipe a trial.

    Runs that are stranded are tied to neighbours even beyond the longest lateral; the returns of laterals that are led
    back come to the manifold end.
    """
    laying = trial.laying
    laterals, joins = join_runs(
        laying,
        site.laterals,
        spacing=site.runs.spacing,
        bed=site.bed,
        kept_clear=ground.kept_clear,
        stranded=stranded,
    )
    emitters = tuple(place_emitters(run, site.tubing) for run in laying.runs)
    if not any(row.count for row in emitters):
        unit = site.frame.units
        longest = max(run.length for run in laying.runs) / unit.length
        raise NoRoomError(
            Fault(
                file=site.file.name,
                field="tubing.emitter_spacing",
                said=f"no run is long enough for an emitter; the longest has {longest:.2f} {unit.length_name}",
                remedy="Write the distance from emitter to emitter along the tubing.",
            )
        )
    laterals = tuple(replace(item, led_back=item.name in led_back) for item in laterals)
    laterals, zones = make_zones(site, laterals, laying.runs, emitters)
    plumbing = lay_plumbing(
        laterals,
        laying.runs,
        trial.sides,
        site.manifold,
        pump=site.pump,
        features=site.features,
        outline=site.bed.outline,
        kept_clear=ground.kept_clear,
        joins=joins,
    )
    plumbing = route_lines(
        plumbing,
        pump=site.pump,
        features=site.features,
        outline=site.bed.outline,
        tubing=[run.line for run in laying.runs] + [join.line for join in joins],
        trunk=site.zones is not None and site.zones.lines == "trunk",
    )
    air_at = air_places(site, plumbing)
    plumbing = place_fittings(
        plumbing,
        joins,
        laterals,
        air_at=air_at,
        bends=elbows_along,
        tanks=[item.shape for item in site.pump_house],
        bend_radius=site.tubing.bend_radius,
    )
    return Piped(
        laterals=laterals,
        joins=joins,
        emitters=emitters,
        zones=zones,
        plumbing=plumbing,
        levels=zone_levels(site, zones, laying.runs, plumbing),
    )


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
    pipes += [riser.line for riser in piped.plumbing.risers if riser.lead]
    return math.fsum(line.length for line in (*pipes, *(join.line for join in piped.joins)))


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
        laterals=len(piped.laterals),
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
        laterals=0,
        refused=error.faults[0].said,
    )


def _middle(line: LineString) -> Point:
    return line.interpolate(0.5, normalized=True)
