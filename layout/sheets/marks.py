"""A drawing described once: marks on layers, which the renderers only draw, so that they cannot disagree.

A mark lies in one of two spaces. Marks of the *plan* are in the site's local plane [m]; marks of a *sheet*
are on paper, in inches from the sheet's lower left corner. Whatever has the size of lettering (text heights,
symbols, pen weights) is given as plotted, in both spaces. A `View` says which part of the plan a sheet shows
and at what scale; a renderer turns plan marks to paper through it, or to site coordinates through the frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from shapely import LineString, MultiPolygon, Polygon

from layout.model import XY, Frame
from layout.plane import Array


class Dash(StrEnum):
    """How a line is broken; the widths are in `DASHES`."""

    CONTINUOUS = "continuous"
    SHORT = "short"
    LONG = "long"
    MIXED = "mixed"
    DOT = "dot"
    CENTRE = "centre"
    BOUNDARY = "boundary"
    STROKES = "strokes"
    FINE = "fine"


DASHES: dict[Dash, tuple[float, ...]] = {
    Dash.CONTINUOUS: (),
    Dash.SHORT: (0.06, 0.04),
    Dash.LONG: (0.16, 0.06),
    Dash.MIXED: (0.11, 0.035, 0.02, 0.035),
    Dash.DOT: (0.015, 0.05),
    Dash.CENTRE: (0.30, 0.05, 0.05, 0.05),
    Dash.BOUNDARY: (0.36, 0.05, 0.05, 0.05, 0.05, 0.05),
    Dash.STROKES: (0.45, 0.035),
    Dash.FINE: (0.035, 0.025),
}
"""Drawn and left out in turn [in, as plotted]."""


class Colour(StrEnum):
    """What a pen or a fill is coloured; helps, and never carries a meaning alone."""

    BLACK = "black"
    BLUE = "blue"
    GREY = "grey"
    SKY = "sky"
    SHADE = "shade"
    WHITE = "white"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """How a line is drawn.

    Attributes
    ----------
    weight : float
        As plotted [mm]; one of the standard series 0.13, 0.18, 0.25, 0.35, 0.50, 0.70, 1.00.
    dash : Dash
    colour : Colour
    """

    weight: float
    dash: Dash = Dash.CONTINUOUS
    colour: Colour = Colour.BLACK


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """Where a mark belongs.

    Attributes
    ----------
    name : str
        Discipline, major group, minor group, status: ``C-SSWR-DRIP-N``.
    description : str
        What lies on it; also its wording in the legend.
    pen : Pen
        What its lines are drawn with where a mark has no pen of its own.
    plotted : bool
        False for what is seen on the screen only.
    """

    name: str
    description: str
    pen: Pen
    plotted: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A polyline.

    Attributes
    ----------
    layer : Layer
    line : LineString
    pen : Pen or None
        In place of the layer's.
    """

    layer: Layer
    line: LineString
    pen: Pen | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """An area: its boundary, and a fill under all lines.

    Attributes
    ----------
    layer : Layer
    shape : Polygon or MultiPolygon
    fill : Colour or None
    pen : Pen or None
        In place of the layer's.
    """

    layer: Layer
    shape: Polygon | MultiPolygon
    fill: Colour | None = None
    pen: Pen | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Symbol:
    """A symbol of `layout.sheets.symbols`.

    Attributes
    ----------
    layer : Layer
    name : str
    at : (x, y)
    size : float
        As plotted [in].
    angle : float
        Counter-clockwise [degrees].
    attributes : tuple of (str, str)
        What a CAD program shows of it when asked: names in capitals, and values.
    """

    layer: Layer
    name: str
    at: XY
    size: float
    angle: float = 0.0
    attributes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Dots:
    """Many small points.

    Attributes
    ----------
    layer : Layer
    points : tuple of (x, y)
    size : float
        Diameter as plotted [in].
    """

    layer: Layer
    points: tuple[XY, ...]
    size: float


