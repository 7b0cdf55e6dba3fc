"""Draws a drawing as a DXF: the plan at true scale in site coordinates, and its sheets in paper space.

The version of the format is R2010. Runs are polylines through exactly the points of `layout.json`. The same
drawing gives the same bytes: fixed dates and identifiers, entities in a fixed order.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from layout.frame import to_site
from layout.plane import Array, coordinates, polygons_of
from layout.sheets import layers
from layout.sheets.lettering import Lettering
from layout.sheets.marks import (
    DASHES,
    Area,
    Colour,
    Dash,
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
from layout.sheets.symbols import SYMBOLS, Disc

VERSION = "R2010"
STYLE, STRONG_STYLE = "LETTERING", "LETTERING-STRONG"
INSUNITS = {"ft": 2, "us-ft": 21, "m": 6}
"""The DXF reference's codes for drawing units."""
_LOCKED = 0x4000
_INDEX = {Colour.BLACK: 7, Colour.BLUE: 5, Colour.GREY: 8, Colour.SKY: 151, Colour.SHADE: 254, Colour.WHITE: 7}
_TRUE = {Colour.BLUE: 0x0072B2}
_PLAIN = {
    "²": "2",
    "³": "3",
    "×": "x",
    "–": "-",
    "—": "-",
    "…": "...",
    "’": "'",
    "°": "%%d",
    "±": "%%p",
    "□": "?",
}
"""Characters that some readers of DXF garble, and what stands for them."""


def write_dxf(drawing: Drawing, path: Path) -> None:
    """Write the drawing with all its sheets."""
    with _reproducible():
        import ezdxf

        library: Any = ezdxf
        document = library.new(VERSION)
        _head(document, drawing)
        _tables(document, drawing)
        model = document.modelspace()
        _Writer(model, drawing, drawing.view).write_all(drawing.plan)
        _extents(document, model, drawing)
        for sheet in drawing.sheets:
            _sheet(document, drawing, sheet)
        document.layouts.delete("Layout1")
        document.classes.add_required_classes(document.dxfversion)
        # The library keeps them in a set, whose order follows the hash seed.
        document.classes.classes = dict(sorted(document.classes.classes.items()))
        document.saveas(path)


@contextmanager
def _reproducible() -> Iterator[None]:
    """Keep dates and identifiers fixed while a document is made; to be entered before it is begun."""
    import ezdxf

    library: Any = ezdxf
    options = library.options
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _per_inch(drawing: Drawing) -> float:
    """Site units to an inch of paper in the plan's view."""
    return drawing.view.metres_per_inch / drawing.frame.units.length


def _paper_unit(drawing: Drawing) -> float:
    """Paper units to an inch: inches, or millimetres on a metric sheet."""
    return 25.4 if drawing.paper.metric else 1.0


# --- document -------------------------------------------------------------------------------------------


def _head(document: Any, drawing: Drawing) -> None:
    """Units, and dashes as long on paper as the pens say."""
    header = document.header
    header["$INSUNITS"] = INSUNITS[drawing.frame.units.word]
    header["$MEASUREMENT"] = 1 if drawing.paper.metric else 0
    header["$LUNITS"] = 2
    header["$LUPREC"] = 4
    # Dashes are scaled by this alone, in every viewport; those in paper space are scaled back one by one.
    header["$LTSCALE"] = _per_inch(drawing)
    header["$PSLTSCALE"] = 0
    header["$PDMODE"] = 0


def _tables(document: Any, drawing: Drawing) -> None:
    """Line types, text style, layers and symbols that the drawing uses."""
    document.styles.add(STYLE, font="arial.ttf")
    document.styles.add(STRONG_STYLE, font="arialbd.ttf")
    document.set_wipeout_variables(frame=0)
    for dash, pattern in DASHES.items():
        if pattern:
            signed = [part if index % 2 == 0 else -part for index, part in enumerate(pattern)]
            document.linetypes.add(
                _linetype(dash), [sum(pattern), *signed], description=f"{dash.value}, lengths on paper [in]"
            )
    for layer in _used_layers(drawing):
        made = document.layers.add(layer.name, **_look(layer.pen))
        made.description = _ascii(layer.description)
        if not layer.plotted:
            made.dxf.plot = 0
    marks = [*drawing.plan, *(mark for sheet in drawing.sheets for mark in sheet.marks)]
    for name in sorted({mark.name for mark in marks if isinstance(mark, Symbol)}):
        _block(document, name)


def _used_layers(drawing: Drawing) -> list[Any]:
    used = {mark.layer.name for mark in drawing.plan}
    used |= {mark.layer.name for sheet in drawing.sheets for mark in sheet.marks}
    used |= {layers.VIEWPORT.name, layers.MASK.name}
    return [layer for layer in layers.ALL if layer.name in used]


