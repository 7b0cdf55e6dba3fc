"""The line that a manifold lies along: beside an edge of the bed or along the run ends, and out of every setback."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon

from layout.model import XY, Sides
from layout.plane import TOLERANCE, Array, coordinates, lines_of, points_between, polygons_of, stretches_in

STUB = 0.3
"""Length of a manifold that serves one lateral [m]."""
RAGGED = 0.5
"""Run ends that differ by less than this in their distance to the bed's end stand in one front [m]."""
HEADING = 0.5
"""Length of the end of a line that its direction is taken from [m]."""
EXTENSION = 5.0
"""How far a trench may be carried on straight past the corners of the bed to reach outer run ends [m]."""
OUT = 0.3
"""How far out of the bed a manifold is led that lies in it because of a setback [m]."""
FARTHER = (1.0, 2.0, 3.0)
"""Distances that a stub in the bed is tried at, in the stated one."""
STRAIGHT = 1e-10
"""A point of a manifold that is off the straight by less is none [m]."""
TURNS = (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6)
"""Ways that a stub in the bed is tried in, as turns of 30 degrees from the way to the pump."""

Points = NDArray[np.object_]

Place = Literal["near", "far", "left", "right", "edge", "inside"]
"""Where a run ends: at an end or side of the bed, elsewhere at its edge, or at none."""
OUTWARD: dict[Place, float] = {"near": -1.0, "far": 1.0, "left": 1.0, "right": -1.0}
"""On which hand of each line of :class:`Sides` the bed's outside lies: 1 left, -1 right."""


def side_of(sides: Sides, place: Place) -> LineString:
    """Give the line of a place among the sides and ends."""
    return {"near": sides.near, "far": sides.far, "left": sides.left, "right": sides.right}[place]


def follows(front: Sequence[XY], edge: LineString) -> bool:
    """Whether run ends stand in one front along an edge."""
    gaps = shapely.distance(shapely.points(front), edge)
    return bool(edge.length >= TOLERANCE and np.mean(np.abs(gaps - float(np.median(gaps))) <= RAGGED) >= 0.6)


def trench(front: Sequence[XY], place: Place, sides: Sides, distance: float) -> LineString:
    """Lay the line that a manifold behind some run ends is a part of, carried on past them.

    It follows the edge of the bed where the run ends do, else the run ends themselves.

    Parameters
    ----------
    front : sequence of (x, y)
        Run ends at that place that lie beside each other, in the order of rows [m].
    place : Place
        An end or side of the bed.
    sides : Sides
    distance : float
        Beyond the run ends; beside a long side, where runs lie along it inside, beyond the edge [m].
    """
    edge = side_of(sides, place)
    if not follows(front, edge):
        return beside(_through(front, place, sides), OUTWARD[place], distance)
    usual = float(np.median(shapely.distance(shapely.points(front), edge)))
    return beside(edge, OUTWARD[place], distance - (usual if place in {"near", "far"} else 0.0))


def stub_at(
    at: XY, toward: XY, distance: float, kept_clear: MultiPolygon, tubing: Sequence[LineString] = ()
) -> LineString:
    """Lay a stub beside a run end in the bed: towards a place, or turned away or farther off, so that it is clear.

    Parameters
    ----------
    at : (x, y)
        The run end [m].
    toward : (x, y)
        [m].
    distance : float
        From the run end to the stub [m].
    kept_clear : MultiPolygon
        Setback zones; where no place is clear of tubing, too, it is clear of these [m].
    tubing : sequence of LineString, optional
        What neither it nor its riser should cross [m].
    """
    start = np.asarray(at)
    way = np.asarray(toward) - start
    way = way / max(float(np.hypot(*way)), TOLERANCE)
    tried: list[tuple[int, LineString]] = []
    for farther in FARTHER:
        for turn in TURNS:
            angle = np.radians(30.0 * turn)
            cos, sin = np.cos(angle), np.sin(angle)
            turned = np.array([cos * way[0] - sin * way[1], sin * way[0] + cos * way[1]])
            foot = start + turned * distance * farther
            stub = LineString([foot, foot + turned * STUB])
            # The riser leaves its own run end, so what it may cross is looked for from a little beyond.
            riser = LineString([start + turned * 10 * TOLERANCE, foot + turned * STUB])
            over = sum(1 for tube in tubing if tube.intersects(riser))
            if kept_clear.intersects(stub):
                over += len(tubing) + 1
            if over == 0:
                return stub
            tried.append((over, stub))
    return min(tried, key=lambda item: item[0])[1]


