"""What is more than one plan holds is refused at once, with the key and the remedy."""

from __future__ import annotations

import math
import time
from pathlib import Path

import pytest

from layout.errors import NoRoomError
from layout.limits import refuse_too_large
from layout.model import Site
from layout.plan import compare_patterns, plan_field
from layout.readers.sitefile import read_site

SITE = """units = "ft"
[bed]
outline = {outline}
[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6
[runs]
spacing = 2.0
"""


def ring(count: int, radius: float) -> list[list[float]]:
    angles = [2 * math.pi * k / count for k in range(count)]
    return [[round(radius * math.cos(angle), 3), round(radius * math.sin(angle), 3)] for angle in angles]


@pytest.mark.parametrize(
    ("outline", "more", "said"),
    [
        (ring(5000, 100), "", ("bed.outline", "5,000 corners", "bed.smooth")),
        ([[0, 0], [800, 0], [800, 900], [0, 900]], "", ("runs.spacing", "ft of tubing", "several beds")),
        (
            [[0, 0], [300, 0], [300, 300], [0, 300]],
            "[stakeout]\ninterval = 0.5",
            ("stakeout.interval", "stakes", "units"),
        ),
        (
            [[0, 0], [99, 0], [99, 30], [0, 30]],
            f'[[feature]]\nname = "hedge"\nsetback = 1\nshape = {ring(10_500, 900)}',
            ("feature", "hedge", "far from the bed"),
        ),
    ],
    ids=["outline", "tubing", "stakes", "features"],
)
def test_more_than_a_plan_holds(
    outline: list[list[float]], more: str, said: tuple[str, ...], tmp_path: Path
) -> None:
    path = tmp_path / "site.toml"
    path.write_text(SITE.format(outline=outline) + more, encoding="utf-8")
    site = read_site(path)
    begin = time.thread_time()
    with pytest.raises(NoRoomError) as caught:
        plan_field(site)
    assert time.thread_time() - begin < 2.0
    (fault,) = caught.value.faults
    assert Path(fault.file).name == "site.toml"
    for words in said:
        assert words in str(fault)


def trees(count: int) -> str:
    """So many trees that stand apart, fourteen to a row of the bed below; one more far from it."""
    at = [(10 + 7 * (k % 14), 10 + 7 * (k // 14)) for k in range(count)] + [(500, 500)]
    kinds = 'kind = "tree"\nsetback = 2\ninside = true\n'
    return "\n".join(
        f'[[feature]]\nname = "tree {k}"\n{kinds}shape = [{x}, {y}]\n' for k, (x, y) in enumerate(at)
    )


def limited(tmp_path: Path, more: str, pattern: str) -> Site:
    path = tmp_path / "site.toml"
    bed = SITE.format(outline=[[0, 0], [110, 0], [110, 100], [0, 100]])
    path.write_text(bed + f'pattern = "{pattern}"\n' + more, encoding="utf-8")
    return read_site(path)


@pytest.mark.parametrize(("pattern", "most"), [("best", 60), ("left", 100)])
def test_more_trees_than_rows_are_led_past_in_good_time(pattern: str, most: int, tmp_path: Path) -> None:
    refuse_too_large(limited(tmp_path, trees(most), pattern))
    with pytest.raises(NoRoomError, match=f"{most + 1} places.*{most} at most") as caught:
        plan_field(limited(tmp_path, trees(most + 1), pattern))
    (fault,) = caught.value.faults
    assert (Path(fault.file).name, fault.field) == ("site.toml", "feature")
    assert ("runs.pattern" in str(fault)) is (pattern == "best")


def test_trees_whose_setbacks_meet_count_as_one(tmp_path: Path) -> None:
    refuse_too_large(limited(tmp_path, trees(160).replace("setback = 2", "setback = 4"), "best"))


def test_comparing_patterns_asks_for_the_limit_of_all(tmp_path: Path) -> None:
    with pytest.raises(NoRoomError, match="where all patterns are tried"):
        compare_patterns(limited(tmp_path, trees(61), "left"))


@pytest.mark.parametrize(("pattern", "most"), [("best", 350), ("left", 1000)])
def test_more_rows_than_are_laid_in_good_time(pattern: str, most: int, tmp_path: Path) -> None:
    """Rows are counted across the narrow way of the bed, 100 ft, whichever way it is turned."""
    spacing = {"best": 0.28, "left": 0.099}[pattern]
    text = SITE.format(outline=[[0, 0], [80, 60], [20, 140], [-60, 80]])
    for wanted, refused in ((100 / most + 0.001, False), (spacing, True)):
        path = tmp_path / "site.toml"
        ruled = text.replace("[runs]\nspacing = 2.0", f'[runs]\npattern = "{pattern}"\nspacing = {wanted}')
        path.write_text(ruled, encoding="utf-8")
        if not refused:
            refuse_too_large(read_site(path))
            continue
        with pytest.raises(NoRoomError, match=f"{100 / wanted:,.0f} rows across.*{most:,} at most") as caught:
            refuse_too_large(read_site(path))
        (fault,) = caught.value.faults
        assert fault.field == "runs.spacing"
        assert ("runs.pattern" in str(fault)) is (pattern == "best")
