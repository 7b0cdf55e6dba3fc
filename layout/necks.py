"""Necks: places so narrow that a bed falls into lobes there, found by wearing the outline away.

Ground within a distance t of the edge is taken off; where a bed falls apart before its parts are half gone, it has
a neck. A waist that is more than half as wide as the parts on its two sides is none.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterator

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import Finding, Laying, Lobe, Sides, Site, site_place
from layout.plane import TOLERANCE, areal, coordinates, pair, polygons_of, stretch, union

NARROW = 0.5
"""A neck is at most this × as wide as the narrower of the two parts it joins (a judgement)."""
MOUTH = 1.3
"""Ground wider than this × its narrowest place is no part of a neck."""
STEPS = 18
"""How many depths are tried, in even ratios from the least to that at which nothing can be a neck any more."""
SHALLOW = 0.02
"""The least depth tried, in half widths of the bed."""
FINE = 0.02
"""How closely the half width of a bed is found, in mean widths."""
MOST = 24
"""Necks looked for in one bed; rough outlines have no end of them."""


def find_lobes(outline: Polygon, *, near: BaseGeometry, least: float) -> tuple[Lobe, ...]:
    """Part a bed at its necks.

    Parameters
    ----------
    outline : Polygon
        Valid; holes do not matter [m].
    near : BaseGeometry
        The manifold end [m]. Lobes are numbered from there.
    least : float
        Half the width that a part has at least to be a lobe [m].

    Returns
    -------
    tuple of Lobe
        Each after the lobe before it; empty where there is no neck.

    Examples
    --------
    >>> bed = shapely.union_all([shapely.box(0, 0, 10, 10), shapely.box(10, 4, 20, 6), shapely.box(20, 0, 30, 10)])
    >>> lobes = find_lobes(bed, near=Point(0, 5), least=2.0)
    >>> [lobe.before for lobe in lobes], lobes[1].neck.length
    ([-1, 0], 2.0)
    """
    whole = shapely.orient_polygons(Polygon(outline.exterior))
    parts = [whole]
    cuts: list[LineString] = []
    waiting = [whole]
    while waiting and len(cuts) < MOST:
        part = waiting.pop()
        cut = _narrowest(part, least)
        halves = None if cut is None else _halves(part, cut)
        if cut is None or halves is None:
            continue
        parts.remove(part)
        parts += halves
        waiting += halves
        cuts.append(cut)
    return _ordered(parts, cuts, near) if cuts else ()


def neck_findings(site: Site, laying: Laying, through: Collection[str]) -> Iterator[Finding]:
    """What passes each neck of a bed, what that costs in blank tubing, and the runs beyond that get none of it.

    Parameters
    ----------
    site : Site
    laying : Laying
    through : collection of str
        Names of the runs of laterals that begin at the manifold end: beyond a neck they get water through it.

    Yields
    ------
    Finding
        ``neck`` for each, and ``lobe-apart`` where runs beyond have manifolds of their own.
    """
    unit = site.frame.units
    for number, lobe in enumerate(laying.lobes):
        if lobe.neck is None:
            continue
        passing = [run for run in laying.runs if run.line.intersects(lobe.neck)]
        blank = [join for join in laying.carries if join.line.intersects(lobe.neck)]
        left, right = (site_place(site.frame, pair(at)) for at in lobe.neck.coords)
        cost = math.fsum(join.line.length for join in blank) / unit.length
        yield Finding(
            code="neck",
            said=(
                f"The bed narrows to {lobe.neck.length / unit.length:.2f} {unit.length_name} between {left} and "
                f"{right}: {len(passing)} runs and {len(blank)} lines of blank tubing pass, "
                f"{cost:.2f} {unit.length_name} of it"
            ),
        )
        dry = [run for run in laying.runs if run.lobe == number and run.name not in through]
        if dry:
            length = math.fsum(run.length for run in dry) / unit.length
            place = site_place(site.frame, pair(lobe.outline.representative_point().coords[0]))
            yield Finding(
                code="lobe-apart",
                said=(
                    f"Beyond that neck, in the part of the bed round {place}, {len(dry)} runs of "
                    f"{length:.2f} {unit.length_name} together get no water through it, but from manifolds of "
                    f"their own: {', '.join(run.name for run in dry)}"
                ),
                remedy="Widen the neck, or plan that part as a bed of its own, if those are not wanted.",
            )


def _narrowest(part: Polygon, least: float) -> LineString | None:
    """Straight across the narrowest neck; None where there is none."""
    fine = max(FINE * 2.0 * part.area / part.length, TOLERANCE)
    size = float(shapely.maximum_inscribed_circle(part, tolerance=fine).length)
    deepest = NARROW * size
    if size < least or deepest <= 0:
        return None
    before = 0.0
    for depth in np.geomspace(SHALLOW * size, deepest, STEPS):
        if len(_lobes_at(part, float(depth), least)) > 1:
            return _across(part, before, float(depth), least)
        before = float(depth)
    return None


def _lobes_at(part: Polygon, depth: float, least: float) -> list[Polygon]:
    """What is left of a bed worn away to a depth: parts that were at least as wide as lobes beside such a neck."""
    kept = max(depth / NARROW, least) - depth
    left = polygons_of(part.buffer(-depth, quad_segs=8))
    return [piece for piece in left if not piece.buffer(-kept, quad_segs=4).is_empty]


def _across(part: Polygon, low: float, high: float, least: float) -> LineString | None:
    """The shortest line across the place that closes last of all between two depths."""
    for _ in range(12):
        middle = (low + high) / 2
        if len(_lobes_at(part, middle, least)) > 1:
            high = middle
        else:
            low = middle
    lobes = _lobes_at(part, high, least)
    one, other = min(itertools.combinations(lobes, 2), key=lambda pair: float(pair[0].distance(pair[1])))
    along = coordinates(shapely.shortest_line(one, other))
    way = along[1] - along[0]
    size = float(np.hypot(*way))
    if size <= 0:
        return None
    middle_point = along.mean(axis=0)
    normal = np.array([-way[1], way[0]]) / size * 6 * high
    line = shapely.intersection(LineString([middle_point - normal, middle_point + normal]), part)
    chords = [chord for chord in shapely.get_parts(line) if chord.length > 0]
    if not chords:
        return None
    return _shortened(part, min(chords, key=lambda chord: float(chord.distance(Point(middle_point)))))


def _shortened(part: Polygon, chord: LineString) -> LineString:
    """A line across, its two ends slid along the edge until it is as short as it can be there."""
    edge = LineString(part.exterior.coords)
    ends = coordinates(chord)[[0, -1]]
    for turn in range(24):
        here, there = turn % 2, 1 - turn % 2
        wall = _wall(edge, ends[there], chord.length)
        ends[there] = coordinates(shapely.shortest_line(wall, Point(ends[here])))[0]
    shorter = LineString(ends)
    inner = stretch(shorter, 1e-6 * shorter.length, (1 - 1e-6) * shorter.length)
    return shorter if 0 < shorter.length <= chord.length and part.covers(inner) else chord


def _wall(edge: LineString, at: np.ndarray, reach: float) -> LineString:
    """The stretch of a closed edge within half a reach of a point of it."""
    station = float(edge.project(Point(at)))
    return _between(edge, (station - reach / 2) % edge.length, (station + reach / 2) % edge.length)


def _between(edge: LineString, start: float, end: float) -> LineString:
    """The stretch of a closed line from one station on to another, through its seam if need be."""
    if start <= end:
        return stretch(edge, start, end)
    parts = [stretch(edge, start, edge.length), stretch(edge, 0.0, end)]
    return LineString(np.vstack([coordinates(piece) for piece in parts]))


def _halves(part: Polygon, cut: LineString) -> list[Polygon] | None:
    """The two sides of a bed parted by a line across it; None where that leaves no two whole sides."""
    edge = LineString(part.exterior.coords)
    start, end = (float(edge.project(Point(at))) for at in cut.coords)
    halves = []
    for a, b in ((start, end), (end, start)):
        walk = coordinates(_between(edge, a, b))
        half = areal(shapely.make_valid(Polygon(walk))) if len(walk) > 2 else None
        if half is None or half.geom_type != "Polygon" or half.is_empty:
            return None
        halves.append(shapely.orient_polygons(Polygon(half.exterior)))
    return halves


def _ordered(parts: list[Polygon], cuts: list[LineString], near: BaseGeometry) -> tuple[Lobe, ...]:
    """Number lobes from the manifold end outward, each neck turned to be seen from there."""
    middle = [Point(coordinates(cut).mean(axis=0)) for cut in cuts]
    joined = [
        tuple(sorted(range(len(parts)), key=lambda k, at=at: float(parts[k].distance(at)))[:2])  # type: ignore[misc]
        for at in middle
    ]
    at = near.interpolate(0.5, normalized=True) if near.geom_type == "LineString" else near
    first = min(range(len(parts)), key=lambda k: (float(parts[k].distance(at)), k))
    grounds = [
        _ground(part, [cut for cut, pair in zip(cuts, joined, strict=True) if k in pair])
        for k, part in enumerate(parts)
    ]
    number, order = {first: 0}, [first]
    lobes = [Lobe(outline=parts[first], ground=grounds[first])]
    for here in order:
        reached = [
            (_angle_of(parts[here], cuts[k]), k, pair[0] + pair[1] - here)
            for k, pair in enumerate(joined)
            if here in pair and pair[0] + pair[1] - here not in number
        ]
        for _, k, there in sorted(reached):
            number[there] = len(lobes)
            order.append(there)
            across = _seen(cuts[k], parts[there])
            lobes.append(Lobe(outline=parts[there], ground=grounds[there], neck=across, before=number[here]))
    return tuple(lobes)


def _ground(part: Polygon, cuts: list[LineString]) -> Polygon:
    """A lobe without its necks: less what a disc somewhat wider than the neck cannot reach there."""
    ground = part
    for cut in cuts:
        radius = MOUTH * cut.length / 2
        reached = ground.buffer(-radius, quad_segs=16).buffer(radius, quad_segs=16)
        inside = [
            piece for piece in polygons_of(ground.difference(reached)) if piece.distance(cut) < TOLERANCE
        ]
        taken = [piece.buffer(TOLERANCE, join_style="mitre") for piece in inside]
        left = polygons_of(shapely.make_valid(ground.difference(union(taken))))
        ground = max(left, key=lambda piece: piece.area)
    return shapely.orient_polygons(Polygon(ground.exterior))


def facing_sides(ground: Polygon, neck: LineString) -> Sides:
    """Straight sides of a lobe along one of its necks, from the box round it.

    Parameters
    ----------
    ground : Polygon
        The lobe without its necks [m].
    neck : LineString
        Across the neck, from left to right as seen from the manifold end [m]: it leads into the lobe at its near
        end, or out of it at its far end.
    """
    left, right = coordinates(neck)
    across = (right - left) / np.hypot(*(right - left))
    ahead = np.array([-across[1], across[0]])  # left to right turned to the left: on beyond the neck
    points = coordinates(ground.exterior) - left
    x, y = points @ ahead, points @ across
    corner = {
        (end, side): left + end_x * ahead + side_y * across
        for end, end_x in (("near", x.min()), ("far", x.max()))
        for side, side_y in (("left", y.min()), ("right", y.max()))
    }
    return Sides(
        left=LineString([corner["near", "left"], corner["far", "left"]]),
        right=LineString([corner["near", "right"], corner["far", "right"]]),
        near=LineString([corner["near", "left"], corner["near", "right"]]),
        far=LineString([corner["far", "left"], corner["far", "right"]]),
        centre=LineString(
            [
                (corner["near", "left"] + corner["near", "right"]) / 2,
                (corner["far", "left"] + corner["far", "right"]) / 2,
            ]
        ),
        certain=False,
    )


def faces_neck(sides: Sides, lobe: Lobe) -> bool:
    """Whether the manifold end of some sides is where the neck of the lobe is."""
    assert lobe.neck is not None, "the first lobe has its manifold end elsewhere"
    at = Point(coordinates(lobe.neck).mean(axis=0))
    others = (sides.left, sides.right, sides.far)
    return float(sides.near.distance(at)) < min(float(line.distance(at)) for line in others) - TOLERANCE


def _angle_of(part: Polygon, cut: LineString) -> float:
    """Where along a lobe's edge a neck stands [m]."""
    return float(part.exterior.project(Point(coordinates(cut).mean(axis=0))))


def _seen(cut: LineString, far: Polygon) -> LineString:
    """A line across a neck turned to run from left to right for one who looks at the part beyond."""
    edge = far.exterior  # counter-clockwise: it walks the cut with that ground on its left
    a, b = (float(edge.project(Point(at))) for at in cut.coords)
    forward = (b - a) % edge.length
    return cut if forward <= edge.length - forward else cut.reverse()
