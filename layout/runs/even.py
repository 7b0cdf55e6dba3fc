"""Rows of the even pattern: level lines of the field, kept apart and led along the far clearance line.

Each level line is taken in turn from the left. Where it comes too near the row before it, it is pushed away;
where it would pass the right-hand clearance line, it follows that line as long as it keeps its gap there. So a bed
that narrows loses its rows one by one at the right-hand side, and never two neighbours to one another.
"""

from __future__ import annotations

import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.plane import areal, lines_of, polygons_of, union
from layout.runs import fronts, guides
from layout.runs.field import Spread
from layout.runs.trim import GAP_SHARE, HAIR, SLIVER, SWING_SLACK, Ground, Row, clip

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
    edge = _edge_band(cut, spread.right, side=1.0)
    first = _edge_band(cut, spread.left, side=-1.0)
    centre, region = cut.sides.centre, cut.region()
    rows = [Row(place=0.0, pieces=clip(shapely.boundary(first), cut.region(cut.sides.left), centre))]
    along_edge: BaseGeometry = Polygon()  # stretches of the edge that rows already follow
    for level, lines in spread.levels(cut.outline):
        if level == 0:
            continue
        laid = [piece for piece in rows[-1].pieces if piece.length >= cut.least]
        near = union(piece.buffer(PUSH * cut.closest) for piece in laid)
        taken = union(piece.buffer(GAP_SHARE * cut.closest) for piece in laid)
        along_edge = along_edge.union(taken.intersection(edge))
        pieces = []
        for line in _led(lines, level, near, edge, cut, spread):
            smooth = guides.rounded(_longer(line, cut), radius=cut.radius)
            pieces += clip(smooth.difference(taken).difference(along_edge), region, centre)
        if pieces:
            rows.append(Row(place=float(level), pieces=pieces))
    return rows


def _edge_band(cut: Ground, side_line: LineString, *, side: float) -> BaseGeometry:
    """Ground within the clearance of one side, its inner edge bent no tighter than tubing may be."""
    first = cut.first
    guide = guides.swung_wide(
        side_line, side=side, radius=cut.radius - first, slack=SWING_SLACK * cut.spacing
    )
    return fronts.grown(guide, first, radius=cut.radius, bed=cut.outline)


def _led(
    lines: list[LineString], level: int, near: BaseGeometry, edge: BaseGeometry, cut: Ground, spread: Spread
) -> list[LineString]:
    """Level lines pushed away from the row before and led along the edge band."""
    if not any(shapely.intersects(line, near) or shapely.intersects(line, edge) for line in lines):
        return lines
    border = cut.outline.boundary
    noded = union([border, *lines])
    faces = polygons_of(shapely.polygonize(shapely.get_parts(noded).tolist()))
    beyond = []
    for face in faces:
        inner = face.representative_point()
        value = spread.measure(shapely.get_coordinates(inner))[0][0]
        if value > level and cut.outline.contains(inner):
            beyond.append(face)
    ground = areal(union(beyond).difference(near).union(edge.intersection(cut.outline)))
    found = lines_of(shapely.boundary(ground).difference(border.buffer(HAIR * cut.spacing / 2)))
    return [line for line in found if line.length >= SLIVER * cut.spacing]


def _longer(line: LineString, cut: Ground) -> LineString:
    """A line carried on a little at both ends, so that rounding does not bend its ends."""
    return guides.extended(line, cut.outline, by=2 * cut.radius + cut.clearance) if not line.is_closed else line
