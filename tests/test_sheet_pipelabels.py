"""Lettering of pipes and valves on the plan: what the crew turns is named, with a leader to it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from layout.model import Design, Fitting
from layout.sheets import layers
from layout.sheets.figures import Figures
from layout.sheets.labels import label_marks
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Line, Text, View
from tests.fields import curved_field


def with_valves(*beside: float) -> Design:
    """The curved field with flush valves so far beside its first lateral's end [m], and no other fittings."""
    design = curved_field()
    x, y = design.plumbing.manifolds[-1].feed
    valves = tuple(Fitting(kind="flush valve", at=(x - off, y), on="return", of="line") for off in beside)
    return replace(design, plumbing=replace(design.plumbing, fittings=valves))


@pytest.mark.parametrize(
    ("beside", "said"),
    [
        ((6.0,), ["return flush valve"]),
        ((6.0, 6.3), ["2 return flush valves"]),
        ((3.0, 12.0), ["return flush valve"] * 2),
    ],
)
def test_flush_valves_are_named_those_side_by_side_together(
    beside: tuple[float, ...], said: list[str]
) -> None:
    design = with_valves(*beside)
    x, y = design.plumbing.fittings[0].at
    view = View(window=(0.0, 0.0, 9.0, 9.0), centre=(x, y), metres_per_inch=5.0)
    made, unplaced = label_marks(design, view, [], Figures(design.site.frame.units), Lettering())
    assert [mark.text for mark in made if isinstance(mark, Text) and "flush" in mark.text] == said
    assert not any("flush" in name for name in unplaced)
    ends = [mark.line.coords[-1] for mark in made if isinstance(mark, Line) and mark.layer == layers.LEADER]
    for item in design.plumbing.fittings[: len(said)]:
        assert any(abs(px - item.at[0]) < 0.8 and abs(py - item.at[1]) < 0.8 for px, py in ends)
    elsewhere = replace(view, centre=(x + 500.0, y))
    texts = label_marks(design, elsewhere, [], Figures(design.site.frame.units), Lettering())[0]
    assert not any(isinstance(mark, Text) and "flush" in mark.text for mark in texts)
