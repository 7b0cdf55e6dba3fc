"""Stakes round the bed: at its corners, and between them where its edge is curved."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LinearRing, LineString, Point, Polygon

from layout.model import Laying, Pattern, Run
from layout.plane import coordinates
from layout.stakes.walk import EDGE_OFF
from tests.fields import curved_field
from tests.staked import site_with, staked


def test_a_round_bed_has_no_corners_but_stakes_round_its_edge() -> None:
    """As many as keep the chord within 0.3 m of the circle: its rise is r (1 - cos of half the angle between)."""
    line = np.array([[-5.0, 0.0], [5.0, 0.0]])
    run = Run(name="R1", line=LineString(line), row=0)
    outline = Polygon(Point(0, 0).buffer(6.0, quad_segs=32))
    bed = staked(site_with(coordinates(outline)), Laying(pattern=Pattern.LEFT, runs=(run,)))
    assert "bed corner" not in {stake["kind"] for stake in bed.paper}
    assert bed.staking is not None
    edge = [stake.at for stake in bed.staking.stakes if stake.kind == "bed edge"]
    least = math.ceil(math.pi / math.acos(1 - EDGE_OFF / 6.0))
    assert least <= len(edge) <= 2 * least
    chords = LinearRing(edge)
    assert shapely.hausdorff_distance(chords, outline.exterior, densify=0.01) <= EDGE_OFF + 0.01


def test_a_bowed_edge_has_stakes_between_its_corners_and_a_straight_one_none() -> None:
    design = curved_field()
    bed = staked(design.site, design.laying, design.plumbing)
    edge = [stake for stake in bed.paper if stake["kind"] in {"bed corner", "bed edge"}]
    assert [stake["description"].rsplit(" ", 1)[0] for stake in edge].count("bed corner") == 4
    assert edge[0]["kind"] == "bed corner"
    assert {stake["kind"] for stake in edge} == {"bed corner", "bed edge"}
