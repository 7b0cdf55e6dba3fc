"""The details set out on sheets: pictures in cells of equal size, their tables and symbols beside them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from layout.model import Design, Join
from layout.sheets import layers
from layout.sheets.blocks import GUTTER, Block, Cell, Column, Row, Sample, draw, flow
from layout.sheets.details.atpump import flush_valves, pump_picture
from layout.sheets.details.loop import loop_picture, note, typical_loop
from layout.sheets.details.manifold import manifold_picture, parts_of, riser_table
from layout.sheets.details.picture import NOT_TO_SCALE, STRIP, Picture, Window, title
from layout.sheets.details.place import Place, places
from layout.sheets.details.section import WIDTH, level_tables, notes, section_picture
from layout.sheets.details.site import site_picture
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Dimension, Dots, Line, Mark, Paper, Symbol, View
from layout.sheets.pages import Page, open_area, over_title

_WIDE, _HIGH = 10.5, 4.4
"""Least size of a cell, where the sheet is large enough [in]."""
_MOST = 3
_EDGE = 0.15
_LOOP_SHARE = 0.42
"""Of a cell's width that an end loop takes beside a section."""
_FITTINGS = (
    ("tee", "tee, and the riser's foot"),
    ("trunk tee", "tee of a trunk"),
    ("elbow", "elbow"),
    ("connector", "connector to the tubing"),
    ("cap", "cap"),
    ("coupling", "coupling"),
    ("zone valve", "zone valve"),
    ("flush valve", "return flush valve"),
    ("air valve", "air and vacuum release valve"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Detail:
    """A picture before it has a place: its name, how it is drawn in a window, and a note."""

    name: str
    draw: Callable[[Window], tuple[Picture, str]]
    note: str = ""


def detail_pages(
    design: Design,
    paper: Paper,
    figures: Figures,
    lettering: Lettering,
    *,
    plan: View | None = None,
    seen: frozenset[str] | None = None,
) -> list[Page]:
    """Draw all details of a design.

    Parameters
    ----------
    design : Design
    paper : Paper
        Of the sheets.
    figures : Figures
    lettering : Lettering
    plan : View, optional
        Of the plan: manifolds are drawn at twice its scale at least, in parts where it takes them.
    seen : frozenset of str, optional
        Features that the plan shows: where it lacks some, there is a picture of the whole site.

    Returns
    -------
    list of Page
        Empty for a design without manifolds, loops, risers and features that the plan does not show.
    """
    found, upright = places(design), _upright(places(design))
    parts = _parts_of(design, found, paper, plan, upright=upright)
    hidden = seen is not None and not seen.issuperset(item.name for item in design.site.features)
    cells = _cells(design, parts, figures, lettering, hidden=hidden)
    if not cells:
        return []
    count = sum(len(cell) for cell in cells)
    windows = _windows(paper, upright=upright, cells=len(cells))
    pages: list[Page] = []
    later = _blocks(design, found, figures, lettering)
    number = 0
    for start in range(0, len(cells), len(windows)):
        marks: list[Mark] = []
        dimensions: list[Dimension] = []
        for cell, window in zip(cells[start : start + len(windows)], windows, strict=False):
            for detail, part in zip(cell, _parts(window, len(cell)), strict=True):
                number += 1
                picture, scale = detail.draw(part)
                marks += picture.marks
                dimensions += picture.dimensions
                said = " ".join([*([detail.note] if detail.note else []), *picture.remarks])
                if picture.unlettered:
                    said = f"{said} Not lettered for want of room: {', '.join(picture.unlettered)}.".strip()
                marks += title(part, number, count, detail.name, scale, said, lettering)
        legend = _legend(marks)
        placed, later = flow([*([legend] if legend.rows else []), *later], [_beside(paper)])
        for part_ in placed:
            marks += draw(part_, layers.TABLE)
        pages.append(_page(len(pages) + 1, marks, dimensions))
    while later:
        placed, later = flow(later, [_beside(paper)])
        if not placed:
            break
        pages.append(
            _page(len(pages) + 1, [mark for part in placed for mark in draw(part, layers.TABLE)], [])
        )
    return pages


def _page(number: int, marks: Sequence[Mark], dimensions: Sequence[Dimension]) -> Page:
    return Page(
        name=f"Details {number}",
        subject="details",
        marks=tuple(marks),
        scale="as stated",
        dimensions=tuple(dimensions),
    )


def _cells(
    design: Design,
    found: Sequence[tuple[Place, list[Polygon]]],
    figures: Figures,
    lettering: Lettering,
    *,
    hidden: bool,
) -> list[list[_Detail]]:
    """List what goes into each cell: a manifold, or part of one; an end loop beside a section.

    The flush valves at the pump stand in one, beside the whole site where the plan hides a feature.
    """
    several = len({place.zone for place, _ in found}) > 1
    cells = [
        [_manifold(design, place, figures, lettering, several=several, parts=parts, number=number)]
        for place, parts in found
        for number in range(1, max(len(parts), 1) + 1)
    ]
    last = []
    loop = typical_loop(design)
    if loop is not None:
        last.append(_loop(design, loop, figures, lettering))
    if design.plumbing.risers and found:
        last.append(_section(design, figures, lettering))
    # The small ones stand on the first sheet, under the first manifold.
    beside = []
    if flush_valves(design) and design.site.pump:
        beside.append(_at_the_pump(design, figures, lettering))
    if hidden:
        beside.append(_site(design, figures, lettering))
    return [*cells[:1], *([last] if last else []), *([beside] if beside else []), *cells[1:]]


def _at_the_pump(design: Design, figures: Figures, lettering: Lettering) -> _Detail:
    def draw_it(window: Window) -> tuple[Picture, str]:
        return pump_picture(design, window, figures, lettering)

    return _Detail(name="flush valves at the pump", draw=draw_it)


def _parts_of(
    design: Design, found: Sequence[Place], paper: Paper, plan: View | None, *, upright: bool
) -> list[tuple[Place, list[Polygon]]]:
    """Cut each place into parts [m] none of which is drawn at less than twice the plan's scale."""
    parts: list[list[Polygon]] = [[] for _ in found]
    if plan is None:
        return list(zip(found, parts, strict=True))
    for _ in range(2):  # more pictures make smaller cells
        window = _windows(paper, upright=upright, cells=sum(map(len, parts)) + 2)[0]
        parts = [parts_of(design, place, window, plan.metres_per_inch / 2) for place in found]
    return list(zip(found, parts, strict=True))


def _manifold(
    design: Design,
    place: Place,
    figures: Figures,
    lettering: Lettering,
    *,
    several: bool,
    parts: Sequence[Polygon],
    number: int,
) -> _Detail:
    zone = f"zone {place.zone}, " if several else ""
    part = parts[number - 1] if len(parts) > 1 else None
    said = f", part {number} of {len(parts)}" if part is not None else ""

    def drawing(window: Window) -> tuple[Picture, str]:
        return manifold_picture(design, place, window, figures, lettering, part=part)

    return _Detail(name=f"{zone}{place.name}{said}", draw=drawing)


def _site(design: Design, figures: Figures, lettering: Lettering) -> _Detail:
    def drawing(window: Window) -> tuple[Picture, str]:
        return site_picture(design, window, figures, lettering)

    return _Detail(name="the whole site, with every feature", draw=drawing)


def _loop(design: Design, loop: Join, figures: Figures, lettering: Lettering) -> _Detail:
    def drawing(window: Window) -> tuple[Picture, str]:
        return loop_picture(design, loop, window, figures, lettering)

    name = f"end loop, {loop.start} to {loop.end}"
    return _Detail(name=name, draw=drawing, note=note(design, figures))


def _section(design: Design, figures: Figures, lettering: Lettering) -> _Detail:
    def drawing(window: Window) -> tuple[Picture, str]:
        return section_picture(design, window, figures, lettering), NOT_TO_SCALE

    return _Detail(name="section through a riser", draw=drawing)


def _upright(found: Sequence[Place]) -> bool:
    """Whether most manifolds lead up the sheet rather than across it."""
    tall = 0
    for place in found:
        left, bottom, right, top = shapely.total_bounds(np.asarray(place.shapes, dtype=object))
        tall += int(top - bottom > 1.5 * (right - left))
    return 2 * tall > len(found)


def _windows(paper: Paper, *, upright: bool, cells: int) -> list[Window]:
    """Divide the open area of a sheet into cells of equal size, row by row from the top; upright ones on demand.

    No more of them than are wanted, so that they fill the sheet.
    """
    left, bottom, right, top = open_area(paper)
    least = (_HIGH, _WIDE) if upright else (_WIDE, _HIGH)
    across = min(max(int((right - left) // least[0]), 1), _MOST)
    down = min(max(int((top - bottom) // least[1]), 1), _MOST)
    if upright:
        # A section wants its width.
        across = max(min(across, int((right - left) // (WIDTH + 2 * _EDGE))), 1)
    across = min(across, cells)
    down = min(down, -(-cells // across))
    wide, high = (right - left) / across, (top - bottom) / down
    return [
        (
            left + column * wide + _EDGE,
            top - (row + 1) * high + STRIP + _EDGE / 2,
            left + (column + 1) * wide - _EDGE,
            top - row * high - _EDGE,
        )
        for row in range(down)
        for column in range(across)
    ]


def _parts(window: Window, count: int) -> list[Window]:
    """Divide a cell for an end loop and a section; a section keeps its size."""
    if count == 1:
        return [window]
    left, bottom, right, top = window
    if top - bottom > right - left:
        level = (bottom + top) / 2
        return [(left, level + STRIP, right, top), (left, bottom, right, level - _EDGE)]
    middle = min(left + _LOOP_SHARE * (right - left), right - WIDTH - 0.3)
    return [(left, bottom, middle - _EDGE, top), (middle + _EDGE, bottom, right, top)]


def _beside(paper: Paper) -> Column:
    left, bottom, _, top = over_title(paper)
    return Column(left=left + GUTTER / 2, top=top - 0.1, bottom=bottom + 0.1)


def _blocks(design: Design, found: Sequence[Place], figures: Figures, lettering: Lettering) -> list[Block]:
    made = [notes(design, lettering), *level_tables(design, figures, lettering)]
    risers = riser_table(design, found, figures, lettering)
    return [*made, risers] if risers else made


def _legend(marks: Sequence[Mark]) -> Block:
    """Show the lines and symbols of the details on one sheet."""
    order = {layer.name: index for index, layer in enumerate(layers.ALL)}
    lines = {mark.layer.name: mark.layer for mark in marks if isinstance(mark, Line) and _named(mark)}
    rows = [
        Row(
            cells=(Cell(text=layer.description, x=0.8),),
            sample=Sample(layer=layer),
            space=0.02,
        )
        for layer in sorted(lines.values(), key=lambda layer: order[layer.name])
    ]
    seen = {mark.name: mark.layer for mark in marks if isinstance(mark, Symbol)}
    if any(isinstance(mark, Dots) for mark in marks):
        rows.append(_row(Sample(layer=layers.EMITTER, symbol="dot"), "emitter"))
    rows += [_row(Sample(layer=seen[name], symbol=name), words) for name, words in _FITTINGS if name in seen]
    return Block(heading="Legend of the details", rows=tuple(rows))


def _row(sample: Sample, words: str) -> Row:
    return Row(cells=(Cell(text=words, x=0.8),), sample=sample, space=0.02)


def _named(mark: Line) -> bool:
    return mark.layer.name.startswith("C-SSWR") and mark.layer is not layers.AIR_VALVE
