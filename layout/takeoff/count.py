"""The takeoff: parts counted from the items of the layout, each by a stated rule, and none from areas.

Horizontal lengths only: what goes down into trenches is not in the layout, and belongs to the waste.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

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
    ZoneLevels,
)
from layout.takeoff.adding import Count, bore_of, pieces_of, size_of
from layout.takeoff.ground import fill, marks_and_staples, trenches
from layout.takeoff.items import BY_THE_UNIT, FITTINGS, ITEMS, PIPE, base_item, is_sized


def count_parts(
    site: Site,
    runs: Sequence[Run],
    joins: Sequence[Join],
    plumbing: Plumbing,
    *,
    laterals: Sequence[Lateral] = (),
    zones: Sequence[Zone] = (),
    levels: Sequence[ZoneLevels] = (),
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
    loop elbow, lead elbow,      elbows and couplings on tubing among the fittings of the layout
    tubing coupling
    splice coupling              splices of the cut list
    supply manifold pipe ...     manifolds, and lines, of supply and return, a size apiece; whole lengths
    riser adapter                risers among the fittings: each begins in the outlet of a tee or elbow
    riser tubing                 length of all risers and leads, seen from above
    riser connector              connectors among the fittings, where risers end at the tubing
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
    loop, riser, coil if spliced for checking, nothing to buy: coils that would do if runs were spliced wherever a coil
                                 ends, where these are fewer
    lateral, run, emitter, flow  the same, where there are several zones
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
    levels : sequence of ZoneLevels, optional
        Say whether air valves stand at high points, or at dead ends for want of levels.
    stakes : sequence of Stake, optional
    cuts : CutList, optional
        How the runs are cut from coils.

    Returns
    -------
    tuple of Part
        In the order of the table; each with its share by zone, but for what zones share: splices, paint, other
        stakes, trenches of lines, sand and cover, pipe and fittings where some are of a trunk.
    """
    count = Count(
        zones=max((pipe.zone for pipe in plumbing.manifolds), default=1),
        zone_of={name: lateral.zone for lateral in laterals for name in lateral.runs},
    )
    parts = [
        *_tubing(site, runs, joins, plumbing, count, cuts),
        *_pipe(site, plumbing, count),
        *_risers(site, plumbing, count),
        *_fittings(site, plumbing, levels, count),
        *_boxes(plumbing, count),
        *marks_and_staples(site, runs, joins, plumbing, stakes, count),
        *trenches(runs, joins, plumbing, count),
        *fill(site, plumbing),
        *_for_checking(plumbing, zones, count, cuts),
    ]
    return tuple(_with_waste(part, site.takeoff) for part in parts if part.net > 0)


def _with_waste(part: Part, rules: TakeoffRules) -> Part:
    """Add the waste that is stated for the item, or else for its kind."""
    name = base_item(part.item)
    usual = rules.waste if name in ITEMS and ITEMS[name].waste else 0.0
    return replace(part, waste=rules.waste_of(name, usual) if part.bought else 0.0)


def _tubing(
    site: Site,
    runs: Sequence[Run],
    joins: Sequence[Join],
    plumbing: Plumbing,
    count: Count,
    cuts: CutList | None,
) -> Iterator[Part]:
    units, tubing, coil = site.frame.units, site.tubing, site.takeoff.blank_coil
    flow = f"{tubing.emitter_flow / units.emitter_flow:.4g} {units.emitter_flow_name}"
    bore = bore_of(site, ", ")
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
            "lead elbow",
            "elbow 90",
            "Elbow, tubing to tubing, where a lead turns more sharply than tubing bends",
        ),
        (
            "tubing coupling",
            "coupling",
            "Coupling, tubing to tubing, at both ends of blank tubing past an obstacle",
        ),
    )
    for item, kind, description in on_tubing:
        yield count.each(item, description, pieces_of(plumbing, kind, on="tubing"))
    yield Part(
        item="splice coupling",
        description="Coupling, tubing to tubing, in runs longer than a coil",
        unit="each",
        net=float(len(cuts.splices)) if cuts is not None else 0.0,
    )


