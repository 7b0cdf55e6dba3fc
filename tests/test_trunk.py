"""One trunk for the lines of all zones: where it lies, what it is made of, and what water does in it."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import networkx
import numpy as np
import pytest
import shapely
from shapely import LineString

from layout.checks.unchecked import unchecked
from layout.fittings import BY_THE_PUMP, place_fittings
from layout.hydraulics.field import water_of
from layout.hydraulics.network import zone_network
from layout.hydraulics.told import water_findings
from layout.laterals import join_runs
from layout.manifolds import crossing_checks, lay_plumbing
from layout.model import (
    XY,
    Check,
    Design,
    Feature,
    FeatureKind,
    LateralRules,
    Laying,
    Pattern,
    Pipe,
    Plumbing,
    Pump,
)
from layout.pipes import bore
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.routes import route_lines
from layout.routes.branches import pieces_of
from layout.sheets.details import detail_pages
from layout.sheets.fieldmarks import field_marks
from layout.sheets.figures import Figures
from layout.sheets.layoutjson import document
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Symbol, Text, View
from layout.sheets.startup import startup_form
from layout.startup.expected import expected_flows
from tests.fields import curved_field
from tests.plumbed import RULES, straight_runs, straight_sides
from tests.test_routes import by_hand
from tests.test_sheet_details import METRIC_PAPER
from tests.test_sheet_startup import words

SITE = Path(__file__).resolve().parent / "sites" / "rectangle.toml"


def pipe(*feed: float, zone: int) -> Pipe:
    """A supply manifold that leads on to the right from where its line meets it."""
    x, y = feed
    return Pipe(kind="supply", line=LineString([(x, y), (x + 1, y)]), diameter=0.025, zone=zone)


def test_lines_with_a_beginning_in_common_are_laid_once() -> None:
    ways: list[list[XY]] = [[(0, 0), (10, 0), (10, 4)], [(0, 0), (20, 0), (20, 4)], [(0, 0), (6, 0), (6, -2)]]
    pieces, fittings = pieces_of(
        [(pipe(*way[-1], zone=zone), np.array(way, dtype=float)) for zone, way in enumerate(ways, start=1)]
    )
    laid = [(item.zone, list(item.line.coords)) for item in pieces]
    assert laid == [
        (0, [(0, 0), (6, 0)]),
        (0, [(6, 0), (10, 0)]),
        (2, [(10, 0), (20, 0), (20, 4)]),
        (3, [(6, 0), (6, -2)]),
        (1, [(10, 0), (10, 4)]),
    ]
    # A right angle is the tee's own; the last corner is an elbow, and so is each turn into a manifold.
    assert [(item.kind, item.at, item.zone) for item in fittings] == [
        ("elbow 90", (20, 0), 2),
        ("elbow 90", (20, 4), 2),
        ("trunk tee", (6, 0), 0),
        ("elbow 90", (6, -2), 3),
        ("trunk tee", (10, 0), 0),
        ("elbow 90", (10, 4), 1),
    ]


def test_a_side_of_a_tee_that_leaves_at_another_angle_gets_elbows() -> None:
    way: list[XY] = [(0, 0), (10, 0), (20, 10)]
    pieces, fittings = pieces_of(
        [
            (pipe(20.0, 10.0, zone=1), np.array(way, dtype=float)),
            (pipe(30.0, 0.0, zone=2), np.array([(0, 0), (30, 0)], dtype=float)),
        ]
    )
    assert [item.zone for item in pieces] == [0, 2, 1]
    assert [(item.kind, item.zone) for item in fittings if math.dist(item.at, (10, 0)) < 1e-9] == [
        ("trunk tee", 0),
        ("elbow 45", 1),
    ]


def test_manifolds_of_one_zone_that_share_a_return_have_a_flush_valve_each() -> None:
    ways: list[list[XY]] = [[(0, 0), (10, 0), (10, 4)], [(0, 0), (20, 0), (20, 4)]]
    manifolds = [replace(pipe(*feed, zone=1), kind="return") for feed in [(10, 4), (20, 4), (30, 4)]]
    manifolds = [replace(item, line=item.line.reverse()) for item in manifolds]
    lines, _ = pieces_of([(item, np.array(way)) for item, way in zip(manifolds, ways, strict=False)])
    assert {item.zone for item in lines} == {1}
    plumbing = Plumbing(manifolds=tuple(manifolds), risers=(), lines=tuple(lines))
    # The last one has no line: what leads nowhere has no valve.
    valves = [item for item in place_fittings(plumbing, (), ()).fittings if item.kind == "flush valve"]
    assert [(item.at, item.of) for item in valves] == [((10, 4), "manifold"), ((20, 4), "manifold")]
    # One alone has a line of its own, with its valve by the pump.
    alone = replace(
        plumbing,
        manifolds=plumbing.manifolds[:1],
        lines=tuple(pieces_of([(manifolds[0], np.array(ways[0]))])[0]),
    )
    (valve,) = (item for item in place_fittings(alone, (), ()).fittings if item.kind == "flush valve")
    assert (valve.at, valve.of) == ((BY_THE_PUMP, 0), "line")


def laid(zones: int, pump: XY, features: list[Feature], *, trunk: bool) -> Plumbing:
    plumbing, outline = by_hand(zones=zones)
    return route_lines(plumbing, pump=Pump(at=pump), features=features, outline=outline, trunk=trunk)


def house() -> Feature:
    return Feature(name="house", kind=FeatureKind.BUILDING, shape=shapely.box(-20, -3, -10, 60), setback=2.0)


@pytest.mark.parametrize("pump", [(-30.0, 5.0), (-8.0, 7.2), (-3.0, -6.0)])
@pytest.mark.parametrize("zones", [2, 3, 5])
def test_the_trunk_leads_to_every_manifold_in_less_pipe(pump: XY, zones: int) -> None:
    own, shared = (laid(zones, pump, [house()], trunk=trunk) for trunk in (False, True))
    assert not shared.unreached
    assert sum(item.line.length for item in shared.lines) < sum(item.line.length for item in own.lines)
    for manifold in shared.manifolds:
        way = shared.way_to(manifold)
        assert math.dist(way[0].near, pump) < 1e-6
        assert math.dist(way[-1].far, manifold.feed) < 1e-6
        assert all(one.far == other.near for one, other in itertools.pairwise(way))
        assert all(item.zone in {0, manifold.zone} for item in way)
    # Every stretch lies in some way; each kind has a tee to every manifold but the last.
    used = {id(item) for manifold in shared.manifolds for item in shared.way_to(manifold)}
    assert used == {id(item) for item in shared.lines}
    tees = Counter(item.on for item in shared.fittings if item.kind == "trunk tee")
    assert tees == {"supply": zones - 1, "return": zones - 1}
    assert max(trench.pipes for trench in shared.trenches) == 2
    for item in shared.lines:
        assert item.line.distance(house().shape) >= 2.0


@pytest.mark.parametrize("pump", [(-30.0, 20.0), (-3.0, -6.0)])
@pytest.mark.parametrize("zones", [2, 3, 4])
def test_only_at_tees_pipes_of_a_trunk_cross(pump: XY, zones: int) -> None:
    """Of the two sides that leave for a zone one passes over the other trunk; no riser lies over any."""
    runs, outline = straight_runs(24, 30.0), shapely.box(0, 0, 30, 14.4)
    laterals, joins = join_runs(
        Laying(pattern=Pattern.LEFT, runs=runs), LateralRules(runs=2, longest=90.0), spacing=0.6
    )
    size = len(laterals) // zones
    laterals = tuple(replace(item, zone=n // size + 1) for n, item in enumerate(laterals))
    plumbing = lay_plumbing(
        laterals, runs, straight_sides(30.0, 14.4), RULES, pump=Pump(at=pump), outline=outline, joins=joins
    )
    tubing = [run.line for run in runs] + [join.line for join in joins]
    plumbing = route_lines(
        plumbing, pump=Pump(at=pump), features=(), outline=outline, tubing=tubing, trunk=True
    )
    site = replace(curved_field().site, pump=Pump(at=pump))
    over, crossed = crossing_checks(site, plumbing, runs, joins)
    assert over.ok, over.place
    assert crossed.value == zones - 1


def test_the_trunk_is_no_longer_than_a_least_spanning_tree() -> None:
    """Of pump and manifolds, which the growth of the trench from any place of it never passes; by networkx."""
    pump = (-9.0, 21.0)
    shared = laid(5, pump, [], trunk=True)
    for kind in ("supply", "return"):
        graph = networkx.Graph()
        places = [pump, *(item.feed for item in shared.manifolds if item.kind == kind)]
        for one, other in itertools.combinations(range(len(places)), 2):
            graph.add_edge(one, other, weight=math.dist(places[one], places[other]))
        least = networkx.minimum_spanning_tree(graph).size(weight="weight")
        length = sum(item.line.length for item in shared.lines if item.kind == kind)
        # The trench keeps off the bed, and each pipe comes over from its lane: a metre to each manifold.
        assert length < least + 1.0 * (len(places) - 1)


def test_a_manifold_that_the_trunk_cannot_lead_to_is_told() -> None:
    walls = [
        Feature(name=f"wall {n}", kind=FeatureKind.OTHER, shape=LineString(line), setback=1.0)
        for n, line in enumerate([[(-40, -9), (-20, -9)], [(-40, 9), (-20, 9)], [(-40, -9), (-40, 9)]])
    ]
    walls.append(replace(walls[0], name="last", shape=LineString([(-20, -9), (-20, 9)])))
    shared = laid(2, (-30.0, 0.0), walls, trunk=True)
    assert shared.lines == ()
    assert len(shared.unreached) == 4


@pytest.fixture(scope="module")
def plans() -> dict[str, Design]:
    settings = [
        "zones.count=3",
        "runs.pattern=left",
        "laterals.runs=2",
        "runs.spacing=1.0",
        "pump.at=[-30, 6]",
        "pump.level=90",
        "bed.clearance=1.5",
        "design.flush_velocity=1.0",
        "tubing.inside_diameter=0.55",
    ]
    return {
        lines: plan_field(read_site(SITE, [*settings, f'zones.lines="{lines}"']))
        for lines in ("own", "trunk")
    }


def test_a_trunk_is_counted_once_in_what_the_field_holds(plans: dict[str, Design]) -> None:
    for lines, design in plans.items():
        water = design.hydraulics
        assert water is not None
        kept = [item for item in design.plumbing.lines if lines == "own" or item.kind == "supply"]
        held = math.fsum(math.pi / 4 * bore(item.diameter) ** 2 * item.line.length for item in kept)
        block = document(design)["hydraulics"]
        unit = design.site.frame.units.volume
        assert block["volumes"]["lines"] * unit == pytest.approx(held)
        sums = [zone.volumes.tubing + zone.volumes.manifolds for zone in water.zones]
        assert block["volumes"]["fill"] * unit == pytest.approx(math.fsum((*sums, held)))
        apart = math.fsum(zone.volumes.lines for zone in water.zones)
        assert apart > held * 1.1 if lines == "trunk" else apart == pytest.approx(held)


def test_what_falls_back_of_all_zones_counts_the_trunk_once(plans: dict[str, Design]) -> None:
    """Without levels all that supply lines hold falls back, each zone valve holding its manifold."""
    for lines, design in plans.items():
        held = math.fsum(
            math.pi / 4 * bore(item.diameter) ** 2 * item.line.length
            for item in design.plumbing.lines
            if item.kind == "supply"
        )
        told = document(design)
        unit = design.site.frame.units.volume
        assert told["totals"]["drain_back"] * unit == pytest.approx(held)
        assert told["hydraulics"]["volumes"]["drain_back"] == told["totals"]["drain_back"]
        apart = math.fsum(zone["drain_back"] for zone in told["zones"]) * unit
        assert apart > 1.1 * held if lines == "trunk" else apart == pytest.approx(held)


@pytest.mark.parametrize("rise", [-3.0, 6.0])
def test_gauges_stand_at_the_valves_on_the_trunk(plans: dict[str, Design], rise: float) -> None:
    """Before a valve stands what it takes, and what the trunk behind it takes, less how far it lies over the tank."""
    design = plans["trunk"]
    assert design.site.pump is not None
    ground = (design.site.pump.level or 0.0) + rise
    outcome = water_of(design, heights=lambda points: np.full(len(points), ground))
    assert outcome.hydraulics is not None
    for zone in outcome.hydraulics.zones:
        assert zone.flush is not None
        (valve,) = zone.flush.valves
        (manifold,) = (
            item for item in design.plumbing.manifolds if (item.zone, item.kind) == (zone.zone, "return")
        )
        assert valve.at == manifold.feed
        assert zone.flush.valve_head is not None
        taken = valve.before + rise - zone.flush.valve_head  # along the trunk
        assert valve.before - valve.behind == pytest.approx(zone.flush.valve_head)
        assert 0 < taken < 2.0
    found = [item for item in outcome.findings if item.code == "suction-behind-flush-valve"]
    assert len(found) == (rise > 0)
    for item in found:
        assert "Z1, Z2, Z3: by up to" in item.said
    laid = replace(design, hydraulics=outcome.hydraulics)
    said = " ".join(words(startup_form(laid)).split())
    assert "with the gauge where the return manifold meets the trunk" in said
    assert ("Behind it the trunk may suck, by up to" in said) is (rise > 0)
    for item in expected_flows(laid):
        if item.doing == "flushing":
            assert f"{item.valves[0].before / laid.site.frame.units.pressure:.1f}" in said


def test_several_valves_of_a_zone_and_flushing_that_counts_on_suction_are_told(
    plans: dict[str, Design],
) -> None:
    design = plans["trunk"]
    water = design.hydraulics
    assert water is not None
    first, *rest = water.zones
    assert first.flush is not None
    (valve,) = first.flush.valves
    unit = design.site.frame.units
    two = (replace(valve, before=2.0, behind=-3.0), replace(valve, at=(1.0, 2.0), before=-1.0, behind=-4.0))
    water = replace(water, zones=(replace(first, flush=replace(first.flush, valves=two)), *rest))
    said = " ".join(words(startup_form(replace(design, hydraulics=water))).split())
    low, high = (head / unit.pressure for head in (-1.0, 2.0))
    assert f"{low:.1f} to {high:.1f}" in said
    assert f"Where a zone has several: Z1 {high:.1f} psi at" in said
    (found,) = (item for item in water_findings(design, water) if item.code == "suction-behind-flush-valve")
    assert f"flush valve of Z1: by up to {4.0 / unit.length:.1f} ft" in found.said
    assert "Even before the valve of Z1 there is suction" in found.said


def test_each_zone_has_its_valves_at_its_manifolds(plans: dict[str, Design]) -> None:
    plumbing = plans["trunk"].plumbing
    for manifold in plumbing.manifolds:
        kind = "zone valve" if manifold.kind == "supply" else "flush valve"
        assert [
            item.kind
            for item in plumbing.fittings
            if item.kind in {"zone valve", "flush valve"} and math.dist(item.at, manifold.feed) < 1e-6
        ] == [kind]
    count = Counter(item.kind for item in plumbing.fittings)
    assert count["zone valve"] == count["flush valve"] == 3


def test_the_fall_of_a_trunk_is_checked_zone_by_zone(plans: dict[str, Design]) -> None:
    falls = [
        Check.against(
            f"fall of the return line to the pump, Z{zone}",
            0.02,
            "least",
            0.01,
            unit="ratio",
            source="",
            place="",
            slack=0.0,
        )
        for zone in (1, 2, 3)
    ]
    for design in plans.values():
        for count, left in ((2, True), (3, False)):
            told = unchecked(replace(design, checks=tuple(falls[:count])))
            assert ("fall of the return line" in told) is left


def test_all_outputs_count_the_trunk_once(plans: dict[str, Design]) -> None:
    design = plans["trunk"]
    unit = design.site.frame.units.length
    made: dict[str, Any] = document(design)
    shared = [item for item in made["lines"] if item["zone"] is None]
    assert {item["kind"] for item in shared} == {"supply", "return"}
    whole = sum(item.line.length for item in design.plumbing.lines) / unit
    assert sum(item["length"] for item in made["lines"]) == pytest.approx(whole)
    parts = {part.item: part for part in design.parts}
    for kind in ("supply", "return"):
        length = sum(item.line.length for item in design.plumbing.lines if item.kind == kind)
        part = parts[f"{kind} line pipe"]
        assert part.net == pytest.approx(length)
        assert part.by_zone == ()
        tees = [item for item in design.plumbing.fittings if (item.kind, item.on) == ("trunk tee", kind)]
        assert parts[f"{kind} trunk tee"].net == len(tees)
    names = " ".join(stake.description for stake in design.staking.stakes) if design.staking else ""
    assert "supply trunk end" in names
    assert "Z0" not in names


def test_tees_of_a_trunk_are_drawn_staked_and_lettered(plans: dict[str, Design]) -> None:
    for lines, design in plans.items():
        tees = [item for item in design.plumbing.fittings if item.kind == "trunk tee"]
        assert len(tees) == (4 if lines == "trunk" else 0)
        view = View(window=(0.0, 0.0, 10.0, 10.0), centre=(0.0, 0.0), metres_per_inch=10.0)
        drawn = [
            item
            for item in field_marks(design, view)
            if isinstance(item, Symbol) and item.name == "trunk tee"
        ]
        assert [item.at for item in drawn] == [item.at for item in tees]
        assert all(("ZONE", "") in item.attributes for item in drawn)
        assert design.staking is not None
        staked = [stake for stake in design.staking.stakes if "trunk tee" in stake.description]
        for tee in tees:
            (stake,) = (item for item in staked if math.dist(item.at, tee.at) < 0.01)
            assert f"{tee.on} trunk tee" in stake.description
        assert len(staked) == len(tees)
        pages = detail_pages(design, METRIC_PAPER, Figures(design.site.frame.units), Lettering())
        marks = [mark for page in pages for mark in page.marks]
        said = " ".join(mark.text for mark in marks if isinstance(mark, Text))
        shared = lines == "trunk"
        assert ("tee of a trunk" in said) is shared
        assert (", from the trunk" in said) is shared
        assert (", to the trunk" in said) is shared
        assert any(isinstance(mark, Symbol) and mark.name == "trunk tee" for mark in marks) is shared


def test_water_of_one_zone_takes_the_way_through_the_trunk(plans: dict[str, Design]) -> None:
    """The pipes of the network from the pump are as long as the way; what other zones alone use is not in it."""
    for design in plans.values():
        for zone in design.zones:
            bed = zone_network(design, zone, lambda points: np.zeros(len(points)), open_return=True)
            network = bed.network
            manifolds = [item for item in design.plumbing.manifolds if item.zone == zone.number]
            for manifold, end in zip(manifolds, (bed.source, bed.valve), strict=True):
                assert bed.points is not None
                way = design.plumbing.way_to(manifold)
                at, length = end, 0.0
                while math.dist(bed.points[at], manifold.feed) > 1e-6:
                    ends = network.starts if manifold.kind == "supply" else network.ends
                    others = network.ends if manifold.kind == "supply" else network.starts
                    (number,) = np.flatnonzero(ends == at)
                    length += float(network.lengths[number])
                    at = int(others[number])
                assert length == pytest.approx(math.fsum(item.line.length for item in way), abs=0.01)


def test_heads_along_the_trunk_are_like_those_of_lines_of_their_own(plans: dict[str, Design]) -> None:
    """Only one zone runs at a time, so the same water goes as far, but for the tees and what the ways differ by."""
    own, trunk = (plans[lines].hydraulics for lines in ("own", "trunk"))
    assert own is not None
    assert trunk is not None
    for one, other in zip(own.zones, trunk.zones, strict=True):
        assert other.dose.flow == pytest.approx(one.dose.flow, rel=1e-3)
        assert other.dose.head == pytest.approx(one.dose.head, rel=0.05)
        # The return trunk lies behind the valves: while they are shut it does not fill.
        back = (
            piece
            for manifold in plans["trunk"].plumbing.manifolds
            if (manifold.zone, manifold.kind) == (other.zone, "return")
            for piece in plans["trunk"].plumbing.way_to(manifold)
        )
        unfilled = math.fsum(math.pi / 4 * bore(piece.diameter) ** 2 * piece.line.length for piece in back)
        assert other.volumes.lines + unfilled == pytest.approx(one.volumes.lines, rel=0.1)
    assert plans["trunk"].findings
    assert all(
        check.ok for check in plans["trunk"].checks if "fall of" not in check.name and "fed" in check.name
    )
