"""The picture of readings: each in its place, with band and words, nothing over anything."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from pypdf import PdfReader
from shapely.strtree import STRtree

from layout.model import FlowReading
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Dots, Text
from layout.sheets.trend import trend_makers, trend_sheet
from layout.startup.expected import Expected
from layout.startup.log import series_of
from layout.units import GALLON, MINUTE
from tests.fields import curved_field

GPM = GALLON / MINUTE
SITE = curved_field().site
MINE = Expected(zone=1, doing="dosing", flow=3.05 * GPM, band=0.1)


def readings(flows: list[float], days: int) -> list[FlowReading]:
    first = date(2026, 5, 1)
    return [
        FlowReading(on=first + timedelta(days=days * n), zone=1, doing="dosing", said="", flow=flow * GPM)
        for n, flow in enumerate(flows)
    ]


@pytest.mark.parametrize(
    ("flows", "days"),
    [
        ([3.05], 1),
        ([3.05, 3.04], 1),
        ([3.0, 2.9, 2.8, 2.7], 365),
        ([3.0, 3.0, 3.0], 0),
        ([0.1, 30.0], 20),
        ([3.0 + 0.01 * n for n in range(60)], 400),
        ([2.745, 3.355], 90),
    ],
)
def test_lettering_lies_over_nothing(flows: list[float], days: int) -> None:
    drawing, lettering = trend_sheet(SITE, series_of(readings(flows, days), [MINE])), Lettering()
    for sheet in drawing.sheets:
        texts = [mark for mark in sheet.marks if isinstance(mark, Text)]
        boxes = [lettering.mask(mark, at=mark.at).buffer(-0.005) for mark in texts]
        pairs = STRtree(boxes).query(boxes, predicate="intersects")
        assert [(texts[a].text, texts[b].text) for a, b in pairs.T.tolist() if a < b] == []
    dots = [mark for sheet in drawing.sheets for mark in sheet.marks if isinstance(mark, Dots)]
    assert [len(mark.points) for mark in dots] == [len(flows)]


def test_dots_stand_where_the_scale_says() -> None:
    drawing = trend_sheet(SITE, series_of(readings([3.05, 2.745], 365), [MINE]))
    marks = drawing.sheets[0].marks
    (dots,) = [mark for mark in marks if isinstance(mark, Dots)]
    scale = {mark.text: mark.at[1] for mark in marks if isinstance(mark, Text) and mark.align == "right"}
    half = 0.078 / 2
    assert dots.points[0][1] == pytest.approx(scale["100 %"] + half, abs=1e-9)
    assert dots.points[1][1] == pytest.approx(scale["90 %"] + half, abs=1e-9)


def test_files_are_the_same_each_time_and_say_what_there_is(tmp_path: Path) -> None:
    series = series_of(readings([3.0, 2.9, 2.8, 2.7], 365), [MINE])
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        for name, make in trend_makers(SITE, series):
            make(tmp_path / folder / name)
    for name in ("trend.png", "trend.pdf"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
    text = " ".join(PdfReader(tmp_path / "a" / "trend.pdf").pages[0].extract_text().split())
    assert "Z1 dosing: the flow falls" in text
    assert "expected 3.05 gal/min" in text


def test_a_state_that_the_plan_does_not_know_is_held_against_its_first_reading() -> None:
    drawing = trend_sheet(SITE, series_of(readings([3.0, 2.9], 30), []))
    text = " ".join(mark.text for mark in drawing.sheets[0].marks if isinstance(mark, Text))
    assert "held against the first alone" in text
    assert "band" not in text
