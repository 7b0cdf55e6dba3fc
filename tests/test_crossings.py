"""Pipes that do not join and yet cross: none where a way without exists."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely import box

from layout.laterals import join_runs
from layout.manifolds import crossing_checks, crossing_findings, lay_plumbing
from layout.model import XY, LateralRules, Laying, Pattern, Pump
from layout.routes import route_lines
from tests.fields import curved_field
from tests.test_manifolds import RULES, straight_runs, straight_sides


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
