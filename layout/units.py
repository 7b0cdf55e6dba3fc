"""Units: exact factors between what the user writes and the SI values used inside.

Inside the library every bare name is SI: length and coordinates [m], flow [m³/s], volume [m³],
pressure as head of water [m], velocity [m/s], time [s]. A name with a suffix (``spacing_ft``) is not.
"""

from __future__ import annotations

from dataclasses import dataclass

FOOT = 0.3048
"""International foot [m], exact (NIST SP 811)."""
US_SURVEY_FOOT = 1200.0 / 3937.0
"""US survey foot [m], exact (NIST SP 811; deprecated 31 Dec 2022, 85 FR 62698)."""
INCH = 0.0254
"""Inch [m], exact."""
GALLON = 231 * INCH**3
"""US gallon [m³]: 231 cubic inches, exact."""
LITRE = 1e-3
"""Litre [m³], exact."""
MINUTE = 60.0
HOUR = 3600.0
DAY = 86400.0
STANDARD_GRAVITY = 9.80665
"""Standard acceleration of gravity [m/s²] (ISO 80000-3)."""
WATER_DENSITY = 1000.0
"""Density of water taken for head [kg/m³]."""
POUND_PER_SQUARE_INCH = 0.45359237 * STANDARD_GRAVITY / INCH**2
"""Pound-force per square inch [Pa], exact."""
WATER_HEAD_PER_PASCAL = 1.0 / (WATER_DENSITY * STANDARD_GRAVITY)
"""Head of water [m] under one pascal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitSet:
    """The trade units that go with one ``units`` word of the site file, as SI factors and as printed names.

    Multiply a user's figure by the factor to get SI; divide an SI value to print it.

    Attributes
    ----------
    word : str
        What the site file says: ``ft``, ``us-ft`` or ``m``.
    length, length_name
        Lengths, coordinates, levels, heads [m per unit].
    area, area_name
        Ground [m² per unit].
    diameter, diameter_name
        Pipe and tubing diameters [m per unit].
    emitter_flow, emitter_flow_name
        Flow of one emitter, and hourly totals [m³/s per unit].
    flow, flow_name
        Flow of a field, per minute [m³/s per unit].
    daily_flow, daily_flow_name
        Design flow, per day [m³/s per unit].
    loading, loading_name
        Daily flow the ground takes, per area [m/s per unit].
    volume, volume_name
        Volume [m³ per unit].
    pressure, pressure_name
        Pressure as head of water [m per unit].
    velocity, velocity_name
        Velocity [m/s per unit].
    """

    word: str
    length: float
    length_name: str
    area: float
    area_name: str
    diameter: float
    diameter_name: str
    emitter_flow: float
    emitter_flow_name: str
    flow: float
    flow_name: str
    daily_flow: float
    daily_flow_name: str
    loading: float
    loading_name: str
    volume: float
    volume_name: str
    pressure: float
    pressure_name: str
    velocity: float
    velocity_name: str


def _feet(word: str, foot: float) -> UnitSet:
    """The US trade units over one of the two feet."""
    return UnitSet(
        word=word,
        length=foot,
        length_name="ft",
        area=foot**2,
        area_name="ft²",
        diameter=INCH,
        diameter_name="in",
        emitter_flow=GALLON / HOUR,
        emitter_flow_name="gal/h",
        flow=GALLON / MINUTE,
        flow_name="gal/min",
        daily_flow=GALLON / DAY,
        daily_flow_name="gal/day",
        loading=GALLON / DAY / foot**2,
        loading_name="gal/ft²/day",
        volume=GALLON,
        volume_name="gal",
        pressure=POUND_PER_SQUARE_INCH * WATER_HEAD_PER_PASCAL,
        pressure_name="psi",
        velocity=foot,
        velocity_name="ft/s",
    )


_METRIC = UnitSet(
    word="m",
    length=1.0,
    length_name="m",
    area=1.0,
    area_name="m²",
    diameter=1e-3,
    diameter_name="mm",
    emitter_flow=LITRE / HOUR,
    emitter_flow_name="L/h",
    flow=LITRE / MINUTE,
    flow_name="L/min",
    daily_flow=LITRE / DAY,
    daily_flow_name="L/day",
    loading=LITRE / DAY,
    loading_name="L/m²/day",
    volume=LITRE,
    volume_name="L",
    pressure=1000.0 * WATER_HEAD_PER_PASCAL,
    pressure_name="kPa",
    velocity=1.0,
    velocity_name="m/s",
)

UNIT_SETS: dict[str, UnitSet] = {
    "ft": _feet("ft", FOOT),
    "us-ft": _feet("us-ft", US_SURVEY_FOOT),
    "m": _METRIC,
}
"""The unit sets by the word of the site file."""
