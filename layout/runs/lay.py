"""One pattern on one bed: guides, fronts and trimming put together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Polygon

from layout.model import Bed, Dropped, Join, Laying, Pattern, Run, RunRules, Sides, Tubing, UsableGround
from layout.motion import Motion
from layout.near import SegmentIndex
from layout.plane import Array, coordinates
from layout.runs import fronts, guides
from layout.runs.carried import Carried, Way
from layout.runs.carry import carry
from layout.runs.enforce import enforce
from layout.runs.even import even_rows
from layout.runs.field import Between, Spread
from layout.runs.tips import led_on
from layout.runs.trim import EDGE_SLACK, SWING_SLACK, Ground, Region, Row, clip

STEEPEST = 3.0
"""How far the ends of neighbouring rows may recede along a manifold, in spacings."""
SAME = 1e-6
"""Points of a run nearer to each other are one [m]."""
_SIDED = frozenset({Pattern.LEFT, Pattern.RIGHT, Pattern.EVEN})
"""Patterns whose rows are counted from one side of the bed."""


def lay_runs(
    bed: Bed,
    ground: UsableGround,
    sides: Sides,
    rules: RunRules,
    tubing: Tubing,
    *,
    pattern: Pattern,
    guide: LineString | None = None,
    longest: float = 0.0,
) -> Laying:
    """Lay the runs of one pattern.

    Parameters
    ----------
    bed, ground, sides, rules, tubing
        The nouns; `rules.pattern` is not looked at.
    pattern : Pattern
        Any but ``best``. `rules.first` matters to ``left``, ``right`` and, at both sides, ``even``.
    guide : LineString or None
        The line to follow, for ``drawn`` and ``contour``.
    longest : float
        Greatest length of a lateral that lines beyond obstacles may be tied into [m]; 0: none are tied.

    Returns
    -------
    Laying
        Runs named from left to right; what was left out is listed in `dropped`.
    """
    level = _level(sides, mirrored=_mirrored(pattern, sides))
    sides = _moved(sides, level)
    guide = None if guide is None else level.turn(guide)
    cut = Ground(
        outline=level.turn(Polygon(bed.outline.exterior)),
        sides=sides,
        clearance=bed.clearance,
        spacing=rules.spacing,
        closest=rules.closest if pattern is Pattern.EVEN else rules.spacing,
        radius=tubing.bend_radius,
        shortest=rules.shortest,
        kept_clear=level.turn(ground.kept_clear),
        begins=(rules.first or 0.0) if pattern in _SIDED else 0.0,
    )
    if pattern in {Pattern.LEFT, Pattern.RIGHT}:
        rows = _from_side(cut, sides.left)
    elif pattern is Pattern.EVEN:
        rows = _spread(cut, rules)
    elif guide is not None or pattern is Pattern.CENTRE:
        centred = pattern is Pattern.CENTRE
        line = sides.centre if centred or guide is None else _outward(guide, sides)
        rows = _both_ways(cut, line, centred=centred, drawn=pattern is Pattern.DRAWN)
    else:
        raise ValueError(f"the {pattern} pattern needs a line to follow")
    if level.mirrored:
        for row in rows:
            row.place = -row.place
    rows.sort(key=lambda row: row.place)
    dropped: list[Dropped] = []
    rows = _capped(rows, rules.most, level, dropped, sided=pattern in _SIDED)
    rows = enforce(rows, cut, dropped)
    if pattern is Pattern.EVEN and rules.most is None:  # of what a cap leaves out nothing is to be wet
        led_on(rows, cut)
    from_end = _at_manifold(rows, cut)
    carried, windings = carry(rows, cut, from_end=from_end, longest=longest)
    runs, carries = _named(carried)
    lines = [run.line for run in runs] + [piece.line for piece in dropped] + [join.line for join in carries]
    # what was cut may end in a step of the last digit, which has no direction
    back = iter(shapely.remove_repeated_points(level.all_back(lines), SAME).tolist())
    return Laying(
        pattern=pattern,
        runs=tuple(replace(run, line=next(back)) for run in runs),
        dropped=tuple(replace(piece, line=next(back)) for piece in dropped),
        carries=tuple(replace(join, line=next(back)) for join in carries),
        windings=_windings(carried, windings),
    )


def _level(sides: Sides, *, mirrored: bool) -> Motion:
    """The motion that lays a bed along the x axis, its manifold end first."""
    near, far = (coordinates(end).mean(axis=0) for end in (sides.near, sides.far))
    first, last = complex(*near), complex(*far)
    span = last - first
    return Motion(first, span / abs(span) if abs(span) > 0 else 1 + 0j, mirrored)


def _moved(sides: Sides, level: Motion) -> Sides:
    """The sides in the bed's own axes; mirrored, left is right."""
    left, right = (sides.right, sides.left) if level.mirrored else (sides.left, sides.right)
    return Sides(
        left=level.turn(left),
        right=level.turn(right),
        near=level.turn(sides.near),
        far=level.turn(sides.far),
        centre=level.turn(sides.centre),
        certain=sides.certain,
    )


