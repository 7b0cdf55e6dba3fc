"""The end of a bed at a larger scale: manifolds with risers, tees, elbows and valves, dimensioned and named."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point

from layout.model import XY, Design, Fitting, Pipe, Riser
from layout.sheets import layers
from layout.sheets.blocks import Block, Titles, table
from layout.sheets.details.picture import LETTER, Picture, Window, north_words, scale_for, window_around
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Line, Mark, Symbol, View
from layout.sheets.placing import REACHES, along, around, joined

TOGETHER = 4.0
"""Manifolds of one zone no farther apart than so many of their offsets are drawn in one picture."""
AROUND = 1.6
"""Shown around them, in spacings of the runs."""
FITTING, LEAST_FITTING = 0.085, 0.05
"""Greatest and least width of a fitting's symbol [in]."""
VALVE = 0.15
"""Width of a valve's symbol [in]."""
_ASIDE = 0.26
"""From the manifold to the symbol of an air valve on it [in]."""
_CHAIN = 0.3
"""From the outer manifold to the first dimension line, and from that to the next [in]."""
_ON = 0.02
"""A fitting this near to a pipe is on it [m]."""
_CROWDED = 0.3
"""Laterals closer than this on paper are named on the supply side only [in]."""
SYMBOLS = {
    "tee": ("tee", layers.RISER),
    "connector": ("connector", layers.RISER),
    "cap": ("cap", layers.RISER),
    "reducer": ("reducer", layers.RISER),
    "coupling": ("coupling", layers.BLANK),
    "elbow": ("elbow", layers.RISER),
    "elbow 90": ("elbow", layers.RISER),
    "elbow 45": ("elbow", layers.RISER),
    "elbow 22.5": ("elbow", layers.RISER),
    "zone valve": ("zone valve", layers.ZONE_VALVE),
    "check valve": ("check valve", layers.CHECK_VALVE),
    "air valve": ("air valve", layers.AIR_VALVE),
    "flush valve": ("check valve", layers.CHECK_VALVE),
}
"""Symbol and layer of the fittings that a detail shows; a riser is a line, and a loop has a detail of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Manifolds of one zone that lie together.

    Attributes
    ----------
    zone : int
    pipes : tuple of Pipe
    risers : tuple of Riser
        That stand on them.
    """

    zone: int
    pipes: tuple[Pipe, ...]
    risers: tuple[Riser, ...]

    @property
    def shapes(self) -> list[LineString]:
        """The lines of all of them [m]."""
        return [*(pipe.line for pipe in self.pipes), *(riser.line for riser in self.risers)]

    @property
    def name(self) -> str:
        """What is drawn: ``supply and return manifold``."""
        kinds = [kind for kind in ("supply", "return") if any(pipe.kind == kind for pipe in self.pipes)]
        several = len(self.pipes) > len(kinds)
        return f"{' and '.join(kinds)} manifold{'s' if several else ''}"


def places(design: Design) -> list[Place]:
    """Find what there is to draw: by zone, manifolds that lie together."""
    found: list[Place] = []
    pipes = design.plumbing.manifolds
    for zone in sorted({pipe.zone for pipe in pipes}):
        groups: list[list[Pipe]] = []
        for pipe in (pipe for pipe in pipes if pipe.zone == zone):
            near = [group for group in groups if _beside(pipe, group, design)]
            groups = [group for group in groups if group not in near]
            groups.append([*(other for group in near for other in group), pipe])
        for group in groups:
            risers = tuple(
                riser
                for riser in design.plumbing.risers
                if riser.zone == zone and _own(riser, design) in group
            )
            found.append(Place(zone=zone, pipes=tuple(group), risers=risers))
    return found


def _beside(pipe: Pipe, group: Sequence[Pipe], design: Design) -> bool:
    reach = TOGETHER * design.site.manifold.offset
    return any(pipe.line.distance(other.line) <= reach for other in group)


def _own(riser: Riser, design: Design) -> Pipe:
    pipes = design.plumbing.manifolds
    if riser.manifold is not None:
        return pipes[riser.manifold]
    foot = Point(riser.line.coords[0])
    own = [pipe for pipe in pipes if (pipe.kind, pipe.zone) == (riser.kind, riser.zone)]
    return min(own or pipes, key=lambda pipe: float(pipe.line.distance(foot)))


