"""Readings of flow: how they are written, kept beside a site, and what a row of them says."""

from __future__ import annotations

import csv
import os
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Literal

import pytest

from layout.errors import ReadError, SheetError
from layout.model import FlowReading, Zone
from layout.readers.flowlog import MOST_BYTES, MOST_READINGS, read_flow_log
from layout.readers.reading import date_of, flow_of
from layout.sheets.flowlog import append_reading
from layout.startup.expected import Expected, expected_flows
from layout.startup.log import COLUMNS, LESS, MORE, misread, series_of, words_of
from layout.units import GALLON, LITRE, MINUTE, UNIT_SETS
from tests.fields import curved_field

GPM = GALLON / MINUTE
MINE = Expected(zone=1, doing="dosing", flow=3.05 * GPM, band=0.1)
FEET = UNIT_SETS["ft"]


def reading(day: str, said: str, note: str = "") -> FlowReading:
    return FlowReading(on=date_of(day), zone=1, doing="dosing", said=said, flow=flow_of(said), note=note)


def keep(path: Path, day: str, said: str, note: str = "") -> None:
    before = read_flow_log(path)
    append_reading(path, reading(day, said, note), before=before, expected=MINE, units=FEET)


# --- how a reading is written ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "flow"),
    [
        ("20.4 s/gal", GALLON / 20.4),
        ("20.4s/gal", GALLON / 20.4),
        ("20.4 SEC / GAL", GALLON / 20.4),
        ("20.4 seconds per gallon", GALLON / 20.4),
        ("20.4 s a gallon", GALLON / 20.4),
        ("204 s/10 gal", GALLON / 20.4),
        ("204 s/10gal", GALLON / 20.4),
        ("53.9 s/10L", LITRE / 5.39),
        ("53.9 s per 10 L", LITRE / 5.39),
        ("3.05 gal/min", 3.05 * GPM),
        ("3.05 gpm", 3.05 * GPM),
        ("3.05gpm", 3.05 * GPM),
        ("183 gph", 3.05 * GPM),
        (".5 gal/min", 0.5 * GPM),
        ("11.5 L/min", 11.5 * LITRE / MINUTE),
        ("11.5 lpm", 11.5 * LITRE / MINUTE),
        ("0.19 L/s", 0.19 * LITRE),
        ("0.69 m3/h", 0.69 / 3600.0),
        ("10 gal in 3 min 20 s", GALLON / 20.0),
        ("10 gal in 3 min and 20 sec", GALLON / 20.0),
        ("10 gal in 3:20", GALLON / 20.0),
        ("10 gal in 200 s", GALLON / 20.0),
        ("3:20 per 10 gal", GALLON / 20.0),
        ("10 L in 53.9 s", LITRE / 5.39),
        ("2 min/5 gal", 5 * GALLON / 120.0),
    ],
)
def test_readings_as_people_write_them(said: str, flow: float) -> None:
    assert flow_of(said) == pytest.approx(flow, rel=1e-12)


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("20.4", "has no unit"),
        ("45 psi", "is a pressure"),
        ("300 kPa", "is a pressure"),
        ("95 %", "is a share"),
        ("12 ft", "is a length or a head"),
        ("2 ft/s", "is a velocity"),
        ("-3 gal/min", "is under 0"),
        ("− 3 gal/min", "is under 0"),
        ("0 gal/min", "is nothing"),
        ("0 s/gal", "is nothing"),
        ("20,4 s/gal", "has a decimal comma"),
        ("3 imperial gal/min", "is in imperial gallons"),
        ("5 impulses", "is no flow that is understood"),
        ("3 gal", "is no flow that is understood"),
        ("20 s", "is no flow that is understood"),
        ("fast", "is no flow that is understood"),
        ("", "is no flow that is understood"),
        ("nan gal/min", "is no flow that is understood"),
        ("gal/min", "is no flow that is understood"),
        ("1e9 gal/min", "is no flow that is understood"),
        ("10 gal in 3:75", "is no flow that is understood"),
        ("900000000 gal/min", "is no flow that a field has"),
        ("3 gal/min/day", "is no flow that is understood"),
        ("x" * 500, "is no flow that is understood"),
    ],
)
def test_what_is_no_flow_is_refused_with_what_to_write(said: str, why: str) -> None:
    with pytest.raises(ReadError) as raised:
        flow_of(said)
    assert why in str(raised.value)
    assert len(str(raised.value)) < 300
    assert raised.value.faults[0].remedy


