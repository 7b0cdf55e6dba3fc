"""Moves files that belong together into a folder whole or not at all, whatever stops the program meanwhile.

All files are made in a hidden folder on the same disk first. Then a record of what is about to be moved is laid
beside copies of what stood there, the files are moved, and the record is taken away: with it the set is in. A
program that is killed between leaves the record, by which the next run puts the earlier files back.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from layout.errors import Fault, LayoutError, SheetError

Maker = Callable[[Path], None]
"""Writes one file at the path that it is given."""

_WORK = ".sheets-"
"""How the hidden folders begin in which files are made."""
_RECORD = ".sheets-moving"
"""The record of a set that is being moved in, in the folder itself."""
_OWNER = "owner"
"""A file in the hidden folder that its program keeps locked for as long as it lives."""
_BORN = 60.0
"""How long a run may take from making its hidden folder to making its owner file [s]."""
_WRITABLE = "Choose a folder in which you may write, with --out."


def write_set(makers: Sequence[tuple[str, Maker]], folder: Path, *, drop: Sequence[str] = ()) -> list[Path]:
    """Write files that belong together whole or not at all.

    Parameters
    ----------
    makers : sequence of (name, function)
        The function writes the file at the path it is given.
    folder : Path
        Made where it does not exist.
    drop : sequence of str
        Names that an earlier set may have left there; those that are not made now go with the move.

    Returns
    -------
    list of Path
        In the given order.

    Raises
    ------
    SheetError
        Naming the file and the remedy; the earlier files then stand as they stood.
    """
    near = _standing(folder)
    put_back(folder)
    _clear_dead(near)
    with _told(folder, _WRITABLE):
        work = Path(tempfile.mkdtemp(prefix=_WORK, dir=near))
    try:
        with _held(work):
            for name, make in makers:
                with _told(folder / name, "Make room on the disk, or choose another folder with --out."):
                    make(work / name)
            names = [name for name, _ in makers]
            return _move_in(names, work, folder, [name for name in drop if name not in names])
    finally:
        shutil.rmtree(work, ignore_errors=True)


def put_back(folder: Path) -> list[str]:
    """Put back what stood in a folder before a run that was killed while it moved its files in.

    Parameters
    ----------
    folder : Path
        May be missing.

    Returns
    -------
    list of str
        Names of the files put back or taken away, in order; empty where no run was cut short there.

    Raises
    ------
    SheetError
        Where another run is moving its files in right now, or a file cannot be put back.
    """
    record = folder / _RECORD
    if not record.is_file():
        return []
    with _told(record, "Allow it to be read and removed, or choose another folder with --out."):
        try:
            moved = json.loads(record.read_text(encoding="utf-8"))
            work, names, had = Path(moved["work"]), list(moved["names"]), set(moved["had"])
        except (ValueError, KeyError, TypeError):
            record.unlink()  # not ours, or cut short while it was written: nothing was moved yet
            return []
    if _lives(work):
        raise SheetError(
            Fault(
                file=str(folder),
                said="another run is writing its files here right now",
                remedy="Wait until it is done, then try again.",
            )
        )
    done = []
    for name in names:
        with _told(folder / name, "Close the program that holds it open, then try again."):
            if Path(name).name == name and _restore(name, work / "earlier", folder, had=name in had):
                done.append(name)
    with _told(record, _WRITABLE):
        record.unlink()
    shutil.rmtree(work, ignore_errors=True)
    return done


def _restore(name: str, kept: Path, folder: Path, *, had: bool) -> bool:
    """Set one file back to what it was; True where that changed anything."""
    if not had:
        there = os.path.lexists(folder / name)
        (folder / name).unlink(missing_ok=True)
        return there
    if not os.path.lexists(kept / name):
        return False
    (kept / name).replace(folder / name)
    return True


def _move_in(names: list[str], work: Path, folder: Path, gone: list[str]) -> list[Path]:
    """Move made files into the folder; put everything back as it was where one cannot be moved."""
    new_folder = not folder.exists()
    kept = work / "earlier"
    record = folder / _RECORD
    listed = [*names, *gone]
    had: list[str] = []
    try:
        with _told(folder, _WRITABLE):
            folder.mkdir(parents=True, exist_ok=True)
            kept.mkdir()
        for name in listed:
            with _told(folder / name, "Make room on the disk, or allow the file to be read."):
                if os.path.lexists(folder / name):
                    # links are kept as links; a folder of that name is not a file of ours and is told here
                    shutil.copy2(folder / name, kept / name, follow_symlinks=False)
                    had.append(name)
        with _told(record, "Wait until another run that writes here is done, or remove this file."):
            _write_record(record, work, listed, had)
    except BaseException:
        if new_folder:
            with contextlib.suppress(OSError):
                folder.rmdir()
        raise
    try:
        for name in listed:
            with _told(folder / name, "Close the program that holds it open, or allow it to be written."):
                if name in gone:
                    (folder / name).unlink(missing_ok=True)
                else:
                    (work / name).replace(folder / name)
        with _told(record, _WRITABLE):
            record.unlink()
    except BaseException:
        for name in listed:
            with contextlib.suppress(OSError):
                _restore(name, kept, folder, had=name in had)
        with contextlib.suppress(OSError):
            record.unlink()
        if new_folder:
            with contextlib.suppress(OSError):
                folder.rmdir()
        raise
    return [folder / name for name in names]


def _write_record(record: Path, work: Path, names: list[str], had: list[str]) -> None:
    """Lay the record down whole; raises where another run's stands there."""
    draft = work / _RECORD
    content = {"work": str(work.absolute()), "names": names, "had": had}
    draft.write_text(json.dumps(content), encoding="utf-8")
    if record.exists():
        raise FileExistsError(17, "another run is writing its files here", str(record))
    draft.replace(record)