def manifold_picture(
    design: Design, place: Place, window: Window, figures: Figures, lettering: Lettering
) -> tuple[Picture, str]:
    """Draw one place, with its scale in words."""
    shapes = np.asarray(place.shapes, dtype=object)
    centre, wide, high = window_around(shapely.get_coordinates(shapes), AROUND * design.site.runs.spacing)
    metres, scale = scale_for(wide, high, window, design.site.frame.units)
    view = View(window=window, centre=centre, metres_per_inch=metres)
    picture = Picture(view=view, figures=figures, lettering=lettering)
    fittings = [item for item in _fittings(design, place) if item.kind in SYMBOLS]
    picture.draw(_marks(design, place, fittings, metres), north_words(design.site))
    _measure(design, place, picture)
    _letter(design, place, picture)
    return picture, scale


def _marks(design: Design, place: Place, fittings: Sequence[Fitting], metres: float) -> list[Mark]:
    """Draw bed, tubing, pipes and fittings."""
    plain = {"supply": layers.SUPPLY, "return": layers.RETURN}
    manifold = {"supply": layers.MANIFOLD, "return": layers.RETURN_MANIFOLD}
    marks: list[Mark] = [Area(layer=layers.BED, shape=design.site.bed.outline)]
    marks += [Line(layer=layers.RUN, line=run.line) for run in design.laying.runs]
    marks += [
        Line(layer=layers.LOOP if join.kind == "loop" else layers.BLANK, line=join.line)
        for join in design.joins
    ]
    marks += [Line(layer=layers.RISER, line=riser.line) for riser in place.risers]
    marks += [Line(layer=plain[pipe.kind], line=pipe.line) for pipe in _lines(design, place)]
    marks += [Line(layer=manifold[pipe.kind], line=pipe.line) for pipe in place.pipes]
    size = min(max(0.35 * design.site.manifold.offset / metres, LEAST_FITTING), FITTING)
    for item in fittings:
        name, layer = SYMBOLS[item.kind]
        if item.kind == "air valve":
            at = _aside(place, item, metres)
            marks.append(Line(layer=layers.AIR_VALVE, line=LineString([item.at, at])))
            marks.append(Symbol(layer=layer, name=name, at=at, size=VALVE))
        elif item.kind.endswith("valve"):
            marks.append(
                Symbol(layer=layer, name=name, at=item.at, size=VALVE, angle=_heading(place, item.at))
            )
        else:
            marks.append(
                Symbol(layer=layer, name=name, at=item.at, size=size, angle=_heading(place, item.at))
            )
    return marks


def _aside(place: Place, item: Fitting, metres: float) -> XY:
    """Find where an air valve is shown: off the manifold it stands on, for its riser's foot may be there too."""
    turn = math.radians(_heading(place, item.at))
    own = [pipe for pipe in place.pipes if pipe.kind == item.on]
    pipe = min(own or place.pipes, key=lambda pipe: float(pipe.line.distance(Point(item.at))))
    last = pipe.line.length - pipe.line.project(Point(item.at)) < pipe.line.project(Point(item.at))
    out = _ASIDE if last else -_ASIDE
    return (item.at[0] + metres * out * math.cos(turn), item.at[1] + metres * out * math.sin(turn))


def _lines(design: Design, place: Place) -> list[Pipe]:
    """List the lines that lead to or from these manifolds."""
    ends = shapely.union_all([pipe.line for pipe in place.pipes])
    return [
        line for line in design.plumbing.lines if line.zone == place.zone and line.line.distance(ends) <= 0.01
    ]


def _fittings(design: Design, place: Place) -> Iterator[Fitting]:
    """Yield the fittings on these manifolds, risers and tubing ends, those at one place once."""
    tree = shapely.STRtree(place.shapes)
    every = [item for item in design.plumbing.fittings if item.zone == place.zone]
    points = np.asarray([Point(item.at) for item in every], dtype=object)
    hits = tree.query(points, predicate="dwithin", distance=_ON)[0]
    near = frozenset(hits.tolist())
    seen: set[tuple[str, XY]] = set()
    for index, item in enumerate(every):
        key = (item.kind, item.at)
        if index in near and key not in seen:
            seen.add(key)
            yield item


