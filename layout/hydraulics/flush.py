"""Flushing: the return is open as far as its valve is set, so that water runs through to the end of every lateral.

The less the valve takes, the faster the ends and the lower the pressure at the emitters. It is set so that the slowest
end just has the velocity asked for, which leaves the emitters the most pressure that this velocity allows.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from layout.errors import Fault, NoBalanceError
from layout.hydraulics.laws import PumpCurve
from layout.hydraulics.meet import meet
from layout.hydraulics.network import ZoneNetwork
from layout.hydraulics.solve import Solution, solve
from layout.hydraulics.state import HEAD_MET, least_pressure, start_head, told
from layout.model import Design, WaterState

_Short = Callable[[Solution], float]
ROUNDS = 40
SPEED_MET = 1e-8
"""A velocity is met that is off by no more [m/s]."""


def flush(design: Design, bed: ZoneNetwork, curve: PumpCurve | None) -> WaterState:
    """Work out a zone being flushed.

    Parameters
    ----------
    design : Design
        With a velocity asked for.
    bed : ZoneNetwork
        With its return open.
    curve : PumpCurve or None
        With what filters take. None: the least head is held at which the slowest end has its velocity and every
        emitter the least pressure of its range.

    Returns
    -------
    WaterState
        Where the pump cannot give the velocity, with the valve wide open.

    Raises
    ------
    NoBalanceError
    """
    wanted = design.site.design.flush_velocity
    assert wanted is not None
    outlet, filters = float(bed.network.levels[bed.tank]), design.site.design.filter_loss or 0.0

    def short(solution: Solution) -> float:
        return float(bed.velocities(solution).min()) - wanted

    held, back, solution = _least(design, bed, short, outlet)
    needed = (bed.given(solution), held - outlet + filters)
    if curve is None:
        valve = (back - outlet, _coefficient(bed, solution, back - outlet))
        return told(design, bed, solution, head=needed[1], needed=needed, curve=None, valve=valve)
    solution, back = solve(bed.pumped(curve), start=solution), outlet
    wide_open = solution
    if short(solution) > 0:
        back, solution = meet(
            lambda head: bed.backed_by(head).pumped(curve),
            short,
            outlet,
            step=1.0,
            slack=SPEED_MET,
            start=solution,
        )
    valve = (back - outlet, _coefficient(bed, solution, back - outlet))
    head = curve.head(bed.given(solution)) + filters
    return told(
        design, bed, solution, head=head, needed=needed, curve=curve, valve=valve, wide_open=wide_open
    )


def _least(design: Design, bed: ZoneNetwork, short: _Short, outlet: float) -> tuple[float, float, Solution]:
    """The least head at the pump that gives velocity and pressure, the head before the valve, and what water then does.

    To raise both heads alike leaves the flows of compensating emitters as they are, and changes those of others a
    little: velocity and pressure are met by turns. A valve cannot suck: where pressure is over the least with the
    valve wide open, velocity alone counts.
    """
    wanted = least_pressure(design)
    back = start_head(design, bed) - 3.0
    held = back + 3.0
    solution: Solution | None = None
    for _ in range(ROUNDS):
        now = bed.backed_by(back)
        held, solution = meet(now.fed_at, short, held, step=1.0, slack=SPEED_MET, start=solution)
        lift = wanted - float(bed.pressures(solution).min())
        if abs(lift) <= HEAD_MET or (back <= outlet and lift <= 0):
            break
        lift = max(lift, outlet - back)
        back, held = back + lift, held + lift
    else:
        raise NoBalanceError(Fault(said="no head is found that flushes the field and keeps its pressure"))
    return held, back, solution


def _coefficient(bed: ZoneNetwork, solution: Solution, head: float) -> float | None:
    """What the valve takes in velocity heads of the return line; None where nothing flows through it."""
    through = float(solution.flows[bed.network.ends == bed.valve].sum())
    velocity = through / (math.pi / 4.0 * bed.return_bore**2)
    return 2.0 * bed.network.gravity * head / velocity**2 if velocity > 0 else None
