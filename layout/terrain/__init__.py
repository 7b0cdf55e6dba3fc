"""The ground: `surface` lies between the surveyed levels, `levelline` follows it.

`slopes` are those along runs, `zonelevels` tells of zones and their pipes.
"""

from layout.terrain.known import height_findings, known_heights
from layout.terrain.levelline import LevelLine, bearing_on, level_line
from layout.terrain.slopes import ground_findings, run_slopes, slope_checks, slopes_along
from layout.terrain.surface import heights, surface_of, surveyed_share
from layout.terrain.zonelevels import air_places, level_findings, pitch_checks, zone_levels

__all__ = [
    "LevelLine",
    "air_places",
    "bearing_on",
    "ground_findings",
    "height_findings",
    "heights",
    "known_heights",
    "level_findings",
    "level_line",
    "pitch_checks",
    "run_slopes",
    "slope_checks",
    "slopes_along",
    "surface_of",
    "surveyed_share",
    "zone_levels",
]
