"""Random sites, plumbed from runs to lines: what holds on every one of them."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from layout.manifolds import crossing_checks, setback_check
from layout.model import Feature, FeatureKind, Pattern, Pump, Site, ZoneRules, xy
from layout.piping import Piped, pipe_trial
from layout.routes import route_checks, route_findings
from layout.routes.told import close_elbows
from layout.trials import lay_trials
from layout.usable import usable_ground
from tests.fields import curved_field

SITES = 14


def random_site(seed: int) -> Site:
    """Draw a bed, straight, bent or L-shaped, with a pump outside and a few things to keep clear of."""
    rng = np.random.default_rng(seed)
    length, width = rng.uniform(18, 40), rng.uniform(5, 11)
    kind = seed % 3
    outline: Polygon = box(0, 0, length, width)
    if kind == 1:
        angles = np.linspace(0, rng.uniform(0.5, 1.2), 25)
        inner, outer = 20.0, 20.0 + width
        ring = [(inner * math.sin(a), inner * math.cos(a)) for a in angles]
        ring += [(outer * math.sin(a), outer * math.cos(a)) for a in angles[::-1]]
        outline = Polygon(ring)
    elif kind == 2:
        outline = Polygon(
            [(0, 0), (length, 0), (length, width), (width, width), (width, width + 10), (0, width + 10)]
        )
    west, south, east, north = outline.bounds
    features = []
    for number in range(int(rng.integers(0, 3))):
        x, y = rng.uniform(west, east), rng.uniform(south, north)
        inside = bool(rng.random() < 0.6)
        shape = box(x, y, x + rng.uniform(0.5, 4), y + rng.uniform(0.5, 3))
        if not inside:
            shape = shapely.affinity.translate(shape, 0, north - south + 3)
        features.append(
            Feature(
                name=f"thing {number}",
                kind=FeatureKind.OTHER,
                shape=shape,
                setback=float(rng.uniform(0.3, 1.5)),
                inside=inside,
            )
        )
    design = curved_field()
    return replace(
        design.site,
        bed=replace(design.site.bed, outline=outline, levels=None),
        features=tuple(features),
        pump=Pump(at=(west - float(rng.uniform(3, 25)), south + float(rng.uniform(-5, 15)))),
        zones=ZoneRules(count=int(rng.integers(1, 3))) if rng.random() < 0.5 else None,
        runs=replace(design.site.runs, pattern=(Pattern.LEFT, Pattern.RIGHT)[int(rng.integers(2))]),
        laterals=replace(design.site.laterals, runs=None),
        manifold=replace(design.site.manifold, end="pump"),
    )


def check_feed(made: Piped) -> None:
    """A riser to each end of each lateral, which ends in the tubing and stands on the manifold that it names."""
    ends = {}
    for lateral in made.laterals:
        ends["supply", lateral.name] = lateral.supply
        ends["return", lateral.name] = lateral.drain
    risers = {(riser.kind, riser.lateral): riser for riser in made.plumbing.risers}
    assert len(risers) == len(made.plumbing.risers)
    assert set(risers) == set(ends)
    for key, riser in risers.items():
        assert riser.line.coords[-1] == ends[key]
        assert riser.manifold is not None
        pipe = made.plumbing.manifolds[riser.manifold]
        assert (pipe.kind, pipe.zone) == (riser.kind, riser.zone)
        assert pipe.line.distance(Point(riser.line.coords[0])) < 1e-6


def check_lines(site: Site, made: Piped) -> None:
    """Every manifold has a line from the pump, or is told as one that no line can lead to."""
    assert site.pump is not None
    lost = Counter((item.kind, item.zone, item.at) for item in made.plumbing.unreached)
    for pipe in made.plumbing.manifolds:
        tip = -1 if pipe.kind == "supply" else 0
        lines = [line for line in made.plumbing.lines if (line.kind, line.zone) == (pipe.kind, pipe.zone)]
        reached = any(math.dist(line.line.coords[tip][:2], pipe.feed) < 1e-3 for line in lines)
        assert reached != bool(lost[pipe.kind, pipe.zone, pipe.feed])
        for line in lines:
            assert math.dist(line.line.coords[-1 - tip][:2], site.pump.at) < 1e-3
    told = [finding for finding in route_findings(site, made.plumbing) if finding.code == "no-way"]
    assert bool(told) == bool(made.plumbing.unreached)
    assert all(finding.remedy for finding in told)
    assert close_elbows(made.plumbing) == []


def check_fittings(made: Piped) -> None:
    """Risers stand on tees or elbows, dead ends are closed once, loops and valves are as many as there should be."""
    count = Counter((item.kind, item.on) for item in made.plumbing.fittings)
    air = sum(number for (kind, _), number in count.items() if kind == "air valve")
    assert count["riser", "supply"] == count["riser", "return"] == len(made.laterals)
    assert air == 2 * len(made.zones)
    for kind in ("supply", "return"):
        manifolds = [pipe for pipe in made.plumbing.manifolds if pipe.kind == kind]
        under = [item for item in made.plumbing.fittings if item.on == kind and item.kind in {"tee", "elbow"}]
        assert len(under) == len(made.laterals) + count["air valve", kind]
        assert count["elbow", kind] + count["cap", kind] == len(manifolds)
        feet = [xy(Point(riser.line.coords[0])) for riser in made.plumbing.risers if riser.kind == kind]
        assert all(any(math.dist(foot, item.at) < 1e-6 for item in under) for foot in feet)
    assert count["loop", "tubing"] == sum(1 for join in made.joins if join.kind == "loop")


@pytest.mark.parametrize("seed", range(SITES))
def test_what_holds_on_random_sites(seed: int) -> None:
    site = random_site(seed)
    ground = usable_ground(site.bed, site.features, frame=site.frame, file=site.file.name)
    trial = lay_trials(site, ground, progress=lambda _stage: None)[0]
    made = pipe_trial(site, ground, trial)
    runs = trial.laying.runs
    assert Counter(name for lateral in made.laterals for name in lateral.runs) == Counter(
        run.name for run in runs
    )
    check_feed(made)
    check_lines(site, made)
    check_fittings(made)
    assert setback_check(site, made.plumbing, ground.kept_clear).ok
    over, _ = crossing_checks(site, made.plumbing, runs, made.joins)
    assert over.ok, over.place
    assert all(check.ok for check in route_checks(site, made.plumbing) if "setbacks" in check.name)
    zones = {join.start: join.line for join in made.joins}
    assert all(isinstance(line, LineString) and line.is_simple for line in zones.values())


def test_run_ends_are_seldom_unreached() -> None:
    """Of all manifolds of these sites no line leads to hardly any."""
    lost = total = 0
    for seed in range(100, 100 + SITES):
        site = random_site(seed)
        ground = usable_ground(site.bed, site.features, frame=site.frame, file=site.file.name)
        made = pipe_trial(site, ground, lay_trials(site, ground, progress=lambda _stage: None)[0])
        lost += len(made.plumbing.unreached)
        total += len(made.plumbing.manifolds)
    assert total > 2 * SITES
    assert lost <= 0.02 * total
