"""Levels of zones and pipes: high points, the fall of the return, what drains back, against grounds made by hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest
from shapely import LineString

from layout.model import Check, Levels, Pipe, Plumbing, Run, Site, Zone, ZoneLevels
from layout.pipes import METRIC, SCHEDULE_40, bore, is_listed
from layout.terrain import air_places, level_findings, pitch_checks, zone_levels
from layout.units import INCH
from tests.fields import curved_field

ZONE = Zone(number=1, laterals=("L1",), runs=("R1",), tubing=20.0, emitters=40, flow=1e-5)
RUNS = (Run(name="R1", line=LineString([(0, 5), (20, 5)]), row=0),)
AREA = math.pi / 4 * (1.049 * INCH) ** 2


def ground(height: Callable[[float, float], float], *, east: float = 40.0) -> Levels:
    """Surveyed levels every 5 m from x = -40 on."""
    points = [(x, y) for x in range(-40, int(east) + 1, 5) for y in range(-20, 21, 5)]
    return Levels(points=tuple((x, y, height(x, y)) for x, y in points))


def site_on(levels: Levels | None, *, least_pitch: float = 0.01) -> Site:
    site = curved_field().site
    return replace(
        site,
        bed=replace(site.bed, levels=levels),
        design=replace(site.design, least_pitch=least_pitch),
    )


def pipes(*, zone: int = 1, size: float = 0.0254) -> Plumbing:
    """Manifolds along x = 0 from y = 0 to 8, lines straight west to the pump at (-30, 0)."""
    lines: Sequence[tuple[str, list[tuple[float, float]], list[tuple[float, float]]]] = (
        ("supply", [(0, 0), (0, 8)], [(-30, 0), (0, 0)]),
        ("return", [(0, 8), (0, 0)], [(0, 0), (-30, 0)]),
    )
    return Plumbing(
        manifolds=tuple(
            Pipe(kind=kind, line=LineString(at), diameter=size, zone=zone)  # type: ignore[arg-type]
            for kind, at, _ in lines
        ),
        risers=(),
        lines=tuple(
            Pipe(kind=kind, line=LineString(at), diameter=size, zone=zone)  # type: ignore[arg-type]
            for kind, _, at in lines
        ),
    )


def levels_on(levels: Levels | None, **kwargs: float) -> tuple[ZoneLevels, Site]:
    site = site_on(levels, **kwargs)
    (found,) = zone_levels(site, (ZONE,), RUNS, pipes())
    return found, site


def check_of(site: Site, found: ZoneLevels) -> Check:
    (check,) = pitch_checks(site, (found,))
    return check


def test_a_plane_that_falls_to_the_pump() -> None:
    found, site = levels_on(ground(lambda x, y: 100 + 0.02 * x + 0.01 * y))
    assert found.pitch == pytest.approx(0.02)
    assert found.return_known == pytest.approx(1.0)
    assert found.deepening == pytest.approx(0.0, abs=1e-9)
    # The run reaches farther up the slope than the manifold.
    assert found.high == pytest.approx((20.0, 5.0))
    assert found.high_level == pytest.approx(100.45)
    assert found.held == pytest.approx(2 * AREA * 38.0)
    # The flush valve holds the return.
    assert found.drain_back == pytest.approx(AREA * 38.0)
    assert check_of(site, found).ok
    steeper, steep_site = levels_on(ground(lambda x, _: 100 + 0.02 * x), least_pitch=0.03)
    check = check_of(steep_site, steeper)
    assert not check.ok
    # Over 30 m it must go down another 1 %.
    assert steeper.deepening == pytest.approx(0.3)
    assert "0.98 ft deeper at (" in check.place


def test_ground_that_rises_to_the_pump_gives_nothing_back_but_from_the_manifold() -> None:
    found, site = levels_on(ground(lambda x, _: 100 - 0.02 * x))
    assert found.pitch == pytest.approx(-0.02)
    assert not check_of(site, found).ok
    assert found.drain_back == pytest.approx(0.0, abs=AREA * 0.6)
    assert found.held == pytest.approx(2 * AREA * 38.0)


def test_a_hump_on_the_way_holds_what_lies_behind_it_and_lower() -> None:
    # From the manifold at 100.0 the ground falls to x = -10, rises to the hump at x = -20, and falls to the pump.
    found, site = levels_on(
        ground(
            lambda x, _: {-5.0: 99.9, -10.0: 99.8, -15.0: 99.9, -20.0: 100.0, -25.0: 99.5}.get(
                x, 99.0 if x < -25 else 100.5
            )
        )
    )
    assert found.pitch == pytest.approx((100.5 - 99.0) / 30)
    # Of the line drains what lies from the hump to the pump, and by the manifold what is higher than the hump.
    expected = AREA * (8.0 + 10.0 + 5.0 * 0.5 / 0.6)
    assert found.drain_back == pytest.approx(expected, abs=AREA * 1.1)
    assert found.deepening == pytest.approx(100.0 - 99.8 + 0.1, abs=1e-6)
    assert found.deepest_at == pytest.approx((-20.0, 0.0))
    assert [item.code for item in level_findings(site, (found,), pipes())] == ["return-deeper"]


def test_ground_that_is_not_surveyed_to_the_pump() -> None:
    levels = Levels(points=tuple((x, y, 100 + 0.03 * x) for x in (-15.0, 0.0, 40.0) for y in (-20.0, 20.0)))
    found, site = levels_on(levels)
    assert found.pitch == pytest.approx(0.03)
    assert found.return_known == pytest.approx(0.5)
    assert [item.code for item in level_findings(site, (found,), pipes())] == ["return-not-surveyed"]


@pytest.mark.parametrize("levels", [None, Levels(uniform=30.0)])
def test_without_surveyed_levels_nothing_is_made_up(levels: Levels | None) -> None:
    found, site = levels_on(levels)
    assert (found.high, found.high_level, found.pitch, found.deepening) == (None, None, None, None)
    assert 2 * found.drain_back == found.held == pytest.approx(2 * AREA * 38.0)
    assert list(pitch_checks(site, (found,))) == []
    assert [item.code for item in level_findings(site, (found,), pipes())] == ["high-points-unknown"]
    # Valves stand at the dead ends.
    assert air_places(site, pipes()) == {(1, "supply"): (0.0, 8.0), (1, "return"): (0.0, 8.0)}


def test_air_valves_stand_where_each_zone_is_highest() -> None:
    site = site_on(ground(lambda _, y: 100 - 0.01 * abs(y - 5.0)))
    one, two = pipes(), pipes(zone=2)
    both = replace(one, manifolds=(*one.manifolds, *two.manifolds))
    places = air_places(site, both)
    assert set(places) == {(zone, kind) for zone in (1, 2) for kind in ("supply", "return")}
    for at in places.values():
        # Within a centimetre of the height of the crest, the farther from the line.
        assert 5.0 <= at[1] <= 6.01


def test_zone_valves_hold_their_manifolds() -> None:
    site = site_on(None)
    one, two = pipes(), pipes(zone=2, size=0.0508)
    both = Plumbing(manifolds=(*one.manifolds, *two.manifolds), risers=(), lines=(*one.lines, *two.lines))
    zones = (ZONE, replace(ZONE, number=2))
    first, second = zone_levels(site, zones, RUNS, both)
    assert first.held == pytest.approx(2 * AREA * 38.0)
    assert second.held == pytest.approx(2 * 38.0 * math.pi / 4 * (2.067 * INCH) ** 2)
    # Zone valves hold the manifolds: lines alone, of 30 m, drain.
    assert first.drain_back == pytest.approx(AREA * 30.0)
    assert second.drain_back == pytest.approx(30.0 * math.pi / 4 * (2.067 * INCH) ** 2)


def test_a_size_that_is_none_is_pointed_out() -> None:
    site = site_on(None)
    found = zone_levels(site, (ZONE,), RUNS, pipes(size=0.9 * INCH))
    said = [item.said for item in level_findings(site, found, pipes(size=0.9 * INCH))]
    assert any("no pipe of 0.9 in" in text for text in said)


# ASTM D1785 Schedule 40 PVC: outside diameter and least wall [in], from tabulations of it; the bore is derived.
WALLS = {
    0.5: (0.840, 0.109),
    0.75: (1.050, 0.113),
    1.0: (1.315, 0.133),
    1.25: (1.660, 0.140),
    1.5: (1.900, 0.145),
    2.0: (2.375, 0.154),
    2.5: (2.875, 0.203),
    3.0: (3.500, 0.216),
    4.0: (4.500, 0.237),
}


@pytest.mark.parametrize("size", list(SCHEDULE_40))
def test_bores_are_outside_diameters_less_two_walls(size: float) -> None:
    outside, wall = WALLS[size]
    assert bore(size * INCH) / INCH == pytest.approx(outside - 2 * wall, abs=5e-4)
    assert is_listed(size * INCH)
    metric = next(mm for mm, inch in METRIC.items() if inch == size)
    assert bore(metric / 1000) == bore(size * INCH)


def test_gallons_to_a_foot_of_pipe() -> None:
    # University of Minnesota / MPCA table of pipe volumes [gal/ft]; printed roundly for the larger two.
    for size, printed, share in (
        (1.0, 0.045, 0.01),
        (1.25, 0.078, 0.01),
        (1.5, 0.110, 0.04),
        (2.0, 0.170, 0.03),
    ):
        gallons = math.pi / 4 * bore(size * INCH) ** 2 * 0.3048 / (231 * INCH**3)
        assert gallons == pytest.approx(printed, rel=share)