def _look(pen: Pen) -> dict[str, Any]:
    """Give a pen as attributes of a layer or an entity."""
    look: dict[str, Any] = {
        "color": _INDEX[pen.colour],
        "linetype": _linetype(pen.dash),
        "lineweight": round(100 * pen.weight),
    }
    if pen.colour in _TRUE:
        look["true_color"] = _TRUE[pen.colour]
    return look


def _linetype(dash: Dash) -> str:
    return "CONTINUOUS" if dash is Dash.CONTINUOUS else f"PLAN-{dash.value.upper()}"


def _block(document: Any, name: str) -> None:
    """Make a symbol a block one unit wide; on layer 0, so that it looks as the layer it is put on."""
    block = document.blocks.new(_block_name(name))
    for stroke in SYMBOLS[name]:
        if isinstance(stroke, Disc):
            _disc(block, stroke)
            continue
        block.add_lwpolyline(stroke.points, close=stroke.closed)
        if stroke.filled:
            corners = list(stroke.points)
            # A solid's third and fourth corner are crossed over.
            corners = corners[:2] + corners[:1:-1] if len(corners) == 4 else [*corners, corners[-1]]
            block.add_solid(corners)


def _disc(block: Any, stroke: Disc) -> None:
    block.add_circle(stroke.centre, stroke.radius)
    if stroke.filled:
        x, y = stroke.centre
        half = stroke.radius / 2
        # A closed polyline of two half circles, as wide as the radius, is a filled disc.
        points = [
            (x - half, y, stroke.radius, stroke.radius, 1.0),
            (x + half, y, stroke.radius, stroke.radius, 1.0),
        ]
        block.add_lwpolyline(points, format="xyseb", close=True)


def _block_name(name: str) -> str:
    return f"PLAN-{name.upper().replace(' ', '-')}"


def _extents(document: Any, model: Any, drawing: Drawing) -> None:
    """Extents of the model space from what is drawn."""
    parts = []
    for mark in drawing.plan:
        if isinstance(mark, Line):
            parts.append(coordinates(mark.line))
        elif isinstance(mark, Area):
            parts.append(coordinates(mark.shape))
        elif isinstance(mark, Symbol | Text):
            parts.append(np.asarray([mark.at]))
    points = to_site(drawing.frame, np.concatenate(parts))
    low, high = points.min(axis=0), points.max(axis=0)
    model.dxf.extmin = (float(low[0]), float(low[1]), 0.0)
    model.dxf.extmax = (float(high[0]), float(high[1]), 0.0)
    document.header["$EXTMIN"], document.header["$EXTMAX"] = model.dxf.extmin, model.dxf.extmax
    middle = (low + high) / 2
    document.set_modelspace_vport(
        height=float(max(high[1] - low[1], (high[0] - low[0]) / 1.6)) * 1.05,
        center=(float(middle[0]), float(middle[1])),
    )


def _sheet(document: Any, drawing: Drawing, sheet: Sheet) -> None:
    """Make a layout in paper space: its marks, and a locked viewport where it shows the plan."""
    layout = document.layouts.new(sheet.name)
    unit = _paper_unit(drawing)
    layout.page_setup(
        size=(drawing.paper.width * unit, drawing.paper.height * unit),
        margins=(0, 0, 0, 0),
        units="mm" if drawing.paper.metric else "inch",
        scale=(1, 1),
    )
    _Writer(layout, drawing, None).write_all(sheet.marks)
    if sheet.view is None:
        return
    left, bottom, right, top = (value * unit for value in sheet.view.window)
    centre = to_site(drawing.frame, [sheet.view.centre])[0]
    viewport = layout.add_viewport(
        center=((left + right) / 2, (bottom + top) / 2),
        size=(right - left, top - bottom),
        view_center_point=(float(centre[0]), float(centre[1])),
        view_height=(sheet.view.window[3] - sheet.view.window[1]) * _per_inch(drawing),
        dxfattribs={"layer": layers.VIEWPORT.name},
    )
    viewport.dxf.flags |= _LOCKED


# --- marks ----------------------------------------------------------------------------------------------


