"""The pressure drawing: emitters in the colour of their pressure, laterals as the water goes, clear lettering."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely.affinity
from pypdf import PdfReader
from shapely import Point
from shapely.strtree import STRtree

from layout.errors import SheetError
from layout.hydraulics.along import profiles
from layout.model import Design
from layout.sheets import pressure
from layout.sheets.blocks import Block
from layout.sheets.coveragemap import RAMP
from layout.sheets.dutychart import duty_chart
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Line, Symbol, Text
from layout.sheets.pressureblocks import FieldState, classes_of, laterals_block, legend_block, reading_block
from layout.sheets.pressurecharts import _PENS, _Scale, chart_pages
from layout.sheets.write import write_plan
from layout.units import FOOT
from tests.fields import curved_field
from tests.watered import planned


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pressure")


def test_laterals_are_walked_as_the_water_goes(folder: Path) -> None:
    design = planned(folder)
    assert design.hydraulics is not None
    state = design.hydraulics.zones[0].dose
    found = profiles(design, 1, state)
    assert [one.lateral for one in found] == [lateral.name for lateral in design.laterals]
    heads = {run.run: run.heads for run in state.runs}
    for one, lateral in zip(found, design.laterals, strict=True):
        first, second = lateral.runs
        # out on the first run, back on the second, whose emitters are numbered from the manifold end
        assert one.heads == (*heads[first], *heads[second][::-1])
        steps = np.diff(one.along) / FOOT
        loop = next(join.line.length for join in design.joins if join.start == first) / FOOT
        assert steps == pytest.approx([2.0] * 49 + [2.0 + loop] + [2.0] * 49)
        assert one.along[0] == pytest.approx(1.0 * FOOT)
        # level ground, dosed: pressure falls all the way, but for what little comes round by the return
        assert one.heads[0] == max(one.heads)


def test_classes_are_round_and_take_in_all(folder: Path) -> None:
    design = planned(folder)
    assert design.hydraulics is not None
    zone = design.hydraulics.zones[0]
    assert zone.flush is not None
    classes = classes_of(design, [zone.dose, zone.flush])
    assert classes.limits == tuple(range(8, 14))  # psi, from 7.0 to 13.8
    assert classes.of(np.array([7.0, 7.999, 8.0, 13.5])).tolist() == [0, 0, 1, 6]
    assert [classes.words(number) for number in (0, 1, 6)] == ["under 8", "8 to 9", "13 and over"]
    assert [classes.colour(number) for number in range(7)] == list(RAMP)
    alone = classes_of(design, [zone.dose])
    assert alone.limits == (7.2, 7.4, 7.6)
    assert alone.colour(0) == RAMP[0]
    assert alone.colour(3) == RAMP[-1]


def test_every_emitter_has_the_colour_of_its_pressure(folder: Path) -> None:
    from matplotlib.collections import LineCollection
    from matplotlib.colors import to_hex

    from layout.sheets.plot import settings

    design = planned(folder)
    assert design.hydraulics is not None
    state = design.hydraulics.zones[0].flush
    assert state is not None
    one = FieldState(doing="flushing", zones=((1, state),))
    classes = classes_of(design, [state])
    place = pressure._placed(design)
    with settings():
        figure = pressure._map(design, one, classes, sheet=(1, 1), outlined=True)
    (strips,) = [
        item for item in figure.findobj(LineCollection) if item.get_zorder() == pressure._UNDER_LINES
    ]
    colours = [to_hex(colour) for colour in strips.get_colors()]
    places = {row.run: place.view.to_paper(row.points) for row in design.emitters}
    told = 0
    for water in state.runs:
        for number, head in enumerate(water.heads):
            at = places[water.run][number]
            near = [
                colour
                for segment, colour in zip(strips.get_segments(), colours, strict=True)
                if _distance(segment, at) < 1e-6
            ]
            psi = head / design.site.frame.units.pressure
            assert near == [classes.colour(int(classes.of(np.array([psi]))[0]))]
            told += 1
    assert told == 300


def _distance(line: np.ndarray, at: np.ndarray) -> float:
    from shapely import LineString

    return float(LineString(line).distance(Point(at)))


@pytest.mark.parametrize("curve", ["", "curve = [[0, 70], [10, 55], [20, 20]]", "curve = [[0, 20], [4, 5]]"])
@pytest.mark.parametrize("zones", ["", "[zones]\ncount = 3"])
def test_lettering_lies_over_nothing(folder: Path, zones: str, curve: str) -> None:
    design, lettering = planned(folder, zones=zones, curve=curve), Lettering()
    states = pressure._states(design)
    classes = classes_of(design, [state for one in states for _, state in one.zones])
    place, blocks = pressure._arranged(design, states[0], classes)
    drawing, _ = pressure.pressure_sheet(design, "dosing", place, blocks, sheet=(1, 3))
    charts = chart_pages(
        design, [(one.doing, one.zones) for one in states], paper=place.paper, before=len(states)
    )
    for sheet in (*drawing.sheets, *charts.sheets):
        texts = [mark for mark in sheet.marks if isinstance(mark, Text)]
        boxes = [lettering.mask(mark, at=mark.at).buffer(-0.005) for mark in texts]
        pairs = STRtree(boxes).query(boxes, predicate="intersects")
        assert [(texts[a].text, texts[b].text) for a, b in pairs.T.tolist() if a < b] == []
        assert all(box.bounds[0] > 0 and box.bounds[2] < place.paper.width for box in boxes)


def test_the_pump_works_where_its_curve_is(folder: Path) -> None:
    design = planned(folder, curve="curve = [[0, 70], [10, 55], [20, 20]]")
    assert design.hydraulics is not None
    zone = design.hydraulics.zones[0]
    assert zone.flush is not None
    states = [("dosing", [(1, zone.dose)]), ("flushing", [(1, zone.flush)])]
    marks = list(duty_chart(design, states, (0.0, 0.0, 5.0, 3.0)))
    curve = next(mark.line for mark in marks if isinstance(mark, Line) and len(mark.line.coords) > 10)
    dots = [Point(mark.at) for mark in marks if isinstance(mark, Symbol) and mark.name == "dot"]
    rings = [Point(mark.at) for mark in marks if isinstance(mark, Symbol) and mark.name == "balloon"]
    assert [dot.distance(curve) for dot in dots] == pytest.approx([0.0, 0.0], abs=5e-3)
    # compensating emitters take what they need: the pump works right over it
    assert dots[0].x == pytest.approx(rings[0].x, abs=1e-6)
    assert all(ring.y < dot.y for ring, dot in zip(rings, dots, strict=True))
    text = " ".join(mark.text for mark in marks if isinstance(mark, Text))
    assert "dosing, 3.05 gal/min" in text


def test_files_are_the_same_each_time_and_name_what_there_is(folder: Path, tmp_path: Path) -> None:
    design = planned(folder)
    makers = pressure.pressure_makers(design)
    assert [name for name, _ in makers] == ["pressure.pdf", "pressure.png", "pressure-flushing.png"]
    for name, make in makers:
        make(tmp_path / name)
    first = (tmp_path / "pressure.png").read_bytes()
    makers[1][1](tmp_path / "pressure.png")
    assert (tmp_path / "pressure.png").read_bytes() == first
    reader = PdfReader(tmp_path / "pressure.pdf")
    texts = [" ".join(page.extract_text().split()) for page in reader.pages]
    assert len(texts) == 3
    assert "Pressure at emitters, dosing" in texts[0]
    assert "Pressure at emitters, flushing" in texts[1]
    assert "the return flush valve takes" in texts[1]
    assert "Pressure along laterals" in texts[2]
    assert all(f"Sheet {number} of 3" in text for number, text in enumerate(texts, start=1))


def test_starved_emitters_are_marked(folder: Path) -> None:
    design = planned(folder, level=-40.0, curve="curve = [[0, 50], [20, 10]]")
    states = pressure._states(design)
    place = pressure._placed(design)
    limits = design.site.tubing.pressure_range
    assert limits is not None
    short = sum(
        head < limits[0] * (1 - 1e-6)
        for _, state in states[0].zones
        for run in state.runs
        for head in run.heads
    )
    assert short == 300
    assert len(pressure._starved(design, place.view, states[0])) == 300
    assert len(pressure._starved(planned(folder), place.view, pressure._states(planned(folder))[0])) == 0


def test_starved_emitters_have_a_dot_each(folder: Path) -> None:
    from matplotlib.collections import EllipseCollection

    from layout.sheets.plot import settings

    design = planned(folder, level=-40.0, curve="curve = [[0, 50], [20, 10]]")
    states = pressure._states(design)
    classes = classes_of(design, [state for one in states for _, state in one.zones])
    with settings():
        figure = pressure._map(design, states[0], classes, sheet=(1, 1), outlined=True)
    (dots,) = figure.findobj(EllipseCollection)
    assert len(dots.get_offsets()) == 300


def test_without_a_stated_range_no_emitter_is_starved(folder: Path) -> None:
    design = planned(folder, level=-40.0, curve="curve = [[0, 50], [20, 10]]")
    free = replace(design, site=replace(design.site, tubing=replace(design.site.tubing, pressure_range=None)))
    states = pressure._states(free)
    assert len(pressure._starved(free, pressure._placed(free).view, states[0])) == 0
    said = [cell.text for row in _reading(free, states[0]).rows for cell in row.cells]
    assert not any("A black dot" in text for text in said)
    assert any("A black dot" in cell.text for row in _reading(design, states[0]).rows for cell in row.cells)
    charts = chart_pages(
        free, [(one.doing, one.zones) for one in states], paper=pressure._placed(free).paper, before=2
    )
    texts = [mark.text for sheet in charts.sheets for mark in sheet.marks if isinstance(mark, Text)]
    assert "limit of the emitters' range" not in texts


def _reading(design: Design, state: FieldState) -> Block:
    return reading_block(design, state, Figures(design.site.frame.units), Lettering())


def test_a_bed_of_any_size_has_a_sheet_or_an_error() -> None:
    """The smallest sheet on which runs can be told from each other; else the largest at the largest scale; or none."""
    design = curved_field()
    assert pressure._placed(design).paper.name.startswith("ANSI")
    far = design.site.bed.outline
    for factor, fits in ((40.0, True), (1e6, False)):
        grown = shapely.affinity.scale(far, factor, factor)
        large = replace(design, site=replace(design.site, bed=replace(design.site.bed, outline=grown)))
        if fits:
            assert design.site.runs.spacing / pressure._placed(large).view.metres_per_inch < pressure._LEGIBLE
        else:
            with pytest.raises(SheetError, match="larger than the smallest scale shows on the largest sheet"):
                pressure._placed(large)


def test_one_pressure_is_one_class(folder: Path) -> None:
    """Where all emitters have the same pressure there is nothing to tell apart."""
    design = planned(folder)
    assert design.hydraulics is not None
    dose = design.hydraulics.zones[0].dose
    head = 8.0 * design.site.frame.units.pressure
    level = replace(
        dose,
        least=replace(dose.least, head=head),
        greatest=replace(dose.greatest, head=head),
        runs=tuple(replace(run, heads=(head,) * len(run.heads)) for run in dose.runs),
    )
    classes = classes_of(design, [level])
    assert classes.limits == ()
    assert classes.words(0) == "all"
    block = legend_block(
        FieldState(doing="dosing", zones=((1, level),)), classes, Figures(design.site.frame.units)
    )
    assert [cell.text for cell in block.rows[0].cells] == ["all", "300", "100.0 %"]


def test_pressures_further_apart_than_any_step_are_one_class(folder: Path) -> None:
    design = planned(folder)
    assert design.hydraulics is not None
    dose = design.hydraulics.zones[0].dose
    wild = replace(dose, greatest=replace(dose.greatest, head=1e9))
    assert classes_of(design, [wild]).limits == ()


def test_of_many_laterals_those_with_the_slowest_ends_are_listed(folder: Path) -> None:
    design = planned(folder)
    assert design.hydraulics is not None
    flush = design.hydraulics.zones[0].flush
    assert flush is not None
    state = FieldState(doing="flushing", zones=((1, flush),))
    figures, lettering = Figures(design.site.frame.units), Lettering()
    slowest = min(flush.ends, key=lambda end: abs(end[1]))[0]
    block = laterals_block(design, state, figures, lettering, most=1)
    assert block.heading == "Laterals, the 1 with the slowest ends"
    assert [row.cells[0].text for row in block.rows] == [slowest]
    assert laterals_block(design, state, figures, lettering, most=0).rows == ()
    assert len(laterals_block(design, state, figures, lettering, most=9).rows) == len(flush.ends)


def test_a_lateral_of_one_emitter_is_a_short_line_on_its_chart(folder: Path) -> None:
    design = planned(folder)
    assert design.hydraulics is not None
    dose = design.hydraulics.zones[0].dose
    (first, *_) = profiles(design, 1, dose)
    alone = replace(first, along=first.along[:1], heads=first.heads[:1])
    scale = _Scale(design, [alone])
    marks = list(scale.chart({"dosing": alone}, (0.0, 0.0, 4.0, 3.0)))
    (line,) = [mark.line for mark in marks if isinstance(mark, Line) and mark.pen == _PENS["dosing"]]
    assert line.length == pytest.approx(0.03)


def test_without_pressures_there_is_no_drawing() -> None:
    assert pressure.pressure_makers(curved_field()) == []


def test_what_only_an_earlier_plan_had_is_removed(folder: Path, tmp_path: Path) -> None:
    design = planned(folder)
    asked = {path.name for path in write_plan(design, tmp_path, pressure=True, network=True)}
    plain = {path.name for path in write_plan(design, tmp_path)}
    assert asked - plain == {
        *("pressure.pdf", "pressure.png", "pressure-flushing.png"),
        *("network-dosing.inp", "network-flushing.inp"),
    }
    assert {path.name for path in tmp_path.iterdir()} == plain
