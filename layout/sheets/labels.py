"""The lettering of the plan: what is named, in which words, and where it finds room.

What finds none gets shorter words, then a leader, then none at all; it is then listed on the sheet, and its
figures stand in the schedules.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point

from layout.model import Design, Feature, FeatureKind, Run
from layout.plane import TOLERANCE, Array, coordinates, lines_of, polygons_of
from layout.sheets import fieldmarks, layers
from layout.sheets.arrange import LEGIBLE
from layout.sheets.failing import failing
from layout.sheets.figures import Figures
from layout.sheets.groundlabels import ground_labels
from layout.sheets.labelpen import LETTER, LabelPen, reach_of
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Line, Mark, Symbol, Text, View
from layout.sheets.pipelabels import about, flush_valves, pipes
from layout.sheets.placing import Board, Spots, along, around, inside, joined

ZONE_LETTER = 0.2
"""Height of a capital in the name of a zone [in]."""
_LONGEST_NAME = 1.9
_EVERY = 5
_PREFERRED = (0.5, 0.38, 0.62)
_LONG = 8.0
"""Runs longer than this on paper are named at their ends too [in]."""
_NEAR_END = 0.08
_LEADERS_APART = 0.35
"""Laterals closer than this are named on their first run, not by leaders [in]."""


def label_marks(
    design: Design,
    view: View,
    marks: Sequence[Mark],
    figures: Figures,
    lettering: Lettering,
    *,
    several: bool = False,
    dimensioned: frozenset[str] = frozenset(),
) -> tuple[list[Mark], tuple[str, ...]]:
    """Letter what a view shows of the plan, and set its flow arrows.

    Parameters
    ----------
    design : Design
    view : View
    marks : sequence of Mark
        Of the field, and of its dimensions.
    figures : Figures
    lettering : Lettering
    several : bool
        Whether the view is one of several: what hardly reaches into it is lettered on another sheet.
    dimensioned : frozenset of str
        Features whose setback is dimensioned, and need not be lettered along its limit.

    Returns
    -------
    marks : list of Mark
        In the local plane [m].
    unplaced : tuple of str
        Names of what found no room.
    """
    left, bottom, right, top = view.window
    room = (left + 0.06, bottom + 0.06, right - 0.06, top - 0.06)
    bed = shapely.transform(design.site.bed.outline, view.to_paper)
    board = Board(room, fieldmarks.linework(marks, view), avoid=bed)
    pen = LabelPen(view=view, board=board, lettering=lettering, several=several)
    _claim_symbols(pen, marks)
    _failing(pen, design)
    _zones(pen, design)
    _runs(pen, design, figures)
    _pump(pen, design)
    pipes(pen, design, figures)
    _laterals(pen, design)
    flush_valves(pen, design)
    _features(pen, design)
    _setbacks(pen, design, figures, dimensioned)
    _bed(pen, design, figures)
    _arrows(pen, design)
    ground_labels(pen, design)
    return pen.marks, tuple(pen.unplaced)


def name_marks(design: Design, view: View, marks: Sequence[Mark], lettering: Lettering) -> list[Mark]:
    """Letter the names of zones, runs and laterals alone, for a drawing of the field that tells of something else."""
    board = Board(view.window, fieldmarks.linework(marks, view), avoid=shapely.Polygon())
    pen = LabelPen(view=view, board=board, lettering=lettering)
    _claim_symbols(pen, marks)
    _zones(pen, design)
    _runs(pen, design, None)
    _laterals(pen, design)
    return pen.marks


def _claim_symbols(pen: LabelPen, marks: Sequence[Mark]) -> None:
    for mark in marks:
        if isinstance(mark, Symbol):
            at = pen.view.to_paper([mark.at])[0]
            pen.board.claim(Point(at).buffer(mark.size / 2))
        elif mark.layer in {layers.DIMENSION, layers.LEADER}:
            _claim_dimension(pen, mark)


def _claim_dimension(pen: LabelPen, mark: Mark) -> None:
    if isinstance(mark, Text):
        x, y = pen.view.to_paper([mark.at])[0]
        pen.board.claim(pen.lettering.box(mark, at=(float(x), float(y))))
    elif isinstance(mark, Line):
        pen.board.claim(shapely.transform(mark.line, pen.view.to_paper).buffer(0.015))


def _failing(pen: LabelPen, design: Design) -> None:
    """Letter the number of a check beside every place where it fails."""
    for item in failing(design):
        name = f"mark {item.number}"
        for place in item.places:
            at = pen.view.to_paper([place])[0]
            if not pen.holds(at):
                continue
            spots = around((at[0], at[1]), pen.width(name, strong=True), size=fieldmarks.FAILING / 2)
            if not pen.write(name, spots, strong=True):
                pen.unplaced.append(name)


def _zones(pen: LabelPen, design: Design) -> None:
    """Letter the name of each zone across its middle run, where there are several."""
    named = {run.name: run.line for run in design.laying.runs}
    for zone in design.zones if len(design.zones) > 1 else ():
        name = f"ZONE {zone.number}"
        in_order = sorted(zone.runs, key=lambda name: list(named).index(name))
        pieces = sorted(pen.paper(named[in_order[len(in_order) // 2]]), key=reach_of, reverse=True)
        width = pen.width(name, ZONE_LETTER, strong=True)
        if not pieces and pen.several:
            continue
        spots = [along(piece, width, ZONE_LETTER, prefer=0.3, above=0.0, mask=True) for piece in pieces[:1]]
        if not spots or not pen.write(name, joined(spots), height=ZONE_LETTER, strong=True):
            pen.unplaced.append(name)


def _runs(pen: LabelPen, design: Design, figures: Figures | None) -> None:
    """Letter name, and length if it is told, along each run; every fifth where runs lie too close."""
    runs = design.laying.runs
    apart = design.site.runs.spacing / pen.view.metres_per_inch
    crowded = apart < LEGIBLE - 1e-6
    step = max(_EVERY, math.ceil(LEGIBLE / apart / _EVERY) * _EVERY) if crowded else 1
    chosen = [
        run
        for index, run in enumerate(runs)
        if not crowded or index in {0, len(runs) - 1} or (index + 1) % step == 0
    ]
    for index, run in enumerate(chosen):
        if not _label_run(pen, run, figures, prefer=_PREFERRED[index % 3], apart=apart):
            pen.unplaced.append(run.name)
    if crowded:
        pen.unplaced.append(f"runs between those lettered (every {step}th)")


def _label_run(pen: LabelPen, run: Run, figures: Figures | None, *, prefer: float, apart: float) -> bool:
    """Letter name and length beside the run, else in it, else the name alone, else with a leader."""
    pieces = sorted(pen.paper(run.line), key=reach_of, reverse=True)
    if pen.several and not pen.shows(pieces, run.line):
        return True
    if not pieces:
        return False
    beside = 0.5 * LETTER + 0.04
    full = (f"{run.name}  {figures.length_of(run.length)}",) if figures is not None else ()
    for text in (*full, run.name):
        width = pen.width(text)
        ways = [(0.0, True, 0.3)]
        if apart >= 1.75 * LETTER:
            ways += [(beside, False, 0.0), (-beside, False, 0.08)]
        spots = [
            along(pieces[0], width, LETTER, prefer=prefer, above=above, mask=mask).dearer(extra)
            for above, mask, extra in ways
        ]
        if pen.write(text, joined(spots)):
            _label_ends(pen, run.name, pieces[0])
            return True
    return pen.write(run.name, about(pieces[0], pen.width(run.name)))


def _label_ends(pen: LabelPen, name: str, piece: Array) -> None:
    """Letter the name again near both ends of a run so long that one would have to look for it."""
    if reach_of(piece) < _LONG:
        return
    for share in (0.06, 0.94):
        spots = along(piece, pen.width(name), LETTER, prefer=share, above=0.0, mask=True)
        pen.write(name, spots.only(spots.cost < 0.8 * _NEAR_END))


def _pump(pen: LabelPen, design: Design) -> None:
    if design.site.pump is None:
        return
    at = pen.view.to_paper([design.site.pump.at])[0]
    if not pen.holds(at) or _in_named_tank(design):
        return
    spots = around((at[0], at[1]), pen.width("pump"), size=fieldmarks.PUMP / 2)
    if not pen.write("pump", spots):
        pen.unplaced.append("pump")


def _in_named_tank(design: Design) -> bool:
    """Whether the pump stands in or on a tank or building of the site, whose own name is lettered."""
    at = Point(design.site.pump.at) if design.site.pump is not None else Point()
    return any(
        item.kind in {FeatureKind.TANK, FeatureKind.BUILDING} and item.shape.distance(at) <= TOLERANCE
        for item in design.site.features
    )


def _laterals(pen: LabelPen, design: Design) -> None:
    """Letter each lateral's name at the end that is fed; only every fifth where they lie close."""
    named = {run.name: run.line for run in design.laying.runs}
    # A leader points at the foot of the riser, so that the run's end stays in sight.
    feet = {
        riser.lateral: riser.line.coords[0][:2] for riser in design.plumbing.risers if riser.kind == "supply"
    }
    laterals = design.laterals
    wide = np.mean([len(lateral.runs) for lateral in laterals]) if laterals else 1.0
    apart = wide * design.site.runs.spacing / pen.view.metres_per_inch
    crowded, in_line = apart < 1.2 * LETTER, apart < _LEADERS_APART
    for index, lateral in enumerate(laterals):
        if crowded and index not in {0, len(laterals) - 1} and (index + 1) % _EVERY:
            continue
        width = pen.width(lateral.name, strong=True)
        at = pen.view.to_paper([lateral.supply])[0]
        if not pen.holds(at):
            continue
        led, lying = (2.0, 0.0) if in_line else (0.0, 0.4)
        foot = pen.view.to_paper([feet.get(lateral.name, lateral.supply)])[0]
        spots = [around((foot[0], foot[1]), width).dearer(led)]
        pieces = pen.paper(named[lateral.runs[0]])
        if pieces:
            near = along(pieces[0], width, LETTER, prefer=0.0, above=0.0, mask=True)
            spots.append(near.only(slice(0, 6)).dearer(lying))
        if not pen.write(lateral.name, joined(spots), strong=True):
            pen.unplaced.append(lateral.name)
    if crowded:
        pen.unplaced.append(f"laterals between those lettered (every {_EVERY}th)")


