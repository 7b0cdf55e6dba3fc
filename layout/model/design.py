"""The finished design: what was compared, measured, checked and counted."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from layout.model.base import XY
from layout.model.cut import CutList
from layout.model.field import Cells, EmitterRow, Join, Lateral, Laying, Sides, UsableGround
from layout.model.plumbing import Plumbing
from layout.model.rules import Follows, Pattern
from layout.model.site import Site
from layout.model.staked import Staking
from layout.model.water import Hydraulics
from layout.model.zoned import Zone, ZoneLevels


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How well the runs cover the usable ground.

    Attributes
    ----------
    covered : float
        Share of usable ground within half a spacing of tubing, 0 to 1.
    dry : float
        Distance of the farthest usable point from any tubing [m].
    dry_at : (x, y)
        That point [m].
    gap_least, gap_greatest : float or None
        Least and greatest distance from a point of a run to the next run beside it [m]; None with one run.
    gap_p5, gap_p95 : float or None
        5th and 95th percentile of the same [m].
    bend_least : float or None
        Radius of the tightest bend [m]; None where all runs are straight.
    bend_at : (x, y) or None
        Where it is [m].
    clearance_least : float
        Least distance from tubing to the bed's outline [m].
    """

    covered: float
    dry: float
    dry_at: XY
    gap_least: float | None
    gap_greatest: float | None
    gap_p5: float | None
    gap_p95: float | None
    bend_least: float | None
    bend_at: XY | None
    clearance_least: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One pattern that was tried.

    Attributes
    ----------
    pattern : Pattern
    follows : "outline", "usable ground", "rectangle" or "lobes"
        Whose long sides it follows: the outline's, those of what setbacks leave of it, the straight ones of the
        smallest rectangle round it, or in each lobe of a bed with necks the lobe's own.
    tubing : float
        Total length of runs [m].
    runs : int
    dropped : int
        Pieces left out.
    fed_at_end : float
        Share of tubing in laterals that begin at the manifold end, 0 to 1; the others want manifolds elsewhere.
    coverage : Coverage
    score : float
        The less the better; see :func:`layout.coverage.score`.
    first : float or None
        From the side it follows to its first run [m]; None at the clearance, and for patterns that follow no side.
    uneven : float
        Coefficient of variation of the lengths of the laterals that begin at the manifold end.
    fed : float or None
        Share of its tubing that is fed, once it is piped; None where it was not piped to choose.
    unreached : int or None
        Manifolds that no line can lead to, as piped; None likewise.
    passed : bool
        Whether it ranks before the one that is laid, but leaves more out once it is piped.
    """

    pattern: Pattern
    follows: Follows = "outline"
    tubing: float
    runs: int
    dropped: int
    fed_at_end: float
    coverage: Coverage
    score: float
    first: float | None = None
    uneven: float = 0.0
    fed: float | None = None
    unreached: int | None = None
    passed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A pattern as it was laid, with the figures it is ranked by.

    Attributes
    ----------
    candidate : Candidate
    laying : Laying
    sides : Sides
        Those it followed.
    planned : bool
        Among trials that are compared: whether a plan of the site file as it stands lays this one.
    extra : bool
        Laid for comparison alone: a plan looks no further where the bed's own sides do well.
    """

    candidate: Candidate
    laying: Laying
    sides: Sides
    planned: bool = False
    extra: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EndTrial:
    """What it takes to have the manifolds at one end of the bed.

    Attributes
    ----------
    end : "pump" or "far"
        The end nearer the pump (without one, nearer the first point of the outline), or the other one.
    at : (x, y)
        Its middle [m].
    pattern : Pattern
        As seen from that end.
    manifolds, lines : float
        Length of manifolds, and of the lines to the pump [m].
    leads : float
        Length of blank tubing that leads to the manifolds from ends of laterals amid the bed or across it [m].
    laterals : int
    longest : float
        Length of the longest of them, with loops and leads [m].
    unreached : int
        Manifolds that no line can lead to.
    asked : bool
        Whether it is the end that the site asks for.
    refused : str
        Why no field can be piped from there; the figures are 0 then.
    """

    end: Literal["pump", "far"]
    at: XY
    pattern: Pattern
    manifolds: float
    lines: float
    leads: float
    laterals: int
    longest: float = 0.0
    unreached: int = 0
    asked: bool = False
    refused: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSlope:
    """How steeply the ground rises or falls along one run.

    Attributes
    ----------
    run : str
    greatest : float or None
        Greatest slope over one row spacing of its length; None where the ground under it was not surveyed.
    at : (x, y) or None
        Where that is [m].
    """

    run: str
    greatest: float | None
    at: XY | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """The whole field in a few figures.

    Attributes
    ----------
    tubing : float
        Of all runs [m].
    blank : float
        Of loops and blank tubing [m].
    emitters : int
    flow : float
        Of all emitters [m³/s].
    cell_mean : float or None
        Mean ground of an inner emitter [m²]; None where no cells were made.
    cell_cv : float or None
        Coefficient of variation of the same; see :func:`layout.cells.evenness`.
    fed : float
        Share of tubing in laterals that are fed, 0 to 1; see :attr:`layout.model.Plumbing.fed`.
    """

    tubing: float
    blank: float
    emitters: int
    flow: float
    cell_mean: float | None = None
    cell_cv: float | None = None
    fed: float = 1.0


