"""Between the survey's coordinates and the local plane, and between the plan and the earth."""

from layout.frame.coordinates import (
    geometry_to_local,
    geometry_to_site,
    length_to_site,
    origin_near,
    point_to_site,
    to_local,
    to_site,
)
from layout.frame.crs import check_crs, crs_fault, crs_unit, place_in_crs
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
    "check_crs",
    "crs_fault",
    "crs_unit",
    "datum_note",
    "from_plan",
    "geometry_to_local",
    "geometry_to_site",
    "grid_factors",
    "ground_note",
    "length_to_site",
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
