"""What the pipes and tubing of a zone hold, and between what times they fill."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from layout.hydraulics.laws import PumpCurve
from layout.model import Design, Pipe, Plumbing, Volumes, WaterState, Zone
from layout.pipes import bore


def zone_volumes(
    design: Design, zone: Zone, dose: WaterState, flush: WaterState | None, curve: PumpCurve | None
) -> Volumes:
    """Add up what a zone holds.

    Parameters
    ----------
    design : Design
        With the bore of tubing.
    zone : Zone
    dose : WaterState
    flush : WaterState or None
    curve : PumpCurve or None

    Returns
    -------
    Volumes
    """
    inside = design.site.tubing.inside_diameter
    assert inside is not None
    names = {lateral.name for lateral in design.laterals if lateral.zone == zone.number}
    length = math.fsum(
        (
            *(lateral.length + lateral.blank for lateral in design.laterals if lateral.name in names),
            *(float(riser.line.length) for riser in design.plumbing.risers if riser.lateral in names),
        )
    )
    tubing = _round(inside) * length
    own = [pipe for pipe in design.plumbing.manifolds if pipe.zone == zone.number]
    manifolds, lines = _held_by(own), _held_by(_filled(design.plumbing, own))
    fill = math.fsum((tubing, manifolds, lines))
    fastest = max(dose.flow, flush.flow if flush else 0.0, curve.most if curve else 0.0)
    return Volumes(
        tubing=tubing,
        manifolds=manifolds,
        lines=lines,
        fill=fill,
        fill_least=fill / fastest if fastest > 0 else math.inf,
        fill_greatest=fill / dose.flow if dose.flow > 0 else math.inf,
        drain_back=next((item.drain_back for item in design.zone_levels if item.zone == zone.number), 0.0),
    )


def lines_volume(design: Design) -> float:
    """What the lines of all zones hold, each pipe once [m³]."""
    return _held_by(_filled(design.plumbing, design.plumbing.manifolds))


def _filled(plumbing: Plumbing, manifolds: Iterable[Pipe]) -> Iterator[Pipe]:
    """The lines that fill with these manifolds: a trunk behind their flush valves does not."""
    for pipe in manifolds:
        if not plumbing.flushed_at(pipe):
            yield from plumbing.way_to(pipe)


def _held_by(pipes: Iterable[Pipe]) -> float:
    once = {id(pipe): pipe for pipe in pipes}
    return math.fsum(_round(bore(pipe.diameter)) * float(pipe.line.length) for pipe in once.values())


def _round(size: float) -> float:
    return math.pi / 4.0 * size**2
