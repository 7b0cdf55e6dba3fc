"""Six runs of 100 ft with 300 emitters of 0.61 gal/h, planned whole with levels, pumps and demands to choose."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TypedDict, Unpack

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


class Stated(TypedDict, total=False):
    """What may be stated otherwise; what is left out is level ground 5 ft over the liquid, and no pump's curve."""

    levels: str
    level: float
    curve: str
    given: str
    """Of ``[design]``."""
    design: str
    """What comes after that."""
    zones: str


def site_text(*, drop: str = "", **stated: Unpack[Stated]) -> str:
    """The site file; lines begun with `drop` are left out."""
    usual: Stated = {
        "levels": "levels = 0.0",
        "level": -5.0,
        "curve": "",
        "given": "flush_velocity = 2.0",
        "design": "",
        "zones": "",
    }
    text = _SITE.format(**{**usual, **stated})
    return "\n".join(line for line in text.splitlines() if not drop or not line.startswith(drop)) + "\n"


@cache
def planned(folder: Path, *, drop: str = "", **stated: Unpack[Stated]) -> Design:
    """A plan of :func:`site_text`, in a folder."""
    path = folder / "site.toml"
    path.write_text(site_text(drop=drop, **stated), encoding="utf-8")
    return plan_field(read_site(path))
