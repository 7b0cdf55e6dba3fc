"""What is bought and dug for lines: their pipes, elbows and trenches."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from shapely import LineString

from layout.model import XY, Fitting, Pipe, Trench
from layout.plane import TOLERANCE, Array, coordinates
from layout.routes.elbows import elbows_along
from layout.routes.trench import Group


@dataclass(frozen=True, slots=True)
class Laid:
    """The lines of a group.

    Attributes
    ----------
    group : Group
    ways : tuple of (n, 2) array
        Each line from the pump to its manifold [m].
    legs : tuple of LineString
        Each line from the mouth of the trench on [m].
    middle : (n, 2) array
        The trench up to its mouth [m].
    """

    group: Group
    ways: tuple[Array, ...]
    legs: tuple[LineString, ...]
    middle: Array

    @property
    def length(self) -> float:
        """Of all lines together [m]."""
        return sum(float(LineString(way).length) for way in self.ways)


def line_of(manifold: Pipe, way: Array) -> Pipe:
    """Make the line of a manifold, in the direction of flow."""
    return replace(manifold, line=LineString(way if manifold.kind == "supply" else way[::-1]))


def elbows_of(manifold: Pipe, way: Array) -> Iterator[Fitting]:
    """Turn the bends of a line into elbows, and the one where it meets its manifold."""
    on = coordinates(manifold.line)
    onward = on[1:] if manifold.kind == "supply" else on[-2::-1]
    for kind, at in elbows_along(np.vstack((way, onward[:1]))):
        yield Fitting(
            kind=kind, at=at, on=manifold.kind, zone=manifold.zone, size=manifold.diameter, of="line"
        )


def trenches_of(laid: Sequence[Laid], *, trunk: bool = False) -> Iterator[Trench]:
    """Give each trench once: stretches that groups share, what is a group's alone, and each leg.

    Along a trunk all lines of one kind are one pipe.
    """
    found: dict[tuple[XY, XY], set[object]] = {}
    for item in laid:
        for edge in _edges(item.middle):
            found.setdefault(edge, set()).update(
                pipe.kind if trunk else id(pipe) for pipe in item.group.pipes
            )
    pipes = {edge: len(lying) for edge, lying in found.items()}
    dug: set[tuple[XY, XY]] = set()
    for item in laid:
        new = [edge for edge in _edges(item.middle) if edge not in dug]
        dug.update(new)
        # What others dug before can only be the beginning of a way, so that the rest hangs together.
        for count, edges in itertools.groupby(new, key=pipes.__getitem__):
            walk = list(edges)
            yield Trench(line=LineString([walk[0][0], *(end for _, end in walk)]), pipes=count)
    for item in laid:
        yield from (Trench(line=leg, pipes=1) for leg in item.legs if leg.length > TOLERANCE)


def _edges(way: Array) -> list[tuple[XY, XY]]:
    """Name the sides of a way by their ends, to a hundredth of a millimetre."""
    points = [(float(x), float(y)) for x, y in np.round(way, 5)]
    return list(itertools.pairwise(points))
