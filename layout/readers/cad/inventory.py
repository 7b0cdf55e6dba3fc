"""What each layer of a drawing seems to be of a site, by its name and what is on it: for a site file to begin with.

Nothing here is more than a guess, and is called so: layers have whatever names their drafters gave them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from shapely import Point, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from layout.errors import Fault, ReadError
from layout.model import XY, FeatureKind
from layout.readers.cad.chains import Shape
from layout.readers.cad.contents import Content, Drawing
from layout.readers.cad.levels import levels_on
from layout.readers.cad.pick import geometry_of
from layout.readers.cad.units import DRAWING_UNITS, site_word
from layout.readers.document import shortened
from layout.units import UNIT_SETS

Part = Literal["bed", "levels", "guide", "pump", "control", "drafting"]
"""What a layer can be besides a feature; drafting is what belongs to the sheet and not to the ground."""

MOST_THINGS = 40
"""More things than this on one layer are not written out."""

_NAMES: tuple[tuple[Part | FeatureKind, str], ...] = (
    (
        "drafting",
        r"setbacks?|offsets?|buffers?|text|anno\w*|dim\w*|title\w*|border|sheet|notes?|grid|north|legend|defpoints|vports?",
    ),
    ("bed", r"beds?|drip\w*|dispersal|absorption|drain ?fields?|leach\w*|leach fields?"),
    (
        FeatureKind.BUILDING,
        r"build(ing)?s?|bldgs?|houses?|dwellings?|homes?|garages?|sheds?|barns?|structures?|residence",
    ),
    (FeatureKind.TANK, r"\w*tanks?|septic\w*|chambers?"),
    (FeatureKind.WATER_LINE, r"water ?(line|main|service|pipe)s?|watr|wtr"),
    (FeatureKind.WELL, r"wells?|well ?heads?"),
    (FeatureKind.PROPERTY_LINE, r"prop(erty)?|lots?|lot ?lines?|prop ?lines?|boundary|bndy|parcels?"),
    (FeatureKind.TREE, r"trees?|oaks?|veg(etation)?|shrubs?"),
    (FeatureKind.DRIVE, r"drive(way)?s?|roads?|streets?|paving|pavement|parking|walks?"),
    (
        FeatureKind.WATER_BODY,
        r"ponds?|lakes?|streams?|rivers?|creeks?|brooks?|wetlands?|swamps?|water|shore\w*|ditch(es)?",
    ),
    (FeatureKind.SLOPE, r"slopes?|banks?|cuts?|scarps?|cliffs?"),
    ("levels", r"levels?|spots?|elev(ation)?s?|contours?|topo\w*|tin|dtm"),
    ("guide", r"guides?|alignments?"),
    ("pump", r"pumps?"),
    ("control", r"control|ctrl|bench ?marks?|bm|monuments?|hubs?|ties?"),
)
_POINTLIKE = {FeatureKind.WELL, FeatureKind.TREE}


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """One thing on a layer that a site file can name.

    Attributes
    ----------
    reference : str
        ``lot.dxf#LAYER``, or with a handle; empty for a place.
    at : (x, y)
        Its place [site units].
    said : str
        What it is: ``closed outline of 2,000 ft²``.
    shape : shapely geometry
        [site units].
    """

    reference: str
    at: XY
    said: str
    shape: BaseGeometry


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A layer and what it is taken for.

    Attributes
    ----------
    name : str
    holds : str
        What is on it, in words.
    part : Part, FeatureKind or None
        None where its name says nothing.
    things : tuple of Thing
        In the order of the drawing; at most `MOST_THINGS`.
    hidden : bool
        Whether it is off or frozen.
    more : int
        Things beyond those.
    """

    name: str
    holds: str
    part: Part | FeatureKind | None
    things: tuple[Thing, ...] = ()
    hidden: bool = False
    more: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Inventory:
    """A drawing, layer by layer.

    Attributes
    ----------
    units : str
        The site's word for them.
    said_units : str
        What the drawing's header says; empty where it says nothing.
    layers : tuple of Layer
    notes : tuple of str
    """

    units: str
    said_units: str
    layers: tuple[Layer, ...]
    notes: tuple[str, ...] = field(default=())


def inventory_of(path: Path, *, units: str | None = None) -> Inventory:
    """Look through a drawing.

    Parameters
    ----------
    path : Path
    units : str, optional
        The site's, ``ft``, ``us-ft`` or ``m``; those of the drawing where left out.

    Raises
    ------
    ReadError
        Where the drawing cannot be read, or says nothing of its units and `units` is left out.
    """
    drawing = Drawing(path, name=str(path), units=UNIT_SETS[units or "m"])
    word = units or _word_of(drawing)
    if units is None and word != "m":
        drawing = Drawing(path, name=str(path), units=UNIT_SETS[word])
    known = DRAWING_UNITS.get(drawing.code)
    layers = tuple(_layer(drawing, name) for name in drawing.layers())
    return Inventory(
        units=word,
        said_units=known[1] if known else "",
        layers=layers,
        notes=(*drawing.notes, *drawing.foreign),
    )


def _word_of(drawing: Drawing) -> str:
    """The site's units, by the header of a drawing."""
    word = site_word(drawing.code)
    exact = {"ft": 2, "us-ft": 21, "m": 6}
    if word is None or (drawing.scale.factor == 1.0 and exact[word] != drawing.code):
        said = "it states no units" if word is None else "the units in its header cannot be its own"
        remedy = "Say what its coordinates are in: --units ft, --units us-ft or --units m."
        raise ReadError(Fault(file=drawing.name, field="$INSUNITS", said=said, remedy=remedy))
    return word


