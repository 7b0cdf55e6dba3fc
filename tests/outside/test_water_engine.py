"""Whole beds against an independent engine for pipe networks: pressures and flows within 0.1 %, in dose and flush.

The engine knows no compensating emitters, so it is given what they take; it finds heads and flows in all pipes by
itself. It is installed where it has wheels; elsewhere these checks are left out.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layout.hydraulics.network import Heights, zone_network
from layout.hydraulics.solve import Network, Solution, solve
from layout.model import Design
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.units import FOOT
from tests.networks import ReferenceBed, with_head

pytest.importorskip("epanet.toolkit", reason="the independent engine has no wheel for this platform")

from tests.oracle import ENGINE_GRAVITY, run

ROOT = Path(__file__).resolve().parent.parent.parent
EXAMPLES = ["serpentine", "corner", "hillside", "paddock", "field"]


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


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_dosed_and_flushed(name: str, tmp_path: Path) -> None:
    design = plan_field(read_site(ROOT / "examples" / name / "site.toml"))
    assert design.hydraulics is not None
    for zone, water in zip(design.zones, design.hydraulics.zones, strict=True):
        for open_return, state in ((False, water.dose), (True, water.flush)):
            bed = zone_network(design, zone, levels_of(design), open_return=open_return)
            assert state is not None
            level = float(bed.network.levels[bed.tank])
            if open_return:
                assert state.valve_head is not None
                bed = bed.backed_by(level + state.valve_head)
            pressures, flows, found = compared(bed.fed_at(level + state.head), tmp_path)
            assert pressures < 1e-3
            assert flows < 1e-3
            # and it is the very state that is reported
            assert bed.given(found) == pytest.approx(state.flow, rel=1e-6)
            assert float(bed.pressures(found).min()) == pytest.approx(state.least.head, rel=1e-6)


def test_examples_are_all_there() -> None:
    assert sorted(EXAMPLES) == sorted(path.parent.name for path in (ROOT / "examples").glob("*/site.toml"))
