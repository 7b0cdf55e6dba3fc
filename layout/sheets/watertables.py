"""What the plan sheet says of water: what the field takes dosed and flushed, volumes and doses, the basis of design."""

from __future__ import annotations

from collections.abc import Iterator

from layout.model import Design, WaterState, ZoneWater
from layout.sheets.blocks import COLUMN, Block, Titles, pairs, table
from layout.sheets.figures import Figures, plain, spelt
from layout.sheets.lettering import Lettering
from layout.sheets.timing import minutes_up
from layout.startup.expected import NO_HEAD
from layout.units import MINUTE

MOST_POINTS = 6
"""Of a pump's curve with more points the first and the last are listed."""


def water(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """List what each zone takes at the pump, dosed and flushed, and what becomes of it in the field."""
    rows = []
    several = len(design.zones) > 1
    for zone in design.hydraulics.zones if design.hydraulics else ():
        for doing, state in (("dosing", zone.dose), ("flushing", zone.flush)):
            if state is not None:
                name = f"Z{zone.zone} {doing}" if several else doing
                rows.append(_state(name, state, figures, flushing=doing == "flushing"))
    units = figures.units
    titles: Titles = (
        ("State", 0.0, "left"),
        (units.flow_name, 1.22, "right"),
        (f"Head, {units.length_name}", 1.83, "right"),
        (f"Emitters, {units.pressure_name}", 2.75, "right"),
        (units.velocity_name, 3.12, "right"),
        (f"Valve, {units.length_name}", COLUMN, "right"),
    )
    return table("Hydraulics: at the pump, and in the bed", titles, rows, lettering, wrap={})


def _state(name: str, state: WaterState, figures: Figures, *, flushing: bool) -> list[str]:
    units = figures.units
    least, greatest = (plain(end.head / units.pressure, 1) for end in (state.least, state.greatest))
    valve = "shut" if state.valve_head is None else plain(state.valve_head / units.length, 1)
    return [
        f"{name} *" if state.missing_head > NO_HEAD else name,
        figures.flow(state.flow),
        plain(state.head / units.length, 1),
        f"{least} to {greatest}",
        plain(state.slowest[1] / units.velocity, 2) if flushing else "",
        valve,
    ]


def doses(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """List what the columns of the table before it mean, what the zones hold, and how they are dosed."""
    if design.hydraulics is None:
        return pairs("Volumes and doses", [], lettering)
    items = [
        ("Head: total dynamic head at the pump. Emitters: least to greatest pressure", ""),
        ("Velocity: at the slowest end of a lateral", ""),
        ("Valve: what the return flush valve takes, as it is set", ""),
    ]
    zones = design.hydraulics.zones
    if any(state.missing_head > NO_HEAD for zone in zones for state in _states(zone)):
        items.append(("* The pump lacks head for what is needed: see the design checks", ""))
    for zone in zones:
        items += _of_zone(zone, figures, of=f"Z{zone.zone}: " if len(zones) > 1 else "")
    return pairs("Volumes and doses", items, lettering)


def _states(zone: ZoneWater) -> Iterator[WaterState]:
    yield zone.dose
    if zone.flush is not None:
        yield zone.flush


def _of_zone(zone: ZoneWater, figures: Figures, *, of: str) -> Iterator[tuple[str, str]]:
    unit, held = figures.units.volume_name, zone.volumes
    most = minutes_up(held.fill_greatest)
    yield f"{of}to fill when empty, up to {most} min", f"{figures.volume(held.fill)} {unit}"
    yield f"{of}of that in tubing, loops and risers", f"{figures.volume(held.tubing)} {unit}"
    if zone.doses is not None:
        count, each = zone.doses.count, figures.volume(zone.doses.volume)
        times = f"{plain(zone.doses.over_tubing, 1)} times what the tubing holds"
        yield (
            f"{of}{count} dose{'s' if count > 1 else ''} a day, {times}",
            f"{each} {unit}, {plain(zone.doses.duration / MINUTE, 1)} min",
        )


def basis(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """List what the design rests on: tubing, spacing, flow, pump, losses."""
    items = [*_of_tubing(design, figures), *_of_water(design, figures)]
    return pairs("Basis of design, as stated by the user", items, lettering)


def _of_tubing(design: Design, figures: Figures) -> Iterator[tuple[str, str]]:
    site = design.site
    tubing, centre = site.tubing, spelt("centre", figures.units)
    yield f"Run spacing, {centre} to {centre}", figures.length_of(site.runs.spacing)
    yield "Tubing clear of the bed's edge", figures.length_of(site.bed.clearance)
    yield "Emitter spacing, the first at half of it", figures.length_of(tubing.emitter_spacing)
    yield "Flow of one emitter", figures.hourly_of(tubing.emitter_flow)
    if tubing.inside_diameter is not None:
        yield "Tubing, inside diameter", figures.diameter_of(tubing.inside_diameter)
    if tubing.pressure_range is not None:
        least, most = tubing.pressure_range
        kind = "compensating" if tubing.compensating else "not compensating"
        low = figures.pressure_of(least).split()[0]
        yield f"Pressure range of the emitters, {kind}", f"{low} to {figures.pressure_of(most)}"
    if not tubing.compensating and tubing.emitter_pressure is not None:
        law = f"power {tubing.emitter_exponent:g}"
        yield (
            f"Emitter's flow is that at, {law} of the pressure",
            figures.pressure_of(tubing.emitter_pressure),
        )
    yield "Tightest bend allowed, radius", figures.length_of(tubing.bend_radius)
    yield "Longest lateral allowed", figures.length_of(site.laterals.longest)


def _of_water(design: Design, figures: Figures) -> Iterator[tuple[str, str]]:
    site, rules = design.site, design.site.design
    if rules.flow is not None:
        yield "Design flow", figures.daily_of(rules.flow)
    if rules.loading is not None:
        yield "Loading the ground takes", figures.loading_of(rules.loading)
    if rules.dose_volumes is not None:
        yield "Least dose, over what the tubing holds", f"{rules.dose_volumes:g}"
    if rules.flush_velocity is not None:
        yield "Velocity at lateral ends in flushing", figures.velocity_of(rules.flush_velocity)
    if site.pump is not None and site.pump.level is not None:
        yield "Liquid level in the pump tank", figures.length_of(site.pump.level)
    if design.hydraulics is None or site.pump is None:
        return
    curve = site.pump.curve
    if not curve:
        yield "Pump curve", "none given"
    for flow, head in curve if len(curve) <= MOST_POINTS else (curve[0], curve[-1]):
        yield "Pump curve, flow and total head", f"{figures.flow_of(flow)}, {figures.length_of(head)}"
    loss = rules.filter_loss
    yield (
        "Loss of filter, meter and valves at the pump",
        "none taken" if loss is None else figures.pressure_of(loss),
    )
    law = {"darcy-weisbach": "Darcy-Weisbach", "hazen-williams": f"Hazen-Williams, C {rules.smoothness:g}"}
    yield "Friction in pipe and tubing", law[rules.friction]
    celsius = rules.water_temperature
    metric = figures.units.word == "m"
    yield "Water temperature", f"{celsius:.0f} °C" if metric else f"{celsius * 1.8 + 32:.0f} °F"
