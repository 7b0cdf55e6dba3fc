"""Maps as they come: every geometry, features by name, heights, and what is refused."""

from __future__ import annotations

import json
from typing import Any

import pytest

from layout.errors import ReadError
from layout.readers.geojson import read_geojson
from layout.readers.points import PointTable, Role

RING = [[-71.06, 42.36], [-71.059, 42.36], [-71.059, 42.361], [-71.06, 42.36]]
OTHER = [[10.0, 50.0], [10.1, 50.0], [10.1, 50.1], [10.0, 50.0]]


def geometry(kind: str, coordinates: Any) -> dict[str, Any]:
    return {"type": kind, "coordinates": coordinates}


def feature(shape: dict[str, Any] | None, **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "properties": properties, "geometry": shape}


def collection(*features: Any) -> dict[str, Any]:
    return {"type": "FeatureCollection", "features": list(features)}


def read(document: Any, part: str = "", role: Role = "shape") -> PointTable:
    text = document if isinstance(document, str) else json.dumps(document)
    return read_geojson(text, "lot.geojson", part=part, role=role)


def as_pairs(points: list[list[float]]) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(point) for point in points)


AREA = geometry("Polygon", [RING])


@pytest.mark.parametrize(
    ("document", "role"),
    [
        (AREA, "outline"),
        (geometry("MultiPolygon", [[RING]]), "outline"),
        (geometry("LineString", RING), "outline"),
        (geometry("MultiLineString", [RING]), "shape"),
        (geometry("MultiPoint", RING), "outline"),
        (feature(AREA, name="bed"), "outline"),
        ({"type": "GeometryCollection", "geometries": [AREA]}, "outline"),
        (feature({"type": "GeometryCollection", "geometries": [AREA]}), "shape"),
        (collection(feature(AREA)), "shape"),
        (collection(*(feature(geometry("Point", point)) for point in RING)), "guide"),
        (collection(feature(AREA), feature(None, name="no place")), "outline"),
        (geometry("Polygon", [list(reversed(RING))]), "outline"),
        (geometry("Polygon", [RING[:-1]]), "outline"),
        (geometry("Polygon", [[[*point, 12.5] for point in RING]]), "outline"),
    ],
)
def test_one_ring_in_many_dresses(document: dict[str, Any], role: Role) -> None:
    table = read(document, role=role)
    assert set(table.xy) == set(as_pairs(RING))
    assert len(table.xy) == 4
    assert table.geographic
    assert table.file == "lot.geojson"


def test_points_and_lines() -> None:
    assert read(geometry("Point", [-71.06, 42.36])).xy == ((-71.06, 42.36),)
    assert read(geometry("LineString", RING[:2])).xy == as_pairs(RING[:2])


def test_of_several_shapes_the_one_that_serves() -> None:
    document = collection(
        feature(geometry("Point", [0, 0]), name="hub"),
        feature(geometry("LineString", RING[:2]), name="hedge"),
        feature(AREA, name="bed"),
    )
    table = read(document, role="outline")
    assert table.xy == as_pairs(RING)
    assert table.notes == ('lot.geojson: feature 3 "bed" is read; 2 other shapes are not looked at',)
    assert read(document, role="guide").xy == as_pairs(RING[:2])
    assert table.places[1] == 'feature 3 "bed", position 2'


NAMED = collection(
    feature(AREA, name="Bed"),
    {**feature(geometry("Polygon", [OTHER]), kind="building", storeys=2), "id": 17},
    feature(geometry("MultiPolygon", [[OTHER], [RING]]), name="woods"),
)


@pytest.mark.parametrize(
    ("part", "ring"),
    [("Bed", RING), ("bed", RING), ("building", OTHER), ("17", OTHER), ("2", OTHER), ("woods/2", RING),
     ("WOODS/1", OTHER)],
)  # fmt: skip
def test_features_by_name(part: str, ring: list[list[float]]) -> None:
    assert read(NAMED, part).xy == as_pairs(ring)


def test_a_name_goes_before_another_property() -> None:
    document = collection(feature(geometry("Polygon", [OTHER]), note="bed"), feature(AREA, name="bed"))
    assert read(document, "bed").xy == as_pairs(RING)


def test_heights_of_positions_are_metres() -> None:
    document = collection(*(feature(geometry("Point", [*point, 20.0])) for point in RING[:3]), feature(AREA))
    table = read(document, role="levels")
    assert table.z == (20.0, 20.0, 20.0)
    assert table.metric_z
    assert table.notes == (
        "lot.geojson: heights are metres, as RFC 7946 has them",
        "lot.geojson: 3 positions without a height are not looked at",
    )


