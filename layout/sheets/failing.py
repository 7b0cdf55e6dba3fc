"""Design checks that fail at places which the plan can show, each with the number of its marks."""

from __future__ import annotations

from dataclasses import dataclass

from layout.model import XY, Check, Design, places_in

_MOST = 12
"""Places of one check that are marked; its words name the others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failing:
    """A check that fails, with its marks.

    Attributes
    ----------
    number : int
        Of its marks, from 1.
    check : Check
    places : tuple of (x, y)
        [m].
    """

    number: int
    check: Check
    places: tuple[XY, ...]


def failing(design: Design) -> list[Failing]:
    """List the checks that fail and say where, in their order."""
    told = [
        (check, places_in(design.site.frame, check.place)[:_MOST]) for check in design.checks if not check.ok
    ]
    return [
        Failing(number=number, check=check, places=tuple(places))
        for number, (check, places) in enumerate((item for item in told if item[1]), start=1)
    ]
