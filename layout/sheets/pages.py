"""Sheets before they are numbered, and how they are bound into one set: border, title block, n of m."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layout.model import Site
from layout.plane import areal, lines_of
from layout.sheets.arrange import MARGIN, TITLE_HEIGHT
from layout.sheets.blocks import COLUMN, GUTTER
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Dimension, Dots, Line, Mark, Paper, Sheet, Symbol, Text, View
from layout.sheets.titleblock import title_block


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What stands on a sheet beside its border and title block.

    Attributes
    ----------
    name : str
        Of the sheet in the CAD file; no two of a set alike.
    subject : str
        What it shows, for the title block: ``manifold details``.
    marks : tuple of Mark
        On paper [in], within :func:`open_area` or the columns of :func:`layout.sheets.arrange.further_columns`.
    view : View or None
        Through which it shows the plan of its drawing.
    scale : str
        In words; empty on a sheet of tables.
    dimensions : tuple of Dimension
        On paper [in]; their lines and figures are among the marks.
    """

    name: str
    subject: str
    marks: tuple[Mark, ...]
    view: View | None = None
    scale: str = ""
    dimensions: tuple[Dimension, ...] = ()


def bind(site: Site, paper: Paper, pages: Sequence[Page], lettering: Lettering) -> tuple[Sheet, ...]:
    """Give every page its border and its title block, numbered in the given order."""
    return tuple(
        Sheet(
            name=page.name,
            marks=(
                *title_block(
                    site,
                    paper,
                    page.scale,
                    page.view,
                    lettering,
                    sheet=(number, len(pages)),
                    subject=page.subject,
                ),
                *page.marks,
            ),
            view=page.view,
            dimensions=page.dimensions,
        )
        for number, page in enumerate(pages, start=1)
    )


def open_area(paper: Paper) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of what is free on a sheet beside the column of the title block [in]."""
    return (MARGIN, MARGIN, paper.width - MARGIN - COLUMN - GUTTER, paper.height - MARGIN)


def over_title(paper: Paper) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of what is free over the title block [in]."""
    right = paper.width - MARGIN
    return (right - COLUMN - GUTTER, MARGIN + TITLE_HEIGHT, right, paper.height - MARGIN)


def through(view: View, marks: Sequence[Mark]) -> list[Mark]:
    """Put marks in metres on paper, as a picture of its own that need not have the scale of the plan.

    Parameters
    ----------
    view : View
        Where on the sheet, and at what scale; what lies beyond its window is cut off.
    marks : sequence of Mark
        [m].

    Returns
    -------
    list of Mark
        On paper [in], in the given order. An area that is cut loses its fill, and keeps its edge.
    """
    window = shapely.box(*view.window)
    found: list[Mark] = []
    for mark in marks:
        found.extend(_cut(mark, view, window))
    return found


def _cut(mark: Mark, view: View, window: shapely.Polygon) -> list[Mark]:
    if isinstance(mark, Line):
        line = shapely.transform(mark.line, view.to_paper)
        return [
            Line(layer=mark.layer, line=piece, pen=mark.pen) for piece in lines_of(line.intersection(window))
        ]
    if isinstance(mark, Area):
        shape = shapely.transform(mark.shape, view.to_paper)
        if window.covers(shape):
            return [Area(layer=mark.layer, shape=areal(shape), fill=mark.fill, pen=mark.pen)]
        edge = shape.boundary.intersection(window)
        return [Line(layer=mark.layer, line=piece, pen=mark.pen) for piece in lines_of(edge)]
    if isinstance(mark, Dots):
        points = view.to_paper(mark.points)
        seen = points[shapely.intersects_xy(window, points)]
        kept = tuple((float(x), float(y)) for x, y in seen)
        return [Dots(layer=mark.layer, points=kept, size=mark.size)] if kept else []
    x, y = np.asarray(view.to_paper([mark.at])[0]).tolist()
    if not shapely.intersects_xy(window, x, y):
        return []
    if isinstance(mark, Symbol):
        return [Symbol(layer=mark.layer, name=mark.name, at=(x, y), size=mark.size, angle=mark.angle)]
    return [
        Text(
            layer=mark.layer,
            text=mark.text,
            at=(x, y),
            height=mark.height,
            angle=mark.angle,
            align=mark.align,
            strong=mark.strong,
            mask=mark.mask,
        )
    ]
