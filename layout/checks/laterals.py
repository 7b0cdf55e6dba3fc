"""Laterals and pipes: length, feed, and the features that pipes cross."""

from __future__ import annotations

import math
from collections.abc import Sequence

from layout.checks.compare import compare
from layout.model import Check, Lateral, Plumbing, Run, Site, site_place, watered


def longest_lateral(site: Site, laterals: Sequence[Lateral]) -> Check:
    """Length of the longest lateral with its loops and blank tubing."""
    limit = site.laterals.longest
    lengths = {lateral.name: lateral.length + lateral.blank for lateral in laterals}
    return compare(
        "longest lateral, with loops",
        max(lengths.values()),
        "most",
        limit,
        unit="length",
        source="laterals.longest",
        place=", ".join(
            f"{lateral.name} from {site_place(site.frame, lateral.supply)}"
            for lateral in laterals
            if lengths[lateral.name] > limit
        ),
    )


def fed(site: Site, runs: Sequence[Run], laterals: Sequence[Lateral]) -> Check:
    """Share of tubing that water reaches from the manifold end, through whatever runs."""
    reached = watered(runs, laterals)
    dry = [lateral for lateral in laterals if lateral not in reached]
    whole = math.fsum(lateral.length for lateral in laterals)
    return compare(
        "share of tubing fed from the manifold end",
        math.fsum(lateral.length for lateral in laterals if lateral not in dry) / whole,
        "least",
        1.0,
        unit="ratio",
        source="manifold.end",
        place=", ".join(
            f"{' and '.join(lateral.runs)} at {site_place(site.frame, lateral.supply)}" for lateral in dry
        ),
    )


def pipe_crossings(site: Site, plumbing: Plumbing) -> Check:
    """How many features manifolds, risers and lines cross."""
    return compare(
        "features crossed by manifolds, risers or lines",
        float(len(plumbing.crossings)),
        "most",
        0.0,
        unit="count",
        source="feature.shape",
        place="; ".join(f"{name} at {site_place(site.frame, at)}" for name, at in plumbing.crossings),
    )
