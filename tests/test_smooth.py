"""Smoothing of walked outlines: within the tolerance, fewer tight spots, exact shapes left as they are."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from layout.plane import bend_radii
from layout.readers import smooth
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


@pytest.mark.parametrize(("crosses_over", "halvings"), [(0.3, 2), (0.0, 8)])
def test_where_the_outline_would_cross_itself_less_is_smoothed(
    monkeypatch: pytest.MonkeyPatch, crosses_over: float, halvings: int
) -> None:
    """By half as much, and again; at last not at all."""
    walk = bed(beds.gnss(1))
    right, tried = smooth._curve, []

    def crossing(points: Array, *rest: Any) -> Array:
        tried.append(rest[-1])
        return (
            right(points, *rest) if rest[-1] < crosses_over else np.array([[0.0, 0], [1, 1], [1, 0], [0, 1]])
        )

    monkeypatch.setattr(smooth, "_curve", crossing)
    found = smoothed(walk, 1.0)
    assert tried == pytest.approx([1.0 / 2**k for k in range(len(tried))], abs=0.01)
    assert len(tried) == min(halvings + 1, 8)
    assert found.outline.is_valid
    assert found.outline.equals(walk) == (halvings == 8)
    assert found.most < 0.3


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


def test_sharp_corners_stay_corners() -> None:
    """A corner is where its two sides meet, as far as the walk tells; errors of its own point do not pin it."""
    rng = np.random.default_rng(4)
    sides = shapely.get_coordinates(shapely.LinearRing(beds.rect(60, 20)).segmentize(2.0))[:-1]
    true = sides[np.isin(sides[:, 0], (0, 60)) & np.isin(sides[:, 1], (0, 20))]
    walk = bed(sides + rng.normal(0, 0.2, sides.shape))
    found = smoothed(walk, 0.8)
    assert found.corners == 4
    for corner in true:
        assert found.outline.exterior.distance(shapely.Point(corner)) < 0.25
    assert tight_spots(found.outline) == 4 < tight_spots(walk)


def by_side(*sides: Array, step: float, error: float, seed: int) -> Polygon:
    """An outline walked side by side, a point every step or so and one at every corner, all with errors."""
    walks = []
    for side in sides:
        line = shapely.LineString(side)
        count = max(round(line.length / step), 1)
        walks.append(
            shapely.get_coordinates(
                shapely.line_interpolate_point(line, np.arange(count) / count, normalized=True)
            )
        )
    walk = np.vstack(walks)
    return bed(walk + np.random.default_rng(seed).normal(0, error, walk.shape))


def off_by(found: Polygon, true: Polygon) -> float:
    """Root of the mean square distance between two edges, from either to the other."""
    square = []
    for one, other in ((found, true), (true, found)):
        points = shapely.points(shapely.get_coordinates(one.exterior.segmentize(0.5)))
        square.append(float((shapely.distance(points, other.exterior) ** 2).mean()))
    return float(np.sqrt(np.mean(square)))


def sides_of(name: str) -> list[Array]:
    """The sides of shapes whose edges are known exactly, from corner to corner."""
    if name == "round":
        return [beds.arc(0, 0, 30, 0, 180), beds.arc(0, 0, 30, 180, 360)]
    if name == "rectangle":
        ring = beds.rect(100, 30) @ np.array([[0.92106, 0.38942], [-0.38942, 0.92106]])
        return [np.vstack(pair) for pair in zip(ring, np.roll(ring, -1, axis=0), strict=True)]
    if name == "bent":  # two legs and a bowed back, as round a building
        x = np.linspace(0, 74, 75)
        back = np.column_stack((x, 60 + 2.5 * np.sin(np.pi * x / 74)))
        ring = np.array([[74, 60], [74, 0], [56, 0], [56, 42], [18, 42], [18, 0], [0, 0], [0, 60]], float)
        return [back, *(np.vstack(pair) for pair in pairwise(ring))]
    x = np.linspace(0, 240, 601)
    wave = np.column_stack((x, 8 * np.sin(np.pi * x / 60)))
    ahead = np.gradient(wave, axis=0)
    across = 12 * np.column_stack((-ahead[:, 1], ahead[:, 0])) / np.hypot(*ahead.T)[:, None]
    left, right = wave + across, (wave - across)[::-1]
    return [left, np.vstack((left[-1:], right[:1])), right, np.vstack((right[-1:], left[:1]))]


@pytest.mark.parametrize("name", ["round", "rectangle", "bent", "serpentine"])
@pytest.mark.parametrize("tolerance", [0.4, 1.0])
def test_the_outline_comes_nearer_to_the_true_edge_by_a_third(name: str, tolerance: float) -> None:
    sides = sides_of(name)
    true = bed(np.vstack([side[:-1] for side in sides]))
    before, after = [], []
    for seed in range(6):
        walk = by_side(*sides, step=3.5, error=0.15, seed=seed)
        found = smoothed(walk, tolerance)
        before.append(off_by(walk, true))
        after.append(off_by(found.outline, true))
        assert found.outline.area == pytest.approx(true.area, rel=0.008)
        assert found.error == pytest.approx(0.15, abs=0.07)
        assert found.corners == {"round": 0, "rectangle": 4, "bent": 8, "serpentine": 4}[name]
    assert np.mean(after) < 2 / 3 * np.mean(before)


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


@pytest.mark.parametrize("sides", [6, 8])
@pytest.mark.parametrize("tolerance", [0.3, 3.0])
def test_regular_shapes_drawn_exactly_stay_as_they_are_wherever_they_lie(
    sides: int, tolerance: float
) -> None:
    """A hexagon turns by 60 degrees: what is a corner must not hang on the last digit there."""
    turns = 2 * np.pi * np.arange(sides) / sides
    for x, y in ((0.0, 0.0), (4113.7, -250.1)):
        walk = np.column_stack((x + 10 * np.cos(turns), y + 10 * np.sin(turns)))
        assert smoothed(Polygon(walk), tolerance).most < 1e-9
