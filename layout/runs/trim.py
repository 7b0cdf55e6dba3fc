"""Cutting fronts to the ground, and the laws of a layout.

Tubing keeps its clearance to the bed's edge (less 0.02 × spacing at most) and every setback exactly; two
runs side by side are never closer than the least gap less 2 %; no bend is tighter than 0.95 × the bend
radius; no run crosses itself or another. What cannot be kept is not laid, and is listed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import Dropped, Sides
from layout.plane import (
    Array,
    Geometries,
    are_gentle,
    areal,
    bend_radii,
    coordinates,
    is_gentle,
    lines_of,
    merged_spans,
    near_parts,
    points_at,
    stretch,
    union,
)

EDGE_SLACK = 0.018
"""What a run may lie nearer to the bed's far edge than its clearance, in spacings; the law allows 0.02."""
LEAVES = 0.009
"""A run whose end lies farther than this beyond the edge, in spacings, has left the ground for good there and
is cut back to the edge; one that wavers less about the edge is only being drawn in chords."""
GAP_SHARE = 0.985
"""Least distance between runs side by side, in least gaps; the law allows 0.98."""
SWING_SLACK = 3e-4
"""Bends that deviate less than this from an arc of the bend radius are left alone, in spacings."""
SLIVER, CRUMB = 0.5, 0.05
"""A piece shorter than the first is never a run; one shorter than the second is not worth listing; in spacings."""
HAIR = 0.002
"""Where the clearance is less, rows at the very edge lie this far inside it, in spacings: on it they would fall to
shreds."""
ROUNDING = 1e-11
"""What the last digits of coordinates may take from a clearance, as a share of it."""
BEND_SHARE = 0.96
"""Least radius, in bend radii; the law allows 0.95."""


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What a front is cut to, and by what rules.

    Attributes
    ----------
    outline : Polygon
        The bed without holes [m].
    sides : Sides
    clearance, spacing, closest, radius, shortest : float
        Clearance to the edge, row spacing, least gap, bend radius, shortest run [m].
    kept_clear : BaseGeometry
        Setback zones [m].
    begins : float
        What the first row keeps from the side it follows, where that is more than the clearance [m].
    """

    outline: Polygon
    sides: Sides
    clearance: float
    spacing: float
    closest: float
    radius: float
    shortest: float
    kept_clear: BaseGeometry
    begins: float = 0.0

    @property
    def first(self) -> float:
        """Distance of the first row from the side it follows [m]."""
        return max(self.clearance, self.begins, HAIR * self.spacing)

    @property
    def inner_edge(self) -> float:
        """Distance from the far side at which rows that would pass it are led along [m]."""
        return max(self.first - EDGE_SLACK * self.spacing * 0.4, self.first / 2)

    @property
    def least(self) -> float:
        """Length of the shortest run [m]."""
        return max(self.shortest, SLIVER * self.spacing) * (1 - 1e-6)

    def region(self, *guides: LineString) -> Region:
        """The ground a front may use: that of the laws, but not cut by the sides it follows.

        A front keeps its distance from its own guide by construction. Cut there as well, a first run that
        lies just on the clearance line would fall to shreds.
        """
        edge, sides = self.outline.exterior, self.sides
        if not sides.certain:  # any part of the edge may lie along the runs
            followed = union(line.buffer(1e-6 * self.spacing) for line in guides)
            far = edge.difference(followed)
            return Region(ground=self, hard=LineString(), far=far, clearance=self.clearance).eased
        soft = [sides.left, sides.right]
        far = union([line for line in soft if not any(line is guide for guide in guides)])
        return Region(ground=self, hard=self._ends, far=far, clearance=self.clearance)

    @cached_property
    def _ends(self) -> BaseGeometry:
        """The bed's edge but for its long sides."""
        sides, edge = self.sides, self.outline.exterior
        ends = [line for line in (sides.near, sides.far) if line.length > 0]
        whole = sum(line.length for line in (sides.left, sides.right, *ends))
        if abs(whole - edge.length) <= 1e-9 * edge.length:
            return shapely.MultiLineString(ends)
        hair = 1e-6 * self.spacing  # sides of some other outline
        return edge.difference(union(line.buffer(hair) for line in (sides.left, sides.right)))

    @cached_property
    def border(self) -> BaseGeometry:
        """The bed's edge, a hair wide."""
        return self.outline.boundary.buffer(HAIR * self.spacing / 2)

    @cached_property
    def limits(self) -> BaseGeometry:
        """The ground of the laws: nothing may lie outside it."""
        return areal(self.outline.buffer(-self.slack, quad_segs=32).difference(self.kept_clear))

    @property
    def slack(self) -> float:
        """What runs keep from the bed's edge at least [m]."""
        return max(self.clearance - EDGE_SLACK * self.spacing, 0.0)


