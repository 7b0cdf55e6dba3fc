"""The ends of a bed: at either tip of its trunk the stretch of outline that joins the two sides best."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Polygon

from layout.plane import Array, coordinates, distances, points_at, resample, stations
from layout.sides.ring import Ring

SLIM = 0.6
"""The trunk is followed to where the bed's half width falls below this share of its median: beyond that it
runs into an acute corner."""
REACH = 3.2
"""How far from the trunk's tip, in local widths along the outline, an end may begin: an end at 20 degrees."""
SKEW_COST, LENGTH_COST, CORNER_GAIN = 4.0, 0.13, 0.20
"""Weights of an end: sides out of parallel (quarter turn = 1, squared), its length in local widths, and
the outline turning there (60 degrees = 1)."""


def ends_of(
    outline: Polygon, ring: Ring, trunk: Array
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Stations (from, to) [m], counter-clockwise, of the end before the trunk and of the one after it."""
    walked = resample(trunk, stations(trunk)[-1] / 200)
    radius = distances(walked, outline.exterior)
    usual = float(np.median(radius))
    full = np.flatnonzero(radius >= SLIM * usual)
    first, last = int(full[0]), int(full[-1])
    tip0 = _tip(outline, ring, walked[first : last + 1][::-1], float(radius[first]))
    tip1 = _tip(outline, ring, walked[first : last + 1], float(radius[last]))
    width0, width1 = (2.0 * max(float(radius[end]), 0.8 * usual) for end in (first, last))
    apart = (tip1 - tip0) % ring.length
    end0 = _best_end(ring, tip0, width0, before=ring.length - apart, after=apart)
    end1 = _best_end(ring, tip1, width1, before=apart, after=ring.length - apart)
    span = ring.length * 1e-6
    if (end1[0] - end0[1]) % ring.length < span or (end0[0] - end1[1]) % ring.length < span:
        return None
    return end0, end1


def _tip(outline: Polygon, ring: Ring, line: Array, radius: float) -> float:
    """Station where the trunk, extended straight from its last stretch, meets the outline."""
    length = stations(line)[-1]
    back = points_at(line, np.array([max(length - 1.5 * radius, 0.0)]))[0]
    heading = line[-1] - back
    size = float(np.hypot(*heading)) or 1.0
    ray = LineString([line[-1], line[-1] + heading / size * ring.length])
    hits = coordinates(shapely.intersection(ray, outline.exterior))
    hit = hits[np.argmin(np.hypot(*(hits - line[-1]).T))] if len(hits) else line[-1]
    return float(shapely.line_locate_point(shapely.LinearRing(ring.points), shapely.Point(hit)))


def _best_end(ring: Ring, tip: float, width: float, *, before: float, after: float) -> tuple[float, float]:
    """The two stations round a tip that make the best end, see the weights above."""
    back = _candidates(ring, tip, width, reach=-min(REACH * width, 0.45 * before))
    fore = _candidates(ring, tip, width, reach=min(REACH * width, 0.45 * after))
    window = width / 2.5
    into = _heading(ring, back - window, back)
    out_of = _heading(ring, fore + window, fore)
    skew = np.abs(np.angle(into[:, None] / out_of[None, :])) / (np.pi / 2)
    length = (fore[None, :] - back[:, None]) / width
    corner = _corner(ring, back, width, sign=1.0)[:, None] + _corner(ring, fore, width, sign=-1.0)[None, :]
    folded = _folded(ring, back, window)[:, None] | _folded(ring, fore, -window)[None, :]
    pointed = np.clip(2.0 * length, 0.5, 1.0)  # one acute tip is one corner, not two
    cost = SKEW_COST * skew**2 + LENGTH_COST * length - CORNER_GAIN * corner * pointed + folded
    cost[length < 0] = np.inf
    i, j = np.unravel_index(int(np.argmin(np.round(cost, 9))), cost.shape)
    return _straight_to(ring, back, int(i), width, sign=1.0), _straight_to(
        ring, fore, int(j), width, sign=-1.0
    )


def _folded(ring: Ring, at: Array, window: float) -> np.ndarray:
    """Whether the outline folds back (over about 50 degrees) within a window before a station: no side's end."""
    return np.asarray(np.hypot(*(ring.at(at) - ring.at(at - window)).T) < 0.9 * abs(window))


def _straight_to(ring: Ring, found: Array, chosen: int, width: float, *, sign: float) -> float:
    """Where a straight side turns into a rounded end just before the chosen station, the last straight one."""
    near = found[(sign * (found[chosen] - found) >= 0) & (sign * (found[chosen] - found) <= width / 6)]
    back = sign * np.linspace(width / 3, 0.0, 9)
    walk = ring.at((near[:, None] - back[None, :]).ravel()).reshape(len(near), 9, 2)
    chord = walk[:, -1] - walk[:, 0]
    off = walk - walk[:, :1]
    bow = np.abs(off[:, :, 0] * chord[:, None, 1] - off[:, :, 1] * chord[:, None, 0]).max(axis=1)
    straight = bow <= 1e-4 * width * np.hypot(*chord.T)
    if straight[near == found[chosen]].all() or not straight.any():
        return float(found[chosen])
    return float(near[straight][np.argmin(sign * (found[chosen] - near[straight]))])


def _candidates(ring: Ring, tip: float, width: float, *, reach: float) -> Array:
    """Stations within reach of a tip on one side of it: outline vertices and the points between them."""
    over = -0.5 * width * np.sign(reach)  # a corner may lie just across the tip
    low, high = sorted((tip + over, tip + reach))
    wide = np.concatenate([ring.station[:-1] + turn * ring.length for turn in (-1, 0, 1)])
    found = wide[(wide >= low) & (wide <= high)]
    thin = max(len(found) // 160, 1)
    if thin > 1:
        rough = np.hypot(*(ring.at(found + width / 40) - 2 * ring.at(found) + ring.at(found - width / 40)).T)
        found = np.union1d(found[::thin], found[np.argsort(-rough, kind="stable")[:80]])
    return found if len(found) else np.array([tip])


def _heading(ring: Ring, start: Array, end: Array) -> np.ndarray:
    """Direction of the walk from one set of stations to another, as unit complex numbers."""
    step = ring.at(end) - ring.at(start)
    size = np.maximum(np.hypot(*step.T), 1e-12)
    return np.asarray((step[:, 0] + 1j * step[:, 1]) / size)


def _corner(ring: Ring, at: Array, width: float, *, sign: float) -> Array:
    """How much more the outline turns inward just beyond a station than just before it, 60 degrees = 1.

    Taken over a long and a short stretch: a walked outline's corner is blunt, a drawn one's is sharp.
    """
    total = np.zeros(len(at))
    for share in (4.0, 15.0):
        window, small = sign * width / share, sign * width / 60.0
        before = _heading(ring, at - window, at - small)
        here = _heading(ring, at - small, at)
        beyond = _heading(ring, at + small, at + window)
        turn = sign * (np.angle(beyond / here) - np.angle(here / before))
        total += np.clip(turn / np.radians(60), 0.0, 1.0) / 2
    return total
