"""The site file: the sentence each fault is told in.

``tests/sites/bad`` holds one file a fault, with the expected lines beside it in ``.expected``.
"""

from __future__ import annotations

import contextlib
import random
import re
import time
from pathlib import Path

import pytest

from layout.errors import FrameError, LayoutError, ReadError, SiteError
from layout.readers.points import MOST_POINTS
from layout.readers.sitefile import read_site
from tests.sitefiles import BASE, SITES, faults_of, site_file

BAD = SITES / "bad"


# --- faults ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted(BAD.glob("*.toml")), ids=lambda path: path.stem)
def test_bad_sites(path: Path) -> None:
    expected = path.with_suffix(".expected").read_text()
    assert faults_of(path) == expected.rstrip("\n")


@pytest.mark.parametrize("path", sorted(BAD.glob("*.toml")), ids=lambda path: path.stem)
def test_every_fault_says_where_what_and_what_to_do(path: Path) -> None:
    with pytest.raises(LayoutError) as caught:
        read_site(path)
    for fault in caught.value.faults:
        assert fault.file
        assert fault.said
        assert fault.remedy.endswith((".", "?", "]]", ")"))
        assert "\n" not in str(fault)


def test_no_expected_sentence_is_left_over() -> None:
    assert {path.stem for path in BAD.glob("*.expected")} == {path.stem for path in BAD.glob("*.toml")}


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("toml_quote", ReadError),
        ("crs_other_foot", FrameError),
        ("spacing_zero", SiteError),
        ("many", SiteError),
    ],
)
def test_kinds_of_error(name: str, kind: type[LayoutError]) -> None:
    with pytest.raises(kind):
        read_site(BAD / f"{name}.toml")


def test_files_that_are_no_site(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"no such file.*sinuate new"):
        read_site(tmp_path / "site.toml")
    with pytest.raises(ReadError, match=r"this is a folder\. Name the site file in it"):
        read_site(tmp_path)
    (tmp_path / "site.toml").write_bytes(BASE.encode("utf-16"))
    with pytest.raises(ReadError, match=r"line 1 is not in UTF-8\. Save the file as UTF-8"):
        read_site(tmp_path / "site.toml")
    (tmp_path / "site.toml").write_text("x = " + "[" * 5000)
    with pytest.raises(ReadError, match=r"not closed|too many times"):
        read_site(tmp_path / "site.toml")
    (tmp_path / "site.toml").write_text("x = " + "9" * 5000)
    with pytest.raises(LayoutError):
        read_site(tmp_path / "site.toml")


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text("x,y\n0,0\n100,0\n100,12\n")
    folder = tmp_path / "lot"
    folder.mkdir()
    (folder / "bed.csv").symlink_to(tmp_path / "secret.csv")
    path = site_file(folder, BASE.replace("[[0, 0], [100, 0], [100, 12], [0, 12]]", '"bed.csv"'))
    assert '"bed.csv" leads out of the site file\'s folder' in faults_of(path)
    (folder / "bed.csv").unlink()
    (folder / "survey").mkdir()
    (folder / "survey" / "bed.csv").write_text("x,y\n0,0\n100,0\n100,12\n")
    path = site_file(
        folder, BASE.replace("[[0, 0], [100, 0], [100, 12], [0, 12]]", '"survey/../survey/bed.csv"')
    )
    assert read_site(path).bed.outline.area > 0


def test_unknown_keys_name_the_nearest(tmp_path: Path) -> None:
    for wrong, right in [("setbck", "setback"), ("insde", "inside"), ("Kind", "kind")]:
        text = BASE + f'\n[[feature]]\nname = "well"\nshape = [[50, 60]]\nsetback = 9.0\n{wrong} = 1\n'
        said = faults_of(site_file(tmp_path, text))
        assert (
            f'feature[1] "well": {wrong}: the key is not known; the nearest known one is feature.{right}'
            in said
        )
    assert "[[feature]]" in faults_of(site_file(tmp_path, BASE + "\n[features]\na = 1\n"))


def test_lists_nested_without_end(tmp_path: Path) -> None:
    for depth in (10, 100, 200, 300, 320, 325, 330, 400, 2000):
        for key in ("outline", "clearance"):
            deep = "[" * depth + "]" * depth
            text = BASE.replace("[[0, 0], [100, 0], [100, 12], [0, 12]]", deep) if key == "outline" else BASE
            text = text.replace("[tubing]", f"{key} = {deep}\n[tubing]", 1) if key != "outline" else text
            for line in faults_of(site_file(tmp_path, text)).splitlines():
                assert len(line) < 400


