"""Small beds whose manifolds are laid by hand, and what holds of the manifolds of any."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.laterals import join_runs
from layout.manifolds import (
    lay_plumbing,
    setback_check,
)
from layout.model import (
    XY,
    Feature,
    FeatureKind,
    LateralRules,
    Laying,
    ManifoldRules,
    Pattern,
    Plumbing,
    Pump,
    Run,
    Sides,
)
from tests.fields import curved_field

RULES = ManifoldRules(end="pump", supply_diameter=0.025, return_diameter=0.02)


def straight_sides(length: float, width: float) -> Sides:
    """Of a bed along +x, seen from x = 0: left is up."""
    return Sides(
        left=LineString([(0, width), (length, width)]),
        right=LineString([(0, 0), (length, 0)]),
        near=LineString([(0, width), (0, 0)]),
        far=LineString([(length, width), (length, 0)]),
        centre=LineString([(0, width / 2), (length, width / 2)]),
    )


def straight_runs(
    count: int, length: float, *, clearance: float = 0.3, spacing: float = 0.6
) -> tuple[Run, ...]:
    top = 2 * clearance + (count - 1) * spacing
    return tuple(
        Run(
            name=f"R{n + 1}",
            line=LineString([(clearance, y), (length - clearance, y)]),
            row=n,
        )
        for n, y in enumerate(top - clearance - spacing * np.arange(count))
    )


def plumbed(
    runs: tuple[Run, ...],
    sides: Sides,
    *,
    per_lateral: int | None = 2,
    pump: XY | None = (-5.0, 0.0),
    features: Sequence[Feature] = (),
) -> tuple[Plumbing, dict[str, tuple[XY, XY]]]:
    laterals, _ = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=per_lateral, longest=90.0), spacing=0.6
    )
    plumbing = lay_plumbing(
        laterals, runs, sides, RULES, pump=Pump(at=pump) if pump else None, features=features
    )
    ends = {lateral.name: (lateral.supply, lateral.drain) for lateral in laterals}
    check_laws(plumbing, ends, pump)
    return plumbing, ends


def check_laws(plumbing: Plumbing, ends: dict[str, tuple[XY, XY]], pump: XY | None) -> None:
    """A riser to each end of each lateral, from a manifold of its kind; lines from pump to every manifold."""
    assert sorted((riser.lateral, riser.kind) for riser in plumbing.risers) == sorted(
        (name, kind) for name in ends for kind in ("supply", "return")
    )
    for riser in plumbing.risers:
        assert riser.line.coords[-1] == ends[riser.lateral][0 if riser.kind == "supply" else 1]
        own = [
            pipe.line.distance(Point(riser.line.coords[0]))
            for pipe in plumbing.manifolds
            if pipe.kind == riser.kind
        ]
        assert min(own) < 1e-9
    for pipe in (*plumbing.manifolds, *plumbing.lines):
        assert pipe.diameter == (0.025 if pipe.kind == "supply" else 0.02)
        assert pipe.line.length > 0
    for riser in plumbing.risers:
        assert riser.manifold is not None
        own_pipe = plumbing.manifolds[riser.manifold]
        assert (own_pipe.kind, own_pipe.zone) == (riser.kind, riser.zone)
        assert own_pipe.line.distance(Point(riser.line.coords[0])) < 1e-9
    assert plumbing.lines == ()
    if pump is not None:
        for pipe in plumbing.manifolds:
            tips = [math.dist(pipe.line.coords[end], pump) for end in (0, -1)]
            assert tips[0 if pipe.kind == "supply" else -1] <= max(tips)


def ring_bed(radius: float, width: float, *, sweep: float = 120.0) -> tuple[tuple[Run, ...], Sides]:
    """A bed round a bend with square ends, walked clockwise from angle 180: left is the outside."""

    def arc(r: float, inset: float = 0.0) -> LineString:
        skip = inset / r
        turn = np.linspace(math.pi - skip, math.pi - math.radians(sweep) + skip, 200)
        return LineString(np.column_stack((r * np.cos(turn), r * np.sin(turn))))

    inner, outer = arc(radius), arc(radius + width)
    sides = Sides(
        left=outer,
        right=inner,
        near=LineString([outer.coords[0], inner.coords[0]]),
        far=LineString([outer.coords[-1], inner.coords[-1]]),
        centre=arc(radius + width / 2),
    )
    runs = tuple(
        Run(name=f"R{n + 1}", line=arc(r, 0.3), row=n)
        for n, r in enumerate(np.arange(radius + width - 0.3, radius + 0.2, -0.6))
    )
    return runs, sides


def tee_bed() -> tuple[tuple[Run, ...], Sides, Polygon]:
    """A bar of four long runs, and a stem of eight short ones that begins far from the bar's end."""
    outline = Polygon([(0, 0), (30, 0), (30, 2.4), (15, 2.4), (15, 7.2), (10, 7.2), (10, 2.4), (0, 2.4)])
    lines = [((10.3, y), (14.7, y)) for y in np.arange(6.9, 2.5, -0.6).tolist()]
    lines += [((0.3, y), (29.7, y)) for y in np.arange(2.1, 0.2, -0.6).tolist()]
    runs = tuple(
        Run(name=f"R{n + 1}", line=LineString(line), row=n, from_end=n >= 8) for n, line in enumerate(lines)
    )
    return runs, straight_sides(30.0, 7.2), outline


def clipped(runs: tuple[Run, ...], zone: BaseGeometry) -> tuple[Run, ...]:
    """What a setback leaves of runs, each still one piece."""
    return tuple(
        Run(name=run.name, line=LineString(run.line.difference(zone).coords), row=run.row) for run in runs
    )


def plumbed_beside(
    zone: Polygon, sides: Sides, runs: tuple[Run, ...], *, offset: float = 0.3, pump: XY = (-9.0, 0.0)
) -> Plumbing:
    kept_clear = MultiPolygon([zone])
    laterals, _ = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    rules = ManifoldRules(end="pump", supply_diameter=0.025, return_diameter=0.02, offset=offset)
    plumbing = lay_plumbing(laterals, runs, sides, rules, pump=Pump(at=pump), kept_clear=kept_clear)
    check_laws(plumbing, {lateral.name: (lateral.supply, lateral.drain) for lateral in laterals}, pump)
    site = curved_field().site
    assert setback_check(site, plumbing, kept_clear).ok
    for pipe in plumbing.manifolds:
        assert pipe.line.is_simple
        if pipe.kind == "supply":
            assert pipe.line.distance(zone) > offset - 1e-3
    return plumbing


def feature(shape: BaseGeometry, name: str) -> Feature:
    return Feature(name=name, kind=FeatureKind.OTHER, shape=shape, setback=3.0)
