"""The workbook, read by another library and calculated by a third, against the takeoff."""

from __future__ import annotations

import csv
import math
import warnings
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from layout.cutting import cut_coils
from layout.model import Design, Part, Price, TakeoffRules
from layout.sheets.takeoff import takeoff, write_takeoff
from layout.sheets.workbook import write_workbook
from layout.takeoff import count_parts
from tests.fields import curved_field

PRICES = (
    Price(item="emitting tubing", amount=210.0, per="pack"),
    Price(item="blank tubing", amount=0.35 / 0.3048, per="unit"),
    Price(item="supply tee", amount=4.25, per="unit"),
)


def counted(units: str = "ft", *, prices: tuple[Price, ...] = (), coil: float | None = None) -> Design:
    """A finished field with its real parts and cut list."""
    design = curved_field(units)
    tubing = replace(design.site.tubing, coil=(coil or 500.0) * design.site.frame.units.length)
    site = replace(design.site, tubing=tubing, takeoff=TakeoffRules(prices=prices))
    cuts = cut_coils(design.laying.runs, tubing, waste=site.takeoff.waste)
    parts = count_parts(
        site, design.laying.runs, design.joins, design.plumbing, laterals=design.laterals, cuts=cuts
    )
    return replace(design, site=site, parts=parts, cuts=cuts)


def written(design: Design, folder: Path) -> Path:
    path = folder / "takeoff.xlsx"
    write_workbook(design, path)
    return path


