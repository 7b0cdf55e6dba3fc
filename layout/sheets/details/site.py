"""The whole site at a small scale: every feature that the design keeps clear of, however far off it stands."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from layout.model import Design
from layout.plane import coordinates, lines_of, polygons_of
from layout.sheets import fieldmarks, layers
from layout.sheets.details.picture import LETTER, Picture, Window, middle_of, north_words, scale_for
from layout.sheets.figures import Figures
from layout.sheets.labelpen import reach_of
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Line, Mark, Symbol, View
from layout.sheets.placing import along, around, joined

_ROOM = 0.06
"""Round the site, as a share of its size."""
_LONGEST = 2.6
"""Of a name [in]."""


def site_picture(
    design: Design, window: Window, figures: Figures, lettering: Lettering
) -> tuple[Picture, str]:
    """Draw bed, pipes and all features with the limits of their setbacks, and the scale in words.

    Parameters
    ----------
    design : Design
    window : Window
        [in].
    figures : Figures
    lettering : Lettering
    """
    features = design.site.features
    shapes = [*fieldmarks.core_shapes(design), *(item.shape for item in features)]
    points = shapely.get_coordinates(np.asarray(shapes, dtype=object))
    wide, high = (np.ptp(points, axis=0) * (1.0 + 2.0 * _ROOM)).tolist()
    metres, scale = scale_for(wide, high, window, design.site.frame.units)
    view = View(window=window, centre=middle_of(points), metres_per_inch=metres)
    picture = Picture(view=view, figures=figures, lettering=lettering)
    picture.draw(_marks(design, view), north_words(design.site))
    picture.name_along(LineString(design.site.bed.outline.exterior.coords), "bed")
    for item in features:
        name = lettering.fitted(lettering.clean(item.name), LETTER, _LONGEST)
        if isinstance(item.shape, Point):
            picture.name(name, (item.shape.x, item.shape.y), size=fieldmarks.SYMBOL / 2)
        else:
            edges = item.shape.boundary if item.shape.geom_type.endswith("Polygon") else item.shape
            picture.name_along(max(lines_of(edges), key=lambda line: line.length), name)
        if item.setback > 0:
            _name_setback(picture, name, figures.length_of(item.setback), item.shape.buffer(item.setback))
    return picture, scale


def _name_setback(picture: Picture, name: str, far: str, zone: BaseGeometry) -> None:
    """Letter a setback along the limit of its zone, with the name of its feature where there is room."""
    pieces = [
        coordinates(piece)
        for area in polygons_of(zone)
        for piece in map(LineString, picture.seen(LineString(area.exterior.coords)))
    ]
    pieces.sort(key=reach_of, reverse=True)
    words = f"{far} setback of {name}"
    width = picture.lettering.width(words, LETTER)
    spots = [along(piece, width, LETTER, prefer=0.5, above=0.0, mask=True) for piece in pieces[:3]]
    for share in (0.5, 0.25, 0.75, 0.0) if pieces else ():
        at = LineString(pieces[0]).interpolate(share, normalized=True)
        spots.append(around((at.x, at.y), width).dearer(0.5))
    if spots:
        picture.letter(words, joined(spots), told=words)


def _marks(design: Design, view: View) -> list[Mark]:
    """Draw features and setbacks as on the plan, and of the field its edge, pipes and pump."""
    kept = {layers.SETBACK.name, *(layer.name for layer in layers.FEATURES.values())}
    marks: list[Mark] = [mark for mark in fieldmarks.field_marks(design, view) if mark.layer.name in kept]
    marks.append(Area(layer=layers.BED, shape=design.site.bed.outline))
    plumbing = design.plumbing
    lines = {"supply": layers.SUPPLY, "return": layers.RETURN}
    marks += [Line(layer=lines[pipe.kind], line=pipe.line) for pipe in plumbing.lines]
    if design.site.pump is not None:
        marks.append(Symbol(layer=layers.PUMP, name="pump", at=design.site.pump.at, size=fieldmarks.PUMP))
    return marks