@pytest.mark.parametrize("key", ["a.", "[a.", '"". ', "'b' . "])
def test_keys_of_words_without_end(tmp_path: Path, key: str) -> None:
    """The time that the parser takes grows with the square of the words: minutes for these."""
    opened, word = key.startswith("["), key.lstrip("[")
    line = "[" * opened + word * 200_000 + "a" + ("]" if opened else " = 1")
    begin = time.process_time()
    assert "line 13: more than 64 words with dots between them" in faults_of(
        site_file(tmp_path, f"{BASE}\n{line}\n")
    )
    assert time.process_time() - begin < 5


def test_faults_without_number_are_counted(tmp_path: Path) -> None:
    lines = "\n".join(f"k{number} = 1" for number in range(5000))
    said = faults_of(site_file(tmp_path, f"{BASE}{lines}\n")).splitlines()
    assert len(said) == 201
    assert said[199].startswith("site.toml: runs.k199: the key is not known")
    assert said[200] == "site.toml: 4,800 more faults are not listed. Mend these first."


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("[stakeout]\nties = [{}]", "stakeout.ties: found 501 tie points, but no more than 500"),
        ("[pump]\nat = [0, -9]\ncurve = [{}]", "pump.curve: found 501 pairs, but 500 draw any curve"),
    ],
)
def test_lists_longer_than_anybody_needs(tmp_path: Path, table: str, said: str) -> None:
    pairs = [f"[{n}, {9000 - n}]" for n in range(501)]
    assert read_site(site_file(tmp_path, f"{BASE}{table.format(', '.join(pairs[:500]))}\n"))
    assert said in faults_of(site_file(tmp_path, f"{BASE}{table.format(', '.join(pairs))}\n"))


def test_dots_that_are_no_keys(tmp_path: Path) -> None:
    text = f'title = "{"a dot. " * 20}"\n# {"." * 500}\n# {"see no. 7. " * 70}\n{BASE}'
    assert read_site(site_file(tmp_path, text)).title.startswith("a dot. a dot.")


def test_a_name_must_not_be_that_of_a_nameless_feature(tmp_path: Path) -> None:
    text = BASE + '\n[[feature]]\nname = "feature 2"\nshape = [[50, 60]]\nsetback = 1\n'
    text += "\n[[feature]]\nshape = [[50, 60]]\nsetback = 1\n"
    assert "feature[1] has this name already" in faults_of(site_file(tmp_path, text))


# --- mangled files ---------------------------------------------------------------------------------------

_JUNK = [
    "", "nan", "inf", "-1", "0", "1e308", "true", '""', "[]", "{}", "[[", '"', "=", "\0", "\u00b2",
    "9" * 400, "1979-05-27", '"../x.csv"', '"/dev/zero"', '"."', "\n", "[bed]", "[[feature]]", "[[0, 0]]",
]  # fmt: skip


def _mangled(text: str, chance: random.Random) -> str:
    """Damage a text the way hands and editors do: cut, double, swap and overwrite pieces of it."""
    tokens = re.findall(r"\w+|\s+|[^\w\s]", text)
    for _ in range(chance.randrange(1, 6)):
        at = chance.randrange(len(tokens))
        deed = chance.randrange(5)
        if deed == 0:
            del tokens[at : at + chance.randrange(1, 9)]
        elif deed == 1:
            tokens[at] = chance.choice(_JUNK)
        elif deed == 2:
            tokens.insert(at, chance.choice(_JUNK))
        elif deed == 3:
            other = chance.randrange(len(tokens))
            tokens[at], tokens[other] = tokens[other], tokens[at]
        else:
            tokens[at:at] = tokens[at : at + chance.randrange(1, 30)]
        tokens = tokens or [""]
    return "".join(tokens)