Align = Literal["left", "centre", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One line of lettering.

    Attributes
    ----------
    layer : Layer
    text : str
    at : (x, y)
        On the base line, at the text's left end, middle or right end.
    height : float
        Of a capital letter, as plotted [in].
    angle : float
        Of the base line, counter-clockwise [degrees].
    align : "left", "centre" or "right"
    strong : bool
        Heavier strokes.
    mask : bool
        Whether the lines under it are broken.
    """

    layer: Layer
    text: str
    at: XY
    height: float
    angle: float = 0.0
    align: Align = "left"
    strong: bool = False
    mask: bool = False


Mark = Line | Area | Symbol | Dots | Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """A distance that is dimensioned; its lines and figures on paper are marks beside it, on its layer.

    Attributes
    ----------
    layer : Layer
    start, end : (x, y)
        What it is measured between.
    across : (x, y)
        A point that the dimension line goes through, parallel to the distance.
    words : str
        What is lettered, ``<>`` standing for the figure with its unit: ``<> setback``.
    text_at : (x, y)
        The middle of the lettering.
    angle : float
        Of the lettering, counter-clockwise [degrees].
    height : float
        Of a capital letter, as plotted [in].
    length : float
        The distance on the ground [m].
    """

    layer: Layer
    start: XY
    end: XY
    across: XY
    words: str
    text_at: XY
    angle: float
    height: float
    length: float


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """The window of a sheet through which the plan is seen, true to scale, north up.

    Attributes
    ----------
    window : (left, bottom, right, top)
        On paper [in].
    centre : (x, y)
        The point of the plan in the middle of the window [m].
    metres_per_inch : float
        Ground [m] to one inch of paper.
    """

    window: tuple[float, float, float, float]
    centre: XY
    metres_per_inch: float

    @property
    def middle(self) -> XY:
        """The middle of the window on paper [in]."""
        left, bottom, right, top = self.window
        return ((left + right) / 2, (bottom + top) / 2)

    def to_paper(self, points: ArrayLike) -> Array:
        """Turn points of the plan [m] into paper [in], shape (n, 2)."""
        local = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        paper = (local - np.asarray(self.centre)) / self.metres_per_inch + np.asarray(self.middle)
        return np.asarray(paper, dtype=np.float64)

    def to_plan(self, points: ArrayLike) -> Array:
        """Turn points on paper [in] into the plan [m], shape (n, 2)."""
        paper = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        local = (paper - np.asarray(self.middle)) * self.metres_per_inch + np.asarray(self.centre)
        return np.asarray(local, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A sheet size.

    Attributes
    ----------
    name : str
        ``ANSI B``.
    width, height : float
        [in].
    metric : bool
        Whether it is trimmed and printed in millimetres.
    """

    name: str
    width: float
    height: float
    metric: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sheet of paper.

    Attributes
    ----------
    name : str
    marks : tuple of Mark
        On paper [in].
    view : View or None
        None on a sheet without a plan.
    dimensions : tuple of Dimension
        On paper [in]; their lines and figures are among the marks.
    """

    name: str
    marks: tuple[Mark, ...]
    view: View | None = None
    dimensions: tuple[Dimension, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """All that is drawn of one field.

    Attributes
    ----------
    title : str
    frame : Frame
        From the local plane to site coordinates.
    paper : Paper
        Of all sheets.
    scale : str
        In words: ``1 in = 10 ft``.
    plan : tuple of Mark
        In the local plane [m].
    sheets : tuple of Sheet
        The first has the view.
    unlabelled : tuple of str
        What found no room for its label on the plan.
    fit : float
        How far tubing may lie from its points where it is drawn as lines and arcs in CAD [m]; 0: not at all.
    dimensions : tuple of Dimension
        Of the plan [m]; their lines and figures are among its marks.
    extra : tuple of Mark
        In the local plane [m], for CAD only: on layers that are not plotted.
    """

    title: str
    frame: Frame
    paper: Paper
    scale: str
    plan: tuple[Mark, ...]
    sheets: tuple[Sheet, ...]
    unlabelled: tuple[str, ...] = ()
    fit: float = 0.0
    dimensions: tuple[Dimension, ...] = ()
    extra: tuple[Mark, ...] = ()

    @property
    def view(self) -> View:
        """The view of the first sheet."""
        view = self.sheets[0].view
        if view is None:
            raise ValueError("the first sheet shows the plan")
        return view
