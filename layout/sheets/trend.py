"""The row of flow readings as a picture: shares of the flow expected over the days, with the band, and in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from pathlib import Path

from shapely import box

from layout.model import Site
from layout.sheets import layers
from layout.sheets.chartmarks import CHART_LETTER, chart_line, chart_text
from layout.sheets.figures import Figures, plain
from layout.sheets.form import INCH_PAPER, METRIC_PAPER, Form
from layout.sheets.marks import Area, Colour, Dash, Dots, Drawing, Mark, Pen
from layout.sheets.plot import write_pdf, write_png
from layout.startup.log import Series, words_of

SUBJECT = "Flow over the years"
FOOT = (
    "Readings as written in flowlog.csv, against the flow expected in clean pipes. What may be the reason is common "
    "practice, no diagnosis; local code and licensed practice decide what is to be done."
)
HEIGHT = 2.5
"""Of one chart [in]."""
_SIDES = (0.55, 1.55)
"""Room for lettering left and right of a chart [in]."""
_MONTHS = (1, 2, 3, 6, 12, 24, 60, 120, 240)
_MOST_TICKS = 7
_SHORT_SPAN = 75
"""Days under which single days are lettered."""


def trend_makers(site: Site, series: Sequence[Series]) -> list[tuple[str, Callable[[Path], None]]]:
    """The files of the trend, each with what makes it."""
    drawing = trend_sheet(site, series)
    return [
        ("trend.png", lambda path: write_png(drawing, path)),
        ("trend.pdf", lambda path: write_pdf(drawing, path)),
    ]


def trend_sheet(site: Site, series: Sequence[Series]) -> Drawing:
    """Draw a chart for each state of each zone that was read, with what it says under it."""
    paper = METRIC_PAPER if site.frame.units.word == "m" else INCH_PAPER
    form = Form(paper, title=site.title, subject=SUBJECT, foot=FOOT)
    figures = Figures(site.frame.units)
    for one in series:
        words = list(words_of(one))
        form.heading(f"Z{one.zone} {one.doing}", keep=HEIGHT + 0.16 * len(words))
        form.add(list(_chart(form, form.picture(HEIGHT), one, figures)))
        for text in words:
            form.paragraph(text)
    return Drawing(
        title=f"{SUBJECT}: {form.title}",
        frame=site.frame,
        paper=paper,
        scale="",
        plan=(),
        sheets=form.sheets(),
    )


def _chart(
    form: Form, place: tuple[float, float, float, float], series: Series, figures: Figures
) -> Iterator[Mark]:
    left, right = place[0] + _SIDES[0], place[2] - _SIDES[1]
    bottom, top = place[1] + 0.42, place[3] - 0.12
    readings = series.readings
    whole = series.expected.flow if series.expected is not None else series.first.flow
    shares = [100.0 * item.flow / whole for item in readings]
    held = 100.0 * series.first.flow / whole
    band = 100.0 * series.expected.band if series.expected is not None else 0.0
    low, high, step = _range([*shares, 100.0 - band, 100.0 + band])
    first, last = readings[0].on.toordinal(), readings[-1].on.toordinal()
    ends = (first - max(0.02 * (last - first), 1.0), last + max(0.02 * (last - first), 1.0))

    def x(day: float) -> float:
        return left + (right - left) * (day - ends[0]) / (ends[1] - ends[0])

    def y(share: float) -> float:
        return bottom + (top - bottom) * (share - low) / (high - low)

    if band:
        shape = box(left, y(100.0 - band), right, y(100.0 + band))
        yield Area(layer=layers.TABLE, shape=shape, fill=Colour.SKY, pen=Pen(weight=0.18, dash=Dash.SHORT))
    yield chart_line([(left, y(100.0)), (right, y(100.0))], Pen(weight=0.35, dash=Dash.LONG))
    yield chart_line([(left, y(held)), (right, y(held))], Pen(weight=0.18, dash=Dash.DOT))
    yield Area(layer=layers.TABLE, shape=box(left, bottom, right, top), pen=Pen(weight=0.25))
    for number in range(round(low / step), round(high / step) + 1):
        at = y(number * step)
        yield chart_line([(left - 0.05, at), (left, at)], Pen(weight=0.18))
        yield chart_text(f"{plain(number * step, 0)} %", left - 0.09, at - CHART_LETTER / 2, "right")
    for day, text in _days(readings[0].on, readings[-1].on):
        if left - 1e-9 <= x(day) <= right + 1e-9:
            yield chart_line([(x(day), bottom - 0.05), (x(day), bottom)], Pen(weight=0.18))
            yield chart_text(text, x(day), bottom - 0.18, "centre")
    points = [(x(item.on.toordinal()), y(share)) for item, share in zip(readings, shares, strict=True)]
    if len(points) > 1:
        yield chart_line(points, Pen(weight=0.25, colour=Colour.BLUE))
    yield Dots(layer=layers.TABLE, points=tuple(points), size=0.075)
    yield from _beside(form, right + 0.08, (bottom, top), _said(series, (held, shares[-1]), figures, band, y))


def _said(
    series: Series, shares: tuple[float, float], figures: Figures, band: float, y: Callable[[float], float]
) -> list[tuple[float, list[str]]]:
    """What stands at the right of a chart: the height it belongs to, and its lines."""
    last = series.readings[-1]
    lines = [(y(shares[-1]), [f"last {plain(shares[-1], 1)} %", figures.flow_of(last.flow)])]
    if series.expected is not None:
        lines.append((y(100.0), [f"expected {figures.flow_of(series.expected.flow)}"]))
        lines.append((y(100.0 + band), [f"band, {plain(100.0 + band, 0)} %"]))
        lines.append((y(100.0 - band), [f"band, {plain(100.0 - band, 0)} %"]))
    if len(series.readings) > 1:
        lines.append((y(shares[0]), [f"first {plain(shares[0], 1)} %"]))
    return lines


def _beside(
    form: Form, left: float, span: tuple[float, float], wanted: list[tuple[float, list[str]]]
) -> Iterator[Mark]:
    """Letter lines as near to their heights as can be, none over another."""
    pitch = 0.135
    rows = sorted(wanted, key=lambda item: item[0])
    places: list[float] = []
    under = span[0] - 0.1
    for height, lines in rows:
        low = max(height - CHART_LETTER / 2 - pitch * (len(lines) - 1) / 2, under)
        places.append(low)
        under = low + pitch * len(lines) + 0.02
    over = max(under - 0.02 - (span[1] + 0.12), 0.0)
    for (_, lines), low in zip(rows, places, strict=True):
        base = max(low - over, span[0] - 0.2) if over else low
        for number, text in enumerate(reversed(lines)):
            fitted = form.lettering.fitted(text, CHART_LETTER, _SIDES[1] - 0.1)
            yield chart_text(fitted, left, base + pitch * number, "left")


def _range(values: Sequence[float]) -> tuple[float, float, float]:
    """Ends of the scale and its step, which all are round."""
    least, most = min(values), max(values)
    wide = max(most - least, 10.0)
    step = next(one for one in (5, 10, 20, 50, 100, 200, 500, 1000, 10_000, 100_000) if wide / one <= 6)
    low = max(math.floor((least - 0.15 * step) / step), 0) * step
    return float(low), float(math.ceil((most + 0.15 * step) / step) * step), float(step)


def _days(first: date, last: date) -> list[tuple[int, str]]:
    """Days to letter, and how: firsts of months, or of a short span its two ends."""
    if (last - first).days < _SHORT_SPAN:
        ends = dict.fromkeys((first, last))
        if 0 < (last - first).days < 8:
            ends = dict.fromkeys((first,))
        return [(day.toordinal(), day.isoformat()) for day in ends]
    months = 12 * (last.year - first.year) + last.month - first.month + 1
    step = next((one for one in _MONTHS if months / one <= _MOST_TICKS), _MONTHS[-1] * 10)
    start = 12 * first.year + first.month - 1
    made = []
    for month in range(-(-start // step) * step, 12 * last.year + last.month, step):
        day = date(month // 12, month % 12 + 1, 1)
        made.append((day.toordinal(), str(day.year) if step >= 12 else f"{day.year}-{day.month:02d}"))
    return made
