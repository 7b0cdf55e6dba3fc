"""The start-up test with clean water as a form: what to do, in which order, what to expect, blanks for readings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from layout.model import AtEmitter, Design
from layout.sheets.figures import Figures, plain
from layout.sheets.form import INCH_PAPER, METRIC_PAPER, WRITING, Form
from layout.sheets.marks import Drawing
from layout.startup.expected import Expected, expected_flows, volumes_of
from layout.units import LITRE, MINUTE, UnitSet

SUBJECT = "Start-up test with clean water"
LEAST_TIME = 15.0
"""A stop watch should run at least so long, so that half a second of the hand is within 3 to 4 % [s]."""
MOST_KEPT = 6.0
"""A table that needs more room than this is divided over pages [in]."""
FEWEST_LATER, MOST_LATER = 3, 14
"""Rows for later visits."""
MULTIPLES = (1, 5, 10, 50, 100, 500, 1000, 5000)
NOT_A_CERTIFICATE = (
    "A record of what was measured; no permit, no certificate. Local code, the authority that has to "
    "approve, and licensed practice decide. Expected figures are worked out from the plan as laid out, "
    "example values included."
)
CAUTIONS: tuple[str, ...] = (
    "Electrical work, wiring and first running of the pump by a licensed electrician, to the code in "
    "force. Lock out the pump before hands go near it.",
    "Do not enter or lean into tanks or pump chambers, not even to fetch a tool: gases kill without "
    "warning. Work from outside; keep lids shut when nobody watches them.",
    "Where wastewater has been in tank or pipe: it carries pathogens. Gloves, eye protection; wash before "
    "eating.",
    "Clean water only, brought through an air gap. No hose stays under water in the tank, nothing joins "
    "the field to potable pipe: no cross-connection, not for a minute.",
    "Let pressure off before a cap, union or filter is opened. Stay off the bed with vehicles.",
    "Local code may ask for an inspector to be there, and for a notice before. Tubing stays uncovered "
    "until then.",
)


def write_startup(design: Design, path: Path, *, expected: Sequence[Expected] | None = None) -> None:
    """Write the form of a design."""
    from layout.sheets.plot import write_pdf

    write_pdf(startup_form(design, expected=expected), path)


def startup_form(design: Design, *, expected: Sequence[Expected] | None = None) -> Drawing:
    """Draw the form: two pages for a field of few zones, more where there are many.

    Parameters
    ----------
    design : Design
    expected : sequence of Expected, optional
        In place of what the plan expects: of the field as it was laid.
    """
    units = design.site.frame.units
    paper = METRIC_PAPER if units.word == "m" else INCH_PAPER
    form = Form(paper, title=design.site.title, subject=SUBJECT, foot=NOT_A_CERTIFICATE)
    expected = expected_flows(design) if expected is None else expected
    form.blanks((("Date", 1.0), ("Weather, temperature", 1.7), ("Water from", 1.3)))
    form.blanks((("Meter, make and number", 1.7), ("Gauge, number", 1.2), ("Stop watch", 1.1)))
    form.heading("Before you start")
    for text in CAUTIONS:
        form.bullet(text)
    _purge(form, design)
    _tightness(form, design)
    _flows(form, design, expected)
    _pressures(form, design, expected)
    _result(form)
    _later(form, units.flow_name)
    return Drawing(
        title=f"{SUBJECT}: {form.title}",
        frame=design.site.frame,
        paper=paper,
        scale="",
        plan=(),
        sheets=form.sheets(),
    )


# --- parts of the form ----------------------------------------------------------------------------------


def _purge(form: Form, design: Design) -> None:
    several = len(design.zones) > 1
    each = " Do this zone by zone, all other zone valves shut." if several else ""
    form.heading("1. Air out, dirt out: supply side first, then the return", keep=1.0)
    form.paragraph(f"Dirt that stays in the pipes ends in the emitters.{each}")
    steps = (
        "Return valve at the tank SHUT. Open the flushing outlet at the far end of the supply manifold, "
        "or take off its air valve. Nothing there to open: loosen the last riser.",
        "Let water in slowly, valve cracked open, until air stops spitting. Then open up and run until "
        "the water is clear. Shut the outlet, put the air valve back.",
        "Open the return valve at the tank WIDE. Run until the water that comes back is clear and without "
        "bubbles. The supply side is clean now: what comes is from tubing and return.",
        "Clean the filter. Run the return again until it stays clear, then shut the return valve.",
        "Air valves: seated, no water from them. Walk the whole bed: no wet place, no hiss, no rising tubing.",
    )
    for number, text in enumerate(steps, start=1):
        form.step(number, text)
    fill = _fill_words(design)
    if fill:
        form.paragraph(fill)
    form.blanks(
        (("Supply clear after, min", 1.0), ("Return clear after, min", 1.0), ("Filter cleaned, times", 1.0))
    )


def _fill_words(design: Design) -> str:
    figures = Figures(design.site.frame.units)
    known = [(zone.name, volumes_of(design, zone.number)) for zone in design.zones]
    held = [(name, volumes) for name, volumes in known if volumes is not None]
    if not held:
        return ""
    if len(held) > 1:
        most = max(volumes.fill for _, volumes in held)
        slow = max(volumes.fill_greatest for _, volumes in held)
        return (
            f"Empty pipes of the largest zone take {figures.volume(most)} {figures.units.volume_name}: at "
            f"the flow of dosing up to {plain(slow / MINUTE, 0)} min before the meter steadies."
        )
    volumes = held[0][1]
    return (
        f"Empty pipes take {figures.volume(volumes.fill)} {figures.units.volume_name} to fill: "
        f"{plain(volumes.fill_least / MINUTE, 1)} to {plain(volumes.fill_greatest / MINUTE, 1)} min. Do "
        "not time the meter before that."
    )


def _tightness(form: Form, design: Design) -> None:
    figures = Figures(design.site.frame.units)
    unit = figures.units.pressure_name
    limit = design.site.tubing.pressure_range
    form.heading("2. Pressure test of supply, manifolds and lines", keep=0.8)
    most = (
        f" With tubing joined, never over {figures.pressure_of(limit[1])}, the top of its range."
        if limit
        else ""
    )
    form.paragraph(
        "Test pressure and time: as local code, the pipe's maker or the designer states; write them down "
        f"before the test. Water, never air. All air out first.{most}"
    )
    form.blanks(
        (
            (f"Test pressure, {unit}", 1.0),
            ("Time, min", 0.8),
            (f"At start, {unit}", 0.9),
            (f"At end, {unit}", 0.9),
        )
    )
    form.choice("Joints dry, pressure held:", ("yes", "no"))


def _flows(form: Form, design: Design, expected: Sequence[Expected]) -> None:
    units = design.site.frame.units
    rows_high = 1.4 + 0.27 * min(len(expected), 3)
    form.heading(
        "3. Timed flow: all emitters running, pump at work, meter steady", keep=min(rows_high, MOST_KEPT)
    )
    if not expected:
        form.paragraph("No flow is expected: the field has no emitters that take water.")
        return
    figures = Figures(units)
    one, name = unit_volume(units)
    for item in expected:
        if item.missing > 0:
            lacks = figures.length_of(item.missing)
            form.paragraph(
                f"{_state(item, several=True)}: the plan says that the pump lacks {lacks} of head. Put "
                "that right first.",
                strong=True,
            )
    band = figures.share(design.site.design.flow_band).replace(".0 %", " %")
    form.paragraph(
        "Start the watch on a mark of the meter, stop it when the volume named has passed. Three readings "
        "each. Dosing: return valve shut. Flushing: return valve as set under 4. Accepted: within "
        f"{band} of the flow expected (an assumption of the plan, not a rule; the designer may state another)."
    )
    if any(item.laid for item in expected):
        form.paragraph(
            "Expected flow: of the field as it was laid and measured (asbuilt.json). Pressures below: as "
            "planned.",
            strong=True,
        )
    several = len({item.zone for item in expected}) > 1
    if not several:
        told = (
            f"{item.doing} {figures.flow_of(item.flow)}, {plain(one / item.flow, 1)} s {_spelt(name)}"
            for item in expected
        )
        form.paragraph(f"Expected: {'; '.join(told)}.", strong=True)
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
        band_words = f"{plain(volume / item.highest, 1)} to {plain(volume / item.lowest, 1)}"
        said = [figures.flow(item.flow), plain(one / item.flow, 1), _measure(volume, units)]
        rows.append(
            [_state(item, several=several), *said, plain(volume / item.flow, 1), band_words, *[""] * 5]
        )
    form.table(titles, widths, rows)
    form.paragraph(
        "More time than accepted: air, a shut valve, a dirty filter, clogging. Less: a leak, an open "
        "valve, a break. Find the reason and mend it before anything is covered. Keep these times: every "
        "later reading is held against them.",
    )


def _pressures(form: Form, design: Design, expected: Sequence[Expected]) -> None:
    units = design.site.frame.units
    figures = Figures(units)
    form.heading("4. Pressures, and the valve of the return", keep=min(2.0 + 0.27 * len(expected), MOST_KEPT))
    known = [item for item in expected if item.head is not None]
    flushing = [item for item in known if item.doing == "flushing"]
    if flushing:
        least = min((item.slowest[1] for item in flushing if item.slowest), default=0.0)
        form.paragraph(
            "Setting of the return valve: pump running, close it from wide open until the meter gives the "
            f"time for flushing above; then the slowest end runs at {figures.velocity_of(least)} and the "
            f"emitters keep their pressure. {_wide_open(flushing, design, figures)} Mark the setting on the valve."
        )
        form.blanks((("Valve, turns open", 1.0), ("Marked how", 1.0), ("Set by", 1.0)))
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
    several = len({item.zone for item in expected}) > 1
    rows = [
        [_state(item, several=several), *_gauges(item, figures, back_shown=bool(flushing))]
        for item in expected
    ]
    if rows:
        unit = units.pressure_name
        form.table(_gauge_titles(unit, flushing=bool(flushing)), _gauge_widths(flushing=bool(flushing)), rows)
    if known:
        form.paragraph(
            "Pump: head over the liquid in the tank, before the filters; a gauge that stands higher reads "
            f"{_per_rise(units)} less for every {units.length_name} it does. Emitters, numbered from the "
            "manifold end: with a gauge on the nearest riser or loop of the same zone."
            + (
                ""
                if all(item.stated for item in known)
                else " No pump curve is given: the figures are the least that the field needs."
            )
        )


def _wide_open(flushing: Sequence[Expected], design: Design, figures: Figures) -> str:
    """What the valve wide open would do to the emitters."""
    known = [item.wide_open.head for item in flushing if item.wide_open is not None]
    limits = design.site.tubing.pressure_range
    if not known or limits is None:
        return "Wide open the bed may starve."
    said = f"Wide open, the least pressure would be {figures.pressure_of(min(known))}"
    return f"{said}: the bed would starve." if min(known) < limits[0] else f"{said}."


def _state(item: Expected, *, several: bool) -> str:
    return f"Z{item.zone} {item.doing}" if several else item.doing.capitalize()


def _gauge_titles(unit: str, *, flushing: bool) -> list[str]:
    back = [f"Before\nreturn\nvalve, {unit}", "reads"] if flushing else []
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
    """What gauges should read, and room for what they do: at the pump, before the return valve, at emitters."""
    unit = figures.units.pressure

    def said(head: float | None) -> str:
        return "" if head is None else plain(head / unit, 1)

    def at(found: AtEmitter | None) -> list[str]:
        return ["", "", ""] if found is None else [f"{found.run}, {found.number}", said(found.head), ""]

    back: list[str] = []
    if back_shown:
        back = ["shut" if item.doing == "dosing" else said(item.valve_head), ""]
    return [said(item.head), "", *back, *at(item.least), *at(item.greatest)]


def _per_rise(units: UnitSet) -> str:
    return f"{plain(units.length / units.pressure, 2)} {units.pressure_name}"


def _result(form: Form) -> None:
    form.heading("5. Result", keep=1.9)
    form.choice("Field accepted:", ("yes", "yes, after what is named below is mended", "no"))
    for label in ("Leaks, wet places, other remarks", "", ""):
        form.blanks(((label, 1.0),))
    form.space(0.1)
    for who in ("Tested by", "Witnessed by"):
        form.blanks(((who, 1.5), ("Licence no.", 0.9), ("Signature", 1.3), ("Date", 0.7)))
    form.blanks((("Owner or operator, given a copy", 2.4), ("Signature", 1.3), ("Date", 0.7)))


def _later(form: Form, flow_name: str) -> None:
    """Rows for the readings of later visits, as many as the page has room for."""
    rows = min(int((form.left_over - 1.25) / WRITING), MOST_LATER)
    if rows < FEWEST_LATER:
        return
    form.heading("6. Later visits", keep=0.0)
    form.paragraph(
        "Time the meter once a year or as the operating permit asks, the same way each time, and keep "
        "every reading: with the years a slow change says more than one figure."
    )
    titles = (
        "Date",
        "State",
        "Time\ns",
        "Volume",
        f"Flow\n{flow_name}",
        "Per cent\nof expected",
        "By",
        "Remark",
    )
    form.table(titles, (0.9, 1.0, 0.7, 0.7, 0.7, 0.85, 1.0, 1.4), [[""] * len(titles)] * rows)


def _spelt(name: str) -> str:
    return {"gal": "a gallon"}.get(name, f"for {name}")


# --- volumes that are timed -----------------------------------------------------------------------------


def unit_volume(units: UnitSet) -> tuple[float, str]:
    """The volume that readings are told by: a gallon, or ten litres [m³], and its name."""
    return (10 * LITRE, "10 L") if units.word == "m" else (units.volume, "gal")


def timed_volume(flow: float, units: UnitSet) -> float:
    """The volume to time [m³]: the least round one for which a watch runs long enough at a flow [m³/s]."""
    one = unit_volume(units)[0]
    return next((one * many for many in MULTIPLES if one * many / flow >= LEAST_TIME), one * MULTIPLES[-1])


def _measure(volume: float, units: UnitSet) -> str:
    return f"{plain(volume / units.volume, 0)} {units.volume_name}"
