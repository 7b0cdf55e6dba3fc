"""Patterns side by side: the JSON document, and pictures at one scale with lettering that nothing covers."""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image
from shapely import Polygon
from shapely.affinity import translate

from layout.coverage import MEASURE, score
from layout.errors import SheetError
from layout.model import Design, Dropped, EndTrial, Pattern, Site, Trial
from layout.sheets import layers
from layout.sheets.comparison import alike, comparison, end_words
from layout.sheets.comparisonsheet import comparison_sheet, write_comparison
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Drawing, Line, Symbol, Text
from tests.fields import curved_field, kinds_field, strip_field, tree_field, wide_field


def trials_of(design: Design, count: int = 4) -> tuple[Site, list[Trial]]:
    """So many candidates of one design: its own, and others that follow other sides and lack runs."""
    first = Trial(candidate=design.candidates[0], laying=design.laying, sides=design.sides)
    made = [first]
    patterns = itertools.cycle((Pattern.CENTRE, Pattern.EVEN, Pattern.RIGHT, Pattern.CONTOUR, Pattern.DRAWN))
    follows = itertools.cycle(("usable ground", "rectangle", "outline"))
    for number, pattern, sides in zip(range(1, count), patterns, follows, strict=False):
        # each lies somewhere else, by a hair
        runs = tuple(
            replace(run, line=translate(run.line, xoff=0.005 * number))
            for run in design.laying.runs[number % 2 :]
        )
        gone = [Dropped(line=run.line, row=run.row, why="over") for run in design.laying.runs[: number % 2]]
        laying = replace(design.laying, pattern=pattern, runs=runs, carries=(), dropped=tuple(gone))
        candidate = replace(
            first.candidate,
            pattern=pattern,
            follows=sides,  # type: ignore[arg-type]
            tubing=sum(run.length for run in runs),
            runs=len(runs),
            dropped=len(gone),
            score=first.candidate.score + number,
        )
        made.append(replace(first, candidate=candidate, laying=laying))
    return design.site, made


def panels(drawing: Drawing) -> list[tuple[Polygon, float]]:
    """Frames of the pictures with the weight of their lines [mm], in reading order."""
    return [
        (mark.shape, mark.pen.weight)
        for mark in drawing.sheets[0].marks
        if isinstance(mark, Area) and isinstance(mark.shape, Polygon) and mark.fill is None and mark.pen
    ]


def texts(drawing: Drawing) -> list[Text]:
    return [mark for mark in drawing.sheets[0].marks if isinstance(mark, Text)]


def runs_in(drawing: Drawing, panel: Polygon) -> list[Line]:
    return [
        mark
        for mark in drawing.sheets[0].marks
        if isinstance(mark, Line)
        and mark.layer is layers.RUN
        and mark.pen is not None
        and mark.pen.dash == "continuous"
        and panel.contains(mark.line)
    ]


FIELDS: dict[str, Callable[[], Design]] = {
    "curved": curved_field,
    "metric": lambda: curved_field("m"),
    "strip": strip_field,
    "tree": tree_field,
    "kinds": kinds_field,
    "wide": wide_field,
}


@pytest.mark.parametrize("name", list(FIELDS))
@pytest.mark.parametrize("count", [1, 3, 8, 13])
def test_pictures_have_one_scale_and_show_every_run_whole(name: str, count: int) -> None:
    site, trials = trials_of(FIELDS[name](), count)
    drawing = comparison_sheet(site, trials)
    found = panels(drawing)
    assert len(found) == count
    scales = []
    for (panel, _), trial in zip(found, trials, strict=True):
        on_paper = math.fsum(mark.line.length for mark in runs_in(drawing, panel))
        scales.append(trial.candidate.tubing / on_paper)
    assert scales == pytest.approx([scales[0]] * count, rel=1e-6)
    sheet = shapely.box(0, 0, drawing.paper.width, drawing.paper.height)
    assert all(sheet.contains(panel) for panel, _ in found)
    assert all(not a.intersects(b) for (a, _), (b, _) in itertools.combinations(found, 2))


