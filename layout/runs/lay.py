"""One pattern on one bed: guides, fronts and trimming put together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np
import shapely
from shapely import LineString, Polygon

from layout.model import Bed, Dropped, Join, Laying, Pattern, Run, RunRules, Sides, Tubing, UsableGround
from layout.plane import coordinates
from layout.runs import fronts, guides
from layout.runs.carry import Carried, carry
from layout.runs.even import even_rows
from layout.runs.field import Spread
from layout.runs.trim import SWING_SLACK, Ground, Region, Row, clip, enforce


def lay_runs(
    bed: Bed,
    ground: UsableGround,
    sides: Sides,
    rules: RunRules,
    tubing: Tubing,
    *,
    pattern: Pattern,
    guide: LineString | None = None,
) -> Laying:
    """Lay the runs of one pattern.

    Parameters
    ----------
    bed, ground, sides, rules, tubing
        The nouns; `rules.pattern` is not looked at.
    pattern : Pattern
        Any but ``best``.
    guide : LineString or None
        The line to follow, for ``drawn`` and ``contour``.

    Returns
    -------
    Laying
        Runs named from left to right; what was left out is listed in `dropped`.
    """
    floor = rules.closest if pattern is Pattern.EVEN else rules.spacing
    cut = Ground(
        outline=Polygon(bed.outline.exterior),
        sides=sides,
        clearance=bed.clearance,
        spacing=rules.spacing,
        closest=floor,
        radius=tubing.bend_radius,
        shortest=rules.shortest,
        kept_clear=ground.kept_clear,
    )
    if pattern is Pattern.LEFT:
        rows = list(_from_side(cut, sides.left, toward_left=False))
    elif pattern is Pattern.RIGHT:
        rows = list(_from_side(cut, sides.right, toward_left=True))
    elif pattern is Pattern.EVEN:
        rows = _spread(cut, rules)
    elif guide is not None or pattern is Pattern.CENTRE:
        rows = _both_ways(cut, guide or sides.centre, swing=guide is None or pattern is Pattern.CONTOUR)
    else:
        raise ValueError(f"the {pattern} pattern needs a line to follow")
    rows.sort(key=lambda row: row.place)
    dropped: list[Dropped] = []
    rows = enforce(_capped(rows, rules.most, pattern, dropped), cut, dropped)
    runs, carries = _named(carry(rows, cut), cut)
    return Laying(pattern=pattern, runs=runs, dropped=tuple(dropped), carries=carries)


def _from_side(cut: Ground, side: LineString, *, toward_left: bool) -> Iterator[Row]:
    """Rows at clearance, clearance + spacing, … from one long side."""
    reach = _reach(cut.outline, side)
    guide = guides.extended(side, cut.outline, by=2 * reach + 4 * cut.spacing)
    first = cut.first
    guide = guides.swung_wide(
        guide,
        side=1.0 if toward_left else -1.0,
        radius=cut.radius - first,
        slack=SWING_SLACK * cut.spacing,
    )
    region = cut.region(side)
    for number, distance in enumerate(np.arange(first, reach, cut.spacing)):
        pieces = clip(fronts.front(guide, float(distance), radius=cut.radius, bed=cut.outline), region, guide)
        split: dict[float, list[LineString]] = {}
        for piece in pieces:
            if _in_sight(piece, guide, cut):
                split.setdefault((number + 0.5) * _side_of(piece, guide), []).append(piece)
        yield from (Row(place=place, pieces=found) for place, found in split.items())


def _reach(outline: Polygon, line: LineString) -> float:
    """Distance of the farthest corner of the bed from a line [m]."""
    return float(shapely.distance(shapely.points(coordinates(outline.exterior)), line).max()) + 1e-9


def _in_sight(piece: LineString, guide: LineString, cut: Ground) -> bool:
    """Whether a piece sees the guide it is offset from through the bed, and not from across a gap outside it."""
    middle = shapely.line_interpolate_point(piece, [0.25, 0.5, 0.75], normalized=True)
    sight = shapely.shortest_line(middle, guide)
    outside = shapely.length(shapely.difference(sight, cut.outline.buffer(cut.spacing * 1e-3)))
    beyond = shapely.distance(shapely.get_point(sight, 1), cut.outline) > cut.spacing * 0.01
    return bool(np.any((outside < 0.02 * cut.spacing) | beyond))


def _both_ways(cut: Ground, line: LineString, *, swing: bool) -> list[Row]:
    """Rows parallel to a line, to both sides of it; the phase of the first row is what lays most tubing."""
    reach = _reach(cut.outline, line)
    guide = guides.extended(line.simplify(1e-4), cut.outline, by=2 * reach + 4 * cut.spacing)
    if swing:
        guide = guides.rounded(guide, radius=max(cut.radius, cut.spacing))
    for side in (1.0, -1.0):
        guide = guides.swung_wide(guide, side=side, radius=cut.radius, slack=SWING_SLACK * cut.spacing)
    region = cut.region()
    families = []
    for phase in (0.0, 0.5):
        rows = list(_parallel_rows(cut, guide, region, phase, reach))
        laid = sum(piece.length for row in rows for piece in row.pieces if piece.length >= cut.shortest)
        families.append((-round(laid, 3), phase, rows))
    return min(families, key=lambda family: family[:2])[2]


def _parallel_rows(cut: Ground, guide: LineString, region: Region, phase: float, reach: float) -> Iterator[Row]:
    """Rows at (k + phase) × spacing to both sides of a guide."""
    for number in range(int(reach / cut.spacing) + 1):
        distance = (number + phase) * cut.spacing
        line = fronts.front(guide, distance, radius=cut.radius, bed=cut.outline) if distance > 0 else guide
        split: dict[float, list[LineString]] = {}
        for piece in clip(line, region, guide):
            if not _in_sight(piece, guide, cut):
                continue
            side = _side_of(piece, guide) if distance > 0 else 0.0
            split.setdefault(side * distance / cut.spacing, []).append(piece)
        yield from (Row(place=place, pieces=pieces) for place, pieces in split.items())


def _side_of(piece: LineString, guide: LineString) -> float:
    """1.0 where a piece lies to the right of the guide, -1.0 to the left."""
    middle = shapely.line_interpolate_point(piece, 0.5, normalized=True)
    at = shapely.line_locate_point(guide, middle)
    around = shapely.line_interpolate_point(guide, np.clip([at - 1e-3, at + 1e-3], 0, guide.length))
    (x0, y0), (x1, y1) = coordinates(around[0])[0], coordinates(around[1])[0]
    x, y = middle.x, middle.y
    return 1.0 if (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) < 0 else -1.0


def _spread(cut: Ground, rules: RunRules) -> list[Row]:
    """Rows of the even pattern."""
    sides = cut.sides
    reach = max(_reach(cut.outline, sides.left), _reach(cut.outline, sides.right))
    by = 2 * reach + 4 * cut.spacing
    left, right = (guides.extended(line, cut.outline, by=by) for line in (sides.left, sides.right))
    spread = Spread(
        sides=sides,
        left=left,
        right=right,
        clearance=cut.first,
        closest=rules.closest,
        wanted=min(max(rules.spacing, rules.closest), rules.widest),
        most=rules.most,
    )
    plain = spread.constant(cut.outline)
    if plain is not None:
        return list(_plain_spread(cut, left, *plain))
    return even_rows(cut, spread)


def _plain_spread(cut: Ground, left: LineString, gap: float, count: int) -> Iterator[Row]:
    """Where the bed is as wide everywhere, even rows are offsets of its left side."""
    first = cut.first
    guide = guides.swung_wide(left, side=-1.0, radius=cut.radius - first, slack=SWING_SLACK * cut.spacing)
    region = cut.region(cut.sides.left)
    for number in range(count + 1):
        pieces = clip(fronts.front(guide, first + number * gap, radius=cut.radius, bed=cut.outline), region, guide)
        if pieces:
            yield Row(place=float(number), pieces=pieces)


def _capped(rows: list[Row], most: int | None, pattern: Pattern, dropped: list[Dropped]) -> list[Row]:
    """No more rows than the user's cap: those nearest the side or line that the pattern follows."""
    if most is None or len(rows) <= most:
        return rows
    if pattern is Pattern.RIGHT:
        keep = rows[-most:]
    elif pattern in {Pattern.LEFT, Pattern.EVEN}:
        keep = rows[:most]
    else:
        keep = sorted(sorted(rows, key=lambda row: abs(row.place))[:most], key=lambda row: row.place)
    for number, row in enumerate(rows):
        if row not in keep:
            dropped += [Dropped(line=piece, row=number, why="over runs.most") for piece in row.pieces]
    return keep


def _named(rows: Iterable[Carried], cut: Ground) -> tuple[tuple[Run, ...], tuple[Join, ...]]:
    """Runs in their order, by row from the left and along the row from the manifold end; and blank tubing."""
    runs: list[Run] = []
    carries: list[Join] = []
    reach = cut.clearance + 0.1 * cut.spacing
    end = cut.sides.near if cut.sides.certain else cut.outline.exterior
    for number, row in enumerate(rows):
        fed = False
        for k, piece in enumerate(row.pieces):
            blank = row.blanks[k - 1] if k else None
            if k == 0:
                fed = float(shapely.distance(shapely.Point(piece.coords[0]), end)) <= reach
            elif blank is None:
                fed = False
            runs.append(Run(name=f"R{len(runs) + 1}", line=piece, row=number, fed=fed))
            if blank is not None:
                carries.append(Join(kind="blank", start=runs[-2].name, end=runs[-1].name, line=blank))
    return tuple(runs), tuple(carries)
