"""Whether manifolds and risers keep out of setbacks, and which run ends amid the bed blank tubing leads to them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shapely import MultiPolygon, Point

from layout.model import Check, Finding, Plumbing, Site, site_place, xy
from layout.plane import TOLERANCE, coordinates, stretches_in

AMID = 1.0
"""An end of a lateral farther within the edge of the bed than this stands amid it [m]."""


def setback_check(site: Site, plumbing: Plumbing, kept_clear: MultiPolygon) -> Check:
    """How much of the manifolds and risers lies within a setback: nothing may.

    Parameters
    ----------
    site : Site
    plumbing : Plumbing
    kept_clear : MultiPolygon
        Setback zones [m].
    """
    # Where a trench follows the edge of a zone, it lies neither in it nor out of it.
    zones = kept_clear.buffer(-TOLERANCE)
    pipes = [pipe.line for pipe in plumbing.manifolds] + [riser.line for riser in plumbing.risers]
    parts = (part for line in pipes for part in stretches_in(line, zones))
    within = [part for part in parts if part.length > TOLERANCE]
    length = math.fsum(part.length for part in within)
    place = ""
    if length > 0:
        longest = max(within, key=lambda part: float(part.length))
        x, y = coordinates(longest.interpolate(0.5, normalized=True))[0].tolist()
        place = f"at {site_place(site.frame, (x, y))}"
    return Check(
        name="length of manifolds and risers within setbacks",
        value=length,
        limit=0.0,
        unit="length",
        sense="most",
        ok=length == 0,
        source="feature.setback",
        place=place,
    )


def lead_findings(site: Site, plumbing: Plumbing) -> Iterator[Finding]:
    """Say which ends of laterals lie amid the bed, or across it, and how far blank tubing leads to a manifold.

    Parameters
    ----------
    site : Site
    plumbing : Plumbing
    """
    unit = site.frame.units
    for riser in plumbing.risers:
        if riser.lead:
            elbows = sum(
                (item.kind, item.on, item.of) == ("elbow 90", "tubing", riser.lateral)
                and riser.line.distance(Point(item.at)) < TOLERANCE
                for item in plumbing.fittings
            )
            at = site_place(site.frame, xy(riser.line.interpolate(riser.line.length)))
            ends = "begins" if riser.kind == "supply" else "ends"
            rest = (
                f"{riser.line.length / unit.length:.2f} {unit.length_name} of blank tubing lead between the runs to "
                f"its {riser.kind} manifold, round {elbows} elbow{'' if elbows == 1 else 's'}"
            )
            if riser.back:
                yield Finding(
                    code="led-back",
                    said=(
                        f"{riser.lateral} {ends} away from the manifold end, at {at}: {rest}; a manifold there, with "
                        "its line, would take more pipe, trench and tubing."
                    ),
                    remedy="An even number of rows needs no lead: runs.most, or another pattern, may give one.",
                )
            else:
                end = riser.line.interpolate(riser.line.length)
                amid = site.bed.outline.exterior.distance(end) > AMID
                where = "amid the bed" if amid else "where a manifold beside it would be shut in"
                yield Finding(
                    code="led-end",
                    said=f"{riser.lateral} {ends} {where}, at {at}: {rest}.",
                    remedy="Another pattern, or laterals.runs, may need no lead.",
                )
