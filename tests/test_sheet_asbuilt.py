"""The as-built drawing: the plan thin and what was laid thick, where it was measured, with the figures of every run."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from layout.model import AsBuilt, Shot
from layout.plan import measure_laid
from layout.plane import coordinates
from layout.sheets.asbuilt import asbuilt_makers
from layout.sheets.asbuiltdrawing import LAID, NOT_MEASURED, PLANNED, WORST, asbuilt_drawing
from layout.sheets.marks import Line, Symbol, Text
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
