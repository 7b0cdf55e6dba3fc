"""Keys of the site file in words: every key that a sheet may print has one, and sentences stay sentences."""

from __future__ import annotations

import ast
import re
import typing
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import BaseModel

import layout
from layout.meant import USUAL
from layout.readers.schema import SiteTable
from layout.sheets.sources import SOURCES, WORDS, remark_in_words, source_in_words

PAPERWORK = {"sheet", "takeoff"}
"""Tables whose keys no finding names."""


def tables_of(annotation: object) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in typing.get_args(annotation):
        yield from tables_of(part)


def schema_keys() -> set[str]:
    return {
        f"{name}.{key}"
        for name, field in SiteTable.model_fields.items()
        for table in tables_of(field.annotation)
        for key in table.model_fields
    }


def keys_of_findings() -> set[str]:
    """Keys that the text of a finding, wherever one is made, names."""
    found = set()
    for path in Path(layout.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Finding":
                texts = [
                    str(part.value)
                    for part in ast.walk(node)
                    if isinstance(part, ast.Constant) and isinstance(part.value, str)
                ]
                found |= set(re.findall(r"\b[a-z]+\.[a-z_]+\b", " ".join(texts)))
    return found


def test_every_key_that_a_sheet_may_print_has_a_word() -> None:
    keys, named = schema_keys(), keys_of_findings() & schema_keys()
    assert {"laterals.longest", "stakeout.ties", "pump.curve", "zones.lines"} <= named
    assert named <= set(WORDS)
    assert {bounds.key for bounds in USUAL} <= set(WORDS)
    assert {key for key in keys if key.split(".")[0] not in PAPERWORK} == set(WORDS)
    assert set(SOURCES) <= set(WORDS)


def test_a_word_does_not_name_another_key() -> None:
    for key in WORDS:
        assert key not in remark_in_words(f"{key} is that.") + source_in_words(key)


@pytest.mark.parametrize(
    ("remark", "words"),
    [
        ("Give more of pump.curve; stop.", "Give more of the pump's curve; stop."),
        ("stakeout.baseline runs through it.", "The baseline runs through it."),
        (
            'runs.sides = "lobes" does nothing. Leave runs.sides out.',
            '"lobes" as the sides to follow does nothing. Leave the sides to follow out.',
        ),
        ("It lies off. runs.first is far.", "It lies off. The distance to the first run is far."),
        ("Points are in stakeout.csv, the list.", "Points are in stakeout.csv, the list."),
        ('odd.key = "x" stays.', 'odd.key = "x" stays.'),
        ('set for this once: zones.lines="trunk"', 'set for this once: zones.lines="trunk"'),
    ],
)
def test_a_remark_with_keys_in_words_is_a_sentence(remark: str, words: str) -> None:
    assert remark_in_words(remark) == words


def test_sources_of_limits_keep_words_of_their_own() -> None:
    assert source_in_words("pump.curve") == "the pump's curve, and what the field needs"
    assert source_in_words("runs.spacing, less 2 %") == "run spacing, less 2 %"