def _mirrored(pattern: Pattern, sides: Sides) -> bool:
    """Whether to lay a bed's mirror image: runs along the right side are those along the left one of the image.

    Even rows are counted from the longer side: its own run whole, new ones begin at the other.
    """
    if pattern in {Pattern.EVEN, Pattern.CENTRE}:
        return sides.right.length > sides.left.length + 1e-6 * sides.centre.length
    return pattern is Pattern.RIGHT


def _from_side(
    cut: Ground, side: LineString, *, gap: float | None = None, count: int | None = None
) -> list[Row]:
    """Rows parallel to the left side, from the clearance on: so many a gap apart, or all that fit a spacing apart."""
    reach = _reach(cut.outline, side)
    gap = gap or cut.spacing
    count = count or math.ceil((reach - cut.first) / gap)
    guide = guides.swung_wide(
        guides.extended(side, cut.outline, by=2 * reach + 4 * cut.spacing),
        side=-1.0,
        radius=cut.radius - cut.first,
        slack=SWING_SLACK * cut.spacing,
    )
    return _rows_along(cut, guide, cut.region(side), cut.first + gap * np.arange(float(count)))


def _rows_along(cut: Ground, guide: LineString, region: Region, distances: Array) -> list[Row]:
    """Rows at distances from a guide, those on its left apart from those on its right."""
    beyond = distances > 0
    lines = np.full(len(distances), guide, dtype=object)
    passed = np.full(len(distances), fronts.NOTHING, dtype=object)
    lines[beyond], passed[beyond] = fronts.fronts(
        guide, distances[beyond], radius=cut.radius, bed=cut.outline, beside=cut.spacing / 2
    )
    rows: dict[tuple[int, float], Row] = {}
    for found, name in ((lines, "pieces"), (passed, "passed")):
        which = np.flatnonzero(~shapely.is_empty(found))
        clipped = clip(found[which], region, guide)
        sides = iter(_sides_of([piece for parts in clipped for piece in parts], guide))
        for number, parts in zip(which.tolist(), clipped, strict=True):
            for piece in parts:
                place = float(distances[number]) * next(sides)  # 0 on the guide itself
                getattr(rows.setdefault((number, place), Row(place=place)), name).append(piece)
    return list(rows.values())


def _sides_of(pieces: Sequence[LineString], guide: LineString) -> list[float]:
    """1.0 for each piece that lies to the right of a guide, -1.0 for those to the left."""
    if not pieces:
        return []
    middle = shapely.line_interpolate_point(np.asarray(pieces, dtype=object), 0.5, normalized=True)
    at = shapely.line_locate_point(guide, middle)
    before, after = (
        shapely.get_coordinates(shapely.line_interpolate_point(guide, np.clip(at + shift, 0, guide.length)))
        for shift in (-1e-3, 1e-3)
    )
    (x1, y1), (x, y) = (after - before).T, (shapely.get_coordinates(middle) - before).T
    return [1.0 if cross < 0 else -1.0 for cross in (x1 * y - y1 * x).tolist()]


