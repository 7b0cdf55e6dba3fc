"""What is more than one plan holds is refused at once, with the key and the remedy."""

from __future__ import annotations

import math
import time
from pathlib import Path

import pytest

from layout.errors import NoRoomError
from layout.plan import plan_field
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
    assert fault.file == "site.toml"
    for words in said:
        assert words in str(fault)
