"""Writes marks and dimensions into one space of a DXF: the model in site units, or a sheet in paper units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from layout.frame import to_site
from layout.plane import Array, coordinates, polygons_of
from layout.sheets import layers
from layout.sheets.arcs import LONGER, fit
from layout.sheets.dxf.looks import (
    ATTRIBUTE,
    DIMENSION_STYLE,
    HIDDEN,
    STRONG_STYLE,
    STYLE,
    attribute_place,
    block_name,
    look,
)
from layout.sheets.dxf.words import plain
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Dimension, Dots, Drawing, Line, Mark, Symbol, Text, View

FITTED = frozenset(
    layer.name
    for layer in (
        layers.RUN,
        layers.LOOP,
        layers.BLANK,
        layers.MANIFOLD,
        layers.RETURN_MANIFOLD,
        layers.SUPPLY,
        layers.RETURN,
        layers.SETBACK,
    )
)
"""Layers whose lines are drawn as lines and arcs in the model; all others keep every point they are given by."""
SHARE = 0.9
"""Of the stated tolerance, for what lies between the places that are measured when arcs are fitted."""
_PATTERN_RUNS_ON = 128
"""Dashes run on round the corners of a polyline, rather than beginning anew at each."""


def per_inch(drawing: Drawing, view: View) -> float:
    """Number of site units to an inch of paper in a view."""
    return view.metres_per_inch / drawing.frame.units.length


def paper_unit(drawing: Drawing) -> float:
    """Number of paper units to an inch: inches, or millimetres on a metric sheet."""
    return 25.4 if drawing.paper.metric else 1.0


class Space:
    """Writes marks into one space.

    Parameters
    ----------
    space : layout of the library
    drawing : Drawing
    view : View or None
        None for a sheet; for the model, the view whose scale lettering and symbols are made for.
    """

    def __init__(self, space: Any, drawing: Drawing, view: View | None) -> None:
        self.space, self.drawing, self.frame, self.view = space, drawing, drawing.frame, view
        self.lettering = Lettering()
        self.rows: dict[str, dict[str, int]] = {}
        self.inch = per_inch(drawing, view) if view is not None else paper_unit(drawing)
        # In paper space the drawing's scale of dashes is undone.
        self.dashes = 1.0 if view is not None else paper_unit(drawing) / per_inch(drawing, drawing.view)

    def write_all(self, marks: Sequence[Mark], dimensions: Sequence[Dimension] = ()) -> None:
        """Write marks in the given order, lettering last and its masks before it.

        Marks of dimensions are left out: the dimensions are written as such.
        """
        if dimensions:
            stood_for = {item.layer for item in dimensions}
            marks = [mark for mark in marks if mark.layer not in stood_for]
        texts = [mark for mark in marks if isinstance(mark, Text)]
        for mark in marks:
            if not isinstance(mark, Text):
                self._write(mark)
        for mark in texts:
            if mark.mask:
                self._mask(mark)
        for mark in texts:
            self._text(mark)
        for item in dimensions:
            self._dimension(item)

    def _write(self, mark: Line | Area | Symbol | Dots) -> None:
        if isinstance(mark, Line):
            self._line(mark)
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

    def _place(self, point: Any) -> tuple[float, float]:
        x, y = self._points([point])[0]
        return (float(x), float(y))

    def _attributes(self, mark: Line | Area) -> dict[str, Any]:
        attributes: dict[str, Any] = {"layer": mark.layer.name}
        if mark.pen is not None:
            attributes |= look(mark.pen)
        if self.dashes != 1.0:
            attributes["ltscale"] = self.dashes
        return attributes

    def _line(self, mark: Line) -> None:
        """Write a line; in the model, tubing and pipes as lines and arcs."""
        points = coordinates(mark.line)
        tolerance = SHARE * self.drawing.fit
        if self.view is None or mark.layer.name not in FITTED or len(points) < 3 or tolerance <= 0:
            self._polyline(points, mark, closed=False)
            return
        closed = bool(np.array_equal(points[0], points[-1]))
        # A setback's limit is round, whatever the length of the polygon that stands for it.
        longer = math.inf if mark.layer is layers.SETBACK else LONGER
        fitted = fit(points[:-1] if closed else points, tolerance, closed=closed, longer=longer)
        at = self._points(fitted[:, :2])
        self.space.add_lwpolyline(
            np.column_stack((at, fitted[:, 2])).tolist(),
            format="xyb",
            close=closed,
            dxfattribs=self._attributes(mark) | {"flags": _PATTERN_RUNS_ON},
        )

    def _polyline(self, points: Array, mark: Line | Area, *, closed: bool) -> None:
        self.space.add_lwpolyline(
            self._points(points).tolist(),
            format="xy",
            close=closed,
            dxfattribs=self._attributes(mark) | {"flags": _PATTERN_RUNS_ON},
        )

    def _fill(self, mark: Area) -> None:
        """Fill black areas of a sheet; tints are left to the plotted sheets."""
        if mark.fill is not Colour.BLACK:
            return
        for part in polygons_of(mark.shape):
            corners = [(float(x), float(y)) for x, y in self._points(coordinates(part.exterior)[:-1])]
            if len(corners) == 4:
                self.space.add_solid(
                    [corners[0], corners[1], corners[3], corners[2]], dxfattribs={"layer": mark.layer.name}
                )

    def _symbol(self, mark: Symbol) -> None:
        at = self._place(mark.at)
        size = mark.size * self.inch
        reference = self.space.add_blockref(
            block_name(mark.name),
            at,
            dxfattribs={
                "layer": mark.layer.name,
                "xscale": size,
                "yscale": size,
                "zscale": size,
                "rotation": mark.angle,
            },
        )
        if mark.attributes:
            self._attribute_texts(reference, mark)

    def _attribute_texts(self, reference: Any, mark: Symbol) -> None:
        """Add what the symbol stands for; not drawn, but shown when the symbol is picked, and read by programs."""
        turn, size, at = math.radians(mark.angle), mark.size * self.inch, self._place(mark.at)
        along, up = size * math.cos(turn), size * math.sin(turn)
        for tag, value in mark.attributes:
            x, y = attribute_place(self._row(mark.name, tag))
            reference.add_attrib(
                tag,
                plain(value),
                (at[0] + x * along - y * up, at[1] + x * up + y * along),
                dxfattribs={
                    "style": STYLE,
                    "layer": mark.layer.name,
                    "height": ATTRIBUTE * size,
                    "rotation": mark.angle,
                    "flags": HIDDEN,
                },
            )

    def _row(self, symbol: str, tag: str) -> int:
        """Find which of the attributes of a symbol a name is."""
        if symbol not in self.rows:
            block = self.space.doc.blocks.get(block_name(symbol))
            tags = [entity.dxf.tag for entity in block if entity.dxftype() == "ATTDEF"]
            self.rows[symbol] = {name: row for row, name in enumerate(tags)}
        return self.rows[symbol][tag]

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
        text = self.space.add_text(
            plain(mark.text),
            height=mark.height * self.inch,
            rotation=mark.angle,
            dxfattribs={"layer": mark.layer.name, "style": STRONG_STYLE if mark.strong else STYLE},
        )
        text.set_placement(self._place(mark.at), align=align)

    def _dimension(self, mark: Dimension) -> None:
        """Write a dimension that any program measures anew, to the figure on the sheet."""
        start, end, across = (self._place(point) for point in (mark.start, mark.end, mark.across))
        measured = math.dist(start, end)
        unit = self.frame.units
        made = self.space.add_linear_dim(
            base=across,
            p1=start,
            p2=end,
            angle=math.degrees(math.atan2(end[1] - start[1], end[0] - start[0])),
            location=self._place(mark.text_at),
            text_rotation=mark.angle,
            dimstyle=DIMENSION_STYLE,
            override={
                "dimscale": self.inch,
                "dimtxt": mark.height,
                "dimlfac": 1.0 if self.view is not None else mark.length / unit.length / measured,
                "dimpost": plain(mark.words.replace("<>", f"<> {unit.length_name}")),
            },
            dxfattribs={"layer": mark.layer.name},
        )
        made.render()
