"""How a day's water is divided into doses: as many as keep each large against the tubing that it must fill."""

from __future__ import annotations

import math
from collections.abc import Iterator

from layout.model import Check, Design, Doses, Hydraulics, Volumes, WaterState, Zone
from layout.units import DAY

ROUNDING = 1e-9
"""What rounding may cost a whole dose."""


def zone_doses(design: Design, zone: Zone, dose: WaterState, volumes: Volumes) -> Doses | None:
    """Divide the day's water of a zone, its share by the flow of its emitters.

    Parameters
    ----------
    design : Design
    zone : Zone
    dose : WaterState
    volumes : Volumes

    Returns
    -------
    Doses or None
        None where no daily flow or no least dose is stated, or nothing flows. One a day where even that is too small.
    """
    basis = design.site.design
    if basis.flow is None or basis.dose_volumes is None or not dose.flow > 0:
        return None
    whole = math.fsum(item.flow for item in design.zones)
    daily = basis.flow * DAY * zone.flow / whole
    count = max(math.floor(daily / (basis.dose_volumes * volumes.tubing) + ROUNDING), 1)
    volume = daily / count
    return Doses(count=count, volume=volume, duration=volume / dose.flow, over_tubing=volume / volumes.tubing)


def dose_checks(design: Design, hydraulics: Hydraulics) -> Iterator[Check]:
    """Whether each dose is as large against the tubing as is stated."""
    least = design.site.design.dose_volumes
    for zone in hydraulics.zones:
        if zone.doses is None or least is None:
            continue
        yield Check.against(
            "dose over what the tubing holds" + (f", Z{zone.zone}" if len(hydraulics.zones) > 1 else ""),
            zone.doses.over_tubing,
            "least",
            least,
            unit="factor",
            source="design.dose_volumes, design.flow",
            place="with one dose a day",
            slack=ROUNDING * least,
        )
