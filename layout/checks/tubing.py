"""Where tubing lies: its distance to the edge of the bed and to every feature."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely import LineString, MultiLineString, Point

from layout.checks.compare import JUDGEMENT, ROUNDING, compare, nearest_place
from layout.model import Check, Feature, Join, Run, Site, site_place, xy
from layout.model.laws import EDGE_LAW, LOOP_LAW
from layout.plane import TOLERANCE

SEEN = 2.0
"""How far about a loop other tubing is looked for, in row spacings."""
LISTED = 20
"""Features with a setback check of their own; the others, which lie farther off, share one."""


def clearance(site: Site, tubing: Sequence[LineString]) -> Check:
    """Least distance from tubing to the bed's edge; below 0 where tubing leaves the bed."""
    outline = site.bed.outline
    edge = LineString(outline.exterior.coords)
    shapely.prepare([edge, outline])
    distance = shapely.distance(edge, tubing)
    for number in np.flatnonzero(~shapely.covers(outline, tubing)).tolist():
        beyond = shapely.points(shapely.get_coordinates(tubing[number].difference(outline)))
        distance[number] = min(-float(shapely.distance(edge, beyond).max(initial=0.0)), 0.0)
    worst = int(np.argmin(distance))
    return compare(
        "least clearance to the bed's edge",
        float(distance[worst]),
        "least",
        max(site.bed.clearance - EDGE_LAW * site.runs.spacing, 0.0),
        unit="length",
        source=f"bed.clearance, less {EDGE_LAW:g} × runs.spacing",
        place=nearest_place(site, tubing[worst], edge),
    )


def setbacks(site: Site, tubing: Sequence[LineString]) -> Iterator[Check]:
    """Distance from each feature to the nearest tubing, exactly against its setback."""
    features = site.features
    if not features:
        return
    laid = MultiLineString(list(tubing))
    shapely.prepare(laid)
    distance = shapely.distance(laid, [feature.shape for feature in features])
    margin = distance - [feature.setback for feature in features]
    nearest = set(np.argsort(margin, kind="stable")[:LISTED].tolist())
    for number, feature in enumerate(features):
        if number in nearest:
            yield _setback(site, feature, laid, float(distance[number]))
    others = [number for number in range(len(features)) if number not in nearest]
    if others:
        worst = min(others, key=lambda number: float(margin[number]))
        yield Check(
            name=f"distance beyond the setbacks of {len(others)} more features",
            value=float(margin[worst]),
            limit=0.0,
            unit="length",
            sense="least",
            ok=bool(margin[worst] >= -ROUNDING),
            source="feature.setback",
            place="" if margin[worst] >= -ROUNDING else nearest_place(site, laid, features[worst].shape),
        )


def _setback(site: Site, feature: Feature, laid: MultiLineString, distance: float) -> Check:
    inside = False
    if distance == 0 and feature.shape.geom_type == "Polygon":
        # To touch the edge of an area without a setback is as near as tubing may come.
        inside = laid.intersects(feature.shape.buffer(-TOLERANCE))
    ok = bool(distance >= feature.setback - ROUNDING and not inside)
    return Check(
        name=f"distance to {feature.name}",
        value=distance,
        limit=feature.setback,
        unit="length",
        sense="least",
        ok=ok,
        source="feature.setback",
        place="" if ok else nearest_place(site, laid, feature.shape),
    )


def loops(site: Site, runs: Sequence[Run], joins: Sequence[Join]) -> Iterator[Check]:
    """Least distance from loops to tubing that they do not tie; none without loops."""
    tubes = [([run.name], run.name, run.line) for run in runs]
    tubes += [([], f"the tubing from {join.start} to {join.end}", join.line) for join in joins]
    least = LOOP_LAW * site.runs.spacing
    tree = shapely.STRtree([line for _, _, line in tubes])
    nearest, places = math.inf, []
    for join in joins:
        if join.kind != "loop":
            continue
        for number in sorted(
            tree.query(join.line, predicate="dwithin", distance=SEEN * site.runs.spacing).tolist()
        ):
            names, told, tube = tubes[number]
            if tube is join.line or not {join.start, join.end}.isdisjoint(names):
                continue
            distance = float(tube.distance(join.line))
            nearest = min(nearest, distance)
            if distance < least - ROUNDING:
                at = site_place(site.frame, xy(Point(shapely.shortest_line(join.line, tube).coords[0])))
                places.append(f"the loop from {join.start} to {join.end} and {told} at {at}")
    if nearest < math.inf:
        yield compare(
            "least distance from loops to other tubing",
            nearest,
            "least",
            least,
            unit="length",
            source=f"{LOOP_LAW:g} × runs.spacing: {JUDGEMENT}",
            place="; ".join(places),
        )
