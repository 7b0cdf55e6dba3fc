"""Laterals: which runs are joined, where loops lie, and that the grouping is the best by its measure."""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, Polygon, box

from layout.laterals import best_groups, join_runs
from layout.laterals.loops import Loops
from layout.laterals.paths import Path, Plot, lines_of
from layout.laterals.wound import parted
from layout.model import Bed, Join, Lateral, LateralRules, Laying, Pattern, Run

BEST = LateralRules(runs=None, longest=90.0)


def row(
    number: int, *spans: tuple[float, float], from_end: bool = True, spacing: float = 0.6
) -> list[tuple[int, LineString, bool]]:
    """Pieces of one straight row; the first is from the end if so said, the others never."""
    y = -number * spacing
    return [(number, LineString([(a, y), (b, y)]), from_end and k == 0) for k, (a, b) in enumerate(spans)]


def laid(*rows: list[tuple[int, LineString, bool]], carries: Sequence[tuple[str, str]] = ()) -> Laying:
    runs = tuple(
        Run(name=f"R{n}", line=line, row=number, from_end=from_end)
        for n, (number, line, from_end) in enumerate(itertools.chain(*rows), start=1)
    )
    named = {run.name: run for run in runs}
    joins = tuple(
        Join(
            kind="blank",
            start=a,
            end=b,
            line=LineString([named[a].line.coords[-1], named[b].line.coords[0]]),
        )
        for a, b in carries
    )
    return Laying(pattern=Pattern.LEFT, runs=runs, carries=joins)


def runs_of(laterals: tuple[Lateral, ...]) -> list[tuple[str, ...]]:
    return [lateral.runs for lateral in laterals]


def check_laws(laying: Laying, laterals: tuple[Lateral, ...], joins: tuple[Join, ...]) -> None:
    """Every run in one lateral; joins lead from run to run without a jump; lengths add up."""
    named = {run.name: run for run in laying.runs}
    assert sorted(itertools.chain(*runs_of(laterals))) == sorted(named)
    assert [lateral.name for lateral in laterals] == [f"L{n}" for n in range(1, len(laterals) + 1)]
    left = list(joins)
    for lateral in laterals:
        mine = [left.pop(0) for _ in lateral.runs[1:]]
        assert [(join.start, join.end) for join in mine] == list(itertools.pairwise(lateral.runs))
        assert lateral.length == pytest.approx(sum(named[name].length for name in lateral.runs))
        assert lateral.blank == pytest.approx(sum(join.line.length for join in mine))
        at: tuple[float, ...] = lateral.supply
        for name, join in itertools.zip_longest(lateral.runs, mine):
            ends = [named[name].line.coords[0], named[name].line.coords[-1]]
            assert at in ends
            at = ends[1 - ends.index(at)]
            if join is not None:
                assert join.line.coords[0] == at
                at = join.line.coords[-1]
        assert lateral.drain == at
        first, last = named[lateral.runs[0]], named[lateral.runs[-1]]
        gates = (
            first.from_end and lateral.supply == first.line.coords[0],
            last.from_end and at == last.line.coords[0],
        )
        assert lateral.returns_near == (all(gates) and lateral.supply != at)
    assert left == []


def test_six_equal_runs_make_three_pairs() -> None:
    laying = laid(*(row(n, (0, 30)) for n in range(6)))
    laterals, joins = join_runs(laying, BEST, spacing=0.6)
    check_laws(laying, laterals, joins)
    assert runs_of(laterals) == [("R1", "R2"), ("R3", "R4"), ("R5", "R6")]
    assert all(lateral.returns_near for lateral in laterals)
    assert laterals[0].supply == (0, 0)
    assert laterals[0].drain == (0, -0.6)
    assert laterals[0].blank == pytest.approx(0.6)
    assert joins[0].line.equals(LineString([(30, 0), (30, -0.6)]))
    assert {join.kind for join in joins} == {"loop"}


def test_an_odd_number_prefers_three_to_one() -> None:
    laying = laid(*(row(n, (0, 29)) for n in range(5)))
    laterals, joins = join_runs(laying, BEST, spacing=0.6)
    check_laws(laying, laterals, joins)
    assert sorted(len(lateral.runs) for lateral in laterals) == [2, 3]
    assert [lateral.returns_near for lateral in laterals].count(False) == 1


def test_an_odd_number_leaves_one_alone_where_three_are_too_long() -> None:
    laying = laid(*(row(n, (0, 32)) for n in range(5)))
    laterals, joins = join_runs(laying, BEST, spacing=0.6)
    check_laws(laying, laterals, joins)
    assert sorted(len(lateral.runs) for lateral in laterals) == [1, 2, 2]


