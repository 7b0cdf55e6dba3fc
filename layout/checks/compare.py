"""A figure of the finished layout against its limit, and the words for where it fails."""

from __future__ import annotations

from typing import Literal

import shapely
from shapely import LineString, MultiLineString

from layout.model import Check, Site, Unit, site_place

JUDGEMENT = "judgement of this tool, no published source"
ROUNDING = 1e-9
"""What rounding of coordinates alone may cost a figure; for setbacks [m], else relative."""


def compare(
    name: str,
    value: float,
    sense: Literal["least", "most"],
    limit: float,
    *,
    unit: Unit,
    source: str,
    place: str,
) -> Check:
    """Compare a value [SI] with its limit; the place is kept only where it fails."""
    slack = ROUNDING * (abs(limit) or 1.0)
    return Check.against(name, value, sense, limit, unit=unit, source=source, place=place, slack=slack)


def nearest_place(site: Site, line: LineString | MultiLineString, other: shapely.Geometry) -> str:
    """Where a line comes nearest to something, in site coordinates."""
    x, y = shapely.get_coordinates(shapely.shortest_line(line, other))[0].tolist()
    return f"at {site_place(site.frame, (x, y))}"