@pytest.mark.parametrize("name", list(FIELDS))
@pytest.mark.parametrize("count", [1, 5, 12])
def test_lettering_is_covered_by_nothing(name: str, count: int) -> None:
    site, trials = trials_of(FIELDS[name](), count)
    drawing = comparison_sheet(site, trials)
    lettering = Lettering()
    boxes = [lettering.box(text) for text in texts(drawing)]
    assert all(not a.intersects(b) for a, b in itertools.combinations(boxes, 2))
    paper = shapely.box(0, 0, drawing.paper.width, drawing.paper.height)
    assert all(paper.contains(box) for box in boxes)
    lines = [mark.line for mark in drawing.sheets[0].marks if isinstance(mark, Line)]
    crossed = shapely.STRtree(boxes).query(lines, predicate="intersects")
    assert crossed.size == 0
    for panel, _ in panels(drawing):
        assert all(panel.contains(box) or not panel.intersects(box) for box in boxes)


def test_only_the_best_is_framed_and_named_so() -> None:
    site, trials = trials_of(curved_field(), 6)
    drawing = comparison_sheet(site, trials)
    weights = [weight for _, weight in panels(drawing)]
    assert weights[0] >= 0.7
    assert max(weights[1:]) <= 0.18
    titles = [text.text for text in texts(drawing) if text.strong and text.text[0].isdigit()]
    assert titles[0] == "1. Best: left, along the bed's own sides"
    assert sum("Best" in title for title in titles) == 1
    assert titles[1] == "2. centre, along the sides of the usable ground"
    assert titles[2] == "3. even, straight, along the smallest rectangle"
    assert titles[4] == "5. contour, along the level line"


def test_every_picture_has_its_figures() -> None:
    design = curved_field()
    site, trials = trials_of(design, 2)
    cover = replace(design.coverage, gap_p95=2.04 * 0.3048)
    trials[0] = replace(trials[0], candidate=replace(trials[0].candidate, coverage=cover, score=1.25))
    drawing = comparison_sheet(site, trials)
    (panel, _), _ = panels(drawing)
    said = " ".join(text.text for text in texts(drawing) if panel.contains(shapely.Point(text.at)))
    feet = sum(run.length for run in design.laying.runs) / 0.3048
    assert f"6 rows, 6 runs, {feet:,.2f} ft; 0 left out; 100.0 % fed" in said
    assert f"{100 * cover.covered:.1f} % covered, driest {cover.dry / 0.3048:.2f} ft" in said
    assert "/ 2.04 /" in said
    assert "score 1.25" in said
    words = " ".join(text.text for text in texts(drawing))
    assert "judgement" in words
    assert "share of ground not covered" in words


def test_a_single_row_has_no_gaps_and_straight_runs_no_bend() -> None:
    site, trials = trials_of(wide_field(2), 1)
    bare = replace(
        trials[0].candidate.coverage,
        gap_least=None,
        gap_greatest=None,
        gap_p5=None,
        gap_p95=None,
        bend_least=None,
        bend_at=None,
    )
    trials = [replace(trials[0], candidate=replace(trials[0].candidate, coverage=bare))]
    said = " ".join(text.text for text in texts(comparison_sheet(site, trials)))
    assert "gaps" not in said
    assert "no bends; score" in said
    (item,) = comparison(site, trials)["candidates"]
    assert item["spacing_min"] is item["spacing_p95"] is item["bend_radius_min"] is None


def test_the_driest_place_is_ringed() -> None:
    site, trials = trials_of(curved_field(), 2)
    drawing = comparison_sheet(site, trials)
    (panel, _), _ = panels(drawing)
    (ring,) = [
        mark
        for mark in drawing.sheets[0].marks
        if isinstance(mark, Symbol) and mark.name == "balloon" and panel.contains(shapely.Point(mark.at))
    ]
    run = runs_in(drawing, panel)[0].line
    scale = trials[0].laying.runs[0].length / run.length
    start = np.asarray(trials[0].laying.runs[0].line.coords[0])
    expected = (np.asarray(trials[0].candidate.coverage.dry_at) - start) / scale + np.asarray(run.coords[0])
    assert ring.at == pytest.approx(expected, abs=1e-6)


