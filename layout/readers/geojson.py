"""Maps in GeoJSON (RFC 7946) into a `PointTable` of longitude and latitude.

A file holds features; one of them is named by ``map.geojson#NAME``, by its name, its id or any of its properties,
and a part of one that has several by ``#NAME/2``.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from layout.readers.document import shortened
from layout.readers.mapfile import MapFeature, Piece, map_features, refused
from layout.readers.points import Faults, PointTable, Role

_LISTED = 6
_ONE_REMEDY = "Name one of them behind a #, by its name, id or another property of its own."


def read_geojson(text: str, name: str, *, part: str = "", role: Role = "shape") -> PointTable:
    """Read the text of a map.

    Parameters
    ----------
    text : str
    name : str
        What faults call the file.
    part : str
        The feature that is wanted; empty for all.
    role : "outline", "levels", "guide" or "shape"
        What its points are for.

    Returns
    -------
    PointTable
        Longitude, latitude; heights are metres where they stand in the coordinates, site units where in a property.

    Raises
    ------
    ReadError
        With every fault of the file: feature, position, what was found, the remedy.
    """
    faults = Faults(name)
    features = map_features(text, faults)
    faults.stop()
    if not any(feature.pieces for feature in features):
        remedy = "Export the bed, the features or the levels into it."
        raise refused(faults, "", "the file holds no shapes", remedy)
    chosen, number = _chosen(features, part, faults) if part else (features, None)
    if role == "levels":
        return _levels(chosen, faults)
    pieces = [piece for feature in chosen for piece in feature.pieces]
    if number is not None:
        if not 1 <= number <= len(pieces):
            said = f"it has {len(pieces)} parts, no part {number}"
            raise refused(faults, chosen[0].label, said, "Count from 1.")
        pieces = [pieces[number - 1]]
    piece, notes = _one_piece(pieces, role, part, faults)
    if piece.holes and role == "outline":
        said = f"the outline has {piece.holes} holes"
        remedy = "Fill them, and give what stands in the bed as features with inside = true."
        raise refused(faults, piece.label, said, remedy)
    return _table(piece, name, notes)


# --- what is wanted -------------------------------------------------------------------------------------


def _chosen(features: Sequence[MapFeature], part: str, faults: Faults) -> tuple[list[MapFeature], int | None]:
    """The features that a name means, and the number of a part of one."""
    for name, number in ((part, None), _numbered(part)):
        for same in (str, str.casefold):
            for by in ("names", "words"):
                found = [
                    item for item in features if item.pieces and same(name) in map(same, getattr(item, by))
                ]
                if found:
                    return found, number
    listed = list(dict.fromkeys(feature.names[0] for feature in features if feature.names))
    there = ", ".join(shortened(text, 30) for text in listed[:_LISTED])
    more = f" and {len(listed) - _LISTED} more" if len(listed) > _LISTED else ""
    said = f'no feature is named "{shortened(part, 40)}"'
    said += f"; there are: {there}{more}" if listed else "; none has a name"
    remedy = "Write one of these behind the #." if listed else "Give it a property name."
    raise refused(faults, "", said, remedy)


def _numbered(part: str) -> tuple[str, int | None]:
    name, slash, number = part.rpartition("/")
    return (name, int(number)) if slash and number.isdecimal() and len(number) < 7 else (part, None)


def _one_piece(pieces: Sequence[Piece], role: Role, part: str, faults: Faults) -> tuple[Piece, list[str]]:
    """The one shape that serves a role; a row of points counts as one."""
    areas = [piece for piece in pieces if piece.kind == "area"]
    lines = [piece for piece in pieces if piece.kind == "line"]
    points = [piece for piece in pieces if piece.kind == "point"]
    row = [_row(points)] if points else []
    orders = {"outline": (areas, lines, row), "guide": (lines, areas, row)}
    wanted = next(kind for kind in orders.get(role, ([*areas, *lines], row)) if kind)
    if len(wanted) == 1:
        left = len(pieces) - (len(points) if wanted is row else 1)
        notes = (
            [f"{wanted[0].label} is read; {left} other shapes are not looked at"] if left and not part else []
        )
        return wanted[0], notes
    listed = ", ".join(f"{piece.kind} of {piece.label}" for piece in wanted[:_LISTED])
    more = f" and {len(wanted) - _LISTED} more" if len(wanted) > _LISTED else ""
    several = len({piece.label for piece in wanted}) > 1
    name = part or "NAME"
    remedy = (
        _ONE_REMEDY if several else f"Name a part of it, #{shortened(name, 40)}/1, or draw each as a feature."
    )
    said = f"{len(wanted)} shapes are found where one is wanted: {listed}{more}"
    raise refused(faults, "", said, remedy)


def _row(points: Sequence[Piece]) -> Piece:
    """Points in the order of the file as one row."""
    label = points[0].label if len(points) == 1 else f"the row of {len(points)} points"
    return Piece(kind="point", points=[piece.points[0] for piece in points], label=label)


def _table(piece: Piece, name: str, notes: list[str]) -> PointTable:
    if piece.holes:
        notes.append(f"{piece.label} has {piece.holes} holes, which are filled")
    return PointTable(
        xy=tuple((point[0], point[1]) for point in piece.points),
        z=tuple(point[2] for point in piece.points),
        places=tuple(f"{piece.label}, position {number}" for number in range(1, len(piece.points) + 1)),
        file=name,
        notes=tuple(f"{Path(name).name}: {note}" for note in notes),
        geographic=True,
        metric_z=True,
    )


def _levels(features: Sequence[MapFeature], faults: Faults) -> PointTable:
    """All positions with a height, of points and of level lines alike."""
    rows = [
        (point, feature.height, f"{piece.label}, position {number}")
        for feature in features
        for piece in feature.pieces
        for number, point in enumerate(piece.points[: -1 if piece.kind == "area" else None], start=1)
    ]
    metric = any(point[2] is not None for point, _, _ in rows)
    known = [
        (point[:2], height, place)
        for point, other, place in rows
        if (height := point[2] if metric else other) is not None
    ]
    if not known:
        remedy = "Give each position a third number, in metres, or each feature a property elevation, in site units."
        raise refused(faults, "", "no position has a height", remedy)
    notes = [f"heights are {'metres, as RFC 7946 has them' if metric else 'site units, from a property'}"]
    if len(known) < len(rows):
        notes.append(f"{len(rows) - len(known)} positions without a height are not looked at")
    return PointTable(
        xy=tuple(at for at, _, _ in known),
        z=tuple(height for _, height, _ in known),
        places=tuple(place for _, _, place in known),
        file=faults.file,
        notes=tuple(f"{Path(faults.file).name}: {note}" for note in notes),
        geographic=True,
        metric_z=metric,
    )
