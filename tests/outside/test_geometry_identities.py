"""Identities that lines at a spacing obey, whatever lays them.

Derived, no source: Steiner's formulas and the tube formula follow from the definition of an offset; the rest
from adding up concentric arcs. Feet.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon

from layout.laterals import join_runs
from layout.model import Bed, LateralRules, Laying, Pattern, Run
from layout.runs.fronts import grown
from layout.runs.guides import extended
from layout.usable import usable_ground
from tests import beds
from tests.laid import Array, field


def edge_of_band(guide: LineString, distance: float, *, radius: float, bed: Polygon) -> shapely.Geometry:
    """The lines at a distance from a guide, on both its sides."""
    return shapely.boundary(grown(guide, distance, radius=radius, bed=bed))


# --- Steiner: a convex curve offset inward ---------------------------------------------------------------

A, B = 60.0, 40.0
"""Half axes of an ellipse; its tightest radius is b^2 / a = 26.667."""


def ellipse_perimeter() -> float:
    """The integral of the speed of (a cos t, b sin t)."""
    from scipy.integrate import quad

    return float(
        quad(lambda t: math.hypot(A * math.sin(t), B * math.cos(t)), 0, 2 * math.pi, epsabs=1e-10)[0]
    )


def ellipse(points: int = 1440) -> Polygon:
    t = np.linspace(0, 2 * math.pi, points, endpoint=False)
    return Polygon(np.column_stack((A * np.cos(t), B * np.sin(t))))


@pytest.mark.parametrize("distance", [1.0, 10.0, 26.0])
def test_steiner_length_and_area_inside_an_ellipse(distance: float) -> None:
    """Offset inward by d, up to the tightest radius: length P - 2 pi d, area A - P d + pi d^2 (0.01 %)."""
    bed = ellipse()
    perimeter, area = ellipse_perimeter(), math.pi * A * B
    assert perimeter == pytest.approx(317.3088, abs=1e-4)
    inner = usable_ground(Bed(outline=bed, clearance=distance), ()).area
    assert inner.area == pytest.approx(area - perimeter * distance + math.pi * distance**2, rel=1e-4)
    rings = shapely.get_parts(edge_of_band(LineString(bed.exterior.coords), distance, radius=0.0, bed=bed))
    inside = [ring.length for ring in rings if bed.contains(ring)]
    assert sum(inside) == pytest.approx(perimeter - 2 * math.pi * distance, rel=1e-4)


# --- total length = area / spacing, where edge runs lie half a spacing in --------------------------------


def test_runs_in_a_circle_are_its_area_over_the_spacing() -> None:
    """Radius 50, spacing 2: 2 pi (1 + 3 + … + 49) = 2 pi 25^2 = pi 50^2 / 2."""
    circle = Polygon(beds.arc(0, 0, 50, 0, 360, step=0.5)[:-1])
    ring = LineString(circle.exterior.coords)
    inside = [
        part.length
        for distance in range(1, 50, 2)
        for part in shapely.get_parts(edge_of_band(ring, distance, radius=0.0, bed=circle))
        if circle.contains(part)
    ]
    assert len(inside) == 25
    assert sum(inside) == pytest.approx(math.pi * 50**2 / 2, rel=1e-4)


@pytest.fixture(scope="module")
def sector_runs() -> Laying:
    """Ten concentric runs from end to end of a sector of radius 100 to 120 and 60 degrees, 2 apart."""
    inner, outer = (beds.arc(0, 0, r, 0, 60, step=0.25) for r in (100, 120))
    bed = Polygon(beds.ring(inner, outer))
    guide = extended(LineString(inner), bed, by=60)
    clipped = [edge_of_band(guide, d, radius=0.0, bed=bed).intersection(bed) for d in range(1, 20, 2)]
    runs = []
    for number, piece in enumerate(clipped):
        line = shapely.line_merge(piece)
        assert line.geom_type == "LineString"
        along = line if abs(line.coords[0][1]) < 1e-6 else line.reverse()
        runs.append(Run(name=f"R{number + 1}", line=along, row=number))
    return Laying(pattern=Pattern.LEFT, runs=tuple(runs))


def test_runs_in_a_sector_are_its_area_over_the_spacing(sector_runs: Laying) -> None:
    area = math.radians(60) / 2 * (120**2 - 100**2)
    assert sum(run.length for run in sector_runs.runs) == pytest.approx(area / 2, rel=1e-4)
    assert area / 2 == pytest.approx(1151.917, abs=1e-3)


def test_concentric_runs_differ_by_the_angle_times_the_spacing(sector_runs: Laying) -> None:
    steps = np.diff([run.length for run in sector_runs.runs])
    assert steps == pytest.approx(np.full(9, math.radians(60) * 2), abs=1e-3)


def test_neighbours_paired_into_laterals(sector_runs: Laying) -> None:
    """Runs at radius r and r + 2 make a lateral of 60 degrees x (2 r + 2), loops not counted."""
    laterals, _ = join_runs(sector_runs, LateralRules(runs=2, longest=300.0), spacing=2.0)
    expected = [math.radians(60) * (2 * r + 2) for r in (101, 105, 109, 113, 117)]
    assert [lateral.length for lateral in laterals] == pytest.approx(expected, abs=1e-3)
    assert expected == pytest.approx([213.628, 222.006, 230.383, 238.761, 247.139], abs=1e-3)
    assert [lateral.runs for lateral in laterals] == [(f"R{k}", f"R{k + 1}") for k in (1, 3, 5, 7, 9)]
    assert max(expected) / min(expected) == pytest.approx(1.157, abs=1e-3)


# --- offset lengths of a smooth bed differ by distance x total turning ------------------------------------


def smooth_side(seed: int, *, radius: float, step: float = 0.25) -> Array:
    """A straight of 5, a curve nowhere tighter than a radius, to both sides, and a straight of 5."""
    rng = np.random.default_rng(seed)
    length = rng.uniform(40, 90)
    along = np.arange(0.0, length, step)
    waves = np.array([rng.uniform(-1, 1) * np.sin(np.pi * k * along / length) for k in range(1, 5)])
    curvature = waves.sum(axis=0)
    curvature *= rng.uniform(0.3, 1.0) / radius / max(np.abs(curvature).max(), 1e-9)
    heading = np.concatenate(([0.0], np.cumsum((curvature[1:] + curvature[:-1]) / 2 * step)))
    heading = np.concatenate((np.zeros(21), heading, np.full(21, heading[-1])))
    move = step * np.column_stack((np.cos(heading), np.sin(heading)))
    return np.vstack(([0.0, 0.0], np.cumsum(move, axis=0)))


def beside(side: Array, distance: float) -> Array:
    """The exact offset of a side to its right, by its normals."""
    step = np.diff(side, axis=0)
    heading = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    heading = np.concatenate((heading[:1], (heading[1:] + heading[:-1]) / 2, heading[-1:]))
    return np.asarray(side + distance * np.column_stack((np.sin(heading), -np.cos(heading))))


def length(points: Array) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def total_turning(line: LineString) -> float:
    """The angle a line turns through from its first to its last segment, left positive [rad]."""
    step = np.diff(shapely.get_coordinates(line), axis=0)
    step = step[np.hypot(*step.T) > 0]
    heading = step[:, 0] + 1j * step[:, 1]
    return float(np.angle(heading[1:] / heading[:-1]).sum())


@pytest.mark.parametrize(
    ("sweep", "turning"), [(90.0, math.pi / 2), (-270.0, -1.5 * math.pi), (700.0, 35 * math.pi / 9)]
)
def test_total_turning_counts_whole_turns(sweep: float, turning: float) -> None:
    step = math.copysign(2.0, sweep)
    heading = np.radians(np.arange(0.0, sweep + step / 2, step))
    walk = np.vstack(([0, 0], np.cumsum(np.column_stack((np.cos(heading), np.sin(heading))), axis=0)))
    assert total_turning(LineString(walk)) == pytest.approx(turning, abs=1e-9)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_offsets_of_a_smooth_curve_differ_by_distance_times_turning(seed: int) -> None:
    """A curve that bends nowhere tighter than d: L - d T on its left and L + d T on its right, T positive to
    the left.

    Each element ds of a curve of curvature k becomes (1 - k d) ds, and the integral of k ds is the turning T.
    """
    side = smooth_side(seed, radius=16.0)
    corridor = Polygon(beds.ring(beside(side, -13.0), beside(side, 13.0)))
    assume(corridor.is_valid)
    line, distance = LineString(side), 12.0
    turning = total_turning(line)
    guide = extended(line, corridor, by=40)
    both = shapely.line_merge(edge_of_band(guide, distance, radius=2.0, bed=corridor).intersection(corridor))
    left, right = sorted(
        shapely.get_parts(both), key=lambda part: part.distance(Point(beside(side, distance)[0]))
    )[::-1]
    assert left.length == pytest.approx(line.length - distance * turning, abs=0.01)
    assert right.length == pytest.approx(line.length + distance * turning, abs=0.01)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_total_turning_is_the_change_of_heading(seed: int) -> None:
    step = np.diff(smooth_side(seed, radius=4.0), axis=0)
    change = math.atan2(*step[-1][::-1]) - math.atan2(*step[0][::-1])
    turns = (total_turning(LineString(smooth_side(seed, radius=4.0))) - change) / (2 * math.pi)
    assert turns == pytest.approx(round(turns), abs=1e-9)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_runs_of_a_smooth_bed_differ_by_spacing_times_turning(seed: int) -> None:
    """A bed between a smooth side and its offset, its ends square: run d is L - d T long, less 1 at either
    end."""
    side = smooth_side(seed, radius=30.0)
    other = beside(side, 12.0)
    outline = beds.ring(side, other)
    assume(Polygon(outline).is_valid)
    toward = tuple(np.mean([side[0], other[0]], axis=0).tolist())
    site = field(outline, toward=(toward[0], toward[1]))
    turning = -total_turning(LineString(side))
    expected = [length(side) - distance * turning - 2 for distance in (1, 3, 5, 7, 9, 11)]
    for pattern in ("left", "right"):
        laying = site.lay(pattern)
        assert [run.length for run in laying.runs] == pytest.approx(expected, abs=0.01), pattern
        assert site.broken(laying) == []
