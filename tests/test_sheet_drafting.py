"""The drawing of a plan: sheet and scale, lettering that never collides, and what the tables say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point

from layout.model import Design, SheetRules, places_in, site_place
from layout.sheets import layers
from layout.sheets.arrange import MARGIN, scales
from layout.sheets.drafting import draft
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Drawing, Line, Symbol, Text
from layout.sheets.tables import CAUTIONS, NOT_A_PERMIT
from tests.fields import curved_field, kinds_field, strip_field, tree_field, wide_field

LEAST_LETTER = 0.08

FIELDS: dict[str, Callable[[], Design]] = {
    "curved": curved_field,
    "strip": strip_field,
    "wide": wide_field,
    "metric": lambda: curved_field("m"),
    "survey feet": lambda: curved_field("us-ft", origin=(2_100_000.5, 710_000.25)),
    "tree": tree_field,
    "kinds": kinds_field,
    "crowded": lambda: wide_field(160, length=660.0),
}


@pytest.fixture(scope="module", params=list(FIELDS))
def drawn(request: pytest.FixtureRequest) -> tuple[Design, Drawing]:
    design = FIELDS[request.param]()
    return design, draft(design)


def plan_texts(drawing: Drawing) -> list[Text]:
    return [mark for mark in drawing.plan if isinstance(mark, Text)]


def on_paper(drawing: Drawing, mark: Text) -> shapely.Polygon:
    at = drawing.view.to_paper([mark.at])[0]
    return Lettering().box(mark, at=(float(at[0]), float(at[1])))


def collisions(boxes: list[shapely.Polygon], texts: list[str]) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes share more than a hair."""
    tree = shapely.STRtree(boxes)
    first, second = tree.query(boxes, predicate="intersects")
    return [
        (texts[i], texts[j])
        for i, j in zip(first, second, strict=True)
        if i < j and boxes[i].intersection(boxes[j]).area > 1e-6
    ]


def test_no_label_of_the_plan_covers_another(drawn: tuple[Design, Drawing]) -> None:
    _, drawing = drawn
    marks = plan_texts(drawing)
    assert len(marks) > 8
    assert collisions([on_paper(drawing, mark) for mark in marks], [mark.text for mark in marks]) == []


def test_labels_stay_in_the_window_and_off_the_symbols(drawn: tuple[Design, Drawing]) -> None:
    _, drawing = drawn
    window = shapely.box(*drawing.view.window)
    symbols = [
        shapely.Point(drawing.view.to_paper([mark.at])[0]).buffer(0.45 * mark.size)
        for mark in drawing.plan
        if isinstance(mark, Symbol) and mark.layer is not layers.LEADER
    ]
    for mark in plan_texts(drawing):
        box = on_paper(drawing, mark)
        assert window.covers(box), mark.text
        assert not np.any(shapely.intersects(box, np.asarray(symbols, dtype=object))), mark.text


def test_nothing_on_any_sheet_covers_a_text_or_leaves_the_border(drawn: tuple[Design, Drawing]) -> None:
    _, drawing = drawn
    lettering = Lettering()
    border = shapely.box(MARGIN, MARGIN, drawing.paper.width - MARGIN, drawing.paper.height - MARGIN)
    for sheet in drawing.sheets:
        texts = [mark for mark in sheet.marks if isinstance(mark, Text)]
        boxes = [lettering.box(mark) for mark in texts]
        assert collisions(boxes, [mark.text for mark in texts]) == []
        assert [mark.text for mark, box in zip(texts, boxes, strict=True) if not border.covers(box)] == []
        if sheet.view is not None:
            window = shapely.box(*sheet.view.window)
            assert not any(window.intersects(box) for box in boxes)


def test_leaders_do_not_run_through_labels(drawn: tuple[Design, Drawing]) -> None:
    _, drawing = drawn
    boxes = [on_paper(drawing, mark).buffer(-0.01) for mark in plan_texts(drawing)]
    for mark in drawing.plan:
        if isinstance(mark, Line) and mark.layer is layers.LEADER:
            leader = shapely.LineString(drawing.view.to_paper(shapely.get_coordinates(mark.line)))
            assert not np.any(shapely.intersects(leader, np.asarray(boxes, dtype=object)))


def test_lettering_is_large_enough(drawn: tuple[Design, Drawing]) -> None:
    _, drawing = drawn
    texts = plan_texts(drawing) + [
        mark for sheet in drawing.sheets for mark in sheet.marks if isinstance(mark, Text)
    ]
    assert min(mark.height for mark in texts) >= LEAST_LETTER


