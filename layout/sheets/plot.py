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
from layout.sheets.lettering import CAPITAL, Lettering, font_file
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
    from matplotlib.backends.backend_pdf import PdfPages

    metadata = {"Title": drawing.title, "CreationDate": None, "Creator": None, "Producer": None}
    with settings(), PdfPages(path, metadata=metadata) as pages:
        for sheet in drawing.sheets:
            pages.savefig(figure_of(drawing, sheet, outlined=False))


@contextmanager
def settings() -> Iterator[None]:
    """Set the plotting library's settings that change what is drawn, whatever the user has set."""
    import matplotlib

    with matplotlib.rc_context(
        {
            "path.simplify": False,
            "path.snap": True,
            "lines.scale_dashes": False,
            "pdf.fonttype": 3,
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
    glyphs = _Glyphs(lettering) if outlined else None
    if sheet.view is not None:
        _Plotter(figure, sheet.view, lettering, glyphs).draw(near(drawing.plan, sheet.view))
    _Plotter(figure, None, lettering, glyphs).draw(sheet.marks)
    return figure


class _Plotter:
    """Draws marks on a figure in inches of paper; gathers lines of one pen to draw them at once."""

    def __init__(
        self, figure: Figure, view: View | None, lettering: Lettering, glyphs: _Glyphs | None
    ) -> None:
        from matplotlib.patches import Rectangle

        self.figure, self.view = figure, view
        self.lettering, self.glyphs = lettering, glyphs
        self.order = 0.0 if view is not None else 10.0
        self.clip: Any = None
        if view is not None:
            left, bottom, right, top = view.window
            self.clip = Rectangle(
                (left, bottom), right - left, top - bottom, transform=figure.dpi_scale_trans
            )
        self.lines: dict[Pen, list[Array]] = {}
        self.letters: dict[Colour, list[Any]] = {}
        self.texts: list[tuple[Text, Array]] = []

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
            self._add(_searchable(self.texts, self.lettering, self.order + _TEXT))

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
        if self.glyphs is not None:
            path = self.glyphs.path(mark, self._paper([mark.at])[0])
            self.letters.setdefault(mark.layer.pen.colour, []).append(path)
        else:
            self.texts.append((mark, self._paper([mark.at])[0]))

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


def _searchable(texts: Sequence[tuple[Text, Array]], lettering: Lettering, order: float) -> Any:
    """Make one artist of all texts handed to the renderer as text, base points on paper [in]."""
    from matplotlib.artist import Artist
    from matplotlib.font_manager import FontProperties

    class Letters(Artist):
        """Places each line of text itself: the library's own layout costs far more than the drawing."""

        def draw(self, renderer: Any) -> None:
            made = renderer.new_gc()
            fonts: dict[
                tuple[bool, float], FontProperties
            ] = {}  # making one takes a third as long as its text
            for mark, at in texts:
                width = lettering.width(mark.text, mark.height, strong=mark.strong)
                back = {"left": 0.0, "centre": width / 2, "right": width}[mark.align]
                turn = math.radians(mark.angle)
                base = (at[0] - back * math.cos(turn), at[1] - back * math.sin(turn))
                x, y = self.get_transform().transform(base)
                font = fonts.get((mark.strong, mark.height))
                if font is None:
                    font = FontProperties(fname=str(font_file(strong=mark.strong)))
                    font.set_size(72 * mark.height / CAPITAL)
                    fonts[mark.strong, mark.height] = font
                made.set_foreground(COLOURS[mark.layer.pen.colour])
                renderer.draw_text(made, x, y, mark.text, font, mark.angle, ismath=False)
            made.restore()

    letters = Letters()
    letters.set_zorder(order)
    return letters


class _Glyphs:
    """The outlines of letters, made once for a figure."""

    def __init__(self, lettering: Lettering) -> None:
        self.lettering = lettering
        self._known: dict[tuple[bool, str], tuple[Array, Any, float]] = {}

    def path(self, mark: Text, at: Array) -> Any:
        """Outline a whole text, its base point given on paper [in]."""
        from matplotlib.path import Path as PlotPath

        parts, shift = [], 0.0
        for sign in mark.text:
            points, codes, advance = self._glyph(sign, mark.strong)
            parts.append((points + np.array([shift, 0.0]), codes))
            shift += advance
        start = {"left": 0.0, "centre": -shift / 2, "right": -shift}[mark.align]
        points = np.concatenate([part for part, _ in parts]) if parts else np.empty((0, 2))
        codes = np.concatenate([part for _, part in parts]) if parts else None
        turn = math.radians(mark.angle)
        matrix = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        return PlotPath((points + np.array([start, 0.0])) * (mark.height / CAPITAL) @ matrix + at, codes)

    def _glyph(self, sign: str, strong: bool) -> tuple[Array, Any, float]:
        """Give outline and advance of one letter of size 1."""
        from matplotlib.font_manager import FontProperties
        from matplotlib.textpath import TextPath

        key = (strong, sign)
        if key not in self._known:
            font = FontProperties(fname=str(font_file(strong=strong)))
            # A blank has no outline, which the library's text path does not bear.
            path = TextPath((0.0, 0.0), sign if not sign.isspace() else ".", size=100, prop=font)
            kept = slice(0, 0) if sign.isspace() else slice(None)
            advance = self.lettering.width(sign, CAPITAL, strong=strong)
            self._known[key] = (np.asarray(path.vertices)[kept] / 100, np.asarray(path.codes)[kept], advance)
        return self._known[key]


def _path(rings: Sequence[Array]) -> Any:
    """Make one path of several closed rings, the holes wound against the shell."""
    from matplotlib.path import Path as PlotPath

    paths = []
    for index, ring in enumerate(rings):
        ccw = bool(shapely.is_ccw(shapely.linearrings(ring)))
        paths.append(PlotPath(ring if ccw == (index == 0) else ring[::-1], closed=True))
    return PlotPath.make_compound_path(*paths)
