"""Whether a site's CRS may be used, and for what place.

A *CRS* is a coordinate reference system; a *projected* one counts eastings and northings in a unit of length.
The unit is taken from the factor its definition states, never from its name: the two feet differ by 2 parts
per million, 4 ft on an easting of 2 000 000 ft.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from layout.errors import Fault
from layout.frame.coordinates import point_to_site
from layout.model import XY, Frame
from layout.units import FOOT, US_SURVEY_FOOT, UnitSet

if TYPE_CHECKING:
    from pyproj import CRS

SAME_UNIT = 1e-9
"""Two units are one where their factors agree to this, relative; the two feet differ by 2e-6."""
SCALE_REFUSED = 0.01
"""A plan CRS whose lengths are wrong by more than this share of the ground's is refused."""
SCALE_NOTED = 0.001
"""... and by more than this is noted: 0.1 ft in 100 ft."""

_UNIT_WORDS = (
    (FOOT, "ft", "international feet"),
    (US_SURVEY_FOOT, "us-ft", "US survey feet"),
    (1.0, "m", "metres"),
)
_LONGEST_CRS = 20_000
_GRID_REMEDY = "Leave survey.crs out where the coordinates are a local plan grid."


def crs_fault(crs: str, units: UnitSet) -> Fault | None:
    """Say what is wrong with a CRS as the plan CRS of a site in these units; None where nothing is.

    Parameters
    ----------
    crs : str
        As the user names it.
    units : UnitSet
        The site's.
    """
    horizontal = horizontal_crs(crs)
    if isinstance(horizontal, Fault):
        return horizontal
    if _is_web_mercator(horizontal):
        return _fault(
            f"{crs} ({horizontal.name}) is Web Mercator: it stretches lengths by 1 / cos(latitude), about "
            "a third too long at 42 degrees, so nothing measured on its plane fits the ground",
            "Transform the coordinates to a CRS made for surveys there, such as a state plane or UTM zone.",
        )
    axes = horizontal.axis_info[:2]
    if {axis.direction for axis in axes} != {"east", "north"}:
        ways = " and ".join(axis.direction for axis in axes)
        return _fault(
            f"the axes of {crs} ({horizontal.name}) point {ways}; a plan counts east and north",
            "Transform the coordinates to a CRS of eastings and northings.",
        )
    factor, name = axes[0].unit_conversion_factor, axes[0].unit_name
    if _same(factor, units.length) and _same(axes[1].unit_conversion_factor, units.length):
        return None
    return _other_unit(crs, factor, _unit_name(factor, name), units)


def place_in_crs(frame: Frame, at: XY) -> tuple[Fault | None, tuple[str, ...]]:
    """Judge the frame's CRS at a place: whether lengths are true there, and whether it is meant for it.

    Parameters
    ----------
    frame : Frame
        With a CRS that `crs_fault` finds nothing wrong with, or with none.
    at : (x, y)
        A point of the bed [m].

    Returns
    -------
    fault : Fault or None
        Where lengths are wrong by more than `SCALE_REFUSED`.
    notes : tuple of str
        Where the place lies outside the area of use of the CRS, or lengths are wrong
        by more than `SCALE_NOTED`.
    """
    if frame.crs is None:
        return None, ()
    horizontal = horizontal_crs(frame.crs)
    if isinstance(horizontal, Fault):
        return horizontal, ()
    x, y = point_to_site(frame, at)
    where = f"({x:.2f}, {y:.2f})"
    if not _in_area(horizontal, x, y):
        swapped = " Are eastings and northings swapped?" if _in_area(horizontal, y, x) else ""
        return None, (
            f"the bed at {where} lies outside the area that {frame.crs} ({horizontal.name}) "
            f"is meant for.{swapped}",
        )
    scale = _scale(horizontal, x, y)
    if scale is None or abs(scale - 1.0) <= SCALE_NOTED:
        return None, ()
    text = f"a length of 100 on the ground is {100 * scale:.3f} in {frame.crs} ({horizontal.name}) at {where}"
    if abs(scale - 1.0) > SCALE_REFUSED:
        return _fault(text, "Transform the coordinates to a CRS made for surveys there."), ()
    return None, (f"{text}; tape and plan will differ by that.",)


