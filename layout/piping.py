"""From the runs of a trial to all that carries water to them: laterals, zones, manifolds, lines, fittings."""

from __future__ import annotations

from dataclasses import dataclass, replace

from layout.emitters import place_emitters
from layout.errors import Fault, NoRoomError
from layout.fittings import place_fittings
from layout.laterals import join_runs
from layout.manifolds import lay_plumbing
from layout.model import (
    EmitterRow,
    EndTrial,
    Join,
    Lateral,
    Pattern,
    Plumbing,
    Site,
    Trial,
    UsableGround,
    Zone,
    ZoneLevels,
    xy,
)
from layout.routes import route_lines
from layout.routes.elbows import elbows_along
from layout.terrain import air_places, zone_levels
from layout.trials import lay_trials
from layout.zones import make_zones

MIRRORED = {Pattern.LEFT: Pattern.RIGHT, Pattern.RIGHT: Pattern.LEFT}
"""Seen from the other end, left is right."""


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
    laying = trial.laying
    laterals, joins = join_runs(
        laying, site.laterals, spacing=site.runs.spacing, bed=site.bed, kept_clear=ground.kept_clear
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
    )
    air_at = air_places(site, plumbing)
    plumbing = place_fittings(plumbing, joins, laterals, air_at=air_at, bends=elbows_along)
    return Piped(
        laterals=laterals,
        joins=joins,
        emitters=emitters,
        zones=zones,
        plumbing=plumbing,
        levels=zone_levels(site, zones, laying.runs, plumbing),
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
    middle = trial.sides.near.interpolate(0.5, normalized=True)
    found = []
    for end in ("pump", "far"):
        variant = replace(site, manifold=replace(site.manifold, end=end))
        if end == site.manifold.end:
            found.append(_end_trial(variant, ground, trial, asked=True))
            continue
        other = _from(variant, ground, trial, trial.candidate.pattern)
        asked = other.sides.near.distance(middle) < other.sides.far.distance(middle)
        if asked:
            other = trial
        elif trial.candidate.pattern in MIRRORED:
            other = _from(variant, ground, trial, MIRRORED[trial.candidate.pattern])
        found.append(_end_trial(variant, ground, other, asked=asked))
    return found[0], found[1]


def _from(site: Site, ground: UsableGround, trial: Trial, pattern: Pattern) -> Trial:
    """Lay the pattern of a trial from the end that a site asks for."""
    item = trial.candidate
    rules = replace(site.runs, pattern=pattern, sides=item.follows, first=item.first)
    return lay_trials(replace(site, runs=rules), ground, progress=lambda _stage: None)[0]


def _end_trial(site: Site, ground: UsableGround, trial: Trial, *, asked: bool) -> EndTrial:
    piped = pipe_trial(site, ground, trial)
    plumbing = piped.plumbing
    return EndTrial(
        end="far" if site.manifold.end == "far" else "pump",
        at=xy(trial.sides.near.interpolate(0.5, normalized=True)),
        pattern=trial.candidate.pattern,
        manifolds=sum(pipe.line.length for pipe in plumbing.manifolds),
        lines=sum(pipe.line.length for pipe in plumbing.lines),
        laterals=len(piped.laterals),
        unreached=len(plumbing.unreached),
        asked=asked,
    )
