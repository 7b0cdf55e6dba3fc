"""What a site file names is read from its own folder only, and only as much as a survey can be."""

from __future__ import annotations

import os
import time
import tracemalloc
from pathlib import Path

import pytest

from layout.errors import LayoutError, ReadError
from layout.readers.document import MOST_BYTES as MOST_OF_A_SITE
from layout.readers.flowlog import read_laid_flows
from layout.readers.points import MOST_BYTES
from layout.readers.sitefile import read_site

SITE = """units = "ft"
[bed]
outline = [[0, 0], [100, 0], [100, 12], [0, 12]]
[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6
[runs]
spacing = 2.0
[[feature]]
name = "well"
shape = [[150, 60]]
setback = 15
"""
KEYS = ["bed.outline", "bed.levels", "runs.guide", "feature.well.shape", "takeoff.prices"]
"""All that name files."""
SECRET = "x,y,z\n0,0,31415\n100,0,31415\n100,12,31415\n"


def said(folder: Path, key: str, name: str) -> str:
    """The faults of a site that names a file; nothing of what is in it may be told."""
    path = folder / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    with pytest.raises(LayoutError) as caught:
        read_site(path, [f'{key}="{name}"'])
    text = str(caught.value)
    assert "31415" not in text
    assert key.rpartition(".")[2] in text or name in text
    return text


@pytest.fixture
def lot(tmp_path: Path) -> Path:
    """A folder with a secret beside it."""
    for ending in ("csv", "dxf", "geojson"):
        (tmp_path / f"secret.{ending}").write_text(SECRET, encoding="utf-8")
    folder = tmp_path / "lot"
    folder.mkdir()
    return folder


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize(
    "name",
    ["../secret.csv", "a/../../secret.csv", "../secret.dxf#edge", "../secret.geojson", "./../secret.csv#2"],
)
def test_a_path_that_climbs_is_refused(key: str, name: str, lot: Path) -> None:
    assert "leads out of the site file's folder" in said(lot, key, name)


@pytest.mark.parametrize("key", KEYS)
def test_paths_of_one_machine_are_refused(key: str, lot: Path) -> None:
    assert "is an absolute path" in said(lot, key, str(lot.parent / "secret.csv"))
    assert "is an absolute path" in said(lot, key, "/dev/zero")
    for name in ("C:/secret.csv", "C:secret.csv"):
        assert "is a path of one system only" in said(lot, key, name)


@pytest.mark.parametrize("key", KEYS)
def test_links_that_lead_out_are_refused(key: str, lot: Path) -> None:
    (lot / "file.csv").symlink_to(lot.parent / "secret.csv")
    (lot / "again.csv").symlink_to("file.csv")
    (lot / "folder").symlink_to(lot.parent, target_is_directory=True)
    (lot / "device.csv").symlink_to("/dev/zero")
    for name in ("file.csv", "again.csv", "folder/secret.csv", "folder/secret.dxf#edge", "device.csv"):
        assert "leads out of the site file's folder" in said(lot, key, name)


@pytest.mark.parametrize("key", KEYS)
def test_links_that_lead_nowhere_are_told(key: str, lot: Path) -> None:
    (lot / "gone.csv").symlink_to("not-there.csv")
    (lot / "round.csv").symlink_to("round.csv")
    assert "there is no such file" in said(lot, key, "gone.csv")
    said(lot, key, "round.csv")


@pytest.mark.parametrize("key", KEYS)
def test_what_is_no_file_is_told_at_once(key: str, lot: Path) -> None:
    """A pipe that nobody writes to would be waited for without end."""
    os.mkfifo(lot / "pipe.csv")
    assert "there is no such file" in said(lot, key, "pipe.csv")
    (lot / "folder.csv").mkdir()
    assert "folder" in said(lot, key, "folder.csv")


def test_a_link_within_the_folder_is_followed(lot: Path) -> None:
    (lot / "survey").mkdir()
    (lot / "survey" / "bed.csv").write_text("x,y\n0,0\n100,0\n100,12\n0,12\n", encoding="utf-8")
    (lot / "bed.csv").symlink_to("survey/bed.csv")
    (lot / "site.toml").write_text(SITE, encoding="utf-8")
    assert read_site(lot / "site.toml", ['bed.outline="bed.csv"']).bed.outline.area > 0


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("ending", ["csv", "dxf", "geojson"])
def test_a_huge_file_is_refused_before_it_is_read(key: str, ending: str, lot: Path) -> None:
    with (lot / f"huge.{ending}").open("wb") as stream:
        stream.truncate(100 * MOST_BYTES)  # takes no room on the disk
    begin = time.process_time()
    tracemalloc.start()
    try:
        text = said(lot, key, f"huge.{ending}")
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert "larger than 50 MB" in text
    assert f"huge.{ending}" in text
    assert time.process_time() - begin < 2.0
    assert peak < MOST_BYTES


def test_a_huge_site_file_is_refused_before_it_is_read(lot: Path) -> None:
    with (lot / "site.toml").open("wb") as stream:
        stream.truncate(100 * MOST_OF_A_SITE)
    with pytest.raises(ReadError, match="too large for a site file"):
        read_site(lot / "site.toml")


def test_an_asbuilt_that_is_huge_or_nested_without_end_is_refused(lot: Path) -> None:
    path = lot / "asbuilt.json"
    path.write_text("[" * 200_000, encoding="utf-8")
    with pytest.raises(ReadError, match="cannot be read as JSON"):
        read_laid_flows(path, [1])
    with path.open("wb") as stream:
        stream.truncate(100 * MOST_BYTES)
    with pytest.raises(ReadError, match="too large for an as-built"):
        read_laid_flows(path, [1])
