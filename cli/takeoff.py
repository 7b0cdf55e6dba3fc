"""``sinuate takeoff``: what the estimator buys, how it is cut from coils, and two layouts side by side."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.options import AsJson, Out, Settings, SiteFile, Strict, hold

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from layout.model import CutList, Design, Site
    from layout.sheets.takeoff import TakeoffLine

Against = Annotated[
    Path | None,
    typer.Option("--against", metavar="OTHER", help="Show the takeoff of another site file beside this one."),
]
Patterns = Annotated[
    str | None,
    typer.Option("--patterns", metavar="LEFT,EVEN", help="Show the takeoffs of these patterns side by side."),
]


def takeoff(
    site: SiteFile,
    out: Out = None,
    against: Against = None,
    patterns: Patterns = None,
    strict: Strict = False,
    json: AsJson = False,
    settings: Settings = None,
) -> None:
    """Count what the field is built of, and how it is cut from coils."""
    from cli import say

    # side by side nothing is written
    folder = say.folder_for(site, out) if against is None and patterns is None else None
    with say.working() as stage:
        stage("reading the site")
        named = _sites(site, against, patterns, settings or ())
        # imported only now, so that wrong input is told at once
        from layout.plan import plan_field
        from layout.sheets.whole import write_set
        from layout.sheets.write import takeoff_makers

        designs = [(name, plan_field(read, progress=stage)) for name, read in named]
        files = [] if folder is None else write_set(takeoff_makers(designs[0][1]), folder)
    if len(designs) > 1:
        (say.document if json else _print_beside)(_beside(designs))
    elif json:
        say.document(_document(designs[0][1]))
    else:
        _print(designs[0][1], files)
    hold((check for _, design in designs for check in design.checks), strict=strict)


def _sites(
    site: Path, against: Path | None, patterns: str | None, settings: Sequence[str]
) -> list[tuple[str, Site]]:
    """The sites to lay out, each with what it is called."""
    from layout.errors import Fault, SiteError

    if patterns is None:
        named = [(site, list(settings))] + ([(against, [])] if against else [])
    else:
        words = list(dict.fromkeys(word.strip() for word in patterns.split(",") if word.strip()))
        if len(words) < 2 or against is not None:
            said = "--patterns names two patterns or more, and goes without --against"
            raise SiteError(Fault(said=said, remedy="Write --patterns left,even."))
        named = [(site, [*settings, f"runs.pattern={word}"]) for word in words]
    read = [(path, _read(path, own, patterns)) for path, own in named]
    units = {item.frame.units.word for _, item in read}
    if len(units) > 1:
        said = f"the two sites are in different units: {' and '.join(sorted(units))}"
        raise SiteError(
            Fault(file=str(against), field="units", said=said, remedy="Compare sites in one unit.")
        )
    if patterns is not None:
        return list(zip(words, (item for _, item in read), strict=True))
    titles = [item.title for _, item in read]
    alike = len(set(titles)) < len(titles)
    return [(str(path) if alike else item.title, item) for path, item in read]


def _read(path: Path, settings: Sequence[str], patterns: str | None) -> Site:
    """Read a site; what is wrong with a pattern that ``--patterns`` names is blamed on that."""
    from dataclasses import replace

    from layout.errors import LayoutError
    from layout.readers.sitefile import read_site

    try:
        return read_site(path, settings)
    except LayoutError as error:
        if patterns is None:
            raise
        typed = f"--set {settings[-1]}"
        raise type(error)(
            *(
                replace(fault, file=fault.file.replace(typed, f"--patterns {patterns}"))
                for fault in error.faults
            )
        ) from None


# --- one layout -----------------------------------------------------------------------------------------


def _document(design: Design) -> dict[str, Any]:
    """The takeoff for programs: what ``layout.json`` has of it, and the total cost."""
    from layout.sheets.layoutjson import document
    from layout.sheets.takeoff import idle_prices, total_cost
    from layout.sheets.takeoff import takeoff as lines_of
    from layout.takeoff import not_counted

    whole = document(design)
    total = total_cost(lines_of(design))
    return {
        "format": "sinuate-takeoff/1",
        **{key: whole[key] for key in ("title", "units", "pattern", "takeoff", "coils", "notes")},
        "runs": [
            {key: run[key] for key in ("name", "lateral", "length", "emitters")} for run in whole["runs"]
        ],
        "cost": None if total is None else total[0],
        "without_price": None if total is None else total[1],
        "idle_prices": idle_prices(design),
        "not_counted": not_counted(design.plumbing),
    }


def _print(design: Design, files: list[Path]) -> None:
    from cli import say
    from layout.sheets.takeoff import figure, idle_prices, total_cost
    from layout.sheets.takeoff import takeoff as lines_of
    from layout.takeoff import not_counted

    lines, total = lines_of(design), total_cost(lines_of(design))
    say.line(f"{design.site.title}: takeoff, pattern {design.laying.pattern.value}")
    headings = ("item", "net", "", "waste", "order", "packs", "sold")
    rows = [
        (
            line.item,
            figure(line, line.net),
            line.unit,
            f"{100 * line.waste:g} %" if line.order > 0 else "",
            figure(line, line.order) if line.order > 0 else "for checking",
            str(line.packs) if line.sold else "",
            line.sold,
            f"{line.price:.10g} a {line.per}" if line.price is not None else "",
            f"{line.cost:,.2f}" if line.cost is not None else "",
        )
        for line in lines
    ]
    shown = len(headings) + (2 if total else 0)
    say.table((*headings, "price", "cost")[:shown], [row[:shown] for row in rows])
    if total is not None:
        more = f"; {total[1]} lines have no price" if total[1] else ""
        say.line(f"Cost of what has a price: {total[0]:,.2f}{more}.")
    if design.cuts is not None:
        _print_cuts(design, design.cuts)
    say.line(f"Not counted: {not_counted(design.plumbing)}.")
    say.notes([*design.site.notes, *filter(None, [idle_prices(design)])])
    say.written(files)
    say.line("For review: lengths are horizontal; waste covers cuts and the way down into trenches.")


def _print_cuts(design: Design, cuts: CutList) -> None:
    """Say what is cut from which coil, what remains, and where runs are spliced."""
    from cli import say
    from layout.model import site_place
    from layout.sheets.figures import Figures

    figures, unit = Figures(design.site.frame.units), design.site.frame.units.length
    count, bound = len(cuts.coils), math.ceil(cuts.bound - 1e-6)
    whole = math.fsum(cut.length for coil in cuts.coils for cut in coil.cuts)
    proof = "no way to cut the runs whole takes fewer" if cuts.fewest else f"at least {bound} are needed"
    say.line(
        f"Emitting tubing in {count} coils of {cuts.length / unit:g} {figures.units.length_name}, each piece with "
        f"{100 * cuts.waste:g} % of waste; {proof}. Pull in this order:"
    )
    rows = []
    for coil in cuts.coils:
        for number, cut in enumerate(coil.cuts):
            last = number == len(coil.cuts) - 1
            name = cut.run if cut.of == 1 else f"{cut.run} ({cut.number} of {cut.of})"
            rows.append(
                ("" if number else str(coil.number), name, figures.length(cut.length),
                 figures.length(cut.taken), figures.length(coil.left) if last else "")
            )  # fmt: skip
    say.table(("coil", "run", "length", "off the coil", "left over"), rows)
    say.line(f"Cut lengths add up to {figures.length_of(whole)}.")
    for splice in cuts.splices:
        at = site_place(design.site.frame, splice.at)
        say.line(
            f"Splice in {splice.run} at {figures.length_of(splice.station)} from its manifold end, {at}."
        )
    if cuts.spliced < count:
        say.line(
            f"With runs spliced anywhere {cuts.spliced} coils would do; other coil lengths may, too (tubing.coil)."
        )


# --- side by side ---------------------------------------------------------------------------------------


def _beside(designs: Sequence[tuple[str, Design]]) -> dict[str, Any]:
    """Takeoffs side by side, line by line in the order of the first that has the item."""
    from layout.sheets.takeoff import takeoff as lines_of
    from layout.sheets.takeoff import total_cost

    tables = [{line.item: line for line in lines_of(design)} for _, design in designs]
    order = dict.fromkeys(item for table in tables for item in table)
    totals = [total_cost(list(table.values())) for table in tables]

    def each(item: str, wanted: Callable[[TakeoffLine], float]) -> list[float]:
        return [wanted(table[item]) if item in table else 0.0 for table in tables]

    return {
        "format": "sinuate-takeoffs/1",
        "units": designs[0][1].site.frame.units.word,
        "layouts": [
            {
                "name": name,
                "title": design.site.title,
                "pattern": design.laying.pattern.value,
                "coils": None if design.cuts is None else len(design.cuts.coils),
                "cost": total[0] if total else None,
            }
            for (name, design), total in zip(designs, totals, strict=True)
        ],
        "lines": [
            {
                "item": item,
                "unit": next(table[item].unit for table in tables if item in table),
                "net": each(item, lambda line: line.net),
                "order": each(item, lambda line: line.order),
            }
            for item in order
        ],
    }


def _print_beside(found: dict[str, Any]) -> None:
    """Print what to order for each layout, and how the last differs from the first where there are two."""
    from cli import say

    layouts, two = found["layouts"], len(found["layouts"]) == 2
    say.line("Takeoffs side by side: what to order; where there is nothing to order, what there is.")
    headings = ("item", "", *(each["name"] for each in layouts), *(("difference",) if two else ()))
    rows = []
    for line in found["lines"]:
        values = line["order"] if any(line["order"]) else line["net"]
        whole = all(float(value).is_integer() for value in values) and line["unit"] == "ea"
        cells = [f"{value:,.{0 if whole else 2}f}" for value in values]
        apart = [f"{values[1] - values[0]:+,.{0 if whole else 2}f}"] if two else []
        rows.append((line["item"], line["unit"], *cells, *apart))
    if any(each["cost"] is not None for each in layouts):
        costs = ["" if each["cost"] is None else f"{each['cost']:,.2f}" for each in layouts]
        rows.append(("cost of what has a price", "", *costs, *([""] if two else [])))
    say.table(headings, rows)
