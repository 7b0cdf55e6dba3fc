"""Writes the set of sheets of a plan whole or not at all."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from layout.errors import Fault, LayoutError, SheetError
from layout.model import Design
from layout.sheets.drafting import draft
from layout.sheets.geojson import is_on_earth, write_map
from layout.sheets.layoutjson import write_layout
from layout.sheets.stakeout import write_points
from layout.sheets.takeoff import write_takeoff

NOT_ALWAYS = ("stakeout.csv", "layout.geojson", "coverage.png")
"""Sheets that a plan may be without."""


def write_plan(design: Design, folder: Path, *, coverage: bool = False) -> list[Path]:
    """Write all sheets of a design into a folder.

    All are made in a temporary folder first and then moved in; where one cannot be made or moved, those of an
    earlier plan stay as they were. Once all are in, those that only an earlier plan had are removed.

    Parameters
    ----------
    design : Design
    folder : Path
        Made where it does not exist.
    coverage : bool
        Whether to write the coverage picture too, if the design has cells.

    Returns
    -------
    list of Path
        What was written: ``plan.dxf``, ``plan.png``, ``plan.pdf``, ``takeoff.csv``, ``layout.json``, ``stakeout.csv``
        where there are stakes, ``layout.geojson`` where the CRS is known, and ``coverage.png`` where asked for.

    Raises
    ------
    SheetError
        Naming the file and the remedy.
    """
    from layout.sheets.dxf import write_dxf
    from layout.sheets.plot import write_pdf, write_png

    drawing = draft(design)
    makers: list[tuple[str, Callable[[Path], None]]] = [
        ("plan.dxf", lambda path: write_dxf(drawing, path)),
        ("plan.png", lambda path: write_png(drawing, path)),
        ("plan.pdf", lambda path: write_pdf(drawing, path)),
        ("takeoff.csv", lambda path: write_takeoff(design, path)),
        ("layout.json", lambda path: write_layout(design, path)),
    ]
    makers += stakeout_makers(design)
    if is_on_earth(design.site):
        makers.append(("layout.geojson", lambda path: write_map(design, path)))
    if coverage and design.cells is not None:
        from layout.sheets.coveragemap import write_coverage

        makers.append(("coverage.png", lambda path: write_coverage(design, path)))
    written = write_set(makers, folder)
    _clear_away(folder, written)
    return written


def _clear_away(folder: Path, written: list[Path]) -> None:
    """Remove what an earlier plan left here and this one has not: it would show another design."""
    for name in NOT_ALWAYS:
        if folder / name not in written:
            with contextlib.suppress(OSError):
                (folder / name).unlink()


def stakeout_makers(design: Design) -> list[tuple[str, Callable[[Path], None]]]:
    """The files of the stake-out, each with what makes it, for :func:`write_set`; none without stakes."""
    staking = design.staking
    if staking is None:
        return []
    return [("stakeout.csv", lambda path: write_points(staking, design.site.frame, path))]


def write_set(makers: list[tuple[str, Callable[[Path], None]]], folder: Path) -> list[Path]:
    """Write files that belong together whole or not at all.

    Parameters
    ----------
    makers : list of (name, function)
        The function writes the file at the path it is given.
    folder : Path

    Returns
    -------
    list of Path
        In the given order.
    """
    near = _standing(folder)
    with _told(near, "Choose a folder in which you may write, with --out."):
        work = Path(tempfile.mkdtemp(prefix=".sheets-", dir=near))
    try:
        for name, make in makers:
            with _told(folder / name, "Make room on the disk, or choose another folder with --out."):
                make(work / name)
        return _move_in([name for name, _ in makers], work, folder)
    finally:
        shutil.rmtree(work, ignore_errors=True)


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


def _move_in(names: list[str], work: Path, folder: Path) -> list[Path]:
    """Move made files into the folder; put everything back as it was where one cannot be moved."""
    new_folder = not folder.exists()
    kept = work / "earlier"
    moved: list[str] = []
    try:
        with _told(folder, "Choose a folder in which you may write, with --out."):
            folder.mkdir(parents=True, exist_ok=True)
            kept.mkdir()
        for name in names:
            remedy = "Close the program that holds it open, or allow it to be written, then try again."
            with _told(folder / name, remedy):
                if (folder / name).exists():
                    shutil.copy2(folder / name, kept / name)
                (work / name).replace(folder / name)
            moved.append(name)
    except BaseException:
        for name in moved:
            with contextlib.suppress(OSError):
                if (kept / name).exists():
                    (kept / name).replace(folder / name)
                else:
                    (folder / name).unlink()
        if new_folder:
            with contextlib.suppress(OSError):
                folder.rmdir()
        raise
    return [folder / name for name in names]


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
