"""Manifolds, risers and lines: where they lie, what they reach, and what they cross."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from layout.fittings import place_fittings
from layout.laterals import join_runs
from layout.manifolds import (
    BEYOND,
    STUB,
    crossing_checks,
    crossing_findings,
    lay_plumbing,
    setback_check,
)
from layout.manifolds.trench import OUT
from layout.model import (
    XY,
    Feature,
    FeatureKind,
    Lateral,
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


def test_three_pairs_stand_on_two_straight_manifolds() -> None:
    plumbing, _ = plumbed(straight_runs(6, 30.0), straight_sides(30.0, 3.6))
    supply, back = plumbing.manifolds
    assert (supply.kind, back.kind) == ("supply", "return")
    # From the pump below on: runs lie at y = 3.3, 2.7 ... 0.3; supplies are the upper of each pair.
    # Towards the pump the supply goes on past the last return riser, which so passes over it like the others.
    assert np.allclose(supply.line.coords, [(0.0, 0.15), (0.0, 3.3)])
    assert np.allclose(back.line.coords, [(-0.3, 2.7), (-0.3, 0.3)])
    assert [riser.line.length for riser in plumbing.risers] == pytest.approx([0.3] * 3 + [0.6] * 3)


def test_without_a_pump_there_are_manifolds_all_the_same() -> None:
    plumbing, _ = plumbed(straight_runs(6, 30.0), straight_sides(30.0, 3.6), pump=None)
    assert len(plumbing.manifolds) == 2


def test_one_lateral_stands_on_stubs() -> None:
    plumbing, _ = plumbed(straight_runs(2, 30.0), straight_sides(30.0, 1.2))
    assert [pipe.line.length for pipe in plumbing.manifolds] == pytest.approx([STUB, STUB])


def test_single_runs_drain_into_a_manifold_at_the_far_end() -> None:
    plumbing, _ = plumbed(straight_runs(4, 30.0), straight_sides(30.0, 2.4), per_lateral=1)
    supply, back = plumbing.manifolds
    assert np.allclose(np.asarray(supply.line.coords)[:, 0], 0.0)
    assert np.allclose(back.line.coords, [(30.3, 2.1), (30.3, 0.3)])


def test_an_odd_lateral_alone_has_a_stub_at_the_far_end() -> None:
    plumbing, _ = plumbed(straight_runs(5, 29.0), straight_sides(29.0, 3.0), per_lateral=None)
    assert [pipe.kind for pipe in plumbing.manifolds] == ["supply", "return", "return"]
    assert plumbing.manifolds[2].line.length == pytest.approx(STUB)


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


def test_an_end_beside_an_obstacle_has_a_stub_of_its_own() -> None:
    runs = (
        Run(name="R1", line=LineString([(0.3, 6), (14, 6)]), row=0),
        Run(name="R2", line=LineString([(0.3, 5.4), (29.7, 5.4)]), row=1),
    )
    plumbing, _ = plumbed(runs, straight_sides(30.0, 12.0), per_lateral=1)
    assert len(plumbing.manifolds) == 3
    inside = next(riser for riser in plumbing.risers if riser.kind == "return" and riser.lateral == "L1")
    assert inside.line.length == pytest.approx(0.6)


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
    runs = (Run(name="R1", line=LineString([(12, -0.3), (29.7, -0.3)]), row=0, fed=False),)
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
        Run(name=f"R{n + 1}", line=LineString([at, (27.0, at[1])]), row=n, fed=False)
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


def tee_bed() -> tuple[tuple[Run, ...], Sides, Polygon]:
    """A bar of four long runs, and a stem of eight short ones that begins far from the bar's end."""
    outline = Polygon([(0, 0), (30, 0), (30, 2.4), (15, 2.4), (15, 7.2), (10, 7.2), (10, 2.4), (0, 2.4)])
    lines = [((10.3, y), (14.7, y)) for y in np.arange(6.9, 2.5, -0.6).tolist()]
    lines += [((0.3, y), (29.7, y)) for y in np.arange(2.1, 0.2, -0.6).tolist()]
    runs = tuple(
        Run(name=f"R{n + 1}", line=LineString(line), row=n, fed=n >= 8) for n, line in enumerate(lines)
    )
    return runs, straight_sides(30.0, 7.2), outline


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


def test_two_supplies_on_one_line_keep_their_own_risers() -> None:
    runs, sides, outline = tee_bed()
    laterals, joins = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    plumbing = lay_plumbing(laterals, runs, sides, RULES, pump=Pump(at=(-5, 0)), outline=outline)
    doubled = replace(plumbing, manifolds=(*plumbing.manifolds, plumbing.manifolds[0]))
    made = place_fittings(doubled, joins, laterals).fittings
    assert sum(item.kind == "riser" for item in made) == len(plumbing.risers) == 2 * len(laterals)


# --- setbacks and zones ---------------------------------------------------------------------------------


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


def test_a_stated_offset_is_kept() -> None:
    runs = straight_runs(6, 30.0)
    laterals, _ = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    rules = ManifoldRules(end="pump", supply_diameter=0.025, return_diameter=0.02, offset=0.5)
    plumbing = lay_plumbing(laterals, runs, straight_sides(30.0, 3.6), rules, pump=None)
    assert [pipe.line.coords[0][0] for pipe in plumbing.manifolds] == pytest.approx([-0.2, -0.7])


