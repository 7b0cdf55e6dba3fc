"""The candidate patterns side by side: one picture each at one scale, with its figures, the best one framed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import shapely
from shapely import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from layout.coverage import MEASURE
from layout.errors import Fault, SheetError
from layout.model import Candidate, EndTrial, Pattern, Site, Trial
from layout.plane import lines_of, polygons_of
from layout.sheets import layers
from layout.sheets.comparison import alike, along, end_words, rows_of
from layout.sheets.figures import Figures, plain
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Dash, Drawing, Line, Mark, Paper, Pen, Sheet, Symbol, Text, View
from layout.sheets.plot import write_png

JUDGEMENT = "The measure is a judgement: look at the pictures before you choose."
_INCH = Paper(name="ANSI B", width=17.0, height=11.0, metric=False)
_METRIC = Paper(name="A3", width=420 / 25.4, height=297 / 25.4, metric=True)
_MARGIN, _GAP = 0.4, 0.15
_HEAD, _FOOT = 0.5, 0.75
_LETTER, _PITCH = 0.075, 0.135
_AROUND = 0.12
_MOST_ACROSS = 6
_RUN_WEIGHTS = ((0.07, 0.35), (0.045, 0.25), (0.025, 0.18), (0.0, 0.13))
"""Least distance between runs on paper [in], weight of a run [mm]."""
_BAR = 2.5
"""Longest bar scale [in]."""
_RING = 0.12
"""Least width of the ring about the driest place [in]."""
_Shown = list[tuple[int, Trial]]
"""Candidates of one picture with their places from 0 on."""
_DROPPED = Pen(weight=0.25, dash=Dash.SHORT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How the pictures stand on the sheet.

    Attributes
    ----------
    across, down : int
    width, height : float
        Of one panel [in].
    lines : int
        Of lettering over each picture.
    metres_per_inch : float
    """

    across: int
    down: int
    width: float
    height: float
    lines: int
    metres_per_inch: float


def write_comparison(site: Site, trials: Sequence[Trial], path: Path, ends: Sequence[EndTrial] = ()) -> None:
    """Write the pictures as one image."""
    write_png(comparison_sheet(site, trials, ends), path)


def comparison_sheet(site: Site, trials: Sequence[Trial], ends: Sequence[EndTrial] = ()) -> Drawing:
    """Draw the candidates side by side on one sheet, in the given order, those of the same runs once.

    Parameters
    ----------
    site : Site
    trials : sequence of Trial
        At least one, the best first.
    ends : sequence of EndTrial, optional
        The manifolds at either end of the bed, told in the heading.
    """
    figures, lettering = Figures(site.frame.units), Lettering()
    paper = _METRIC if site.frame.units.word == "m" else _INCH
    panels = [[(index, trials[index]) for index in group] for group in alike(trials)]
    grid = _grid(site, panels, paper, figures, lettering)
    marks = [*_head(site, trials, ends, paper, lettering), *_foot(site, grid, paper, lettering)]
    for place, shown in enumerate(panels):
        row, column = divmod(place, grid.across)
        left = _MARGIN + column * (grid.width + _GAP)
        top = paper.height - _MARGIN - _HEAD - row * (grid.height + _GAP)
        panel = box(left, top - grid.height, left + grid.width, top)
        marks += _panel(site, shown, grid, panel, figures, lettering)
    return Drawing(
        title=lettering.clean(site.title),
        frame=site.frame,
        paper=paper,
        scale="as the bar shows",
        plan=(),
        sheets=(Sheet(name="Patterns", marks=tuple(marks)),),
    )


def _grid(site: Site, panels: Sequence[_Shown], paper: Paper, figures: Figures, lettering: Lettering) -> Grid:
    """Choose how many pictures stand side by side, so that their scale is the largest."""
    x0, y0, x1, y1 = site.bed.outline.bounds
    room = (paper.width - 2 * _MARGIN, paper.height - 2 * _MARGIN - _HEAD - _FOOT)
    best: Grid | None = None
    for across in range(1, min(len(panels), _MOST_ACROSS) + 1):
        down = math.ceil(len(panels) / across)
        width = (room[0] - (across - 1) * _GAP) / across
        height = (room[1] - (down - 1) * _GAP) / down
        lines = max(len(_words(shown, figures, lettering, width - 0.2)) for shown in panels)
        wide, high = width - 2 * _AROUND, height - 2 * _AROUND - _lettered(lines)
        if min(wide, high) <= 0.5:
            continue
        size = max((x1 - x0) / wide, (y1 - y0) / high)
        if best is None or size < best.metres_per_inch:
            best = Grid(
                across=across, down=down, width=width, height=height, lines=lines, metres_per_inch=size
            )
    if best is None:
        raise SheetError(
            Fault(
                said=f"{len(panels)} patterns are too many for pictures on one sheet",
                remedy="Leave the pictures out.",
            )
        )
    return best


