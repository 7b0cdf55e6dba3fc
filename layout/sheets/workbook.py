"""The takeoff as a workbook for the estimator: quantities that follow wastes and prices typed into it, cut list, runs.

Cells to type in are tinted; all that follows from them is a formula, with its present value beside it for readers that
do not calculate. Text is written as text, so that no name of the site file is ever taken for a formula.
"""

from __future__ import annotations

import datetime
import math
from pathlib import Path
from typing import Any, NamedTuple

from layout.model import Cut, Design, site_place
from layout.sheets.takeoff import TakeoffLine, idle_prices, takeoff, total_cost
from layout.takeoff import not_counted
from layout.takeoff.items import BY_THE_UNIT

MADE = datetime.datetime(2000, 1, 1)
"""Stated in the file in place of the time of writing, so that one design gives one file."""
CAUTION = (
    "For review. Lengths are horizontal; waste covers cuts and the way down into trenches. Local code and licensed "
    "practice decide what is built."
)
_HEADINGS = (
    "item", "description", "unit", "net", "waste", "sold", "pack", "packs", "order", "price", "per", "cost",
)  # fmt: skip
_WIDTHS = (27, 66, 8, 12, 9, 19, 9, 8, 12, 11, 9, 13)
_FIRST = 4
"""The first row of the table, from 0."""


class _Place(NamedTuple):
    """Where another sheet finds a figure of the takeoff."""

    net: str
    waste: str


