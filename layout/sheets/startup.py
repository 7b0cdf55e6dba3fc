"""The start-up test with clean water as a form: what to do, in which order, what to expect, blanks for readings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from layout.model import Design
from layout.sheets.figures import Figures, plain, spelt
from layout.sheets.form import INCH_PAPER, METRIC_PAPER, WRITING, Form
from layout.sheets.marks import Drawing
from layout.sheets.startupfigures import flows_part, pressures_part, valves_named, valves_word
from layout.sheets.timing import minutes_up
from layout.startup.expected import Expected, expected_flows, volumes_of
from layout.units import MINUTE, UnitSet

SUBJECT = "Start-up test with clean water"
FEWEST_LATER, MOST_LATER = 3, 14
"""Rows for later visits: at least, and at most."""
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
    flows_part(form, design, expected)
    pressures_part(form, design, expected)
    _result(form, units)
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
    each = " Do this zone by zone, all other zone valves and flush valves shut." if several else ""
    form.heading("1. Air out, dirt out: supply side first, then the return", keep=1.0)
    form.paragraph(f"Dirt that stays in the pipes ends in the emitters.{each}")
    valves = valves_word(design)
    where = valves_named(design)
    steps = (
        f"{valves.capitalize()} SHUT{f' ({where})' if where else ''}. Open the flushing outlet at the far end of "
        "the supply manifold, or take off its air valve. Nothing there to open: loosen the last riser.",
        "Let water in slowly, valve cracked open, until air stops spitting. Then open up and run until "
        "the water is clear. Shut the outlet, put the air valve back.",
        f"Open the {valves} WIDE{', one after the other' if where else ''}. Run until the water that comes back is "
        "clear and without bubbles. The supply side is clean now: what comes is from tubing and return.",
        f"Clean the filter. Run the return again until it stays clear, then shut the {valves}.",
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
            f"Empty tubing and pipes of the largest zone, return to its flush valve too, take {figures.volume(most)} "
            f"{figures.units.volume_name}: at the flow of dosing up to {minutes_up(slow)} min before the meter "
            "steadies."
        )
    volumes = held[0][1]
    return (
        f"Empty tubing and pipes, the return to its flush valve too, take {figures.volume(volumes.fill)} "
        f"{figures.units.volume_name} to fill: {plain(volumes.fill_least / MINUTE, 1)} to "
        f"{minutes_up(volumes.fill_greatest)} min. Do not time the meter before that."
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


def _result(form: Form, units: UnitSet) -> None:
    form.heading("5. Result", keep=1.9)
    form.choice("Field accepted:", ("yes", "yes, after what is named below is mended", "no"))
    for label in ("Leaks, wet places, other remarks", "", ""):
        form.blanks(((label, 1.0),))
    form.space(0.1)
    licence = f"{spelt('Licence', units)} no."
    for who in ("Tested by", "Witnessed by"):
        form.blanks(((who, 1.5), (licence, 0.9), ("Signature", 1.3), ("Date", 0.7)))
    form.blanks((("Owner or operator, given a copy", 2.4), ("Signature", 1.3), ("Date", 0.7)))


def _later(form: Form, flow_name: str) -> None:
    """Rows for the readings of later visits, as many as the page has room for; on a page of their own where few."""
    form.heading("6. Later visits", keep=0.95 + FEWEST_LATER * WRITING)
    rows = min(int((form.left_over - 1.0) / WRITING), MOST_LATER)
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
