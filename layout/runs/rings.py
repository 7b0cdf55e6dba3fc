"""Ways round a ring: tubing that leaves one run, follows a ring about an obstacle or a wall, and joins another run.

Where ring and run meet, the disc of the bend radius eases the corner.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon

from layout.plane import (
    Array,
    Turns,
    bend_radii,
    coordinates,
    lines_of,
    points_at,
    polygons_of,
    stations,
    stretch,
)
from layout.runs.guides import rounded
from layout.runs.trim import BEND_SHARE, Ground

RING_STEP = 0.25
"""Distance between rings, and least distance from blank tubing to other tubing, in spacings."""
JOINT = 0.002
"""How far blank tubing may lie beside the run it leaves where the two are joined, in spacings."""
MARGIN = 0.005
"""How far the innermost ring keeps outside the zone, in spacings: rings are drawn in chords."""


def clear_of(piece: LineString, ring: Polygon, *, last: bool) -> LineString | None:
    """The part of a piece outside a ring that keeps its other end."""
    parts = lines_of(piece.difference(ring))
    if not parts:
        return None
    keep = shapely.Point(piece.coords[0 if last else -1])
    part = min(parts, key=lambda candidate: candidate.distance(keep))
    return part if part.distance(keep) < 1e-6 else None


def way_along(
    before: LineString, after: LineString, ring: Polygon, side: float, ground: Ground
) -> tuple[LineString, LineString, LineString] | None:
    """Both pieces and the blank tubing between them [m], eased where they meet the ring."""
    start, end = shapely.Point(before.coords[-1]), shapely.Point(after.coords[0])
    around = arc(ring, start, end, side)
    if around.length <= 0:
        return None
    reach = 8 * ground.radius + ground.spacing  # the ends that easing may touch
    tail = stretch(before, max(before.length - reach, 0.0), before.length)
    head = stretch(after, 0.0, min(reach, after.length))
    eased = _eased((tail, around, head), ring, side, ground.radius, thin=JOINT * ground.spacing / 3)
    return None if eased is None else _taken_out(eased, (before, tail), (head, after), ground)


def way_across(
    before: LineString, after: LineString, ring: Polygon, side: float, ground: Ground
) -> tuple[LineString, LineString, LineString] | None:
    """As :func:`way_along` [m], for pieces that end off the ring: slantwise on to it and off it, corners rolled."""
    start, end = shapely.Point(before.coords[-1]), shapely.Point(after.coords[0])
    around = arc(ring, start, end, side)
    on, off = (2.0 * float(ring.distance(tip)) for tip in (start, end))
    on, off = (slant + ground.radius if slant > 0 else 0.0 for slant in (on, off))
    if around.length <= on + off:
        return None
    reach = 8 * ground.radius + ground.spacing
    back = min(ground.radius / 2, before.length / 4, after.length / 4)  # so that easing has its tangents
    tail = stretch(before, max(before.length - reach, 0.0), before.length - back)
    head = stretch(after, back, min(reach, after.length))
    middle = stretch(around, on, around.length - off)
    whole = LineString(np.vstack([coordinates(part) for part in (tail, middle, head)]))
    return _taken_out(rounded(whole, radius=1.02 * ground.radius), (before, tail), (head, after), ground)


def between(ring: LineString, a: float, b: float) -> LineString:
    """The stretch of a closed line from one station [m] on to another, through its seam if need be."""
    if a <= b:
        return stretch(ring, a, b)
    parts = [stretch(ring, a, ring.length), stretch(ring, 0, b)]
    return LineString(np.vstack([coordinates(part) for part in parts]))


def _taken_out(
    eased: LineString,
    from_: tuple[LineString, LineString],
    to: tuple[LineString, LineString],
    ground: Ground,
) -> tuple[LineString, LineString, LineString] | None:
    """An eased line from a piece's tail to another's head, cut where it leaves the one and joins the other."""
    (before, tail), (head, after) = from_, to
    joint = JOINT * ground.spacing
    # to where easing begins, before the lines part visibly
    back = 1.5 * float(np.sqrt(2 * ground.radius * joint))
    first = max(_leaves(eased, tail, joint) - back, 1e-3 * ground.spacing)
    last = eased.length - max(_leaves(eased.reverse(), head.reverse(), joint) - back, 1e-3 * ground.spacing)
    if not 0 < first < last < eased.length:
        return None
    middle = coordinates(stretch(eased, first, last))
    leave, enter = (
        float(line.project(Point(tip))) for line, tip in ((before, middle[0]), (after, middle[-1]))
    )
    if leave <= 0 or enter >= after.length:
        return None
    kept = stretch(before, 0, leave), stretch(after, enter, after.length)
    ends = coordinates(kept[0])[-1:], coordinates(kept[1])[:1]
    return kept[0], LineString(np.vstack((ends[0], middle[1:-1], ends[1]))), kept[1]


def arc(ring: Polygon, start: Point, end: Point, side: float) -> LineString:
    """The way [m] round a ring from the point nearest one to that nearest another, on the given side of the row."""
    edge = shapely.orient_polygons(ring).exterior  # counter-clockwise
    a, b = float(edge.project(start)), float(edge.project(end))
    # a row that passes a zone on the zone's left walks round it clockwise
    return between(edge, b, a).reverse() if side > 0 else between(edge, a, b)


def _eased(
    line: tuple[LineString, LineString, LineString], ring: Polygon, side: float, radius: float, *, thin: float
) -> LineString | None:
    """The side of a line round a ring away from the ring's middle, its corners rolled smooth.

    The line is given as what leads to the ring, the way along it, and what leads away. Line and ring are taken as one
    body, grown by a hair's breadth `thin` and closed with a disc of the radius.
    """
    tail, _, head = line
    # the disc leaves alone what lies farther from the line than it reaches to either side
    x0, y0, x1, y1 = shapely.total_bounds(line)
    reach = 3 * (radius + thin)
    beside = shapely.box(x0 - reach, y0 - reach, x1 + reach, y1 + reach)
    # what leads along the ring is part of its edge
    whole = shapely.GeometryCollection([tail, shapely.intersection(ring, beside), head])
    body = whole.buffer(radius + thin, quad_segs=64).buffer(-radius, quad_segs=64)
    tips = shapely.get_point(tail, 0), shapely.get_point(head, -1)
    # far parts of the ring may be apart in the box
    bodies = sorted(polygons_of(body), key=lambda part: sum(float(part.distance(tip)) for tip in tips))
    if not bodies:
        return None
    edge = shapely.orient_polygons(bodies[0]).exterior
    start, end = (edge.project(tip) for tip in tips)
    return between(edge, end, start).reverse() if side > 0 else between(edge, start, end)


def _leaves(line: LineString, other: LineString, tolerance: float) -> float:
    """How far along a line it stays within a tolerance of another that starts with it [m]."""
    points = coordinates(line)
    shapely.prepare(other)
    first, size = 0, 32  # mostly it leaves soon
    while first < len(points):
        part = np.asarray(shapely.points(points[first : first + size]), dtype=object)
        off = np.flatnonzero(~np.asarray(shapely.dwithin(other, part, tolerance)))
        if len(off):
            return float(line.project(shapely.Point(points[max(first + int(off[0]) - 1, 0)])))
        first, size = first + size, 2 * size
    return float(min(line.length, other.length))


def bends_enough(line: Array, radius: float) -> bool:
    """Whether a line bends no tighter than a radius [m], by the circle through three points and by its turning."""
    arm, least = radius / 4, BEND_SHARE * radius
    radii, _ = bend_radii(line, arm=arm, below=least)
    if len(radii) and float(radii.min()) < least:
        return False
    station = stations(line)
    along = np.arange(0.0, station[-1], arm / 5)
    if len(along) < 12:
        return True
    # Chords of an arm each, so far apart as `over` says: they turn no more than all of the line between their far ends.
    turns = Turns.of(line, station).about((along + 2.5 * arm), 2.5 * arm + 1e-9)
    sharp = np.flatnonzero(turns > 2 * arm / least)
    for first, last in zip(*_clusters(sharp, 26), strict=True):
        at = along[first : last + 26]
        step = points_at(line, at[5:]) - points_at(line, at[:-5])
        angle = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
        for over in (10, 20):
            turned = np.abs(angle[over:] - angle[:-over])
            if len(turned) and float(turned.max()) > over * arm / 5 / least:
                return False
    return True


def _clusters(numbers: NDArray[np.intp], apart: int) -> tuple[list[int], list[int]]:
    """First and last of each row of rising numbers that lie less than so far apart."""
    gap = np.flatnonzero(np.diff(numbers) >= apart)
    first, last = np.append(-1, gap) + 1, np.append(gap, len(numbers) - 1)
    return (numbers[first].tolist(), numbers[last].tolist()) if len(numbers) else ([], [])
