"""``sinuate asbuilt``: what was laid, as measured, against what was planned."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import AsJson, Out, Settings, SiteFile, Strict, hold

if TYPE_CHECKING:
    from pathlib import Path

    from layout.model import AsBuilt

Points = Annotated[
    str,
    typer.Argument(metavar="POINTS", help="The survey file of what was laid.", show_default=False),
]
Crs = Annotated[
    str | None,
    typer.Option(
        "--crs",
        metavar="CODE",
        help="The projected CRS that the points are in, where it is not the site's: EPSG:6494.",
        show_default=False,
    ),
]


def asbuilt(
    site: SiteFile,
    points: Points,
    crs: Crs = None,
    out: Out = None,
    strict: Strict = False,
    json: AsJson = False,
    settings: Settings = None,
) -> None:
    """Hold what was measured of the tubing as laid against the plan."""
    from cli import say
    from layout.readers.sitefile import read_site

    folder = say.folder_for(site, out)
    with say.working() as stage:
        stage("reading the site and the survey")
        read = read_site(site, settings or ())
        # imported only now, so that wrong input is told at once
        from layout.readers.measured import read_measured

        shots, notes = read_measured(points, read, crs=crs)
        from layout.plan import measure_laid, plan_field
        from layout.sheets.asbuilt import asbuilt_makers
        from layout.sheets.asbuiltjson import asbuilt_document
        from layout.sheets.whole import write_set

        design = plan_field(read, progress=stage)
        stage("matching points to runs")
        found = measure_laid(design, shots, notes=notes)
        stage("writing the sheets")
        files = write_set(asbuilt_makers(found), folder)
    if json:
        say.document(asbuilt_document(found))
    else:
        _print(found, files)
    hold(found.checks, strict=strict)


def _print(found: AsBuilt, files: list[Path]) -> None:
    """Say of each run how it was laid, what fails, what to look at."""
    from cli import say
    from layout.sheets.asbuilt import RUN_TITLES, check_rows, run_rows, total_rows

    site = found.design.site
    say.line(f"{site.title}: as laid, against the plan; lengths in {site.frame.units.length_name}")
    on = sum(len(run.shots) for run in found.runs)
    say.line(
        f"{found.measured:,} points measured: {on:,} on runs, {len(found.pipes):,} on pipes, loops and marks, "
        f"{len(found.astray):,} on nothing planned."
    )
    say.table(RUN_TITLES, run_rows(found))
    say.table(("", "planned", "as laid"), total_rows(found))
    say.table(("", "check", "value", "limit", "source", "where"), check_rows(found))
    say.look(found.findings)
    say.notes((*site.notes, *found.notes))
    say.written(files)
    say.line(
        "Lengths are horizontal. Whether what was laid may stay, and what a record drawing must show, local code and "
        "the authority decide."
    )
