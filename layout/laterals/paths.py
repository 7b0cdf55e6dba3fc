"""Lines, and the paths of lines and loops that become laterals.

A *line* is one run, or several of one row that blank tubing carries past an obstacle. Its *gate* is its end at the
manifold end of the bed, where a riser can reach it; its other end is *outer*. A line that does not begin at the
manifold end has two outer ends. A *path* is lines and loops in order of flow.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass

import shapely
from shapely import LineString

from layout.laterals.loops import Loops
from layout.model import XY, Join, Laying, Run, xy


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Runs of one row, from each of which blank tubing carries on to the next, away from the manifold."""

    runs: tuple[Run, ...]
    carries: tuple[Join, ...]

    @property
    def gated(self) -> bool:
        """Whether it begins at a gate."""
        return self.runs[0].from_end

    @property
    def row(self) -> int:
        """Its place across the bed."""
        return self.runs[0].row

    @property
    def length(self) -> float:
        """With its blank tubing [m]."""
        return math.fsum((*(run.length for run in self.runs), *(join.line.length for join in self.carries)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """Lines by number, each with whether it is walked away from the manifold, and the loops between them."""

    steps: tuple[tuple[int, bool], ...]
    length: float
    loops: tuple[LineString, ...] = ()

    def reversed(self) -> Path:
        """The same walked the other way."""
        return Path(
            steps=tuple((line, not outward) for line, outward in reversed(self.steps)),
            length=self.length,
            loops=tuple(loop.reverse() for loop in reversed(self.loops)),
        )

    def then(self, loop: LineString, other: Path) -> Path:
        """A loop and another path added to its end."""
        return Path(
            steps=self.steps + other.steps,
            length=self.length + loop.length + other.length,
            loops=(*self.loops, loop, *other.loops),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """The lines of a field, and the loops that may be laid between them."""

    lines: tuple[Line, ...]
    loops: Loops

    def gated(self, path: Path) -> bool:
        """Whether a riser can reach the start of a path."""
        line, outward = path.steps[0]
        return self.lines[line].gated and outward

    def gates(self, path: Path) -> int:
        """At how many of its two ends a riser can reach a path."""
        line, outward = path.steps[-1]
        return self.gated(path) + (self.lines[line].gated and not outward)

    def turned(self, path: Path) -> Path:
        """Turn a path to start at its gate, at the left one of two; else where the edge of the bed is nearer."""
        return min(
            path,
            path.reversed(),
            key=lambda way: (
                not self.gated(way),
                0 if self.gated(way) else self.loops.inset(self.start(way)[0]),
                not way.steps[0][1],
                way.steps,
            ),
        )

    def start(self, path: Path) -> tuple[XY, LineString]:
        """Where a path begins, and the first run on it [m]."""
        line, outward = path.steps[0]
        return self._tip(line, 0 if outward else -1)

    def end(self, path: Path) -> tuple[XY, LineString]:
        """Where a path ends, and the last run on it [m]."""
        line, outward = path.steps[-1]
        return self._tip(line, -1 if outward else 0)

    def _tip(self, line: int, tip: int) -> tuple[XY, LineString]:
        run = self.lines[line].runs[tip].line
        return xy(shapely.get_point(run, tip)), run

    def loop(self, one: Path, other: Path, laid: Iterable[LineString] = ()) -> LineString | None:
        """Lay a loop from the end of one path to the start of another; None where none can be laid.

        It may not cross those that are laid already.
        """
        (start, leaves), (end, enters) = self.end(one), self.start(other)
        loop = self.loops.between(start, end, leaves=leaves, enters=enters)
        if loop is None or any(loop.intersects(other) for other in laid):
            return None
        return loop


def lines_of(laying: Laying) -> tuple[Line, ...]:
    """Tie runs into lines by their carries, in the order of their first runs."""
    onward = {join.start: join for join in laying.carries}
    carried = {join.end for join in laying.carries}
    named = {run.name: run for run in laying.runs}
    lines = []
    for first in laying.runs:
        if first.name in carried:
            continue
        runs, carries = [first], []
        while (join := onward.get(runs[-1].name)) is not None:
            carries.append(join)
            runs.append(named[join.end])
        lines.append(Line(runs=tuple(runs), carries=tuple(carries)))
    return tuple(lines)


def goes_on(line: Line, other: Line) -> bool:
    """Whether a line goes on with another of its row, beyond an obstacle."""
    return line.row == other.row and line.runs[0].lobe == other.runs[0].lobe


def is_row(plot: Plot, path: Path) -> bool:
    """Whether a path is the lines of one row, led round obstacles by loops."""
    lines = [plot.lines[line] for line, _ in path.steps]
    return len(lines) > 1 and all(goes_on(one, other) for one, other in itertools.pairwise(lines))
