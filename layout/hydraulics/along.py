"""Pressure along laterals, from riser to riser: the places of emitters as the water comes by them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from layout.model import Design, Lateral, WaterState
from layout.plane import coordinates


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """The emitters of a lateral in the order of the water.

    Attributes
    ----------
    lateral : str
    zone : int
    along : tuple of float
        From the supply riser, along runs, loops and blank tubing [m].
    heads : tuple of float
        Pressures [m of water].
    velocity : float or None
        At the end of the lateral, towards the return [m/s].
    """

    lateral: str
    zone: int
    along: tuple[float, ...]
    heads: tuple[float, ...]
    velocity: float | None


def profiles(design: Design, zone: int, state: WaterState) -> tuple[Profile, ...]:
    """The laterals of a zone, dosed or flushed, in the design's order.

    Parameters
    ----------
    design : Design
    zone : int
    state : WaterState
        Of that zone.

    Returns
    -------
    tuple of Profile
    """
    heads = {run.run: run.heads for run in state.runs}
    velocities = dict(state.ends)
    made = []
    for lateral in design.laterals:
        if lateral.zone != zone:
            continue
        places = list(_places(design, lateral, heads))
        made.append(
            Profile(
                lateral=lateral.name,
                zone=zone,
                along=tuple(along for along, _ in places),
                heads=tuple(head for _, head in places),
                velocity=velocities.get(lateral.name),
            )
        )
    return tuple(made)


def _places(
    design: Design, lateral: Lateral, heads: dict[str, tuple[float, ...]]
) -> Iterator[tuple[float, float]]:
    """Place and pressure of each emitter, run by run, each from the end where water enters it."""
    runs = {run.name: run for run in design.laying.runs}
    onward = {join.start: join for join in design.joins}
    entry, start = lateral.supply, 0.0
    for name in lateral.runs:
        run, mine = runs[name], heads.get(name, ())
        points, length = coordinates(run.line), run.length
        outward = math.dist(points[0], entry) <= math.dist(points[-1], entry)
        spacing = design.site.tubing.emitter_spacing
        for number in range(len(mine)) if outward else range(len(mine) - 1, -1, -1):
            along = min((number + 0.5) * spacing, length)
            yield start + (along if outward else length - along), mine[number]
        start += length
        end = points[-1] if outward else points[0]
        entry = (float(end[0]), float(end[1]))
        join = onward.get(name)
        if join is not None and name != lateral.runs[-1]:
            start += float(join.line.length)
            x, y = join.line.coords[-1][:2]
            entry = (float(x), float(y))