def test_scale_is_a_standard_one_and_shows_the_field(drawn: tuple[Design, Drawing]) -> None:
    design, drawing = drawn
    assert (drawing.view.metres_per_inch, drawing.scale) in scales(design.site.frame.units)
    window = shapely.box(*drawing.view.window)
    for run in design.laying.runs:
        assert window.covers(shapely.transform(run.line, drawing.view.to_paper))
    assert window.covers(shapely.transform(design.site.bed.outline, drawing.view.to_paper))
    # The field fills the sheet: one scale larger would not leave room for it and its labels.
    every = [metres for metres, _ in scales(design.site.frame.units)]
    index = every.index(drawing.view.metres_per_inch)
    if index:
        bounds = shapely.total_bounds(
            np.asarray([run.line for run in design.laying.runs] + [design.site.bed.outline], dtype=object)
        )
        shown = (bounds[2:] - bounds[:2]) / every[index - 1]
        room = np.array(drawing.view.window[2:]) - np.array(drawing.view.window[:2])
        assert np.any(shown > 0.3 * room)


def test_every_run_and_lateral_is_in_the_schedules(drawn: tuple[Design, Drawing]) -> None:
    design, drawing = drawn
    said = [mark.text for sheet in drawing.sheets for mark in sheet.marks if isinstance(mark, Text)]
    figures = Figures(design.site.frame.units)
    for run in design.laying.runs:
        assert run.name in said
        assert figures.length(run.length) in said
    for lateral in design.laterals:
        assert lateral.name in said
        assert figures.length(lateral.length) in said
    assert figures.length_of(design.totals.tubing) in said


def test_runs_are_named_on_the_plan_or_the_sheet_says_which_are_not(drawn: tuple[Design, Drawing]) -> None:
    design, drawing = drawn
    words = {mark.text.split()[0] for mark in plan_texts(drawing)}
    named = [run.name for run in design.laying.runs if run.name in words]
    assert named
    if len(named) < len(design.laying.runs):
        assert drawing.unlabelled
        heading = [mark.text for mark in drawing.sheets[0].marks if isinstance(mark, Text)]
        assert any(text.startswith(("Not lettered", "Schedules: see")) for text in heading)


def test_cautions_are_on_the_first_sheet(drawn: tuple[Design, Drawing]) -> None:
    _, drawing = drawn
    said = " ".join(mark.text for mark in drawing.sheets[0].marks if isinstance(mark, Text))
    for caution in (*CAUTIONS, NOT_A_PERMIT):
        assert caution in said
    for word in ("one-call", "confined-space", "pathogens", "licensed electrician", "potable", "vehicles"):
        assert word in said


def legend_of(drawing: Drawing) -> set[str]:
    return {
        mark.text
        for mark in drawing.sheets[0].marks
        if isinstance(mark, Text) and mark.layer is layers.LEGEND
    }


def test_the_legend_shows_just_what_is_on_the_sheet() -> None:
    plain = legend_of(draft(curved_field()))
    assert {"run: emitting tubing", "end loop, no emitters", "well", "property line", "building"} <= plain
    assert plain.isdisjoint({"tree", "drive", "blank tubing, no emitters", "water body", "slope"})
    cut = legend_of(draft(tree_field()))
    assert {"blank tubing, no emitters", "tree", "tank", "limit of a setback"} <= cut
    # That field's well stands beyond the window.
    assert "well" not in cut


def test_checks_say_ok_or_fails_with_figure_limit_and_source() -> None:
    said = [mark.text for mark in draft(curved_field()).sheets[0].marks if isinstance(mark, Text)]
    assert said.count("FAILS") == 1
    assert said.count("ok") == 3
    assert "226.38 ft, at most 300.00 ft (longest lateral stated)" in said
    assert any(text.startswith("1 of 4 design checks FAIL; not checked: ") for text in said)


def test_a_check_that_fails_by_less_than_the_print_shows_says_so() -> None:
    design = curved_field()
    close = replace(design.checks[0], value=0.98 * 2.0 * 0.3048 - 1e-6, ok=False)
    drawing = draft(replace(design, checks=(close, *design.checks[1:])))
    said = " ".join(mark.text for mark in drawing.sheets[0].marks if isinstance(mark, Text))
    assert "just under 1.96 ft, at least 1.96 ft" in said


def test_crowded_runs_get_every_fifth_label() -> None:
    drawing = draft(wide_field(160, length=660.0))
    words = {mark.text.split()[0] for mark in plan_texts(drawing)}
    assert {"R1", "R5", "R155", "R160"} <= words
    assert "R6" not in words
    assert "runs between those lettered (every 5th)" in drawing.unlabelled


