"""The field, as it is laid out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shapely import LineString, MultiPolygon, Polygon

from layout.model.base import XY, need
from layout.model.rules import Pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """How much of the ground inside the clearance one feature takes.

    Attributes
    ----------
    feature : str
    area : float
        [m²]; ground taken by two features is counted for each.
    """

    feature: str
    area: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UsableGround:
    """Where tubing may lie.

    Attributes
    ----------
    area : Polygon or MultiPolygon
        The outline less clearance, setbacks and holes [m].
    kept_clear : MultiPolygon
        The union of all setback zones, not clipped to the bed [m]; may be empty.
    takes : tuple of Take
        In the order of the site's features.
    """

    area: Polygon | MultiPolygon
    kept_clear: MultiPolygon
    takes: tuple[Take, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sides:
    """A bed's two long sides and two ends; left and right as seen from the manifold end.

    Attributes
    ----------
    left, right : LineString
        The long sides, both from the manifold end to the far end [m].
    near, far : LineString
        The manifold end and the far end, both from left to right [m].
    centre : LineString
        The centre line from the manifold end to the far end [m].
    certain : bool
        False where the bed has no clear long direction and the sides are a convention.
    """

    left: LineString
    right: LineString
    near: LineString
    far: LineString
    centre: LineString
    certain: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Lobe:
    """One of the parts of a bed that necks join.

    Attributes
    ----------
    outline : Polygon
        Its part of the bed, up to the middle of each of its necks [m].
    ground : Polygon
        The same without the necks [m].
    neck : LineString or None
        Straight across the narrowest place of the neck that leads to it, from left to right as seen from the
        manifold end [m]; None for the lobe at the manifold end.
    before : int
        Number of the lobe at the other end of that neck; -1 for the lobe at the manifold end, which is number 0.
    """

    outline: Polygon
    ground: Polygon
    neck: LineString | None = None
    before: int = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One continuous length of emitting tubing.

    Attributes
    ----------
    name : str
        ``R1``, ``R2`` … from left to right, seen from the manifold end.
    line : LineString
        From the manifold end on [m].
    row : int
        Its place across the bed; pieces of one interrupted run share a row.
    from_end : bool
        Whether a riser at the manifold end of the bed could feed it: it starts there, or blank tubing carries on to it
        from a run that does. Whether it is fed in the finished layout, :attr:`Plumbing.fed` says.
    lobe : int
        Number of the lobe that it begins in; 0 in a bed without necks.
    """

    name: str
    line: LineString
    row: int
    from_end: bool = True
    lobe: int = 0

    @property
    def length(self) -> float:
        """Length of the line [m]."""
        return float(self.line.length)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """A piece of tubing that was not laid, and why.

    Attributes
    ----------
    line : LineString
        [m].
    row : int
    why : str
        As a phrase: ``shorter than runs.shortest``.
    """

    line: LineString
    row: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Laying:
    """The runs of one pattern on one bed.

    Attributes
    ----------
    pattern : Pattern
        Never ``best``.
    runs : tuple of Run
        By row from left to right, and along the row from the manifold end.
    dropped : tuple of Dropped
    carries : tuple of Join
        Blank tubing that carries a line past an obstacle, or through a neck, from one run to the next.
    lobes : tuple of Lobe
        By number; empty for a bed without necks.
    windings : tuple of tuple of str
        Runs beyond necks or obstacles that loops have to tie end to end for water to reach them, each in the order of
        flow: the first is fed and walked away from the manifold end, the next one back, and so on by turns; but where
        two of one row follow each other, on the two sides of an obstacle, both are walked the same way. Of a line
        that blank tubing carries on, its first run is named.
    """

    pattern: Pattern
    runs: tuple[Run, ...]
    dropped: tuple[Dropped, ...] = ()
    carries: tuple[Join, ...] = ()
    lobes: tuple[Lobe, ...] = ()
    windings: tuple[tuple[str, ...], ...] = ()

    @property
    def reached(self) -> frozenset[str]:
        """Names of the runs that water reaches from the manifold end, on their own or wound to one that is fed."""
        onward = {join.start: join.end for join in self.carries}
        found = {run.name for run in self.runs if run.from_end}
        for winding in self.windings:
            found |= set(winding)
        for name in tuple(found):
            step = onward.get(name)
            while step is not None:
                found.add(step)
                step = onward.get(step)
        return frozenset(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """Blank tubing between two runs.

    Attributes
    ----------
    kind : "loop" or "blank"
        A loop at the ends of neighbouring runs; blank tubing past an obstacle or through a neck.
    start, end : str
        Names of the runs it leaves and enters.
    line : LineString
        In the direction of flow from the supply [m].
    """

    kind: Literal["loop", "blank"]
    start: str
    end: str
    line: LineString


@dataclass(frozen=True, slots=True, kw_only=True)
class Lateral:
    """Runs joined end to end, fed at one place.

    Attributes
    ----------
    name : str
        ``L1``, ``L2`` … from left to right.
    runs : tuple of str
        In the order the water takes.
    length : float
        Of emitting tubing [m].
    blank : float
        Of loops and blank tubing [m].
    supply, drain : (x, y)
        The ends that go to the supply and to the return manifold [m].
    returns_near : bool
        True where both ends stand at the manifold end of the bed.
    zone : int
        From 1.
    led_back : bool
        Whether a lead is to bring its return from another edge of the bed to the manifold end, where one can be laid.
    shut : tuple of ("supply" or "return", (x, y))
        Its ends that no line reaches, and where it would have to meet their manifold [m]: a lead is to bring them
        elsewhere, where one can be laid.
    lead : float
        Of the leads, blank tubing from its ends to its manifolds [m]; known once it is piped.
    """

    name: str
    runs: tuple[str, ...]
    length: float
    blank: float
    supply: XY
    drain: XY
    returns_near: bool
    zone: int = 1
    led_back: bool = False
    shut: tuple[tuple[Literal["supply", "return"], XY], ...] = ()
    lead: float = 0.0

    @property
    def whole(self) -> float:
        """All its tubing, with loops, blank tubing and leads [m]."""
        return self.length + self.blank + self.lead


def begun_at_end(runs: Sequence[Run], laterals: Sequence[Lateral]) -> tuple[Lateral, ...]:
    """The laterals that begin at the manifold end: the supply of the others is elsewhere about the bed, or in it."""
    named = {run.name: run for run in runs}
    return tuple(
        lateral
        for lateral in laterals
        for first in [named[lateral.runs[0]]]
        if first.from_end and first.line.coords[0][:2] == lateral.supply
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class EmitterRow:
    """The emitters of one run.

    Attributes
    ----------
    run : str
    points : tuple of (x, y)
        From the manifold end, the first half an emitter spacing in [m].
    flow : float
        Of all of them together [m³/s].
    """

    run: str
    points: tuple[XY, ...]
    flow: float

    @property
    def count(self) -> int:
        """Number of emitters."""
        return len(self.points)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """The ground that each emitter doses, in the order of the emitters.

    Attributes
    ----------
    shapes : tuple of Polygon or MultiPolygon
        [m]; a multipolygon may be empty.
    areas : tuple of float
        [m²].
    flows : tuple of float
        Of each emitter [m³/s].
    inner : tuple of bool
        Whether the emitter stands farther than one run spacing from the edge of the bed.
    """

    shapes: tuple[Polygon | MultiPolygon, ...]
    areas: tuple[float, ...]
    flows: tuple[float, ...]
    inner: tuple[bool, ...]

    def __post_init__(self) -> None:
        counts = {len(self.shapes), len(self.areas), len(self.flows), len(self.inner)}
        need(len(counts) == 1, "a cell has a shape, an area and a flow")
