"""The symbols of the plan, each a few strokes about its middle, one unit wide; both renderers draw them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from layout.model import XY, FeatureKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A polyline of a symbol.

    Attributes
    ----------
    points : tuple of (x, y)
    closed : bool
    filled : bool
        A filled stroke has three or four corners, so that any CAD program can fill it.
    """

    points: tuple[XY, ...]
    closed: bool = False
    filled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A circle of a symbol [widths of the symbol].

    Attributes
    ----------
    centre : (x, y)
    radius : float
    filled : bool
    """

    centre: XY = (0.0, 0.0)
    radius: float
    filled: bool = False


def _square(half: float) -> Stroke:
    return Stroke(points=((-half, -half), (half, -half), (half, half), (-half, half)), closed=True)


def _segment(*points: XY) -> Stroke:
    return Stroke(points=points)


def _canopy() -> Stroke:
    """Draw a wavy circle of eight lobes."""
    turns = [2 * math.pi * i / 64 for i in range(64)]
    radii = [0.45 + 0.05 * math.cos(8 * turn) for turn in turns]
    points = tuple((r * math.cos(t), r * math.sin(t)) for r, t in zip(radii, turns, strict=True))
    return Stroke(points=points, closed=True)


def _wave(y: float) -> Stroke:
    return Stroke(points=tuple((i / 16 - 0.5, y + 0.09 * math.sin(i / 16 * 4 * math.pi)) for i in range(17)))


SYMBOLS: dict[str, tuple[Stroke | Disc, ...]] = {
    "arrow": (Stroke(points=((0.5, 0.0), (-0.5, 0.28), (-0.5, -0.28)), closed=True, filled=True),),
    "grid cross": (_segment((-0.5, 0.0), (0.5, 0.0)), _segment((0.0, -0.5), (0.0, 0.5))),
    "level": (_segment((-0.5, -0.5), (0.5, 0.5)), _segment((-0.5, 0.5), (0.5, -0.5))),
    "dot": (Disc(radius=0.5, filled=True),),
    "balloon": (Disc(radius=0.5),),
    "north": (
        Disc(radius=0.5),
        Stroke(points=((0.0, 0.5), (-0.2, -0.4), (0.0, -0.25)), closed=True, filled=True),
        Stroke(points=((0.0, 0.5), (0.2, -0.4), (0.0, -0.25)), closed=True),
    ),
    "pump": (
        Disc(radius=0.5),
        Stroke(points=((0.5, 0.0), (-0.25, 0.433), (-0.25, -0.433)), closed=True),
        Disc(radius=0.1, filled=True),
    ),
    "zone valve": (
        Stroke(points=((0.0, 0.0), (-0.5, 0.3), (-0.5, -0.3)), closed=True, filled=True),
        Stroke(points=((0.0, 0.0), (0.5, 0.3), (0.5, -0.3)), closed=True, filled=True),
    ),
    "flush valve": (
        Stroke(points=((0.0, 0.0), (-0.5, 0.3), (-0.5, -0.3)), closed=True),
        Stroke(points=((0.0, 0.0), (0.5, 0.3), (0.5, -0.3)), closed=True),
        _segment((0.0, 0.0), (0.0, 0.4)),
        _segment((-0.2, 0.4), (0.2, 0.4)),
    ),
    "air valve": (
        Disc(radius=0.5),
        Stroke(points=((0.0, 0.32), (-0.28, -0.22), (0.28, -0.22)), closed=True, filled=True),
    ),
    "failing": (
        Stroke(
            points=((0.5, 0.0), (0.25, 0.433), (-0.25, 0.433), (-0.5, 0.0), (-0.25, -0.433), (0.25, -0.433)),
            closed=True,
        ),
        Disc(radius=0.12, filled=True),
    ),
    "tee": (Disc(radius=0.5, filled=True),),
    "trunk tee": (Disc(radius=0.5), Disc(radius=0.25, filled=True)),
    "elbow": (Disc(radius=0.5),),
    "connector": (_square(0.5),),
    "cap": (_square(0.5), _segment((-0.5, -0.5), (0.5, 0.5)), _segment((-0.5, 0.5), (0.5, -0.5))),
    "coupling": (Stroke(points=((-0.5, -0.25), (0.5, -0.25), (0.5, 0.25), (-0.5, 0.25)), closed=True),),
    "riser": (Disc(radius=0.5), _segment((-0.5, 0.0), (0.5, 0.0))),
    "stake": (_segment((-0.5, -0.5), (0.5, 0.5)), _segment((-0.5, 0.5), (0.5, -0.5))),
    FeatureKind.BUILDING: (
        _square(0.5),
        _segment((-0.5, -0.5), (0.5, 0.5)),
        _segment((-0.5, 0.5), (0.5, -0.5)),
    ),
    FeatureKind.TANK: (
        Stroke(points=((-0.5, -0.3), (0.5, -0.3), (0.5, 0.3), (-0.5, 0.3)), closed=True),
        Disc(centre=(-0.22, 0.0), radius=0.14),
        Disc(centre=(0.22, 0.0), radius=0.14),
    ),
    FeatureKind.WELL: (
        Disc(radius=0.5),
        Disc(radius=0.18, filled=True),
        _segment((-0.5, 0.0), (0.5, 0.0)),
        _segment((0.0, -0.5), (0.0, 0.5)),
    ),
    FeatureKind.PROPERTY_LINE: (_square(0.5), Disc(radius=0.15, filled=True)),
    FeatureKind.WATER_LINE: (
        Stroke(points=((-0.5, 0.3), (-0.5, -0.3), (0.5, 0.3), (0.5, -0.3)), closed=True),
    ),
    FeatureKind.WATER_BODY: (_wave(0.25), _wave(0.0), _wave(-0.25)),
    FeatureKind.TREE: (_canopy(), Disc(radius=0.12, filled=True)),
    FeatureKind.DRIVE: (
        Stroke(points=((0.0, -0.5), (0.5, 0.0), (0.0, 0.5), (-0.5, 0.0)), closed=True),
        _segment((-0.25, 0.0), (0.25, 0.0)),
    ),
    FeatureKind.SLOPE: (
        _segment((-0.5, 0.4), (0.5, 0.4)),
        _segment((-0.35, 0.4), (-0.35, -0.4)),
        _segment((0.0, 0.4), (0.0, 0.0)),
        _segment((0.35, 0.4), (0.35, -0.4)),
    ),
    FeatureKind.OTHER: (
        _segment((-0.5, 0.0), (0.5, 0.0)),
        _segment((0.0, -0.5), (0.0, 0.5)),
        Disc(radius=0.3),
    ),
}
"""Strokes by the symbol's name; a feature's symbol has the name of its kind."""
