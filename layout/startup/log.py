"""What a row of flow readings says: shares of what is expected and of the first, and whether they drift."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from layout.model import FlowReading
from layout.startup.expected import Doing, Expected
from layout.units import MINUTE

COLUMNS = (
    "date",
    "zone",
    "state",
    "reading",
    "flow",
    "unit",
    "expected",
    "per cent of expected",
    "per cent of first",
    "note",
)
"""The titles of the log, in their order."""
FEWEST = 4
"""Readings from which on a drift is told; judgement."""
DRIFT = 0.03
"""Least change from the first day to the last that is told as a drift, as a share; judgement."""
AGREE = 0.6
"""Least share of pairs that go the way of a drift, less those that go the other; judgement."""
FAR_OFF = 3.0
"""A reading farther from the flow expected than so many bands is nothing to hold later ones against; judgement."""
YEAR = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """The readings of one state of a zone.

    Attributes
    ----------
    zone : int
    doing : "dosing" or "flushing"
    readings : tuple of FlowReading
        By day; at least one.
    first : FlowReading
        The one that others are held against.
    expected : Expected or None
        None where the plan has no such state.
    drift : float or None
        Change of the flow a year, as a share of the first reading; None where too few days were read.
    steady : bool
        Whether the readings go one way enough for the drift to be told.
    """

    zone: int
    doing: Doing
    readings: tuple[FlowReading, ...]
    first: FlowReading
    expected: Expected | None
    drift: float | None
    steady: bool

    @property
    def of_first(self) -> float:
        """Share of the first flow that the last is."""
        return self.readings[-1].flow / self.first.flow

    @property
    def of_expected(self) -> float | None:
        """Share of the flow expected that the last is."""
        return None if self.expected is None else self.readings[-1].flow / self.expected.flow


def first_of(
    readings: Sequence[FlowReading], zone: int, doing: Doing, expected: Expected | None = None
) -> FlowReading | None:
    """The reading that others of a state of a zone are held against.

    It is the earliest, of one day the one written down first; but one that is far off the flow expected only where
    no reading is nearer, since it was a blunder or of a field that was not in order.
    """
    mine = sorted(
        (item for item in readings if (item.zone, item.doing) == (zone, doing)), key=lambda item: item.on
    )
    return next((item for item in mine if not is_far_off(item.flow, expected)), mine[0] if mine else None)


def is_far_off(flow: float, expected: Expected | None) -> bool:
    """Whether a flow [m³/s] is so far from the one expected that it is no first reading.

    None is where the pump lacks head: the field takes less then than is told.
    """
    if expected is None or expected.missing > 0:
        return False
    return abs(flow / expected.flow - 1.0) > FAR_OFF * expected.band


def other_state(flow: float, mine: Expected | None, expected: Sequence[Expected]) -> Expected | None:
    """The other state of a zone that a flow [m³/s] belongs to, where it is outside the band of the state told."""
    if mine is None or mine.lowest <= flow <= mine.highest:
        return None
    others = (item for item in expected if item.zone == mine.zone and item.doing != mine.doing)
    return next(
        (item for item in others if not item.missing > 0 and item.lowest <= flow <= item.highest), None
    )


def series_of(readings: Sequence[FlowReading], expected: Sequence[Expected]) -> tuple[Series, ...]:
    """Sort readings into series, by zone, dosing before flushing.

    Parameters
    ----------
    readings : sequence of FlowReading
        In any order.
    expected : sequence of Expected

    Returns
    -------
    tuple of Series
    """
    known = {(item.zone, item.doing): item for item in expected}
    found: dict[tuple[int, Doing], list[FlowReading]] = {}
    for item in sorted(readings, key=lambda one: one.on):
        found.setdefault((item.zone, item.doing), []).append(item)
    return tuple(_series(key, found[key], known.get(key)) for key in sorted(found))


def _series(key: tuple[int, Doing], readings: list[FlowReading], expected: Expected | None) -> Series:
    drift, steady = None, False
    base = first_of(readings, *key, expected) or readings[0]
    days = np.array([item.on.toordinal() for item in readings])
    flows = np.array([item.flow for item in readings])
    if len(set(days.tolist())) >= FEWEST:
        first, second = np.triu_indices(len(days), k=1)
        apart = days[second] - days[first]
        first, second, apart = first[apart > 0], second[apart > 0], apart[apart > 0]
        # the median of all slopes (Theil and Sen): one reading gone wrong does not move it
        slope = float(np.median((flows[second] - flows[first]) / apart))
        drift = slope * YEAR / base.flow
        ways = float(np.sign(flows[second] - flows[first]).mean())
        whole = slope * float(days[-1] - days[0]) / base.flow
        steady = abs(whole) >= DRIFT and abs(ways) >= AGREE and (ways > 0) == (slope > 0)
    return Series(
        zone=key[0],
        doing=key[1],
        readings=tuple(readings),
        first=base,
        expected=expected,
        drift=drift,
        steady=steady,
    )


def misread(flow: float, expected: Expected | None, volume: float) -> float | None:
    """The flow that was probably meant, where seconds a volume and volumes a minute seem to be mixed up [m³/s].

    Parameters
    ----------
    flow : float
        [m³/s].
    expected : Expected or None
    volume : float
        The unit of volume, a gallon or a litre [m³].

    Returns
    -------
    float or None
        None where the flow is not far from the one expected, or the other way to read it is no nearer.

    Examples
    --------
    >>> mine = Expected(zone=1, doing="dosing", flow=3.0 / 60.0, band=0.1)
    >>> round(60.0 * misread(20.4 / 60.0, mine, 1.0), 2)
    2.94
    >>> misread(2.9 / 60.0, mine, 1.0) is None
    True
    """
    if expected is None or 0.5 < flow / expected.flow < 2.0:
        return None
    other = volume**2 / (MINUTE * flow)
    return other if abs(other / expected.flow - 1.0) <= 2.0 * expected.band else None


MORE = (
    "More water can come of a leak, a break, a joint or cap come loose, a valve left open, emitters that give "
    "more, more head at the pump, or of the meter."
)
LESS = (
    "Less water can come of clogged emitters, air, a dirty filter, a valve not fully open, a kink, a worn "
    "pump, less head, or of the meter."
)
NOT_A_DIAGNOSIS = (
    "The readings alone do not tell which: walk the bed, clean the filter, read the gauges, time the meter "
    "again."
)


def words_of(series: Series) -> Iterator[str]:
    """Say what the readings show, and what may do that; nothing beyond the readings.

    Yields
    ------
    str
        Sentences.
    """
    last, first = series.readings[-1], series.first
    name = f"Z{series.zone} {series.doing}"
    ways: set[int] = set()
    share = series.of_expected
    if series.expected is None or share is None:
        yield f"{name}: the plan expects no flow in this state; readings are held against the first alone."
    elif abs(share - 1.0) > series.expected.band:
        ways.add(1 if share > 1 else -1)
        yield (
            f"{name}: the last reading, of {last.on}, is {_per_cent(share)} of the flow expected, outside "
            f"the band of {_per_cent(1 - series.expected.band)} to {_per_cent(1 + series.expected.band)}."
        )
    else:
        yield f"{name}: the last reading, of {last.on}, is {_per_cent(share)} of the flow expected, within the band."
    if len(series.readings) > 1:
        yield f"{name}: it is {_per_cent(series.of_first)} of the first reading, of {first.on}."
    yield from _passed_over(series, name)
    if series.drift is None:
        yield f"{name}: a drift is told once {FEWEST} days have readings."
    elif series.steady:
        ways.add(1 if series.drift > 0 else -1)
        way = "rises" if series.drift > 0 else "falls"
        yield f"{name}: the flow {way} by some {100 * abs(series.drift):.1f} % of the first reading a year."
    else:
        yield f"{name}: no steady drift; what changes from reading to reading is scatter as far as they tell."
    if 1 in ways:
        yield MORE
    if -1 in ways:
        yield LESS
    if ways:
        yield NOT_A_DIAGNOSIS


def _passed_over(series: Series, name: str) -> Iterator[str]:
    """Say which readings before the first are no measure for others, or that none is."""
    expected = series.expected
    if expected is None:
        return
    if is_far_off(series.first.flow, expected):
        yield f"{name}: no reading yet is near enough to the flow expected for others to be held against it."
        return
    for item in series.readings[: series.readings.index(series.first)]:
        yield (
            f"{name}: the reading of {item.on}, {_per_cent(item.flow / expected.flow)} of the flow expected, is too "
            "far off to hold others against; mend or strike it if it was a slip."
        )


def _per_cent(share: float) -> str:
    return f"{100 * share:.1f} %"
