"""Shortest ways round obstacles against an independent computation: a general graph library on a dense graph.

The independent graph joins every pair of corners of the obstacles, and of the two ends, whose straight line plain
geometry finds in the free ground: no corner is left out for being hollow, no line for not being taut. Derived; the
graph library is networkx, the geometry engine's ``covers`` is asked of every pair.
"""

from __future__ import annotations

import itertools
import math

import networkx
import numpy as np
import pytest
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from layout.routes.obstacles import grown
from layout.ways import shortest_way

FIELDS = 200
SIZE = 40.0


def random_field(
    seed: int,
) -> tuple[list[BaseGeometry], list[float], tuple[float, float], tuple[float, float]]:
    """Points, lines and areas with setbacks, and two places outside all of them."""
    rng = np.random.default_rng(seed)
    shapes: list[BaseGeometry] = []
    setbacks: list[float] = []
    count = int(rng.integers(2, 8))
    while len(shapes) < count:
        middle = rng.uniform(9, SIZE - 9, 2)
        turns = np.sort(rng.uniform(0, 2 * math.pi, int(rng.integers(3, 6))))
        corners = middle + np.column_stack((np.cos(turns), np.sin(turns))) * rng.uniform(
            1, 7, (len(turns), 1)
        )
        kind = rng.integers(0, 4)
        shape = (
            Point(middle) if kind == 0 else LineString(corners[:3]) if kind == 1 else shapely.Polygon(corners)
        )
        if shape.is_valid and shape.is_simple:
            shapes.append(shape)
            setbacks.append(float(rng.uniform(0.3, 4)))
    while True:
        ends = [(0.0, float(rng.uniform(12, SIZE - 12))), (SIZE, float(rng.uniform(12, SIZE - 12)))]
        if all(shape.distance(Point(end)) > 4.2 for shape in shapes for end in ends):
            return shapes, setbacks, ends[0], ends[1]


def dense_length(start: tuple[float, float], end: tuple[float, float], zones: list[BaseGeometry]) -> float:
    """The length of the shortest way in the graph of all pairs that see each other; infinite where there is none."""
    solid = shapely.union_all(zones)
    frame = shapely.box(*solid.union(LineString([start, end])).buffer(2).bounds)
    free = frame.difference(solid)
    corners = {tuple(at) for at in shapely.get_coordinates(free).tolist()}
    pairs = list(itertools.combinations(sorted({*corners, start, end}), 2))
    shapely.prepare(free)
    seen = shapely.covers(free, shapely.linestrings(pairs))
    graph = networkx.Graph()
    graph.add_nodes_from([start, end])
    for one, other in itertools.compress(pairs, seen):
        graph.add_edge(one, other, weight=math.dist(one, other))
    try:
        return float(networkx.shortest_path_length(graph, start, end, weight="weight"))
    except networkx.NetworkXNoPath:
        return math.inf


@pytest.mark.parametrize("part", range(8))
def test_two_hundred_random_fields(part: int) -> None:
    bent = 0
    for seed in range(part, FIELDS, 8):
        shapes, setbacks, start, end = random_field(seed)
        zones = [grown(shape, setback) for shape, setback in zip(shapes, setbacks, strict=True)]
        way = shortest_way(start, end, zones)
        assert way is not None
        assert (way.coords[0], way.coords[-1]) == (start, end)
        for shape, setback in zip(shapes, setbacks, strict=True):
            assert way.distance(shape) >= setback
        assert way.length == pytest.approx(dense_length(start, end, zones), abs=1e-6)
        corners = shapely.points(shapely.get_coordinates(way)[1:-1])
        edge = shapely.union_all(zones).boundary
        assert bool(np.all(shapely.distance(corners, edge) < 1e-9))
        bent += len(corners) > 0
    assert bent >= 15  # most fields stand in the way


def test_a_ring_leaves_no_way() -> None:
    walls = [
        LineString([(-4, -4), (-4, 4)]),
        LineString([(-5, 4), (4, 4)]),
        LineString([(4, 5), (4, -4)]),
        LineString([(5, -4), (-5, -4)]),
    ]
    zones = [grown(wall, 1.0) for wall in walls]
    assert shortest_way((0.0, 0.0), (20.0, 0.0), zones) is None
    assert math.isinf(dense_length((0.0, 0.0), (20.0, 0.0), zones))
    assert shortest_way((0.0, 0.0), (20.0, 0.0), zones[:3]) is not None


def test_round_a_disc() -> None:
    """Half round a circle: two tangents and an arc; the sixteen sides that stand for it are a little longer."""
    radius, far = 3.0, 10.0
    way = shortest_way((-far, 0.0), (far, 0.0), [grown(Point(0, 0), radius)])
    assert way is not None
    grazing = math.sqrt(far**2 - radius**2)
    arc = radius * (math.pi - 2 * math.acos(radius / far))
    assert 2 * grazing + arc < way.length < 2 * grazing + arc * math.tan(math.pi / 16) / (math.pi / 16) + 0.01
