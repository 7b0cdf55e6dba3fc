"""What an emitter gives at a head, and what a pump lifts at a flow."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from layout.model import need
from layout.plane import Array

NEAR_NOTHING = 1e-4
"""Below this share of its head an emitter's flow is taken to fall to nothing in a straight line."""
STARVED_EXPONENT = 0.5
"""Power of the head that a compensating emitter below its range follows: an orifice; judgement."""
STOPPED = 1e9
"""Slope of a pump's curve where water would run back through it: its check valve [m per m³/s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EmitterLaw:
    """The flow of an emitter over the head at it.

    Attributes
    ----------
    flow : float
        At `head`, and of a compensating emitter at any greater head [m³/s].
    head : float
        [m].
    exponent : float
        Power of the head that the flow follows; of a compensating emitter below `head`.
    compensating : bool
    """

    flow: float
    head: float
    exponent: float = STARVED_EXPONENT
    compensating: bool = True

    def __post_init__(self) -> None:
        need(self.flow > 0 and self.head > 0, "an emitter has a flow at a head, both over 0")
        need(0 < self.exponent <= 1, "the exponent of an emitter lies over 0, and is 1 at most")

    def at(self, head: Array, *, gentle: float = 0.0) -> tuple[Array, Array]:
        """Flow at heads [m³/s], and its slope [m³/s per m]; no water enters an emitter.

        Parameters
        ----------
        head : array
            [m].
        gentle : float
            Over 0, the law is made straight up to this share of the head, and lets water in below 0 in that share:
            nothing that an emitter does, but a way to come near the answer.

        Examples
        --------
        >>> law = EmitterLaw(flow=1.0, head=9.0, compensating=True)
        >>> [float(q) for q in law.at(np.array([-1.0, 2.25, 9.0, 30.0]))[0]]
        [0.0, 0.5, 1.0, 1.0]
        """
        share = head / self.head
        straight = max(gentle, NEAR_NOTHING)
        held = np.maximum(share, straight)
        flow = self.flow * held**self.exponent
        slope = self.exponent * flow / (held * self.head)
        steep = self.flow * straight ** (self.exponent - 1.0) / self.head
        slope = np.where(share < straight, np.where(head > 0, steep, gentle * steep), slope)
        flow = np.where(share < straight, slope * head, flow) + 0.0  # never a negative nothing
        if self.compensating:
            kept = share >= 1.0
            flow, slope = np.where(kept, self.flow, flow), np.where(kept, 0.0, slope)
        return flow, slope


@dataclass(frozen=True, kw_only=True)
class PumpCurve:
    """The head a pump gives over its flow.

    Of three points of which the first is at no flow it is the curve h = a - b q^c through them, where that can
    be (EPANET 2.2 User Manual, chapter 3, "Pumps"); else straight from point to point, and on beyond the last.

    Attributes
    ----------
    points : tuple of (flow, head)
        [m³/s], [m]; flows rise and heads fall.
    loss : float
        Head lost at the pump whatever the flow, as in filters [m].
    """

    points: tuple[tuple[float, float], ...]
    loss: float = 0.0

    def __post_init__(self) -> None:
        flows, heads = (np.diff([point[k] for point in self.points]) for k in (0, 1))
        need(len(self.points) >= 2, "a pump curve has two points or more")
        need(bool((flows > 0).all() and (heads < 0).all()), "along a pump curve flow rises and head falls")

    @cached_property
    def _power(self) -> tuple[float, float, float] | None:
        if len(self.points) != 3 or self.points[0][0] != 0:
            return None
        (_, top), (q1, h1), (q2, h2) = self.points
        power = float(np.log((top - h2) / (top - h1)) / np.log(q2 / q1))
        return (top, (top - h1) / q1**power, power) if power > 1 else None

    @property
    def is_straight(self) -> bool:
        """Whether it is straight from point to point."""
        return self._power is None

    @property
    def most(self) -> float:
        """The greatest flow that the curve tells of [m³/s]."""
        return self.points[-1][0]

    def head(self, flow: float) -> float:
        """Head given to the water behind what is lost at the pump [m].

        Examples
        --------
        >>> PumpCurve(points=((0.0, 30.0), (2.0, 10.0)), loss=1.0).head(1.5)
        14.0
        """
        return self.lift(flow)[0]

    def lift(self, flow: float) -> tuple[float, float]:
        """Head given [m], and by how much it falls with the flow [m per m³/s]; steeply where water would run back."""
        flattest = 1e-6 * self.points[0][1] / self.most
        if flow < 0:
            return self.lift(0.0)[0] - STOPPED * flow, STOPPED
        if self._power is not None:
            top, scale, power = self._power
            return (
                top - self.loss - scale * flow**power,
                max(scale * power * float(flow) ** (power - 1.0), flattest),
            )
        number = 1
        while number < len(self.points) - 1 and flow > self.points[number][0]:
            number += 1
        (q0, h0), (q1, h1) = self.points[number - 1 : number + 1]
        steep = (h0 - h1) / (q1 - q0)
        return h0 - self.loss - steep * (flow - q0), steep
