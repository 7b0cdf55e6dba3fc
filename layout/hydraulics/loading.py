"""Whether ground and tubing as laid out can take the day's water at the stated loading."""

from __future__ import annotations

from collections.abc import Iterator

from layout.model import Check, Design

ROUNDING = 1e-9
"""What rounding may cost, as a share of the limit."""


def loading_checks(design: Design) -> Iterator[Check]:
    """Compare the ground that the flow needs at the stated loading, and the tubing for it, with what there is.

    The tubing needed is that of the ground needed with runs a run spacing apart: area over spacing (derived).

    Parameters
    ----------
    design : Design

    Yields
    ------
    Check
        None where flow or loading is not stated.
    """
    basis, spacing = design.site.design, design.site.runs.spacing
    if basis.flow is None or basis.loading is None:
        return
    needed = basis.flow / basis.loading
    usable = float(design.ground.area.area)
    yield Check(
        name="usable ground for the stated flow",
        value=usable,
        limit=needed,
        unit="area",
        sense="least",
        ok=usable >= needed * (1.0 - ROUNDING),
        source="design.flow, design.loading",
        place="" if usable >= needed * (1.0 - ROUNDING) else "all of the bed",
    )
    tubing = design.totals.tubing
    enough = tubing >= needed / spacing * (1.0 - ROUNDING)
    yield Check(
        name="tubing for the stated flow",
        value=tubing,
        limit=needed / spacing,
        unit="length",
        sense="least",
        ok=enough,
        source="design.flow, design.loading, runs.spacing",
        place="" if enough else "all of the bed",
    )
