"""Draws a drawing's sheets true to scale as a PNG image of the first sheet and a PDF of all.

Everything is placed in inches of paper, so nothing is ever fitted to the page. The same drawing gives the
same bytes: no dates, a fixed typeface, no settings of the user's.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layout.plane import Array, coordinates, polygons_of
from layout.sheets.glyphs import outline
from layout.sheets.lettering import Lettering
from layout.sheets.marks import (
    DASHES,
    Area,
    Colour,
    Dots,
    Drawing,
    Line,
    Mark,
    Pen,
    Sheet,
    Symbol,
    Text,
    View,
)
from layout.sheets.pdf import searchable, write_pages
from layout.sheets.seen import holds, near
from layout.sheets.symbols import SYMBOLS, Disc

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLOURS: dict[Colour, str] = {
    Colour.BLACK: "#000000",
    Colour.BLUE: "#0072B2",
    Colour.GREY: "#808080",
    Colour.SKY: "#E3F1FA",
    Colour.SHADE: "#DDDDDD",
    Colour.WHITE: "#FFFFFF",
}
"""Black, and the blues of a palette that the colour-blind can tell apart; sky and shade are tints for fills."""
POINTS_PER_MM = 72 / 25.4
_FILL, _LINE, _DOT, _SYMBOL, _MASK, _TEXT = 1, 2, 3, 4, 5, 6


def write_png(drawing: Drawing, path: Path) -> None:
    """Write the first sheet as an image, true to scale at its stated dots per inch."""
    with settings():
        save_png(figure_of(drawing, drawing.sheets[0], outlined=True), path)


def save_png(figure: Figure, path: Path) -> None:
    """Write a figure as an image of few colours."""
    from PIL import Image

    # Small sheets are read on screens, where a small capital wants some 16 dots.
    dpi = 200 if figure.get_figwidth() < 20 else 150
    figure.set_dpi(dpi)
    canvas: Any = figure.canvas
    canvas.draw()
    pixels = Image.frombytes("RGB", canvas.get_width_height(), canvas.buffer_rgba(), "raw", "RGBX")
    # A few colours and their blends with white: a palette makes the file a third as large.
    image = pixels.quantize(64, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    # The palette's white is a hair off white.
    image.putpalette([255 if value > 250 else value for value in image.getpalette() or []])
    image.save(path, format="PNG", dpi=(dpi, dpi), compress_level=4)


def write_pdf(drawing: Drawing, path: Path) -> None:
    """Write all sheets, a page each, in the size of the paper."""
    with settings():
        figures = (figure_of(drawing, sheet, outlined=False) for sheet in drawing.sheets)
        write_pages(figures, path, title=drawing.title)


@contextmanager
def settings() -> Iterator[None]:
    """Set the plotting library's settings that change what is drawn, whatever the user has set."""
    import matplotlib

    with matplotlib.rc_context(
        {
            "path.simplify": False,
            "path.snap": True,
            "lines.scale_dashes": False,
            "pdf.compression": 6,
            "text.usetex": False,
            "text.hinting": "none",
            "text.antialiased": True,
            "figure.facecolor": "white",
            "savefig.facecolor": "white",
            "savefig.bbox": None,
            "savefig.pad_inches": 0.0,
        }
    ):
        yield


