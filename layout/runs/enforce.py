"""The laws of a layout, to which every row of every pattern is held.

Tubing keeps its clearance to the bed's edge (less 0.02 × spacing at most) and every setback exactly; two
runs side by side are never closer than the least gap less 2 %; no bend is tighter than 0.95 × the bend
radius; no run crosses itself or another. What cannot be kept is not laid, and is listed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import BufferCapStyle, LineString
from shapely.geometry.base import BaseGeometry

from layout.model import Dropped
from layout.near import near_parts
from layout.plane import (
    TOLERANCE,
    Array,
    are_gentle,
    bend_radii,
    coordinates,
    is_gentle,
    lines_of,
    merged_spans,
    points_at,
    stretch,
    union,
)
from layout.runs.trim import BEND_SHARE, CRUMB, GAP_SHARE, HAIR, Ground, Row


def enforce(rows: Sequence[Row], ground: Ground, dropped: list[Dropped]) -> list[Row]:
    """Hold rows to the laws: cut out what breaks one, list it, and list pieces that became too short.

    Parameters
    ----------
    rows : sequence of Row
        From left to right; where two rows are too close, the shorter piece gives way.
    ground : Ground
    dropped : list of Dropped
        What is cut or left out is added here.

    Returns
    -------
    list of Row
        The rows that still have pieces, in the same order.
    """
    limits = ground.limits
    shapely.prepare(limits)
    every = [piece for row in rows for piece in row.pieces]
    inside = iter(shapely.covers(limits, every).tolist())
    gentle = iter(
        are_gentle(every, radius=ground.radius).tolist() if ground.radius > 0 else [True] * len(every)
    )
    kept = [Row(place=row.place) for row in rows]
    for number, row in enumerate(rows):
        for piece in row.passed:
            _drop(dropped, piece, number, "bends tighter than tubing.bend_radius", ground=ground)
        for piece, is_inside, is_slack in zip(row.pieces, inside, gentle, strict=False):
            if not _long_enough(piece, ground, number, dropped):
                continue
            parts = [piece]
            if not is_inside:
                parts = lines_of(piece.intersection(limits))
                for cut in lines_of(piece.difference(limits)):
                    _drop(dropped, cut, number, "nearer to the edge or a setback than allowed", ground=ground)
            if not is_slack:
                parts = [slack for part in parts for slack in _bendable(part, piece, ground, number, dropped)]
            parts = [fit for part in parts for fit in _apart_from_itself(part, ground, number, dropped)]
            kept[number].pieces += [part for part in parts if _long_enough(part, ground, number, dropped)]
    _part_rows(kept, ground, dropped)
    _sort_along(kept, ground.sides.centre)
    return [row for row in kept if row.pieces]


def _sort_along(rows: Sequence[Row], centre: LineString) -> None:
    """Put the pieces of each row in order along the bed."""
    several = [row for row in rows if len(row.pieces) > 1]
    if not several:
        return
    pieces = np.asarray([piece for row in several for piece in row.pieces], dtype=object)
    along = iter(np.round(shapely.line_locate_point(centre, shapely.get_point(pieces, 0)), 6).tolist())
    for row in several:
        at = [next(along) for _ in row.pieces]
        row.pieces = [row.pieces[k] for k in sorted(range(len(at)), key=at.__getitem__)]


def _drop(dropped: list[Dropped], line: LineString, row: int, why: str, *, ground: Ground) -> None:
    if line.length > CRUMB * ground.spacing:
        dropped.append(Dropped(line=line, row=row, why=why))


def _long_enough(piece: LineString, ground: Ground, row: int, dropped: list[Dropped]) -> bool:
    if piece.length >= ground.least:
        return True
    _drop(dropped, piece, row, "shorter than runs.shortest", ground=ground)
    return False


def _bendable(
    piece: LineString, bent: LineString, ground: Ground, row: int, dropped: list[Dropped]
) -> list[LineString]:
    """The piece, a part of one that bends, without the stretches that bend too tightly."""
    if piece is not bent and is_gentle(coordinates(piece), radius=ground.radius):
        return [piece]
    parts = _unbent(piece, ground.radius)
    if parts != [piece]:
        kept = union(part.buffer(HAIR * ground.spacing, cap_style="flat") for part in parts)
        for cut in lines_of(piece.difference(kept)):
            _drop(dropped, cut, row, "bends tighter than tubing.bend_radius", ground=ground)
    return parts


def _unbent(piece: LineString, radius: float) -> list[LineString]:
    """What is left of a piece without its tight bends and without an end that hooks."""
    arm, points = radius / 4, coordinates(piece)
    if piece.length < 4 * arm and _hooks(points, radius, span=piece.length):
        return []
    piece = _without_hooks(piece, arm, radius)
    least = BEND_SHARE * radius
    radii, at = bend_radii(coordinates(piece), arm=arm, below=least)
    tight = radii < least
    if not tight.any():
        return [piece]
    zone = union(shapely.Point(place).buffer(arm) for place in at[tight])
    return [_without_hooks(part, arm, radius) for part in lines_of(piece.difference(zone))]


def _without_hooks(piece: LineString, arm: float, radius: float) -> LineString:
    """The piece less an arm at an end that hooks there, where the circle through points an arm apart cannot see it."""
    if piece.length < 4 * arm:
        return piece
    points = coordinates(piece)
    start, end = (arm if _hooks(walk, radius, span=arm) else 0.0 for walk in (points, points[::-1]))
    return stretch(piece, start, piece.length - end) if start or end else piece


def _hooks(points: Array, radius: float, *, span: float) -> bool:
    """Whether the first `span` of a line [m] turns to its end by over 20 degrees more than an arc would."""
    walk = points_at(points, np.linspace(0.0, span, 7))  # so that crumbs of a line do not count
    step = np.diff(walk, axis=0)
    heading = step[:, 0] + 1j * step[:, 1]
    turned = np.abs(np.angle(heading / heading[-1]))
    return bool(turned.max() > span / radius + np.radians(20))


def _apart_from_itself(
    piece: LineString, ground: Ground, row: int, dropped: list[Dropped]
) -> list[LineString]:
    """The piece without the stretches that come back beside an earlier stretch of it."""
    points = coordinates(piece)
    chord = float(np.hypot(*(points[-1] - points[0])))
    if piece.length < 1.3 * chord or piece.length < 6 * ground.closest:
        return [piece]
    from scipy.spatial import cKDTree

    step = ground.closest / 6
    walk = points_at(points, np.arange(0.0, piece.length, step))
    pairs = cKDTree(walk).query_pairs(GAP_SHARE * ground.closest, output_type="ndarray")
    pairs = pairs[(pairs[:, 1] - pairs[:, 0]) * step > 2.5 * ground.closest]
    if not len(pairs):
        return [piece]
    # of two legs side by side the later one goes, from the turn between them on
    from_, to = pairs.mean(axis=1) * step, (pairs[:, 1] + 1) * step
    first, last = merged_spans(from_, to)
    kept_from, kept_to = np.append(0.0, np.minimum(last, piece.length)), np.append(first, piece.length)
    for a, b in zip(first, last, strict=True):
        _drop(dropped, stretch(piece, a, b), row, "nearer to itself than the least gap", ground=ground)
    legs = [
        stretch(piece, a, b) for a, b in zip(kept_from, kept_to, strict=True) if b - a > HAIR * ground.spacing
    ]
    apart: list[LineString] = []
    for leg in legs:  # one may begin where it is near the turn that the one before keeps
        near = union(other.buffer(GAP_SHARE * ground.closest, quad_segs=32) for other in apart)
        for cut in lines_of(leg.intersection(near)):
            _drop(dropped, cut, row, "nearer to itself than the least gap", ground=ground)
        apart += [part for part in lines_of(leg.difference(near)) if _long_enough(part, ground, row, dropped)]
    return apart


def _part_rows(rows: list[Row], ground: Ground, dropped: list[Dropped]) -> None:
    """Where two pieces are nearer than the least gap, the shorter one gives way.

    Pieces of one row may be nearer end to end, on the two sides of what interrupts it, though they may not touch.
    """
    owner = [(number, piece) for number, row in enumerate(rows) for piece in row.pieces]
    if len(owner) < 2:
        return
    gap, touch = GAP_SHARE * ground.closest, CRUMB * ground.spacing
    order = sorted(range(len(owner)), key=lambda k: (-round(owner[k][1].length, 6), k))
    rank = {k: r for r, k in enumerate(order)}
    rivals: dict[int, dict[int, list[LineString]]] = {}
    for (one, other), beside in near_parts([piece for _, piece in owner], gap).items():
        last = max(one, other, key=rank.__getitem__)
        first = one + other - last
        rivals.setdefault(last, {})[first] = beside[first > last]
    final: dict[int, list[LineString]] = {k: [piece] for k, (_, piece) in enumerate(owner)}
    for k in order:
        if k not in rivals:
            continue
        number, piece = owner[k]
        zones: list[BaseGeometry] = []
        for other, close in sorted(rivals[k].items()):
            whole = final[other]
            if owner[other][0] == number:  # only what lies beside it, where their ends face each other
                for part in whole:
                    cap = BufferCapStyle.flat if _end_to_end(piece, part) else BufferCapStyle.round
                    zones += [part.buffer(gap, quad_segs=32, cap_style=cap), part.buffer(touch)]
            else:  # of one that itself gave way, what is left
                near = close if whole == [owner[other][1]] else whole
                zones.append(shapely.MultiLineString(near).buffer(gap, quad_segs=32))
        zone = union(zones)
        for cut in lines_of(piece.intersection(zone)):
            _drop(dropped, cut, number, "nearer to another run than the least gap", ground=ground)
        parts = lines_of(piece.difference(zone))
        final[k] = [part for part in parts if _long_enough(part, ground, number, dropped)]
    for row in rows:
        row.pieces = []
    for k, (number, _) in enumerate(owner):
        rows[number].pieces += final[k]


def _end_to_end(piece: LineString, other: LineString) -> bool:
    """Whether two lines are nearest to each other at an end of each."""
    near = shapely.get_point(shapely.shortest_line(piece, other), [0, 1])
    return all(
        bool(shapely.dwithin(at, shapely.get_point(line, [0, -1]), TOLERANCE).any())
        for at, line in zip(near, (piece, other), strict=True)
    )
