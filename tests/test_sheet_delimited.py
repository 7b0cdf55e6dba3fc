"""No text of a site becomes a formula in a table that is written: one function for all, and every file of a site."""

from __future__ import annotations

import csv
import json
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest

from layout.sheets.delimited import rows_text, safe
from tests.command import Command

ROOT = Path(__file__).resolve().parent.parent
SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20"
HARM = "HYPERLINK(1)"
SITE = """
title = "=HYPERLINK(1) title"
units = "ft"

[bed]
outline = [[-500, -700], [-440, -700], [-440, -690], [-500, -690]]
levels = -12.5

[[feature]]
name = "+HYPERLINK(1) shed"
kind = "building"
shape = [[-500, -670], [-480, -670], [-480, -660], [-500, -670]]
setback = 10.0

[[feature]]
name = "@HYPERLINK(1) tree"
kind = "tree"
shape = [-470, -680]
setback = 2.0

[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6

[runs]
spacing = 2.0
pattern = "left"

[pump]
at = [-510, -680]
level = -14.0
curve = [[0.0, 70.0], [10.0, 55.0], [20.0, 25.0]]

[stakeout]
ties = { "-HYPERLINK(1) pin" = [-500, -670], "\\t=HYPERLINK(1) pin" = [-450, -670] }

[sheet]
title = "=HYPERLINK(1) sheet"
drawn_by = "+HYPERLINK(1)"
checked_by = "-HYPERLINK(1)"
revision = "@HYPERLINK(1)"

[takeoff]
prices = "prices.csv"
"""
PRICES = (
    "=HYPERLINK(1),item,unit,price\n=HYPERLINK(1),emitting tubing,coil,140\n@HYPERLINK(1),loop elbow,ea,0.5\n"
)


@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("before", ["", " ", "\t", "\r", "\n", "\u00a0", "\u2003"])
def test_text_that_begins_like_a_formula_is_kept_as_text(sign: str, before: str) -> None:
    assert safe(f"{before}{sign}1+1") == f"'{sign}1+1"
    ((cell, again),) = csv.reader([rows_text([(f"{before}{sign}1+1", f"x{sign}1")])])
    assert (cell, again) == (f"'{sign}1+1", f"x{sign}1")


def test_numbers_stay_numbers_with_their_digits() -> None:
    assert rows_text([(-1, Decimal("-12.50"), -0.25, "-12.50")], end="\r\n") == "-1,-12.50,-0.25,'-12.50\r\n"


def test_no_other_module_writes_such_tables() -> None:
    writers = [
        path.name
        for path in [*ROOT.glob("layout/**/*.py"), *ROOT.glob("cli/**/*.py")]
        if "csv.writer" in (text := path.read_text(encoding="utf-8")) or "csv.DictWriter" in text
    ]
    assert writers == ["delimited.py"]


def test_no_table_of_a_site_holds_a_formula_of_its_words(sinuate: Command, tmp_path: Path) -> None:
    """All that is written for a site whose every free text, and whose every code of a point, begins like a formula."""
    site, plan = tmp_path / "site.toml", tmp_path / "plan"
    site.write_text(SITE)
    (tmp_path / "prices.csv").write_text(PRICES)
    assert sinuate("plan", site, "--coverage", "--pressure", "--network").code == 0
    runs = json.loads((plan / "layout.json").read_text(encoding="utf-8"))["runs"]
    lines = ["point,northing,easting,elevation,description"]
    for run in runs:
        lines += [f"={HARM},{y},{x},,+{HARM}" for x, y in run["points"]]
    (tmp_path / "shots.csv").write_text("\n".join(lines) + "\n")
    done = sinuate("asbuilt", site, tmp_path / "shots.csv")
    assert done.code == 0, done.err
    for note in (f"={HARM}", f"\t-{HARM}", f"@{HARM}"):
        done = sinuate("startup", site, "--record", "2026-05-01", "60 s/gal", "--note", note)
        assert done.code == 0, done.err

    tables = [*sorted(plan.glob("*.csv")), tmp_path / "flowlog.csv"]
    assert [path.name for path in tables] == ["stakeout.csv", "takeoff.csv", "flowlog.csv"]
    for path in tables:
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert len(cells) > 20
        wrong = [cell for cell in cells if cell.strip()[:1] in set(SIGNS) and not is_number(cell)]
        assert wrong == [], path.name
    assert HARM in (tmp_path / "flowlog.csv").read_text(encoding="utf-8")

    books = sorted(plan.glob("*.xlsx"))
    assert [path.name for path in books] == ["takeoff.xlsx"]
    found = [
        cell for sheet in openpyxl.load_workbook(books[0]) for row in sheet.iter_rows() for cell in row if cell.value
    ]  # fmt: skip
    assert [cell.data_type for cell in found if HARM in str(cell.value)] == ["s"] * 3
    assert [cell.value for cell in found if cell.data_type == "f" and HARM in str(cell.value)] == []


def is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
