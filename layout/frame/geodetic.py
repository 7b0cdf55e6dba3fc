"""Between the plan and the earth: longitude and latitude both ways, a plan plane of its own, scale factors.

Longitude comes first, as in maps for programs; latitude and longitude are on WGS 84 unless said otherwise.
A *grid* length is one on the plane of a projection, a *ground* length what a level tape measures: grid = ground
× combined factor, the product of the projection's scale factor and the factor R / (R + height).
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from layout.errors import Fault, FrameError
from layout.frame.coordinates import point_to_site, to_site
from layout.frame.crs import degrees_of, horizontal_crs
from layout.model import XY, Frame, Levels
from layout.plane import Array
from layout.units import UnitSet

if TYPE_CHECKING:
    from pyproj import Transformer

WGS_84 = "EPSG:4326"
FALSE_ORIGIN = 1000.0
"""Easting and northing of the middle of a plane of our own [site units]."""
GROUND_NOTED = 1e-4
"""Plan lengths that differ from those on the ground by more than this share are noted: 0.01 in 100."""
_RADII = 6378137.0, 298.257223563
"""Semi-major axis [m] and inverse flattening of WGS 84 (NGA.STND.0036)."""
_PLACES = 3
"""Decimals of a degree to which the middle of a plane of our own is rounded: some 100 m."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GridFactors:
    """How plan lengths and directions relate to those on the ground at one place.

    Attributes
    ----------
    scale : float
        Length on the plane over length on the ellipsoid.
    height : float or None
        Length on the ellipsoid over length on the ground; None where the ground's level is not known.
    combined : float
        Length on the plane over length on the ground, as far as it is known.
    convergence : float
        From true north to grid north, clockwise [degrees].
    """

    scale: float
    height: float | None
    combined: float
    convergence: float


# --- longitude and latitude -----------------------------------------------------------------------------


@lru_cache(maxsize=16)
def _transformer(source: str, target: str) -> Transformer:
    """Longitude and latitude, or easting and northing, in this order, whatever the definitions say."""
    from pyproj import CRS, Transformer

    def system(text: str) -> CRS:
        crs = CRS.from_user_input(text)
        if crs.is_geographic:
            return crs
        found = horizontal_crs(text)
        if isinstance(found, Fault):
            raise FrameError(found)
        return found

    return Transformer.from_crs(system(source), system(target), always_xy=True)


def to_plan(crs: str, points: ArrayLike, *, datum: str = WGS_84) -> Array:
    """Put points given by longitude and latitude on the plane of a projected CRS.

    Parameters
    ----------
    crs : str
        Projected.
    points : (n, 2) array
        Longitude, latitude [degrees].
    datum : str
        The geographic CRS they are in.

    Returns
    -------
    (n, 2) array
        Easting, northing, in the unit of the CRS; infinite where the projection does not reach.
    """
    degrees = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    x, y = _transformer(datum, crs).transform(degrees[:, 0], degrees[:, 1])
    return np.column_stack((x, y))


def to_degrees(frame: Frame, points: ArrayLike, *, datum: str = WGS_84) -> Array:
    """Longitude and latitude of points of the local plane.

    Parameters
    ----------
    frame : Frame
        With a CRS.
    points : (n, 2) array
        [m].
    datum : str
        The geographic CRS wanted.

    Returns
    -------
    (n, 2) array
        Longitude, latitude [degrees].

    Raises
    ------
    FrameError
        Where the frame has no CRS.
    """
    if frame.crs is None:
        said = "a local plan grid has no longitude and latitude"
        raise FrameError(Fault(field="survey.crs", said=said, remedy="Name the CRS of the plan coordinates."))
    site = to_site(frame, points)
    longitude, latitude = _transformer(frame.crs, datum).transform(site[:, 0], site[:, 1])
    return np.column_stack((longitude, latitude))


def from_plan(crs: str, points: ArrayLike, *, datum: str = WGS_84) -> Array:
    """Longitude and latitude [degrees] of points on the plane of a projected CRS, in its unit; see :func:`to_plan`."""
    plan = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    longitude, latitude = _transformer(crs, datum).transform(plan[:, 0], plan[:, 1])
    return np.column_stack((longitude, latitude))


def datum_note(crs: str) -> str | None:
    """What a reader of maps should know of the step between WGS 84 and the datum of a CRS; None where there is none."""
    from pyproj.transformer import TransformerGroup

    found = horizontal_crs(crs)
    if isinstance(found, Fault) or found.geodetic_crs is None:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of grids that are not there: said below, as the accuracy
        group = TransformerGroup(WGS_84, found, always_xy=True)
    accuracy = group.transformers[0].accuracy if group.transformers else -1.0
    if accuracy == 0.0:
        return None
    datum = found.geodetic_crs.name
    if accuracy < 0:
        return f"WGS 84 and {datum} are taken as one: how far they differ is not known here"
    return f"the step between WGS 84 and {datum} is good to {accuracy:g} m"


# --- a plane of our own ---------------------------------------------------------------------------------


