"""The set of sheets of a plan, each with what makes it, written whole or not at all."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from layout.model import Design
from layout.sheets.crew import write_stakeout
from layout.sheets.drafting import draft
from layout.sheets.geojson import is_on_earth, write_map
from layout.sheets.layoutjson import write_layout
from layout.sheets.pointfiles import write_gpx, write_landxml
from layout.sheets.stakeout import write_points
from layout.sheets.startup import write_startup
from layout.sheets.takeoff import write_takeoff
from layout.sheets.whole import write_set

STAKE_FILES = ("stakeout.xml", "stakeout.gpx")
"""Point files that are written on request."""
NOT_ALWAYS = (
    "stakeout.csv",
    "stakeout.pdf",
    *STAKE_FILES,
    "layout.geojson",
    "coverage.png",
    "pressure.pdf",
    "pressure.png",
    "pressure-flushing.png",
)
"""Sheets that a plan may be without: one that an earlier plan left would show another design."""
_NETWORK = re.compile(r"network-(?:Z\d+-)?(?:dosing|flushing)\.inp")
"""So are those of zones, however many there were."""


def write_plan(
    design: Design, folder: Path, *, coverage: bool = False, pressure: bool = False, network: bool = False
) -> list[Path]:
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
    pressure, network : bool
        Whether to write the pressure drawing, and the pipe networks as text, if flows and pressures are worked out.

    Returns
    -------
    list of Path
        What was written: ``plan.dxf``, ``plan.png``, ``plan.pdf``, ``takeoff.csv``, ``takeoff.xlsx``, ``layout.json``,
        ``startup.pdf``, ``stakeout.pdf`` and ``stakeout.csv`` where there are stakes, ``layout.geojson`` where the
        CRS is known; where asked for ``coverage.png``, ``pressure.pdf`` and ``.png`` and
        ``pressure-flushing.png``, ``network-*.inp``.

    Raises
    ------
    SheetError
        Naming the file and the remedy.
    """
    makers = plan_makers(design)
    if coverage and design.cells is not None:
        from layout.sheets.coveragemap import write_coverage

        makers.append(("coverage.png", lambda path: write_coverage(design, path)))
    if pressure:
        from layout.sheets.pressure import pressure_makers

        makers += pressure_makers(design)
    if network:
        from layout.sheets.inp import network_makers

        makers += network_makers(design)
    there = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    old = [name for name in there if _NETWORK.fullmatch(name)]
    return write_set(makers, folder, drop=(*NOT_ALWAYS, *old))


def plan_makers(design: Design) -> list[tuple[str, Callable[[Path], None]]]:
    """The files that every plan has, each with what makes it."""
    from layout.sheets.dxf import write_dxf
    from layout.sheets.plot import write_pdf, write_png

    drawing = draft(design)
    makers: list[tuple[str, Callable[[Path], None]]] = [
        ("plan.dxf", lambda path: write_dxf(drawing, path)),
        ("plan.png", lambda path: write_png(drawing, path)),
        ("plan.pdf", lambda path: write_pdf(drawing, path)),
        *takeoff_makers(design),
        ("layout.json", lambda path: write_layout(design, path)),
        ("startup.pdf", lambda path: write_startup(design, path)),
    ]
    makers += stakeout_makers(design)
    if is_on_earth(design.site):
        makers.append(("layout.geojson", lambda path: write_map(design, path)))
    return makers


def takeoff_makers(design: Design) -> list[tuple[str, Callable[[Path], None]]]:
    """The files of the takeoff, each with what makes it, for :func:`write_set`."""
    from layout.sheets.workbook import write_workbook

    return [
        ("takeoff.csv", lambda path: write_takeoff(design, path)),
        ("takeoff.xlsx", lambda path: write_workbook(design, path)),
    ]


def stakeout_makers(
    design: Design, *, landxml: bool = False, gpx: bool = False
) -> list[tuple[str, Callable[[Path], None]]]:
    """The files of the stake-out, each with what makes it, for :func:`write_set`; none without stakes."""
    staking = design.staking
    if staking is None:
        return []
    makers: list[tuple[str, Callable[[Path], None]]] = [
        ("stakeout.pdf", lambda path: write_stakeout(design, path)),
        ("stakeout.csv", lambda path: write_points(staking, design.site.frame, path)),
    ]
    if landxml:
        makers.append(("stakeout.xml", lambda path: write_landxml(design, path)))
    if gpx:
        makers.append(("stakeout.gpx", lambda path: write_gpx(design, path)))
    return makers
