"""Blank tubing that carries a line past an obstacle: a tree or tank in the bed, a setback that bites into it.

Rows that an obstacle interrupts are led round it on rings about its setback zone, the row nearest its middle
on the innermost ring and each next one further out, so that no two touch. The stretch on the ring has no emitters. A
row that is not interrupted itself, but would touch the outermost ring, is led round as well. Where a way round would
leave the ground, come too near another run, or be too long for what lies beyond, the row ends at the obstacle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
import shapely.ops
from shapely import LineString, Point, Polygon

from layout.plane import coordinates, distances, lines_of, polygons_of, stretch, union
from layout.runs.guides import rounded
from layout.runs.trim import Ground, Row

RING_STEP = 0.25
"""Distance between rings, and least distance from blank tubing to other tubing, in spacings."""
JOINT = 0.002
"""How far blank tubing may lie beside the run it leaves where the two are joined, in spacings."""
REACH = 20.0
"""How far from an obstacle rows are looked at, in spacings."""
MARGIN = 0.005
"""How far the innermost ring keeps outside the zone, in spacings: rings are drawn in chords."""
MOST_BARE = 1.3
"""Greatest distance from where emitting tubing gave way to blank to what is left, in spacings: one row may give way
along a stretch, the rows beside it may not as well."""
MOST_BLANK = 0.30
"""Greatest share of blank tubing in a carried line; nor may it be longer than the run that it leads to (a judgement, no
published source)."""


@dataclass(slots=True)
class Carried:
    """The pieces of one row, from the manifold end, and the blank tubing between them.

    `blanks[k]` leads from piece k to piece k + 1; None where the row is interrupted there.
    """

    place: float
    pieces: list[LineString]
    blanks: list[LineString | None] = field(default_factory=list)


def carry(rows: Sequence[Row], ground: Ground) -> list[Carried]:
    """Lead interrupted rows past obstacles.

    Parameters
    ----------
    rows : sequence of Row
        Lawful rows from left to right, pieces from the manifold end on.
    ground : Ground

    Returns
    -------
    list of Carried
        In the same order; pieces may be shorter than before where blank tubing takes their place.
    """
    carried = [Carried(row.place, list(row.pieces), [None] * (len(row.pieces) - 1)) for row in rows]
    for zone in _obstacles(ground):
        reach = zone.buffer(REACH * ground.spacing).envelope
        near = [row for row in carried if any(piece.intersects(reach) for piece in row.pieces)]
        if any(len(row.pieces) > 1 for row in near):
            for side in (1.0, -1.0):
                _round(zone, side, near, ground)
    return carried


def _obstacles(ground: Ground) -> list[Polygon]:
    """Setback zones that reach into the bed, and the hollows of its outline with the clearance round them."""
    zones = [zone for zone in polygons_of(ground.kept_clear) if zone.intersects(ground.outline)]
    hollows = polygons_of(ground.outline.convex_hull.difference(ground.outline))
    deep = [hollow for hollow in hollows if not hollow.buffer(-ground.spacing / 4).is_empty]
    return zones + [hollow.buffer(ground.clearance, quad_segs=32) for hollow in deep]


def _middle(zone: Polygon, ground: Ground) -> Point:
    """The point rows pass on one side or the other: a closed obstacle's centre, an open one's mouth."""
    if ground.outline.contains(zone):
        return zone.centroid
    mouth = zone.difference(ground.outline.convex_hull)
    return (zone.difference(ground.outline) if mouth.is_empty else mouth).centroid


def _round(zone: Polygon, side: float, rows: list[Carried], ground: Ground) -> None:
    """Lead the rows on one side of a zone round it: all that it interrupts, or as many of the outer ones as can be."""
    outward = _outward(_middle(zone, ground), side, rows)
    cut = [
        k for k, row in enumerate(outward) if _interrupted(row, zone, RING_STEP * ground.spacing) is not None
    ]
    base = max(ground.radius - _blunt(zone), 0.0) if cut else 0.0
    for first in cut:
        if _chain(outward[first:], zone, base, side, rows, ground):
            return


def _chain(
    outward: list[Carried], zone: Polygon, base: float, side: float, rows: list[Carried], ground: Ground
) -> bool:
    """Lead rows round a zone, each further out, until one is neither interrupted nor touched; all or none."""
    step = RING_STEP * ground.spacing
    led: list[tuple[Carried, Carried]] = []
    for row in outward:
        before = Carried(row.place, list(row.pieces), list(row.blanks))
        cut = _interrupted(row, zone, step)
        if cut is None and not any(_blank_near(row, other, 0.9 * step) for _, other in led):
            break
        ring = zone.buffer(base + len(led) * step + MARGIN * ground.spacing, quad_segs=32)
        if not _lead(row, cut, ring, side, ground):
            _undo(led)
            return False
        led.append((before, row))
    if not _apart([row for _, row in led], rows, 0.9 * step) or _leaves_bare(led, rows, ground):
        _undo(led)
        return False
    return True


def _leaves_bare(led: list[tuple[Carried, Carried]], rows: list[Carried], ground: Ground) -> bool:
    """Whether blank tubing took the place of so much emitting tubing that ground lies bare beside it."""
    kept = union(piece for row in rows for piece in row.pieces)
    shapely.prepare(kept)
    for before, row in led:
        lost = union(before.pieces).difference(union(row.pieces).buffer(JOINT * ground.spacing))
        places = shapely.points(shapely.get_coordinates(shapely.segmentize(lost, ground.spacing / 2)))
        if not shapely.dwithin(kept, places, MOST_BARE * ground.spacing).all():
            return True
    return False


def _undo(led: list[tuple[Carried, Carried]]) -> None:
    for before, row in led:
        row.pieces, row.blanks = before.pieces, before.blanks


def _blank_near(row: Carried, led: Carried, least: float) -> bool:
    """Whether a row's tubing comes too near the blank tubing of a row that was led round."""
    blanks = [blank for blank in led.blanks if blank is not None]
    return any(shapely.dwithin(piece, blank, least) for piece in row.pieces for blank in blanks)


