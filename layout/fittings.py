"""Every piece of the plumbing that has a place: what takeoff, drawings and stake-out count alike.

Lines bring their own elbows and trenches; here are those of manifolds, risers, loops and blank tubing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Point

from layout.model import XY, Fitting, FittingKind, Join, Lateral, Pipe, PipeKind, Plumbing, Riser, Trench, xy
from layout.plane import TOLERANCE, Array, coordinates, lines_of, stations, stretches_in

TOGETHER = 0.5
"""Pipes no farther from each other than this lie in one trench [m]: common practice, no source."""
BY_THE_TANK, BY_THE_PUMP = 0.6, 2.0
"""To the flush valve of a return [m]: from the wall of the pump's tank, or from the pump where no tank is known. A
judgement: nobody is to lean into a tank to turn it."""

BEND_SLACK = 0.05
"""How much tighter than stated a bend may be, as a share of the radius, as in runs."""

Bends = Callable[[Array], Iterable[tuple[FittingKind, XY]]]
AirAt = Mapping[tuple[int, PipeKind], XY]


def place_fittings(
    plumbing: Plumbing,
    joins: Sequence[Join],
    laterals: Sequence[Lateral],
    *,
    air_at: AirAt | None = None,
    bends: Bends | None = None,
    tanks: Sequence[shapely.Geometry] = (),
    bend_radius: float = 0.0,
) -> Plumbing:
    """Place the fittings of a field, and dig the trenches of its manifolds.

    ===================== ==========================================================================
    riser                 one to each end of each lateral, where it stands on its manifold; a connector where it
                          meets the tubing
    tee                   under each riser along a manifold, and under its air valve
    elbow                 under the riser, or the air valve, at the dead end of a manifold, which it closes
    cap                   at a dead end without a riser
    elbow 90, 45, 22.5    where the manifold itself bends
    zone valve            where the supply line meets the manifold, in a field of several zones
    flush valve           on each return line, just outside the tank that the pump stands in; where manifolds share
                          a return trunk, where each of them that a line reaches meets it
    air valve             one on the supply and one on the return of each zone
    loop                  one at the middle of each loop, with an elbow at both its ends
    coupling              at both ends of blank tubing past an obstacle
    elbow 90 on tubing    where a lead turns more sharply than tubing may bend
    ===================== ==========================================================================

    Parameters
    ----------
    plumbing : Plumbing
    joins : sequence of Join
    laterals : sequence of Lateral
    air_at : mapping, optional
        By zone and kind, where on a manifold the air valve stands [m].
    bends : callable, optional
        Gives the elbows that lead a pipe along a line, with their places.
    tanks : sequence of Geometry, optional
        What the pump stands in, for valves to stand outside of it [m].
    bend_radius : float, optional
        The tightest bend that tubing may take [m]; 0 allows corners.

    Returns
    -------
    Plumbing
        With what it had, and before that these fittings: by zone, those of the supply, of the return, of the
        tubing; and the trenches of manifolds. No return has a check valve: each has its flush valve, which is shut
        while the zone, or another one, is dosed.
    """
    zones = sorted({pipe.zone for pipe in (*plumbing.manifolds, *plumbing.lines)})
    # Manifolds that share a return trunk have their flush valves where each leaves it, not by the pump.
    trunk = plumbing.shares("return")
    zone_of = {name: lateral for lateral in laterals for name in lateral.runs}
    made: list[Fitting] = []
    for zone in zones:
        kinds: tuple[PipeKind, PipeKind] = ("supply", "return")
        for kind in kinds:
            air = (air_at or {}).get((zone, kind))
            for pipe in plumbing.manifolds:
                if (pipe.zone, pipe.kind) == (zone, kind):
                    own = [riser for riser in plumbing.risers if plumbing.under(riser) is pipe]
                    flushed = trunk and kind == "return" and bool(plumbing.way_to(pipe))
                    made += _on_manifold(pipe, own, air, bends, several=len(zones) > 1, flushed=flushed)
        made += [
            _flush_valve(line, tanks)
            for line in plumbing.lines
            if (line.zone, line.kind) == (zone, "return") and not trunk
        ]
        for join in joins:
            if zone_of[join.start].zone == zone:
                made += _on_join(join, zone_of[join.start])
        made += [
            Fitting(kind="elbow 90", at=at, on="tubing", zone=zone, of=riser.lateral)
            for riser in plumbing.risers
            if riser.zone == zone
            for at in sharp_bends(riser.line, bend_radius)
        ]
    return replace(
        plumbing,
        fittings=(*made, *plumbing.fittings),
        trenches=(*_trenches(plumbing.manifolds, zones), *plumbing.trenches),
    )


def _on_manifold(
    pipe: Pipe, risers: Sequence[Riser], air: XY | None, bends: Bends | None, *, several: bool, flushed: bool
) -> Iterator[Fitting]:
    """Fittings of a manifold and the risers that stand on it, from the feed to the dead end."""
    line = pipe.line if pipe.kind == "supply" else pipe.line.reverse()

    def fitting(kind: FittingKind, at: XY, of: str = "manifold") -> Fitting:
        return Fitting(kind=kind, at=at, on=pipe.kind, zone=pipe.zone, size=pipe.diameter, of=of)

    if several and pipe.kind == "supply":
        yield fitting("zone valve", pipe.feed)
    if flushed:
        yield fitting("flush valve", pipe.feed)
    standing = sorted(
        (line.project(Point(riser.line.coords[0])), number, riser) for number, riser in enumerate(risers)
    )
    here = air is not None and line.distance(Point(air)) < TOLERANCE
    valve = line.project(Point(air)) if air is not None and here else -1.0
    closed = False
    for number, (station, _, riser) in enumerate(standing):
        at_end = number == len(standing) - 1 and station > line.length - TOLERANCE
        closed = closed or at_end
        # An air valve at the dead end closes the pipe: the last riser then stands on a tee before it.
        yield fitting("elbow" if at_end and valve < line.length - TOLERANCE else "tee", _foot(riser))
        yield fitting("riser", _foot(riser), riser.lateral)
        yield fitting("connector", xy(Point(riser.line.coords[-1])), riser.lateral)
    if air is not None and here:
        if valve < line.length - TOLERANCE:
            yield fitting("tee", air)
        else:
            yield fitting("elbow", air)
        yield fitting("air valve", air)
    elif not closed:
        yield fitting("cap", xy(Point(line.coords[-1])))
    if bends is not None:
        for kind, at in bends(coordinates(line)):
            yield fitting(kind, at)


def _flush_valve(line: Pipe, tanks: Sequence[shapely.Geometry]) -> Fitting:
    """The valve of a return line: by the pump, but where hands reach it without leaning into a tank."""
    way = line.line.reverse()
    inside = [
        float(part.length)
        for tank in tanks
        for part in lines_of(way.intersection(tank))
        if part.distance(Point(way.coords[0])) < TOLERANCE
    ]
    wall = max(inside, default=0.0)
    along = min(wall + (BY_THE_TANK if wall else BY_THE_PUMP), (wall + float(way.length)) / 2)
    at = xy(way.interpolate(along))
    return Fitting(kind="flush valve", at=at, on="return", zone=line.zone, size=line.diameter, of="line")


def sharp_bends(line: LineString, radius: float) -> Iterator[XY]:
    """Corners of tubing that it cannot take by bending: of a tight bend with several, the sharpest.

    Parameters
    ----------
    line : LineString
        Taken to go on straight at both ends [m].
    radius : float
        The tightest bend it may take; seen over arms as long on either side of a corner [m].

    Yields
    ------
    (x, y)
        In order along the line [m].
    """
    points = coordinates(line)
    if len(points) < 3 or radius <= 0:
        return
    ahead, behind = (
        end / float(np.hypot(*end)) * radius for end in (points[0] - points[1], points[-1] - points[-2])
    )
    longer = LineString(np.vstack((points[0] + ahead, points, points[-1] + behind)))
    found: list[tuple[float, float, XY]] = []
    for station, corner in zip(stations(coordinates(longer))[2:-2].tolist(), points[1:-1], strict=True):
        one, other = (coordinates(longer.interpolate(station + arm))[0] for arm in (-radius, radius))
        steps = corner - one, other - corner
        across = abs(float(steps[0][0] * steps[1][1] - steps[0][1] * steps[1][0]))
        sides = math.prod(float(np.hypot(*side)) for side in (*steps, other - one))
        if across > 0 and sides / (2.0 * across) < (1.0 - BEND_SLACK) * radius:
            found.append((station, sides / (2.0 * across), (float(corner[0]), float(corner[1]))))
    while found:
        bend = [item for item in found if item[0] - found[0][0] <= radius]
        yield min(bend, key=lambda item: item[1])[2]
        found = found[len(bend) :]


def _foot(riser: Riser) -> XY:
    return xy(Point(riser.line.coords[0]))


def _on_join(join: Join, lateral: Lateral) -> Iterator[Fitting]:
    """Fittings of a loop, or of blank tubing past an obstacle."""
    ends = [xy(Point(join.line.coords[tip])) for tip in (0, -1)]
    kinds: list[tuple[FittingKind, XY]] = [("elbow", end) for end in ends]
    if join.kind == "loop":
        kinds.insert(1, ("loop", xy(join.line.interpolate(0.5, normalized=True))))
    else:
        kinds = [("coupling", end) for end in ends]
    for kind, at in kinds:
        yield Fitting(kind=kind, at=at, on="tubing", zone=lateral.zone, of=lateral.name)


def _trenches(manifolds: Sequence[Pipe], zones: Sequence[int]) -> Iterator[Trench]:
    """One trench for supply and return where they lie side by side, and one for each where they do not."""
    for zone in zones:
        supplies = [pipe.line for pipe in manifolds if (pipe.zone, pipe.kind) == (zone, "supply")]
        returns = [pipe.line for pipe in manifolds if (pipe.zone, pipe.kind) == (zone, "return")]
        beside_return, beside_supply = (
            shapely.union_all([shapely.buffer(line, TOGETHER, cap_style="flat") for line in lines])
            for lines in (returns, supplies)
        )
        for line in supplies:
            for part in stretches_in(line, beside_return):
                yield Trench(line=part, pipes=2, zone=zone)
            for part in lines_of(line.difference(beside_return)):
                yield Trench(line=part, pipes=1, zone=zone)
        for line in returns:
            for part in lines_of(line.difference(beside_supply)):
                yield Trench(line=part, pipes=1, zone=zone)
