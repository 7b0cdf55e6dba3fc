"""What carries water to the field: manifolds, risers, lines and all their fittings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from shapely import LineString, Point

from layout.model.base import XY, need
from layout.plane import TOLERANCE

PipeKind = Literal["supply", "return"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pipe:
    """A manifold, or a line between pump and manifold.

    Attributes
    ----------
    kind : "supply" or "return"
    line : LineString
        A supply from the pump on, a return towards the pump [m].
    diameter : float
        Nominal [m].
    zone : int
        The zone it serves, from 1; 0 for a piece of a trunk, which serves several.
    """

    kind: PipeKind
    line: LineString
    diameter: float
    zone: int = 1

    def named(self, what: str, *, several: bool) -> str:
        """What it is called, with its zone where there are several: ``Z2 supply line``, ``return trunk``."""
        if not self.zone:
            return f"{self.kind} trunk"
        return f"{f'Z{self.zone} ' if several else ''}{self.kind} {what}"

    @property
    def far(self) -> XY:
        """The end of a line away from the pump [m]."""
        x, y = self.line.coords[-1 if self.kind == "supply" else 0][:2]
        return (x, y)

    @property
    def near(self) -> XY:
        """The end of a line towards the pump [m]."""
        x, y = self.line.coords[0 if self.kind == "supply" else -1][:2]
        return (x, y)

    @property
    def feed(self) -> XY:
        """Where the line of a manifold meets it [m]."""
        x, y = self.line.coords[0 if self.kind == "supply" else -1][:2]
        return (x, y)


@dataclass(frozen=True, slots=True, kw_only=True)
class Riser:
    """The short pipe from a manifold to a run end.

    Attributes
    ----------
    kind : "supply" or "return"
    lateral : str
    line : LineString
        From the manifold to the end of the tubing [m]; it falls the other way, so that the tubing drains into
        the manifold.
    zone : int
        From 1.
    manifold : int or None
        The number of its manifold in :class:`Plumbing`, from 0; None where its place alone tells.
    back : bool
        Whether it leads back through the bed, from an end of a lateral at another edge of it.
    """

    kind: PipeKind
    lateral: str
    line: LineString
    zone: int = 1
    manifold: int | None = None
    back: bool = False

    @property
    def lead(self) -> bool:
        """Whether it goes on through the bed, beyond the end of the run beside its manifold."""
        return len(self.line.coords) > 2


FittingKind = Literal[
    "elbow 90",
    "elbow 45",
    "elbow 22.5",
    "elbow",
    "tee",
    "trunk tee",
    "riser",
    "cap",
    "loop",
    "coupling",
    "connector",
    "zone valve",
    "air valve",
    "flush valve",
]
"""What a piece of plumbing with a place of its own is. ``elbow`` alone is one of no stated angle, a ``connector``
leads from a riser to the end of the tubing, a ``trunk tee`` from a trunk to a line; a ``flush valve`` stands on
a return line, shut while dosing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting:
    """One piece of the plumbing that has a place: what takeoff, drawings and stake-out count alike.

    Attributes
    ----------
    kind : FittingKind
    at : (x, y)
        [m]; pieces that make up one bend together share its corner.
    on : "supply", "return" or "tubing"
        The pipe it sits on; on tubing are loops and what joins tubing to tubing.
    zone : int
        From 1; 0 on a trunk, which serves several.
    size : float or None
        Nominal diameter of the pipe it sits on [m]; None for tubing.
    of : str
        What it belongs to, where it belongs to a lateral or a pipe: ``L3``; empty elsewhere.
    """

    kind: FittingKind
    at: XY
    on: PipeKind | Literal["tubing"]
    zone: int = 1
    size: float | None = None
    of: str = ""

    def __post_init__(self) -> None:
        need(self.zone >= 0, "zones count from 1, and 0 is what they share")
        need(self.size is None or self.size > 0, "a pipe has a diameter")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trench:
    """A trench for pipe: one for all that run side by side.

    Attributes
    ----------
    line : LineString
        Along one of its pipes [m].
    pipes : int
        How many lie in it, at most.
    zone : int
        The zone whose manifolds lie in it, from 1; 0 for lines, whose trenches zones share.
    """

    line: LineString
    pipes: int
    zone: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class NoWay:
    """A line that cannot be laid, and what closes every way from the pump to its manifold.

    Attributes
    ----------
    kind : "supply" or "return"
    zone : int
        From 1.
    at : (x, y)
        Where it would meet its manifold [m].
    closed_by : tuple of (str, (x, y))
        Features, or ``the bed``, each with a place where it stands in the way [m].
    alone : bool
        Whether the way would be open without any one of them; else only without all of them.
    """

    kind: PipeKind
    zone: int
    at: XY
    closed_by: tuple[tuple[str, XY], ...]
    alone: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Plumbing:
    """Manifolds, risers, and the lines to the pump.

    Attributes
    ----------
    manifolds : tuple of Pipe
    risers : tuple of Riser
    lines : tuple of Pipe
        One to each manifold, whole from the pump; or, along a trunk, in pieces from tee to tee. Empty where the pump's
        place is not known.
    crossings : tuple of (str, (x, y))
        Features whose own shape a manifold, riser or line crosses, and where [m].
    fittings : tuple of Fitting
        Of manifolds, risers, loops and lines, in a stated order: by zone, supply before return.
    trenches : tuple of Trench
        Of manifolds and lines.
    unreached : tuple of NoWay
        Manifolds that no line can lead to.
    """

    manifolds: tuple[Pipe, ...]
    risers: tuple[Riser, ...]
    lines: tuple[Pipe, ...]
    crossings: tuple[tuple[str, XY], ...] = ()
    fittings: tuple[Fitting, ...] = ()
    trenches: tuple[Trench, ...] = ()
    unreached: tuple[NoWay, ...] = ()

    @property
    def fed(self) -> frozenset[str]:
        """Names of the laterals that are fed, with all their runs.

        A lateral is fed when its supply end has a riser on a manifold that a line reaches; where the pump's place is
        not known there are no lines, and the manifold alone counts.
        """
        lost = {(item.kind, item.zone, item.at) for item in self.unreached}
        reached = [pipe for pipe in self.manifolds if (pipe.kind, pipe.zone, pipe.feed) not in lost]
        return frozenset(
            riser.lateral
            for riser in self.risers
            if riser.kind == "supply" and any(pipe is self.under(riser) for pipe in reached)
        )

    def way_to(self, manifold: Pipe) -> tuple[Pipe, ...]:
        """The pieces of line between pump and manifold, from the pump on; none where it has none."""
        own = [line for line in self.lines if line.kind == manifold.kind and line.zone in {0, manifold.zone}]
        way: list[Pipe] = []
        at = manifold.feed
        while piece := next((line for line in own if math.dist(line.far, at) < TOLERANCE), None):
            own = [line for line in own if line is not piece]
            way.append(piece)
            at = piece.near
        return tuple(reversed(way))

    def shares(self, kind: PipeKind) -> bool:
        """Whether any piece of line leads to several manifolds of a kind, as that of a trunk does."""
        used = [id(piece) for pipe in self.manifolds if pipe.kind == kind for piece in self.way_to(pipe)]
        return len(set(used)) < len(used)

    def flushed_at(self, manifold: Pipe) -> bool:
        """Whether the flush valve of a return manifold stands where it meets its line, not by the pump."""
        return manifold.kind == "return" and any(
            (item.kind, item.of, item.zone) == ("flush valve", "manifold", manifold.zone)
            and math.dist(item.at, manifold.feed) < TOLERANCE
            for item in self.fittings
        )

    def under(self, riser: Riser) -> Pipe | None:
        """The manifold that a riser stands on."""
        if riser.manifold is not None:
            return self.manifolds[riser.manifold]
        foot = Point(riser.line.coords[0])
        own = [pipe for pipe in self.manifolds if (pipe.kind, pipe.zone) == (riser.kind, riser.zone)]
        return next((pipe for pipe in own if pipe.line.distance(foot) < TOLERANCE), None)
