"""Lines between pump and manifolds: legal, shortest, side by side, made up of elbows; or a clear answer."""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon

from layout.model import XY, Design, Feature, FeatureKind, Pipe, Plumbing, Pump, Riser
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.routes import route_checks, route_lines
from layout.routes.elbows import ELBOWS
from layout.routes.ground import PASSING
from layout.routes.joints import APART
from layout.routes.obstacles import grown
from layout.units import FOOT
from layout.ways import shortest_way
from tests.command import Command

EXAMPLE = Path(__file__).resolve().parent.parent / "examples" / "serpentine" / "site.toml"
STRIP = "[[0, 0], [100, 0], [100, 12], [0, 12]]"


def feature(name: str, points: list[list[float]], setback: float, kind: str = "building") -> str:
    return f'[[feature]]\nname = "{name}"\nkind = "{kind}"\nshape = {points}\nsetback = {setback}\n'


def box(left: float, low: float, right: float, high: float) -> list[list[float]]:
    return [[left, low], [right, low], [right, high], [left, high], [left, low]]


def site(
    folder: Path, pump: tuple[float, float], *features: str, outline: object = STRIP, manifold: str = ""
) -> Path:
    path = folder / "site.toml"
    path.write_text(
        f'units = "ft"\n[bed]\noutline = {outline}\n[tubing]\nemitter_spacing = 2.0\nemitter_flow = 0.6\n'
        f'[runs]\nspacing = 2.0\npattern = "left"\n[laterals]\nlongest = 600.0\n{manifold}\n[pump]\nat = {list(pump)}\n'
        + "".join(features),
        encoding="utf-8",
    )
    return path


def planned(path: Path) -> Design:
    return plan_field(read_site(path))


def failed(design: Design) -> set[str]:
    return {check.name for check in design.checks if not check.ok}


def legal(design: Design) -> None:
    """Every line starts at the pump, ends at its manifold, and keeps setbacks and bed, the ends' own apart."""
    pump = design.site.pump
    assert pump is not None
    plumbing, outline = design.plumbing, design.site.bed.outline
    for line in plumbing.lines:
        points = line.line.coords if line.kind == "supply" else line.line.coords[::-1]
        assert points[0] == pump.at
        manifold = next(
            pipe
            for pipe in plumbing.manifolds
            if pipe.kind == line.kind
            and math.dist(pipe.line.coords[0 if line.kind == "supply" else -1], points[-1]) < 1e-6
        )
        assert manifold.zone == line.zone
        assert line.line.is_simple
        for item in design.site.features:
            if item.shape.distance(Point(pump.at)) > 0:
                assert line.line.distance(item.shape) >= item.setback - 1e-3
        # The end of a line crosses no more of the edge of the bed than its manifold stands within.
        depth = outline.exterior.distance(Point(points[-1])) if outline.contains(Point(points[-1])) else 0.0
        assert not line.line.intersects(outline.buffer(-depth - 3e-3))
        assert all(line.line.distance(run.line) > 0.1 for run in design.laying.runs)


def straight_length(design: Design, line: Pipe) -> float:
    """The very shortest way from the pump to where a line ends at the bed, round full setbacks and the bed."""
    pump = design.site.pump
    assert pump is not None
    end = line.line.coords[-1 if line.kind == "supply" else 0]
    zones = [
        grown(item.shape, max(item.setback, 0.002))
        for item in design.site.features
        if item.shape.distance(Point(pump.at)) > 0
    ]
    edge = shapely.shortest_line(Point(end), design.site.bed.outline.exterior).coords[1]
    away = np.asarray(edge) + (np.asarray(end) - edge) / max(math.dist(end, edge), 1e-9) * 1e-6
    outside = (
        end if not design.site.bed.outline.intersects(Point(end)) else tuple(2 * np.asarray(edge) - away)
    )
    way = shortest_way(pump.at, (float(outside[0]), float(outside[1])), [*zones, design.site.bed.outline])
    assert way is not None
    return float(way.length) + math.dist(outside, end)


# --- whole sites ----------------------------------------------------------------------------------------


