"""Ends of runs led on along the edge of the usable ground, where that runs slantwise to the rows.

Rows that end on a slant part along it: by g / sin a, for a gap g and an angle a between row and edge. The ground
amid two such ends lies g / (1 + sin a) from both rows. Where rows may lie nearer to each other than they do, the row
that ends first turns along the edge, towards its neighbour, until the ground between is wet or the least gap is
reached. With gaps as small as they may be nothing is gained, and nothing is done.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiLineString

from layout.plane import Array, areal, coordinates, distances, points_at, stations, stretch, unit
from layout.runs.guides import rounded
from layout.runs.nearby import Nearby
from layout.runs.rings import MARGIN, bends_enough
from layout.runs.trim import HAIR, LEAVES, STILL_APART, Ground, Row

WET = 0.6
"""Ground at the edge farther than this from tubing, in spacings, is worth leading a run there. Half is what rows a
spacing apart leave, but no loop can be laid between a run that has turned and the one before it."""
FARTHEST = 4.0
"""How far along the edge ground beside an end is looked at, in spacings."""
STEP = 1 / 32
"""Between points of the edge that are looked at, in spacings."""
KEPT = 1.001
"""What a run led on keeps from others, in least gaps: more than rows do that are as near as they may be, for
there the last digit would decide."""
EASED = 1.02
"""Radius of the bend where a run begins to follow the edge, in bend radii."""
AWAY = 0.7
"""A run that is led on goes away from itself, by this share of what it is led on at least."""
LEAST, MOST_TURN = 0.1, np.radians(80.0)
"""What is worth adding to a run, in spacings, and by how much it may turn to follow the edge."""


def led_on(rows: Sequence[Row], ground: Ground) -> None:
    """Lead runs on along the edge wherever ground between two ends lies dry, the driest place first.

    Parameters
    ----------
    rows : sequence of Row
        Lawful ones; pieces of theirs are replaced by longer ones.
    ground : Ground
    """
    owner = [(row, place) for row in rows for place in range(len(row.pieces))]
    every = [row.pieces[place] for row, place in owner]
    ways = _dry_ways(every, ground)
    if not ways:
        return
    lines = Nearby.of(every)
    led: set[tuple[int, bool]] = set()
    for way in ways:
        if (way.piece, way.from_end) in led:
            continue
        row, place = owner[way.piece]
        line = row.pieces[place] if way.from_end else row.pieces[place].reverse()
        others = Nearby.of_all((lines.part(0, way.piece), lines.part(way.piece + 1, len(every))))
        longer = _led(line, way.points(np.arange(0.0, FARTHEST, STEP) * ground.spacing), others, ground)
        if longer is not None:
            row.pieces[place] = lines.lines[way.piece] = longer if way.from_end else longer.reverse()
            lines.bounds[way.piece] = longer.bounds
            led.add((way.piece, way.from_end))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """A way along a closed line from an end of a piece on: where it begins [m], and which way it goes."""

    piece: int
    from_end: bool
    ring: Array
    station: Array
    start: float
    forward: bool

    def points(self, along: Array) -> Array:
        """Points of it, by their distance from its beginning [m]."""
        at = (self.start + (along if self.forward else -along)) % self.station[-1]
        x, y = self.ring.T
        return np.column_stack((np.interp(at, self.station, x), np.interp(at, self.station, y)))


def _dry_ways(pieces: Sequence[LineString], ground: Ground) -> list[_Way]:
    """The ways along the clearance line from ends that lie on it on which no other end is near, the driest first."""
    ways = list(_ways(pieces, ground))
    if not ways:
        return ways
    there = np.array([1.05 * WET * ground.spacing])
    places = np.asarray(shapely.points(np.vstack([way.points(there) for way in ways])), dtype=object)
    # near enough to tell: what is farther from the ends of all runs may still be near the middle of one
    reach = FARTHEST * ground.spacing
    ends = [stretch(line, 0.0, reach) for line in pieces]
    ends += [stretch(line, max(line.length - reach, 0.0), line.length) for line in pieces]
    tree = shapely.STRtree(ends)
    wet = tree.query(places, predicate="dwithin", distance=WET * ground.spacing)[0]
    dry = np.setdiff1d(np.arange(len(ways)), wet)
    _, away = tree.query_nearest(places[dry], return_distance=True, all_matches=False)
    away = np.round(away / ground.spacing, 4)
    return [ways[k] for _, k in sorted(zip((-away).tolist(), dry.tolist(), strict=True))]


def _ways(pieces: Sequence[LineString], ground: Ground) -> Iterator[_Way]:
    """Both ways along the clearance line from each end of a piece that lies on it."""
    tips = np.asarray(
        shapely.get_point(np.repeat(np.asarray(pieces, dtype=object), 2), np.tile([0, -1], len(pieces)))
    )
    # between ends as near as this on both sides nothing is dry
    beside = shapely.STRtree(tips).query(tips, predicate="dwithin", distance=2 * WET * ground.spacing)[0]
    apart = np.flatnonzero(np.bincount(beside, minlength=len(tips)) < 3)
    if not len(apart):
        return
    within = max(ground.clearance, HAIR * ground.spacing)
    aside = ground.kept_clear.buffer(
        MARGIN * ground.spacing, quad_segs=32
    )  # of zones that bulge, chords cut in
    inner = areal(ground.outline.buffer(-within, quad_segs=32).difference(aside))
    rings = [ring for part in shapely.get_parts(inner) for ring in (part.exterior, *part.interiors)]
    for ring in rings:
        if ring.length < FARTHEST * ground.spacing:
            continue
        shapely.prepare(ring)
        on = apart[shapely.dwithin(ring, tips[apart], 2 * LEAVES * ground.spacing)]
        walk = coordinates(ring)
        station = stations(walk)
        for tip, at in zip(on.tolist(), shapely.line_locate_point(ring, tips[on]).tolist(), strict=True):
            for forward in (True, False):
                yield _Way(
                    piece=tip // 2,
                    from_end=tip % 2 == 1,
                    ring=walk,
                    station=station,
                    start=at,
                    forward=forward,
                )


def _led(line: LineString, way: Array, others: Nearby, ground: Ground) -> LineString | None:
    """A run led on from its end along points of the edge; None where that gains nothing, or breaks a law."""
    turn = _turn(line, way, ground)
    if turn > MOST_TURN:
        return None
    # what easing takes of the way at least
    leg = max(EASED * ground.radius * float(np.tan(turn / 2)), LEAST * ground.spacing)
    least = math.ceil(leg / (STEP * ground.spacing))
    # beside rows as near as they may be there is no room for so much
    if (_apart(way[: least + 1], line, others, KEPT * ground.closest, ground) < KEPT * ground.closest).any():
        return None
    near = others.about(MultiLineString([way]), FARTHEST * ground.spacing)
    if near.is_empty:
        return None
    reach = _reach(way, _apart(way, line, others, ground.spacing, ground), least, ground)
    if reach is None:
        return None
    back = max(line.length - 8 * ground.radius - ground.spacing, 0.0)
    tail, path = coordinates(stretch(line, back, line.length))[:-1], way[: reach + 1]
    # so that rolling leaves its end straight
    beyond = path[-1:] + 3 * ground.radius * unit(path[-1:] - path[-2:-1])
    eased = rounded(LineString(np.vstack((tail, path, beyond))), radius=EASED * ground.radius)
    eased = stretch(eased, 0.0, float(eased.project(shapely.Point(path[-1]))))
    head = coordinates(stretch(line, 0.0, back))[:-1] if back else np.empty((0, 2))
    longer = LineString(np.vstack((head, coordinates(eased))))
    return longer if longer.length > line.length and _is_lawful(longer, eased, near, ground) else None


def _apart(way: Array, line: LineString, others: Nearby, within: float, ground: Ground) -> Array:
    """How far points of a way are from other runs that come within a distance of it, shape (n,) [m].

    Where the run itself comes back to it, round a corner of the edge, 0.
    """
    path, along = MultiLineString([way]), np.arange(len(way)) * STEP * ground.spacing
    kept = KEPT * ground.closest
    near, own = others.about(path, max(within, kept)), Nearby.of([line]).about(path, kept)
    comes_back = distances(way, own) < np.minimum(kept, AWAY * along)
    return np.where(comes_back, 0.0, np.fmin(distances(way, near), np.inf))


def _reach(way: Array, away: Array, least: int, ground: Ground) -> int | None:
    """Number of the point of a way up to which a run is to be led; None where that is not the least it takes.

    No nearer to others than it may be, `away`, nor to itself; and no farther than it takes to wet what lies between.
    """
    along = np.arange(len(way)) * STEP * ground.spacing
    away = away[
        : int(np.append(away <= ground.spacing / 2, True).argmax()) + 1
    ]  # up to where a neighbour ends
    last = int(np.append(away < KEPT * ground.closest, True).argmax()) - 1
    along = along[: len(away)]
    dry = np.minimum(np.maximum(along - along[:, None], 0.0), away).max(axis=1)
    enough = int((dry <= WET * ground.spacing).argmax())
    return min(last, max(enough, least)) if enough and last >= least else None


def _turn(line: LineString, way: Array, ground: Ground) -> float:
    """By how much a run turns where it begins to follow a way [rad]."""
    arm = max(ground.radius / 4, STEP * ground.spacing)
    (before, end), (_, onward) = (
        points_at(coordinates(line), np.array([line.length - arm, line.length])),
        points_at(way, np.array([0.0, arm])),
    )
    return float(
        np.arccos(np.clip((unit((end - before)[None]) * unit((onward - way[0])[None])).sum(), -1.0, 1.0))
    )


def _is_lawful(longer: LineString, eased: LineString, near: MultiLineString, ground: Ground) -> bool:
    """Whether a run that was led on along the edge, eased there, keeps to the laws."""
    if not longer.is_simple or not ground.limits.covers(eased):
        return False
    if ground.radius > 0 and not bends_enough(coordinates(longer), ground.radius):
        return False
    return bool(shapely.distance(eased, near) >= STILL_APART * ground.closest)