def _heading(place: Place, at: XY) -> float:
    """Find which way the nearest manifold leads, in degrees."""
    point = Point(at)
    line = min((pipe.line for pipe in place.pipes), key=lambda line: float(line.distance(point)))
    station = min(line.project(point), line.length - 0.05)
    before, after = (line.interpolate(max(station, 0.0) + step) for step in (0.0, 0.05))
    return math.degrees(math.atan2(after.y - before.y, after.x - before.x))


# --- dimensions and lettering ---------------------------------------------------------------------------


def _measure(design: Design, place: Place, picture: Picture) -> None:
    """Dimension the offsets of the manifolds, the risers along the supply, and each manifold's length."""
    for kind in ("supply", "return"):
        risers = [riser for riser in place.risers if riser.kind == kind]
        if risers:
            last = max(risers, key=lambda riser: riser.line.length)
            foot, tip = _ends(last)
            side = 0.22 + 0.16 * (kind == "return")
            picture.measure(tip, foot, (side, -side, 2 * side, -2 * side), told=f"offset of the {kind}")
    for pipe in place.pipes:
        feet = sorted(
            (_ends(riser)[0] for riser in place.risers if _own(riser, design) is pipe),
            key=lambda at: float(pipe.line.project(Point(at))),
        )
        outward = _outward(place, pipe, feet)
        beyond = _reach(place, pipe, picture)
        if pipe.kind == "supply" or not any(other.kind == "supply" for other in place.pipes):
            _chain(picture, pipe, feet, outward, outward_by=beyond + _CHAIN)


def _chain(picture: Picture, pipe: Pipe, feet: Sequence[XY], outward: float, *, outward_by: float) -> None:
    """Dimension from riser to riser; equal distances together."""
    if len(feet) < 2:
        return
    steps = [math.dist(before, after) for before, after in itertools.pairwise(feet)]
    printed = {picture.figures.length(step) for step in steps}
    if len(printed) == 1 and len(steps) > 1 and abs(math.dist(feet[0], feet[-1]) - sum(steps)) < 0.005:
        pairs = [(feet[0], feet[-1], f"{len(steps)} x {printed.pop()} = <>")]
    else:
        pairs = [(before, after, "<>") for before, after in itertools.pairwise(feet)]
    for start, end, words in pairs:
        side = outward * _left(start, end, pipe)
        picture.measure(start, end, [side * (outward_by + step) for step in (0.0, 0.15, 0.3)], words=words)


def _ends(riser: Riser) -> tuple[XY, XY]:
    (x, y), (to_x, to_y) = riser.line.coords[0][:2], riser.line.coords[-1][:2]
    return (float(x), float(y)), (float(to_x), float(to_y))


def _outward(place: Place, pipe: Pipe, feet: Sequence[XY]) -> float:
    """Tell on which side of a manifold, in its direction, there is no tubing: 1 on the left, -1 on the right."""
    risers = [riser for riser in place.risers if _ends(riser)[0] in feet]
    way = np.subtract(pipe.line.coords[-1][:2], pipe.line.coords[0][:2])
    lean = sum(
        float(np.cross([*way, 0.0], [*np.subtract(tip, foot), 0.0])[2]) for foot, tip in map(_ends, risers)
    )
    return -1.0 if lean > 0 else 1.0


def _left(before: XY, after: XY, pipe: Pipe) -> float:
    """Tell whether a step leads along a manifold as it is drawn (1), or against it (-1)."""
    way = np.subtract(pipe.line.coords[-1][:2], pipe.line.coords[0][:2])
    return 1.0 if float(np.subtract(after, before) @ way) >= 0 else -1.0


def _reach(place: Place, pipe: Pipe, picture: Picture) -> float:
    """Find how far beyond a manifold the others lie on paper [in]."""
    metres = max((float(pipe.line.distance(other.line)) for other in place.pipes), default=0.0)
    return metres / picture.view.metres_per_inch if pipe.kind == "supply" else 0.0