def _reach(outline: Polygon, line: LineString) -> float:
    """Greatest distance of the bed from a line [m], to within a 200th of the bed's size and not less than true."""
    step = max(outline.length / 400, 1e-9)
    index = SegmentIndex([line])
    reach = float(index.at_most(coordinates(shapely.segmentize(outline.exterior, step))).max())
    # no inner point is the farthest but one amid those of the line that are nearest to it; the line leads by such a
    # point from one of its own ends to the other
    x0, y0, x1, y1 = line.bounds
    amid = shapely.convex_hull(line) if min(x1 - x0, y1 - y0) > reach else None
    if amid is not None and (amid := shapely.intersection(amid, outline)).area > 0:
        x0, y0, x1, y1 = amid.bounds
        coarse = max(outline.bounds[2] - outline.bounds[0], outline.bounds[3] - outline.bounds[1]) / 40
        grid_x, grid_y = np.meshgrid(np.arange(x0, x1, coarse), np.arange(y0, y1, coarse))
        shapely.prepare(amid)
        inside = shapely.contains_xy(amid, grid_x, grid_y)
        if inside.any():
            inner = np.column_stack((grid_x[inside], grid_y[inside]))
            reach = max(reach, float(index.at_most(inner).max()))
    return reach + step / 2


def _outward(guide: LineString, sides: Sides) -> LineString:
    """A line turned to lead away from the manifold end, however it was drawn."""
    first, last = (float(sides.centre.project(shapely.Point(guide.coords[k]))) for k in (0, -1))
    return guide.reverse() if first > last else guide


def _both_ways(cut: Ground, line: LineString, *, centred: bool, drawn: bool) -> list[Row]:
    """Rows parallel to a line, to both sides of it; the phase of the first row is what lays most tubing."""
    reach = _reach(cut.outline, line)
    by = 2 * reach + 4 * cut.spacing
    guide = guides.extended(line, cut.outline, by=min(by, cut.sides.near.length) if centred else by)
    if centred and cut.sides.certain:
        step = max(cut.spacing / 4, line.length / 2000)
        left, right = (
            guides.extended(side, cut.outline, by=by) for side in (cut.sides.left, cut.sides.right)
        )
        midway = guides.extended(guides.centred(guide, left, right, step=step), cut.outline, by=by)
        guide = _staying(midway, guide, cut.outline)
    if not drawn:
        guide = _staying(guides.rounded(guide, radius=max(cut.radius, cut.spacing)), guide, cut.outline)
    for side in (1.0, -1.0):
        guide = guides.swung_wide(guide, side=side, radius=cut.radius, slack=SWING_SLACK * cut.spacing)
    region = cut.region()
    families = []
    for phase in (0.0, 0.5):
        distances = (np.arange(int(reach / cut.spacing) + 1.0) + phase) * cut.spacing
        rows = _rows_along(cut, guide, region, distances)
        laid = sum(piece.length for row in rows for piece in row.pieces if piece.length >= cut.shortest)
        families.append((-round(laid, 3), phase, rows))
    return min(families, key=lambda family: family[:2])[2]


def _staying(line: LineString, before: LineString, outline: Polygon) -> LineString:
    """A line made of another, or that other where the new one has lost its way out of the bed."""
    inside, was_inside = (shapely.length(shapely.intersection(part, outline)) for part in (line, before))
    return line if inside >= 0.75 * was_inside else before


def _spread(cut: Ground, rules: RunRules) -> list[Row]:
    """Rows of the even pattern."""
    sides = cut.sides
    reach = max(_reach(cut.outline, sides.left), _reach(cut.outline, sides.right))
    by = 2 * reach + 4 * cut.spacing
    left, right = (guides.extended(line, cut.outline, by=by) for line in (sides.left, sides.right))
    spread = Spread(
        between=Between(
            outline=cut.outline,
            sides=sides,
            left=left,
            right=right,
            clearance=cut.first,
            step=rules.closest / 2,
        ),
        closest=rules.closest,
        wanted=min(max(rules.spacing, rules.closest), rules.widest),
        widest=rules.widest,
        slack=EDGE_SLACK * rules.spacing / 2,
        most=rules.most,
    )
    plain = spread.constant()
    if plain is not None:
        gap, count = plain
        return _from_side(cut, sides.left, gap=gap, count=count + 1)
    rows = even_rows(cut, spread)
    if rules.closest < 0.98 * spread.wanted:
        # where gaps may shrink, as many rows all along the bed as its width asks for may leave fewer pieces
        full = even_rows(cut, replace(spread, count_kept=spread.count_at_widest()))
        rows = min((rows, full), key=lambda found: _pieces(found, cut) / max(len(found), 1))
    return rows


