"""Lettering of a view: what finds no room is told by name, what a view does not show is left to another sheet."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest
from shapely import LineString, Point, box

from layout.model import Check, Design, Zone, site_place
from layout.sheets import layers
from layout.sheets.figures import Figures
from layout.sheets.labels import label_marks
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Line, Mark, Symbol, Text, View
from tests.fields import curved_field, field, tree_field


def lettered(
    design: Design, view: View, *, several: bool = False, marks: Sequence[Mark] = ()
) -> tuple[list[str], tuple[str, ...], int]:
    """The texts of a view, what found no room in it, and how many arrows it has."""
    made, unplaced = label_marks(
        design, view, marks, Figures(design.site.frame.units), Lettering(), several=several
    )
    texts = [mark.text for mark in made if isinstance(mark, Text)]
    arrows = sum(isinstance(mark, Symbol) and mark.name == "arrow" for mark in made)
    return texts, unplaced, arrows


def seen(design: Design, *, inches: float, at: tuple[float, float] | None = None) -> View:
    """The bed in the middle of a window so many inches wide and high that it fills it; or another place there."""
    left, bottom, right, top = design.site.bed.outline.bounds
    middle = at or ((left + right) / 2, (bottom + top) / 2)
    scale = max(right - left, top - bottom) / inches / 0.9
    return View(window=(0.0, 0.0, inches, inches), centre=middle, metres_per_inch=scale)


@pytest.mark.parametrize("make", [curved_field, tree_field])
def test_in_a_window_without_room_every_name_is_told(make: Callable[[], Design]) -> None:
    """Half an inch for a bed of 100 ft: what is not lettered is said to be missing, each name once."""
    design = make()
    texts, unplaced, arrows = lettered(design, seen(design, inches=0.5))
    assert arrows == 0
    assert "edge of bed" in unplaced
    runs, laterals = design.laying.runs, design.laterals
    for name in (runs[0].name, runs[-1].name, laterals[0].name, laterals[-1].name):
        assert (name in texts) != (name in unplaced)
    assert any(said.startswith("runs between those lettered") for said in unplaced)
    assert len(set(unplaced)) == len(unplaced)


@pytest.mark.parametrize("zones", [1, 2])
def test_what_lies_on_another_sheet_is_neither_lettered_nor_told(zones: int) -> None:
    design = curved_field()
    if zones == 2:
        design = replace(
            design,
            zones=tuple(
                Zone(
                    number=number,
                    laterals=(lateral.name,),
                    runs=lateral.runs,
                    tubing=1.0,
                    emitters=1,
                    flow=1e-4,
                )
                for number, lateral in enumerate(design.laterals, start=1)
            ),
        )
    beyond = design.site.bed.outline.bounds[2] + 500.0
    view = seen(design, inches=16.0, at=(beyond, 0.0))
    texts, unplaced, _ = lettered(design, view, several=True)
    assert [text for text in texts if not re.fullmatch(r"[EN] [\d,.]+", text)] == [], "but for the grid"
    assert unplaced == ()
    _, alone, _ = lettered(design, view)
    assert {run.name for run in design.laying.runs} <= set(alone), "of one view alone all is told"
    assert ("ZONE 1" in alone) == (zones == 2)


def test_a_pump_amid_names_is_told_where_it_finds_no_room() -> None:
    design = curved_field()
    assert design.site.pump is not None
    at = design.site.pump.at
    view = seen(design, inches=6.0, at=at)
    assert "pump" in lettered(design, view)[0]
    full = Symbol(layer=layers.PUMP, name="dot", at=at, size=12.0)
    assert "pump" in lettered(design, view, marks=(full,))[1]


def test_the_mark_of_a_failed_check_is_lettered_or_told() -> None:
    design = curved_field()
    run = design.laying.runs[0]
    at = run.line.interpolate(0.5, normalized=True)
    place = f"{run.name} at {site_place(design.site.frame, (at.x, at.y))}"
    check = Check(
        name="x", value=2.0, limit=1.0, unit="length", sense="most", ok=False, source="", place=place
    )
    failing = replace(design, checks=(check,))
    texts, _, _ = lettered(failing, seen(failing, inches=8.0))
    assert "mark 1" in texts
    assert "mark 1" in lettered(failing, seen(failing, inches=0.3))[1]


def test_a_run_too_short_for_an_arrow_has_none() -> None:
    design = field(
        "Long and short",
        [(0.0, 0.0), (40.0, 0.0), (40.0, 6.0), (0.0, 6.0)],
        [[(1.0, 5.0), (39.0, 5.0)], [(1.0, 1.0), (5.0, 1.0)]],
        pump=None,
        per_lateral=1,
    )
    view = seen(design, inches=3.0)
    made, _ = label_marks(design, view, (), Figures(design.site.frame.units), Lettering())
    places = [Point(mark.at) for mark in made if isinstance(mark, Symbol) and mark.name == "arrow"]
    long, short = (run.line for run in design.laying.runs)
    assert sum(long.distance(place) < 0.01 for place in places) == 2
    assert not any(short.distance(place) < 0.01 for place in places)


def test_lettering_keeps_off_the_lines_of_dimensions_not_off_their_tips() -> None:
    """Filled tips stand on lines that are kept clear anyway."""
    design = curved_field()
    view = seen(design, inches=9.0)
    left, bottom, right, top = design.site.bed.outline.bounds
    tip = Area(layer=layers.DIMENSION, shape=box(left, bottom, right, top))
    assert lettered(design, view, marks=(tip,))[0] == lettered(design, view)[0]
    bar = Line(layer=layers.DIMENSION, line=LineString([(left, bottom), (right, top)]))
    made, _ = label_marks(design, view, (bar,), Figures(design.site.frame.units), Lettering())
    on_paper, lettering = LineString(view.to_paper(bar.line.coords)), Lettering()
    places = [(mark, view.to_paper([mark.at])[0].tolist()) for mark in made if isinstance(mark, Text)]
    assert places
    assert not [mark.text for mark, at in places if lettering.box(mark, at=tuple(at)).intersects(on_paper)]
