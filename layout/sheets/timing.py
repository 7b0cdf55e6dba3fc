"""Volumes that are timed at a meter, and for how long: a stop watch should run long enough to be read."""

from __future__ import annotations

import math

from layout.emitters import seconds_per_volume
from layout.sheets.figures import plain
from layout.units import LITRE, MINUTE, UnitSet

LEAST_TIME = 15.0
"""A stop watch should run at least so long, so that half a second of the hand is within 3 to 4 % [s]."""
MULTIPLES = (1, 5, 10, 50, 100, 500, 1000, 5000)
TENTHS_UP_TO = 10.0
"""Minutes below this are told in tenths."""


def unit_volume(units: UnitSet) -> tuple[float, str]:
    """The volume that readings are told by: a gallon, or ten litres [m³], and its name."""
    return (10 * LITRE, "10 L") if units.word == "m" else (units.volume, "gal")


def timed_volume(flow: float, units: UnitSet) -> float:
    """The volume to time [m³]: the least round one for which a watch runs long enough at a flow [m³/s]."""
    one = unit_volume(units)[0]
    times = ((one * many, seconds_per_volume(flow, one * many)) for many in MULTIPLES)
    return next((volume for volume, seconds in times if seconds >= LEAST_TIME), one * MULTIPLES[-1])


def measure_of(volume: float, units: UnitSet) -> str:
    """Print a volume to time [m³], with its unit: ``50 gal``."""
    return f"{plain(volume / units.volume, 0)} {units.volume_name}"


def seconds_of(flow: float, volume: float) -> str:
    """Print the time in which a flow [m³/s] gives a volume [m³], in tenths of a second."""
    return plain(seconds_per_volume(flow, volume), 1)


def minutes_up(seconds: float) -> str:
    """Print minutes that must have passed, rounded up: tenths of few, whole ones of many.

    Parameters
    ----------
    seconds : float

    Examples
    --------
    >>> minutes_up(60 * 13.45), minutes_up(60 * 2.81), minutes_up(60 * 3.0), minutes_up(math.inf)
    ('14', '2.9', '3.0', 'any number of')
    """
    if not math.isfinite(seconds):
        return "any number of"
    minutes = seconds / MINUTE
    step = 10.0 if minutes < TENTHS_UP_TO else 1.0
    return plain(math.ceil(minutes * step - 1e-9) / step, 1 if step > 1 else 0)
