"""Files that belong together stand whole in the folder, whatever stops the program at whatever step."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from layout.errors import SheetError
from layout.sheets.whole import _held, put_back, write_set

STEPS = ("replace", "unlink", "mkdir", "copy2", "write_text", "open")
OLD = {"a.txt": b"old a", "b.txt": b"old b", "gone.txt": b"of an earlier plan", "mine.txt": b"the user's"}
NEW = {"a.txt": b"new a", "b.txt": b"new b", "c.txt": b"new c", "mine.txt": b"the user's"}
SCRIPT = """
import os, shutil, sys
from pathlib import Path
from layout.sheets.whole import write_set

left = int(sys.argv[2])
def counted(step):
    def call(*given, **named):
        global left
        left -= 1
        if left < 0:
            os._exit(9)
        result = step(*given, **named)
        return result
    return call
for name in ("replace", "unlink", "mkdir", "write_text", "open"):
    setattr(Path, name, counted(getattr(Path, name)))
shutil.copy2 = counted(shutil.copy2)
def make(words):
    return lambda path: path.write_text(words, encoding="utf-8")
write_set([(f"{k}.txt", make(f"new {k}")) for k in "abc"], Path(sys.argv[1]), drop=("gone.txt",))
"""


def fill(folder: Path) -> Path:
    folder.mkdir()
    for name, data in OLD.items():
        (folder / name).write_bytes(data)
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def make(words: str) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        path.write_text(words, encoding="utf-8")

    return write


def write_new(folder: Path) -> list[Path]:
    return write_set([(f"{k}.txt", make(f"new {k}")) for k in "abc"], folder, drop=("gone.txt",))


@contextmanager
def failing(step: int, error: BaseException, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """Let one call of those that touch the disk fail, counted from 0; gives a list that fills when it did."""
    done: list[int] = []
    count = 0

    def counted(call: Callable[..., object]) -> Callable[..., object]:
        def run(*given: object, **named: object) -> object:
            nonlocal count
            count += 1
            if count == step + 1:
                done.append(step)
                raise error
            return call(*given, **named)

        return run

    with monkeypatch.context() as patch:
        for name in STEPS:
            home = shutil if name == "copy2" else Path
            patch.setattr(home, name, counted(getattr(home, name)))
        yield done


FAULTS = (OSError(28, "No space left on device"), OSError(13, "Permission denied"), KeyboardInterrupt())


@pytest.mark.parametrize("error", FAULTS)
def test_a_fault_at_any_step_leaves_no_new_folder(
    error: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where there was no folder there is none after: neither a part of a set nor an empty folder."""
    made = {name: data for name, data in NEW.items() if name != "mine.txt"}
    for step in range(100):
        folder = tmp_path / str(step)
        fine = False
        with failing(step, error, monkeypatch) as failed, suppress(SheetError, KeyboardInterrupt):
            write_new(folder)
            fine = True
        assert (contents(folder) == made) if fine else not folder.exists(), step
        if not failed:
            break
    assert step >= 10


