"""Manifolds and risers: how many there are, what they reach, how they are turned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from layout.fittings import place_fittings
from layout.laterals import join_runs
from layout.manifolds import (
    STUB,
    lay_plumbing,
)
from layout.model import (
    LateralRules,
    Laying,
    ManifoldRules,
    Pattern,
    Plumbing,
    Pump,
    Run,
    Sides,
)
from tests.plumbed import (
    RULES,
    plumbed,
    straight_runs,
    straight_sides,
    tee_bed,
)


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


def test_an_end_beside_an_obstacle_has_a_stub_of_its_own() -> None:
    runs = (
        Run(name="R1", line=LineString([(0.3, 6), (14, 6)]), row=0),
        Run(name="R2", line=LineString([(0.3, 5.4), (29.7, 5.4)]), row=1),
    )
    plumbing, _ = plumbed(runs, straight_sides(30.0, 12.0), per_lateral=1)
    assert len(plumbing.manifolds) == 3
    inside = next(riser for riser in plumbing.risers if riser.kind == "return" and riser.lateral == "L1")
    assert inside.line.length == pytest.approx(0.6)


def test_two_supplies_on_one_line_keep_their_own_risers() -> None:
    runs, sides, outline = tee_bed()
    laterals, joins = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    plumbing = lay_plumbing(laterals, runs, sides, RULES, pump=Pump(at=(-5, 0)), outline=outline)
    another = replace(plumbing.manifolds[0])  # on the same line, but a pipe of its own
    doubled = replace(plumbing, manifolds=(*plumbing.manifolds, another))
    made = place_fittings(doubled, joins, laterals).fittings
    assert sum(item.kind == "riser" for item in made) == len(plumbing.risers) == 2 * len(laterals)


# --- setbacks and zones ---------------------------------------------------------------------------------


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
