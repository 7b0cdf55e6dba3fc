"""The detail at the pump: every flush valve stands in it where the layout has it, named with its size."""

from __future__ import annotations

import math
from dataclasses import replace

from layout.fittings import place_fittings
from layout.model import Design
from layout.sheets.arrange import paper_named
from layout.sheets.details.atpump import flush_valves, pump_picture
from layout.sheets.details.pages import detail_pages
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Symbol, Text
from tests.fields import curved_field

WINDOW = (1.0, 1.0, 11.0, 5.0)


def fitted() -> Design:
    design = curved_field()
    return replace(design, plumbing=place_fittings(design.plumbing, design.joins, design.laterals))


def test_each_flush_valve_is_drawn_where_it_is_and_named() -> None:
    design = fitted()
    valves = flush_valves(design)
    assert len(valves) == sum(line.kind == "return" for line in design.plumbing.lines) > 0
    figures = Figures(design.site.frame.units)
    picture, scale = pump_picture(design, WINDOW, figures, Lettering())
    drawn = [mark for mark in picture.marks if isinstance(mark, Symbol) and mark.name == "flush valve"]
    assert len({mark.at for mark in drawn}) == len(valves)
    feet = float(scale.split("=")[1].removesuffix("ft"))
    assert picture.view.metres_per_inch == feet * design.site.frame.units.length
    for item in valves:
        at = picture.paper(item.at)
        assert min(math.dist(mark.at, at) for mark in drawn) < 1e-9
        left, bottom, right, top = WINDOW
        assert left < at[0] < right
        assert bottom < at[1] < top
        assert item.size is not None
    said = [mark.text for mark in picture.marks if isinstance(mark, Text)]
    assert f"return flush valve, {figures.diameter_of(valves[0].size or 0.0)}" in said
    assert {"pump", "return line"} <= set(said)
    assert picture.unlettered == []
    pump = design.site.pump
    assert pump is not None
    far = figures.length(math.dist(pump.at, valves[0].at))
    assert len(valves) == 1
    assert picture.remarks[0].startswith(f"Flush valve, {far} ft from the pump, in a box: ")
    two = replace(design.plumbing, fittings=(valves[0], valves[0]))
    picture, _ = pump_picture(replace(design, plumbing=two), WINDOW, figures, Lettering())
    assert picture.remarks[0].startswith(f"Flush valves, {far} ft from the pump, in boxes: ")


def test_a_field_without_return_lines_has_no_such_detail() -> None:
    design = fitted()
    figures, lettering = Figures(design.site.frame.units), Lettering()
    bare = replace(design, plumbing=replace(design.plumbing, lines=(), fittings=()))
    for made, there in ((design, True), (bare, False)):
        pages = detail_pages(made, paper_named("ANSI D"), figures, lettering)
        said = " ".join(mark.text for page in pages for mark in page.marks if isinstance(mark, Text))
        assert ("flush valves at the pump" in said) == there
