"""Coils: the fewest, then the longest remainder, against brute force, published examples and another solver."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence
from typing import Any

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString

from layout.cutting import Packing, coil_findings, cut_coils, pack, patterns
from layout.cutting.bounds import by_rules, least_bins
from layout.model import CutList, Run, Tubing
from layout.units import FOOT
from tests.fields import curved_field


def loads(sizes: Sequence[int], packing: Packing) -> list[int]:
    assert sorted(itertools.chain(*packing.bins)) == list(range(len(sizes)))
    return [sum(sizes[item] for item in items) for items in packing.bins]


def by_brute_force(sizes: Sequence[int], capacity: int) -> tuple[int, int]:
    """Fewest bins, and the least load of one of them: every way to put one size after the other is tried."""
    best = (len(sizes) + 1, 0)
    order = sorted(sizes, reverse=True)

    def put(number: int, filled: list[int]) -> None:
        nonlocal best
        if len(filled) > best[0]:
            return
        if number == len(order):
            best = min(best, (len(filled), min(filled)))
            return
        for place in range(len(filled)):
            if filled[place] + order[number] <= capacity and filled[place] not in filled[:place]:
                filled[place] += order[number]
                put(number + 1, filled)
                filled[place] -= order[number]
        put(number + 1, [*filled, order[number]])

    put(0, [])
    return best


@given(
    data=st.data(),
    capacity=st.sampled_from([20, 100, 1000]),
    least=st.sampled_from([0.05, 0.2, 0.26]),
    most=st.sampled_from([0.45, 0.6, 1.0]),
)
@settings(max_examples=120, deadline=None)
def test_small_cases_equal_brute_force(data: st.DataObject, capacity: int, least: float, most: float) -> None:
    size = st.integers(max(1, int(least * capacity)), int(most * capacity))
    sizes = data.draw(st.lists(size, min_size=1, max_size=8))
    packing = pack(sizes, capacity)
    found = loads(sizes, packing)
    assert max(found) <= capacity
    assert (len(found), min(found)) == by_brute_force(sizes, capacity)
    assert found[-1] == min(found)
    assert packing.certain
    assert packing.roomiest
    assert packing.bound <= len(found)


PAPER_MACHINE = {
    1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20,
    2000: 10, 2050: 12, 2100: 14, 2140: 16, 2150: 18, 2200: 20,
}  # fmt: skip
"""Rolls of 5600 mm cut into thirteen widths, the encyclopaedia's example of the cutting-stock problem; from memory."""
CHVATAL = {45: 97, 36: 610, 31: 395, 14: 211}
"""Raws of 100 in cut into finals: V. Chvatal, Linear Programming, 1983, chapter 13; from memory."""


@pytest.mark.parametrize(
    ("widths", "capacity", "fewest"), [(PAPER_MACHINE, 5600, 73), (CHVATAL, 100, 453)], ids=["paper", "raws"]
)
def test_published_cutting_stock_examples(widths: dict[int, int], capacity: int, fewest: int) -> None:
    sizes = [width for width, count in widths.items() for _ in range(count)]
    packing = pack(sizes, capacity)
    assert len(loads(sizes, packing)) == fewest
    assert packing.certain


@pytest.mark.parametrize("seed", range(3))
def test_two_to_a_bin_equals_the_greatest_matching(seed: int) -> None:
    """Sizes over a third of the bin lie in pairs or alone: fewest bins = number less greatest matching (networkx)."""
    rng = random.Random(seed)
    sizes = [rng.randint(336, 700) for _ in range(70)]
    graph = networkx.Graph()
    graph.add_edges_from(
        (i, j) for i, j in itertools.combinations(range(len(sizes)), 2) if sizes[i] + sizes[j] <= 1000
    )
    pairs = networkx.max_weight_matching(graph, maxcardinality=True)
    packing = pack(sizes, 1000)
    assert len(loads(sizes, packing)) == len(sizes) - len(pairs)
    assert packing.certain


