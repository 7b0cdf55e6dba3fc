"""Offsets of a guide: the front at distance d is the edge of all ground within d of it.

Every front is made from the original guide, never from the front before it, so that errors do not grow.
A disc of the bend radius, rolled along the far side of the front, eases the corners that point away from the
guide; it moves a front only away from the guide, and keeps the distance between fronts, since
dilating a closed set by s gives a subset of the closing of the set dilated by s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import Array, Geometries

OPEN = 2.4
"""A bend that turns by more may have a pocket behind it [rad]."""
PLAIN_TURN = 0.2
"""Excess of turning that is deeper than :data:`CORNER_DEPTH` for sure [rad]."""
FAR = 0.9
"""Share of what eased lines cover beside them; corners no farther from these are covered."""
CLEAR = 6.0
"""How far from the bed fronts need not be drawn any more, in bend radii: a disc in the bed reaches by two, and a corner
that it eases lies no farther from it than four."""
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
        Closed lines round the guide, but for what lies far from the bed; the caller cuts out those that lie in it.
    passed : (k,) array
        What the easing passes by: lines in pockets too narrow to turn in; mostly nothing.
    """
    about = _Bands(guide, bed, CLEAR * radius + beside)
    bands = about.within(distances)
    eased, corners = _eased(about, bands, distances, radius=radius, bed=bed)
    lines = shapely.boundary(eased)
    passed = np.full(len(lines), NOTHING, dtype=object)
    # what is passed by lies about a corner
    far = ~shapely.dwithin(lines[corners.band], shapely.points(corners.at), FAR * beside)
    changed = np.unique(corners.band[far])
    passed[changed] = shapely.difference(
        shapely.boundary(bands[changed]), shapely.buffer(lines[changed], beside)
    )
    return lines, passed


def grown(guide: LineString, distance: float, *, radius: float, bed: Polygon) -> BaseGeometry:
    """All ground within a distance [m] of a guide, eased to a bend radius; parameters as for :func:`fronts`."""
    about, distances = _Bands(guide, bed), np.array([distance])
    eased, _ = _eased(about, about.within(distances), distances, radius=radius, bed=bed)
    found: BaseGeometry = eased[0]
    return found


@dataclass(frozen=True, slots=True)
class _Corners:
    """Points amid tight bends of bands: of which band, where [m], and how much that stretch of its edge turns [rad].

    `over` is by how much more than an arc of the radius would.
    """

    band: NDArray[np.intp]
    at: Array
    turn: Array
    over: Array

    def of(self, which: NDArray[np.bool_]) -> _Corners:
        """Some of them."""
        return _Corners(self.band[which], self.at[which], self.turn[which], self.over[which])


class _Bands:
    """All ground within some distances of a guide, but for what lies farther than a margin from a bed's box [m]."""

    def __init__(self, guide: LineString, bed: Polygon, margin: float | None = None) -> None:
        self.guide, self.bed, self.margin = guide, bed, margin
        self._made: dict[float, BaseGeometry] = {}

    def within(self, distances: Array, *, margin: float = 0.0) -> Geometries:
        """The bands of some distances, each made once; with a little more margin, if asked for [m]."""
        keys = np.round(
            distances, 9
        ).tolist()  # a distance and a radius often make one of the other distances
        missing = {
            key: distance for key, distance in zip(keys, distances, strict=True) if key not in self._made
        }
        if missing:
            self._made.update(zip(missing, _bands(self.guide, np.array([*missing.values()])), strict=True))
        found = np.array([self._made[key] for key in keys], dtype=object)
        if self.margin is None:
            return found
        x0, y0, x1, y1 = self.bed.bounds
        margin += self.margin
        return np.asarray(shapely.clip_by_rect(found, x0 - margin, y0 - margin, x1 + margin, y1 + margin))