def _apart(led: list[Carried], rows: list[Carried], least: float) -> bool:
    """Whether the blank tubing of some rows keeps its distance from all other tubing."""
    tubing = [
        (row, line)
        for row in rows
        for line in (*row.pieces, *(blank for blank in row.blanks if blank is not None))
    ]
    tree = shapely.STRtree([line for _, line in tubing])
    return not any(
        tubing[k][0] is not row
        for row in led
        for blank in row.blanks
        if blank is not None
        for k in tree.query(blank, predicate="dwithin", distance=least).tolist()
    )


def _blunt(zone: Polygon) -> float:
    """A radius that every outward corner of the zone has at least: that of the setback's own rounding."""
    inradius = float(shapely.maximum_inscribed_circle(zone).length)
    for share in (0.99, 0.75, 0.5, 0.35, 0.2, 0.1):
        radius = share * inradius
        opened = zone.buffer(-radius, quad_segs=16).buffer(radius, quad_segs=16)
        if not opened.is_empty and zone.difference(opened.buffer(0.02 * radius)).is_empty:
            return radius
    return 0.0


def _outward(middle: Point, side: float, rows: list[Carried]) -> list[Carried]:
    """Rows that pass on one side of an obstacle's middle, nearest first; left is 1.0."""
    found = []
    for row in rows:
        if not row.pieces:
            continue
        whole = LineString(np.vstack([coordinates(piece) for piece in row.pieces]))
        at = shapely.line_locate_point(whole, middle)
        around = coordinates(stretch(whole, max(at - 1e-3, 0), min(at + 1e-3, whole.length)))
        (x0, y0), (x1, y1) = around[0], around[-1]
        cross = (x1 - x0) * (middle.y - y0) - (y1 - y0) * (middle.x - x0)
        if (1.0 if cross <= 0 else -1.0) == side:
            found.append((float(whole.distance(middle)), row))
    return [row for _, row in sorted(found, key=lambda pair: pair[0])]


def _interrupted(row: Carried, zone: Polygon, slack: float) -> int | None:
    """Index of the piece after which a zone interrupts a row."""
    for k, blank in enumerate(row.blanks):
        if blank is None:
            ends = (shapely.Point(row.pieces[k].coords[-1]), shapely.Point(row.pieces[k + 1].coords[0]))
            chord = LineString([ends[0], ends[1]])
            if all(end.distance(zone) < slack + 1e-6 for end in ends) or chord.crosses(zone):
                return k
    return None


def _lead(row: Carried, cut: int | None, ring: Polygon, side: float, ground: Ground) -> bool:
    """Put one row round a ring; False, and nothing changed, where that cannot be."""
    if cut is None:
        touching = [k for k, piece in enumerate(row.pieces) if piece.crosses(ring)]
        if len(touching) != 1:
            return False
        cut = touching[0]
        outside = lines_of(row.pieces[cut].difference(ring))
        outside.sort(key=lambda part: row.pieces[cut].project(shapely.Point(part.coords[0])))
        if len(outside) != 2:
            return False
        before, after = outside
        replaced = 1
    else:
        before, after = (_clear_of(row.pieces[k], ring, last=k == cut) for k in (cut, cut + 1))  # type: ignore[assignment]
        replaced = 2
        if before is None or after is None:
            return False
    way = _way(before, after, ring, side, ground)
    if way is None:
        return False
    before, blank, after = way
    if not _worth_it(before, blank, after, ground):
        return False
    row.pieces[cut : cut + replaced] = [before, after]
    if replaced == 1:
        row.blanks.insert(cut, blank)
    else:
        row.blanks[cut] = blank
    return True


