"""The takeoff as comma-separated values."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from layout.model import Part, Price, TakeoffRules
from layout.sheets.takeoff import COLUMNS, idle_prices, takeoff, write_takeoff
from layout.units import INCH
from tests.fields import curved_field


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_table_as_an_estimator_sees_it(tmp_path: Path) -> None:
    write_takeoff(curved_field(), tmp_path / "takeoff.csv")
    assert (tmp_path / "takeoff.csv").read_text(encoding="utf-8") == (
        "item,description,unit,net,waste,order,packs,sold\n"
        "emitting tubing,tubing with emitters,ft,654.01,0.05,1000.00,2,\n"
        "blank tubing,end loops,ft,9.40,0.1,10.34,,\n"
        'supply pipe,"manifold and line, by the length",ft,31.08,0,31.08,,\n'
        'riser fitting,"tee, riser, adapter",ea,6,0,6,6,\n'
        '"staples, for tubing","box of 100, ""U"" shape",ea,101,0,200,2,\n'
    )


def test_metres(tmp_path: Path) -> None:
    write_takeoff(curved_field("m"), tmp_path / "takeoff.csv")
    rows = rows_of(tmp_path / "takeoff.csv")
    assert tuple(rows[0]) == COLUMNS
    assert rows[0]["unit"] == "m"
    assert rows[0]["net"] == "196.20"
    assert rows[0]["order"] == "300.00"


@pytest.mark.parametrize("units", ["ft", "us-ft", "m"])
def test_a_whole_number_of_coils_stays_one_in_every_unit(units: str) -> None:
    design = curved_field(units)
    coil = design.site.tubing.coil / design.site.frame.units.length
    order = takeoff(design)[0].order
    assert order == round(coil) * round(order / coil)


def test_areas_and_broken_pieces(tmp_path: Path) -> None:
    parts = (
        Part(item="sand", description="under the bed", unit="area", net=10 * 0.3048**2),
        Part(item="glue", description="by the can", unit="each", net=2.25, pack=1.0),
    )
    write_takeoff(replace(curved_field(), parts=parts), tmp_path / "takeoff.csv")
    rows = rows_of(tmp_path / "takeoff.csv")
    assert (rows[0]["unit"], rows[0]["net"]) == ("sq ft", "10.00")
    assert (rows[1]["net"], rows[1]["order"]) == ("2.25", "3")


def test_no_text_becomes_a_formula_or_a_second_line(tmp_path: Path) -> None:
    part = Part(item="=1+1", description="two\nlines", unit="each", net=1)
    write_takeoff(replace(curved_field(), parts=(part,)), tmp_path / "takeoff.csv")
    (row,) = rows_of(tmp_path / "takeoff.csv")
    assert row["item"] == "'=1+1"
    assert row["description"] == "two lines"


def test_a_price_of_a_size_is_for_pipe_of_that_size() -> None:
    """Of its size first, else of any size; what no line takes is named, with the size that there is."""
    design = curved_field()
    tee = Part(item="supply tee", description="", unit="each", net=3, size=1.25 * INCH)
    cap = Part(item="return cap", description="", unit="each", net=1, size=2 * INCH)
    prices = (
        Price(item="supply tee", amount=3.0, per="unit"),
        Price(item="supply tee", amount=4.0, per="unit", size=1.25 * INCH),
        Price(item="return cap", amount=5.0, per="unit", size=1.25 * INCH),
        Price(item="sand", amount=6.0, per="unit"),
    )
    site = replace(design.site, takeoff=TakeoffRules(prices=prices))
    design = replace(design, parts=(tee, cap), site=site)
    assert [line.price for line in takeoff(design)] == [4.0, None]
    assert idle_prices(design) == (
        "No line of this takeoff takes these prices: supply tee; return cap, 1.25 in (here it is 2 in); sand."
    )
    other = replace(design, parts=(replace(tee, size=1.5 * INCH),))
    assert [line.price for line in takeoff(other)] == [3.0]
    assert idle_prices(replace(design, site=replace(site, takeoff=TakeoffRules()))) == ""
