"""Dimensions of manifolds: from riser to riser, and how far off the tubing they lie."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
from shapely import LineString, Point
from shapely.ops import substring

from layout.model import XY, Design, Pipe
from layout.plane import coordinates
from layout.sheets.details.picture import Picture
from layout.sheets.details.place import ON, Place, ends, own_pipe
from layout.sheets.dimensions import dimensioned

_CHAIN = 0.3
"""From the outer manifold to the first dimension line, and from that to the next [in]."""


def measure_chains(design: Design, place: Place, picture: Picture) -> None:
    """Dimension from riser to riser along the supply; along the return where there is no supply."""
    for pipe in place.pipes:
        feet = [ends(riser)[0] for riser in place.risers if own_pipe(riser, design) is pipe]
        outward = _outward(place, pipe, feet)
        beyond = _reach(place, pipe, picture)
        if pipe.kind == "supply" or not any(other.kind == "supply" for other in place.pipes):
            _chain(picture, place, pipe, outward, outward_by=beyond + _CHAIN)


def measure_offsets(place: Place, picture: Picture) -> None:
    """Dimension how far off the tubing the manifolds lie."""
    for kind in ("supply", "return"):
        _measure_offset(place, kind, picture)


def _measure_offset(place: Place, kind: str, picture: Picture) -> None:
    """Dimension the longest riser of a kind; of several as long, the first that has room for it."""
    risers = [riser for riser in place.risers if riser.kind == kind and not riser.lead]
    if not risers:
        return
    most = picture.figures.length(max(riser.line.length for riser in risers))
    longest = [riser for riser in risers if picture.figures.length(riser.line.length) == most]
    side = 0.22 + 0.16 * (kind == "return")
    for riser in reversed(longest):
        foot, tip = ends(riser)
        if picture.measure(tip, foot, (side, -side, 2 * side, -2 * side)):
            return
    picture.unlettered.append(f"offset of the {kind}")


def _chain(picture: Picture, place: Place, pipe: Pipe, outward: float, *, outward_by: float) -> None:
    """Dimension from riser to riser, equal distances together; where the pipe bends between, letter its length.

    All figures of one manifold stand on one line, each beside its own distance.
    """
    stands = sorted(
        (float(pipe.line.project(Point(ends(riser)[0]))), riser.lateral, ends(riser)[0])
        for riser in place.risers
        if pipe.line.distance(Point(ends(riser)[0])) < ON and riser.kind == pipe.kind
    )
    steps = list(itertools.pairwise(stands))
    figure = picture.figures.length
    straight = [
        (before[2], after[2])
        for before, after in steps
        if figure(math.dist(before[2], after[2])) == figure(after[0] - before[0])
    ]
    sizes = [math.dist(*pair) for pair in straight]
    printed = {figure(size) for size in sizes}
    whole = math.dist(stands[0][2], stands[-1][2]) if stands else 0.0
    if len(steps) == len(sizes) > 1 and len(printed) == 1 and abs(whole - sum(sizes)) < 0.005:
        pairs = [(stands[0][2], stands[-1][2], f"{len(sizes)} x {printed.pop()} = <>")]
    else:
        pairs = [(start, end, "<>") for start, end in straight]
    if pairs:
        offs = [outward_by + more for more in (0.0, 0.15, 0.3, 0.45)]
        if not _together(picture, [(*pair, outward * _left(pair[0], pair[1], pipe)) for pair in pairs], offs):
            picture.remark("Risers stand as in the table.")
    for before, after in steps:
        if (before[2], after[2]) not in straight:
            piece = LineString(coordinates(substring(pipe.line, before[0], after[0])))
            length = picture.figures.length_of(after[0] - before[0])
            picture.name_along(piece, f"{before[1]} to {after[1]}: {length} along")


def _outward(place: Place, pipe: Pipe, feet: Sequence[XY]) -> float:
    """Tell on which side of a manifold, in its direction, there is no tubing: 1 on the left, -1 on the right."""
    risers = [riser for riser in place.risers if ends(riser)[0] in feet]
    way = np.subtract(pipe.line.coords[-1][:2], pipe.line.coords[0][:2])
    lean = sum(
        float(np.cross([*way, 0.0], [*np.subtract(tip, foot), 0.0])[2]) for foot, tip in map(ends, risers)
    )
    return -1.0 if lean > 0 else 1.0


def _left(before: XY, after: XY, pipe: Pipe) -> float:
    """Tell whether a step leads along a manifold as it is drawn (1), or against it (-1)."""
    way = np.subtract(pipe.line.coords[-1][:2], pipe.line.coords[0][:2])
    return 1.0 if float(np.subtract(after, before) @ way) >= 0 else -1.0


def _reach(place: Place, pipe: Pipe, picture: Picture) -> float:
    """Find how far beyond a manifold the others lie on paper [in]."""
    metres = max((float(pipe.line.distance(other.line)) for other in place.pipes), default=0.0)
    return metres / picture.view.metres_per_inch if pipe.kind == "supply" else 0.0


def _together(picture: Picture, pairs: Sequence[tuple[XY, XY, str, float]], offs: Sequence[float]) -> bool:
    """Dimension distances that follow each other on one line; none of them where not all find room.

    Parameters
    ----------
    pairs : sequence of (start, end, words, side)
        In the plan [m]; the side is 1 where the line lies on the left of the way from start to end, or -1.
    offs : sequence of float
        How far off the line may lie, the best first [in].
    """
    for off in offs:
        count = picture.board.count
        found = []
        for start, end, words, side in pairs:
            made = dimensioned(
                picture.board,
                picture.lettering,
                picture.figures,
                (picture.paper(start), picture.paper(end)),
                length=math.dist(start, end),
                offs=(side * off,),
                words=words,
                beside=True,
            )
            if made is None:
                break
            found.append(made)
        if len(found) == len(pairs):
            picture.dimensions += [item for item, _ in found]
            picture.marks += [mark for _, marks in found for mark in marks]
            return True
        picture.board.release(count)
    return False
