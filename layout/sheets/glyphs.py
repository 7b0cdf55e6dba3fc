"""The outlines of letters, as paths of the plotting library, each made once."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np

from layout.plane import Array
from layout.sheets.lettering import CAPITAL, advance, font_file
from layout.sheets.marks import Text


def outline(mark: Text, at: Array) -> Any:
    """Outline a whole text, its base point given on paper [in]."""
    from matplotlib.path import Path as PlotPath

    parts, shift = [], 0.0
    for sign in mark.text:
        points, codes = glyph(sign, strong=mark.strong)
        parts.append((points + np.array([shift, 0.0]), codes))
        shift += advance(sign, strong=mark.strong)
    start = {"left": 0.0, "centre": -shift / 2, "right": -shift}[mark.align]
    points = np.concatenate([part for part, _ in parts]) if parts else np.empty((0, 2))
    codes = np.concatenate([part for _, part in parts]) if parts else None
    turn = math.radians(mark.angle)
    matrix = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    return PlotPath((points + np.array([start, 0.0])) * (mark.height / CAPITAL) @ matrix + at, codes)


@cache
def glyph(sign: str, *, strong: bool) -> tuple[Array, Any]:
    """Give points and codes of the outline of one letter of size 1 [letter sizes]."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    # A blank has no outline, which the library's text path does not bear.
    if sign.isspace():
        return np.empty((0, 2)), np.empty(0, dtype=np.uint8)
    font = FontProperties(fname=str(font_file(strong=strong)))
    path = TextPath((0.0, 0.0), sign, size=100, prop=font)
    return np.asarray(path.vertices) / 100, np.asarray(path.codes)