def _features(pen: LabelPen, design: Design) -> None:
    """Letter the name of each feature: in it, along it, or beside it."""
    for item in design.site.features:
        if not item.shape.intersects(_ground_window(pen)):
            continue
        name = pen.lettering.fitted(pen.lettering.clean(item.name), LETTER, _LONGEST_NAME)
        if not any(pen.write(name, spots) for spots in _feature_spots(pen, item, pen.width(name))):
            pen.unplaced.append(name)


def _ground_window(pen: LabelPen) -> shapely.Polygon:
    return shapely.transform(pen.board.window, pen.view.to_plan)


def _feature_spots(pen: LabelPen, item: Feature, width: float) -> list[Spots]:
    """List sets of spots, each tried when the one before gave no room."""
    shape = shapely.transform(item.shape, pen.view.to_paper).intersection(pen.board.window)
    if isinstance(shape, Point):
        return [around((shape.x, shape.y), width, size=fieldmarks.SYMBOL / 2)]
    areas = sorted(polygons_of(shape), key=lambda area: -area.area)
    if areas:
        middle = areas[0].representative_point()
        edge = coordinates(areas[0].exterior)
        beside = about(edge, width, shares=tuple(i / 8 for i in range(8)))
        return [inside(areas[0], width, LETTER), beside, around((middle.x, middle.y), width)]
    lines = sorted(lines_of(shape), key=lambda line: -line.length)
    if not lines:
        return []
    piece = coordinates(lines[0])
    side = 0.5 * LETTER + 0.05
    return [
        along(piece, width, LETTER, prefer=0.35, above=side, mask=False),
        along(piece, width, LETTER, prefer=0.35, above=-side, mask=False),
        about(piece, width),
    ]


