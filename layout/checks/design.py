"""Design checks: the laws of a layout and the limits the user states, measured on the finished layout."""

from __future__ import annotations

from collections.abc import Sequence

from layout.checks.ground import covered, dry, loading
from layout.checks.laterals import fed, longest_lateral, pipe_crossings
from layout.checks.rows import within_rows
from layout.checks.runs import bend, crossing_runs, gap, shortest_run, widest, without_emitters
from layout.checks.tubing import clearance, loops, setbacks
from layout.model import (
    Check,
    Coverage,
    EmitterRow,
    Join,
    Lateral,
    Laying,
    Plumbing,
    Site,
    UsableGround,
)


def design_checks(
    site: Site,
    ground: UsableGround,
    laying: Laying,
    laterals: Sequence[Lateral],
    plumbing: Plumbing,
    coverage: Coverage,
    *,
    joins: Sequence[Join] = (),
    emitters: Sequence[EmitterRow] = (),
) -> tuple[Check, ...]:
    """Check a finished layout.

    Clearance and setbacks hold for loops and blank tubing as well as for runs. Pipe may not cross a feature; its
    setbacks are checked with the manifolds and the lines themselves.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    laying : Laying
        With at least one run.
    laterals : sequence of Lateral
    plumbing : Plumbing
    coverage : Coverage
    joins : sequence of Join, optional
    emitters : sequence of EmitterRow, optional
        Of the runs.

    Returns
    -------
    tuple of Check
        Clearance; the setback of each feature; tubing within rows that are not closed; loops beside other tubing; gap,
        bend, crossing runs; length and feed of runs and laterals; dry distance, coverage, loading; what pipes cross.
        What does not apply is left out. Sources are keys of the site file, or say that the limit is a judgement.
    """
    tubing = [run.line for run in laying.runs] + [join.line for join in joins]
    return (
        clearance(site, tubing),
        *setbacks(site, tubing),
        *within_rows(site, tubing),
        *loops(site, laying.runs, joins),
        *gap(site, laying, coverage),
        *widest(site, laying, coverage),
        *bend(site, laying, coverage),
        crossing_runs(site, laying.runs),
        shortest_run(site, laying.runs),
        *without_emitters(site, laying.runs, emitters),
        longest_lateral(site, laterals),
        fed(site, laterals, plumbing),
        dry(site, coverage),
        covered(coverage),
        *loading(site, ground, laying.runs),
        pipe_crossings(site, plumbing),
    )
