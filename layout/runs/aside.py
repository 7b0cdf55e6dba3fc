"""Rows that bend round an obstacle with their emitters, and the rows beyond them that make room.

A row bends on a ring about the setback zone, each next row out on a ring a gap farther; the first one that keeps its
gap as it lies, and all beyond it, stay as they are. What is closed with the disc of the bend radius and then grown by a
gap lies within what is grown first and closed then, so gaps hold where corners are eased, too.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import lines_of
from layout.runs.carried import Carried
from layout.runs.emitting import joined
from layout.runs.leading import Round, interrupted, is_lawful, way_round
from layout.runs.nearby import Nearby, away
from layout.runs.rings import MARGIN, RING_STEP, way_along
from layout.runs.trim import STILL_APART, Ground

MOST_ASIDE = 4
"""Rows that may make room for those that an obstacle interrupts, on each of its sides (a judgement)."""


def bent_round(
    rows: Sequence[Carried],
    outward: Sequence[int],
    zone: Polygon,
    ring: Callable[[float], Polygon],
    *,
    side: float,
    base: float,
    ground: Ground,
    allowed: BaseGeometry,
) -> Mapping[int, Carried] | None:
    """Rows on one side of a zone led round it with their emitters, and those beyond moved aside for them.

    Parameters
    ----------
    rows : sequence of Carried
        All rows of the bed.
    outward : sequence of int
        The rows to lead round, those that the zone interrupts first, and those beyond, from the zone outwards.
    zone : Polygon
    ring : callable
        The ring about the zone at a distance [m].
    side : 1.0 or -1.0
        Left or right of the zone.
    base : float
        Distance of the innermost ring [m].
    ground : Ground
    allowed : BaseGeometry
        Where tubing may lie [m].

    Returns
    -------
    mapping of int to Carried, or None
        The rows that change; None where some law or other tubing does not allow it.
    """
    moved = _to_move(rows, outward, zone, base, ground)
    found: dict[int, Carried] = {}
    for step, (k, cut) in reversed(list(enumerate(moved))):  # the outermost, which may lack room, first
        around, row = ring(base + step * ground.closest), rows[k]
        if cut is not None:
            at, count, way = cut, 2, way_round(row, cut, around, side, ground)
        else:
            at, count, way = _moved(row, around, side, ground)
        if way is None or not is_lawful(way, ground, allowed):
            return None
        found[k] = row.put(at, count, (joined(*way),), ())
        if interrupted(found[k], zone, RING_STEP * ground.spacing) is not None:
            return None
    return found if found and _apart(found, rows, ground) else None


def _to_move(
    rows: Sequence[Carried], outward: Sequence[int], zone: Polygon, base: float, ground: Ground
) -> list[tuple[int, int | None]]:
    """The rows that have to move, and the piece after which the zone interrupts each; none where they are too many."""
    moved: list[tuple[int, int | None]] = []
    for k in outward:
        cut = interrupted(rows[k], zone, RING_STEP * ground.spacing)
        reach = base + len(moved) * ground.closest + MARGIN * ground.spacing
        if cut is None and not rows[k].runs.within(zone, reach):
            break
        moved.append((k, cut))
        if sum(cut is None for _, cut in moved) > MOST_ASIDE:
            return []
    return moved


def _moved(row: Carried, ring: Polygon, side: float, ground: Ground) -> tuple[int, int, Round | None]:
    """Which piece of a row passes through a ring, that it is one, and its way round; None where it has none."""
    touching = [k for k, piece in enumerate(row.pieces) if piece.crosses(ring)]
    if len(touching) != 1:
        return 0, 1, None
    whole = row.pieces[touching[0]]
    outside = lines_of(whole.difference(ring))
    outside.sort(key=lambda part: float(whole.project(Point(part.coords[0]))))
    way = way_along(outside[0], outside[1], ring, side, ground) if len(outside) == 2 else None
    return touching[0], 1, way


def _apart(found: Mapping[int, Carried], rows: Sequence[Carried], ground: Ground) -> bool:
    """Whether rows that were moved keep their distance from each other and from all other tubing."""
    gap = STILL_APART * ground.closest
    for k, row in found.items():
        others = Nearby.of_all(found.get(n, other).runs for n, other in enumerate(rows) if n != k)
        blank = Nearby.of(line for n, other in enumerate(rows) if n != k for line in other.blank())
        for piece in row.pieces:
            if piece in rows[k].pieces:
                continue
            if float(away(piece, others.about(piece, gap))) < gap:
                return False
            if blank.within(piece, 0.9 * RING_STEP * ground.spacing):
                return False
    return True