def part_of(layer: str) -> Part | FeatureKind | None:
    """Guess what a layer is by its name.

    Examples
    --------
    >>> part_of("V-DRIP-BED"), part_of("Well_Head"), part_of("DWELLING"), part_of("C-TOPO-SPOT"), part_of("0")
    ('bed', <FeatureKind.WELL: 'well'>, <FeatureKind.BUILDING: 'building'>, 'levels', None)
    """
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", layer)
    words = " ".join(re.findall(r"[^\W\d_]+", apart)).lower()
    for part, names in _NAMES:
        if re.search(rf"\b({names})\b", words):
            return part
    return None


def _layer(drawing: Drawing, name: str) -> Layer:
    part = part_of(name)
    hidden = drawing.hidden(name)
    if not name.isprintable():
        return Layer(name=name, holds="cannot be referred to: its name has damaged letters", part=None)
    try:
        content = drawing.content(name)
    except ReadError as error:
        return Layer(name=name, holds=f"cannot be made out: {error.faults[0].said}", part=None, hidden=hidden)
    holds = drawing.describe(content)
    if part in {"levels", None} and _has_levels(drawing, name):
        things: list[Thing] = [_whole(drawing, content)]
        if part is None and any(shape.closed for shape in content.shapes.closed):
            things = _things(drawing, content, part)
        else:
            part = "levels"
    else:
        part = None if part == "levels" else part
        things = _things(drawing, content, part)
    more = max(0, len(things) - MOST_THINGS)
    return Layer(
        name=name, holds=holds, part=part, things=tuple(things[:MOST_THINGS]), hidden=hidden, more=more
    )


def _has_levels(drawing: Drawing, name: str) -> bool:
    """Whether there are levels enough on a layer for a surface."""
    try:
        points, _, _ = levels_on(drawing, name, lambda said, _: ReadError(Fault(said=said)))
    except ReadError:
        return False
    return len(points) >= 3 and float(np.ptp(points[:, 2])) > 0


def _whole(drawing: Drawing, content: Content) -> Thing:
    """A layer of levels as one thing."""
    at = content.pieces[0].points[0] if content.pieces else drawing.insertion(content.inserts[0])
    place = (float(at[0]) * drawing.scale.factor, float(at[1]) * drawing.scale.factor)
    return Thing(
        reference=_named(drawing, content), at=place, said=drawing.describe(content), shape=Polygon()
    )


def _things(drawing: Drawing, content: Content, part: Part | FeatureKind | None) -> list[Thing]:
    """What a site file can name on a layer: symbols, closed shapes, and lines and points outside of these."""
    closed = content.shapes.closed or content.fills
    areas = [geometry_of(shape) for shape in closed]
    others = [*content.shapes.lines, *content.shapes.points]
    within = _within(areas, [*areas, *map(geometry_of, others)])
    outer = [shape for shape, inside in zip(closed, within, strict=False) if not inside]
    loose = [shape for shape, inside in zip(others, within[len(closed) :], strict=True) if not inside]
    if any(shape.crossing for shape in outer):
        loose = []
    made: list[Thing] = []
    symbols: set[str] = set()
    shaped = {shape.handle for shape in outer if shape.members[0].item.block}
    for insert in content.inserts:
        if part in _POINTLIKE or part in {"pump", "control"} or insert.handle not in shaped:
            symbols.add(insert.handle)
            x, y, _ = drawing.insertion(insert) * drawing.scale.factor
            name = shortened(str(insert.entity.dxf.get("name", "")), 30)
            said = f"block {name}, handle {insert.handle}"
            made.append(
                Thing(reference="", at=(float(x), float(y)), said=said, shape=Point(float(x), float(y)))
            )
    taken: set[str] = set()
    for shape in (*outer, *loose):
        item = shape.members[0].item
        if item.block and (item.handle in symbols or item.handle in taken):
            continue
        taken.add(item.handle)
        made.append(_thing(drawing, content, shape))
    if len(made) == 1 and made[0].reference:
        only = made[0]
        return [Thing(reference=_named(drawing, content), at=only.at, said=only.said, shape=only.shape)]
    return made


def _within(areas: Sequence[BaseGeometry], shapes: Sequence[BaseGeometry]) -> list[bool]:
    """Which shapes lie in one of the areas, other than itself."""
    if not areas:
        return [False] * len(shapes)
    zones = [area.buffer(1e-6) for area in areas]
    pairs = STRtree(zones).query(np.array(shapes, dtype=object), predicate="within")
    inside = [False] * len(shapes)
    for shape, zone in pairs.T.tolist():
        inside[shape] |= zones[zone].area > 1.01 * shapes[shape].area
    return inside


def _named(drawing: Drawing, content: Content) -> str:
    return f"{drawing.short}#{content.layer}"


def _thing(drawing: Drawing, content: Content, shape: Shape) -> Thing:
    geometry = geometry_of(shape, drawing.scale.factor)
    if shape.closed:
        said = f"closed outline of {drawing.area(shape.area)}"
    elif len(shape.points) == 1:
        said = f"point at {drawing.place(shape.points[0])}"
    else:
        said = f"line of {float(geometry.length):,.0f} {drawing.units.length_name}"
    x, y = geometry.representative_point().coords[0][:2] if shape.closed else geometry.coords[0][:2]
    return Thing(
        reference=f"{_named(drawing, content)}/{shape.handle}",
        at=(float(x), float(y)),
        said=said,
        shape=geometry,
    )
