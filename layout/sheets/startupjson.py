"""What is expected at start-up, and the readings since, as a document for programs, in site units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from layout.emitters import seconds_per_volume
from layout.model import Design, FlowReading
from layout.startup.expected import Expected
from layout.startup.log import Series, first_of, words_of
from layout.units import UnitSet

Json = Any


def startup_document(
    design: Design,
    expected: Sequence[Expected],
    *,
    kept: FlowReading | None = None,
    series: Sequence[Series] = (),
    readings: Sequence[FlowReading] = (),
) -> dict[str, Json]:
    """Gather what ``startup`` tells.

    Parameters
    ----------
    design : Design
    expected : sequence of Expected
    kept : FlowReading or None
        What was just written down.
    series : sequence of Series
        Where a trend is asked for.
    readings : sequence of FlowReading
        All of the log.

    Returns
    -------
    dict
    """
    units = design.site.frame.units
    known = {(item.zone, item.doing): item for item in expected}
    made: dict[str, Json] = {
        "format": "sinuate-startup/1",
        "title": design.site.title,
        "units": units.word,
        "basis": "as laid" if any(item.laid for item in expected) else "as planned",
        "band": design.site.design.flow_band,
        "expected": [_expected(item, units) for item in expected],
    }
    if kept is not None:
        made["recorded"] = _reading(kept, known, readings, units)
    if series:
        made["series"] = [
            {
                "zone": f"Z{one.zone}",
                "state": one.doing,
                "readings": [_reading(item, known, one.readings, units) for item in one.readings],
                "drift_per_year": one.drift,
                "steady": one.steady,
                "words": list(words_of(one)),
            }
            for one in series
        ]
    made["notes"] = list(design.site.notes)
    return made


def _expected(item: Expected, units: UnitSet) -> dict[str, Json]:
    lacks = item.missing > 0
    return {
        "zone": f"Z{item.zone}",
        "state": item.doing,
        "flow": item.flow / units.flow,
        "seconds_per_unit_volume": None if lacks else seconds_per_volume(item.flow, units.volume),
        "accepted": [item.lowest / units.flow, item.highest / units.flow],
        "accepted_seconds": None
        if lacks
        else [seconds_per_volume(flow, units.volume) for flow in (item.highest, item.lowest)],
        "not_fed": list(item.dry),
        "head": None if item.head is None else item.head / units.length,
        "missing_head": item.missing / units.length,
        "pressure_min": None if item.least is None else item.least.head / units.pressure,
        "pressure_max": None if item.greatest is None else item.greatest.head / units.pressure,
    }


def _reading(
    item: FlowReading,
    known: dict[tuple[int, Any], Expected],
    readings: Sequence[FlowReading],
    units: UnitSet,
) -> dict[str, Json]:
    mine = known.get((item.zone, item.doing))
    first = first_of(readings, item.zone, item.doing, mine) or item
    return {
        "date": item.on.isoformat(),
        "zone": f"Z{item.zone}",
        "state": item.doing,
        "reading": item.said,
        "flow": item.flow / units.flow,
        "of_expected": None if mine is None else item.flow / mine.flow,
        "of_first": item.flow / first.flow,
        "within": None if mine is None else mine.lowest <= item.flow <= mine.highest,
        "note": item.note,
    }
