"""Manifolds at either end of a bed: what pipe that takes, by hand; and the same runs seen from the other end."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pytest

from layout.model import EndTrial, Pattern
from layout.plan import compare_ends, compare_patterns, plan_field
from layout.readers.sitefile import read_site
from layout.sheets.comparison import comparison, end_words

SITE = Path(__file__).resolve().parent / "sites" / "rectangle.toml"  # 100 x 12 ft, 6 rows
FOOT = 0.3048


def ends_of(*settings: str) -> tuple[Sequence[EndTrial], dict[str, object]]:
    site = read_site(SITE, ["laterals.runs=2", *settings])
    trials = compare_patterns(site)
    ends = compare_ends(site, trials)
    return ends, comparison(site, trials, ends)


@pytest.mark.parametrize("asked", ["pump", "far"])
def test_both_ends_of_a_rectangle(asked: str) -> None:
    ends, made = ends_of("pump.at=[-20, 6]", f'manifold.end="{asked}"')
    assert [end.end for end in ends] == ["pump", "far"]
    assert [end.asked for end in ends] == [asked == "pump", asked == "far"]
    near, far = ends
    assert near.at == pytest.approx((0.0, 6 * FOOT), abs=1e-6)
    assert far.at == pytest.approx((100 * FOOT, 6 * FOOT), abs=1e-6)
    # Three pairs of runs 2 ft apart: from the first lateral to the last are 8 ft, and the supply passes the last riser
    # of the return, a run farther on, by 0.15 m.
    both = pytest.approx(2 * 8 * FOOT + 2 * FOOT + 0.15, rel=1e-6)
    assert near.manifolds == both
    assert far.manifolds == both
    # The lines of the far end pass the whole bed, twice.
    assert far.lines - near.lines == pytest.approx(2 * 100 * FOOT, rel=0.12)
    listed = made["ends"]
    assert isinstance(listed, list)
    assert [item["lines"] for item in listed] == pytest.approx([near.lines / FOOT, far.lines / FOOT])


def test_a_point_names_the_end_that_is_asked_for() -> None:
    ends, _ = ends_of("pump.at=[-20, 6]", "manifold.end=[101, 3]")
    assert [end.asked for end in ends] == [False, True]


def test_without_a_pump_there_are_manifolds_only() -> None:
    ends, made = ends_of()
    assert [end.lines for end in ends] == [0.0, 0.0]
    listed = made["ends"]
    assert isinstance(listed, list)
    assert [item["lines"] for item in listed] == [None, None]
    site = read_site(SITE)
    assert end_words(site, ends[0]) == "Manifolds at the near end, as asked: manifolds 16.00 ft."


def test_the_end_asked_for_is_what_the_plan_lays() -> None:
    settings = ["laterals.runs=2", "pump.at=[-20, 6]", "runs.pattern=left", 'manifold.end="far"']
    site = read_site(SITE, settings)
    design = plan_field(site)
    far = compare_ends(site, compare_patterns(site))[1]
    plumbing = design.plumbing
    assert far.pattern is Pattern.LEFT
    assert far.manifolds == pytest.approx(sum(pipe.line.length for pipe in plumbing.manifolds))
    assert far.lines == pytest.approx(sum(pipe.line.length for pipe in plumbing.lines))
    assert far.laterals == len(design.laterals)


def test_a_plan_says_where_the_other_end_would_save_much_pipe() -> None:
    """Both figures are those of a plan of either end, the other one to within a few per cent."""
    settings = ["laterals.runs=2", "pump.at=[-20, 6]"]
    plans = {
        end: plan_field(read_site(SITE, [*settings, f'manifold.end="{end}"'])) for end in ("pump", "far")
    }
    takes = {
        end: sum(pipe.line.length for pipe in (*design.plumbing.manifolds, *design.plumbing.lines))
        + sum(join.line.length for join in design.joins)
        for end, design in plans.items()
    }
    told = [finding for finding in plans["far"].findings if finding.code == "other-end"]
    assert len(told) == 1
    now, then = map(float, re.findall(r"take (?:about )?(\d+) ft", told[0].said))
    assert now == pytest.approx(takes["far"] / FOOT, abs=0.51)
    assert then == pytest.approx(takes["pump"] / FOOT, rel=0.05)
    assert "at (E 0.00, N 6.00)" in told[0].said
    assert told[0].remedy.endswith('set manifold.end to "pump".')
    assert "other-end" not in {finding.code for finding in plans["pump"].findings}


@pytest.mark.parametrize("pump", ["[50, -30]", "[50, 60]", "[46, -10]"])
def test_little_saved_is_not_told(pump: str) -> None:
    design = plan_field(read_site(SITE, ["laterals.runs=2", f"pump.at={pump}", 'manifold.end="far"']))
    assert "other-end" not in {finding.code for finding in design.findings}


def test_without_a_pump_no_other_end_is_told() -> None:
    design = plan_field(read_site(SITE, ["laterals.runs=2", 'manifold.end="far"']))
    assert "other-end" not in {finding.code for finding in design.findings}


LOT_LINE = """
[[feature]]
name = "lot line"
kind = "property line"
shape = [[-2, -40], [-2, 60]]
setback = 10.0

[pump]
at = [20, -20]
"""


def test_a_setback_that_takes_the_whole_end_leaves_a_field_that_can_be_built(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text(SITE.read_text() + LOT_LINE)
    design = plan_field(read_site(tmp_path / "site.toml", ["runs.pattern=left", "laterals.runs=2"]))
    assert [check.name for check in design.checks if not check.ok] == []
    assert all(run.from_end for run in design.laying.runs)
    assert len(design.plumbing.lines) == len(design.plumbing.manifolds) == 2
    assert all(lateral.returns_near for lateral in design.laterals)


def test_an_end_that_cannot_be_piped_is_told_and_the_table_stands(tmp_path: Path) -> None:
    """A bed that narrows has two laterals fewer at its pointed end, too few for the zones that are asked for."""
    text = SITE.read_text(encoding="utf-8")
    outline = next(line for line in text.splitlines() if line.startswith("outline"))
    path = tmp_path / "site.toml"
    path.write_text(
        text.replace(outline, "outline = [[0, 0], [100, 0], [100, 6], [0, 20]]"), encoding="utf-8"
    )
    site = read_site(path, ["laterals.runs=2", "zones.count=4", "runs.pattern=left"])
    assert plan_field(site).laying.runs
    trials = compare_patterns(site)
    ends = compare_ends(site, trials)
    refused = [end for end in ends if end.refused]
    assert len(refused) == 1
    assert not refused[0].asked
    assert "4 zones are asked for, but the field has 3 laterals" in end_words(site, refused[0])
    made = comparison(site, trials, ends)["ends"]
    assert [item["refused"] for item in made] == [end.refused for end in ends]
    assert refused[0].at[0] == pytest.approx(100 * FOOT, abs=0.5)
