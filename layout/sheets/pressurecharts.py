"""Pressure along each lateral as small charts of one scale, dosed and flushed, page after page; the pump's before."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from shapely import box

from layout.hydraulics.along import Profile, profiles
from layout.model import Design, WaterState
from layout.sheets import layers
from layout.sheets.chartmarks import CHART_LETTER, chart_line, chart_text
from layout.sheets.dutychart import duty_chart, has_duty
from layout.sheets.figures import Figures, plain
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Dash, Drawing, Mark, Paper, Pen, Sheet
from layout.sheets.pages import open_area
from layout.sheets.titleblock import title_block

_SIZE = (4.0, 1.95)
"""Least width and height of a chart [in]."""
_PENS = {
    "dosing": Pen(weight=0.5),
    "flushing": Pen(weight=0.5, dash=Dash.SHORT, colour=Colour.BLUE),
}
_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000)
_KEY = 0.6
"""Room for the key at the top of a page [in]."""

Zones = Sequence[tuple[int, WaterState]]


def chart_pages(design: Design, states: Sequence[tuple[str, Zones]], *, paper: Paper, before: int) -> Drawing:
    """Draw the charts of all laterals, before them that of the pump where it has a curve.

    Parameters
    ----------
    design : Design
    states : sequence of (str, zones)
        ``dosing`` and ``flushing``, with their zones.
    paper : Paper
    before : int
        Sheets of the set that come before.
    """
    lettering = Lettering()
    found: dict[str, dict[str, Profile]] = {}
    for doing, zones in states:
        for zone, state in zones:
            for profile in profiles(design, zone, state):
                if profile.heads:
                    found.setdefault(profile.lateral, {})[doing] = profile
    scale = _Scale(design, [one for of in found.values() for one in of.values()])
    left, bottom, right, top = open_area(paper)
    across = max(int((right - left - 0.2) / _SIZE[0]), 1)
    down = max(int((top - bottom - _KEY - 0.2) / _SIZE[1]), 1)
    names: list[str | None] = [*([None] if has_duty(design) else []), *found]  # None: the pump
    if len(names) < across * down:  # few charts are drawn larger
        across = next(n for n in range(1, across + 1) if n * min(down, 2 * n) >= len(names) or n == across)
        down = min(down, max(-(-len(names) // across), 2))
    pages = [names[at : at + across * down] for at in range(0, len(names), across * down)]
    sheets = []
    for number, page in enumerate(pages, start=1):
        marks: list[Mark] = title_block(
            design.site,
            paper,
            "",
            None,
            lettering,
            sheet=(before + number, before + len(pages)),
            subject="pressure along laterals",
        )
        marks += _key(left + 0.25, top - 0.3, [doing for doing, _ in states], scale, lettering)
        wide, high = (right - left - 0.2) / across, (top - bottom - _KEY - 0.2) / down
        for place, name in enumerate(page):
            x, y = left + 0.1 + (place % across) * wide, top - _KEY - (place // across + 1) * high
            room = (x, y, x + wide, y + high)
            marks += duty_chart(design, states, room) if name is None else scale.chart(found[name], room)
        sheets.append(Sheet(name=f"Laterals {number}", marks=tuple(marks)))
    return Drawing(
        title=lettering.clean(design.site.title),
        frame=design.site.frame,
        paper=paper,
        scale="",
        plan=(),
        sheets=tuple(sheets),
    )


def _key(left: float, y: float, doings: Sequence[str], scale: _Scale, lettering: Lettering) -> Iterator[Mark]:
    """Say what the lines are, over the charts."""
    title = "Pressure along laterals, from the supply riser to the return riser"
    yield chart_text(title, left, y, "left", height=0.1, strong=True)
    x = left
    for doing in doings:
        yield chart_line([(x, y - 0.17), (x + 0.5, y - 0.17)], _PENS[doing])
        yield chart_text(doing, x + 0.56, y - 0.2, "left")
        x += 0.56 + lettering.width(doing, CHART_LETTER) + 0.35
    if scale.limits:
        yield chart_line([(x, y - 0.17), (x + 0.5, y - 0.17)], Pen(weight=0.18, dash=Dash.LONG))
        yield chart_text("limit of the emitters' range", x + 0.56, y - 0.2, "left")


class _Scale:
    """One scale for all charts; a class only because they share it."""

    def __init__(self, design: Design, found: Sequence[Profile]) -> None:
        self.figures = Figures(design.site.frame.units)
        units = self.figures.units
        self.unit, self.length = units.pressure, units.length
        heads = [head / self.unit for one in found for head in one.heads]
        low, high = min([0.0, *heads]), max(heads, default=1.0)
        self.limits: list[float] = []
        stated = design.site.tubing.pressure_range
        if stated is not None:
            self.limits = [limit / self.unit for limit in stated if limit / self.unit <= 1.15 * high]
        high = max([high, *self.limits])
        self.step = next(one for one in _STEPS if (high - low) / one <= 5 or one == _STEPS[-1])
        self.low = math.floor(low / self.step) * self.step
        self.high = max(math.ceil(high / self.step - 1e-9) * self.step, self.low + self.step)
        self.most = max((one.along[-1] for one in found), default=1.0) / self.length
        self.stride = next(one for one in _STEPS if self.most / one <= 5 or one == _STEPS[-1])

    def chart(self, of: dict[str, Profile], place: tuple[float, float, float, float]) -> Iterator[Mark]:
        """Draw one lateral."""
        left, bottom, right, top = place[0] + 0.52, place[1] + 0.36, place[2] - 0.15, place[3] - 0.22

        def at(along: float, head: float) -> tuple[float, float]:
            share = (head / self.unit - self.low) / (self.high - self.low)
            return left + (right - left) * along / self.length / self.most, bottom + (top - bottom) * share

        first = next(iter(of.values()))
        yield chart_text(f"{first.lateral}, zone Z{first.zone}", left, top + 0.06, "left", strong=True)
        flushed = of.get("flushing")
        if flushed is not None and flushed.velocity is not None:
            said = f"end, flushing: {self.figures.velocity_of(flushed.velocity)}"
            yield chart_text(said, right, top + 0.06, "right")
        for number in range(round((self.high - self.low) / self.step) + 1):
            head = self.low + number * self.step
            y = at(0.0, head * self.unit)[1]
            yield chart_line([(left, y), (right, y)], Pen(weight=0.13, colour=Colour.GREY, dash=Dash.DOT))
            unit = f" {self.figures.units.pressure_name}" if head + self.step > self.high else ""
            yield chart_text(f"{head:g}", left - 0.06, y - CHART_LETTER / 2, "right")
            if unit:
                yield chart_text(unit.strip(), left - 0.06, y - CHART_LETTER / 2 + 0.13, "right")
        for number in range(int(self.most / self.stride) + 1):
            x = at(number * self.stride * self.length, 0.0)[0]
            yield chart_line([(x, bottom), (x, bottom - 0.04)], Pen(weight=0.18))
            name = f"{plain(number * self.stride, 0)}" + (
                f" {self.figures.units.length_name}" if not number else ""
            )
            yield chart_text(name, x, bottom - 0.16, "centre")
        for limit in self.limits:
            y = at(0.0, limit * self.unit)[1]
            yield chart_line([(left, y), (right, y)], Pen(weight=0.18, dash=Dash.LONG))
        yield Area(layer=layers.TABLE, shape=box(left, bottom, right, top), pen=Pen(weight=0.18))
        for doing, profile in of.items():
            points = [at(along, head) for along, head in zip(profile.along, profile.heads, strict=True)]
            if len(points) == 1:
                points = [points[0], (points[0][0] + 0.03, points[0][1])]
            yield chart_line(points, _PENS[doing])
