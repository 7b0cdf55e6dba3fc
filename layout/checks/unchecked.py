"""What no check of a design speaks of, since what it would need is not given: so that "ok" is not read as more."""

from __future__ import annotations

from collections.abc import Iterator

from layout.model import Check, Design


def unchecked(design: Design) -> tuple[str, ...]:
    """Name what the design checks leave out for want of figures or of a survey.

    Parameters
    ----------
    design : Design
        Finished, with what water does in it.

    Returns
    -------
    tuple of str
        In a reviewer's words, as ``rise to the bed``; empty where all that there are checks for is checked.
    """
    return tuple(_left_out(design))


def _left_out(design: Design) -> Iterator[str]:
    basis, pump, water = design.site.design, design.site.pump, design.hydraulics
    if basis.flow is None or basis.loading is None:
        yield "loading"
    if water is None:
        yield "flows and pressures"
    else:
        if basis.flush_velocity is None:
            yield "flushing"
        if pump is None or not pump.curve:
            yield "the pump"
        if not water.levels_known:
            yield "rise to the bed"
        if basis.filter_loss is None:
            yield "loss of filter, meter and valves at the pump"
    plumbing = design.plumbing
    returns = {pipe.zone for pipe in plumbing.manifolds if pipe.kind == "return" and plumbing.way_to(pipe)}
    if returns and sum(map(_is_fall, design.checks)) < len(returns):
        yield "fall of the return line"


def _is_fall(check: Check) -> bool:
    return check.name.startswith("fall of the return line")
