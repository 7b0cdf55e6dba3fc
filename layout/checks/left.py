"""What the layout leaves bare, and what it leaves out."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from shapely import Polygon

from layout.model import Dropped, Finding, Site, site_place

LEAST_BARE = 0.5
"""Bare places smaller than this are not worth a line, in squares of the spacing."""
LISTED_BARE = 6
"""Bare places that have a finding each; of the others the sum is told."""
LISTED_PIECES = 30
"""Pieces left out that have a finding each; of the others the sum is told."""


def bare_findings(site: Site, found: Sequence[Polygon], *, gap: float) -> Iterator[Finding]:
    """Say which ground is a whole gap from any run: what a run had to leave out, or no row of the pattern reaches.

    Parameters
    ----------
    site : Site
    found : sequence of Polygon
        Bare places, the largest first [m].
    gap : float
        How far they are from any run [m].
    """
    unit, spacing = site.frame.units, site.runs.spacing
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


def left_out_findings(site: Site, dropped: Sequence[Dropped]) -> Iterator[Finding]:
    """Say what is left out, the longest pieces one by one, the rest by their reason; layout.json has them all.

    Parameters
    ----------
    site : Site
    dropped : sequence of Dropped
    """
    order = sorted(range(len(dropped)), key=lambda number: -round(dropped[number].line.length, 6))
    for number in sorted(order[:LISTED_PIECES]):
        yield _dropped(site, dropped[number])
    unit = site.frame.units
    rest: dict[str, list[float]] = {}
    for number in order[LISTED_PIECES:]:
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
