"""What the sheets say of the plan's grid: its system, its factors against the ground, its north against true north."""

from __future__ import annotations

from typing import Any

from layout.frame import GridFactors, grid_factors, mean_level
from layout.model import Site, xy


def factors_of(site: Site) -> GridFactors | None:
    """The factors at the bed, for its mean level; None for a local plan grid."""
    at = xy(site.bed.outline.representative_point())
    return grid_factors(site.frame, at, level=mean_level(site.bed.levels))


def grid_entry(site: Site) -> dict[str, Any] | None:
    """The factors as programs want them; the level in site units, the convergence in degrees."""
    found = factors_of(site)
    if found is None:
        return None
    level = mean_level(site.bed.levels)
    return {
        "plane": site.frame.plane or site.frame.crs,
        "scale": found.scale,
        "height": found.height,
        "combined": found.combined,
        "convergence": found.convergence,
        "level": None if level is None else level / site.frame.units.length,
    }


def grid_words(site: Site) -> tuple[str, str, str] | None:
    """The same for people: the system, the combined factor, and what it is made of."""
    found = factors_of(site)
    if found is None:
        return None
    height = "levels unknown" if found.height is None else f"height {found.height:.6f}"
    turn = round(found.convergence, 2)
    way = "east" if turn > 0 else "west"
    north = f"grid north {abs(turn):.2f} degrees {way} of true north" if turn else "grid north is true north"
    return (
        site.frame.plane or site.frame.crs or "",
        f"combined factor {found.combined:.6f}",
        f"scale {found.scale:.6f}, {height}; {north}",
    )
