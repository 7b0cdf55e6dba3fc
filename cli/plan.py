"""``sinuate plan``: the main job, from a site file to the sheets, with a summary on the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import AsJson, Out, Settings, SiteFile, Strict, hold

if TYPE_CHECKING:
    from layout.model import Design
    from layout.sheets.figures import Figures

Coverage = Annotated[
    bool, typer.Option("--coverage", help="Write coverage.png too: the water that the ground takes.")
]
Pressure = Annotated[
    bool,
    typer.Option(
        "--pressure", help="Write pressure.pdf and .png too: pressure over the bed and along laterals."
    ),
]
Network = Annotated[
    bool, typer.Option("--network", help="Write the pipe network of every zone too, as .inp text files.")
]
_MOST_ROWS = 24


def plan(
    site: SiteFile,
    out: Out = None,
    strict: Strict = False,
    json: AsJson = False,
    coverage: Coverage = False,
    pressure: Pressure = False,
    network: Network = False,
    settings: Settings = None,
) -> None:
    """Lay out the bed and write plan, takeoff and layout."""
    from cli import say
    from layout.readers.sitefile import read_site

    folder = say.folder_for(site, out)
    with say.working() as stage:
        stage("reading the site")
        read = read_site(site, settings or ())
        # imported only now, so that wrong input is told at once
        from layout.plan import plan_field
        from layout.sheets.layoutjson import document
        from layout.sheets.write import write_plan

        design = plan_field(read, progress=stage)
        stage("writing the sheets")
        files = write_plan(design, folder, coverage=coverage, pressure=pressure, network=network)
    if json:
        say.document(document(design))
    else:
        _print(design, files)
    hold(design.checks, strict=strict)


def _print(design: Design, files: list[Path]) -> None:
    """Say what was laid, what failed and what was written."""
    from cli import say
    from layout.sheets.takeoff import idle_prices

    say.line(f"{design.site.title}: pattern {design.laying.pattern.value}")
    say.table(("", "", ""), _totals(design))
    if len(design.zones) > 1:
        seconds = f"s a {_singular(design.site.frame.units.volume_name)}"
        say.table(("zone", "laterals", "tubing", "emitters", "flow", seconds), _zones(design))
    say.table(("lateral", "runs", "tubing", "emitters", "flow"), _laterals(design))
    _print_water(design)
    _print_checks(design)
    say.look(design.findings)
    say.notes([*design.site.notes, *filter(None, [idle_prices(design)])])
    say.written(files)
    say.line(
        "This plan is for review: setbacks and loading are as stated in the site file; "
        "local code and licensed practice decide."
    )


def _totals(design: Design) -> list[tuple[str, str, str]]:
    from layout.emitters import seconds_per_volume
    from layout.sheets.figures import Figures

    units = design.site.frame.units
    figures, totals, coverage = Figures(units), design.totals, design.coverage
    bed = design.site.bed.outline.area
    seconds = seconds_per_volume(totals.flow, units.volume) if totals.flow > 0 else None
    gaps = (coverage.gap_least, coverage.gap_greatest)
    dropped = len(design.laying.dropped)
    rows = [
        ("bed", figures.area_of(bed), f"{figures.area_of(design.ground.area.area)} usable"),
        ("runs", str(len(design.laying.runs)), _of_how_many(design)),
        ("tubing", figures.length_of(totals.tubing), _without_emitters(design, figures)),
        *_coils(design),
        ("emitters", f"{totals.emitters:,}", figures.hourly_of(totals.flow)),
        (
            "flow",
            figures.flow_of(totals.flow),
            "all zones together; each has its own time, below"
            if len(design.zones) > 1
            else (f"{seconds:,.1f} s a {_singular(units.volume_name)}" if seconds else ""),
        ),
        (
            "covered",
            figures.share(coverage.covered),
            f"driest point {figures.length_of(coverage.dry)} from tubing",
        ),
    ]
    if gaps[0] is not None and gaps[1] is not None:
        rows.append(("gaps", f"{figures.length(gaps[0])} to {figures.length_of(gaps[1])}", "between runs"))
    if totals.cell_mean is not None and totals.cell_cv is not None:
        ground = f"{totals.cell_mean / units.area:.2f} {units.area_name}"
        rows.append(("ground", ground, f"to an inner emitter, varying by {figures.share(totals.cell_cv)}"))
    if dropped:
        rows.append(
            (
                "left out",
                f"{dropped} piece{'s' if dropped > 1 else ''}",
                "listed in layout.json and on the plan",
            )
        )
    return rows


def _of_how_many(design: Design) -> str:
    """Say how many patterns were tried, and whether this is the best, or the next whose plumbing is whole."""
    tried = len(design.candidates)
    best = "" if any(item.passed for item in design.candidates) else "best "
    return f"{best}of {tried} patterns" if tried > 1 else ""


def _without_emitters(design: Design, figures: Figures) -> str:
    """Say how much tubing without emitters the bed takes; what risers take is told as pipe is."""
    leads = sum(riser.line.length for riser in design.plumbing.risers if riser.lead)
    led = f", {figures.length_of(leads)} in leads" if leads else ""
    return f"and {figures.length_of(design.totals.blank)} blank{led}"


def _coils(design: Design) -> list[tuple[str, str, str]]:
    """Say how many coils the runs take, and whether fewer would do with splices."""
    from layout.sheets.figures import Figures

    cuts = design.cuts
    if cuts is None:
        return []
    count = len(cuts.coils)
    fewer = f"{cuts.spliced} would do with runs spliced anywhere" if cuts.spliced < count else ""
    return [
        (
            "coils",
            str(count),
            ", ".join(filter(None, [f"of {Figures(design.site.frame.units).length_of(cuts.length)}", fewer])),
        )
    ]


def _singular(volume: str) -> str:
    return {"gal": "gallon", "L": "litre"}.get(volume, volume)


def _zones(design: Design) -> list[tuple[str, ...]]:
    from layout.emitters import seconds_per_volume
    from layout.sheets.figures import Figures

    figures = Figures(design.site.frame.units)
    return [
        (
            zone.name,
            " to ".join(dict.fromkeys((zone.laterals[0], zone.laterals[-1]))),
            figures.length_of(zone.tubing),
            f"{zone.emitters:,}",
            figures.flow_of(zone.flow),
            f"{seconds_per_volume(zone.flow, figures.units.volume):,.1f}" if zone.flow > 0 else "-",
        )
        for zone in design.zones
    ]


def _laterals(design: Design) -> list[tuple[str, ...]]:
    from layout.sheets.figures import Figures

    figures = Figures(design.site.frame.units)
    emitters = {row.run: row for row in design.emitters}
    rows: list[tuple[str, ...]] = []
    for lateral in design.laterals[:_MOST_ROWS]:
        own = [emitters[name] for name in lateral.runs if name in emitters]
        count, flow = sum(row.count for row in own), sum(row.flow for row in own)
        length = figures.length_of(lateral.length)
        rows.append((lateral.name, " ".join(lateral.runs), length, f"{count:,}", figures.flow_of(flow)))
    more = len(design.laterals) - _MOST_ROWS
    if more > 0:
        rows.append((f"and {more} more", "", "", "", "in layout.json"))
    return rows


def _print_water(design: Design) -> None:
    """Say what each zone does when dosed and flushed, how long it takes to fill, and how it is dosed."""
    from cli import say
    from layout.sheets.figures import Figures, plain

    if design.hydraulics is None:
        return
    units = design.site.frame.units
    figures = Figures(units)
    rows: list[tuple[str, ...]] = []
    for zone in design.hydraulics.zones[: _MOST_ROWS // 2]:
        for doing, state in (("dosing", zone.dose), ("flushing", zone.flush)):
            if state is None:
                continue
            low, high = (plain(end.head / units.pressure, 1) for end in (state.least, state.greatest))
            flushed = doing == "flushing"
            rows.append(
                (
                    f"Z{zone.zone} {doing}",
                    figures.flow_of(state.flow),
                    figures.length_of(state.head),
                    f"{low} to {high} {units.pressure_name}",
                    f"{figures.velocity_of(state.slowest[1])}, {state.slowest[0]}" if flushed else "",
                    figures.length_of(state.valve_head) if state.valve_head is not None else "shut",
                )
            )
    say.table(("water", "flow", "head at pump", "at emitters", "slowest end", "flush valve takes"), rows)
    more = len(design.hydraulics.zones) - _MOST_ROWS // 2
    if more > 0:
        say.line(f"  and {more} more zones, in layout.json")
    for zone in design.hydraulics.zones:
        if zone.doses is not None:
            count, minutes = zone.doses.count, plain(zone.doses.duration / 60.0, 1)
            volume = f"{figures.volume(zone.doses.volume)} {units.volume_name}"
            say.line(
                f"  Z{zone.zone}: {count} dose{'s' if count > 1 else ''} a day of {volume}, {minutes} min each"
            )


def _print_checks(design: Design) -> None:
    from cli import say
    from layout.checks import unchecked
    from layout.sheets.figures import Figures

    figures = Figures(design.site.frame.units)
    failed = [check for check in design.checks if not check.ok]
    left_out = unchecked(design)
    more = f" Not checked: {', '.join(left_out)}." if left_out else ""
    say.line(f"Checks: {len(design.checks) - len(failed)} passed, {len(failed)} failed.{more}")
    for check in failed:
        value, limit = figures.of_check(check, check.value), figures.of_check(check, check.limit)
        bound = "at least" if check.sense == "least" else "at most"
        where = say.shortened(check.place)
        place = f" at {where}" if where.startswith("(") else f", {where}" if where else ""
        say.line(f"FAILED: {check.name} is {value}{place}; it should be {bound} {limit} ({check.source}).")