def local_plane(points: ArrayLike, units: UnitSet, *, level: float = 0.0) -> tuple[str, str]:
    """Choose a plane for points given by longitude and latitude, on which lengths are those on the ground.

    A transverse Mercator on WGS 84 through the middle of the points, its scale factor there 1 + level / R, with R
    the mean radius of curvature: at the level of the ground, lengths are true there, and to 0.1 mm in 100 m within
    9 km of its middle.

    Parameters
    ----------
    points : (n, 2) array
        Longitude, latitude [degrees].
    units : UnitSet
        What it shall count in.
    level : float
        Of the ground [m].

    Returns
    -------
    crs : str
        Its definition.
    middle : str
        Where it touches the earth, in words: ``42.360 N, 71.060 W``.
    """
    longitude, latitude = middle(points)
    k = 1.0 + level / mean_radius(latitude)
    false = FALSE_ORIGIN * units.length  # counted in metres, whatever the unit
    unit = {"ft": "ft", "us-ft": "us-ft", "m": "m"}[units.word]
    crs = (
        f"+proj=tmerc +lat_0={latitude:.{_PLACES}f} +lon_0={longitude:.{_PLACES}f} +k={k:.12f} "
        f"+x_0={false:.12g} +y_0={false:.12g} +datum=WGS84 +units={unit} +no_defs +type=crs"
    )
    return crs, f"{_degrees(latitude, 'NS')}, {_degrees(longitude, 'EW')}"


def middle(points: ArrayLike) -> XY:
    """The middle of the bounds of points given in degrees, rounded; also where they lie on both sides of 180°."""
    degrees = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    around = (degrees[:, 0] - degrees[0, 0] + 180.0) % 360.0 - 180.0
    longitude = float(degrees[0, 0] + (around.min() + around.max()) / 2)
    latitude = float((degrees[:, 1].min() + degrees[:, 1].max()) / 2)
    return round((longitude + 180.0) % 360.0 - 180.0, _PLACES), round(latitude, _PLACES)


def mean_radius(latitude: float) -> float:
    """Mean radius of curvature of the ellipsoid, √(M N), at a latitude in degrees [m]."""
    axis, flattening = _RADII[0], 1 / _RADII[1]
    squared = flattening * (2 - flattening)
    return axis * math.sqrt(1 - squared) / (1 - squared * math.sin(math.radians(latitude)) ** 2)


def _degrees(value: float, ways: str) -> str:
    return f"{abs(value):.{_PLACES}f} {ways[0] if value >= 0 else ways[1]}"


# --- grid and ground ------------------------------------------------------------------------------------


def mean_level(levels: Levels | None) -> float | None:
    """Mean of the levels that are known of a site [m]; None where there are none."""
    if levels is None:
        return None
    if levels.uniform is not None:
        return levels.uniform
    return math.fsum(z for _, _, z in levels.points) / len(levels.points)


def grid_factors(frame: Frame, at: XY, *, level: float | None = None) -> GridFactors | None:
    """How plan lengths relate to those on the ground.

    Parameters
    ----------
    frame : Frame
    at : (x, y)
        A point of the bed [m].
    level : float or None
        Of the ground there [m]. Levels above the sea serve as heights above the ellipsoid: the difference, up to
        100 m, is 16 parts per million at most.

    Returns
    -------
    GridFactors or None
        None where the frame has no CRS, or the projection no factors there.
    """
    if frame.crs is None:
        return None
    crs = horizontal_crs(frame.crs)
    if isinstance(crs, Fault):
        return None
    from pyproj import Proj

    longitude, latitude = degrees_of(crs, *point_to_site(frame, at))
    if not (math.isfinite(longitude) and math.isfinite(latitude)):
        return None
    factors = Proj(crs).get_factors(longitude, latitude)
    scale = math.sqrt(float(factors.meridional_scale) * float(factors.parallel_scale))
    if not math.isfinite(scale):
        return None
    radius = mean_radius(latitude)
    height = None if level is None else radius / (radius + level)
    return GridFactors(
        scale=scale,
        height=height,
        combined=scale * (1.0 if height is None else height),
        convergence=float(factors.meridian_convergence),
    )


def ground_note(frame: Frame, at: XY, *, level: float | None) -> str | None:
    """Say how far plan lengths are from those on the ground at a level [m], where that is more than `GROUND_NOTED`."""
    found = grid_factors(frame, at, level=level)
    if found is None or abs(found.combined - 1.0) <= GROUND_NOTED:
        return None
    unit = frame.units
    text = f"100 {unit.length_name} on the ground are {100 * found.combined:.3f} on the plan"
    if found.height is None or level is None:
        return f"{text}: the scale factor of {frame.crs} there is {found.scale:.6f}, and no levels are given"
    return (
        f"{text}: combined factor {found.combined:.6f}, of the scale factor {found.scale:.6f} and {found.height:.6f} "
        f"for ground at {level / unit.length:,.0f} {unit.length_name}"
    )