class _Book:
    """The workbook and its formats; a class only because the sheets share them."""

    def __init__(self, design: Design, path: Path) -> None:
        import xlsxwriter

        self.design, self.units = design, design.site.frame.units
        self.book: Any = xlsxwriter.Workbook(
            str(path), {"strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False}
        )
        self.book.set_properties({"title": design.site.title, "created": MADE})
        make = self.book.add_format
        edge = {"bottom": 4, "bottom_color": "#9AA5AB"}
        self.title = make({"bold": True, "font_size": 14})
        self.note = make({"italic": True, "font_color": "#50585C"})
        self.head = make({"bold": True, "bottom": 1, "bg_color": "#E6EAEC", "indent": 1, "valign": "vcenter"})
        self.head_right = make(
            {"bold": True, "bottom": 1, "bg_color": "#E6EAEC", "align": "right", "valign": "vcenter"}
        )
        self.text = make({**edge, "valign": "top", "text_wrap": True, "align": "left", "indent": 1})
        self.length = make({**edge, "num_format": "#,##0.00", "valign": "top"})
        self.whole = make({**edge, "num_format": "#,##0", "valign": "top"})
        self.typed_share = make({**edge, "num_format": "0.0%", "bg_color": "#FFF6D6", "valign": "top"})
        self.typed_money = make({**edge, "num_format": "#,##0.00##", "bg_color": "#FFF6D6", "valign": "top"})
        self.typed_text = make({**edge, "bg_color": "#FFF6D6", "valign": "top", "align": "left", "indent": 1})
        self.total = make({"bold": True, "top": 1, "num_format": "#,##0.00"})
        self.total_text = make({"bold": True, "top": 1, "indent": 1})

    def sheet(
        self, name: str, subject: str, widths: tuple[int, ...], headings: tuple[str, ...], right: set[str]
    ) -> Any:
        """A sheet with its title, its headings on every page, landscape and as wide as the page."""
        sheet = self.book.add_worksheet(name)
        for column, width in enumerate(widths):
            sheet.set_column(column, column, width)
        sheet.write_string(0, 0, self.design.site.title, self.title)
        sheet.write_string(1, 0, subject, self.note)
        sheet.write_string(2, 0, CAUTION, self.note)
        for column, heading in enumerate(headings):
            sheet.write_string(
                _FIRST - 1, column, heading, self.head_right if heading in right else self.head
            )
        sheet.freeze_panes(_FIRST, 1)
        sheet.repeat_rows(_FIRST - 1)
        sheet.set_landscape()
        sheet.set_paper(9 if self.units.word == "m" else 1)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{name}&RPage &P of &N")
        return sheet


def write_workbook(design: Design, path: Path) -> None:
    """Write ``takeoff.xlsx``: the sheets ``takeoff``, ``cut list`` and ``runs``."""
    book = _Book(design, path)
    try:
        place = _takeoff(book)
        _cut_list(book, place)
        _runs(book, place)
    finally:
        book.book.close()


def _takeoff(book: _Book) -> _Place | None:
    lines = takeoff(book.design)
    length = book.units.length_name
    subject = f"Takeoff. Type wastes and prices into the tinted cells; lengths in {length}."
    right = {"net", "waste", "pack", "packs", "order", "price", "cost"}
    sheet = book.sheet("takeoff", subject, _WIDTHS, _HEADINGS, right)
    bought = [line for line in lines if line.order > 0]
    place = None
    for row, line in enumerate(bought, start=_FIRST):
        _takeoff_row(book, sheet, row, line)
        if line.item == "emitting tubing":
            place = _Place(f"takeoff!$D${row + 1}", f"takeoff!$E${row + 1}")
    last = _FIRST + len(bought)
    total = total_cost(lines)
    for column in range(len(_HEADINGS)):
        sheet.write_blank(last, column, None, book.total_text)
    sheet.write_string(last, 0, "total of what has a price", book.total_text)
    cost = f"=SUM(L{_FIRST + 1}:L{last})"
    sheet.write_formula(last, 11, cost, book.total, total[0] if total else 0)
    bare = f'=COUNTA(A{_FIRST + 1}:A{last})-COUNT(J{_FIRST + 1}:J{last})&" lines without a price"'
    said = f"{total[1] if total else len(bought)} lines without a price"
    sheet.write_formula(last + 1, 0, bare, book.note, said)
    row = last + 2
    for line in lines:
        if line.order <= 0:
            row += 1
            words = (
                f"{line.item}: {line.net:,.2f} {line.unit}"
                if line.unit != "ea"
                else f"{line.item}: {line.net:,.0f}"
            )
            sheet.write_string(row, 0, words, book.note)
            sheet.write_string(row, 1, line.description, book.note)
    for words in filter(
        None, (f"Not counted: {not_counted(book.design.plumbing)}.", idle_prices(book.design))
    ):
        row += 1
        sheet.write_string(row, 0, words, book.note)
    sheet.print_area(0, 0, row, len(_HEADINGS) - 1)
    return place


def _takeoff_row(book: _Book, sheet: Any, row: int, line: TakeoffLine) -> None:
    number = row + 1
    quantity = book.whole if line.unit == "ea" and line.net.is_integer() else book.length
    sheet.write_string(row, 0, line.item, book.text)
    sheet.write_string(row, 1, line.description, book.text)
    sheet.write_string(row, 2, line.unit, book.text)
    sheet.write_number(row, 3, line.net, quantity)
    sheet.write_number(row, 4, line.waste, book.typed_share)
    sheet.data_validation(
        row, 4, row, 4,
        {"validate": "decimal", "criteria": "between", "minimum": 0, "maximum": 1, "error_title": "Waste",
         "error_message": "Waste is a share from 0 % to 100 %: type 5 % for five per cent."},
    )  # fmt: skip
    sheet.write_string(row, 5, line.sold, book.text)
    pack = line.pack or (1.0 if line.unit == "ea" else 0.0)
    if pack:
        whole = book.whole if pack.is_integer() else book.length
        sheet.write_number(row, 6, pack, whole)
        packs = f"ROUNDUP(D{number}*(1+E{number})/G{number}-0.000000001,0)"
        least = f"MAX({packs},{line.least})" if line.least else packs
        sheet.write_formula(row, 7, f"={least}", book.whole, line.packs)
        sheet.write_formula(row, 8, f"=H{number}*G{number}", whole, line.order)
    else:
        sheet.write_blank(row, 6, None, book.text)
        sheet.write_blank(row, 7, None, book.text)
        sheet.write_formula(row, 8, f"=D{number}*(1+E{number})", book.length, line.order)
    if line.price is None:
        sheet.write_blank(row, 9, None, book.typed_money)
    else:
        sheet.write_number(row, 9, line.price, book.typed_money)
    sheet.data_validation(
        row, 9, row, 9,
        {"validate": "decimal", "criteria": ">=", "value": 0, "error_title": "Price",
         "error_message": "A price is a number, 0 or more, without a sign of currency."},
    )  # fmt: skip
    names = [line.unit, *([line.sold.split(" of ")[0]] if line.sold not in {"", BY_THE_UNIT} else [])]
    sheet.write_string(row, 10, line.per or line.unit, book.typed_text)
    sheet.data_validation(row, 10, row, 10, {"validate": "list", "source": names})
    cost = f'=IF(ISNUMBER(J{number}),J{number}*IF(K{number}=C{number},I{number},H{number}),"")'
    sheet.write_formula(row, 11, cost, book.length, "" if line.cost is None else line.cost)


def _cut_list(book: _Book, place: _Place | None) -> None:
    """Coils in the order of pulling, each run with what it takes off its coil."""
    cuts = book.design.cuts
    if cuts is None or place is None:
        return
    unit, word = book.units.length, book.units.length_name
    coil = round(cuts.length / unit, 9)
    proof = (
        "and no way takes fewer"
        if cuts.fewest
        else f"and no way takes fewer than {math.ceil(cuts.bound - 1e-6)}"
    )
    subject = f"Cut list: {len(cuts.coils)} coils of {coil:g} {word}, {proof}; pull in this order. Lengths in {word}."
    headings = ("coil", "pull", "run", "lateral", "piece", "from", "length", "off the coil", "left on it", "")
    widths = (8, 8, 12, 10, 10, 12, 12, 14, 14, 26)
    right = {"coil", "pull", "from", "length", "off the coil", "left on it"}
    sheet = book.sheet("cut list", subject, widths, headings, right)
    lateral_of = {name: lateral.name for lateral in book.design.laterals for name in lateral.runs}
    row, pull = _FIRST, 0
    for each in cuts.coils:
        left = coil
        for number, cut in enumerate(each.cuts):
            pull += 1
            taken = cut.taken / unit
            left -= taken
            before = f"I{row}" if number else f"{coil!r}"
            sheet.write_number(row, 0, each.number, book.whole)
            sheet.write_number(row, 1, pull, book.whole)
            sheet.write_string(row, 2, cut.run, book.text)
            sheet.write_string(row, 3, lateral_of.get(cut.run, ""), book.text)
            sheet.write_string(row, 4, _piece(cut), book.text)
            sheet.write_number(row, 5, cut.start / unit, book.length)
            sheet.write_number(row, 6, cut.length / unit, book.length)
            off = f"=MIN({coil!r},G{row + 1}*(1+{place.waste}))"
            sheet.write_formula(row, 7, off, book.length, taken)
            sheet.write_formula(row, 8, f"={before}-H{row + 1}", book.length, max(0.0, left))
            short = f'=IF(I{row + 1}<-0.005,"coil too short: plan anew","")'
            sheet.write_formula(row, 9, short, book.text, "")
            row += 1
    for column in range(len(headings)):
        sheet.write_blank(row, column, None, book.total_text)
    sheet.write_string(row, 0, "total", book.total_text)
    whole = math.fsum(cut.length for each in cuts.coils for cut in each.cuts) / unit
    sheet.write_formula(row, 6, f"=SUM(G{_FIRST + 1}:G{row})", book.total, whole)
    same = f'=IF(ABS(G{row + 1}-{place.net})<0.005,"equals the takeoff","differs from the takeoff")'
    sheet.write_formula(row, 9, same, book.total_text, "equals the takeoff")
    for splice in cuts.splices:
        row += 1
        station = f"{splice.station / unit:.2f} {word} from its manifold end"
        words = f"Splice in {splice.run} at {station}, {site_place(book.design.site.frame, splice.at)}"
        sheet.write_string(row, 0, words, book.note)
    sheet.print_area(0, 0, row, len(headings) - 1)


def _piece(cut: Cut) -> str:
    return "whole" if cut.of == 1 else f"{cut.number} of {cut.of}"


def _runs(book: _Book, place: _Place | None) -> None:
    """Runs by lateral, with the coils they come from."""
    design, unit = book.design, book.units.length
    subject = f"Runs by lateral. Lengths in {book.units.length_name}."
    headings = ("zone", "lateral", "run", "length", "emitters", "coils")
    sheet = book.sheet("runs", subject, (8, 10, 12, 14, 12, 20), headings, {"length", "emitters"})
    runs = {run.name: run for run in design.laying.runs}
    emitters = {row.run: row.count for row in design.emitters}
    coils: dict[str, list[str]] = {}
    for coil in design.cuts.coils if design.cuts is not None else ():
        for cut in coil.cuts:
            coils.setdefault(cut.run, []).append(str(coil.number))
    listed = [
        (f"Z{lateral.zone}", lateral.name, name) for lateral in design.laterals for name in lateral.runs
    ]
    listed += [("", "", name) for name in runs if name not in {name for _, _, name in listed}]
    row = _FIRST
    for zone, lateral, name in listed:
        sheet.write_string(row, 0, zone, book.text)
        sheet.write_string(row, 1, lateral, book.text)
        sheet.write_string(row, 2, name, book.text)
        sheet.write_number(row, 3, runs[name].length / unit, book.length)
        sheet.write_number(row, 4, emitters.get(name, 0), book.whole)
        sheet.write_string(row, 5, ", ".join(coils.get(name, ())), book.text)
        row += 1
    for column in range(len(headings)):
        sheet.write_blank(row, column, None, book.total_text)
    sheet.write_string(row, 0, "total", book.total_text)
    whole = math.fsum(run.length for run in runs.values()) / unit
    sheet.write_formula(row, 3, f"=SUM(D{_FIRST + 1}:D{row})", book.total, whole)
    sheet.write_formula(row, 4, f"=SUM(E{_FIRST + 1}:E{row})", book.total, sum(emitters.values()))
    if place is not None:
        same = f'=IF(ABS(D{row + 1}-{place.net})<0.005,"equals the takeoff","differs from the takeoff")'
        sheet.write_formula(row, 5, same, book.total_text, "equals the takeoff")
    sheet.print_area(0, 0, row, len(headings) - 1)