def calculated(path: Path) -> dict[str, dict[str, Any]]:
    """Every cell of every sheet, worked out anew from formulas by an independent library."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import formulas

        solution = formulas.ExcelModel().loads(str(path)).finish().calculate()
    found: dict[str, dict[str, Any]] = {}
    for key, cell in solution.items():
        sheet, _, place = str(key).rpartition("!")
        if ":" not in place and hasattr(cell, "value"):
            found.setdefault(sheet.split("]")[-1].strip("'").lower(), {})[place] = cell.value[0, 0]
    return found


def table(cells: dict[str, Any]) -> dict[str, int]:
    """Rows of the items of the takeoff."""
    rows, row = {}, 5
    while not str(cells[f"A{row}"]).startswith("total"):
        rows[str(cells[f"A{row}"])] = row
        row += 1
    return {**rows, "total": row}


@pytest.mark.parametrize("units", ["ft", "m"])
def test_calculated_anew_it_equals_the_csv(units: str, tmp_path: Path) -> None:
    design = counted(units, prices=PRICES)
    cells = calculated(written(design, tmp_path))["takeoff"]
    write_takeoff(design, tmp_path / "takeoff.csv")
    with (tmp_path / "takeoff.csv").open(encoding="utf-8", newline="") as file:
        bought = [row for row in csv.DictReader(file) if float(row["order"]) > 0]
    rows = table(cells)
    assert list(rows) == [*(row["item"] for row in bought), "total"]
    for row in bought:
        at = rows[row["item"]]
        digits = len(row["order"].partition(".")[2])
        assert cells[f"B{at}"] == row["description"]
        assert f"{cells[f'D{at}']:.{len(row['net'].partition('.')[2])}f}" == row["net"]
        assert f"{cells[f'E{at}']:g}" == row["waste"]
        assert f"{float(cells[f'I{at}']):.{digits}f}" == row["order"]
        if row["packs"]:
            assert cells[f"H{at}"] == int(row["packs"])
        if row["cost"]:
            assert f"{float(cells[f'L{at}']):.2f}" == row["cost"]
    costs = [float(row["cost"]) for row in bought if row["cost"]]
    assert len(costs) >= 2
    assert float(cells[f"L{rows['total']}"]) == pytest.approx(sum(costs), abs=0.005 * len(costs))
    assert cells[f"A{rows['total'] + 1}"] == f"{len(bought) - len(costs)} lines without a price"


def test_what_is_typed_is_followed(tmp_path: Path) -> None:
    """A waste and a price typed by the estimator, by way of an independent library."""
    path = written(counted(), tmp_path)
    book = openpyxl.load_workbook(path)
    sheet = book["takeoff"]
    rows = {sheet.cell(row, 1).value: row for row in range(5, sheet.max_row + 1)}
    at = rows["marking paint"]
    net, bought = sheet.cell(at, 4).value, rows["emitting tubing"]
    sheet.cell(at, 5).value = 3.0
    sheet.cell(at, 10).value = 7.5
    sheet.cell(bought, 10).value = 199.0
    sheet.cell(bought, 11).value = "coil"
    book.save(path)
    cells = calculated(path)["takeoff"]
    assert cells[f"H{at}"] == math.ceil(net * 4)
    assert cells[f"L{at}"] == pytest.approx(7.5 * math.ceil(net * 4))
    assert cells[f"L{bought}"] == pytest.approx(199.0 * cells[f"H{bought}"])
    assert cells[f"L{table(cells)['total']}"] == pytest.approx(cells[f"L{at}"] + cells[f"L{bought}"])


def test_the_cut_list_adds_up_to_the_takeoff(tmp_path: Path) -> None:
    design = counted(coil=140.0)
    assert design.cuts is not None
    cells = calculated(written(design, tmp_path))
    cuts, net = (
        cells["cut list"],
        next(line.net for line in takeoff(design) if line.item == "emitting tubing"),
    )
    pieces = [cut for coil in design.cuts.coils for cut in coil.cuts]
    last = 5 + len(pieces)
    assert f"{float(cuts[f'G{last}']):.6f}" == f"{net:.6f}"
    assert cuts[f"J{last}"] == "equals the takeoff"
    assert [cuts[f"C{row}"] for row in range(5, last)] == [cut.run for cut in pieces]
    unit = design.site.frame.units.length
    left = [coil.left / unit for coil in design.cuts.coils for _ in coil.cuts[-1:]]
    ends = [row for row in range(5, last) if row == last - 1 or cuts[f"A{row}"] != cuts[f"A{row + 1}"]]
    assert [float(cuts[f"I{row}"]) for row in ends] == pytest.approx(left, abs=1e-6)
    runs = cells["runs"]
    assert f"{float(runs[f'D{5 + len(design.laying.runs)}']):.6f}" == f"{net:.6f}"


def test_more_waste_than_coils_hold_is_told(tmp_path: Path) -> None:
    design = counted()
    path = written(design, tmp_path)
    book = openpyxl.load_workbook(path)
    book["takeoff"].cell(5, 5).value = 1.0
    book.save(path)
    cuts = calculated(path)["cut list"]
    assert "coil too short: plan anew" in cuts.values()


def test_what_a_reader_without_a_calculator_sees(tmp_path: Path) -> None:
    design = counted(prices=PRICES)
    path = written(design, tmp_path)
    seen, typed = openpyxl.load_workbook(path, data_only=True), openpyxl.load_workbook(path)
    assert seen.sheetnames == ["takeoff", "cut list", "runs"]
    anew = calculated(path)
    for sheet in typed:
        assert sheet.print_area
        assert sheet.print_title_rows == "$4:$4"
        assert sheet.page_setup.orientation == "landscape"
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                value, again = seen[sheet.title][cell.coordinate].value, anew[sheet.title][cell.coordinate]
                if isinstance(value, int | float):
                    assert float(again) == pytest.approx(value, abs=1e-6), cell.coordinate
                else:
                    assert (again or "") == (value or ""), cell.coordinate


def test_no_name_becomes_a_formula(tmp_path: Path) -> None:
    design = counted()
    evil = '=HYPERLINK("https://example.com")'
    part = Part(item="=1+1", description="@SUM(A1)", unit="each", net=1)
    design = replace(design, site=replace(design.site, title=evil), parts=(*design.parts, part))
    sheet = openpyxl.load_workbook(written(design, tmp_path))["takeoff"]
    assert (sheet["A1"].value, sheet["A1"].data_type) == (evil, "s")
    found = {cell.value: cell.data_type for row in sheet.iter_rows() for cell in row if cell.value}
    assert found["=1+1"] == found["@SUM(A1)"] == "s"


def test_the_same_design_gives_the_same_bytes(tmp_path: Path) -> None:
    first = written(counted(), tmp_path).read_bytes()
    assert written(counted(), tmp_path).read_bytes() == first
    with zipfile.ZipFile(tmp_path / "takeoff.xlsx") as parts:
        assert {part.date_time for part in parts.infolist()} == {(1980, 1, 31, 0, 0, 0)}
