"""Six runs of 100 ft with 300 emitters of 0.61 gal/h, planned whole with levels, pumps and demands to choose."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from layout.model import Design
from layout.plan import plan_field
from layout.readers.sitefile import read_site

_SITE = """
title = "Six hundred feet"
units = "ft"
[bed]
outline = [[0, 0], [102, 0], [102, 12], [0, 12]]
{levels}
[tubing]
emitter_spacing = 2.0
emitter_flow = 0.61
inside_diameter = 0.55
pressure_range = [7.0, 60.0]
[runs]
spacing = 2.0
pattern = "left"
[laterals]
runs = 2
[pump]
at = [-20, 6]
level = {level}
{curve}
[design]
{given}
{design}
{zones}
"""


def site_text(
    *,
    levels: str = "levels = 0.0",
    level: float = -5.0,
    curve: str = "",
    given: str = "flush_velocity = 2.0",
    design: str = "",
    zones: str = "",
    drop: str = "",
) -> str:
    """The site file; `design` comes after what is `given` of ``[design]``, lines begun with `drop` are left out."""
    text = _SITE.format(levels=levels, level=level, curve=curve, given=given, design=design, zones=zones)
    return "\n".join(line for line in text.splitlines() if not drop or not line.startswith(drop)) + "\n"


@cache
def planned(
    folder: Path,
    *,
    levels: str = "levels = 0.0",
    level: float = -5.0,
    curve: str = "",
    given: str = "flush_velocity = 2.0",
    design: str = "",
    zones: str = "",
    drop: str = "",
) -> Design:
    """A plan of :func:`site_text`, in a folder."""
    path = folder / "site.toml"
    text = site_text(
        levels=levels, level=level, curve=curve, given=given, design=design, zones=zones, drop=drop
    )
    path.write_text(text, encoding="utf-8")
    return plan_field(read_site(path))
