"""The laws of a layout, checked from the lines themselves with shapely and numpy alone.

Nothing here uses the library's own geometry, so that an error there cannot hide itself here. Lengths and
coordinates in whatever unit the caller keeps to.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import Bed, Feature, Laying, Pattern, RunRules, Tubing

Array = NDArray[np.float64]

EDGE_SLACK = 0.02
"""Of a spacing: what tubing may lie nearer to the bed's edge than its clearance."""
GAP_SHARE = 0.98
"""Of the least gap: what runs side by side must keep."""
BEND_SHARE = 0.95
"""Of the bend radius: the tightest bend that may be laid."""
ROUNDING = 1e-9
"""Of the size of the layout: what floating point may lose."""


@dataclass(frozen=True, kw_only=True)
class Laid:
    """A layout as plain lines, and what it has to keep to.

    `zones` are shapes with the distance to keep from each; `gap` is the least distance between runs;
    `carries` is blank tubing from the end of one run to the start of another, with their numbers."""

    outline: Polygon
    lines: Sequence[LineString]
    clearance: float
    spacing: float
    gap: float
    bend_radius: float
    shortest: float = 0.0
    zones: Sequence[tuple[BaseGeometry, float]] = ()
    dropped: Sequence[BaseGeometry] = ()
    lengths: Sequence[float] = ()
    names: Sequence[str] = ()
    carries: Sequence[tuple[int, int, LineString]] = ()

    @property
    def small(self) -> float:
        """A length that is nothing on this layout."""
        x0, y0, x1, y1 = self.outline.bounds
        return ROUNDING * max(abs(x0), abs(y0), abs(x1), abs(y1), x1 - x0, y1 - y0)

    def name(self, number: int) -> str:
        return self.names[number] if self.names else f"run {number + 1}"


def broken_laws(
    laying: Laying, bed: Bed, rules: RunRules, tubing: Tubing, features: Sequence[Feature] = ()
) -> list[str]:
    """Every law that a laying breaks, as a sentence each; empty for a lawful one."""
    number = {run.name: place for place, run in enumerate(laying.runs)}
    return broken(
        Laid(
            outline=bed.outline,
            lines=[run.line for run in laying.runs],
            clearance=bed.clearance,
            spacing=rules.spacing,
            gap=rules.closest if laying.pattern is Pattern.EVEN else rules.spacing,
            bend_radius=tubing.bend_radius,
            shortest=rules.shortest,
            zones=[(feature.shape, feature.setback) for feature in features],
            dropped=[piece.line for piece in laying.dropped],
            lengths=[run.length for run in laying.runs],
            names=[run.name for run in laying.runs],
            carries=[(number[join.start], number[join.end], join.line) for join in laying.carries],
        )
    )


def broken(laid: Laid) -> list[str]:
    """Every law that a layout breaks, as a sentence each; empty for a lawful one."""
    found: list[str] = []
    for number, line in enumerate(laid.lines):
        found += [f"{laid.name(number)} {said}" for said in _one(laid, line)]
    for number, length in enumerate(laid.lengths):
        true = float(np.hypot(*np.diff(shapely.get_coordinates(laid.lines[number]), axis=0).T).sum())
        if abs(length - true) > 1e-6 * true:
            found.append(f"{laid.name(number)} states a length of {length} where its points make {true}")
    return [*found, *_pairs(laid), *_carried(laid)]


def _one(laid: Laid, line: LineString) -> Iterator[str]:
    """The laws that one run alone can break."""
    if not np.isfinite(shapely.get_coordinates(line)).all() or line.length == 0:
        yield "is no line"
        return
    if np.hypot(*np.diff(shapely.get_coordinates(line), axis=0).T).min() < 1e-7:
        yield "has a step without a direction"
    if line.length < laid.shortest - laid.small:
        yield f"is {line.length:.4f} long, under the shortest of {laid.shortest:g}"
    yield from _ground(laid, line)
    if not line.is_simple:
        yield "crosses itself"
    if laid.bend_radius > 0:
        yield from _bends(laid, line)