class _Writer:
    """Writes marks into one space: the model in site units, or a sheet in paper units."""

    def __init__(self, space: Any, drawing: Drawing, view: View | None) -> None:
        self.space, self.frame, self.view = space, drawing.frame, view
        self.lettering = Lettering()
        self.inch = _per_inch(drawing) if view is not None else _paper_unit(drawing)
        # In paper space the drawing's scale of dashes is undone.
        self.dashes = 1.0 if view is not None else _paper_unit(drawing) / _per_inch(drawing)

    def write_all(self, marks: Sequence[Mark]) -> None:
        """Write marks in the given order, lettering last and its masks before it."""
        texts = [mark for mark in marks if isinstance(mark, Text)]
        for mark in marks:
            if not isinstance(mark, Text):
                self._write(mark)
        for mark in texts:
            if mark.mask:
                self._mask(mark)
        for mark in texts:
            self._text(mark)

    def _write(self, mark: Line | Area | Symbol | Dots) -> None:
        if isinstance(mark, Line):
            self._polyline(coordinates(mark.line), mark, closed=False)
        elif isinstance(mark, Area):
            for part in polygons_of(mark.shape):
                for ring in (part.exterior, *part.interiors):
                    self._polyline(coordinates(ring)[:-1], mark, closed=True)
            self._fill(mark)
        elif isinstance(mark, Symbol):
            self._symbol(mark)
        else:
            for point in self._points(mark.points).tolist():
                self.space.add_point(point, dxfattribs={"layer": mark.layer.name})

    def _points(self, points: Any) -> Array:
        if self.view is None:
            return np.asarray(points, dtype=np.float64).reshape(-1, 2) * self.inch
        return to_site(self.frame, points)

    def _attributes(self, mark: Line | Area) -> dict[str, Any]:
        attributes: dict[str, Any] = {"layer": mark.layer.name}
        if mark.pen is not None:
            attributes |= _look(mark.pen)
        if self.dashes != 1.0:
            attributes["ltscale"] = self.dashes
        return attributes

    def _polyline(self, points: Array, mark: Line | Area, *, closed: bool) -> None:
        self.space.add_lwpolyline(
            [(float(x), float(y)) for x, y in self._points(points)],
            close=closed,
            dxfattribs=self._attributes(mark) | {"flags": _PATTERN_RUNS_ON},
        )

    def _fill(self, mark: Area) -> None:
        """Black areas of a sheet are filled; tints are left to the plotted sheets."""
        if mark.fill is not Colour.BLACK:
            return
        for part in polygons_of(mark.shape):
            corners = [(float(x), float(y)) for x, y in self._points(coordinates(part.exterior)[:-1])]
            if len(corners) == 4:
                self.space.add_solid(
                    [corners[0], corners[1], corners[3], corners[2]], dxfattribs={"layer": mark.layer.name}
                )

    def _symbol(self, mark: Symbol) -> None:
        at = self._points([mark.at])[0]
        size = mark.size * self.inch
        self.space.add_blockref(
            _block_name(mark.name),
            (float(at[0]), float(at[1])),
            dxfattribs={
                "layer": mark.layer.name,
                "xscale": size,
                "yscale": size,
                "zscale": size,
                "rotation": mark.angle,
            },
        )

    def _mask(self, mark: Text) -> None:
        """Hide the lines under a text; on a layer of its own, which can be frozen."""
        at = self.view.to_paper([mark.at])[0] if self.view is not None else np.asarray(mark.at)
        corners = coordinates(self.lettering.mask(mark, at=(float(at[0]), float(at[1]))))[:-1]
        if self.view is not None:
            corners = self.view.to_plan(corners)
        points = [(float(x), float(y)) for x, y in self._points(corners)]
        # The library's own way of setting attributes is lost on wipeouts.
        self.space.add_wipeout(points).dxf.layer = layers.MASK.name

    def _text(self, mark: Text) -> None:
        from ezdxf.enums import TextEntityAlignment

        align = {
            "left": TextEntityAlignment.LEFT,
            "centre": TextEntityAlignment.CENTER,
            "right": TextEntityAlignment.RIGHT,
        }[mark.align]
        at = self._points([mark.at])[0]
        text = self.space.add_text(
            _ascii(mark.text),
            height=mark.height * self.inch,
            rotation=mark.angle,
            dxfattribs={"layer": mark.layer.name, "style": STRONG_STYLE if mark.strong else STYLE},
        )
        text.set_placement((float(at[0]), float(at[1])), align=align)


_PATTERN_RUNS_ON = 128
"""Dashes run on round the corners of a polyline, rather than beginning anew at each."""


def _ascii(text: str) -> str:
    r"""Text that every reader of DXF shows alike: plain letters, with codes for the rest.

    Letters with accents outside ASCII are written as ``\U+XXXX``, the format's own way.
    """
    text = text.replace("%%", "% %").replace("\\", "/")
    text = "".join(_PLAIN.get(sign, sign) for sign in unicodedata.normalize("NFC", text))
    return "".join(_coded(sign) for sign in text)


def _coded(sign: str) -> str:
    if " " <= sign <= "~":
        return sign
    return f"\\U+{ord(sign):04X}" if ord(sign) < 0x10000 else "?"
