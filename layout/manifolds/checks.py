"""Whether manifolds and risers keep out of setbacks."""

from __future__ import annotations

import math

from shapely import MultiPolygon

from layout.model import Check, Plumbing, Site, site_place
from layout.plane import TOLERANCE, coordinates, stretches_in


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
