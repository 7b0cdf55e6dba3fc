"""Joining runs end to end, so that most laterals begin and end at the manifold."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from shapely import LineString, MultiPolygon

from layout.laterals.groups import best_groups, fixed_groups
from layout.laterals.loops import Loops
from layout.laterals.paths import Path, Plot, is_row, lines_of
from layout.laterals.wound import wound
from layout.model import Bed, Join, Lateral, LateralRules, Laying, Run


def join_runs(
    laying: Laying,
    rules: LateralRules,
    *,
    spacing: float,
    bed: Bed | None = None,
    kept_clear: MultiPolygon | None = None,
    stranded: Collection[str] = (),
    led_back: bool = False,
) -> tuple[tuple[Lateral, ...], tuple[Join, ...]]:
    """Join runs into laterals.

    A lateral runs out from the manifold end on its first line, through a loop at the far end and back on the
    next, and so on: an even number of lines returns to the manifold end. A loop is a straight piece of blank
    tubing between two elbows; where the straight would come too near to the bed's edge or into a setback, it
    follows that limit. Only ends that lie near each other are joined, and no loop crosses a run.

    Where the laying winds lines beyond a neck or an obstacle, they are tied in its order, in several laterals where one
    would be longer than `longest`. Other lines without a gate get water from a neighbour: their outer ends are tied to
    those of the next row, from left to right, within `longest`. What finds no neighbour so is a lateral of its own,
    which is fed where it ends at the edge of the bed, or from a lead. What is tied together counts as one line when
    lines are then grouped, even to a stated number; with a gate at both its ends it is a lateral.

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
    stranded : collection of str, optional
        Runs that nothing but a neighbour can feed: they are tied to one even beyond `longest`.
    led_back : bool
        Whether blank tubing is to lead laterals that end elsewhere back to the manifold end, within `longest` too.

    Returns
    -------
    laterals : tuple of Lateral
        Named from left to right by where they begin.
    joins : tuple of Join
        Loops and carries, by lateral and in the order of flow.
    """
    lines = lines_of(laying)
    tubing = [*(run.line for run in laying.runs), *(join.line for join in laying.carries)]
    loops = Loops(tubing, spacing=spacing, bed=bed, kept_clear=kept_clear)
    plot = Plot(lines=lines, loops=loops)
    laid = list(wound(plot, laying.windings, longest=rules.longest))
    tubing += [loop for path in laid for loop in path.loops]  # other loops keep clear of these
    loops = Loops(tubing, spacing=spacing, bed=bed, kept_clear=kept_clear)
    plot = Plot(lines=lines, loops=loops)
    paths = [plot.turned(path) for path in _tied_in(plot, rules.longest, laid, stranded)]
    made = [path for path in paths if plot.gates(path) != 1]
    made += _grouped(
        plot, [path for path in paths if plot.gates(path) == 1], rules, laid=paths, led_back=led_back
    )
    laterals: list[Lateral] = []
    joins: list[Join] = []
    for number, path in enumerate(sorted(made, key=lambda path: path.steps), start=1):
        lateral, its_joins = _lateral(plot, path, f"L{number}")
        laterals.append(lateral)
        joins += its_joins
    return tuple(laterals), tuple(joins)


def _tied_in(plot: Plot, longest: float, windings: Sequence[Path], stranded: Collection[str]) -> list[Path]:
    """Paths of one line each, but lines without a gate tied to their neighbours, so that water reaches them.

    Windings come first, as they are laid down. In a second round what is stranded is tied even beyond `longest`.
    """
    paths = {n: Path(steps=((n, True),), length=line.length) for n, line in enumerate(plot.lines)}
    path_of = {n: n for n in paths}
    for wound_up in windings:
        first = wound_up.steps[0][0]
        for number, _ in wound_up.steps:
            del paths[number]
            path_of[number] = first
        paths[first] = wound_up
    dry = {n for n, line in enumerate(plot.lines) if line.runs[0].name in stranded}
    of_row: dict[int, list[int]] = {}
    for n, line in enumerate(plot.lines):
        of_row.setdefault(line.row, []).append(n)
    laid = [loop for path in windings for loop in path.loops]
    for most, only in ((longest, None), (math.inf, dry)) if dry else ((longest, None),):
        for number, line in enumerate(plot.lines):
            next_row = of_row.get(line.row + 1, ())
            while (
                tie := _next_tie(plot, number, next_row, paths, path_of, laid, most=most, only=only)
            ) is not None:
                beside, tied = tie
                for other, _ in paths.pop(path_of[beside]).steps:
                    path_of[other] = path_of[number]
                paths[path_of[number]] = tied
                laid = [loop for path in paths.values() for loop in path.loops]
    return [paths[n] for n in sorted(paths)]


def _next_tie(
    plot: Plot,
    line: int,
    next_row: Iterable[int],
    paths: dict[int, Path],
    path_of: dict[int, int],
    laid: Sequence[LineString],
    *,
    most: float,
    only: Collection[int] | None,
) -> tuple[int, Path] | None:
    """Find the line of the next row that the shortest loop ties to this one, and the path they make.

    Parameters
    ----------
    next_row : iterable of int
        The lines of that row.
    laid : sequence of LineString
        Loops that there are.
    most : float
        Greatest length of that path [m].
    only : collection of int or None
        Lines of which one of the two paths must have one, and that want a gate of the other.
    """
    here = paths[path_of[line]]
    found = []
    for beside in next_row:
        there = paths[path_of[beside]]
        if (plot.lines[line].gated and plot.lines[beside].gated) or here is there:
            continue
        if only is not None:
            if plot.gates(here) == plot.gates(there):
                continue
            if not any(
                step in only for path in (here, there) if not plot.gates(path) for step, _ in path.steps
            ):
                continue
        if plot.gates(here) and plot.gates(there) and (is_row(plot, here) or is_row(plot, there)):
            continue  # a row led round an obstacle is grouped as any other
        tied = _tied(plot, here, there, (line, beside), laid)
        if tied is not None and tied.length <= most:
            found.append((tied.length - here.length - there.length, beside, tied))
    return min(found, key=lambda tie: tie[:2])[1:] if found else None


def _tied(
    plot: Plot, one: Path, other: Path, pair: tuple[int, int], laid: Sequence[LineString]
) -> Path | None:
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
    plot: Plot, paths: Sequence[Path], rules: LateralRules, *, laid: Sequence[Path], led_back: bool
) -> list[Path]:
    """Neighbouring paths of one gate each, joined into laterals at outer ends and gates by turns."""
    paths = sorted(paths, key=lambda path: path.steps)
    pairs = list(itertools.pairwise(paths))
    loops = [loop for path in laid for loop in path.loops]
    far = [plot.loop(one, other.reversed(), loops) for one, other in pairs]
    near = [plot.loop(one.reversed(), other, loops) for one, other in pairs]
    lengths = [path.length for path in paths]
    far_lengths, near_lengths = (
        [None if loop is None else float(loop.length) for loop in found] for found in (far, near)
    )
    if rules.runs is None:
        leads = lengths if led_back else None  # back beside the line itself
        sizes = best_groups(lengths, near_lengths, far_lengths, longest=rules.longest, leads=leads)
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


def _lateral(plot: Plot, path: Path, name: str) -> tuple[Lateral, list[Join]]:
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
