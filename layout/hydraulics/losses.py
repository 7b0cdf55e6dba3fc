"""Head lost in pipe: by friction, after Darcy and Weisbach or Hazen and Williams, and in fittings.

The formulas and coefficients are those of the US EPA's public manual for water networks (EPANET 2.2 User Manual,
chapter 3, tables "Pipe Headloss Formulas for Full Flow" and "Minor Loss Coefficients for Selected Fittings").
"""

from __future__ import annotations

import math

import numpy as np

from layout.plane import Array
from layout.units import FOOT

LAMINAR, TURBULENT = 2000.0, 4000.0
"""Reynolds numbers up to which flow is laminar, and from which it is turbulent; between them a cubic joins both."""
PLASTIC_ROUGHNESS = 0.005e-3 * FOOT
"""Height of roughness of plastic pipe [m]: 0.005 thousandths of a foot (same manual)."""
FITTING_LOSSES: dict[str, float] = {
    "tee, straight on": 0.6,
    "tee, to or from the side": 1.8,
    "elbow": 0.9,
    "elbow 90": 0.9,
    "elbow 45": 0.4,
    "elbow 22.5": 0.2,
    "zone valve": 0.2,
    "exit": 1.0,
}
"""Heads lost over velocity heads. Elbows are of short radius; the valve is an open gate valve (same
manual). Half of an elbow of 45 degrees is taken for one of 22.5: judgement. Couplings and connectors,
and the emitters that stand in the way of water inside the tubing, are taken to lose nothing."""


def friction_factor(reynolds: Array, relative_roughness: Array) -> tuple[Array, Array]:
    """Friction factor of Darcy and Weisbach in round pipe, and its slope over the Reynolds number.

    Laminar: 64 over Reynolds (Hagen and Poiseuille); turbulent: Swamee and Jain; between them the cubic of Dunlop,
    which meets both with the same value, and the turbulent one with the same slope.

    Parameters
    ----------
    reynolds : array
        Over 0.
    relative_roughness : array
        Height of roughness over bore.

    Returns
    -------
    tuple of arrays
        The factor, and its slope.
    """
    factor = 64.0 / reynolds
    slope = -factor / reynolds
    turbulent = reynolds >= TURBULENT
    re, rough = reynolds[turbulent], relative_roughness[turbulent] / 3.7
    smooth = 5.74 / re**0.9
    logs = np.log10(rough + smooth)
    factor[turbulent] = 0.25 / logs**2
    slope[turbulent] = 0.45 * smooth / (logs**3 * (rough + smooth) * math.log(10.0) * re)
    between = (reynolds > LAMINAR) & ~turbulent
    if between.any():
        factor[between], slope[between] = _cubic(reynolds[between], relative_roughness[between] / 3.7)
    return factor, slope


def _cubic(reynolds: Array, rough: Array) -> tuple[Array, Array]:
    """The friction factor between laminar and turbulent flow, and its slope."""
    at_end = 5.74 / TURBULENT**0.9
    logs = np.log10(rough + at_end)
    fa = 0.25 / logs**2
    # Twice the sum of the factor and its slope over the ratio to LAMINAR, at the turbulent end.
    fb = fa * (2.0 + 1.8 * at_end / (logs * (rough + at_end) * math.log(10.0)))
    x1, x2, x3, x4 = (
        7.0 * fa - fb,
        0.128 - 17.0 * fa + 2.5 * fb,
        -0.128 + 13.0 * fa - 2.0 * fb,
        0.032 - 3.0 * fa + 0.5 * fb,
    )
    r = reynolds / LAMINAR
    return x1 + r * (x2 + r * (x3 + r * x4)), (x2 + r * (2.0 * x3 + 3.0 * r * x4)) / LAMINAR


def darcy_weisbach(
    flow: Array, length: Array, bore: Array, *, viscosity: float, roughness: float, gravity: float
) -> tuple[Array, Array]:
    """Head lost by friction, and its slope over the flow; laminar, turbulent or between.

    Parameters
    ----------
    flow, length, bore : arrays
        [m³/s], below 0 for flow from end to start; [m]; [m].
    viscosity : float
        Kinematic [m²/s].
    roughness : float
        Height of roughness [m].
    gravity : float
        [m/s²].

    Returns
    -------
    tuple of arrays
        Head lost from start to end [m], of the sign of the flow; its slope [m per m³/s], over 0 everywhere.
    """
    # 8 / (g π²) L / D⁵ f q |q|; laminar it is a straight line through 0.
    scale = 8.0 * length / (gravity * math.pi**2 * bore**5)
    to_reynolds = 4.0 / (math.pi * viscosity * bore)
    size = np.abs(flow)
    reynolds = size * to_reynolds
    slope = scale * 64.0 / to_reynolds
    lost = slope * size
    fast = reynolds > LAMINAR
    if fast.any():
        factor, steep = friction_factor(reynolds[fast], roughness / bore[fast])
        lost[fast] = scale[fast] * factor * size[fast] ** 2
        slope[fast] = scale[fast] * (2.0 * factor * size[fast] + steep * to_reynolds[fast] * size[fast] ** 2)
    return np.copysign(lost, flow), slope


def hazen_williams(flow: Array, length: Array, bore: Array, *, smoothness: float) -> tuple[Array, Array]:
    """Head lost by friction after Hazen and Williams, and its slope over the flow.

    Made for turbulent water at common temperatures; too low in laminar flow, as at the ends of drip tubing.

    Parameters
    ----------
    flow, length, bore : arrays
        [m³/s], [m], [m].
    smoothness : float
        The coefficient C: 140 to 150 for new plastic pipe (same manual).

    Returns
    -------
    tuple of arrays
        Head lost from start to end [m], of the sign of the flow; its slope [m per m³/s], over 0 everywhere.
    """
    power = 1.852
    scale = 4.727 * smoothness**-power * (bore / FOOT) ** -4.871 * length * FOOT ** (-3.0 * power)
    size = np.abs(flow)
    # So little flow that the curve may be a straight line there: else its slope would be nothing at 0.
    little = 1e-6 * math.pi / 4.0 * bore**2
    straight = scale * little ** (power - 1.0)
    slow = size < little
    lost = np.where(slow, straight * size, scale * size**power)
    slope = np.where(slow, straight, power * scale * size ** (power - 1.0))
    return np.copysign(lost, flow), slope


def fitting_loss(flow: Array, bore: Array, coefficient: Array, *, gravity: float) -> tuple[Array, Array]:
    """Head lost in fittings, and its slope over the flow.

    Parameters
    ----------
    flow, bore : arrays
        [m³/s], [m].
    coefficient : array
        Velocity heads lost.
    gravity : float
        [m/s²].
    """
    scale = 8.0 * coefficient / (gravity * math.pi**2 * bore**4)
    size = np.abs(flow)
    return scale * flow * size, 2.0 * scale * size
