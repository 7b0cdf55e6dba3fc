"""What there is to say of the lines: a check that each manifold has one, that they keep setbacks, and findings."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from layout.model import (
    XY,
    Check,
    Feature,
    Finding,
    NoWay,
    Pipe,
    PipeKind,
    Plumbing,
    Pump,
    Site,
    site_place,
)
from layout.plane import TOLERANCE, lines_of
from layout.routes.ground import BED
from layout.routes.joints import APART
from layout.routes.obstacles import Obstacle, obstacles_of

AMID = 1.0
"""A manifold farther within the edge of the bed than this stands amid it [m]."""
LISTED = 12
"""Places that are named; of the others it says how many."""
ON = 1e-6
"""An elbow nearer than this to a line is on it [m]."""
OVERLAP = 0.1
"""Length on which lines lie one above the other that is worth saying [m]."""


def route_checks(site: Site, plumbing: Plumbing) -> tuple[Check, ...]:
    """Check the lines of a finished layout.

    Parameters
    ----------
    site : Site
    plumbing : Plumbing
        With lines.

    Returns
    -------
    tuple of Check
        Whether every manifold has a line; how far lines stay outside setbacks, where there are features. None without a
        pump.
    """
    if site.pump is None:
        return ()
    lost = plumbing.unreached
    told = "; ".join(
        f"{_name(item, plumbing)} at {site_place(site.frame, item.at)}: {_closing(site, item)}"
        for item in lost
    )
    reached = Check(
        name="manifolds that no line can lead to",
        value=float(len(lost)),
        limit=0.0,
        unit="count",
        sense="most",
        ok=not lost,
        source="feature.setback, bed.outline",
        place=told,
    )
    return (reached, *_setbacks(site, site.pump, plumbing))


def route_findings(site: Site, plumbing: Plumbing) -> Iterator[Finding]:
    """What of the lines deserves a look though they stand, and what keeps others from being laid."""
    pump = site.pump
    if pump is None:
        return
    for where, why in _lost(site, plumbing):
        yield Finding(
            code="no-way",
            said=(
                f"No line leads from the pump at {site_place(site.frame, pump.at)} to the {where}: {why}. What cannot "
                "be laid is left out."
            ),
            remedy="Set manifold.end to another end, try another runs.pattern or a longer laterals.longest, move the "
            "pump or what closes the way, or state a smaller setback.",
        )
    for feature in site.features:
        yield from _near(site, pump, feature, plumbing.lines)
    yield from _stacked(site, plumbing.lines)
    yield from _unjoined(site, plumbing)


def _unjoined(site: Site, plumbing: Plumbing) -> Iterator[Finding]:
    """Say where elbows of a line stand at one place, or nearer to each other than they can be joined."""
    unit = site.frame.units
    found: list[str] = []
    for at, apart in close_elbows(plumbing):
        how = "at one place" if apart < TOLERANCE else f"{apart / unit.length:.2f} {unit.length_name} apart"
        found.append(f"{how} at {site_place(site.frame, at)}")
    if found:
        more = f"; {len(found) - LISTED} more" if len(found) > LISTED else ""
        yield Finding(
            code="close-elbows",
            said=(
                f"Elbows of lines stand nearer to each other than {APART / unit.length:.2f} {unit.length_name}, which "
                f"it takes to join two: {'; '.join(found[:LISTED])}{more}."
            ),
            remedy="There is no room for them on the way as planned: turn the pipe there otherwise as it is laid.",
        )


def close_elbows(plumbing: Plumbing) -> list[tuple[XY, float]]:
    """Places where elbows of a line cannot be joined, and how far apart they are [m]."""
    elbows = [item for item in plumbing.fittings if item.of == "line" and item.kind.startswith("elbow ")]
    found: dict[tuple[PipeKind, XY, XY], tuple[XY, float]] = {}
    for pipe in plumbing.lines:
        along = sorted(
            (round(float(pipe.line.project(Point(item.at))), 6), item.at)
            for item in elbows
            if (item.on, item.zone) == (pipe.kind, pipe.zone) and pipe.line.distance(Point(item.at)) < ON
        )
        for (first, at), (second, other) in itertools.pairwise(along):
            if second - first < APART - TOLERANCE:
                found.setdefault((pipe.kind, at, other), (at, second - first))
    return list(found.values())


def _stacked(site: Site, lines: Sequence[Pipe]) -> Iterator[Finding]:
    """Say where lines lie one above the other."""
    unit = site.frame.units
    own = site.zones is not None and site.zones.lines == "own"
    for one, other in itertools.combinations(lines, 2):
        shared = one.line.intersection(other.line)
        if shared.length > OVERLAP:
            x, y = shapely.get_coordinates(shared)[0].tolist()
            yield Finding(
                code="stacked-lines",
                said=(
                    f"A {one.kind} and a {other.kind} line lie one above the other on "
                    f"{shared.length / unit.length:.2f} {unit.length_name} from {site_place(site.frame, (x, y))} on: "
                    "there is no room for them side by side."
                ),
                remedy='With zones.lines = "trunk" all zones share one pipe of each kind.' if own else "",
            )


def _setbacks(site: Site, pump: Pump, plumbing: Plumbing) -> Iterator[Check]:
    """Least distance by which lines stay outside setbacks, but for those that their own ends stand in."""
    margins = [
        (round(_margin(line.line, item), 6), item, line.line)
        for line in plumbing.lines
        for item in obstacles_of(site.features, start=pump.at)
    ]
    if not margins:
        return
    margin, item, line = min(margins, key=lambda found: found[0])
    ok = margin >= -TOLERANCE
    x, y = shapely.get_coordinates(shapely.shortest_line(line, item.shape))[0].tolist()
    yield Check(
        name="least distance of lines beyond setbacks",
        value=max(margin, 0.0) if ok else margin,
        limit=0.0,
        unit="length",
        sense="least",
        ok=ok,
        source="feature.setback, but for the way out of one that an end stands in",
        place="" if ok else f"{item.name} at {site_place(site.frame, (x, y))}",
    )


def _margin(line: LineString, item: Obstacle) -> float:
    """How far a line stays outside a setback, less the stretches at its ends that lie within it [m]."""
    ends = shapely.points([line.coords[0], line.coords[-1]])
    if bool(np.all(shapely.distance(ends, item.shape) >= item.distance - TOLERANCE)):
        return float(line.distance(item.shape)) - item.distance
    within = _within(line, item.shape, item.distance)
    return -sum(float(part.length) for part in within if min(shapely.distance(ends, part)) > TOLERANCE)


def _within(line: LineString, shape: BaseGeometry, setback: float) -> list[LineString]:
    """Give the stretches of a line that lie within a setback."""
    return lines_of(line.intersection(shape.buffer(setback - TOLERANCE, quad_segs=64)))


def _lost(site: Site, plumbing: Plumbing) -> list[tuple[str, str]]:
    """Give the manifolds that no line can lead to, and why, those together that the same things close off."""
    found: dict[str, list[str]] = {}
    for item in plumbing.unreached:
        where = f"{_name(item, plumbing)} at {site_place(site.frame, item.at)}"
        found.setdefault(_closing(site, item), []).append(where)
    return [(" and the ".join(places), why) for why, places in found.items()]


def _name(item: NoWay, plumbing: Plumbing) -> str:
    zones = {pipe.zone for pipe in plumbing.manifolds}
    return f"{item.kind} manifold" + (f" of zone {item.zone}" if len(zones) > 1 else "")


def _closing(site: Site, item: NoWay) -> str:
    """Say what closes the way, as the end of a sentence."""
    unit, here = site.frame.units, Point(item.at)
    inside = float(site.bed.outline.exterior.distance(here)) if site.bed.outline.contains(here) else 0.0
    if inside > AMID and item.closed_by == ((BED, item.at),):
        return (
            f"it stands amid the bed, {inside / unit.length:.1f} {unit.length_name} from its edge, where a lateral "
            "ends, and no room is left between the tubing for a lead to the edge"
        )
    named = [
        f"{name if name == BED else 'the setback of ' + name} at {site_place(site.frame, at)}"
        for name, at in item.closed_by
    ]
    if len(named) == 1:
        return f"{named[0]} closes every way"
    together = ", ".join(named[:-1]) + f" and {named[-1]}"
    return f"{together} close every way together" + (
        "; taking any one of them away would open one" if item.alone else ""
    )


def _near(site: Site, pump: Pump, feature: Feature, lines: Sequence[Pipe]) -> Iterator[Finding]:
    """Say where lines lie within a setback, since the pump or a manifold does."""
    unit = site.frame.units
    if feature.setback <= TOLERANCE or feature.shape.distance(Point(pump.at)) < TOLERANCE:
        return
    within = [part for pipe in lines for part in _within(pipe.line, feature.shape, feature.setback)]
    if within:
        x, y = shapely.get_coordinates(within[0])[0].tolist()
        yield Finding(
            code="line-in-setback",
            said=(
                f"{sum(part.length for part in within) / unit.length:.2f} {unit.length_name} of lines, at "
                f"{site_place(site.frame, (x, y))}, lie within the setback of {feature.name}: the pump or a manifold "
                "stands in it, and the lines leave it by the shortest way."
            ),
            remedy="Move the pump, or set manifold.end to another end of the bed.",
        )
