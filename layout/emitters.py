"""Emitters: where they sit along each run, and what the whole field holds and gives."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

import numpy as np

from layout.model import EmitterRow, Join, Run, Totals, Tubing
from layout.plane import coordinates, points_at

FIT = 1e-9
"""What rounding may take from a run before its last emitter is lost [m]."""


def place_emitters(run: Run, tubing: Tubing) -> EmitterRow:
    """Place the emitters of one run.

    The first sits half an emitter spacing from the end of the run that faces the manifold, the others a whole
    spacing apart as long as they fit on the run. A run shorter than half a spacing has none.

    Parameters
    ----------
    run : Run
    tubing : Tubing

    Returns
    -------
    EmitterRow
        Points in the order of the run, walked along its line in one pass.

    Examples
    --------
    >>> from shapely import LineString
    >>> tubing = Tubing(emitter_spacing=0.5, emitter_flow=6e-7, bend_radius=0.6, coil=150)
    >>> place_emitters(Run(name="R1", line=LineString([(0, 0), (2, 0)]), row=0), tubing).points
    ((0.25, 0.0), (0.75, 0.0), (1.25, 0.0), (1.75, 0.0))
    """
    spacing = tubing.emitter_spacing
    count = max(math.floor((run.length + FIT) / spacing + 0.5), 0)
    along = np.arange(0.5, count, dtype=np.float64) * spacing
    points = points_at(coordinates(run.line), along)
    return EmitterRow(
        run=run.name,
        points=tuple((x, y) for x, y in points.tolist()),
        flow=count * tubing.emitter_flow,
    )


def field_totals(
    runs: Sequence[Run],
    rows: Sequence[EmitterRow],
    joins: Sequence[Join],
    *,
    dry: Collection[str] = (),
) -> Totals:
    """Add up a field: emitting tubing, blank tubing, emitters, flow; and what share of the tubing is fed.

    Parameters
    ----------
    runs : sequence of Run
    rows : sequence of EmitterRow
    joins : sequence of Join
        Loops and blank tubing past obstacles.
    dry : collection of str, optional
        Names of runs that are not fed.
    """
    tubing = math.fsum(run.length for run in runs)
    return Totals(
        tubing=tubing,
        blank=math.fsum(join.line.length for join in joins),
        emitters=sum(row.count for row in rows),
        flow=math.fsum(row.flow for row in rows),
        fed=1.0 - math.fsum(run.length for run in runs if run.name in dry) / tubing if tubing else 1.0,
    )


def seconds_per_volume(flow: float, volume: float) -> float:
    """Time in which a flow [m³/s] gives a volume [m³], as read with a stop watch at the meter [s].

    Examples
    --------
    >>> seconds_per_volume(0.0002, 0.001)
    5.0
    """
    if not flow > 0:
        raise ValueError("the time for a volume needs a flow over 0")
    return volume / flow