@pytest.mark.parametrize("wanted", [1, 2, 3, 4, 9])
def test_a_stated_number_is_kept_from_left_to_right(wanted: int) -> None:
    laying = laid(*(row(n, (0, 60)) for n in range(8)))
    laterals, joins = join_runs(laying, LateralRules(runs=wanted, longest=90.0), spacing=0.6)
    check_laws(laying, laterals, joins)
    sizes = [len(lateral.runs) for lateral in laterals]
    assert sizes == [wanted] * (8 // wanted) + ([8 % wanted] if 8 % wanted else [])
    assert all(lateral.returns_near == (len(lateral.runs) % 2 == 0) for lateral in laterals)


def test_a_run_longer_than_the_longest_stays_alone() -> None:
    laying = laid(*(row(n, (0, 120)) for n in range(4)))
    laterals, joins = join_runs(laying, BEST, spacing=0.6)
    check_laws(laying, laterals, joins)
    assert [len(lateral.runs) for lateral in laterals] == [1, 1, 1, 1]
    assert joins == ()


def test_one_run_is_one_lateral() -> None:
    laterals, joins = join_runs(laid(row(0, (0, 30))), BEST, spacing=0.6)
    assert runs_of(laterals) == [("R1",)]
    assert not laterals[0].returns_near
    assert laterals[0].drain == (30, 0)
    assert joins == ()


def test_no_runs_make_no_laterals() -> None:
    assert join_runs(laid(), BEST, spacing=0.6) == ((), ())


def test_ends_that_lie_far_apart_are_not_joined() -> None:
    laying = laid(row(0, (0, 30)), row(1, (0, 30)), row(30, (0, 30)), row(31, (0, 30)))
    laterals, joins = join_runs(laying, LateralRules(runs=4, longest=900.0), spacing=0.6)
    check_laws(laying, laterals, joins)
    assert runs_of(laterals) == [("R1", "R2"), ("R3", "R4")]


def test_a_tapering_bed_still_pairs_runs_of_unlike_length() -> None:
    laying = laid(*(row(n, (0, 30 - 4.0 * n)) for n in range(4)))
    laterals, joins = join_runs(laying, BEST, spacing=0.6)
    check_laws(laying, laterals, joins)
    assert runs_of(laterals) == [("R1", "R2"), ("R3", "R4")]
    assert joins[0].line.length == pytest.approx(math.hypot(4.0, 0.6))


def test_no_loop_crosses_a_run() -> None:
    # The middle row reaches farther out than both its neighbours, which would else be joined past it.
    laying = laid(row(0, (0, 20)), row(1, (21, 40), from_end=False), row(2, (0, 30)))
    _, joins = join_runs(laying, BEST, spacing=0.6)
    lines = {run.name: run.line for run in laying.runs}
    for join in joins:
        for name, line in lines.items():
            assert not join.line.crosses(line)
            if name not in {join.start, join.end}:
                assert join.line.disjoint(line)


def test_carried_runs_count_as_one_line_and_are_turned_with_it() -> None:
    laying = laid(
        row(0, (0, 30)),
        row(1, (0, 10), (14, 30)),
        row(2, (0, 10), (14, 30)),
        row(3, (0, 30)),
        carries=[("R2", "R3"), ("R4", "R5")],
    )
    laterals, joins = join_runs(laying, BEST, spacing=0.6)
    check_laws(laying, laterals, joins)
    assert runs_of(laterals) == [("R1", "R3", "R2"), ("R4", "R5", "R6")]
    assert [(join.kind, join.start, join.end) for join in joins] == [
        ("loop", "R1", "R3"),
        ("blank", "R3", "R2"),
        ("blank", "R4", "R5"),
        ("loop", "R5", "R6"),
    ]
    assert joins[1].line.coords[:] == [(14, -0.6), (10, -0.6)]


def test_pieces_beyond_an_obstacle_are_fed_by_their_neighbours() -> None:
    laying = laid(row(0, (0, 30)), row(1, (0, 10), (14, 30)), row(2, (0, 10), (14, 30)), row(3, (0, 30)))
    laterals, joins = join_runs(laying, LateralRules(runs=None, longest=100.0), spacing=0.6)
    check_laws(laying, laterals, joins)
    assert runs_of(laterals) == [("R1", "R3", "R5", "R6"), ("R2", "R4")]
    assert all(lateral.returns_near for lateral in laterals)


def test_a_tie_that_would_be_too_long_is_left_open() -> None:
    laying = laid(row(0, (0, 30)), row(1, (0, 10), (14, 30)), row(2, (0, 10), (14, 30)), row(3, (0, 30)))
    laterals, joins = join_runs(laying, LateralRules(runs=None, longest=80.0), spacing=0.6)
    check_laws(laying, laterals, joins)
    assert all(lateral.length + lateral.blank <= 80 for lateral in laterals)
    named = {run.name: run for run in laying.runs}
    assert all(named[lateral.runs[0]].from_end for lateral in laterals)


def past_an_obstacle() -> Laying:
    """Two whole rows and between them two that an obstacle parts; one winding goes out, back, out and back."""
    parted = ((0.0, 28.0), (32.0, 60.0))
    laying = laid(row(0, (0, 60)), row(1, *parted), row(2, *parted), row(3, (0, 60)))
    return replace(laying, windings=(("R1", "R3", "R5", "R6"),))


@pytest.mark.parametrize(
    ("longest", "expected"),
    [
        (180.0, [("R1", "R3", "R5", "R6")]),
        (90.0, [("R1", "R3"), ("R5", "R6")]),  # both halves begin at the manifold end
        (89.0, [("R1", "R3"), ("R5", "R6")]),
        (61.0, [("R1",), ("R3", "R5"), ("R6",)]),  # what lies beyond is fed by itself
        (30.0, [("R1",), ("R3",), ("R5",), ("R6",)]),
    ],
)
def test_windings_are_parted_within_the_longest(longest: float, expected: list[tuple[str, ...]]) -> None:
    laying = past_an_obstacle()
    laterals, joins = join_runs(laying, LateralRules(runs=None, longest=longest), spacing=0.6)
    check_laws(laying, laterals, joins)
    found = [tuple(sorted(lateral.runs)) for lateral in laterals]
    assert set(found) >= {tuple(sorted(runs)) for runs in expected}
    assert all(len(lateral.runs) == 1 or lateral.length + lateral.blank <= longest for lateral in laterals)


@given(
    lengths=st.lists(st.integers(5, 60), min_size=2, max_size=8),
    longest=st.integers(30, 200),
    back=st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_parting_is_the_best_of_all_ways(lengths: list[int], longest: int, back: bool) -> None:
    """Rows of any length that end at one far end, wound end to end; ways to part them counted out."""
    count, back = len(lengths), back and len(lengths) % 2 == 0
    laying = laid(
        *(row(k, (100 - n, 100), from_end=k in {0, count - 1 if back else 0}) for k, n in enumerate(lengths))
    )
    plot = Plot(lines=lines_of(laying), loops=Loops([], spacing=0.6, bed=None, kept_clear=None))
    steps = [Path(steps=((k, k % 2 == 0),), length=float(n)) for k, n in enumerate(lengths)]
    loops = [LineString([(100, -0.6 * k), (100, -0.6 * k - 0.6)]) for k in range(count - 1)]

    def cost(cuts: Sequence[int]) -> tuple[float, ...]:
        parts = [lengths[a:b] for a, b in itertools.pairwise((0, *cuts, count))]
        totals = [sum(part) + 0.6 * (len(part) - 1) for part in parts]
        if any(len(part) > 1 and total > longest for part, total in zip(parts, totals, strict=True)):
            return (math.inf,)
        without = sum(1 for k in range(1, len(parts)) if k < len(parts) - 1 or not back)
        inside = sum(1 for cut in cuts if cut % 2 == 0)
        return without, inside, len(parts), round(math.fsum(total**2 for total in totals), 3)

    made = parted(plot, steps, loops, longest=longest)
    sizes = [len(path.steps) for path in made]
    found = cost(list(itertools.accumulate(sizes))[:-1])
    every = (
        cost(cuts) for number in range(count) for cuts in itertools.combinations(range(1, count), number)
    )
    assert found == pytest.approx(min(every))


def test_only_what_is_stranded_is_tied_beyond_the_longest() -> None:
    laying = laid(row(0, (0, 60)), row(1, (20, 60), from_end=False))
    laterals, _ = join_runs(laying, BEST, spacing=0.6)
    assert runs_of(laterals) == [("R1",), ("R2",)]
    assert all(lateral.length + lateral.blank <= BEST.longest for lateral in laterals)
    laterals, _ = join_runs(laying, BEST, spacing=0.6, stranded={"R2"})
    assert runs_of(laterals) == [("R1", "R2")]


def test_what_no_loop_reaches_is_a_lateral_of_its_own() -> None:
    laying = laid(row(0, (0, 20)), row(1, (0, 20)), row(2, (60, 90), from_end=False))
    laterals, joins = join_runs(laying, BEST, spacing=0.6)
    check_laws(laying, laterals, joins)
    assert runs_of(laterals) == [("R1", "R2"), ("R3",)]
    assert not laterals[1].returns_near


def test_a_loop_at_a_setback_goes_round_it() -> None:
    well, setback = Point(20, -0.9), 5.0
    zone = well.buffer(setback / math.cos(math.pi / 256), quad_segs=64)
    bed = Bed(outline=box(-0.3, -2.1, 40, 0.3), clearance=0.3)
    lines = [LineString([(0, -0.6 * n), (20, -0.6 * n)]).difference(zone) for n in range(4)]
    runs = tuple(Run(name=f"R{n + 1}", line=LineString(line.coords), row=n) for n, line in enumerate(lines))
    laying = Laying(pattern=Pattern.LEFT, runs=runs)
    laterals, joins = join_runs(laying, BEST, spacing=0.6, bed=bed, kept_clear=MultiPolygon([zone]))
    check_laws(laying, laterals, joins)
    assert len(joins) == 2
    for join in joins:
        assert len(join.line.coords) > 2
        assert join.line.distance(well) >= setback - 1e-9
        assert join.line.length < 0.8


def test_a_loop_at_a_dent_of_the_edge_keeps_its_clearance() -> None:
    # The far end of the bed is dented between two rows.
    outline = Polygon([(-1, -4), (31, -4), (28, -0.3), (31, 4), (-1, 4)])
    bed = Bed(outline=outline, clearance=0.5)
    ground = outline.buffer(-0.5)
    runs = tuple(
        Run(
            name=f"R{n + 1}",
            line=LineString(LineString([(0, y), (40, y)]).intersection(ground).coords),
            row=n,
        )
        for n, y in enumerate((0.7, -1.0))
    )
    laying = Laying(pattern=Pattern.LEFT, runs=runs)
    laterals, joins = join_runs(laying, BEST, spacing=1.5, bed=bed)
    check_laws(laying, laterals, joins)
    assert len(joins[0].line.coords) > 2
    assert joins[0].line.distance(outline.exterior) >= 0.5 - 0.02 * 1.5


# --- the measure ----------------------------------------------------------------------------------------


def between_ends_on_an_edge(tail: list[tuple[float, float]]) -> LineString | None:
    """The loop from the end of a run with this tail to the end of its neighbour, both on an edge that bulges."""
    edge = [(20.0, 0.0), (16.0, 2.2), (12.0, 2.0)]
    bed = Bed(outline=Polygon([*edge, (-1.0, 2.0), (-1.0, -4.0), (20.0, -4.0)]), clearance=0.0)
    longer, shorter = LineString([(0.0, 0.0), *tail]), LineString([(0.0, 2.0), (12.0, 2.0)])
    loops = Loops([longer, shorter], spacing=2.0, bed=bed, kept_clear=None)
    return loops.between((20.0, 0.0), (12.0, 2.0), leaves=longer, enters=shorter)


def test_where_the_straight_loop_crosses_its_own_run_the_edge_is_followed() -> None:
    loop = between_ends_on_an_edge([(15.0, 1.4), (20.0, 0.0)])
    assert loop is not None
    assert loop.equals_exact(LineString([(20.0, 0.0), (16.0, 2.2), (12.0, 2.0)]), 1e-9)


def test_a_run_that_ends_aslant_may_touch_its_loop_at_the_end_alone() -> None:
    along = [(20.0 - 4.0 * t, 2.2 * t) for t in (0.02, 0.5)]
    assert between_ends_on_an_edge([(15.0, 1.4), along[0], (20.0, 0.0)]) is not None
    assert between_ends_on_an_edge([(15.0, 1.4), along[1], (20.0, 0.0)]) is None


def divisions(count: int) -> Iterator[tuple[int, ...]]:
    """All ways to write a number as ordered groups."""
    for cuts in itertools.product((False, True), repeat=max(count - 1, 0)):
        sizes = [1]
        for cut in cuts:
            if cut:
                sizes.append(1)
            else:
                sizes[-1] += 1
        yield tuple(sizes)


def totals(
    sizes: tuple[int, ...], lengths: list[float], near: list[float | None], far: list[float | None]
) -> list[float] | None:
    """Length of each lateral; None where one needs a loop that cannot be laid."""
    made, first = [], 0
    for size in sizes:
        loops = [(far if k % 2 == 0 else near)[first + k] for k in range(size - 1)]
        if None in loops:
            return None
        made.append(sum(lengths[first : first + size]) + sum(loop for loop in loops if loop is not None))
        first += size
    return made


def with_leads(
    sizes: tuple[int, ...], made: list[float], leads: list[float], longest: float
) -> list[float] | None:
    """The same with what leads back those that do not return; None where that is too long."""
    led, first = [], 0
    for size, laid in zip(sizes, made, strict=True):
        first += size
        total = laid + (leads[first - 1] if size % 2 else 0.0)
        if total > longest and size > 1:
            return None
        led.append(total if total <= longest else laid)
    return led


def brute_force(
    lengths: list[float],
    near: list[float | None],
    far: list[float | None],
    leads: list[float],
    longest: float,
) -> tuple[int, int, float]:
    """Laterals that do not return, number of laterals, and sum of squares of the best division of all."""
    by_number: dict[int, tuple[int, int, float]] = {}
    for sizes in divisions(len(lengths)):
        laid = totals(sizes, lengths, near, far)
        made = None if laid is None else with_leads(sizes, laid, leads, longest)
        if made is None:
            continue
        rounded = [round(length / 1e-3) for length in made]
        entry = (sum(size % 2 for size in sizes), sum(x * x for x in rounded), max(rounded) / min(rounded))
        by_number[len(sizes)] = min(entry, by_number.get(len(sizes), (10**6, 0, 0.0)))
    least = min(entry[0] for entry in by_number.values())
    return min(
        (max(ratio, 1.6), number == 1, number, least, squares)
        for number, (astray, squares, ratio) in by_number.items()
        if astray == least
    )[2:]


metres = st.floats(3.0, 60.0).map(lambda length: round(length, 3))
loops = st.one_of(st.none(), st.floats(0.3, 5.0), st.just(0.6), st.just(0.6))


@given(data=st.data(), count=st.integers(1, 12), longest=st.floats(20.0, 200.0))
@settings(max_examples=160, deadline=None)
def test_the_division_found_is_the_best_of_all(data: st.DataObject, count: int, longest: float) -> None:
    lengths = data.draw(st.lists(metres, min_size=count, max_size=count))
    if data.draw(st.booleans()):
        lengths = [lengths[0]] * count
    near = data.draw(st.lists(loops, min_size=count - 1, max_size=count - 1))
    far = data.draw(st.lists(loops, min_size=count - 1, max_size=count - 1))
    leads = data.draw(st.one_of(st.just([0.0] * count), st.lists(metres, min_size=count, max_size=count)))
    sizes = best_groups(lengths, near, far, longest=longest, leads=leads if any(leads) else None)
    assert sum(sizes) == count
    laid = totals(sizes, lengths, near, far)
    assert laid is not None
    made = with_leads(sizes, laid, leads, longest)
    assert made is not None
    assert all(length <= longest for size, length in zip(sizes, made, strict=True) if size > 1)
    number, astray, squares = brute_force(lengths, near, far, leads, longest)
    assert len(sizes) == number
    assert sum(size % 2 for size in sizes) == astray
    assert sum(round(length / 1e-3) ** 2 for length in made) == squares


@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(1, 12),
    wanted=st.sampled_from([None, 1, 2, 3, 4]),
    longest=st.floats(10.0, 300.0),
)
@settings(max_examples=60, deadline=None)
def test_every_run_lies_in_one_lateral(seed: int, count: int, wanted: int | None, longest: float) -> None:
    rng = np.random.default_rng(seed)
    rows = []
    for number in range(count):
        cuts = np.sort(rng.uniform(0, 60, 2 * rng.integers(1, 4)))
        spans = [(a, b) for a, b in cuts.reshape(-1, 2).tolist() if b - a > 0.5]
        from_end = bool(rng.random() < 0.8)
        if from_end and spans:
            spans[0] = (0.0, spans[0][1])
        rows.append(row(number, *spans, from_end=from_end))
    laying = laid(*rows)
    laterals, joins = join_runs(laying, LateralRules(runs=wanted, longest=longest), spacing=0.6)
    check_laws(laying, laterals, joins)
    again = join_runs(laying, LateralRules(runs=wanted, longest=longest), spacing=0.6)
    assert again == (laterals, joins)


def test_five_hundred_rows_are_quick() -> None:
    laying = laid(*(row(n, (0, 20 + n % 7)) for n in range(500)))
    start = time.process_time()
    laterals, joins = join_runs(laying, BEST, spacing=0.6)
    assert time.process_time() - start < 5
    check_laws(laying, laterals, joins)
    assert shapely.total_bounds([join.line for join in joins]).tolist()[2] <= 26
