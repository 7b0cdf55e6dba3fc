"""Zones: as even as can be, against every division; and that their parts add up to the whole."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.emitters import place_emitters
from layout.errors import NoRoomError
from layout.model import Design, Lateral, ZoneRules
from layout.zones import even_zones, evenness_checks, fewest_zones, make_zones
from tests.fields import curved_field

counts_of = st.lists(st.integers(1, 60), min_size=1, max_size=11)


def divisions(count: int, zones: int) -> Iterator[tuple[int, ...]]:
    """All ways to cut a row of things into so many pieces."""
    for cuts in itertools.combinations(range(1, count), zones - 1):
        yield tuple(end - start for start, end in itertools.pairwise((0, *cuts, count)))


def sums(counts: Sequence[int], sizes: Sequence[int]) -> list[int]:
    ends = [0, *itertools.accumulate(sizes)]
    return [sum(counts[start:end]) for start, end in itertools.pairwise(ends)]


def measure(counts: Sequence[int], sizes: Sequence[int]) -> tuple[int, int]:
    totals = sums(counts, sizes)
    return max(totals), sum(total**2 for total in totals)


@given(counts=counts_of, data=st.data())
@settings(max_examples=120, deadline=None)
def test_a_number_of_zones_is_divided_as_evenly_as_any_way_there_is(
    counts: list[int], data: st.DataObject
) -> None:
    zones = data.draw(st.integers(1, len(counts)))
    sizes = even_zones(counts, zones)
    assert (len(sizes), sum(sizes)) == (zones, len(counts))
    best = min(measure(counts, other) for other in divisions(len(counts), zones))
    assert measure(counts, sizes) == best


@given(counts=counts_of, most=st.integers(20, 200))
@settings(max_examples=120, deadline=None)
def test_no_fewer_zones_keep_a_flow_and_none_are_more_even(counts: list[int], most: int) -> None:
    def kept(sizes: tuple[int, ...]) -> bool:
        return all(total <= most or size == 1 for total, size in zip(sums(counts, sizes), sizes, strict=True))

    every = [
        sizes for zones in range(1, len(counts) + 1) for sizes in divisions(len(counts), zones) if kept(sizes)
    ]
    fewest = min(len(sizes) for sizes in every)
    assert fewest_zones(counts, most) == fewest
    sizes = even_zones(counts, fewest, most=most)
    assert kept(sizes)
    assert len(sizes) == fewest
    if max(counts) <= most:
        best = min(measure(counts, other) for other in every if len(other) == fewest)
        assert measure(counts, sizes) == best


def zoned(design: Design, rules: ZoneRules) -> Design:
    site = replace(design.site, zones=rules)
    emitters = tuple(place_emitters(run, site.tubing) for run in design.laying.runs)
    laterals, zones = make_zones(site, design.laterals, design.laying.runs, emitters)
    return replace(design, site=site, laterals=laterals, zones=zones, emitters=emitters)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_zones_add_up_to_the_field(count: int) -> None:
    design = zoned(curved_field(), ZoneRules(count=count))
    assert [zone.name for zone in design.zones] == [f"Z{n}" for n in range(1, count + 1)]
    assert [name for zone in design.zones for name in zone.laterals] == [
        lateral.name for lateral in design.laterals
    ]
    assert sorted(name for zone in design.zones for name in zone.runs) == sorted(
        run.name for run in design.laying.runs
    )
    assert sum(zone.emitters for zone in design.zones) == sum(row.count for row in design.emitters)
    assert math.fsum(zone.flow for zone in design.zones) == pytest.approx(
        math.fsum(row.flow for row in design.emitters), rel=1e-12
    )
    assert math.fsum(zone.tubing for zone in design.zones) == pytest.approx(
        math.fsum(run.length for run in design.laying.runs), rel=1e-12
    )
    for lateral in design.laterals:
        assert lateral.name in design.zones[lateral.zone - 1].laterals


def test_more_zones_than_laterals_is_a_clear_answer() -> None:
    with pytest.raises(NoRoomError, match=r"site.toml: zones.count: 4 zones are asked for, .* 3 laterals"):
        zoned(curved_field(), ZoneRules(count=4))


def test_a_stated_flow_is_kept_or_its_check_fails() -> None:
    design = curved_field()
    emitter = design.site.tubing.emitter_flow
    rows = {row.run: row.count for row in design.emitters}
    counts = [sum(rows[name] for name in lateral.runs) for lateral in design.laterals]
    for most, ok in ((counts[0] + counts[1], True), (min(counts) - 1, False)):
        made = zoned(design, ZoneRules(most_flow=most * emitter))
        checks = {check.name: check for check in evenness_checks(made.site, made.laterals, made.zones)}
        check = checks["greatest flow of a zone"]
        assert check.ok is ok
        assert check.value == pytest.approx(max(zone.flow for zone in made.zones))
        assert bool(check.place) is not ok


def test_how_even_laterals_are_is_shown() -> None:
    design = zoned(curved_field(), ZoneRules(count=1))
    laterals = tuple(
        Lateral(
            name=f"L{n}",
            runs=("R1",),
            length=length,
            blank=0.5,
            supply=(0, 0),
            drain=(30, 0),
            returns_near=False,
        )
        for n, length in enumerate((29.5, 19.5), start=1)
    )
    check = next(iter(evenness_checks(design.site, laterals, design.zones)))
    assert (check.name, check.value) == (
        "longest lateral over the shortest, with loops and leads",
        pytest.approx(1.5),
    )
    assert math.isinf(check.limit)
