"""What the pipes and tubing of a zone hold, and between what times they fill."""

from __future__ import annotations

import math

from layout.hydraulics.laws import PumpCurve
from layout.model import Design, PipeKind, Volumes, WaterState, Zone
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
    manifolds = {kind: _held(design, zone, kind, manifolds=True) for kind in _KINDS}
    lines = {kind: _held(design, zone, kind, manifolds=False) for kind in _KINDS}
    fill = tubing + math.fsum((*manifolds.values(), *lines.values()))
    fastest = max(dose.flow, flush.flow if flush else 0.0, curve.most if curve else 0.0)
    return Volumes(
        tubing=tubing,
        manifolds=math.fsum(manifolds.values()),
        lines=math.fsum(lines.values()),
        fill=fill,
        fill_least=fill / fastest if fastest > 0 else math.inf,
        fill_greatest=fill / dose.flow if dose.flow > 0 else math.inf,
        drain_back=next((item.drain_back for item in design.zone_levels if item.zone == zone.number), 0.0),
    )


_KINDS: tuple[PipeKind, PipeKind] = ("supply", "return")


def _held(design: Design, zone: Zone, kind: PipeKind, *, manifolds: bool) -> float:
    plumbing = design.plumbing
    own = [pipe for pipe in plumbing.manifolds if (pipe.zone, pipe.kind) == (zone.number, kind)]
    pipes = {id(pipe): pipe for pipe in own}
    if not manifolds:
        pipes = {id(piece): piece for pipe in own for piece in plumbing.way_to(pipe)}
    return math.fsum(_round(bore(pipe.diameter)) * float(pipe.line.length) for pipe in pipes.values())


def _round(size: float) -> float:
    return math.pi / 4.0 * size**2
