"""What the entities of a DXF refer to: line types, text and dimension styles, layers, and symbols as blocks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from layout.sheets import layers
from layout.sheets.dxf.words import plain
from layout.sheets.marks import DASHES, Colour, Dash, Drawing, Layer, Mark, Pen, Symbol
from layout.sheets.symbols import SYMBOLS, Disc

STYLE, STRONG_STYLE = "LETTERING", "LETTERING-STRONG"
DIMENSION_STYLE = "PLAN-DIMENSIONS"
TICK = 0.07
"""Length of the stroke across the end of a dimension line [in]."""
GAP, BEYOND = 0.04, 0.05
"""From what is measured to its extension line, and what that reaches beyond the dimension line [in]."""
INDEX = {Colour.BLACK: 7, Colour.BLUE: 5, Colour.GREY: 8, Colour.SKY: 151, Colour.SHADE: 254, Colour.WHITE: 7}
_TRUE = {Colour.BLUE: 0x0072B2}
ATTRIBUTE, _PITCH = 0.3, 0.5
"""Height of a symbol's attributes, and from line to line, over its width; they are not drawn until asked for."""
HIDDEN = 1


def add_tables(document: Any, drawing: Drawing) -> None:
    """Add the line types, styles, layers and symbols that a drawing uses."""
    document.styles.add(STYLE, font="arial.ttf")
    document.styles.add(STRONG_STYLE, font="arialbd.ttf")
    document.set_wipeout_variables(frame=0)
    for dash, pattern in DASHES.items():
        if pattern:
            signed = [part if index % 2 == 0 else -part for index, part in enumerate(pattern)]
            document.linetypes.add(
                linetype(dash), [sum(pattern), *signed], description=f"{dash.value}, lengths on paper [in]"
            )
    for layer in _used(drawing):
        made = document.layers.add(layer.name, **look(layer.pen))
        made.description = plain(layer.description)
        if not layer.plotted:
            made.dxf.plot = 0
    _blocks(document, _all_marks(drawing))
    if drawing.dimensions or any(sheet.dimensions for sheet in drawing.sheets):
        _dimension_style(document, drawing)


def _all_marks(drawing: Drawing) -> list[Mark]:
    return [*drawing.plan, *drawing.extra, *(mark for sheet in drawing.sheets for mark in sheet.marks)]


def _used(drawing: Drawing) -> list[Layer]:
    used = {mark.layer.name for mark in _all_marks(drawing)}
    used |= {layers.VIEWPORT.name, layers.MASK.name}
    return [layer for layer in layers.ALL if layer.name in used]


def look(pen: Pen) -> dict[str, Any]:
    """Give a pen as attributes of a layer or an entity."""
    found: dict[str, Any] = {
        "color": INDEX[pen.colour],
        "linetype": linetype(pen.dash),
        "lineweight": round(100 * pen.weight),
    }
    if pen.colour in _TRUE:
        found["true_color"] = _TRUE[pen.colour]
    return found


def linetype(dash: Dash) -> str:
    """Name the line type of a dash."""
    return "CONTINUOUS" if dash is Dash.CONTINUOUS else f"PLAN-{dash.value.upper()}"


def block_name(symbol: str) -> str:
    """Name the block of a symbol."""
    return f"PLAN-{symbol.upper().replace(' ', '-')}"


def _blocks(document: Any, marks: Iterable[Mark]) -> None:
    tags: dict[str, list[str]] = {}
    for mark in marks:
        if isinstance(mark, Symbol):
            known = tags.setdefault(mark.name, [])
            known.extend(tag for tag, _ in mark.attributes if tag not in known)
    for name in sorted(tags):
        _block(document, name, tags[name])


def _block(document: Any, name: str, tags: Sequence[str]) -> None:
    """Make a symbol a block one unit wide; on layer 0, so that it looks as the layer it is put on."""
    block = document.blocks.new(block_name(name))
    for stroke in SYMBOLS[name]:
        if isinstance(stroke, Disc):
            _disc(block, stroke)
            continue
        block.add_lwpolyline(stroke.points, close=stroke.closed)
        if stroke.filled:
            corners = list(stroke.points)
            # A solid's third and fourth corner are crossed over.
            corners = corners[:2] + corners[:1:-1] if len(corners) == 4 else [*corners, corners[-1]]
            block.add_solid(corners)
    for row, tag in enumerate(tags):
        block.add_attdef(
            tag,
            attribute_place(row),
            height=ATTRIBUTE,
            dxfattribs={"style": STYLE, "prompt": tag, "flags": HIDDEN},
        )


def attribute_place(row: int) -> tuple[float, float]:
    """Find where the attribute of a number stands, from the middle of a symbol one unit wide."""
    return (0.7, -_PITCH * row - ATTRIBUTE / 2)


def _disc(block: Any, stroke: Disc) -> None:
    block.add_circle(stroke.centre, stroke.radius)
    if stroke.filled:
        x, y = stroke.centre
        half = stroke.radius / 2
        # A closed polyline of two half circles, as wide as the radius, is a filled disc.
        points = [
            (x - half, y, stroke.radius, stroke.radius, 1.0),
            (x + half, y, stroke.radius, stroke.radius, 1.0),
        ]
        block.add_lwpolyline(points, format="xyseb", close=True)


def _dimension_style(document: Any, drawing: Drawing) -> None:
    """Make a style of dimension whose figures, measured by any program, read as those on the sheets."""
    style = document.dimstyles.add(DIMENSION_STYLE)
    unit = drawing.frame.units.length_name
    values = {
        "dimtxsty": STYLE,
        "dimtsz": TICK / 2,
        "dimexo": GAP,
        "dimexe": BEYOND,
        "dimgap": 0.03,
        "dimtad": 1,
        "dimtih": 0,
        "dimtoh": 0,
        "dimdec": 2,
        "dimzin": 0,
        "dimlfac": 1.0,
        "dimrnd": 0.0,
        # The library's own sign is the comma.
        "dimdsep": ord("."),
        "dimpost": f"<> {unit}",
        "dimlunit": 2,
        "dimtofl": 1,
        "dimtmove": 2,
        "dimclrd": INDEX[layers.DIMENSION.pen.colour],
        "dimclre": INDEX[layers.DIMENSION.pen.colour],
        "dimclrt": INDEX[layers.DIMENSION.pen.colour],
        "dimscale": 1.0,
    }
    for name, value in values.items():
        style.dxf.set(name, value)
    style.copy_to_header(document)
