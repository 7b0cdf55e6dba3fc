"""Coverage figures against beds on which they can be worked out by hand. Feet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, Polygon, box

from layout.coverage import bare_places, candidate, cover, score, tightest_bend
from layout.model import Coverage, Laying, Pattern, Run
from tests import beds
from tests.laid import field, moved, obstacle

BED = box(0, 0, 100, 12)
USABLE = box(1, 1, 99, 11)


def level_run(y: float, *, start: float = 1.0, end: float = 99.0, row: int | None = None) -> Run:
    return Run(name=f"R{y:g}", line=LineString([(start, y), (end, y)]), row=int(y) if row is None else row)


def covered(runs: Sequence[Run], *, area: Polygon | MultiPolygon = USABLE, spacing: float = 2.0) -> Coverage:
    return cover(area, BED, runs, spacing=spacing, radius=2.0)


def test_full_rectangle() -> None:
    found = covered([level_run(y) for y in (1, 3, 5, 7, 9, 11)])
    assert found.covered == pytest.approx(1.0, abs=1e-6)
    assert found.dry == pytest.approx(1.0, abs=1e-6)
    assert (found.gap_least, found.gap_p5, found.gap_p95, found.gap_greatest) == pytest.approx((2, 2, 2, 2))
    assert found.clearance_least == pytest.approx(1.0)
    assert found.bend_least is None
    assert found.bend_at is None


def test_row_left_out_leaves_a_fifth_bare() -> None:
    """Of ten between the edge rows, the two from 4 to 6 are farther than 1 from tubing; their middle by 2."""
    found = covered([level_run(y) for y in (1, 3, 7, 9, 11)])
    assert found.covered == pytest.approx(0.8, abs=1e-6)
    assert found.dry == pytest.approx(2.0, abs=1e-6)
    assert found.dry_at[1] == pytest.approx(5.0, abs=1e-3)
    assert found.gap_greatest == pytest.approx(4.0)
    assert found.gap_least == pytest.approx(2.0)


def test_run_that_ends_on_the_edge_has_no_clearance() -> None:
    """With `bed.clearance = 0`: of turned beds the end lies on the edge but for the last digit."""
    for turn, x in zip(np.linspace(0.3, 359.0, 100), np.linspace(0.1, 99.7, 100), strict=True):
        outline = moved(np.array([[0, 0], [100, 0], [100, 12], [0, 12]], float), turn=turn)
        line = LineString(moved(np.array([[x, 0], [50, 5]]), turn=turn))
        bed = Polygon(outline)
        found = cover(bed, bed, [Run(name="R1", line=line, row=0)], spacing=2.0, radius=2.0)
        assert found.clearance_least == pytest.approx(0.0, abs=1e-9)


def test_one_run_has_no_gap() -> None:
    found = covered([level_run(6)])
    assert found.covered == pytest.approx(0.2, abs=1e-6)
    assert found.dry == pytest.approx(5.0, abs=1e-6)
    assert (found.gap_least, found.gap_p5, found.gap_p95, found.gap_greatest) == (None,) * 4


def test_short_run_covers_a_stadium_and_leaves_the_far_corner() -> None:
    """Thirty long: a band of 30 x 2 and two half circles; the far corner is 49 along and 5 across from its
    end."""
    found = covered([level_run(6, start=20, end=50)])
    assert found.covered == pytest.approx((30 * 2 + math.pi) / 980, rel=2e-3)
    assert found.dry == pytest.approx(math.hypot(49, 5), abs=1e-6)
    assert found.dry_at[0] == pytest.approx(99.0)


def test_ground_in_two_parts() -> None:
    parts = MultiPolygon([box(1, 1, 45, 11), box(55, 1, 99, 11)])
    found = cover(parts, BED, [level_run(y, end=45) for y in (1, 3, 5, 7, 9, 11)], spacing=2.0, radius=2.0)
    assert found.covered == pytest.approx(0.5, abs=0.001)
    assert found.dry == pytest.approx(math.hypot(54, 1), abs=1e-6), "from an end at 45 to between rows at 99"


def test_wedge() -> None:
    """Rows 1, 3 … 13 under a roof that falls by 0.08: the driest place is the roof's high corner, above row
    13."""
    site = field(beds.wedge())
    laying = site.lay("right")
    found = cover(site.ground.area, site.bed.outline, laying.runs, spacing=2.0, radius=2.0)
    slant = math.hypot(1, 0.08)
    assert found.dry == pytest.approx(16 - slant - 0.08 - 13, abs=1e-4)
    assert found.dry_at == pytest.approx((1.0, 16 - slant - 0.08), abs=1e-3)
    assert (found.gap_least, found.gap_greatest) == pytest.approx((2.0, 2.0), abs=1e-6)
    # The same share by counting points: horizontal rows from 1 to `end`, the ground between 1 and the roof.
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(1.02, 99, 0.04), np.arange(1.02, 15, 0.04)))
    inside = y < 16 - slant - 0.08 * x
    near = np.zeros(len(x), bool)
    for d in range(1, 15, 2):
        end = min(99.0, (16 - slant - d) / 0.08)
        near |= np.hypot(x - np.clip(x, 1.0, end), y - d) <= 1.0
    assert found.covered == pytest.approx(near[inside].mean(), abs=5e-4)


def test_annulus_bends_at_its_inner_run() -> None:
    site = field(beds.annular())
    laying = site.lay("left")
    found = cover(site.ground.area, site.bed.outline, laying.runs, spacing=2.0, radius=2.0)
    assert found.bend_least == pytest.approx(21.0, rel=0.12), "read over arms of 0.5 on chords of 0.37"
    assert found.bend_at is not None
    assert math.hypot(*found.bend_at) == pytest.approx(21.0, abs=0.01)
    assert found.gap_least == pytest.approx(2.0, abs=0.002)
    assert found.gap_greatest == pytest.approx(2.0, abs=0.002)
    assert found.dry == pytest.approx(1.0, abs=0.02)
    assert found.covered == pytest.approx(1.0, abs=1e-3)


def test_gap_percentiles_of_two_runs_that_part() -> None:
    """From 2 to 7 apart over 100: the gap at share q of the length is 2 + 5 q, here measured square to either
    run."""
    here, there = level_run(1, start=0, end=100), Run(name="R2", line=LineString([(0, 3), (100, 8)]), row=2)
    found = covered([here, there])
    assert found.gap_least == pytest.approx(2.0, abs=0.06)
    assert found.gap_greatest == pytest.approx(7.0, abs=0.06)
    assert found.gap_p5 == pytest.approx(2 + 5 * 0.05, rel=0.02)
    assert found.gap_p95 == pytest.approx(2 + 5 * 0.95, rel=0.02)


def test_gaps_are_to_the_next_row_only_and_not_past_its_ends() -> None:
    """A short run beside two long ones: where it has ended, its neighbour has no gap to it."""
    runs = [level_run(2), level_run(5, start=40, end=60), level_run(8)]
    found = covered(runs)
    assert (found.gap_least, found.gap_greatest) == pytest.approx((3.0, 3.0))


def test_tightest_bend_among_lines() -> None:
    wide, tight = (LineString(beds.arc(0, 0, r, 0, 170, step=2)) for r in (9.0, 4.0))
    bend, at = tightest_bend([wide, tight, level_run(3).line], 2.0)
    assert bend == pytest.approx(4.0, rel=0.02)
    assert at is not None
    assert math.hypot(*at) == pytest.approx(4.0, abs=0.02)
    assert tightest_bend([level_run(3).line], 2.0) == (None, None)


def test_obstacle_makes_ground_that_is_not_counted() -> None:
    """A square of 10 kept clear by 1: what lies in its zone is no usable ground, so the rest is still
    covered."""
    site = field(beds.rect(), features=[obstacle(Point(50, 6), 3.0)])
    laying = site.lay("left")
    found = cover(site.ground.area, site.bed.outline, laying.runs, spacing=2.0, radius=2.0)
    assert site.ground.area.area == pytest.approx(980 - math.pi * 9, rel=1e-3)
    assert found.covered > 0.97


@settings(max_examples=15, deadline=None)
@given(ys=st.sets(st.integers(1, 11), min_size=1), end=st.floats(20, 99))
def test_driest_point_and_share_by_counting(ys: set[int], end: float) -> None:
    runs = [level_run(float(y), end=end) for y in sorted(ys)]
    found = covered(runs)
    x, y = (axis.ravel() for axis in np.meshgrid(np.linspace(1, 99, 393), np.linspace(1, 11, 81)))
    away = np.min([np.hypot(x - np.clip(x, 1.0, end), y - level) for level in ys], axis=0)
    assert found.dry == pytest.approx(away.max(), abs=0.13)
    assert found.dry >= away.max() - 1e-6
    assert found.covered == pytest.approx((away <= 1.0).mean(), abs=0.03)


def test_more_runs_never_cover_less() -> None:
    runs = [level_run(y) for y in (1, 5, 9, 3, 11, 7)]
    shares = [covered(sorted(runs[:count], key=lambda run: run.row)).covered for count in range(1, 7)]
    assert shares == sorted(shares)


PERFECT = Coverage(
    covered=1.0,
    dry=1.0,
    dry_at=(0, 0),
    gap_least=2.0,
    gap_greatest=2.0,
    gap_p5=2.0,
    gap_p95=2.0,
    bend_least=None,
    bend_at=None,
    clearance_least=1.0,
)


def test_measure_is_nothing_for_a_perfect_layout_and_grows_with_every_fault() -> None:
    assert score(PERFECT, spacing=2.0, fed=1.0, runs=6, rows=6) == 0
    faults = [
        score(replace(PERFECT, dry=1.5), spacing=2.0, fed=1.0, runs=6, rows=6),
        score(replace(PERFECT, covered=0.9), spacing=2.0, fed=1.0, runs=6, rows=6),
        score(PERFECT, spacing=2.0, fed=0.8, runs=6, rows=6),
        score(PERFECT, spacing=2.0, fed=1.0, runs=9, rows=6),
        score(PERFECT, spacing=2.0, fed=1.0, runs=6, rows=6, blank=0.2),
        score(PERFECT, spacing=2.0, fed=1.0, runs=6, rows=6, uneven=0.3),
    ]
    assert min(faults) > 0
    worse = score(
        replace(PERFECT, dry=1.5, covered=0.9), spacing=2.0, fed=0.8, runs=9, rows=6, blank=0.2, uneven=0.3
    )
    assert worse == pytest.approx(sum(faults))


def test_candidate_adds_up_its_runs() -> None:
    runs = (
        level_run(1),
        level_run(3, end=50),
        replace(level_run(5), from_end=False),
        level_run(3, start=60, row=3),
    )
    laying = Laying(pattern=Pattern.LEFT, runs=runs)
    tried = candidate(laying, PERFECT, spacing=2.0)
    assert tried.tubing == pytest.approx(98 + 49 + 98 + 39)
    assert tried.fed_at_end == pytest.approx((98 + 49 + 39) / (98 + 49 + 98 + 39))
    assert (tried.runs, tried.dropped, tried.pattern) == (4, 0, Pattern.LEFT)
    assert tried.score == pytest.approx(score(PERFECT, spacing=2.0, fed=tried.fed_at_end, runs=4, rows=3))


def test_bare_places_are_the_ground_a_gap_from_any_run() -> None:
    ground = box(0, 0, 30, 10)
    runs = [Run(name="R1", line=LineString([(0, 1), (30, 1)]), row=0, from_end=True)]
    place, *others = bare_places(ground, runs, reach=2.0, speck=0.1)
    assert not others
    assert place.bounds == pytest.approx((0.1, 3.1, 29.9, 9.9))
    assert bare_places(ground, runs, reach=9.1, speck=0.1) == []