@pytest.mark.parametrize(
    "said", ["2026-5-1", "2026-02-30", "05/01/2026", "yesterday", "", "2026-05-01T10:00"]
)
def test_days_that_are_none_are_refused(said: str) -> None:
    with pytest.raises(ReadError, match=r"Write year, month and day with all their digits: 2026-05-01"):
        date_of(said)


def test_seconds_and_flows_mixed_up_are_seen() -> None:
    assert misread(flow_of("20.4 gal/min"), MINE, GALLON) == pytest.approx(GALLON / 20.4)
    assert misread(flow_of("3.05 s/gal"), MINE, GALLON) == pytest.approx(3.05 * GPM)
    # what is merely far off is a reading
    assert misread(flow_of("60 s/gal"), MINE, GALLON) is None
    assert misread(flow_of("12 gal/min"), MINE, GALLON) is None
    assert misread(flow_of("20.4 s/gal"), MINE, GALLON) is None
    assert misread(flow_of("20.4 gal/min"), None, GALLON) is None


# --- the log --------------------------------------------------------------------------------------------


def test_readings_are_kept_under_each_other(tmp_path: Path) -> None:
    path = tmp_path / "flowlog.csv"
    keep(path, "2026-05-01", "20.4 s/gal")
    keep(path, "2027-05-03", "2.81 gpm", "filter cleaned")
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == COLUMNS
    assert [row["date"] for row in rows] == ["2026-05-01", "2027-05-03"]
    assert [row["flow"] for row in rows] == ["2.9412", "2.8100"]
    assert [row["per cent of expected"] for row in rows] == ["96.4", "92.1"]  # 20.4 s: 2.9412 of 3.05
    assert [row["per cent of first"] for row in rows] == ["100.0", "95.5"]
    assert rows[1]["note"] == "filter cleaned"
    assert [item.flow for item in read_flow_log(path)] == pytest.approx([GALLON / 20.4, 2.81 * GPM])
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["flowlog.csv"]


@pytest.mark.parametrize(
    "old",
    [
        b"date,reading\r\n2026-05-01,20.4 s/gal\r\n",
        b"\xef\xbb\xbfdate,reading,who\n2026-05-01,20.4 s/gal,\xc3\xa9lise",
        b'note,reading,date\n"by hand, in rain",20.4 s/gal,2026-05-01\n\n',
    ],
)
def test_what_stands_in_the_log_is_kept_byte_for_byte(old: bytes, tmp_path: Path) -> None:
    path = tmp_path / "flowlog.csv"
    path.write_bytes(old)
    path.chmod(0o640)
    keep(path, "2027-05-03", "2.81 gpm", "later" if b"note" in old else "")
    new = path.read_bytes()
    assert new.startswith(old)
    added = new[len(old) :]
    assert added.endswith(b"\r\n") == (b"\r\n" in old)
    assert added.strip().count(b"\n") == 0
    assert path.stat().st_mode & 0o777 == 0o640
    found = read_flow_log(path)
    assert [(item.on.year, item.said) for item in found] == [(2026, "20.4 s/gal"), (2027, "2.81 gpm")]


