"""From points to shapes in the local plane: the bed's outline, features, the line to follow, levels.

Faults give coordinates in site units. Points that repeat the one before are dropped, and noted.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from layout.errors import Fault, SiteError
from layout.frame import point_to_site, to_local
from layout.model import Frame, Levels
from layout.plane import TOLERANCE, Array
from layout.readers.points import COORDINATE_LIMIT, MOST_FAULTS, MOST_POINTS, PointTable
from layout.readers.values import figure, is_number, quoted

LARGEST_BED = 20_000.0
"""No bed is longer or wider than this [m]; beyond it the units or the columns are wrong."""
_PAIRWISE = 2000
"""Up to so many edges every crossing is looked for; above it the first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the points of a shape were written: the file to blame and the key of the site file."""

    file: str
    field: str

    def fault(self, said: str, remedy: str) -> Fault:
        """Make a fault at this place."""
        return Fault(file=self.file, field=self.field, said=said, remedy=remedy)


def inline_points(value: Sequence[Any], place: Place, *, with_z: bool = False) -> PointTable:
    """Read points written in the site file itself.

    Parameters
    ----------
    value : list
        ``[[x, y], ...]``, or ``[x, y]`` for a single point; ``[[x, y, z], ...]`` for levels.
    place : Place
    with_z : bool
        Whether each point must have a level.

    Raises
    ------
    SiteError
        With a fault for each point that is none.
    """
    points = [value] if value and all(is_number(part) for part in value) else list(value)
    form, size = ("[x, y, z]", 3) if with_z else ("[x, y]", 2)
    faults = []
    if not points:
        faults.append(place.fault("the list of points is empty", f"Write points: [{form}, ...]."))
    if len(points) > MOST_POINTS:
        faults.append(place.fault(f"{len(points)} points are more than {MOST_POINTS}", "Thin them out."))
    for number, point in enumerate(points, start=1):
        if not isinstance(point, list) or len(point) != size or not all(is_number(part) for part in point):
            said = f"point {number} is {quoted(point)}, but it must be {form}"
            faults.append(place.fault(said, "Write plain numbers in site units."))
        elif max(abs(part) for part in point) > COORDINATE_LIMIT:
            said = (
                f"point {number} is {quoted(point)}, but coordinates go to {figure(COORDINATE_LIMIT)} at most"
            )
            faults.append(place.fault(said, "Check it, and the units."))
        if len(faults) >= MOST_FAULTS:
            break
    if faults:
        raise SiteError(*faults)
    return PointTable(
        xy=tuple((float(point[0]), float(point[1])) for point in points),
        z=tuple(float(point[2]) if with_z else None for point in points),
        places=tuple(f"point {number}" for number in range(1, len(points) + 1)),
    )


def outline_of(table: PointTable, frame: Frame, place: Place) -> tuple[Polygon, tuple[str, ...]]:
    """Make the bed's outline.

    Parameters
    ----------
    table : PointTable
        Closed or not, in either direction.
    frame : Frame
    place : Place

    Returns
    -------
    outline : Polygon
        Valid, counter-clockwise [m].
    notes : tuple of str
        Points dropped.

    Raises
    ------
    SiteError
        Fewer than three points, no area, an outline that crosses or touches itself (with the coordinates).
    """
    points, places, notes = _without_doubles(table, frame, place)
    polygon = _area_of(points, places, frame, place)
    west, south, east, north = polygon.bounds
    if max(east - west, north - south) > LARGEST_BED:
        wide, high = (east - west) / frame.units.length, (north - south) / frame.units.length
        said = f"the bed is {wide:,.0f} by {high:,.0f} {frame.units.length_name}"
        raise SiteError(place.fault(said, "No bed is that large: check units and the columns of the file."))
    return shapely.orient_polygons(polygon), notes


def feature_shape(table: PointTable, frame: Frame, place: Place) -> tuple[BaseGeometry, tuple[str, ...]]:
    """Make a feature's shape: one point is a point, an open row of points a line, a closed one an area.

    Returns
    -------
    shape : Point, LineString or Polygon
        [m].
    notes : tuple of str
        Points dropped.

    Raises
    ------
    SiteError
        A line without length, an area without area or that crosses itself.
    """
    if len(table.xy) == 1:
        return Point(to_local(frame, table.xy)[0]), ()
    points, places, notes = _without_doubles(table, frame, place)
    if len(points) == 1:
        x, y = table.xy[0]
        said = f"its {len(table.xy)} points are all at ({x:.2f}, {y:.2f})"
        raise SiteError(
            place.fault(said, "Write one point for a point, different ones for a line or an area.")
        )
    if not _closed(points):
        return LineString(points), notes
    return shapely.orient_polygons(_area_of(points, places, frame, place)), notes


def guide_of(table: PointTable, frame: Frame, place: Place) -> tuple[LineString, tuple[str, ...]]:
    """Make the line that runs are to follow: two points or more, crossing itself nowhere [m].

    Raises
    ------
    SiteError
        One point only, or a line that crosses itself.
    """
    points, places, notes = _without_doubles(table, frame, place)
    if len(points) < 2:
        raise SiteError(place.fault("the line to follow has only one point", "Give it two or more."))
    line = LineString(points)
    if not line.is_simple:
        raise SiteError(*_crossing_faults(points, places, frame, place, "the line to follow"))
    return line, notes


def levels_of(table: PointTable, frame: Frame, place: Place) -> tuple[Levels, tuple[str, ...]]:
    """Make the ground's surface of points with levels.

    Raises
    ------
    SiteError
        A point without a level, two levels at one place, fewer than three points or all in one line.
    """
    faults = [
        Fault(
            file=place.file, field=where, said="the point has no level", remedy="Write its level, or drop it."
        )
        for where, level in zip(table.places, table.z, strict=True)
        if level is None
    ]
    if len(faults) == len(table.xy):
        raise SiteError(place.fault("there is no column of levels", "Add a column z or elevation."))
    if faults:
        raise SiteError(*faults[:MOST_FAULTS])
    seen: dict[tuple[float, float], tuple[str, float]] = {}
    points = []
    for (x, y), level, where in zip(table.xy, table.z, table.places, strict=True):
        before = seen.setdefault((x, y), (where, level or 0.0))
        if before[0] == where:
            points.append((x, y, level or 0.0))
        elif before[1] != level:
            said = (
                f"({x:.2f}, {y:.2f}) has the level {before[1]:g} ({before[0]}) and also {level:g} ({where})"
            )
            faults.append(place.fault(said, "Keep the right one."))
    if faults:
        raise SiteError(*faults[:MOST_FAULTS])
    local = to_local(frame, [point[:2] for point in points])
    faults = _levels_at_odds(local, points, place)
    if faults:
        raise SiteError(*faults)
    hull = shapely.MultiPoint(local).convex_hull
    if len(points) < 3 or hull.area <= TOLERANCE * hull.length:
        said = f"{len(points)} points that span no area make no surface"
        raise SiteError(
            place.fault(said, "Give three or more levels round the bed, or one number for all of it.")
        )
    heights = [level * frame.units.length for _, _, level in points]
    dropped = len(table.xy) - len(points)
    notes = (f"{place.field}: {dropped} levels that stood twice were dropped",) if dropped else ()
    surface = tuple((float(x), float(y), z) for (x, y), z in zip(local, heights, strict=True))
    return Levels(points=surface), notes


def _levels_at_odds(local: Array, points: Sequence[tuple[float, float, float]], place: Place) -> list[Fault]:
    """Name points that lie within a millimetre of each other and have different levels."""
    from scipy.spatial import cKDTree

    pairs = cKDTree(local).query_pairs(TOLERANCE, output_type="ndarray")
    faults = []
    for first, second in sorted(map(tuple, pairs.tolist())):
        (x, y, level), (_, _, other) = points[first], points[second]
        if level != other:
            said = f"two points at ({x:.2f}, {y:.2f}) have the levels {level:g} and {other:g}"
            faults.append(place.fault(said, "Keep the right one."))
    return faults[:MOST_FAULTS]


# --- parts ----------------------------------------------------------------------------------------------


def _closed(points: Array) -> bool:
    return bool(len(points) > 2 and np.hypot(*(points[-1] - points[0])) <= TOLERANCE)


def _without_doubles(
    table: PointTable, frame: Frame, place: Place
) -> tuple[Array, list[str], tuple[str, ...]]:
    """Drop points that repeat the one before them; local points, their places, a note."""
    points = to_local(frame, table.xy)
    steps = np.hypot(*np.diff(points, axis=0).T)
    if (steps > TOLERANCE).all():
        return points, list(table.places), ()
    kept = [0]
    for index in range(1, len(points)):
        if np.hypot(*(points[index] - points[kept[-1]])) > TOLERANCE:
            kept.append(index)
    dropped = [
        f"{table.places[index]} at ({table.xy[index][0]:.2f}, {table.xy[index][1]:.2f})"
        for index in sorted(set(range(len(points))) - set(kept))
    ]
    listed = ", ".join(dropped[:5]) + (f" and {len(dropped) - 5} more" if len(dropped) > 5 else "")
    many = (
        "points that repeat the one before were"
        if len(dropped) > 1
        else "point that repeats the one before was"
    )
    where = f"{Path(table.file).name}: {place.field}" if table.file else place.field
    note = f"{where}: {len(dropped)} {many} dropped: {listed}"
    return points[kept], [table.places[index] for index in kept], (note,)


def _area_of(points: Array, places: list[str], frame: Frame, place: Place) -> Polygon:
    """Make a valid polygon of a row of points, or say why it is none."""
    if _closed(points):
        points, places = points[:-1], places[:-1]
    if len(points) < 3:
        said = f"{len(points)} different points enclose no area"
        raise SiteError(place.fault(said, "An area needs three points or more."))
    polygon = Polygon(points)
    if not polygon.is_valid:
        ring = np.vstack((points, points[:1]))
        if shapely.MultiPoint(points).convex_hull.area > TOLERANCE * polygon.length:
            raise SiteError(*_crossing_faults(ring, [*places, places[0]], frame, place, "the outline"))
    if polygon.area <= TOLERANCE * polygon.length:
        first, last = point_to_site(frame, tuple(points[0])), point_to_site(frame, tuple(points[-1]))
        said = (
            f"the outline encloses no area: all {len(points)} points lie in one line "
            f"from ({first[0]:.2f}, {first[1]:.2f}) to ({last[0]:.2f}, {last[1]:.2f})"
        )
        raise SiteError(place.fault(said, "Check the coordinates and the columns."))
    return polygon


def _crossing_faults(points: Array, places: list[str], frame: Frame, place: Place, what: str) -> list[Fault]:
    """Name where a row of points crosses, touches or runs back along itself."""
    edges = shapely.linestrings(np.stack((points[:-1], points[1:]), axis=1))
    pairs = _meeting(edges, points)
    faults = []
    for first, second, (x, y), way in pairs[:MOST_FAULTS]:
        east, north = point_to_site(frame, (x, y))
        said = (
            f"{what} {way} at ({east:.2f}, {north:.2f}): the edge from {places[first]} to "
            f"{places[first + 1]} meets the edge from {places[second]} to {places[second + 1]}"
        )
        remedy = "Put the points in order round the outline, or mend the wrong one."
        if what != "the outline":
            remedy = "Draw it without crossing itself."
        faults.append(place.fault(said, remedy))
    if len(pairs) > MOST_FAULTS:
        faults.append(place.fault(f"{what} crosses itself at further places too", "Mend these first."))
    return faults or [place.fault(f"{what} crosses itself", "Put the points in order.")]


def _meeting(edges: Any, points: Array) -> list[tuple[int, int, tuple[float, float], str]]:
    """Find pairs of edges that meet anywhere but at the point they share, in order along the row.

    Each place once, and only one more than are listed.
    """
    closed = bool(np.allclose(points[0], points[-1], atol=1e-12, rtol=0))
    found: dict[tuple[float, float], tuple[int, int, tuple[float, float], str]] = {}
    for first, second in _near_pairs(edges, points):
        meeting = shapely.intersection(edges[first], edges[second])
        along = meeting.geom_type == "LineString" and meeting.length > 0
        neighbours = second == first + 1 or (closed and first == 0 and second == len(edges) - 1)
        if meeting.is_empty or (neighbours and not along):
            continue
        x, y = (float(part) for part in shapely.get_coordinates(meeting)[0])
        ends = np.vstack((points[first : first + 2], points[second : second + 2]))
        touches = bool((np.hypot(*(ends - (x, y)).T) <= 1e-9).any())
        way = "runs along itself" if along else "touches itself" if touches else "crosses itself"
        key = (round(x, 3), round(y, 3))
        if along or key not in found:
            found[key] = (first, second, (x, y), way)
        if len(found) > MOST_FAULTS:
            break
    return list(found.values())


def _near_pairs(edges: Any, points: Array) -> list[tuple[int, int]]:
    """List pairs of edges that meet: all of them, or of a very long row those at its first crossing."""
    tree = STRtree(edges)
    if len(edges) <= _PAIRWISE:
        pairs = tree.query(edges, predicate="intersects").T
        return sorted((int(first), int(second)) for first, second in pairs if first < second)
    reason = shapely.is_valid_reason(Polygon(points))
    place = [float(text) for text in re.findall(r"-?[\d.]+(?:e[+-]?\d+)?", reason)]
    if len(place) < 2:
        return []
    near = sorted(int(edge) for edge in tree.query(Point(place[:2]), predicate="dwithin", distance=TOLERANCE))
    return list(itertools.combinations(near, 2))
