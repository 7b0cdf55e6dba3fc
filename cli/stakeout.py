"""``sinuate stakeout``: the points a crew stakes, and what its tapes read at each of them."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import AsJson, Out, Settings, SiteFile

if TYPE_CHECKING:
    from layout.model import Design, Site, Stake, Staking

LandXml = Annotated[
    bool, typer.Option("--landxml", help="Write the points as stakeout.xml too, in LandXML 1.2.")
]
Gpx = Annotated[
    bool, typer.Option("--gpx", help="Write the points as stakeout.gpx too, in GPX 1.1; needs survey.crs.")
]
_HEADINGS = (
    "point",
    "what it marks",
    "station",
    "offset",
    "first tape",
    "second tape",
    "side",
    "cross",
    "within",
)
_BASELINE_ONLY = 4
"""Columns that there are without swing ties."""


def stakeout(
    site: SiteFile,
    out: Out = None,
    landxml: LandXml = False,
    gpx: Gpx = False,
    json: AsJson = False,
    settings: Settings = None,
) -> None:
    """Write the points that the crew stakes, and print what its tapes read at each."""
    from cli import say
    from layout.readers.sitefile import read_site

    folder = say.folder_for(site, out)
    with say.working() as stage:
        stage("reading the site")
        read = read_site(site, settings or ())
        # imported only now, so that wrong input is told at once
        from layout.plan import plan_field
        from layout.sheets.whole import write_set
        from layout.sheets.write import STAKE_FILES, stakeout_makers

        design = plan_field(read, progress=stage)
        stage("writing the sheets")
        files = write_set(stakeout_makers(design, landxml=landxml, gpx=gpx), folder, drop=STAKE_FILES)
    if json:
        say.document(_document(design))
    else:
        _print(design, files)


def _document(design: Design) -> dict[str, object]:
    """The stake-out for programs: what ``layout.json`` has of it."""
    from layout.sheets.layoutjson import document

    whole = document(design)
    taken = ("title", "units", "crs", "staking", "stakes", "notes")
    found = [item for item in whole["findings"] if item["code"] in _CODES]
    return {"format": "sinuate-stakeout/1", **{key: whole[key] for key in taken}, "findings": found}


_CODES = {"no-tie", "poor-tie", "blocked-tie", "baseline-blocked"}


def _print(design: Design, files: list[Path]) -> None:
    """Say where the baseline lies, what the tapes read at each stake, and what to mind."""
    from cli import say

    site, staking = design.site, design.staking
    if staking is None:
        return
    say.line(f"{site.title}: {len(staking.stakes):,} stakes in walking order; lengths in {_unit(site)}")
    _print_rules(site, staking)
    shown = len(_HEADINGS) if site.stakeout.ties else _BASELINE_ONLY
    say.table(_HEADINGS[:shown], [_row(stake, site)[:shown] for stake in staking.stakes])
    say.look(finding for finding in design.findings if finding.code in _CODES)
    say.notes(site.notes)
    say.written(files)
    say.line(
        "Before digging, have buried utilities located and marked. Hold tapes level: all distances are horizontal. "
        "`within` is what rounding alone can do; what tapes, sag and squares add comes on top of it."
    )


def _print_rules(site: Site, staking: Staking) -> None:
    """Say how the two ways to find a stake go."""
    from cli import say
    from layout.sheets.stakeout import error_words, place_words, taped
    from layout.stakes import rounding_of

    rounding, frame = rounding_of(site.stakeout, site.frame), site.frame
    start, end = (place_words(at, staking, frame) for at in staking.baseline)
    length = taped(staking.step * round(math.dist(*staking.baseline) / staking.step), rounding, frame)
    which = "as given" if staking.given else "chosen for short offsets, stakes 1 and 2"
    error = error_words(staking.stakes[0].baseline.error, frame)
    far = max(staking.stakes, key=lambda stake: abs(stake.baseline.offset))
    turned = error_words(abs(far.baseline.offset) * math.sin(math.radians(1.0)), frame)
    say.line(f"Baseline: from A {start} to B {end}, {length} long, {which}.")
    say.line(
        "Station: along it from A. Offset: square to it, R to the right, L to the left of one who walks from A to B. "
        f"Rounding to {rounding} moves a stake by {error} at most. A square that is off by 1 degree moves stake "
        f"{far.number}, at the longest offset, by {turned}."
    )
    if not site.stakeout.ties:
        say.line("No swing ties: name fixed points, two or more, as stakeout.ties to have them.")
        return
    say.line(
        "Tapes: swing one from each of two fixed points; the stake is where they cross, on that side of one who stands "
        "at the first point and faces the second. cross: their angle there, in degrees. within: how far off rounding "
        f"to {rounding} can lead."
    )
    say.table(
        ("fixed point", "place"), [(name, place_words(at, staking, frame)) for name, at in site.stakeout.ties]
    )


def _unit(site: Site) -> str:
    from layout.stakes import rounding_of

    metric = site.frame.units.length_name
    return "feet and inches" if rounding_of(site.stakeout, site.frame) == "1/8 in" else metric


def _row(stake: Stake, site: Site) -> tuple[str, ...]:
    from layout.sheets.stakeout import error_words, offset_words, taped
    from layout.stakes import rounding_of

    rounding, frame = rounding_of(site.stakeout, site.frame), site.frame
    cells = (
        str(stake.number),
        stake.description,
        taped(stake.baseline.station, rounding, frame),
        offset_words(stake, rounding, frame),
    )
    if stake.swing is None:
        return (*cells, "", "", "", "", "")
    tapes = [f"{taped(tie.distance, rounding, frame)} {tie.name}" for tie in stake.swing.ties]
    angle = f"{math.degrees(stake.swing.crossing):.0f}"
    return (*cells, *tapes, stake.swing.side, angle, error_words(stake.swing.error, frame))
