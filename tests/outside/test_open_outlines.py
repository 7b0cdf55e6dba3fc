"""The laws of a layout on a hundred outlines of an open dataset: `data/README.md` says which.

Each outline is laid out by one of the patterns that `best` tries, in turn; all four hundred layouts are made by
`tests/bench/open_outlines.py`.
"""

from __future__ import annotations

import pytest
from shapely import Polygon

from layout.model import Pattern
from layout.units import FOOT
from tests.outlines import bed, broken_promises, outlines


def in_turn() -> list[tuple[str, Pattern]]:
    """The larger an outline, the quicker to lay is its pattern."""
    by_size = sorted(outlines(), key=lambda number: (Polygon(outlines()[number]).area, number))
    shares = [Pattern.EVEN] * 15 + [Pattern.CENTRE] * 25 + [Pattern.LEFT, Pattern.RIGHT] * 30
    # of one bed even rows parted, and one piece led past the end of the other, nearer than the least gap
    return [*zip(by_size, shares, strict=True), ("372", Pattern.EVEN)]


def test_dataset_is_what_its_notes_say() -> None:
    assert len(outlines()) == 100
    for number, points in outlines().items():
        polygon = Polygon(points)
        assert polygon.is_valid, number
        assert 20 <= len(points) <= 90, number
        assert 2 * polygon.area / polygon.length == pytest.approx(14 * FOOT, rel=0.01), number


@pytest.mark.parametrize(("number", "pattern"), in_turn())
def test_laws_hold_on_open_outlines(number: str, pattern: Pattern) -> None:
    assert broken_promises(bed(number), pattern) == []
