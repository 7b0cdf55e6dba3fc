"""Details: drawn to their stated scale from the design's numbers, nothing lettered over anything."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point

from layout.fittings import place_fittings
from layout.model import XY, Design, Feature, FeatureKind, Levels, PipeKind, Riser, ZoneLevels
from layout.sheets import layers
from layout.sheets.arrange import MARGIN
from layout.sheets.details import detail_pages
from layout.sheets.details.loop import typical_loop
from layout.sheets.details.manifold import riser_table
from layout.sheets.details.place import Place, places
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Dimension, Line, Mark, Paper, Symbol, Text, View
from layout.sheets.pages import Page
from layout.units import INCH
from tests.examples import Example
from tests.fields import curved_field, kinds_field, strip_field, tree_field, wide_field

INCH_PAPER = Paper(name="ANSI B", width=17.0, height=11.0, metric=False)
METRIC_PAPER = Paper(name="A3", width=420 / 25.4, height=297 / 25.4, metric=True)


def fitted(design: Design) -> Design:
    """The same with every fitting in its place."""
    plumbing = place_fittings(design.plumbing, design.joins, design.laterals)
    return replace(design, plumbing=plumbing)


FIELDS: dict[str, Callable[[], Design]] = {
    "curved": lambda: fitted(curved_field()),
    "metric": lambda: fitted(curved_field("m")),
    "survey feet": lambda: fitted(curved_field("us-ft", origin=(2_100_000.5, 710_000.25))),
    "strip": strip_field,
    "tree": lambda: fitted(tree_field()),
    "kinds": lambda: fitted(kinds_field()),
    "wide": lambda: fitted(wide_field()),
}


@pytest.fixture(scope="module", params=list(FIELDS))
def drawn(request: pytest.FixtureRequest) -> tuple[Design, Paper, list[Page]]:
    design = FIELDS[request.param]()
    paper = METRIC_PAPER if request.param == "metric" else INCH_PAPER
    return design, paper, detail_pages(design, paper, Figures(design.site.frame.units), Lettering())


def texts(page: Page) -> list[Text]:
    return [mark for mark in page.marks if isinstance(mark, Text)]


def said(pages: list[Page]) -> list[str]:
    return [mark.text for page in pages for mark in texts(page)]


def test_no_text_covers_another_or_leaves_the_sheet(drawn: tuple[Design, Paper, list[Page]]) -> None:
    _, paper, pages = drawn
    assert pages
    lettering = Lettering()
    border = shapely.box(MARGIN, MARGIN, paper.width - MARGIN, paper.height - MARGIN)
    for page in pages:
        marks = texts(page)
        boxes = [lettering.box(mark) for mark in marks]
        assert [mark.text for mark, box in zip(marks, boxes, strict=True) if not border.covers(box)] == []
        first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
        found = [
            (marks[i].text, marks[j].text)
            for i, j in zip(first, second, strict=True)
            if i < j and boxes[i].intersection(boxes[j]).area > 1e-6
        ]
        assert found == []


def test_details_are_numbered_and_state_their_scale(drawn: tuple[Design, Paper, list[Page]]) -> None:
    _, _, pages = drawn
    numbers = [re.match(r"Detail (\d+) of (\d+): ", text) for text in said(pages)]
    found = [(int(match[1]), int(match[2])) for match in numbers if match]
    assert found == [(i + 1, len(found)) for i in range(len(found))]
    scales = [text for text in said(pages) if re.fullmatch(r"1 in = [\d.]+ ft|1 : \d+|not to scale", text)]
    assert len(scales) == len(found)
    assert len({page.name for page in pages}) == len(pages)


def test_the_edge_of_the_bed_gives_way_to_a_manifold_on_it(example: Callable[[str], Example]) -> None:
    """The corner's return manifold lies along the edge, and its dashes are seen; the rest of the edge is drawn."""
    design = example("corner").design
    page = detail_pages(design, INCH_PAPER, Figures(design.site.frame.units), Lettering())[0]
    lines = [mark for mark in page.marks if isinstance(mark, Line)]
    edge = shapely.union_all([mark.line for mark in lines if mark.layer is layers.BED])
    (dashed,) = [mark.line for mark in lines if mark.layer is layers.RETURN_MANIFOLD and mark.line.length > 1]
    on_plan = design.site.bed.outline.exterior
    (pipe,) = [pipe.line for pipe in design.plumbing.manifolds if pipe.kind == "return"]
    assert on_plan.intersection(pipe.buffer(0.01)).length == pytest.approx(pipe.length, rel=0.02)
    assert edge.intersection(dashed.buffer(0.03)).length < 0.02
    assert edge.distance(shapely.Point(dashed.coords[0])) < 0.05
    assert edge.distance(shapely.Point(dashed.coords[-1])) < 0.05
    assert edge.length > 2 * dashed.length / 3