def test_heights_of_properties_are_in_site_units() -> None:
    lines = [
        feature(geometry("LineString", RING[:2]), ELEV=98),
        feature(geometry("LineString", RING[2:]), Elevation=99.5),
    ]
    table = read(collection(*lines), role="levels")
    assert table.z == (98.0, 98.0, 99.5, 99.5)
    assert not table.metric_z


def test_a_hole_is_filled_and_told_but_not_in_an_outline() -> None:
    inner = [[-71.0593, 42.3602], [-71.0592, 42.3602], [-71.0592, 42.3603], [-71.0593, 42.3602]]
    document = feature(geometry("Polygon", [RING, inner]), name="house")
    assert "has 1 holes, which are filled" in read(document).notes[0]
    with pytest.raises(ReadError, match=r"the outline has 1 holes. Fill them, .* inside = true"):
        read(document, role="outline")


@pytest.mark.parametrize("name", ["urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:EPSG::4326", "EPSG:4326"])
def test_a_stated_wgs_84_is_fine(name: str) -> None:
    assert read({**AREA, "crs": {"type": "name", "properties": {"name": name}}}).xy == as_pairs(RING)


@pytest.mark.parametrize(
    ("document", "role", "part", "expected"),
    [
        ("", "shape", "", "lot.geojson: line 1, column 1: this is not valid JSON: expecting value"),
        ("[1, 2", "shape", "", "this is not valid JSON"),
        ('{"type": "Point", "coordinates": [NaN, 1]}', "shape", "", "NaN is no number in JSON"),
        ("[" * 100_000, "shape", "", "brackets stand in brackets too many times over"),
        ([1, 2], "shape", "", "this is no GeoJSON: found a list"),
        ({}, "shape", "", "this is no GeoJSON: found an object without a type"),
        ({"type": "Topology"}, "shape", "", 'feature 1: "Topology" is no geometry. It must be one of Point'),
        ({"type": "FeatureCollection"}, "shape", "", '"features" is nothing, but it must be a list'),
        (collection(), "shape", "", "the file holds no shapes"),
        (collection(feature(None)), "shape", "", "the file holds no shapes"),
        (collection(5), "shape", "", "feature 1: found 5, but it must be a feature"),
        (feature(geometry("Circle", [0, 0])), "shape", "", '"Circle" is no geometry'),
        (feature(geometry("Point", [0])), "shape", "", "feature 1, position 1: [0] is no position"),
        (geometry("Point", ["a", "b"]), "shape", "", '["a", "b"] is no position'),
        (geometry("Point", None), "shape", "", "nothing is no position"),
        (geometry("LineString", 5), "shape", "", "found 5, but it must be a list of positions"),
        (geometry("LineString", [[0, 0]]), "shape", "", "it holds a line or ring of 1 points"),
        (geometry("Polygon", []), "shape", "", "it holds an area without a ring"),
        (geometry("Polygon", 5), "shape", "", "found 5, but it must be a list of"),
        (geometry("MultiPolygon", 5), "shape", "", "found 5, but it must be a list of"),
        (geometry("MultiPolygon", [5]), "shape", "", "found 5, but it must be a list of"),
        (geometry("MultiPolygon", [[]]), "shape", "", "it holds an area without a ring"),
        (geometry("Point", [-71.06, 142.0]), "shape", "", "is beyond 180 and 90 degrees. Longitude comes first"),
        (geometry("Point", [775086, 2956520]), "shape", "", "GeoJSON holds longitude and latitude on WGS 84"),
        ({**AREA, "crs": {"properties": {"name": "urn:ogc:def:crs:EPSG::2249"}}}, "shape", "",
         "crs: the file says that it is in urn:ogc:def:crs:EPSG::2249"),
        (NAMED, "outline", "", '4 shapes are found where one is wanted: area of feature 1 "Bed"'),
        (NAMED, "outline", "woods", "2 shapes are found where one is wanted"),
        (NAMED, "outline", "woods/3", "it has 2 parts, no part 3"),
        (NAMED, "outline", "shed", 'no feature is named "shed"; there are: Bed, 17, woods'),
        (collection(feature(AREA)), "outline", "bed", "none has a name"),
        (AREA, "levels", "", "no position has a height"),
    ],
)  # fmt: skip
def test_faults(document: Any, role: Role, part: str, expected: str) -> None:
    with pytest.raises(ReadError) as caught:
        read(document, part, role)
    assert expected in str(caught.value)
    assert all(fault.file == "lot.geojson" and fault.remedy for fault in caught.value.faults)


def test_too_many_points() -> None:
    with pytest.raises(ReadError, match="more than 200000 points"):
        read(geometry("LineString", [[0, 0]] * 200_001))
