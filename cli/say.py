"""What commands print: tables, notes, one JSON document, the stage of work that lasts.

Results go to stdout, talk to stderr. On a terminal tables have colour and rules; elsewhere they are plain
text.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pathlib import Path

    from rich.progress import Progress, TaskID

    from layout.model import Finding

PATIENCE = 1.0
"""Work that lasts longer than this is shown [s]."""


def line(text: str) -> None:
    """Print one line of a result."""
    typer.echo(text)


def notes(texts: Sequence[str]) -> None:
    """Print what the user should know besides the result."""
    for text in texts:
        typer.echo(f"Note: {text.rstrip('.?')}{'?' if text.endswith('?') else '.'}", err=True)


def shortened(text: str, most: int = 400) -> str:
    """A list in words, cut behind one of its items where it is longer than `most` letters."""
    if len(text) <= most:
        return text
    return text[:most].rpartition(", ")[0] + " and more, all in layout.json"


def look(findings: Iterable[Finding]) -> None:
    """Print what was found on the way, each with what to do."""
    for finding in findings:
        line(f"Look: {finding.words}")


def written(files: Sequence[Path]) -> None:
    """Print which files were written."""
    line("Written: " + ", ".join(str(path) for path in files))


def put_back(folder: Path) -> None:
    """Put back the files of a run that was killed while it moved its own into a folder, and say so."""
    from layout.sheets.whole import put_back as back

    names = back(folder)
    if names:
        notes(
            [f"An earlier run was cut short as it wrote {folder}; put back as before it: {', '.join(names)}"]
        )


def folder_for(site: Path, out: Path | None) -> Path:
    """Give the folder to write to, ``plan/`` beside the site file if none was named; see :func:`put_back`."""
    folder = out if out is not None else site.parent / "plan"
    put_back(folder)
    return folder


def document(content: Any) -> None:
    """Print the one JSON document of a command."""
    import json

    typer.echo(json.dumps(content, ensure_ascii=False, allow_nan=False))


def table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table: with rules and colour on a terminal, aligned plain text elsewhere.

    Parameters
    ----------
    headings : sequence of str
        All empty for a table without headings.
    rows : sequence of sequences of str
        The second column on, figures stand to the right.
    """
    if not rows:
        return
    if sys.stdout.isatty():
        _rich_table(headings, rows)
    else:
        _plain_table(headings, rows)


def _is_figure(text: str) -> bool:
    return text[:1].isdigit() or text[:1] == "-"


def _right(rows: Sequence[Sequence[str]], column: int) -> bool:
    cells = [row[column] for row in rows if row[column]]
    return column > 0 and bool(cells) and all(_is_figure(cell) for cell in cells)


def _plain_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    shown = [*([headings] if any(headings) else []), *rows]
    widths = [max(len(row[column]) for row in shown) for column in range(len(headings))]
    right = [_right(rows, column) for column in range(len(headings))]
    for row in shown:
        cells = [
            cell.rjust(width) if to_right else cell.ljust(width)
            for cell, width, to_right in zip(row, widths, right, strict=True)
        ]
        typer.echo("  " + "  ".join(cells).rstrip())


def _rich_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    grid = Table(box=box.SIMPLE, show_header=any(headings), header_style="bold")
    for column, heading in enumerate(headings):
        style = "bold" if column == 0 else ""
        grid.add_column(heading, justify="right" if _right(rows, column) else "left", style=style)
    for row in rows:
        grid.add_row(*(Text(cell) for cell in row))
    Console().print(grid)


@contextmanager
def working() -> Iterator[Callable[[str], None]]:
    """Show the stage of work that lasts: a moving bar on stderr after a second, only on a terminal.

    Yields
    ------
    callable
        Call it with the name of each stage as it begins.
    """
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    bar = _Bar()
    timer = threading.Timer(PATIENCE, bar.show)
    timer.daemon = True
    timer.start()
    try:
        yield bar.stage
    finally:
        timer.cancel()
        bar.close()


class _Bar:
    """The moving bar; shown from another thread while the work goes on in its own."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.name = ""
        self.closed = False
        self.progress: Progress | None = None
        self.task: TaskID | None = None

    def stage(self, name: str) -> None:
        with self.lock:
            self.name = name
            if self.progress is not None and self.task is not None:
                self.progress.update(self.task, description=name)

    def show(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        with self.lock:
            if self.closed:
                return
            columns = (BarColumn(bar_width=24), TextColumn("{task.description}"), TimeElapsedColumn())
            self.progress = Progress(*columns, console=Console(stderr=True), transient=True)
            self.task = self.progress.add_task(self.name, total=None)
            self.progress.start()

    def close(self) -> None:
        with self.lock:
            self.closed = True
            if self.progress is not None:
                self.progress.stop()