def _letter(design: Design, place: Place, picture: Picture) -> None:
    """Name laterals, runs, pipes and valves."""
    tips = [picture.paper(_ends(riser)[1]) for riser in place.risers]
    apart = min((math.dist(a, b) for i, a in enumerate(tips) for b in tips[i + 1 :]), default=1.0)
    for riser in place.risers:
        if apart < _CROWDED and riser.kind == "return":
            continue
        text = riser.lateral if apart < _CROWDED else f"{riser.lateral} {riser.kind}"
        picture.name(text, _ends(riser)[1], size=FITTING / 2, strong=True)
    for pipe in place.pipes:
        size = picture.figures.diameter_of(pipe.diameter)
        _along(
            picture, pipe.line, f"{size} {pipe.kind} manifold, {picture.figures.length_of(pipe.line.length)}"
        )
    for pipe in _lines(design, place):
        way = "from the pump" if pipe.kind == "supply" else "to the pump"
        size = picture.figures.diameter_of(pipe.diameter)
        _along(picture, pipe.line, f"{size} {pipe.kind} line {way}")
    for item in _fittings(design, place):
        if item.kind == "air valve":
            picture.name(item.kind, _aside(place, item, picture.view.metres_per_inch), size=VALVE / 2)
        elif item.kind.endswith("valve"):
            picture.name(item.kind, item.at, size=VALVE / 2)
    _runs(design, place, picture)
    _along(picture, LineString(design.site.bed.outline.exterior.coords), "edge of bed", told=False)


def _runs(design: Design, place: Place, picture: Picture) -> None:
    """Name the runs of these laterals where they leave the picture."""
    served = {riser.lateral for riser in place.risers}
    mine = {name for lateral in design.laterals if lateral.name in served for name in lateral.runs}
    for run in design.laying.runs:
        if run.name not in mine:
            continue
        pieces = picture.seen(run.line)
        if not pieces:
            continue
        width = picture.lettering.width(run.name, LETTER)
        picture.letter(run.name, along(pieces[0], width, LETTER, prefer=0.75, above=0.0, mask=True))


def _along(picture: Picture, line: LineString, text: str, *, told: bool = True) -> None:
    pieces = picture.seen(line)
    if not pieces:
        return
    width = picture.lettering.width(picture.lettering.clean(text), LETTER)
    side = LETTER / 2 + 0.06
    spots = [along(pieces[0], width, LETTER, prefer=0.5, above=above, mask=False) for above in (side, -side)]
    on_paper = LineString(pieces[0])
    for share in (0.5, 0.2, 0.8, 0.05, 0.95):
        at = on_paper.interpolate(share, normalized=True)
        spots.append(around((at.x, at.y), width, reaches=REACHES).dearer(0.3))
    picture.letter(text, joined(spots), told=text if told else None)


# --- table ----------------------------------------------------------------------------------------------


def riser_table(
    design: Design, found: Sequence[Place], figures: Figures, lettering: Lettering
) -> Block | None:
    """List where each riser stands along its manifold, from the end the pump feeds or drains."""
    rows = []
    for place in found:
        stands: dict[str, dict[str, str]] = {}
        for riser in place.risers:
            pipe = _own(riser, design)
            station = float(pipe.line.project(Point(_ends(riser)[0])))
            if pipe.kind == "return":
                station = pipe.line.length - station
            stands.setdefault(riser.lateral, {})[riser.kind] = figures.length(station)
        for lateral in sorted(stands, key=lambda name: int(name[1:]) if name[1:].isdigit() else 0):
            at = stands[lateral]
            rows.append((f"Z{place.zone}", lateral, at.get("supply", "-"), at.get("return", "-")))
    if not rows:
        return None
    unit = figures.units.length_name
    titles: Titles = (
        ("zone", 0.0, "left"),
        ("lateral", 0.5, "left"),
        (f"from supply line [{unit}]", 2.3, "right"),
        (f"to return line [{unit}]", 3.7, "right"),
    )
    heading = "Risers along their manifolds"
    return table(heading, titles, rows, lettering, wrap={})
