"""Which run ends lie beside each other, so that one manifold may serve them: in a front, or along the bed's edge."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, MultiPoint, Polygon

from layout.model import XY, Run, xy
from layout.plane import coordinates, points_between

STEP = 3.5
"""Run ends of neighbouring rows lie beside each other where they are no farther apart than this, in spacings."""
UNDER = 4.0
"""How far in from the end of a run a manifold may lie under it, in stated offsets, where a setback puts it there."""
MARGIN = 0.3
"""How far the edge is followed past the outermost run ends [m]."""

End = tuple[XY, int]
"""A run end and its row."""


def usual_spacing(runs: Sequence[Run]) -> float:
    """Give the median distance from the middle of a run to the nearest other one [m]; 0 with a single run."""
    lines = [run.line for run in runs]
    middles = [line.interpolate(0.5, normalized=True) for line in lines]
    pairs = shapely.STRtree(middles).query_nearest(middles, exclusive=True, all_matches=False)
    if pairs.shape[1] == 0:
        return 0.0
    one, other = pairs
    return float(
        np.median([lines[b].distance(middles[a]) for a, b in zip(one.tolist(), other.tolist(), strict=True)])
    )


def split(front: Sequence[End], spacing: float) -> list[list[End]]:
    """Part a front where neighbouring run ends lie farther apart than rows between them account for.

    Parameters
    ----------
    front : sequence of ((x, y), row)
        In order along the front [m].
    spacing : float
        From row to row [m].
    """
    parts = [[front[0]]]
    for before, here in itertools.pairwise(front):
        rows = max(abs(here[1] - before[1]), 1)
        if math.dist(before[0], here[0]) > STEP * spacing * rows:
            parts.append([])
        parts[-1].append(here)
    return parts


def stretches(runs: Sequence[Run], outline: Polygon, *, reach: float, spacing: float) -> list[LineString]:
    """Find the stretches of the bed's edge along which run ends lie beside each other.

    Parameters
    ----------
    runs : sequence of Run
    outline : Polygon
        Of the bed [m].
    reach : float
        How far from the edge a run end may lie to be counted among those at it [m].
    spacing : float
        From row to row [m].

    Returns
    -------
    list of LineString
        Counter-clockwise, so that the bed lies on their left [m].
    """
    ring = LineString(shapely.orient_polygons(outline, exterior_cw=False).exterior.coords)
    lines = [run.line for run in runs]
    ends = np.stack([shapely.get_point(lines, tip) for tip in (0, -1)], axis=1).ravel()
    near = ends[shapely.distance(ring, ends) <= reach]
    if not len(near):
        return []
    stations = shapely.line_locate_point(ring, near).tolist()
    placed = sorted(zip(stations, map(xy, near.tolist()), strict=True))
    breaks = [
        number
        for number in range(len(placed))
        if math.dist(placed[number - 1][1], placed[number][1]) > STEP * spacing
    ]
    twice = LineString(np.vstack((coordinates(ring)[:-1], coordinates(ring)[:-1], coordinates(ring))))
    whole = float(ring.length)
    if not breaks:
        return [LineString(points_between(twice, 0.0, whole))]
    found = []
    for number, first in enumerate(breaks):
        last = breaks[(number + 1) % len(breaks)] - 1
        start, end = placed[first][0], placed[last][0]
        end += whole if end < start or (end == start and last != first) else 0.0
        found.append(LineString(points_between(twice, start + whole - MARGIN, end + whole + MARGIN)))
    return found


def crosses(piece: LineString, tubes: Sequence[LineString], tree: shapely.STRtree, *, offset: float) -> bool:
    """Whether a part of a manifold lies across tubing, rather than under or beyond its ends.

    Parameters
    ----------
    piece : LineString
        [m].
    tubes : sequence of LineString
        Runs [m].
    tree : STRtree
        Of these.
    offset : float
        The stated offset of manifolds [m].
    """
    return any(
        not under_ends(piece, tubes[number], offset=offset)
        for number in tree.query(piece, predicate="intersects").tolist()
    )


def under_ends(piece: LineString, tube: LineString, *, offset: float) -> bool:
    """Whether a pipe meets a run near the ends of it only, within an offset [m]."""
    ends = MultiPoint([tube.coords[0], tube.coords[-1]])
    met = shapely.points(shapely.get_coordinates(piece.intersection(tube)))
    return bool(np.all(shapely.distance(met, ends) <= UNDER * offset))
