"""What the user states of the ground: the bed, what to keep clear of, levels, and where it all lies."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from layout.model.base import XY, need
from layout.units import UnitSet


class FeatureKind(StrEnum):
    """What a feature of the lot is; decides its symbol only, never its setback."""

    BUILDING = "building"
    TANK = "tank"
    WELL = "well"
    PROPERTY_LINE = "property line"
    WATER_LINE = "water line"
    WATER_BODY = "water body"
    TREE = "tree"
    DRIVE = "drive"
    SLOPE = "slope"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Where the local plane lies: site coordinates = origin + local / unit length.

    Attributes
    ----------
    units : UnitSet
        The site's units.
    origin : tuple of float
        Site coordinates of the local origin [site units].
    crs : str or None
        The projected CRS of the site coordinates, as the user names it, or the definition of one that was chosen
        for a site surveyed in longitude and latitude; None for a local plan grid.
    plane : str
        A chosen CRS in words; empty else.
    """

    units: UnitSet
    origin: XY = (0.0, 0.0)
    crs: str | None = None
    plane: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """Something to keep clear of.

    Attributes
    ----------
    name : str
    kind : FeatureKind
    shape : Point, LineString or Polygon
        In the local plane [m].
    setback : float
        No tubing within this distance of the shape [m]; the user's figure.
    inside : bool
        True where it stands in the bed and cuts a hole in the usable ground.
    """

    name: str
    kind: FeatureKind
    shape: BaseGeometry
    setback: float
    inside: bool = False

    def __post_init__(self) -> None:
        need(
            self.setback >= 0 and not self.shape.is_empty,
            "a feature needs a shape and a setback of 0 or more",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """What is known of the ground's height: scattered points, or one level for the whole bed.

    Attributes
    ----------
    points : tuple of (x, y, z)
        Surveyed levels [m]; empty where one number was given.
    uniform : float or None
        The one level [m].
    """

    points: tuple[tuple[float, float, float], ...] = ()
    uniform: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """The bed as drawn.

    Attributes
    ----------
    outline : Polygon
        A valid simple polygon without holes, counter-clockwise [m].
    clearance : float
        Least distance from the outline to a tubing centre line [m].
    levels : Levels or None
        None: flat, heights unknown.
    walked : Polygon or None
        The outline as it was surveyed, where `outline` is that smoothed [m].
    """

    outline: Polygon
    clearance: float
    levels: Levels | None = None
    walked: Polygon | None = None

    def __post_init__(self) -> None:
        need(self.outline.is_valid and self.outline.area > 0, "the bed's outline must be a valid polygon")
        need(self.clearance >= 0, "clearance is 0 or more")


def site_place(frame: Frame, at: tuple[float, ...]) -> str:
    """A local point [m] in words, in site coordinates to a hundredth: ``(E 512.40, N 1033.75)``."""
    x, y = (zero + local / frame.units.length for zero, local in zip(frame.origin, at[:2], strict=True))
    return f"(E {x:.2f}, N {y:.2f})"


NAMED = 12
"""Names in a sentence; the rest are counted."""


def listed(names: Sequence[str], joint: str = ", ") -> str:
    """Names in a sentence, those beyond a dozen counted.

    Examples
    --------
    >>> listed(["R1", "R2"])
    'R1, R2'
    >>> listed([f"R{number}" for number in range(1, 331)], " ").endswith("R11 R12 and 318 more")
    True
    """
    more = len(names) - NAMED
    return joint.join(names[:NAMED]) + (f" and {more} more" if more > 0 else "")


_PLACE = re.compile(r"\(E (-?\d+\.\d\d), N (-?\d+\.\d\d)\)")


def places_in(frame: Frame, words: str) -> list[XY]:
    """Local points [m] of all places that words name as :func:`site_place` does, in their order."""
    return [
        (
            (float(x) - frame.origin[0]) * frame.units.length,
            (float(y) - frame.origin[1]) * frame.units.length,
        )
        for x, y in _PLACE.findall(words)
    ]
