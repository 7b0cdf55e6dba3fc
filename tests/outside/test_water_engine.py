"""Whole beds against an independent engine for pipe networks: pressures and flows within 0.1 %, in dose and flush.

The engine knows no compensating emitters, so it is given what they take; it finds heads and flows in all pipes by
itself. It is installed where it has wheels; elsewhere these checks are left out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layout.hydraulics.network import Heights, zone_network
from layout.hydraulics.solve import Network, Solution, solve
from layout.model import Design, WaterState
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.sheets.inp import network_makers
from layout.units import FOOT
from tests.examples import NAMES, Example
from tests.networks import ReferenceBed, with_head

pytest.importorskip("epanet.toolkit", reason="the independent engine has no wheel for this platform")

from tests.oracle import ENGINE_GRAVITY, run, run_file

RECTANGLE = Path(__file__).resolve().parents[1] / "sites" / "rectangle.toml"


def levels_of(design: Design) -> Heights:
    """Levels of the design's ground, that of the liquid where there are none."""
    from layout.hydraulics.field import ground_levels
    from layout.terrain import heights

    levels = design.site.bed.levels
    return ground_levels(design, None if levels is None else lambda points: heights(levels, points))[0]


def compared(network: Network, folder: Path) -> tuple[float, float, Solution]:
    """Worst difference of pressure heads over the greatest, of flows over the greatest."""
    found = solve(network)
    read = run(network, found, folder)
    assert read.relative_error < 1e-6
    used = ~np.isnan(read.heads)
    pressures = (found.heads - network.levels)[used]
    off = float(np.abs(read.heads - found.heads)[used].max())
    flows = float(np.abs(read.flows - found.flows).max())
    return off / float(np.abs(pressures).max()), flows / float(np.abs(found.flows).max()), found


@pytest.mark.parametrize("slope", [0.0, 0.05, -0.05])
def test_the_reference_bed_dosed_and_flushed(slope: float, tmp_path: Path) -> None:
    for open_return, most in ((False, 1e-5), (True, 5e-3)):
        bed = ReferenceBed(along=slope, open_return=open_return)
        network = replace(bed.network, pump=None, curve=None, gravity=ENGINE_GRAVITY)
        network = with_head(network, bed.source, 110.0 * FOOT)
        if bed.valve is not None:
            network = with_head(network, bed.valve, 70.0 * FOOT)
        found = solve(network)
        read = run(network, found, tmp_path)
        assert float(np.nanmax(np.abs(read.heads - found.heads))) / FOOT < most


@pytest.mark.parametrize("name", NAMES)
def test_the_examples_dosed_and_flushed(name: str, tmp_path: Path, example: Callable[[str], Example]) -> None:
    dosed_and_flushed(example(name).design, tmp_path)


def test_zones_on_a_trunk(tmp_path: Path) -> None:
    """Three zones, fed at one end of the bed and drained at the other, each by its way along both trunks."""
    settings = [
        'zones.lines="trunk"',
        "zones.count=3",
        "runs.pattern=left",
        "laterals.runs=1",
        "runs.spacing=1.0",
        "pump.at=[-30, 6]",
        "pump.level=90",
        "bed.clearance=1.5",
        "design.flush_velocity=1.0",
        "tubing.inside_diameter=0.55",
    ]
    dosed_and_flushed(plan_field(read_site(RECTANGLE, settings)), tmp_path)


def dosed_and_flushed(design: Design, tmp_path: Path) -> None:
    assert design.hydraulics is not None
    for zone, water in zip(design.zones, design.hydraulics.zones, strict=True):
        for open_return, state in ((False, water.dose), (True, water.flush)):
            bed = zone_network(design, zone, levels_of(design), open_return=open_return)
            assert state is not None
            level = float(bed.network.levels[bed.tank])
            if open_return:
                assert state.valve_head is not None
                bed = bed.backed_by(level + state.valve_head)
            behind_filters = state.head - (design.site.design.filter_loss or 0.0)
            pressures, flows, found = compared(bed.fed_at(level + behind_filters), tmp_path)
            assert pressures < 1e-3
            assert flows < 1e-3
            for valve in state.valves:  # what a gauge before each reads, over the ground there
                assert bed.points is not None
                feed = int(np.argmin(np.hypot(*(bed.points - valve.at).T)))
                over = float(found.heads[feed] - levels_of(design)(np.array([valve.at]))[0])
                assert valve.before == pytest.approx(over, abs=1e-3)
                assert valve.behind == pytest.approx(over - (state.valve_head or 0.0), abs=1e-3)
            # and it is the very state that is reported
            assert bed.given(found) == pytest.approx(state.flow, rel=1e-6)
            assert float(bed.pressures(found).min()) == pytest.approx(state.least.head, rel=1e-6)
    networks_agree(design, tmp_path)


