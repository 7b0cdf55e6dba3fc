"""What a meter, a stop watch and a gauge should read in each zone, dosed and flushed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from layout.model import AtEmitter, AtValve, Design, Volumes, WaterState, Zone, need

Doing = Literal["dosing", "flushing"]
NO_FLOW = 1e-9
"""A zone that keeps no greater share of its flow is dry as a whole."""
NO_HEAD = 1e-3
"""A pump that lacks no more head than this reaches the bed [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """One state of a zone, as it should be measured.

    Attributes
    ----------
    zone : int
    doing : "dosing" or "flushing"
    flow : float
        [m³/s], over 0. Where the pump lacks head, what the field needs.
    band : float
        Share of it by which a measured flow may be off.
    head : float or None
        At the pump, over the liquid in its tank, filters included [m]: without a pump's curve, or where the pump lacks
        head, the least that the field needs; None where it is not worked out.
    least, greatest : AtEmitter or None
        Pressures at emitters; None where they are not worked out.
    valve_head : float or None
        What the flush valve must take [m]; None while it is shut.
    valves : tuple of AtValve
        What gauges read there, where flush valves stand at manifolds.
    slowest : (str, float) or None
        The lateral with the slowest end, and its velocity [m/s]; only in flushing.
    wide_open : AtEmitter or None
        The least pressure were that valve wide open.
    missing : float
        Head that the pump lacks [m].
    given : float or None
        Where it does, the flow that it gives all the same [m³/s].
    laid : bool
        Whether the flow is that of the field as it was laid; else as planned.
    dry : tuple of str
        Laterals of the zone that no manifold feeds.
    dry_flow : float
        Of their emitters, left out of the flow expected unless all of the zone is dry [m³/s].
    """

    zone: int
    doing: Doing
    flow: float
    band: float
    head: float | None = None
    least: AtEmitter | None = None
    greatest: AtEmitter | None = None
    valve_head: float | None = None
    valves: tuple[AtValve, ...] = ()
    slowest: tuple[str, float] | None = None
    wide_open: AtEmitter | None = None
    missing: float = 0.0
    given: float | None = None
    laid: bool = False
    dry: tuple[str, ...] = ()
    dry_flow: float = 0.0

    def __post_init__(self) -> None:
        need(self.flow > 0 and 0 < self.band < 1, "a flow over 0 is expected, within a share of it")

    @property
    def lowest(self) -> float:
        """The least flow that is accepted [m³/s]."""
        return self.flow * (1.0 - self.band)

    @property
    def highest(self) -> float:
        """The greatest flow that is accepted [m³/s]."""
        return self.flow * (1.0 + self.band)


def expected_flows(design: Design) -> tuple[Expected, ...]:
    """What each zone should be measured at, in the order of zones, dosed before flushed.

    Parameters
    ----------
    design : Design
        Where flows and pressures could not be worked out, zones are told with the stated flow of their emitters,
        dosing alone. Zones that take no water are left out.

    Returns
    -------
    tuple of Expected
    """
    if not design.zones and design.totals.flow > 0:
        return (Expected(zone=1, doing="dosing", flow=design.totals.flow, band=design.site.design.flow_band),)
    return tuple(item for zone in design.zones for item in _of_zone(design, zone))


def as_laid(
    expected: Sequence[Expected], planned: Mapping[int, float], laid: Mapping[int, float]
) -> tuple[Expected, ...]:
    """What is expected of the field as it was laid.

    Dosing changes with the emitters; in flushing what goes through to the return is taken to stay as planned, and so
    are pressures.

    Parameters
    ----------
    expected : sequence of Expected
        As planned.
    planned, laid : mapping
        Flow of all emitters of each zone in their pressure range [m³/s].

    Returns
    -------
    tuple of Expected
    """
    made = []
    for item in expected:
        more = laid[item.zone] - planned[item.zone]
        share = laid[item.zone] / planned[item.zone]
        flow = item.flow * share if item.doing == "dosing" else item.flow + more
        made.append(replace(item, flow=flow, dry_flow=item.dry_flow * share, laid=True))
    return tuple(made)


def _of_zone(design: Design, zone: Zone) -> Iterator[Expected]:
    band = design.site.design.flow_band
    water = design.hydraulics
    mine = None if water is None else next((item for item in water.zones if item.zone == zone.number), None)
    if mine is None:
        dry, lost = _dry(design, zone)
        fed = zone.flow - lost if lost < (1.0 - NO_FLOW) * zone.flow else zone.flow
        if fed > 0:
            yield Expected(zone=zone.number, doing="dosing", flow=fed, band=band, dry=dry, dry_flow=lost)
        return
    for doing, state in (("dosing", mine.dose), ("flushing", mine.flush)):
        if state is not None:
            yield _of_state(zone.number, "dosing" if doing == "dosing" else "flushing", state, band)


def _dry(design: Design, zone: Zone) -> tuple[tuple[str, ...], float]:
    """Laterals of a zone that no manifold feeds, and the flow of their emitters [m³/s]; where pipes are laid out."""
    if not design.plumbing.manifolds:
        return (), 0.0
    dry = [
        item for item in design.laterals if item.zone == zone.number and item.name not in design.plumbing.fed
    ]
    runs = {name for item in dry for name in item.runs}
    return tuple(item.name for item in dry), math.fsum(row.flow for row in design.emitters if row.run in runs)


def _of_state(zone: int, doing: Doing, state: WaterState, band: float) -> Expected:
    flushing = doing == "flushing"
    lacks = state.missing_head > NO_HEAD
    return Expected(
        zone=zone,
        doing=doing,
        flow=state.needed_flow if lacks else state.flow,
        band=band,
        head=state.needed_head if lacks else state.head,
        least=None if lacks else state.least,
        greatest=None if lacks else state.greatest,
        valve_head=state.valve_head if flushing and not lacks else None,
        valves=state.valves if flushing and not lacks else (),
        slowest=state.slowest if flushing and state.ends else None,
        wide_open=None if lacks else state.wide_open,
        missing=state.missing_head if lacks else 0.0,
        given=state.flow if lacks else None,
    )


def volumes_of(design: Design, zone: int) -> Volumes | None:
    """What the pipes and tubing of a zone hold, where it is known."""
    water = design.hydraulics
    if water is None:
        return None
    return next((item.volumes for item in water.zones if item.zone == zone), None)
