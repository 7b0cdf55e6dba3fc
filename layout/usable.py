"""Usable ground: the bed's outline less the clearance to its edge, less every feature's setback.

A *setback* is the distance the user keeps between tubing and a feature; its *zone* is all the ground nearer
than that.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from layout.errors import Fault, NoRoomError
from layout.model import Bed, Feature, Frame, Take, UsableGround, site_place
from layout.plane import TOLERANCE, areal, coordinates, polygons_of, union
from layout.units import UNIT_SETS

QUADRANT = 64
"""Chords to a quarter circle in the edge of a zone that touches the bed."""
FAR_QUADRANT = 8
"""The same for zones that stay clear of the bed: they are only drawn."""
FAR_DETAIL = 0.03
"""Share of its setback within which the shape of such a feature is simplified."""
EDGE_TAKEN = 0.97
"""Share of the bed that must be left for setbacks at its edge not to matter for the sides."""
PIECE = 8
"""Segments buffered at a time: long rough shapes go faster in pieces."""
SLACK = 1e-9
"""Share by which a zone is drawn wider, so that rounding never brings its edge inside the setback."""


def usable_ground(
    bed: Bed,
    features: tuple[Feature, ...],
    *,
    frame: Frame | None = None,
    file: str = "",
) -> UsableGround:
    """Find the ground on which tubing may lie.

    Parameters
    ----------
    bed : Bed
    features : tuple of Feature
        Every one is kept clear of, whether it stands in the bed or beside it.
    frame : Frame, optional
        To give coordinates in site units where there is no room.
    file : str, optional
        The site file, to name in errors.

    Returns
    -------
    UsableGround
        Takes in the order of the features. The ground is never larger than true. Across an edge it is smaller
        by up to 1 % of the setback or clearance, where the engine bridges dents of a rough shape.

    Raises
    ------
    NoRoomError
        Where nothing is left: the bed is narrower than twice its clearance, or setbacks swallow it.

    Examples
    --------
    >>> ground = usable_ground(Bed(outline=shapely.box(0, 0, 30, 4), clearance=0.5), ())
    >>> ground.area.bounds
    (0.5, 0.5, 29.5, 3.5)
    """
    frame = frame or Frame(units=UNIT_SETS["m"])
    inside = _inside_clearance(bed)
    if inside.is_empty:
        raise NoRoomError(_too_narrow(bed, frame, file))
    reach = shapely.box(*bed.outline.bounds)
    zones = [_zone_for(feature, reach) for feature in features]
    takes = tuple(
        Take(
            feature=feature.name,
            area=float(zone.intersection(inside).area) if zone.intersects(inside) else 0.0,
        )
        for feature, zone in zip(features, zones, strict=True)
    )
    kept_clear = MultiPolygon(polygons_of(union(zones)))
    left = _without_slivers(inside.difference(kept_clear))
    if left.is_empty:
        raise NoRoomError(_swallowed(inside, features, takes, frame, file))
    return UsableGround(area=left, kept_clear=kept_clear, takes=takes)


def setback_zone(feature: Feature) -> Polygon | MultiPolygon:
    """All ground nearer to a feature than its setback.

    The zone holds the true one whole: its edge is made of chords that lie outside the true arcs. The
    geometry engine simplifies what it buffers, and may leave the edge short of the distance, or a false hole;
    so the edge is measured, and drawn again in smaller pieces until it keeps the setback everywhere.

    Parameters
    ----------
    feature : Feature
        With a setback of 0 an area is its own zone; a point or a line has none.

    Returns
    -------
    Polygon or MultiPolygon
        Empty where there is no zone [m].
    """
    shape, setback = feature.shape, feature.setback
    if setback == 0:
        return areal(shape)
    half_step = math.pi / (4 * QUADRANT)
    exact = setback * (1 + SLACK) / math.cos(half_step)
    # The engine may stretch the chords of a short arc to one and a half steps.
    stretched = setback * (1 + SLACK) / math.cos(1.5 * half_step)
    shapely.prepare(shape)
    for radius, piece in ((exact, PIECE), (stretched, PIECE), (exact, 1)):
        zone = _grown(shape, radius, quadrant=QUADRANT, piece=piece)
        if shapely.distance(shape, zone.boundary) >= setback:
            break
    return zone


def _zone_for(feature: Feature, reach: Polygon) -> Polygon | MultiPolygon:
    """Draw the zone of a feature, with care only where its box comes near the bed's."""
    if feature.setback == 0 or shapely.box(*feature.shape.bounds).distance(reach) <= 1.01 * feature.setback:
        return setback_zone(feature)
    drawn = feature.shape.simplify(FAR_DETAIL * feature.setback)
    return _grown(drawn, feature.setback, quadrant=FAR_QUADRANT, piece=PIECE)


