"""Rows of the even pattern: level lines of the field, kept apart and led along the far clearance line.

Each level line is taken in turn from the left. Where it comes too near the row before it, it is pushed away;
where it would pass the right-hand clearance line, it follows that line as long as it keeps its gap there. So a bed
that narrows loses its rows one by one at the right-hand side, and never two neighbours to one another.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import Geometries, areal, lines_of, polygons_of, thinned, union
from layout.runs import fronts, guides
from layout.runs.field import Spread
from layout.runs.levels import SAGITTA, level_lines
from layout.runs.trim import GAP_SHARE, HAIR, SLIVER, SWING_SLACK, Ground, Region, Row, clip

Area = Polygon | MultiPolygon
PUSH = 0.993
"""Where a row must be pushed away from the one before it, it is laid this far from it, in least gaps."""


def even_rows(cut: Ground, spread: Spread) -> list[Row]:
    """Rows spread between two sides whose distance varies.

    Parameters
    ----------
    cut : Ground
    spread : Spread
        With both sides extended beyond the bed [m].

    Returns
    -------
    list of Row
        From the left; places are the level numbers.
    """
    edge = _edge_band(cut, spread.between.right, side=1.0, distance=cut.inner_edge)
    shapely.prepare(edge)
    along = edge.buffer(HAIR * cut.spacing)  # what follows the edge lies just on it
    by_edge = edge.buffer(2 * cut.closest + cut.radius, quad_segs=4)
    shapely.prepare(by_edge)
    first = lines_of(shapely.boundary(_edge_band(cut, spread.between.left, side=-1.0, distance=cut.first)))
    gap = GAP_SHARE * cut.closest
    centre, region = cut.sides.centre, cut.region()
    before = union(
        line for line in lines_of(union(first).intersection(cut.outline)) if line.length >= cut.least
    )
    laid: list[tuple[int, BaseGeometry]] = []
    along_edge: BaseGeometry = Polygon()  # stretches of the edge that rows already follow
    in_bed = areal(edge.intersection(cut.outline))
    # all but the band, and a hair of that, so that no edges of what is laid together lie on each other
    room = areal(cut.outline.difference(edge.buffer(-HAIR / 2 * cut.spacing)))
    shapely.prepare(room)
    ground: Area | None = None  # beyond the row before, where that is not simply its level line
    levels = level_lines(spread)
    above: dict[int, Geometries] = {}
    for level, lines in levels:
        if level == 0:
            continue
        shapely.prepare(before)
        # apart from what lies by the edge a row keeps its gap to the one before by how it is made
        beside = before.intersection(by_edge)
        follows, is_clear = shapely.dwithin(beside, edge, gap), _clear(lines, before, edge, ground, cut)
        kept_off = beside.buffer(gap) if follows or not is_clear else beside
        if follows:
            along_edge = along_edge.union(kept_off.intersection(along))
        if is_clear:
            ground = None
            free = union(
                part for line in lines for part in guides.rolled(_longer(line, cut), radius=cut.radius)
            )
        else:
            near = before.buffer(PUSH * cut.closest)
            if level not in above:
                above = _above(levels[level:], room, spread)
            ground = areal(union([*_beyond(above[level], near, ground), in_bed]))
            smooth = [
                thinned(part, SAGITTA * min(cut.closest, cut.radius))
                for line in _edges(ground, cut)
                for part in guides.rolled(_longer(line, cut), radius=cut.radius)
            ]
            free = union(smooth)
            if not beside.is_empty:
                free = free.difference(kept_off)
        if not along_edge.is_empty:
            free = free.difference(along_edge)
        before = union(line for line in lines_of(free) if line.length >= SLIVER * cut.spacing)
        laid.append((level, free))
    rows = [Row(place=0.0, pieces=_clipped([union(first)], cut.region(cut.sides.left), centre)[0])]
    clipped = _clipped([free for _, free in laid], region, centre)
    rows += [Row(place=float(level), pieces=pieces) for (level, _), pieces in zip(laid, clipped, strict=True)]
    return [row for row in rows if row.pieces]


def _edge_band(cut: Ground, side_line: LineString, *, side: float, distance: float) -> BaseGeometry:
    """Ground within a distance of one side, its inner edge bent no tighter than tubing may be."""
    guide = guides.swung_wide(
        side_line, side=side, radius=cut.radius - distance, slack=SWING_SLACK * cut.spacing
    )
    return fronts.grown(guide, distance, radius=cut.radius, bed=cut.outline)


def _clear(
    lines: list[LineString], before: BaseGeometry, edge: BaseGeometry, ground: Area | None, cut: Ground
) -> bool:
    """Whether level lines can be laid as they are."""
    found = np.asarray(lines, dtype=object)
    if shapely.intersects(edge, found).any() or shapely.dwithin(before, found, PUSH * cut.closest).any():
        return False
    return ground is None or not (shapely.distance(found, ground) > 0).any()


def _above(levels: list[tuple[int, list[LineString]]], room: Area, spread: Spread) -> dict[int, Geometries]:
    """The parts of some room beyond each level's lines."""
    edge = room.boundary
    faces = [
        np.asarray(
            polygons_of(shapely.polygonize(shapely.get_parts(union([edge, *lines])).tolist())), dtype=object
        )
        for _, lines in levels
    ]
    number = np.repeat(np.arange(len(faces)), [len(parts) for parts in faces])
    every = np.concatenate(faces)
    inner = shapely.get_coordinates(shapely.point_on_surface(every))
    found = np.flatnonzero(shapely.contains_xy(room, inner))
    level = np.array([level for level, _ in levels], dtype=np.float64)[number[found]]
    here = spread.between.measure(inner[found])
    found = found[here.off > spread.place(level, here.width)]
    return {level: every[found[number[found] == k]] for k, (level, _) in enumerate(levels)}


def _beyond(above: Geometries, near: BaseGeometry, ground: Area | None) -> list[Polygon]:
    """The ground beyond a row: beyond its level line, and apart from the row before.

    That row, with what is near it, parts the ground beyond it, `ground`, from what lies before it; no overlay of that
    with the ground of this row is made, for edges that both have would fray a little more from row to row.
    """
    found = [part for left in shapely.difference(above, near) for part in polygons_of(left)]
    if ground is None or not found:
        return found
    shapely.prepare(ground)
    beyond = shapely.intersects(ground, shapely.point_on_surface(found))
    return [part for part, is_beyond in zip(found, beyond.tolist(), strict=True) if is_beyond]


def _edges(ground: Area, cut: Ground) -> list[LineString]:
    """The edges of some ground that are not the bed's own."""
    border = cut.border
    return [
        thinned(line, SAGITTA * cut.closest)
        for line in lines_of(shapely.boundary(ground).difference(border))
        if line.length >= SLIVER * cut.spacing
    ]


def _longer(line: LineString, cut: Ground) -> LineString:
    """A line carried on a little at both ends, so that rounding does not bend its ends."""
    return (
        guides.extended(line, cut.outline, by=2 * cut.radius + cut.clearance) if not line.is_closed else line
    )


def _clipped(found: Sequence[BaseGeometry], region: Region, centre: LineString) -> list[list[LineString]]:
    fronts_found = np.empty(len(found), dtype=object)
    fronts_found[:] = found
    return clip(fronts_found, region, centre)
