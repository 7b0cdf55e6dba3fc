"""The site that ``sinuate new --from`` writes: what a drawing holds is named, what is yours to state left open."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from cli.starter import figures_of

if TYPE_CHECKING:
    from layout.readers.cad.inventory import Inventory, Layer, Thing

_HEAD = """\
# A site for sinuate, begun from the drawing {drawing}. What each layer is was guessed from its name and from what is
# drawn on it: look everything through. What only you can state is left open: setbacks, tubing, spacing. `sinuate check`
# asks for it. A line that begins with # is a remark; take the # away to make it count. The README explains every key;
# `sinuate new` writes an example with all of them.
#
{table}

title = {title}
units = "{units}"{why}

[bed]
{bed}
# clearance = {clearance}  # {length}, least distance from the bed's edge to tubing; so much if left out
{levels}
"""

_FEATURES = """\
# What to keep clear of. kind: building, tank, well, property line, water line, water body, tree, drive, slope, other
# setback: no tubing nearer than this, in {length}. Your local code says how much; nothing is built in.
"""

_TAIL = """\
[tubing]
# emitter_spacing =  # {length} along the tubing: yours to state
# emitter_flow =  # {emitter_flow_unit} each: yours to state
# bend_radius = {bend_radius}  # {length}, tightest bend of a run; so much if left out
# coil = {coil}  # {length} in a coil as bought; so much if left out

[runs]
# spacing =  # {length}, centre to centre: yours to state
pattern = "best"  # best, left, right, centre, even, drawn, contour
{guide}
{pump}
{ties}"""


def site_text(found: Inventory, *, drawing: str, stated: bool) -> str:
    """Write the site file for a drawing.

    Parameters
    ----------
    found : Inventory
    drawing : str
        The name of the file.
    stated : bool
        Whether the user stated the units.
    """
    beds = _beds(found.layers)
    levels = [layer.things[0] for layer in found.layers if layer.part == "levels" and layer.things]
    why = "" if stated else f"  # the drawing says {found.said_units}"
    if not stated and found.units == "ft":
        why += '; "us-ft" if they are US survey feet'
    values = {
        "drawing": drawing,
        "table": "\n".join(_table(found.layers)),
        "title": _quoted(drawing.rpartition(".")[0] or drawing),
        "units": found.units,
        "why": why,
        "bed": _choice("outline", beds, "the drawing has no closed outline that seems to be the bed"),
        "levels": _choice("levels", levels, "", certain=True),
        "guide": _choice("guide", _of(found.layers, "guide"), "", remarked=True),
        "pump": _pump(_of(found.layers, "pump"), found.units),
        "ties": _ties(_of(found.layers, "control")),
        **figures_of(found.units),
    }
    outline = beds[0] if len(beds) == 1 else None
    features = "\n".join(_features(found.layers, outline))
    parts = [_HEAD.format(**values), _FEATURES.format(**values), features, _TAIL.format(**values)]
    return _tidy("\n".join(parts))


def taken_as(layer: Layer) -> str:
    """Say in a word or two what a layer is taken for."""
    words = {
        "bed": "bed",
        "levels": "bed.levels",
        "guide": "runs.guide",
        "control": "stakeout.ties",
        None: "?",
    }
    words |= {"drafting": "left out", "pump": "pump"}
    if layer.part is None and not layer.things:
        return "left out"
    return words[layer.part] if layer.part in words else str(layer.part)


def _table(layers: Sequence[Layer]) -> Iterator[str]:
    rows = [("layer", "taken as", "holds")]
    for layer in layers:
        off = " (off)" if layer.hidden else ""
        rows.append((_plain(layer.name, 40) + off, taken_as(layer), _plain(layer.holds, 90)))
    widths = [max(len(row[column]) for row in rows) for column in (0, 1)]
    for first, second, third in rows:
        yield f"#   {first:<{widths[0]}}  {second:<{widths[1]}}  {third}"


def _plain(text: str, most: int) -> str:
    from layout.readers.document import shortened

    return shortened(text, most)


def _of(layers: Sequence[Layer], part: str) -> list[Thing]:
    return [thing for layer in layers if layer.part == part for thing in layer.things]


def _beds(layers: Sequence[Layer]) -> list[Thing]:
    """The outlines that may be the bed: on layers named so, or else the closed ones on layers that say nothing."""
    named = [thing for thing in _of(layers, "bed") if thing.said.startswith("closed")]
    if named:
        return named
    return [
        thing
        for layer in layers
        if layer.part is None
        for thing in layer.things
        if thing.said.startswith("closed") and thing.reference
    ]


def _quoted(text: str) -> str:
    """A text as TOML has it."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(thing: Thing) -> str:
    if thing.reference:
        return _quoted(thing.reference)
    return f"[[{thing.at[0]:.3f}, {thing.at[1]:.3f}]]"


