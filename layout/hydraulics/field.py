"""The whole field, zone by zone: what water does in it, the checks of that, and what deserves a look."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from layout.errors import NoBalanceError
from layout.hydraulics.dose import dose
from layout.hydraulics.doses import dose_checks, zone_doses
from layout.hydraulics.flush import flush
from layout.hydraulics.laws import PumpCurve
from layout.hydraulics.network import Heights, line_is_missing, zone_network
from layout.hydraulics.told import water_checks, water_findings
from layout.hydraulics.volumes import lines_volume, zone_volumes
from layout.hydraulics.water import kinematic_viscosity
from layout.model import Check, Design, Finding, Hydraulics, Zone, ZoneWater
from layout.plane import Array


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What water does in a field.

    Attributes
    ----------
    hydraulics : Hydraulics or None
        None where it cannot be worked out; a finding then says why.
    checks : tuple of Check
    findings : tuple of Finding
    """

    hydraulics: Hydraulics | None = None
    checks: tuple[Check, ...] = ()
    findings: tuple[Finding, ...] = ()


def water_of(design: Design, *, heights: Callable[[Array], Array] | None) -> Outcome:
    """Work out flows, pressures and volumes of a field.

    Parameters
    ----------
    design : Design
        Finished but for this.
    heights : callable or None
        Levels of the ground at points, NaN where they are not known [m]. None: none are; the bed is then taken to lie
        level with the liquid in the pump tank.

    Returns
    -------
    Outcome
    """
    missing = list(_missing(design))
    if missing:
        said = f"Flows and pressures are not worked out: {' and '.join(missing)}."
        remedy = "Give what is missing to have heads, flushing and the checks of them."
        return Outcome(findings=(Finding(code="no-hydraulics", said=said, remedy=remedy),))
    levels, known = ground_levels(design, heights)
    try:
        zones = tuple(_zone(design, zone, levels) for zone in design.zones)
    except NoBalanceError as error:
        fault = error.faults[0]
        said = f"Flows and pressures are not worked out: {fault.said}."
        return Outcome(findings=(Finding(code="no-hydraulics", said=said, remedy=fault.remedy),))
    hydraulics = Hydraulics(
        zones=zones,
        viscosity=kinematic_viscosity(design.site.design.water_temperature),
        levels_known=known,
        lines=lines_volume(design),
        drain_back=math.fsum(item.drain_back_added for item in design.zone_levels),
    )
    return Outcome(
        hydraulics=hydraulics,
        checks=(*water_checks(design, hydraulics), *dose_checks(design, hydraulics)),
        findings=tuple(water_findings(design, hydraulics)),
    )


def _missing(design: Design) -> Iterator[str]:
    """What they cannot be worked out without."""
    site = design.site
    needed = {
        "tubing.inside_diameter": site.tubing.inside_diameter,
        "pump.at": site.pump,
        "pump.level": site.pump and site.pump.level,
    }
    names = [name for name, value in needed.items() if value is None]
    if site.pump is None:
        names.remove("pump.level")
    if names:
        yield f"{', '.join(names)} {'is' if len(names) == 1 else 'are'} not given"
    if site.pump is not None:
        cut = [
            f"the {kind} of {zone.name}"
            for zone in design.zones
            for kind in ("supply", "return")
            if line_is_missing(design, zone, kind)
        ]
        if cut:
            yield f"no line leads to {', '.join(cut)}"
    dry = [zone.name for zone in design.zones if not zone.emitters]
    if dry or not design.zones:
        yield f"there are no emitters{' in ' if dry else ''}{', '.join(dry)}"


def ground_levels(design: Design, heights: Callable[[Array], Array] | None) -> tuple[Heights, bool]:
    """Levels at points, those of the nearest known ground where they are not known, and whether any are."""
    pump = design.site.pump
    liquid = 0.0 if pump is None or pump.level is None else pump.level

    def level(points: Array) -> Array:
        from scipy.spatial import cKDTree

        found = np.full(len(points), math.nan) if heights is None else np.array(heights(points))
        unknown = np.isnan(found)
        if unknown.all():
            return np.full(len(points), liquid)
        if unknown.any():
            _, nearest = cKDTree(points[~unknown]).query(points[unknown])
            found[unknown] = found[~unknown][nearest]
        return found

    return level, heights is not None


def _zone(design: Design, zone: Zone, levels: Heights) -> ZoneWater:
    pump = design.site.pump
    curve = None
    if pump is not None and pump.curve:
        curve = PumpCurve(points=pump.curve, loss=design.site.design.filter_loss or 0.0)
    dosed = dose(design, zone_network(design, zone, levels, open_return=False), curve)
    flushed = None
    if design.site.design.flush_velocity is not None:
        flushed = flush(design, zone_network(design, zone, levels, open_return=True), curve)
    volumes = zone_volumes(design, zone, dosed, flushed, curve)
    return ZoneWater(
        zone=zone.number,
        dose=dosed,
        flush=flushed,
        volumes=volumes,
        doses=zone_doses(design, zone, dosed, volumes),
    )
