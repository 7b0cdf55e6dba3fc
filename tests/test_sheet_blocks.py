"""Blocks in columns: every row is set once, in order, within a column; lettering is broken to its room."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from layout.sheets.blocks import AFTER, Block, Cell, Column, Row, flow, paragraphs
from layout.sheets.lettering import Lettering

columns = st.lists(
    st.tuples(st.floats(0.5, 9.0)).map(lambda heights: Column(left=0.0, top=heights[0], bottom=0.0)),
    min_size=1,
    max_size=4,
)
sizes = st.lists(st.integers(1, 80), min_size=1, max_size=6)


def block(name: str, rows: int) -> Block:
    return Block(
        heading=name,
        rows=tuple(Row(cells=(Cell(text=f"{name}/{i}"),)) for i in range(rows)),
        titles=Row(cells=(Cell(text="title"),)),
    )


def names(rows: tuple[Row, ...]) -> list[str]:
    return [row.cells[0].text for row in rows]


@settings(max_examples=60, deadline=None)
@given(columns, sizes)
def test_every_row_is_set_once_and_in_order(places: list[Column], rows: list[int]) -> None:
    given_ = [block(f"b{i}", count) for i, count in enumerate(rows)]
    placed, left = flow(given_, places)
    for one in given_:
        parts = [part.block for part in placed if part.block.heading.split(" ")[0] == one.heading]
        rest = [part for part in left if part.heading.split(" ")[0] == one.heading]
        found = [name for part in (*parts, *rest) for name in names(part.rows)]
        assert found == names(one.rows)
        assert all(part.heading.endswith("(continued)") for part in parts[1:])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.5, 9.0), min_size=1, max_size=4), sizes)
@example([0.5], [22])
def test_blocks_stay_in_their_columns_and_apart(tops: list[float], rows: list[int]) -> None:
    places = [Column(left=10.0 * i, top=top, bottom=0.0) for i, top in enumerate(tops)]
    placed, _ = flow([block(f"b{i}", count) for i, count in enumerate(rows)], places)
    for place in places:
        mine = sorted((part for part in placed if part.left == place.left), key=lambda part: -part.top)
        edge = place.top
        for part in mine:
            assert part.top <= edge + 1e-9
            edge = part.top - part.block.height
        if mine and edge + AFTER < place.bottom - 1e-9:
            # Only a single row that no empty sheet holds with its heading may hang out, and then alone.
            (only,) = placed
            assert len(only.block.rows) == 1
            assert all(only.block.height - AFTER > other.top - other.bottom for other in places)


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=80), st.floats(0.3, 4.0))
def test_broken_lines_fit_their_room_and_lose_nothing(text: str, room: float) -> None:
    lettering = Lettering()
    clean = lettering.clean(text)
    lines = lettering.wrapped(clean, 0.08, room)
    assert "".join(lines).replace(" ", "") == clean.replace(" ", "")
    for line in lines:
        assert lettering.width(line, 0.08) <= room or len(line) == 1
    cut = lettering.fitted(clean, 0.08, room)
    assert lettering.width(cut, 0.08) <= room + 1e-9


def test_a_text_without_end_leaves_room_on_the_sheet_and_names_the_file() -> None:
    lettering = Lettering()
    (row,) = paragraphs("Remarks", ["R1 " * 4000], lettering).rows
    assert row.lines == 12
    assert row.cells[-1].text.endswith("all of it is in layout.json")


@pytest.mark.parametrize("count", [1, 2, 5])
def test_rows_taller_than_any_column_find_a_place_all_the_same(count: int) -> None:
    """Whoever sets sheet after sheet until nothing is left comes to an end."""
    later = [Block(heading="Tall", rows=(Row(cells=(), lines=200),) * count)]
    columns = [Column(left=0.0, top=10.0, bottom=1.0), Column(left=4.0, top=10.0, bottom=3.0)]
    sheets = 0
    while later:
        placed, later = flow(later, columns)
        assert placed
        sheets += 1
    assert sheets == count