def test_long_schedules_go_on_on_further_sheets() -> None:
    field = wide_field(400, length=900.0)
    # Left to itself it would take several sheets at a larger scale.
    drawing = draft(replace(field, site=replace(field.site, sheet=SheetRules(ratio=720.0))))
    assert len(drawing.sheets) > 1
    assert drawing.sheets[0].view is not None
    assert all(sheet.view is None for sheet in drawing.sheets[1:])
    first = [mark.text for mark in drawing.sheets[0].marks if isinstance(mark, Text)]
    assert any("Schedules: see sheet 2" in text for text in first)


def test_flow_arrows_follow_the_water() -> None:
    design = curved_field()
    drawing = draft(design)
    first, second = design.laying.runs[:2]
    for mark in drawing.plan:
        if not isinstance(mark, Symbol) or mark.layer is not layers.FLOW:
            continue
        for run, sense in ((first, 1.0), (second, -1.0)):
            if run.line.distance(shapely.Point(mark.at)) < 0.01:
                along = run.line.project(shapely.Point(mark.at))
                tail, tip = run.line.interpolate(along - 0.1), run.line.interpolate(along + 0.1)
                way = np.array([tip.x - tail.x, tip.y - tail.y]) * sense
                heading = np.array([np.cos(np.radians(mark.angle)), np.sin(np.radians(mark.angle))])
                assert way @ heading / np.hypot(*way) > 0.99


@pytest.mark.parametrize("units", ["ft", "us-ft", "m"])
def test_paper_follows_the_units(units: str) -> None:
    drawing = draft(curved_field(units))
    assert drawing.paper.name.startswith("A3" if units == "m" else "ANSI B")
    assert drawing.scale == ("1 : 200" if units == "m" else "1 in = 20 ft")


def test_the_same_design_gives_the_same_drawing() -> None:
    assert draft(tree_field()) == draft(tree_field())


def test_a_field_without_pump_features_or_joins() -> None:
    design = curved_field()
    site = replace(
        design.site, pump=None, features=(), design=replace(design.site.design, flow=None, loading=None)
    )
    bare = replace(
        design,
        site=site,
        joins=(),
        findings=(),
        checks=(),
        plumbing=replace(design.plumbing, manifolds=(), risers=(), lines=()),
        ground=replace(design.ground, takes=()),
    )
    drawing = draft(bare)
    marks = plan_texts(drawing)
    assert collisions([on_paper(drawing, mark) for mark in marks], [mark.text for mark in marks]) == []
    assert legend_of(drawing).isdisjoint({"pump", "supply line", "well"})


def test_what_fails_is_marked_where_it_fails() -> None:
    """A check with places has a numbered mark at each; places come back from the words of a check to a hundredth."""
    design = curved_field("m", origin=(512.0, 1033.0))
    frame, line = design.site.frame, design.laying.runs[0].line
    ats = [(float(x), float(y)) for x, y in (line.coords[0], line.coords[-1])]
    words = " and ".join(site_place(frame, at) for at in ats)
    assert places_in(frame, words) == [pytest.approx(at, abs=0.0051) for at in ats]
    failed = replace(design.checks[0], name="made to fail", ok=False, place=f"R1 at {words}")
    elsewhere = replace(failed, name="fails nowhere", place="with one dose a day")
    design = replace(design, checks=(*design.checks, elsewhere, failed))
    drawing = draft(design)
    marks = [mark for mark in drawing.plan if isinstance(mark, Symbol) and mark.name == "failing"]
    assert [mark.at for mark in marks] == places_in(frame, words)
    assert [mark.text for mark in plan_texts(drawing)].count("mark 1") == 2
    said = [mark.text for sheet in drawing.sheets for mark in sheet.marks if isinstance(mark, Text)]
    assert "FAILS, mark 1" in said
    assert "place where a design check fails" in said


def test_the_length_over_all_is_led_to_the_bed() -> None:
    """Lines run on from both ends of the dimension to the bed, a hair short of it."""
    design = curved_field()
    drawing = draft(design)
    (item,) = [item for item in drawing.dimensions if "over all" in item.words]
    edge = LineString(design.site.bed.outline.exterior.coords)
    led = [mark.line for mark in drawing.plan if isinstance(mark, Line) and mark.layer is layers.LEADER]
    for end in (item.start, item.end):
        if edge.distance(Point(end)) < 0.05 * drawing.view.metres_per_inch:
            continue
        (line,) = [line for line in led if line.distance(Point(end)) < 1e-9]
        assert edge.distance(line) < 0.05 * drawing.view.metres_per_inch


def test_setbacks_are_named_after_their_features() -> None:
    drawing = draft(kinds_field())
    said = " ".join(mark.text for mark in plan_texts(drawing))
    named = [item.name for item in kinds_field().site.features if f"setback of {item.name}" in said]
    assert len(named) >= 3
