"""What one plan holds: larger beds, finer outlines and stakings are refused before time and memory are spent on them.

The limits are of this tool: within them a plan is to take two minutes of processor time and 2 GiB at most;
``tests/bench/largest.py`` tells where that is not kept.
"""

from __future__ import annotations

import math

import shapely

from layout.errors import Fault, NoRoomError
from layout.model import Pattern, Site
from layout.plane import polygons_of, union

MOST_VERTICES = 2000
"""Corners of the bed's outline; one walked with a rover has a few hundred."""
MOST_SMOOTHED = 4000
"""The same of an outline that was smoothed, which costs less a corner."""
MOST_FEATURE_VERTICES = 10_000
"""Corners of all features together."""
MOST_IN_THE_WAY = 100
"""Setback zones that reach into the bed, those that meet counted as one, where one pattern is laid: rows are led past
each in the way that costs least, and lines to what is cut off by them."""
MOST_IN_THE_WAY_OF_ALL = 60
"""The same where all patterns are tried."""
MOST_ROWS = 1000
"""Rows across the bed where one pattern is laid."""
MOST_ROWS_OF_ALL = 350
"""The same where all patterns are tried: ten acres (4 ha) as a square, at 2 ft."""
MOST_TUBING = 100_000.0
"""Tubing [m]: about 15 acres (6 ha) at 2 ft."""
MOST_EMITTERS = 200_000
MOST_STAKES = 40_000


def refuse_too_large(site: Site, *, all_patterns: bool = False) -> None:
    """Refuse a site that is more than one plan holds.

    Parameters
    ----------
    site : Site
    all_patterns : bool
        Whether all patterns are to be laid, whichever the site names.

    Raises
    ------
    NoRoomError
        With a fault for each limit, each with its remedy.
    """
    faults = [*_of_shapes(site), *_of_sums(site)]
    if not faults:
        of_all = all_patterns or site.runs.pattern is Pattern.BEST
        faults = [*_across(site, all_patterns=of_all), *_in_the_way(site, all_patterns=of_all)]
    if faults:
        raise NoRoomError(*faults)


def _of_shapes(site: Site) -> list[Fault]:
    """Outlines of more corners than a survey has."""
    faults = []
    corners = int(shapely.get_num_coordinates(site.bed.outline)) - 1  # the last is the first
    most_corners = MOST_VERTICES if site.bed.walked is None else MOST_SMOOTHED
    if corners > most_corners:
        said = f"the outline has {corners:,} corners; a plan takes {most_corners:,} at most"
        remedy = "Set bed.smooth to how far the outline may move, or leave out points that tell nothing."
        faults.append(Fault(file=str(site.file), field="bed.outline", said=said, remedy=remedy))
    counts = [(int(shapely.get_num_coordinates(item.shape)), item.name) for item in site.features]
    total = sum(count for count, _ in counts)
    if total > MOST_FEATURE_VERTICES:
        most, name = max(counts)
        said = (
            f"features have {total:,} corners together, {name} alone {most:,}; a plan takes "
            f"{MOST_FEATURE_VERTICES:,} at most"
        )
        remedy = "Leave out features that are far from the bed, and points that tell nothing."
        faults.append(Fault(file=str(site.file), field="feature", said=said, remedy=remedy))
    return faults


def _fewer(site: Site) -> str:
    """How to have one pattern laid instead of all."""
    if site.runs.pattern is Pattern.BEST:
        return "Choose one pattern with runs.pattern"
    return "Plan it with the pattern chosen, instead of comparing all"


def _across(site: Site, *, all_patterns: bool) -> list[Fault]:
    """More rows, along the bed's smallest rectangle, than are laid within the time of one plan."""
    ring = shapely.get_coordinates(shapely.minimum_rotated_rectangle(site.bed.outline).boundary)
    short = min(math.dist(ring[0], ring[1]), math.dist(ring[1], ring[2]))
    rows = short / site.runs.spacing
    most = MOST_ROWS_OF_ALL if all_patterns else MOST_ROWS
    if rows <= most:
        return []
    laid = "where all patterns are tried" if all_patterns else "of one pattern"
    said = f"asks for about {rows:,.0f} rows across the bed; a plan {laid} lays {most:,} at most"
    rest = "plan a larger field as several beds."
    one = f"{_fewer(site)}, for which {MOST_ROWS:,} are allowed; or {rest}"
    remedy = f"Check it, and the units. {one if all_patterns else rest[0].upper() + rest[1:]}"
    return [Fault(file=str(site.file), field="runs.spacing", said=said, remedy=remedy)]


def _in_the_way(site: Site, *, all_patterns: bool) -> list[Fault]:
    """More setback zones in the bed than rows are led past within the time of one plan."""
    near = [item for item in site.features if item.shape.dwithin(site.bed.outline, item.setback)]
    most = MOST_IN_THE_WAY_OF_ALL if all_patterns else MOST_IN_THE_WAY
    if len(near) <= most:
        return []
    count = len(polygons_of(union(item.shape.buffer(item.setback, quad_segs=4) for item in near)))
    if count <= most:
        return []
    laid = "where all patterns are tried" if all_patterns else "of one pattern"
    said = (
        f"setbacks reach into the bed at {count:,} places; a plan {laid} leads its rows past {most:,} at most"
    )
    several = "plan the bed as several, or state what stands close together as one feature"
    one = f"{_fewer(site)}, for which {MOST_IN_THE_WAY} are allowed; or {several}."
    remedy = one if all_patterns else f"{several[0].upper()}{several[1:]}."
    return [Fault(file=str(site.file), field="feature", said=said, remedy=remedy)]


def _of_sums(site: Site) -> list[Fault]:
    """More tubing, emitters or stakes than one plan holds, were the whole bed usable."""
    units, area = site.frame.units, site.bed.outline.area
    tubing = area / site.runs.spacing
    emitters, stakes = tubing / site.tubing.emitter_spacing, tubing / site.stakeout.interval
    asked = (
        (
            "runs.spacing",
            "tubing",
            tubing / units.length,
            MOST_TUBING / units.length,
            f" {units.length_name}",
        ),
        ("tubing.emitter_spacing", "emitters", emitters, MOST_EMITTERS, ""),
        ("stakeout.interval", "stakes", stakes, MOST_STAKES, ""),
    )
    return [
        Fault(
            file=str(site.file),
            field=key,
            said=(
                f"asks for about {value:,.0f}{unit}{' of' if unit else ''} {what} on {area / units.area:,.0f} "
                f"{units.area_name} of bed; a plan takes {most:,.0f} at most"
            ),
            remedy="Check it, and the units; plan a larger field as several beds.",
        )
        for key, what, value, most, unit in asked
        if value > most
    ]
