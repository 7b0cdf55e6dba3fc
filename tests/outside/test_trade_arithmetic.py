"""The trade's own arithmetic: emitters, gallons an hour, gallons a minute, seconds a gallon.

Common practice, no source: the sums are done on paper by anyone who sizes or starts up a field.
"""

from __future__ import annotations

import pytest
from shapely import LineString

from layout.emitters import field_totals, place_emitters, seconds_per_volume
from layout.model import Run, Totals, Tubing
from layout.units import UNIT_SETS

FEET = UNIT_SETS["ft"]


def field(lengths_ft: list[float], *, spacing_ft: float, emitter_gph: float) -> Totals:
    tubing = Tubing(
        emitter_spacing=spacing_ft * FEET.length,
        emitter_flow=emitter_gph * FEET.emitter_flow,
        bend_radius=0.6,
        coil=500 * FEET.length,
    )
    runs = [
        Run(name=f"R{i + 1}", line=LineString([(0, i), (length * FEET.length, i)]), row=i)
        for i, length in enumerate(lengths_ft)
    ]
    return field_totals(runs, [place_emitters(run, tubing) for run in runs], ())


@pytest.mark.parametrize("lengths", [[600.0], [100.0] * 6, [120.0, 80.0, 100.0, 60.0, 140.0, 100.0]])
def test_six_hundred_feet(lengths: list[float]) -> None:
    totals = field(lengths, spacing_ft=2.0, emitter_gph=0.61)
    assert totals.tubing / FEET.length == pytest.approx(600.0, rel=1e-12)
    assert totals.emitters == 300
    assert totals.flow / FEET.emitter_flow == pytest.approx(183.0, rel=1e-12)
    assert totals.flow / FEET.flow == pytest.approx(3.05, rel=1e-12)
    assert seconds_per_volume(totals.flow, FEET.volume) == pytest.approx(60 / 3.05, rel=1e-12)
    assert round(seconds_per_volume(totals.flow, FEET.volume), 1) == 19.7


def test_a_thousand_feet() -> None:
    totals = field([1000.0], spacing_ft=2.0, emitter_gph=0.6)
    assert totals.emitters == 500
    assert totals.flow / FEET.emitter_flow == pytest.approx(300.0, rel=1e-12)
    assert totals.flow / FEET.flow == pytest.approx(5.0, rel=1e-12)
    assert seconds_per_volume(totals.flow, FEET.volume) == pytest.approx(12.0, rel=1e-12)


def test_the_end_rule_changes_the_count_by_less_than_one_a_run() -> None:
    # Length over spacing against half a spacing in at the start: 101 ft hold 50 emitters, 99 ft still 50.
    for length in (98.9, 99.0, 100.0, 100.9, 101.0):
        assert abs(field([length], spacing_ft=2.0, emitter_gph=0.6).emitters - length / 2.0) <= 1.0
