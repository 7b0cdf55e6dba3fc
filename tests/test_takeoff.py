"""The takeoff: every count follows from the items of the layout by the stated rule."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString

from layout.cutting import cut_coils
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
    TakeoffRules,
    ZoneLevels,
)
from layout.stakes import stake_out
from layout.takeoff import FITTINGS, ITEMS, base_item, count_parts, not_counted
from layout.takeoff.items import BY_THE_UNIT
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
        "riser adapter",
        "riser tubing",
        "riser connector",
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
        "supply riser",
        "return riser",
    ]
    net = {item: part.net for item, part in parts.items()}
    totals = field_totals(runs, [place_emitters(run, site.tubing) for run in runs], joins)
    assert net["emitting tubing"] == totals.tubing
    assert net["blank tubing"] == totals.blank == pytest.approx(3 * 0.6)
    assert net["loop elbow"] == 6
    assert net["supply riser"] == net["return riser"] == 3
    assert parts["supply riser"].order == parts["return riser"].order == 0
    assert net["riser adapter"] == net["riser connector"] == 6
    assert "outlet for a riser of 0.55 in bore or an air valve" in parts["supply tee"].description
    assert net["supply tee"] == net["return tee"] == 2
    assert net["supply elbow"] == net["return elbow"] == 1
    assert net["riser tubing"] == pytest.approx(3 * 0.3 + 3 * 0.6)
    assert net["stake"] == 6 * (math.ceil(30.0 / (10 * FOOT)) + 1)
    # ends of the baseline; corners of the bed, three stakes along each bowed side
    # ends of pipes, feet of risers: straight pipes need no more
    pipes = (*plumbing.manifolds, *plumbing.lines)
    tips = [pipe.line.coords[tip] for pipe in pipes for tip in (0, -1)]
    tips += [riser.line.coords[0] for riser in plumbing.risers]
    bends = [point for pipe in pipes for point in pipe.line.simplify(site.stakeout.tolerance).coords]
    assert net["other stake"] == 2 + 4 + 2 * 3 + len({(round(x, 2), round(y, 2)) for x, y in (*tips, *bends)})
    # Supplies stand at 3.3, 2.1, 0.9, returns at 2.7, 1.5, 0.3; the supply goes on to half an offset past the last.
    assert net["supply manifold pipe"] == pytest.approx(3.3 - 0.15)
    assert net["return manifold pipe"] == pytest.approx(2.7 - 0.3)
    # the return lies beside the supply all along
    assert net["manifold trench"] == pytest.approx(3.3 - 0.15)
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


def ruled(rules: TakeoffRules, *, cut: float = 0.0) -> tuple[dict[str, Part], tuple[Run, ...], Plumbing]:
    """Six runs of 30 m in pairs, with rules of the takeoff, and with a cut list of coils of a length [m]."""
    _, runs, joins, plumbing = counted(curved_field("m").site, 6, 30.0)
    site = replace(curved_field("m").site, takeoff=rules)
    site = replace(site, tubing=replace(site.tubing, coil=cut or site.tubing.coil))
    cuts = cut_coils(runs, site.tubing, waste=rules.waste) if cut else None
    parts = count_parts(site, runs, joins, plumbing, cuts=cuts)
    return {part.item: part for part in parts}, runs, plumbing


def test_staples_are_no_farther_apart_than_stated() -> None:
    parts, *_ = ruled(TakeoffRules(staple_interval=1.2, staple_box=50))
    # 30 m are 25 intervals of 1.2 m, so 26 staples a run; a loop of 0.6 m has one at both its ends
    assert parts["staple"].net == 6 * 26 + 3 * 2
    assert (parts["staple"].packs, parts["staple"].order, parts["staple"].sold) == (4, 200, "box")
    assert "staple" not in ruled(TakeoffRules())[0]


def test_paint_sand_and_cover() -> None:
    parts, _, plumbing = ruled(TakeoffRules(paint=50.0, cover_depth=0.2, sand_depth=0.1, trench_width=0.3))
    trench = math.fsum(item.line.length for item in plumbing.trenches)
    assert parts["marking paint"].net == pytest.approx((180 + 1.8 + trench) / 50)
    assert parts["marking paint"].order == 4
    assert parts["sand"].net == pytest.approx(trench * 0.3 * 0.1)
    assert parts["cover"].net == pytest.approx(curved_field("m").site.bed.outline.area * 0.2)
    assert (parts["sand"].unit, parts["cover"].unit) == ("volume", "volume")


def test_blank_tubing_and_risers_come_off_one_coil_where_it_is_stated() -> None:
    alone, *_ = ruled(TakeoffRules())
    assert (alone["blank tubing"].order, alone["riser tubing"].order) == (2.0, 3.0)  # 1.8 and 2.7 m with 5 %
    together, *_ = ruled(TakeoffRules(blank_coil=50.0))
    assert "riser tubing" not in together
    assert together["blank tubing"].net == pytest.approx(1.8 + 2.7)
    assert (together["blank tubing"].order, together["blank tubing"].sold) == (50.0, "coil")


def test_waste_of_kinds_and_of_single_items() -> None:
    parts, *_ = ruled(TakeoffRules(waste=0.1, wastes=(("supply tee", 0.5), ("blank tubing", 0.0))))
    assert (parts["emitting tubing"].waste, parts["supply manifold pipe"].waste) == (0.1, 0.1)
    assert (parts["blank tubing"].waste, parts["riser connector"].waste) == (0.0, 0.0)
    assert (parts["supply tee"].net, parts["supply tee"].order) == (2, 3)


def test_no_fewer_coils_than_the_cut_list_takes() -> None:
    parts, *_ = ruled(TakeoffRules(), cut=50.0)
    # 180 m and 5 % would be four coils of 50 m; but each holds one run of 30 m only
    assert (parts["emitting tubing"].packs, parts["emitting tubing"].order) == (6, 300.0)
    assert "splice coupling" not in parts
    spliced, *_ = ruled(TakeoffRules(), cut=20.0)
    assert spliced["splice coupling"].net == 6
    assert spliced["emitting tubing"].packs >= 10


def test_every_item_is_one_that_can_be_priced() -> None:
    rules = TakeoffRules(staple_interval=1.0, cover_depth=0.1, sand_depth=0.1, trench_width=0.3)
    parts, *_ = ruled(rules)
    assert {base_item(item) for item, part in parts.items() if part.bought} <= set(ITEMS)
    for item, part in parts.items():
        if part.bought:
            assert part.unit == ITEMS[item].unit
            assert part.sold in {ITEMS[item].sold, BY_THE_UNIT, ""}


def test_pipe_of_two_sizes_stands_in_two_lines() -> None:
    _, runs, joins, plumbing = counted(curved_field().site, 6, 30.0)
    line = Pipe(kind="supply", line=LineString([(-9, 0), (-2, 0)]), diameter=0.0508)
    parts = count_parts(curved_field().site, runs, joins, replace(plumbing, lines=(line,)))
    net = {part.item: part.net for part in parts}
    assert net["supply line pipe, 2 in"] == 7.0
    assert net["supply manifold pipe, 1 in"] == math.fsum(
        pipe.line.length for pipe in plumbing.manifolds if pipe.kind == "supply"
    )
    assert net["supply tee, 1 in"] == 2
    assert "return tee" in net


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


def test_air_valves_are_where_the_plan_says_they_are() -> None:
    """At the high point where a zone's ground is surveyed, else at the dead end, as the remark of the plan has it."""
    design = curved_field()
    dead = (
        float(design.plumbing.manifolds[0].line.coords[-1][0]),
        float(design.plumbing.manifolds[0].line.coords[-1][1]),
    )
    plumbing = place_fittings(design.plumbing, design.joins, design.laterals, air_at={(1, "supply"): dead})
    unknown = ZoneLevels(
        zone=1,
        high=None,
        high_level=None,
        return_known=0.0,
        pitch=None,
        deepening=None,
        deepest_at=None,
        drain_back=0.0,
        drain_back_added=0.0,
        held=0.0,
    )
    known = replace(unknown, high=dead, high_level=3.0)
    for levels, place in (((), "dead end"), ((unknown,), "dead end"), ((known,), "high point")):
        parts = count_parts(design.site, design.laying.runs, design.joins, plumbing, levels=levels)
        (valve,) = [part for part in parts if part.item == "supply air valve"]
        assert valve.description == f"Air and vacuum release valve, at the {place} of a supply manifold"


def test_flush_valves_are_counted_or_named_as_not_counted() -> None:
    design = curved_field()
    plumbing = place_fittings(design.plumbing, design.joins, design.laterals)
    for laid in (plumbing, place_fittings(replace(design.plumbing, lines=()), design.joins, design.laterals)):
        parts = {part.item: part for part in count_parts(design.site, design.laying.runs, design.joins, laid)}
        assert ("return flush valve" in parts) != ("return flush valves" in not_counted(laid))
    assert parts.keys().isdisjoint({"supply line pipe", "valve box"})
    assert "Throttling valve, " in FITTINGS["flush valve"]
