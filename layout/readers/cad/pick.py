"""The points that the site file asks of a drawing: an outline, a feature's shape, a line to follow, levels."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.errors import Fault, ReadError
from layout.plane import Array
from layout.readers.cad.blocks import Item
from layout.readers.cad.chains import JOIN, Shape
from layout.readers.cad.contents import Content, Drawing, counted, shown
from layout.readers.cad.levels import levels_on
from layout.readers.cad.pieces import Piece
from layout.readers.document import shortened
from layout.readers.points import MOST_POINTS, PointTable, Role
from layout.units import UnitSet

_LISTED = 6


class Drawings:
    """The drawings that a site refers to, each read once.

    Attributes
    ----------
    units : UnitSet
        The site's.
    stated : str or None
        What the site file says the drawings are in, whatever their headers say.
    """

    def __init__(self, units: UnitSet, stated: str | None = None) -> None:
        self.units, self.stated = units, stated
        self._read: dict[Path, Drawing | ReadError] = {}

    def table(self, path: Path, layer: str, role: Role) -> PointTable:
        """Read what a key of the site file asks for.

        Parameters
        ----------
        path : Path
        layer : str
            ``LAYER``, or ``LAYER/HANDLE`` for one thing of several on it; empty for the whole drawing.
        role : Role
            For an outline the one closed shape there is; for a feature any one shape; for a guide one line; for
            levels all points that have one.

        Raises
        ------
        ReadError
            Where the drawing cannot be read, or does not hold the one thing wanted.
        """
        first = path not in self._read
        if first:
            try:
                self._read[path] = Drawing(path, name=str(path), units=self.units, stated=self.stated)
            except ReadError as error:
                self._read[path] = error
        drawing = self._read[path]
        if isinstance(drawing, ReadError):
            raise drawing
        before = drawing.foreign
        table = _Picker(drawing, layer).table(role)
        # what concerns the whole drawing is said once, not with every layer of it
        notes = (*(drawing.notes if first else ()), *drawing.foreign[len(before) :], *table.notes)
        return PointTable(xy=table.xy, z=table.z, places=table.places, file=table.file, notes=notes)


class _Picker:
    """Picks one thing from a layer; a class only because its steps share the names for messages."""

    def __init__(self, drawing: Drawing, layer: str) -> None:
        self.drawing = drawing
        self.handle = ""
        self.layer = self._layer(layer)

    def _layer(self, text: str) -> str:
        """Find the layer, and the handle behind it; a fault with the nearest layer where there is none."""
        layer, slash, handle = text.rpartition("/")
        if not text or self.drawing.has(text):
            return text
        if slash and (not layer or self.drawing.has(layer)):
            self.handle = handle.strip().upper()
            return layer
        near = difflib.get_close_matches(
            text.casefold(), [name.casefold() for name in self.drawing.layers()], n=1
        )
        names = {name.casefold(): name for name in self.drawing.layers()}
        remedy = f"Is it {shown(names[near[0]])}? " if near else ""
        remedy += f"It has: {self.drawing.listing()}." if names else "It has no layer with anything on it."
        raise self._refused(f"there is no layer {shown(text)} in it", remedy, where="")

    def _refused(self, said: str, remedy: str, *, where: str | None = None) -> ReadError:
        place = (f"layer {shown(self.layer)}" if self.layer else "all layers") if where is None else where
        return ReadError(Fault(file=self.drawing.name, field=place, said=said, remedy=remedy))

    def _note(self, text: str) -> str:
        layer = f"#{shown(self.layer)}" if self.layer else ""
        return f"{self.drawing.short}{layer}: {text}"

    def table(self, role: Role) -> PointTable:
        if role == "levels":
            points, places, said = levels_on(self.drawing, self.layer, self._refused)
            return self._rows(points, places, list(map(self._note, said)))
        content = self.drawing.content(self.layer)
        shape, notes = self._choose(content, role)
        return self._table_of(shape, notes)

    # --- one shape --------------------------------------------------------------------------------------

    def _choose(self, content: Content, role: Role) -> tuple[Shape, list[str]]:
        closed, lines, points = self._shapes(content)
        inserts = [item for item in content.inserts if not self.handle or item.handle == self.handle]
        if self.handle and not (closed or lines or points or inserts):
            said = f"there is no entity with the handle {shortened(self.handle, 20)} that is a shape"
            raise self._refused(
                said, f"The layer has {self.drawing.describe(content)}: {self._listed(content)}."
            )
        if role == "outline":
            return self._area(content, closed, lines)
        if role == "guide":
            return self._line(content, closed, lines)
        if len(closed) > 1 and (outer := _outermost(closed)) is not None:
            closed = [outer]
        if len(closed) == 1:
            return closed[0], self._left_out(closed[0], [*lines, *points])
        symbol = self._symbol(content, inserts)
        if not closed and len(lines) == 1 and not (symbol and points):
            return lines[0], self._left_out(lines[0], points)
        if not closed and not lines and len(points) == 1:
            return points[0], []
        if symbol:
            return symbol
        raise self._not_one(content, "shape", [*closed, *lines, *points])

    def _shapes(self, content: Content) -> tuple[list[Shape], list[Shape], list[Shape]]:
        """The shapes to choose from: closed ones, lines, points; those with the handle, where one is named."""
        closed = content.shapes.closed or content.fills
        kinds = [closed, content.shapes.lines, content.shapes.points]
        if any(shape.crossing for shape in closed):
            kinds[1] = [] if len(closed) == 1 else kinds[1]
        if not self.handle:
            return kinds[0], kinds[1], kinds[2]
        found = [
            [
                shape
                for shape in kind
                if any(part.item.handle.upper() == self.handle for part in shape.members)
            ]
            for kind in kinds
        ]
        return found[0], found[1], found[2]

    def _area(self, content: Content, closed: list[Shape], lines: list[Shape]) -> tuple[Shape, list[str]]:
        if not closed and not self.layer and not self.handle:
            closed = self._across_layers(content)
        if len(closed) == 1:
            return closed[0], []
        if closed:
            raise self._not_one(content, "closed outline", closed)
        said, remedy = "there is no closed outline on it", "Close the outline in the drawing"
        if not self.layer:
            said = f"there is no closed outline. The drawing has {self.drawing.listing()}"
            raise self._refused(said, f"{remedy}.")
        if lines:
            longest = max(lines, key=lambda shape: LineString(shape.points[:, :2]).length)
            first, last = longest.points[0], longest.points[-1]
            gap = self.drawing.length(float(np.hypot(*(last - first)[:2])))
            said += (
                f"; the longest line on it ({longest.label}) is open by {gap}, from {self.drawing.place(last)} "
                f"to {self.drawing.place(first)}"
            )
        else:
            said += f"; it holds {self.drawing.describe(content)}"
        raise self._refused(said, f"{remedy}, or name another layer. It has: {self.drawing.listing()}.")

    def _across_layers(self, content: Content) -> list[Shape]:
        """The closed outlines of the whole drawing, joined layer by layer first."""
        by_layer = [
            shape
            for layer in self.drawing.layers()
            if not self.drawing.hidden(layer)
            for shape in self.drawing.content(layer).shapes.closed
        ]
        return by_layer or content.shapes.closed

    def _line(self, content: Content, closed: list[Shape], lines: list[Shape]) -> tuple[Shape, list[str]]:
        if len(lines) == 1:
            return lines[0], self._left_out(lines[0], closed)
        if not lines and len(closed) == 1:
            return closed[0], []
        raise self._not_one(content, "line", [*lines, *closed])

    def _symbol(self, content: Content, inserts: Sequence[Item]) -> tuple[Shape, list[str]] | None:
        """The place of the one insert that a layer, or a handle, comes down to; None where it does not."""
        pieces = [
            piece for piece in content.pieces if not self.handle or piece.item.handle.upper() == self.handle
        ]
        if len(inserts) != 1 or any(piece.item.handle != inserts[0].handle for piece in pieces):
            return None
        at = self.drawing.insertion(inserts[0])
        shape = Shape(points=at[None, :], members=(Piece(points=at[None, :], item=inserts[0]),))
        name = shortened(str(inserts[0].entity.dxf.get("name", "")), 30)
        said = f"the block {name} is read as a point, where it is inserted: {self.drawing.place(at)}"
        return shape, [self._note(said)]

    def _left_out(self, taken: Shape, others: Iterable[Shape]) -> list[str]:
        """Note what else is drawn on the layer, unless it lies within or on what is taken."""
        zone = geometry_of(taken).buffer(JOIN / self.drawing.scale.metres)
        left = [shape for shape in others if not geometry_of(shape).within(zone)]
        if not left:
            return []
        what = "closed outline" if taken.closed else "line"
        labels = list(dict.fromkeys(shape.label for shape in left))
        listed = ", ".join(labels[:3]) + (", ..." if len(labels) > 3 else "")
        number = counted(len(left), "other shape")
        return [self._note(f"only the {what} {taken.label} is read; {number} left out: {listed}")]

    def _not_one(self, content: Content, what: str, shapes: Sequence[Shape]) -> ReadError:
        """Say that there is none, or are several, of what is wanted."""
        number = f"no {what}" if not shapes else counted(len(shapes), what)
        verb = "is" if len(shapes) < 2 else "are"
        if not self.layer and not self.handle:
            said = f"there {verb} {number}; one is wanted. The drawing has {self.drawing.listing()}"
            return self._refused(said, f'Name a layer: "{self.drawing.short}#LAYER".')
        said = f"there {verb} {number} on it; one is wanted"
        if not shapes:
            return self._refused(f"{said}. It holds {self.drawing.describe(content)}", "Name another layer.")
        example = f"{self.drawing.short}#{shown(self.layer)}/{shapes[0].handle}"
        remedy = f'Name one by its handle, "{example}", or leave only that one on the layer.'
        return self._refused(f"{said}: {self._several(shapes)}", remedy)

    def _listed(self, content: Content) -> str:
        shapes = content.shapes
        return self._several([*(shapes.closed or content.fills), *shapes.lines, *shapes.points])

    def _several(self, shapes: Sequence[Shape]) -> str:
        """Shapes in a few words each."""
        parts = []
        for shape in shapes[:_LISTED]:
            size = f" of {self.drawing.area(shape.area)}" if shape.closed else ""
            parts.append(f"{shape.label}{size} at {self.drawing.place(shape.points[0])}")
        more = len(shapes) - len(parts)
        return ", ".join(parts) + (f" and {more} more" if more > 0 else "")

    def _table_of(self, shape: Shape, notes: list[str]) -> PointTable:
        notes = [*notes, *map(self._note, self._done_to(shape))]
        points = _spaced(shape.points, 1.5e-3 / self.drawing.scale.metres)
        if len(points) > MOST_POINTS:
            raise self._refused(f"the outline comes to {len(points):,} points", "Simplify it in the drawing.")
        label = shape.label
        return self._rows(
            points, [f"point {number} of {label}" for number in range(1, len(points) + 1)], notes
        )

    def _done_to(self, shape: Shape) -> list[str]:
        """What was done to make one outline of it."""
        said = []
        gap = shape.gap * self.drawing.scale.metres
        if shape.crossing:
            said.append("the outline is the area between lines that cross or branch; their ends are left off")
        if shape.closed and gap > JOIN:
            where = self.drawing.place(shape.gap_at)
            said.append(
                f"the outline was open by {self.drawing.length(shape.gap)} at {where} and is closed there"
            )
        elif gap > 1e-3:
            where = self.drawing.place(shape.gap_at)
            gap_text = f"{shape.gap * self.drawing.scale.factor:.3f} {self.drawing.units.length_name}"
            said.append(f"ends that lie up to {gap_text} apart were joined, at {where} and maybe elsewhere")
        if shape.members[0].item.kind == "HATCH":
            said.append("the outline is the edge of a hatch, for there is no other")
        return said

    def _rows(self, points: Array, places: list[str], notes: list[str]) -> PointTable:
        scaled = points * self.drawing.scale.factor
        return PointTable(
            xy=tuple((float(x), float(y)) for x, y, _ in scaled),
            z=tuple(float(z) for z in scaled[:, 2]),
            places=tuple(places),
            file=self.drawing.name,
            notes=tuple(notes),
        )


def geometry_of(shape: Shape, factor: float = 1.0) -> BaseGeometry:
    """A shape as a point, line or area [drawing units times the factor]."""
    points = shape.points[:, :2] * factor
    if len(points) == 1:
        return Point(points[0])
    return Polygon(points) if shape.closed else LineString(points)


def _outermost(closed: Sequence[Shape]) -> Shape | None:
    """The closed shape that holds all the others; None where none does."""
    outer = max(closed, key=lambda shape: shape.area)
    area = Polygon(outer.points[:, :2])
    if not area.is_valid:
        return None
    inside = all(area.covers(LineString(shape.points[:, :2])) for shape in closed if shape is not outer)
    return outer if inside else None


def _spaced(points: Array, near: float) -> Array:
    """Drop points that all but repeat the one before; first and last stay."""
    kept = [points[0]]
    for point in points[1:-1]:
        if np.hypot(*(point - kept[-1])[:2]) > near:
            kept.append(point)
    if len(points) > 1:
        while len(kept) > 1 and np.hypot(*(points[-1] - kept[-1])[:2]) <= near:
            kept.pop()
        kept.append(points[-1])
    return np.array(kept)
