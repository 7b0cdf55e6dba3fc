"""How `outlines.json` was made: ``python convert.py countries-50m.json`` writes it anew, beside this file.

The input is the file of that name in the npm package world-atlas 2.0.2.
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

Array = NDArray[np.float64]

COUNT = 100
LEAST_POINTS, MOST_POINTS = 20, 90
FOOT = 0.3048
WIDTH = 14 * FOOT
"""Twice the area over the length of the outline: the width of a long strip [m]."""
DETAIL = 0.5 * FOOT
"""What is simplified away at first; more where points are left over [m]."""
LEFT_OUT = {"010"}
"""A cap about a pole has no shape on a chart of latitude and longitude."""


def arcs_of(topology: dict[str, Any]) -> list[Array]:
    """The arcs of a TopoJSON file, in degrees."""
    scale, origin = (np.asarray(topology["transform"][key]) for key in ("scale", "translate"))
    return [np.cumsum(np.asarray(arc, float), axis=0) * scale + origin for arc in topology["arcs"]]


def ring_of(numbers: list[int], arcs: list[Array]) -> Array:
    """Arcs put together; a negative number is an arc walked backwards."""
    walked = [arcs[number] if number >= 0 else arcs[~number][::-1] for number in numbers]
    return np.vstack([walked[0], *(arc[1:] for arc in walked[1:])])


def largest(shape: dict[str, Any], arcs: list[Array]) -> Polygon:
    """The largest polygon, without holes, on a chart whose scale is true at its middle latitude."""
    polygons = shape["arcs"] if shape["type"] == "MultiPolygon" else [shape["arcs"]]
    found = []
    for rings in polygons:
        points = ring_of(rings[0], arcs)
        middle = math.radians(float(points[:, 1].min() + points[:, 1].max()) / 2)
        found += shapely.get_parts(shapely.make_valid(Polygon(points * [math.cos(middle), 1.0]))).tolist()
    return Polygon(max(found, key=lambda polygon: polygon.area).exterior)


def as_bed(polygon: Polygon) -> Polygon:
    """About the origin, at the size of a bed [m]."""
    size = WIDTH / (2 * polygon.area / polygon.length)
    middle = np.asarray(polygon.centroid.coords[0])
    return shapely.transform(polygon, lambda points: (points - middle) * size)


def simplified(polygon: Polygon) -> Array:
    """With so many points at most, to the centimetre."""
    detail = DETAIL
    while True:
        bed = as_bed(polygon)
        for _ in range(3):
            bed = as_bed(Polygon(shapely.get_coordinates(bed.simplify(detail))))
        if len(bed.exterior.coords) <= MOST_POINTS + 1:
            return np.round(shapely.get_coordinates(bed.exterior)[:-1], 2)
        detail *= 1.1


def slender(points: Array) -> float:
    """Outline squared over area: great for what is long or rough."""
    polygon = Polygon(points)
    return float(polygon.length**2 / polygon.area)


def main() -> None:
    topology = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    arcs = arcs_of(topology)
    outlines: dict[str, Array] = {}
    for shape in topology["objects"]["countries"]["geometries"]:
        number = shape.get("id")
        if number and number not in outlines and number not in LEFT_OUT:
            points = simplified(largest(shape, arcs))
            if Polygon(points).is_valid and len(points) >= LEAST_POINTS:
                outlines[number] = points
    taken = sorted(sorted(outlines, key=lambda number: (-slender(outlines[number]), number))[:COUNT])
    lines = [
        f'"{number}": {json.dumps(outlines[number].tolist(), separators=(",", ":"))}' for number in taken
    ]
    text = "{\n" + ",\n".join(lines) + "\n}\n"
    (Path(__file__).parent / "outlines.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
