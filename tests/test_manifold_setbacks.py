"""Manifolds beside setbacks: along their edge, out of them, and out of the bed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from layout.laterals import join_runs
from layout.manifolds import (
    lay_plumbing,
    setback_check,
)
from layout.manifolds.trench import OUT
from layout.model import (
    LateralRules,
    Laying,
    Pattern,
    Pump,
    Run,
)
from tests.fields import curved_field
from tests.plumbed import (
    RULES,
    check_laws,
    clipped,
    plumbed,
    plumbed_beside,
    straight_runs,
    straight_sides,
)


def test_manifolds_beside_a_lot_line_lie_under_the_run_ends() -> None:
    lot_line = LineString([(-2.0, -30), (-2.0, 30)]).buffer(5.0)
    runs = clipped(straight_runs(8, 30.0), lot_line)
    plumbing = plumbed_beside(lot_line, straight_sides(30.0, 4.8), runs)
    supply, back = plumbing.manifolds
    assert np.allclose(np.asarray(supply.line.coords)[:, 0], 3.3)
    assert np.allclose(np.asarray(back.line.coords)[:, 0], 3.0)


def test_manifolds_that_a_setback_puts_in_the_bed_are_led_out_of_it() -> None:
    lot_line = LineString([(-2.0, -30), (-2.0, 30)]).buffer(5.0)
    runs = clipped(straight_runs(8, 30.0), lot_line)
    laterals, _ = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    for pump, beyond in (((9.0, -9.0), (-OUT, 3.9)), ((9.0, 20.0), (0.3, 4.8 + OUT))):
        plumbing = lay_plumbing(
            laterals,
            runs,
            straight_sides(30.0, 4.8),
            RULES,
            pump=Pump(at=pump),
            outline=box(0, 0, 30, 4.8),
            kept_clear=MultiPolygon([lot_line]),
        )
        check_laws(plumbing, {lateral.name: (lateral.supply, lateral.drain) for lateral in laterals}, pump)
        back = plumbing.manifolds[1].line
        assert back.bounds == pytest.approx((3.0, beyond[0], 3.0, beyond[1]), abs=0.01)


def test_manifolds_that_lie_along_the_edge_are_not_led_on() -> None:
    """A setback turns the trench aside by one corner of the bed; the zone at the other one has it where it was."""
    runs = straight_runs(12, 30.0)
    shed = Point(-1.5, -0.5).buffer(1.6, quad_segs=16)
    laterals, _ = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    laterals = tuple(replace(item, zone=1 + (n > 2)) for n, item in enumerate(laterals))
    plumbing = lay_plumbing(
        laterals,
        runs,
        straight_sides(30.0, 7.2),
        RULES,
        pump=Pump(at=(-9.0, 9.0)),
        outline=box(0, 0, 30, 7.2),
        kept_clear=MultiPolygon([shed]),
    )
    for pipe in plumbing.manifolds[:2]:
        assert pipe.line.bounds[1] >= 3.89
        assert pipe.line.bounds[3] <= 7.21


def test_manifolds_go_round_a_well_that_bites_off_some_run_ends() -> None:
    well = Point(-3.0, 3.0).buffer(5.0, quad_segs=64)
    runs = clipped(straight_runs(16, 30.0), well)
    plumbing = plumbed_beside(well, straight_sides(30.0, 9.6), runs)
    supply, back = plumbing.manifolds
    # Off the circle they lie beyond the run ends as ever, on it beside its edge.
    assert supply.line.distance(Point(0.0, 9.3)) < 0.01
    assert max(x for x, _ in supply.line.coords) == pytest.approx(2.3, abs=0.02)
    assert max(x for x, _ in back.line.coords) == pytest.approx(2.0, abs=0.02)
    assert max(riser.line.length for riser in plumbing.risers) < 0.7


@pytest.mark.parametrize("seed", range(100))
def test_no_manifold_lies_in_a_setback_wherever_it_stands(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(4, 17))
    width = 0.6 * count
    zones = []
    for _ in range(int(rng.integers(1, 4))):
        x, y = rng.uniform(-6, 3), rng.uniform(-3, width + 3)
        thing: BaseGeometry = Point(x, y)
        if rng.random() < 0.5:
            thing = LineString([(x, y), (x + rng.uniform(-4, 1), y + rng.uniform(-9, 9))])
        zones.append(thing.buffer(rng.uniform(0.5, 4.0), quad_segs=64))
    taken = shapely.union_all(zones)
    runs = []
    for run in straight_runs(count, 30.0):
        left = max(shapely.get_parts(run.line.difference(taken)), key=lambda part: float(part.length))
        runs.append(Run(name=run.name, line=LineString(left.coords), row=run.row))
    laterals, _ = join_runs(
        Laying(pattern=Pattern.LEFT, runs=tuple(runs)), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    kept_clear = MultiPolygon([part for part in shapely.get_parts(taken) if isinstance(part, Polygon)])
    plumbing = lay_plumbing(
        laterals,
        runs,
        straight_sides(30.0, width),
        RULES,
        pump=Pump(at=(-12.0, -9.0)),
        outline=box(0, 0, 30, width),
        kept_clear=kept_clear,
    )
    ends = {lateral.name: (lateral.supply, lateral.drain) for lateral in laterals}
    check_laws(plumbing, ends, (-12.0, -9.0))
    pipes = [pipe.line for pipe in plumbing.manifolds]
    inside = [float(line.intersection(kept_clear.buffer(-2e-3)).length) for line in pipes]
    assert max(inside) == 0.0
    assert all(line.is_simple for line in pipes)


def test_manifolds_within_a_lot_whose_lines_run_all_round() -> None:
    lot = box(-2, -20, 60, 20)
    zone = lot.exterior.buffer(4.0)
    runs = clipped(straight_runs(8, 30.0), zone)
    plumbing = plumbed_beside(zone, straight_sides(30.0, 4.8), runs, pump=(20.0, -10.0))
    assert all(min(x for x, _ in pipe.line.coords) > 2.0 - 1e-6 for pipe in plumbing.manifolds)


def test_a_manifold_in_a_setback_fails_its_check() -> None:
    runs = straight_runs(8, 30.0)
    plumbing, _ = plumbed(runs, straight_sides(30.0, 4.8))
    well = MultiPolygon([Point(0.0, 2.0).buffer(1.0)])
    check = setback_check(curved_field().site, plumbing, well)
    assert not check.ok
    assert check.value > 1.0
    assert check.place.startswith("at (")
