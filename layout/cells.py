"""The ground that each emitter doses: its Voronoi cell, and how evenly the emitters share the bed.

A *cell* is the ground nearer to one emitter than to any other. Water spreads to both sides of a run, so the
cells divide the usable ground and half a run spacing round it, inside the bed; an emitter of an outer run is
then not left with half a cell.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from layout.model import Cells, EmitterRow, Finding, Totals
from layout.plane import TOLERANCE, Array, areal

MOST_CELLS = 100_000
"""Of more than this no cells are made: they would take longer than all the rest of the work."""
_FAR = 8.0
"""How far the four helping points stand that close the outer cells, in sizes of the ground."""


def cell_findings(totals: Totals) -> Iterator[Finding]:
    """Say where a field has too many emitters for the ground of each to be worked out."""
    if totals.emitters > MOST_CELLS:
        yield Finding(
            code="no-cells",
            said=(
                f"The field has {totals.emitters:,} emitters; the ground of each is worked out, and the coverage "
                f"picture drawn, for {MOST_CELLS:,} at most"
            ),
            remedy="Plan the field as several beds to have them.",
        )


def dosed_ground(area: Polygon | MultiPolygon, outline: Polygon, *, spacing: float) -> Polygon | MultiPolygon:
    """Find the ground that emitters share: the usable ground and half a spacing round it, inside the bed [m].

    Parameters
    ----------
    area : Polygon or MultiPolygon
        The usable ground [m].
    outline : Polygon
        The bed [m].
    spacing : float
        From run to run [m].
    """
    return areal(shapely.intersection(shapely.buffer(area, 0.5 * spacing, quad_segs=16), outline))


def emitter_cells(
    area: Polygon | MultiPolygon, outline: Polygon, rows: Sequence[EmitterRow], *, spacing: float
) -> Cells | None:
    """Divide the dosed ground among the emitters.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        The usable ground [m].
    outline : Polygon
        The bed [m].
    rows : sequence of EmitterRow
    spacing : float
        From run to run [m].

    Returns
    -------
    Cells or None
        In the order of the rows and of the emitters in each; None without emitters, or where there are more
        than `MOST_CELLS`.

    Examples
    --------
    >>> bed = shapely.box(0, 0, 4, 1)
    >>> row = EmitterRow(run="R1", points=((1.0, 0.5), (3.0, 0.5)), flow=2e-6)
    >>> emitter_cells(bed, bed, [row], spacing=1.0).areas
    (2.0, 2.0)
    """
    count = sum(row.count for row in rows)
    if not 0 < count <= MOST_CELLS:
        return None
    points = np.array([point for row in rows for point in row.points], dtype=np.float64)
    flows = np.concatenate([np.full(row.count, row.flow / row.count) for row in rows if row.count])
    # Emitters within a tolerance of each other have one cell, of which each takes its share.
    _, first, which, sharing = np.unique(
        np.round(points / TOLERANCE), axis=0, return_index=True, return_inverse=True, return_counts=True
    )
    which = which.ravel()
    ground = dosed_ground(area, outline, spacing=spacing)
    shapes = _clipped(_voronoi(points[first], ground), ground)
    areas = (shapely.area(shapes) / sharing)[which]
    edge = outline.exterior
    shapely.prepare(edge)
    beside = np.asarray(shapely.dwithin(edge, shapely.points(points), spacing + TOLERANCE), dtype=bool)
    return Cells(
        shapes=tuple(shapes[which].tolist()),
        areas=tuple(areas.tolist()),
        flows=tuple(flows.tolist()),
        inner=tuple((~beside).tolist()),
    )


def evenness(cells: Cells) -> tuple[float, float] | None:
    """Mean area [m²] and coefficient of variation of the inner cells; None where there is none.

    An inner cell is that of an emitter farther than one run spacing from the edge of the bed.
    """
    areas = np.asarray(cells.areas)[np.asarray(cells.inner, dtype=bool)]
    if not len(areas):
        return None
    mean = float(areas.mean())
    return mean, float(areas.std() / mean)


def _voronoi(points: Array, ground: Polygon | MultiPolygon) -> NDArray[np.object_]:
    """Make the Voronoi cells of distinct points, closed far beyond the ground, in the order of the points."""
    from scipy.spatial import Voronoi

    # Not the geometry engine's own diagram: it fails where four points lie on a circle, as in a lattice.
    seen = np.vstack((points, np.reshape(ground.bounds, (-1, 2))))
    low, high = seen.min(axis=0), seen.max(axis=0)
    middle, reach = (low + high) / 2, _FAR * max(float((high - low).max()), TOLERANCE)
    corners = reach * np.array([(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)])
    made = Voronoi(np.vstack((points - middle, corners)))
    regions = [made.regions[index] for index in made.point_region[: len(points)]]
    which = np.repeat(np.arange(len(regions)), [len(region) for region in regions])
    rings = shapely.linearrings(made.vertices[np.concatenate(regions)] + middle, indices=which)
    return np.asarray(shapely.polygons(rings))


def _clipped(cells: NDArray[np.object_], ground: Polygon | MultiPolygon) -> NDArray[np.object_]:
    """Clip cells to the ground; those wholly inside are left as they are."""
    shapely.prepare(ground)
    out = ~shapely.contains_properly(ground, cells)
    clipped = shapely.intersection(cells[out], ground)
    cells[out] = [areal(shape) for shape in clipped]
    return cells