@pytest.mark.parametrize("seed", range(6))
def test_mangled_sites_raise_nothing_but_our_errors(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    whole = (SITES / "every_key.toml").read_text().replace('crs = "EPSG:26919"', "")
    csv = (SITES / "survey_feet_levels.csv").read_text()
    sound = 0
    for _ in range(60):
        text = whole.replace(
            "[[300000, 4700000, 30.0], [300030, 4700000, 29.0], [300030, 4700004, 29.4]]", '"l.csv"'
        )
        in_csv = chance.random() < 0.3
        path = site_file(
            tmp_path, text if in_csv else _mangled(text, chance), l=_mangled(csv, chance) if in_csv else csv
        )
        with contextlib.suppress(LayoutError):
            read_site(path)
            sound += 1
    assert sound < 60


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (
            "[design]\nwater_temperature = 20.0",
            "20 °F is no temperature of water, which lies between 32 and 212",
        ),
        ("[pump]\nat = [1e12, 0]", "coordinates go to 1,000,000,000 at most"),
        ("[pump]\nat = [9, -9]\ncurve = [[0, 10], 5]", "pair 2 is 5, but it must be [flow, head]"),
        ("[pump]\nat = [9, -9]\ncurve = [[0, 10], [5, -1]]", "both must lie between 0 and"),
        ("[design]\nflow_band = 0.7", "must be a share of one over 0, 0.5 at most"),
        ("[stakeout]\nties = 5", "must be a list of points or a table { name = [x, y] }"),
        ("[stakeout]\nbaseline = [1, 2, 3]", "it must be two points: [[x, y], [x, y]]"),
        ("[stakeout]\ntolerance = 1e-4", "0.0001 is finer than anything is staked"),
        (f'[sheet]\ndrawn_by = "{"x" * 61}"', "the text is 61 characters long, but there is room for 60"),
        ("[sheet]\ndrawn_by = [1]", "it must be one line of text in quotes"),
        ("[sheet]\nrevision = 1000000000", "it must be one line of text in quotes"),
        ("[sheet]\nrevision = true", "it must be one line of text in quotes"),
        (f"[laterals]\nlongest = 0x{'F' * 5000}", "a number of thousands of digits"),
        (f'[[feature]]\nshape = "{"x" * 5000}.csv"\nsetback = 1', "the file cannot be opened"),
        ("[[feature]]\nshape = []\nsetback = 1", "the list of points is empty"),
        ("[[feature]]\nshape = 7\nsetback = 1", "feature[1]: shape: found 7"),
    ],
)
def test_figures_that_cannot_be(tmp_path: Path, more: str, said: str) -> None:
    assert said in faults_of(site_file(tmp_path, f"{BASE}\n{more}\n"))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("emitter_flow = 0.6", "emitter_flow = 0.6\npressure_range = [-1, 60]", "it must lie between 0 and"),
        ("emitter_flow = 0.6", "emitter_flow = 0.6\npressure_range = [7, 1e30]", "it must lie between 0 and"),
        ("emitter_spacing = 2.0", "emitter_spacing = 0.0001", "0.0001 gives 6,000,000 of them on this bed"),
    ],
)
def test_figures_of_the_tubing_that_cannot_be(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert said in faults_of(site_file(tmp_path, BASE.replace(old, new)))


def test_more_points_in_the_site_file_than_are_read(tmp_path: Path) -> None:
    shape = ",".join(["[0,0]"] * (MOST_POINTS + 1))
    said = faults_of(site_file(tmp_path, f"{BASE}\n[[feature]]\nshape = [{shape}]\nsetback = 1\n"))
    assert f"{MOST_POINTS + 1} points are more than {MOST_POINTS}. Thin them out." in said


def test_points_that_cannot_be_are_named_but_not_all_of_them(tmp_path: Path) -> None:
    far = ", ".join("[2e9, 1]" for _ in range(50))
    said = faults_of(site_file(tmp_path, f"{BASE}\n[[feature]]\nshape = [{far}]\nsetback = 1\n"))
    assert 3 < said.count("point ") < 15


def test_levels_a_hair_apart_that_differ(tmp_path: Path) -> None:
    levels = "levels = [[0, 0, 1], [100, 0, 2], [100, 12, 3], [0, 0.001, 4]]"
    said = faults_of(site_file(tmp_path, BASE.replace("[tubing]", f"{levels}\n[tubing]")))
    assert "two points at (0.00, 0.00) have the levels 1 and 4. Keep the right one." in said
    same = levels.replace("0.001, 4", "0.001, 1")
    read_site(site_file(tmp_path, BASE.replace("[tubing]", f"{same}\n[tubing]")))


def test_what_lies_far_off(tmp_path: Path) -> None:
    drawn = f'{BASE}pattern = "drawn"\nguide = [[0, 9000], [90, 9000]]\n'
    assert "the line to follow lies 8,988 ft from the bed" in faults_of(site_file(tmp_path, drawn))
    ties = f"{BASE}\n[stakeout]\nties = [[0, 30], [9000, 30]]\n"
    assert any("tie point T2 lies 8,9" in note for note in read_site(site_file(tmp_path, ties)).notes)


def test_a_property_line_that_does_not_run_round_the_bed_is_an_area(tmp_path: Path) -> None:
    lot = '\n[[feature]]\nkind = "property line"\nshape = [[200, 0], [300, 0], [300, 50], [200, 0]]\nsetback = 5\n'
    (feature,) = read_site(site_file(tmp_path, BASE + lot)).features
    assert feature.shape.geom_type == "Polygon"


def test_a_name_too_long_for_the_system(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"the file cannot be opened \(.+\)\. Check the path"):
        read_site(tmp_path / ("x" * 300))