@pytest.mark.parametrize(
    ("doing", "zone", "note", "several", "lacking"),
    [
        ("flushing", 2, "rain", True, "state,zone,note"),
        ("dosing", 1, "", True, "zone"),
        ("dosing", 2, "", False, "zone"),
        ("flushing", 1, "", False, "state"),
        ("dosing", 1, "rain", False, "note"),
    ],
)
def test_what_the_titles_would_lose_is_refused(
    doing: Literal["dosing", "flushing"], zone: int, note: str, several: bool, lacking: str, tmp_path: Path
) -> None:
    path = tmp_path / "flowlog.csv"
    path.write_bytes(b"date,reading\n")
    told = FlowReading(on=date(2026, 5, 1), zone=zone, doing=doing, said="20 s/gal", flow=GPM, note=note)
    with pytest.raises(
        ReadError, match=f"Add {lacking} to the end of its first line: date,reading,{lacking}"
    ):
        append_reading(path, told, before=(), expected=None, units=UNIT_SETS["ft"], several=several)
    assert path.read_bytes() == b"date,reading\n"
    path.write_text(f"date,reading,{lacking}\n")
    append_reading(path, told, before=(), expected=None, units=UNIT_SETS["ft"], several=several)
    kept = read_flow_log(path, several=several)[0]
    assert (kept.zone, kept.doing, kept.note) == (zone, doing, note)


def test_of_several_zones_a_line_must_say_its_own(tmp_path: Path) -> None:
    path = tmp_path / "flowlog.csv"
    path.write_text("date,reading,zone\n2026-05-01,20 s/gal,Z2\n2026-05-02,20 s/gal\n2026-05-03,20 s/gal,\n")
    assert [item.zone for item in read_flow_log(path)] == [2, 1, 1]
    with pytest.raises(ReadError, match="does not say its zone") as raised:
        read_flow_log(path, several=True)
    assert [fault.field for fault in raised.value.faults] == ["line 3", "line 4"]


def test_a_log_that_is_a_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"is a folder.*Move the folder away"):
        read_flow_log(tmp_path)


