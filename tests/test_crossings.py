"""Pipes that cross features, tubing, or each other without joining: told, and none where a way without exists."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely import LineString, Point, box

from layout.laterals import join_runs
from layout.manifolds import crossing_checks, crossing_findings, lay_plumbing
from layout.model import XY, LateralRules, Laying, Pattern, Pump
from layout.routes import route_lines
from tests.fields import curved_field
from tests.plumbed import RULES, feature, plumbed, straight_runs, straight_sides


@pytest.mark.parametrize("pump", [(-20.0, 2.0), (-8.0, 7.2), (-30.0, 20.0), (-3.0, -6.0)])
@pytest.mark.parametrize("zones", [1, 2, 3, 4])
def test_lines_of_zones_along_one_end_cross_nowhere(pump: XY, zones: int) -> None:
    runs = straight_runs(24, 30.0)
    outline = box(0, 0, 30, 14.4)
    laterals, joins = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    size = len(laterals) // zones
    laterals = tuple(replace(item, zone=n // size + 1) for n, item in enumerate(laterals))
    plumbing = lay_plumbing(
        laterals, runs, straight_sides(30.0, 14.4), RULES, pump=Pump(at=pump), outline=outline, joins=joins
    )
    tubing = [run.line for run in runs] + [join.line for join in joins]
    plumbing = route_lines(plumbing, pump=Pump(at=pump), features=(), outline=outline, tubing=tubing)
    site = replace(curved_field().site, pump=Pump(at=pump))
    over, crossed = crossing_checks(site, plumbing, runs, joins)
    assert not plumbing.unreached
    assert over.ok, over.place
    assert crossed.value == 0, list(crossing_findings(site, plumbing))


def test_what_pipes_cross_is_listed_with_its_place() -> None:
    things = [
        feature(LineString([(-2, 2), (9, 2)]), "drive"),
        feature(box(-6, -1, -4, 1), "pump tank"),
        feature(Point(-1, 8), "well within whose setback nothing is crossed"),
        feature(box(-0.2, 3.2, 0.2, 3.4), "shed"),
    ]
    plumbing, _ = plumbed(straight_runs(6, 30.0), straight_sides(30.0, 3.6), features=things)
    names = [name for name, _ in plumbing.crossings]
    assert names.count("drive") == 2
    assert set(names) == {"drive", "shed"}
    for name, at in plumbing.crossings:
        assert {"drive": things[0], "shed": things[3]}[name].shape.distance(Point(at)) < 1e-6


def test_pipe_over_tubing_is_counted_with_its_place_and_run_ends_are_not() -> None:
    runs = straight_runs(6, 30.0)
    plumbing, _ = plumbed(runs, straight_sides(30.0, 3.6))
    site = curved_field().site
    over, crossed = crossing_checks(site, plumbing, runs)
    assert (over.ok, over.value, over.place) == (True, 0.0, "")
    assert crossed.value == 0
    across = LineString([(15.0, -1.0), (15.0, 2.0)])
    first = plumbing.manifolds[0]
    bad = replace(plumbing, manifolds=(replace(first, line=across), *plumbing.manifolds[1:]))
    over, _ = crossing_checks(site, bad, runs)
    # Runs lie at 0.3, 0.9, 1.5 below 2.
    assert (over.ok, over.value) == (False, 3.0)
    assert over.place.startswith("supply manifold and R")
    # Two spacings in from the ends of runs a manifold may lie where a setback puts it.
    under = replace(plumbing, manifolds=(replace(first, line=LineString([(1.0, 0), (1.0, 3.6)])),))
    assert crossing_checks(site, under, runs)[0].ok


def test_pipes_that_join_do_not_cross_and_others_do() -> None:
    runs = straight_runs(6, 30.0)
    plumbing, _ = plumbed(runs, straight_sides(30.0, 3.6))
    supply, back = plumbing.manifolds
    supply = replace(supply, line=LineString([(0.0, 0.9), (0.0, 3.3)]))
    plumbing = replace(plumbing, manifolds=(supply, back))
    site = replace(curved_field().site, pump=Pump(at=(-5.0, 0.0)))
    home = replace(back, line=LineString([back.line.coords[-1], (-5.0, 0.0)]))
    away = replace(supply, line=LineString([(-5.0, 0.0), supply.line.coords[0]]))
    found = list(crossing_findings(site, replace(plumbing, lines=(home,))))
    assert found == []
    # On its straight way to the supply manifold a line crosses the return manifold.
    crossed = replace(plumbing, lines=(away, home))
    assert crossing_checks(site, crossed, runs)[1].value == 1
    (said,) = crossing_findings(site, crossed)
    assert "return manifold and supply line at (" in said.said
