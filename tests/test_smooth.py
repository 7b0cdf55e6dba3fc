"""Smoothing of walked outlines: within the tolerance, fewer tight spots, exact shapes left as they are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from layout.plane import bend_radii
from layout.readers.sitefile import read_site
from layout.readers.smooth import smoothed, smoothing_note
from layout.units import FOOT
from tests import beds
from tests.laid import mirrored, moved
from tests.test_read_sitefile import BASE, site_file

Array = NDArray[np.float64]
TIGHT = 2.0
"""Bend radius under which a spot is tight, in the units of the beds."""


def bed(outline: Array) -> Polygon:
    return shapely.orient_polygons(Polygon(outline))


def walked(outline: Array, *, seed: int, jitter: float, step: tuple[float, float] = (3.0, 10.0)) -> Polygon:
    """A bed walked with a point every few units along its edge, with noise."""
    rng = np.random.default_rng(seed)
    ring = shapely.LinearRing(outline)
    along = np.cumsum(rng.uniform(*step, 2000))
    points = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, along[along < ring.length - step[0]])
    )
    return bed(points + rng.normal(0, jitter, points.shape))


def tight_spots(polygon: Polygon) -> int:
    """Places where the edge bends tighter than tubing does, counted once each."""
    walk = shapely.get_coordinates(polygon.exterior)
    radius, at = bend_radii(np.vstack((walk, walk[1:3])), arm=0.5)
    spots = shapely.union_all(shapely.buffer(shapely.points(at[radius < TIGHT]), 0.5))
    return len([part for part in shapely.get_parts(spots) if not part.is_empty])


def apart(one: Polygon, other: Polygon) -> float:
    """Hausdorff distance of two edges."""
    return float(shapely.hausdorff_distance(one.exterior, other.exterior, densify=0.02))


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("tolerance", [0.3, 0.6, 1.0])
def test_a_walked_serpentine_loses_its_tight_spots(seed: int, tolerance: float) -> None:
    walk, true = bed(beds.gnss(seed)), bed(beds.serpentine())
    found = smoothed(walk, tolerance)
    assert tight_spots(found.outline) <= 0.4 * tight_spots(walk)
    assert tight_spots(found.outline) <= found.corners + 5
    assert abs(found.outline.area - true.area) < abs(walk.area - true.area) + 0.003 * true.area
    assert found.outline.is_valid


def test_smoothing_brings_the_area_nearer_to_the_true_one_on_average() -> None:
    true = bed(beds.serpentine())
    walks = [bed(beds.gnss(seed)) for seed in range(12)]
    before = np.mean([abs(walk.area / true.area - 1) for walk in walks])
    after = np.mean([abs(smoothed(walk, 0.6).outline.area / true.area - 1) for walk in walks])
    assert after < 0.7 * before


@pytest.mark.parametrize("jitter", [0.0, 0.1, 0.3, 0.6])
@pytest.mark.parametrize("tolerance", [0.02, 0.1, 0.5, 2.0, 50.0])
@pytest.mark.parametrize("shape", ["gentle", "serpentine", "kidney"])
def test_no_point_moves_by_more_than_the_tolerance(shape: str, tolerance: float, jitter: float) -> None:
    walk = walked(beds.HARD[shape](), seed=3, jitter=jitter)
    assert walk.is_valid
    found = smoothed(walk, tolerance)
    assert found.most <= tolerance
    assert apart(walk, found.outline) <= tolerance
    assert found.most == pytest.approx(apart(walk, found.outline), abs=0.02)
    assert 0 < found.mean <= found.most


@pytest.mark.parametrize("kind", list(beds.RANDOM))
def test_random_outlines_stay_whole_and_within_the_tolerance(kind: str) -> None:
    for seed in range(15):
        outline = bed(beds.RANDOM[kind](seed))
        for tolerance in (0.05, 1.0, 20.0):
            found = smoothed(outline, tolerance)
            assert found.outline.is_valid
            assert found.outline.exterior.is_ccw
            assert apart(outline, found.outline) <= tolerance * (1 + 1e-9)


def test_a_neck_narrower_than_the_tolerance_does_not_cross() -> None:
    rng = np.random.default_rng(2)
    dumbbell = shapely.LinearRing(beds.dumbbell(neck=0.3))
    points = shapely.get_coordinates(dumbbell.segmentize(2.0))[:-1]
    walk = bed(points + rng.normal(0, 0.05, points.shape))
    assert walk.is_valid
    found = smoothed(walk, 3.0)
    assert found.outline.is_valid
    assert isinstance(found.outline, Polygon)


@pytest.mark.parametrize(("neck", "kept"), [(0.1, True), (0.15, False)])
def test_where_the_walls_of_a_neck_would_cross_less_is_smoothed(neck: float, kept: bool) -> None:
    """By half as much, and again; a neck a hundredth as wide as the tolerance keeps the walk as it is."""
    rng = np.random.default_rng(2)
    points = shapely.get_coordinates(shapely.LinearRing(beds.dumbbell(neck=neck)).segmentize(2.0))[:-1]
    walk = bed(points + rng.normal(0, neck / 8, points.shape))
    found = smoothed(walk, 10.0)
    assert found.outline.is_valid
    assert found.outline.equals(walk) == kept
    assert apart(walk, found.outline) <= 10.0 / 2**7


@pytest.mark.parametrize(
    ("name", "most"),
    [
        ("rect", 0.0),
        ("wedge", 0.0),
        ("ell", 0.0),
        ("annular", 0.01),
        ("s_arcs", 0.01),
        ("horseshoe", 0.01),
        ("racetrack", 0.03),
        ("meander", 0.03),
    ],
)
def test_exact_shapes_barely_move(name: str, most: float) -> None:
    outline = bed(beds.EXACT[name]())
    found = smoothed(outline, 0.6)
    assert found.most <= most + 1e-9
    assert found.outline.area == pytest.approx(outline.area, rel=5e-4)


@pytest.mark.parametrize("name", ["tee", "cross", "star", "parallelogram", "trapezium", "square"])
def test_outlines_of_straights_stay_as_they_are(name: str) -> None:
    outline = bed(beds.HARD[name]())
    assert smoothed(outline, 0.6).most < 1e-9


def test_sharp_corners_are_kept() -> None:
    rng = np.random.default_rng(4)
    sides = shapely.get_coordinates(shapely.LinearRing(beds.rect(60, 20)).segmentize(2.0))[:-1]
    corners = np.isin(sides[:, 0], (0, 60)) & np.isin(sides[:, 1], (0, 20))
    sides[~corners] += rng.normal(0, 0.2, sides[~corners].shape)
    found = smoothed(bed(sides), 0.5)
    assert found.corners == 4
    for corner in sides[corners]:
        assert found.outline.exterior.distance(shapely.Point(corner)) < 1e-9
    assert tight_spots(found.outline) == 4 < tight_spots(bed(sides))


def test_closely_walked_outlines_are_smoothed_as_well() -> None:
    walk = walked(beds.gentle(), seed=3, jitter=0.15, step=(0.9, 1.1))
    assert walk.is_valid
    found = smoothed(walk, 1.0)
    assert tight_spots(walk) > 50
    assert tight_spots(found.outline) <= 6


def test_the_same_walk_gives_the_same_outline() -> None:
    walk = bed(beds.gnss(5))
    assert smoothed(walk, 0.6).outline.equals_exact(smoothed(walk, 0.6).outline)


def test_the_smoothed_outline_moves_turns_and_grows_with_the_walk() -> None:
    walk = beds.gnss(5)
    here = smoothed(bed(walk), 0.6)
    for there, scale in (
        (moved(walk, turn=33.0, by=(1e5, -2e4)), 1.0),
        (mirrored(walk), 1.0),
        (walk[::-1], 1.0),
        (np.roll(walk, 7, axis=0), 1.0),
        (walk * FOOT, FOOT),
    ):
        found = smoothed(bed(there), 0.6 * scale)
        # To 1e-4 only: curves are drawn to chords of a millimetre at most.
        assert found.outline.area / scale**2 == pytest.approx(here.outline.area, rel=1e-4)
        assert found.most / scale == pytest.approx(here.most, abs=0.003)


def test_a_site_is_smoothed_only_where_it_says_so(tmp_path: Path) -> None:
    points = [[round(float(x), 3), round(float(y), 3)] for x, y in beds.gnss(1)]
    text = BASE.replace("outline = [[0, 0], [100, 0], [100, 12], [0, 12]]", f"outline = {points}")
    assert str(points) in text
    plain = read_site(site_file(tmp_path, text))
    assert plain.bed.walked is None
    assert not any("smooth" in note for note in plain.notes)
    site = read_site(site_file(tmp_path, text), ["bed.smooth=0.6"])
    assert site.bed.walked == plain.bed.outline
    assert site.bed.outline != plain.bed.outline
    assert apart(site.bed.outline, plain.bed.outline) <= 0.6 * FOOT
    (note,) = [note for note in site.notes if note.startswith("bed.smooth")]
    assert "at most, at (" in note
    assert "ft²" in note


@pytest.mark.parametrize("value", ["0", "-1", '"much"', "true", "inf"])
def test_a_tolerance_that_is_none_is_refused(tmp_path: Path, value: str) -> None:
    with pytest.raises(ValueError, match=r"bed\.smooth"):
        read_site(site_file(tmp_path), [f"bed.smooth={value}"])


def test_the_note_gives_the_movement_in_site_units() -> None:
    from layout.model import Frame
    from layout.units import UNIT_SETS

    walk = bed(beds.gnss(1) * FOOT)
    found = smoothed(walk, 0.6 * FOOT)
    note = smoothing_note(walk, found, Frame(units=UNIT_SETS["ft"], origin=(1000.0, 2000.0)))
    x, y = found.at[0] / FOOT + 1000, found.at[1] / FOOT + 2000
    assert f"moved by {found.most / FOOT:.2f} ft at most, at (E {x:.2f}, N {y:.2f})" in note
    assert f"{walk.area / FOOT**2:,.1f} to {found.outline.area / FOOT**2:,.1f} ft²" in note
