"""The user's prices: what is read, and every fault with its line and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from layout.errors import ReadError
from layout.readers.prices import read_prices
from layout.units import FOOT, UNIT_SETS

YARD = 3 * FOOT


def read(folder: Path, text: str, units: str = "ft") -> list[tuple[str, float, str, float | None]]:
    path = folder / "prices.csv"
    path.write_text(text, encoding="utf-8")
    return [
        (price.item, price.amount, price.per, price.size) for price in read_prices(path, UNIT_SETS[units])
    ]


def test_prices_for_units_and_for_packs(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        "Item,Unit,Price,shop\n"
        "# a remark\n"
        "Emitting Tubing,coil,210,here\n"
        "supply line pipe,ft,1.15,there\n"
        '"supply tee, 1.25 in",ea,4.25,\n'
        "cover,cu yd,27.00,\n"
        "staple,box,0,\n",
    )
    assert found == [
        ("emitting tubing", 210.0, "pack", None),
        ("supply line pipe", pytest.approx(1.15 / FOOT), "unit", None),
        ("supply tee", 4.25, "unit", pytest.approx(0.03175)),
        ("cover", pytest.approx(27.0 / YARD**3), "unit", None),
        ("staple", 0.0, "pack", None),
    ]


def test_a_price_of_any_size_and_one_of_a_size_stand_side_by_side(tmp_path: Path) -> None:
    text = "item;unit;price\nreturn line pipe;m;2\nReturn line pipe,  40 MM;m;3\nreturn line pipe, 50mm;m;4\n"
    assert [size for *_, size in read(tmp_path, text, "m")] == [
        None,
        pytest.approx(0.04),
        pytest.approx(0.05),
    ]


def test_semicolons_and_metres(tmp_path: Path) -> None:
    assert read(tmp_path, "price;unit;item\n2.5;m;return line pipe\n", "m") == [
        ("return line pipe", 2.5, "unit", None)
    ]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            "emiting tubing,coil,210",
            'line 2: the takeoff has no item "emiting tubing". The nearest is "emitting',
        ),
        ("emitting tubing,coil,$210", 'line 2: "$210" is no price. Write it as 12.50'),
        ("emitting tubing,coil,", 'line 2: "" is no price.'),
        ('emitting tubing,coil,"1,210"', 'line 2: "1,210" is no price.'),
        ("emitting tubing,coil,nan", 'line 2: "nan" is no price.'),
        ("emitting tubing,coil,=A1", 'line 2: "=A1" is no price.'),
        ("emitting tubing,coil,-3", "line 2: the price is -3. A price is 0 to"),
        ("emitting tubing,coil,1e9", "line 2: the price is 1e9. A price is 0 to"),
        (
            "emitting tubing,m,0.5",
            'is for "m", which it is not sold by on this site. Write the price for "ft" or "coil"',
        ),
        (
            "supply tee,coil,4",
            'is for "coil", which it is not sold by on this site. Write the price for "ea".',
        ),
        ("emitting tubing,210", "line 2: there are 2 cells under 3 headings"),
        ('stake,ea,"' + "1" * 200_000, "line 2: the price is 1111"),
        ("stake,ea,1\nstake,ea,2", 'line 3: "stake" is priced on line 2 already'),
        (
            '"supply tee, 2 in",ea,1\n"supply tee, 2.0 in",ea,2',
            'line 3: "supply tee, 2.0 in" is priced on line 2',
        ),
        (
            '"supply tee, large",ea,4',
            'line 2: "large" is no size of pipe. Write "supply tee, 2 in", or "supply tee"',
        ),
        ('"supply tee, 32 mm",ea,4', 'line 2: "32 mm" is no size of pipe. Write "supply tee, 1.25 in"'),
        ('"supply tee,",ea,4', 'line 2: "" is no size of pipe.'),
        (
            '"stake, 2 in",ea,4',
            'line 2: "stake" is of no size of pipe, but "2 in" is said of it. Write "stake".',
        ),
        ('"return air valve, 1 in",ea,4', 'line 2: "return air valve" is of no size of pipe'),
    ],
)
def test_nonsense(tmp_path: Path, line: str, said: str) -> None:
    with pytest.raises(ReadError) as error:
        read(tmp_path, f"item,unit,price\n{line}\n")
    assert str(error.value).startswith(f"{tmp_path / 'prices.csv'}: line ")
    assert said in str(error.value)
    assert len(str(error.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the file holds no prices"),
        ("# nothing\n", "the file holds no prices"),
        ("stake,ea,1\n", "line 1: there is no one column item"),
        ("item,unit,price,price\n", "line 1: there is no one column price"),
    ],
)
def test_without_a_header(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(ReadError, match=said):
        read(tmp_path, text)


def test_all_faults_at_once(tmp_path: Path) -> None:
    with pytest.raises(ReadError) as error:
        read(tmp_path, "item,unit,price\nstake,m,1\nnothing,ea,1\nstake,ea,x\n")
    assert len(error.value.faults) == 4


def test_two_faults_of_one_line_are_told_together(tmp_path: Path) -> None:
    with pytest.raises(ReadError) as error:
        read(tmp_path, "item,unit,price\nemiting tubing,coil,$210\n")
    assert [(fault.field, fault.said) for fault in error.value.faults] == [
        ("line 2", '"$210" is no price'),
        ("line 2", 'the takeoff has no item "emiting tubing"'),
    ]