def _lettered(lines: int) -> float:
    """Room for the lettering of a panel [in]."""
    return 0.1 + lines * _PITCH


def _head(
    site: Site, trials: Sequence[Trial], ends: Sequence[EndTrial], paper: Paper, lettering: Lettering
) -> Iterator[Mark]:
    """Letter the title, and what is compared; to the right the pipe that either end takes."""
    title = lettering.clean(site.title) or "Untitled"
    top = paper.height - _MARGIN
    room = paper.width - 2 * _MARGIN
    ends_said = [end_words(site, item) for item in ends]
    widest = max((lettering.width(text, _LETTER) for text in ends_said), default=0.0)
    for number, text in enumerate(ends_said):
        yield _text(text, (paper.width - _MARGIN - widest, top - 0.12 - number * _PITCH))
    text = lettering.fitted(title, 0.13, room - widest - 0.3, strong=True)
    yield Text(layer=layers.TITLE, text=text, at=(_MARGIN, top - 0.15), height=0.13, strong=True)
    count = len(trials)
    said = f"{count} pattern{'s' if count > 1 else ''} laid out on this bed, the one that best takes first"
    if site.runs.pattern is not Pattern.BEST:
        said += f'; the site file asks for "{site.runs.pattern.value}"'
    yield _text(f"{said}.", (_MARGIN, top - 0.36))


def _foot(site: Site, grid: Grid, paper: Paper, lettering: Lettering) -> Iterator[Mark]:
    """Draw bar scale and legend, and say what the score is."""
    low, length = _MARGIN, _bar(grid.metres_per_inch / site.frame.units.length)
    y, right = low + _FOOT - 0.3, paper.width - _MARGIN
    inches = length * site.frame.units.length / grid.metres_per_inch
    for half, fill in ((0, Colour.BLACK), (1, Colour.WHITE)):
        part = box(_MARGIN + half * inches / 2, y, _MARGIN + (half + 1) * inches / 2, y + 0.06)
        yield Area(layer=layers.TITLE, shape=part, fill=fill, pen=Pen(weight=0.18))
    at = _MARGIN + inches + 0.1
    yield _text(f"{length:g} {site.frame.units.length_name} in all pictures; north is up", (at, y))
    x = right - 6.1
    for layer, pen, words, room in (
        (layers.RUN, None, "run", 0.85),
        (layers.BLANK, None, "blank tubing", 1.5),
        (layers.MANIFOLD, None, "manifold end", 1.55),
        (layers.RUN, _DROPPED, "left out", 1.2),
    ):
        yield Line(layer=layer, line=LineString([(x, y + 0.03), (x + 0.4, y + 0.03)]), pen=pen)
        yield _text(words, (x + 0.47, y))
        x += room
    yield Symbol(layer=layers.LABEL, name="balloon", at=(x + 0.07, y + 0.03), size=_RING)
    yield _text("driest place", (x + 0.2, y))
    for index, line in enumerate(
        lettering.wrapped(f"{MEASURE[0].upper()}{MEASURE[1:]}. {JUDGEMENT}", _LETTER, right - low)[:2]
    ):
        yield _text(line, (low, low + 0.2 - 0.14 * index))


def _bar(per_inch: float) -> float:
    """Length of the bar scale in site units: 1, 2 or 5 times a power of ten, as long as there is room."""
    most = per_inch * _BAR
    power = 10.0 ** math.floor(math.log10(most))
    return max(factor * power for factor in (1, 2, 5) if factor * power <= most)


def _text(text: str, at: tuple[float, float], *, strong: bool = False) -> Text:
    return Text(layer=layers.LABEL, text=text, at=at, height=_LETTER, strong=strong)


def _panel(
    site: Site, shown: _Shown, grid: Grid, panel: Polygon, figures: Figures, lettering: Lettering
) -> Iterator[Mark]:
    """Draw frame, lettering and picture of candidates with the same runs."""
    index, trial = shown[0]
    left, bottom, right, top = panel.bounds
    yield Area(layer=layers.TITLE, shape=panel, pen=Pen(weight=0.70 if index == 0 else 0.13))
    for number, (text, strong) in enumerate(_words(shown, figures, lettering, right - left - 0.2)):
        yield _text(text, (left + 0.1, top - 0.05 - (number + 0.8) * _PITCH), strong=strong)
    x0, y0, x1, y1 = site.bed.outline.bounds
    view = View(
        window=(left, bottom, right, top - _lettered(grid.lines)),
        centre=((x0 + x1) / 2, (y0 + y1) / 2),
        metres_per_inch=grid.metres_per_inch,
    )
    yield from _picture(site, trial, view)


