"""The ground: `surface` lies between the surveyed levels, `levelline` follows it, `slopes` are those along runs."""

from layout.terrain.levelline import LevelLine, bearing_on, level_line
from layout.terrain.slopes import ground_findings, run_slopes, slope_checks, slopes_along
from layout.terrain.surface import heights, surveyed_share

__all__ = [
    "LevelLine",
    "bearing_on",
    "ground_findings",
    "heights",
    "level_line",
    "run_slopes",
    "slope_checks",
    "slopes_along",
    "surveyed_share",
]
