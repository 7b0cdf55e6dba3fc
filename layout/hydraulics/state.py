"""One state of a zone, dosed or flushed, told in the terms of the field: who has the least pressure, and where."""

from __future__ import annotations

import numpy as np

from layout.hydraulics.laws import PumpCurve
from layout.hydraulics.meet import meet
from layout.hydraulics.network import ZoneNetwork
from layout.hydraulics.solve import Solution
from layout.model import AtEmitter, AtValve, Design, RunWater, WaterState
from layout.plane import Array

HEAD_MET = 1e-7
"""A head is met that is off by no more [m]."""


def told(
    design: Design,
    bed: ZoneNetwork,
    solution: Solution,
    *,
    head: float,
    needed: tuple[float, float],
    curve: PumpCurve | None,
    valve: tuple[float, float | None] = (0.0, None),
    wide_open: Solution | None = None,
) -> WaterState:
    """Put a solution in words.

    Parameters
    ----------
    design : Design
    bed : ZoneNetwork
    solution : Solution
    head : float
        At the pump [m].
    needed : (float, float)
        The least flow and head at the pump.
    curve : PumpCurve or None
    valve : (float, float or None)
        What the flush valve takes [m], and in velocity heads.
    wide_open : Solution, optional
        With that valve wide open.
    """
    pressures = bed.pressures(solution)
    flow = bed.given(solution)
    return WaterState(
        flow=flow,
        head=head,
        needed_flow=needed[0],
        needed_head=needed[1],
        pump_head=None if curve is None else max(curve.head(needed[0]) + curve.loss, 0.0),
        least=_least(design, bed, pressures),
        greatest=_emitter(design, bed, pressures, int(np.argmax(pressures))),
        flow_least=float(solution.emitted.min()),
        flow_greatest=float(solution.emitted.max()),
        runs=tuple(
            RunWater(
                run=run,
                heads=tuple(pressures[places].tolist()),
                flows=tuple(solution.emitted[places].tolist()),
            )
            for run, places in bed.rows
        ),
        ends=tuple(
            (name, velocity)
            for (name, _), velocity in zip(bed.ends, bed.velocities(solution).tolist(), strict=True)
        ),
        valve_head=valve[0] if bed.valve is not None else None,
        valve_loss=valve[1],
        valves=tuple(_valve(bed, solution, feed, valve[0]) for feed in bed.feeds),
        wide_open=None if wide_open is None else _least(design, bed, bed.pressures(wide_open)),
        beyond_curve=curve is not None and flow > curve.most * (1.0 + 1e-9),
    )


def _valve(bed: ZoneNetwork, solution: Solution, feed: int, taken: float) -> AtValve:
    """What gauges read at a flush valve where a manifold meets the trunk."""
    assert bed.points is not None
    x, y = bed.points[feed].tolist()
    before = float(solution.heads[feed] - bed.network.levels[feed])
    return AtValve(at=(x, y), before=before, behind=before - taken)


def _least(design: Design, bed: ZoneNetwork, pressures: Array) -> AtEmitter:
    return _emitter(design, bed, pressures, int(np.argmin(pressures)))


def _emitter(design: Design, bed: ZoneNetwork, pressures: Array, place: int) -> AtEmitter:
    points = {row.run: row.points for row in design.emitters}
    run, number = next(
        (run, int(np.flatnonzero(places == place)[0])) for run, places in bed.rows if place in places
    )
    return AtEmitter(head=float(pressures[place]), run=run, number=number + 1, at=points[run][number])


def start_head(design: Design, bed: ZoneNetwork) -> float:
    """A head to begin with: somewhat over the highest emitter with its pressure [m]."""
    levels = bed.network.levels[bed.network.emitters]
    return float(levels.max()) + least_pressure(design) + 3.0


def least_pressure(design: Design) -> float:
    """The least pressure of the emitters' range [m]."""
    assert design.site.tubing.pressure_range is not None
    return design.site.tubing.pressure_range[0]


def head_for_pressure(
    design: Design, bed: ZoneNetwork, *, first: float, start: Solution | None = None
) -> tuple[float, Solution]:
    """The head [m] that gives every emitter the least pressure of its range, one of them just that."""
    wanted = least_pressure(design)
    return meet(
        bed.fed_at,
        lambda solution: float(bed.pressures(solution).min()) - wanted,
        first,
        step=1.0,
        slack=HEAD_MET,
        start=start,
    )
