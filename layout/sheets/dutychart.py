"""The pump's curve as a small chart: where it works when the field is dosed and flushed, and what the field needs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from shapely import box

from layout.hydraulics.laws import PumpCurve
from layout.model import Design, WaterState
from layout.sheets import layers
from layout.sheets.chartmarks import CHART_LETTER, chart_line, chart_text
from layout.sheets.figures import Figures
from layout.sheets.marks import Area, Colour, Dash, Mark, Pen, Symbol

_STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
_POINTS = 60
"""Along the curve."""
_DOT = 0.08
_LABEL = 2.0
"""Room of a label [in]."""

Zones = Sequence[tuple[int, WaterState]]


def has_duty(design: Design) -> bool:
    """Whether there is a curve to draw."""
    return design.site.pump is not None and bool(design.site.pump.curve)


def duty_chart(
    design: Design, states: Sequence[tuple[str, Zones]], place: tuple[float, float, float, float]
) -> Iterator[Mark]:
    """Draw the chart.

    Parameters
    ----------
    design : Design
        With the curve of its pump.
    states : sequence of (str, zones)
    place : (left, bottom, right, top)
        On paper [in].

    Yields
    ------
    Mark
    """
    assert design.site.pump is not None
    units, figures = design.site.frame.units, Figures(design.site.frame.units)
    curve = PumpCurve(points=design.site.pump.curve)
    left, bottom, right, top = place[0] + 0.52, place[1] + 0.36, place[2] - 0.15, place[3] - 0.22
    told = [state for _, zones in states for _, state in zones]
    most = max([curve.most, *(state.needed_flow for state in told), *(state.flow for state in told)])
    high = max([curve.points[0][1], *(state.needed_head for state in told)])
    stride, step = _step(most / units.flow), _step(high / units.length)
    wide, tall = _ends(most / units.flow, stride), _ends(high / units.length, step)

    def at(flow: float, head: float) -> tuple[float, float]:
        return (
            left + (right - left) * flow / units.flow / wide,
            bottom + (top - bottom) * head / units.length / tall,
        )

    yield chart_text("Pump", left, top + 0.06, "left", strong=True)
    yield chart_text("dot: where it works; circle: what the field needs", right, top + 0.06, "right")
    for number in range(round(tall / step) + 1):
        y = at(0.0, number * step * units.length)[1]
        yield chart_line([(left, y), (right, y)], Pen(weight=0.13, colour=Colour.GREY, dash=Dash.DOT))
        yield chart_text(f"{number * step:g}", left - 0.06, y - CHART_LETTER / 2, "right")
    yield chart_text(units.length_name, left - 0.06, top + 0.09, "right")
    for number in range(round(wide / stride) + 1):
        x = at(number * stride * units.flow, 0.0)[0]
        yield chart_line([(x, bottom), (x, bottom - 0.04)], Pen(weight=0.18))
        name = f"{number * stride:g}" + (f" {units.flow_name}" if not number else "")
        yield chart_text(name, x, bottom - 0.16, "centre" if number else "left")
    yield Area(layer=layers.TABLE, shape=box(left, bottom, right, top), pen=Pen(weight=0.18))
    flows = np.union1d(np.linspace(0.0, curve.most, _POINTS), [flow for flow, _ in curve.points]).tolist()
    line = [at(flow, curve.head(flow)) for flow in flows]
    yield chart_line([point for point in line if point[1] >= bottom], Pen(weight=0.5))
    for doing, zones in states:
        for _, state in zones:
            works = at(state.flow, state.head)
            yield Symbol(
                layer=layers.TABLE, name="balloon", at=at(state.needed_flow, state.needed_head), size=_DOT
            )
            if works[1] >= bottom:
                yield Symbol(layer=layers.TABLE, name="dot", at=works, size=_DOT)
        # lettered once, under the lowest circle: the curve, which falls to the right, is above
        x, y = min(
            (at(state.needed_flow, state.needed_head) for _, state in zones), key=lambda place: place[1]
        )
        flows = [state.needed_flow for _, state in zones]
        ends = dict.fromkeys(figures.flow(flow) for flow in (min(flows), max(flows)))
        said = f"{doing}, {' to '.join(ends)}"
        before = x - _LABEL > left
        yield chart_text(
            f"{said} {units.flow_name}",
            x - 0.06 if before else x + 0.06,
            y - 0.16,
            "right" if before else "left",
            mask=True,
        )


def _step(most: float) -> float:
    return next((step for step in _STEPS if most / step <= 5), _STEPS[-1])


def _ends(most: float, step: float) -> float:
    """The end of a scale: the next step over the greatest figure."""
    return float(np.ceil(most / step + 1e-9) * step)
