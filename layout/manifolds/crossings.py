"""Where pipes lie across tubing, and across each other without joining."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import shapely
from shapely import LineString, MultiPoint, Point

from layout.manifolds.fronts import UNDER
from layout.model import XY, Check, Finding, Join, Pipe, Plumbing, Run, Site, site_place, xy
from layout.plane import TOLERANCE, lines_of

TOUCH = 2 * TOLERANCE
"""What meets nearer than this to a place where it joins meets there [m]."""
LISTED = 12
"""Places that are named; of the others it says how many."""

Met = tuple[str, XY]
"""What meets, and where."""


def crossing_checks(
    site: Site, plumbing: Plumbing, runs: Sequence[Run], joins: Sequence[Join] = ()
) -> tuple[Check, Check]:
    """Count the places where pipe lies across tubing, which fails, and where pipes cross that do not join.

    A manifold that a setback puts under the ends of runs crosses them there by design, a few offsets in; so does a
    riser that passes over the other manifold of its trench. Neither is counted. Pipes that cross can be laid, one under
    the other: their number is for information.

    Parameters
    ----------
    site : Site
    plumbing : Plumbing
        With lines.
    runs : sequence of Run
    joins : sequence of Join, optional

    Returns
    -------
    tuple of Check
    """
    over = list(_over_tubing(site, plumbing, runs, joins))
    return (
        Check(
            name="places where pipe crosses tubing",
            value=float(len(over)),
            limit=0.0,
            unit="count",
            sense="most",
            ok=not over,
            source="a trench across a run would cut it",
            place=_told(site, over),
        ),
        Check(
            name="places where pipes cross that do not join",
            value=float(len(list(_crossed(site, plumbing)))),
            limit=math.inf,
            unit="count",
            sense="most",
            ok=True,
            source="one of them lies under the other",
        ),
    )


def crossing_findings(site: Site, plumbing: Plumbing) -> Iterator[Finding]:
    """Say where pipes cross that do not join."""
    found = list(_crossed(site, plumbing))
    if found:
        yield Finding(
            code="crossing-pipes",
            said=f"Pipes that do not join cross, places: {len(found)}: {_told(site, found)}.",
            remedy="Lay one under the other there, each with its fall.",
        )


def _told(site: Site, found: Sequence[Met]) -> str:
    named = "; ".join(f"{what} at {site_place(site.frame, at)}" for what, at in found[:LISTED])
    more = f"; {len(found) - LISTED} more" if len(found) > LISTED else ""
    return named + more


def _over_tubing(site: Site, plumbing: Plumbing, runs: Sequence[Run], joins: Sequence[Join]) -> Iterator[Met]:
    """Places where manifolds, lines and risers meet tubing, but for the ends that they serve."""
    named = [(run.name, run.line) for run in runs]
    named += [(f"the tubing from {join.start} to {join.end}", join.line) for join in joins]
    tubes = [line for _, line in named]
    tree = shapely.STRtree(tubes)
    under = UNDER * site.manifold.offset
    pipes = [(_name(pipe, "manifold", plumbing), pipe.line, under) for pipe in plumbing.manifolds]
    pipes += [(_name(pipe, "line", plumbing), pipe.line, TOUCH) for pipe in plumbing.lines]
    # A riser stands at the end of its own run; past the ends of others it comes down to the manifold under them.
    pipes += [(f"{item.kind} riser of {item.lateral}", item.line, under) for item in plumbing.risers]
    for what, line, allowed in pipes:
        for number in sorted(tree.query(line, predicate="intersects").tolist()):
            name, tube = named[number]
            ends = MultiPoint([tube.coords[0], tube.coords[-1]])
            for at in _places(line, tube):
                if ends.distance(Point(at)) > allowed:
                    yield f"{what} and {name}", at


def _crossed(site: Site, plumbing: Plumbing) -> Iterator[Met]:
    """Places where manifolds and lines meet each other, or a riser a line, where they do not join."""
    pipes = [(_name(pipe, "manifold", plumbing), pipe, pipe.line) for pipe in plumbing.manifolds]
    pipes += [(_name(pipe, "line", plumbing), pipe, pipe.line) for pipe in plumbing.lines]
    pump = [site.pump.at] if site.pump else []
    trunk = any(not pipe.zone for pipe in plumbing.lines)  # pieces of which meet at tees
    for (one, a, first), (other, b, second) in itertools.combinations(pipes, 2):
        if not first.intersects(second):
            continue
        joined = [*pump, *(_tips(a) & _tips(b) if a.kind == b.kind and (a.zone == b.zone or trunk) else ())]
        for at in _places(first, second):
            if not any(Point(at).distance(Point(place)) <= TOUCH for place in joined):
                yield f"{one} and {other}", at
    lines = [pipe.line for pipe in plumbing.lines]
    tree = shapely.STRtree(lines)
    for riser in plumbing.risers:
        foot = Point(riser.line.coords[0])
        for number in sorted(tree.query(riser.line, predicate="intersects").tolist()):
            for at in _places(riser.line, lines[number]):
                # A line meets its manifold where the last riser stands.
                if foot.distance(Point(at)) > TOUCH:
                    line = _name(plumbing.lines[number], "line", plumbing)
                    yield f"{riser.kind} riser of {riser.lateral} and {line}", at


def _tips(pipe: Pipe) -> set[XY]:
    return {xy(Point(pipe.line.coords[end])) for end in (0, -1)}


def _places(one: LineString, other: LineString) -> list[XY]:
    """Where two lines meet: of a shared stretch, its middle [m]."""
    met = shapely.get_parts(one.intersection(other))
    stretches = lines_of(
        shapely.line_merge(shapely.MultiLineString([part for part in met if part.length > 0]))
    )
    places = [xy(part) for part in met if isinstance(part, Point)]
    return places + [xy(part.interpolate(0.5, normalized=True)) for part in stretches]


def _name(pipe: Pipe, what: str, plumbing: Plumbing) -> str:
    several = len({item.zone for item in plumbing.manifolds}) > 1
    if not pipe.zone:
        return pipe.named(what, several=several)
    return f"{pipe.kind} {what}" + (f" of zone {pipe.zone}" if several else "")