def _pieces(rows: list[Row], cut: Ground) -> int:
    """Pieces long enough to be runs."""
    return sum(piece.length >= cut.least for row in rows for piece in row.pieces)


def _capped(
    rows: list[Row], most: int | None, level: Motion, dropped: list[Dropped], *, sided: bool
) -> list[Row]:
    """No more rows than the user's cap: those nearest the side or line that the pattern follows."""
    if most is None or len(rows) <= most:
        return rows
    if sided:
        keep = rows[-most:] if level.mirrored else rows[:most]
    else:
        keep = sorted(sorted(rows, key=lambda row: abs(row.place))[:most], key=lambda row: row.place)
    for number, row in enumerate(rows):
        if row not in keep:
            dropped += [Dropped(line=piece, row=number, why="over runs.most") for piece in row.pieces]
    return keep


def _named(rows: Sequence[Carried]) -> tuple[tuple[Run, ...], tuple[Join, ...]]:
    """Runs in their order, by row from the left and along the row from the manifold end; and blank tubing."""
    runs: list[Run] = []
    carries: list[Join] = []
    for number, row in enumerate(rows):
        from_end = False
        for k, piece in enumerate(row.pieces):
            blank = row.blanks[k - 1] if k else None
            if k == 0:
                from_end = row.from_end
            elif blank is None:
                from_end = False
            runs.append(Run(name=f"R{len(runs) + 1}", line=piece, row=number, from_end=from_end))
            if blank is not None:
                carries.append(Join(kind="blank", start=runs[-2].name, end=runs[-1].name, line=blank))
    return tuple(runs), tuple(carries)


def _windings(rows: Sequence[Carried], windings: Iterable[Way]) -> tuple[tuple[str, ...], ...]:
    """What loops tie past obstacles, by the names that :func:`_named` gives runs."""
    first = np.cumsum([0, *(len(row.pieces) for row in rows)]).tolist()
    return tuple(tuple(f"R{first[row] + piece + 1}" for row, piece in winding) for winding in windings)


def _at_manifold(rows: Sequence[Row], cut: Ground) -> list[bool]:
    """Whether each row begins at the manifold end.

    What begins a clearance from that end does, or where a setback takes all up to it, and so do the rows beside it
    that begin on the bed's edge one beside the other: a manifold can follow ends that step by :data:`STEEPEST`
    spacings from one row to the next. Where no row begins at the end itself, as in a point, or the bed has no long
    direction, it goes where most tubing begins.
    """
    heads = shapely.get_point(np.asarray([row.pieces[0] for row in rows], dtype=object), 0)
    reach = cut.clearance + 0.1 * cut.spacing
    on_edge = np.asarray(shapely.dwithin(cut.outline.exterior, heads, reach))
    # What a setback keeps off the end, with nothing else between, a manifold along its edge still reaches.
    ways = shapely.shortest_line(cut.sides.near, heads)
    behind = shapely.covers(cut.kept_clear.buffer(reach), ways)
    at_end = np.asarray(shapely.dwithin(cut.sides.near, heads, reach) | behind) & cut.sides.certain
    groups: list[list[int]] = []
    for number in np.flatnonzero(on_edge | at_end).tolist():
        beside = bool(groups) and groups[-1][-1] == number - 1
        if beside and heads[number].distance(heads[number - 1]) <= STEEPEST * cut.spacing:
            groups[-1].append(number)
        else:
            groups.append([number])
    chosen = [group for group in groups if at_end[group].any()]
    if groups and not chosen:
        tubing = [round(sum(piece.length for k in group for piece in rows[k].pieces), 6) for group in groups]
        chosen = [groups[tubing.index(max(tubing))]]
    fed = {number for group in chosen for number in group}
    return [number in fed for number in range(len(rows))]
