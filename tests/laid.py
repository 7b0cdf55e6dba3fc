"""Beds laid out through the library's public functions, for the tests of its geometry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from layout.model import Bed, Feature, FeatureKind, Laying, Pattern, RunRules, Sides, Tubing, UsableGround
from layout.runs import lay_runs
from layout.sides import find_sides
from layout.usable import usable_ground
from tests.laws import broken_laws

Array = NDArray[np.float64]

PATTERNS = (Pattern.LEFT, Pattern.RIGHT, Pattern.CENTRE, Pattern.EVEN)


@dataclass(frozen=True, kw_only=True)
class Field:
    """A bed with all that its runs are laid by."""

    bed: Bed
    features: tuple[Feature, ...]
    ground: UsableGround
    sides: Sides
    rules: RunRules
    tubing: Tubing

    def lay(self, pattern: Pattern | str) -> Laying:
        return lay_runs(self.bed, self.ground, self.sides, self.rules, self.tubing, pattern=Pattern(pattern))

    def lengths(self, pattern: Pattern | str) -> list[float]:
        """Lengths of the runs, left to right."""
        return [run.length for run in self.lay(pattern).runs]

    def broken(self, laying: Laying) -> list[str]:
        return broken_laws(laying, self.bed, self.rules, self.tubing, self.features)


def field(
    outline: Array | Polygon,
    *,
    spacing: float = 2.0,
    clearance: float = 1.0,
    bend_radius: float = 2.0,
    shortest: float = 10.0,
    closest: float | None = None,
    widest: float | None = None,
    most: int | None = None,
    toward: tuple[float, float] | None = None,
    far: bool = False,
    features: Sequence[Feature] = (),
) -> Field:
    """A field on an outline; its manifold end is nearer the middle between the first and the last point."""
    points = np.asarray(shapely.get_coordinates(outline) if isinstance(outline, Polygon) else outline)
    bed = Bed(outline=shapely.orient_polygons(Polygon(points)), clearance=clearance)
    first = (points[0] + points[-1]) / 2
    return Field(
        bed=bed,
        features=tuple(features),
        ground=usable_ground(bed, tuple(features)),
        sides=find_sides(bed.outline, toward=toward or (float(first[0]), float(first[1])), far=far),
        rules=RunRules(
            spacing=spacing,
            pattern=Pattern.BEST,
            shortest=shortest,
            closest=closest or spacing,
            widest=widest or 1.5 * spacing,
            most=most,
        ),
        tubing=Tubing(emitter_spacing=2.0, emitter_flow=1.0, bend_radius=bend_radius, coil=500.0),
    )


def obstacle(shape: Any, setback: float, *, name: str = "obstacle") -> Feature:
    """A feature that stands in the bed."""
    return Feature(name=name, kind=FeatureKind.OTHER, shape=shape, setback=setback, inside=True)


def moved(
    outline: Array, *, turn: float = 0.0, by: tuple[float, float] = (0.0, 0.0), scale: float = 1.0
) -> Array:
    """An outline scaled and turned [degrees] about the origin, and then moved."""
    angle = np.radians(turn)
    matrix = scale * np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return np.asarray(outline @ matrix + np.asarray(by))


def mirrored(outline: Array) -> Array:
    """An outline as seen in a mirror along the y axis."""
    return np.asarray(outline * np.array([-1.0, 1.0]))


def lines(laying: Laying) -> list[LineString]:
    return [run.line for run in laying.runs]
