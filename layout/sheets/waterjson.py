"""What water does in the field, for the document of programs: in the site's units, absent where it is not known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from layout.emitters import seconds_per_volume
from layout.model import AtEmitter, Frame, Hydraulics, Volumes, WaterState, ZoneWater, site_place
from layout.units import MINUTE, UnitSet

Json = Any


def water_block(hydraulics: Hydraulics | None, frame: Frame) -> dict[str, Json]:
    """The block ``hydraulics``, or nothing.

    Parameters
    ----------
    hydraulics : Hydraulics or None
    frame : Frame

    Returns
    -------
    dict
        With ``dose``, ``flush`` (where a velocity is asked for) and ``volumes``: of several zones the worst figure of
        any, sums of volumes, with the lines that zones share once; and under ``zones`` the same of each, with its
        laterals and runs.
    """
    if hydraulics is None:
        return {}
    units = frame.units
    zones = hydraulics.zones
    flushed = [zone.flush for zone in zones if zone.flush is not None]
    block: dict[str, Json] = {"dose": _worst([zone.dose for zone in zones], units, flushing=False)}
    if flushed:
        block["flush"] = _worst(flushed, units, flushing=True)
    block["volumes"] = _volumes(
        [zone.volumes for zone in zones], units, lines=hydraulics.lines, drained=hydraulics.drain_back
    )
    block["levels_known"] = hydraulics.levels_known
    block["viscosity"] = hydraulics.viscosity
    block["zones"] = [_zone(zone, frame) for zone in zones]
    return {"hydraulics": block}


def _worst(states: Sequence[WaterState], units: UnitSet, *, flushing: bool) -> dict[str, Json]:
    """The figures of a state; of several zones, the worst of each."""

    def most(of: Callable[[WaterState], float], unit: float) -> float:
        return max(of(state) for state in states) / unit

    flow = most(lambda state: state.flow, units.flow)
    figures = {
        "flow": flow,
        "head": most(lambda state: state.head, units.length),
        "pressure_min": min(state.least.head for state in states) / units.pressure,
        "pressure_max": most(lambda state: state.greatest.head, units.pressure),
        "uniformity": min(state.uniformity for state in states),
        "seconds_per_unit_volume": seconds_per_volume(flow * units.flow, units.volume) if flow > 0 else None,
        "needed_flow": most(lambda state: state.needed_flow, units.flow),
        "needed_head": most(lambda state: state.needed_head, units.length),
        "missing_head": most(lambda state: state.missing_head, units.length),
    }
    if flushing:
        figures["velocity_min"] = min(state.slowest[1] for state in states) / units.velocity
    return figures


def _volumes(held: Sequence[Volumes], units: UnitSet, *, lines: float, drained: float) -> dict[str, Json]:
    """What zones hold together, where their lines hold, and drain back, so much [m³]."""

    def whole(of: Callable[[Volumes], float]) -> float:
        return sum(of(item) for item in held) / units.volume

    return {
        "tubing": whole(lambda item: item.tubing),
        "manifolds": whole(lambda item: item.manifolds),
        "lines": lines / units.volume,
        "fill": whole(lambda item: item.fill - item.lines) + lines / units.volume,
        "drain_back": drained / units.volume,
        "fill_minutes_min": min(item.fill_least for item in held) / MINUTE,
        "fill_minutes_max": max(item.fill_greatest for item in held) / MINUTE,
    }


def _zone(zone: ZoneWater, frame: Frame) -> dict[str, Json]:
    entry: dict[str, Json] = {"name": f"Z{zone.zone}", "dose": _state(zone.dose, frame, flushing=False)}
    if zone.flush is not None:
        entry["flush"] = _state(zone.flush, frame, flushing=True)
    entry["volumes"] = _volumes(
        [zone.volumes], frame.units, lines=zone.volumes.lines, drained=zone.volumes.drain_back
    )
    if zone.doses is not None:
        entry["doses"] = {
            "per_day": zone.doses.count,
            "volume": zone.doses.volume / frame.units.volume,
            "minutes": zone.doses.duration / MINUTE,
            "over_tubing": zone.doses.over_tubing,
        }
    return entry


def _state(state: WaterState, frame: Frame, *, flushing: bool) -> dict[str, Json]:
    units = frame.units
    entry = {
        **_worst([state], units, flushing=flushing),
        "least": _emitter(state.least, frame),
        "greatest": _emitter(state.greatest, frame),
        "beyond_curve": state.beyond_curve,
        "laterals": [{"name": name, "velocity": velocity / units.velocity} for name, velocity in state.ends],
        "runs": [
            {
                "name": run.run,
                "pressures": [head / units.pressure for head in run.heads],
                "flows": [flow / units.emitter_flow for flow in run.flows],
            }
            for run in state.runs
        ],
    }
    if flushing:
        entry["valve_head"] = None if state.valve_head is None else state.valve_head / units.length
        entry["valve_loss"] = state.valve_loss
        if state.valves:
            entry["valves"] = [
                {
                    "before": valve.before / units.pressure,
                    "behind": valve.behind / units.pressure,
                    "place": site_place(frame, valve.at),
                }
                for valve in state.valves
            ]
        if state.wide_open is not None:
            entry["wide_open"] = _emitter(state.wide_open, frame)
    return entry


def _emitter(found: AtEmitter, frame: Frame) -> dict[str, Json]:
    return {
        "run": found.run,
        "emitter": found.number,
        "pressure": found.head / frame.units.pressure,
        "place": site_place(frame, found.at),
    }
