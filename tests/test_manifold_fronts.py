"""Which run ends one manifold serves, and the line that it follows."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point

from layout.laterals import join_runs
from layout.manifolds import (
    BEYOND,
    STUB,
    lay_plumbing,
)
from layout.model import (
    Lateral,
    LateralRules,
    Laying,
    Pattern,
    Pump,
    Run,
    Sides,
)
from tests.plumbed import (
    RULES,
    check_laws,
    plumbed,
    ring_bed,
    tee_bed,
)


def test_ends_along_a_side_are_collected_there() -> None:
    lines = [LineString([(0.3, 2.1 - 0.6 * n), (25.3 - 5 * n, 2.1 - 0.6 * n)]) for n in range(4)]
    runs = tuple(Run(name=f"R{n + 1}", line=line, row=n) for n, line in enumerate(lines))
    sides = Sides(
        left=LineString([(0, 2.4), (30, 2.4)]),
        right=LineString([(0, 0), (12, 0), (30, 2.2)]),
        near=LineString([(0, 2.4), (0, 0)]),
        far=LineString([(30, 2.4), (30, 2.2)]),
        centre=LineString([(0, 1.2), (30, 2.3)]),
    )
    plumbing, _ = plumbed(runs, sides, per_lateral=1)
    _, back = plumbing.manifolds
    assert back.line.distance(sides.right) == pytest.approx(0.6, abs=0.01)
    assert back.line.coords[0][0] > back.line.coords[-1][0]


def test_manifolds_of_a_curved_bed_lie_outside_it() -> None:
    runs, sides = ring_bed(10.0, 3.6)
    plumbing, _ = plumbed(runs, sides, pump=(-12.0, -4.0))
    bed = shapely.Polygon([*sides.left.coords, *reversed(sides.right.coords)])
    for pipe in plumbing.manifolds:
        assert pipe.line.distance(bed) == pytest.approx(0.3 * BEYOND[pipe.kind] - 0.3, abs=0.01)


def test_manifolds_follow_a_rounded_end() -> None:
    turn = np.linspace(math.pi / 2, 3 * math.pi / 2, 90)
    cap = np.column_stack((2.4 * np.cos(turn), 2.4 + 2.4 * np.sin(turn)))
    sides = Sides(
        left=LineString([(0, 4.8), (30, 4.8)]),
        right=LineString([(0, 0), (30, 0)]),
        near=LineString(cap),
        far=LineString([(30, 4.8), (30, 0)]),
        centre=LineString([(-2.4, 2.4), (30, 2.4)]),
    )
    runs = []
    for n, y in enumerate(np.arange(4.5, 0.2, -0.6)):
        start = -math.sqrt(2.1**2 - (y - 2.4) ** 2) if abs(y - 2.4) < 2.1 else 0.0
        runs.append(Run(name=f"R{n + 1}", line=LineString([(start, y), (29.7, y)]), row=n))
    plumbing, _ = plumbed(tuple(runs), sides)
    supply = plumbing.manifolds[0].line
    assert len(supply.coords) > 10
    radii = np.hypot(*(np.asarray(supply.coords) - (0, 2.4)).T)
    assert np.all(radii[np.asarray(supply.coords)[:, 0] < 0] == pytest.approx(2.4, abs=0.01))


def test_a_pointed_end_is_served_along_the_run_ends() -> None:
    point = LineString([(0, 0), (0, 0)])
    sides = Sides(
        left=LineString([(0, 0), (30, 5)]),
        right=LineString([(0, 0), (30, -5)]),
        near=point,
        far=LineString([(30, 5), (30, -5)]),
        centre=LineString([(0, 0), (30, 0)]),
    )
    runs = tuple(
        Run(name=f"R{n + 1}", line=LineString([(2 + 6 * abs(y), y), (29.7, y)]), row=n)
        for n, y in enumerate((1.5, 0.9, 0.3, -0.3, -0.9, -1.5))
    )
    plumbing, _ = plumbed(runs, sides)
    for pipe in plumbing.manifolds:
        assert min(run.line.distance(pipe.line) for run in runs) > 0.2
    assert max(riser.line.length for riser in plumbing.risers) < 1.5


def test_a_lateral_that_begins_on_a_side_is_served_there() -> None:
    runs = (Run(name="R1", line=LineString([(12, -0.3), (29.7, -0.3)]), row=0, from_end=False),)
    sides = Sides(
        left=LineString([(0, 1.2), (30, 1.2)]),
        right=LineString([(0, 0), (11.7, 0), (11.7, -0.6), (30, -0.6)]),
        near=LineString([(0, 1.2), (0, 0)]),
        far=LineString([(30, 1.2), (30, -0.6)]),
        centre=LineString([(0, 0.6), (30, 0.3)]),
    )
    plumbing, _ = plumbed(runs, sides, per_lateral=1)
    supply = plumbing.manifolds[0]
    assert supply.kind == "supply"
    assert supply.line.distance(sides.right) == pytest.approx(0.3, abs=0.01)


def test_ends_that_step_to_and_fro_along_a_side_still_get_a_trench() -> None:
    starts = ((13.13, 2.74), (13.13, 2.13), (13.25, 3.35))
    runs = tuple(
        Run(name=f"R{n + 1}", line=LineString([at, (27.0, at[1])]), row=n, from_end=False)
        for n, at in enumerate(starts)
    )
    sides = Sides(
        left=LineString([(0, 1), (13, 1), (12.8, 4.0), (30, 5)]),
        right=LineString([(0, 0), (30, 0)]),
        near=LineString([(0, 1), (0, 0)]),
        far=LineString([(30, 5), (30, 0)]),
        centre=LineString([(0, 0.5), (30, 2.5)]),
    )
    laterals = tuple(
        Lateral(
            name=f"L{n + 1}",
            runs=(run.name,),
            length=run.length,
            blank=0.0,
            supply=starts[n],
            drain=(27.0, starts[n][1]),
            returns_near=False,
        )
        for n, run in enumerate(runs)
    )
    plumbing = lay_plumbing(laterals, runs, sides, RULES, pump=Pump(at=(-5, 0)))
    check_laws(plumbing, {lateral.name: (lateral.supply, lateral.drain) for lateral in laterals}, (-5, 0))


def test_ends_on_a_round_bed_share_a_trench_along_its_edge() -> None:
    radius = 9.0
    round_bed = Point(0, 0).buffer(radius, quad_segs=32)
    corner = LineString([(-radius, radius), (radius, radius)]).coords
    sides = Sides(
        left=LineString(corner),
        right=LineString([(-radius, -radius), (radius, -radius)]),
        near=LineString([(-radius, radius), (-radius, -radius)]),
        far=LineString([(radius, radius), (radius, -radius)]),
        centre=LineString([(-radius, 0), (radius, 0)]),
        certain=False,
    )
    inner = radius - 0.3
    runs = tuple(
        Run(
            name=f"R{n + 1}",
            line=LineString([(-math.sqrt(inner**2 - y**2), y), (math.sqrt(inner**2 - y**2), y)]),
            row=n,
        )
        for n, y in enumerate(np.arange(7.8, -8, -0.6).tolist())
    )
    laterals, _ = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=1, longest=90), spacing=0.6
    )
    plumbing = lay_plumbing(laterals, runs, sides, RULES, pump=Pump(at=(-12, 0)), outline=round_bed)
    check_laws(plumbing, {lateral.name: (lateral.supply, lateral.drain) for lateral in laterals}, (-12, 0))
    assert [pipe.kind for pipe in plumbing.manifolds].count("supply") == 1
    assert len(plumbing.manifolds) <= 4
    assert max(riser.line.length for riser in plumbing.risers) < 2.5


@pytest.mark.parametrize("per_lateral", [1, 2, 3])
def test_manifolds_of_a_bed_with_a_stem_join_only_run_ends_beside_each_other(per_lateral: int) -> None:
    runs, sides, outline = tee_bed()
    laterals, _ = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=per_lateral, longest=90.0), spacing=0.6
    )
    for certain in (True, False):
        plumbing = lay_plumbing(
            laterals,
            runs,
            replace(sides, certain=certain),
            RULES,
            pump=Pump(at=(-5, 0)),
            outline=outline,
        )
        check_laws(plumbing, {lateral.name: (lateral.supply, lateral.drain) for lateral in laterals}, (-5, 0))
        assert max(riser.line.length for riser in plumbing.risers) < 1.0
        for pipe in plumbing.manifolds:
            assert pipe.line.length >= STUB - 1e-9
            assert not any(pipe.line.intersects(run.line) for run in runs)
            # None reaches from the bar to the stem.
            assert pipe.line.bounds[2] - pipe.line.bounds[0] < 1.0
