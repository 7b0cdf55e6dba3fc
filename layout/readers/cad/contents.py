"""What a drawing holds, layer by layer, in shapes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from layout.errors import Fault, ReadError
from layout.readers.cad.blocks import Blocks, Item, TooMuchError, insertion, model_of
from layout.readers.cad.chains import Shape, Shapes, shapes_of
from layout.readers.cad.load import damaged, load_drawing, reason_of
from layout.readers.cad.pieces import SAGITTA, SAGITTA_SHARE, Fineness, Flattened, Piece, flattened
from layout.readers.cad.units import Extent, Scale, drawing_code, scale_of
from layout.readers.document import shortened
from layout.readers.points import COORDINATE_LIMIT, MOST_FAULTS
from layout.units import UnitSet

COARSE = 0.02
"""Curves that only carry levels are flattened to chords no farther than this from them [m]."""
_SAMPLE = 2000
_LAYERS_LISTED = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """What one layer holds, or all visible layers together.

    Attributes
    ----------
    layer : str
        Empty for all visible layers.
    hidden : bool
        Whether the layer is off or frozen.
    shapes : Shapes
    fills : list of Shape
        The edges of hatches.
    inserts : list of Item
    others : Counter
        Entities that are no shapes, by a word for them.
    pieces : list of Piece
    """

    layer: str
    hidden: bool
    shapes: Shapes
    fills: list[Shape] = field(default_factory=list)
    inserts: list[Item] = field(default_factory=list)
    others: Counter[str] = field(default_factory=Counter)
    pieces: list[Piece] = field(default_factory=list)


class Drawing:
    """A drawing in the units of a site; what its layers hold is worked out when it is asked for.

    Attributes
    ----------
    name : str
        What messages call it.
    units : UnitSet
        The site's.
    code : int
        What its header says of its units.
    scale : Scale
        From the drawing's units to them.
    notes : tuple of str
        On damage, units and foreign blocks.
    """

    def __init__(self, path: Path, *, name: str, units: UnitSet, stated: str | None = None) -> None:
        loaded = load_drawing(path, name)
        self.name, self.short, self.units = name, path.name, units
        self._names: dict[str, str] = {}
        self._hidden: set[str] = set()
        self._used: set[str] = set()
        self._contents: dict[str, Content] = {}
        self._blocks = Blocks(loaded.doc)
        try:
            self._model = model_of(loaded.doc)
            self._find_layers(loaded.doc)
            self.code, extent = drawing_code(loaded.doc), self._extent()
        except TooMuchError as error:
            raise self._too_much(error) from error
        except Exception as error:  # as of entities, so of layers and blocks
            said = f"its layers and entities cannot be made out ({reason_of(error)})"
            raise damaged(name, "all layers", said) from error
        self.scale: Scale = scale_of(self.code, units, name=self.short, extent=extent, stated=stated)
        self.notes = (*loaded.notes, *filter(None, [self.scale.note]))

    def _find_layers(self, doc: Any) -> None:
        """Learn the layers: those of the table, and those that entities name though the table has them not."""
        for layer in doc.layers:
            name = str(layer.dxf.get("name", ""))
            self._names.setdefault(name.casefold(), name)
            if layer.is_off() or layer.is_frozen():
                self._hidden.add(name.casefold())
        for item in self._model:
            self._names.setdefault(item.layer.casefold(), item.layer)
            self._used.add(item.layer.casefold())
            if item.kind == "INSERT":
                self._used |= self._blocks.layers(item)
        for key in sorted(self._used):
            self._names.setdefault(key, key)

    def _extent(self) -> Extent:
        """The size and reach of the first entities; a stray one does not count."""
        plain = [item for item in self._model[:_SAMPLE] if item.kind != "INSERT"]
        with np.errstate(all="ignore"):
            made = flattened(plain, fine=Fineness(sagitta=1e9), join=0.0, limit=COORDINATE_LIMIT)
        rows = [piece.points[:, :2] for piece in made.pieces]
        rows += [insertion(item)[:, :2] for item in self._model[:_SAMPLE] if item.kind == "INSERT"]
        points = np.vstack([*rows, np.empty((0, 2))])
        points = points[(np.abs(points) < COORDINATE_LIMIT).all(axis=1)]
        if not len(points):
            return Extent()
        low, high = np.percentile(points, (2, 98), axis=0)
        return Extent(size=float((high - low).max()), reach=float(np.median(np.abs(points), axis=0).max()))

    def _too_much(self, error: TooMuchError) -> ReadError:
        remedy = "Save the layers you need to a drawing of their own."
        return ReadError(Fault(file=self.name, said=str(error), remedy=remedy))

    # --- layers -----------------------------------------------------------------------------------------

    def layers(self) -> list[str]:
        """Names of the layers that hold something, in the order of the drawing."""
        return [name for key, name in self._names.items() if key in self._used]

    def has(self, layer: str) -> bool:
        """Whether there is a layer of this name; case does not count."""
        return layer.strip().casefold() in self._names

    def hidden(self, layer: str) -> bool:
        """Whether a layer is off or frozen."""
        return layer.casefold() in self._hidden

    def items(self, layer: str) -> tuple[list[Item], list[Item]]:
        """The entities of a layer, blocks taken apart, and the inserts on it; of all visible ones where it is empty.

        Raises
        ------
        ReadError
        """
        key = layer.strip().casefold()

        def wanted(own: str) -> bool:
            return own == key if key else own not in self._hidden

        found: list[Item] = []
        inserts: list[Item] = []
        for item in self._model:
            if item.kind != "INSERT":
                found += [item] if wanted(item.layer.casefold()) else []
                continue
            own = wanted(item.layer.casefold())
            inserts += [item] if own else []
            if own or any(map(wanted, self._blocks.layers(item))):
                found += [part for part in self._opened(item) if wanted(part.layer.casefold())]
        return found, inserts

    def _opened(self, insert: Item) -> list[Item]:
        """Take an insert apart; a fault where that cannot be done."""
        try:
            return list(self._blocks.opened(insert))
        except TooMuchError as error:
            raise self._too_much(error) from error
        except Exception as error:  # of a damaged block the library may say anything
            said = f"the block cannot be taken apart ({reason_of(error)})"
            remedy = "Explode it in the CAD program, and save again."
            place = shortened(insert.label, 60)
            raise ReadError(Fault(file=self.name, field=place, said=said, remedy=remedy)) from error

    @property
    def foreign(self) -> tuple[str, ...]:
        """Notes on blocks met that stand in another drawing."""
        return tuple(
            f"{self.short}: the block {shortened(name, 40)} stands in another drawing, which is not read"
            for name in sorted(self._blocks.foreign)
        )

    def content(self, layer: str) -> Content:
        """What a layer holds; all visible ones together where its name is empty.

        Raises
        ------
        ReadError
            Where an entity on it cannot be made out.
        """
        key = layer.strip().casefold()
        if key not in self._contents:
            self._contents[key] = self._made(self._names.get(key, ""))
        return self._contents[key]

    def _made(self, layer: str) -> Content:
        items, inserts = self.items(layer)
        made = self.flat(items)
        metre = 1.0 / self.scale.metres
        return Content(
            layer=layer,
            hidden=layer.casefold() in self._hidden,
            shapes=shapes_of(made.pieces, metre=metre),
            fills=shapes_of(made.fills, metre=metre).closed,
            inserts=inserts,
            others=made.others,
            pieces=made.pieces,
        )

    def flat(self, items: Sequence[Item], *, coarse: bool = False) -> Flattened:
        """Flatten entities; those that cannot be made out are faults, all of them together.

        Parameters
        ----------
        items : sequence of Item
        coarse : bool
            True where only their levels count.
        """
        metre = 1.0 / self.scale.metres
        fine = Fineness(sagitta=SAGITTA * metre, share=SAGITTA_SHARE)
        if coarse:
            fine = Fineness(sagitta=COARSE * metre, share=1.0)
        limit = COORDINATE_LIMIT / self.scale.factor
        try:
            with np.errstate(all="ignore"):
                made = flattened(items, fine=fine, join=1e-3 * metre, limit=limit)
        except TooMuchError as error:
            raise self._too_much(error) from error
        if made.wrong:
            remedy = "Delete or redraw it in the drawing."
            faults = [
                Fault(
                    file=self.name,
                    field=shortened(item.label, 60),
                    said=f"the entity, on layer {shown(item.layer)}, {said}",
                    remedy=remedy,
                )
                for item, said in made.wrong[:MOST_FAULTS]
            ]
            raise ReadError(*faults)
        return made

    # --- words ------------------------------------------------------------------------------------------

    def place(self, point: Any) -> str:
        """A point of the drawing in site coordinates: ``(512.40, 1033.75)``."""
        return f"({point[0] * self.scale.factor:.2f}, {point[1] * self.scale.factor:.2f})"

    def length(self, value: float) -> str:
        """A length [drawing units] in site units."""
        return f"{value * self.scale.factor:,.2f} {self.units.length_name}"

    def area(self, value: float) -> str:
        """An area [square drawing units] in site units."""
        return f"{value * self.scale.factor**2:,.0f} {self.units.area_name}"

    def describe(self, content: Content) -> str:
        """What a layer seems to hold, in a few words."""
        shapes = content.shapes
        parts = []
        if shapes.closed:
            areas = ", ".join(self.area(shape.area) for shape in shapes.closed[:3])
            more = ", ..." if len(shapes.closed) > 3 else ""
            parts.append(f"{counted(len(shapes.closed), 'closed outline')} ({areas}{more})")
        elif content.fills:
            parts.append(
                f"{counted(len(content.fills), 'hatched area')} ({self.area(content.fills[0].area)})"
            )
        if shapes.lines and not any(shape.crossing for shape in shapes.closed):
            total = sum(
                float(np.hypot(*np.diff(shape.points[:, :2], axis=0).T).sum()) for shape in shapes.lines
            )
            length = f"{total * self.scale.factor:,.0f} {self.units.length_name}"
            parts.append(f"{counted(len(shapes.lines), 'open line')} ({length})")
        if shapes.points:
            levels = sum(bool(shape.points[0, 2]) for shape in shapes.points)
            parts.append(
                counted(len(shapes.points), "point") + (f" ({levels} with a level)" if levels else "")
            )
        names = Counter(str(item.entity.dxf.get("name", "")) for item in content.inserts)
        parts += [f"{count} × block {shortened(name, 30)}" for name, count in list(names.items())[:3]]
        parts += [
            counted(count, word)
            for word, count in content.others.items()
            if word != "hatch" or not content.fills
        ]
        return ", ".join(parts) or "nothing that is drawn"

    def listing(self) -> str:
        """All layers with what each seems to hold, for a message."""
        parts = []
        for name in self.layers()[:_LAYERS_LISTED]:
            try:
                holds = self.describe(self.content(name))
            except ReadError:
                holds = "entities that cannot be made out"
            parts.append(f"{shown(name)}{' (off)' if self.hidden(name) else ''}: {holds}")
        more = len(self.layers()) - len(parts)
        return "; ".join(parts) + (f"; and {more} more layers" if more > 0 else "")

    def insertion(self, item: Item) -> Any:
        """Where an insert stands, (x, y, z) [drawing units]."""
        return insertion(item)[0]


def shown(layer: str) -> str:
    """A layer's name for a message."""
    return shortened(layer, 40)


def counted(count: int, word: str) -> str:
    """A number with its noun: ``1 line``, ``2 lines``."""
    if count == 1:
        return f"1 {word}"
    plural = {"hatch": "hatches", "other entity": "other entities", "mesh": "meshes"}.get(word, word + "s")
    return f"{count} {plural}"
