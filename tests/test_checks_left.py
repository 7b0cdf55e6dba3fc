"""What checks say of ground left bare and pieces left out."""

from __future__ import annotations

from dataclasses import replace

from shapely import LineString, box

from layout.checks.left import LISTED_BARE, LISTED_PIECES, bare_findings, left_out_findings
from layout.checks.runs import _tightest_gap
from layout.model import (
    Dropped,
)
from tests.test_checks import site, six_runs


def test_of_many_bare_places_the_largest_are_named_and_the_rest_added_up() -> None:
    """Places of 10, 9, ... m²; those under half a square of the spacing are not worth a line."""
    bare = [box(20 * n, 0, 20 * n + 10 - n, 1) for n in range(10)]
    here = site()
    found = list(bare_findings(here, bare, gap=0.6))
    spacing = here.runs.spacing
    told = [place for place in bare if place.area > spacing**2 / 2]
    assert len(found) == LISTED_BARE + 1
    assert found[0].said.startswith(
        f"{10 / here.frame.units.area:.1f} {here.frame.units.area_name} of usable ground"
    )
    rest = sum(place.area for place in told[LISTED_BARE:]) / here.frame.units.area
    assert (
        f"{rest:.1f} {here.frame.units.area_name} of usable ground in {len(told) - LISTED_BARE}"
        in found[-1].said
    )
    assert list(bare_findings(here, [box(0, 0, spacing / 2, spacing)], gap=0.6)) == []


def test_of_many_pieces_left_out_the_longest_are_named_and_the_rest_by_their_reason() -> None:
    pieces = [
        Dropped(line=LineString([(0, n), (1 + n, n)]), row=n, why=("too short", "too near")[n % 2])
        for n in range(LISTED_PIECES + 5)
    ]
    here = site()
    found = list(left_out_findings(here, pieces))
    assert len(found) == LISTED_PIECES + 2
    unit = here.frame.units
    said = [finding.said for finding in found[-2:]]
    # of 0 to 4 the even ones, 1 + 3 + 5, are too short
    assert (
        said[0]
        == f"3 shorter pieces, {9 / unit.length:.2f} {unit.length_name} in all, are left out: too short."
    )
    assert (
        said[1]
        == f"2 shorter pieces, {6 / unit.length:.2f} {unit.length_name} in all, are left out: too near."
    )


def test_runs_of_no_neighbouring_rows_have_no_tightest_gap() -> None:
    one, two, *_ = six_runs()
    assert _tightest_gap(site(), [replace(one, row=0), replace(two, row=2)]) == ""
    assert _tightest_gap(site(), [one, two]).startswith(f"{one.name} and {two.name} at")
