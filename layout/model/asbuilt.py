"""The field as it was really laid: measured points, and what they say of each run beside the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shapely import LineString

from layout.model.base import XY, need
from layout.model.design import Check, Design, Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One measured point.

    Attributes
    ----------
    at : (x, y)
        [m].
    place : str
        Where it is written: ``line 12``.
    name : str
        Its number or name; empty where it has none.
    description : str
        What the survey says of it; may be empty.
    line : int
        The drawn line that it is a corner of, from 0; -1 for a point.
    """

    at: XY
    place: str
    name: str = ""
    description: str = ""
    line: int = -1


Verdict = Literal["as planned", "off", "partly measured", "not found"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetbackLaid:
    """How near a run was laid to a feature.

    Attributes
    ----------
    feature : str
    distance, setback : float
        [m].
    """

    feature: str
    distance: float
    setback: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidRun:
    """One run as laid; where nothing was measured between two points it is taken to bend as planned.

    Attributes
    ----------
    run : str
    planned : float
        Length in the plan [m].
    line : LineString or None
        As laid, from the manifold end [m]; None where fewer than two places on it were measured.
    shots : tuple of Shot
        On it, along it; one place measured twice is there twice.
    places : int
        Measured places on it.
    stations, offsets : tuple of float
        Of the places: along the planned run, and square to it, to the right over 0 [m].
    offset_greatest, offset_mean : float
        Of the absolute offsets, the mean over the length [m].
    greatest_at : (x, y) or None
        Where the greatest offset was measured [m].
    start_beyond, end_beyond : float
        How far beyond the planned ends it was laid, below 0 short of them [m].
    gap_least, gap_planned : float or None
        Least distance to the runs beside it as laid, and in the plan [m]; None without one.
    gap_to : str
        The run that comes nearest.
    gap_at : (x, y) or None
    edge : float
        Least distance to the edge of the bed [m]; below 0 outside it.
    setbacks : tuple of SetbackLaid
        Of all features.
    unmeasured : tuple of (float, float)
        Stretches without a measured point, longer than the stake-out's interval asks for, by their stations [m].
    emitters, emitters_planned : int
    flow, flow_planned : float
        [m³/s].
    verdict : Verdict
    why : tuple of str
        What is off, in words.
    """

    run: str
    planned: float
    line: LineString | None
    shots: tuple[Shot, ...] = ()
    places: int = 0
    stations: tuple[float, ...] = ()
    offsets: tuple[float, ...] = ()
    offset_greatest: float = 0.0
    offset_mean: float = 0.0
    greatest_at: XY | None = None
    start_beyond: float = 0.0
    end_beyond: float = 0.0
    gap_least: float | None = None
    gap_planned: float | None = None
    gap_to: str = ""
    gap_at: XY | None = None
    edge: float = 0.0
    setbacks: tuple[SetbackLaid, ...] = ()
    unmeasured: tuple[tuple[float, float], ...] = ()
    emitters: int = 0
    emitters_planned: int = 0
    flow: float = 0.0
    flow_planned: float = 0.0
    verdict: Verdict = "not found"
    why: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        need(len(self.stations) == len(self.offsets) == self.places, "each place has a station and an offset")

    @property
    def length(self) -> float:
        """As laid [m]; 0 where it was not found."""
        return 0.0 if self.line is None else float(self.line.length)


@dataclass(frozen=True, slots=True, kw_only=True)
class Astray:
    """A measured point that is taken for no run's.

    Attributes
    ----------
    shot : Shot
    why : str
        As a phrase: ``4.20 ft from the nearest run, R7``.
    """

    shot: Shot
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AsBuilt:
    """What was laid against what was planned.

    Attributes
    ----------
    design : Design
    within : float
        How far tubing may lie from the plan [m].
    source : str
        Where that comes from.
    runs : tuple of LaidRun
        By the plan's order, all of them.
    measured : int
        Points in the survey.
    doubled : tuple of tuple of Shot
        Places that were measured more than once.
    pipes : tuple of Shot
        Points on manifolds, lines, loops and risers, or that say so.
    astray : tuple of Astray
        Points that are on nothing that was planned.
    checks : tuple of Check
    findings : tuple of Finding
    notes : tuple of str
        Of reading the survey.
    """

    design: Design
    within: float
    source: str
    runs: tuple[LaidRun, ...]
    measured: int
    doubled: tuple[tuple[Shot, ...], ...] = ()
    pipes: tuple[Shot, ...] = ()
    astray: tuple[Astray, ...] = ()
    checks: tuple[Check, ...] = ()
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether every run was found and measured over its whole length."""
        return all(run.verdict in {"as planned", "off"} for run in self.runs)