def _grown(shape: BaseGeometry, radius: float, *, quadrant: int, piece: int) -> Polygon | MultiPolygon:
    """Unite a shape with everything within `radius` of it, buffered a few segments at a time."""
    if shape.geom_type == "Point":
        return areal(shape.buffer(radius, quad_segs=quadrant))
    edge = shape.boundary if shape.geom_type == "Polygon" else shape
    pieces: list[BaseGeometry] = []
    for line in shapely.get_parts(edge):
        points = coordinates(line)
        pieces += [LineString(points[at : at + piece + 1]) for at in range(0, len(points) - 1, piece)]
    bands = shapely.buffer(np.array(pieces, dtype=object), radius, quad_segs=quadrant)
    return areal(union([*bands, shape] if shape.geom_type == "Polygon" else bands))


def _inside_clearance(bed: Bed) -> Polygon | MultiPolygon:
    """Take from the outline a band of the clearance's width along its edge."""
    if bed.clearance == 0:
        return bed.outline
    inner = bed.outline.buffer(-bed.clearance, quad_segs=QUADRANT)
    # An inner buffer has been seen to leave its polygon; the overlay costs little and rules it out.
    return _without_slivers(inner if bed.outline.covers(inner) else inner.intersection(bed.outline))


def _without_slivers(ground: BaseGeometry) -> Polygon | MultiPolygon:
    """Keep the parts of an area that are larger than a speck of tolerance by tolerance."""
    parts = [part for part in polygons_of(ground) if part.area > TOLERANCE**2]
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def _too_narrow(bed: Bed, frame: Frame, file: str) -> Fault:
    """State the fault of a bed that its own clearance swallows, with its widest place."""
    radius = shapely.maximum_inscribed_circle(bed.outline, tolerance=TOLERANCE)
    unit = frame.units
    width, clearance = 2 * radius.length / unit.length, bed.clearance / unit.length
    return Fault(
        file=file,
        field="bed.clearance",
        said=(
            f"{clearance:g} {unit.length_name} on either side leaves no room: the bed is nowhere wider than "
            f"{width:.4g} {unit.length_name}, and that at {site_place(frame, radius.coords[0])}"
        ),
        remedy="State a smaller clearance, or a wider outline.",
    )


def _swallowed(
    inside: BaseGeometry, features: tuple[Feature, ...], takes: tuple[Take, ...], frame: Frame, file: str
) -> Fault:
    """State the fault of a bed that setbacks swallow, naming the features from the one that takes most."""
    whole = inside.area
    named, enclosing = [], []
    for feature, take in sorted(zip(features, takes, strict=True), key=lambda pair: -pair[1].area):
        if take.area <= 0:
            continue
        nearest = shapely.shortest_line(feature.shape, inside).coords[0]
        setback = feature.setback / frame.units.length
        named.append(
            f"{feature.name} at {site_place(frame, nearest)} (setback {setback:g} {frame.units.length_name}, "
            f"{100 * take.area / whole:.0f} % of it)"
        )
        if feature.shape.geom_type == "Polygon" and feature.shape.covers(inside):
            enclosing.append(feature.name)
    remedy = "State smaller setbacks, correct the features' places, or move the bed."
    if enclosing:
        remedy = (
            f"The bed lies wholly inside {' and '.join(enclosing)}. If that is a boundary round the bed, "
            "give it as an open line: leave out its last side, or give that side as a second feature."
        )
    return Fault(
        file=file,
        field="feature",
        said="no usable ground is left: the ground inside the clearance is taken by " + ", ".join(named),
        remedy=remedy,
    )


def usable_outline(ground: UsableGround, bed: Bed, spacing: float) -> Polygon | None:
    """An outline that has the usable ground just inside its clearance, where setbacks take much of the bed's edge.

    Parameters
    ----------
    ground : UsableGround
    bed : Bed
    spacing : float
        Row spacing [m]; the outline is drawn a 50th of it further in, so that runs along a setback keep it.

    Returns
    -------
    Polygon or None
        Without holes; None where setbacks leave the bed's edge all but as it is, or take it apart.
    """
    parts = polygons_of(ground.area)
    largest = max(parts, key=lambda part: part.area)
    if largest.area < 0.9 * ground.area.area:
        return None
    grown = Polygon(largest.exterior).buffer(bed.clearance - 0.02 * spacing, quad_segs=QUADRANT)
    outline = areal(grown.intersection(bed.outline))
    if outline.geom_type != "Polygon" or outline.area > EDGE_TAKEN * bed.outline.area:
        return None
    return shapely.orient_polygons(Polygon(outline.exterior))
