"""The ground that lines are led through: what stands in it, and how wide a trench needs it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from layout.model import XY, Feature, Pipe
from layout.plane import TOLERANCE, Array, coordinates, union
from layout.routes.obstacles import LEAST, Obstacle, grown, obstacles_of
from layout.ways import free_ground, shortest_way

GAP = 0.3
"""From centre line to centre line of pipes in one trench [m]: room to lay and to dig up one of them; common practice,
no source."""
TUBE = 0.1
"""How near a line may come to tubing in the bed [m]; half as near as its manifold, where that is less."""
PASSING = 0.05
"""How near a line may come to a manifold that it leads past [m]."""
ROUND = 64
"""Chords to a quarter circle where a zone has to be truly round."""
NUDGE = 1e-5
"""How far outside an obstacle a line begins that starts on its edge [m]: rounding must not put it inside."""
BED = "the bed"
WITHIN = "within the bed"
ROUGHLY = 1.36
"""What tubing is widened by so as to hold all within the distance kept from it, in such distances: thinning takes a
quarter of it, and the eight corners that a circle is drawn with 8 % more."""


@dataclass(frozen=True, slots=True)
class Ground:
    """All that lines have to keep away from.

    Attributes
    ----------
    pump : (x, y)
        [m].
    features : tuple of Feature
    outline : Polygon
        Of the bed [m].
    tubing : tuple of LineString
        Runs, loops and blank tubing [m].
    manifolds : tuple of Pipe
    """

    pump: XY
    features: tuple[Feature, ...]
    outline: Polygon
    tubing: tuple[LineString, ...]
    manifolds: tuple[Pipe, ...]
    _grown: dict[tuple[str, float], BaseGeometry] = field(default_factory=dict)
    _ways: dict[tuple[XY, float, float], LineString | None] = field(default_factory=dict)
    _landed: dict[tuple[XY, float, float], XY | None] = field(default_factory=dict)
    _apart: dict[str, float] = field(default_factory=dict)
    _kept: dict[tuple[XY, ...], tuple[Array, float, float]] = field(default_factory=dict)
    _trees: list[STRtree] = field(default_factory=list)

    @property
    def obstacles(self) -> tuple[Obstacle, ...]:
        """Features that lines keep away from, and how far: all but the one that the pump stands in."""
        return obstacles_of(self.features, start=self.pump)

    def zones(self, *, half: float, beside_bed: float) -> list[BaseGeometry]:
        """Where the middle of a trench may not go.

        Parameters
        ----------
        half : float
            From the middle of the trench to its outermost pipe [m].
        beside_bed : float
            From the middle of the trench to the edge of the bed [m].

        Returns
        -------
        list of Polygon or MultiPolygon
            Of the obstacles in their order, the bed last [m].
        """
        return [
            *(self._zone(item.name, item.shape, item.distance + half) for item in self.obstacles),
            self._zone(BED, self.outline, max(beside_bed, LEAST, self._beside_edge())),
        ]

    def _beside_edge(self) -> float:
        """How far off the bed a line stays because tubing lies at the very edge of it [m]."""
        if BED not in self._apart:
            edge = self.outline.exterior
            nearest = min(shapely.distance(edge, list(self.tubing)), default=TUBE)
            self._apart[BED] = TUBE + LEAST - float(nearest)
        return self._apart[BED]

    def _zone(self, name: str, shape: BaseGeometry, distance: float) -> BaseGeometry:
        key = (name, round(distance, 9))
        if key not in self._grown:
            self._grown[key] = grown(shape, distance)
        return self._grown[key]

    def way(self, feed: XY, *, half: float, beside_bed: float) -> LineString | None:
        """The middle of a trench from the pump to where it first stands on free ground before a manifold.

        Parameters
        ----------
        feed : (x, y)
            Where the line meets the manifold [m].
        half, beside_bed : float
            As of :meth:`zones` [m].

        Returns
        -------
        LineString or None
            [m]; None where there is no way.
        """
        key = (feed, round(half, 9), round(beside_bed, 9))
        if key not in self._ways:
            self._ways[key] = self._find_way(feed, half=half, beside_bed=beside_bed)
        return self._ways[key]

    def _find_way(self, feed: XY, *, half: float, beside_bed: float) -> LineString | None:
        zones = self.zones(half=half, beside_bed=beside_bed)
        key = (self.pump, round(half, 9), round(beside_bed, 9))
        if key not in self._landed:  # the same for all manifolds
            self._landed[key] = self.landing(self.pump, zones)
        start = self._landed[key]
        if start is None:
            return None
        end = self.landing(feed, zones)
        way = shortest_way(start, end, zones) if end else None
        return LineString([self.pump, *way.coords]) if way else None

    def landing(self, place: XY, zones: Sequence[BaseGeometry]) -> XY | None:
        """Where a line from a place first stands on free ground: there, or at the nearest edge of it.

        None where tubing lies between the two.
        """
        point = Point(place)
        every = np.asarray(zones, dtype=object)
        inside = every[shapely.intersects(every, point)].tolist()
        if not inside:
            return place
        reach = point.buffer(2 * max(float(shapely.distance(point, zone.boundary)) for zone in inside) + 1.0)
        near = every[shapely.intersects(every, reach)].tolist()
        free = free_ground(near, [place, *((x, y) for x, y in coordinates(reach).tolist())])
        if free.is_empty:
            return None
        step = coordinates(shapely.shortest_line(point, free))
        size = max(float(np.hypot(*(step[1] - step[0]))), TOLERANCE)
        x, y = (step[1] + (step[1] - step[0]) / size * NUDGE).tolist()
        if np.any(shapely.distance(LineString([place, (x, y)]), list(self.tubing)) < TUBE):
            return None
        return (x, y)

    def leg(self, start: XY, pipe: Pipe, feed: XY, feeds: Sequence[XY]) -> LineString | None:
        """The way from the end of a trench to a manifold, over the edge of the bed where it stands within it.

        It keeps setbacks, stays off tubing, goes no farther into the bed than the deepest of `feeds`, and round
        the other manifolds where that can be.
        """
        obstacles = [self.zone_beside(item, feed) for item in self.obstacles]
        inner = self.outline.buffer(-(self._depth([start, *feeds]) + TOLERANCE))
        reach = LineString([start, feed]).buffer(2 * GAP + float(Point(start).distance(Point(feed))))
        fixed = [zone for zone in (*obstacles, inner, *self._tubes(reach, feeds)) if not zone.is_empty]
        others = [
            other.line.buffer(PASSING, cap_style="flat", join_style="mitre")
            for other in self.manifolds
            if other is not pipe and other.line.intersects(reach)
        ]
        return shortest_way(start, feed, [*fixed, *others]) or shortest_way(start, feed, fixed)

    def _tubes(self, reach: BaseGeometry, feeds: Sequence[XY]) -> list[BaseGeometry]:
        """What a pipe keeps out of beside the tubing in reach.

        Drawn with few corners, for every pair of them is looked at: thinned by a quarter of the distance to keep, and
        widened by so much more than that distance that the true one lies within.
        """
        off = self._off_tubing(feeds)
        near = [tube.intersection(reach) for tube in self.tubing if tube.intersects(reach)]
        rough = union(part.simplify(off / 4) for part in near).buffer(ROUGHLY * off, quad_segs=2)
        return list(shapely.get_parts(rough))

    def zone_beside(self, item: Obstacle, feed: XY) -> BaseGeometry:
        """The zone of an obstacle, but no larger than leaves a feed outside."""
        zone = self._zone(item.name, item.shape, item.distance)
        point = Point(feed)
        if not zone.intersects(point):
            return zone
        # Truly round: the corners of the usual zone would swallow what stands just outside it.
        distance = min(item.distance, float(item.shape.distance(point))) - TOLERANCE / 2
        return item.shape.buffer(max(distance, 0.0), quad_segs=ROUND)

    def _depth(self, places: Sequence[XY]) -> float:
        """How far inside the bed the deepest of some places stands [m]."""
        points = [point for place in places if self.outline.intersects(point := Point(place))]
        return max((float(self.outline.boundary.distance(point)) for point in points), default=0.0)

    def allows(self, points: Array, feeds: Sequence[XY]) -> bool:
        """Whether a finished pipe keeps all its distances, and stays out of the bed but for the edge at its ends.

        Where the pump or a manifold stands within a setback, here no more is asked than to come no nearer than they do;
        that the pipe leaves it at once is up to the middle of its trench.
        """
        pipe = LineString(points)
        shapes = [item.shape for item in self.obstacles]
        least, depth, off_tubing = self._distances([self.pump, *feeds])
        if bool(np.any(shapely.distance(pipe, shapes) < least - TOLERANCE)):
            return False
        inner = self._within(depth + 2 * TOLERANCE)
        if not inner.is_empty and pipe.intersects(inner):
            return False
        tree = self._tubing_tree()
        near = tree.geometries[tree.query(pipe, predicate="dwithin", distance=off_tubing)]
        return bool(np.all(shapely.distance(pipe, near) >= off_tubing - TOLERANCE))

    def _distances(self, places: Sequence[XY]) -> tuple[Array, float, float]:
        """What :meth:`_least`, :meth:`_depth` and :meth:`_off_tubing` say of some places, asked once [m]."""
        key = tuple(places)
        if key not in self._kept:
            self._kept[key] = (self._least(places), self._depth(places), self._off_tubing(places))
        return self._kept[key]

    def _tubing_tree(self) -> STRtree:
        if not self._trees:
            self._trees.append(STRtree(list(self.tubing)))
        return self._trees[0]

    def _within(self, depth: float) -> BaseGeometry:
        """The bed farther in than a depth [m]."""
        key = (WITHIN, round(depth, 9))
        if key not in self._grown:
            self._grown[key] = self.outline.buffer(-depth)
        return self._grown[key]

    def _least(self, places: Sequence[XY]) -> Array:
        """How far pipe that ends in some places keeps from each obstacle [m]: no farther than they stand."""
        points = shapely.points(np.asarray(places, dtype=float))
        found = [
            max(min(item.distance, float(np.min(shapely.distance(points, item.shape))) - TOLERANCE), LEAST)
            for item in self.obstacles
        ]
        return np.asarray(found, dtype=np.float64)

    def _off_tubing(self, places: Sequence[XY]) -> float:
        """How far a pipe that ends in some places stays off tubing [m]."""
        points = shapely.points(np.asarray(places, dtype=float))
        nearest = shapely.distance(shapely.GeometryCollection(list(self.tubing)), points)
        return min(TUBE, 0.5 * float(np.min(nearest))) if self.tubing else 0.0
