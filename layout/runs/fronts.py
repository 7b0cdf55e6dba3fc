"""Offsets of a guide: the front at distance d is the edge of all ground within d of it.

Every front is made from the original guide, never from the front before it, so that errors do not grow.
A disc of the bend radius, rolled along the far side of the front, eases the corners that point away from the
guide; it moves a front only away from the guide, and keeps the distance between fronts, since
dilating a closed set by s gives a subset of the closing of the set dilated by s.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import Array, coordinates

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


def front(
    guide: LineString, distance: float, *, radius: float, bed: Polygon, beside: float
) -> tuple[BaseGeometry, BaseGeometry]:
    """The lines at a distance from a guide, on both its sides, eased to a bend radius.

    Parameters
    ----------
    guide : LineString
        Extended beyond the bed, and swung wide for bends that point towards the runs [m].
    distance : float
        Over 0 [m].
    radius : float
        Bend radius for corners that point away from the guide [m]; 0 leaves them sharp.
    bed : Polygon
        Only corners in it matter [m].
    beside : float
        What lies no farther than this from the eased lines is covered by them [m].

    Returns
    -------
    eased : BaseGeometry
        Closed lines round the guide; the caller cuts out those that lie in the bed.
    passed : BaseGeometry
        What the easing passes by: lines in pockets too narrow to turn in.
    """
    band = _band(guide, distance)
    eased = _eased(band, guide, distance, radius=radius, bed=bed)
    line = shapely.boundary(eased)
    if eased is band:
        return line, NOTHING
    return line, shapely.difference(shapely.boundary(band), shapely.buffer(line, beside))


def grown(guide: LineString, distance: float, *, radius: float, bed: Polygon) -> BaseGeometry:
    """All ground within a distance [m] of a guide, eased to a bend radius; parameters as for :func:`front`."""
    return _eased(_band(guide, distance), guide, distance, radius=radius, bed=bed)


def _eased(
    band: BaseGeometry, guide: LineString, distance: float, *, radius: float, bed: Polygon
) -> BaseGeometry:
    """The band with the corners that point away from the guide filled as a rolling disc would; or itself."""
    if radius > 0 and any(_has_corner(ring, radius) for ring in _rings(band)):
        eased = shapely.buffer(
            _band(guide, distance + radius), -radius, quad_segs=QUADRANT, join_style="round"
        )
        # what lies deeper in a corner than this is told from a band that much wider: where there is no corner the
        # two run clear of each other, while a comparison with the band itself would be lost in slivers
        deep = shapely.difference(eased, _band(guide, distance + CORNER_DEPTH * radius))
        if shapely.intersects(deep, bed):
            band = eased
    return band


def _rings(band: BaseGeometry) -> list[Array]:
    """The boundary rings of some ground, each walked with the ground on its left."""
    parts = shapely.get_parts(shapely.orient_polygons(band))
    return [coordinates(ring) for part in parts for ring in (part.exterior, *part.interiors)]


def _has_corner(ring: Array, radius: float) -> bool:
    """Whether a ring turns away from its ground by more than an arc of a radius would, over any stretch of it.

    The stretch with the greatest excess of turning over length / radius is the greatest rise of a running sum.
    """
    step = np.diff(np.vstack((ring, ring[1:2])), axis=0)
    heading = step[:, 0] + 1j * step[:, 1]
    heading = heading[np.abs(heading) > 0]
    change = np.empty(
        2 * len(heading) - 2
    )  # at each corner its turning, on each step less what an arc may turn
    change[::2] = -np.angle(heading[1:] / heading[:-1])
    change[1::2] = -np.abs(heading[1:]) / radius
    total = np.concatenate(([0.0], np.cumsum(np.concatenate((change, change[: len(change) // 8])))))
    return bool((total - np.minimum.accumulate(total)).max() > CORNER_TURN)


def _band(guide: LineString, distance: float) -> BaseGeometry:
    """All ground within a distance of a line."""
    return shapely.buffer(guide, distance, quad_segs=QUADRANT, join_style="round")
