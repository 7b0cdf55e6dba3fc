"""The entities of a drawing's model, and the taking apart of blocks.

What stands on layer 0 in a block lies on the layer of the insert; blocks stand in blocks, repeated in rows, turned,
mirrored and stretched. The matrices of the inserts are handed on with each entity rather than the entity transformed:
stretched the other way than it is turned, an arc or an insert becomes what no entity can say.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from layout.plane import Array

MOST_ENTITIES = 200_000
"""More than this are not read."""
MOST_IN_BLOCKS = 100_000
"""... nor more than this out of blocks."""
_DEEPEST = 12
"""Blocks stand in blocks no deeper than this."""


class TooMuchError(Exception):
    """A drawing holds more than can be read; the message says what."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """An entity to be read, with what it inherits from the blocks that it stands in.

    Attributes
    ----------
    entity : ezdxf entity
    kind : str
        Its DXF type.
    layer : str
        On layer 0 in a block: that of the insert.
    handle : str
        That of the outermost insert for what stands in a block.
    block : str
        Name of the outermost block; empty outside.
    matrix : Matrix44 or None
        From the coordinates of the entity's block to the world; None outside of blocks.
    """

    entity: Any
    kind: str
    layer: str
    handle: str
    block: str = ""
    matrix: Any = None

    @property
    def label(self) -> str:
        """What messages call it: ``ARC 2F``."""
        return (
            f"{self.kind} of block {self.block} ({self.handle})"
            if self.block
            else f"{self.kind} {self.handle}"
        )


def model_of(doc: Any) -> list[Item]:
    """List the visible entities of a drawing's model, inserts among them, in the order of the drawing."""
    found = [
        Item(
            entity=entity,
            kind=entity.dxftype(),
            layer=layer_of(entity),
            handle=str(entity.dxf.get("handle", "?")),
        )
        for entity in doc.modelspace()
        if not is_invisible(entity)
    ]
    if len(found) > MOST_ENTITIES:
        raise TooMuchError(f"it holds {len(found):,} entities; {MOST_ENTITIES:,} can be read")
    return found


def layer_of(entity: Any) -> str:
    """The layer of an entity; 0 of one that the library does not know well enough to have any."""
    return str(entity.dxf.get("layer", "0")) if entity.dxf.is_supported("layer") else "0"


def is_invisible(entity: Any) -> bool:
    """Whether an entity is there but not shown, as parts of blocks with several looks are."""
    return bool(entity.dxf.get("invisible", 0)) if entity.dxf.is_supported("invisible") else False


class Blocks:
    """The blocks of a drawing, and the taking apart of inserts.

    Attributes
    ----------
    foreign : set of str
        Blocks met that stand in another drawing.
    """

    def __init__(self, doc: Any) -> None:
        self.foreign: set[str] = set()
        self._doc = doc
        self._layers: dict[str, frozenset[str]] = {}
        self._opened = 0

    def layers(self, insert: Item) -> frozenset[str]:
        """The layers, in small letters, of all that an insert shows."""
        return self._layers_of(str(insert.entity.dxf.get("name", "")), insert.layer.casefold(), ())

    def _layers_of(self, name: str, own: str, within: tuple[str, ...]) -> frozenset[str]:
        if name not in self._layers:
            block = None if name in within or len(within) > _DEEPEST else self._doc.blocks.get(name)
            found: set[str] = set()
            for entity in block or ():
                layer = layer_of(entity).casefold()
                if entity.dxftype() == "INSERT":
                    found |= self._layers_of(str(entity.dxf.get("name", "")), layer, (*within, name))
                else:
                    found.add(layer)
            self._layers[name] = frozenset(found)
        return frozenset(own if layer == "0" else layer for layer in self._layers[name])

    def opened(self, insert: Item, within: tuple[str, ...] = ()) -> Iterator[Item]:
        """Take an insert apart, and the inserts in it.

        Raises
        ------
        TooMuchError
        """
        entity = insert.entity
        name = str(entity.dxf.get("name", ""))
        block = self._doc.blocks.get(name)
        if block is None or name in within or len(within) > _DEEPEST:
            return  # a block within itself shows nothing in CAD programs either
        if block.block is not None and block.block.is_xref:
            self.foreign.add(name)
            return
        self._count(abs(int(entity.dxf.row_count) * int(entity.dxf.column_count)) - 1)
        for single in entity.multi_insert() if entity.mcount > 1 else (entity,):
            matrix = single.matrix44() if insert.matrix is None else single.matrix44() * insert.matrix
            for part in block:
                self._count(1)
                if is_invisible(part):
                    continue
                layer = layer_of(part)
                item = Item(
                    entity=part,
                    kind=part.dxftype(),
                    layer=insert.layer if layer == "0" else layer,
                    handle=insert.handle,
                    block=insert.block or name,
                    matrix=matrix,
                )
                if item.kind == "INSERT":
                    yield from self.opened(item, (*within, name))
                else:
                    yield item

    def _count(self, more: int) -> None:
        self._opened += more
        if self._opened > MOST_IN_BLOCKS:
            raise TooMuchError(f"its blocks, taken apart, come to more than {MOST_IN_BLOCKS:,} entities")


def insertion(item: Item) -> Array:
    """Where an insert stands, in world coordinates, shape (1, 3) [drawing units]."""
    insert = item.entity
    at = insert.ocs().to_wcs(insert.dxf.insert)
    return np.array([[at.x, at.y, at.z]], dtype=np.float64)
