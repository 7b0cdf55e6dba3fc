"""Checks of what water does, each with its limit and source, and what of it deserves a look."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from layout.hydraulics.laws import PumpCurve
from layout.model import (
    AtEmitter,
    AtValve,
    Check,
    Design,
    Finding,
    Hydraulics,
    Site,
    Unit,
    WaterState,
    ZoneWater,
    site_place,
)

UNIFORM = 0.90
"""Least flow of an emitter over the greatest."""
UNIFORM_SOURCE = (
    "12VAC5-610-955.B.5 (Virginia), any two emitters within 10 %: here the least within 10 % of the greatest"
)
SUCTION = 0.1
"""Suction behind a flush valve that is not worth a word [m], a judgement."""
ROUNDING = 1e-6
"""What the solution may be off, as a share of the limit."""
STATES: tuple[Literal["dosing"], Literal["flushing"]] = ("dosing", "flushing")


def water_checks(design: Design, hydraulics: Hydraulics) -> Iterator[Check]:
    """Check uniformity, pressures and velocities of each zone, and whether the pump reaches them."""
    site = design.site
    for zone in hydraulics.zones:
        of = f", Z{zone.zone}" if len(hydraulics.zones) > 1 else ""
        yield from _dose_checks(site, zone.dose, of)
        if zone.flush is not None:
            yield from _flush_checks(site, zone.flush, of)
        for doing, state in _states(zone):
            if state.pump_head is not None:
                yield _check(
                    f"total dynamic head that the pump gives, {doing}{of}",
                    state.pump_head,
                    "least",
                    state.needed_head,
                    unit="length",
                    source="pump.curve"
                    + ("" if hydraulics.levels_known else ", without the rise to the bed"),
                    place=_at_flow(site, state),
                )


def _states(zone: ZoneWater) -> Iterator[tuple[str, WaterState]]:
    yield STATES[0], zone.dose
    if zone.flush is not None:
        yield STATES[1], zone.flush


def _dose_checks(site: Site, state: WaterState, of: str) -> Iterator[Check]:
    assert site.tubing.pressure_range is not None
    least, most = site.tubing.pressure_range
    yield _check(
        f"emitter flow, least over greatest, dosing{of}",
        state.uniformity,
        "least",
        UNIFORM,
        unit="ratio",
        source=UNIFORM_SOURCE,
        place=f"{_where(site, state.least)} and {_where(site, state.greatest)}",
    )
    yield _pressure("least", site, state.least, least, f"dosing{of}")
    yield _pressure("greatest", site, state.greatest, most, f"dosing{of}")


def _flush_checks(site: Site, state: WaterState, of: str) -> Iterator[Check]:
    assert site.tubing.pressure_range is not None
    assert site.design.flush_velocity is not None
    name, velocity = state.slowest
    yield _check(
        f"least velocity at the end of a lateral, flushing{of}",
        velocity,
        "least",
        site.design.flush_velocity,
        unit="velocity",
        source="design.flush_velocity",
        place=f"{name}, with the return flush valve wide open",
    )
    yield _pressure("least", site, state.least, site.tubing.pressure_range[0], f"flushing{of}")


def _pressure(
    which: Literal["least", "greatest"], site: Site, found: AtEmitter, limit: float, doing: str
) -> Check:
    return _check(
        f"{which} pressure at an emitter, {doing}",
        found.head,
        "least" if which == "least" else "most",
        limit,
        unit="pressure",
        source="tubing.pressure_range",
        place=_where(site, found),
    )


def _check(
    name: str,
    value: float,
    sense: Literal["least", "most"],
    limit: float,
    *,
    unit: Unit,
    source: str,
    place: str,
) -> Check:
    slack = ROUNDING * max(abs(limit), 1e-3)
    return Check.against(name, value, sense, limit, unit=unit, source=source, place=place, slack=slack)


def _where(site: Site, found: AtEmitter) -> str:
    return f"emitter {found.number} of {found.run} at {site_place(site.frame, found.at)}"


def _at_flow(site: Site, state: WaterState) -> str:
    """At what flow a head is needed, and where the curve does not tell of that flow."""
    unit, pump = site.frame.units, site.pump
    assert pump is not None
    most = pump.curve[-1][0]
    said = f"at {state.needed_flow / unit.flow:.2f} {unit.flow_name}"
    ends = f", beyond its curve, which ends at {most / unit.flow:.2f} {unit.flow_name}"
    return said + (ends if state.needed_flow > most * (1.0 + ROUNDING) else "")


# --- what deserves a look -------------------------------------------------------------------------------


def water_findings(design: Design, hydraulics: Hydraulics) -> Iterator[Finding]:
    """What a reviewer should see."""
    site = design.site
    unit = site.frame.units
    if not hydraulics.levels_known:
        yield Finding(
            code="bed-level-not-known",
            said="The ground's level is not given: heads are those of a bed level with the liquid in the pump tank.",
            remedy="Give bed.levels, or add the rise from the liquid to the highest tubing to every head.",
        )
    if site.design.filter_loss is None:
        yield Finding(
            code="filter-loss-not-given",
            said="No loss is taken for filter, meter and valves at the pump: heads there are short by what they take.",
            remedy="Give what they take at the flow of flushing as design.filter_loss; 0 says that there is none.",
        )
    yield from _sucking(site, hydraulics)
    for zone in hydraulics.zones:
        of = f" Z{zone.zone}" if len(hydraulics.zones) > 1 else " this bed"
        for doing, state in _states(zone):
            if state.pump_head is not None and state.missing_head > ROUNDING:
                needed, given = (head / unit.length for head in (state.needed_head, state.pump_head))
                yield Finding(
                    code="pump-too-weak",
                    said=(
                        f"The pump cannot reach{of} when {doing}: {needed:.1f} {unit.length_name} of total dynamic "
                        f"head are needed, it gives {given:.1f} {_at_flow(site, state)}."
                    ),
                    remedy="Take a stronger pump, larger pipe, or more zones"
                    + (", or fewer and longer laterals" if doing == STATES[1] else "")
                    + f".{_if_pressures(site, state)}",
                )
            if state.beyond_curve:
                yield Finding(
                    code="beyond-pump-curve",
                    said=(
                        f"When {doing},{of.replace(' this bed', ' the bed')} takes {state.flow / unit.flow:.2f} "
                        f"{unit.flow_name}, more than the last point of the pump's curve tells of."
                    ),
                    remedy="Give more of pump.curve; the pump may run where it must not.",
                )
            yield from _open_starves(site, state, of)
            yield from _starved(design, state, f"when {doing}{'' if of == ' this bed' else of}")


def _open_starves(site: Site, state: WaterState, of: str) -> Iterator[Finding]:
    """A valve that must not be opened wide: fast enough, but the bed would starve."""
    assert site.tubing.pressure_range is not None
    least, unit = site.tubing.pressure_range[0] * (1.0 - ROUNDING), site.frame.units
    if state.wide_open is None or state.wide_open.head >= least or state.least.head < least:
        return
    yield Finding(
        code="valve-wide-open-starves",
        said=(
            f"With the return flush valve wide open, flushing starves{of}: the least pressure, "
            f"{state.wide_open.head / unit.pressure:.1f} {unit.pressure_name}, has {_where(site, state.wide_open)}."
        ),
        remedy="Set the return flush valve as the start-up form tells, and mark the setting on it.",
    )


def _sucking(site: Site, hydraulics: Hydraulics) -> Iterator[Finding]:
    """A trunk that falls from a flush valve to the tank, and what of its suction the flushing counts on."""
    valves = [
        (zone.zone, valve)
        for zone in hydraulics.zones
        if zone.flush is not None
        for valve in zone.flush.valves
    ]
    low = [(number, valve) for number, valve in valves if valve.behind < -SUCTION]
    if not low:
        return
    _, worst = min(low, key=lambda item: item[1].behind)
    unit, several = site.frame.units, len(hydraulics.zones) > 1
    relying = [(number, valve) for number, valve in low if valve.before < 0]
    relies = (
        f" Even before the valve{_of_zones(relying, several=several)} there is suction: where air gets in, "
        "flushing is slower than worked out."
    )
    yield Finding(
        code="suction-behind-flush-valve",
        said=(
            f"While flushing, the return trunk sucks behind the flush valve{_of_zones(low, several=several)}: by up to "
            f"{-worst.behind / unit.length:.1f} {unit.length_name} of water, at {site_place(site.frame, worst.at)}."
            f"{relies if relying else ''}"
        ),
        remedy=(
            "Set flush valves by the gauge before them: what it should read holds whether the trunk runs full or "
            "takes in air. Keep joints of the trunk tight."
        ),
    )


def _of_zones(valves: Sequence[tuple[int, AtValve]], *, several: bool) -> str:
    return f" of {', '.join(dict.fromkeys(f'Z{number}' for number, _ in valves))}" if several else ""


def _if_pressures(site: Site, state: WaterState) -> str:
    """A question, where the heads of the pump's curve would reach if they were pressures."""
    unit, pump = site.frame.units, site.pump
    if pump is None or not pump.curve:
        return ""
    more = unit.pressure / unit.length
    if unit.length_name != "ft":
        more = 100.0 * unit.pressure  # bars of ten metres and some
    curve = PumpCurve(points=tuple((flow, more * head) for flow, head in pump.curve))
    # what is needed holds the loss of filters already
    if curve.head(state.needed_flow) < state.needed_head:
        return ""
    name = "psi" if unit.length_name == "ft" else "bar"
    return f" Heads of pump.curve are in {unit.length_name}: if they were read in {name}, multiply them by {more:.2f}."


def _starved(design: Design, state: WaterState, doing: str) -> Iterator[Finding]:
    """Emitters without the least pressure of their range."""
    site = design.site
    assert site.tubing.pressure_range is not None
    limit = site.tubing.pressure_range[0]
    heads = [head for run in state.runs for head in run.heads]
    count = sum(head < limit * (1.0 - ROUNDING) for head in heads)
    if not count:
        return
    dry = sum(head <= 0 for head in heads)
    unit = site.frame.units
    yield Finding(
        code="emitters-starved",
        said=(
            f"{count:,} of {len(heads):,} emitters have less than the least pressure of their range {doing}"
            f"{f', {dry:,} of them none at all' if dry else ''}; the least, "
            f"{state.least.head / unit.pressure:.1f} {unit.pressure_name}, has {_where(site, state.least)}."
        ),
    )