def figure_of(drawing: Drawing, sheet: Sheet, *, outlined: bool) -> Figure:
    """Make a figure of the paper's size with all marks of a sheet.

    Lettering that is outlined is drawn several times faster, but cannot be searched in a PDF.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    paper = drawing.paper
    figure = Figure(figsize=(paper.width, paper.height))
    FigureCanvasAgg(figure)
    lettering = Lettering()
    if sheet.view is not None:
        _Plotter(figure, sheet.view, lettering, outlined=outlined).draw(near(drawing.plan, sheet.view))
    _Plotter(figure, None, lettering, outlined=outlined).draw(sheet.marks)
    return figure


class _Plotter:
    """Draws marks on a figure in inches of paper; gathers lines of one pen to draw them at once."""

    def __init__(self, figure: Figure, view: View | None, lettering: Lettering, *, outlined: bool) -> None:
        from matplotlib.patches import Rectangle

        self.figure, self.view = figure, view
        self.lettering, self.outlined = lettering, outlined
        self.order = 0.0 if view is not None else 10.0
        self.clip: Any = None
        if view is not None:
            left, bottom, right, top = view.window
            self.clip = Rectangle(
                (left, bottom), right - left, top - bottom, transform=figure.dpi_scale_trans
            )
        self.lines: dict[Pen, list[Array]] = {}
        self.letters: dict[Colour, list[Any]] = {}
        self.texts: list[tuple[Text, Array, str]] = []

    def draw(self, marks: Sequence[Mark]) -> None:
        """Draw marks, fills under lines under symbols under lettering, each kind in the given order."""
        for mark in marks:
            if isinstance(mark, Line):
                self._line(coordinates(mark.line), mark.pen or mark.layer.pen)
            elif isinstance(mark, Area):
                self._area(mark)
            elif isinstance(mark, Symbol):
                self._symbol(mark)
            elif isinstance(mark, Dots):
                self._dots(mark)
            else:
                self._text(mark)
        for pen, lines in self.lines.items():
            self._collect(pen, lines)
        for colour, letters in self.letters.items():
            self._outline(colour, letters)
        if self.texts:
            self._add(searchable(self.texts, self.lettering, self.order + _TEXT))

    def _paper(self, points: Any) -> Array:
        return self.view.to_paper(points) if self.view is not None else np.asarray(points, dtype=np.float64)

    def _line(self, points: Array, pen: Pen) -> None:
        self.lines.setdefault(pen, []).append(self._paper(points))

    def _collect(self, pen: Pen, lines: list[Array]) -> None:
        from matplotlib.collections import LineCollection

        dashes = DASHES[pen.dash]
        style: Any = (0.0, tuple(72.0 * part for part in dashes)) if dashes else "solid"
        drawn = LineCollection(
            lines,
            linewidths=pen.weight * POINTS_PER_MM,
            colors=COLOURS[pen.colour],
            linestyles=[style],
            capstyle="butt",
            joinstyle="round",
            zorder=self.order + _LINE,
        )
        self._add(drawn)

    def _area(self, mark: Area) -> None:
        from matplotlib.patches import PathPatch

        for part in polygons_of(mark.shape):
            rings = [coordinates(ring) for ring in (part.exterior, *part.interiors)]
            if mark.fill is not None:
                patch = PathPatch(
                    _path([self._paper(ring) for ring in rings]),
                    facecolor=COLOURS[mark.fill],
                    edgecolor="none",
                    zorder=self.order + _FILL,
                )
                self._add(patch)
            for ring in rings:
                self._line(ring, mark.pen or mark.layer.pen)

    def _symbol(self, mark: Symbol) -> None:
        from matplotlib.patches import Circle, Polygon

        at = self._paper([mark.at])[0]
        turn = math.radians(mark.angle)
        matrix = mark.size * np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        colour = COLOURS[mark.layer.pen.colour]
        style = {"edgecolor": colour, "linewidth": mark.layer.pen.weight * POINTS_PER_MM}
        for stroke in SYMBOLS[mark.name]:
            face = colour if stroke.filled else "none"
            if isinstance(stroke, Disc):
                centre = np.asarray(stroke.centre) @ matrix + at
                shape: Any = Circle(
                    (float(centre[0]), float(centre[1])), stroke.radius * mark.size, facecolor=face, **style
                )
            else:
                points = np.asarray(stroke.points) @ matrix + at
                shape = Polygon(points, closed=stroke.closed, facecolor=face, **style)
            shape.set_zorder(self.order + _SYMBOL)
            self._add(shape)

    def _dots(self, mark: Dots) -> None:
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path as PlotPath

        turns = np.linspace(0.0, 2 * math.pi, 9)
        round_ = mark.size / 2 * np.column_stack((np.cos(turns), np.sin(turns)))
        dots = [PlotPath(round_ + at, closed=True) for at in self._paper(mark.points)]
        drawn = PathPatch(
            PlotPath.make_compound_path(*dots),
            facecolor=COLOURS[mark.layer.pen.colour],
            edgecolor="none",
            zorder=self.order + _DOT,
        )
        self._add(drawn)

    def _text(self, mark: Text) -> None:
        # Lettering is within the window of the view it is of; what reaches beyond is of another sheet.
        if self.view is not None and not holds(self.view, mark, self.lettering):
            return
        if mark.mask:
            self._mask(mark)
        at = self._paper([mark.at])[0]
        if self.outlined:
            self.letters.setdefault(mark.layer.pen.colour, []).append(outline(mark, at))
        else:
            self.texts.append((mark, at, COLOURS[mark.layer.pen.colour]))

    def _mask(self, mark: Text) -> None:
        """Put white under a text, to break the lines there."""
        from matplotlib.patches import Polygon

        at = self._paper([mark.at])[0]
        points = coordinates(self.lettering.mask(mark, at=(float(at[0]), float(at[1]))))
        self._add(Polygon(points, facecolor="white", edgecolor="none", zorder=self.order + _MASK))

    def _outline(self, colour: Colour, letters: list[Any]) -> None:
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path as PlotPath

        drawn = PathPatch(
            PlotPath.make_compound_path(*letters),
            facecolor=COLOURS[colour],
            edgecolor="none",
            zorder=self.order + _TEXT,
        )
        self._add(drawn)

    def _add(self, artist: Any) -> None:
        artist.set_transform(self.figure.dpi_scale_trans)
        self.figure.add_artist(artist)
        self._clip(artist)

    def _clip(self, artist: Any) -> None:
        if self.clip is not None:
            artist.set_clip_path(self.clip)


def _path(rings: Sequence[Array]) -> Any:
    """Make one path of several closed rings, the holes wound against the shell."""
    from matplotlib.path import Path as PlotPath

    paths = []
    for index, ring in enumerate(rings):
        ccw = bool(shapely.is_ccw(shapely.linearrings(ring)))
        paths.append(PlotPath(ring if ccw == (index == 0) else ring[::-1], closed=True))
    return PlotPath.make_compound_path(*paths)
