"""``sinuate compare``: the candidate patterns side by side, as a table and as pictures, so that a designer chooses."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import AsJson, Settings, SiteFile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from layout.model import EndTrial, Site, Trial

Pictures = Annotated[
    Path | None,
    typer.Option("--out", metavar="FOLDER", help="Write compare.png, a picture of each pattern, there."),
]
_LAID = ("", "pattern", "along", "first", "rows", "runs", "left out", "tubing", "fed there")
_COVERED = ("covered", "driest", "gap", "95 %", "most", "bend", "score")
_WIDE = 132
"""A terminal narrower than this [characters] shows the figures in two tables."""


def compare(site: SiteFile, out: Pictures = None, json: AsJson = False, settings: Settings = None) -> None:
    """Lay out the candidate patterns and show them side by side."""
    from cli import say
    from layout.readers.sitefile import read_site

    if out is not None:
        say.put_back(out)
    with say.working() as stage:
        stage("reading the site")
        read = read_site(site, settings or ())
        # imported only now, so that wrong input is told at once
        from layout.plan import compare_ends, compare_patterns
        from layout.sheets.comparison import comparison
        from layout.sheets.comparisonsheet import write_comparison
        from layout.sheets.whole import write_set

        trials = compare_patterns(read, progress=stage)
        ends = compare_ends(read, trials, progress=stage)
        files: list[Path] = []
        if out is not None:
            stage("drawing the pictures")
            files = write_set([("compare.png", lambda path: write_comparison(read, trials, path, ends))], out)
    if json:
        say.document(comparison(read, trials, ends))
    else:
        _print(read, trials, ends, files)


def _print(site: Site, trials: Sequence[Trial], ends: Sequence[EndTrial], files: Sequence[Path]) -> None:
    """Say how the patterns do, what the score is, how to take one, and what pipe either end of the bed takes."""
    from cli import say
    from layout.choice import choice_findings
    from layout.coverage import MEASURE
    from layout.model import Pattern
    from layout.sheets.comparison import alike, end_words

    unit = site.frame.units.length_name
    say.line(
        f"{site.title}: {len(trials)} patterns compared, the one that `best` takes first; lengths in {unit}"
    )
    laid = [_laid(site, trial, place) for place, trial in enumerate(trials, start=1)]
    covered = [_covered(site, trial) for trial in trials]
    if sys.stdout.isatty() and shutil.get_terminal_size().columns < _WIDE:
        say.table(_LAID, laid)
        named = [(*names[:2], *figures) for names, figures in zip(laid, covered, strict=True)]
        say.table((*_LAID[:2], *_COVERED), named)
    else:
        say.table((*_LAID, *_COVERED), [(*one, *other) for one, other in zip(laid, covered, strict=True)])
    for first, *others in alike(trials):
        if others:
            verb = "lay" if len(others) > 1 else "lays"
            say.line(f"{', '.join(str(n + 1) for n in others)} {verb} the same runs as {first + 1}.")
    for finding in choice_findings([trial.candidate for trial in trials]):
        say.line(finding.said)
    say.line(f"{MEASURE[0].upper()}{MEASURE[1:]}.")
    say.line(
        "along: sides of the bed's outline, of its usable ground, of each of its lobes, or straight along its smallest "
        "rectangle. first: from the side followed to the first run, where that is not the clearance. fed there: "
        "share of tubing fed at the manifold end; the rest has manifolds elsewhere. driest: farthest usable point from "
        "tubing. gap, 95 %, most: the least gap between runs, what 95 % of them do not pass, the greatest."
    )
    if site.runs.pattern is not Pattern.BEST or site.runs.sides is not None:
        planned = [place for place, trial in enumerate(trials, start=1) if trial.planned]
        which = f"number {planned[0]} of these" if planned else "nothing, since there is no room for that"
        along = "" if site.runs.sides is None else f' along "{site.runs.sides}"'
        say.line(f'The site file asks for "{site.runs.pattern.value}"{along}: `sinuate plan` lays {which}.')
    say.line(
        "The score is a judgement and the figures say nothing of how a pattern suits the lot: choose by eye, and set "
        "runs.pattern, runs.sides for other sides than the outline's, and runs.first."
    )
    for end in ends:
        say.line(end_words(site, end))
    say.notes(site.notes)
    if files:
        say.written(files)
    else:
        say.line("Nothing is written; --out FOLDER writes pictures of the patterns side by side.")


def _laid(site: Site, trial: Trial, place: int) -> tuple[str, ...]:
    """What is laid."""
    from layout.sheets.comparison import followed, rows_of
    from layout.sheets.figures import Figures

    figures, item = Figures(site.frame.units), trial.candidate
    return (
        "best" if place == 1 else str(place),
        item.pattern.value,
        followed(item),
        "-" if item.first is None else figures.length(item.first),
        str(rows_of(trial)),
        str(item.runs),
        str(item.dropped),
        figures.length(item.tubing),
        figures.share(item.fed_at_end),
    )


def _covered(site: Site, trial: Trial) -> tuple[str, ...]:
    """How well it covers the ground."""
    from layout.sheets.figures import Figures, plain

    figures, cover = Figures(site.frame.units), trial.candidate.coverage
    lengths = (cover.dry, cover.gap_least, cover.gap_p95, cover.gap_greatest, cover.bend_least)
    return (
        figures.share(cover.covered),
        *("-" if length is None else figures.length(length) for length in lengths),
        plain(trial.candidate.score, 2),
    )
