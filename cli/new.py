"""``sinuate new``: a commented, complete site to start from, or one begun from a drawing."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, BinaryIO

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
    drawing: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="DRAWING", help="Begin it from a .dxf: lists its layers and refers to them."
        ),
    ] = None,
    units: Annotated[
        UnitWord | None,
        typer.Option(
            "--units", help="The units of the site; ft, or the drawing's, if not given.", show_default=False
        ),
    ] = None,
    json: AsJson = False,
) -> None:
    """Write a commented site to start from."""
    if drawing is not None:
        _from_drawing(folder, drawing, units, json=json)
        return
    from cli import say
    from cli.starter import starter_files

    texts = starter_files((units or UnitWord.FT).value)
    files = [folder / name for name in texts]
    write_new(folder, texts)
    if json:
        say.document({"files": [str(path) for path in files]})
        return
    say.written(files)
    say.line(f"Next: put your own survey and figures in, then `sinuate check {files[0]}`.")


def _from_drawing(folder: Path, drawing: Path, units: UnitWord | None, *, json: bool) -> None:
    """Look a drawing through and write a site file that refers to its layers, beside a copy of it."""
    from cli import say
    from cli.lot import site_text, taken_as
    from layout.errors import Fault, ReadError
    from layout.readers.cad.inventory import inventory_of
    from layout.readers.points import bytes_of

    if drawing.suffix.lower() != ".dxf":
        raise ReadError(Fault(file=str(drawing), said="this is no .dxf", remedy="Name a drawing in DXF."))
    with say.working() as stage:
        stage("reading the drawing")
        found = inventory_of(drawing, units=units.value if units else None)
    files: dict[str, str | bytes] = {
        "site.toml": site_text(found, drawing=drawing.name, stated=units is not None)
    }
    if not _is_there(folder / drawing.name, drawing):
        files[drawing.name] = bytes_of(drawing, str(drawing))
    write_new(folder, files)
    paths = [folder / name for name in files]
    layers = [(layer.name, taken_as(layer), layer.holds) for layer in found.layers]
    if json:
        keys = ("layer", "taken_as", "holds")
        listing = [dict(zip(keys, row, strict=True)) for row in layers]
        content = {
            "files": list(map(str, paths)),
            "units": found.units,
            "layers": listing,
            "notes": list(found.notes),
        }
        say.document(content)
        return
    say.table(("layer", "taken as", "seems to hold"), [tuple(map(_plain, row)) for row in layers])
    say.written(paths)
    say.line(f"Next: look it through and state what `sinuate check {paths[0]}` asks for.")
    say.notes(found.notes)


def _plain(text: str) -> str:
    from layout.readers.document import shortened

    return shortened(text, 100)


def _is_there(path: Path, drawing: Path) -> bool:
    """Whether a path is that of the drawing itself, which then need not be copied."""
    try:
        return path.exists() and path.samefile(drawing)
    except OSError:
        return False


def write_new(folder: Path, files: Mapping[str, str | bytes]) -> None:
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
        there = [name for name in files if (folder / name).exists()]
        if there:
            raise SheetError(*(Fault(file=str(folder / name), said=_THERE, remedy=_MOVE) for name in there))
        made += [part for part in (folder, *folder.parents) if not part.exists()]
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            with _opened(folder / name, written) as stream:
                stream.write(content if isinstance(content, bytes) else content.encode())
    except SheetError:
        raise
    except BaseException as error:  # what stops the program, too, leaves nothing half written
        _take_back(written, made)
        if not isinstance(error, OSError | ValueError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        said = f"the folder cannot be written to ({reason})"
        raise SheetError(Fault(file=str(folder), said=said, remedy="Name another folder.")) from error


def _opened(path: Path, written: list[Path]) -> BinaryIO:
    """Open a file that is not there yet, and list it as written from before it is there."""
    written.append(path)
    try:
        return path.open("xb")
    except FileExistsError:
        written.remove(path)  # somebody else's
        raise


def _take_back(written: list[Path], made: list[Path]) -> None:
    """Remove what was written, and the folders made for it, the deepest first."""
    for path in written:
        path.unlink(missing_ok=True)
    for folder in made:
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