def test_every_dimension_is_true_to_a_stated_scale(drawn: tuple[Design, Paper, list[Page]]) -> None:
    """Paper length times a scale on the sheet is the ground length, and that is what is lettered."""
    design, _, pages = drawn
    figures = Figures(design.site.frame.units)
    unit = design.site.frame.units.length
    for page in pages:
        scales = [float(match[1]) * unit for text in texts(page) if (match := _feet(text))]
        scales += [float(match[1]) * INCH for text in texts(page) if (match := _ratio(text))]
        for item in page.dimensions:
            ratio = item.length / math.dist(item.start, item.end)
            assert min(abs(ratio / scale - 1) for scale in scales) < 1e-9
            assert item.words.replace("<>", figures.length_of(item.length)) in said([page])


def _feet(mark: Text) -> re.Match[str] | None:
    return re.fullmatch(r"1 in = ([\d.]+) ft", mark.text)


def _ratio(mark: Text) -> re.Match[str] | None:
    return re.fullmatch(r"1 : (\d+)", mark.text)


def test_every_lateral_stands_in_the_table_of_risers(drawn: tuple[Design, Paper, list[Page]]) -> None:
    design, _, pages = drawn
    known = said(pages)
    for riser in design.plumbing.risers if design.plumbing.manifolds else ():
        assert riser.lateral in known


def test_the_numbers_are_the_designs() -> None:
    design = fitted(curved_field())
    figures = Figures(design.site.frame.units)
    known = said(detail_pages(design, INCH_PAPER, figures, Lettering()))
    supply = next(pipe for pipe in design.plumbing.manifolds if pipe.kind == "supply")
    assert f"supply manifold, 1 in, {figures.length_of(supply.line.length)}" in known
    loop = typical_loop(design)
    assert loop is not None
    assert f"end loop, {figures.length_of(loop.line.length)} of blank tubing, radius 1.00 ft" in known
    for lateral in design.laterals:
        assert {f"{lateral.name} supply", f"{lateral.name} return"} <= set(known)
    # Depths and levels are not stated by this design.
    assert "cover ______" in known
    assert sum("______" in text for text in known) >= 4


def test_every_manifold_is_in_one_detail() -> None:
    for make in FIELDS.values():
        design = make()
        drawn_pipes = [pipe for place in places(design) for pipe in place.pipes]
        assert sorted(id(pipe) for pipe in drawn_pipes) == sorted(
            id(pipe) for pipe in design.plumbing.manifolds
        )
        risers = [riser for place in places(design) for riser in place.risers]
        assert len(risers) == (len(design.plumbing.risers) if drawn_pipes else 0)


def test_each_zone_has_its_own() -> None:
    design = fitted(curved_field())
    plumbing = design.plumbing
    second = [
        replace(pipe, zone=2, line=shapely.affinity.translate(pipe.line, 60.0)) for pipe in plumbing.manifolds
    ]
    design = replace(design, plumbing=replace(plumbing, manifolds=(*plumbing.manifolds, *second)))
    known = said(detail_pages(design, INCH_PAPER, Figures(design.site.frame.units), Lettering()))
    assert any("zone 1, supply and return manifold" in text for text in known)
    assert any("zone 2, supply and return manifold" in text for text in known)


def test_tubing_in_the_pictures_lies_where_the_plan_has_it() -> None:
    """The risers on paper, laid back at the stated scale, are as long as the design's."""
    design = fitted(curved_field())
    page, *_ = detail_pages(design, INCH_PAPER, Figures(design.site.frame.units), Lettering())
    scale = next(float(match[1]) for text in texts(page) if (match := _feet(text)))
    # Of this field the manifolds stand in the left half, the section in the right.
    window = shapely.box(0.4, 0.9, 6.4, 10.6)
    lines: list[Mark] = [mark for mark in page.marks if mark.layer is layers.RISER]
    found = sorted(
        round(mark.line.length * scale * design.site.frame.units.length, 6)
        for mark in lines
        if isinstance(mark, Line) and window.covers(mark.line)
    )
    stated = sorted(round(riser.line.length, 6) for riser in design.plumbing.risers)
    assert np.allclose(found, stated, atol=2e-6)


