"""Leads: blank tubing from a run end amid the bed, between two runs, out to where a manifold can serve it.

A run that ends at an obstacle, or at a neck, has no edge of the bed beside it. Between two laterals, though, there is
always a channel that no loop closes: it leads along the runs to an end of the bed. A lead is laid in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely import LineString, MultiPoint, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import XY, xy
from layout.plane import TOLERANCE, distances, lines_of, polygons_of
from layout.ways import way_within

KEPT = (0.36, 0.24, 0.12)
"""Distances to other tubing that a lead is tried at, in row spacings; the first lies about midway between two runs."""
THINNED = 0.25
"""What tubing is thinned by for the search of a way, as a share of the distance to keep."""
WIDENED = 1.25
"""... and what it is widened by: with that thinning, and circles drawn with eight corners, nine tenths are kept."""
START = 1.2
"""How far from the run end a lead may first stand free, in row spacings."""
OPENING = 0.02
"""A narrower opening of a channel at the edge of the bed is none [m]."""
TRIED = 6
"""Openings that are tried, those first that promise the least pipe."""
ROUNDING = 1e-6
"""What rounding may put a place outside the ground that it stands on the edge of [m]."""
MOST_CORNERS = 900
"""Ground with more corners is not searched: it would take minutes."""


class Channels:
    """Where leads may lie: the bed between its tubing, out of setback zones.

    Parameters
    ----------
    tubing : sequence of LineString
        Runs, loops and blank tubing [m].
    outline : Polygon
        Of the bed [m].
    zones : MultiPolygon
        Setback zones [m].
    spacing : float
        From row to row [m].
    inset : float
        How far within the edge of the bed runs usually end [m]: there leads end, too.
    toward : (x, y)
        The pump, or what stands for it [m].
    """

    def __init__(
        self,
        tubing: Sequence[LineString],
        outline: Polygon,
        zones: MultiPolygon,
        *,
        spacing: float,
        inset: float,
        toward: XY,
    ) -> None:
        self._tubing, self._tree = list(tubing), shapely.STRtree(list(tubing))
        self._zones, self._spacing, self._toward = zones, spacing, toward
        self._within = zones.buffer(-TOLERANCE)
        shapely.prepare(self._within)
        self._field = outline.buffer(-inset, join_style="mitre")
        self._rim = shapely.unary_union(shapely.boundary(polygons_of(self._field))).buffer(TOLERANCE)
        self._rooms: dict[float, shapely.STRtree] = {}

    def lead(
        self, at: XY, *, to: BaseGeometry | None = None, off: BaseGeometry | None = None
    ) -> LineString | None:
        """Lay a lead from where the tubing of a run ends to an opening at the edge of the bed.

        Parameters
        ----------
        at : (x, y)
            The run end [m].
        to : Geometry, optional
            Where the opening has to be [m]; anywhere, if not given.
        off : Geometry, optional
            Where it must not be [m].

        Returns
        -------
        LineString or None
            From the run end on [m]; None where there is no way.
        """
        for share in KEPT:
            kept = share * self._spacing
            rooms, reach = self._open(kept), START * self._spacing
            near = np.sort(rooms.query(Point(at), predicate="dwithin", distance=reach))
            found = [way for room in rooms.geometries[near] for way in self._out(room, at, kept, to, off)]
            if found:
                return min(found, key=self._cost)
        return None

    def _cost(self, way: LineString) -> float:
        """What a lead takes, with the pipe from there on [m]."""
        return round(float(way.length) + math.dist(way.coords[-1], self._toward), 6)

    def take(self, lead: LineString) -> None:
        """Take the place of a lead, so that the next one does not lie there, too."""
        self._tubing.append(lead)
        self._tree = shapely.STRtree(self._tubing)
        for kept, rooms in self._rooms.items():
            taken = _widened([lead], kept)
            touched = set(rooms.query(taken, predicate="intersects").tolist())
            left = [
                part
                for number, room in enumerate(rooms.geometries)
                for part in (polygons_of(room.difference(taken)) if number in touched else [room])
            ]
            self._rooms[kept] = shapely.STRtree(left)

    def _open(self, kept: float) -> shapely.STRtree:
        """The parts of the bed that are free of tubing by a distance."""
        if kept not in self._rooms:
            free = self._field.difference(_widened(self._tubing, kept)).difference(self._zones)
            self._rooms[kept] = shapely.STRtree(polygons_of(free))
        return self._rooms[kept]

    def _out(
        self, room: Polygon, at: XY, kept: float, to: BaseGeometry | None, off: BaseGeometry | None
    ) -> Iterator[LineString]:
        """Lead out of a room beside the run end, if it opens to the edge of the bed."""
        if shapely.get_num_coordinates(room) > MOST_CORNERS:
            return
        start = xy(Point(shapely.shortest_line(room, Point(at)).coords[0]))
        if not self._free(at, start):
            return
        # What stands on the very edge must not stand outside it by rounding.
        roomy = room.buffer(ROUNDING, join_style="mitre")
        places = self._openings(room, start)
        places = [place for place in places if to is None or to.intersects(Point(place))]
        for place in [place for place in places if off is None or not off.intersects(Point(place))][:TRIED]:
            way = way_within(roomy, start, place)
            if way is None:
                continue
            way = self._amid(room, way, kept)
            points = np.vstack(([at], shapely.get_coordinates(way)))
            lead = LineString(shapely.remove_repeated_points(LineString(points), TOLERANCE))
            if self._kept(lead, at, 0.5 * kept):
                yield lead

    def _amid(self, room: Polygon, way: LineString, kept: float) -> LineString:
        """Keep a way farther from tubing wherever its channel has room for that, and not only where all of it has."""
        start, place = xy(shapely.get_point(way, 0)), xy(shapely.get_point(way, -1))
        for share in KEPT:
            wider = share * self._spacing
            if wider <= kept:
                break
            wide = room.intersection(shapely.union_all(self._open(wider).geometries))
            along = shapely.get_coordinates(shapely.segmentize(way, self._spacing / 4))
            # Where nothing of the wider ground lies across the channel it is narrow; and so it may be at the ends.
            tight = np.append(np.flatnonzero(distances(along, wide) > self._spacing / 2), (0, -1))
            narrow = MultiPoint(along[tight]).buffer(START * self._spacing)
            ground = wide.union(room.intersection(narrow)).buffer(ROUNDING, join_style="mitre")
            for part in polygons_of(ground):
                corners = shapely.get_num_coordinates(part)
                if corners <= MOST_CORNERS and part.covers(shapely.points([start, place])).all():
                    found = way_within(part, start, place)
                    if found is not None:
                        return found
        return way

    def _openings(self, room: Polygon, start: XY) -> list[XY]:
        """Where a room opens to the edge of the bed, the most promising place first."""
        places = []
        for part in lines_of(room.boundary.intersection(self._rim)):
            if part.length > OPENING:
                wide = part.length > 2 * self._spacing
                at = part.project(Point(start)) if wide else part.length / 2
                places.append(xy(part.interpolate(at)))
        return sorted(
            places, key=lambda place: round(math.dist(start, place) + math.dist(place, self._toward), 6)
        )

    def _free(self, at: XY, start: XY) -> bool:
        """Whether the first step from a run end crosses no tubing and no setback."""
        way = np.asarray(start) - np.asarray(at)
        size = max(float(np.hypot(*way)), TOLERANCE)
        step = LineString([np.asarray(at) + way / size * min(10 * TOLERANCE, size / 2), start])
        return not self._within.intersects(step) and not len(self._tree.query(step, predicate="intersects"))

    def _kept(self, lead: LineString, at: XY, distance: float) -> bool:
        """Whether a lead, but for its beginning, keeps a distance from all tubing."""
        rest = lead.difference(Point(at).buffer(START * self._spacing))
        return rest.is_empty or not len(self._tree.query(rest, predicate="dwithin", distance=distance))


def _widened(tubing: Sequence[LineString], kept: float) -> BaseGeometry:
    """The ground that a lead does not enter which keeps a distance from tubing [m]."""
    thin = shapely.simplify(np.asarray(tubing, dtype=object), THINNED * kept)
    return shapely.union_all(shapely.buffer(thin, WIDENED * kept, quad_segs=2))
