"""What water is like at a temperature: density and viscosity between freezing and boiling."""

from __future__ import annotations

import math

FREEZING, BOILING = 0.0, 100.0
"""Between these the formulas hold [°C]."""
VISCOSITY_AT_20 = 1.002e-3
"""Dynamic viscosity of water at 20 °C [Pa·s]."""


def density(temperature: float) -> float:
    """Density of water at one atmosphere [kg/m³], after Kell (1975; from memory).

    Parameters
    ----------
    temperature : float
        0 to 100 [°C].

    Examples
    --------
    >>> round(density(20.0), 2), round(density(4.0), 2)
    (998.2, 999.97)
    """
    t = _within(temperature)
    above = (
        999.83952
        + 16.945176 * t
        - 7.9870401e-3 * t**2
        - 46.170461e-6 * t**3
        + 105.56302e-9 * t**4
        - 280.54253e-12 * t**5
    )
    return above / (1.0 + 16.879850e-3 * t)


def kinematic_viscosity(temperature: float) -> float:
    """Kinematic viscosity of water [m²/s], after Kestin, Sokolov and Wakeham (1978; from memory).

    Parameters
    ----------
    temperature : float
        0 to 100 [°C].

    Examples
    --------
    >>> [round(1e6 * kinematic_viscosity(t), 3) for t in (0.0, 10.0, 20.0, 30.0)]
    [1.793, 1.308, 1.004, 0.801]
    """
    t = _within(temperature)
    below = 20.0 - t
    power = (below / (t + 96.0)) * (1.2378 - 1.303e-3 * below + 3.06e-6 * below**2 + 2.55e-8 * below**3)
    return VISCOSITY_AT_20 * math.pow(10.0, power) / density(t)


def _within(temperature: float) -> float:
    if not FREEZING <= temperature <= BOILING:
        raise ValueError(f"{temperature:g} °C is not between {FREEZING:g} and {BOILING:g} °C")
    return temperature
