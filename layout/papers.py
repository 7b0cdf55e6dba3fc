"""Sizes of drawing sheets by name, and the standard scales of drawings.

Sizes: ANSI/ASME Y14.1, the architectural series, ISO 216. Scales: the faces of an engineer's scale, and ISO 5455
with its usual in-between steps (all from memory).
"""

from __future__ import annotations

import re

from layout.units import FOOT, INCH

_AMERICAN = {
    "ANSI A": (11.0, 8.5),
    "ANSI B": (17.0, 11.0),
    "ANSI C": (22.0, 17.0),
    "ANSI D": (34.0, 22.0),
    "ANSI E": (44.0, 34.0),
    "ARCH A": (12.0, 9.0),
    "ARCH B": (18.0, 12.0),
    "ARCH C": (24.0, 18.0),
    "ARCH D": (36.0, 24.0),
    "ARCH E1": (42.0, 30.0),
    "ARCH E": (48.0, 36.0),
}
_ISO = {
    "A4": (297.0, 210.0),
    "A3": (420.0, 297.0),
    "A2": (594.0, 420.0),
    "A1": (841.0, 594.0),
    "A0": (1189.0, 841.0),
}
SIZES: dict[str, tuple[float, float]] = {
    **{name: (wide * INCH, high * INCH) for name, (wide, high) in _AMERICAN.items()},
    **{name: (wide / 1000.0, high / 1000.0) for name, (wide, high) in _ISO.items()},
}
"""Width and height of sheets by name, on their long side [m]."""
METRIC: frozenset[str] = frozenset(_ISO)
"""Those that are trimmed in millimetres."""
_FACES = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
_STEPS = (1.0, 1.25, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5)
_LEAST, _MOST = 10.0, 100_000.0
_FIGURE = r"(\d{1,6}(?:\.\d{1,3})?)"
_WORDS = re.compile(rf"\s*1\s*(?:in|inch|\")\s*=\s*{_FIGURE}\s*(?:ft|feet|')\s*", re.IGNORECASE)
_RATIO = re.compile(rf"\s*1\s*:\s*{_FIGURE}\s*")
_PARTS = FOOT / INCH
"""Inches of paper to a foot of ground at full size."""


def ratio_of(text: str, *, foot: float = FOOT) -> float | None:
    """Read a scale: ground over paper, 240 for ``1 in = 20 ft``; None for what is no standard scale.

    Parameters
    ----------
    text : str
        ``1 in = 20 ft`` or ``1:200``.
    foot : float
        The foot that is meant [m].
    """
    found = _WORDS.fullmatch(text)
    if found:
        face = float(found.group(1))
        fits = _is_step(face, _FACES) and _LEAST <= _PARTS * face <= _MOST
        return face * foot / INCH if fits else None
    found = _RATIO.fullmatch(text)
    if found:
        ratio = float(found.group(1))
        standard = _is_step(ratio, _STEPS) or _is_step(ratio / _PARTS, _FACES)
        return ratio if standard and _LEAST <= ratio <= _MOST else None
    return None


def in_words(ratio: float, *, foot: float | None) -> str:
    """Print a ratio: ``1 in = 20 ft`` for one of an engineer's scale, where the site has feet; else ``1 : 200``."""
    if foot is not None:
        face = ratio * INCH / foot
        # the two feet, one of which a ratio means, differ by less than is printed
        if _is_step(face, _FACES):
            return f"1 in = {face:.5g} ft"
    return f"1 : {ratio:.6g}"


def _is_step(value: float, steps: tuple[float, ...]) -> bool:
    """Whether a number is one of the steps times a power of ten."""
    if value <= 0:
        return False
    return any(abs(value - step * 10.0**power) <= 1e-5 * value for step in steps for power in range(6))