def _standing(folder: Path) -> Path:
    """Find the folder itself, or the nearest one above it that exists: on the disk that is written to."""
    if folder.is_dir():
        return folder
    for path in (folder, *folder.absolute().parents):
        if path.is_dir():
            return path
        if path.exists() or path.is_symlink():
            raise SheetError(
                Fault(
                    file=str(path),
                    said="is a file, so no folder can stand here",
                    remedy="Choose another folder with --out, or move the file away.",
                )
            )
    raise SheetError(Fault(file=str(folder), said="no folder above it exists", remedy="Choose another one."))


@contextlib.contextmanager
def _held(work: Path) -> Iterator[None]:
    """Keep the hidden folder's owner file locked, so that other runs see that its program lives."""
    with _told(work.parent, "Make room on the disk, or choose another folder with --out."):
        owner = (work / _OWNER).open("w", encoding="utf-8")
    with owner:
        # Without such locks an open file cannot be removed, a sign as good; some network disks have none.
        with contextlib.suppress(ImportError, OSError):
            import fcntl

            fcntl.flock(owner, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield


def _lives(work: Path) -> bool:
    """Whether the program that made a hidden folder still runs."""
    owner = work / _OWNER
    if not owner.is_file():
        return False
    try:
        import fcntl
    except ImportError:
        try:
            owner.unlink()
        except OSError:
            return True
        return False
    try:
        with owner.open("r+", encoding="utf-8") as file:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    return False


def _clear_dead(near: Path) -> None:
    """Remove hidden folders that killed runs left behind; nothing of theirs was moved in."""
    for work in sorted(near.glob(f"{_WORK}*")):
        if not work.is_dir() or work.is_symlink():
            continue
        if (work / _OWNER).is_file():
            if not _lives(work):
                shutil.rmtree(work, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):
                if time.time() - work.stat().st_mtime > _BORN:
                    work.rmdir()  # killed as it was made; only an empty one is ours for certain


class _told(contextlib.AbstractContextManager["_told"]):  # noqa: N801 - reads as a word in a with statement
    """Turns whatever goes wrong with a file into a `SheetError` that names it."""

    def __init__(self, file: Path, remedy: str) -> None:
        self.file, self.remedy = file, remedy

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if error is None or isinstance(error, LayoutError) or not isinstance(error, Exception):
            return
        if isinstance(error, OSError):
            said = f"cannot be written ({error.strerror or error})"
            remedy = self.remedy
        else:
            said = f"could not be made ({type(error).__name__}: {error})"
            remedy = "This is a fault of the program; please report it with the site file."
        raise SheetError(Fault(file=str(self.file), said=said, remedy=remedy)) from error
