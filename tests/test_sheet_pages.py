"""Sheets bound into sets: title blocks from the site file, pictures at scales of their own, sizes and scales."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from shapely import LineString, Polygon

from layout.model import SheetRules
from layout.papers import SIZES, in_words, ratio_of
from layout.sheets import layers
from layout.sheets.arrange import MARGIN, paper_named
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Dots, Line, Mark, Symbol, Text, View
from layout.sheets.pages import Page, bind, open_area, over_title, through
from layout.units import FOOT, INCH, US_SURVEY_FOOT
from tests.fields import curved_field


def texts(marks: tuple[Mark, ...]) -> list[str]:
    return [mark.text for mark in marks if isinstance(mark, Text)]


def test_a_set_is_numbered_and_says_what_the_site_file_says() -> None:
    stated = SheetRules(
        title="Plan of the drip bed", date="2025-03-14", drawn_by="A. B.", checked_by="C. D.", revision="2"
    )
    site = replace(curved_field().site, sheet=stated)
    pages = [Page(name="One", subject="first things", marks=()), Page(name="Two", subject="last", marks=())]
    sheets = bind(site, paper_named("ANSI B"), pages, Lettering())
    assert [sheet.name for sheet in sheets] == ["One", "Two"]
    said = texts(sheets[0].marks)
    for words in (
        *("Plan of the drip bed", "First things", "Sheet 1 of 2", "Date 2025-03-14"),
        *("Drawn by A. B.", "Checked by C. D.", "Revision 2", "Sheet size ANSI B"),
    ):
        assert words in said
    assert "Sheet 2 of 2" in texts(sheets[1].marks)


def test_what_is_not_stated_is_a_blank_line() -> None:
    page = Page(name="One", subject="first things", marks=(), scale="1 in = 20 ft")
    said = [
        text.strip()
        for text in texts(bind(curved_field().site, paper_named("A3"), [page], Lettering())[0].marks)
    ]
    for words in (
        "Drawn by",
        "Checked by",
        "Date",
        "Revision",
        "Scale 1 in = 20 ft, A3",
        "Drip dispersal bed",
    ):
        assert words in said


@pytest.mark.parametrize("name", SIZES)
def test_the_title_block_fits_on_every_size(name: str) -> None:
    paper, lettering = paper_named(name), Lettering()
    wide = "W" * 60
    stated = SheetRules(title=wide, date=wide, drawn_by=wide, checked_by=wide, revision=wide)
    site = replace(curved_field().site, sheet=stated, title=wide * 3)
    view = View(window=(1, 1, 2, 2), centre=(0, 0), metres_per_inch=20 * FOOT)
    page = Page(name="One", subject=wide, marks=(), view=view, scale="1 in = 20 ft")
    marks = bind(site, paper, [page], lettering)[0].marks
    border = shapely.box(MARGIN, MARGIN, paper.width - MARGIN, paper.height - MARGIN)
    free = [shapely.box(*open_area(paper)), shapely.box(*over_title(paper))]
    assert all(area.area > 10 and border.covers(area) for area in free)
    boxes = [lettering.box(mark) for mark in marks if isinstance(mark, Text)]
    for index, box in enumerate(boxes):
        assert border.covers(box)
        assert not any(area.intersects(box) for area in free)
        assert not any(box.intersection(other).area > 1e-6 for other in boxes[:index])


def test_a_picture_of_its_own_is_to_scale_and_cut_at_its_window() -> None:
    view = View(window=(2.0, 2.0, 6.0, 5.0), centre=(10.0, 20.0), metres_per_inch=0.5)
    square = Polygon([(9.5, 19.5), (10.5, 19.5), (10.5, 20.5), (9.5, 20.5)])
    marks: list[Mark] = [
        Line(layer=layers.RUN, line=LineString([(0.0, 20.0), (20.0, 20.0)])),
        Area(layer=layers.BED, shape=square, fill=Colour.SKY),
        Area(layer=layers.BED, shape=shapely.box(9.0, 19.0, 30.0, 20.0), fill=Colour.SKY),
        Dots(layer=layers.EMITTER, points=((10.0, 20.0), (50.0, 20.0)), size=0.03),
        Symbol(layer=layers.PUMP, name="pump", at=(9.0, 20.0), size=0.1, angle=30.0),
        Text(layer=layers.LABEL, text="here", at=(10.5, 20.0), height=0.1, strong=True),
        Text(layer=layers.LABEL, text="beyond", at=(40.0, 20.0), height=0.1),
    ]
    line, whole, *edge, dots, symbol, text = through(view, marks)
    assert isinstance(line, Line)
    assert list(line.line.coords) == [(2.0, 3.5), (6.0, 3.5)]
    assert isinstance(whole, Area)
    assert whole.shape.equals(shapely.box(3.0, 2.5, 5.0, 4.5))
    assert whole.fill is Colour.SKY
    assert all(isinstance(part, Line) for part in edge)
    assert isinstance(dots, Dots)
    assert dots.points == ((4.0, 3.5),)
    assert isinstance(symbol, Symbol)
    assert (symbol.at, symbol.size, symbol.angle) == ((2.0, 3.5), 0.1, 30.0)
    assert isinstance(text, Text)
    assert (text.text, text.at, text.height, text.strong) == ("here", (5.0, 3.5), 0.1, True)


# --- sizes and scales ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "width", "height", "unit"),
    [
        # ANSI/ASME Y14.1 (from memory): each size is two of the one before
        *(("ANSI A", 11, 8.5, INCH), ("ANSI B", 17, 11, INCH), ("ANSI C", 22, 17, INCH)),
        *(("ANSI D", 34, 22, INCH), ("ANSI E", 44, 34, INCH)),
        # architectural sizes (from memory)
        *(
            ("ARCH A", 12, 9, INCH),
            ("ARCH D", 36, 24, INCH),
            ("ARCH E1", 42, 30, INCH),
            ("ARCH E", 48, 36, INCH),
        ),
        # ISO 216 (from memory): A0 is a square metre, each next one half of it, in whole millimetres
        *(("A0", 1189, 841, 1e-3), ("A1", 841, 594, 1e-3), ("A4", 297, 210, 1e-3)),
    ],
)
def test_sizes(name: str, width: float, height: float, unit: float) -> None:
    assert SIZES[name] == pytest.approx((width * unit, height * unit))
    paper = paper_named(name)
    assert (paper.width * INCH, paper.height * INCH) == pytest.approx((width * unit, height * unit))
    assert paper.metric is (unit == 1e-3)


@pytest.mark.parametrize(
    ("text", "ratio"),
    [
        *(("1 in = 20 ft", 240.0), ("1in=5ft", 60.0), ("1 IN = 600 FT", 7200.0), ("1\" = 30'", 360.0)),
        *(("1:200", 200.0), ("1 : 1250", 1250.0), ("1:240", 240.0), ("1:7500", 7500.0)),
    ],
)
def test_standard_scales_are_read(text: str, ratio: float) -> None:
    assert ratio_of(text) == pytest.approx(ratio)


@pytest.mark.parametrize(
    "text",
    [
        *(
            "1 in = 7 ft",
            "1 in = 20 m",
            "1:237",
            "2:100",
            "200",
            "",
            "1:0",
            "1:0.5",
            "1 in = 0 ft",
            "1:1000000",
        ),
        *("full", "1 in = 99999 ft", "1:-200", "1 in = 1e3 ft"),
    ],
)
def test_nonsense_is_no_scale(text: str) -> None:
    assert ratio_of(text) is None


def test_scales_in_words() -> None:
    assert in_words(240.0, foot=FOOT) == "1 in = 20 ft"
    assert in_words(240.0, foot=None) == "1 : 240"
    assert in_words(200.0, foot=FOOT) == "1 : 200"
    survey = ratio_of("1 in = 20 ft", foot=US_SURVEY_FOOT)
    assert survey == pytest.approx(240.00048)
    assert in_words(survey, foot=US_SURVEY_FOOT) == "1 in = 20 ft"
