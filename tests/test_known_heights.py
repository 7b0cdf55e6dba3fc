"""Heights of what is laid: known between the surveyed levels, told to be unknown beyond them."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString

from layout.model import Design, Levels
from layout.terrain import height_findings, known_heights
from layout.units import FOOT
from tests.fields import curved_field


def with_levels(design: Design, levels: Levels | None) -> Design:
    return replace(design, site=replace(design.site, bed=replace(design.site.bed, levels=levels)))


def found(design: Design) -> list[str]:
    findings = height_findings(design.site, design.laying, design.joins, design.plumbing)
    return [finding.said for finding in findings]


def square(half: float, at: tuple[float, float] = (0.0, 0.0)) -> Levels:
    x, y = at
    return Levels(points=tuple((x + a * half, y + b * half, 10.0 + a) for a in (-1, 1) for b in (-1, 1)))


def test_heights_lie_on_the_triangles_and_nowhere_else() -> None:
    points = np.array([[0.0, 0.0], [4.0, 3.0], [6.0, 0.0], [-5.0, 5.0]])
    assert known_heights(square(5.0), points) == [10.0, 10.8, None, 9.0]
    assert known_heights(None, points) == [None] * 4
    assert known_heights(Levels(uniform=3.0), points) == [3.0] * 4
    assert known_heights(square(5.0), np.empty((0, 2))) == []


def test_what_lies_beyond_is_named() -> None:
    design = curved_field()
    middle = design.site.bed.outline.centroid.coords[0]
    assert found(with_levels(design, square(1e4, middle))) == []
    assert found(with_levels(design, None)) == []
    assert found(with_levels(design, Levels(uniform=3.0))) == []
    said = found(with_levels(design, square(9.0, middle)))
    assert len(said) == 1
    assert "beyond the surveyed levels: " in said[0]
    assert design.laying.runs[0].name in said[0]


def test_a_piece_of_a_trunk_is_named_so() -> None:
    design = curved_field()
    laid = replace(design, laying=replace(design.laying, runs=()), joins=())
    shared = tuple(replace(line, zone=0) for line in design.plumbing.lines)
    laid = replace(laid, plumbing=replace(design.plumbing, manifolds=(), lines=shared))
    (said,) = found(with_levels(laid, square(5.0, (1e5, 1e5))))
    kinds = dict.fromkeys(line.kind for line in shared)
    assert said.endswith(f": {', '.join(f'{kind} trunk' for kind in kinds)}.")


def test_all_beyond() -> None:
    design = curved_field()
    said = found(with_levels(design, square(5.0, (1e5, 1e5))))
    laid = [*design.laying.runs, *design.joins, *design.plumbing.manifolds, *design.plumbing.lines]
    total = f"{sum(item.line.length for item in laid) / FOOT:,.0f}"
    assert len(said) == 1
    assert f"not known under {total} of {total} ft laid" in said[0]
    assert " more." in said[0]


def test_the_share_without_heights_is_one_of_length_however_few_points_a_line_has() -> None:
    """A straight run of two points, half of it on surveyed ground: half of its length is told, not all points."""
    design = curved_field()
    run = replace(design.laying.runs[0], line=LineString([(0.0, 0.0), (200.0 * FOOT, 0.0)]))
    straight = replace(
        design,
        laying=replace(design.laying, runs=(run,)),
        joins=(),
        plumbing=replace(design.plumbing, manifolds=(), lines=()),
    )
    (said,) = found(with_levels(straight, square(100.0 * FOOT)))
    unknown = re.search(r"not known under (\d+) of 200 ft laid", said)
    assert unknown is not None
    assert int(unknown[1]) == pytest.approx(100, abs=1)
