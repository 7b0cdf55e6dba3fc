"""``sinuate startup``: the form, readings kept and shown; what is wrong is refused before anything is written."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.command import Command
from tests.watered import site_text


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "site.toml"
    path.write_text(site_text(level=-5.0, curve="", zones=""), encoding="utf-8")
    return path


def test_the_form_and_what_to_expect(sinuate: Command, site: Path) -> None:
    done = sinuate("startup", site)
    assert done.code == 0
    assert "3.05" in done.out
    assert "19.7" in done.out
    assert [entry.name for entry in (site.parent / "plan").iterdir()] == ["startup.pdf"]
    told = sinuate("startup", site, "--json").json
    assert told["format"] == "sinuate-startup/1"
    dosing = told["expected"][0]
    assert dosing["flow"] == pytest.approx(3.05)
    assert dosing["seconds_per_unit_volume"] == pytest.approx(60 / 3.05)
    assert dosing["accepted"] == pytest.approx([2.745, 3.355])


def test_readings_are_kept_and_shown(sinuate: Command, site: Path) -> None:
    log = site.parent / "flowlog.csv"
    done = sinuate("startup", site, "--record", "2026-05-01", "20.4 s/gal")
    assert done.code == 0
    assert "96.4 % of the flow expected, within the accepted band; 100.0 % of the first reading" in done.out
    assert not (site.parent / "plan").exists()
    second = sinuate("startup", site, "--record", "2027-05-01", "25 s/gal", "--note", "rain", "--json").json
    assert second["recorded"]["of_expected"] == pytest.approx(60 / 25 / 3.05)
    assert second["recorded"]["of_first"] == pytest.approx(20.4 / 25)
    assert second["recorded"]["within"] is False
    assert log.read_text(encoding="utf-8").count("\n") == 3
    flushed = sinuate("startup", site, "--record", "2027-05-01", "8 s/gal", "--flushing", "--trend")
    assert "Z1 flushing: the last reading, of 2027-05-01, is 99.9 % of the flow expected" in flushed.out
    assert "Z1 dosing: it is 81.6 % of the first reading, of 2026-05-01" in flushed.out
    assert sorted(entry.name for entry in (site.parent / "plan").iterdir()) == ["trend.pdf", "trend.png"]
    shown = sinuate("startup", site, "--trend", "--json").json
    assert [(one["state"], len(one["readings"])) for one in shown["series"]] == [
        ("dosing", 2),
        ("flushing", 1),
    ]
    assert log.read_text(encoding="utf-8").count("\n") == 4


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--record", "2026-05-01", "45 psi"), 'startup: "45 psi" is a pressure'),
        (("--record", "2026-05-01", "-3 gal/min"), "is under 0"),
        (("--record", "2026-13-01", "20 s/gal"), "is no day of the calendar"),
        (("--record", "2026-05-01", "20.4 gal/min"), 'write "20.4 s/gal"'),
        (("--record", "2026-05-01", "20.4 s/gal", "--zone", "Z2"), "the field has no zone Z2"),
        (("--record", "2026-05-01", "20.4 s/gal", "--zone", "north"), "Write Z1, Z2 and so on"),
        (("--flushing",), "--flushing is given without --record"),
        (("--dosing",), "--dosing is given without --record"),
        (
            ("--record", "2026-05-01", "8 s/gal"),
            "but 100 % of that while flushing. Add --flushing if it was read so",
        ),
        (("--trend",), "has no reading yet"),
        (("--asbuilt",), "asbuilt.json: is not there"),
    ],
)
def test_what_is_wrong_is_refused_and_nothing_written(
    more: tuple[str, ...], said: str, sinuate: Command, site: Path
) -> None:
    done = sinuate("startup", site, *more)
    assert done.code == 2
    assert said.removeprefix("startup: ") in done.err
    assert "Traceback" not in done.err
    assert [entry.name for entry in site.parent.iterdir()] == ["site.toml"]


def test_the_flow_as_laid(sinuate: Command, site: Path) -> None:
    folder = site.parent / "plan"
    folder.mkdir()
    (folder / "asbuilt.json").write_text(
        '{"format": "sinuate-asbuilt/1", "units": "ft", "zones": [{"zone": 1, "laid": {"flow": 3.2}}]}'
    )
    done = sinuate("startup", site, "--asbuilt", "--record", "2026-05-01", "3.2 gal/min", "--json").json
    assert done["basis"] == "as laid"
    assert done["recorded"]["of_expected"] == pytest.approx(1.0)
    assert ",3.2000,100.0,100.0," in (site.parent / "flowlog.csv").read_text(encoding="utf-8")


def test_of_several_zones_one_must_be_named(sinuate: Command, site: Path) -> None:
    site.write_text(site_text(level=-5.0, curve="", zones="[zones]\ncount = 3"), encoding="utf-8")
    done = sinuate("startup", site, "--record", "2026-05-01", "60 s/gal")
    assert done.code == 2
    assert "Say which was read with --zone: Z1, Z2, Z3." in done.err
    done = sinuate("startup", site, "--record", "2026-05-01", "60 s/gal", "--zone", "z2")
    assert done.code == 0
    assert "2026-05-01,Z2,dosing,60 s/gal,1.0000,gal/min," in (site.parent / "flowlog.csv").read_text()


def test_a_log_without_zones_is_no_log_of_several(sinuate: Command, site: Path) -> None:
    site.write_text(site_text(level=-5.0, curve="", zones="[zones]\ncount = 3"), encoding="utf-8")
    log = site.parent / "flowlog.csv"
    log.write_text("date,reading\n2026-05-01,60 s/gal\n")
    more = ("--zone", "Z2", "--flushing", "--note", "rain")
    done = sinuate("startup", site, "--record", "2026-05-02", "60 s/gal", *more)
    assert done.code == 2
    assert "Add state,zone,note to the end of its first line: date,reading,state,zone,note." in done.err
    done = sinuate("startup", site, "--trend")
    assert done.code == 2
    assert "flowlog.csv: line 2: does not say its zone, and the field has several" in done.err
    assert log.read_text() == "date,reading\n2026-05-01,60 s/gal\n"
    assert not (site.parent / "plan").exists()
    log.write_text("date,reading,state,zone,note\n2026-05-01,60 s/gal,,Z1\n")
    told = sinuate("startup", site, "--record", "2026-05-02", "60 s/gal", *more, "--trend", "--json").json
    assert [(one["zone"], one["state"]) for one in told["series"]] == [("Z1", "dosing"), ("Z2", "flushing")]


def test_an_as_built_of_another_layout_is_refused(sinuate: Command, site: Path) -> None:
    told = sinuate("plan", site, "--json").json
    points = site.parent / "laid.csv"
    rows = [f"{x},{y},{run['name']}" for run in told["runs"] for x, y in run["points"]]
    points.write_text("\n".join(["easting,northing,description", *rows]) + "\n")
    assert sinuate("asbuilt", site, points).code == 0
    assert sinuate("startup", site, "--asbuilt").code == 0
    done = sinuate("startup", site, "--asbuilt", "--set", "runs.spacing=2.5")
    assert done.code == 2
    assert "asbuilt.json: is of another layout: " in done.err
    assert "Run `sinuate asbuilt SITE POINTS` anew" in done.err


def test_a_reading_far_off_is_not_what_later_ones_are_held_against(sinuate: Command, site: Path) -> None:
    """Of a flushing flow kept as dosing all later readings would be a third; and the next year's must not be."""
    done = sinuate("startup", site, "--record", "2026-05-01", "8 s/gal", "--dosing")
    assert done.code == 0
    assert "OUTSIDE the accepted band; too far off to hold later readings against" in done.out
    assert "Look: it is within the band of flushing" in done.out
    done = sinuate("startup", site, "--record", "2027-05-01", "20.4 s/gal")
    assert "96.4 % of the flow expected, within the accepted band; 100.0 % of the first reading" in done.out
    done = sinuate("startup", site, "--record", "2028-05-01", "21.4 s/gal", "--trend")
    assert "Z1 dosing: it is 95.3 % of the first reading, of 2027-05-01" in done.out
    assert (
        "Z1 dosing: the reading of 2026-05-01, 245.9 % of the flow expected, is too far off to hold"
        in done.out
    )


def test_a_reading_far_off_is_no_base_for_another_one_far_off(sinuate: Command, site: Path) -> None:
    for day, more in (("2026-05-01", ""), ("2026-05-02", "; nor is any before it near enough")):
        done = sinuate("startup", site, "--record", day, "8 s/gal", "--dosing")
        assert f"too far off to hold later readings against{more}." in done.out
    last = (site.parent / "flowlog.csv").read_text().splitlines()[-1].split(",")
    assert last[-2:] == ["", ""]  # no share of a first reading, and no note
