"""Stake-out arithmetic against published figures and formulas; the source stands beside each check."""

from __future__ import annotations

import math

import numpy as np
import pytest

from layout.model import Frame
from layout.stakes import meeting_points
from layout.stakes.swing import swings
from layout.stakes.tape import Tape
from layout.units import FOOT, UNIT_SETS
from tests.laid import Array
from tests.staked import Staked, met, one_run


def circular(radius: float, angle: float, *, right: bool = False) -> Array:
    """A circular curve that begins at the origin and heads east [m], finely drawn; radius and angle in ft, degrees."""
    turned = np.radians(np.linspace(0.0, angle, 20_001))
    y = radius * (1 - np.cos(turned))
    return np.column_stack((radius * np.sin(turned), -y if right else y)) * FOOT


def ends(bed: Staked) -> tuple[Array, Array]:
    stakes = bed.on(bed.laying.runs[0])
    first, last = ((stakes[tip]["x"], stakes[tip]["y"]) for tip in (0, -1))
    return np.asarray(first), np.asarray(last)


def test_two_distances_from_two_points_meet_twice() -> None:
    # Univ. of Maryland Baltimore County, instructor file circle_circle_c.out
    left, right = meeting_points((-0.1, -0.2), 2.0, (2.0, 1.0), 2.1)
    assert right[0] == pytest.approx((1.696964, -1.078021), abs=1e-6)
    assert left[0] == pytest.approx((0.055856, 1.793918), abs=1e-6)
    # seen from the other point, the sides change
    left, right = meeting_points((2.0, 1.0), 2.1, (-0.1, -0.2), 2.0)
    assert left[0] == pytest.approx((1.696964, -1.078021), abs=1e-6)


@pytest.mark.parametrize("right", [False, True])
def test_a_curve_by_radius_and_angle(right: bool) -> None:
    # Surveying Mathematics Made Simple, simple curves: R 1800.00, delta 43-25-46: L 1364.38, C 1331.95
    delta = 43 + 25 / 60 + 46 / 3600
    bed = one_run(circular(1800.0, delta, right=right), interval=100.0, tolerance=0.5)
    first, last = ends(bed)
    stakes = bed.on(bed.laying.runs[0])
    assert stakes[-1]["description"] == "R1 end 1364.38"
    assert stakes[-1]["station"] == pytest.approx(1364.38, abs=0.025 + 0.005)
    assert np.hypot(*(last - first)) == pytest.approx(1331.95, abs=0.01)
    # the published tangent, 716.84, leads to the point that both ends are as far from
    corner = first + np.array([716.84, 0.0])
    assert np.hypot(*(last - corner)) == pytest.approx(716.84, abs=0.02)


def test_a_curve_by_degree() -> None:
    # from memory, US Army FM 5-233 ch. 3: D 15 (arc), I 45: R 381.97, T 158.22, L 300.00, LC 292.35, E 31.47, M 29.08
    radius = 18000 / (15 * math.pi)
    curve = circular(radius, 45.0)
    bed = one_run(curve, interval=1000.0, tolerance=29.09)
    assert [stake["station"] for stake in bed.on(bed.laying.runs[0])] == [0, 300]
    first, last = ends(bed)
    assert np.hypot(*(last - first)) == pytest.approx(292.35, abs=0.01)
    # a tolerance just under the published middle ordinate asks for a stake at the middle of the curve
    bed = one_run(curve, interval=1000.0, tolerance=29.06)
    stakes = bed.on(bed.laying.runs[0])
    assert [stake["station"] for stake in stakes] == [0, 150, 300]
    middle = np.array([stakes[1]["x"], stakes[1]["y"]])
    assert np.hypot(*(middle - (first + last) / 2)) == pytest.approx(29.08, abs=0.01)
    assert np.hypot(*(middle - (first + np.array([158.22, 0.0])))) == pytest.approx(31.47, abs=0.015)


@pytest.mark.parametrize(("radius", "chord"), [(10.0, 2.82), (25.0, 4.47), (50.0, 6.32), (100.0, 8.94)])
def test_chords_of_a_middle_ordinate_of_a_tenth(radius: float, chord: float) -> None:
    # derived: c = 2 sqrt(2 R s - s^2), with s = 0.1 ft
    assert 2 * math.sqrt(2 * radius * 0.1 - 0.1**2) == pytest.approx(chord, abs=0.006)
    bed = one_run(circular(radius, 40.0), interval=1000.0, tolerance=0.1)
    stakes = bed.on(bed.laying.runs[0])
    length = math.radians(40.0) * radius
    reach = 2 * radius * math.asin(chord / 2 / radius)
    assert len(stakes) - 1 in {math.ceil(length / reach), math.ceil(length / reach) + 1}
    places = np.array([(stake["x"], stake["y"]) for stake in stakes])
    assert np.hypot(*np.diff(places, axis=0).T).max() <= chord + 0.03


@pytest.mark.parametrize(
    ("crossing", "rms", "worst"),
    [
        (15, 0.079, 0.189),
        (20, 0.059, 0.143),
        (30, 0.041, 0.096),
        (45, 0.029, 0.065),
        (60, 0.023, 0.050),
        (90, 0.020, 0.035),
        (120, 0.024, 0.050),
        (150, 0.041, 0.097),
        (165, 0.079, 0.193),
    ],
)
def test_what_rounded_tapes_do(crossing: int, rms: float, worst: float) -> None:
    # derived: tapes to 0.05 ft that cross at g: rms (0.05 / sqrt 12) sqrt 2 / sin g, worst 0.025 / min(sin g/2, cos
    # g/2); the figures are those of 20,000 random draws
    angle = math.radians(crossing)
    assert 0.05 / math.sqrt(12) * math.sqrt(2) / math.sin(angle) == pytest.approx(rms, abs=0.0011)
    assert 0.025 / min(math.sin(angle / 2), math.cos(angle / 2)) == pytest.approx(worst, abs=0.003)
    tape = Tape(step=0.05, grain=0.01, frame=Frame(units=UNIT_SETS["ft"]))
    rng = np.random.default_rng(crossing)
    off = []
    for _ in range(400):
        # a stake at the origin, tapes of some 60 that cross there as wanted
        turn, one, other = rng.uniform(0, 2 * math.pi), *rng.uniform(55, 65, 2)
        ties = [
            (f"T{reach:.3f}", (reach * math.cos(turn + more), reach * math.sin(turn + more)))
            for reach, more in ((one, 0.0), (other, angle))
        ]
        (swing,) = swings(np.zeros((1, 2)), ties, (), tape)
        assert swing is not None
        assert math.degrees(swing.crossing) == pytest.approx(crossing)
        # stated: the worst that can be, a little more than to first order
        assert worst - 0.004 <= swing.error <= 1.06 * worst
        first, second = swing.ties
        found = met(first.at, first.distance, second.at, second.distance, swing.side)
        off.append(abs(found))
        assert off[-1] <= swing.error
    assert math.sqrt(np.mean(np.square(off))) == pytest.approx(rms, rel=0.1)
