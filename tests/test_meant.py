"""Figures that plan but that hardly anybody means are asked about, each with its key, its value and a remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from layout.errors import NoRoomError, SiteError
from layout.meant import USUAL
from layout.model import Finding
from layout.plan import plan_field
from layout.readers.sitefile import read_site

SITE = """units = "ft"
[bed]
outline = {outline}
levels = 100.0
[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6
inside_diameter = 0.55
[runs]
spacing = 2.0
[pump]
at = [-30, 10]
[design]
flow = 440
loading = 0.6
[[feature]]
name = "well"
shape = [[150, 60]]
setback = 15
"""
STRIP = "[[0, 0], [80, 0], [80, 20], [0, 20]]"
ELL = "[[0, 0], [120, 0], [120, 20], [20, 20], [20, 120], [0, 120]]"


def asked(folder: Path, *settings: str, outline: str = STRIP) -> list[Finding]:
    path = folder / "site.toml"
    path.write_text(SITE.format(outline=outline), encoding="utf-8")
    design = plan_field(read_site(path, settings))
    return [finding for finding in design.findings if finding.code == "is-this-meant"]


def test_a_plain_site_is_asked_nothing(tmp_path: Path) -> None:
    assert asked(tmp_path) == []


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ("runs.spacing=60", ("60 ft", "nowhere wider than 20 ft", "coverage")),
        ("runs.spacing=18", ("18 ft", "usually between", "16.4 ft")),
        ("runs.first=40", ("40 ft", "nowhere wider than 20 ft")),
        ("tubing.emitter_flow=60", ("60 gal/h", "5.28 gal/h")),
        ("tubing.inside_diameter=3.9", ("3.9 in", "1.97 in")),
        ("tubing.emitter_spacing=60", ("60 ft", "longest run has 78 ft")),
        ("tubing.emitter_spacing=15", ("15 ft", "9.84 ft")),
        ("tubing.bend_radius=500", ("500 ft", "nowhere wider than 20 ft")),
        ("tubing.bend_radius=12", ("12 ft", "9.84 ft")),
        ("tubing.coil=60", ("60 ft", "shorter than every run", "78 ft")),
        ("tubing.coil=50000", ("50,000 ft", "9,843 ft")),
        ("manifold.end=[90000, 0]", ("89,920 ft from the bed", "(E 80.00, N 0.00)")),
        ("manifold.supply_diameter=1000", ("1,000 in", "11.8 in")),
        ("manifold.return_diameter=0.001", ("0.001 in", "0.394 in")),
        ("manifold.offset=300", ("300 ft", "32.8 ft")),
        ("pump.level=9.8", ("9.8 ft", "the ground is at about 100 ft")),
        ("pump.level=90000", ("90,000 ft", "the ground is at about 100 ft")),
        ("design.flush_velocity=18", ("18 ft/s", "9.84 ft/s")),
        ("design.flow=0.001", ("0.001 gal/day", "5.28 gal/day")),
        ("design.flow=6", ("of design.loading",)),
        ("design.loading=1e6", ("1,000,000 gal/ft²/day", "4.91 gal/ft²/day")),
        ("design.dose_volumes=5000", ("5000", "50")),
        ("stakeout.interval=5000", ("5,000 ft", "164 ft")),
        ("stakeout.laid_within=50", ("50 ft", "6.56 ft")),
    ],
)
def test_what_is_hardly_meant_is_asked_about(setting: str, said: tuple[str, ...], tmp_path: Path) -> None:
    settings = [setting] if setting != "design.flow=6" else [setting, "design.loading=4.5"]
    (finding,) = asked(tmp_path, *settings)
    assert finding.said.startswith(setting.partition("=")[0])
    assert finding.said.endswith("is this meant?")
    assert finding.remedy
    for words in said:
        assert words in finding.said


def test_the_usual_is_told_in_the_unit_of_the_site(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text(SITE.replace('"ft"', '"m"').format(outline="[[0, 0], [30, 0], [30, 6], [0, 6]]"))
    site = read_site(
        path, ["runs.spacing=0.6", "tubing.inside_diameter=14", "design.loading=15", "tubing.emitter_flow=60"]
    )
    said = [finding.said for finding in plan_field(site).findings if finding.code == "is-this-meant"]
    assert said == [
        "tubing.emitter_flow is 60 L/h; it is usually between 0.1 L/h and 20 L/h (judgement of this tool): "
        "is this meant?"
    ]


def test_the_table_of_the_usual_is_in_order() -> None:
    assert len({bounds.key for bounds in USUAL}) == len(USUAL)
    assert all(0 <= bounds.least < bounds.most for bounds in USUAL)


def test_no_run_for_a_spacing_wider_than_the_bed_names_the_spacing(tmp_path: Path) -> None:
    with pytest.raises(NoRoomError) as caught:
        asked(tmp_path, "runs.spacing=1000", outline=ELL)
    (fault,) = caught.value.faults
    assert fault.field == "runs.spacing"
    assert "1000 ft is wider than the bed, which has 23.4 ft where it is widest" in fault.said
    assert "centre to centre" in fault.remedy
    with pytest.raises(NoRoomError, match=r"Make runs\.shortest"):
        asked(tmp_path, "runs.shortest=900")


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ("tubing.emitter_flow=600", "no figure of a drip field"),
        ("tubing.inside_diameter=55", "for 55 mm write 2.165"),
        ("tubing.inside_diameter=0.01", "no figure of a drip field"),
        ("design.flush_velocity=200", "no figure of a drip field"),
        ("pump.at=[5e8, 5]", "the pump lies 499,999,920 ft from the bed"),
    ],
)
def test_what_cannot_be_is_refused(setting: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(SiteError) as caught:
        asked(tmp_path, setting)
    assert setting.partition("=")[0] in str(caught.value)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ("feature.well.setback=5000", "setback 5000 ft, 100 % of it"),
        ("bed.clearance=11", "nowhere wider than 20 ft"),
        ("tubing.emitter_spacing=300", "no run is long enough for an emitter"),
    ],
)
def test_what_leaves_no_room_is_told_with_its_figure(setting: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(NoRoomError, match=said):
        asked(tmp_path, setting)
