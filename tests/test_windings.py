"""Chains of lines that loops tie end to end through a neck: which are chosen, against all divisions there are."""

from __future__ import annotations

import itertools

import pytest

from layout.runs.windings import Chain, Strand, best_chains


def strand(*, blank: float = 10.0, passes: bool = False, hand: int = -1) -> Strand:
    return Strand(
        length=20.0,
        blank=0.0 if passes else blank,
        before=0.0 if passes else 20.0,
        through=passes,
        hand=0 if passes else hand,  # type: ignore[arg-type]
    )


def chains(strands: list[Strand], room: tuple[int, int], *, longest: float = 1e3) -> list[Chain]:
    return list(best_chains(strands, room=room, longest=longest, most_blank=0.3))


def test_a_chain_of_an_even_number_comes_back_by_blank_tubing() -> None:
    assert chains([strand()] * 3 + [strand(passes=True)], (1, 0)) == [Chain(strands=(0, 1, 2, 3), back=True)]


def test_without_room_a_chain_ends_in_its_lobe() -> None:
    assert chains([strand()] * 3 + [strand(passes=True)], (0, 0)) == [Chain(strands=(3, 2, 1, 0), back=False)]


def test_lines_that_pass_are_ends_of_chains_only() -> None:
    found = chains([strand(), strand(passes=True), strand(passes=True), strand(hand=1)], (0, 0))
    assert sorted(chain.strands for chain in found) == [(1, 0), (2, 3)]


def test_chains_keep_to_the_longest_lateral() -> None:
    found = chains([strand(passes=True)] + [strand(hand=1)] * 9, (0, 0), longest=101.0)
    assert found == [Chain(strands=(0, 1, 2, 3, 4), back=False)]


def test_of_two_ways_the_one_with_less_blank_tubing_is_taken() -> None:
    dear, cheap = strand(blank=25.0), strand(blank=5.0)
    assert chains([dear, cheap], (1, 0)) == [Chain(strands=(1, 0), back=False)]
    assert chains([cheap, dear], (1, 0)) == [Chain(strands=(0, 1), back=False)]
    # of more, that which needs none
    assert chains([dear, cheap, strand(), strand()], (1, 0)) == [Chain(strands=(3, 2, 1, 0), back=False)]


@pytest.mark.parametrize("count", range(2, 8))
@pytest.mark.parametrize("room", [(0, 0), (1, 0), (1, 1), (2, 1)])
def test_chains_are_as_good_as_any_division(count: int, room: tuple[int, int]) -> None:
    """Against all ways to cut a row of strands into chains, tried one by one."""
    middle = count // 2
    strands = [
        strand(passes=True) if k == middle else strand(blank=6.0 + k, hand=-1 if k < middle else 1)
        for k in range(count)
    ]

    def options(first: int, last: int) -> list[tuple[int, int, int, int, float]]:
        size = last - first + 1
        found = [(size, 0, 0, 0, 0.0)]
        for gates in ((first,), (last,), (first, last)):
            if len(gates) == 2 and (size % 2 or first == last):
                continue
            if any(strands[k].through and k not in gates for k in range(first, last + 1)):
                continue
            blank = sum(strands[k].blank for k in gates)
            if blank > 0.3 * (20.0 * size + blank + sum(strands[k].before for k in gates)):
                continue
            hands = [strands[k].hand for k in gates]
            found.append((0, len(gates) == 1, hands.count(-1), hands.count(1), blank))
        return found

    best = (count + 1, 0, 0.0)
    for cuts in itertools.product((False, True), repeat=count - 1):
        starts = [0, *(k + 1 for k, cut in enumerate(cuts) if cut)]
        spans = list(zip(starts, [*(k - 1 for k in starts[1:]), count - 1], strict=True))
        for chosen in itertools.product(*(options(*span) for span in spans)):
            dry, astray, left, right = (sum(option[k] for option in chosen) for k in range(4))
            if left <= room[0] and right <= room[1]:
                best = min(best, (int(dry), int(astray), sum(option[4] for option in chosen)))
    found = chains(strands, room)
    gates = [
        k
        for chain in found
        for k in ((chain.strands[0], chain.strands[-1]) if chain.back else chain.strands[:1])
    ]
    assert (
        count - sum(len(chain.strands) for chain in found),
        sum(not chain.back for chain in found),
        sum(strands[k].blank for k in gates),
    ) == pytest.approx(best)
