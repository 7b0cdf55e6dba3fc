"""What the pressure drawing says in words and figures: classes and their colours, zones, laterals, how to read it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from layout.model import AtEmitter, Design, WaterState
from layout.plane import Array
from layout.sheets import layers
from layout.sheets.blocks import COLUMN, Block, Cell, Row, Sample, Titles, pairs, paragraphs, table
from layout.sheets.coveragemap import RAMP
from layout.sheets.figures import Figures, plain, spelt
from layout.sheets.lettering import Lettering
from layout.startup.expected import NO_HEAD

_STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
_MET = 1e-5
"""What a pressure that is asked for may be off, in steps between classes."""
_MOST_ZONES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldState:
    """The whole field in one state."""

    doing: str
    zones: tuple[tuple[int, WaterState], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Classes:
    """Limits between classes of pressure, the same for all states.

    Attributes
    ----------
    limits : tuple of float
        Rising [in the site's unit].
    """

    limits: tuple[float, ...]

    def of(self, pressure: Array) -> Any:
        """The class of pressures, from 0 for the least [in the site's unit]."""
        return np.searchsorted(self.limits, pressure + _MET, side="right")

    def colour(self, number: int) -> str:
        """The colour of a class."""
        return RAMP[round(number * (len(RAMP) - 1) / max(len(self.limits), 1))]

    def words(self, number: int) -> str:
        """The limits of a class."""
        said = [f"{limit:g}" for limit in self.limits]
        if not said:
            return "all"
        if number == 0:
            return f"under {said[0]}"
        return f"{said[-1]} and over" if number == len(said) else f"{said[number - 1]} to {said[number]}"


def classes_of(design: Design, states: Sequence[WaterState]) -> Classes:
    """Choose round limits between as many classes as there are colours, at most, over all states."""
    unit = design.site.frame.units.pressure
    low = min(state.least.head for state in states) / unit
    high = max(state.greatest.head for state in states) / unit
    for step in _STEPS:
        first, last = math.floor(low / step + _MET) + 1, math.ceil(high / step - _MET) - 1
        if last - first + 2 <= len(RAMP):
            return Classes(limits=tuple(round(number * step, 6) for number in range(first, last + 1)))
    return Classes(limits=())


def legend_block(state: FieldState, classes: Classes, figures: Figures) -> Block:
    """List the classes, the most pressure first, with the share of emitters in each."""
    heads = np.concatenate([run.heads for _, zone in state.zones for run in zone.runs])
    numbers = classes.of(heads / figures.units.pressure)
    titles: Titles = (
        (figures.units.pressure_name, 0.72, "left"),
        ("emitters", 2.9, "right"),
        ("", COLUMN, "right"),
    )
    rows = []
    for number in reversed(range(len(classes.limits) + 1)):
        count = int((numbers == number).sum())
        texts = (classes.words(number), plain(count, 0), figures.share(count / len(heads)))
        cells = [Cell(text=text, x=x, align=align) for text, (_, x, align) in zip(texts, titles, strict=True)]
        rows.append(Row(cells=tuple(cells), sample=Sample(layer=layers.LEGEND, swatch=True), space=0.03))
    head = Row(cells=tuple(Cell(text=text, x=x, align=align, strong=True) for text, x, align in titles))
    return Block(heading=f"Pressure at emitters, {state.doing}", titles=head, rows=tuple(rows))


def figures_block(state: FieldState, figures: Figures, lettering: Lettering) -> Block:
    """Flow, head, pressures and valve of the one zone; of several, a line each."""
    if len(state.zones) > 1:
        return _zones(state, figures, lettering)
    water = state.zones[0][1]
    items = [
        ("flow at the pump", figures.flow_of(water.flow)),
        ("head at the pump", figures.length_of(water.head)),
        (f"least, {_at(water.least)}", figures.pressure_of(water.least.head)),
        (f"greatest, {_at(water.greatest)}", figures.pressure_of(water.greatest.head)),
    ]
    if state.doing == "dosing":
        items.append(("least over greatest emitter flow", figures.share(water.uniformity)))
    elif water.valve_head is not None:
        items.append(("the return flush valve takes", figures.length_of(water.valve_head)))
    if water.missing_head > NO_HEAD:
        items.append(("head that the pump lacks for what is needed", figures.length_of(water.missing_head)))
    return pairs("Figures", items, lettering)


def _zones(state: FieldState, figures: Figures, lettering: Lettering) -> Block:
    units = figures.units
    dosing = state.doing == "dosing"
    titles: Titles = (
        ("Zone", 0.0, "left"),
        (units.flow_name, 0.95, "right"),
        (f"head, {units.length_name}", 1.7, "right"),
        (f"least, {units.pressure_name}", 2.4, "right"),
        ("most", 2.85, "right"),
        ("evenness" if dosing else f"valve, {units.length_name}", COLUMN, "right"),
    )
    rows = []
    for zone, water in state.zones[:_MOST_ZONES]:
        last = figures.share(water.uniformity) if dosing else figures.length(water.valve_head or 0.0)
        ends = (plain(end.head / units.pressure, 1) for end in (water.least, water.greatest))
        lacks = " *" if water.missing_head > NO_HEAD else ""
        rows.append([f"Z{zone}{lacks}", figures.flow(water.flow), figures.length(water.head), *ends, last])
    more = len(state.zones) - len(rows)
    name = "Zones" + (f", the first {len(rows)} of {len(state.zones)}" if more else "")
    if any(water.missing_head > NO_HEAD for _, water in state.zones):
        name += " (* the pump lacks head)"
    return table(name, titles, rows, lettering, wrap={})


def _at(found: AtEmitter) -> str:
    return f"{found.run}, emitter {found.number}"


def laterals_block(
    design: Design, state: FieldState, figures: Figures, lettering: Lettering, *, most: int
) -> Block:
    """List laterals with the velocity at their ends, and the pressures of their emitters."""
    units = figures.units
    rows: list[tuple[float, list[str]]] = []
    for _, water in state.zones:
        heads = {run.run: run.heads for run in water.runs}
        velocity = dict(water.ends)
        for lateral in design.laterals:
            mine = [head for name in lateral.runs for head in heads.get(name, ())]
            if lateral.name in velocity and mine:
                low, high = (plain(head / units.pressure, 1) for head in (min(mine), max(mine)))
                # where water comes in from the neighbours the velocity has a sign; its size is what cleans the tubing
                speed = abs(velocity[lateral.name])
                rows.append((speed, [lateral.name, plain(speed / units.velocity, 2), low, high]))
    name = "Laterals"
    if len(rows) > most:
        # those with the slowest ends, in their order
        last = sorted(speed for speed, _ in rows)[most - 1] if most else -math.inf
        rows = [row for row in rows if row[0] <= last][:most]
        name = f"Laterals, the {most} with the slowest ends"
    titles: Titles = (
        ("Lateral", 0.0, "left"),
        (f"End, {units.velocity_name}", 1.7, "right"),
        (f"Least, {units.pressure_name}", 2.75, "right"),
        ("Greatest", COLUMN, "right"),
    )
    return table(name, titles, [row for _, row in rows], lettering, wrap={})


def reading_block(design: Design, state: FieldState, figures: Figures, lettering: Lettering) -> Block:
    """Say what the colours are, and what is not worked out."""
    limits = design.site.tubing.pressure_range
    texts = [
        f"Each run is {spelt('coloured', figures.units)} by the pressure at its emitters: light is little, dark is "
        "much; the classes are the same for dosing and flushing.",
        "Steady flow in clean pipes: nothing here follows air, surge, or a pump that starts. The check of "
        "these figures belongs to a licensed engineer where the law asks for one.",
    ]
    if limits is not None:
        low, high = (figures.pressure_of(limit) for limit in limits)
        texts.insert(
            1, f"Emitters keep their flow from {low} to {high}. A black dot marks those that have less."
        )
    if state.doing == "dosing":
        texts.append(
            "Dosing: the return is shut; velocity at the ends of laterals is what passes between them there, in or out."
        )
    else:
        texts.append(
            "Flushing: the return flush valve is set so that the slowest end has the velocity asked for."
        )
    return paragraphs("How to read it", texts, lettering)
