"""How figures are printed on sheets: in the site's units, each kind with its decimals, everywhere the same.

Lengths have 2 decimals on every sheet and in the takeoff, so that footage is one number wherever it stands.
"""

from __future__ import annotations

from layout.model import Check
from layout.units import UnitSet


def plain(value: float, decimals: int, *, thousands: bool = True) -> str:
    """Print a number with fixed decimals; never a negative zero."""
    text = f"{value:,.{decimals}f}" if thousands else f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.,") else text


_SPELT = {"centre": "center", "coloured": "colored", "Licence": "License"}


def spelt(word: str, units: UnitSet) -> str:
    """Spell a word as sheets of its units have it: in feet as in the United States.

    Examples
    --------
    >>> from layout.units import UNIT_SETS
    >>> spelt("centre", UNIT_SETS["us-ft"]), spelt("centre", UNIT_SETS["m"])
    ('center', 'centre')
    """
    return word if units.word == "m" else _SPELT[word]


class Figures:
    """Prints SI values in the trade units of one site."""

    def __init__(self, units: UnitSet) -> None:
        self.units = units

    def length(self, value: float) -> str:
        """Print a length [m], without its unit."""
        return plain(value / self.units.length, 2)

    def length_of(self, value: float) -> str:
        """Print a length [m], with its unit."""
        return f"{self.length(value)} {self.units.length_name}"

    def area_of(self, value: float) -> str:
        """Print an area [m²], with its unit: whole square feet, tenths of a square metre."""
        return f"{plain(value / self.units.area, 1 if self.units.word == 'm' else 0)} {self.units.area_name}"

    def diameter_of(self, value: float) -> str:
        """Print a nominal diameter [m], with its unit."""
        return f"{value / self.units.diameter:.6g} {self.units.diameter_name}"

    def hourly(self, value: float) -> str:
        """Print a flow per hour [m³/s], without its unit."""
        return plain(value / self.units.emitter_flow, 2)

    def hourly_of(self, value: float) -> str:
        """Print a flow per hour [m³/s], with its unit."""
        return f"{self.hourly(value)} {self.units.emitter_flow_name}"

    def flow(self, value: float) -> str:
        """Print a flow per minute [m³/s], without its unit."""
        return plain(value / self.units.flow, 2)

    def flow_of(self, value: float) -> str:
        """Print a flow per minute [m³/s], with its unit."""
        return f"{self.flow(value)} {self.units.flow_name}"

    def volume(self, value: float) -> str:
        """Print a volume [m³], without its unit."""
        return plain(value / self.units.volume, 1)

    def daily_of(self, value: float) -> str:
        """Print a flow per day [m³/s], with its unit."""
        return f"{plain(value / self.units.daily_flow, 0)} {self.units.daily_flow_name}"

    def loading_of(self, value: float) -> str:
        """Print a daily flow per area [m/s], with its unit."""
        return f"{plain(value / self.units.loading, 3)} {self.units.loading_name}"

    def pressure_of(self, value: float) -> str:
        """Print a pressure [m of water], with its unit."""
        return f"{plain(value / self.units.pressure, 1)} {self.units.pressure_name}"

    def velocity_of(self, value: float) -> str:
        """Print a velocity [m/s], with its unit."""
        return f"{plain(value / self.units.velocity, 2)} {self.units.velocity_name}"

    def share(self, value: float) -> str:
        """Print a share of one, in per cent."""
        return f"{plain(100 * value, 1)} %"

    def of_check(self, check: Check, value: float) -> str:
        """Print a check's value or limit [SI], with its unit."""
        return {
            "length": self.length_of,
            "area": self.area_of,
            "count": lambda count: plain(count, 0),
            "ratio": self.share,
            "factor": lambda factor: plain(factor, 3),
            "flow": self.flow_of,
            "loading": self.loading_of,
            "pressure": self.pressure_of,
            "velocity": self.velocity_of,
        }[check.unit](value)


def of_check(check: Check, value: float, units: UnitSet) -> float:
    """Give a check's value or limit as a number in the site's units; a ratio is a share of one."""
    factor = {
        "length": units.length,
        "area": units.area,
        "count": 1.0,
        "ratio": 1.0,
        "factor": 1.0,
        "flow": units.flow,
        "loading": units.loading,
        "pressure": units.pressure,
        "velocity": units.velocity,
    }[check.unit]
    return value / factor
