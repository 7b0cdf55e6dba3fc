"""What a tape can read, and what coordinates are printed to: figures rounded once, before anything is worked out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layout.model import Frame, Rounding, StakeRules
from layout.plane import Array

FEET: Rounding = "0.05 ft"
METRES: Rounding = "1 cm"
STEPS: dict[Rounding, float] = {"0.05 ft": 0.05, "1/8 in": 1 / 96, "1 cm": 0.01}
"""What each rounding is, in the site's unit of length: feet, or metres for ``1 cm``."""
FINE_FEET = 0.01
FINE_METRES = 0.001
"""Coordinates are printed to hundredths of a foot, or to millimetres [site units]."""
FINEST = 1e-6
SHARE = 5
"""Where the tolerance is under so many times that, to as many more decimals as it takes."""


def rounding_of(rules: StakeRules, frame: Frame) -> Rounding:
    """What distances are rounded to, by its word: as stated, or as tapes in the site's units are divided."""
    return rules.rounding or (METRES if frame.units.word == "m" else FEET)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tape:
    """How finely the stake-out of one site is measured.

    Attributes
    ----------
    step : float
        What distances are rounded to [m].
    grain : float
        What coordinates are rounded to [m].
    frame : Frame
    """

    step: float
    grain: float
    frame: Frame

    @classmethod
    def of(cls, rules: StakeRules, frame: Frame) -> Tape:
        """Choose by the rules and units of a site."""
        length = frame.units.length
        grain = FINE_METRES if frame.units.word == "m" else FINE_FEET
        while grain > max(rules.tolerance / length / SHARE, FINEST):
            grain /= 10
        return cls(step=STEPS[rounding_of(rules, frame)] * length, grain=grain * length, frame=frame)

    def read(self, lengths: Array) -> Array:
        """Lengths rounded to the nearest mark of the tape [m]."""
        return np.asarray(np.rint(lengths / self.step) * self.step + 0.0)

    def printed(self, points: Array) -> Array:
        """Points whose site coordinates are rounded as they are printed, shape (n, 2) [m]."""
        length = self.frame.units.length
        grain = self.grain / length
        origin = np.asarray(self.frame.origin, dtype=np.float64)
        rounded = np.rint((origin + np.asarray(points).reshape(-1, 2) / length) / grain) * grain
        return np.asarray((rounded - origin) * length)
