"""Water in whole fields: dosed, flushed, filled; what the pump lacks; what is said where it cannot be worked out."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from layout.errors import SiteError
from layout.hydraulics.dose import dose
from layout.hydraulics.field import water_of
from layout.hydraulics.flush import flush
from layout.hydraulics.laws import EmitterLaw
from layout.hydraulics.network import ZoneNetwork
from layout.hydraulics.solve import solve
from layout.model import Design
from layout.readers.sitefile import read_site
from layout.sheets.layoutjson import document
from layout.units import FOOT, GALLON, INCH
from tests.fields import field
from tests.networks import COMPENSATING, CURVE, GPH, GPM, PLAIN, PSI, ReferenceBed
from tests.watered import planned, site_text

# --- the reference bed ----------------------------------------------------------------------------------


@cache
def six_runs() -> Design:
    """Six runs of 100 ft with 50 emitters each, so that emitters of the reference bed have names and places."""
    lines = [[(1.0, y), (101.0, y)] for y in (11.0, 9.0, 7.0, 5.0, 3.0, 1.0)]
    return field("Reference", [(0.0, 0.0), (102.0, 0.0), (102.0, 12.0), (0.0, 12.0)], lines)


def bed_of(
    law: EmitterLaw, *, open_return: bool, along: float = 0.0, cross: float = 0.0
) -> tuple[Design, ZoneNetwork]:
    bed = ReferenceBed(law=law, open_return=open_return, along=along, cross=cross)
    site = six_runs().site
    tubing = replace(
        site.tubing,
        pressure_range=(7.0 * PSI, 60.0 * PSI),
        compensating=law.compensating,
        emitter_pressure=15.0 * PSI,
        emitter_exponent=0.5,
    )
    basis = replace(site.design, flush_velocity=2.0 * FOOT)
    design = replace(six_runs(), site=replace(site, tubing=tubing, design=basis))
    names = [row.run for row in design.emitters]
    return design, ZoneNetwork(
        network=replace(bed.network, pump=None, curve=None),
        source=bed.source,
        tank=0,
        valve=bed.valve,
        rows=tuple((name, np.arange(50 * k, 50 * k + 50)) for k, name in enumerate(names)),
        ends=tuple((f"L{k + 1}", pipe) for k, pipe in enumerate(bed.ends)),
        bore=0.55 * INCH,
        return_bore=1.049 * INCH,
    )


# Worked out once by another program of the authors': law, slope along, across; gal/min, ft, psi least and greatest, K.
FLUSHED = [
    (COMPENSATING, 0.0, 0.0, 7.4549, 90.389, 29.313, 36.016, 1688.6),
    (COMPENSATING, 0.05, 0.0, 7.4549, 90.389, 29.281, 35.994, 1688.6),
    (COMPENSATING, 0.0, 0.05, 7.4549, 90.389, 29.113, 36.016, 1688.6),
    (PLAIN, 0.0, 0.0, 8.5284, 82.239, 24.485, 32.228, 1425.4),
    (PLAIN, 0.05, 0.0, 8.4678, 82.723, 24.748, 32.431, 1441.4),
]


@pytest.mark.parametrize(("law", "along", "cross", "flow", "head", "low", "high", "valve"), FLUSHED)
def test_the_reference_bed_flushed_by_its_pump(
    law: EmitterLaw,
    along: float,
    cross: float,
    flow: float,
    head: float,
    low: float,
    high: float,
    valve: float,
) -> None:
    state = flush(*bed_of(law, open_return=True, along=along, cross=cross), CURVE)
    assert state.slowest[1] / FOOT == pytest.approx(2.0, abs=1e-6)
    assert [state.flow / GPM, state.head / FOOT] == pytest.approx([flow, head], rel=1e-4)
    assert [state.least.head / PSI, state.greatest.head / PSI] == pytest.approx([low, high], abs=2e-3)
    assert state.valve_loss == pytest.approx(valve, rel=1e-3)
    assert state.missing_head == 0
    _, bed = bed_of(law, open_return=True, along=along, cross=cross)
    wide = bed.pressures(solve(bed.pumped(CURVE)))
    assert state.wide_open is not None
    assert state.wide_open.head == pytest.approx(float(wide.min()), abs=1e-6)
    assert state.wide_open.head < state.least.head


@pytest.mark.parametrize(
    ("along", "cross", "valve", "head", "high"),
    [
        (0.0, 0.0, 476.5, 38.870, 13.702),
        (0.05, 0.0, 478.2, 38.944, 13.713),
        (0.0, 0.05, 487.4, 39.334, 13.903),
    ],
)
def test_the_least_head_that_flushes_the_reference_bed(
    along: float, cross: float, valve: float, head: float, high: float
) -> None:
    state = flush(*bed_of(COMPENSATING, open_return=True, along=along, cross=cross), None)
    assert [state.flow / GPM, state.head / FOOT] == pytest.approx([7.4549, head], rel=1e-4)
    assert [state.least.head / PSI, state.greatest.head / PSI] == pytest.approx([7.0, high], abs=2e-3)
    assert state.valve_loss == pytest.approx(valve, rel=2e-3)
    assert (state.needed_flow, state.needed_head) == pytest.approx((state.flow, state.head))


def test_a_flush_wide_open_starves_the_bed_though_it_is_fast_enough() -> None:
    _, bed = bed_of(COMPENSATING, open_return=True)
    found = solve(bed.fed_at((11.826 - 5.0) * FOOT))
    assert float(bed.velocities(found).min()) / FOOT == pytest.approx(2.0, rel=2e-3)
    assert float(bed.pressures(found).min()) / PSI == pytest.approx(-1.772, abs=5e-3)
    assert bed.given(found) / GPM == pytest.approx(5.1003, rel=1e-3)
    assert float(found.emitted.sum()) / GPM == pytest.approx(0.6480, rel=5e-3)


@pytest.mark.parametrize(
    ("along", "head", "low", "high"), [(0.0, 41.263, 14.828, 15.506), (0.05, 43.773, 13.859, 16.572)]
)
def test_emitters_that_do_not_compensate_are_given_their_flow_on_average(
    along: float, head: float, low: float, high: float
) -> None:
    state = dose(*bed_of(PLAIN, open_return=False, along=along), None)
    assert [state.flow / GPM, state.head / FOOT] == pytest.approx([3.0, head], rel=1e-4)
    assert [state.least.head / PSI, state.greatest.head / PSI] == pytest.approx([low, high], abs=2e-3)
    assert state.flow_least / GPH == pytest.approx(0.6 * math.sqrt(low / 15.0), rel=1e-3)


# --- a field from its site file -------------------------------------------------------------------------


def test_six_hundred_feet_from_the_site_file_on(tmp_path: Path) -> None:
    # Common practice, no source: 300 emitters of 0.61 gal/h are 3.05 gal/min, 19.7 s a gallon.
    design = planned(tmp_path)
    block = document(design)["hydraulics"]
    assert block["dose"]["flow"] == pytest.approx(3.05, rel=1e-9)
    assert round(block["dose"]["seconds_per_unit_volume"], 1) == 19.7
    assert block["dose"]["uniformity"] == pytest.approx(1.0, abs=1e-9)
    assert block["dose"]["pressure_min"] == pytest.approx(7.0, abs=1e-6)
    assert block["flush"]["velocity_min"] == pytest.approx(2.0, abs=1e-6)
    assert block["flush"]["pressure_min"] == pytest.approx(7.0, abs=1e-6)
    # Head: 7 psi are 16.15 ft, 5 ft of rise, some 1.6 ft along a lateral of 200 ft, and a little in line and fittings.
    assert 22.7 < block["dose"]["head"] < 23.3
    held = math.pi / 4 * (0.55 * INCH) ** 2 * (design.totals.tubing + design.totals.blank)
    risers = math.pi / 4 * (0.55 * INCH) ** 2 * sum(item.line.length for item in design.plumbing.risers)
    assert block["volumes"]["tubing"] == pytest.approx((held + risers) / GALLON, rel=1e-9)
    assert block["volumes"]["drain_back"] == document(design)["totals"]["drain_back"]
    assert block["volumes"]["fill_minutes_min"] < block["volumes"]["fill_minutes_max"]
    flows = [flow for run in block["zones"][0]["dose"]["runs"] for flow in run["flows"]]
    assert sum(flows) / 60.0 == pytest.approx(3.05, rel=1e-9)
    assert all(check.ok for check in design.checks if "pressure" in check.name or "velocity" in check.name)


def test_more_rise_is_more_head(tmp_path: Path) -> None:
    low, high = (planned(tmp_path, levels=f"levels = {level}") for level in (0.0, 30.0))
    assert low.hydraulics is not None
    assert high.hydraulics is not None
    rise = high.hydraulics.zones[0].dose.head - low.hydraulics.zones[0].dose.head
    assert rise / FOOT == pytest.approx(30.0, abs=1e-6)


def test_without_levels_that_is_said(tmp_path: Path) -> None:
    design = planned(tmp_path, levels="", curve="curve = [[0, 60], [20, 40]]")
    assert "bed-level-not-known" in {finding.code for finding in design.findings}
    heads = [
        check for check in design.checks if check.name.startswith("total dynamic head that the pump gives")
    ]
    assert [check.source for check in heads] == ["pump.curve, without the rise to the bed"] * 2


def test_a_pump_that_cannot_reach_the_bed(tmp_path: Path) -> None:
    design = planned(tmp_path, levels="levels = 40.0", curve="curve = [[0, 50], [10, 40]]")
    assert design.hydraulics is not None
    state = design.hydraulics.zones[0].dose
    given = 50.0 - state.needed_flow / GPM
    assert state.pump_head is not None
    assert state.pump_head / FOOT == pytest.approx(given, rel=1e-9)
    assert state.missing_head / FOOT == pytest.approx(state.needed_head / FOOT - given, rel=1e-9)
    assert state.missing_head > 0
    said = [finding.said for finding in design.findings if finding.code == "pump-too-weak"]
    assert len(said) == 2
    assert (
        f"{state.needed_head / FOOT:.1f} ft of total dynamic head are needed, it gives {state.pump_head / FOOT:.1f} at"
        in said[0]
    )
    failed = {check.name: check for check in design.checks if not check.ok}
    check = failed["total dynamic head that the pump gives, dosing"]
    assert (check.value, check.limit) == pytest.approx((given * FOOT, state.needed_head))
    assert "least pressure at an emitter, dosing" in failed
    assert "emitters-starved" in {finding.code for finding in design.findings}


def test_a_curve_that_ends_long_before_the_flow_needed_gives_no_head_there(tmp_path: Path) -> None:
    # straight on, the curve would be far under 0 at the flow of flushing; no pump lacks more head than is needed
    design = planned(tmp_path, curve="curve = [[0, 40], [3.5, 35], [4, 20]]")
    assert design.hydraulics is not None
    zone = design.hydraulics.zones[0]
    assert zone.flush is not None
    assert zone.flush.pump_head == 0.0
    assert zone.flush.missing_head == zone.flush.needed_head
    (said,) = [
        finding
        for finding in design.findings
        if finding.code == "pump-too-weak" and "when flushing" in finding.said
    ]
    assert "it gives 0.0 at" in said.said
    assert said.said.endswith("gal/min, beyond its curve, which ends at 4.00 gal/min.")
    assert "fewer and longer laterals" in said.remedy
    check = next(
        item for item in design.checks if item.name == "total dynamic head that the pump gives, flushing"
    )
    assert check.place.endswith("beyond its curve, which ends at 4.00 gal/min")


def test_filters_take_their_pressure_at_the_pump(tmp_path: Path) -> None:
    for curve in ("", "curve = [[0, 90], [10, 80], [30, 20]]"):
        plain, filtered = (planned(tmp_path, curve=curve, design=more) for more in ("", "filter_loss = 5.0"))
        assert plain.hydraulics is not None
        assert filtered.hydraulics is not None
        one, other = plain.hydraulics.zones[0].dose, filtered.hydraulics.zones[0].dose
        psi = plain.site.frame.units.pressure
        assert other.needed_head - one.needed_head == pytest.approx(5.0 * psi, abs=1e-6)
        if curve:
            assert other.head == pytest.approx(one.head, abs=1e-6)
            assert one.least.head - other.least.head == pytest.approx(5.0 * psi, abs=1e-6)


def test_a_curve_that_would_do_in_psi_is_asked_about_with_filters_too(tmp_path: Path) -> None:
    """What is needed holds the loss of the filters already: it is not taken from the curve once more."""
    filters = "filter_loss = 10.0"
    weak = planned(tmp_path, curve="curve = [[0, 20], [60, 19]]", design=filters)
    assert weak.hydraulics is not None
    zone, psi = weak.hydraulics.zones[0], weak.site.frame.units.pressure
    assert zone.flush is not None
    enough = 1.05 * max(zone.dose.needed_head, zone.flush.needed_head) / psi
    asked = planned(tmp_path, curve=f"curve = [[0, {enough + 0.1:.3f}], [60, {enough:.3f}]]", design=filters)
    told = [finding.remedy for finding in asked.findings if finding.code == "pump-too-weak"]
    assert told
    assert all("if they were read in psi, multiply them by 2.31" in remedy for remedy in told)


def test_cold_water_costs_more(tmp_path: Path) -> None:
    warm, cold = (planned(tmp_path, design=f"water_temperature = {t}") for t in (90.0, 35.0))
    assert warm.hydraulics is not None
    assert cold.hydraulics is not None
    warm_flush, cold_flush = (item.hydraulics.zones[0].flush for item in (warm, cold))  # type: ignore[union-attr]
    assert warm_flush is not None
    assert cold_flush is not None
    assert cold_flush.head > warm_flush.head


@pytest.mark.parametrize(
    ("drop", "said"),
    [("inside_diameter", "tubing.inside_diameter is not given"), ("level = -5", "pump.level is not given")],
)
def test_what_is_missing_is_said(drop: str, said: str, tmp_path: Path) -> None:
    design = planned(tmp_path, drop=drop)
    assert design.hydraulics is None
    assert "hydraulics" not in document(design)
    finding = next(item for item in design.findings if item.code == "no-hydraulics")
    assert said in finding.said
    assert not [check for check in design.checks if "pressure" in check.name]


def test_without_a_velocity_there_is_no_flush(tmp_path: Path) -> None:
    block = document(planned(tmp_path, drop="flush_velocity"))["hydraulics"]
    assert "flush" not in block
    assert "dose" in block


@pytest.mark.parametrize(
    ("design", "said"),
    [
        ("water_temperature = 15.0", "15 °F is no temperature of water, which lies between 32 and 212 °F"),
        ("filter_loss = -2.0", "found -2, but it must be 0 or more"),
        ('friction = "manning"', "friction"),
        ("smoothness = 1.4", "found 1.4, but it must be 80 or more"),
    ],
)
def test_what_cannot_be_is_refused(design: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(SiteError) as raised:
        planned(tmp_path, design=design)
    assert said in str(raised.value)
    assert "site.toml" in str(raised.value)


def test_a_field_laid_out_by_hand_without_zones_says_that_it_has_none() -> None:
    found = water_of(six_runs(), heights=None)
    assert found.hydraulics is None
    assert "no-hydraulics" in {finding.code for finding in found.findings}


def test_a_day_in_doses(tmp_path: Path) -> None:
    # By hand: 606 ft of tubing hold some 7.5 gal, four times that is 30; of 440 gal fourteen doses are made.
    design = planned(tmp_path, design="flow = 440.0\ndose_volumes = 4.0")
    block = document(design)["hydraulics"]
    doses, tubing = block["zones"][0]["doses"], block["volumes"]["tubing"]
    assert doses["per_day"] == math.floor(440.0 / (4.0 * tubing)) == 14
    assert doses["volume"] == pytest.approx(440.0 / 14, rel=1e-12)
    assert doses["minutes"] == pytest.approx(440.0 / 14 / 3.05, rel=1e-9)
    assert doses["over_tubing"] == pytest.approx(440.0 / 14 / tubing, rel=1e-12)
    assert next(check for check in design.checks if check.name.startswith("dose over")).ok
    small = planned(tmp_path, design="flow = 20.0\ndose_volumes = 4.0")
    failed = next(check for check in small.checks if check.name.startswith("dose over"))
    assert not failed.ok
    assert failed.value == pytest.approx(20.0 / tubing, rel=1e-9)


@pytest.mark.parametrize(
    ("band", "said"),
    [
        ("10.0", "found 10, but it must be a share of one over 0, 0.5 at most. For 10 per cent write 0.1."),
        ("10", "For 10 per cent write 0.1."),
        ("0.0", "found 0, but it must be a share of one over 0"),
        ("-0.1", "found -0.1"),
        ('"10 %"', 'found "10 %"'),
    ],
)
def test_a_percentage_for_a_share_is_refused_with_what_to_write(band: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(SiteError, match=r"design\.flow_band") as raised:
        planned(tmp_path, design=f"flow_band = {band}")
    assert said in str(raised.value)


def test_ground_and_tubing_for_the_stated_flow(tmp_path: Path) -> None:
    # By hand: 1000 sq ft take 400 gal a day, 600 ft of tubing 2 ft apart serve 1200 sq ft. Of tubing half as many
    # feet as the ground has square feet is what 12VAC5-610-955.B.1 (Virginia) asks for, too.
    for flow, ground, tubing in (
        (400.0, True, True),
        (401.0, False, True),
        (480.0, False, True),
        (481.0, False, False),
    ):
        design = planned(tmp_path, design=f"flow = {flow}\nloading = 0.4")
        names = ("loading of the usable ground", "tubing for the stated flow")
        found = [check for check in design.checks if check.name in names]
        per_day = GALLON / FOOT**2 / 86400.0
        assert [check.limit for check in found] == pytest.approx([0.4 * per_day, flow / 0.8 * FOOT])
        assert [check.value for check in found] == pytest.approx([flow / 1000.0 * per_day, 600.0 * FOOT])
        assert [check.ok for check in found] == [ground, tubing]
    without = planned(tmp_path, design="flow = 200.0", drop="inside_diameter")
    assert not [check for check in without.checks if check.name.endswith("for the stated flow")]


def test_a_flush_that_is_fast_enough_but_starves_the_bed_fails(tmp_path: Path) -> None:
    # With the valve set for just 2 ft/s this pump leaves emitters less than 7 psi: velocity passes, pressure does not.
    design = planned(tmp_path, curve="curve = [[0, 40], [7, 30], [20, 10]]")
    assert design.hydraulics is not None
    state = design.hydraulics.zones[0].flush
    assert state is not None
    assert state.slowest[1] / FOOT == pytest.approx(2.0, abs=1e-6)
    checks = {check.name: check.ok for check in design.checks}
    assert checks["least velocity at the end of a lateral, flushing"]
    assert not checks["least pressure at an emitter, flushing"]
    assert not checks["total dynamic head that the pump gives, flushing"]
    assert checks["least pressure at an emitter, dosing"]
    assert any("cannot reach this bed when flushing" in finding.said for finding in design.findings)


def test_heads_of_a_pump_that_look_like_pounds_are_asked_for(tmp_path: Path) -> None:
    # 30 of psi are 69 ft, which reach; 30 ft do not. 5 psi do not reach either.
    for top, asked in ((30, True), (5, False)):
        design = planned(tmp_path, levels="levels = 20.0", curve=f"curve = [[0, {top}], [20, {0.8 * top}]]")
        remedies = [finding.remedy for finding in design.findings if finding.code == "pump-too-weak"]
        assert len(remedies) == 2
        assert any("psi" in remedy for remedy in remedies) == asked


@pytest.mark.parametrize(
    ("key", "value", "remedy"),
    [
        ("tubing.inside_diameter", "14.0", "for 14 mm write 0.5512"),
        ("tubing.pressure_range", "[50.0, 400.0]", "for 400 kPa write 58.02"),
        ("tubing.emitter_flow", "230.0", "for 230 L/h write 60.76"),
        ("design.flush_velocity", "600.0", "for 600 mm/s write 1.969"),
        ("tubing.inside_diameter", "1e6", "Inside diameters are in in."),
        ("tubing.emitter_exponent", "50", "but it must be 1 at most"),
    ],
)
def test_figures_in_another_unit_are_refused_with_what_to_write(
    key: str, value: str, remedy: str, tmp_path: Path
) -> None:
    path = tmp_path / "site.toml"
    path.write_text(site_text(levels=""))
    with pytest.raises(SiteError) as raised:
        read_site(path, [f"{key}={value}"])
    assert key in str(raised.value)
    assert remedy in str(raised.value)


def test_a_valve_that_must_not_be_opened_wide_is_told(tmp_path: Path) -> None:
    strong = planned(tmp_path, curve="curve = [[0, 60], [10, 45], [20, 20]]")
    assert strong.hydraulics is not None
    state = strong.hydraulics.zones[0].flush
    assert state is not None
    assert state.wide_open is not None
    psi = strong.site.frame.units.pressure
    said = [item.said for item in strong.findings if item.code == "valve-wide-open-starves"]
    assert state.wide_open.head < 7.0 * psi < state.least.head
    assert len(said) == 1
    assert f"{state.wide_open.head / psi:.1f} psi" in said[0]
    entry = document(strong)["hydraulics"]["zones"][0]["flush"]["wide_open"]
    assert entry["pressure"] == pytest.approx(state.wide_open.head / psi)
    without = planned(tmp_path)
    assert not [item for item in without.findings if item.code == "valve-wide-open-starves"]
