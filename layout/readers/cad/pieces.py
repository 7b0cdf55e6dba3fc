"""From entities to plain pieces: rows of points in world coordinates, arcs and curves flattened.

World coordinates, so that what was mirrored with a flipped extrusion direction lies where the CAD program shows it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from layout.plane import Array
from layout.readers.cad.blocks import Item, TooMuchError
from layout.readers.cad.load import reason_of

SAGITTA = 0.0002
"""Arcs and curves are flattened to chords no farther than this from them [m] ..."""
SAGITTA_SHARE = 3e-5
"""... nor than this share of their radius, so that a circle loses no more than 0.004 % of its area ..."""
FINEST = 1e-7
"""... but to no finer a share of their length than this."""
MOST_VERTICES = 2_000_000
_FLAT_BULGE = 1e-9

Maker = Callable[[Any, "Fineness"], list[Array]]
"""Makes rows of points of an entity."""
_WORDS = {"TEXT": "text", "MTEXT": "text", "HATCH": "hatch", "DIMENSION": "dimension", "INSERT": "block"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A row of points that stands for an entity, in world coordinates [drawing units].

    Attributes
    ----------
    points : (n, 3) array
        One for a point; first and last the same where it is closed.
    item : Item
    closed : bool
    """

    points: Array
    item: Item
    closed: bool = False


@dataclass(slots=True)
class Flattened:
    """The pieces of some entities, and what became of the others.

    Attributes
    ----------
    pieces, fills : list of Piece
        Fills are the edges of hatches.
    others : Counter
        Entities that are no shapes, by a word for them.
    wrong : list of (Item, str)
        Entities that cannot be made out, and why.
    """

    pieces: list[Piece] = field(default_factory=list)
    fills: list[Piece] = field(default_factory=list)
    others: Counter[str] = field(default_factory=Counter)
    wrong: list[tuple[Item, str]] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fineness:
    """How finely curves are flattened.

    Attributes
    ----------
    sagitta : float
        Greatest distance of a curve from its chords [drawing units].
    share : float
        The same as a share of the radius.
    """

    sagitta: float
    share: float = SAGITTA_SHARE

    def of(self, size: float, radius: float) -> float:
        """The sagitta for a curve of some length and radius [drawing units]."""
        return min(max(min(self.sagitta, self.share * radius), FINEST * size), radius / 16)


# --- flattening -------------------------------------------------------------------------------------------


def flattened(items: Iterable[Item], *, fine: Fineness, join: float, limit: float) -> Flattened:
    """Make pieces of entities.

    Parameters
    ----------
    items : iterable of Item
    fine : Fineness
    join : float
        Ends nearer than this are one point [drawing units].
    limit : float
        Greatest coordinate [drawing units].

    Raises
    ------
    TooMuchError
    """
    made = Flattened()
    count = 0
    for item in items:
        maker = _MAKERS.get(item.kind)
        if maker is None:
            made.others[_WORDS.get(item.kind, "other entity")] += 1
            continue
        try:
            rows = [row for row in _in_the_world(item, maker, fine) if len(row)]
        except Exception as error:  # of a damaged entity the library may say anything
            made.wrong.append((item, f"cannot be made out ({reason_of(error)})"))
            continue
        if item.kind == "HATCH":
            made.others[_WORDS[item.kind]] += 1
        if not rows and item.kind == "POLYLINE":
            made.others["mesh"] += 1
        for row in rows:
            said = _amiss(row, limit)
            if said:
                made.wrong.append((item, said))
                continue
            count += len(row)
            if count > MOST_VERTICES:
                raise TooMuchError(f"its curves come to more than {MOST_VERTICES:,} points")
            piece = _piece(row, item, join)
            (made.fills if item.kind == "HATCH" else made.pieces).append(piece)
    return made


def _in_the_world(item: Item, maker: Maker, fine: Fineness) -> list[Array]:
    """The rows of an entity in world coordinates, flattened as finely there as asked."""
    if item.matrix is None:
        return maker(item.entity, fine)
    # the library's matrices stand behind the vectors that they turn, and end with a row for the shift
    matrix = np.array(list(item.matrix), dtype=np.float64).reshape(4, 4)
    stretch = float(np.abs(matrix[:3, :3]).sum(axis=1).max())
    if not 0.0 < stretch < math.inf:
        raise ValueError("the scale of its block is no number")
    rows = maker(item.entity, Fineness(sagitta=fine.sagitta / stretch, share=fine.share))
    return [row @ matrix[:3, :3] + matrix[3, :3] for row in rows]


