"""Lines and lettering of charts, on paper."""

from __future__ import annotations

from collections.abc import Sequence

from shapely import LineString

from layout.sheets import layers
from layout.sheets.marks import Align, Line, Pen, Text

CHART_LETTER = 0.078
"""Height of a capital [in]."""


def chart_line(points: Sequence[tuple[float, float]], pen: Pen) -> Line:
    """A line of a chart [in]."""
    return Line(layer=layers.TABLE, line=LineString(points), pen=pen)


def chart_text(
    text: str,
    x: float,
    y: float,
    align: Align,
    *,
    height: float = CHART_LETTER,
    strong: bool = False,
    mask: bool = False,
) -> Text:
    """Lettering of a chart [in]."""
    return Text(
        layer=layers.TABLE, text=text, at=(x, y), height=height, align=align, strong=strong, mask=mask
    )
