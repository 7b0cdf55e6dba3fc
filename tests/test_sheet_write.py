"""The set of sheets is written whole or not at all."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from layout.errors import SheetError
from layout.sheets.whole import write_set
from layout.sheets.write import write_plan
from tests.fields import curved_field, tree_field

NAMES = ["plan.dxf", "plan.png", "plan.pdf", "takeoff.csv", "takeoff.xlsx", "layout.json", "startup.pdf"]


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def text(words: str) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        path.write_text(words, encoding="utf-8")

    return make


def broken(path: Path) -> None:
    path.write_text("half", encoding="utf-8")
    raise OSError(28, "No space left on device")


def mistaken(path: Path) -> None:
    raise KeyError(path.name)


def test_all_sheets_are_written_and_nothing_else(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "plan"
    paths = write_plan(curved_field(), folder)
    assert paths == [folder / name for name in NAMES]
    assert sorted(contents(folder)) == sorted(NAMES)
    assert all(path.stat().st_size > 100 for path in paths)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["deep"]


def test_a_second_plan_replaces_the_first_and_leaves_other_files(tmp_path: Path) -> None:
    write_plan(curved_field(), tmp_path)
    (tmp_path / "mine.txt").write_text("kept", encoding="utf-8")
    first = contents(tmp_path)
    (tmp_path / "coverage.png").write_bytes(b"of a plan before")
    write_plan(tree_field(), tmp_path)
    second = contents(tmp_path)
    assert sorted(second) == sorted([*NAMES, "mine.txt"])
    assert second["mine.txt"] == b"kept"
    assert all(first[name] != second[name] for name in NAMES)
    write_plan(curved_field(), tmp_path)
    assert contents(tmp_path) == first


@pytest.mark.parametrize("fault", [broken, mistaken])
def test_where_one_cannot_be_made_the_earlier_set_stays(
    fault: Callable[[Path], None], tmp_path: Path
) -> None:
    write_set([("a.txt", text("old a")), ("b.txt", text("old b"))], tmp_path)
    before = contents(tmp_path)
    with pytest.raises(SheetError) as caught:
        write_set([("a.txt", text("new a")), ("b.txt", fault)], tmp_path)
    assert contents(tmp_path) == before
    (said,) = caught.value.faults
    assert said.file == str(tmp_path / "b.txt")
    assert said.remedy


def test_where_one_cannot_be_moved_the_earlier_set_comes_back(tmp_path: Path) -> None:
    write_set([("a.txt", text("old a")), ("c.txt", text("old c"))], tmp_path)
    (tmp_path / "b.txt").mkdir()
    with pytest.raises(SheetError, match=r"b\.txt"):
        write_set(
            [
                ("n.txt", text("new n")),
                ("a.txt", text("new a")),
                ("b.txt", text("new b")),
                ("c.txt", text("new c")),
            ],
            tmp_path,
        )
    assert (tmp_path / "a.txt").read_text(encoding="utf-8") == "old a"
    assert (tmp_path / "c.txt").read_text(encoding="utf-8") == "old c"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.txt", "b.txt", "c.txt"]


def test_a_folder_that_did_not_exist_does_not_afterwards(tmp_path: Path) -> None:
    with pytest.raises(SheetError):
        write_set([("a.txt", text("new")), ("b.txt", broken)], tmp_path / "deep" / "plan")
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_folders_place_is_told(tmp_path: Path) -> None:
    (tmp_path / "plan").write_text("a file", encoding="utf-8")
    for folder in (tmp_path / "plan", tmp_path / "plan" / "deeper"):
        with pytest.raises(SheetError, match="is a file") as caught:
            write_set([("a.txt", text("new"))], folder)
        assert caught.value.faults[0].remedy
    assert contents(tmp_path) == {"plan": b"a file"}


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write everywhere")
def test_a_folder_that_may_not_be_written_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(SheetError, match="cannot be written"):
            write_set([("a.txt", text("new"))], tmp_path)
    finally:
        tmp_path.chmod(0o700)


def test_the_whole_set_takes_a_few_seconds_at_most(tmp_path: Path) -> None:
    design = curved_field()
    write_plan(design, tmp_path)
    start = time.process_time()
    write_plan(design, tmp_path)
    # About 1 s of work on a common machine; the limit only catches a change of kind.
    assert time.process_time() - start < 5.0