def test_a_dwelling_between_pump_and_bed(tmp_path: Path) -> None:
    dwelling = feature("dwelling", box(-20, 30, 90, 60), 10.0)
    design = planned(site(tmp_path, (60, 80), dwelling, manifold="[manifold]\nend = [0, 6]"))
    legal(design)
    assert failed(design) == set()
    supply, back = design.plumbing.lines
    for line in (supply, back):
        assert straight_length(design, line) - 1e-6 <= line.line.length <= straight_length(design, line) + 1.0
    # Round two corners of the setback, left about, in one trench.
    assert [trench.pipes for trench in design.plumbing.trenches].count(2) >= 1
    inner = supply.line.difference(
        shapely.union_all([Point(at).buffer(2.0) for at in supply.line.boundary.geoms])
    )
    apart = shapely.distance(shapely.points(shapely.get_coordinates(inner.segmentize(0.5))), back.line)
    assert apart.min() == pytest.approx(0.3, abs=1e-6)
    # Where two elbows make a corner, a pipe stands off its lane by the piece between them, aslant.
    assert apart.max() < 0.3 + APART * math.sin(math.radians(22.5))
    kinds = [item.kind for item in design.plumbing.fittings if item.of == "line" and item.on == "supply"]
    turned = sum(dict(ELBOWS)[kind] for kind in kinds)
    assert turned >= 180.0 + 67.5


def test_the_other_end_of_a_manifold_may_be_nearer_by_the_way(tmp_path: Path) -> None:
    # In a straight line the pump is nearer to the lower end of the manifolds.
    dwelling = feature("dwelling", box(-40, -20, -16, 30), 10.0)
    design = planned(site(tmp_path, (-60, 5.5), dwelling))
    legal(design)
    ends = {line.kind: line.line.coords[-1 if line.kind == "supply" else 0] for line in design.plumbing.lines}
    for pipe in design.plumbing.manifolds:
        ys = [y for _, y in pipe.line.coords]
        assert ends[pipe.kind][1] == pytest.approx(max(ys))


@pytest.mark.parametrize("end", ["pump", "far"])
def test_a_far_end_nearer_the_pump(tmp_path: Path, end: str) -> None:
    """By the word of the site file, whichever end it is: the line leads there."""
    design = planned(site(tmp_path, (-20, 40), manifold=f'[manifold]\nend = "{end}"'))
    legal(design)
    assert failed(design) == set()
    x = {"pump": 0.0, "far": 100 * FOOT}[end]
    for pipe in design.plumbing.manifolds:
        assert all(abs(at - x) < 1.0 for at, _ in pipe.line.coords)
    for line in design.plumbing.lines:
        assert line.line.length <= straight_length(design, line) + 1.0


def horseshoe() -> list[list[float]]:
    def arc(radius: float, turns: Any) -> list[list[float]]:
        return [[round(radius * math.cos(t), 3), round(radius * math.sin(t), 3)] for t in turns]

    turns = np.radians(np.linspace(120, 420, 60))
    return arc(60, turns) + arc(46, turns[::-1])


def test_a_pump_inside_the_hollow_of_the_bed(tmp_path: Path) -> None:
    design = planned(site(tmp_path, (-5, -10), outline=horseshoe()))
    legal(design)
    assert not any("line" in name for name in failed(design))
    assert len(design.plumbing.lines) == len(design.plumbing.manifolds) >= 2


def test_a_hollow_closed_by_a_setback() -> None:
    """A gate across the throat of the hollow, the pump within, the manifolds outside."""
    outline = shapely.orient_polygons(Polygon(horseshoe()))
    plumbing = Plumbing(
        manifolds=(
            Pipe(kind="supply", line=LineString([(-24.0, 53.0), (-30.0, 55.0)]), diameter=0.025),
            Pipe(kind="return", line=LineString([(-30.0, 56.0), (-24.0, 54.0)]), diameter=0.025),
        ),
        risers=(),
        lines=(),
    )
    gate = Feature(name="gate", kind=FeatureKind.OTHER, shape=LineString([(-20, 40), (20, 40)]), setback=4.0)
    pump = Pump(at=(0.0, 0.0))
    through = route_lines(plumbing, pump=pump, features=[], outline=outline)
    assert len(through.lines) == 2
    closed = route_lines(plumbing, pump=pump, features=[gate], outline=outline)
    assert closed.lines == ()
    assert {name for item in closed.unreached for name, _ in item.closed_by} == {"gate", "the bed"}
    assert all(item.alone for item in closed.unreached)


