"""Fittings: every piece has its place, and each manifold is closed and fed once."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from layout.fittings import place_fittings
from layout.laterals import join_runs
from layout.manifolds import lay_plumbing
from layout.model import (
    XY,
    Fitting,
    Lateral,
    LateralRules,
    Laying,
    ManifoldRules,
    Pattern,
    Pipe,
    PipeKind,
    Plumbing,
    Pump,
    Run,
    Sides,
)
from layout.takeoff import count_parts
from tests.fields import curved_field

RULES = ManifoldRules(end="pump", supply_diameter=0.0254, return_diameter=0.0254)


def piped(
    count: int, *, per_lateral: int = 2, zones: int = 1, air_at: dict[tuple[int, PipeKind], XY] | None = None
) -> tuple[Plumbing, tuple[Lateral, ...]]:
    """Straight runs from x = 0.3 on, 0.6 m apart, the pump beyond the lower corner of the bed."""
    width = 0.6 * count
    runs = tuple(
        Run(name=f"R{n + 1}", line=LineString([(0.3, y), (30.3, y)]), row=n)
        for n, y in enumerate(width - 0.3 - 0.6 * np.arange(count))
    )
    sides = Sides(
        left=LineString([(0, width), (30.6, width)]),
        right=LineString([(0, 0), (30.6, 0)]),
        near=LineString([(0, width), (0, 0)]),
        far=LineString([(30.6, width), (30.6, 0)]),
        centre=LineString([(0, width / 2), (30.6, width / 2)]),
    )
    laterals, joins = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=per_lateral, longest=999.0), spacing=0.6
    )
    laterals = tuple(
        replace(lateral, zone=1 + n * zones // len(laterals)) for n, lateral in enumerate(laterals)
    )
    plumbing = lay_plumbing(laterals, runs, sides, RULES, pump=Pump(at=(-5.0, -5.0)))
    return place_fittings(plumbing, joins, laterals, air_at=air_at), laterals


def of_kind(plumbing: Plumbing, kind: str, on: str, zone: int = 1) -> list[Fitting]:
    return [item for item in plumbing.fittings if (item.kind, item.on, item.zone) == (kind, on, zone)]


def test_three_pairs() -> None:
    plumbing, _ = piped(6)
    assert Counter((item.on, item.kind) for item in plumbing.fittings) == {
        ("supply", "riser"): 3,
        ("supply", "connector"): 3,
        ("supply", "tee"): 2,
        ("supply", "elbow"): 1,
        ("return", "riser"): 3,
        ("return", "connector"): 3,
        ("return", "tee"): 2,
        ("return", "elbow"): 1,
        ("tubing", "loop"): 3,
        ("tubing", "elbow"): 6,
    }
    # The pump lies below: the dead ends are above.
    assert [item.at for item in of_kind(plumbing, "elbow", "supply")] == [pytest.approx((0.0, 3.3))]
    assert [item.at for item in of_kind(plumbing, "elbow", "return")] == [pytest.approx((-0.3, 2.7))]
    assert [item.at for item in of_kind(plumbing, "loop", "tubing")] == [
        pytest.approx((30.3, y)) for y in (3.0, 1.8, 0.6)
    ]
    assert [item.of for item in of_kind(plumbing, "loop", "tubing")] == ["L1", "L2", "L3"]


def test_an_air_valve_stands_on_a_tee_or_closes_the_pipe() -> None:
    along, _ = piped(6, air_at={(1, "supply"): (0.0, 2.5), (1, "return"): (-0.3, 2.7)})
    assert [item.at for item in of_kind(along, "air valve", "supply")] == [(0.0, 2.5)]
    assert len(of_kind(along, "tee", "supply")) == 3
    assert (0.0, 2.5) in [item.at for item in of_kind(along, "tee", "supply")]
    # That of the return stands at its dead end: the last riser before it on a tee, the valve on the elbow.
    assert len(of_kind(along, "tee", "return")) == 3
    assert [item.at for item in of_kind(along, "elbow", "return")] == [(-0.3, 2.7)]


def test_zones_have_valves_where_their_lines_meet_them() -> None:
    plumbing, _ = piped(12, zones=3)
    for pipe in plumbing.manifolds:
        places = [pipe.feed] if pipe.kind == "supply" else []
        assert [item.at for item in of_kind(plumbing, "zone valve", pipe.kind, pipe.zone)] == places
    one, _ = piped(12)
    assert not [item for item in one.fittings if item.kind == "zone valve"]


def test_each_return_line_has_a_flush_valve_outside_the_tank_of_the_pump() -> None:
    pipes = [
        Pipe(kind=kind, line=LineString(points), diameter=0.04, zone=1)
        for kind, points in (("supply", [(0, 0), (9, 0)]), ("return", [(9, 1), (5, 1), (0, 0)]))
    ]
    laid = Plumbing(manifolds=(), risers=(), lines=tuple(pipes))
    tank = Point(0.0, 0.0).buffer(1.5, quad_segs=256)
    for tanks, away in (([tank], 1.5 + 0.6), ([], 2.0), ([Point(0.0, 0.0)], 2.0)):
        (valve,) = place_fittings(laid, [], [], tanks=tanks).fittings
        assert (valve.kind, valve.on, valve.size, valve.of) == ("flush valve", "return", 0.04, "line")
        assert pipes[1].line.distance(Point(valve.at)) < 1e-9
        assert math.hypot(*valve.at) == pytest.approx(away, rel=1e-4)
    # a line that hardly leaves the tank has it half-way from the wall
    short = replace(pipes[1], line=LineString([(2.0, 0.0), (0.0, 0.0)]))
    (valve,) = place_fittings(replace(laid, lines=(short,)), [], [], tanks=[tank]).fittings
    assert valve.at == pytest.approx((1.75, 0.0), rel=1e-4)


def test_side_by_side_manifolds_lie_in_one_trench() -> None:
    plumbing, _ = piped(6)
    # Supplies stand at 3.3, 2.1, 0.9, returns at 2.7, 1.5, 0.3, and the supply goes on 0.15 past the last of these.
    dug = sorted((trench.pipes, round(trench.line.length, 6)) for trench in plumbing.trenches)
    assert dug == [(1, 0.15), (1, 0.6), (2, 2.4)]


def test_bends_of_a_manifold_get_elbows_from_the_one_who_knows_them() -> None:
    plumbing, laterals = piped(6)
    bare = replace(plumbing, fittings=(), trenches=())
    asked: list[int] = []

    def bends(points: object) -> list[tuple[str, XY]]:
        asked.append(len(np.asarray(points)))
        return [("elbow 45", (0.0, 1.0))]

    made = place_fittings(bare, (), laterals, bends=bends)  # type: ignore[arg-type]
    assert len(asked) == 2
    assert len(of_kind(made, "elbow 45", "supply")) == len(of_kind(made, "elbow 45", "return")) == 1


@given(count=st.integers(1, 14), per_lateral=st.integers(1, 4), zones=st.integers(1, 4), air=st.booleans())
@settings(max_examples=40, deadline=None)
def test_pieces_keep_their_balance(count: int, per_lateral: int, zones: int, air: bool) -> None:
    plumbing, laterals = piped(count, per_lateral=per_lateral, zones=zones)
    air_at: dict[tuple[int, PipeKind], XY] = {}
    if air:
        for pipe in plumbing.manifolds:
            x, y = pipe.line.interpolate(0.4, normalized=True).coords[0]
            air_at.setdefault((pipe.zone, pipe.kind), (x, y))
        plumbing, laterals = piped(count, per_lateral=per_lateral, zones=zones, air_at=air_at)
    found = Counter(item.kind for item in plumbing.fittings if item.on != "tubing")
    manifolds = len(plumbing.manifolds)
    assert found["riser"] == found["connector"] == 2 * len(laterals) == len(plumbing.risers)
    # Each riser and valve stands on a tee, but for the one that closes a manifold.
    assert found["tee"] + found["elbow"] == found["riser"] + found["air valve"]
    assert found["elbow"] + found["cap"] == manifolds
    assert found["air valve"] == len(air_at)
    on_tubing = Counter(item.kind for item in plumbing.fittings if item.on == "tubing")
    assert on_tubing["loop"] == count - len(laterals)
    assert on_tubing["elbow"] == 2 * on_tubing["loop"]
    for item in plumbing.fittings:
        if item.on != "tubing" and item.kind != "connector":
            pipes = [pipe for pipe in plumbing.manifolds if (pipe.kind, pipe.zone) == (item.on, item.zone)]
            assert min(pipe.line.distance(Point(item.at)) for pipe in pipes) < 1e-6


@given(count=st.integers(2, 12), zones=st.integers(1, 3))
@settings(max_examples=15, deadline=None)
def test_the_takeoff_counts_these_and_nothing_else(count: int, zones: int) -> None:
    plumbing, laterals = piped(count, zones=zones)
    parts = count_parts(curved_field().site, (), (), plumbing, laterals=laterals)
    items = {part.item: part.net for part in parts}
    # Boxes stand over valves, paint marks trenches: neither is a fitting.
    boxes = {kind: items.pop(f"{kind} box", 0) for kind in ("air valve", "valve")}
    del items["marking paint"]
    each = sum(items.get(part.item, 0) for part in parts if part.unit == "each" and part.bought)
    # A loop is two elbows and blank tubing: as a piece of its own it is not bought.
    assert each == len([item for item in plumbing.fittings if item.kind != "loop"])
    assert items.get("loop", 0) == len([item for item in plumbing.fittings if item.kind == "loop"])
    kinds = [item.kind for item in plumbing.fittings]
    assert boxes["air valve"] == kinds.count("air valve")
    assert boxes["valve"] == sum(map(kinds.count, ("zone valve", "flush valve")))
    trenches = [part.net for part in parts if part.item in {"manifold trench", "line trench"}]
    assert math.fsum(trenches) == pytest.approx(math.fsum(item.line.length for item in plumbing.trenches))
