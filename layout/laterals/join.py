"""Joining runs end to end, so that most laterals begin and end at the manifold.

Words of this module: a *line* is one run, or several of one row that blank tubing carries past an obstacle.
Its *gate* is its end at the manifold end of the bed, where a riser can reach it; its other end is *outer*. A
line that does not begin at the manifold end has two outer ends. A *path* is lines and loops in order of flow.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from shapely import LineString, MultiPolygon

from layout.laterals.groups import best_groups, fixed_groups
from layout.laterals.loops import Loops
from layout.model import XY, Bed, Join, Lateral, LateralRules, Laying, Run


def join_runs(
    laying: Laying,
    rules: LateralRules,
    *,
    spacing: float,
    bed: Bed | None = None,
    kept_clear: MultiPolygon | None = None,
) -> tuple[tuple[Lateral, ...], tuple[Join, ...]]:
    """Join runs into laterals.

    A lateral runs out from the manifold end on its first line, through a loop at the far end and back on the
    next, and so on: an even number of lines returns to the manifold end. A loop is a straight piece of blank
    tubing between two elbows; where the straight would come too near to the bed's edge or into a setback, it
    follows that limit. Only ends that lie near each other are joined, and no loop crosses a run.

    Where the laying winds lines beyond a neck, they are tied in its order. Other lines without a gate get water from a
    neighbour: their outer ends are tied to those of the next row, from
    left to right, within `longest` where that can be. What is tied together counts as one line when lines are
    then grouped, even to a stated number; with a gate at both its ends it is a lateral.

    Parameters
    ----------
    laying : Laying
        Carries among its runs stay as they are.
    rules : LateralRules
        With a number of `runs`, so many neighbouring lines make a lateral, from left to right; the last may
        have fewer, and one ends early where no loop can be laid. With None the number is found by
        :func:`layout.laterals.best_groups`.
    spacing : float
        Row spacing [m].
    bed : Bed, optional
        Loops keep its clearance, less 0.02 × spacing.
    kept_clear : MultiPolygon, optional
        Setback zones, which loops stay out of [m].

    Returns
    -------
    laterals : tuple of Lateral
        Named from left to right by where they begin. One that begins at no gate cannot be fed from the
        manifold end: a design check says so.
    joins : tuple of Join
        Loops and carries, by lateral and in the order of flow.
    """
    lines = _lines(laying)
    tubing = [*(run.line for run in laying.runs), *(join.line for join in laying.carries)]
    loops = Loops(tubing, spacing=spacing, bed=bed, kept_clear=kept_clear)
    plot = _Plot(lines=lines, loops=loops)
    wound = list(_wound(plot, laying.windings))
    tubing += [loop for path in wound for loop in path.loops]  # other loops keep clear of these
    loops = Loops(tubing, spacing=spacing, bed=bed, kept_clear=kept_clear)
    plot = _Plot(lines=lines, loops=loops)
    paths = [plot.turned(path) for path in _tied_in(plot, rules.longest, wound)]
    made = [path for path in paths if plot.gates(path) != 1]
    made += _grouped(plot, [path for path in paths if plot.gates(path) == 1], rules, laid=paths)
    laterals: list[Lateral] = []
    joins: list[Join] = []
    for number, path in enumerate(sorted(made, key=lambda path: path.steps), start=1):
        lateral, its_joins = _lateral(plot, path, f"L{number}")
        laterals.append(lateral)
        joins += its_joins
    return tuple(laterals), tuple(joins)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """Runs of one row, from each of which blank tubing carries on to the next, away from the manifold."""

    runs: tuple[Run, ...]
    carries: tuple[Join, ...]

    @property
    def fed(self) -> bool:
        return self.runs[0].fed

    @property
    def row(self) -> int:
        return self.runs[0].row

    @property
    def length(self) -> float:
        return math.fsum((*(run.length for run in self.runs), *(join.line.length for join in self.carries)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Path:
    """Lines by number, each with whether it is walked away from the manifold, and the loops between them."""

    steps: tuple[tuple[int, bool], ...]
    length: float
    loops: tuple[LineString, ...] = ()

    def reversed(self) -> _Path:
        return _Path(
            steps=tuple((line, not outward) for line, outward in reversed(self.steps)),
            length=self.length,
            loops=tuple(loop.reverse() for loop in reversed(self.loops)),
        )

    def then(self, loop: LineString, other: _Path) -> _Path:
        return _Path(
            steps=self.steps + other.steps,
            length=self.length + loop.length + other.length,
            loops=(*self.loops, loop, *other.loops),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plot:
    """The lines of a field, and the loops that may be laid between them."""

    lines: tuple[_Line, ...]
    loops: Loops

    def gated(self, path: _Path) -> bool:
        """Whether a riser can reach the start of a path."""
        line, outward = path.steps[0]
        return self.lines[line].fed and outward

    def gates(self, path: _Path) -> int:
        """At how many of its two ends a riser can reach a path."""
        return self.gated(path) + self.gated(path.reversed())

    def turned(self, path: _Path) -> _Path:
        """Turn a path to start at its gate, at the left one of two; else outward on its first line."""
        return min(
            path, path.reversed(), key=lambda way: (not self.gated(way), not way.steps[0][1], way.steps)
        )

    def start(self, path: _Path) -> tuple[XY, LineString]:
        """Where a path begins, and the first run on it [m]."""
        line, outward = path.steps[0]
        tip = 0 if outward else -1
        run = self.lines[line].runs[tip].line
        x, y = run.coords[tip][:2]
        return (x, y), run

    def loop(self, one: _Path, other: _Path, laid: Iterable[_Path] = ()) -> LineString | None:
        """Lay a loop from the end of one path to the start of another; None where none can be laid.

        It may not cross those of paths that are laid already.
        """
        (start, leaves), (end, enters) = self.start(one.reversed()), self.start(other)
        loop = self.loops.between(start, end, leaves=leaves, enters=enters)
        if loop is None or any(loop.intersects(other) for path in laid for other in path.loops):
            return None
        return loop


def _lines(laying: Laying) -> tuple[_Line, ...]:
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
        lines.append(_Line(runs=tuple(runs), carries=tuple(carries)))
    return tuple(lines)


def _tied_in(plot: _Plot, longest: float, windings: Sequence[_Path]) -> list[_Path]:
    """Paths of one line each, but lines without a gate tied to their neighbours, so that water reaches them.

    Windings come first, as they are laid down. In a second round what would still stay without water is tied even
    beyond `longest`.
    """
    paths = {n: _Path(steps=((n, True),), length=line.length) for n, line in enumerate(plot.lines)}
    path_of = {n: n for n in paths}
    for wound in windings:
        first = wound.steps[0][0]
        for line, _ in wound.steps:
            del paths[line]
            path_of[line] = first
        paths[first] = wound
    for most in (longest, math.inf):
        for line in range(len(plot.lines)):
            while (tie := _next_tie(plot, line, paths, path_of, last_round=most > longest)) is not None:
                beside, tied = tie
                if tied.length > most:
                    break
                for other, _ in paths.pop(path_of[beside]).steps:
                    path_of[other] = path_of[line]
                paths[path_of[line]] = tied
    return [paths[n] for n in sorted(paths)]


def _wound(plot: _Plot, windings: Sequence[Sequence[str]]) -> Iterator[_Path]:
    """The paths that windings make, each as far as loops can be laid."""
    number = {line.runs[0].name: n for n, line in enumerate(plot.lines)}
    for winding in windings:
        path: _Path | None = None
        outward = True
        for place, name in enumerate(winding):
            line = number[name]
            if place and not _goes_on(plot.lines[number[winding[place - 1]]], plot.lines[line]):
                outward = not outward
            step = _Path(steps=((line, outward),), length=plot.lines[line].length)
            loop = None if path is None else plot.loop(path, step)
            if path is not None and loop is None:
                break
            path = step if path is None or loop is None else path.then(loop, step)
        if path is not None:
            yield path


def _goes_on(line: _Line, other: _Line) -> bool:
    """Whether a line goes on with another of its row, beyond an obstacle."""
    return line.row == other.row and line.runs[0].lobe == other.runs[0].lobe


def _is_row(plot: _Plot, path: _Path) -> bool:
    """Whether a path is the lines of one row, led round obstacles by loops."""
    lines = [plot.lines[line] for line, _ in path.steps]
    return len(lines) > 1 and all(_goes_on(one, other) for one, other in itertools.pairwise(lines))


def _next_tie(
    plot: _Plot, line: int, paths: dict[int, _Path], path_of: dict[int, int], *, last_round: bool
) -> tuple[int, _Path] | None:
    """Find the line of the next row that the shortest loop ties to this one, and the path they make."""
    here = paths[path_of[line]]
    found = []
    for beside, other in enumerate(plot.lines):
        there = paths[path_of[beside]]
        if other.row != plot.lines[line].row + 1 or (plot.lines[line].fed and other.fed) or here is there:
            continue
        if last_round and plot.gates(here) == plot.gates(there):
            continue
        if plot.gates(here) and plot.gates(there) and (_is_row(plot, here) or _is_row(plot, there)):
            continue  # a row led round an obstacle is grouped as any other
        tied = _tied(plot, here, there, (line, beside), paths.values())
        if tied is not None:
            found.append((tied.length - here.length - there.length, beside, tied))
    return min(found, key=lambda tie: tie[:2])[1:] if found else None


def _tied(
    plot: _Plot, one: _Path, other: _Path, pair: tuple[int, int], laid: Iterable[_Path]
) -> _Path | None:
    """Two paths tied by the shorter loop between outer ends of a pair of their lines, or None."""
    found = []
    for ahead in (one, one.reversed()):
        for behind in (other, other.reversed()):
            if (ahead.steps[-1][0], behind.steps[0][0]) != pair:
                continue
            if plot.gated(ahead.reversed()) or plot.gated(behind):
                continue
            loop = plot.loop(ahead, behind, laid)
            if loop is not None:
                found.append(ahead.then(loop, behind))
    return min(found, key=lambda path: path.length, default=None)


def _grouped(
    plot: _Plot, paths: Sequence[_Path], rules: LateralRules, *, laid: Sequence[_Path]
) -> list[_Path]:
    """Neighbouring paths of one gate each, joined into laterals at outer ends and gates by turns."""
    paths = sorted(paths, key=lambda path: path.steps)
    pairs = list(itertools.pairwise(paths))
    far = [plot.loop(one, other.reversed(), laid) for one, other in pairs]
    near = [plot.loop(one.reversed(), other, laid) for one, other in pairs]
    lengths = [path.length for path in paths]
    far_lengths, near_lengths = (
        [None if loop is None else float(loop.length) for loop in loops] for loops in (far, near)
    )
    if rules.runs is None:
        sizes = best_groups(lengths, near_lengths, far_lengths, longest=rules.longest)
    else:
        sizes = fixed_groups(lengths, near_lengths, far_lengths, wanted=rules.runs)
    made, first = [], 0
    for size in sizes:
        path = paths[first]
        for number in range(1, size):
            outer = number % 2 == 1
            loop = (far if outer else near)[first + number - 1]
            assert loop is not None, "a group goes only as far as loops can be laid"
            other = paths[first + number]
            path = path.then(loop, other.reversed() if outer else other)
        made.append(path)
        first += size
    return made


def _lateral(plot: _Plot, path: _Path, name: str) -> tuple[Lateral, list[Join]]:
    """Make the lateral of a path, and its joins in the order of flow."""
    runs: list[Run] = []
    joins: list[Join] = []
    loops = iter(path.loops)
    for step, outward in path.steps:
        line = plot.lines[step]
        its_runs = line.runs if outward else line.runs[::-1]
        if runs:
            joins.append(Join(kind="loop", start=runs[-1].name, end=its_runs[0].name, line=next(loops)))
        runs += its_runs
        joins += line.carries if outward else [_turned(join) for join in line.carries[::-1]]
    lateral = Lateral(
        name=name,
        runs=tuple(run.name for run in runs),
        length=math.fsum(run.length for run in runs),
        blank=math.fsum(join.line.length for join in joins),
        supply=plot.start(path)[0],
        drain=plot.start(path.reversed())[0],
        returns_near=plot.gates(path) == 2,
    )
    return lateral, joins


def _turned(join: Join) -> Join:
    """Turn a join to the other direction of flow."""
    return replace(join, start=join.end, end=join.start, line=join.line.reverse())
