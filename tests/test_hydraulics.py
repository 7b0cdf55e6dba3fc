"""The solver of pipe networks: it balances whatever it is given, keeps its laws, and says so where it cannot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from layout.errors import NoBalanceError
from layout.hydraulics.laws import EmitterLaw, PumpCurve
from layout.hydraulics.losses import darcy_weisbach, fitting_loss, hazen_williams
from layout.hydraulics.solve import solve
from layout.hydraulics.water import density, kinematic_viscosity
from layout.units import FOOT, INCH
from tests.networks import COMPENSATING, GPM, PLAIN, ReferenceBed, Sketch, balance, lateral, random_bed


def test_water_is_balanced_on_five_hundred_random_beds() -> None:
    assert max(balance(random_bed(number)) for number in range(500)) < 1e-9


@pytest.mark.parametrize("number", [1181, 1591, 1947, 2525])
def test_beds_that_swing_between_fed_and_starved_are_balanced(number: int) -> None:
    # Chosen among thousands: here plain steps go to and fro between all emitters on and all off.
    assert balance(random_bed(number)) < 1e-9


@pytest.mark.parametrize("law", [COMPENSATING, PLAIN])
def test_order_and_direction_of_pipes_do_not_matter(law: EmitterLaw) -> None:
    one = other = ReferenceBed(cross=0.05, along=0.03, law=law).network
    turned = replace(other, starts=other.ends[::-1], ends=other.starts[::-1], lengths=other.lengths[::-1])
    turned = replace(turned, bores=other.bores[::-1], fittings=other.fittings[::-1])
    a, b = solve(one), solve(turned)
    assert a.heads == pytest.approx(b.heads, abs=1e-8)
    assert a.flows == pytest.approx(-b.flows[::-1], abs=1e-13)


def test_losses_rise_with_the_flow_and_their_slopes_are_true() -> None:
    flow = np.concatenate((-np.geomspace(1e-3, 1e-9, 300), np.geomspace(1e-9, 1e-3, 300)))
    length, bore = np.full(600, 10.0), np.full(600, 0.55 * INCH)

    def all_of(q: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
        return [
            darcy_weisbach(q, length, bore, viscosity=1.1e-6, roughness=1.5e-6, gravity=9.8),
            hazen_williams(q, length, bore, smoothness=140.0),
            fitting_loss(q, bore, np.full(600, 1.8), gravity=9.8),
        ]

    step = 1e-6 * np.abs(flow)
    # At the seams of two formulas the slope is that of one side.
    reynolds = 4.0 * np.abs(flow) / (np.pi * 1.1e-6 * bore)
    smooth = (np.abs(reynolds - 2000.0) > 20.0) & (np.abs(reynolds - 4000.0) > 20.0)
    little = np.abs(np.abs(flow) / (np.pi / 4 * bore**2) - 1e-6) > 1e-7
    for (lost, slope), (less, _), (more, _) in zip(
        all_of(flow), all_of(flow - step), all_of(flow + step), strict=True
    ):
        assert (np.diff(lost) > 0).all()
        assert ((more - less) / (2 * step))[smooth & little] == pytest.approx(
            slope[smooth & little], rel=1e-5
        )


def test_water_at_temperatures() -> None:
    # Handbook values from memory: 1.792, 1.307, 1.004, 0.801 and 0.295 mm²/s; 999.7 and 958.4 kg/m³.
    said = {0.0: 1.792, 10.0: 1.307, 20.0: 1.004, 30.0: 0.801, 100.0: 0.295}
    for temperature, viscosity in said.items():
        assert 1e6 * kinematic_viscosity(temperature) == pytest.approx(viscosity, rel=5e-3)
    assert [density(10.0), density(100.0)] == pytest.approx([999.7, 958.4], abs=0.1)
    for wrong in (-1.0, 101.0, 212.0):
        with pytest.raises(ValueError, match="is not between"):
            kinematic_viscosity(wrong)


def test_laws_of_emitters() -> None:
    heads = np.linspace(-2.0, 30.0, 641)
    for law in (COMPENSATING, PLAIN, replace(PLAIN, exponent=0.1)):
        flow, slope = law.at(heads)
        assert (np.diff(flow) >= 0).all()
        assert (flow[heads <= 0] == 0).all()
        assert (slope >= 0).all()
    assert COMPENSATING.at(np.array([COMPENSATING.head, 40.0]))[0] == pytest.approx(
        COMPENSATING.flow, rel=1e-15
    )
    for wrong in ({"flow": -1.0}, {"head": 0.0}, {"exponent": 5.0}, {"exponent": 0.0}):
        with pytest.raises(ValueError, match="emitter"):
            replace(PLAIN, **wrong)


def test_a_pump_below_its_static_head_gives_nothing() -> None:
    bed = ReferenceBed()
    weak = PumpCurve(points=((0.0, 1.0), (12.0 * GPM, 0.5)))
    found = solve(replace(bed.network, curve=weak))
    assert found.pumped == pytest.approx(0.0, abs=1e-12)
    assert (found.emitted == 0).all()


def test_pump_curves_fall() -> None:
    for points in (((0.0, 10.0), (1.0, 11.0)), ((1.0, 10.0), (0.0, 5.0)), ((0.0, 10.0),)):
        with pytest.raises(ValueError, match="pump curve"):
            PumpCurve(points=points)


def test_what_hangs_on_no_water_has_no_answer() -> None:
    sketch, outlets = lateral(3)
    sketch.pipe(sketch.node(), sketch.node(), 10.0, 1.0)
    with pytest.raises(NoBalanceError, match="2 points of the network are joined to no water"):
        solve(sketch.network(demands={outlets[-1]: GPM}))


def test_what_cannot_balance_has_no_answer() -> None:
    # The loss of such a flow in a hair of pipe is no number.
    sketch = Sketch()
    node = sketch.node()
    sketch.pipe(sketch.node(0.0, 10.0), node, 10.0, 1e-60)
    with pytest.raises(NoBalanceError, match="do not come to a balance"):
        solve(sketch.network(demands={node: 1e100}))


def test_networks_that_are_none_are_refused() -> None:
    network = ReferenceBed().network
    for wrong, said in (
        ({"lengths": 0.0 * network.lengths}, "a length and a bore"),
        ({"levels": network.levels[1:]}, "a level"),
        ({"fittings": network.fittings - 1.0}, "0 or more"),
        ({"law": None}, "have a law"),
        ({"curve": None}, "has a curve"),
        ({"viscosity": 0.0}, "over 0"),
    ):
        with pytest.raises(ValueError, match=said):
            replace(network, **wrong)


def test_a_thousand_feet_of_drop_is_only_pressure() -> None:
    low = ReferenceBed().network
    high = replace(low, levels=low.levels + 1000.0 * FOOT, fixed=low.fixed + 1000.0 * FOOT)
    assert solve(high).heads - 1000.0 * FOOT == pytest.approx(solve(low).heads, abs=1e-8)


@pytest.mark.parametrize("law", [COMPENSATING, PLAIN])
@pytest.mark.parametrize("open_return", [False, True])
def test_a_bed_in_a_mirror_does_the_same(law: EmitterLaw, open_return: bool) -> None:
    # Fed from the other side, ground, pipes and emitters mirrored: nodes and pipes in another order, sums alike.
    one = ReferenceBed(law=law, along=0.04, cross=0.03, open_return=open_return).network
    order = np.random.default_rng(8).permutation(len(one.levels))
    back = np.argsort(order)
    assert one.pump is not None
    mirrored = replace(
        one,
        levels=one.levels[order],
        fixed=one.fixed[order],
        starts=back[one.ends],
        ends=back[one.starts],
        emitters=back[one.emitters][::-1],
        pump=(int(back[one.pump[0]]), int(back[one.pump[1]])),
    )
    a, b = solve(one), solve(mirrored)
    assert b.heads[back] == pytest.approx(a.heads, abs=1e-8)
    assert b.emitted[::-1] == pytest.approx(a.emitted, rel=1e-8)
    assert b.flows == pytest.approx(-a.flows, abs=1e-12)


def test_a_solution_to_begin_from_changes_nothing_but_the_steps() -> None:
    for number in range(40):
        network = random_bed(number)
        first = solve(network)
        again = solve(network, start=first)
        assert again.heads == pytest.approx(first.heads, abs=1e-6)
        higher = replace(network, fixed=network.fixed + 3.0, levels=network.levels + 3.0)
        assert solve(higher, start=first).heads == pytest.approx(first.heads + 3.0, abs=1e-6)
