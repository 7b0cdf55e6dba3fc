"""Levels of zones and their pipes: high points, air valves, the fall of returns to the pump, what drains back.

Pipe is taken to lie at one depth below the ground, wherever it is not said to lie deeper.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from shapely import LineString

from layout.model import XY, Check, Finding, Pipe, PipeKind, Plumbing, Run, Site, Zone, ZoneLevels, site_place
from layout.pipes import bore, is_listed
from layout.plane import TOLERANCE, Array, coordinates, points_at, stations
from layout.terrain.surface import heights

STEP = 0.5
"""Distance from point to point at which heights along pipes are looked at [m]."""
SAME = 0.01
"""Heights that differ by less are one [m]: no level is surveyed more closely."""
DEEPER = 0.15
"""A return that must lie deeper than elsewhere by more than this is pointed out [m]."""
ALL = 0.999
"""Of a line of which this share is surveyed the fall is known."""


def air_places(site: Site, plumbing: Plumbing) -> dict[tuple[int, PipeKind], XY]:
    """Where the air and vacuum release valves stand: on supply and return of each zone, at its high point.

    Parameters
    ----------
    site : Site
    plumbing : Plumbing
        With manifolds.

    Returns
    -------
    dict
        By zone and kind, a place on a manifold [m]: the highest; of several of one height, and where heights are not
        known, the one farthest from where the line meets the manifold.
    """
    places: dict[tuple[int, PipeKind], XY] = {}
    best: dict[tuple[int, PipeKind], tuple[float, float]] = {}
    for pipe in plumbing.manifolds:
        walk = _walk(pipe.line if pipe.kind == "supply" else pipe.line.reverse())
        level, along = _heights(site, walk), stations(walk)
        rounded = np.where(np.isnan(level), -math.inf, np.round(level / SAME))
        number = int(np.lexsort((along, rounded))[-1])
        rank = (float(rounded[number]), float(along[number]))
        key = (pipe.zone, pipe.kind)
        if key not in best or rank > best[key]:
            best[key] = rank
            places[key] = (float(walk[number, 0]), float(walk[number, 1]))
    return places


def zone_levels(
    site: Site, zones: Sequence[Zone], runs: Sequence[Run], plumbing: Plumbing
) -> tuple[ZoneLevels, ...]:
    """Find the heights of zones and their pipes, and what drains back to the pump tank.

    After a dose the flush valve holds the return, and in a field of several zones the zone valve the supply manifold:
    through the supply line drains back what lies before them and falls, or is level, all the way to the pump; where
    heights are not known, all of it. No check valve is taken to stand at the pump, and nothing that tubing gives back
    by its risers is counted. The bore of pipe is that of :func:`layout.pipes.bore`.

    Parameters
    ----------
    site : Site
    zones : sequence of Zone
    runs : sequence of Run
    plumbing : Plumbing
        With manifolds, and lines where there is a pump.

    Returns
    -------
    tuple of ZoneLevels
        By zone, in their order.
    """
    drained = set[int]()
    return tuple(_levels_of(site, zone, runs, plumbing, drained, shut=len(zones) > 1) for zone in zones)


def _levels_of(
    site: Site, zone: Zone, runs: Sequence[Run], plumbing: Plumbing, before: set[int], *, shut: bool
) -> ZoneLevels:
    """Levels of a zone; `shut` says whether a zone valve holds its supply manifold after a dose.

    The pieces of supply line that it drains are added to those that zones before it drain.
    """
    manifolds = [pipe for pipe in plumbing.manifolds if pipe.zone == zone.number]
    ways = [(pipe, plumbing.way_to(pipe)) for pipe in manifolds]
    lines = {id(piece): piece for _, way in ways for piece in way}
    own = set(zone.runs)
    ground = [run.line for run in runs if run.name in own] + [pipe.line for pipe in manifolds]
    walk = np.vstack([_walk(line) for line in ground])
    level = _heights(site, walk)
    top = None if np.isnan(level).all() else int(np.nanargmax(np.round(level / SAME)))
    falls = [_fall(site, _whole(way)) for pipe, way in ways if pipe.kind == "return" and way]
    known = [fall for fall in falls if fall is not None]
    worst = min(known, key=lambda fall: fall[0], default=None)
    drained, added, counted = 0.0, 0.0, set[int]()
    for pipe, way in ways:
        if pipe.kind == "supply" and way:
            end = None if shut else pipe
            drained += _drained(site, way, end, beyond=_shared(way, counted))
            added += _drained(site, way, end, beyond=_shared(way, before))
            counted |= {id(piece) for piece in way}
            before |= counted
    return ZoneLevels(
        zone=zone.number,
        high=None if top is None else (float(walk[top, 0]), float(walk[top, 1])),
        high_level=None if top is None else float(level[top]),
        return_known=min((fall[3] for fall in known), default=0.0) if len(known) == len(falls) else 0.0,
        pitch=None if worst is None else worst[0],
        deepening=None if worst is None else max(fall[1] for fall in known),
        deepest_at=None if worst is None else max(known, key=lambda fall: fall[1])[2],
        drain_back=drained,
        drain_back_added=added,
        held=math.fsum(_area(pipe) * float(pipe.line.length) for pipe in (*manifolds, *lines.values())),
    )


def _shared(way: Sequence[Pipe], counted: set[int]) -> float:
    """How far from the pump on the pieces of a line are counted already [m]."""
    return math.fsum(piece.line.length for piece in way if id(piece) in counted)


def _walk(line: LineString) -> Array:
    """Points of a line in steps, its corners among them [m]."""
    points = coordinates(line)
    along = np.unique(np.concatenate((stations(points), np.arange(0.0, line.length, STEP))))
    return points_at(points, along)


def _heights(site: Site, points: Array) -> Array:
    """Heights of the ground, NaN where they are not known; one level for the whole bed tells of none."""
    levels = site.bed.levels
    if levels is None or not levels.points:
        return np.full(len(points), np.nan)
    return heights(levels, points)


def _fall(site: Site, line: LineString) -> tuple[float, float, XY, float] | None:
    """Mean fall of the ground along a return line, how much deeper it must lie, where, and what of it is known."""
    walk = _walk(line)
    along, level = stations(walk), _heights(site, walk)
    known = np.flatnonzero(~np.isnan(level))
    if len(known) < 2 or along[known[-1]] - along[known[0]] < STEP:
        return None
    along, level, walk = along[known], level[known], walk[known]
    reach = float(along[-1] - along[0])
    # At the least pitch the pipe passes under a place at the lowest line through what lies before it.
    ahead = np.minimum.accumulate(level + site.design.least_pitch * along)
    deeper = level + site.design.least_pitch * along - ahead
    at = int(np.argmax(deeper))
    place = (float(walk[at, 0]), float(walk[at, 1]))
    return float(level[0] - level[-1]) / reach, float(deeper[at]), place, min(reach / float(line.length), 1.0)


def _whole(pieces: Sequence[Pipe]) -> LineString:
    """The pieces of line between pump and manifold as one line, in the direction of flow [m]."""
    ordered = pieces if pieces[0].kind == "supply" else pieces[::-1]
    return LineString(np.vstack([coordinates(piece.line) for piece in ordered]))


def _area(pipe: Pipe) -> float:
    return math.pi / 4 * bore(pipe.diameter) ** 2


def _drained(site: Site, way: Sequence[Pipe], manifold: Pipe | None, *, beyond: float) -> float:
    """What of a supply line beyond a length, and of the manifold that it leads to, drains back to the pump [m³]."""
    walk = np.vstack([_walk(line) for line in (_whole(way), *([] if manifold is None else [manifold.line]))])
    level = _heights(site, walk)
    level = np.where(np.isnan(level), -math.inf, level)
    sizes = np.hypot(*np.diff(walk, axis=0).T)
    highest = np.maximum.accumulate(level)
    falls = (level >= highest - SAME) | np.isinf(level)
    new = stations(walk)[1:] > beyond + TOLERANCE  # pieces add up in other ways
    return _area(way[0]) * float(sizes[falls[1:] & new].sum())


# --- what a reviewer should see -------------------------------------------------------------------------


def pitch_checks(site: Site, levels: Sequence[ZoneLevels]) -> Iterator[Check]:
    """Whether the ground falls along each return line to the pump as much as the pipe should, where all is surveyed."""
    for zone in levels:
        if zone.pitch is None or zone.return_known < ALL:
            continue
        deeper = ""
        if zone.deepest_at is not None and zone.deepening is not None:
            unit = site.frame.units
            deeper = (
                f"unless its trench goes {zone.deepening / unit.length:.2f} {unit.length_name} deeper at "
                f"{site_place(site.frame, zone.deepest_at)}"
            )
        yield Check.against(
            f"fall of the return line to the pump{_of(zone, levels)}",
            zone.pitch,
            "least",
            site.design.least_pitch,
            unit="ratio",
            source="design.least_pitch, along the ground",
            place=deeper,
            slack=1e-9,
        )


def _of(zone: ZoneLevels, levels: Sequence[ZoneLevels]) -> str:
    return f", Z{zone.zone}" if len(levels) > 1 else ""


def level_findings(site: Site, levels: Sequence[ZoneLevels], plumbing: Plumbing) -> Iterator[Finding]:
    """What deserves a look in the levels of the pipes."""
    unit = site.frame.units
    for zone in levels:
        of = _of(zone, levels)
        if zone.pitch is not None and zone.return_known < ALL:
            yield Finding(
                code="return-not-surveyed",
                said=(
                    f"Only {100 * zone.return_known:.0f} % of the return line{of} lies on surveyed ground, which "
                    f"{'falls' if zone.pitch >= 0 else 'RISES'} {100 * abs(zone.pitch):.1f} % towards the pump there; "
                    "its fall to the pump is not checked."
                ),
                remedy="Survey levels along it to the pump tank.",
            )
        if (
            zone.deepening is not None
            and zone.deepest_at is not None
            and zone.deepening > DEEPER
            and zone.pitch is not None
            and zone.pitch >= site.design.least_pitch
        ):
            yield Finding(
                code="return-deeper",
                said=(
                    f"To fall {100 * site.design.least_pitch:g} % throughout, the return line{of} must lie "
                    f"{zone.deepening / unit.length:.2f} {unit.length_name} deeper than elsewhere at "
                    f"{site_place(site.frame, zone.deepest_at)}."
                ),
            )
    if levels and all(zone.high is None for zone in levels):
        yield Finding(
            code="high-points-unknown",
            said="Without surveyed levels, air valves are drawn at the dead ends of the manifolds.",
            remedy="Find the high point of each zone on the ground, and set them there.",
        )
    unknown = sorted({pipe.diameter for pipe in plumbing.manifolds if not is_listed(pipe.diameter)})
    if unknown:
        sizes = ", ".join(f"{size / unit.diameter:.4g} {unit.diameter_name}" for size in unknown)
        yield Finding(
            code="bore-not-known",
            said=f"Schedule 40 has no pipe of {sizes}; that is taken as its inside diameter.",
        )
