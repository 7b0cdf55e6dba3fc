"""The pressure drawing: emitters in the colour of their pressure, laterals as the water goes, clear lettering."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader
from shapely import Point
from shapely.strtree import STRtree

from layout.hydraulics.along import profiles
from layout.sheets import pressure
from layout.sheets.coveragemap import RAMP
from layout.sheets.dutychart import duty_chart
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Line, Symbol, Text
from layout.sheets.pressureblocks import FieldState, classes_of
from layout.sheets.pressurecharts import chart_pages
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
