"""Dosing: the return is shut, the pump gives its water to the emitters alone."""

from __future__ import annotations

from layout.hydraulics.laws import PumpCurve
from layout.hydraulics.meet import meet
from layout.hydraulics.network import ZoneNetwork
from layout.hydraulics.solve import solve
from layout.hydraulics.state import head_for_pressure, start_head, told
from layout.model import Design, WaterState

FLOW_MET = 1e-9
"""A flow is met that is off by no more, over itself."""


def dose(design: Design, bed: ZoneNetwork, curve: PumpCurve | None) -> WaterState:
    """Work out a zone being dosed.

    Parameters
    ----------
    design : Design
    bed : ZoneNetwork
        With its return shut.
    curve : PumpCurve or None
        With what filters take. None: the head that the field needs is held.

    Returns
    -------
    WaterState

    Raises
    ------
    NoBalanceError
    """
    level, filters = float(bed.network.levels[bed.tank]), design.site.design.filter_loss or 0.0
    held, solution = head_for_pressure(design, bed, first=start_head(design, bed))
    needed = (bed.given(solution), held - level + filters)
    if curve is not None:
        solution = solve(bed.pumped(curve), start=solution)
        head = curve.head(bed.given(solution)) + filters
        return told(design, bed, solution, head=head, needed=needed, curve=curve)
    if not design.site.tubing.compensating:
        whole = design.site.tubing.emitter_flow * len(bed.network.emitters)
        at_mean, mean = meet(
            bed.fed_at,
            lambda found: float(found.emitted.sum()) / whole - 1.0,
            held,
            step=1.0,
            slack=FLOW_MET,
            start=solution,
        )
        if at_mean > held:
            held, solution = at_mean, mean
    return told(design, bed, solution, head=held - level + filters, needed=needed, curve=None)