def _through(front: Sequence[XY], place: Place, sides: Sides) -> LineString:
    """Lay a line through run ends, in the direction of their edge, for where they do not follow it."""
    points = np.array(list(dict.fromkeys(front)))
    along = coordinates(sides.centre)[-1] - coordinates(sides.centre)[0]
    to_right = np.array([along[1], -along[0]]) / np.hypot(*along)
    if len(points) == 1:
        way = to_right if place in {"near", "far"} else along / np.hypot(*along)
        return LineString([points[0] - STUB * way, points[0] + STUB * way])
    if place in {"near", "far"}:
        return LineString(points)
    # Ends at a side come in the order of rows, which may step to and fro along it.
    middle = points.mean(axis=0)
    way = np.linalg.svd(points - middle)[2][0]
    outward = middle - coordinates(sides.centre.interpolate(sides.centre.project(Point(middle))))[0]
    if OUTWARD[place] * (way[0] * outward[1] - way[1] * outward[0]) < 0:
        way = -way
    return LineString(points[np.argsort(points @ way, kind="stable")])


def beside(edge: LineString, outward: float, distance: float) -> LineString:
    """Lay a parallel to an edge of the bed, `distance` outside it, carried on straight at both ends.

    Parameters
    ----------
    edge : LineString
        [m].
    outward : float
        1 where the outside lies on its left, -1 where it lies on its right.
    distance : float
        [m].
    """
    points = coordinates(edge)
    points = _carried_on(points[np.concatenate(([True], np.hypot(*np.diff(points, axis=0).T) > 0))])
    if abs(distance) < TOLERANCE:
        return LineString(points)
    moved = lines_of(shapely.offset_curve(LineString(points), outward * distance, quad_segs=16))
    longest = max(moved, key=lambda line: float(line.length), default=LineString(points))
    if longest.length < edge.length:
        # So jagged a line has no parallel; it is moved out as it is.
        chord = points[-1] - points[0]
        normal = np.array([-chord[1], chord[0]]) / max(float(np.hypot(*chord)), TOLERANCE)
        return LineString(points + outward * distance * normal)
    ahead = longest.project(Point(points[0])) <= longest.project(Point(points[-1]))
    return longest if ahead else longest.reverse()


def _carried_on(points: Array) -> Array:
    """Carry a polyline on straight at either end."""
    line = LineString(points)
    reach = min(HEADING, float(line.length))
    first, last = points[0], points[-1]
    into = first - coordinates(line.interpolate(reach))[0]
    out_of = last - coordinates(line.interpolate(line.length - reach))[0]
    ends = [
        tip + way / max(float(np.hypot(*way)), 1e-12) * EXTENSION
        for tip, way in ((first, into), (last, out_of))
    ]
    return np.vstack((ends[0], points, ends[1]))


def span(line: LineString, first: float, last: float, toward: XY | None) -> LineString:
    """Cut the part of a trench between two feet [m]; where they are nearly one, a stub, on the side of a place."""
    if last - first >= STUB / 2:
        return LineString(coordinates(LineString(points_between(line, first, last)).simplify(STRAIGHT)))
    spans = ((max(last - STUB, 0.0), last), (first, min(first + STUB, line.length)))
    ways = [LineString(points_between(line, *part)) for part in spans if part[1] - part[0] > STUB / 2]
    if toward is None:
        return ways[0]
    return min(ways, key=lambda way: round(float(way.distance(Point(toward))), 3))


# --- setbacks --------------------------------------------------------------------------------------------


