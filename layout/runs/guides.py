"""The line that runs follow: extended beyond the bed, and swung wide where it bends too tightly for tubing."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.near import SegmentIndex
from layout.plane import (
    GENTLE_TURN,
    Array,
    Geometries,
    Turns,
    coordinates,
    is_gentle,
    lines_of,
    merged_spans,
    resample,
    stations,
    stretch,
    thinned,
    unit,
)
from layout.runs.fillets import filleted

ARC_STEP = math.radians(4.0)
"""Angle between points of an arc put into a guide."""
AROUND_BEND = 2.5
"""How far to either side of a tight bend a line is looked at when it is rolled smooth, in radii: bends of up to 135
degrees are eased within that."""
QUADRANT = 32
"""Segments to a quarter circle where a line is rolled smooth."""
MOST_BENDS = 0.8
"""Share of a line within that of tight bends above which it is rolled as a whole."""


def extended(line: LineString, outline: Polygon, *, by: float) -> LineString:
    """A line carried on straight beyond both its ends.

    Parameters
    ----------
    line : LineString
        [m].
    outline : Polygon
        The bed; an extension that would enter it again stops half way there.
    by : float
        How far [m].

    Returns
    -------
    LineString
        In the same direction. Straight on means in the direction of the last segment: a longer secant
        would turn the runs near the end of a curve.
    """
    points = coordinates(line)
    head = _extension(points[1], points[0], outline, by)
    tail = _extension(points[-2], points[-1], outline, by)
    return LineString(np.vstack((head, points, tail)))


def _extension(inner: Array, end: Array, outline: Polygon, by: float) -> Array:
    heading = (end - inner) / np.hypot(*(end - inner))
    hair = by * 1e-6
    inside = shapely.intersection(LineString([end + heading * hair, end + heading * by]), outline)
    if inside.is_empty:
        return np.asarray([end + heading * by])
    # what runs on along the edge is in the bed or not as the last digit has it: only what lies in it for sure counts
    parts = shapely.get_parts(inside)
    parts = parts[~shapely.dwithin(outline.exterior, shapely.centroid(parts), hair)]
    again = np.hypot(*(shapely.get_coordinates(parts) - end).T)
    entered = again[again > by * 1e-3]
    ahead = shapely.Point(end + heading * by * 1e-3)
    starts_inside = outline.contains(ahead) and not outline.exterior.dwithin(ahead, hair)
    reach = float(entered.min()) / 2 if len(entered) and not starts_inside else by
    return np.asarray([end + heading * reach])


def swung_wide(line: LineString, *, side: float, radius: float, slack: float) -> LineString:
    """The line with every bend towards one side eased to a radius, moving it only towards that side.

    Where a line turns away from the runs more tightly than `radius`, a circle of that radius is laid through
    the tip of the bend, its centre behind it on the bisector, and the line follows its arc. Offsets
    of the result by d then bend no tighter than radius + d, and keep the distances to one another.

    Parameters
    ----------
    line : LineString
        [m].
    side : 1.0 or -1.0
        Left or right of the line: the side on which the runs will lie.
    radius : float
        [m]; 0 or less returns the line.
    slack : float
        Bends that deviate less than this from such an arc are left alone [m].
    """
    if radius <= slack:
        return line
    # a kink of angle t deviates by radius × t² / 8, and so do slighter ones that an arc of the radius spans
    slight = math.sqrt(8 * slack / radius)
    if is_gentle(coordinates(line), radius=radius, turn=slight / (1 + 2 * slight)):
        return line
    for _ in range(4):
        eased = _swing_once(line, side=side, radius=radius, slack=slack)
        if eased is None:
            return line
        line = eased
    return line


def _swing_once(line: LineString, *, side: float, radius: float, slack: float) -> LineString | None:
    """One pass over all tight bends; None when there are none."""
    behind = shapely.offset_curve(line, -side * radius, quad_segs=64, join_style="round")
    opened = shapely.offset_curve(shapely.line_merge(behind), side * radius, quad_segs=64, join_style="round")
    if behind.is_empty or opened.is_empty:
        return None
    points = coordinates(line)
    shapely.prepare(opened)
    places = np.asarray(shapely.points(points), dtype=object)
    tight = ~np.asarray(shapely.dwithin(opened, places, slack))
    tight[[0, -1]] = False
    if not tight.any():
        return None
    off = np.zeros(len(points))  # only of those whose distance matters
    off[tight] = shapely.distance(opened, places[tight])
    out = points
    changed = False
    for first, last in reversed(_stretches(tight)):
        bend = off[first : last + 1]
        apex = first + int(np.argmax(bend >= bend.max() - 0.01 * slack))  # of equals always the first
        centre = coordinates(shapely.shortest_line(shapely.Point(points[apex]), behind))[1]
        away = points[apex] - centre
        centre = points[apex] - away / np.hypot(*away) * radius
        replaced = _through_circle(out, apex, centre, radius)
        if replaced is not None:
            out, changed = replaced, True
    return LineString(out) if changed else None


def _stretches(flag: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of every run of true values."""
    edge = np.flatnonzero(np.diff(np.concatenate(([0], flag.astype(int), [0]))))
    return [(int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def _through_circle(points: Array, apex: int, centre: Array, radius: float) -> Array | None:
    """Replace the stretch of a line within a circle round a vertex by the circle's arc through that vertex."""
    if apex >= len(points) or not np.isclose(np.hypot(*(points[apex] - centre)), radius, rtol=1e-6):
        return None  # an earlier bend's arc has already swallowed this one
    before = _leaves(points[apex::-1], centre, radius)
    after = _leaves(points[apex:], centre, radius)
    if before is None or after is None:
        return None
    (steps_back, start), (steps_on, end) = before, after
    angle0, angle, angle1 = (math.atan2(*(point - centre)[::-1]) for point in (start, points[apex], end))
    sweep = _turn(angle0, angle) + _turn(angle, angle1)
    count = max(math.ceil(abs(sweep) / ARC_STEP - 1e-6), 1)
    around = angle0 + np.linspace(0.0, sweep, count + 1)
    arc = centre + radius * np.column_stack((np.cos(around), np.sin(around)))
    return np.vstack((points[: apex - steps_back + 1], arc, points[apex + steps_on :]))


def _turn(start: float, end: float) -> float:
    """The shorter turn from one angle to another."""
    return (end - start + math.pi) % (2 * math.pi) - math.pi


def _leaves(walk: Array, centre: Array, radius: float) -> tuple[int, Array] | None:
    """Where a walk that starts on a circle leaves its inside: index of the vertex beyond, and the point."""
    outside = np.flatnonzero(np.hypot(*(walk[1:] - centre).T) > radius * (1 + 1e-9))
    if not len(outside):
        return None
    beyond = int(outside[0]) + 1
    start, step = walk[beyond - 1] - centre, walk[beyond] - walk[beyond - 1]
    a, b, c = step @ step, 2 * start @ step, start @ start - radius**2
    root = (-b + math.sqrt(max(b * b - 4 * a * c, 0.0))) / (2 * a)
    if beyond == 1 and root <= 1e-9:
        return None  # the line leaves the circle at once: no bend towards it here
    return beyond, walk[beyond - 1] + step * min(max(root, 0.0), 1.0)


def rounded(line: LineString, *, radius: float) -> LineString:
    """A line rolled smooth from both sides, so that it bends nowhere tighter than a radius [m].

    It may move to either side by about radius × (1 / cos(t / 2) − 1) at a bend of angle t. A line that crosses
    itself falls into parts, of which the longest is taken.
    """
    return max(rolled(line, radius=radius), key=lambda part: part.length)


def rolled(line: LineString, *, radius: float) -> list[LineString]:
    """A line rolled smooth to a radius [m], as all the parts it falls into, each running its way; see :func:`rounded`.

    One that bends nowhere nearly so tightly is left as it is, and so is one beyond its tight bends. Bends to one side
    alone are rolled from that side.
    """
    if radius <= 0 or is_gentle(coordinates(line), radius=radius):
        return [line]
    # offsets of very fine lines fold over themselves at length; this moves nothing that can be seen
    line = thinned(line, radius * 1e-4)
    points = coordinates(line)
    start, end = Turns.of(points, stations(points)).bends(radius / 2, GENTLE_TURN)
    if not line.is_closed and line.is_simple:
        points, left_over = filleted(points, radius)
        start, end = left_over, left_over
        line = LineString(points)
        if not len(left_over):
            return [line]
    along, around = stations(points), AROUND_BEND * radius
    first, last = merged_spans(start - around, end + around)
    spans = merged_spans(
        np.array([_straight_at(along, at - radius, at) for at in first]),
        np.array([_straight_at(along, at, at + radius) for at in last]),
    )
    part_of_it = (spans[1] - spans[0]).sum() < MOST_BENDS * along[-1] and not line.is_closed
    rolled_there = _rolled_within(line, spans, radius) if part_of_it else None
    return _rolled_whole(line, radius) if rolled_there is None else [rolled_there]


def _straight_at(along: Array, first: float, last: float) -> float:
    """Half way along the longest segment that begins on a stretch of a line, or the end of the line that it reaches.

    There an offset is square to the line, as it would be if the line were not cut.
    """
    if first <= 0:
        return 0.0
    if last >= along[-1]:
        return float(along[-1])
    begins = slice(
        max(int(np.searchsorted(along, first, side="right")) - 1, 0), int(np.searchsorted(along, last))
    )
    length = np.diff(along[begins.start : begins.stop + 1])
    longest = begins.start + int(length.argmax())
    return float(along[longest] + along[longest + 1]) / 2


def _rolled_within(line: LineString, spans: tuple[Array, Array], radius: float) -> LineString | None:
    """A line rolled smooth on some stretches of it [m]; None where that needs a look at all of it."""
    parts = np.asarray([stretch(line, *span) for span in zip(*spans, strict=True)], dtype=object)
    smooth = parts.copy()
    for side in (1.0, -1.0):
        bends = [_bends_to(part, side, radius) for part in parts]
        smooth[bends] = _there_and_back(smooth[bends], side * radius)
    walk, at = [], 0.0
    for part, found, first, last in zip(parts.tolist(), smooth.tolist(), *spans, strict=True):
        if not isinstance(found, LineString):
            return None
        was, now = coordinates(part), coordinates(found)
        if len(now) < 2 or np.abs(now[[0, -1]] - was[[0, -1]]).max() > 3e-4 * radius:
            return None
        walk += [coordinates(stretch(line, at, first))[:-1] if first > at else was[:1], now[1:-1]]
        at = last
    length = line.length
    walk.append(coordinates(stretch(line, at, length)) if at < length else coordinates(line)[-1:])
    whole = LineString(np.vstack(walk))
    return whole if whole.is_simple else None


def _bends_to(line: LineString, side: float, radius: float) -> bool:
    """Whether a line turns to one side, 1.0 left or -1.0 right, so much that it needs to be rolled from there."""
    points = coordinates(line)
    turned = Turns.of(points, stations(points), side=side).most_within(radius / 2)
    return bool(turned > GENTLE_TURN / 2)


def _rolled_whole(line: LineString, radius: float) -> list[LineString]:
    """A line rolled along both its sides, as the parts it falls into."""
    parts = [line]
    for side in (1.0, -1.0):
        found = [
            (part, _there_and_back(np.asarray([part], dtype=object), side * radius)[0]) for part in parts
        ]
        parts = [
            back if _same_way(part, back) else back.reverse()
            for part, backs in found
            for back in lines_of(backs) or [part]
        ]
    return parts


def _there_and_back(lines: Geometries, distance: float) -> Geometries:
    """Lines offset and offset back again [m]."""
    return _offset(_offset(lines, distance), -distance)


def _offset(lines: Geometries, distance: float) -> Geometries:
    """Lines offset to the left, or where the distance [m] is below 0 to the right.

    One side of what grows about a line is its offset; the engine's own offset curves are the same, but take up to
    ten times as long where a line bends as tightly as it is offset.
    """
    found = np.empty(len(lines), dtype=object)
    about = shapely.buffer(lines, abs(distance), quad_segs=QUADRANT, cap_style="flat")
    for k, (line, ground) in enumerate(zip(lines.tolist(), about.tolist(), strict=True)):
        side = _side_of(line, ground, distance) if isinstance(line, LineString) else None
        found[k] = side or shapely.line_merge(
            shapely.offset_curve(line, distance, quad_segs=QUADRANT, join_style="round")
        )
    return found


def _side_of(line: LineString, ground: BaseGeometry, distance: float) -> LineString | None:
    """One long side of the ground about a line, from corner to corner; None where that is not all there is."""
    if not isinstance(ground, Polygon) or ground.interiors or line.is_closed:
        return None
    points, ring = coordinates(line), coordinates(ground.exterior)[:-1]
    tips, inner = points[[0, -1]], points[[1, -2]]
    ahead = unit((inner - tips) * [[1.0], [-1.0]])
    corners = tips + distance * np.column_stack((-ahead[:, 1], ahead[:, 0]))
    off = np.abs(ring[:, None, :] - corners).sum(axis=2)
    first, last = off.argmin(axis=0).tolist()
    if first == last or max(off[first, 0], off[last, 1]) > 1e-6 * abs(distance):
        return None
    # the engine walks round the ground clockwise: along a line on its left, back on its right
    if shapely.is_ccw(ground.exterior) == (distance > 0):
        ring, first, last = ring[::-1], len(ring) - 1 - first, len(ring) - 1 - last
    return LineString(np.roll(ring, -first, axis=0)[: (last - first) % len(ring) + 1])


def _same_way(line: LineString, other: LineString) -> bool:
    """Whether two lines that lie along each other run in the same direction."""
    points = coordinates(other)
    first, last = (float(line.project(shapely.Point(point))) for point in points[[0, -1]])
    return first <= last


def centred(line: LineString, left: LineString, right: LineString, *, step: float) -> LineString:
    """The line midway between two sides, found from a rough one by Newton's method.

    Parameters
    ----------
    line : LineString
        A rough centre line [m].
    left, right : LineString
        The sides, extended beyond the bed [m].
    step : float
        Distance between points of the result [m].
    """
    sides = SegmentIndex([left]), SegmentIndex([right])
    points = resample(coordinates(line), step)
    moving = np.arange(len(points))
    near = [side.locate(points)[0] for side in sides]
    for number in range(12):
        here = points[moving]
        if (
            number
        ):  # beyond the bed, where both sides are carried on straight, the nearest segments stay the same
            ends = [
                (segment == 0) | (segment == len(side.line) - 1)
                for side, segment in zip(sides, near, strict=True)
            ]
            anew = ~(ends[0] & ends[1])
            for side, segment in zip(sides, near, strict=True):
                segment[anew] = side.locate(here[anew])[0]
        (to_left, left_foot, _), (to_right, right_foot, _) = found = [
            side.nearest_among(here, segment, segment) for side, segment in zip(sides, near, strict=True)
        ]
        rise = unit(here - left_foot) + unit(right_foot - here)
        size = np.maximum(np.hypot(*rise.T), 0.2)
        move = np.clip((to_right - to_left) / size, -step / 2, step / 2)
        points[moving] += unit(rise) * move[:, None]
        unsettled = np.abs(move) > step * 1e-9
        moving, near = moving[unsettled], [segment[unsettled] for _, _, segment in found]
        if not len(moving):
            break
    ahead = (
        np.einsum("ij,ij->i", np.diff(points, axis=0), np.diff(resample(coordinates(line), step), axis=0)) > 0
    )
    kept = points[np.concatenate(([True], ahead))]
    # hundreds of points on a straight would make every row from this line slow
    return thinned(LineString(kept), step / 800) if len(kept) > 1 else line
