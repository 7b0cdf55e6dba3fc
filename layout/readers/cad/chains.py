"""Pieces that meet end to end, joined into shapes: closed outlines, open lines, points.

The joining is the CAD library's (its edge miner). Where nothing closes that way, because lines cross at the corners or
others branch off, the geometry engine's polygonizer looks for the areas between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Polygon

from layout.plane import TOLERANCE, Array, lines_of, pair, points_at, polygons_of, stations
from layout.readers.cad.pieces import Piece

JOIN = 0.01
"""Ends no farther apart than this are joined [m]; what lies over a millimetre is noted."""
NEARLY = 0.3
"""A line whose ends are no farther apart than this [m] ..."""
NEARLY_SHARE = 0.01
"""... nor than this share of its length is closed with a straight piece; that is noted."""
MOST_LOOSE = 10_000
"""More loose pieces than this on a layer are not joined."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One thing drawn, be it of one entity or of many.

    Attributes
    ----------
    points : (n, 3) array
        [drawing units]; the first again at the end of a closed one.
    members : tuple of Piece
        What it is made of, in the order of the points.
    closed : bool
    gap : float
        The widest gap that was bridged [drawing units].
    gap_at : (x, y)
        Where that is [drawing units].
    crossing : bool
        Whether it is an area between lines that cross or branch.
    """

    points: Array
    members: tuple[Piece, ...]
    closed: bool = False
    gap: float = 0.0
    gap_at: tuple[float, float] = (0.0, 0.0)
    crossing: bool = False

    @property
    def handle(self) -> str:
        """That of its first entity in the drawing."""
        return self.members[0].item.handle

    @property
    def label(self) -> str:
        """What messages call it."""
        if len(self.members) == 1:
            return self.members[0].item.label
        return f"{len(self.members)} pieces from {self.members[0].item.label} on"

    @property
    def area(self) -> float:
        """[drawing units²]; 0 of an open one."""
        return float(Polygon(self.points[:, :2]).area) if self.closed else 0.0


@dataclass(slots=True)
class Shapes:
    """The shapes of a layer, each kind in the order of the drawing."""

    closed: list[Shape] = field(default_factory=list)
    lines: list[Shape] = field(default_factory=list)
    points: list[Shape] = field(default_factory=list)
    doubles: int = 0
    """Pieces that lie on another of their like."""
    loose: bool = False
    """Whether there were too many open pieces to join."""


def shapes_of(pieces: Sequence[Piece], *, metre: float) -> Shapes:
    """Join pieces into shapes.

    Parameters
    ----------
    pieces : sequence of Piece
    metre : float
        [drawing units in a metre].
    """
    made = Shapes()
    near = TOLERANCE * metre
    for piece in pieces:
        if len(piece.points) == 1:
            made.points.append(Shape(points=piece.points, members=(piece,)))
        elif piece.closed:
            made.closed.append(Shape(points=piece.points, members=(piece,), closed=True))
    open_pieces = [
        Shape(points=piece.points, members=(piece,))
        for piece in pieces
        if len(piece.points) > 1 and not piece.closed and stations(piece.points[:, :2])[-1] > near
    ]
    if len(open_pieces) > MOST_LOOSE:
        made.loose = True
        made.lines = open_pieces
    else:
        before = len(open_pieces)
        chains = _joined(open_pieces, gap=near)
        made.doubles = before - sum(len(chain.members) for chain in chains)
        rest = _joined([chain for chain in chains if not chain.closed], gap=JOIN * metre)
        chains = [*(chain for chain in chains if chain.closed), *rest]
        chains = [_nearly_closed(chain, NEARLY * metre) for chain in chains]
        made.closed += [chain for chain in chains if chain.closed]
        made.lines = [chain for chain in chains if not chain.closed]
    order = {id(piece): index for index, piece in enumerate(pieces)}
    for shapes in (made.closed, made.lines):
        shapes.sort(key=lambda shape: order[id(shape.members[0])])
    made.doubles += _without_doubles(made.closed, near) + _without_doubles(made.points, near)
    if not made.closed and not made.loose:
        made.closed = _between(made.lines)
    return made


# --- joining --------------------------------------------------------------------------------------------


def _joined(shapes: list[Shape], *, gap: float) -> list[Shape]:
    """Join open shapes whose ends lie within a gap of each other, where just two meet."""
    from ezdxf import edgeminer as miner

    if not shapes:
        return []
    made = [_looped(shape, gap) for shape in shapes]
    chains = [(index, shape) for index, shape in enumerate(made) if shape.closed]
    left = [index for index in _single(made, gap) if not made[index].closed]
    if not left:
        return [shape for _, shape in chains]
    deposit = miner.Deposit(
        [
            miner.make_edge(
                tuple(made[index].points[0, :2]), tuple(made[index].points[-1, :2]), payload=index
            )
            for index in left
        ],
        gap_tol=gap,
    )
    for found in miner.find_all_simple_chains(deposit):
        loop = miner.is_loop(found, gap_tol=gap)
        walk = _from_the_first([(edge.payload, edge.is_reverse) for edge in found], loop)
        chains.append((walk[0][0], _strung(made, walk, gap)))
    return [chain for _, chain in sorted(chains, key=lambda found: found[0])]


def _looped(shape: Shape, gap: float) -> Shape:
    """Close a shape whose ends meet; the miner would walk it twice."""
    apart = float(np.hypot(*(shape.points[-1] - shape.points[0])[:2]))
    if len(shape.points) < 4 or apart > gap:
        return shape
    points = shape.points.copy()
    points[0] = points[-1] = (points[0] + points[-1]) / 2
    return replace(shape, points=points, closed=True, gap=max(shape.gap, apart), gap_at=pair(points[0]))


def _single(shapes: list[Shape], gap: float) -> list[int]:
    """The places of shapes without those that lie on an earlier one, in either direction."""
    from scipy.spatial import cKDTree

    ends = np.array([(shape.points[0, :2], shape.points[-1, :2]) for shape in shapes])
    middles = np.array(
        [points_at(shape.points[:, :2], stations(shape.points[:, :2])[-1:] / 2)[0] for shape in shapes]
    )
    # what does not depend on the direction: the middle of the ends, how far they lie apart, the middle of the way
    likeness = np.hstack((ends.mean(axis=1), np.abs(ends[:, 0] - ends[:, 1]), middles))
    gone: set[int] = set()
    for first, second in sorted(
        map(tuple, cKDTree(likeness).query_pairs(4 * gap, output_type="ndarray").tolist())
    ):
        if first not in gone and _same(shapes[first], shapes[second], gap):
            gone.add(second)
    return [index for index in range(len(shapes)) if index not in gone]


def _same(one: Shape, other: Shape, gap: float) -> bool:
    """Whether two open shapes lie on each other, in either direction."""
    first, second = LineString(one.points[:, :2]), LineString(other.points[:, :2])
    ends = one.points[[0, -1], :2] - other.points[[0, -1], :2]
    turned = one.points[[0, -1], :2] - other.points[[-1, 0], :2]
    if min(np.abs(ends).max(), np.abs(turned).max()) > gap:
        return False
    return bool(shapely.hausdorff_distance(first, second) <= gap)


def _from_the_first(walk: list[tuple[int, bool]], loop: bool) -> list[tuple[int, bool]]:
    """Turn a walk so that it does not depend on where the miner began.

    A loop begins with the first of its pieces in the drawing, in that piece's direction; a line takes the
    direction of that piece.
    """
    first = min(range(len(walk)), key=lambda place: walk[place][0])
    backwards = walk[first][1]
    if backwards:
        walk = [(index, not reverse) for index, reverse in reversed(walk)]
        first = len(walk) - 1 - first
    return walk[first:] + walk[:first] if loop else walk


def _strung(shapes: list[Shape], walk: list[tuple[int, bool]], gap: float) -> Shape:
    """String shapes together in the order of a walk; gaps of over a millimetre meet in their middle."""
    rows: list[Array] = []
    widest, at = max(
        ((shapes[index].gap, shapes[index].gap_at) for index, _ in walk), key=lambda found: found[0]
    )
    for index, reverse in walk:
        row = shapes[index].points[::-1].copy() if reverse else shapes[index].points.copy()
        if rows:
            apart = float(np.hypot(*(row[0] - rows[-1][-1])[:2]))
            rows[-1][-1] = (rows[-1][-1] + row[0]) / 2
            widest, at = max((widest, at), (apart, pair(row[0])), key=lambda found: found[0])
            row = row[1:]
        rows.append(row)
    points = np.vstack(rows)
    members = tuple(
        member
        for index, reverse in walk
        for member in (reversed(shapes[index].members) if reverse else shapes[index].members)
    )
    apart = float(np.hypot(*(points[-1] - points[0])[:2]))
    closed = len(points) > 3 and apart <= gap
    if closed:
        widest, at = max((widest, at), (apart, pair(points[0])), key=lambda found: found[0])
        points[-1] = points[0]
    return Shape(points=points, members=members, closed=closed, gap=widest, gap_at=at)


def _nearly_closed(shape: Shape, most: float) -> Shape:
    """Close a line whose ends all but meet."""
    if shape.closed:
        return shape
    apart = float(np.hypot(*(shape.points[-1] - shape.points[0])[:2]))
    length = stations(shape.points[:, :2])[-1]
    if len(shape.points) < 3 or apart > min(most, NEARLY_SHARE * length):
        return shape
    points = np.vstack((shape.points, shape.points[:1]))
    return Shape(points=points, members=shape.members, closed=True, gap=apart, gap_at=pair(shape.points[-1]))


def _without_doubles(shapes: list[Shape], near: float) -> int:
    """Take out closed shapes and points that lie on an earlier one; how many."""
    if len(shapes) < 2:
        return 0
    outlines: list[Any] = [
        LineString(shape.points[:, :2]) if shape.closed else shapely.Point(shape.points[0, :2])
        for shape in shapes
    ]
    tree = shapely.STRtree(outlines)
    bounds = np.array([outline.bounds for outline in outlines])
    gone: set[int] = set()
    for index, outline in enumerate(outlines):
        if index in gone:
            continue
        found = tree.query(outline, predicate="dwithin", distance=near)
        alike = found[(found > index) & (np.abs(bounds[found] - bounds[index]) <= 4 * near).all(axis=1)]
        gone |= {
            int(other) for other in alike if shapely.hausdorff_distance(outline, outlines[other]) <= 4 * near
        }
    shapes[:] = [shape for index, shape in enumerate(shapes) if index not in gone]
    return len(gone)


def _between(lines: Iterable[Shape]) -> list[Shape]:
    """The areas between lines that cross, overlap or branch."""
    shapes = list(lines)
    if not shapes:
        return []
    drawn = [LineString(shape.points[:, :2]) for shape in shapes]
    network = lines_of(shapely.union_all(drawn))
    found = []
    for area in polygons_of(shapely.polygonize(network)):
        ring = np.asarray(area.exterior.coords, dtype=np.float64)[:, :2]
        members = tuple(
            member
            for shape, line in zip(shapes, drawn, strict=True)
            if line.intersection(area.exterior).length > 0
            for member in shape.members
        )
        points = np.column_stack((ring, np.zeros(len(ring))))
        found.append(Shape(points=points, members=members or shapes[0].members, closed=True, crossing=True))
    return found
