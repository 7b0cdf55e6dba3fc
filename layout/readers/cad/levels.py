"""The levels in a drawing: points, corners of lines in space or at a height, places of symbols, corners of faces."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from layout.errors import ReadError
from layout.plane import Array
from layout.readers.cad.blocks import Item
from layout.readers.cad.contents import Drawing, counted
from layout.readers.cad.pieces import Piece
from layout.readers.points import MOST_POINTS


def levels_on(
    drawing: Drawing, layer: str, refused: Callable[[str, str], ReadError]
) -> tuple[Array, list[str], list[str]]:
    """Gather the points of a layer that have a level, of all visible layers where its name is empty.

    Parameters
    ----------
    drawing : Drawing
    layer : str
    refused : callable
        Makes an error of what is wrong and the remedy.

    Returns
    -------
    points : (n, 3) array
        [drawing units].
    places : list of str
        The entity of each.
    notes : list of str
        What was left out.
    """
    items, inserts = drawing.items(layer)
    made = drawing.flat(items, coarse=True)
    points, places = _corners(made.pieces, _symbols(drawing, made.pieces, inserts))
    level = points[:, 2]
    if not level.any():
        texts = made.others["text"]
        also = f"; its {counted(texts, 'text')} cannot be read as levels" if texts else ""
        said = f"of {counted(len(points), 'point')} on it none has a level other than 0{also}"
        raise refused(said, "Name the layer with the spot levels or contours, drawn at their heights.")
    keep, notes = _on_the_ground(level, drawing.scale.factor)
    if keep.sum() > MOST_POINTS:
        said = f"it comes to {int(keep.sum()):,} levels; {MOST_POINTS:,} can be read"
        raise refused(said, "Thin them out.")
    return points[keep], [place for place, wanted in zip(places, keep, strict=True) if wanted], notes


def _corners(pieces: Sequence[Piece], symbols: dict[str, Array]) -> tuple[Array, list[str]]:
    """The corners of pieces, with their entities; of a flat symbol only its place."""
    rows: list[Array] = [np.empty((0, 3))]
    places: list[str] = []
    placed: set[str] = set()
    for piece in pieces:
        handle = piece.item.handle
        points = piece.points[:-1] if piece.closed else piece.points
        if piece.item.block and handle in symbols:
            if handle in placed:
                continue
            placed.add(handle)
            points = symbols[handle]
        rows.append(points)
        places += [piece.item.label] * len(points)
    return np.vstack(rows), places


def _symbols(drawing: Drawing, pieces: Sequence[Piece], inserts: Sequence[Item]) -> dict[str, Array]:
    """The places of inserts that are flat symbols: their level is meant there, not round about."""
    levels: dict[str, set[float]] = {}
    for piece in pieces:
        if piece.item.block:
            levels.setdefault(piece.item.handle, set()).update(piece.points[:, 2].tolist())
    places = {}
    for item in inserts:
        at = drawing.insertion(item)
        if levels.get(item.handle) == {float(at[2])}:
            places[item.handle] = at[None, :]
    return places


def _on_the_ground(level: Array, factor: float) -> tuple[Any, list[str]]:
    """Which points count; those at height 0, far off all others, were drawn flat."""
    ground = level[level != 0]
    low, high = float(ground.min()), float(ground.max())
    spread = max(high - low, 0.01 * max(abs(low), abs(high)))
    if low - spread <= 0 <= high + spread or len(ground) == len(level):
        return np.ones(len(level), dtype=bool), []
    flat = counted(len(level) - len(ground), "point")
    return level != 0, [
        f"{flat} at height 0 left out; the others lie from {low * factor:.2f} to {high * factor:.2f}"
    ]