Unit = Literal["length", "area", "count", "ratio", "factor", "flow", "loading", "pressure", "velocity"]
"""A ratio is printed in per cent, a factor as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A design check that can pass or fail.

    Attributes
    ----------
    name : str
        As a reviewer would write it: ``least gap between runs``.
    value, limit : float
        SI; an infinite limit where none is stated and the figure is for information.
    unit : Unit
        What kind of figure they are, so that sheets can print them in the site's units.
    sense : "least" or "most"
        Whether the limit is the least or the most the value may be.
    ok : bool
    source : str
        Where the limit comes from: a key of the site file, or a published source.
    place : str
        Where it fails, in words, with site coordinates where it has them; empty when it does not.
    """

    name: str
    value: float
    limit: float
    unit: Unit
    sense: Literal["least", "most"]
    ok: bool
    source: str
    place: str = ""

    @classmethod
    def against(
        cls,
        name: str,
        value: float,
        sense: Literal["least", "most"],
        limit: float,
        *,
        unit: Unit,
        source: str,
        place: str,
        slack: float,
    ) -> Check:
        """Hold a value [SI] against its limit, less a slack for rounding; the place is kept only where it fails."""
        ok = value >= limit - slack if sense == "least" else value <= limit + slack
        return cls(
            name=name,
            value=float(value),
            limit=float(limit),
            unit=unit,
            sense=sense,
            ok=bool(ok),
            source=source,
            place="" if ok else place,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something to look at, though the plan stands.

    Attributes
    ----------
    code : str
        Short and stable: ``dropped-piece``.
    said : str
        What, with its place, in the site's units.
    remedy : str
    """

    code: str
    said: str
    remedy: str = ""

    @property
    def words(self) -> str:
        """What is said, and then the remedy, each as a sentence."""
        end = "" if self.said.endswith(("?", "!", ".")) else "."
        return f"{self.said}{end} {self.remedy}".rstrip()


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One line of the takeoff, in SI for lengths, areas, volumes and flows and in pieces for counts.

    Attributes
    ----------
    item : str
        Stable key: ``emitting tubing``.
    description : str
    unit : "length", "area", "volume", "flow" or "each"
    net : float
        As laid out: [m], [m²], [m³], [m³/s] or pieces.
    waste : float
        Share added, 0.05 for 5 %.
    pack : float
        How it is sold: [m] a coil or pipe length, pieces a box; 0 for by the unit.
    by_zone : tuple of float
        Net by zone, which add up to the whole; empty for what zones share.
    sold : str
        What a pack is called: ``coil``; empty where it has no name.
    least : int
        Fewest packs that serve, whatever the sum: coils of the cut list.
    bought : bool
        False for what is there for checking only.
    size : float or None
        Nominal diameter of the pipe that it is of or sits on [m]; None where it has no size of pipe.
    """

    item: str
    description: str
    unit: Literal["length", "area", "volume", "flow", "each"]
    net: float
    waste: float = 0.0
    pack: float = 0.0
    by_zone: tuple[float, ...] = ()
    sold: str = ""
    least: int = 0
    bought: bool = True
    size: float | None = None

    @property
    def packs(self) -> int:
        """Whole packs, or pieces, to order; 0 where it is bought by the unit, or not at all."""
        pack = self.pack or (1.0 if self.unit == "each" else 0.0)
        if not pack or not self.bought:
            return 0
        return max(self.least, math.ceil(self.net * (1.0 + self.waste) / pack - 1e-9))

    @property
    def order(self) -> float:
        """What to order, in the unit: net with waste, rounded up to whole packs (pieces to whole ones)."""
        if not self.bought:
            return 0.0
        pack = self.pack or (1.0 if self.unit == "each" else 0.0)
        return self.packs * pack if pack else self.net * (1.0 + self.waste)


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """The finished field: all that the sheets print."""

    site: Site
    ground: UsableGround
    sides: Sides
    laying: Laying
    candidates: tuple[Candidate, ...]
    laterals: tuple[Lateral, ...]
    joins: tuple[Join, ...]
    plumbing: Plumbing
    emitters: tuple[EmitterRow, ...]
    coverage: Coverage
    totals: Totals
    checks: tuple[Check, ...]
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...] = field(default=())
    cells: Cells | None = None
    """None where no cells were made."""
    slopes: tuple[RunSlope, ...] = field(default=())
    """Of the runs, in their order; empty where levels are not surveyed."""
    zones: tuple[Zone, ...] = field(default=())
    zone_levels: tuple[ZoneLevels, ...] = field(default=())
    """By zone, in their order."""
    staking: Staking | None = None
    """None where nothing was staked."""
    cuts: CutList | None = None
    """The runs cut from coils; None where that was not worked out."""
    hydraulics: Hydraulics | None = None
    """None where flows and pressures could not be worked out; a finding says why."""
