"""A bed laid out lobe by lobe: in each the rows of its own sides, none in the necks between them.

Lines that :mod:`layout.runs.through` then leads through the necks have emitters there where they lie far enough
apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely

from layout.model import Bed, Dropped, Join, Laying, Lobe, Pattern, Run, RunRules, Sides, Tubing, UsableGround
from layout.runs.lay import lay_runs
from layout.runs.trim import GAP_SHARE


def lay_lobes(
    bed: Bed,
    ground: UsableGround,
    lobes: Sequence[Lobe],
    sides: Sequence[Sides],
    rules: RunRules,
    tubing: Tubing,
    *,
    pattern: Pattern,
) -> Laying | None:
    """Lay the runs of one pattern in each lobe of a bed.

    Parameters
    ----------
    bed, ground, rules, tubing
        As for :func:`layout.runs.lay_runs`.
    lobes : sequence of Lobe
    sides : sequence of Sides
        Of each lobe, its manifold end where its neck is.
    pattern : Pattern
        One that follows sides.

    Returns
    -------
    Laying or None
        Rows counted on from lobe to lobe, only those of the first fed; None where no run fits, or rows of two lobes
        come too near to each other.
    """
    runs: list[Run] = []
    carries: list[Join] = []
    dropped: list[Dropped] = []
    row = 0
    for number, lobe in enumerate(lobes):
        part = lay_runs(
            replace(bed, outline=lobe.ground), ground, sides[number], rules, tubing, pattern=pattern
        )
        named = {run.name: f"R{len(runs) + place}" for place, run in enumerate(part.runs, start=1)}
        runs += [
            replace(
                run,
                name=named[run.name],
                row=row + run.row,
                from_end=run.from_end and number == 0,
                lobe=number,
            )
            for run in part.runs
        ]
        carries += [replace(join, start=named[join.start], end=named[join.end]) for join in part.carries]
        dropped += [replace(piece, row=row + piece.row) for piece in part.dropped]
        row = max((run.row for run in runs), default=-1) + 2  # the rows of two lobes are no neighbours
    if not runs:
        return None
    gap = GAP_SHARE * (rules.closest if pattern is Pattern.EVEN else rules.spacing)
    tree = shapely.STRtree([run.line for run in runs])
    one, other = tree.query([run.line for run in runs], predicate="dwithin", distance=gap)
    if any(runs[a].lobe != runs[b].lobe for a, b in zip(one.tolist(), other.tolist(), strict=True)):
        return None
    return Laying(pattern=pattern, runs=tuple(runs), dropped=tuple(dropped), carries=tuple(carries))