def test_a_field_without_pipes_has_no_details() -> None:
    design = curved_field()
    bare = replace(
        design, joins=(), plumbing=replace(design.plumbing, manifolds=(), risers=(), lines=(), fittings=())
    )
    assert detail_pages(bare, INCH_PAPER, Figures(design.site.frame.units), Lettering()) == []


def zone_levels(known: float) -> ZoneLevels:
    """Levels of a zone whose return line rises towards the pump on the share of it that is surveyed."""
    return ZoneLevels(
        zone=1,
        high=(0.0, 0.0),
        high_level=100.0,
        return_known=known,
        pitch=-0.03,
        deepening=1.5,
        deepest_at=(0.0, 0.0),
        drain_back=0.0,
        drain_back_added=0.0,
        held=0.0,
    )


def test_the_fall_of_a_return_surveyed_in_part_is_not_stated() -> None:
    design = fitted(curved_field())
    figures = Figures(design.site.frame.units)
    for share, fall, deeper in (
        (0.48, "not checked: 48 % surveyed", f"at least {figures.length(1.5)}"),
        (1.0, "RISES 3.0 %", figures.length(1.5)),
    ):
        stated = replace(design, zone_levels=(zone_levels(share),))
        known = said(detail_pages(stated, INCH_PAPER, figures, Lettering()))
        assert {fall, deeper} <= set(known)
        assert ("RISES 3.0 %" in known) == (share == 1.0)


def test_air_valves_have_the_ground_they_stand_on() -> None:
    """On a plane that rises to the east the height of a valve's ground is known from its place."""
    design = fitted(curved_field())
    air: dict[tuple[int, PipeKind], XY] = {
        (1, pipe.kind): (pipe.line.coords[-1][0], pipe.line.coords[-1][1])
        for pipe in design.plumbing.manifolds
    }
    plumbing = place_fittings(design.plumbing, design.joins, design.laterals, air_at=air)
    design = replace(design, plumbing=plumbing)
    corners = [(-500.0, -500.0), (500.0, -500.0), (500.0, 500.0), (-500.0, 500.0)]
    levels = Levels(points=tuple((x, y, 50.0 + 0.02 * x) for x, y in corners))
    site = replace(design.site, bed=replace(design.site.bed, levels=levels))
    design = replace(design, site=site, zone_levels=(zone_levels(1.0),))
    figures = Figures(design.site.frame.units)
    known = said(detail_pages(design, INCH_PAPER, figures, Lettering()))
    valves = [item for item in design.plumbing.fittings if item.kind == "air valve"]
    assert len(valves) == 2
    for item in valves:
        assert figures.length(50.0 + 0.02 * item.at[0]) in known


def test_a_lateral_has_one_row_in_the_table_of_risers() -> None:
    """Also where its supply and its return stand on manifolds at opposite ends of the bed."""
    design = fitted(curved_field())
    moved = tuple(
        replace(pipe, line=shapely.affinity.translate(pipe.line, 60.0 * (pipe.kind == "return")))
        for pipe in design.plumbing.manifolds
    )
    risers = tuple(
        replace(riser, line=shapely.affinity.translate(riser.line, 60.0 * (riser.kind == "return")))
        for riser in design.plumbing.risers
    )
    far = replace(design, plumbing=replace(design.plumbing, manifolds=moved, risers=risers))
    assert len(places(far)) == 2
    figures = Figures(design.site.frame.units)
    block = riser_table(far, places(far), figures, Lettering())
    assert block is not None
    rows = [[cell.text for cell in row.cells] for row in block.rows]
    assert [row[1] for row in rows] == sorted({riser.lateral for riser in risers})
    assert all("-" not in row for row in rows)


def test_a_manifold_that_bends_has_its_length_along_lettered_and_no_chord() -> None:
    design = fitted(curved_field())
    figures = Figures(design.site.frame.units)
    supply = next(pipe for pipe in design.plumbing.manifolds if pipe.kind == "supply")
    feet = sorted(
        (riser for riser in design.plumbing.risers if riser.kind == "supply"),
        key=lambda riser: supply.line.project(shapely.Point(riser.line.coords[0])),
    )
    first, second = (np.asarray(riser.line.coords[0]) for riser in feet[:2])
    way = second - first
    # A way round between the first two risers, on the side where there is no tubing.
    aside = np.asarray([-way[1], way[0]]) / np.hypot(*way)
    if (np.asarray(feet[0].line.coords[-1]) - first) @ aside > 0:
        aside = -aside
    bend = first + way / 2 + 0.3 * aside
    points = [tuple(map(float, point)) for point in (first, bend, second)]
    rest = [xy for xy in supply.line.coords if supply.line.project(shapely.Point(xy)) > np.hypot(*way) + 1e-6]
    bent = replace(supply, line=shapely.LineString([*points, *rest]))
    manifolds = tuple(bent if pipe is supply else pipe for pipe in design.plumbing.manifolds)
    design = replace(design, plumbing=replace(design.plumbing, manifolds=manifolds))
    known = said(detail_pages(design, INCH_PAPER, figures, Lettering()))
    along = float(np.hypot(*(bend - first)) + np.hypot(*(second - bend)))
    assert any(figures.length_of(along) + " along" in text for text in known)
    # The other distances, as long as the chord of this, are dimensioned.
    assert known.count(figures.length_of(float(np.hypot(*way)))) == len(feet) - 2


