"""The runs of a bed with what joins them, as water is led to them step by step."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from layout.model import Dropped, Join, Run


@dataclass(slots=True)
class Led:
    """The runs of a bed by name, and what joins them; changed step by step.

    Attributes
    ----------
    runs : dict of str to Run
    carries : list of Join
    windings : list of tuple of str
        See :class:`layout.model.Laying`.
    dropped : list of Dropped
    """

    runs: dict[str, Run]
    carries: list[Join]
    windings: list[tuple[str, ...]] = field(default_factory=list)
    dropped: list[Dropped] = field(default_factory=list)

    def copy(self) -> Led:
        """One that can be changed without changing this."""
        return Led(dict(self.runs), list(self.carries), list(self.windings), list(self.dropped))

    def lines(self) -> list[tuple[str, ...]]:
        """Names of runs that blank tubing joins, each line in the order of flow."""
        onward = {join.start: join.end for join in self.carries}
        found = []
        for name in self.runs.keys() - set(onward.values()):
            line = [name]
            while line[-1] in onward:
                line.append(onward[line[-1]])
            found.append(tuple(line))
        return sorted(found, key=lambda line: list(self.runs).index(line[0]))

    def reached(self) -> set[str]:
        """Names of the runs that have water."""
        wound = {name for winding in self.windings for name in winding}
        return {
            name for line in self.lines() if self.runs[line[0]].from_end or line[0] in wound for name in line
        }

    def length(self, line: Sequence[str]) -> float:
        """Of the runs and the blank tubing of a line [m]."""
        return math.fsum(
            (
                *(self.runs[name].length for name in line),
                *(join.line.length for join in self.carries if join.start in line),
            )
        )


def head_of(name: str, back: Mapping[str, str]) -> str:
    """The first run of the line that a run is part of."""
    while name in back:
        name = back[name]
    return name