def _amiss(row: Array, limit: float) -> str:
    """What is wrong with the coordinates of a row; empty where nothing is."""
    if not np.isfinite(row).all():
        return "has a coordinate that is no number"
    if np.abs(row).max() > limit:
        return f"has the coordinate {np.abs(row).max():.6g}, beyond {limit:,.0f}"
    return ""


def _piece(row: Array, item: Item, join: float) -> Piece:
    """Make a piece of a row; it is closed where its ends meet and there is a way round."""
    ends = float(np.hypot(*(row[-1] - row[0])[:2]))
    if len(row) > 3 and ends <= join:
        row = row.copy()
        row[-1] = row[0]
        return Piece(points=row, item=item, closed=True)
    return Piece(points=row, item=item)


def _rows(vertices: Iterable[Any]) -> Array:
    """Vertices as an array, shape (n, 3)."""
    return np.array([(v.x, v.y, v.z) for v in vertices], dtype=np.float64).reshape(-1, 3)


def _line(entity: Any, _: Fineness) -> list[Array]:
    return [_rows((entity.dxf.start, entity.dxf.end))]


def _point(entity: Any, _: Fineness) -> list[Array]:
    return [_rows((entity.dxf.location,))]


def _face(entity: Any, _: Fineness) -> list[Array]:
    """The corners of a face of a surface, each as a point of its own."""
    return list(_rows(entity.wcs_vertices())[:, None, :])


def _circular(entity: Any, fine: Fineness) -> list[Array]:
    radius = abs(float(entity.dxf.radius))
    sweep = 360.0
    if entity.dxftype() == "ARC":
        sweep = (float(entity.dxf.end_angle) - float(entity.dxf.start_angle)) % 360.0 or 360.0
    if not (math.isfinite(radius) and math.isfinite(sweep)):
        raise ValueError("its radius or an angle is no number")
    return [_rows(entity.flattening(fine.of(radius * math.radians(sweep), radius)))] if radius else []


def _ellipse(entity: Any, fine: Fineness) -> list[Array]:
    size = float(entity.dxf.major_axis.magnitude)
    if not math.isfinite(size) or not all(
        map(math.isfinite, (entity.dxf.ratio, entity.dxf.start_param, entity.dxf.end_param))
    ):
        raise ValueError("an axis or angle is no number")
    narrow = size * min(abs(float(entity.dxf.ratio)), 1.0)
    return [_rows(entity.flattening(fine.of(size, max(narrow, FINEST * size))))] if size else []


def _spline(entity: Any, fine: Fineness) -> list[Array]:
    hull = _rows([*map(_vec, entity.control_points), *map(_vec, entity.fit_points)])
    if not np.isfinite(hull).all() or not all(map(math.isfinite, [*entity.knots, *entity.weights])):
        raise ValueError("a control point or knot is no number")
    if not len(hull):
        raise ValueError("it has neither control points nor fit points")
    size = float(np.max(np.ptp(hull, axis=0)))
    return [_rows(entity.flattening(fine.of(size, size / 2)))] if size else []


def _vec(point: Any) -> Any:
    from ezdxf.math import Vec3

    return Vec3(point)


def _light(entity: Any, fine: Fineness) -> list[Array]:
    """An LWPOLYLINE."""
    corners = [(float(x), float(y), float(bulge)) for x, y, bulge in entity.get_points("xyb")]
    return _bulged(corners, bool(entity.closed), float(entity.dxf.elevation), entity.ocs(), fine)


def _heavy(entity: Any, fine: Fineness) -> list[Array]:
    """A POLYLINE: in its plane, with bulges, or in space; the frame of a smoothed one is left out."""
    if entity.is_poly_face_mesh or entity.is_polygon_mesh:
        return []
    corners = [vertex for vertex in entity.vertices if not int(vertex.dxf.flags) & 16]
    if entity.is_3d_polyline:
        points = [vertex.dxf.location for vertex in corners]
        return [_rows([*points, points[0]] if entity.is_closed and points else points)]
    level = float(_vec(entity.dxf.elevation).z)
    flat = [(float(v.dxf.location.x), float(v.dxf.location.y), float(v.dxf.bulge)) for v in corners]
    return _bulged(flat, bool(entity.is_closed), level, entity.ocs(), fine)


