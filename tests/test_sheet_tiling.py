"""Plans over several sheets: true to scale on every page, whole, joined by match lines, nothing lost."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from pypdf import PdfReader

from layout.errors import SheetError
from layout.model import Design, SheetRules
from layout.papers import SIZES
from layout.sheets import layers
from layout.sheets.drafting import draft
from layout.sheets.fieldmarks import core_shapes
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Drawing, Line, Sheet, Text
from layout.sheets.plot import write_pdf
from layout.sheets.seen import ground_of
from layout.sheets.tiling import matches
from layout.units import FOOT, INCH
from tests.fields import curved_field, wide_field


def stated(design: Design, size: str, ratio: float | None) -> Design:
    return replace(design, site=replace(design.site, sheet=SheetRules(size=size, ratio=ratio)))


MANY: dict[str, tuple[str, float, Callable[[], Design]]] = {
    "curved, 1 in = 5 ft": ("ANSI B", 60.0, curved_field),
    "curved, metric": ("A4", 50.0, lambda: curved_field("m")),
    "long": ("ANSI D", 120.0, lambda: wide_field(12, length=900.0)),
}


@pytest.fixture(scope="module", params=list(MANY))
def many(request: pytest.FixtureRequest) -> tuple[Design, Drawing]:
    size, ratio, made = MANY[request.param]
    design = stated(made(), size, ratio)
    return design, draft(design)


def plan_sheets(drawing: Drawing) -> list[Sheet]:
    return [sheet for sheet in drawing.sheets if sheet.view is not None]


def said(sheet: Sheet) -> list[str]:
    return [mark.text for mark in sheet.marks if isinstance(mark, Text)]


def test_all_of_the_field_is_shown_once(many: tuple[Design, Drawing]) -> None:
    design, drawing = many
    grounds = [ground_of(sheet.view) for sheet in plan_sheets(drawing) if sheet.view is not None]
    assert len(grounds) > 1
    whole = shapely.union_all([ground.buffer(1e-6) for ground in grounds])
    assert all(whole.covers(shape) for shape in core_shapes(design))
    assert sum(ground.area for ground in grounds) == pytest.approx(whole.area, rel=1e-4)
    for ground in grounds:
        assert np.any(shapely.intersects(core_shapes(design), ground))


def test_every_page_has_the_stated_size_and_scale(many: tuple[Design, Drawing], tmp_path: Path) -> None:
    """Runs and the frame of the window, read back from the file by another library, in points of 1/72 inch."""
    design, drawing = many
    write_pdf(drawing, tmp_path / "plan.pdf")
    pages = PdfReader(tmp_path / "plan.pdf").pages
    assert len(pages) == len(drawing.sheets)
    size, ratio = design.site.sheet.size, design.site.sheet.ratio
    assert ratio is not None
    for page, sheet in zip(pages, drawing.sheets, strict=True):
        width, height = (value / INCH * 72 for value in SIZES[size])
        assert [float(value) for value in page.mediabox] == pytest.approx([0, 0, width, height], abs=0.01)
        if sheet.view is None:
            continue
        bar = _bar_of(sheet)
        drawn = _level_edges(page)
        # The bar scale is lettered with the ground it measures.
        figure = next(
            re.match(r"bar: ([\d.,]+) (ft|m);", text) for text in said(sheet) if text.startswith("bar")
        )
        assert figure is not None
        ground = float(figure.group(1)) * (FOOT if figure.group(2) == "ft" else 1.0)
        wanted = ground / ratio / INCH * 72
        assert bar * 72 == pytest.approx(wanted, rel=0.002)
        assert np.min(np.abs(drawn - wanted / 4)) < 0.002 * wanted / 4


def _bar_of(sheet: Sheet) -> float:
    """Length of the bar scale [in]: four boxes side by side."""
    boxes = [
        mark.shape
        for mark in sheet.marks
        if isinstance(mark, Area)
        and mark.layer is layers.TITLE
        and mark.shape.bounds[3] - mark.shape.bounds[1] < 0.1
    ]
    left, _, right, _ = shapely.total_bounds(np.asarray(boxes, dtype=object))
    return float(right - left)


def _level_edges(page: object) -> np.ndarray:
    """Lengths of all level straight lines of a page [points]."""
    contents = page.get_contents().get_data().decode("latin-1")  # type: ignore[attr-defined]
    number = r"(-?[\d.]+)"
    found = re.findall(rf"(?={number} {number} [ml]\s+{number} {number} l\s)", contents)
    ends = np.asarray(found, dtype=float)
    level = np.abs(ends[:, 1] - ends[:, 3]) < 1e-6
    return np.asarray(np.abs(ends[level, 0] - ends[level, 2]))


def test_lettering_of_one_part_does_not_run_over_another_page(
    many: tuple[Design, Drawing], tmp_path: Path
) -> None:
    """Texts of each page, counted in the file: those that stand in its window, and those of the sheet itself."""
    _, drawing = many
    write_pdf(drawing, tmp_path / "plan.pdf")
    lettering = Lettering()
    for page, sheet in zip(PdfReader(tmp_path / "plan.pdf").pages, drawing.sheets, strict=True):
        wanted = len([text for text in said(sheet) if text])
        if sheet.view is not None:
            window = shapely.box(*sheet.view.window)
            for mark in drawing.plan:
                if isinstance(mark, Text):
                    x, y = sheet.view.to_paper([mark.at])[0].tolist()
                    wanted += window.intersects(lettering.box(mark, at=(x, y)))
        contents = page.get_contents()
        assert contents is not None
        assert len(re.findall(rb" Tm$", contents.get_data(), re.MULTILINE)) == wanted


def test_a_known_distance_of_the_ground_is_right_on_every_page(tmp_path: Path) -> None:
    """Straight runs of 900 ft cross several pages: what shows of them on each, added up, is 900 ft to 0.2 %."""
    design = stated(wide_field(12, length=900.0), "ANSI B", 120.0)
    drawing = draft(design)
    write_pdf(drawing, tmp_path / "plan.pdf")
    total, line = 0.0, design.laying.runs[0].line
    for page, sheet in zip(PdfReader(tmp_path / "plan.pdf").pages, drawing.sheets, strict=True):
        if sheet.view is None:
            continue
        left, bottom, right, top = (72 * value for value in sheet.view.window)
        y0 = float(72 * sheet.view.to_paper(line.coords[:1])[0, 1])
        contents = page.get_contents()
        assert contents is not None
        number = r"(-?[\d.]+)"
        found = re.findall(
            rf"{number} {number} m\s+{number} {number} l\s", contents.get_data().decode("latin-1")
        )
        seen = {
            (max(min(float(a), float(c)), left), min(max(float(a), float(c)), right))
            for a, b, c, d in found
            if abs(float(b) - y0) < 0.01 and abs(float(d) - y0) < 0.01 and bottom < y0 < top
        }
        total += max((b - a for a, b in seen), default=0.0)
    assert total / 72 * 10 == pytest.approx(line.length / FOOT, rel=0.002)


def test_match_lines_lead_to_each_other(many: tuple[Design, Drawing]) -> None:
    design, drawing = many
    sheets = plan_sheets(drawing)
    views = [sheet.view for sheet in sheets if sheet.view is not None]
    found = [matches(views, index, core_shapes(design)) for index in range(len(views))]
    pairs = {(index + 1, match.sheet) for index, each in enumerate(found) for match in each}
    assert pairs
    assert {(there, here) for here, there in pairs} == pairs
    opposite = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
    edges = {(index + 1, match.sheet): match.edge for index, each in enumerate(found) for match in each}
    assert all(edges[there, here] == opposite[edge] for (here, there), edge in edges.items())
    for index, sheet in enumerate(sheets):
        drawn = [mark for mark in sheet.marks if isinstance(mark, Line) and mark.layer is layers.MATCH]
        assert len(drawn) == len(found[index])
        words = [text for text in said(sheet) if "SHEET" in text]
        for match in found[index]:
            room = match.span[1] - match.span[0]
            assert room < 0.7 or any(text.endswith(f"SHEET {match.sheet}") for text in words)


def test_runs_are_joined_by_the_sheets_they_cross(many: tuple[Design, Drawing]) -> None:
    """Where a run leaves one sheet, the sheet beside it goes on with it: they share a match line there."""
    design, drawing = many
    views = [sheet.view for sheet in plan_sheets(drawing) if sheet.view is not None]
    grounds = [ground_of(view) for view in views]
    for index, ground in enumerate(grounds):
        led = {match.sheet for match in matches(views, index, core_shapes(design))}
        for run in design.laying.runs:
            cut = run.line.intersection(ground.exterior)
            for other, beside in enumerate(grounds, start=1):
                if other != index + 1 and not cut.is_empty and cut.distance(beside) < 1e-6:
                    assert other in led


def test_each_sheet_has_its_own_legend_number_and_key_plan(many: tuple[Design, Drawing]) -> None:
    _, drawing = many
    sheets = plan_sheets(drawing)
    for number, sheet in enumerate(sheets, start=1):
        words = said(sheet)
        assert {"Legend", "Key plan", f"Sheet {number} of {len(drawing.sheets)}"} <= set(words)
        assert {str(one) for one in range(1, len(sheets) + 1)} <= set(words)
    legends = [
        {mark.text for mark in sheet.marks if isinstance(mark, Text) and mark.layer is layers.LEGEND}
        for sheet in sheets
    ]
    pump = [index for index, legend in enumerate(legends) if "pump" in legend]
    assert len(pump) < len(sheets)


def test_every_run_is_lettered_somewhere_or_told(many: tuple[Design, Drawing]) -> None:
    design, drawing = many
    words = {mark.text.split()[0] for mark in drawing.plan if isinstance(mark, Text)}
    missing = [run.name for run in design.laying.runs if run.name not in words]
    assert set(missing) <= set(drawing.unlabelled)
    assert len(missing) <= 1


def test_a_long_bed_takes_several_sheets_rather_than_a_scale_that_cannot_be_read() -> None:
    drawing = draft(wide_field(12, length=2600.0))
    assert len(plan_sheets(drawing)) > 1
    assert drawing.scale == "1 in = 20 ft"
    assert drawing.paper.name == "ANSI D"


def test_a_stated_size_and_scale_that_hold_the_field_give_one_sheet() -> None:
    drawing = draft(stated(curved_field(), "ARCH E", 240.0))
    assert len(plan_sheets(drawing)) == 1
    assert (drawing.paper.name, drawing.scale) == ("ARCH E", "1 in = 20 ft")
    assert draft(stated(curved_field(), "", 240.0)).scale == "1 in = 20 ft"
    assert draft(stated(curved_field(), "ARCH D", None)).paper.name == "ARCH D"


def test_a_scale_that_takes_hundreds_of_sheets_is_refused() -> None:
    with pytest.raises(
        SheetError, match=r"sheet\.scale: at this scale the plan would take more than 99 sheets"
    ):
        draft(stated(wide_field(12, length=2600.0), "A4", 10.0))
