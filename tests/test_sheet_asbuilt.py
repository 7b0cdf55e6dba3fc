"""The as-built drawing: the plan thin and what was laid thick, where it was measured, with the figures of every run."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader
from shapely import LineString, Point, box

from layout.model import AsBuilt, SheetRules, Shot, Zone
from layout.plan import measure_laid
from layout.plane import coordinates
from layout.sheets.asbuilt import asbuilt_makers, total_rows
from layout.sheets.asbuiltdrawing import LAID, NOT_MEASURED, PLANNED, WORST, _beside, asbuilt_drawing
from layout.sheets.crew.picture import Taken
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Line, Symbol, Text, View
from tests.fields import curved_field
from tests.surveyed import on_runs, shots_of


@pytest.fixture(scope="module")
def found() -> AsBuilt:
    points = on_runs(curved_field(), noise=0.04, moved={"R3": 0.9}, seed=2)
    del points["R6"]
    astray = Shot(at=(-3.0, 1.0), place="line 77")
    return measure_laid(curved_field(), [*shots_of(points)[0], astray])


def test_planned_thin_laid_thick(found: AsBuilt) -> None:
    drawing = asbuilt_drawing(found)
    lines = [mark for mark in drawing.plan if isinstance(mark, Line) and mark.pen is None]
    laid = {mark.line.wkt for mark in lines if mark.layer is LAID}
    assert laid == {run.line.wkt for run in found.runs if run.line is not None}
    planned = {mark.line.wkt for mark in lines if mark.layer in {PLANNED, NOT_MEASURED}}
    assert planned == {run.line.wkt for run in found.design.laying.runs}
    assert LAID.pen.weight > 2 * PLANNED.pen.weight
    assert [mark.line.wkt for mark in lines if mark.layer is NOT_MEASURED] == [
        found.design.laying.runs[5].line.wkt
    ]
    (worst,) = [mark for mark in drawing.plan if isinstance(mark, Symbol) and mark.layer is WORST]
    assert worst.at == found.runs[2].greatest_at
    # drawn where it was measured: some point of the survey lies there
    line = coordinates(found.runs[2].line)  # type: ignore[arg-type]
    assert np.hypot(*(line - worst.at).T).min() < 1e-6


def test_the_figures_of_every_run_are_on_the_sheet(found: AsBuilt) -> None:
    words = [
        mark.text for sheet in asbuilt_drawing(found).sheets for mark in sheet.marks if isinstance(mark, Text)
    ]
    for run in found.runs:
        assert run.run in words
        assert f"{run.planned / 0.3048:.2f}" in words
        if run.line is not None:
            assert f"{run.length / 0.3048:.2f}" in words
    assert words.count("OFF") == 1
    assert words.count("NONE") == 1
    text = " ".join(words)
    assert f"R3 off {found.runs[2].offset_greatest / 0.3048:.2f}" in text
    assert "line 77" in text
    failed = sum(not check.ok for check in found.checks)
    assert f"{failed} of {len(found.checks)} checks of what was laid FAIL" in text
    assert "WAC 246-272A-0265" in text


def test_the_files(found: AsBuilt, tmp_path: Path) -> None:
    for name, make in asbuilt_makers(found):
        make(tmp_path / name)
    assert {path.name for path in tmp_path.iterdir()} == {"asbuilt.json", "asbuilt.pdf", "asbuilt.png"}
    page = PdfReader(tmp_path / "asbuilt.pdf").pages[0]
    assert "As built" in page.extract_text()


def test_a_field_that_one_sheet_does_not_hold_takes_several_with_a_key(found: AsBuilt) -> None:
    """At a stated 1 in = 5 ft on the smallest sheets: each has its part, its match lines and the key plan."""
    site = replace(found.design.site, sheet=SheetRules(size="ANSI B", ratio=60))
    drawing = asbuilt_drawing(replace(found, design=replace(found.design, site=site)))
    views = [sheet.view for sheet in drawing.sheets if sheet.view is not None]
    assert len(views) > 2
    texts = [[mark.text for mark in sheet.marks if isinstance(mark, Text)] for sheet in drawing.sheets]
    for number, said in enumerate(texts[: len(views)], start=1):
        assert any(f"as laid, part {number} of {len(views)}" in text.lower() for text in said)
        assert any("match" in text.lower() for text in said)
    off = [number for number, said in enumerate(texts) if any(text.startswith("R3 off") for text in said)]
    assert len(off) == 1, "told on the sheet that shows the place"
    assert found.runs[2].greatest_at is not None
    (place,) = views[off[0]].to_paper([found.runs[2].greatest_at])
    assert box(*views[off[0]].window).contains(Point(place))


def test_a_label_without_room_is_left_out_not_set_over_others() -> None:
    lettering = Lettering()
    view = View(window=(0.0, 0.0, 6.0, 6.0), centre=(0.0, 0.0), metres_per_inch=1.0)
    taken = Taken(view, lettering, [box(*view.window)])
    assert _beside(taken, "R3 off 0.90", np.array([3.0, 3.0]), (0.0, 1.0, 2.0)) == []
    free = Taken(view, lettering, [])
    leader, text = _beside(free, "R3 off 0.90", np.array([3.0, 3.0]), (0.0, 1.0, 2.0))
    assert isinstance(leader, Line)
    assert isinstance(text, Text)
    crossed = Taken(view, lettering, [])
    crossed.keep_off([LineString([(0.0, y), (6.0, y)]) for y in np.arange(0.0, 6.0, 0.05)])
    assert _beside(crossed, "R3 off 0.90", np.array([3.0, 3.0]), (0.0, 1.0, 2.0)) == []


def test_zones_that_never_run_together_are_timed_each_by_itself(found: AsBuilt) -> None:
    names = tuple(run.run for run in found.runs)
    parts = [names[:2], names[2:]]
    zones = tuple(
        Zone(number=number, laterals=("L1",), runs=runs, tubing=1.0, emitters=1, flow=1.0)
        for number, runs in enumerate(parts, start=1)
    )
    rows = total_rows(replace(found, design=replace(found.design, zones=zones)))
    times = [row for row in rows if row[0].startswith("seconds a gal")]
    assert [row[0] for row in times] == ["seconds a gal, Z1", "seconds a gal, Z2"]
    planned = {run.run: run.flow_planned / 6.30902e-05 for run in found.runs}  # 1 gal/min in m³/s
    for (_, said, _), runs in zip(times, parts, strict=True):
        assert float(said) == pytest.approx(60 / sum(planned[name] for name in runs), abs=0.006)
    assert [row[0] for row in total_rows(found) if row[0].startswith("seconds")] == ["seconds a gal"]
