"""Losses, emitters, orifices, laterals and a whole bed against published tables and values worked out elsewhere.

The tables named *state rules* were read in reprints. What is *derived* follows from the definition; *computed* values
come from an independent engine and a separate back-step along the lateral.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from layout.hydraulics.laws import EmitterLaw, PumpCurve
from layout.hydraulics.losses import friction_factor, hazen_williams
from layout.hydraulics.solve import solve
from layout.hydraulics.water import density, kinematic_viscosity
from layout.pipes import SCHEDULE_40
from layout.units import FOOT, INCH, POUND_PER_SQUARE_INCH, WATER_HEAD_PER_PASCAL
from tests.networks import (
    COMPENSATING,
    CURVE,
    FEET,
    GPH,
    GPM,
    PLAIN,
    PSI,
    VISCOSITY,
    ReferenceBed,
    Sketch,
    lateral,
)

POUND = POUND_PER_SQUARE_INCH * WATER_HEAD_PER_PASCAL
GRAVITY_FT = 32.174


def feet_lost(flow_gpm: float, bore_inch: float, smoothness: float, length_ft: float = 100.0) -> float:
    flow, length, bore = (np.array([x]) for x in (flow_gpm * GPM, length_ft * FOOT, bore_inch * INCH))
    return float(hazen_williams(flow, length, bore, smoothness=smoothness)[0][0]) / FOOT


def ended(sketch: Sketch, outlets: list[int], flow: float, **more: object) -> float:
    """Head lost from the inlet of a lateral to its last outlet, each outlet taking the flow [ft]."""
    network = sketch.network(demands=dict.fromkeys(outlets, flow), **more)  # type: ignore[arg-type]
    found = solve(network)
    return float(found.heads[0] - found.heads[outlets[-1]]) / FOOT


# --- friction -------------------------------------------------------------------------------------------

# 77 Ill. Adm. Code 906, Appendix A, Exhibit I, "Friction Loss in Schedule 40 Plastic Pipe, C = 150", and Nevada
# Admin. Code 444.8396(4): nominal size, gal/min, ft per 100 ft, tolerance.
STATE_TABLE = [
    (1.0, 5, 1.52, 0.01),
    (1.0, 10, 5.50, 0.01),
    (1.25, 10, 1.46, 0.01),
    (1.25, 20, 5.23, 0.01),
    (1.5, 20, 2.46, 0.01),
    (1.5, 30, 5.22, 0.01),
    (2.0, 20, 0.74, 0.02),
    (2.0, 50, 3.98, 0.01),
    (3.0, 50, 0.58, 0.01),
    (3.0, 100, 2.09, 0.01),
    (4.0, 100, 0.55, 0.02),
]
AVERAGE_BORE = {1.0: 1.033, 1.25: 1.364, 1.5: 1.592, 2.0: 2.049, 3.0: 3.042, 4.0: 3.998}
"""Of the same pipe, by its average wall [in]: not what the tables of the states are made with."""


@pytest.mark.parametrize(("size", "flow", "said", "tolerance"), STATE_TABLE)
def test_cells_of_the_state_friction_table(size: float, flow: float, said: float, tolerance: float) -> None:
    assert feet_lost(flow, SCHEDULE_40[size], 150.0) == pytest.approx(said, rel=tolerance)


def test_with_the_average_bore_the_state_table_is_not_met() -> None:
    off = [
        abs(feet_lost(flow, AVERAGE_BORE[size], 150.0) / said - 1.0) for size, flow, said, _ in STATE_TABLE
    ]
    assert sum(share > 0.03 for share in off) == 10


def test_hazen_williams_by_both_constants() -> None:
    # EPANET 2.2 User Manual, chapter 3, table of headloss formulas: 4.727 with feet and cubic feet a second. Derived:
    # 10.462 with gallons a minute and inches; irrigation texts round it to 10.44 (from memory).
    assert feet_lost(10.0, 1.049, 150.0) == pytest.approx(5.499, abs=5e-4)
    for constant, within in ((10.462, 1e-3), (10.44, 3e-3)):
        by_hand = constant * 100.0 * (10.0 / 150.0) ** 1.852 * 1.049**-4.871
        assert feet_lost(10.0, 1.049, 150.0) == pytest.approx(by_hand, rel=within)


def test_friction_factors() -> None:
    # Derived: 64 over Reynolds. Swamee and Jain for smooth pipe at 4 000 and 100 000: by hand.
    smooth = np.zeros(1)

    def factor(reynolds: float) -> float:
        return float(friction_factor(np.array([reynolds]), smooth)[0][0])

    assert factor(1000.0) == pytest.approx(0.064, rel=1e-12)
    assert factor(2000.0) == pytest.approx(0.032, rel=1e-12)
    assert factor(2000.0 + 1e-7) == pytest.approx(0.032, rel=1e-7)
    assert factor(4000.0) == pytest.approx(0.040551, abs=5e-7)
    assert factor(4000.0 - 1e-7) == pytest.approx(factor(4000.0), rel=1e-7)
    assert factor(1e5) == pytest.approx(0.017863, abs=5e-7)


def test_laminar_dead_end() -> None:
    # Derived, Hagen and Poiseuille: 128 ν s q / (π g D⁴) times 1 + 2 + ... + 30.
    sketch, outlets = lateral(30)
    bore, step = 0.55 / 12.0, 2.0
    flow = 0.01 * GPM / FOOT**3
    by_hand = 128.0 * 1.21e-5 * step * flow * 465.0 / (math.pi * GRAVITY_FT * bore**4)
    assert by_hand == pytest.approx(0.0719473125, abs=1e-9)
    network = sketch.network(demands=dict.fromkeys(outlets, 0.01 * GPM))
    found = solve(replace(network, gravity=GRAVITY_FT * FOOT))
    assert float(found.heads[0] - found.heads[outlets[-1]]) / FOOT == pytest.approx(by_hand, abs=1e-11)


def test_parallel_pipes_share_the_flow() -> None:
    # Derived: the flows are as the lengths to the power of 1 / 1.852, the other way round.
    sketch = Sketch()
    a, b = sketch.node(0.0, 100.0), sketch.node()
    sketch.pipe(a, b, 100.0, 1.049)
    sketch.pipe(a, b, 200.0, 1.049)
    found = solve(sketch.network(demands={b: 10.0 * GPM}, friction="hazen-williams", smoothness=150.0))
    share = 2.0 ** (1.0 / 1.852)
    assert found.flows / GPM == pytest.approx([10.0 * share / (1.0 + share), 10.0 / (1.0 + share)], rel=1e-9)
    assert found.flows / GPM == pytest.approx([5.924902, 4.075098], abs=1e-6)


# --- several outlets ------------------------------------------------------------------------------------


def exact_share(count: int, power: float) -> float:
    """Derived: what is lost along equal outlets, over what the whole flow would lose, the first a spacing in."""
    return sum((k / count) ** power for k in range(1, count + 1)) / count


def half_spacing(count: int, power: float) -> float:
    """Derived: the same with the first outlet half a spacing in."""
    return (count * exact_share(count, power) - 0.5) / (count - 0.5)


FACTORS = {  # derived: by count, for powers 1.75, 1.852, 1.9, 2 and half a spacing in for 1.75, 1.852, 2
    1: (1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0),
    2: (0.6487, 0.6385, 0.6340, 0.6250, 0.5315, 0.5180, 0.5000),
    3: (0.5460, 0.5342, 0.5289, 0.5185, 0.4552, 0.4411, 0.4222),
    5: (0.4694, 0.4568, 0.4511, 0.4400, 0.4104, 0.3964, 0.3778),
    10: (0.4151, 0.4022, 0.3964, 0.3850, 0.3843, 0.3707, 0.3526),
    20: (0.3890, 0.3760, 0.3702, 0.3588, 0.3733, 0.3600, 0.3423),
    50: (0.3737, 0.3607, 0.3549, 0.3434, 0.3674, 0.3542, 0.3368),
    100: (0.3687, 0.3556, 0.3498, 0.3383, 0.3655, 0.3524, 0.3350),
    200: (0.3661, 0.3531, 0.3473, 0.3358, 0.3646, 0.3515, 0.3342),
}


@pytest.mark.parametrize("count", list(FACTORS))
def test_what_outlets_leave_of_the_loss(count: int) -> None:
    for power, said in zip((1.75, 1.852, 1.9, 2.0), FACTORS[count], strict=False):
        assert exact_share(count, power) == pytest.approx(said, abs=5.1e-5)
    for power, said in zip((1.75, 1.852, 2.0), FACTORS[count][4:], strict=True):
        assert half_spacing(count, power) == pytest.approx(said, abs=5.1e-5)
    # and the solver loses just that, with the first outlet a spacing in and half a spacing in
    each = 20.0 / count * GPM
    for first, share in ((None, exact_share(count, 1.852)), (1.0, half_spacing(count, 1.852))):
        sketch, outlets = lateral(count, bore_inch=1.049, first_ft=first, head_ft=1000.0)
        lost = ended(sketch, outlets, each, friction="hazen-williams", smoothness=150.0)
        length = 2.0 * count - (0.0 if first is None else 1.0)
        assert lost == pytest.approx(share * feet_lost(20.0, 1.049, 150.0, length), rel=1e-9)


def test_christiansens_formula_against_the_sums() -> None:
    # Christiansen 1942 (from memory): 1 / (m + 1) + 1 / 2N + sqrt(m - 1) / 6N²; not made for a single outlet.
    def formula(count: int, power: float) -> float:
        return 1.0 / (power + 1.0) + 0.5 / count + math.sqrt(power - 1.0) / (6.0 * count**2)

    for power, most, single in (
        (1.75, 0.165, 1.0080),
        (1.852, 0.092, 1.0045),
        (1.9, 0.061, 1.0029),
        (2.0, 0.0, 1.0),
    ):
        off = max(abs(100.0 * (formula(n, power) / exact_share(n, power) - 1.0)) for n in range(2, 300))
        assert off == pytest.approx(most, abs=6e-4)
        assert formula(1, power) == pytest.approx(single, abs=5.1e-5)


def test_the_rounded_table_of_the_trade() -> None:
    # National Engineering Handbook, microirrigation chapter (from memory): powers of 1.75, rounded.
    bins = [(1, 1, 1.0), (2, 2, 0.65), (3, 3, 0.55), (4, 4, 0.50), (5, 5, 0.47), (6, 6, 0.45), (7, 7, 0.44)]
    bins += [(8, 8, 0.43), (9, 9, 0.42), (10, 11, 0.41), (12, 15, 0.40), (16, 20, 0.39), (21, 30, 0.38)]
    bins += [(31, 70, 0.37), (71, 1000, 0.36)]
    for first, last, said in bins:
        assert exact_share(first, 1.75) == pytest.approx(said, abs=0.011)
        assert exact_share(last, 1.75) == pytest.approx(said, abs=0.011)


# --- emitters and orifices ------------------------------------------------------------------------------


def test_flow_over_head_of_an_emitter() -> None:
    # FAO localized-irrigation module, example 8, as a slide deck reproduces it: x = 0.42, 4 L/h at 10 m, 4.32 L/h.
    law = EmitterLaw(flow=4.0, head=10.0, exponent=0.42, compensating=False)
    assert float(law.at(np.array([12.011]))[0][0]) == pytest.approx(4.32, abs=1e-3)
    head = 10.0 * (4.32 / 4.0) ** (1.0 / 0.42)
    assert head == pytest.approx(12.0, abs=0.1)


@pytest.mark.parametrize(
    ("celsius", "dense", "viscous"),
    [
        (0.0, 999.84, 1.792),
        (10.0, 999.70, 1.307),
        (20.0, 998.21, 1.002),
        (30.0, 995.65, 0.798),
        (40.0, 992.22, 0.653),
        (60.0, 983.20, 0.467),
        (80.0, 971.80, 0.355),
        (100.0, 958.37, 0.282),
    ],
)
def test_water_at_temperatures(celsius: float, dense: float, viscous: float) -> None:
    # Density [kg/m³] and dynamic viscosity [mPa·s] as handbooks of chemistry and physics print them: from memory.
    assert density(celsius) == pytest.approx(dense, abs=0.03)
    assert kinematic_viscosity(celsius) * dense * 1e3 == pytest.approx(viscous, rel=4e-3)


ORIFICES = {  # Nevada Admin. Code 444.8396(3): 11.79 d² √h; the last two a printed table of the University of Minnesota
    3 / 8: ((1, 2, 3, 4, 5), (1.66, 2.34, 2.87, 3.31, 3.71)),
    7 / 16: ((1, 2, 3, 4, 5), (2.26, 3.19, 3.91, 4.51, 5.04)),
    1 / 2: ((1, 2, 3, 4, 5), (2.95, 4.17, 5.10, 5.89, 6.59)),
    1 / 8: ((1, 1.5, 2, 2.5, 3, 4, 5), (0.18, 0.22, 0.26, 0.29, 0.32, 0.37, 0.41)),
    1 / 4: ((1, 1.5, 2, 2.5, 3, 4, 5), (0.74, 0.90, 1.04, 1.17, 1.28, 1.47, 1.65)),
}


@pytest.mark.parametrize("bore", list(ORIFICES))
def test_orifices_of_the_state_tables(bore: float) -> None:
    law = EmitterLaw(flow=11.79 * bore**2 * GPM, head=FOOT, exponent=0.5, compensating=False)
    heads, said = ORIFICES[bore]
    given = law.at(np.array(heads) * FOOT)[0] / GPM
    assert given == pytest.approx(said, abs=0.0105)


def test_one_orifice() -> None:
    # Derived: 1 gal/min at 25 ft gives √2 at 50 ft; the pipe to it is so wide that it loses nothing.
    sketch = Sketch()
    node = sketch.node()
    sketch.pipe(sketch.node(0.0, 50.0), node, 0.01, 40.0)
    sketch.emitter(node)
    law = EmitterLaw(flow=GPM, head=25.0 * FOOT, exponent=0.5, compensating=False)
    assert float(solve(sketch.network(law=law)).emitted[0]) / GPM == pytest.approx(math.sqrt(2.0), abs=1e-8)


def test_ten_per_cent_of_flow_is_twentyone_of_head() -> None:
    # Kitsap County (Washington) Board of Health Policy 18, 1.1.1: 10 % of flow is 21 % of squirt height, 15 % is 32 %.
    law = EmitterLaw(flow=1.0, head=1.0, exponent=0.5, compensating=False)
    assert law.at(np.array([1.21, 1.3225]))[0] == pytest.approx([1.10, 1.15], abs=1e-12)
    more = 100.0 * (1.15**2 - 1.0)
    assert more == pytest.approx(32.0, abs=0.3)
    # The same policy, 1.1.2: 2 ft and 5 ft of head in psi.
    assert 2.0 * FEET.length / POUND == pytest.approx(0.87, abs=0.02)
    assert 5.0 * FEET.length / POUND == pytest.approx(2.18, abs=0.02)


# --- pump, lateral, bed ---------------------------------------------------------------------------------


def test_a_pump_of_three_points() -> None:
    # By hand: 120 - 20 × 0.5 to the power of log(70 / 20) / log(2).
    assert CURVE.head(3.0 * GPM) / FOOT == pytest.approx(114.2857, abs=5e-5)
    for flow, head in CURVE.points:
        assert CURVE.head(flow) == pytest.approx(head, rel=1e-12)
    straight = PumpCurve(points=(*CURVE.points, (13.0 * GPM, 40.0 * FOOT)))
    assert straight.head(9.0 * GPM) / FOOT == pytest.approx(75.0)


def test_a_lateral_dosed_and_flushed() -> None:
    # Computed: the independent engine and the sum of the segments agree on 3.07506 and 18.68447 ft.
    sketch, outlets = lateral(100, head_ft=1000.0)
    how = {"friction": "hazen-williams", "smoothness": 140.0}
    assert ended(sketch, outlets, 0.9 * GPH, **how) == pytest.approx(3.0751, rel=1e-3)
    taken = dict.fromkeys(outlets, 0.9 * GPH)
    taken[outlets[-1]] += 1.4810 * GPM
    found = solve(sketch.network(demands=taken, **how))  # type: ignore[arg-type]
    lost = float(found.heads[0] - found.heads[outlets[-1]]) / FOOT
    assert lost == pytest.approx(18.6845, rel=1e-3)
    # The factor for many outlets does not hold for a lateral that is being flushed.
    whole = feet_lost(2.9810, 0.55, 140.0, 200.0)
    assert abs(exact_share(100, 1.852) * whole / lost - 1.0) > 0.2


def test_a_lateral_of_emitters_that_follow_the_pressure() -> None:
    # Computed: the independent engine and a separate back-step agree to 1e-5; inlet at 15 psi of 0.4333 psi a foot.
    psi = FOOT / 0.4333
    sketch, outlets = lateral(200, head_ft=15.0 / 0.4333)
    for node in outlets:
        sketch.emitter(node)
    law = EmitterLaw(flow=0.9 * GPH, head=15.0 * psi, exponent=0.5, compensating=False)
    found = solve(sketch.network(law=law, friction="hazen-williams", smoothness=140.0))
    assert float(found.emitted.sum()) / GPM == pytest.approx(2.4783, rel=1e-3)
    assert float(found.heads[outlets[-1]]) / FOOT == pytest.approx(20.181, rel=1e-3)
    assert found.emitted[[0, -1]] / GPH == pytest.approx([0.8971, 0.6872], rel=1e-3)
    uniformity = float(found.emitted.min() / found.emitted.max())
    assert uniformity == pytest.approx(0.7660, rel=1e-3)
    assert uniformity < 0.9


@pytest.mark.parametrize(("slope", "difference"), [(0.0, 1.57385), (0.05, 11.52385), (-0.05, -8.37615)])
def test_a_lateral_on_a_slope(slope: float, difference: float) -> None:
    # Computed by a separate sweep along the lateral; a slope adds just its rise.
    sketch, outlets = lateral(100, head_ft=40.0 * 2.3089, slope=slope, first_ft=1.0)
    for node in outlets:
        sketch.emitter(node)
    network = sketch.network(law=COMPENSATING)
    found = solve(network)
    pressure = found.heads - network.levels
    assert float(pressure[0] - pressure[outlets[-1]]) / FOOT == pytest.approx(difference, abs=2e-4)
    assert found.emitted == pytest.approx(0.6 * GPH, rel=1e-12)


# Computed once by another program of the authors' and confirmed by the independent engine: slope along, slope across,
# law; gal/min, ft at the pump, psi least and greatest, gal/h least and greatest.
BED = [
    (0.0, 0.0, COMPENSATING, 3.0, 114.286, 46.451, 47.133, 0.6, 0.6),
    (0.05, 0.0, COMPENSATING, 3.0, 114.286, 44.390, 47.111, 0.6, 0.6),
    (-0.05, 0.0, COMPENSATING, 3.0, 114.286, 46.473, 48.690, 0.6, 0.6),
    (0.0, 0.05, COMPENSATING, 3.0, 114.286, 46.235, 47.133, 0.6, 0.6),
    (0.0, 0.0, PLAIN, 5.0073, 105.577, 41.326, 43.078, 0.9959, 1.0168),
    (0.05, 0.0, PLAIN, 4.9515, 105.866, 39.572, 43.190, 0.9745, 1.0181),
    (-0.05, 0.0, PLAIN, 5.0622, 105.290, 41.177, 43.570, 0.9941, 1.0226),
    (0.0, 0.05, PLAIN, 5.0017, 105.606, 41.126, 43.091, 0.9935, 1.0169),
]


@pytest.mark.parametrize(("along", "cross", "law", "flow", "head", "low", "high", "least", "most"), BED)
def test_a_bed_of_three_laterals(
    along: float,
    cross: float,
    law: EmitterLaw,
    flow: float,
    head: float,
    low: float,
    high: float,
    least: float,
    most: float,
) -> None:
    network = ReferenceBed(along=along, cross=cross, law=law).network
    found = solve(network)
    pressure = (found.heads - network.levels)[network.emitters] / PSI
    assert found.pumped / GPM == pytest.approx(flow, rel=1e-4)
    assert CURVE.head(found.pumped) / FOOT == pytest.approx(head, rel=1e-5)
    assert [float(pressure.min()), float(pressure.max())] == pytest.approx([low, high], abs=6e-4)
    given = found.emitted / GPH
    assert [float(given.min()), float(given.max())] == pytest.approx([least, most], abs=6e-5)


def test_viscosity_of_the_reference_bed_is_that_of_water_at_sixty_degrees() -> None:
    from layout.hydraulics.water import kinematic_viscosity

    assert kinematic_viscosity((60.0 - 32.0) / 1.8) == pytest.approx(VISCOSITY, rel=0.005)


def test_a_lateral_of_plain_emitters_against_a_separate_sweep() -> None:
    # Computed by a separate sweep along the lateral: 100 emitters of 0.6 gal/h at 15 psi, 40 psi at the inlet.
    sketch, outlets = lateral(100, head_ft=40.0 * 2.3089, first_ft=1.0)
    for node in outlets:
        sketch.emitter(node)
    found = solve(sketch.network(law=PLAIN))
    assert float(found.emitted.sum()) / GPM == pytest.approx(1.608106, rel=1e-5)
    assert float(found.heads[0] - found.heads[outlets[-1]]) / FOOT == pytest.approx(3.76641, rel=2e-4)


def test_the_constant_for_pounds_to_the_square_inch_is_not_that_for_feet() -> None:
    # 4.52 gives psi a foot (fire-sprinkler form, in a reprint), 10.44 to 10.50 feet a foot (irrigation texts, from
    # memory): to take one for the other is wrong by 2.31. 5 gal/min, 1.049 in, C = 150: 1.529 ft in 100 ft.
    psi = 4.52 * 100.0 * (5.0 / 150.0) ** 1.85 * 1.049**-4.87
    feet = 10.50 * 100.0 * (5.0 / 150.0) ** 1.852 * 1.049**-4.87
    ours = feet_lost(5.0, 1.049, 150.0)
    assert ours == pytest.approx(1.523, abs=5e-4)
    assert psi * POUND / FOOT == pytest.approx(ours, rel=7e-3)
    assert feet == pytest.approx(ours, rel=7e-3)
    assert ours / psi == pytest.approx(2.31, rel=7e-3)


def test_drip_tubing_by_both_laws() -> None:
    # 1 gal/min in a bore of 0.55 in at 20 °C: computed with a general-purpose library of fluid mechanics (Colebrook,
    # smooth, 2.224 ft in 100 ft, Blasius 2.249; Hazen and Williams 1.796, 2.040, 2.340 for C of 150, 140, 130).
    from layout.hydraulics.losses import PLASTIC_ROUGHNESS, darcy_weisbach

    flow, length, bore = (np.array([x]) for x in (GPM, 100.0 * FOOT, 0.55 * INCH))
    viscosity = 1.0034e-6
    velocity = GPM / (math.pi / 4.0 * (0.55 * INCH) ** 2)
    assert velocity / FOOT == pytest.approx(1.3504, abs=1e-4)
    assert velocity * 0.55 * INCH / viscosity == pytest.approx(5727.0, rel=2e-3)
    lost, _ = darcy_weisbach(
        flow, length, bore, viscosity=viscosity, roughness=PLASTIC_ROUGHNESS, gravity=9.80665
    )
    assert float(lost[0]) / FOOT == pytest.approx(2.224, rel=0.015)  # Swamee and Jain for Colebrook
    for smoothness, said in ((150.0, 1.796), (140.0, 2.040), (130.0, 2.340)):
        assert feet_lost(1.0, 0.55, smoothness) == pytest.approx(said, rel=2e-3)


@pytest.mark.parametrize(
    ("bore", "flow", "volume"),
    [
        (0.50, 1.224, 1.020),
        (0.55, 1.481, 1.234),
        (0.57, 1.591, 1.326),
        (0.58, 1.647, 1.373),
        (0.60, 1.763, 1.469),
        (0.622, 1.894, 1.578),
    ],
)
def test_flow_of_a_flush_and_volume_of_tubing(bore: float, flow: float, volume: float) -> None:
    # Common practice, no source: gal/min through a lateral at 2 ft/s, and gal in 100 ft of it.
    area = math.pi / 4.0 * (bore * INCH) ** 2
    assert 2.0 * FOOT * area / GPM == pytest.approx(flow, abs=1e-3)
    assert 100.0 * FOOT * area / (231 * INCH**3) == pytest.approx(volume, abs=1e-3)