def _fault(said: str, remedy: str) -> Fault:
    return Fault(field="survey.crs", said=said, remedy=remedy)


def horizontal_crs(text: str) -> CRS | Fault:
    """Find the projected part of the CRS a user named, or why there is none."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    short = text if len(text) <= 60 else text[:57] + "..."
    try:
        if len(text) > _LONGEST_CRS or "\0" in text:
            raise CRSError("too long")
        crs = CRS.from_user_input(text)
    except CRSError:
        return _fault(
            f'"{short}" is no coordinate reference system that is known here',
            f'Write its registered code, for instance crs = "EPSG:6494". {_GRID_REMEDY}',
        )
    while crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    if not crs.is_projected or len(crs.axis_info) < 2:
        kind = "counts in degrees" if crs.is_geographic else "is not projected"
        return _fault(
            f"{short} ({crs.name}) {kind}; plan coordinates need a projected CRS",
            f"Name the projected CRS of the plan coordinates. {_GRID_REMEDY}",
        )
    return crs


def _same(factor: float, other: float) -> bool:
    return math.isclose(factor, other, rel_tol=SAME_UNIT)


def _unit_name(factor: float, name: str) -> str:
    """Name a unit by its factor; by its registered name only where it is none of ours."""
    return next((words for known, _, words in _UNIT_WORDS if _same(factor, known)), name)


def _other_unit(crs: str, factor: float, name: str, units: UnitSet) -> Fault:
    word = next((word for known, word, _ in _UNIT_WORDS if _same(factor, known)), None)
    change = (
        f'Write units = "{word}" if the coordinates are in {name}' if word else "Transform the coordinates"
    )
    site_name = _unit_name(units.length, units.word)
    return _fault(
        f"{crs} counts in {name} ({factor:.12g} m), but the site in {site_name} "
        f'({units.length:.12g} m, units = "{units.word}")',
        f"{change}, or name the CRS that counts in {site_name}.",
    )


def _is_web_mercator(crs: CRS) -> bool:
    """Whether a Mercator on a sphere: EPSG:3857 under any of its names and codes."""
    operation = crs.coordinate_operation
    method = operation.method_name.lower() if operation is not None else ""
    if "mercator" not in method or "transverse" in method or "oblique" in method:
        return False
    ellipsoid = crs.ellipsoid
    sphere = ellipsoid is not None and ellipsoid.semi_major_metre == ellipsoid.semi_minor_metre
    return "pseudo" in method or "spherical" in method or sphere


def degrees_of(crs: CRS, x: float, y: float) -> tuple[float, float]:
    """Longitude and latitude [degrees] of a plan point on the CRS's own datum; infinity where there are none."""
    from pyproj import Transformer

    geodetic: Any = crs.geodetic_crs
    longitude, latitude = Transformer.from_crs(crs, geodetic, always_xy=True).transform(x, y)
    return float(longitude), float(latitude)


def _in_area(crs: CRS, x: float, y: float) -> bool:
    """Whether a plan point lies in the CRS's area of use, or within a quarter degree of it."""
    area = crs.area_of_use
    longitude, latitude = degrees_of(crs, x, y)
    if not (math.isfinite(longitude) and math.isfinite(latitude)):
        return False
    if area is None:
        return True
    east = area.east if area.east >= area.west else area.east + 360.0
    shifted = longitude if longitude >= area.west - 0.25 else longitude + 360.0
    return shifted <= east + 0.25 and area.south - 0.25 <= latitude <= area.north + 0.25


def _scale(crs: CRS, x: float, y: float) -> float | None:
    """Plan length over length on the ellipsoid at a plan point, the direction where it is farthest from 1."""
    from pyproj import Proj

    longitude, latitude = degrees_of(crs, x, y)
    factors = Proj(crs).get_factors(longitude, latitude)
    scales = [float(factors.meridional_scale), float(factors.parallel_scale)]
    worst = max(scales, key=lambda scale: abs(scale - 1.0))
    return worst if math.isfinite(worst) else None