def test_triplets_that_fill_every_bin() -> None:
    """Falkenauer's kind of hard case: threes, each over a quarter, made by cutting full bins; none may be split."""
    rng = random.Random(7)
    sizes = []
    for _ in range(12):
        first = rng.randint(380, 490)
        second = rng.randint(251, (1000 - first) // 2)
        sizes += [first, second, 1000 - first - second]
    packing = pack(sizes, 1000)
    assert loads(sizes, packing) == [1000] * 12
    assert packing.certain


def test_a_thousand_runs() -> None:
    """Lengths of 20 to 300 ft in hundredths, coils of 500 ft: no gap is left."""
    rng = random.Random(5)
    sizes = [rng.randint(2000, 30000) for _ in range(1000)]
    packing = pack(sizes, 50000)
    assert max(loads(sizes, packing)) <= 50000
    assert packing.certain
    assert len(packing.bins) == math.ceil(sum(sizes) / 50000)


def test_where_nothing_is_proven_the_gap_is_stated() -> None:
    """Bound and answer bracket the truth, however far the search came."""
    rng = random.Random(5)
    sizes = [rng.randint(15000, 24000) for _ in range(80)]
    packing = pack(sizes, 50000, nodes=0)
    assert math.ceil(sum(sizes) / 50000) <= math.ceil(packing.bound - 1e-6) <= len(loads(sizes, packing))
    assert packing.certain == (len(packing.bins) == math.ceil(packing.bound - 1e-6))


HARD = [
    *(254, 262, 273, 277, 301, 304, 309, 325, 334, 336, 346),
    *(351, 396, 412, 428, 438, 443, 452, 454, 455, 455),
]
"""In bins of 1000: plain rules take nine, so does the linear programme rounded off; eight are enough, as by the sum."""


def test_where_rules_and_rounding_fall_short_the_programme_finds_the_fewest() -> None:
    packing = pack(HARD, 1000)
    assert len(by_rules(HARD, 1000)) == 9
    assert len(loads(HARD, packing)) == math.ceil(sum(HARD) / 1000) == 8
    assert packing.certain
    assert packing.roomiest


def test_without_an_answer_of_the_programmes_what_rules_found_is_kept() -> None:
    packing = pack(HARD, 1000, nodes=0)
    assert len(loads(HARD, packing)) == 9
    assert (packing.bound, packing.certain, packing.roomiest) == (8.0, False, False)


def test_fewer_bins_found_on_the_way_to_a_long_remainder_are_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search for the emptiest of nine bins finds one that is empty."""
    monkeypatch.setattr(patterns, "choose", lambda *_, **__: ([], False))
    packing = pack(HARD, 1000)
    assert len(loads(HARD, packing)) == 8
    assert packing.certain
    assert not packing.roomiest, "nobody looked for the longest remainder of eight"


@pytest.mark.parametrize("rounds", [1, 2, 3])
def test_a_linear_programme_cut_short_still_bounds(rounds: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Column generation stopped early promises less, never too much; all its ways fit into a bin."""
    monkeypatch.setattr(patterns, "MOST_ROUNDS", rounds)
    kinds = patterns.Kinds.of(HARD, 1000)
    alone = [kinds.way([size]) for size in HARD]
    relaxed = patterns.relax(kinds, list(dict.fromkeys(alone)), target=1)
    assert 0 < relaxed.bound <= 8
    assert all(sum(kinds.sizes[kind] * count for kind, count in way) <= 1000 for way in relaxed.ways)
    assert len(loads(HARD, pack(HARD, 1000))) == 8


def test_nothing_to_pack_takes_no_bin() -> None:
    assert pack([], 1000) == Packing(bins=(), bound=0.0, certain=True, roomiest=True)
    assert least_bins([], 1000) == 0


def test_the_clock_decides_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both integer programmes stop at a number of nodes: a busy machine cuts the same coils."""
    from scipy import optimize

    asked: list[dict[str, float]] = []
    solve = optimize.milp

    def spy(*given: Any, options: dict[str, float], **named: Any) -> Any:
        asked.append(dict(options))
        return solve(*given, options=options, **named)

    monkeypatch.setattr(optimize, "milp", spy)
    rng = random.Random(53)
    pack([rng.randint(25_000, 50_000) for _ in range(30)], 100_000)
    assert asked
    assert all("node_limit" in options and "time_limit" not in options for options in asked)


# --- runs and coils -------------------------------------------------------------------------------------


def tubing(coil: float) -> Tubing:
    return Tubing(emitter_spacing=2 * FOOT, emitter_flow=1e-6, bend_radius=0.6, coil=coil * FOOT)


def cut(lengths: Sequence[float], coil: float, *, waste: float = 0.0) -> CutList:
    runs = [
        Run(name=f"R{number}", line=LineString([(0, number), (length * FOOT, number)]), row=number)
        for number, length in enumerate(lengths, start=1)
    ]
    return cut_coils(runs, tubing(coil), waste=waste)


def names(cuts: CutList) -> list[list[str]]:
    return [[piece.run for piece in coil.cuts] for coil in cuts.coils]


def test_every_run_in_one_piece_and_the_long_remainder_last() -> None:
    cuts = cut([300, 200, 250, 100], 500)
    # 850 ft: two coils at least; 300 + 200 fills one, or 250 + 250 cannot, so the other keeps 150
    assert names(cuts) == [["R1", "R2"], ["R3", "R4"]]
    assert [round(coil.left / FOOT, 6) for coil in cuts.coils] == [0, 150]
    assert cuts.fewest
    assert cuts.longest
    assert cuts.splices == ()


def test_coils_that_splicing_would_save_are_a_finding() -> None:
    """Six runs of 300 ft take a coil of 500 ft each; 1800 ft of tubing are four coils of it."""
    site = curved_field().site
    cuts = cut([300] * 6, 500)
    assert (cuts.spliced, cuts.left_over) == (4, pytest.approx(0.4))
    (finding,) = coil_findings(site, cuts)
    assert "6 coils of 500 ft, and leave 40 % of them over" in finding.said
    assert "would take 4." in finding.said
    assert list(coil_findings(site, cut([250] * 6, 500))) == []


def test_the_waste_comes_off_the_coil() -> None:
    assert len(cut([250, 250], 500).coils) == 1
    spread = cut([250, 250], 500, waste=0.05)
    assert len(spread.coils) == 2
    assert spread.coils[0].cuts[0].taken == pytest.approx(262.5 * FOOT)
    assert spread.coils[0].cuts[0].length == pytest.approx(250 * FOOT)


def test_a_run_as_long_as_the_coil_is_not_spliced_for_its_waste() -> None:
    cuts = cut([500, 499], 500, waste=0.05)
    assert cuts.splices == ()
    assert [coil.left for coil in cuts.coils] == [0, 0]


def test_a_run_longer_than_the_coil_by_rounding_alone_is_not_spliced() -> None:
    cuts = cut([500 * (1 + 5e-10)], 500)
    assert cuts.splices == ()
    assert [len(coil.cuts) for coil in cuts.coils] == [1]


@pytest.mark.parametrize(
    ("length", "waste", "stations"),
    [
        (501, 0.0, [500]),
        (1000, 0.0, [500]),
        (1000.5, 0.0, [500, 1000]),
        (700, 0.05, [476]),  # 500 / 1.05 = 476.19, and whole spacings of 2 ft lie midway between two emitters
        (
            990,
            0.05,
            [494],
        ),  # 476 + 500 is too little, and a third piece no remedy: half of it, in whole spacings
    ],
)
def test_longer_runs_have_the_fewest_splices(length: float, waste: float, stations: list[float]) -> None:
    cuts = cut([length, 30], 500, waste=waste)
    assert [splice.station / FOOT for splice in cuts.splices] == pytest.approx(stations)
    assert len(cuts.splices) == math.ceil(length / 500) - 1
    assert [splice.at[0] / FOOT for splice in cuts.splices] == pytest.approx(stations)
    pieces = [piece for coil in cuts.coils for piece in coil.cuts if piece.run == "R1"]
    assert math.fsum(piece.length for piece in pieces) == pytest.approx(length * FOOT, rel=1e-12)
    assert [piece.number for piece in pieces] == list(range(1, len(pieces) + 1))
    assert max(piece.length for piece in pieces) <= 500 * FOOT * (1 + 1e-9)


@given(
    lengths=st.lists(st.floats(5, 1200), min_size=1, max_size=14),
    waste=st.sampled_from([0.0, 0.05, 0.3]),
)
@settings(max_examples=40, deadline=None)
def test_cuts_add_up_and_no_coil_is_overdrawn(lengths: list[float], waste: float) -> None:
    cuts = cut(lengths, 500, waste=waste)
    pieces = [piece for coil in cuts.coils for piece in coil.cuts]
    assert math.fsum(piece.length for piece in pieces) / FOOT == pytest.approx(math.fsum(lengths), rel=1e-12)
    for coil in cuts.coils:
        taken = math.fsum(piece.taken for piece in coil.cuts)
        assert taken <= cuts.length + 1e-9
        assert coil.left == pytest.approx(cuts.length - taken, abs=1e-9)
    assert len(cuts.coils) >= math.fsum(lengths) / 500
    assert [coil.number for coil in cuts.coils] == list(range(1, len(cuts.coils) + 1))
    assert cuts == cut(lengths, 500, waste=waste)
