"""The start-up form: what a meter should read is on it, and room for what it does; nothing lies over anything."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader
from shapely import LineString, box
from shapely.strtree import STRtree

from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.sheets.figures import Figures
from layout.sheets.form import INCH_PAPER, OTHER, Form
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Drawing, Line, Text
from layout.sheets.startup import CAUTIONS, startup_form, write_startup
from layout.sheets.timing import timed_volume
from layout.startup.expected import expected_flows
from layout.units import GALLON, LITRE, MINUTE, UNIT_SETS
from tests.fields import curved_field
from tests.watered import planned, site_text


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("startup")


def words(drawing: Drawing, page: int | None = None) -> str:
    sheets = drawing.sheets if page is None else drawing.sheets[page : page + 1]
    return " ".join(mark.text for sheet in sheets for mark in sheet.marks if isinstance(mark, Text))


def test_six_hundred_feet_on_the_sheet(folder: Path) -> None:
    # Common practice, no source: 600 ft, an emitter every 2 ft, 0.61 gal/h each: 3.05 gal/min, 19.7 s a gallon.
    path = folder / "startup.pdf"
    write_startup(planned(folder), path)
    reader = PdfReader(path)
    assert len(reader.pages) == 2
    text = " ".join(" ".join(page.extract_text().split()) for page in reader.pages)
    assert "Six hundred feet" in text
    assert "Dosing 3.05 19.7 1 gal 19.7 17.9 to 21.9" in text  # 19.672 s over 1.1 and over 0.9
    assert "Expected: dosing 3.05 gal/min, 19.7 s a gallon; flushing" in text
    assert "s per gal" in text
    assert "supply side first, then the return" in text
    for caution in ("licensed electrician", "Do not enter", "pathogens", "no cross-connection", "Local code"):
        assert caution in text
    for blank in ("Tested by", "Witnessed by", "Signature", "Date", "Test pressure, psi", "First", "Third"):
        assert blank in text


def test_the_same_form_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_startup(planned(folder), tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@pytest.mark.parametrize(
    "more", [{}, {"zones": "[zones]\ncount = 3"}, {"level": -90.0, "curve": "curve = [[0, 60], [20, 40]]"}]
)
def test_nothing_lies_over_anything_or_off_the_paper(folder: Path, more: dict[str, str]) -> None:
    drawing, lettering = startup_form(planned(folder, **more)), Lettering()  # type: ignore[arg-type]
    page = box(0, 0, drawing.paper.width, drawing.paper.height).buffer(-OTHER + 0.05)
    for sheet in drawing.sheets:
        texts = [mark for mark in sheet.marks if isinstance(mark, Text)]
        boxes = [lettering.mask(mark, at=mark.at).buffer(-0.005) for mark in texts]
        assert all(shape.within(page) for shape in boxes)
        lines = [mark.line for mark in sheet.marks if isinstance(mark, Line)]
        for kind in (boxes, lines):
            pairs = STRtree(kind).query(boxes, predicate="intersects")
            clash = [
                (texts[a].text, kind is boxes and texts[b].text)
                for a, b in pairs.T.tolist()
                if kind is lines or a < b
            ]
            assert clash == []


def test_a_pump_that_cannot_reach_is_said_before_the_flows(folder: Path) -> None:
    design = planned(folder, level=-90.0, curve="curve = [[0, 60], [20, 40]]")
    assert design.hydraulics is not None
    text = words(startup_form(design))
    whole = " ".join(text.split())
    dosing, flushing = expected_flows(design)
    assert dosing.flow == pytest.approx(
        design.totals.flow, rel=1e-9
    )  # what is needed, not what a weak pump gives
    figures = Figures(UNIT_SETS["ft"])
    for item in (dosing, flushing):
        assert item.missing > 0
        assert item.given is not None
        said = f"{item.doing.capitalize()}: the plan says that the pump lacks {item.missing / 0.3048:.2f} ft of head"
        assert f"{said} at the {figures.flow_of(item.flow)} that are needed." in whole
        assert f"With it the field takes {figures.flow_of(item.given)}." in whole
        # no time for what the pump cannot give
        assert f"{item.flow / GALLON * MINUTE:.2f} - - - -" in text
    assert "No pump curve is given" not in whole
    assert "The return flush valve cannot be set: for flushing the pump lacks head, see 3." in whole
    assert "close it from wide open" not in whole
    assert "Where the pump lacks head, the figures are the least that the field needs." in whole


def test_zones_have_a_line_each(folder: Path) -> None:
    design = planned(folder, zones="[zones]\ncount = 3")
    text = words(startup_form(design))
    for zone in design.zones:
        for doing in ("dosing", "flushing"):
            assert f"Z{zone.number} {doing}" in text
        assert f"{zone.flow / GALLON * MINUTE:.2f}" in text
    assert "all other zone valves and flush valves shut" in text
    # Each zone has a flush valve to be set; the row of each has what its valve takes.
    flushing = [item for item in expected_flows(design) if item.doing == "flushing"]
    assert len(flushing) == 3
    for item in flushing:
        assert item.valve_head is not None
        assert f"Z{item.zone} {item.valve_head / 0.3048:.1f} -" in text
    assert "6. Later visits" in text


def test_several_valves_of_a_zone_are_set_alike(folder: Path) -> None:
    design = planned(folder)
    assert "read alike" not in words(startup_form(design))
    (valve,) = [item for item in design.plumbing.fittings if item.kind == "flush valve"]
    plumbing = replace(design.plumbing, fittings=(*design.plumbing.fittings, valve))
    said = " ".join(words(startup_form(replace(design, plumbing=plumbing))).split())
    assert "Z1 has 2 of them: set these so that gauges before them read alike." in said
    assert design.staking is not None
    (stake,) = [item for item in design.staking.stakes if "flush valve" in item.description]
    assert f"Return flush valves SHUT (at stake {stake.number} and at stake {stake.number}). Open" in said
    assert "Open the return flush valves WIDE, one after the other." in said
    assert "Return flush valve SHUT. Open" in " ".join(words(startup_form(design)).split())


def test_laterals_that_nothing_feeds_are_named_and_not_counted(folder: Path) -> None:
    design = planned(folder)
    name = design.laterals[-1].name
    risers = tuple(item for item in design.plumbing.risers if (item.lateral, item.kind) != (name, "supply"))
    dry = replace(design, plumbing=replace(design.plumbing, risers=risers), hydraulics=None)
    (item,) = expected_flows(dry)
    runs = set(design.laterals[-1].runs)
    lost = sum(row.flow for row in design.emitters if row.run in runs)
    assert (item.dry, item.dry_flow) == ((name,), pytest.approx(lost))
    whole = sum(row.flow for row in design.emitters)
    assert item.flow == pytest.approx(whole - lost if len(design.laterals) > 1 else whole)
    assert f"{name} is not fed by any manifold that a line reaches" in " ".join(
        words(startup_form(dry)).split()
    )


def test_no_figure_of_a_table_is_cut() -> None:
    form = Form(INCH_PAPER, title="A table", subject="figures", foot="")
    figures = ["16.5 to 17.2", "1,132.07 to 1,383.64", "203.5", "R12, 1,204"]
    form.table(["State", "a", "b", "c", "d"], [1.0, 0.3, 0.3, 0.2, 0.4], [["Z2 flushing", *figures]] * 2)
    (sheet,) = form.sheets()
    said = " ".join(mark.text for mark in sheet.marks if isinstance(mark, Text))
    assert "\u2026" not in said
    assert all(word in said.split() for figure in figures for word in figure.split())
    lines = [mark.line for mark in sheet.marks if isinstance(mark, Line)]
    boxes = [form.lettering.mask(mark, at=mark.at) for mark in sheet.marks if isinstance(mark, Text)]
    assert not [line for line in lines for shape in boxes if shape.buffer(-0.01).intersects(line)]


def test_metric_forms_tell_the_time_for_ten_litres() -> None:
    design = curved_field("m")
    drawing = startup_form(design)
    text = words(drawing)
    assert drawing.paper.name == "A4"
    assert "s per 10 L" in text
    assert f"{10 * LITRE / design.totals.flow:.1f}" in text
    assert "Pressures are not worked out for this plan" in text


def test_without_flows_and_pressures_emitters_are_taken_by_their_stated_flow() -> None:
    (item,) = expected_flows(curved_field())
    assert (item.doing, item.flow, item.head) == ("dosing", curved_field().totals.flow, None)
    assert item.lowest == pytest.approx(0.9 * item.flow)
    assert item.highest == pytest.approx(1.1 * item.flow)


def test_the_volume_that_is_timed_keeps_the_watch_running() -> None:
    units = UNIT_SETS["ft"]
    for flow, gallons in ((3.05, 1), (6.0, 5), (20.0, 5), (21.0, 10), (80.0, 50)):
        assert timed_volume(flow * units.flow, units) == pytest.approx(gallons * GALLON)
    assert timed_volume(60.0 * UNIT_SETS["m"].flow, UNIT_SETS["m"]) == pytest.approx(50 * LITRE)


def test_no_caution_is_left_out(folder: Path) -> None:
    drawing = startup_form(planned(folder))
    first = words(drawing, 0)
    assert all(caution in first for caution in CAUTIONS)
    rules = [mark.line for mark in drawing.sheets[1].marks if isinstance(mark, Line)]
    assert sum(isinstance(rule, LineString) for rule in rules) > 10


def test_what_the_plan_does_not_know_of_the_ground_is_said(tmp_path: Path, folder: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text(site_text(levels=""), encoding="utf-8")
    assert "does not know the level of the ground" in words(startup_form(plan_field(read_site(path))))
    known = words(startup_form(planned(folder)))
    assert "does not know the level of the ground" not in known
    assert "6. Later visits" in known
