"""How wide lettering is: one measured typeface, so that labels can be placed before anything is drawn.

Heights are those of a capital letter, as plotted [in]. The typeface comes with the plotting library, so every
machine measures and draws the same. A CAD program may draw the text of a DXF in a narrower one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from layout.model import XY
from layout.sheets.marks import Text

CAPITAL = 1493 / 2048
"""Height of a capital of the typeface over its nominal size."""
BELOW, ABOVE = 0.32, 1.10
"""How far a line of text reaches below and above its base line, in heights of a capital."""
_HANGING = frozenset("gjpqyQ,;()[]|/@_")
_SAMPLE = 100.0


def font_file(*, strong: bool) -> Path:
    """Find the file of the typeface, or of its heavier cut."""
    import matplotlib

    name = "DejaVuSans-Bold.ttf" if strong else "DejaVuSans.ttf"
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name


class Lettering:
    """Measures text in the sheets' typeface; keeps what it has measured while it lives."""

    def __init__(self) -> None:
        self._widths: dict[tuple[bool, str], float] = {}

    def clean(self, text: str) -> str:
        """Make one line that the typeface can draw: white space run together, unknown characters as a box."""
        line = " ".join(text.split())
        known = _signs()
        return "".join(sign if ord(sign) in known and sign.isprintable() else "\u25a1" for sign in line)

    def width(self, text: str, height: float, *, strong: bool = False) -> float:
        """Measure a line of text [in]."""
        key = (strong, text)
        if key not in self._widths:
            self._widths[key] = sum(advance(sign, strong=strong) for sign in text)
        return self._widths[key] * height / CAPITAL

    def fitted(self, text: str, height: float, room: float, *, strong: bool = False) -> str:
        """Cut the text to as much of its start as fits into the room [in], with an ellipsis where cut."""
        if self.width(text, height, strong=strong) <= room:
            return text
        while text and self.width(text + "\u2026", height, strong=strong) > room:
            text = text[:-1]
        return text.rstrip() + "\u2026"

    def wrapped(self, text: str, height: float, room: float, *, strong: bool = False) -> list[str]:
        """Break the text into lines that fit into the room [in]; a word too long for it is broken."""
        lines: list[str] = []
        line = ""
        for word in text.split():
            wanted = f"{line} {word}" if line else word
            if self.width(wanted, height, strong=strong) <= room:
                line = wanted
                continue
            if line:
                lines.append(line)
            rest = word
            while self.width(rest, height, strong=strong) > room and len(rest) > 1:
                cut = next(
                    n
                    for n in range(len(rest) - 1, 0, -1)
                    if n == 1 or self.width(rest[:n], height, strong=strong) <= room
                )
                lines.append(rest[:cut])
                rest = rest[cut:]
            line = rest
        return [*lines, line] if line or not lines else lines

    def box(self, mark: Text, *, at: XY | None = None) -> Polygon:
        """Find the box that a text covers, if need be at another base point [in]."""
        return Polygon(self._corners(mark, at or mark.at, low=-BELOW, high=ABOVE, beside=0.0))

    def boxes(self, marks: Sequence[Text]) -> NDArray[np.object_]:
        """Find the boxes that some texts cover [in]."""
        corners = [self._corners(mark, mark.at, low=-BELOW, high=ABOVE, beside=0.0) for mark in marks]
        return np.asarray(shapely.polygons(np.array(corners).reshape(-1, 4, 2)), dtype=object)

    def mask(self, mark: Text, *, at: XY) -> Polygon:
        """Find the least box that breaks the lines under a text at a base point [in]."""
        low = -BELOW if _HANGING & set(mark.text) else -0.12
        return Polygon(self._corners(mark, at, low=low, high=1.08, beside=0.02))

    def _corners(self, mark: Text, at: XY, *, low: float, high: float, beside: float) -> list[XY]:
        width = self.width(mark.text, mark.height, strong=mark.strong)
        start = {"left": 0.0, "centre": -width / 2, "right": -width}[mark.align]
        along, across = (start - beside, start + width + beside), (low * mark.height, high * mark.height)
        turn = math.radians(mark.angle)
        (left, bottom), cos, sin = at, math.cos(turn), math.sin(turn)
        corners = [(along[0], across[0]), (along[1], across[0]), (along[1], across[1]), (along[0], across[1])]
        return [(left + x * cos - y * sin, bottom + x * sin + y * cos) for x, y in corners]


@cache
def _font(strong: bool) -> Any:
    from matplotlib.ft2font import FT2Font

    font = FT2Font(str(font_file(strong=strong)))
    font.set_size(_SAMPLE, 72)
    return font


@cache
def _signs() -> frozenset[int]:
    """Code points that the typeface can draw."""
    return frozenset(_font(False).get_charmap())


@cache
def advance(sign: str, *, strong: bool) -> float:
    """Measure the advance of one character for a size of 1 [letter sizes]."""
    return float(_font(strong).load_char(ord(sign)).linearHoriAdvance / 65536 / _SAMPLE)
