"""Design checks: each passes on a sound layout, and fails, with its place, on the fault it is there for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from layout.checks import JUDGEMENT, LISTED, design_checks, lateral_findings, row_findings
from layout.checks.laterals import fed
from layout.checks.tubing import loops
from layout.emitters import place_emitters
from layout.laterals import join_runs
from layout.manifolds import lay_plumbing
from layout.model import (
    Bed,
    Check,
    Coverage,
    DesignBasis,
    Dropped,
    Feature,
    FeatureKind,
    Finding,
    Frame,
    Join,
    LateralRules,
    Laying,
    ManifoldRules,
    NoWay,
    Pattern,
    Plumbing,
    Pump,
    Run,
    RunRules,
    Sides,
    Site,
    StakeRules,
    Tubing,
)
from layout.plane import lines_of
from layout.units import GALLON, UNIT_SETS
from layout.usable import usable_ground

FEET = UNIT_SETS["ft"]
FOOT = FEET.length


def site(**changed: object) -> Site:
    """A bed of 100 by 12 ft, in feet, whose south-west corner lies at (1000, 2000)."""
    plain = Site(
        title="Straight bed",
        frame=Frame(units=FEET, origin=(1000.0, 2000.0)),
        bed=Bed(outline=box(0, 0, 100 * FOOT, 12 * FOOT), clearance=FOOT),
        features=(),
        tubing=Tubing(
            emitter_spacing=2 * FOOT,
            emitter_flow=0.6 * FEET.emitter_flow,
            bend_radius=2 * FOOT,
            coil=500 * FOOT,
        ),
        runs=RunRules(
            spacing=2 * FOOT,
            pattern=Pattern.LEFT,
            shortest=10 * FOOT,
            closest=2 * FOOT,
            widest=3 * FOOT,
        ),
        laterals=LateralRules(runs=None, longest=300 * FOOT),
        manifold=ManifoldRules(end="pump", supply_diameter=0.0254, return_diameter=0.0254),
        pump=Pump(at=(-20 * FOOT, 0.0)),
        design=DesignBasis(),
        stakeout=StakeRules(interval=10 * FOOT, tolerance=0.1 * FOOT),
    )
    return replace(plain, **changed)  # type: ignore[arg-type]


def feature(shape: BaseGeometry, setback: float, name: str = "well") -> Feature:
    shape = shapely.transform(shape, lambda points: points * FOOT)
    return Feature(name=name, kind=FeatureKind.OTHER, shape=shape, setback=setback * FOOT)


def six_runs(*, start: float = 1.0, end: float = 99.0) -> list[Run]:
    return [
        Run(name=f"R{n + 1}", line=LineString([(start * FOOT, y * FOOT), (end * FOOT, y * FOOT)]), row=n)
        for n, y in enumerate((11, 9, 7, 5, 3, 1))
    ]


def moved(run: Run, *points: tuple[float, float]) -> Run:
    return replace(run, line=LineString(np.array(points) * FOOT))


GOOD = Coverage(
    covered=1.0,
    dry=1.4 * FOOT,
    dry_at=(0.0, 0.0),
    gap_least=2 * FOOT,
    gap_greatest=2 * FOOT,
    gap_p5=2 * FOOT,
    gap_p95=2 * FOOT,
    bend_least=None,
    bend_at=None,
    clearance_least=FOOT,
)


def checked(
    on: Site,
    runs: Sequence[Run] | None = None,
    *,
    coverage: Coverage = GOOD,
    pattern: Pattern = Pattern.LEFT,
    dropped: Sequence[Dropped] = (),
    lost: Sequence[str] = (),
) -> dict[str, Check]:
    runs = six_runs() if runs is None else runs
    laying = Laying(pattern=pattern, runs=tuple(runs), dropped=tuple(dropped))
    laterals, joins = join_runs(laying, on.laterals, spacing=on.runs.spacing)
    width, end = 12 * FOOT, 100 * FOOT
    sides = Sides(
        left=LineString([(0, width), (end, width)]),
        right=LineString([(0, 0), (end, 0)]),
        near=LineString([(0, width), (0, 0)]),
        far=LineString([(end, width), (end, 0)]),
        centre=LineString([(0, width / 2), (end, width / 2)]),
    )
    plumbing = lay_plumbing(laterals, runs, sides, on.manifold, pump=on.pump, features=on.features)
    without = [plumbing.under(item) for item in plumbing.risers if item.lateral in lost]
    plumbing = replace(
        plumbing,
        unreached=tuple(
            NoWay(kind=pipe.kind, zone=pipe.zone, at=pipe.feed, closed_by=())
            for pipe in without
            if pipe is not None and pipe.kind == "supply"
        ),
    )
    ground = usable_ground(on.bed, on.features)
    checks = design_checks(on, ground, laying, laterals, plumbing, coverage, joins=joins)
    assert len({check.name for check in checks}) == len(checks)
    for check in checks:
        assert check.source
        assert not check.ok or check.place == ""
        assert np.isfinite([check.value, check.limit]).all()
    return {check.name: check for check in checks}


def test_a_sound_layout_passes_all() -> None:
    checks = checked(site(), coverage=replace(GOOD, dry=1.2 * FOOT))
    assert list(checks) == [
        "least clearance to the bed's edge",
        "least distance from loops to other tubing",
        "least gap between runs side by side",
        "places where runs are broken by a bend too tight for the tubing",
        "places where runs cross",
        "shortest run",
        "longest lateral, with loops and leads",
        "share of tubing fed",
        "farthest usable ground from tubing",
        "usable ground within half a spacing of tubing",
        "places where manifolds or risers cross features",
    ]
    assert all(check.ok for check in checks.values())


def test_values_are_those_of_the_layout() -> None:
    checks = checked(site())
    assert checks["least clearance to the bed's edge"].value == pytest.approx(FOOT)
    assert checks["least clearance to the bed's edge"].limit == pytest.approx(0.96 * FOOT)
    assert checks["shortest run"].value == pytest.approx(98 * FOOT)
    assert checks["longest lateral, with loops and leads"].value == pytest.approx(198 * FOOT)
    assert checks["share of tubing fed"].value == 1.0


def test_bends_that_cannot_be_kept_fail_with_their_places() -> None:
    def dropped(x: float, why: str) -> Dropped:
        return Dropped(line=LineString([(x * FOOT, 0), ((x + 2) * FOOT, 0)]), row=1, why=why)

    pieces = [dropped(10, "bends tighter than tubing.bend_radius"), dropped(30, "shorter than runs.shortest")]
    check = checked(site(), dropped=pieces)["places where runs are broken by a bend too tight for the tubing"]
    assert (check.value, check.ok, check.place) == (1.0, False, "at (E 1011.00, N 2000.00)")


def test_even_gaps_are_held_against_the_widest() -> None:
    name = "gap between runs that 95 % of them keep within"
    wide = replace(GOOD, gap_p95=3.2 * FOOT)
    on = site(runs=replace(site().runs, widest=3 * FOOT))
    assert name not in checked(on, coverage=wide)
    assert not checked(on, coverage=wide, pattern=Pattern.EVEN)[name].ok
    assert checked(on, coverage=replace(GOOD, gap_p95=3 * FOOT), pattern=Pattern.EVEN)[name].ok


def test_clearance_fails_where_a_run_comes_too_near() -> None:
    runs = six_runs()
    runs[5] = moved(runs[5], (1, 1), (50, 0.9), (99, 1))
    check = checked(site(), runs)["least clearance to the bed's edge"]
    assert not check.ok
    assert check.value == pytest.approx(0.9 * FOOT)
    assert check.place == "at (E 1050.00, N 2000.90)"


def test_clearance_is_below_nought_outside_the_bed() -> None:
    runs = six_runs()
    runs[5] = moved(runs[5], (1, 1), (50, -3), (99, 1))
    check = checked(site(), runs)["least clearance to the bed's edge"]
    assert not check.ok
    assert check.value == pytest.approx(-3 * FOOT)


def test_clearance_may_be_less_by_a_fiftieth_of_a_spacing() -> None:
    runs = six_runs()
    runs[5] = moved(runs[5], (1, 0.961), (99, 0.961))
    assert checked(site(), runs)["least clearance to the bed's edge"].ok


@pytest.mark.parametrize(("setback", "ok"), [(8.0, True), (8.001, False), (3.0, True)])
def test_setbacks_are_exact(setback: float, ok: bool) -> None:
    check = checked(site(features=(feature(Point(50, 19), setback),)))["distance to well"]
    assert check.ok is ok
    assert check.value == pytest.approx(8 * FOOT)
    assert check.limit == pytest.approx(setback * FOOT)
    assert check.place == ("" if ok else check.place)


def test_a_setback_holds_for_loops_too() -> None:
    check = checked(site(features=(feature(Point(100, 10), 1.2),)))["distance to well"]
    assert not check.ok
    assert check.value == pytest.approx(FOOT)


def test_tubing_inside_an_area_without_setback_fails() -> None:
    assert not checked(site(features=(feature(box(40, 4, 60, 6), 0.0, "tank"),)))["distance to tank"].ok
    # To touch its edge is as near as it may come.
    assert checked(site(features=(feature(box(40, 5, 60, 6), 0.0, "tank"),)))["distance to tank"].ok


def test_many_features_share_one_check() -> None:
    wells = tuple(feature(Point(3 * n, 40 + n), 20.0, f"well {n}") for n in range(LISTED + 5))
    checks = checked(site(features=wells))
    named = [name for name in checks if name.startswith("distance to well")]
    assert named == [f"distance to well {n}" for n in range(LISTED)]
    rest = checks["distance beyond the setbacks of 5 more features"]
    assert rest.ok
    assert rest.value == pytest.approx((40 + LISTED - 11 - 20) * FOOT)


def test_gap_and_bend_fail_below_their_shares() -> None:
    coverage = replace(GOOD, gap_least=1.95 * FOOT, bend_least=1.89 * FOOT, bend_at=(FOOT, FOOT))
    runs = six_runs()
    runs[1] = moved(runs[1], (1, 9.05), (99, 9.05))
    checks = checked(site(), runs, coverage=coverage)
    gap, bend = checks["least gap between runs side by side"], checks["tightest bend of a run"]
    assert not gap.ok
    assert gap.limit == pytest.approx(1.96 * FOOT)
    assert gap.place.startswith("R1 and R2 at (")
    assert gap.source.startswith("runs.spacing")
    assert not bend.ok
    assert bend.place == "at (E 1001.00, N 2001.00)"
    fine = replace(GOOD, gap_least=1.961 * FOOT, bend_least=1.901 * FOOT, bend_at=(0, 0))
    checks = checked(site(), coverage=fine)
    assert checks["least gap between runs side by side"].ok
    assert checks["tightest bend of a run"].ok


def test_the_even_pattern_is_held_to_its_own_least_gap() -> None:
    on = site(runs=replace(site().runs, closest=1.5 * FOOT))
    coverage = replace(GOOD, gap_least=1.48 * FOOT)
    check = checked(on, coverage=coverage, pattern=Pattern.EVEN)["least gap between runs side by side"]
    assert check.ok
    assert check.source.startswith("runs.closest")
    assert not checked(on, coverage=coverage)["least gap between runs side by side"].ok


def test_crossing_runs_are_counted() -> None:
    runs = six_runs()
    runs[1] = moved(runs[1], (1, 9), (50, 6.5), (99, 9))
    check = checked(site(), runs)["places where runs cross"]
    assert not check.ok
    assert check.value == 1
    assert "R2 and R3 at (" in check.place


def test_a_run_that_crosses_itself_is_counted() -> None:
    runs = six_runs()
    runs[5] = moved(runs[5], (1, 1), (50, 1), (50, 2), (40, 2), (40, 0.5), (99, 0.5))
    check = checked(site(), runs)["places where runs cross"]
    assert check.value == 1
    assert check.place == "R6 and itself at (E 1040.00, N 2001.00)"


def test_a_short_run_fails() -> None:
    runs = [*six_runs()[:5], moved(six_runs()[5], (1, 1), (10.9, 1))]
    check = checked(site(), runs)["shortest run"]
    assert not check.ok
    assert check.place == "R6 at (E 1001.00, N 2001.00)"


def test_laterals_longer_than_the_longest_are_named() -> None:
    check = checked(site(laterals=LateralRules(runs=2, longest=197 * FOOT)))[
        "longest lateral, with loops and leads"
    ]
    assert not check.ok
    assert check.place == (
        "L1 from (E 1001.00, N 2011.00), L2 from (E 1001.00, N 2007.00), L3 from (E 1001.00, N 2003.00)"
    )


def test_a_loop_right_beside_other_tubing_fails_with_its_place() -> None:
    runs = six_runs()
    one = Join(kind="loop", start="R1", end="R2", line=LineString(np.array([(99, 11), (99, 9)]) * FOOT))
    long = Join(kind="loop", start="R2", end="R3", line=LineString(np.array([(1, 9), (1, 6.9)]) * FOOT))
    stray = replace(long, line=LineString(np.array([(1, 9), (1, 5.1), (1.5, 5.1), (1.5, 7)]) * FOOT))
    (good,) = loops(site(), runs, [one, long])
    assert good.ok
    assert good.value == pytest.approx(1.9 * FOOT)
    (bad,) = loops(site(), runs, [one, stray])
    assert not bad.ok
    assert bad.value == pytest.approx(0.1 * FOOT)
    assert bad.place.startswith("the loop from R2 to R3 and R4 at (E 100")
    assert not list(loops(site(), runs, []))


def test_tubing_is_fed_from_a_manifold_that_a_line_reaches() -> None:
    """R6 begins amid the bed, so that it has a supply manifold of its own, at whichever end."""
    runs = six_runs()
    runs[5] = replace(moved(runs[5], (40, 1), (60, 1)), from_end=False)
    assert checked(site(), runs)["share of tubing fed"].ok
    check = checked(site(), runs, lost=["L3"])["share of tubing fed"]
    assert not check.ok
    assert check.value == pytest.approx(5 * 98 / (5 * 98 + 20))
    assert check.place == "L3, R6, at (E 1040.00, N 2001.00)"
    # What has no riser at its supply end is not fed either.
    laying = Laying(pattern=Pattern.LEFT, runs=tuple(runs))
    laterals, _ = join_runs(laying, site().laterals, spacing=2 * FOOT)
    assert fed(site(), laterals, Plumbing(manifolds=(), risers=(), lines=())).value == 0


def test_what_makes_a_lateral_too_long_is_told_with_a_remedy() -> None:
    runs = six_runs()
    laying = Laying(pattern=Pattern.LEFT, runs=tuple(runs))

    def told(longest: float, wanted: int | None) -> list[Finding]:
        on = site(laterals=LateralRules(runs=wanted, longest=longest * FOOT))
        laterals, _ = join_runs(laying, on.laterals, spacing=2 * FOOT)
        return list(lateral_findings(on, laterals, runs))

    assert told(300, None) == []
    (alone,) = told(90, None)
    assert alone.code == "long-run"
    assert "R1 R2 R3 R4 R5 R6, up to 98.00 ft" in alone.said
    (asked,) = told(197, 2)
    assert asked.said.startswith("L1 L2 L3: 2 runs joined, as laterals.runs asks")
    assert "laterals.runs" in asked.remedy


def test_dry_and_bare_ground_fail_by_judgement() -> None:
    checks = checked(
        site(), coverage=replace(GOOD, covered=0.97, dry=1.3 * FOOT, dry_at=(3 * FOOT, 4 * FOOT))
    )
    dry, bare = (
        checks["farthest usable ground from tubing"],
        checks["usable ground within half a spacing of tubing"],
    )
    assert not dry.ok
    assert dry.place == "at (E 1003.00, N 2004.00)"
    assert not bare.ok
    assert JUDGEMENT in dry.source
    assert JUDGEMENT in bare.source


@pytest.mark.parametrize(("flow", "ok"), [(588.0, True), (589.0, False)])
def test_loading_is_flow_over_usable_ground(flow: float, ok: bool) -> None:
    # Usable ground of 98 by 10 ft at 0.6 gal/ft2/day takes 588 gal/day.
    design = DesignBasis(flow=flow * FEET.daily_flow, loading=0.6 * FEET.loading)
    check = checked(site(design=design))["loading of the usable ground"]
    assert check.ok is ok
    assert check.value / FEET.loading == pytest.approx(flow / 980)
    assert FEET.daily_flow == pytest.approx(GALLON / 86400)


def test_loading_is_left_out_where_not_stated() -> None:
    assert "loading of the usable ground" not in checked(site(design=DesignBasis(flow=1e-5)))


def test_what_pipes_cross_is_counted_and_placed() -> None:
    drive = feature(LineString([(-10, 6), (0.5, 6)]), 0.0, "drive")
    check = checked(site(features=(drive,)))["places where manifolds or risers cross features"]
    assert not check.ok
    assert check.value == 2
    assert check.place.startswith("drive at (E 1000.0")


def test_one_run_alone_has_no_gap() -> None:
    coverage = replace(GOOD, gap_least=None, gap_greatest=None, gap_p5=None, gap_p95=None)
    assert "least gap between runs side by side" not in checked(site(), six_runs()[:1], coverage=coverage)


def test_no_plumbing_crosses_nothing() -> None:
    runs = tuple(six_runs())
    laying = Laying(pattern=Pattern.LEFT, runs=runs)
    laterals, _ = join_runs(laying, site().laterals, spacing=0.6)
    ground = usable_ground(site().bed, ())
    checks = design_checks(
        site(), ground, laying, laterals, Plumbing(manifolds=(), risers=(), lines=()), GOOD
    )
    assert checks[-1].ok
    assert checks[-1].value == 0


@given(x=st.floats(-20, 120), y=st.floats(-20, 32), setback=st.floats(0.1, 15))
@settings(max_examples=40, deadline=None)
def test_runs_cut_to_the_usable_ground_keep_every_setback(x: float, y: float, setback: float) -> None:
    on = site(features=(feature(Point(x, y), setback),))
    zone = usable_ground(on.bed, on.features).kept_clear
    runs: list[Run] = []
    for run in six_runs():
        for piece in lines_of(run.line.difference(zone)):
            runs.append(
                Run(
                    name=f"R{len(runs) + 1}",
                    line=piece,
                    row=run.row,
                    from_end=piece.coords[0][0] < FOOT * 1.01,
                )
            )
    laying = Laying(pattern=Pattern.LEFT, runs=tuple(runs))
    laterals, joins = join_runs(laying, on.laterals, spacing=2 * FOOT, bed=on.bed, kept_clear=zone)
    ground = usable_ground(on.bed, on.features)
    checks = design_checks(
        on, ground, laying, laterals, Plumbing(manifolds=(), risers=(), lines=()), GOOD, joins=joins
    )
    named = {check.name: check for check in checks}
    assert named["distance to well"].ok
    assert named["least clearance to the bed's edge"].ok


def test_tubing_in_a_building_given_as_an_open_row_fails() -> None:
    """Six runs, each 30 ft within the house."""
    row = [(30 * FOOT, -5), (60 * FOOT, -5), (60 * FOOT, 20), (30 * FOOT, 20)]
    house = Feature(name="house", kind=FeatureKind.BUILDING, shape=LineString(row), setback=0.0)
    name = "tubing within buildings, tanks or water whose points are not closed"
    check = checked(site(features=(house,)))[name]
    assert not check.ok
    assert check.value == pytest.approx(6 * 30 * FOOT, abs=0.1)
    assert (check.limit, check.sense, check.source) == (0.0, "most", "feature.shape")
    assert check.place.startswith("house at (")
    laying = Laying(pattern=Pattern.LEFT, runs=tuple(six_runs()))
    (finding,) = row_findings(site(features=(house,)), laying, ())
    assert "house (building) is read as a line" in finding.said
    assert "first point" in finding.remedy
    # of the same points, a hedge may be a line; beside the bed, a house is none
    hedge = replace(house, kind=FeatureKind.OTHER)
    assert name not in checked(site(features=(hedge,)))
    beside = replace(house, shape=LineString([(x, y - 40) for x, y in row]))
    assert checked(site(features=(beside,)))[name].ok
    assert list(row_findings(site(features=(beside,)), laying, ())) == []
    crossed = replace(house, shape=LineString([row[0], row[2], row[1], row[3]]))
    assert not checked(site(features=(crossed,)))[name].ok
    in_line = replace(house, shape=LineString([(30 * FOOT, 0.1), (40 * FOOT, 0.1), (60 * FOOT, 0.1)]))
    assert checked(site(features=(in_line,)))[name].ok


def test_runs_without_an_emitter_fail_with_their_names() -> None:
    on, runs = site(), six_runs()
    laying = Laying(pattern=Pattern.LEFT, runs=tuple(runs))
    laterals, _ = join_runs(laying, on.laterals, spacing=on.runs.spacing)
    emitters = [place_emitters(run, on.tubing) for run in runs]
    emitters[2] = replace(emitters[2], points=())
    ground = usable_ground(on.bed, on.features)
    pipes = Plumbing(manifolds=(), risers=(), lines=())
    found = {
        check.name: check
        for check in design_checks(on, ground, laying, laterals, pipes, GOOD, emitters=emitters)
    }
    check = found["runs without an emitter"]
    assert (check.value, check.ok) == (1.0, False)
    assert check.place.startswith(runs[2].name)
