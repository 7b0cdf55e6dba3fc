"""Between the survey's coordinates and the local plane, and between the plan and the earth."""

from layout.frame.coordinates import origin_near, point_to_site, to_local, to_site
from layout.frame.crs import crs_fault, place_in_crs
from layout.frame.geodetic import (
    GridFactors,
    datum_note,
    from_plan,
    grid_factors,
    ground_note,
    local_plane,
    mean_level,
    to_degrees,
    to_plan,
)

__all__ = [
    "GridFactors",
    "crs_fault",
    "datum_note",
    "from_plan",
    "grid_factors",
    "ground_note",
    "local_plane",
    "mean_level",
    "origin_near",
    "place_in_crs",
    "point_to_site",
    "to_degrees",
    "to_local",
    "to_plan",
    "to_site",
]
