"""Manifolds and their lines, laid together: what no line reaches is led to where one does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from layout.manifolds import lay_plumbing
from layout.model import XY, Join, Lateral, PipeKind, Plumbing, Site, Trial, UsableGround
from layout.routes import route_lines

ELSEWHERE = 2
"""How often ends of laterals that no line reaches are led to another place."""


def reached(
    site: Site, ground: UsableGround, trial: Trial, laterals: Sequence[Lateral], joins: Sequence[Join]
) -> Plumbing:
    """Lay manifolds, risers and lines; ends of laterals that no line reaches get a lead to elsewhere.

    That is taken where it leaves fewer manifolds without a line and feeds as many laterals.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    trial : Trial
        Whose runs are joined.
    laterals : sequence of Lateral
    joins : sequence of Join

    Returns
    -------
    Plumbing
        Without fittings but those of the lines.
    """
    best = latest = _routed(site, ground, trial, laterals, joins)
    shut: dict[str, dict[PipeKind, XY]] = {}
    for _ in range(ELSEWHERE):
        lost = _lost(latest)
        if not lost:
            break
        for (name, kind), at in lost.items():
            shut.setdefault(name, {})[kind] = at
        marked = [replace(item, shut=tuple(shut.get(item.name, {}).items())) for item in laterals]
        latest = _routed(site, ground, trial, marked, joins)
        if len(latest.unreached) < len(best.unreached) and len(latest.fed) >= len(best.fed):
            best = latest
    return best


def _lost(plumbing: Plumbing) -> Mapping[tuple[str, PipeKind], XY]:
    """Ends of laterals, by name and kind, on manifolds that no line reaches, and where it would meet these [m]."""
    gone = {(item.kind, item.zone, item.at) for item in plumbing.unreached}
    return {
        (riser.lateral, riser.kind): pipe.feed
        for riser in plumbing.risers
        if (pipe := plumbing.under(riser)) and (pipe.kind, pipe.zone, pipe.feed) in gone
    }


def _routed(
    site: Site, ground: UsableGround, trial: Trial, laterals: Sequence[Lateral], joins: Sequence[Join]
) -> Plumbing:
    """Manifolds beyond the run ends, and lines to them."""
    runs = trial.laying.runs
    plumbing = lay_plumbing(
        laterals,
        runs,
        trial.sides,
        site.manifold,
        pump=site.pump,
        features=site.features,
        outline=site.bed.outline,
        kept_clear=ground.kept_clear,
        joins=joins,
    )
    return route_lines(
        plumbing,
        pump=site.pump,
        features=site.features,
        outline=site.bed.outline,
        tubing=[run.line for run in runs] + [join.line for join in joins],
        trunk=site.zones is not None and site.zones.lines == "trunk",
    )