def _choice(
    key: str, things: Sequence[Thing], none: str, *, certain: bool = False, remarked: bool = False
) -> str:
    """Write a key with what it may be: counting if there is one, to choose from if there are several."""
    if not things:
        return f"# {key} =  # {none}" if none else ""
    lines = []
    for place, thing in enumerate(things):
        counts = not remarked and (len(things) == 1 or (certain and place == 0))
        lines.append(f"{'' if counts else '# '}{key} = {_value(thing)}  # {thing.said}")
    if len(things) > 1 and not certain and not remarked:
        lines.insert(0, f"# {len(things)} outlines may be the bed: take the # away from the one that is")
    return "\n".join(lines)


def _features(layers: Sequence[Layer], outline: Thing | None) -> Iterator[str]:
    """Write a feature for each thing to keep clear of; of layers whose names say nothing as remarks."""
    from layout.model import FeatureKind

    used: set[str] = set()
    for layer in layers:
        known = isinstance(layer.part, FeatureKind)
        if not known and layer.part is not None:
            continue
        for number, thing in enumerate(layer.things, start=1):
            if outline is not None and thing.reference == outline.reference:
                continue
            base = _plain(layer.name, 60) + (f" {number}" if len(layer.things) > 1 else "")
            name = base
            while name in used:
                name += " again"
            used.add(name)
            yield from _feature(name, thing, str(layer.part) if known else "other", outline, known=known)
        if layer.more:
            yield f"# {layer.more} more on layer {_plain(layer.name, 40)} are not written out\n"


def _feature(name: str, thing: Thing, kind: str, outline: Thing | None, *, known: bool) -> Iterator[str]:
    mark = "" if known else "# "
    inside = outline is not None and thing.shape.within(outline.shape)
    if not known:
        yield "# to be kept clear of? The layer's name says nothing"
    yield f"{mark}[[feature]]"
    yield f"{mark}name = {_quoted(name)}"
    yield f"{mark}kind = {_quoted(kind)}"
    yield f"{mark}shape = {_value(thing)}  # {thing.said}"
    yield "# setback =  # yours to state"
    if inside:
        yield f"{mark}inside = true  # it stands in the bed and cuts a hole"
    yield ""


def _pump(things: Sequence[Thing], units: str) -> str:
    level = f"# level =  # liquid level, {'m' if units == 'm' else 'ft'}"
    if len(things) != 1:
        return f"# [pump]\n# at =  # where supply and return lines start and end: [x, y]\n{level}\n"
    x, y = things[0].at
    return f"[pump]\nat = [{x:.3f}, {y:.3f}]  # {things[0].said}\n{level}\n"


def _ties(things: Sequence[Thing]) -> str:
    points = [thing for thing in things if thing.shape.geom_type == "Point"]
    if len(points) < 2:
        return ""
    ties = ", ".join(f"[{thing.at[0]:.3f}, {thing.at[1]:.3f}]" for thing in points[:10])
    return f"[stakeout]\nties = [{ties}]  # fixed points for swing ties\n"


def _tidy(text: str) -> str:
    """Set remarks below each other, and leave one empty line where there are more."""
    from cli.starter import aligned

    lines: list[str] = []
    for line in aligned(text).splitlines():
        if line or (lines and lines[-1]):
            lines.append(line.rstrip())
    return "\n".join(lines).strip() + "\n"
