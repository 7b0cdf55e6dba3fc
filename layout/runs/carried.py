"""A row with what carries it past obstacles: pieces of tubing, the blank tubing between them, and lines of both."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from shapely import LineString

from layout.plane import coordinates
from layout.runs.nearby import Nearby

UNDECIDED = LineString()
"""Stands for what is still to be decided of the way past an obstacle: as if blank tubing carried on there."""

Box = tuple[float, float, float, float]
"""Least x and y, greatest x and y."""

Way = tuple[tuple[int, int], ...]
"""Lines in the order of flow, each as its row and its place in the row."""


@dataclass(frozen=True, eq=False)
class Carried:
    """The pieces of one row, from the manifold end, and the blank tubing between them.

    `blanks[k]` leads from piece k to piece k + 1; None where the row ends at an obstacle, and the line beyond begins.
    `from_end` says whether it begins at the manifold end.
    """

    place: float
    pieces: tuple[LineString, ...]
    blanks: tuple[LineString | None, ...] = ()
    from_end: bool = True

    def put(
        self, at: int, count: int, pieces: Sequence[LineString], blanks: Sequence[LineString | None]
    ) -> Carried:
        """One with other pieces, and other blank tubing between them, in place of so many pieces from one on."""
        return replace(
            self,
            pieces=(*self.pieces[:at], *pieces, *self.pieces[at + count :]),
            blanks=(*self.blanks[:at], *blanks, *self.blanks[at + count - 1 :]),
        )

    def join(self, at: int, piece: LineString) -> Carried:
        """One with one piece in place of two and what is between them."""
        return self.put(at, 2, (piece,), ())

    def ending(self, at: int) -> Carried:
        """One that ends after a piece, where the line beyond begins."""
        return self.put(at, 2, self.pieces[at : at + 2], (None,))

    def blank(self) -> list[LineString]:
        """The blank tubing there is."""
        return [blank for blank in self.blanks if blank is not None and not blank.is_empty]

    @cached_property
    def runs(self) -> Nearby:
        """Its pieces."""
        return Nearby.of(self.pieces)

    @cached_property
    def tubing(self) -> Nearby:
        """Its pieces and the blank tubing there is."""
        return Nearby.of_all((self.runs, Nearby.of(self.blank())))

    @cached_property
    def whole(self) -> LineString:
        """The row as if nothing interrupted it: its pieces, and straight on between them."""
        if len(self.pieces) == 1:
            return self.pieces[0]
        return LineString(np.vstack([coordinates(piece) for piece in self.pieces]))

    @cached_property
    def undecided(self) -> tuple[tuple[int, LineString, Box], ...]:
        """Straight across each obstacle that the way past is still to be decided of, by the piece before it.

        And the box of that [m].
        """
        across = [
            (
                k,
                LineString([shapely.get_point(self.pieces[k], -1), shapely.get_point(self.pieces[k + 1], 0)]),
            )
            for k, blank in enumerate(self.blanks)
            if blank is UNDECIDED
        ]
        return tuple((k, chord, chord.bounds) for k, chord in across)

    @cached_property
    def lines(self) -> list[tuple[int, int]]:
        """First and last piece of each line: pieces that blank tubing joins."""
        starts = [0, *(k + 1 for k, blank in enumerate(self.blanks) if blank is None)]
        return list(zip(starts, [*(k - 1 for k in starts[1:]), len(self.pieces) - 1], strict=True))

    @cached_property
    def lengths(self) -> list[float]:
        """Of the tubing of each line [m]."""
        found = []
        for first, last in self.lines:
            blanks = [blank.length for blank in self.blanks[first:last] if blank is not None]
            found.append(math.fsum((*(piece.length for piece in self.pieces[first : last + 1]), *blanks)))
        return found
