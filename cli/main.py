"""The command ``sinuate``: its commands, and the one place where errors become messages and exit codes.

Exit 0: done. 1: the job cannot be done on this site, or a check failed under --strict. 2: wrong input.
"""

from __future__ import annotations

import signal
import sys
from typing import Annotated

import typer

from cli import asbuilt, check, compare, new, plan, stakeout, startup, takeoff
from cli.options import Flags

app = typer.Typer(
    name="sinuate",
    help="Lay out drip-dispersal runs in an irregular bed: from a site file to plan, takeoff and layout.",
    epilog="A plan is for review: local code and licensed practice decide.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # plain help: the rich one takes twice as long to start
    pretty_exceptions_enable=False,
)
app.command("new")(new.new)
app.command("check")(check.check)
app.command("plan")(plan.plan)
app.command("compare")(compare.compare)
app.command("stakeout")(stakeout.stakeout)
app.command("takeoff")(takeoff.takeoff)
app.command("startup")(startup.startup)
app.command("asbuilt")(asbuilt.asbuilt)


def _version(wanted: bool) -> None:
    if wanted:
        from layout import __version__

        typer.echo(f"sinuate {__version__}")
        raise typer.Exit


@app.callback()
def sinuate(
    context: typer.Context,
    traceback: Annotated[
        bool, typer.Option("--traceback", help="Show where in the program an unexpected error arose.")
    ] = False,
    version: Annotated[  # noqa: ARG001 (its callback does the work)
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Take what concerns all commands."""
    if isinstance(context.obj, Flags):
        context.obj.traceback = traceback


def run() -> None:
    """Run the command line: the entry point of the installed command."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # an ASCII terminal has no ² and no ·
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _stopped)  # so that what was begun is undone
    flags = Flags()
    try:
        app(prog_name="sinuate", obj=flags)
    except Exception as error:
        sys.exit(report(error, flags))


def _stopped(number: int, frame: object) -> None:  # noqa: ARG001 (as all handlers are called)
    """End as a program that was stopped from outside, by way of all that tidies up."""
    typer.echo("sinuate: stopped; files of earlier runs stand as they stood.", err=True)
    raise SystemExit(128 + number)


def report(error: Exception, flags: Flags) -> int:
    """Print an error on stderr, one line a fault, and choose the exit code."""
    from layout.errors import LayoutError, NoRoomError

    if isinstance(error, LayoutError):
        typer.echo(str(error), err=True)
        return 1 if isinstance(error, NoRoomError) else 2
    if flags.traceback:
        import traceback

        traceback.print_exception(error)
    name = type(error).__name__
    said = " ".join(str(error).split()) or "no message"
    typer.echo(
        f"sinuate: unexpected error ({name}: {said}). This is a fault of the program, not of your files: "
        "please report it, with what `sinuate --traceback ...` prints.",
        err=True,
    )
    return 2


if __name__ == "__main__":
    run()
