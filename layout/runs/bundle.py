"""Blank tubing through a neck, side by side along its walls, with emitters where it lies far enough from other tubing.

Each line leaves the end of a row before the neck, follows a ring about the wall, and joins the start of a row beyond.
The outermost rows take the ring next to the wall, so that none crosses another.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import Dropped, Join, Run
from layout.plane import coordinates, lines_of, stretch
from layout.runs import fronts, guides
from layout.runs.leading import Round
from layout.runs.led import Led
from layout.runs.neck import NEAR_ENOUGH, Neck
from layout.runs.rings import MARGIN, RING_STEP, bends_enough, between, clear_of, way_across, way_along
from layout.runs.trim import CRUMB, GAP_SHARE, SWING_SLACK, Ground

FURTHER = 0.4
"""How far beyond the end of a run a wall is followed at most, in lengths of the run."""


def lead(led: Led, neck: Neck, carried: Sequence[int], hand: int, pitch: float) -> bool:
    """Lay the blank tubing along one wall, rings a pitch [m] apart; False where it cannot be."""
    if not carried:
        return True
    near = neck.near[hand][: len(carried)][::-1]  # outermost first, as the far lines
    ends = led.runs[near[0][-1]].line, led.runs[neck.far[carried[0]][0]].line
    guide = _wall(neck, *ends, hand)
    made: list[Join] = []
    passing = [led.runs[name].line for line in neck.through for name in line]
    least = NEAR_ENOUGH * RING_STEP * neck.ground.spacing
    for ring_number, (before, place) in enumerate(zip(near, carried, strict=True)):
        start, end = before[-1], neck.far[place][0]
        distance = neck.ground.clearance + MARGIN * neck.ground.spacing + ring_number * pitch
        way = _way(neck, guide, distance, led.runs[start].line, led.runs[end].line, hand)
        if way is None:
            return False
        first, blank, last = way
        led.runs[start] = replace(led.runs[start], line=first)
        led.runs[end] = replace(led.runs[end], line=last)
        others = [*(join.line for join in (*led.carries, *made)), *passing]
        if shapely.dwithin(np.asarray(others, dtype=object), blank, least).any():
            return False
        made.append(Join(kind="blank", start=start, end=end, line=blank))
    led.carries += made
    if not _made_room(led, neck, made):
        return False
    for join in made:
        _let_emit(led, neck, join)
    return True


def _wall(neck: Neck, near: LineString, far: LineString, hand: int) -> LineString:
    """The wall from beside one run's end along the neck to beside another's start, and a little further, swung wide."""
    ground, whole = neck.ground, float(neck.edge.length)
    # so that corners can be eased, but not as far as where the other ends of short runs come near the wall
    most = 4 * ground.radius + 2 * ground.spacing
    more, further = (min(most, FURTHER * run.length) for run in (near, far))
    back = neck.wall_length(Point(near.coords[-1]), hand, beyond=False) + more
    on = neck.wall_length(Point(far.coords[0]), hand, beyond=True) + further
    key = (neck.number, hand, round(back, 6), round(on, 6))
    if key in neck.found.walls:
        return neck.found.walls[key]
    if hand < 0:
        walk = between(neck.edge, (neck.ends[0] - on) % whole, (neck.ends[0] + back) % whole).reverse()
    else:
        walk = between(neck.edge, (neck.ends[1] - back) % whole, (neck.ends[1] + on) % whole)
    neck.found.walls[key] = guides.swung_wide(
        walk,
        side=float(hand),
        radius=ground.radius - ground.clearance,
        slack=SWING_SLACK * ground.spacing,
    )
    return neck.found.walls[key]


def _way(
    neck: Neck, guide: LineString, distance: float, before: LineString, after: LineString, hand: int
) -> Round | None:
    """Two runs cut back to the ring at a distance from a wall [m], and the way along it; as found before, if it was."""
    bands, ways, at = neck.found.bands, neck.found.ways, round(distance, 9)
    if (guide, at) not in bands:
        ground = neck.ground
        bands[guide, at] = fronts.grown(guide, distance, radius=ground.radius, bed=ground.outline)
    key = (guide, at, hand, before, after)
    if key not in ways:
        ways[key] = _laid(neck.ground, before, after, bands[guide, at], hand)
    return ways[key]


def _laid(
    ground: Ground, before: LineString, after: LineString, band: BaseGeometry, hand: int
) -> Round | None:
    """Two runs cut back to a ring and the way along it between them."""
    if not isinstance(band, Polygon):
        return None
    ring = Polygon(band.exterior)
    start, end = clear_of(before, ring, last=True), clear_of(after, ring, last=False)
    if start is None or end is None or min(start.length, end.length) < ground.shortest:
        return None
    off = max(float(ring.distance(Point(tip))) for tip in (start.coords[-1], end.coords[0]))
    for lay in (way_along, way_across) if off < 1e-6 * ground.spacing else (way_across,):
        way = lay(start, end, ring, float(hand), ground)
        if way is not None and _lawful(ground, *way):
            return way
    return None


def _lawful(ground: Ground, first: LineString, blank: LineString, last: LineString) -> bool:
    """Whether two runs and the blank tubing between them keep to the laws."""
    radius = ground.radius
    if min(first.length, last.length) < ground.shortest or not ground.limits.buffer(1e-6).covers(blank):
        return False
    whole = LineString(np.vstack([coordinates(part) for part in (first, blank, last)]))
    if not whole.is_simple:
        return False
    return radius <= 0 or bends_enough(coordinates(whole), radius)


def _made_room(led: Led, neck: Neck, made: Sequence[Join]) -> bool:
    """Cut the ends of other runs back from new blank tubing; False where more than ends would have to go."""
    step = RING_STEP * neck.ground.spacing
    joined = {name for join in led.carries for name in (join.start, join.end)}
    passing = {name for line in neck.through for name in line}
    needed = {name for line in neck.far for name in line}
    for join in made:
        shapely.prepare(join.line)
        others = np.asarray([other.line for other in led.carries if other is not join], dtype=object)
        if shapely.dwithin(join.line, others, NEAR_ENOUGH * step).any():
            return False
        runs = np.asarray([run.line for run in led.runs.values()], dtype=object)
        near = shapely.dwithin(join.line, runs, NEAR_ENOUGH * step * (1 - 1e-9))
        crowded = set(itertools.compress(led.runs, near)) - {join.start, join.end}
        if crowded & (joined | passing):
            return False
        keep = join.line.buffer(step, quad_segs=16) if crowded else Polygon()
        for name in [name for name in led.runs if name in crowded]:
            run = led.runs[name]
            kept = _cut_back(neck.ground, run, keep)
            if kept is None and (run.from_end or name in needed):
                return False
            if kept is not None and run.from_end and _moved(kept, run.line) > CRUMB * neck.ground.spacing:
                return False  # a manifold feeds it there
            gone = run.line if kept is None else run.line.difference(kept.buffer(1e-9))
            for cut in lines_of(gone):
                if cut.length > CRUMB * neck.ground.spacing:
                    why = "makes room for blank tubing through a neck"
                    led.dropped.append(Dropped(line=cut, row=run.row, why=why))
            if kept is None:
                del led.runs[name]
            else:
                led.runs[name] = replace(run, line=kept)
    return True


def _moved(kept: LineString, line: LineString) -> float:
    """How far the start of a run has come from where it was [m]."""
    return math.dist(kept.coords[0], line.coords[0])


def _let_emit(led: Led, neck: Neck, join: Join) -> None:
    """Give blank tubing emitters where it is as far from all runs as a run beside them."""
    ground, gap = neck.ground, GAP_SHARE * neck.ground.closest
    along = np.linspace(0.0, join.line.length, max(math.ceil(8 * join.line.length / ground.spacing), 2))
    points = shapely.line_interpolate_point(join.line, along)
    runs = shapely.MultiLineString([run.line for run in led.runs.values()])
    free = np.flatnonzero(np.diff(np.concatenate(([0], shapely.distance(points, runs) > gap, [0]))))
    spans = [(along[a], along[b - 1]) for a, b in zip(free[::2], free[1::2], strict=True)]
    start, end = max(spans, key=lambda span: span[1] - span[0], default=(0.0, 0.0))
    if end - start < ground.least or not 0 < start < end < join.line.length:
        return
    line = stretch(join.line, start, end)
    if float(line.distance(runs)) < GAP_SHARE * ground.closest:
        return
    name = f"{join.start} to {join.end}"
    run = Run(name=name, line=line, row=led.runs[join.end].row, from_end=False, lobe=neck.before)
    before, after = stretch(join.line, 0.0, start), stretch(join.line, end, join.line.length)
    at = led.carries.index(join)
    led.carries[at : at + 1] = [
        replace(join, end=name, line=before),
        replace(join, start=name, line=after),
    ]
    items = list(led.runs.items())
    place = list(led.runs).index(join.end)
    led.runs = dict([*items[:place], (name, run), *items[place:]])
    led.dropped = [
        replace(piece, line=left)
        for piece in led.dropped
        for left in lines_of(piece.line.difference(line.buffer(ground.spacing / 4)))
    ]


def _cut_back(ground: Ground, run: Run, keep: BaseGeometry) -> LineString | None:
    """The longest part of a run outside some ground, in its direction; None where it is too short to stay."""
    parts = lines_of(run.line.difference(keep))
    longest = max(parts, key=lambda part: part.length, default=None)
    if longest is None or longest.length < ground.least:
        return None
    first, last = (float(run.line.project(Point(longest.coords[tip]))) for tip in (0, -1))
    return stretch(run.line, min(first, last), max(first, last))