def clear_of(line: LineString, zones: MultiPolygon, front: Sequence[XY]) -> LineString:
    """Lead a trench along the edge of setback zones wherever it would enter one.

    What of it lies in a zone gives way to the edge of that zone between the same two places, by the way that passes
    nearer to the run ends. What lies farther than :data:`EXTENSION` beyond the outermost run ends, or beyond the far
    side of a zone, is cut off.

    Parameters
    ----------
    line : LineString
        [m].
    zones : MultiPolygon
        [m].
    front : sequence of (x, y)
        The run ends to be served [m].

    Returns
    -------
    LineString
        The line itself where it enters no zone.
    """
    feet = [line.project(Point(at)) for at in front]
    first, last = max(min(feet) - STUB, 0.0), min(max(feet) + STUB, line.length)
    if not zones.intersects(LineString(points_between(line, first, last))):
        return line
    first, last = max(first - EXTENSION, 0.0), min(last + EXTENSION, line.length)
    needed = LineString(points_between(line, first, last))
    tips = np.asarray(shapely.points(front), dtype=object)
    for zone in polygons_of(zones):
        within = [part for part in stretches_in(needed, zone) if part.length > TOLERANCE]
        rings = [LineString(ring.coords) for ring in (zone.exterior, *zone.interiors)]
        ring = min(rings, key=lambda ring: float(shapely.distance(tips, ring).sum()))
        stretches = [sorted(needed.project(Point(part.coords[end])) for end in (0, -1)) for part in within]
        for enters, leaves in sorted(stretches, reverse=True):
            feet = [needed.project(tip) for tip in tips]
            if enters > max(feet) or leaves < min(feet):
                # Nothing is to be served beyond this place: the trench ends there.
                kept = (0.0, enters) if enters > max(feet) else (leaves, needed.length)
                needed = LineString(points_between(needed, *kept))
                continue
            faced = [enters <= foot <= leaves for foot in feet]
            points = _past(needed, ring, enters, leaves, tips[faced] if any(faced) else tips)
            needed = LineString(coordinates(shapely.remove_repeated_points(LineString(points), TOLERANCE)))
    return needed


def _past(line: LineString, ring: LineString, enters: float, leaves: float, near: Points) -> Array:
    """Points of a line, with the stretch between two stations replaced by the way along a ring nearer to run ends."""
    start, end = (ring.project(line.interpolate(station)) for station in (enters, leaves))
    low, high = min(start, end), max(start, end)
    inner = points_between(ring, low, high)
    outer = np.vstack((points_between(ring, high, ring.length), points_between(ring, 0.0, low)))
    ways = [inner, outer[::-1]] if start <= end else [inner[::-1], outer]
    way = min(ways, key=lambda way: _apart(way, near))
    # A line that passes through a zone to its other side is not taken up again there.
    meets = [ring.distance(line.interpolate(station)) < TOLERANCE for station in (enters, leaves)]
    nothing = np.empty((0, 2))
    before = points_between(line, 0.0, enters) if enters > TOLERANCE and meets[0] else nothing
    goes_on = leaves < line.length - TOLERANCE and meets[1]
    after = points_between(line, leaves, line.length) if goes_on else nothing
    return np.vstack((before, way, after))


def led_out(
    manifold: LineString, line: LineString, outline: Polygon, zones: MultiPolygon
) -> LineString | None:
    """Carry a manifold on along its trench until it leaves the bed, so that a line can meet it there.

    Parameters
    ----------
    manifold : LineString
        To the end that is carried on [m].
    line : LineString
        The trench that it is a part of [m].
    outline : Polygon
        Of the bed [m].
    zones : MultiPolygon
        Setback zones that it stays out of [m].

    Returns
    -------
    LineString or None
        None where the trench does not lead out of the bed.
    """
    last, first = (line.project(Point(manifold.coords[tip])) for tip in (-1, 0))
    end = line.length if last >= first else 0.0
    if abs(end - last) < TOLERANCE:
        return None
    onward = LineString(points_between(line, last, end))
    bed = outline.buffer(OUT)
    within = [
        part for part in stretches_in(onward, bed) if part.distance(Point(onward.coords[0])) < TOLERANCE
    ]
    reach = float(within[0].length) if within else 0.0
    if reach < TOLERANCE:
        return manifold
    if reach > onward.length - TOLERANCE:
        return None
    more = LineString(points_between(onward, 0.0, reach))
    if zones.buffer(-TOLERANCE).intersects(more):
        return None
    points = np.vstack((coordinates(manifold), coordinates(more)))
    return LineString(coordinates(shapely.remove_repeated_points(LineString(points), TOLERANCE)))


def _apart(way: Array, near: Points) -> tuple[float, float]:
    """How far a way passes from run ends, in centimetres, then how long it is [m]."""
    if len(way) < 2:
        return round(float(shapely.distance(near, Point(way[0])).sum()), 2), 0.0
    line = LineString(way)
    return round(float(shapely.distance(near, line).sum()), 2), float(line.length)