def test_a_pump_walled_in(tmp_path: Path) -> None:
    walls = [
        feature("north wall", [[-50, 30], [-10, 30]], 5.0),
        feature("south wall", [[-50, -20], [-10, -20]], 5.0),
        feature("west wall", [[-52, -20], [-52, 30]], 5.0),
        feature("east wall", [[-8, -20], [-8, 30]], 5.0),
    ]
    design = planned(site(tmp_path, (-30, 6), *walls))
    assert design.plumbing.lines == ()
    assert failed(design) == {"manifolds that no line can lead to", "share of tubing fed"}
    names = {name for item in design.plumbing.unreached for name, _ in item.closed_by}
    assert names == {"north wall", "south wall", "west wall", "east wall"}
    said = next(item.said for item in design.findings if item.code == "no-way")
    for word in (
        "(E -30.00, N 6.00)",
        "supply manifold at",
        "return manifold at",
        "setback of north wall at (E -30.00, N 25.00)",
    ):
        assert word in said
    # Any one of them away, and there is a way.
    for left_out in range(4):
        folder = tmp_path / str(left_out)
        folder.mkdir()
        open_one = planned(site(folder, (-30, 6), *(w for n, w in enumerate(walls) if n != left_out)))
        legal(open_one)
        assert len(open_one.plumbing.lines) == 2


def test_two_walls_about_the_pump_are_named_as_a_pair(tmp_path: Path) -> None:
    ring = [[-70, -20], [-30, -20], [-30, 30], [-70, 30]]
    outer = [[-80, -30], [-15, -30], [-15, 40], [-80, 40]]
    # Open rows that all but close: their setbacks do.
    walls = [
        feature("inner fence", [*ring, [-70, -18]], 3.0),
        feature("outer fence", [*outer, [-80, -28]], 3.0),
    ]
    design = planned(site(tmp_path, (-50, 6), *walls))
    (where, other) = design.plumbing.unreached
    assert not where.alone
    assert {name for name, _ in where.closed_by} == {"inner fence", "outer fence"}
    assert where.closed_by == other.closed_by


def test_a_pump_in_the_midst_of_the_runs(tmp_path: Path) -> None:
    tank = feature("tank", box(47, 7, 53, 13), 1.0, "tank") + "inside = true\n"
    outline = "[[0, 0], [100, 0], [100, 20], [0, 20]]"
    design = planned(site(tmp_path, (50, 10), tank, outline=outline))
    assert design.plumbing.lines == ()
    assert {name for item in design.plumbing.unreached for name, _ in item.closed_by} == {"the bed"}
    assert "the bed at (E 50.00, N 10.00) closes every way" in next(
        item.said for item in design.findings if item.code == "no-way"
    )


def test_a_gap_too_narrow_for_the_usual_trench(tmp_path: Path) -> None:
    """Half a foot between two setbacks: the pipes lie nearer together, and go through."""
    south = feature("barn", box(-40, -60, -16, -4), 10.0)
    north = feature("house", box(-40, 16.5, -16, 90), 10.0)
    design = planned(site(tmp_path, (-60, 6), south, north))
    legal(design)
    assert failed(design) == set()
    for line in design.plumbing.lines:
        assert line.line.length < 66 * FOOT


def test_a_pump_within_the_setback_of_a_house_leaves_it_at_once(tmp_path: Path) -> None:
    house = feature("house", box(-58, 10, -30, 40), 10.0)
    design = planned(site(tmp_path, (-60, 6), house))
    said = next(item.said for item in design.findings if item.code == "line-in-setback")
    assert "within the setback of house" in said
    shape = design.site.features[0].shape
    # By the straight way to the edge of the setback, and never back into it.
    out = (10 - math.hypot(2, 4)) * FOOT
    for line in design.plumbing.lines:
        within = line.line.intersection(shape.buffer(10 * FOOT - 2e-3, quad_segs=64))
        assert within.geom_type == "LineString"
        assert within.length < out + 0.35
    assert failed(design) == set()


