"""Arguments and options that several commands share, so that they read the same everywhere."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from layout.model import Check

SiteFile = Annotated[Path, typer.Argument(metavar="SITE", help="The site file.", show_default=False)]
Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="FOLDER", help="Where to write; plan/ beside the site file if not given."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout, nothing else.")]
Strict = Annotated[bool, typer.Option("--strict", help="Exit 1 when a design check fails.")]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Set a key of the site file for this once, as in runs.spacing=1.5. Any number of times.",
    ),
]


def hold(checks: Iterable[Check], *, strict: bool) -> None:
    """End with exit code 1, where it is asked for, when a design check fails."""
    if strict and not all(check.ok for check in checks):
        raise typer.Exit(1)


@dataclass(slots=True)
class Flags:
    """What was asked of the program as a whole."""

    traceback: bool = False
