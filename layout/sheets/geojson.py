"""The layout as a map for phones and programs: GeoJSON (RFC 7946), WGS 84, longitude first.

Only where the plan's CRS is known. Outer rings run counter-clockwise. Heights stand in a property, in site units:
the standard's own third coordinate is a height above the ellipsoid, which no level of a site is.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiLineString
from shapely.geometry.base import BaseGeometry

from layout.frame import to_degrees
from layout.model import Design, Site
from layout.plane import coordinates, polygons_of
from layout.sheets.jsontext import dumped
from layout.terrain import known_heights

DECIMALS = 9
"""Of a degree: 0.1 mm on the ground, so that points come back to within a millimetre."""

Json = Any


def is_on_earth(site: Site) -> bool:
    """Whether the plan's place on earth is known: it has a CRS that reaches the bed."""
    if site.frame.crs is None:
        return False
    return bool(np.isfinite(to_degrees(site.frame, coordinates(site.bed.outline))).all())


def map_document(design: Design) -> dict[str, Json]:
    """The layout as a feature collection.

    Parameters
    ----------
    design : Design
        With a CRS.

    Returns
    -------
    dict
        Features with a property ``layer``: ``bed``, ``usable ground``, ``feature``, ``run``, ``lateral``, ``join``,
        ``manifold``, ``riser``, ``line``, in this order; lengths and heights in site units.
    """
    site = design.site
    features = [_feature(site, geometry, properties) for geometry, properties in _things(design)]
    return {
        "type": "FeatureCollection",
        "bbox": _bounds(site, [geometry for geometry, _ in _things(design)]),
        "title": site.title,
        "units": site.frame.units.word,
        "plan_crs": site.frame.crs,
        "features": features,
    }


def write_map(design: Design, path: Path) -> None:
    """Write the map, UTF-8, one feature a line."""
    document = map_document(design)
    features = document.pop("features")
    head = ",\n".join(f" {dumped(key)}: {dumped(value)}" for key, value in document.items())
    listed = ",\n  ".join(dumped(feature) for feature in features)
    text = f'{{\n{head},\n "features": [\n  {listed}\n ]\n}}\n'
    path.write_text(text, encoding="utf-8", newline="\n")


def _things(design: Design) -> Iterator[tuple[BaseGeometry, dict[str, Json]]]:
    """All that is drawn, with what is told of it."""
    site, units = design.site, design.site.frame.units
    unit = units.length
    yield site.bed.outline, {"layer": "bed", "name": site.title, "area": site.bed.outline.area / units.area}
    for part in polygons_of(design.ground.area):
        yield part, {"layer": "usable ground", "area": part.area / units.area}
    for item in site.features:
        said = {"name": item.name, "kind": item.kind.value, "setback": item.setback / unit}
        yield item.shape, {"layer": "feature", **said}
    yield from _laid(design)
    for pipe in design.plumbing.manifolds:
        said = {
            "kind": pipe.kind,
            "length": pipe.line.length / unit,
            "diameter": pipe.diameter / units.diameter,
        }
        yield pipe.line, {"layer": "manifold", **said, **_heights(site, pipe.line)}
    for riser in design.plumbing.risers:
        yield riser.line, {"layer": "riser", "kind": riser.kind, "lateral": riser.lateral}
    for pipe in design.plumbing.lines:
        said = {
            "kind": pipe.kind,
            "length": pipe.line.length / unit,
            "diameter": pipe.diameter / units.diameter,
        }
        yield pipe.line, {"layer": "line", **said, **_heights(site, pipe.line)}


def _laid(design: Design) -> Iterator[tuple[BaseGeometry, dict[str, Json]]]:
    """Runs, laterals and what joins them."""
    site, unit = design.site, design.site.frame.units.length
    lateral_of = {name: lateral.name for lateral in design.laterals for name in lateral.runs}
    emitters = {row.run: row.count for row in design.emitters}
    line_of: dict[str, LineString] = {}
    for run in design.laying.runs:
        line_of[run.name] = run.line
        said = {"name": run.name, "length": run.line.length / unit, "emitters": emitters.get(run.name)}
        yield (
            run.line,
            {"layer": "run", **said, "lateral": lateral_of.get(run.name), **_heights(site, run.line)},
        )
    for lateral in design.laterals:
        lines = MultiLineString([line_of[name] for name in lateral.runs if name in line_of])
        said = {"name": lateral.name, "runs": list(lateral.runs), "length": lateral.length / unit}
        yield lines, {"layer": "lateral", **said}
    for join in design.joins:
        said = {"kind": join.kind, "from": join.start, "to": join.end, "length": join.line.length / unit}
        yield join.line, {"layer": "join", **said, **_heights(site, join.line)}


def _heights(site: Site, line: LineString) -> dict[str, Json]:
    """Heights of a line's points; nothing where the site has no levels."""
    if site.bed.levels is None:
        return {}
    unit = site.frame.units.length
    known = known_heights(site.bed.levels, coordinates(line))
    return {"z": [None if height is None else height / unit for height in known]}


def _feature(site: Site, geometry: BaseGeometry, properties: dict[str, Json]) -> dict[str, Json]:
    degrees = shapely.transform(geometry, lambda points: to_degrees(site.frame, points).round(DECIMALS))
    if degrees.geom_type in {"Polygon", "MultiPolygon"}:
        degrees = shapely.orient_polygons(degrees)
    return {"type": "Feature", "geometry": shapely.geometry.mapping(degrees), "properties": properties}


def _bounds(site: Site, geometries: list[BaseGeometry]) -> list[float]:
    """West, south, east, north of everything [degrees]."""
    degrees = to_degrees(site.frame, np.vstack([coordinates(geometry) for geometry in geometries]))
    low, high = degrees.min(axis=0).round(DECIMALS), degrees.max(axis=0).round(DECIMALS)
    return [float(part) for part in (*low, *high)]
