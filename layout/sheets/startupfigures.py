"""What meter and gauges should read, on the start-up form: times to a volume, pressures, settings of flush valves."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence

from layout.model import AtEmitter, Design, listed, site_place
from layout.sheets.figures import Figures, plain
from layout.sheets.form import WRITING, Form
from layout.sheets.timing import measure_of, seconds_of, timed_volume, unit_volume
from layout.startup.expected import Expected
from layout.units import UnitSet

MOST_KEPT = 6.0
"""A table that needs more room than this is divided over pages [in]."""
AT_STAKE = 0.02
"""A stake no farther from a valve marks it: coordinates of stakes are rounded [m]."""


# --- timed flow -----------------------------------------------------------------------------------------


def flows_part(form: Form, design: Design, expected: Sequence[Expected]) -> None:
    """Fill in what a meter should read, and room for what it does."""
    rows_high = 1.4 + WRITING * min(len(expected), 3)
    form.heading(
        "3. Timed flow: all emitters running, pump at work, meter steady", keep=min(rows_high, MOST_KEPT)
    )
    if not expected:
        form.paragraph("No flow is expected: the field has no emitters that take water.")
        return
    figures = Figures(design.site.frame.units)
    several = len({item.zone for item in expected}) > 1
    _lacking(form, expected, figures, several=several)
    for text in dry_words(expected, figures):
        form.paragraph(text, strong=True)
    band = figures.share(design.site.design.flow_band).replace(".0 %", " %")
    form.paragraph(
        "Start the watch on a mark of the meter, stop it when the volume named has passed. Three readings "
        f"each. Dosing: {valves_word(design)} shut. Flushing: as set under 4. Accepted: within "
        f"{band} of the flow expected (an assumption of the plan, not a rule; the designer may state another)."
    )
    if any(item.laid for item in expected):
        form.paragraph(
            "Expected flow: of the field as it was laid and measured (asbuilt.json). Pressures below: as "
            "planned.",
            strong=True,
        )
    if not several:
        form.paragraph(f"Expected: {'; '.join(_told(item, figures) for item in expected)}.", strong=True)
    _times(form, expected, figures, several=several)
    form.paragraph(
        "More time than accepted: air, a shut valve, a dirty filter, clogging. Less: a leak, an open "
        "valve, a break. Find the reason and mend it before anything is covered. Keep these times: every "
        "later reading is held against them.",
    )


def dry_words(expected: Sequence[Expected], figures: Figures) -> Iterator[str]:
    """Say which laterals no manifold feeds, and whether their flow is counted."""
    for item in expected:
        if not item.dry:
            continue
        whole = item.dry_flow > 0.999 * item.flow
        counted = (
            "expected all the same, as if they were fed" if whole else "not counted in the flow expected"
        )
        verb = "is" if len(item.dry) == 1 else "are"
        yield (
            f"Z{item.zone}: {listed(item.dry, ' ')} {verb} not fed by any manifold that a line reaches; "
            f"{figures.flow_of(item.dry_flow)} of emitters there are {counted}. See that water gets there "
            "before you test."
        )


def _lacking(form: Form, expected: Sequence[Expected], figures: Figures, *, several: bool) -> None:
    """Say in which states the pump lacks head, what it gives, and that no time is told of these."""
    for item in expected:
        if item.missing > 0:
            gives = "" if item.given is None else f" With it the field takes {figures.flow_of(item.given)}."
            form.paragraph(
                f"{state_of(item, several=several)}: the plan says that the pump lacks "
                f"{figures.length_of(item.missing)} of head at the {figures.flow_of(item.flow)} that are needed."
                f"{gives} Put that right first; until then no time is expected.",
                strong=True,
            )


def _told(item: Expected, figures: Figures) -> str:
    one, name = unit_volume(figures.units)
    said = f"{item.doing} {figures.flow_of(item.flow)}"
    if item.missing > 0:
        return f"{said} needed, no time"
    spelt = {"gal": "a gallon"}.get(name, f"for {name}")
    return f"{said}, {seconds_of(item.flow, one)} s {spelt}"


def _times(form: Form, expected: Sequence[Expected], figures: Figures, *, several: bool) -> None:
    units = figures.units
    one, name = unit_volume(units)
    titles = [
        "Zone, state" if several else "State",
        f"Expected\n{units.flow_name}",
        f"Expected\ns per {name}",
        "Volume\nto time",
        "Expected\ns",
        "Accepted\ns",
        *(f"{word}\ns" for word in ("First", "Second", "Third", "Mean")),
        "Within\nyes / no",
    ]
    widths = [1.05, 0.72, 0.75, 0.72, 0.66, 1.02, 0.6, 0.6, 0.6, 0.6, 0.62]
    rows = []
    for item in expected:
        volume = timed_volume(item.flow, units)
        times = ["-", "-", "-", "-"]
        if not item.missing > 0:
            times = [
                seconds_of(item.flow, one),
                measure_of(volume, units),
                seconds_of(item.flow, volume),
                f"{seconds_of(item.highest, volume)} to {seconds_of(item.lowest, volume)}",
            ]
        rows.append([state_of(item, several=several), figures.flow(item.flow), *times, *[""] * 5])
    form.table(titles, widths, rows)


# --- pressures and flush valves -------------------------------------------------------------------------


def pressures_part(form: Form, design: Design, expected: Sequence[Expected]) -> None:
    """Fill in what gauges should read, how flush valves are set, and room for what was found."""
    figures = Figures(design.site.frame.units)
    form.heading(
        f"4. Pressures, and the {valves_word(design)}",
        keep=min(2.0 + WRITING * len(expected), MOST_KEPT),
    )
    known = [item for item in expected if item.head is not None]
    flushing = [item for item in known if item.doing == "flushing"]
    several = len({item.zone for item in expected}) > 1
    if flushing:
        _settings(form, design, flushing, figures, several=several)
    if not known:
        form.paragraph(
            "Pressures are not worked out for this plan; the remarks on the plan sheet say what is "
            "missing. Write down what the gauges read."
        )
    elif design.hydraulics is not None and not design.hydraulics.levels_known:
        form.paragraph(
            "The plan does not know the level of the ground: pressures are those of a bed level with the "
            "liquid in the tank. Where the bed lies higher, gauges at emitters read less.",
            strong=True,
        )
    rows = [
        [state_of(item, several=several), *_gauges(item, figures, back_shown=bool(flushing))]
        for item in expected
    ]
    if rows:
        unit = figures.units.pressure_name
        form.table(_gauge_titles(unit, flushing=bool(flushing)), _gauge_widths(flushing=bool(flushing)), rows)
    if known:
        units = figures.units
        form.paragraph(
            "Pump: head over the liquid in the tank, before the filters; a gauge that stands higher reads "
            f"{_per_rise(units)} less for every {units.length_name} it does. Emitters, numbered from the "
            f"manifold end: with a gauge on the nearest riser or loop of the same zone.{_least_of(design, known)}"
        )
    if flushing:
        form.paragraph(_at_valves(design, flushing, figures, several=several))


def _at_valves(design: Design, flushing: Sequence[Expected], figures: Figures, *, several: bool) -> str:
    """Say where the gauge before a flush valve stands, and what is behind it."""
    valves = [(item, valve) for item in flushing for valve in item.valves]
    if not valves:
        return "Before the flush valve: likewise over the liquid in the tank."
    said = "Before the flush valve: with the gauge where the return manifold meets the trunk, at the ground there."
    apart = [
        f"{f'Z{item.zone} ' if several else ''}{figures.pressure_of(valve.before)} at "
        f"{site_place(design.site.frame, valve.at)}"
        for item, valve in valves
        if len(item.valves) > 1
    ]
    if apart:
        said += f" Where a zone has several: {'; '.join(apart)}."
    least = min(valve.behind for _, valve in valves)
    if least < 0:
        said += (
            f" Behind it the trunk may suck, by up to {figures.pressure_of(-least)}: go by the gauge before the valve, "
            "which holds all the same where air gets in."
        )
    return said


def _least_of(design: Design, known: Sequence[Expected]) -> str:
    """Say where heads are the least that the field needs, not what its pump gives."""
    if design.site.pump is None or not design.site.pump.curve:
        return " No pump curve is given: the figures are the least that the field needs."
    if any(item.missing > 0 for item in known):
        return " Where the pump lacks head, the figures are the least that the field needs."
    return ""


def _settings(
    form: Form, design: Design, flushing: Sequence[Expected], figures: Figures, *, several: bool
) -> None:
    """Say how flush valves are set, with a blank for each; where the pump lacks head there is nothing to set."""
    able = [item for item in flushing if not item.missing > 0]
    if not able:
        form.paragraph(
            f"The {valves_word(design)} cannot be set: for flushing the pump lacks head, see 3.", strong=True
        )
        return
    more = len(flush_valves(design)) > 1
    least = min((item.slowest[1] for item in able if item.slowest), default=0.0)
    form.paragraph(
        f"Setting of the {valves_word(design)}: pump running, close {'each' if more else 'it'} from wide open until "
        "the meter gives the "
        f"time for flushing above; then the slowest end runs at {figures.velocity_of(least)} and the "
        f"emitters keep their pressure. {_wide_open(flushing, design, figures, several=several)} Mark the setting "
        f"on the valve.{_alike(design)}"
    )
    if not several:
        form.blanks((("Valve, turns open", 1.0), ("Marked how", 1.0), ("Set by", 1.0)))
        return
    units = figures.units
    titles = (
        "Zone",
        f"Valve takes\n{units.length_name}",
        f"Wide open, least\nat emitter, {units.pressure_name}",
        "Turns\nopen",
        "Marked how",
        "Set by",
    )
    rows = [
        [
            f"Z{item.zone}",
            "-" if item.valve_head is None else plain(item.valve_head / units.length, 1),
            "-" if item.wide_open is None else plain(item.wide_open.head / units.pressure, 1),
            *[""] * 3,
        ]
        for item in flushing
    ]
    form.table(titles, (0.5, 0.9, 1.2, 0.8, 1.8, 1.5), rows)


def flush_valves(design: Design) -> list[tuple[int, str]]:
    """The zone of each return flush valve, and the stake that it stands at, or its place."""
    stakes = design.staking.stakes if design.staking is not None else ()
    found = []
    for item in design.plumbing.fittings:
        if item.kind == "flush valve":
            near = min(stakes, key=lambda stake: math.dist(stake.at, item.at), default=None)
            at_stake = near is not None and math.dist(near.at, item.at) <= AT_STAKE
            where = f"stake {near.number}" if near and at_stake else site_place(design.site.frame, item.at)
            found.append((item.zone, where))
    return found


def valves_word(design: Design) -> str:
    """``return flush valve`` or ``return flush valves``, as there are."""
    return f"return flush valve{'s' if len(flush_valves(design)) > 1 else ''}"


def valves_named(design: Design) -> str:
    """Where several flush valves stand: ``Z1 at stake 377; Z2 at stake 365 and at stake 370``; empty for one."""
    valves = flush_valves(design)
    if len(valves) < 2:
        return ""
    zones = sorted({zone for zone, _ in valves})
    of_zone = [" and ".join(f"at {where}" for mine, where in valves if mine == zone) for zone in zones]
    if len(zones) == 1:
        return of_zone[0]
    return "; ".join(f"Z{zone} {said}" for zone, said in zip(zones, of_zone, strict=True))


def _alike(design: Design) -> str:
    """Say how several valves of one zone are set; the plan takes all of them to hold one head."""
    valves = [item for item in design.plumbing.fittings if item.kind == "flush valve"]
    count = Counter(item.zone for item in valves)
    more = [f"Z{zone} has {number}" for zone, number in sorted(count.items()) if number > 1]
    if not more:
        return ""
    if all(item.of == "manifold" for item in valves):
        return f" {', '.join(more)} of them: set these so that the gauge before each reads what is expected there."
    return f" {', '.join(more)} of them: set these so that gauges before them read alike."


def _wide_open(flushing: Sequence[Expected], design: Design, figures: Figures, *, several: bool) -> str:
    """What the valve wide open would do to the emitters."""
    known = {item.zone: item.wide_open.head for item in flushing if item.wide_open is not None}
    limits = design.site.tubing.pressure_range
    if not known or limits is None:
        return "Wide open the bed may starve."
    starved = [f"Z{zone}" for zone, head in known.items() if head < limits[0]]
    if several:
        least = figures.pressure_of(limits[0])
        where = "every zone" if len(starved) == len(known) else ", ".join(starved)
        said = f"emitters of {where} would get less than the {least} of their range"
        return f"Wide open, {said}." if starved else f"Wide open, all emitters keep {least}."
    said = f"Wide open, the least pressure would be {figures.pressure_of(min(known.values()))}"
    return f"{said}: the bed would starve." if starved else f"{said}."


def state_of(item: Expected, *, several: bool) -> str:
    """Name a state, of several zones with its zone."""
    return f"Z{item.zone} {item.doing}" if several else item.doing.capitalize()


def _gauge_titles(unit: str, *, flushing: bool) -> list[str]:
    back = [f"Before\nflush\nvalve, {unit}", "reads"] if flushing else []
    at = "at: run,\nnumber"
    ends = [f"{which}\nat emitter\n{unit}" for which in ("Least", "Greatest")]
    return [
        "State",
        f"At the\npump\n{unit}",
        "reads",
        *back,
        at,
        ends[0],
        "reads",
        at,
        ends[1],
        "reads",
    ]


def _gauge_widths(*, flushing: bool) -> list[float]:
    pair = [0.58, 0.58]
    return [0.9, *pair, *([0.8, 0.58] if flushing else []), 0.72, 0.7, 0.58, 0.72, 0.7, 0.58]


def _gauges(item: Expected, figures: Figures, *, back_shown: bool) -> list[str]:
    """What gauges should read, and room for what they do: at the pump, before the flush valve, at emitters."""
    unit = figures.units.pressure

    def said(head: float | None) -> str:
        return "" if head is None else plain(head / unit, 1)

    def at(found: AtEmitter | None) -> list[str]:
        return ["", "", ""] if found is None else [f"{found.run}, {found.number}", said(found.head), ""]

    back: list[str] = []
    if back_shown:
        heads = [valve.before for valve in item.valves]
        reads = " to ".join(dict.fromkeys(said(end(heads, default=item.valve_head)) for end in (min, max)))
        back = ["shut" if item.doing == "dosing" else reads, ""]
    return [said(item.head), "", *back, *at(item.least), *at(item.greatest)]


def _per_rise(units: UnitSet) -> str:
    return f"{plain(units.length / units.pressure, 2)} {units.pressure_name}"
