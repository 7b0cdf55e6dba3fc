"""Buildings, tanks and water given as open rows of points: lines by their shape, but nobody lays tubing within them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from shapely import LineString, MultiLineString, Polygon

from layout.checks.compare import compare
from layout.model import Check, Feature, FeatureKind, Finding, Join, Laying, Site, site_place, xy
from layout.plane import TOLERANCE

CLOSED_KINDS = frozenset({FeatureKind.BUILDING, FeatureKind.TANK, FeatureKind.WATER_BODY})
"""Features that are areas whatever their points say."""


class _Within(NamedTuple):
    """Tubing within what an open row would enclose if it were closed."""

    feature: Feature
    length: float
    place: str


def within_rows(site: Site, tubing: Sequence[LineString]) -> Iterator[Check]:
    """Length of tubing within what open rows would enclose if closed; none where no area is given as such a row."""
    if not _rows(site):
        return
    found = list(_within(site, tubing))
    yield compare(
        "tubing within buildings, tanks or water whose points are not closed",
        float(sum(item.length for item in found)),
        "most",
        0.0,
        unit="length",
        source="feature.shape",
        place="; ".join(f"{item.feature.name} at {item.place}" for item in found),
    )


def row_findings(site: Site, laying: Laying, joins: Sequence[Join]) -> Iterator[Finding]:
    """Say of each such row that has tubing within it how to make it an area.

    Parameters
    ----------
    site : Site
    laying : Laying
    joins : sequence of Join
    """
    unit = site.frame.units
    tubing = [run.line for run in laying.runs] + [join.line for join in joins]
    for feature, length, place in _within(site, tubing):
        yield Finding(
            code="row-not-closed",
            said=(
                f"{feature.name} ({feature.kind}) is read as a line, for its points are not closed; "
                f"{length / unit.length:.2f} {unit.length_name} of tubing lie within it, at {place}."
            ),
            remedy="Repeat its first point at the end of feature.shape to make it an area.",
        )


def _rows(site: Site) -> list[Feature]:
    return [
        feature
        for feature in site.features
        if feature.kind in CLOSED_KINDS
        and isinstance(feature.shape, LineString)
        and len(feature.shape.coords) > 2
    ]


def _within(site: Site, tubing: Sequence[LineString]) -> Iterator[_Within]:
    rows = _rows(site)
    if not rows:
        return
    laid = MultiLineString(list(tubing))
    # a row may cross itself; its edge itself may be touched, as that of an area may
    closed = shapely.make_valid(np.array([Polygon(feature.shape.coords) for feature in rows], dtype=object))
    for feature, area in zip(rows, shapely.buffer(closed, -TOLERANCE).tolist(), strict=True):
        inside = laid.intersection(area)
        if inside.length > TOLERANCE:
            place = site_place(site.frame, xy(inside.representative_point()))
            yield _Within(feature, float(inside.length), place)
