"""What stands under the picture of a crew's sheet: key plan, the check to be measured, paint, cautions."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, STRtree

from layout.model import Design, Lateral, Stake
from layout.plane import union
from layout.sheets.crew.stretches import Stretch
from layout.sheets.grid import factors_of
from layout.sheets.stakeout import error_words, taped
from layout.stakes import SOLID, in_the_way, rounding_of

LONGEST_TAPE = 60.0
"""A check is no longer than this [m], where there is one over half as long: a tape of 200 ft."""
TAPE_TOLD = 2e-5
"""Grid and ground that differ by less are the same on a tape: 0.002 in 100."""
_LOOKS, _MOSTLY = 21, 0.8
"""Places along a lead where it is asked which runs lie beside it, and the share at which they must be the same."""

DIG = "CALL BEFORE YOU DIG. Have buried utilities located and marked before the first stake is driven."
LEVEL = (
    "Measure LEVEL, never along the slope: plumb down from the high end, in short lengths where it is steep."
)
PAINT = "White or pink paint only, never a utility's colour."
FROM_MAP = "Taken from a map: it may lie 2 m (6 ft) off. First find two known points on site, and check them."


@dataclass(frozen=True, slots=True)
class CheckLine:
    """A distance between two stakes of a sheet that tells whether they stand right.

    Attributes
    ----------
    first, second : Stake
    length : float
        Rounded for the tape [m].
    within : float
        What rounding can make of it at most [m].
    """

    first: Stake
    second: Stake
    length: float
    within: float


def check_line(design: Design, stakes: Sequence[Stake]) -> CheckLine | None:
    """The longest distance between stakes that a tape can be drawn along; None for fewer than two stakes."""
    staking = design.staking
    if staking is None or len(stakes) < 2:
        return None
    places = np.array([stake.at for stake in stakes])
    far = _farthest(places)
    solid = union(in_the_way(item) for item in design.site.features if item.kind in SOLID)
    pairs = sorted(itertools.combinations(far, 2), key=lambda pair: _reach(places, pair))
    for one, other in pairs:
        if solid.is_empty or not solid.intersects(LineString([places[one], places[other]])):
            a, b = stakes[min(one, other)], stakes[max(one, other)]
            length = staking.step * round(math.dist(a.at, b.at) / staking.step)
            return CheckLine(a, b, length, _error(a) + _error(b) + staking.step / 2)
    return None


def _error(stake: Stake) -> float:
    return max(stake.baseline.error, stake.swing.error if stake.swing is not None else 0.0)


def _farthest(places: np.ndarray) -> list[int]:
    """Numbers of some stakes that lie far out, and of some between."""
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(places)))
    tree = shapely.STRtree(np.asarray(shapely.points(places), dtype=object))
    out = [int(number) for number in tree.nearest(np.asarray(shapely.points(hull), dtype=object))]
    between = np.linspace(0, len(places) - 1, min(len(places), 8)).astype(int).tolist()
    return sorted({*out[:24], *between})


def _reach(places: np.ndarray, pair: tuple[int, int]) -> tuple[float, ...]:
    """The better a check is, the less: long, but no longer than a tape."""
    length = float(np.hypot(*(places[pair[0]] - places[pair[1]])))
    over = length if length > LONGEST_TAPE else 0.0
    return (round(over, 6), round(-length, 6))


def check_words(design: Design, check: CheckLine | None) -> tuple[str, str]:
    """The check in words: what to measure, and what it must be."""
    if check is None:
        return "", ""
    site = design.site
    rounding = rounding_of(site.stakeout, site.frame)
    must = taped(check.length, rounding, site.frame)
    unit = "" if rounding == "1/8 in" else f" {site.frame.units.length_name}"
    return (
        f"CHECK: measure from stake {check.first.number} to stake {check.second.number}. It must be",
        f"{must}{unit}",
    )


def check_remark(design: Design, check: CheckLine) -> str:
    """How far the check may be off, and what then."""
    error = error_words(check.within, design.site.frame)
    unit = design.site.frame.units.length_name
    return f"Rounding alone can make {error} {unit} of it. If it is off by more: find the mistake before you paint."


def paint_words(design: Design, stretch: Stretch) -> list[str]:
    """A note for each lateral of a sheet: its number to be painted, its runs, its colour."""
    touched: list[Lateral] = [
        lateral for lateral in design.laterals if any(run in stretch.runs for run in lateral.runs)
    ]
    order = {lateral.name: number for number, lateral in enumerate(design.laterals)}
    notes = []
    for lateral in touched:
        colour = "WHITE" if order[lateral.name] % 2 == 0 else "PINK"
        number = lateral.name.lstrip("L")
        runs = ", ".join(lateral.runs)
        zone = f" (zone {lateral.zone})" if len(design.zones) > 1 else ""
        notes.append(f"Lateral {lateral.name}{zone}: {colour}, number {number} at both ends of {runs}")
    return notes


def pipe_words(design: Design) -> str:
    """How supply and return are told apart, and between which runs leads lie."""
    said = ["Supply whole, return in dashes."]
    lines = [run.line for run in design.laying.runs]
    tree = STRtree(lines)
    unit = design.site.frame.units
    for riser in (riser for riser in design.plumbing.risers if riser.lead):
        stations = np.linspace(0.1, 0.9, _LOOKS)
        points = shapely.line_interpolate_point(riser.line, stations, normalized=True)
        near = [_two_nearest(point, lines, tree, 2 * design.site.runs.spacing) for point in points]
        pair = max(set(near), key=near.count)
        if len(pair) < 2 or near.count(pair) < _MOSTLY * len(near):
            said.append(f"Lead of {riser.lateral} {riser.kind}: between runs, as pictured.")
            continue
        first, second = sorted(pair)
        off = float(np.median(shapely.distance(points, lines[first])))
        said.append(
            f"Lead of {riser.lateral} {riser.kind}: between {design.laying.runs[first].name} and "
            f"{design.laying.runs[second].name}, {off / unit.length:.2f} {unit.length_name} from "
            f"{design.laying.runs[first].name}."
        )
    return " ".join(said)


def _two_nearest(point: Point, lines: Sequence[LineString], tree: STRtree, reach: float) -> frozenset[int]:
    """The numbers of the two lines nearest to a point, of those within reach [m]."""
    near = tree.query(point, predicate="dwithin", distance=reach)
    return frozenset(sorted(near.tolist(), key=lambda number: float(lines[number].distance(point)))[:2])


def square_words(design: Design, stakes: Sequence[Stake]) -> str:
    """What a square that is off does to the stake at the longest offset of a sheet; rounding leaves that out.

    Empty where that is less than the tape tells.
    """
    site = design.site
    far = max(stakes, key=lambda stake: abs(stake.baseline.offset))
    offset, rounding = abs(far.baseline.offset), rounding_of(site.stakeout, site.frame)
    unit = "" if rounding == "1/8 in" else f" {site.frame.units.length_name}"
    moved = offset * math.sin(math.radians(1.0))
    told = taped(moved, rounding, site.frame)
    if told == taped(0.0, rounding, site.frame):
        return ""
    return (
        f"The longest offset here is {taped(offset, rounding, site.frame)}{unit}, to stake {far.number}: a square "
        f"that is 1 degree off moves it by {told}{unit}, far more than rounding does."
    )


def bend_words(design: Design, stretch: Stretch) -> str:
    """Bends that are drawn by their radius, for their stakes stand too near to each other; empty without any."""
    if not stretch.bends:
        return ""
    unit = design.site.frame.units
    told = [
        f"{bend.run} from {bend.begins / unit.length:.2f} to {bend.ends / unit.length:.2f}, radius "
        f"{bend.radius / unit.length:.2f} {unit.length_name}"
        for bend in stretch.bends
        if math.isfinite(bend.radius)
    ]
    return f"Tight bends, all of their stakes in stakeout.csv: {'; '.join(told)}."


def ground_words(design: Design) -> str:
    """What a tape on the ground reads against these figures, where the plan is on a grid; empty where the same."""
    found = factors_of(design.site)
    if found is None:
        return ""
    unit = design.site.frame.units.length_name
    more = 1.0 / found.combined - 1.0
    if abs(more) < TAPE_TOLD:
        return f"Grid and ground are the same here on a tape (combined factor {found.combined:.6f})."
    way, sign = ("longer", "add") if more > 0 else ("shorter", "take off")
    height = "" if found.height is not None else ", height not known"
    return (
        f"These are GRID distances. On the ground the tape reads {way}: {sign} {abs(more) * 100:.3f} {unit} to every "
        f"100 {unit} (combined factor {found.combined:.6f}{height})."
    )


def is_from_map(design: Design) -> bool:
    """Whether the site was surveyed in longitude and latitude."""
    site = design.site
    return bool(site.frame.plane) or any("longitude and latitude" in note for note in site.notes)
