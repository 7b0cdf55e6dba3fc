"""The takeoff: parts counted from the items of the layout, each by a stated rule, and none from areas.

Horizontal lengths only: what goes down into trenches is not in the layout, and belongs to the waste.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from shapely import LineString

from layout.model import (
    CutList,
    FittingKind,
    Join,
    Lateral,
    Part,
    PipeKind,
    Plumbing,
    Run,
    Site,
    Stake,
    TakeoffRules,
    Zone,
)
from layout.takeoff.items import BY_THE_UNIT, FITTINGS, ITEMS, PAINT, PIPE, base_item
from layout.units import UnitSet


def count_parts(
    site: Site,
    runs: Sequence[Run],
    joins: Sequence[Join],
    plumbing: Plumbing,
    *,
    laterals: Sequence[Lateral] = (),
    zones: Sequence[Zone] = (),
    stakes: Sequence[Stake] = (),
    cuts: CutList | None = None,
) -> tuple[Part, ...]:
    """Count what a field is built of.

    ============================ ===================================================================
    item                         rule
    ============================ ===================================================================
    emitting tubing              length of all runs; whole coils, no fewer than the cut list takes
    blank tubing                 length of all loops and of blank tubing past obstacles; by whole feet or metres, or,
                                 where its coil is stated, with the tubing of risers in whole coils
    loop elbow, tubing coupling  elbows and couplings on tubing among the fittings of the layout
    splice coupling              splices of the cut list
    supply manifold pipe ...     manifolds, and lines, of supply and return, a size apiece; whole lengths
    supply riser, return riser   risers among the fittings
    riser tubing                 length of all risers, seen from above
    tubing-to-pipe connector     connectors among the fittings
    supply tee ... return valves all other fittings: one line for each pipe, kind and size
    air valve box, valve box     one to each air valve; one to each zone and flush valve
    staple                       where an interval is stated: at both ends of all runs, loops and blank tubing, and
                                 between them no farther apart
    marking paint                length of all runs, loops, blank tubing and pipe trenches over what a can marks
    stake, other stake           stakes of the stake-out: those on runs, and all others
    tubing trench                length of all runs, loops, blank tubing and risers
    manifold trench, line trench trenches of manifolds and of lines, each once for all pipes in it
    sand                         where stated: trenches of manifolds and lines, by their width and its depth
    cover                        where stated: area of the bed by the depth
    loop, lateral, run, emitter, for checking, nothing to buy; the latter where there are several zones
    flow
    ============================ ===================================================================

    Waste is 5 % on tubing and pipe and none on all else, or as the site states it. What comes to nothing is left out.
    Where pipe of one kind has several sizes, its items name theirs. What fittings there are, is decided where they are
    placed; here they are counted.

    Parameters
    ----------
    site : Site
    runs : sequence of Run
    joins : sequence of Join
    plumbing : Plumbing
        With its fittings and trenches.
    laterals : sequence of Lateral, optional
        Say which zone a run or loop belongs to.
    zones : sequence of Zone, optional
    stakes : sequence of Stake, optional
    cuts : CutList, optional
        How the runs are cut from coils.

    Returns
    -------
    tuple of Part
        In the order of the table; each with its share by zone, but for what zones share: splices, paint, other
        stakes, trenches of lines, sand and cover.
    """
    count = _Count(
        zones=max((pipe.zone for pipe in plumbing.manifolds), default=1),
        zone_of={name: lateral.zone for lateral in laterals for name in lateral.runs},
    )
    parts = [
        *_tubing(site, runs, joins, plumbing, count, cuts),
        *_pipe(site, plumbing, count),
        *_risers(site, plumbing, count),
        *_fittings(plumbing, site.frame.units, count),
        *_boxes(plumbing, count),
        *_on_the_ground(site, runs, joins, plumbing, stakes, count),
        *_trenches(runs, joins, plumbing, count),
        *_fill(site, plumbing),
        *_for_checking(plumbing, zones, count),
    ]
    return tuple(_with_waste(part, site.takeoff) for part in parts if part.net > 0)


def _with_waste(part: Part, rules: TakeoffRules) -> Part:
    """Add the waste that is stated for the item, or else for its kind."""
    name = base_item(part.item)
    usual = rules.waste if name in ITEMS and ITEMS[name].waste else 0.0
    return replace(part, waste=rules.waste_of(name, usual) if part.bought else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Count:
    """Adds up by zone."""

    zones: int
    zone_of: dict[str, int]

    def zone(self, run: str) -> int:
        return self.zone_of.get(run, 1)

    def shares(self, pieces: Iterable[tuple[int, float]]) -> tuple[float, ...]:
        """Add up pieces, each with its zone."""
        found: list[list[float]] = [[] for _ in range(self.zones)]
        for zone, size in pieces:
            found[zone - 1].append(size)
        return tuple(math.fsum(sizes) for sizes in found)

    def each(self, item: str, description: str, pieces: Iterable[tuple[int, float]]) -> Part:
        by_zone = self.shares(pieces)
        return Part(item=item, description=description, unit="each", net=math.fsum(by_zone), by_zone=by_zone)

    def length(
        self,
        item: str,
        description: str,
        lines: Iterable[tuple[int, LineString]],
        *,
        pack: float = 0.0,
        sold: str = "",
        least: int = 0,
    ) -> Part:
        known = [(zone, float(line.length)) for zone, line in lines]
        return Part(
            item=item,
            description=description,
            unit="length",
            net=math.fsum(length for _, length in known),
            pack=pack,
            sold=sold,
            least=least,
            by_zone=self.shares(known),
        )


def _tubing(
    site: Site,
    runs: Sequence[Run],
    joins: Sequence[Join],
    plumbing: Plumbing,
    count: _Count,
    cuts: CutList | None,
) -> Iterator[Part]:
    units, tubing, coil = site.frame.units, site.tubing, site.takeoff.blank_coil
    flow = f"{tubing.emitter_flow / units.emitter_flow:.4g} {units.emitter_flow_name}"
    bore = f", {_size(tubing.inside_diameter, units)} bore" if tubing.inside_diameter is not None else ""
    every = f"every {tubing.emitter_spacing / units.length:.4g} {units.length_name}"
    yield count.length(
        "emitting tubing",
        f"Drip tubing, emitters of {flow} {every}{bore}",
        ((count.zone(run.name), run.line) for run in runs),
        pack=tubing.coil,
        sold="coil",
        least=0 if cuts is None else len(cuts.coils),
    )
    blank = [(count.zone(join.start), join.line) for join in joins]
    if coil is not None:
        blank += [(riser.zone, riser.line) for riser in plumbing.risers]
    yield count.length(
        "blank tubing",
        f"Tubing without emitters, for loops{'' if coil is None else ', risers'} and past obstacles{bore}",
        blank,
        pack=coil or units.length,
        sold="coil" if coil else BY_THE_UNIT,
    )
    on_tubing: tuple[tuple[str, FittingKind, str], ...] = (
        ("loop elbow", "elbow", "Elbow, tubing to tubing, at both ends of a loop"),
        (
            "tubing coupling",
            "coupling",
            "Coupling, tubing to tubing, at both ends of blank tubing past an obstacle",
        ),
    )
    for item, kind, description in on_tubing:
        yield count.each(item, description, _found(plumbing, kind, on="tubing"))
    yield Part(
        item="splice coupling",
        description="Coupling, tubing to tubing, in runs longer than a coil",
        unit="each",
        net=float(len(cuts.splices)) if cuts is not None else 0.0,
    )


def _found(
    plumbing: Plumbing, kind: FittingKind, *, on: str = "", size: float | None = None
) -> Iterator[tuple[int, float]]:
    """Give the zone of each fitting of a kind, to be counted as one: of all pipes and sizes, or of one."""
    for fitting in plumbing.fittings:
        if fitting.kind == kind and on in {"", fitting.on} and size in {None, fitting.size}:
            yield fitting.zone, 1.0


def _pipe(site: Site, plumbing: Plumbing, count: _Count) -> Iterator[Part]:
    units = site.frame.units
    pack = site.takeoff.pipe or PIPE[units.word == "m"]
    several = _several(plumbing)
    for kind, diameter in _sizes(plumbing):
        size = _size(diameter, units)
        for part, pipes in (("manifold", plumbing.manifolds), ("line", plumbing.lines)):
            yield count.length(
                f"{kind} {part} pipe" + (f", {size}" if kind in several else ""),
                f"Pipe, {size}, for {kind} {part}s; lengths with bell ends, else a coupling each",
                ((pipe.zone, pipe.line) for pipe in pipes if (pipe.kind, pipe.diameter) == (kind, diameter)),
                pack=pack,
                sold="length",
            )


def _sizes(plumbing: Plumbing) -> list[tuple[PipeKind, float]]:
    """Kinds and sizes of pipe and of fittings on it, supply first, then by size."""
    found = {(pipe.kind, pipe.diameter) for pipe in (*plumbing.manifolds, *plumbing.lines)}
    found |= {
        (fitting.on, fitting.size)
        for fitting in plumbing.fittings
        if fitting.on != "tubing" and fitting.size is not None and fitting.kind in FITTINGS
    }
    return sorted(found, key=lambda pair: (pair[0] != "supply", pair[1]))


def _several(plumbing: Plumbing) -> set[PipeKind]:
    """Kinds of pipe that have more than one size."""
    kinds = [kind for kind, _ in _sizes(plumbing)]
    return {kind for kind in kinds if kinds.count(kind) > 1}


def _risers(site: Site, plumbing: Plumbing, count: _Count) -> Iterator[Part]:
    for kind in ("supply", "return"):
        yield count.each(
            f"{kind} riser",
            f"Riser from a {kind} manifold to the end of a lateral",
            _found(plumbing, "riser", on=kind),
        )
    if site.takeoff.blank_coil is None:
        yield count.length(
            "riser tubing",
            "Tubing without emitters, for risers",
            ((riser.zone, riser.line) for riser in plumbing.risers),
            pack=site.frame.units.length,
            sold=BY_THE_UNIT,
        )
    yield count.each(
        "tubing-to-pipe connector",
        "Connector from riser to emitting tubing",
        _found(plumbing, "connector"),
    )


def _fittings(plumbing: Plumbing, units: UnitSet, count: _Count) -> Iterator[Part]:
    """Count all other fittings of pipe: by pipe, kind and size."""
    several = _several(plumbing)
    for on, diameter in _sizes(plumbing):
        size = _size(diameter, units)
        for kind, description in FITTINGS.items():
            yield count.each(
                f"{on} {kind}" + (f", {size}" if on in several else ""),
                description.format(size=size, on=on),
                _found(plumbing, kind, on=on, size=diameter),
            )


def _boxes(plumbing: Plumbing, count: _Count) -> Iterator[Part]:
    """Count boxes over valves: common practice, no source."""
    kinds: tuple[FittingKind, ...] = ("zone valve", "flush valve")
    yield count.each(
        "air valve box", "Box with lid, over an air and vacuum release valve", _found(plumbing, "air valve")
    )
    yield count.each(
        "valve box",
        "Box with lid, over a zone or flush valve",
        (piece for kind in kinds for piece in _found(plumbing, kind)),
    )


def _on_the_ground(
    site: Site,
    runs: Sequence[Run],
    joins: Sequence[Join],
    plumbing: Plumbing,
    stakes: Sequence[Stake],
    count: _Count,
) -> Iterator[Part]:
    """Count what holds tubing down and what marks it."""
    rules, units = site.takeoff, site.frame.units
    lines = [(count.zone(run.name), run.line) for run in runs]
    lines += [(count.zone(join.start), join.line) for join in joins]
    if rules.staple_interval is not None:
        every = rules.staple_interval
        yield replace(
            count.each(
                "staple",
                f"Staple, every {every / units.length:g} {units.length_name} of tubing",
                ((zone, math.ceil(line.length / every - 1e-9) + 1.0) for zone, line in lines),
            ),
            pack=float(rules.staple_box) if rules.staple_box > 1 else 0.0,
            sold="box" if rules.staple_box > 1 else "",
        )
    can = rules.paint or PAINT[units.word == "m"]
    marked = [line.length for _, line in lines] + [trench.line.length for trench in plumbing.trenches]
    yield Part(
        item="marking paint",
        description=f"Marking paint, a can to {can / units.length:g} {units.length_name} of run, loop and pipe trench",
        unit="each",
        net=math.fsum(marked) / can,
        pack=1.0,
        sold="can",
    )
    yield count.each(
        "stake", "Stake along the runs", ((count.zone(stake.run), 1.0) for stake in stakes if stake.run)
    )
    yield Part(
        item="other stake",
        description="Stake at corners of the bed, pipes, valves, blank tubing and ends of a baseline",
        unit="each",
        net=float(sum(not stake.run for stake in stakes)),
    )


def _trenches(
    runs: Sequence[Run], joins: Sequence[Join], plumbing: Plumbing, count: _Count
) -> Iterator[Part]:
    tubing = [(count.zone(run.name), run.line) for run in runs]
    tubing += [(count.zone(join.start), join.line) for join in joins]
    tubing += [(riser.zone, riser.line) for riser in plumbing.risers]
    yield count.length("tubing trench", "Trench or slot for runs, loops, blank tubing and risers", tubing)
    yield count.length(
        "manifold trench",
        "Trench for manifolds, one for pipes side by side",
        ((trench.zone, trench.line) for trench in plumbing.trenches if trench.zone),
    )
    yield Part(
        item="line trench",
        description="Trench for lines to the pump, one for pipes side by side",
        unit="length",
        net=math.fsum(trench.line.length for trench in plumbing.trenches if not trench.zone),
    )


def _fill(site: Site, plumbing: Plumbing) -> Iterator[Part]:
    """Measure what is brought in, in place: what it settles belongs to the waste."""
    rules, units = site.takeoff, site.frame.units
    length = math.fsum(trench.line.length for trench in plumbing.trenches)

    def said(value: float) -> str:
        return f"{value / units.length:g} {units.length_name}"

    if rules.sand_depth is not None and rules.trench_width is not None:
        yield Part(
            item="sand",
            description=f"Sand in pipe trenches, {said(rules.trench_width)} wide, {said(rules.sand_depth)} deep",
            unit="volume",
            net=length * rules.trench_width * rules.sand_depth,
        )
    if rules.cover_depth is not None:
        area = site.bed.outline.area
        ground = f"{area / units.area:.2f} sq {units.length_name}"
        yield Part(
            item="cover",
            description=f"Fill over {ground} of bed, {said(rules.cover_depth)} deep",
            unit="volume",
            net=area * rules.cover_depth,
        )


def _for_checking(plumbing: Plumbing, zones: Sequence[Zone], count: _Count) -> Iterator[Part]:
    """Give what the field and its zones hold, so that the estimator can tell that they add up."""
    yield replace(
        count.each("loop", "End loops of blank tubing, for checking", _found(plumbing, "loop")), bought=False
    )
    if len(zones) < 2:
        return
    for item, description, sizes in (
        ("lateral", "Laterals, for checking", [len(zone.laterals) for zone in zones]),
        ("run", "Runs, for checking", [len(zone.runs) for zone in zones]),
        ("emitter", "Emitters in the tubing, for checking", [zone.emitters for zone in zones]),
    ):
        shares = ((number, float(size)) for number, size in enumerate(sizes, start=1))
        yield replace(count.each(item, description, shares), bought=False)
    flows = tuple(zone.flow for zone in zones)
    yield Part(
        item="flow",
        description="Flow of the emitters, for checking; zones are dosed one after the other",
        unit="flow",
        net=math.fsum(flows),
        by_zone=flows,
        bought=False,
    )


def _size(diameter: float, units: UnitSet) -> str:
    return f"{diameter / units.diameter:.4g} {units.diameter_name}"
