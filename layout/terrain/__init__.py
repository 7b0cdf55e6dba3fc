"""The ground: `surface` lies between the surveyed levels, `levelline` follows it, `slopes` are those along runs."""

from layout.terrain.levelline import LevelLine, level_line, opened
from layout.terrain.slopes import slopes_along
from layout.terrain.surface import heights, surveyed_share

__all__ = ["LevelLine", "heights", "level_line", "opened", "slopes_along", "surveyed_share"]