def test_a_log_that_never_ends_is_not_read(tmp_path: Path) -> None:
    """Neither a pipe nor a device: both would be read for ever."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "device").symlink_to("/dev/zero")
    for name in ("pipe", "device"):
        with pytest.raises(ReadError, match=r"is no plain file.*Move it away"):
            read_flow_log(tmp_path / name)


def test_a_log_too_large_or_not_to_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "flowlog.csv"
    path.write_bytes(b"date,reading\n" + b"#" * MOST_BYTES)
    with pytest.raises(ReadError, match=r"is too large for a log of readings\. Start a new one"):
        read_flow_log(path)
    path.write_text("date,reading\n")

    def refused(_path: Path) -> bytes:
        raise OSError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refused)
    with pytest.raises(ReadError, match=r"cannot be read \(Permission denied\)"):
        read_flow_log(path)


def test_a_cell_longer_than_any_table_has_is_told(tmp_path: Path) -> None:
    path = tmp_path / "flowlog.csv"
    path.write_text("date,reading,note\n2026-05-01,20 s/gal," + "x" * (csv.field_size_limit() + 1) + "\n")
    with pytest.raises(ReadError, match="is no table"):
        read_flow_log(path)


def test_a_state_that_is_none_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "flowlog.csv"
    path.write_text("date,reading,state\n2026-05-01,20 s/gal,Flushing\n")
    assert [item.doing for item in read_flow_log(path)] == ["flushing"]
    path.write_text("date,reading,state\n2026-05-01,20 s/gal,resting\n")
    with pytest.raises(ReadError, match='state is "resting", but a field is dosing or flushing'):
        read_flow_log(path)


def test_a_log_of_too_many_readings(tmp_path: Path) -> None:
    path = tmp_path / "flowlog.csv"
    path.write_text("date,reading\n" + "2026-05-01,20 s/gal\n" * MOST_READINGS)
    assert len(read_flow_log(path)) == MOST_READINGS
    path.write_text("date,reading\n" + "2026-05-01,20 s/gal\n" * (MOST_READINGS + 1))
    with pytest.raises(ReadError, match=r"has 5,001 readings; 5,000 can be read\. Start a new log"):
        read_flow_log(path)
    path.write_text("date,reading\n" + "\x1b[31m,x\n" * 4000)
    with pytest.raises(ReadError, match="more faults of this kind") as raised:
        read_flow_log(path)
    assert all(str(fault).isprintable() for fault in raised.value.faults)


def test_no_cell_is_a_formula_and_it_is_read_back_as_written(tmp_path: Path) -> None:
    path = tmp_path / "flowlog.csv"
    for note in ("=HYPERLINK(1)", "+1", "-1", "@x", 'a "quoted", note', "two\nlines"):
        keep(path, "2026-05-01", "20.4 s/gal", note)
    with path.open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not [cell for cell in cells if cell[:1] in "=+-@" and cell]
    notes = [item.note for item in read_flow_log(path)]
    assert notes == ["=HYPERLINK(1)", "+1", "-1", "@x", 'a "quoted", note', "two lines"]


def test_a_log_that_cannot_be_written_stays_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "flowlog.csv"
    keep(path, "2026-05-01", "20.4 s/gal")
    old = path.read_bytes()

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SheetError, match="No space left on device"):
        keep(path, "2027-05-01", "20.4 s/gal")
    assert path.read_bytes() == old
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["flowlog.csv"]


def test_what_another_program_adds_meanwhile_is_not_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "flowlog.csv"
    keep(path, "2026-05-01", "20.4 s/gal")
    real, done = os.fsync, []

    def meanwhile(handle: int) -> None:
        real(handle)
        if not done:
            done.append(1)
            with path.open("ab") as file:
                file.write(b"2026-06-01,Z1,dosing,21.0 s/gal\n")

    monkeypatch.setattr(os, "fsync", meanwhile)
    keep(path, "2027-05-01", "22.0 s/gal")
    assert [item.said for item in read_flow_log(path)] == ["20.4 s/gal", "21.0 s/gal", "22.0 s/gal"]


def test_a_log_that_another_program_never_leaves_alone_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "flowlog.csv"
    keep(path, "2026-05-01", "20.4 s/gal")
    real = os.fsync

    def meanwhile(handle: int) -> None:
        real(handle)
        with path.open("ab") as file:
            file.write(b"2026-06-01,Z1,dosing,21.0 s/gal\n")

    monkeypatch.setattr(os, "fsync", meanwhile)
    with pytest.raises(SheetError, match="is written by another program again and again"):
        keep(path, "2027-05-01", "22.0 s/gal")
    assert "22.0" not in path.read_text()
    assert [entry.name for entry in tmp_path.iterdir()] == ["flowlog.csv"]


def test_a_log_that_begins_with_blank_lines_keeps_its_titles(tmp_path: Path) -> None:
    path = tmp_path / "flowlog.csv"
    path.write_text("\n,\nreading,date\n20 s/gal,2026-05-01\n")
    keep(path, "2027-05-01", "21 s/gal")
    assert path.read_text().splitlines()[-1] == "21 s/gal,2027-05-01"
    assert [item.said for item in read_flow_log(path)] == ["20 s/gal", "21 s/gal"]


def test_every_fault_of_a_log_is_told(tmp_path: Path) -> None:
    path = tmp_path / "flowlog.csv"
    path.write_text("date,zone,reading\n2026-05-01,Z1,fast\nmonday,Z1,20 s/gal\n2026-05-03,north,20 s/gal\n")
    with pytest.raises(ReadError) as raised:
        read_flow_log(path)
    assert [fault.field for fault in raised.value.faults] == ["line 2", "line 3", "line 4"]
    for text, said in (
        ("day;reading\n2026-05-01;20 s/gal\n", "is parted by semicolons"),
        ("2026-05-01,20 s/gal\n", "does not begin with the titles date and reading"),
        ("", "does not begin with the titles date and reading"),
    ):
        path.write_text(text)
        with pytest.raises(ReadError, match=said):
            read_flow_log(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ReadError, match="is no text in UTF-8"):
        read_flow_log(path)


# --- what a row of readings says ------------------------------------------------------------------------


def rows(*flows: float, year: int = 2026) -> list[FlowReading]:
    return [
        FlowReading(on=date(year + n, 5, 1), zone=1, doing="dosing", said="", flow=flow * GPM)
        for n, flow in enumerate(flows)
    ]


def said(readings: list[FlowReading]) -> str:
    (series,) = series_of(readings, [MINE])
    return " ".join(words_of(series))


def test_a_fall_and_a_rise_are_told_with_what_may_do_that() -> None:
    fall, rise = said(rows(3.05, 2.95, 2.86, 2.75)), said(rows(3.0, 3.1, 3.2, 3.3))
    assert "falls by some 3.3 % of the first reading a year" in fall  # 0.1 of 3.05
    assert LESS in fall
    assert MORE not in fall
    assert "do not tell which" in fall
    assert "rises by some 3.3 %" in rise
    assert MORE in rise
    assert LESS not in rise


def test_scatter_is_no_drift_and_few_readings_tell_none() -> None:
    assert "no steady drift" in said(rows(3.05, 2.95, 3.10, 3.0, 3.06))
    assert "a drift is told once 4 days have readings" in said(rows(3.05, 2.9, 2.8))
    assert LESS not in said(rows(3.05, 2.95, 3.10, 3.0, 3.06))


def test_one_reading_gone_wrong_moves_no_drift() -> None:
    (series,) = series_of(rows(3.05, 3.05, 9.0, 3.05, 3.05, 3.05), [MINE])
    assert series.drift == pytest.approx(0.0, abs=1e-12)
    assert not series.steady


def test_a_reading_a_day_for_years_is_told_in_bounds() -> None:
    start = date(2010, 1, 1)
    many = [
        FlowReading(
            on=start + timedelta(days=n), zone=1, doing="dosing", said="", flow=(1 - n / 10_000) * GPM
        )
        for n in range(3000)
    ]
    (series,) = series_of(many, [MINE])
    assert series.drift == pytest.approx(-365.25 / 10_000)
    assert series.steady


def test_outside_the_band_is_told_from_the_last_reading() -> None:
    assert "82.0 % of the flow expected, outside the band of 90.0 % to 110.0 %" in said(rows(3.05, 2.501))
    assert "within the band" in said(rows(2.5, 3.05))


def test_a_state_that_the_plan_does_not_expect_is_held_against_its_first() -> None:
    (series,) = series_of(rows(3.0, 3.1), [])
    assert series.of_expected is None
    told = " ".join(words_of(series))
    assert "the plan expects no flow in this state; readings are held against the first alone." in told
    assert "it is 103.3 % of the first reading" in told


def test_a_field_without_zones_expects_the_flow_of_all_its_emitters() -> None:
    design = curved_field()
    (only,) = expected_flows(replace(design, zones=()))
    assert (only.zone, only.doing) == (1, "dosing")
    assert only.flow == design.totals.flow


def test_a_zone_whose_water_is_not_known_expects_what_its_emitters_give() -> None:
    design = curved_field()
    zones = (
        Zone(number=1, laterals=("L1",), runs=("R1",), tubing=1.0, emitters=9, flow=2.0 * GPM),
        Zone(number=2, laterals=("L2",), runs=("R2",), tubing=1.0, emitters=0, flow=0.0),
    )
    found = expected_flows(replace(design, zones=zones))
    assert [(item.zone, item.doing, item.flow / GPM) for item in found] == [(1, "dosing", pytest.approx(2.0))]


def test_readings_are_taken_by_day_whatever_their_order() -> None:
    mixed = rows(3.0, 2.9, 2.8, 2.7)[::-1]
    (series,) = series_of(mixed, [MINE])
    assert [item.on.year for item in series.readings] == [2026, 2027, 2028, 2029]
    assert series.of_first == pytest.approx(0.9)