def _ground(laid: Laid, line: LineString) -> Iterator[str]:
    """Clearance and setbacks."""
    least = laid.clearance - EDGE_SLACK * laid.spacing - laid.small
    if not laid.outline.buffer(laid.small).covers(line):
        outside = line.difference(laid.outline).length
        yield f"leaves the bed for {outside:.4f}"
    edge = float(shapely.distance(line, laid.outline.exterior))
    if edge < least:
        at = shapely.shortest_line(line, laid.outline.exterior).coords[0]
        yield f"lies {edge:.4f} from the bed's edge at {_place(at)}, clearance {laid.clearance:g}"
    for shape, setback in laid.zones:
        away = float(shapely.distance(line, shape))
        if away < setback - laid.small or (
            shape.geom_type == "Polygon" and line.intersection(shape).length > laid.small
        ):
            at = shapely.shortest_line(line, shape).coords[0]
            yield f"lies {away:.6f} from a feature at {_place(at)}, setback {setback:g}"


def _place(at: Sequence[float]) -> str:
    return f"({at[0]:.3f}, {at[1]:.3f})"


# --- bends ---------------------------------------------------------------------------------------------


def walk(line: LineString, step: float) -> tuple[Array, Array]:
    """Points of a line at most a step apart, its vertices among them, and their distance along it."""
    points = shapely.get_coordinates(line)
    at = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    along = np.union1d(at, np.linspace(0.0, at[-1], math.ceil(at[-1] / step) + 1))
    return _points(points, at, along), along


def _points(points: Array, at: Array, along: Array) -> Array:
    return np.column_stack((np.interp(along, at, points[:, 0]), np.interp(along, at, points[:, 1])))


def three_point_radius(line: LineString, arm: float) -> tuple[float, tuple[float, float]]:
    """Least radius of a circle through a point of the line and the two an arm away along it, and where."""
    points, along = walk(line, arm / 5)
    if along[-1] <= 2 * arm:
        return math.inf, (0.0, 0.0)
    middle = np.union1d(along[(along >= arm) & (along <= along[-1] - arm)], [arm, along[-1] - arm])
    a, b, c = (_points(points, along, middle + shift) for shift in (-arm, 0.0, arm))
    ab, bc, ca = (np.hypot(*(p - q).T) for p, q in ((a, b), (b, c), (c, a)))
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    flat = area <= 1e-9 * ab * bc
    radius = np.where(flat, np.inf, ab * bc * ca / np.where(flat, 1.0, 4 * area))
    worst = int(np.argmin(radius))
    return float(radius[worst]), (float(b[worst][0]), float(b[worst][1]))


def sharpest_turn(line: LineString, arm: float, over: float) -> tuple[float, tuple[float, float]]:
    """Greatest change of heading from one chord of an arm's length to that begun `over` further on [rad]."""
    points, along = walk(line, arm / 5)
    starts = along[along <= along[-1] - arm]
    heading = np.diff(
        np.stack((_points(points, along, starts), _points(points, along, starts + arm))), axis=0
    )[0]
    angle = np.unwrap(np.arctan2(heading[:, 1], heading[:, 0]))
    later = starts + over
    inside = later <= starts[-1] if len(starts) else np.empty(0, bool)
    if not inside.any():
        return 0.0, (0.0, 0.0)
    turn = np.abs(np.interp(later[inside], starts, angle) - angle[inside])
    worst = int(np.argmax(turn))
    place = _points(points, along, np.asarray([starts[inside][worst] + (arm + over) / 2]))[0]
    return float(turn[worst]), (float(place[0]), float(place[1]))


def _bends(laid: Laid, line: LineString) -> Iterator[str]:
    """Two measures: the circle through three points, and the turning over half and over a whole radius."""
    arm, least = laid.bend_radius / 4, BEND_SHARE * laid.bend_radius
    radius, at = three_point_radius(line, arm)
    if radius < least * (1 - 1e-9):
        yield f"bends at a radius of {radius:.4f} at {_place(at)}, bend radius {laid.bend_radius:g}"
        return
    for over in (laid.bend_radius / 2, laid.bend_radius):
        turn, at = sharpest_turn(line, arm, over)
        if turn > over / least * (1 + 1e-6):
            yield (
                f"turns {math.degrees(turn):.1f} degrees in {over:g} at {_place(at)}, where a radius of "
                f"{laid.bend_radius:g} allows {math.degrees(over / least):.1f}"
            )
            return


# --- runs beside each other ----------------------------------------------------------------------------