def test_a_ring_larger_than_the_picture_does_not_cross_the_lettering() -> None:
    site, trials = trials_of(curved_field(), 1)
    wide = replace(trials[0].candidate.coverage, dry=12.0)
    trials = [replace(trials[0], candidate=replace(trials[0].candidate, coverage=wide))]
    drawing = comparison_sheet(site, trials)
    marks = drawing.sheets[0].marks
    assert [mark for mark in marks if isinstance(mark, Symbol) and mark.size > 0.2] == []
    rings = [mark.line for mark in marks if isinstance(mark, Line) and mark.layer is layers.LABEL]
    assert rings
    (panel, _), *_ = panels(drawing)
    lettering = Lettering()
    for ring in rings:
        assert panel.buffer(1e-9).covers(ring)
        assert not any(lettering.box(text).intersects(ring) for text in texts(drawing))


@pytest.mark.parametrize("units", ["ft", "us-ft", "m"])
def test_the_document_is_in_site_units(units: str) -> None:
    design = curved_field(units)
    site, trials = trials_of(design, 3)
    made = comparison(site, trials)
    assert json.loads(json.dumps(made, allow_nan=False)) == made
    assert (made["format"], made["units"]) == ("sinuate-compare/1", units)
    assert (made["asked"], made["best"]) == ("best", "left")
    assert made["measure"] == MEASURE
    assert [item["pattern"] for item in made["candidates"]] == ["left", "centre", "even"]
    assert [item["follows"] for item in made["candidates"]] == ["outline", "usable ground", "rectangle"]
    assert [item["best"] for item in made["candidates"]] == [True, False, False]
    assert [item["rows"] for item in made["candidates"]] == [6, 5, 6]
    unit = site.frame.units.length
    for item, trial in zip(made["candidates"], trials, strict=True):
        cover = trial.candidate.coverage
        assert item["tubing"] == pytest.approx(sum(run.length for run in trial.laying.runs) / unit)
        assert item["dry_max"] == pytest.approx(cover.dry / unit)
        assert item["spacing_min"] == pytest.approx((cover.gap_least or math.nan) / unit)
        assert item["coverage"] == cover.covered


def test_the_measure_in_words_has_the_weights_of_the_score() -> None:
    """The words name, in this order, what one of each costs: a dry half spacing, all ground bare, …"""
    bare = replace(curved_field().coverage, covered=1.0, dry=1.0)
    none = score(bare, spacing=2.0, fed=1.0, runs=4, rows=4)
    costs = (
        score(replace(bare, dry=2.0), spacing=2.0, fed=1.0, runs=4, rows=4) - none,
        score(replace(bare, covered=0.0), spacing=2.0, fed=1.0, runs=4, rows=4) - none,
        score(bare, spacing=2.0, fed=0.0, runs=4, rows=4) - none,
        score(bare, spacing=2.0, fed=1.0, runs=8, rows=4) - none,
    )
    assert none == 0.0
    at = [MEASURE.find(f"{cost:g} × ") for cost in costs]
    assert at == sorted(at)
    assert at[0] > 0


def test_a_pattern_that_the_site_file_asks_for_is_told() -> None:
    site, trials = trials_of(curved_field(), 2)
    site = replace(site, runs=replace(site.runs, pattern=Pattern.EVEN))
    assert comparison(site, trials)["asked"] == "even"
    said = " ".join(text.text for text in texts(comparison_sheet(site, trials)))
    assert 'the site file asks for "even"' in said


