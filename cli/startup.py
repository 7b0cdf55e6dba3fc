"""``sinuate startup``: the test with clean water, and the readings of the years after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.options import AsJson, Out, Settings, SiteFile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from layout.model import Design, FlowReading, Site
    from layout.startup.expected import Expected
    from layout.startup.log import Series

Record = Annotated[
    tuple[str, str] | None,
    typer.Option(
        "--record",
        metavar="DATE READING",
        help='Add a reading to flowlog.csv beside the site, as in 2026-05-01 "20.4 s/gal".',
    ),
]
Trend = Annotated[
    bool,
    typer.Option(
        "--trend", help="Print and draw the readings of flowlog.csv; writes trend.png and trend.pdf."
    ),
]
AsBuilt = Annotated[
    bool,
    typer.Option(
        "--asbuilt", help="Expect the flow of the field as it was laid: asbuilt.json in the output folder."
    ),
]
InZone = Annotated[
    str | None, typer.Option("--zone", metavar="ZONE", help="With --record: the zone that was read, as Z2.")
]
Flushing = Annotated[
    bool | None,
    typer.Option(
        "--flushing/--dosing",
        help="With --record: read while flushing, or while dosing; dosing if neither is said.",
        show_default=False,
    ),
]
Remark = Annotated[
    str | None,
    typer.Option("--note", metavar="TEXT", help="With --record: a remark to keep with the reading."),
]


def startup(  # noqa: PLR0913, PLR0917 (each is an option of the command)
    site: SiteFile,
    out: Out = None,
    record: Record = None,
    zone: InZone = None,
    flushing: Flushing = None,
    note: Remark = None,
    trend: Trend = False,
    asbuilt: AsBuilt = False,
    json: AsJson = False,
    settings: Settings = None,
) -> None:
    """Write the start-up form; keep flow readings, and show how they go."""
    from cli import say
    from layout.readers.sitefile import read_site

    folder = say.folder_for(site, out)
    log = site.parent / "flowlog.csv"
    with say.working() as stage:
        stage("reading the site")
        _only_with_record(record, zone, flushing, note)
        told = _told(record, zone, flushing, note)
        read = read_site(site, settings or ())
        from layout.readers.flowlog import read_flow_log

        before = read_flow_log(log) if record is not None or trend else ()
        # imported only now, so that wrong input is told at once
        from layout.plan import plan_field

        design = plan_field(read, progress=stage)
        expected = _expected(design, folder, asbuilt=asbuilt)
        files: list[Path] = []
        kept: FlowReading | None = None
        if told is not None:
            kept = _keep(log, told, zone, expected, design, asked=flushing is None)
            before, files = (*before, kept), [log]
        series = _series(log, before, expected) if trend else ()
        files += _write(design, expected, series, folder, form=record is None and not trend)
    if json:
        say.document(_document(design, expected, kept, series, before))
    else:
        _print(design, expected, kept, series, before, files)


def _only_with_record(record: object, zone: str | None, flushing: bool | None, note: str | None) -> None:
    from layout.errors import Fault, ReadError

    state = "--dosing" if flushing is False else "--flushing"
    given = {"--zone": zone is not None, state: flushing is not None, "--note": note is not None}
    stray = [name for name, there in given.items() if there]
    if record is None and stray:
        said = f"{stray[0]} is given without --record"
        raise ReadError(
            Fault(said=said, remedy='Add --record DATE READING, as in --record 2026-05-01 "20.4 s/gal".')
        )


def _told(record: tuple[str, str] | None, zone: str | None, flushing: bool | None, note: str | None) -> Any:
    """The reading as it was typed, not yet in a zone of the field."""
    if record is None:
        return None
    from layout.model import FlowReading
    from layout.readers.flowlog import zone_of
    from layout.readers.reading import date_of, flow_of

    return FlowReading(
        on=date_of(record[0]),
        zone=1 if zone is None else zone_of(zone, field="--zone"),
        doing="flushing" if flushing else "dosing",
        said=" ".join(record[1].split()),
        flow=flow_of(record[1]),
        note=" ".join((note or "").split()),
    )


def _expected(design: Design, folder: Path, *, asbuilt: bool) -> Sequence[Expected]:
    from layout.startup.expected import as_laid, expected_flows

    expected = expected_flows(design)
    if not asbuilt:
        return expected
    from layout.readers.flowlog import read_laid_flows

    planned = {zone.number: zone.flow for zone in design.zones}
    lengths = {run.name: run.length for run in design.laying.runs}
    path = folder / "asbuilt.json"
    return as_laid(expected, planned, read_laid_flows(path, sorted(planned), lengths=lengths, flows=planned))


def _keep(
    log: Path,
    told: FlowReading,
    zone: str | None,
    expected: Sequence[Expected],
    design: Design,
    *,
    asked: bool,
) -> FlowReading:
    """Write a reading down; where its state was not told but its flow is that of another, that is asked."""
    from layout.emitters import seconds_per_volume
    from layout.errors import Fault, ReadError
    from layout.readers.flowlog import read_flow_log
    from layout.sheets.flowlog import append_reading, refuse_lost
    from layout.startup.log import misread, other_state

    zones = sorted({item.zone for item in expected}) or [1]
    if (zone is None and len(zones) > 1) or told.zone not in zones:
        names = ", ".join(f"Z{number}" for number in zones)
        said = "the field has several zones" if zone is None else f"the field has no zone Z{told.zone}"
        raise ReadError(Fault(field="--zone", said=said, remedy=f"Say which was read with --zone: {names}."))
    units = design.site.frame.units
    mine = next((item for item in expected if (item.zone, item.doing) == (told.zone, told.doing)), None)
    other = misread(told.flow, mine, units.volume)
    if mine is not None and other is not None:
        said = f'"{told.said}" is {100 * told.flow / mine.flow:.0f} % of the flow expected'
        written = f'"{seconds_per_volume(other, units.volume):.4g} s/{units.volume_name}"'
        remedy = (
            f"If seconds and {units.flow_name} are mixed up, write {written}, "
            f"that is {other / units.flow:.4g} {units.flow_name}."
        )
        raise ReadError(Fault(field="--record", said=said, remedy=remedy))
    belongs = other_state(told.flow, mine, expected) if asked else None
    if mine is not None and belongs is not None:
        said = (
            f'"{told.said}" is {100 * told.flow / mine.flow:.0f} % of the flow expected while {mine.doing}, but '
            f"{100 * told.flow / belongs.flow:.0f} % of that while {belongs.doing}"
        )
        remedy = f"Add --{belongs.doing} if it was read so, or --{mine.doing} to keep it as it is."
        raise ReadError(Fault(field="--record", said=said, remedy=remedy))
    several = len(zones) > 1
    refuse_lost(log, told, several=several)
    before = read_flow_log(log, several=several)  # how many zones there are is known only now
    append_reading(log, told, before=before, expected=mine, units=units, several=several)
    return told


def _series(log: Path, readings: Sequence[FlowReading], expected: Sequence[Expected]) -> Sequence[Series]:
    from layout.errors import Fault, ReadError
    from layout.readers.flowlog import read_flow_log
    from layout.startup.log import series_of

    if not readings:
        remedy = 'Begin it with --record DATE READING, as in --record 2026-05-01 "20.4 s/gal".'
        raise ReadError(Fault(file=str(log), said="has no reading yet, so there is no trend", remedy=remedy))
    if len({item.zone for item in expected}) > 1:
        read_flow_log(log, several=True)  # how many zones there are is known only now
    return series_of(readings, expected)


def _write(
    design: Design, expected: Sequence[Expected], series: Sequence[Series], folder: Path, *, form: bool
) -> list[Path]:
    """Write the form, or the pictures of the trend."""
    from layout.sheets.startup import write_startup
    from layout.sheets.trend import trend_makers
    from layout.sheets.whole import write_set

    if series:
        return write_set(trend_makers(design.site, series), folder)
    if form:
        return write_set(
            [("startup.pdf", lambda path: write_startup(design, path, expected=expected))], folder
        )
    return []


# --- what is said ---------------------------------------------------------------------------------------


def _document(
    design: Design,
    expected: Sequence[Expected],
    kept: FlowReading | None,
    series: Sequence[Series],
    readings: Sequence[FlowReading],
) -> dict[str, Any]:
    from layout.sheets.startupjson import startup_document

    return startup_document(design, expected, kept=kept, series=series, readings=readings)


def _print(
    design: Design,
    expected: Sequence[Expected],
    kept: FlowReading | None,
    series: Sequence[Series],
    readings: Sequence[FlowReading],
    files: Sequence[Path],
) -> None:
    from cli import say
    from layout.sheets.figures import Figures
    from layout.sheets.startupfigures import dry_words
    from layout.startup.log import words_of

    site = design.site
    basis = "as it was laid" if any(item.laid for item in expected) else "as planned"
    say.line(f"{site.title}: flow to expect of the field {basis}")
    say.table(*_expected_table(expected, site))
    for item in expected:
        if item.missing > 0:
            unit = site.frame.units
            say.line(
                f"Look: Z{item.zone} {item.doing}: the pump lacks {item.missing / unit.length:.1f} "
                f"{unit.length_name} of head; what the field needs is given."
            )
    for text in dry_words(expected, Figures(site.frame.units)):
        say.line(f"Look: {text}")
    if kept is not None:
        _print_kept(kept, expected, readings, site)
    if series:
        say.table(*_reading_table(readings, expected, site))
        for one in series:
            for text in words_of(one):
                say.line(text)
    say.notes(site.notes)
    say.written(files)
    say.line(
        "Electrical work by a licensed electrician. Do not enter tanks. Effluent carries pathogens. No "
        "cross-connection. Local code and licensed practice decide."
    )


def _expected_table(
    expected: Sequence[Expected], site: Site
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    from layout.sheets.figures import Figures
    from layout.sheets.timing import unit_volume

    figures, units = Figures(site.frame.units), site.frame.units
    one, name = unit_volume(units)
    rows: list[tuple[str, ...]] = [
        (
            f"Z{item.zone} {item.doing}",
            figures.flow(item.flow),
            *_times(item, one),
            "-" if item.head is None else figures.length(item.head),
        )
        for item in expected
    ]
    heads = f"head at pump, {units.length_name}"
    return ("", units.flow_name, f"s a {name}", f"accepted, s a {name}", heads), rows


def _times(item: Expected, volume: float) -> tuple[str, str]:
    """Tell the seconds to a volume, and which are accepted; none where the pump lacks head."""
    from layout.sheets.timing import seconds_of

    if item.missing > 0:
        return "-", "-"
    return (
        seconds_of(item.flow, volume),
        f"{seconds_of(item.highest, volume)} to {seconds_of(item.lowest, volume)}",
    )


def _print_kept(
    kept: FlowReading, expected: Sequence[Expected], readings: Sequence[FlowReading], site: Site
) -> None:
    from cli import say
    from layout.sheets.flowlog import log_row
    from layout.startup.log import first_of, other_state

    mine = next((item for item in expected if (item.zone, item.doing) == (kept.zone, kept.doing)), None)
    row = log_row(kept, before=readings[:-1], expected=mine, units=site.frame.units)
    said = f"{kept.on}, Z{kept.zone} {kept.doing}: {kept.said} is {float(row[4]):.2f} {row[5]}"
    if mine is not None:
        inside = mine.lowest <= kept.flow <= mine.highest
        said += f", {row[7]} % of the flow expected, {'within' if inside else 'OUTSIDE'} the accepted band"
    if not row[8]:
        first = first_of(readings, kept.zone, kept.doing, mine)
        more = "" if first is kept else "; nor is any before it near enough"
        say.line(f"{said}; too far off to hold later readings against{more}.")
    else:
        say.line(f"{said}; {row[8]} % of the first reading.")
    other = other_state(kept.flow, mine, expected)
    if other is not None:
        say.line(
            f"Look: it is within the band of {other.doing}. Was the return flush valve shut or open as meant?"
        )
    same = sum(
        (item.on, item.zone, item.doing, item.said) == (kept.on, kept.zone, kept.doing, kept.said)
        for item in readings
    )
    if same > 1:
        say.notes([f"the same reading of that day now stands in the log {same} times"])


def _reading_table(
    readings: Sequence[FlowReading], expected: Sequence[Expected], site: Site
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    from layout.sheets.flowlog import log_row

    units = site.frame.units
    known = {(item.zone, item.doing): item for item in expected}
    rows: list[tuple[str, ...]] = []
    for item in sorted(readings, key=lambda one: (one.zone, one.doing, one.on)):
        row = log_row(item, before=readings, expected=known.get((item.zone, item.doing)), units=units)
        rows.append(
            (row[0], f"{row[1]} {row[2]}", row[3], f"{float(row[4]):.2f}", row[7] or "-", row[8], row[9])
        )
    return ("day", "state", "reading", units.flow_name, "% of expected", "% of first", "note"), rows