def _clear_of(piece: LineString, ring: Polygon, *, last: bool) -> LineString | None:
    """The part of a piece outside a ring that keeps its other end."""
    parts = lines_of(piece.difference(ring))
    if not parts:
        return None
    keep = shapely.Point(piece.coords[0 if last else -1])
    part = min(parts, key=lambda candidate: candidate.distance(keep))
    return part if part.distance(keep) < 1e-6 else None


def _way(
    before: LineString, after: LineString, ring: Polygon, side: float, ground: Ground
) -> tuple[LineString, LineString, LineString] | None:
    """Both pieces and the blank tubing between them, eased where they meet the ring."""
    start, end = shapely.Point(before.coords[-1]), shapely.Point(after.coords[0])
    around = _arc(ring, start, end, side)
    if around.length <= 0:
        return None
    reach = 8 * ground.radius + ground.spacing  # the ends that easing may touch
    tail = stretch(before, max(before.length - reach, 0.0), before.length)
    head = stretch(after, 0.0, min(reach, after.length))
    whole = LineString(np.vstack([coordinates(part) for part in (tail, around, head)]))
    joint = JOINT * ground.spacing
    eased = _eased(whole, ring, side, ground.radius, thin=joint / 3)
    return None if eased is None else _taken_out(eased, (before, tail), (head, after), ground)


def _way_across(
    before: LineString, after: LineString, ring: Polygon, side: float, ground: Ground
) -> tuple[LineString, LineString, LineString] | None:
    """As :func:`_way`, for pieces that end off the ring: slantwise on to it and off it, all corners rolled smooth."""
    start, end = shapely.Point(before.coords[-1]), shapely.Point(after.coords[0])
    around = _arc(ring, start, end, side)
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


def _arc(ring: Polygon, start: Point, end: Point, side: float) -> LineString:
    """The way round a ring from the point nearest one to that nearest another, on the given side of the row."""
    edge = shapely.orient_polygons(ring).exterior  # counter-clockwise
    a, b = float(edge.project(start)), float(edge.project(end))
    # a row that passes a zone on the zone's left walks round it clockwise
    return _between(edge, b, a).reverse() if side > 0 else _between(edge, a, b)


def _between(ring: LineString, a: float, b: float) -> LineString:
    """The stretch of a closed line from one station on to another, through its seam if need be."""
    if a <= b:
        return stretch(ring, a, b)
    parts = [stretch(ring, a, ring.length), stretch(ring, 0, b)]
    return LineString(np.vstack([coordinates(part) for part in parts]))


def _eased(line: LineString, ring: Polygon, side: float, radius: float, *, thin: float) -> LineString | None:
    """The side of a line round a ring away from the ring's middle, its corners rolled smooth.

    Line and ring are taken as one body, grown by a hair's breadth `thin` and closed with a disc of the radius.
    """
    body = shapely.union(line, ring).buffer(radius + thin, quad_segs=64).buffer(-radius, quad_segs=64)
    if body.geom_type != "Polygon":
        return None
    edge = shapely.orient_polygons(body).exterior
    start, end = (edge.project(shapely.Point(line.coords[k])) for k in (0, -1))
    return _between(edge, end, start).reverse() if side > 0 else _between(edge, start, end)


def _leaves(line: LineString, other: LineString, tolerance: float) -> float:
    """How far along a line it stays within a tolerance of another that starts with it [m]."""
    points = coordinates(line)
    off = distances(points, other) > tolerance
    if not off.any():
        return float(min(line.length, other.length))
    last = int(np.argmax(off)) - 1
    return float(line.project(shapely.Point(points[max(last, 0)])))


def _worth_it(before: LineString, blank: LineString, after: LineString, ground: Ground) -> bool:
    """Whether a carried line stays on the ground and is worth its blank tubing."""
    if min(before.length, after.length) < ground.shortest:
        return False
    if blank.length > min(after.length, MOST_BLANK * (before.length + blank.length + after.length)):
        return False
    return bool(ground.limits.buffer(1e-6).covers(blank)) and blank.is_simple
