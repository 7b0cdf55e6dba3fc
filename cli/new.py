"""``sinuate new``: a commented, complete site to start from."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from cli.options import AsJson

_THERE = "the file is there already"
_MOVE = "Name a new folder, or move them away."


class UnitWord(StrEnum):
    """The words a site file knows for its units."""

    FT = "ft"
    US_FT = "us-ft"
    M = "m"


def new(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to write it.", show_default=False)],
    units: Annotated[UnitWord, typer.Option("--units", help="The units of the site.")] = UnitWord.FT,
    json: AsJson = False,
) -> None:
    """Write a commented site to start from."""
    from cli import say
    from cli.starter import starter_files

    files = [folder / name for name in starter_files(units.value)]
    write_new(folder, starter_files(units.value))
    if json:
        say.document({"files": [str(path) for path in files]})
        return
    say.line("Written: " + ", ".join(str(path) for path in files))
    say.line(f"Next: put your own survey and figures in, then `sinuate check {files[0]}`.")


def write_new(folder: Path, texts: dict[str, str]) -> None:
    """Write files that are not there yet, all of them or none.

    Raises
    ------
    SheetError
        Where one is there already, or the folder cannot be written to.
    """
    from layout.errors import Fault, SheetError

    written: list[Path] = []
    made: list[Path] = []
    try:
        there = [name for name in texts if (folder / name).exists()]
        if there:
            raise SheetError(*(Fault(file=str(folder / name), said=_THERE, remedy=_MOVE) for name in there))
        made += [part for part in (folder, *folder.parents) if not part.exists()]
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            with (folder / name).open("x", encoding="utf-8", newline="\n") as stream:
                written.append(folder / name)
                stream.write(text)
    except SheetError:
        raise
    except (OSError, ValueError) as error:
        _take_back(written, made)
        reason = getattr(error, "strerror", None) or str(error)
        said = f"the folder cannot be written to ({reason})"
        raise SheetError(Fault(file=str(folder), said=said, remedy="Name another folder.")) from error


def _take_back(written: list[Path], made: list[Path]) -> None:
    """Remove what was written, and the folders made for it, the deepest first."""
    for path in written:
        path.unlink(missing_ok=True)
    for folder in made:
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
