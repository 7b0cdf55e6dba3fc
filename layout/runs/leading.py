"""One row at one obstacle: where the zone interrupts it, and its way round a ring about the zone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import coordinates, lines_of
from layout.runs.carried import Carried
from layout.runs.emitting import joined
from layout.runs.rings import arc, bends_enough, clear_of, way_along
from layout.runs.trim import Ground

MOST_BLANK = 0.30
"""Greatest share of blank tubing in a carried line; nor may it be longer than the run that it leads to (a judgement, no
published source)."""

Round = tuple[LineString, LineString, LineString]
"""The way of a row round an obstacle: the run before, what leads round, the run beyond."""


def outward(rows: Sequence[Carried], near: Sequence[int], middle: Point) -> dict[float, list[int]]:
    """Rows that pass on either side of an obstacle's middle, nearest first; by number: 1.0 left, -1.0 right."""
    numbers = [k for k in near if rows[k].pieces]
    wholes = np.asarray([rows[k].whole for k in numbers], dtype=object)
    at = shapely.line_locate_point(wholes, middle)
    stations = np.maximum(at - 1e-3, 0.0), np.minimum(at + 1e-3, shapely.length(wholes))
    before, after = (
        shapely.get_coordinates(shapely.line_interpolate_point(wholes, station)) for station in stations
    )
    (dx, dy), (x, y) = (after - before).T, (np.array([middle.x, middle.y]) - before).T
    left = dx * y - dy * x <= 0
    order = sorted(zip(shapely.distance(wholes, middle).tolist(), numbers, left.tolist(), strict=True))
    return {side: [k for _, k, on_left in order if on_left == (side > 0)] for side in (1.0, -1.0)}


def interrupted(row: Carried, zone: Polygon, slack: float) -> int | None:
    """Number of the piece after which a zone interrupts a row, where the way past is still to be decided of."""
    least = slack + 1e-6
    left, low, right, high = zone.bounds
    for k, chord, (x0, y0, x1, y1) in row.undecided:
        if x0 > right + least or x1 < left - least or y0 > high + least or y1 < low - least:
            continue
        ends = shapely.get_point(chord, (0, 1))
        if (shapely.distance(ends, zone) < least).all() or chord.crosses(zone):
            return k
    return None


def way_round(
    row: Carried, at: int, ring: Polygon, side: float, ground: Ground, *, most: float = 1.0
) -> Round | None:
    """The way [m] of a row round a ring that it meets after one of its pieces.

    None where there is none, or where it is clear beforehand that its runs would be too short, or that blank tubing on
    it would be more than a share of the line, `most`, or longer than what it leads to.
    """
    ends = ends_clear(row, at, ring, ground)
    if ends is None:
        return None
    before, after = ends
    if most < 1:
        around = arc(ring, Point(before.coords[-1]), Point(after.coords[0]), side).length
        eased = 4 * ground.radius + ground.spacing  # what easing may take from it
        if around - eased > min(after.length, most / (1 - most) * (before.length + after.length)):
            return None
    return way_along(before, after, ring, side, ground)


def ends_clear(row: Carried, at: int, ring: Polygon, ground: Ground) -> tuple[LineString, LineString] | None:
    """What a ring leaves of a row's pieces before and after an obstacle [m]; None where it is too short for runs."""
    before = clear_of(row.pieces[at], ring, last=True)
    if before is None or before.length < ground.shortest:
        return None
    after = clear_of(row.pieces[at + 1], ring, last=False)
    return None if after is None or after.length < ground.shortest else (before, after)


def is_lawful(way: Round, ground: Ground, allowed: BaseGeometry) -> bool:
    """Whether a way keeps to the ground and the bend radius, and its runs are long enough."""
    before, middle, after = way
    if min(before.length, after.length) < ground.shortest or not middle.is_simple:
        return False
    if not allowed.covers(middle):
        return False
    return ground.radius <= 0 or bends_enough(coordinates(joined(*way)), ground.radius)


def led_round(
    row: Carried,
    cut: int | None,
    ring: Polygon,
    side: float,
    ground: Ground,
    allowed: BaseGeometry,
    *,
    known: Round | None = None,
) -> Carried | None:
    """A row [m] carried round a ring by blank tubing, from a piece on that the zone interrupts it after.

    `cut` is None where only the ring does; `known` is its lawful way round the ring, where that has been found already.
    None where it cannot be, or is not worth its blank tubing.
    """
    replaced = 2
    if cut is not None:
        way = known or way_round(row, cut, ring, side, ground, most=MOST_BLANK)
    else:
        touching = [k for k, piece in enumerate(row.pieces) if piece.crosses(ring)]
        if len(touching) != 1:
            return None
        cut, replaced = touching[0], 1
        whole = row.pieces[cut]
        outside = sorted(
            lines_of(whole.difference(ring)), key=lambda part: float(whole.project(Point(part.coords[0])))
        )
        if len(outside) != 2 or min(part.length for part in outside) < ground.shortest:
            return None
        way = way_along(outside[0], outside[1], ring, side, ground)
    if way is None or not _worth_it(way) or (known is None and not is_lawful(way, ground, allowed)):
        return None
    before, blank, after = way
    return row.put(cut, replaced, (before, after), (blank,))


def _worth_it(way: Round) -> bool:
    """Whether a carried line is worth its blank tubing."""
    before, blank, after = way
    return blank.length <= min(after.length, MOST_BLANK * (before.length + blank.length + after.length))
