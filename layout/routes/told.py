"""What there is to say of the lines: a check that each manifold has one, that they keep setbacks, and findings."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import shapely
from shapely import Point

from layout.model import Check, Feature, Finding, NoWay, Pipe, Plumbing, Pump, Site, site_place
from layout.plane import TOLERANCE
from layout.routes.ground import BED
from layout.routes.obstacles import obstacles_of

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
    for item in plumbing.unreached:
        yield Finding(
            code="no-way",
            said=(
                f"No line leads from the pump at {site_place(site.frame, pump.at)} to the {_name(item, plumbing)} at "
                f"{site_place(site.frame, item.at)}: {_closing(site, item)}. It is left out."
            ),
            remedy="Move the pump or what closes the way, state a smaller setback, or set manifold.end to another end.",
        )
    for feature in site.features:
        yield from _near(site, pump, feature, plumbing.lines)
    yield from _stacked(site, plumbing.lines)


def _stacked(site: Site, lines: Sequence[Pipe]) -> Iterator[Finding]:
    """Say where lines lie one above the other."""
    unit = site.frame.units
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
            )


def _setbacks(site: Site, pump: Pump, plumbing: Plumbing) -> Iterator[Check]:
    """Least distance by which lines stay outside what they have to keep."""
    worst: tuple[float, str] | None = None
    for line in plumbing.lines:
        ends = [pump.at, *((x, y) for x, y in (line.line.coords[0][:2], line.line.coords[-1][:2]))]
        for item in obstacles_of(site.features, ends, start=pump.at):
            margin = float(line.line.distance(item.shape)) - item.distance
            if worst is None or margin < worst[0]:
                x, y = shapely.get_coordinates(shapely.shortest_line(line.line, item.shape))[0].tolist()
                worst = margin, f"{item.name} at {site_place(site.frame, (x, y))}"
    if worst is None:
        return
    ok = worst[0] >= -TOLERANCE
    yield Check(
        name="least distance of lines beyond setbacks",
        value=max(worst[0], 0.0) if ok else worst[0],
        limit=0.0,
        unit="length",
        sense="least",
        ok=ok,
        source="feature.setback, or what pump and manifold keep of it",
        place="" if ok else worst[1],
    )


def _name(item: NoWay, plumbing: Plumbing) -> str:
    zones = {pipe.zone for pipe in plumbing.manifolds}
    return f"{item.kind} manifold" + (f" of zone {item.zone}" if len(zones) > 1 else "")


def _closing(site: Site, item: NoWay) -> str:
    """Say what closes the way, as the end of a sentence."""
    named = [
        f"{name if name == BED else 'the setback of ' + name} at {site_place(site.frame, at)}"
        for name, at in item.closed_by
    ]
    if len(named) == 1:
        return f"{named[0]} closes every way"
    together = ", ".join(named[:-1]) + f" and {named[-1]}"
    return f"{together} close every way together" + (
        "; without any one of them there would be one" if item.alone else ""
    )


def _near(site: Site, pump: Pump, feature: Feature, lines: Sequence[Pipe]) -> Iterator[Finding]:
    """Say where lines come nearer to a feature than its setback, since pump or manifold does."""
    unit = site.frame.units
    own = feature.shape.distance(Point(pump.at)) < TOLERANCE
    if own or not lines:
        return
    nearest = min(lines, key=lambda line: round(float(line.line.distance(feature.shape)), 6)).line
    distance = float(nearest.distance(feature.shape))
    if distance < feature.setback - 2 * TOLERANCE:
        x, y = shapely.get_coordinates(shapely.shortest_line(nearest, feature.shape))[0].tolist()
        yield Finding(
            code="line-in-setback",
            said=(
                f"A line comes as near as {distance / unit.length:.2f} {unit.length_name} to {feature.name} at "
                f"{site_place(site.frame, (x, y))}, inside its setback of {feature.setback / unit.length:g} "
                f"{unit.length_name}: the pump or a manifold stands as near."
            ),
            remedy="Move the pump, or set manifold.end to another end of the bed.",
        )