def test_without_a_pump_there_is_nothing_to_lay(tmp_path: Path) -> None:
    path = site(tmp_path, (0, 0))
    path.write_text(path.read_text(encoding="utf-8").split("[pump]")[0], encoding="utf-8")
    design = planned(path)
    assert design.plumbing.lines == ()
    assert design.plumbing.unreached == ()
    assert not any(
        "line" in check.name and "manifold" in check.name
        for check in route_checks(design.site, design.plumbing)
    )


def test_the_serpentine_example_leads_its_lines_round_two_corners() -> None:
    design = planned(EXAMPLE)
    legal(design)
    dwelling = next(item for item in design.site.features if item.name == "dwelling").shape
    corners = [Point(at) for at in dwelling.exterior.coords[:-1]]
    supply = design.plumbing.lines[0].line
    bends = shapely.points(shapely.get_coordinates(supply)[1:-1])
    rounded = {
        number
        for number, corner in enumerate(corners)
        if np.any(np.abs(shapely.distance(corner, bends) - 10 * FOOT) < 0.02 * 10 * FOOT + 1e-3)
    }
    assert len(rounded) == 2


def test_layout_and_takeoff_count_the_same_elbows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    dwelling = feature("dwelling", box(-40, -20, -16, 30), 10.0)
    path = site(tmp_path, (-60, 6), dwelling)
    done = Command(monkeypatch, capsys)("plan", path)
    assert (done.code, done.err) == (0, "")
    layout = json.loads((tmp_path / "plan" / "layout.json").read_text(encoding="utf-8"))
    counted = {row["item"]: row["net"] for row in layout["takeoff"]}
    for kind, on in itertools.product(("elbow 90", "elbow 45", "elbow 22.5"), ("supply", "return")):
        placed = [item for item in layout["fittings"] if (item["kind"], item["on"]) == (kind, on)]
        assert counted.get(f"{on} {kind}", 0) == len(placed)
    assert any(item["of"] == "line" for item in layout["fittings"])
    for line in layout["lines"]:
        assert line["length"] == pytest.approx(LineString(line["points"]).length, rel=1e-9)
    assert layout["unreached"] == []


# --- by hand --------------------------------------------------------------------------------------------


def by_hand(*, zones: int = 1) -> tuple[Plumbing, Polygon]:
    """A bed of 30 × 4 m a zone, its manifolds just west of its west end."""
    manifolds: list[Pipe] = []
    risers: list[Riser] = []
    for zone in range(1, zones + 1):
        low = 5.0 * (zone - 1)
        for kind, x in (("supply", -0.3), ("return", -0.6)):
            ends = [(x, low + 0.5), (x, low + 3.5)]
            line = LineString(ends if kind == "supply" else ends[::-1])
            manifolds.append(Pipe(kind=kind, line=line, diameter=0.025, zone=zone))  # type: ignore[arg-type]
            risers += [
                Riser(kind=kind, lateral="L1", line=LineString([at, (0.3, at[1])]), zone=zone)  # type: ignore[arg-type]
                for at in ends
            ]
    top = 5.0 * zones - 1.0
    return Plumbing(manifolds=tuple(manifolds), risers=tuple(risers), lines=()), shapely.box(0, 0, 30, top)


def test_lines_of_several_zones_share_a_trench_and_do_not_cross() -> None:
    plumbing, outline = by_hand(zones=3)
    house = Feature(name="house", kind=FeatureKind.BUILDING, shape=shapely.box(-20, -3, -10, 60), setback=2.0)
    laid = route_lines(plumbing, pump=Pump(at=(-30.0, 5.0)), features=[house], outline=outline)
    assert [(pipe.kind, pipe.zone) for pipe in laid.lines] == [
        (pipe.kind, pipe.zone) for pipe in laid.manifolds
    ]
    lines = [pipe.line for pipe in laid.lines]
    for one, other in itertools.combinations(lines, 2):
        met = one.intersection(other).difference(Point(-30.0, 5.0).buffer(1e-6))
        assert met.is_empty
    for line in lines:
        assert line.distance(house.shape) >= 2.0
        assert line.disjoint(outline)
    assert max(trench.pipes for trench in laid.trenches) == 6
    dug = sum(trench.line.length for trench in laid.trenches)
    assert dug < 0.4 * sum(line.length for line in lines)


