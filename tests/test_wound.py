"""What loops make of rows that obstacles part: walked bunch by bunch, it is what counting all rows at once gives."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from shapely import LineString, MultiPolygon, Polygon

from layout.runs.carried import Carried
from layout.runs.loops import Loops
from layout.runs.tied import WEIGHT_FAR, WEIGHT_INSIDE, WEIGHT_UNFED, ties
from layout.runs.trim import Ground
from layout.runs.wound import MANY, UNFED, WHOLE, Wound, came_to
from tests import beds
from tests.laid import field

LENGTH, SPACING = 80.0, 2.0


def parted(rng: np.random.Generator, count: int) -> list[Carried]:
    """Straight rows, each parted at some of six places; a few have no water of their own."""
    rows = []
    for k in range(count):
        parts = int(rng.choice([1, 1, 1, 2, 2, 3, 4]))
        at = np.sort(rng.choice(np.arange(10.0, LENGTH - 5, 12.0), parts - 1, replace=False))
        ends = [1.0, *(x for gap in at for x in (gap, gap + 3.0)), LENGTH - 1]
        y = 1.0 + SPACING * k
        pieces = tuple(LineString([(a, y), (b, y)]) for a, b in zip(ends[::2], ends[1::2], strict=True))
        rows.append(Carried(float(k), pieces, (None,) * (parts - 1), bool(rng.uniform() > 0.08)))
    return rows


def wound(rng: np.random.Generator, count: int, *, longest: float = 300.0) -> Wound:
    site = field(beds.rect(LENGTH, SPACING * count))
    ground = Ground(
        outline=Polygon(site.bed.outline.exterior),
        sides=site.sides,
        clearance=1.0,
        spacing=SPACING,
        closest=SPACING,
        radius=2.0,
        shortest=5.0,
        kept_clear=MultiPolygon(),
    )
    return Wound(parted(rng, count), Loops(ground), longest)


def some_led(rng: np.random.Generator, made: Wound) -> dict[int, frozenset[int]]:
    """Some of the gaps that loops can lead round."""
    led: dict[int, frozenset[int]] = {}
    for k, part in made.gaps:
        if made.round_((k, part)) is not None and rng.uniform() < 0.5:
            led[k] = led.get(k, frozenset()) | {part}
    return led


def groups(numbers: set[int]) -> list[list[int]]:
    """Numbers that follow each other."""
    found: list[list[int]] = []
    for k in sorted(numbers):
        if found and found[-1][-1] == k - 1:
            found[-1].append(k)
        else:
            found.append([k])
    return found


def counted(made: Wound, states: list[int]) -> tuple[int, int, int]:
    """Laterals that end at the far end, at an obstacle, and lines not wound, counted over all rows at once."""
    whole = {k for k, state in enumerate(states) if state == WHOLE}
    stubs = {k for k, state in enumerate(states) if state > WHOLE}
    used: set[int] = set()
    far = inside = dry = 0
    for group in groups({k for k in stubs if states[k] != MANY}):
        near = {"left": group[0] - 1, "right": group[-1] + 1}
        beside = {hand: k for hand, k in near.items() if k in whole - used}
        last = {k: states[k] for k in group} | dict.fromkeys(beside.values(), WHOLE)
        orders, left = made._wind(group, beside, last)
        dry += left
        for order in orders:
            used |= whole & set(order)
            if order[-1] not in whole:
                far, inside = far + len(order) % 2, inside + (len(order) % 2 == 0)
    far += sum(len(group) % 2 for group in groups(whole - used))
    inside += sum(len(group) % 2 for group in groups(stubs))
    return far, inside, dry


@pytest.mark.parametrize("seed", range(12))
def test_a_walk_from_bunch_to_bunch_counts_what_all_rows_come_to(seed: int) -> None:
    rng = np.random.default_rng(seed)
    made = wound(rng, int(rng.integers(3, 24)))
    for _ in range(6):
        states = made.states(some_led(rng, made))
        walk = made.walk(states)
        assert came_to(walk.end) == counted(made, states)
        ordered = [k for order in walk.orders for k in order]
        assert len(ordered) == len(set(ordered)), "no row is wound twice"


@pytest.mark.parametrize("seed", range(12))
def test_what_changes_is_walked_again_and_the_rest_counts_as_before(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    made = wound(rng, int(rng.integers(8, 24)))
    before, after = (made.states(some_led(rng, made)) for _ in range(2))
    walk = made.walk(before)
    changed = [(k, state) for k, state in enumerate(after) if state != before[k]]
    for changes in itertools.chain(([one] for one in changed), map(list, itertools.combinations(changed, 2))):
        states = before.copy()
        for k, state in changes:
            states[k] = state
        mark, start, end = made.again(walk, changes)
        assert came_to(mark) == counted(made, states)
        assert start <= changes[0][0]
        assert end > changes[-1][0]
    # of changes that matter to different rows the differences add up
    base = np.array(came_to(walk.end))
    alone = {one: made.again(walk, [one]) for one in changed}
    for one, other in itertools.combinations(changed, 2):
        if alone[one][2] <= alone[other][1]:
            both = np.array(came_to(made.again(walk, [one, other])[0]))
            each = [np.array(came_to(alone[change][0])) - base for change in (one, other)]
            assert both.tolist() == (base + each[0] + each[1]).tolist()


@pytest.mark.parametrize("seed", range(6))
def test_loops_are_chosen_as_well_as_any_few_gaps_would_have_them(seed: int) -> None:
    rng = np.random.default_rng(200 + seed)
    made = wound(rng, 6)
    found = ties(made.rows, made.loops, longest=made.longest)
    able = [gap for gap in made.gaps if made.round_(gap) is not None][:9]
    for size in (0, 1, 2):
        for gaps in itertools.combinations(able, size):
            led: dict[int, frozenset[int]] = {}
            for k, part in gaps:
                led[k] = led.get(k, frozenset()) | {part}
            far, inside, dry = counted(made, made.states(led))
            cost = WEIGHT_FAR * far + WEIGHT_INSIDE * inside + WEIGHT_UNFED * (dry + made.surplus(led))
            assert found.cost <= cost


def test_rows_not_fed_part_the_others() -> None:
    made = wound(np.random.default_rng(0), 5)
    assert came_to(made.walk([WHOLE, UNFED, WHOLE, WHOLE, UNFED]).end) == (1, 0, 0)
