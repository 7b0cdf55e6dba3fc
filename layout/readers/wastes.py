"""Wastes as the site file states them: per cent of tubing and pipe, or of single items."""

from __future__ import annotations

import difflib
from typing import Annotated, Any

from pydantic import PlainValidator

from layout.readers.values import is_number, quoted, wrong
from layout.takeoff import ITEMS

REST = "tubing and pipe"
"""In a table of wastes, all tubing and pipe that is not named."""


def share_of(value: Any, what: str = "") -> float:
    """A waste typed in per cent, as a share; 0.05, which means 5 % to some, is refused."""
    if not is_number(value):
        raise wrong(f"{what}found {quoted(value)}, but it must be a number of per cent")
    if value < 0:
        raise wrong(f"{what}found {quoted(value)}, but waste is 0 or more")
    if 0 < value < 1:
        remedy = f"It is in per cent: write {100 * value:g} for {100 * value:g} %."
        raise wrong(
            f"{what}found {quoted(value)}, less than one per cent, and likely meant as a share", remedy
        )
    if value > 100:
        raise wrong(f"{what}found {quoted(value)}, but it must be 100 per cent at most")
    return float(value) / 100.0


def _waste(value: Any) -> dict[str, float]:
    if not isinstance(value, dict):
        return {REST: share_of(value)}
    for name in value:
        if name != REST and name not in ITEMS:
            near = difflib.get_close_matches(str(name), [REST, *ITEMS], n=1, cutoff=0.0)[0]
            raise wrong(f"there is no item {quoted(str(name))}", f"The nearest is {quoted(near)}.")
    return {str(name): share_of(each, f"{name}: ") for name, each in value.items()}


Waste = Annotated[Any, PlainValidator(_waste)]
