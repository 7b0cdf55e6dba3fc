"""What all nouns share: a place in the plane, and the check that a noun makes of itself."""

from __future__ import annotations

from shapely import Point

XY = tuple[float, float]


def need(condition: bool, what: str) -> None:
    """Raise ``ValueError(what)`` unless the condition holds (a programming error, not the user's)."""
    if not condition:
        raise ValueError(what)


def xy(point: Point) -> XY:
    """The coordinates of a shapely point as plain floats."""
    return (float(point.x), float(point.y))