def _pairs(laid: Laid) -> Iterator[str]:
    """Runs that cross, touch, or come nearer to each other than the least gap."""
    lines = np.asarray(laid.lines, dtype=object)
    least = GAP_SHARE * laid.gap - laid.small
    if len(lines) < 2 or least <= 0:
        return
    for here, there in shapely.STRtree(lines).query(lines, predicate="dwithin", distance=least).T:
        if here >= there:
            continue
        one, other = laid.lines[here], laid.lines[there]
        names = f"{laid.name(here)} and {laid.name(there)}"
        if one.intersects(other):
            yield f"{names} cross or touch at {_place(shapely.get_coordinates(one.intersection(other))[0])}"
        elif not end_to_end(one, other, least):
            near = shapely.shortest_line(one, other)
            yield f"{names} are {near.length:.4f} apart at {_place(near.coords[0])}, least gap {laid.gap:g}"


def _carried(laid: Laid) -> Iterator[str]:
    """Blank tubing: joined to its runs, on the ground, bending no tighter, and clear of all other tubing."""
    for place, (start, end, blank) in enumerate(laid.carries):
        name = f"the blank from {laid.name(start)} to {laid.name(end)}"
        leaves = math.dist(blank.coords[0], laid.lines[start].coords[-1])
        arrives = math.dist(blank.coords[-1], laid.lines[end].coords[0])
        if max(leaves, arrives) > 1e3 * laid.small:
            yield f"{name} misses the ends of its runs by {max(leaves, arrives):.4f}"
        yield from (f"{name} {said}" for said in _ground(laid, blank))
        whole = LineString([*laid.lines[start].coords, *blank.coords[1:-1], *laid.lines[end].coords])
        if not whole.is_simple:
            yield f"{name} crosses its own line"
        if laid.bend_radius > 0:
            yield from (f"{name} {said}" for said in _bends(laid, whole))
        others = [line for number, line in enumerate(laid.lines) if number not in {start, end}]
        others += [line for number, (_, _, line) in enumerate(laid.carries) if number != place]
        for other in others:
            if blank.intersects(other):
                at = shapely.get_coordinates(blank.intersection(other))[0]
                yield f"{name} crosses or touches tubing at {_place(at)}"


def end_to_end(one: LineString, other: LineString, gap: float) -> bool:
    """Whether two runs come nearer than a gap only where an end of one faces an end of the other.

    So it is when they part again as one walks back from these ends. Runs that lie beside each other, even
    askew by up to 49 degrees (sine 0.75), do not: they are hardly farther apart after the walk.
    """
    facing = shapely.shortest_line(one, other)
    near = shapely.get_coordinates(facing)
    if not all(
        min(math.dist(at, line.coords[0]), math.dist(at, line.coords[-1])) < 1e-6 * gap
        for at, line in zip(near, (one, other), strict=True)
    ):
        return False
    for share in (0.5, 1.0):
        for this, that, end in ((one, other, near[0]), (other, one, near[1])):
            walked = min(share * gap, 0.9 * this.length)
            parted = math.hypot(facing.length, 0.75 * walked)
            if shapely.distance(_cut_back(this, Point(end), walked), that) < parted:
                return False
    return True


def _cut_back(line: LineString, end: Point, by: float) -> LineString:
    """A line without its stretch of a given length from one of its ends."""
    points, along = walk(line, line.length)
    total = along[-1]
    low, high = (
        (by, total)
        if end.distance(Point(line.coords[0])) <= end.distance(Point(line.coords[-1]))
        else (0.0, total - by)
    )
    inner = along[(along > low) & (along < high)]
    return LineString(_points(points, along, np.concatenate(([low], inner, [high]))))


# --- what was not laid ---------------------------------------------------------------------------------


def unlisted(laid: Laid, reach: float, *, speck: float | None = None) -> list[str]:
    """Usable ground farther than `reach` from any run and from any piece listed as left out.

    Rows a spacing apart leave no usable ground farther than a spacing from a row, so where there is such
    ground a piece has been left out and not listed. Ground thinner than twice `speck` is nothing.
    """
    usable: BaseGeometry = shapely.buffer(laid.outline, -laid.clearance)
    for shape, setback in laid.zones:
        usable = usable.difference(shape.buffer(setback, quad_segs=32))
    reached = shapely.union_all([line.buffer(reach) for line in (*laid.lines, *laid.dropped)])
    bare = shapely.buffer(usable.difference(reached), -(speck if speck is not None else 0.05 * laid.spacing))
    return [
        f"ground of {part.area:.2f} round {_place(part.representative_point().coords[0])} has no tubing "
        f"within {reach:g}, and no piece there is listed as left out"
        for part in shapely.get_parts(bare)
        if not part.is_empty
    ]
