"""What was laid in words and rows, for the terminal and the drawing alike, and the files of an as-built."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from layout.emitters import seconds_per_volume
from layout.model import AsBuilt, Check, LaidRun
from layout.sheets.asbuiltjson import write_asbuilt
from layout.sheets.figures import Figures
from layout.units import UnitSet

RUN_TITLES = (
    "run",
    "planned",
    "laid",
    "offset",
    "mean",
    "start",
    "end",
    "gap",
    "emitters",
    "points",
    "verdict",
)
"""Of the table of runs: lengths, greatest and mean offset, ends beyond (+) or short of (-) the plan, least gap."""


def run_rows(found: AsBuilt) -> list[tuple[str, ...]]:
    """One row a run, under :data:`RUN_TITLES`."""
    figures = Figures(found.design.site.frame.units)
    return [_run_row(run, figures) for run in found.runs]


def _run_row(run: LaidRun, figures: Figures) -> tuple[str, ...]:
    planned = figures.length(run.planned)
    if run.line is None:
        return (run.run, planned, *[""] * 7, str(run.places), run.verdict)
    return (
        run.run,
        planned,
        figures.length(run.length),
        figures.length(run.offset_greatest),
        figures.length(run.offset_mean),
        signed(run.start_beyond, figures),
        signed(run.end_beyond, figures),
        "" if run.gap_least is None else figures.length(run.gap_least),
        str(run.emitters)
        if run.emitters == run.emitters_planned
        else f"{run.emitters}/{run.emitters_planned}",
        str(run.places),
        run.verdict,
    )


def signed(length: float, figures: Figures) -> str:
    """A length [m] with its sign: ``+0.35`` beyond the plan, ``-0.20`` short of it."""
    text = figures.length(length)
    return text if text.startswith("-") or not text.strip("0.,") else f"+{text}"


def total_rows(found: AsBuilt) -> list[tuple[str, str, str]]:
    """The whole field, as planned and as laid."""
    units = found.design.site.frame.units
    figures = Figures(units)
    laid = [run for run in found.runs if run.line is not None]
    flows = _flows(found.runs)
    return [
        ("runs", str(len(found.runs)), str(len(laid))),
        (
            f"tubing, {units.length_name}",
            figures.length(math.fsum(run.planned for run in found.runs)),
            figures.length(math.fsum(run.length for run in laid)),
        ),
        (
            "emitters",
            f"{sum(run.emitters_planned for run in found.runs):,}",
            f"{sum(run.emitters for run in laid):,}",
        ),
        (f"flow, {units.flow_name}", figures.flow(flows[0]), figures.flow(flows[1])),
        *_times(found),
    ]


def _flows(runs: Sequence[LaidRun]) -> tuple[float, float]:
    """Flow of runs, as planned and as laid [m³/s]."""
    laid = (run.flow for run in runs if run.line is not None)
    return math.fsum(run.flow_planned for run in runs), math.fsum(laid)


def _times(found: AsBuilt) -> Iterator[tuple[str, str, str]]:
    """What a stop watch reads a gallon or litre; of several zones each by itself, since they never run together."""
    units, zones = found.design.site.frame.units, found.design.zones
    named = {run.run: run for run in found.runs}
    of_zones = [(f", {zone.name}", [named[name] for name in zone.runs]) for zone in zones]
    for name, runs in of_zones if len(zones) > 1 else [("", list(found.runs))]:
        planned, laid = _flows(runs)
        yield f"seconds a {units.volume_name}{name}", _seconds(planned, units), _seconds(laid, units)


def _seconds(flow: float, units: UnitSet) -> str:
    return f"{seconds_per_volume(flow, units.volume):.2f}" if flow > 0 else ""


def check_rows(found: AsBuilt) -> list[tuple[str, str, str, str, str, str]]:
    """The checks: verdict, name, value, limit, source, place."""
    figures = Figures(found.design.site.frame.units)
    return [
        ("ok" if check.ok else "FAIL", check.name, *_against(check, figures), check.source, check.place)
        for check in found.checks
    ]


def _against(check: Check, figures: Figures) -> tuple[str, str]:
    value = figures.of_check(check, check.value)
    if not math.isfinite(check.limit):
        return value, ""
    bound = "at least" if check.sense == "least" else "at most"
    return value, f"{bound} {figures.of_check(check, check.limit)}"


def asbuilt_makers(found: AsBuilt) -> list[tuple[str, Callable[[Path], None]]]:
    """The files of an as-built, each with what makes it."""
    from layout.sheets.asbuiltdrawing import asbuilt_drawing
    from layout.sheets.plot import write_pdf, write_png

    drawing = asbuilt_drawing(found)
    return [
        ("asbuilt.pdf", lambda path: write_pdf(drawing, path)),
        ("asbuilt.png", lambda path: write_png(drawing, path)),
        ("asbuilt.json", lambda path: write_asbuilt(found, path)),
    ]
