"""The takeoff: parts counted from the items of the layout, each by a stated rule, and none from areas.

Horizontal lengths only: what goes down into trenches is not in the layout, and belongs to the waste.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from shapely import LineString

from layout.model import (
    FittingKind,
    Join,
    Lateral,
    Part,
    PipeKind,
    Plumbing,
    Run,
    Site,
    Stake,
    Zone,
)
from layout.units import UnitSet

WASTE = 0.05
"""Share added to tubing and pipe for cutting and the way down into trenches; common practice, no source."""
PIPE_FEET = 20.0
"""Length of a pipe as sold in feet: common practice, no source."""
PIPE_METRES = 6.0
"""Length of a pipe as sold in metres: common practice, no source."""


FITTINGS: dict[FittingKind, str] = {
    "tee": "Tee, {size}, under a riser or a valve along a {on} manifold",
    "elbow": "Elbow, {size}, at the dead end of a {on} manifold",
    "cap": "Cap, {size}, at the dead end of a {on} manifold",
    "elbow 90": "Elbow, {size}, 90 degrees, for bends of {on} pipe",
    "elbow 45": "Elbow, {size}, 45 degrees, for bends of {on} pipe",
    "elbow 22.5": "Elbow, {size}, 22.5 degrees, for bends of {on} pipe",
    "coupling": "Coupling, {size}, pipe to pipe",
    "reducer": "Reducer, {size}, pipe to pipe",
    "zone valve": "Valve, {size}, where the {on} line enters the manifold of a zone",
    "check valve": "Check valve, {size}, where the {on} line leaves the manifold of a zone",
    "air valve": "Air and vacuum release valve, at the high point of a {on} manifold",
    "flush valve": "Valve, {size}, for flushing, on the {on}",
}
"""Fittings of pipe in the order of the takeoff; risers, connectors and what sits on tubing stand by themselves."""


def count_parts(
    site: Site,
    runs: Sequence[Run],
    joins: Sequence[Join],
    plumbing: Plumbing,
    *,
    laterals: Sequence[Lateral] = (),
    zones: Sequence[Zone] = (),
    stakes: Sequence[Stake] = (),
) -> tuple[Part, ...]:
    """Count what a field is built of.

    ============================ ===================================================================
    item                         rule
    ============================ ===================================================================
    emitting tubing              length of all runs; 5 % waste; whole coils
    blank tubing                 length of all loops and of blank tubing past obstacles; 5 % waste
    loop elbow, tubing coupling  elbows and couplings on tubing among the fittings of the layout
    supply pipe, return pipe     manifolds and lines of that kind, a size apiece; 5 % waste; whole lengths of
                                 20 ft, or of 6 m where the site is in metres
    supply riser, return riser   risers among the fittings
    riser tubing                 length of all risers, seen from above; 5 % waste
    tubing-to-pipe connector     connectors among the fittings
    supply tee ... return valves all other fittings: one line for each pipe, kind and size
    stake, other stake           stakes of the stake-out: those on runs, and all others
    tubing trench                length of all runs, loops, blank tubing and risers
    pipe trench                  trenches of manifolds and lines, each once for all pipes in it
    lateral, run, emitter, flow  where there are several zones: for checking, nothing to buy
    ============================ ===================================================================

    What comes to nothing is left out. What fittings there are, is decided where they are placed; here they are
    counted.

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

    Returns
    -------
    tuple of Part
        In the order of the table; each with its share by zone, but for other stakes and pipe trenches, which
        zones share.
    """
    count = _Count(
        zones=max((pipe.zone for pipe in plumbing.manifolds), default=1),
        zone_of={name: lateral.zone for lateral in laterals for name in lateral.runs},
    )
    units = site.frame.units
    parts = [
        *_tubing(site, runs, joins, plumbing, count),
        *_pipe(plumbing, units, count),
        *_risers(plumbing, count),
        *_fittings(plumbing, units, count),
        count.each(
            "stake",
            "Stake along the runs",
            ((count.zone(stake.run), 1.0) for stake in stakes if stake.run),
        ),
        Part(
            item="other stake",
            description="Stake at corners of the bed, pipes, valves, blank tubing and ends of a baseline",
            unit="each",
            net=float(sum(not stake.run for stake in stakes)),
        ),
        *_trenches(runs, joins, plumbing, count),
        *_for_checking(zones, count),
    ]
    return tuple(part for part in parts if part.net > 0)


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
        waste: float = 0.0,
        pack: float = 0.0,
    ) -> Part:
        known = [(zone, float(line.length)) for zone, line in lines]
        return Part(
            item=item,
            description=description,
            unit="length",
            net=math.fsum(length for _, length in known),
            waste=waste,
            pack=pack,
            by_zone=self.shares(known),
        )


def _tubing(
    site: Site, runs: Sequence[Run], joins: Sequence[Join], plumbing: Plumbing, count: _Count
) -> Iterator[Part]:
    units, tubing = site.frame.units, site.tubing
    flow = f"{tubing.emitter_flow / units.emitter_flow:.4g} {units.emitter_flow_name}"
    bore = f", {_size(tubing.inside_diameter, units)} bore" if tubing.inside_diameter is not None else ""
    every = f"every {tubing.emitter_spacing / units.length:.4g} {units.length_name}"
    yield count.length(
        "emitting tubing",
        f"Drip tubing, emitters of {flow} {every}{bore}",
        ((count.zone(run.name), run.line) for run in runs),
        waste=WASTE,
        pack=tubing.coil,
    )
    yield count.length(
        "blank tubing",
        f"Tubing without emitters, for loops and past obstacles{bore}",
        ((count.zone(join.start), join.line) for join in joins),
        waste=WASTE,
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


def _found(
    plumbing: Plumbing, kind: FittingKind, *, on: str = "", size: float | None = None
) -> Iterator[tuple[int, float]]:
    """Give the zone of each fitting of a kind, to be counted as one: of all pipes and sizes, or of one."""
    for fitting in plumbing.fittings:
        if fitting.kind == kind and on in {"", fitting.on} and size in {None, fitting.size}:
            yield fitting.zone, 1.0


def _pipe(plumbing: Plumbing, units: UnitSet, count: _Count) -> Iterator[Part]:
    pack = PIPE_METRES if units.word == "m" else PIPE_FEET * units.length
    for kind, diameter in _sizes(plumbing):
        yield count.length(
            f"{kind} pipe",
            f"Pipe, {_size(diameter, units)}, for {kind} manifolds and lines",
            (
                (pipe.zone, pipe.line)
                for pipe in (*plumbing.manifolds, *plumbing.lines)
                if (pipe.kind, pipe.diameter) == (kind, diameter)
            ),
            waste=WASTE,
            pack=pack,
        )


def _sizes(plumbing: Plumbing) -> list[tuple[PipeKind, float]]:
    """Kinds and sizes of pipe laid, supply first, then by size."""
    found = {(pipe.kind, pipe.diameter) for pipe in (*plumbing.manifolds, *plumbing.lines)}
    return sorted(found, key=lambda pair: (pair[0] != "supply", pair[1]))


def _risers(plumbing: Plumbing, count: _Count) -> Iterator[Part]:
    for kind in ("supply", "return"):
        yield count.each(
            f"{kind} riser",
            f"Riser from a {kind} manifold to the end of a lateral",
            _found(plumbing, "riser", on=kind),
        )
    yield count.length(
        "riser tubing",
        "Tubing without emitters, for risers",
        ((riser.zone, riser.line) for riser in plumbing.risers),
        waste=WASTE,
    )
    yield count.each(
        "tubing-to-pipe connector",
        "Connector from riser to emitting tubing",
        _found(plumbing, "connector"),
    )


def _fittings(plumbing: Plumbing, units: UnitSet, count: _Count) -> Iterator[Part]:
    """Count all other fittings of pipe: by pipe, kind and size."""
    for on, size in _sizes(plumbing):
        for kind, description in FITTINGS.items():
            yield count.each(
                f"{on} {kind}",
                description.format(size=_size(size, units), on=on),
                _found(plumbing, kind, on=on, size=size),
            )


def _trenches(
    runs: Sequence[Run], joins: Sequence[Join], plumbing: Plumbing, count: _Count
) -> Iterator[Part]:
    tubing = [(count.zone(run.name), run.line) for run in runs]
    tubing += [(count.zone(join.start), join.line) for join in joins]
    tubing += [(riser.zone, riser.line) for riser in plumbing.risers]
    yield count.length("tubing trench", "Trench or slot for runs, loops, blank tubing and risers", tubing)
    yield Part(
        item="pipe trench",
        description="Trench for manifolds and lines, one for pipes side by side",
        unit="length",
        net=math.fsum(trench.line.length for trench in plumbing.trenches),
    )


def _for_checking(zones: Sequence[Zone], count: _Count) -> Iterator[Part]:
    """Give what zones hold, so that the estimator can tell that they add up."""
    if len(zones) < 2:
        return
    for item, description, sizes in (
        ("lateral", "Laterals, for checking", [len(zone.laterals) for zone in zones]),
        ("run", "Runs, for checking", [len(zone.runs) for zone in zones]),
        ("emitter", "Emitters in the tubing, for checking", [zone.emitters for zone in zones]),
    ):
        yield count.each(item, description, ((n, float(size)) for n, size in enumerate(sizes, start=1)))
    flows = tuple(zone.flow for zone in zones)
    yield Part(
        item="flow",
        description="Flow of the emitters, for checking; zones are dosed one after the other",
        unit="flow",
        net=math.fsum(flows),
        by_zone=flows,
    )


def _size(diameter: float, units: UnitSet) -> str:
    return f"{diameter / units.diameter:.4g} {units.diameter_name}"
