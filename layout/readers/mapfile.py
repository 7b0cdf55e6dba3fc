"""A GeoJSON document taken apart: its features, and the points, lines and areas in them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

from layout.errors import ReadError
from layout.readers.document import shortened
from layout.readers.points import MOST_POINTS, Faults
from layout.readers.values import is_number, quoted

Kind = Literal["point", "line", "area"]

_WGS_84 = ("CRS84", "EPSG::4326", "EPSG:4326")
_NAMES = ("name", "title", "id", "label", "code", "description")
_HEIGHTS = ("z", "elevation", "elev", "height", "level", "altitude")
_DEEPEST = 20
"""Collections in collections beyond this are refused."""
_GEOMETRIES: dict[str, tuple[Kind, int]] = {
    "Point": ("point", 0),
    "MultiPoint": ("point", 1),
    "LineString": ("line", 1),
    "MultiLineString": ("line", 2),
    "Polygon": ("area", 2),
    "MultiPolygon": ("area", 3),
}
"""What a geometry is, and how deep its positions stand in lists."""

Position = tuple[float, float, float | None]


@dataclass(slots=True, kw_only=True)
class Piece:
    """One point, line or area; an area by its outer ring, closed, and how many holes are in it."""

    kind: Kind
    points: list[Position]
    label: str
    holes: int = 0


@dataclass(slots=True, kw_only=True)
class MapFeature:
    """A feature: its names and id, what its other properties say, a height [site units] where one of them gives it."""

    label: str
    names: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    height: float | None = None
    pieces: list[Piece] = field(default_factory=list)


def map_features(text: str, faults: Faults) -> list[MapFeature]:
    """The features of a document in its order; faults are added to those of the file, or raised."""
    return _Reader(faults).features(_parsed(text, faults))


def refused(faults: Faults, where: str, said: str, remedy: str) -> ReadError:
    """A fault together with those gathered, to be raised."""
    faults.add(where, said, remedy)
    return faults.error()


def _parsed(text: str, faults: Faults) -> Any:
    """Parse JSON; NaN and infinity, which JSON does not have, are refused."""

    def no_number(word: str) -> Any:
        raise ValueError(f"{word} is no number in JSON")

    try:
        return json.loads(text, parse_constant=no_number)
    except RecursionError:
        said = "brackets stand in brackets too many times over"
        raise refused(faults, "", said, "Export the file again.") from None
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        said = f"this is not valid JSON: {error.msg[:1].lower()}{error.msg[1:]}"
        remedy = "Look for a bracket, comma or quotation mark there, or export the file again."
        raise refused(faults, place, said, remedy) from None
    except ValueError as error:
        said = f"this is not valid JSON: {shortened(str(error), 80)}"
        raise refused(faults, "", said, "Export the file again.") from None


class _Reader:
    """Takes a document apart; a class only because its steps share the file's faults and the count of points."""

    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.count = 0

    def features(self, document: Any) -> list[MapFeature]:
        """All features of a document, in its order."""
        if not isinstance(document, dict) or "type" not in document:
            remedy = 'A map is {"type": "FeatureCollection", "features": [...]}.'
            raise refused(self.faults, "", f"this is no GeoJSON: found {_kind(document)}", remedy)
        self._judge_crs(document.get("crs"))
        if document["type"] != "FeatureCollection":
            return [self._feature(document, 1)]
        listed = document.get("features")
        if not isinstance(listed, list):
            raise refused(
                self.faults, "", f'"features" is {_kind(listed)}, but it must be a list', "Export it again."
            )
        return [self._feature(item, number) for number, item in enumerate(listed, start=1)]

    def _judge_crs(self, stated: Any) -> None:
        """Refuse a file that says that it is in another system than the standard's."""
        if stated is None:
            return
        properties = stated.get("properties") if isinstance(stated, dict) else None
        name = str(properties.get("name", "")) if isinstance(properties, dict) else ""
        if not name.upper().endswith(_WGS_84):
            said = f"the file says that it is in {shortened(name, 60) or 'another system'}"
            remedy = "Export it in WGS 84, longitude and latitude, as RFC 7946 asks."
            raise refused(self.faults, "crs", said, remedy)

    def _feature(self, item: Any, number: int) -> MapFeature:
        label = f"feature {number}"
        if not isinstance(item, dict):
            self.faults.add(label, f"found {_kind(item)}, but it must be a feature", "Export the file again.")
            return MapFeature(label=label)
        properties = item.get("properties") if item.get("type") == "Feature" else None
        properties = properties if isinstance(properties, dict) else {}
        names, words = _names(item, properties)
        if names:
            label += f' "{shortened(names[0], 40)}"'
        height: Any = next((value for key, value in properties.items() if str(key).lower() in _HEIGHTS), None)
        feature = MapFeature(label=label, names=names, words=words)
        feature.height = float(height) if is_number(height) else None
        geometry = item.get("geometry") if item.get("type") == "Feature" else item
        if geometry is not None:  # a feature without a place is allowed
            self._geometry(geometry, feature, 0)
        return feature

    def _geometry(self, geometry: Any, feature: MapFeature, depth: int) -> None:
        kind = geometry.get("type") if isinstance(geometry, dict) else None
        if kind == "GeometryCollection" and isinstance(geometry.get("geometries"), list) and depth < _DEEPEST:
            for inner in geometry["geometries"]:
                self._geometry(inner, feature, depth + 1)
            return
        if not isinstance(kind, str) or kind not in _GEOMETRIES:
            said = f"{quoted(kind) if isinstance(kind, str) else _kind(geometry)} is no geometry"
            self.faults.add(feature.label, said, f"It must be one of {', '.join(_GEOMETRIES)}.")
            return
        shape, deep = _GEOMETRIES[kind]
        inner = 1 if shape != "area" else 2  # so deep stand the positions of one part of it
        inner = 0 if shape == "point" else inner
        for part in _at_depth(geometry.get("coordinates"), deep - inner):
            self._piece(shape, part, feature)

    def _piece(self, kind: Kind, part: Any, feature: MapFeature) -> None:
        """Read one point, line or area."""
        if kind == "area":
            rings = part if isinstance(part, list) else [part]
            if not rings:
                self.faults.add(feature.label, "it holds an area without a ring", "Export the file again.")
                return
            positions, holes = rings[0], len(rings) - 1
        else:
            positions, holes = [part] if kind == "point" else part, 0
        points = self._positions(positions, feature.label)
        if points is None:
            return
        if kind != "point" and len(points) < 2:
            self.faults.add(
                feature.label, f"it holds a line or ring of {len(points)} points", "Give it more."
            )
            return
        if kind == "area" and points[0][:2] != points[-1][:2]:
            points.append(points[0])
        feature.pieces.append(Piece(kind=kind, points=points, label=feature.label, holes=holes))

    def _positions(self, positions: Any, label: str) -> list[Position] | None:
        if not isinstance(positions, list):
            self.faults.add(
                label, f"found {_kind(positions)}, but it must be a list of positions", "Export it again."
            )
            return None
        self.count += len(positions)
        if self.count > MOST_POINTS:
            raise refused(self.faults, "", f"the file holds more than {MOST_POINTS} points", "Thin them out.")
        points: list[Position] = []
        for number, position in enumerate(positions, start=1):
            point = self._position(position, f"{label}, position {number}")
            if point is None:
                return None
            points.append(point)
        return points

    def _position(self, value: Any, where: str) -> Position | None:
        if not isinstance(value, list) or len(value) < 2 or not all(is_number(part) for part in value):
            remedy = "Write [longitude, latitude] or [longitude, latitude, height], plain numbers."
            found = quoted(value) if isinstance(value, list) else _kind(value)
            self.faults.add(where, f"{found} is no position", remedy)
            return None
        longitude, latitude = float(value[0]), float(value[1])
        if abs(longitude) > 180 or abs(latitude) > 90:
            said = f"[{longitude:.10g}, {latitude:.10g}] is beyond 180 and 90 degrees"
            swapped = abs(longitude) <= 90 and abs(latitude) <= 180
            remedy = (
                "Longitude comes first."
                if swapped
                else "GeoJSON holds longitude and latitude on WGS 84: export it so."
            )
            self.faults.add(where, said, remedy)
            return None
        return longitude, latitude, float(value[2]) if len(value) > 2 else None


def _at_depth(value: Any, depth: int) -> Iterator[Any]:
    """What stands so deep in lists."""
    if depth <= 0:
        yield value
    elif isinstance(value, list):
        for item in value:
            yield from _at_depth(item, depth - 1)
    else:
        yield value


def _kind(value: Any) -> str:
    """A JSON value in a word."""
    if isinstance(value, dict):
        return (
            "an object without a type"
            if "type" not in value
            else f"an object of type {quoted(value['type'])}"
        )
    if isinstance(value, list):
        return "a list"
    return "nothing" if value is None else quoted(value)


def _names(item: dict[str, Any], properties: dict[str, Any]) -> tuple[list[str], list[str]]:
    """What a feature may be named by: its name and id, the best first; and any other property."""
    plain = {str(key).lower(): text for key, value in properties.items() if (text := _text(value))}
    names = [plain[key] for key in _NAMES if key in plain]
    if _text(item.get("id")):
        names.append(_text(item.get("id")))
    return list(dict.fromkeys(names)), [text for key, text in plain.items() if key not in _NAMES]


def _text(value: Any) -> str:
    if isinstance(value, str):
        return value.strip()
    return str(value) if is_number(value) and abs(value) < 1e18 else ""