def test_every_zone_has_manifolds_of_its_own() -> None:
    runs = straight_runs(12, 30.0)
    laterals, _ = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    zoned = [replace(lateral, zone=1 + n // 2) for n, lateral in enumerate(laterals)]
    plumbing = lay_plumbing(zoned, runs, straight_sides(30.0, 7.2), RULES, pump=Pump(at=(-5.0, 0.0)))
    assert [(pipe.zone, pipe.kind) for pipe in plumbing.manifolds] == [
        (zone, kind) for zone in (1, 2, 3) for kind in ("supply", "return")
    ]
    own = {lateral.name: lateral.zone for lateral in zoned}
    for riser in plumbing.risers:
        assert riser.zone == own[riser.lateral]
        foot = Point(riser.line.coords[0])
        on = [
            pipe.zone
            for pipe in plumbing.manifolds
            if pipe.kind == riser.kind and pipe.line.distance(foot) < 1e-9
        ]
        assert on == [riser.zone]


def feature(shape: BaseGeometry, name: str) -> Feature:
    return Feature(name=name, kind=FeatureKind.OTHER, shape=shape, setback=3.0)


def test_what_pipes_cross_is_listed_with_its_place() -> None:
    things = [
        feature(LineString([(-2, 2), (9, 2)]), "drive"),
        feature(box(-6, -1, -4, 1), "pump tank"),
        feature(Point(-1, 8), "well within whose setback nothing is crossed"),
        feature(box(-0.2, 3.2, 0.2, 3.4), "shed"),
    ]
    plumbing, _ = plumbed(straight_runs(6, 30.0), straight_sides(30.0, 3.6), features=things)
    names = [name for name, _ in plumbing.crossings]
    assert names.count("drive") == 2
    assert set(names) == {"drive", "shed"}
    for name, at in plumbing.crossings:
        assert {"drive": things[0], "shed": things[3]}[name].shape.distance(Point(at)) < 1e-6


@given(
    shift=st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)),
    turn=st.floats(0, 360),
    count=st.integers(1, 9),
    per_lateral=st.sampled_from([None, 1, 2, 3]),
)
@settings(max_examples=25, deadline=None)
def test_plumbing_moves_and_turns_with_the_site(
    shift: tuple[float, float], turn: float, count: int, per_lateral: int | None
) -> None:
    def moved(line: LineString) -> LineString:
        turned = shapely.affinity.rotate(line, turn, origin=(0, 0))
        return LineString(shapely.affinity.translate(turned, *shift).coords)

    runs, sides = straight_runs(count, 30.0), straight_sides(30.0, 0.6 * count)
    pump = Point(-5.0, -1.0)
    there = Point(shapely.affinity.translate(shapely.affinity.rotate(pump, turn, origin=(0, 0)), *shift))
    first, _ = plumbed(runs, sides, per_lateral=per_lateral, pump=(pump.x, pump.y))
    second, _ = plumbed(
        tuple(Run(name=run.name, line=moved(run.line), row=run.row) for run in runs),
        Sides(
            left=moved(sides.left),
            right=moved(sides.right),
            near=moved(sides.near),
            far=moved(sides.far),
            centre=moved(sides.centre),
        ),
        per_lateral=per_lateral,
        pump=(there.x, there.y),
    )
    for one, other in zip(every_line(first), every_line(second), strict=True):
        assert moved(one).hausdorff_distance(other) < 1e-6


def every_line(plumbing: Plumbing) -> list[LineString]:
    pipes = [pipe.line for pipe in (*plumbing.manifolds, *plumbing.lines)]
    return pipes + [riser.line for riser in plumbing.risers]


# --- what crosses ---------------------------------------------------------------------------------------


def test_pipe_over_tubing_is_counted_with_its_place_and_run_ends_are_not() -> None:
    runs = straight_runs(6, 30.0)
    plumbing, _ = plumbed(runs, straight_sides(30.0, 3.6))
    site = curved_field().site
    over, crossed = crossing_checks(site, plumbing, runs)
    assert (over.ok, over.value, over.place) == (True, 0.0, "")
    assert crossed.value == 0
    across = LineString([(15.0, -1.0), (15.0, 2.0)])
    first = plumbing.manifolds[0]
    bad = replace(plumbing, manifolds=(replace(first, line=across), *plumbing.manifolds[1:]))
    over, _ = crossing_checks(site, bad, runs)
    # Runs lie at 0.3, 0.9, 1.5 below 2.
    assert (over.ok, over.value) == (False, 3.0)
    assert over.place.startswith("supply manifold and R")
    # Two spacings in from the ends of runs a manifold may lie where a setback puts it.
    under = replace(plumbing, manifolds=(replace(first, line=LineString([(1.0, 0), (1.0, 3.6)])),))
    assert crossing_checks(site, under, runs)[0].ok


def test_pipes_that_join_do_not_cross_and_others_do() -> None:
    runs = straight_runs(6, 30.0)
    plumbing, _ = plumbed(runs, straight_sides(30.0, 3.6))
    supply, back = plumbing.manifolds
    supply = replace(supply, line=LineString([(0.0, 0.9), (0.0, 3.3)]))
    plumbing = replace(plumbing, manifolds=(supply, back))
    site = replace(curved_field().site, pump=Pump(at=(-5.0, 0.0)))
    home = replace(back, line=LineString([back.line.coords[-1], (-5.0, 0.0)]))
    away = replace(supply, line=LineString([(-5.0, 0.0), supply.line.coords[0]]))
    found = list(crossing_findings(site, replace(plumbing, lines=(home,))))
    assert found == []
    # On its straight way to the supply manifold a line crosses the return manifold.
    crossed = replace(plumbing, lines=(away, home))
    assert crossing_checks(site, crossed, runs)[1].value == 1
    (said,) = crossing_findings(site, crossed)
    assert "return manifold and supply line at (" in said.said