def _eased(
    about: _Bands, bands: Geometries, distances: Array, *, radius: float, bed: Polygon
) -> tuple[Geometries, _Corners]:
    """Bands with the corners that point away from the guide filled as a rolling disc would; and those corners."""
    corners = _corners(bands, radius)
    shapely.prepare(bed)
    # a disc fills a corner of a kink up to radius × tan (t / 2) from it, and no more of another that turns as much
    reach = np.where(corners.turn < OPEN, 1.1 * np.tan(np.minimum(corners.turn, OPEN) / 2) + 1, np.inf)
    corners = corners.of(shapely.distance(bed, shapely.points(corners.at)) <= reach * radius)
    which = np.unique(corners.band)
    if not len(which):
        return bands, corners
    wider = about.within(distances[which] + radius, margin=radius)
    found = shapely.buffer(wider, -radius, quad_segs=QUADRANT, join_style="round")
    plain = corners.over > PLAIN_TURN
    plain[plain] = shapely.contains_xy(bed, corners.at[plain])
    in_bed = np.isin(which, corners.band[plain])
    # what lies deeper in a corner than this is told from a band that much wider: where there is no corner the
    # two run clear of each other, while a comparison with the band itself would be lost in slivers
    unsure = np.flatnonzero(~in_bed)
    deep = shapely.difference(
        found[unsure], _bands(about.guide, distances[which[unsure]] + CORNER_DEPTH * radius)
    )
    in_bed[unsure] = shapely.intersects(bed, deep)
    eased = bands.copy()
    eased[which[in_bed]] = found[in_bed]
    return eased, corners.of(np.isin(corners.band, which[in_bed]))


def _corners(bands: Geometries, radius: float) -> _Corners:
    """Where the edge of a band turns away from its ground by more than an arc of a radius would, over any stretch.

    The stretch with the greatest excess of turning over length / radius is the greatest rise of a running sum.
    """
    if radius <= 0 or not len(bands):
        return _Corners(np.empty(0, dtype=np.intp), np.empty((0, 2)), np.empty(0), np.empty(0))
    rings, owner = shapely.get_rings(shapely.orient_polygons(bands), return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    walk = points[:, 0] + 1j * points[:, 1]
    step = np.diff(walk)
    real = (ring[1:] == ring[:-1]) & (np.abs(step) > 0)
    step, walk, ring = step[real], walk[:-1][real], ring[:-1][real]
    count = np.bincount(ring, minlength=len(rings))
    # each ring is walked from a step on, and somewhat beyond where it began
    walked = count + 1 + count // 8
    origin, begins = np.cumsum(count) - count, np.cumsum(walked) - walked
    ring = np.repeat(np.arange(len(rings)), walked)
    number = origin[ring] + (np.arange(len(ring)) - begins[ring]) % count[ring]
    step, walk = step[number], walk[number]
    turned, length = -np.angle(step[1:] / step[:-1]), np.abs(step[1:]) / radius
    within = ring[1:] == ring[:-1]
    after = np.cumsum(np.where(within, turned - length, 0.0)) + length
    before = after - np.where(within, turned, 0.0)
    # so that the least sum so far is one of the same ring
    lowered = before - (np.ptp(before) + 1.0) * ring[1:]
    least = np.minimum.accumulate(lowered)
    rise = after - before + lowered - least
    tight = np.flatnonzero(within & (rise > CORNER_TURN))
    first = np.maximum.accumulate(np.where(lowered == least, np.arange(len(least)), 0))[tight]
    along = np.cumsum(length) - length
    return _Corners(
        band=owner[ring[1:][tight]],
        at=np.column_stack((walk[1:][tight].real, walk[1:][tight].imag)),
        turn=rise[tight] + along[tight] - along[first],
        over=rise[tight],
    )


def _bands(guide: LineString, distances: Array) -> Geometries:
    """All ground within each of some distances of a line."""
    return np.asarray(shapely.buffer(guide, distances, quad_segs=QUADRANT, join_style="round"), dtype=object)
