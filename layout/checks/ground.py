"""The ground: how well tubing covers it, and what it has to take."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from layout.checks.compare import JUDGEMENT, compare
from layout.model import Check, Coverage, Run, Site, UsableGround, site_place

DRY_SHARE = 1.25
"""Greatest dry distance, in half spacings."""
COVERED_SHARE = 0.98
"""Least share of usable ground within half a spacing of tubing."""


def dry(site: Site, coverage: Coverage) -> Check:
    """Distance of the farthest usable ground from tubing."""
    return compare(
        "farthest usable ground from tubing",
        coverage.dry,
        "most",
        DRY_SHARE * 0.5 * site.runs.spacing,
        unit="length",
        source=f"1.25 × half of runs.spacing: {JUDGEMENT}",
        place=f"at {site_place(site.frame, coverage.dry_at)}",
    )


def covered(coverage: Coverage) -> Check:
    """Share of the usable ground that lies within half a spacing of tubing."""
    return compare(
        "usable ground within half a spacing of tubing",
        coverage.covered,
        "least",
        COVERED_SHARE,
        unit="ratio",
        source=JUDGEMENT,
        place="",
    )


def needed(site: Site) -> tuple[float, float] | None:
    """Ground that the stated flow needs at the stated loading [m²], and the tubing of it [m]; None where not stated.

    Tubing: with runs a run spacing apart, area over spacing (derived).
    """
    if site.design.flow is None or site.design.loading is None:
        return None
    area = site.design.flow / site.design.loading
    return area, area / site.runs.spacing


def loading(site: Site, ground: UsableGround, runs: Sequence[Run]) -> Iterator[Check]:
    """Design flow spread over the usable ground, and the tubing that it needs, see :func:`needed`."""
    wanted = needed(site)
    if wanted is None or site.design.flow is None or site.design.loading is None:
        return
    yield compare(
        "loading of the usable ground",
        site.design.flow / ground.area.area,
        "most",
        site.design.loading,
        unit="loading",
        source="design.flow, design.loading",
        place="",
    )
    yield compare(
        "tubing for the stated flow",
        math.fsum(run.length for run in runs),
        "least",
        wanted[1],
        unit="length",
        source="design.flow, design.loading, runs.spacing",
        place="",
    )