def _pipe(site: Site, plumbing: Plumbing, count: Count) -> Iterator[Part]:
    units = site.frame.units
    pack = site.takeoff.pipe or PIPE[units.word == "m"]
    several = _several(plumbing)
    for kind, diameter in _sizes(plumbing):
        size = size_of(diameter, units)
        for part, pipes in (("manifold", plumbing.manifolds), ("line", plumbing.lines)):
            found = count.length(
                f"{kind} {part} pipe" + (f", {size}" if kind in several else ""),
                f"Pipe, {size}, for {kind} {part}s; lengths with bell ends, else a coupling each",
                ((pipe.zone, pipe.line) for pipe in pipes if (pipe.kind, pipe.diameter) == (kind, diameter)),
                pack=pack,
                sold="length",
            )
            yield replace(found, size=diameter)


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


def _risers(site: Site, plumbing: Plumbing, count: Count) -> Iterator[Part]:
    bore, leads = bore_of(site, ", "), any(riser.lead for riser in plumbing.risers)
    yield count.each(
        "riser adapter",
        f"Adapter from the outlet of a tee or elbow to the tubing of a riser{bore}",
        pieces_of(plumbing, "riser"),
    )
    if site.takeoff.blank_coil is None:
        yield count.length(
            "riser tubing",
            f"Tubing without emitters, for risers{' and leads' if leads else ''}{bore}",
            ((riser.zone, riser.line) for riser in plumbing.risers),
            pack=site.frame.units.length,
            sold=BY_THE_UNIT,
        )
    yield count.each(
        "riser connector",
        "Connector, tubing to tubing, from a riser to the end of a lateral",
        pieces_of(plumbing, "connector"),
    )


def _fittings(site: Site, plumbing: Plumbing, levels: Sequence[ZoneLevels], count: Count) -> Iterator[Part]:
    """Count all other fittings of pipe: by pipe, kind and size."""
    units, several, outlet = site.frame.units, _several(plumbing), f"a riser{bore_of(site, ' of ')}"
    top = "high point" if any(zone.high_level is not None for zone in levels) else "dead end"
    for on, diameter in _sizes(plumbing):
        size = size_of(diameter, units)
        for kind, description in FITTINGS.items():
            found = count.each(
                f"{on} {kind}" + (f", {size}" if on in several else ""),
                description.format(size=size, on=on, outlet=outlet, top=top),
                pieces_of(plumbing, kind, on=on, size=diameter),
            )
            yield replace(found, size=diameter if is_sized(f"{on} {kind}") else None)


def _boxes(plumbing: Plumbing, count: Count) -> Iterator[Part]:
    """Count boxes over valves: common practice, no source."""
    kinds: tuple[FittingKind, ...] = ("zone valve", "flush valve")
    yield count.each(
        "air valve box",
        "Box with lid, over an air and vacuum release valve",
        pieces_of(plumbing, "air valve"),
    )
    yield count.each(
        "valve box",
        "Box with lid, over a zone or flush valve",
        (piece for kind in kinds for piece in pieces_of(plumbing, kind)),
    )


def _for_checking(
    plumbing: Plumbing, zones: Sequence[Zone], count: Count, cuts: CutList | None
) -> Iterator[Part]:
    """Give what the field and its zones hold, so that the estimator can tell that they add up."""
    for item, description, found in (
        ("loop", "End loops of blank tubing", pieces_of(plumbing, "loop")),
        (
            "supply riser",
            "Risers from a supply manifold to a lateral",
            pieces_of(plumbing, "riser", on="supply"),
        ),
        (
            "return riser",
            "Risers from a return manifold to a lateral",
            pieces_of(plumbing, "riser", on="return"),
        ),
    ):
        yield replace(count.each(item, f"{description}, for checking", found), bought=False)
    if cuts is not None and cuts.spliced < len(cuts.coils):
        yield Part(
            item="coil if spliced",
            description="Coils that would do if runs were spliced wherever a coil ends, for checking",
            unit="each",
            net=float(cuts.spliced),
            bought=False,
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