def test_each_figure_of_a_row_of_risers_stands_beside_its_own_distance(
    drawn: tuple[Design, Paper, list[Page]],
) -> None:
    """No figure of a dimension lies nearer to the middle of another that is parallel to it, on the same line."""
    _, _, pages = drawn
    for page in pages:
        for item in page.dimensions:
            own = _middle(item)
            others = [other for other in page.dimensions if other is not item and _in_line(item, other)]
            far = math.dist(item.text_at, own)
            assert all(math.dist(item.text_at, _middle(other)) > far for other in others)


def _middle(item: Dimension) -> tuple[float, float]:
    x, y = (np.asarray(item.end) - np.asarray(item.start)) / 2 + np.asarray(item.across)
    return (float(x), float(y))


def _in_line(item: Dimension, other: Dimension) -> bool:
    way = np.asarray(item.end) - np.asarray(item.start)
    way = way / np.hypot(*way)
    off = np.asarray(_middle(other)) - np.asarray(_middle(item))
    along = np.asarray(other.end) - np.asarray(other.start)
    return bool(
        abs(way[0] * off[1] - way[1] * off[0]) < 0.02 and abs(way[0] * along[1] - way[1] * along[0]) < 0.01
    )


def test_manifolds_are_drawn_at_twice_the_scale_of_the_plan_in_parts() -> None:
    """Parts cover all of a long manifold; none is smaller than twice the plan's scale."""
    design = fitted(wide_field(60, length=100.0))
    figures, unit = Figures(design.site.frame.units), design.site.frame.units.length
    plan = View(window=(0.5, 0.5, 12.0, 9.0), centre=(0.0, 0.0), metres_per_inch=20 * unit)
    pages = detail_pages(design, INCH_PAPER, figures, Lettering(), plan=plan)
    shown = [text for text in said(pages) if "manifold" in text and text.startswith("Detail")]
    count = len(shown)
    assert count > 1
    assert all(f"part {number} of {count}" in text for number, text in enumerate(shown, start=1))
    for page in pages:
        titled = [mark for mark in texts(page) if mark.text in shown]
        for title in titled:
            scale = next(text for text in texts(page) if _feet(text) and abs(text.at[1] - title.at[1]) < 1e-6)
            match = _feet(scale)
            assert match is not None
            assert float(match[1]) <= 10
    lettered = set(said(pages))
    for riser in design.plumbing.risers:
        assert any(text.split()[0] == riser.lateral for text in lettered if text)


def test_features_that_the_plan_does_not_show_stand_in_a_picture_of_the_site() -> None:
    design = fitted(curved_field())
    well = Feature(name="far well", kind=FeatureKind.WELL, shape=Point(90.0, -40.0), setback=20.0)
    site = replace(design.site, features=(*design.site.features, well))
    design, figures = replace(design, site=site), Figures(design.site.frame.units)
    names = [item.name for item in site.features]
    every = said(detail_pages(design, INCH_PAPER, figures, Lettering(), seen=frozenset(names)))
    assert not any("whole site" in text for text in every)
    pages = detail_pages(design, INCH_PAPER, figures, Lettering(), seen=frozenset(names[:-1]))
    assert any("the whole site, with every feature" in text for text in said(pages))
    assert {*names, f"{figures.length_of(20.0)} setback of far well"} <= set(said(pages))
    assert any(isinstance(mark, Symbol) and mark.name == "well" for page in pages for mark in page.marks)


def test_a_picture_of_manifolds_is_no_wider_for_a_lead_through_the_bed() -> None:
    lead = Riser(kind="return", lateral="L1", line=LineString([(0, 0), (1, 0), (90, 0), (90, 1)]))
    place = Place(zone=1, pipes=(), risers=(lead,))
    assert [shape.bounds for shape in place.shapes] == [(0.0, 0.0, 1.0, 0.0)]
