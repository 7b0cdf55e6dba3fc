"""Laterals and pipes: length, feed, and the features that pipes cross."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from layout.checks.compare import ROUNDING, compare
from layout.model import Check, Finding, Lateral, Plumbing, Run, Site, listed, site_place


def longest_lateral(site: Site, laterals: Sequence[Lateral]) -> Check:
    """Length of the longest lateral with its loops, blank tubing and leads."""
    limit = site.laterals.longest
    lengths = {lateral.name: lateral.whole for lateral in laterals}
    return compare(
        "longest lateral, with loops and leads",
        max(lengths.values()),
        "most",
        limit,
        unit="length",
        source="laterals.longest",
        place=", ".join(
            f"{lateral.name} from {site_place(site.frame, lateral.supply)}{_with_lead(site, lateral)}"
            for lateral in laterals
            if lengths[lateral.name] > limit
        ),
    )


def _with_lead(site: Site, lateral: Lateral) -> str:
    """Say how much of a lateral is leads, as the end of a sentence; nothing where it has none."""
    unit = site.frame.units
    return f", {lateral.lead / unit.length:.2f} {unit.length_name} of it leads" if lateral.lead else ""


def lateral_findings(site: Site, laterals: Sequence[Lateral], runs: Sequence[Run]) -> Iterator[Finding]:
    """Say why laterals are longer than `laterals.longest`, and what would help.

    Parameters
    ----------
    site : Site
    laterals : sequence of Lateral
    runs : sequence of Run
    """
    limit, unit = site.laterals.longest, site.frame.units
    length = {run.name: run.length for run in runs}
    over = [lateral for lateral in laterals if lateral.whole > limit * (1 + ROUNDING)]
    alone = [name for lateral in over for name in lateral.runs if length[name] > limit]
    if alone:
        greatest = max(length[name] for name in alone) / unit.length
        yield Finding(
            code="long-run",
            said=(
                f"{'Run' if len(alone) == 1 else 'Runs'} {listed(alone, ' ')}, "
                f"up to {greatest:.2f} {unit.length_name}, "
                f"{'is' if len(alone) == 1 else 'are each'} longer than laterals.longest, "
                f"{limit / unit.length:g} {unit.length_name}."
            ),
            remedy="Part the bed across its runs into two beds, lay runs along its short side with a line of your own, "
            "or make laterals.longest greater if the tubing allows it.",
        )
    led = [lateral for lateral in over if lateral.whole - lateral.lead <= limit * (1 + ROUNDING)]
    if led:
        yield Finding(
            code="long-lead",
            said=(
                f"{'; '.join(f'{item.name}{_with_lead(site, item)}' for item in led)}: longer than laterals.longest "
                "with the blank tubing that leads to the manifolds."
            ),
            remedy="Another manifold.end or runs.pattern may need no lead, or a shorter one; or make laterals.longest "
            "greater if the tubing allows it.",
        )
    tied = [
        lateral.name
        for lateral in over
        if lateral not in led and not any(name in alone for name in lateral.runs)
    ]
    if tied and site.laterals.runs is not None:
        yield Finding(
            code="long-lateral",
            said=f"{listed(tied, ' ')}: {site.laterals.runs} runs joined, as laterals.runs asks, are longer than "
            "laterals.longest.",
            remedy='Set laterals.runs to "best", or to fewer.',
        )
    elif tied:
        yield Finding(
            code="long-lateral",
            said=f"{listed(tied, ' ')}: longer than laterals.longest, for nothing but a neighbour can feed some of the "
            "runs there.",
            remedy="Leave room for a line to them, turn the runs with another pattern, or make "
            "laterals.longest greater if the tubing allows it.",
        )


def fed(site: Site, laterals: Sequence[Lateral], plumbing: Plumbing) -> Check:
    """Share of tubing in laterals whose supply end has a riser on a manifold that a line reaches."""
    dry = [lateral for lateral in laterals if lateral.name not in plumbing.fed]
    whole = math.fsum(lateral.length for lateral in laterals)
    return compare(
        "share of tubing fed",
        math.fsum(lateral.length for lateral in laterals if lateral not in dry) / whole,
        "least",
        1.0,
        unit="ratio",
        source="every lateral: a riser on a manifold that a line reaches",
        place=", ".join(
            f"{lateral.name}, {' and '.join(lateral.runs)}, at {site_place(site.frame, lateral.supply)}"
            for lateral in dry
        ),
    )


def pipe_crossings(site: Site, plumbing: Plumbing) -> Check:
    """At how many places manifolds and risers cross features; each pipe counts by itself."""
    return compare(
        "places where manifolds or risers cross features",
        float(len(plumbing.crossings)),
        "most",
        0.0,
        unit="count",
        source="feature.shape",
        place="; ".join(f"{name} at {site_place(site.frame, at)}" for name, at in plumbing.crossings),
    )