@pytest.mark.parametrize("error", FAULTS)
def test_a_fault_at_any_step_leaves_the_earlier_files(
    error: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps = 0
    for step in range(100):
        folder = fill(tmp_path / str(step))
        caught: BaseException | None = None
        with failing(step, error, monkeypatch) as failed:
            try:
                write_new(folder)
            except (SheetError, KeyboardInterrupt) as fault:
                caught = fault
        if isinstance(caught, SheetError):
            assert caught.faults[0].file.startswith(str(folder))
            assert caught.faults[0].remedy
        assert contents(folder) == (NEW if caught is None else OLD), step
        steps += caught is not None
        if not failed:
            break
    assert steps >= 15


def test_a_kill_at_any_step_leaves_one_set_or_the_other(tmp_path: Path) -> None:
    seen = set()
    for step in range(100):
        folder = fill(tmp_path / str(step))
        run = subprocess.run(
            [sys.executable, "-c", SCRIPT, str(folder), str(step)], check=False, cwd=Path(__file__).parents[1]
        )
        put_back(folder)
        held = contents_shown(folder)
        assert held in (OLD, NEW), step
        seen.add(held == NEW)
        if run.returncode == 0:
            break
        assert run.returncode == 9
        for hidden in folder.glob(".sheets-*"):
            os.utime(hidden, (0, 0))
        write_new(folder)
        assert contents(folder) == NEW, "the next run leaves nothing hidden behind"
    assert seen == {True, False}
    assert step >= 15


def contents_shown(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.name[0] != "."}


def test_what_was_put_back_is_told(tmp_path: Path) -> None:
    folder = fill(tmp_path / "plan")
    work = folder / ".sheets-dead"
    (work / "earlier").mkdir(parents=True)
    (work / "owner").touch()
    (work / "earlier" / "a.txt").write_bytes(b"older a")
    record = folder / ".sheets-moving"
    record.write_text(
        f'{{"work": "{work.as_posix()}", "names": ["a.txt", "c.txt", "b.txt"], "had": ["a.txt", "b.txt"]}}'
    )
    (folder / "c.txt").write_bytes(b"half of a set")
    assert put_back(folder) == ["a.txt", "c.txt"]
    assert contents(folder) == {**OLD, "a.txt": b"older a"}
    assert put_back(folder) == []


@pytest.mark.parametrize(
    "words", ["", "[]", "{", '{"work": 3}', '{"work": "x", "names": ["../a"], "had": []}']
)
def test_a_spoilt_record_touches_nothing(words: str, tmp_path: Path) -> None:
    folder = fill(tmp_path / "plan")
    (tmp_path / "a").write_text("outside")
    (folder / ".sheets-moving").write_text(words)
    assert put_back(folder) == []
    assert contents(folder) == OLD
    assert (tmp_path / "a").read_text() == "outside"


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_link_in_a_files_place_is_replaced_not_written_through(tmp_path: Path) -> None:
    folder = fill(tmp_path / "plan")
    (tmp_path / "elsewhere.txt").write_text("not ours")
    (folder / "a.txt").unlink()
    (folder / "a.txt").symlink_to(tmp_path / "elsewhere.txt")
    write_new(folder)
    assert (tmp_path / "elsewhere.txt").read_text() == "not ours"
    assert contents(folder) == NEW


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="has no such signal")
def test_another_run_that_lives_is_not_disturbed(tmp_path: Path) -> None:
    folder = fill(tmp_path / "plan")
    script = (
        "import sys, time; from pathlib import Path; from layout.sheets.whole import write_set\n"
        "def slow(path):\n    path.write_text('slow'); print('made', flush=True); time.sleep(60)\n"
        "write_set([('a.txt', slow)], Path(sys.argv[1]))"
    )
    command = [sys.executable, "-c", script, str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=Path(__file__).parents[1]) as other:
        try:
            assert other.stdout is not None
            other.stdout.readline()
            write_new(folder)
            assert contents_shown(folder) == NEW
            (work,) = folder.glob(".sheets-*")
            assert (work / "a.txt").read_text() == "slow"
        finally:
            other.kill()
    write_new(folder)
    assert contents(folder) == NEW


def test_two_runs_do_not_move_their_files_into_one_folder_at_once(tmp_path: Path) -> None:
    """The other run holds its owner file: its record is left alone, before the move and amid it."""
    folder = fill(tmp_path / "plan")
    work = folder / ".sheets-other"
    work.mkdir()
    record = folder / ".sheets-moving"
    told = f'{{"work": "{work.as_posix()}", "names": ["a.txt"], "had": ["a.txt"]}}'
    with _held(work):
        record.write_text(told)
        with pytest.raises(SheetError, match=r"another run is writing its files here right now\. Wait"):
            put_back(folder)
        record.unlink()

        def lays_a_record(path: Path) -> None:
            path.write_text("new a")
            record.write_text(told)

        with pytest.raises(SheetError, match=r"another run is writing its files here\)"):
            write_set([("a.txt", lays_a_record)], folder)
        assert record.read_text() == told
    assert contents_shown(folder) == OLD
    shutil.rmtree(work)
    assert put_back(folder) == []
    assert contents(folder) == OLD


def test_what_only_looks_like_a_hidden_folder_is_left_alone(tmp_path: Path) -> None:
    """A file, a link, and one that was made a moment ago, in which its program has written nothing yet."""
    folder = fill(tmp_path / "plan")
    (folder / ".sheets-note").write_text("mine")
    (tmp_path / "elsewhere").mkdir()
    (folder / ".sheets-link").symlink_to(tmp_path / "elsewhere")
    (folder / ".sheets-young").mkdir()
    (folder / ".sheets-old").mkdir()
    os.utime(folder / ".sheets-old", (0, 0))
    write_new(folder)
    assert sorted(path.name for path in folder.glob(".sheets-*")) == [
        *(".sheets-link", ".sheets-note", ".sheets-young"),
    ]
    assert (tmp_path / "elsewhere").is_dir()


@pytest.mark.parametrize("held", [False, True])
def test_without_locks_a_file_that_cannot_be_removed_is_one_in_use(
    held: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a system where an open file stays."""
    folder = fill(tmp_path / "plan")
    work = folder / ".sheets-other"
    work.mkdir()
    (work / "owner").touch()
    monkeypatch.setitem(sys.modules, "fcntl", None)
    unlink = Path.unlink

    def refused(path: Path, missing_ok: bool = False) -> None:
        if held and path.name == "owner":
            raise PermissionError(13, "in use")
        unlink(path, missing_ok=missing_ok)

    monkeypatch.setattr(Path, "unlink", refused)
    write_new(folder)
    assert contents_shown(folder) == NEW
    assert work.exists() == held


def test_a_disk_that_is_not_there_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Path, "is_dir", lambda _: False)
    monkeypatch.setattr(Path, "exists", lambda _: False)
    with pytest.raises(SheetError, match="no folder above it exists"):
        write_set([], Path("Q:/plan"))