def agrees(design: Design, state: WaterState, path: Path, folder: Path) -> None:
    """The engine, reading the file, has the flow at the pump and the pressure at every emitter within 0.1 %."""
    read = run_file(path, folder)
    assert read.relative_error < 1e-4
    units = design.site.frame.units
    metric = units.word == "m"
    foot = 1.0 if metric else FOOT
    pump = "PUMP" if "PUMP" in read.flows else None
    given = read.flows["PUMP"] if pump else -read.emitted["PUMP-OUT"]
    assert given == pytest.approx(state.flow / units.flow, rel=1e-3)
    heads = {
        f"{run.run}.{number}": (head, flow)
        for run in state.runs
        for number, (head, flow) in enumerate(zip(run.heads, run.flows, strict=True), start=1)
    }
    assert len(heads) == sum(len(run.heads) for run in state.runs) > 0
    most = max(head for head, _ in heads.values())
    off = max(abs((read.heads[name] - read.levels[name]) * foot - head) for name, (head, _) in heads.items())
    assert off < 1e-3 * most
    for name, (_, flow) in heads.items():
        assert read.emitted[name] * units.flow == pytest.approx(flow, rel=1e-3)
    valves = [name for name in read.flows if name.startswith("SET-VALVE")]
    assert len(valves) == (max(len(state.valves), 1) if state.valve_loss is not None else 0)
    for number, valve in enumerate(
        state.valves, start=1
    ):  # each at its manifold, with what gauges there read
        before, behind = f"FLUSH-VALVE-{number}", f"BEHIND-VALVE-{number}"
        ends = (read.heads[name] - read.levels[name] for name in (before, behind))
        assert [head * foot for head in ends] == pytest.approx([valve.before, valve.behind], abs=1e-3 * most)
    back = sum(read.flows[name] for name in valves)
    if valves:
        through = state.flow - sum(flow for _, flow in heads.values())
        assert back * units.flow == pytest.approx(through, rel=1e-3)


def networks_agree(design: Design, folder: Path) -> None:
    """The engine agrees with the plan on every network that is written."""
    assert design.hydraulics is not None
    makers = network_makers(design)
    states = [
        state for zone in design.hydraulics.zones for state in (zone.dose, zone.flush) if state is not None
    ]
    assert len(makers) == len(states) >= 2 * len(design.zones)
    for (file, make), state in zip(makers, states, strict=True):
        make(folder / file)
        agrees(design, state, folder / file, folder)


SITE = """
title = "[PIPES] not a section; a title"
units = "{units}"
[bed]
outline = [[0, 0], [102, 0], [102, 12], [0, 12]]
levels = [[0, 0, 1.0], [102, 0, 3.0], [102, 12, 4.0], [0, 12, 2.0]]
[tubing]
emitter_spacing = 2.0
emitter_flow = 0.61
inside_diameter = {bore}
{tubing}
[runs]
spacing = 2.0
pattern = "left"
[pump]
at = [-20, 6]
level = -5.0
{curve}
[design]
flush_velocity = {velocity}
{design}
"""
FEET = {"units": "ft", "bore": 0.55, "velocity": 2.0}
CURVES = (
    "",
    "curve = [[0, 120], [6, 100], [12, 50]]",  # a power curve through three points
    "curve = [[0, 120], [30, 40]]",
    "curve = [[0, 120], [6, 80], [12, 50]]",  # three points that bend the other way: straight from pair to pair
    "curve = [[0, 120], [4, 110], [10, 80], [20, 30]]",
)
PLAIN = "compensating = false\nemitter_pressure = 15.0\nemitter_exponent = 0.5\npressure_range = [5.0, 60.0]"


@pytest.mark.parametrize(
    ("keys", "curve", "tubing", "design"),
    [
        *((FEET, curve, "", "") for curve in CURVES),
        (FEET, CURVES[1], PLAIN, ""),
        (FEET, "", PLAIN, ""),
        (FEET, CURVES[1], "", 'friction = "hazen-williams"\nsmoothness = 150.0'),
        (FEET, CURVES[4], "", "filter_loss = 4.0\nwater_temperature = 40.0"),
        (FEET, "", "", "filter_loss = 4.0"),
        ({"units": "m", "bore": 14.0, "velocity": 0.6}, "curve = [[0, 60], [40, 50], [80, 20]]", "", ""),
        ({"units": "us-ft", "bore": 0.55, "velocity": 2.0}, CURVES[2], "", ""),
    ],
)
def test_the_engine_reads_every_kind_of_network(
    keys: dict[str, object], curve: str, tubing: str, design: str, tmp_path: Path
) -> None:
    path = tmp_path / "site.toml"
    path.write_text(SITE.format(**keys, curve=curve, tubing=tubing, design=design), encoding="utf-8")
    field = plan_field(read_site(path))
    assert field.hydraulics is not None
    water = field.hydraulics.zones[0]
    makers = network_makers(field)
    assert [file for file, _ in makers] == ["network-dosing.inp", "network-flushing.inp"]
    for (file, make), state in zip(makers, (water.dose, water.flush), strict=True):
        assert state is not None
        make(tmp_path / file)
        agrees(field, state, tmp_path / file, tmp_path)
        first = (tmp_path / file).read_bytes()
        make(tmp_path / file)
        assert (tmp_path / file).read_bytes() == first
        assert max(len(line) for line in first.decode().splitlines()) < 200