@dataclass(frozen=True, kw_only=True)
class Region:
    """Ground to cut a front to: once with the slack the law allows at the far side, once without.

    A run that lies on the very edge wavers about it by the height of the chords it is drawn in; the slack keeps
    it in one piece. Where a run leaves the ground for good it is cut back to the edge itself.

    Attributes
    ----------
    ground : Ground
    hard, far : BaseGeometry
        The parts of the bed's edge without slack and with it.
    clearance : float
        [m].
    is_eased : bool
        Whether it is what another is eased to.
    """

    ground: Ground
    hard: BaseGeometry
    far: BaseGeometry
    clearance: float
    is_eased: bool = False

    @cached_property
    def _open(self) -> BaseGeometry:
        """The bed less what lies near its hard edge and in setback zones."""
        outline = self.ground.outline.difference(self.hard.buffer(self.clearance, quad_segs=32))
        return outline.difference(self.ground.kept_clear)

    @cached_property
    def loose(self) -> BaseGeometry:
        """With the slack."""
        return areal(self._open.difference(self.far.buffer(self.ground.slack, quad_segs=64)))

    @cached_property
    def strict(self) -> BaseGeometry:
        """Without."""
        found = areal(self._open.difference(self.far.buffer(self.clearance, quad_segs=64)))
        shapely.prepare(found)
        return found

    @cached_property
    def _nearly(self) -> BaseGeometry:
        """With what a row may waver about the edge."""
        return self.strict.buffer(LEAVES * self.ground.spacing, quad_segs=32)

    @cached_property
    def eased(self) -> Region:
        """The same with a clearance smaller by rounding.

        A front that lies on the clearance line of some other edge falls to shreds, or is lost, without it.
        """
        return replace(self, clearance=self.clearance * (1 - ROUNDING), is_eased=True)

    def cut(self, fronts: Geometries) -> list[list[LineString]]:
        """The parts of each of some fronts on this ground."""
        found = [lines_of(part) for part in shapely.intersection(fronts, self.loose)]
        again = [] if self.is_eased else [k for k, parts in enumerate(found) if len(parts) != 1]
        found = self._to_edge(found)
        if again:
            for k, parts in zip(again, self.eased.cut(fronts[again]), strict=True):
                found[k] = parts
        return found

    def _to_edge(self, found: list[list[LineString]]) -> list[list[LineString]]:
        """Parts of fronts, drawn back to the edge where they leave the ground for good."""
        every = np.asarray([part for parts in found for part in parts], dtype=object)
        if not len(every):
            return found
        ends = shapely.get_point(np.repeat(every, 2), np.tile([0, -1], len(every)))
        out = ~shapely.dwithin(self.strict, ends, LEAVES * self.ground.spacing).reshape(-1, 2)
        drawn = [
            self._drawn_back(part, *beyond) if any(beyond) else part
            for part, beyond in zip(every.tolist(), out.tolist(), strict=True)
        ]
        each = iter(drawn)
        return [[next(each) for _ in parts] for parts in found]

    def _drawn_back(self, part: LineString, at_start: bool, at_end: bool) -> LineString:
        """A part of a front, drawn back to the edge at one end or at both."""
        inner = shapely.intersection(part, self.strict)
        if inner.is_empty:
            return part  # all of it within the slack that the law allows
        if part.length - inner.length > self.ground.spacing:
            # it lies along the edge, and would be drawn back to wherever its chords happen to be inside
            inner = shapely.intersection(part, self._nearly)
        tips = [tip for line in shapely.get_parts(inner) for tip in (line.coords[0], line.coords[-1])]
        along = shapely.line_locate_point(part, shapely.points(tips))
        start = float(along.min()) if at_start else 0.0
        end = float(along.max()) if at_end else part.length
        return stretch(part, start, end) if end > start else part


@dataclass(slots=True)
class Row:
    """The pieces of one front, from the manifold end on; `place` is its number across the bed from the left.

    `passed` is what easing its bends passed by.
    """

    place: float
    pieces: list[LineString] = field(default_factory=list)
    passed: list[LineString] = field(default_factory=list)


def clip(fronts: Geometries, region: Region, along: LineString) -> list[list[LineString]]:
    """The parts of each front within a region, each turned to run the way of a guide and sorted along it."""
    found = [[_opened(part, along) for part in parts] for parts in region.cut(fronts)]
    every = np.asarray([part for parts in found for part in parts], dtype=object)
    if not len(every):
        return found
    middle = shapely.get_num_points(every) // 2
    start, half, end = (
        np.asarray(shapely.line_locate_point(along, shapely.get_point(every, number)))
        for number in (0, middle, -1)
    )
    forward = (start < end) | ((start == end) & (start <= half))
    turned = iter(np.where(forward, every, shapely.reverse(every)).tolist())
    first = iter(np.round(np.minimum(start, end), 6).tolist())
    placed = [[(next(first), part.length, next(turned)) for part in parts] for parts in found]
    return [[line for _, _, line in sorted(parts, key=lambda part: part[:2])] for parts in placed]


def _opened(line: LineString, along: LineString) -> LineString:
    """A closed front cut open at its point nearest the manifold end."""
    if not line.is_closed:
        return line
    points = coordinates(line)[:-1]
    first = int(np.argmin(shapely.line_locate_point(along, shapely.points(points))))
    walk = np.vstack((points[first:], points[: first + 1]))
    return LineString(walk)


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
                parts = [slack for part in parts for slack in _bendable(part, ground, number, dropped)]
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


def _bendable(piece: LineString, ground: Ground, row: int, dropped: list[Dropped]) -> list[LineString]:
    """The piece without the stretches that bend too tightly."""
    if is_gentle(coordinates(piece), radius=ground.radius):
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
    return [leg for leg in legs if _long_enough(leg, ground, row, dropped)]


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
            if owner[other][0] == number:  # only what lies beside it
                zones += [part.buffer(gap, quad_segs=32, cap_style="flat") for part in whole]
                zones += [part.buffer(touch) for part in whole]
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