@pytest.mark.parametrize("pump", [(-3.0, -6.0), (-6.0, 25.0)])
def test_lines_of_middle_zones_lead_past_the_manifolds_of_their_neighbours(pump: XY) -> None:
    """The pump stands at one end of a row of zones: lines of the others pass the manifolds between, and cross none."""
    plumbing, outline = by_hand(zones=4)
    laid = route_lines(plumbing, pump=Pump(at=pump), features=[], outline=outline)
    assert len(laid.lines) == 8
    for line, own in zip(laid.lines, laid.manifolds, strict=True):
        assert math.dist(line.far, own.feed) < 1e-6
        for other in laid.manifolds:
            if other.zone != own.zone:
                assert line.line.distance(other.line) >= 0.9 * PASSING, (own.zone, other.zone)


def test_a_pump_on_the_end_of_a_manifold_needs_no_line_to_it() -> None:
    plumbing, outline = by_hand()
    laid = route_lines(plumbing, pump=Pump(at=(-0.3, 0.5)), features=[], outline=outline)
    assert [pipe.kind for pipe in laid.lines] == ["return"]
    assert laid.unreached == ()


def test_routing_says_the_same_twice() -> None:
    plumbing, outline = by_hand(zones=2)
    one, other = (
        route_lines(plumbing, pump=Pump(at=(-9.0, 14.0)), features=[], outline=outline) for _ in range(2)
    )
    assert [pipe.line.wkb for pipe in one.lines] == [pipe.line.wkb for pipe in other.lines]
    assert one.fittings == other.fittings


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_lines_are_legal_whatever_stands_about(seed: int) -> None:
    plumbing, outline = by_hand()
    rng = np.random.default_rng(seed)
    features = []
    for number in range(int(rng.integers(1, 6))):
        at = rng.uniform((-28, -12), (-6, 16))
        shape = (
            LineString([at, at + rng.uniform(-6, 6, 2)])
            if number % 2
            else Point(at).buffer(rng.uniform(0.5, 3), quad_segs=4)
        )
        features.append(
            Feature(name=f"f{number}", kind=FeatureKind.OTHER, shape=shape, setback=float(rng.uniform(0, 3)))
        )
    pump = Pump(at=(-34.0, float(rng.uniform(-8, 12))))
    laid = route_lines(plumbing, pump=pump, features=features, outline=outline)
    assert len(laid.lines) + len(laid.unreached) == 2
    for pipe in laid.lines:
        ends = shapely.points([pipe.line.coords[0], pipe.line.coords[-1]])
        for item in features:
            stands = float(np.min(shapely.distance(ends, item.shape)))
            assert pipe.line.distance(item.shape) >= min(item.setback, stands - 2e-3) - 1e-3
        assert pipe.line.disjoint(outline)


# to the micrometre: coordinates of 1e-300 have the geometry engine divide by zero, and no survey has them
SURVEYED = st.floats(-20, 20).map(lambda value: round(value, 6))


@given(
    st.lists(st.tuples(SURVEYED, SURVEYED), min_size=3, max_size=8, unique=True),
    st.floats(0.05, 8),
    st.sampled_from(["point", "line", "area"]),
)
@settings(max_examples=60, deadline=None)
def test_a_grown_shape_holds_its_zone_and_little_more(
    points: list[tuple[float, float]], distance: float, kind: str
) -> None:
    shape = {
        "point": Point(points[0]),
        "line": LineString(points),
        "area": shapely.MultiPoint(points).convex_hull.buffer(0.5),
    }[kind]
    zone = grown(shape, distance)
    assert shape.distance(zone.boundary) >= distance
    beyond = shapely.distance(shape, shapely.points(shapely.get_coordinates(zone))).max()
    assert beyond <= max(1.0197 * distance, distance + 0.15)