def test_the_image_has_the_size_of_the_paper_and_the_same_bytes(tmp_path: Path) -> None:
    site, trials = trials_of(tree_field(), 4)
    for name in ("a.png", "b.png"):
        write_comparison(site, trials, tmp_path / name)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    with Image.open(tmp_path / "a.png") as image:
        assert image.size == (17 * 200, 11 * 200)
        grey = np.asarray(image.convert("L"))
    # In grey print a run is still far darker than the paper.
    drawing = comparison_sheet(site, trials)
    line = runs_in(drawing, panels(drawing)[0][0])[0].line
    x, y = shapely.get_coordinates(line.interpolate(0.5, normalized=True))[0]
    row, column = round((11 - y) * 200), round(x * 200)
    assert grey[row - 3 : row + 4, column].min() < 150
    assert grey.max() == 255


def test_too_many_patterns_are_told() -> None:
    site, (first,) = trials_of(curved_field(), 1)
    trials = [
        replace(first, candidate=replace(first.candidate, tubing=100.0 + number)) for number in range(200)
    ]
    with pytest.raises(SheetError, match="too many"):
        comparison_sheet(site, trials)


def test_candidates_of_the_same_runs_are_drawn_once_and_all_named() -> None:
    site, trials = trials_of(curved_field(), 4)
    moved = [replace(run, line=translate(run.line, xoff=1e-5)) for run in trials[1].laying.runs]
    lengthwise = [
        replace(run, line=shapely.segmentize(run.line, 0.1).reverse()) for run in trials[1].laying.runs
    ]
    for number, runs in ((2, moved), (3, lengthwise)):
        candidate = replace(trials[1].candidate, pattern=Pattern.RIGHT, score=3.0 + number)
        laying = replace(trials[1].laying, runs=tuple(runs))
        trials.append(replace(trials[1], candidate=candidate, laying=laying))
    assert alike(trials) == [[0], [1, 4, 5], [2], [3]]
    drawing = comparison_sheet(site, trials)
    shown = panels(drawing)
    assert len(shown) == 4
    said = " ".join(mark.text for mark in texts(drawing))
    for number, trial in enumerate(trials, start=1):
        assert f"{number}. {'Best: ' if number == 1 else ''}{trial.candidate.pattern.value}" in said
    assert said.count("The same runs") == 1
    same = [entry["same_as"] for entry in comparison(site, trials)["candidates"]]
    assert same == [None, None, None, None, 2, 2]


def test_what_differs_by_a_row_a_blank_or_its_end_is_no_repeat() -> None:
    _, (first, *_) = trials_of(tree_field(), 1)
    short = replace(first.laying, runs=first.laying.runs[1:])
    bare = replace(first.laying, carries=())
    others = [
        replace(first, laying=short, candidate=replace(first.candidate, runs=len(short.runs))),
        replace(first, laying=bare),
        replace(first, sides=replace(first.sides, near=first.sides.far, far=first.sides.near)),
    ]
    assert first.laying.carries
    assert alike([first, *others]) == [[0], [1], [2], [3]]


@pytest.mark.parametrize(
    ("pump", "changed", "said"),
    [
        (True, {}, "the end nearer the pump: manifolds 20.00 ft, lines 50.00 ft, together 70.00 ft."),
        (
            True,
            {"end": "far", "asked": True},
            "the far end, as asked: manifolds 20.00 ft, lines 50.00 ft, together",
        ),
        (
            True,
            {"unreached": 2},
            "lines 50.00 ft, together 70.00 ft, but no line can lead to 2 of the manifolds.",
        ),
        (True, {"longest": 110.0}, "the longest lateral, 360.89 ft, is over laterals.longest."),
        (False, {}, "the near end: manifolds 20.00 ft."),
        (True, {"refused": "no run begins there"}, "not to be had, no run begins there."),
    ],
)
def test_what_pipe_either_end_takes_in_a_sentence(pump: bool, changed: dict[str, object], said: str) -> None:
    site = curved_field().site
    site = site if pump else replace(site, pump=None)
    trial = EndTrial(
        end="pump",
        at=(0.0, 0.0),
        pattern=Pattern.LEFT,
        manifolds=20 * 0.3048,
        lines=50 * 0.3048,
        leads=0.0,
        laterals=3,
    )
    assert said in end_words(site, replace(trial, **changed))  # type: ignore[arg-type]