def _words(shown: _Shown, figures: Figures, lettering: Lettering, room: float) -> list[tuple[str, bool]]:
    """Titles of candidates and their figures, broken to the width of a panel [in]; titles in heavier strokes."""
    (_, trial), *_ = shown
    item, cover, unit = trial.candidate, trial.candidate.coverage, figures.units.length_name
    said = [
        f"{rows_of(trial)} rows, {item.runs} runs, {figures.length_of(item.tubing)}; "
        f"{item.dropped} left out; {figures.share(item.fed_at_end)} fed at the manifold end",
        f"{figures.share(cover.covered)} covered, driest {figures.length_of(cover.dry)} from tubing",
    ]
    if cover.gap_least is not None and cover.gap_p95 is not None and cover.gap_greatest is not None:
        gaps = " / ".join(figures.length(gap) for gap in (cover.gap_least, cover.gap_p95, cover.gap_greatest))
        said.append(f"gaps {gaps} {unit} (least, 95 % up to, greatest)")
    bend = f"tightest bend {figures.length_of(cover.bend_least)}" if cover.bend_least else "no bends"
    said.append(f"{bend}; score {plain(item.score, 2)}")
    titles = [_title(index, each.candidate, figures) for index, each in shown]
    if len(shown) > 1:
        titles[1:] = [f"The same runs: {'; '.join(titles[1:])}"]
    return [
        *((line, True) for title in titles for line in lettering.wrapped(title, _LETTER, room, strong=True)),
        *((line, False) for text in said for line in lettering.wrapped(text, _LETTER, room)),
    ]


def _title(index: int, item: Candidate, figures: Figures) -> str:
    rank = "Best: " if index == 0 else ""
    first = "" if item.first is None else f", first run {figures.length_of(item.first)} from it"
    return f"{index + 1}. {rank}{item.pattern.value}, {along(item)}{first}"


def _picture(site: Site, trial: Trial, view: View) -> Iterator[Mark]:
    """Draw bed, features, tubing, manifold end and driest place, on paper, within the window."""
    window = box(*view.window)

    def lines(shape: BaseGeometry) -> list[LineString]:
        return lines_of(shapely.transform(shape, view.to_paper).intersection(window))

    for item in site.features:
        layer = layers.FEATURES[item.kind]
        if item.shape.geom_type == "Point":
            x, y = view.to_paper(shapely.get_coordinates(item.shape))[0]
            if window.contains(shapely.Point(x, y)):
                yield Symbol(layer=layer, name=item.kind.value, at=(float(x), float(y)), size=0.1)
        outline = item.shape.boundary if item.shape.geom_type == "Polygon" else item.shape
        yield from (Line(layer=layer, line=line, pen=Pen(weight=0.18)) for line in lines(outline))
        if item.setback > 0:
            for zone in polygons_of(item.shape.buffer(item.setback)):
                thin = Pen(weight=0.13, dash=layers.SETBACK.pen.dash)
                yield from (Line(layer=layers.SETBACK, line=line, pen=thin) for line in lines(zone.exterior))
    yield from (
        Line(layer=layers.BED, line=line, pen=Pen(weight=0.25)) for line in lines(site.bed.outline.exterior)
    )
    apart = site.runs.spacing / view.metres_per_inch
    weight = next(weight for least, weight in _RUN_WEIGHTS if apart >= least)
    for run in trial.laying.runs:
        pen = Pen(weight=weight, colour=Colour.BLUE)
        yield from (Line(layer=layers.RUN, line=line, pen=pen) for line in lines(run.line))
    for join in trial.laying.carries:
        pen = Pen(weight=weight, dash=layers.BLANK.pen.dash, colour=Colour.BLUE)
        yield from (Line(layer=layers.BLANK, line=line, pen=pen) for line in lines(join.line))
    for piece in trial.laying.dropped:
        yield from (Line(layer=layers.RUN, line=line, pen=_DROPPED) for line in lines(piece.line))
    yield from (Line(layer=layers.MANIFOLD, line=line) for line in lines(trial.sides.near))
    x, y = view.to_paper([trial.candidate.coverage.dry_at])[0]
    size = max(_RING, 2 * trial.candidate.coverage.dry / view.metres_per_inch)
    ring = shapely.Point(x, y).buffer(size / 2, quad_segs=32)
    if window.contains(ring):
        yield Symbol(layer=layers.LABEL, name="balloon", at=(float(x), float(y)), size=size)
    else:
        part = lines_of(ring.exterior.intersection(window))
        yield from (Line(layer=layers.LABEL, line=line) for line in part)