def _setbacks(pen: LabelPen, design: Design, figures: Figures, dimensioned: frozenset[str]) -> None:
    """Letter the distance along the limit of each setback that is not dimensioned."""
    for item in design.site.features:
        if item.setback <= 0 or item.name in dimensioned:
            continue
        zone = item.shape.buffer(item.setback, quad_segs=32)
        far = figures.length_of(item.setback)
        text = (
            f"{far} setback of {pen.lettering.fitted(pen.lettering.clean(item.name), LETTER, _LONGEST_NAME)}"
        )
        width = pen.width(text)
        pieces = [
            piece for area in polygons_of(zone) for piece in pen.paper(LineString(area.exterior.coords))
        ]
        pieces = sorted(pieces, key=reach_of, reverse=True)
        if not pieces:
            continue
        placed = any(
            pen.write(words, joined([_in_line(pen, words, piece) for piece in pieces[:3]]))
            for words in (text, f"{far} setback", far)
        )
        if not placed and not pen.write(text, about(pieces[0], width)):
            pen.unplaced.append(f"setback of {pen.lettering.clean(item.name)}")


def _in_line(pen: LabelPen, text: str, piece: Array) -> Spots:
    return along(piece, pen.width(text), LETTER, prefer=0.5, above=0.0, mask=True)


def _bed(pen: LabelPen, design: Design, figures: Figures) -> None:
    text = f"edge of bed, {figures.area_of(design.site.bed.outline.area)}"
    width = pen.width(text)
    shares = tuple(i / 12 for i in range(12))
    pieces = pen.paper(LineString(design.site.bed.outline.exterior.coords))
    if not pieces and pen.several:
        return
    if not pieces or not pen.write(text, about(pieces[0], width, shares=shares)):
        pen.unplaced.append("edge of bed")


def _arrows(pen: LabelPen, design: Design) -> None:
    """Set an arrow near both ends of each run and on each pipe, where nothing is lettered."""
    apart = design.site.runs.spacing / pen.view.metres_per_inch
    size = min(fieldmarks.ARROW, 0.8 * apart)
    lines = [line for _, line in fieldmarks.flow_lines(design)] if size >= 0.06 else []
    wanted: list[tuple[LineString, Sequence[float]]] = [(line, (0.12, 0.16, 0.2, 0.25)) for line in lines]
    wanted += [(line, (0.88, 0.84, 0.8, 0.75)) for line in lines]
    wanted += [(pipe.line, (0.5, 0.6, 0.4, 0.7, 0.3)) for pipe in design.plumbing.lines]
    for line, shares in wanted:
        if line.length / pen.view.metres_per_inch < 4 * size:
            continue
        marks = fieldmarks.arrows(line, shares, pen.view, size=size)
        ats = pen.view.to_paper([mark.at for mark in marks])
        for mark, at in zip(marks, ats, strict=True):
            spot = Point(at).buffer(size / 2)
            if pen.board.free(spot):
                pen.board.claim(spot)
                pen.marks.append(mark)
                break
