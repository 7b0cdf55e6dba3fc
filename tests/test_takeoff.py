"""The takeoff: every count follows from the items of the layout by the stated rule."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString

from layout.emitters import field_totals, place_emitters
from layout.fittings import place_fittings
from layout.laterals import join_runs
from layout.manifolds import lay_plumbing
from layout.model import (
    Join,
    Lateral,
    LateralRules,
    Laying,
    ManifoldRules,
    Part,
    Pattern,
    Pipe,
    Plumbing,
    Pump,
    Run,
    Sides,
    Site,
)
from layout.stakes import stake_out
from layout.takeoff import count_parts
from layout.units import FOOT
from tests.fields import curved_field


def straight(count: int, length: float) -> tuple[tuple[Run, ...], Sides]:
    width = 0.6 * count
    runs = tuple(
        Run(name=f"R{n + 1}", line=LineString([(0.3, y), (0.3 + length, y)]), row=n)
        for n, y in enumerate(width - 0.3 - 0.6 * np.arange(count))
    )
    end = length + 0.6
    sides = Sides(
        left=LineString([(0, width), (end, width)]),
        right=LineString([(0, 0), (end, 0)]),
        near=LineString([(0, width), (0, 0)]),
        far=LineString([(end, width), (end, 0)]),
        centre=LineString([(0, width / 2), (end, width / 2)]),
    )
    return runs, sides


def counted(
    site: Site, count: int, length: float, *, per_lateral: int = 2, pump: bool = True
) -> tuple[dict[str, Part], tuple[Run, ...], tuple[Join, ...], Plumbing]:
    runs, sides = straight(count, length)
    laterals, joins = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=per_lateral, longest=999.0), spacing=0.6
    )
    plumbing = lay_plumbing(
        laterals,
        runs,
        sides,
        ManifoldRules(end="pump", supply_diameter=0.0254, return_diameter=0.03175),
        pump=Pump(at=(-5.0, 0.0)) if pump else None,
    )
    plumbing = place_fittings(plumbing, joins, laterals)
    laying = Laying(pattern=Pattern.LEFT, runs=tuple(runs))
    staking = stake_out(site, laying, plumbing, heights=lambda points: [None] * len(points))
    parts = count_parts(site, runs, joins, plumbing, laterals=laterals, stakes=staking.stakes)
    assert len({part.item for part in parts}) == len(parts)
    return {part.item: part for part in parts}, runs, joins, plumbing


def test_three_pairs_of_thirty_metres() -> None:
    site = curved_field().site
    parts, runs, joins, plumbing = counted(site, 6, 30.0)
    assert list(parts) == [
        "emitting tubing",
        "blank tubing",
        "loop elbow",
        "supply manifold pipe",
        "return manifold pipe",
        "supply riser",
        "return riser",
        "riser tubing",
        "tubing-to-pipe connector",
        "supply tee",
        "supply elbow",
        "return tee",
        "return elbow",
        "marking paint",
        "stake",
        "other stake",
        "tubing trench",
        "manifold trench",
        "loop",
    ]
    net = {item: part.net for item, part in parts.items()}
    totals = field_totals(runs, [place_emitters(run, site.tubing) for run in runs], joins)
    assert net["emitting tubing"] == totals.tubing
    assert net["blank tubing"] == totals.blank == pytest.approx(3 * 0.6)
    assert net["loop elbow"] == 6
    assert net["supply riser"] == net["return riser"] == 3
    assert net["tubing-to-pipe connector"] == 6
    assert net["supply tee"] == net["return tee"] == 2
    assert net["supply elbow"] == net["return elbow"] == 1
    assert net["riser tubing"] == pytest.approx(3 * 0.3 + 3 * 0.6)
    assert net["stake"] == 6 * (math.ceil(30.0 / (10 * FOOT)) + 1)
    # ends of the baseline; corners of the bed; ends of pipes, feet of risers: straight pipes need no more
    pipes = (*plumbing.manifolds, *plumbing.lines)
    tips = [pipe.line.coords[tip] for pipe in pipes for tip in (0, -1)]
    tips += [riser.line.coords[0] for riser in plumbing.risers]
    bends = [point for pipe in pipes for point in pipe.line.simplify(site.stakeout.tolerance).coords]
    assert net["other stake"] == 2 + 4 + len({(round(x, 2), round(y, 2)) for x, y in (*tips, *bends)})
    assert net["supply manifold pipe"] == pytest.approx(2.4)
    # Supplies stand at 3.3, 2.1, 0.9, returns at 2.7, 1.5, 0.3: side by side from 2.7 to 0.9.
    assert net["manifold trench"] == pytest.approx(2.4 + 0.6)
    assert net["loop"] == 3
    assert parts["loop"].order == 0
    assert net["tubing trench"] == pytest.approx(180 + 1.8 + net["riser tubing"])
    assert "1 in" in parts["supply manifold pipe"].description
    assert "1.25 in" in parts["return manifold pipe"].description
    assert plumbing.crossings == ()


def test_orders_come_in_whole_coils_and_pipe_lengths() -> None:
    parts, *_ = counted(curved_field().site, 6, 30.0)
    tubing, pipe = parts["emitting tubing"], parts["supply manifold pipe"]
    assert tubing.order == pytest.approx(500 * FOOT * math.ceil(180 * 1.05 / (500 * FOOT)))
    assert pipe.order / (20 * FOOT) == pytest.approx(math.ceil(pipe.net * 1.05 / (20 * FOOT)))
    metric, *_ = counted(curved_field("m").site, 6, 30.0)
    assert metric["supply manifold pipe"].pack == 6.0
    assert "mm" in metric["supply manifold pipe"].description


def test_single_runs_need_no_elbows_for_loops_and_no_blank_tubing() -> None:
    parts, *_ = counted(curved_field().site, 4, 20.0, per_lateral=1)
    assert "loop elbow" not in parts
    assert "blank tubing" not in parts
    assert parts["return tee"].net == 3


def test_one_lateral_needs_no_tee() -> None:
    parts, *_ = counted(curved_field().site, 2, 20.0)
    assert "supply tee" not in parts
    assert parts["supply elbow"].net == 1


def test_without_a_pump_no_lines_are_counted() -> None:
    parts, _, _, plumbing = counted(curved_field().site, 6, 20.0, pump=False)
    assert parts["supply manifold pipe"].net == pytest.approx(plumbing.manifolds[0].line.length)
    assert "supply line pipe" not in parts
    assert parts["supply elbow"].net == 1


def test_blank_tubing_past_an_obstacle_takes_couplings() -> None:
    runs = (
        Run(name="R1", line=LineString([(0, 0), (10, 0)]), row=0),
        Run(name="R2", line=LineString([(14, 0), (24, 0)]), row=0),
    )
    blank = Join(kind="blank", start="R1", end="R2", line=LineString([(10, 0), (12, 1), (14, 0)]))
    lateral = Lateral(
        name="L1", runs=("R1", "R2"), length=20.0, blank=2.0, supply=(0, 0), drain=(24, 0), returns_near=False
    )
    manifold = Pipe(kind="supply", line=LineString([(-1, 0), (0, 0)]), diameter=0.025)
    plumbing = place_fittings(Plumbing(manifolds=(manifold,), risers=(), lines=()), (blank,), (lateral,))
    parts = count_parts(curved_field().site, runs, (blank,), plumbing)
    items = {part.item: part.net for part in parts}
    assert items["tubing coupling"] == 2
    assert "loop elbow" not in items
    assert items["blank tubing"] == pytest.approx(2 * math.sqrt(5))


@given(count=st.integers(1, 12), per_lateral=st.integers(1, 5), length=st.floats(3.5, 40.0))
@settings(max_examples=30, deadline=None)
def test_counts_keep_their_balance(count: int, per_lateral: int, length: float) -> None:
    parts, runs, joins, plumbing = counted(curved_field().site, count, length, per_lateral=per_lateral)
    net = {item: part.net for item, part in parts.items()}
    laterals = math.ceil(count / per_lateral)
    assert len(joins) == count - laterals
    assert net.get("loop elbow", 0) == 2 * (count - laterals)
    assert net["supply riser"] == net["return riser"] == laterals
    for kind in ("supply", "return"):
        manifolds = sum(pipe.kind == kind for pipe in plumbing.manifolds)
        assert net.get(f"{kind} tee", 0) + manifolds == laterals
    assert net["emitting tubing"] == pytest.approx(sum(run.length for run in runs))
    for part in parts.values():
        assert part.order >= part.net if part.bought else part.order == 0