def _bulged(
    corners: list[tuple[float, float, float]], closed: bool, level: float, ocs: Any, fine: Fineness
) -> list[Array]:
    """Flatten a row of corners, each with the bulge of the segment that begins there, and bring it to the world."""
    flat = bulged_points(corners, closed=closed, fine=fine)
    return [_rows(ocs.points_to_wcs((x, y, level) for x, y in flat))]


def bulged_points(
    corners: list[tuple[float, float, float]], *, closed: bool, fine: Fineness
) -> list[tuple[float, float]]:
    """Flatten a polyline with bulges.

    A bulge is the tangent of a quarter of the angle that the arc from this corner to the next sweeps, negative
    where it goes clockwise; 0 is a straight segment, 1 a half circle (DXF reference, LWPOLYLINE, group code 42).

    Parameters
    ----------
    corners : list of (x, y, bulge)
    closed : bool
        Whether a segment leads from the last corner back to the first.
    fine : Fineness

    Examples
    --------
    >>> half = bulged_points([(9, 0, 1), (-9, 0, 0)], closed=False, fine=Fineness(sagitta=0.4, share=1.0))
    >>> len(half), tuple(round(value, 9) for value in half[3])
    (7, (0.0, 9.0))
    """
    if not corners:
        return []
    rows = [corners[0][:2]]
    for (x, y, bulge), (next_x, next_y, _) in zip(
        corners, [*corners[1:], corners[0]] if closed else corners[1:], strict=False
    ):
        rows += _arc((x, y), (next_x, next_y), bulge, fine)
        rows.append((next_x, next_y))
    return rows


def _arc(
    start: tuple[float, float], end: tuple[float, float], bulge: float, fine: Fineness
) -> list[tuple[float, float]]:
    """The points between the ends of an arc."""
    from ezdxf.math import arc_segment_count, bulge_center

    if not all(map(math.isfinite, (*start, *end, bulge))):
        raise ValueError("a coordinate or bulge is no number")
    chord = math.hypot(end[0] - start[0], end[1] - start[1])
    if chord == 0 or abs(bulge) * chord / 2 <= max(fine.sagitta * 1e-3, _FLAT_BULGE * chord):
        return []
    sweep = 4 * math.atan(bulge)
    radius = chord * (1 + bulge * bulge) / (4 * abs(bulge))
    centre = bulge_center(start, end, bulge)
    east, north = start[0] - centre.x, start[1] - centre.y
    count = arc_segment_count(radius, abs(sweep), fine.of(radius * abs(sweep), radius))
    turns = (sweep * step / count for step in range(1, count))
    return [
        (
            centre.x + east * math.cos(turn) - north * math.sin(turn),
            centre.y + east * math.sin(turn) + north * math.cos(turn),
        )
        for turn in turns
    ]


def _hatch(entity: Any, fine: Fineness) -> list[Array]:
    """The outer edges of a hatch; the largest alone where none is marked as such."""
    ocs, level = entity.ocs(), float(_vec(entity.dxf.elevation).z)
    rows: list[Array] = []
    marked = list(entity.paths.external_paths())
    for path in marked or entity.paths:
        if hasattr(path, "vertices"):
            corners = [(float(x), float(y), float(bulge)) for x, y, bulge in path.vertices]
            rows += _bulged(corners, True, level, ocs, fine)
        else:
            walked = [point for edge in path.edges for point in _hatch_edge(edge, fine)]
            rows.append(_rows(ocs.points_to_wcs((x, y, level) for x, y in [*walked, *walked[:1]])))
    if marked or len(rows) < 2:
        return rows
    return [max(rows, key=lambda row: float(np.prod(np.ptp(row[:, :2], axis=0))))]


def _hatch_edge(edge: Any, fine: Fineness) -> list[tuple[float, float]]:
    """One edge of a hatch, in the direction of the walk round it."""
    if edge.EDGE_TYPE == "LineEdge":
        points = [edge.start, edge.end]
    else:
        tool = edge.construction_tool()
        radius = float(getattr(tool, "radius", math.inf))
        points = list(tool.flattening(fine.of(0.0, radius)))
        if not getattr(edge, "ccw", True):
            points.reverse()
    return [(float(point.x), float(point.y)) for point in points]


_MAKERS: dict[str, Maker] = {
    "LINE": _line,
    "POINT": _point,
    "3DFACE": _face,
    "ARC": _circular,
    "CIRCLE": _circular,
    "ELLIPSE": _ellipse,
    "SPLINE": _spline,
    "LWPOLYLINE": _light,
    "POLYLINE": _heavy,
    "HATCH": _hatch,
}
