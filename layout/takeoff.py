"""The takeoff: parts counted from the items of the layout, each by a stated rule, and none from areas.

Horizontal lengths only: what goes down into trenches is not in the layout, and belongs to the waste.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from shapely import LineString, Point

from layout.model import Join, Part, Pipe, PipeKind, Plumbing, Riser, Run, Site
from layout.plane import TOLERANCE
from layout.units import UnitSet

WASTE = 0.05
"""Share added to tubing and pipe for cutting and the way down into trenches; common practice, no source."""
PIPE_FEET = 20.0
"""Length of a pipe as sold in feet: common practice, no source."""
PIPE_METRES = 6.0
"""Length of a pipe as sold in metres: common practice, no source."""


def count_parts(
    site: Site, runs: Sequence[Run], joins: Sequence[Join], plumbing: Plumbing
) -> tuple[Part, ...]:
    """Count what a field is built of.

    ============================ ===================================================================
    item                         rule
    ============================ ===================================================================
    emitting tubing              length of all runs; 5 % waste; whole coils
    blank tubing                 length of all loops and of blank tubing past obstacles; 5 % waste
    loop elbow                   two to each loop, one at either run end
    tubing coupling              two to each blank piece past an obstacle, one at either run end
    supply pipe, return pipe     manifolds and lines of that kind, a size apiece; 5 % waste; whole lengths of
                                 20 ft, or of 6 m where the site is in metres
    supply riser, return riser   one to each end of each lateral
    riser tubing                 length of all risers, seen from above; 5 % waste
    tubing-to-pipe connector     one to each riser, where the tubing begins
    supply tee, return tee       one to each riser along a manifold; the last riser, at the end away from the
                                 line, stands on an elbow and not on a tee, and so closes the manifold
    supply elbow, return elbow   that one of each manifold, and one where each line meets its manifold
    stake                        for each run one at either end, and between them so many that none is farther
                                 from the next than `stakeout.interval`
    tubing trench                length of all runs, loops, blank tubing and risers
    pipe trench                  length of all manifolds and lines
    ============================ ===================================================================

    What comes to nothing is left out.

    Parameters
    ----------
    site : Site
    runs : sequence of Run
    joins : sequence of Join
    plumbing : Plumbing

    Returns
    -------
    tuple of Part
        In the order of the table.
    """
    units = site.frame.units
    parts = [
        *_tubing(site, runs, joins),
        *_pipe(plumbing, units),
        *_risers(plumbing),
        *_fittings(plumbing, units),
        _each("stake", "Stake along the runs", sum(_stakes(run, site.stakeout.interval) for run in runs)),
        *_trenches(runs, joins, plumbing),
    ]
    return tuple(part for part in parts if part.net > 0)


def _tubing(site: Site, runs: Sequence[Run], joins: Sequence[Join]) -> Iterator[Part]:
    units, tubing = site.frame.units, site.tubing
    flow = f"{tubing.emitter_flow / units.emitter_flow:.4g} {units.emitter_flow_name}"
    bore = f", {_size(tubing.inside_diameter, units)} bore" if tubing.inside_diameter is not None else ""
    every = f"every {tubing.emitter_spacing / units.length:.4g} {units.length_name}"
    yield Part(
        item="emitting tubing",
        description=f"Drip tubing, emitters of {flow} {every}{bore}",
        unit="length",
        net=_length(run.line for run in runs),
        waste=WASTE,
        pack=tubing.coil,
    )
    yield Part(
        item="blank tubing",
        description=f"Tubing without emitters, for loops and past obstacles{bore}",
        unit="length",
        net=_length(join.line for join in joins),
        waste=WASTE,
    )
    loops = sum(join.kind == "loop" for join in joins)
    yield _each("loop elbow", "Elbow, tubing to tubing, at both ends of a loop", 2 * loops)
    yield _each(
        "tubing coupling",
        "Coupling, tubing to tubing, at both ends of blank tubing past an obstacle",
        2 * (len(joins) - loops),
    )


def _pipe(plumbing: Plumbing, units: UnitSet) -> Iterator[Part]:
    pack = PIPE_METRES if units.word == "m" else PIPE_FEET * units.length
    for kind, diameter in _sizes(plumbing):
        yield Part(
            item=f"{kind} pipe",
            description=f"Pipe, {_size(diameter, units)}, for {kind} manifolds and lines",
            unit="length",
            net=_length(
                pipe.line
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


def _risers(plumbing: Plumbing) -> Iterator[Part]:
    for kind in ("supply", "return"):
        count = sum(riser.kind == kind for riser in plumbing.risers)
        yield _each(f"{kind} riser", f"Riser from a {kind} manifold to the end of a lateral", count)
    yield Part(
        item="riser tubing",
        description="Tubing without emitters, for risers",
        unit="length",
        net=_length(riser.line for riser in plumbing.risers),
        waste=WASTE,
    )
    yield _each("tubing-to-pipe connector", "Connector from riser to emitting tubing", len(plumbing.risers))


def _fittings(plumbing: Plumbing, units: UnitSet) -> Iterator[Part]:
    for kind, diameter in _sizes(plumbing):
        size = _size(diameter, units)
        manifolds = [pipe for pipe in plumbing.manifolds if (pipe.kind, pipe.diameter) == (kind, diameter)]
        standing = [sum(_stands_on(riser, pipe) for riser in plumbing.risers) for pipe in manifolds]
        yield _each(
            f"{kind} tee", f"Tee, {size}, for a riser along a {kind} manifold", sum(n - 1 for n in standing)
        )
        lines = sum((pipe.kind, pipe.diameter) == (kind, diameter) for pipe in plumbing.lines)
        yield _each(
            f"{kind} elbow",
            f"Elbow, {size}, for the last riser of a {kind} manifold and where its line joins",
            len(manifolds) + lines,
        )


def _stands_on(riser: Riser, manifold: Pipe) -> bool:
    return riser.kind == manifold.kind and manifold.line.distance(Point(riser.line.coords[0])) < TOLERANCE


def _stakes(run: Run, interval: float) -> int:
    return math.ceil(run.length / interval - 1e-9) + 1


def _trenches(runs: Sequence[Run], joins: Sequence[Join], plumbing: Plumbing) -> Iterator[Part]:
    tubing = [run.line for run in runs] + [join.line for join in joins]
    tubing += [riser.line for riser in plumbing.risers]
    yield Part(
        item="tubing trench",
        description="Trench or slot for runs, loops, blank tubing and risers",
        unit="length",
        net=_length(tubing),
    )
    yield Part(
        item="pipe trench",
        description="Trench for manifolds and lines, each on its own",
        unit="length",
        net=_length(pipe.line for pipe in (*plumbing.manifolds, *plumbing.lines)),
    )


def _each(item: str, description: str, count: int) -> Part:
    return Part(item=item, description=description, unit="each", net=float(count))


def _length(lines: Iterable[LineString]) -> float:
    return math.fsum(line.length for line in lines)


def _size(diameter: float, units: UnitSet) -> str:
    return f"{diameter / units.diameter:.4g} {units.diameter_name}"
