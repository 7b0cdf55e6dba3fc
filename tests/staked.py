"""Beds laid and staked, and their stakes as the crew has them on paper."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from shapely import Polygon

from layout.errors import NoRoomError
from layout.model import (
    XY,
    Frame,
    Laying,
    Pattern,
    Plumbing,
    Rounding,
    Run,
    Site,
    StakeRules,
    Staking,
)
from layout.sheets.stakeout import stake_entries, staking_entry
from layout.stakes import stake_out
from layout.units import FOOT, UNIT_SETS
from tests import beds
from tests.fields import curved_field
from tests.laid import Array, field

NO_PLUMBING = Plumbing(manifolds=(), risers=(), lines=())
Stakes = list[dict[str, Any]]


@dataclass(frozen=True, kw_only=True)
class Staked:
    """A bed with its stake-out."""

    site: Site
    laying: Laying
    staking: Staking

    @property
    def paper(self) -> Stakes:
        """What is printed of each stake, in site units."""
        return stake_entries(self.staking, self.site.frame)

    @property
    def shared(self) -> dict[str, Any]:
        """What is printed once for all of them."""
        return staking_entry(self.site, self.staking)

    def on(self, run: Run) -> Stakes:
        """The stakes on a run, from its manifold end on."""
        return sorted((stake for stake in self.paper if stake["run"] == run.name), key=_station)

    def placed(self, points: Any) -> Array:
        """Local points [m] in site units."""
        frame = self.site.frame
        return np.asarray(frame.origin) + np.asarray(points) / frame.units.length


def _station(stake: dict[str, Any]) -> float:
    return float(stake["station"])


def site_with(
    outline: Array,
    *,
    units: str = "ft",
    interval: float = 10.0,
    tolerance: float = 0.1,
    ties: tuple[XY, ...] = (),
    baseline: tuple[XY, XY] | None = None,
    rounding: Rounding | None = None,
    origin: XY = (5000.0, 2000.0),
) -> Site:
    """A site on an outline [m]; lengths, ties and baseline in site units, less the origin."""
    plain = curved_field().site
    unit = UNIT_SETS[units].length
    named = tuple((f"T{n}", (x * unit, y * unit)) for n, (x, y) in enumerate(ties, start=1))
    ends = None
    if baseline is not None:
        (x0, y0), (x1, y1) = baseline
        ends = ((x0 * unit, y0 * unit), (x1 * unit, y1 * unit))
    rules = StakeRules(
        interval=interval * unit,
        tolerance=tolerance * unit,
        ties=named,
        baseline=ends,
        rounding=rounding,
    )
    bed = replace(plain.bed, outline=Polygon(outline), levels=None)
    frame = Frame(units=UNIT_SETS[units], origin=origin)
    return replace(plain, frame=frame, bed=bed, features=(), stakeout=rules, pump=None)


def staked(site: Site, laying: Laying, plumbing: Plumbing = NO_PLUMBING) -> Staked:
    staking = stake_out(site, laying, plumbing, heights=lambda points: [None] * len(points))
    return Staked(site=site, laying=laying, staking=staking)


def one_run(line: Array, **rules: Any) -> Staked:
    """One run [m] in a bed that is of no interest."""
    from shapely import LineString

    outline = LineString(line).buffer(1.0)
    run = Run(name="R1", line=LineString(line), row=0)
    site = site_with(np.asarray(outline.exterior.coords), **rules)
    return staked(site, Laying(pattern=Pattern.LEFT, runs=(run,)))


def random_bed(kind: str, seed: int, **rules: Any) -> Staked | None:
    """A random bed of some family with its runs and up to six fixed points about it; None where none can be laid."""
    rng = np.random.default_rng(seed)
    outline = np.asarray(beds.RANDOM[kind](seed)) * FOOT
    laid = field(
        outline,
        spacing=2 * FOOT,
        clearance=FOOT,
        bend_radius=2 * FOOT,
        shortest=10 * FOOT,
        closest=1.6 * FOOT,
    )
    try:
        laying = laid.lay(rng.choice(["left", "centre", "even"]))
    except NoRoomError:
        return None
    if not laying.runs:
        return None
    unit = UNIT_SETS[rules.get("units", "ft")].length
    low, high = outline.min(axis=0) / unit, outline.max(axis=0) / unit
    reach = float(np.hypot(*(high - low)))
    count = int(rng.integers(2, 7))
    around = rng.uniform(low - 0.3 * reach, high + 0.3 * reach, (count, 2))
    ties = tuple((float(x), float(y)) for x, y in around)
    return staked(site_with(outline, ties=ties, **rules), laying)


def met(first: XY, one: float, second: XY, other: float, side: str) -> complex:
    """Where two tapes meet, by the law of cosines: the first tape's bearing, turned from the line to the second."""
    a, b = complex(*first), complex(*second)
    base = b - a
    angle = math.acos((abs(base) ** 2 + one**2 - other**2) / (2 * abs(base) * one))
    turn = angle if side == "left" else -angle
    return a + one * base / abs(base) * complex(math.cos(turn), math.sin(turn))


def by_ties(stake: dict[str, Any], *, mirrored: bool = False) -> complex:
    """Where the printed ties of a stake meet, or on the side that is not named."""
    one, other = stake["ties"]
    side = stake["side"]
    if mirrored:
        side = {"left": "right", "right": "left"}[side]
    return met(tuple(one["at"]), one["distance"], tuple(other["at"]), other["distance"], side)


def by_baseline(stake: dict[str, Any], baseline: dict[str, Any]) -> complex:
    """Where the printed station and offset of a stake lead."""
    start, end = complex(*baseline["from"]), complex(*baseline["to"])
    ahead = (end - start) / abs(end - start)
    return start + ahead * complex(stake["baseline"]["station"], -stake["baseline"]["offset"])
