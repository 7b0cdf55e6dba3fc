"""Offsets of a guide: the front at distance d is the edge of all ground within d of it.

Every front is made from the original guide, never from the front before it, so that errors do not grow.
A disc of the bend radius, rolled along the far side of the front, eases the corners that point away from the
guide; it moves a front only away from the guide, and keeps the distance between fronts, since
dilating a closed set by s gives a subset of the closing of the set dilated by s.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import Array, Geometries

NOTHING = LineString()
"""No line."""

QUADRANT = 48
"""Segments to a quarter circle, whatever its radius, so that a bed scaled gives the same runs scaled: chords stay
within 1.4e-4 of the radius, a millimetre on an arc of 8 m, and take 5e-5 of its length."""
CORNER_TURN = 0.12
"""Turning that is looked at closely: a kink of 7 degrees [rad]."""
CORNER_DEPTH = 0.002
"""Corners that rolling would cut by less than this, in bend radii (kinks up to 7 degrees), are only the chords
of a drawn curve: a front with no other corners is left as it is, for rolling would shorten it a little."""


def fronts(
    guide: LineString, distances: Array, *, radius: float, bed: Polygon, beside: float
) -> tuple[Geometries, Geometries]:
    """The lines at each of some distances from a guide, on both its sides, eased to a bend radius.

    Parameters
    ----------
    guide : LineString
        Extended beyond the bed, and swung wide for bends that point towards the runs [m].
    distances : (k,) array
        Over 0 [m].
    radius : float
        Bend radius for corners that point away from the guide [m]; 0 leaves them sharp.
    bed : Polygon
        Only corners in it matter [m].
    beside : float
        What lies no farther than this from the eased lines is covered by them [m].

    Returns
    -------
    eased : (k,) array
        Closed lines round the guide; the caller cuts out those that lie in the bed.
    passed : (k,) array
        What the easing passes by: lines in pockets too narrow to turn in; mostly nothing.
    """
    bands = _bands(guide, distances)
    eased, changed = _eased(bands, guide, distances, radius=radius, bed=bed)
    lines = shapely.boundary(eased)
    passed = np.full(len(lines), NOTHING, dtype=object)
    passed[changed] = shapely.difference(
        shapely.boundary(bands[changed]), shapely.buffer(lines[changed], beside)
    )
    return lines, passed


def grown(guide: LineString, distance: float, *, radius: float, bed: Polygon) -> BaseGeometry:
    """All ground within a distance [m] of a guide, eased to a bend radius; parameters as for :func:`fronts`."""
    distances = np.array([distance])
    eased, _ = _eased(_bands(guide, distances), guide, distances, radius=radius, bed=bed)
    found: BaseGeometry = eased[0]
    return found


def _eased(
    bands: Geometries, guide: LineString, distances: Array, *, radius: float, bed: Polygon
) -> tuple[Geometries, NDArray[np.intp]]:
    """The bands with the corners that point away from the guide filled as a rolling disc would; and which those are."""
    looked_at = radius > 0 and len(bands) > 0
    which = np.flatnonzero(_have_corners(bands, radius)) if looked_at else np.empty(0, dtype=np.intp)
    if not len(which):
        return bands, which
    found = shapely.buffer(
        _bands(guide, distances[which] + radius), -radius, quad_segs=QUADRANT, join_style="round"
    )
    # what lies deeper in a corner than this is told from a band that much wider: where there is no corner the
    # two run clear of each other, while a comparison with the band itself would be lost in slivers
    deep = shapely.difference(found, _bands(guide, distances[which] + CORNER_DEPTH * radius))
    shapely.prepare(bed)
    in_bed = shapely.intersects(bed, deep)
    eased = bands.copy()
    eased[which[in_bed]] = found[in_bed]
    return eased, which[in_bed]


def _have_corners(bands: Geometries, radius: float) -> NDArray[np.bool_]:
    """Whether the edge of a band turns away from its ground by more than an arc of a radius would, over any stretch.

    The stretch with the greatest excess of turning over length / radius is the greatest rise of a running sum.
    """
    rings, owner = shapely.get_rings(shapely.orient_polygons(bands), return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    step = np.diff(points[:, 0] + 1j * points[:, 1])
    real = (ring[1:] == ring[:-1]) & (np.abs(step) > 0)
    step, ring = step[real], ring[:-1][real]
    count = np.bincount(ring, minlength=len(rings))
    # each ring is walked from a step on, and somewhat beyond where it began
    walked = count + 1 + count // 8
    origin, begins = np.cumsum(count) - count, np.cumsum(walked) - walked
    ring = np.repeat(np.arange(len(rings)), walked)
    step = step[origin[ring] + (np.arange(len(ring)) - begins[ring]) % count[ring]]
    turned, length = -np.angle(step[1:] / step[:-1]), np.abs(step[1:]) / radius
    within = ring[1:] == ring[:-1]
    after = np.cumsum(np.where(within, turned - length, 0.0)) + length
    before = after - np.where(within, turned, 0.0)
    lowered = (np.ptp(before) + 1.0) * ring[1:]  # so that the least sum so far is one of the same ring
    rise = after - (np.minimum.accumulate(before - lowered) + lowered)
    found = np.zeros(len(bands), dtype=bool)
    found[owner[ring[1:][within & (rise > CORNER_TURN)]]] = True
    return found


def _bands(guide: LineString, distances: Array) -> Geometries:
    """All ground within each of some distances of a line."""
    return np.asarray(shapely.buffer(guide, distances, quad_segs=QUADRANT, join_style="round"), dtype=object)
