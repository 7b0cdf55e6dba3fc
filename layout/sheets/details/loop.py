"""The end of two runs at a larger scale: the loop that ties them, its length and bends, the last emitters."""

from __future__ import annotations

import math

import numpy as np
from shapely import LineString, Point

from layout.model import XY, Design, Join, Run
from layout.plane import coordinates, pair
from layout.sheets import layers
from layout.sheets.details.picture import LETTER, Picture, Window, north_words, scale_for, window_around
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Dots, Line, Mark, Symbol, View
from layout.sheets.placing import REACHES, along, around, joined

AROUND = 1.6
"""Shown around the loop, in spacings of the runs."""
_ELBOW = 0.09
_EMITTER = 0.05
_OFFS = (0.3, -0.3, 0.45, -0.45, 0.6, -0.6)
_FEWEST = 5
_TRIED = 6
"""Emitters nearest to the end of a run of which one is named."""
_ROUND = 0.003
"""A loop whose points keep so near to a circle is an arc [m]."""


def typical_loop(design: Design) -> Join | None:
    """Choose the loop of the middle length, the first of those as long; None where there is none."""
    loops = [join for join in design.joins if join.kind == "loop"]
    if not loops:
        return None
    ordered = sorted(loops, key=lambda join: round(join.line.length, 3))
    return ordered[(len(ordered) - 1) // 2]


def loop_picture(
    design: Design, loop: Join, window: Window, figures: Figures, lettering: Lettering
) -> tuple[Picture, str]:
    """Draw one loop, with its scale in words."""
    points = coordinates(loop.line)
    centre, wide, high = window_around(points, AROUND * design.site.runs.spacing)
    metres, scale = scale_for(wide, high, window, design.site.frame.units)
    picture = Picture(
        view=View(window=window, centre=centre, metres_per_inch=metres),
        figures=figures,
        lettering=lettering,
    )
    named = {run.name: run for run in design.laying.runs}
    tied = [named[loop.start], named[loop.end]]
    picture.draw(_marks(design, tied), north_words(design.site))
    _measure(design, loop, tied, picture)
    _letter(design, loop, tied, picture)
    return picture, scale


def note(design: Design, figures: Figures) -> str:
    """Say what the loop stands for."""
    lengths = [join.line.length for join in design.joins if join.kind == "loop"]
    span = figures.length_of(min(lengths))
    if figures.length_of(max(lengths)) != span:
        span = f"{figures.length(min(lengths))} to {figures.length_of(max(lengths))}"
    said = f"Typical of {len(lengths)} loops, {span} long." if len(lengths) > 1 else ""
    if design.site.tubing.bend_radius > 0:
        radius = figures.length_of(design.site.tubing.bend_radius)
        if _has_elbows(design):
            said = f"{said} Square elbows; tubing that bends: radius {radius} or more.".strip()
        else:
            said = f"{said} Least bend radius {radius}.".strip()
    return said


def _has_elbows(design: Design) -> bool:
    return any(item.on == "tubing" and item.kind == "elbow" for item in design.plumbing.fittings)


def _marks(design: Design, tied: list[Run]) -> list[Mark]:
    marks: list[Mark] = [Area(layer=layers.BED, shape=design.site.bed.outline)]
    marks += [Line(layer=layers.RUN, line=run.line) for run in design.laying.runs]
    marks += [
        Line(layer=layers.LOOP if join.kind == "loop" else layers.BLANK, line=join.line)
        for join in design.joins
    ]
    # a lead lies between runs, and may turn at the very end of those that the loop ties
    marks += [Line(layer=layers.RISER, line=riser.line) for riser in design.plumbing.risers if riser.lead]
    names = {run.name for run in tied}
    marks += [
        Dots(layer=layers.EMITTER, points=row.points, size=_EMITTER)
        for row in design.emitters
        if row.run in names and row.points
    ]
    places = sorted(
        {
            item.at
            for item in design.plumbing.fittings
            if item.on == "tubing" and item.kind.startswith("elbow")
        }
    )
    marks += [Symbol(layer=layers.LOOP, name="elbow", at=at, size=_ELBOW) for at in places]
    return marks


def _measure(design: Design, loop: Join, tied: list[Run], picture: Picture) -> None:
    """Dimension the ends of the runs, the last emitter, and the way to the edge of the bed."""
    start, end = pair(loop.line.coords[0]), pair(loop.line.coords[-1])
    outward = _outward(start, end, tied[0])
    picture.measure(
        start, end, [outward * off for off in (0.35, 0.5, -0.35, -0.5, 0.7)], told="distance of the run ends"
    )
    for at, run in ((start, tied[0]), (end, tied[1])):
        last = _last_emitter(design, run, at)
        if last is not None and picture.measure(last, at, _OFFS, words="last emitter: <>"):
            break
    edge = design.site.bed.outline.exterior
    foot = edge.interpolate(edge.project(Point(start)))
    picture.measure(start, (float(foot.x), float(foot.y)), (*_OFFS, 0.8, -0.8), words="<> to the edge")


def _outward(start: XY, end: XY, run: Run) -> float:
    """Tell on which side of the step from start to end the run does not lie: 1 on the left, -1 on the right."""
    line = run.line
    inner = line.interpolate(0.1 * line.length if _starts_at(line, start) else 0.9 * line.length)
    step = np.subtract(end, start)
    in_ = np.subtract((inner.x, inner.y), start)
    return -1.0 if step[0] * in_[1] - step[1] * in_[0] > 0 else 1.0


def _starts_at(line: LineString, at: XY) -> bool:
    return math.dist(pair(line.coords[0]), at) < math.dist(pair(line.coords[-1]), at)


def _last_emitter(design: Design, run: Run, at: XY) -> XY | None:
    points = next((row.points for row in design.emitters if row.run == run.name), ())
    return min(points, key=lambda point: math.dist(point, at), default=None)


def _letter(design: Design, loop: Join, tied: list[Run], picture: Picture) -> None:
    """Name both runs, the loop with its length, its bends or elbows, an emitter and the edge."""
    length = picture.figures.length_of(loop.line.length)
    middle = loop.line.interpolate(0.5, normalized=True)
    bends = [f", radius {picture.figures.length_of(radius)}" for radius in _bends(loop.line)]
    picture.name(f"end loop, {length} of blank tubing{''.join(bends)}", (middle.x, middle.y))
    if _has_elbows(design):
        picture.name("elbow", pair(loop.line.coords[0]), size=_ELBOW / 2)
    for run in tied:
        _in_line(picture, run.line, run.name, strong=True)
    end = pair(loop.line.coords[-1])
    points = next((row.points for row in design.emitters if row.run == tied[1].name), ())
    near = sorted(points, key=lambda point: math.dist(point, end))
    # any but the last will do, which has its distance beside it
    before = len(picture.unlettered)
    for at in near[1:_TRIED]:
        if picture.name("emitter", at, size=_EMITTER / 2, led=True):
            del picture.unlettered[before:]
            break
    del picture.unlettered[before + 1 :]
    edge = picture.seen(LineString(design.site.bed.outline.exterior.coords))
    if edge:
        width = picture.lettering.width("edge of bed", LETTER)
        spots = [along(edge[0], width, LETTER, prefer=0.3, above=side, mask=False) for side in (0.1, -0.1)]
        on_edge = LineString(edge[0]).interpolate(0.3, normalized=True)
        spots.append(around((on_edge.x, on_edge.y), width, reaches=REACHES).dearer(0.3))
        picture.letter("edge of bed", joined(spots))


def _bends(line: LineString) -> list[float]:
    """Find the radius of a loop that is one arc from end to end; none where it has corners [m]."""
    points = coordinates(line)
    if len(points) < _FEWEST:
        return []
    first, middle, last = points[0], points[len(points) // 2], points[-1]
    ways = np.stack((middle - first, last - first))
    if abs(float(np.linalg.det(ways))) < _ROUND**2:
        return []
    # The centre is as far from the first point as from both others.
    centre = first + np.linalg.solve(ways, (ways**2).sum(axis=1) / 2)
    radius = float(np.hypot(*(first - centre)))
    off = np.abs(np.hypot(*(points - centre).T) - radius)
    return [radius] if float(off.max()) < _ROUND else []


def _in_line(picture: Picture, line: LineString, text: str, *, strong: bool) -> None:
    pieces = picture.seen(line)
    if pieces:
        width = picture.lettering.width(text, LETTER, strong=strong)
        spots = along(pieces[0], width, LETTER, prefer=0.6, above=0.0, mask=True)
        picture.letter(text, spots, strong=strong, told=text)
