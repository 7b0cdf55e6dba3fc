"""The site file: what a sound one becomes, and keys that are set on the command line."""

from __future__ import annotations

import random
import re
import time
import tomllib
from pathlib import Path

import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from layout.errors import SiteError
from layout.frame import to_site
from layout.model import FeatureKind, Pattern, Site, ZoneRules
from layout.readers.schema import DEFAULTS, SiteTable
from layout.readers.schema.metric import METRIC
from layout.readers.shapes import Place, outline_of
from layout.readers.sitefile import read_site
from layout.readers.validate import known_keys
from layout.units import FOOT, GALLON, HOUR, INCH, POUND_PER_SQUARE_INCH, UNIT_SETS, WATER_HEAD_PER_PASCAL
from tests.sitefiles import BASE, SITES, faults_of, site_file


def in_site(site: Site, geometry: BaseGeometry) -> str:
    return shapely.transform(geometry, lambda points: to_site(site.frame, points)).normalize().wkt


# --- sound sites -----------------------------------------------------------------------------------------


def test_the_least_a_site_may_say() -> None:
    site = read_site(SITES / "rectangle.toml")
    assert in_site(site, site.bed.outline) == "POLYGON ((0 0, 0 12, 100 12, 100 0, 0 0))"
    assert site.bed.outline.exterior.is_ccw
    assert site.bed.clearance == pytest.approx(1.0 * FOOT)
    assert site.tubing.bend_radius == pytest.approx(2.0 * FOOT)
    assert site.tubing.coil == pytest.approx(500 * FOOT)
    head = POUND_PER_SQUARE_INCH * WATER_HEAD_PER_PASCAL
    assert site.tubing.pressure_range == pytest.approx((7 * head, 60 * head))
    assert site.tubing.emitter_flow == pytest.approx(0.6 * GALLON / HOUR)
    assert site.tubing.compensating
    assert site.tubing.inside_diameter is None
    rules = site.runs
    assert (rules.closest, rules.widest) == pytest.approx((rules.spacing, 1.5 * rules.spacing))
    assert rules.pattern is Pattern.BEST
    assert rules.shortest == pytest.approx(10 * FOOT)
    assert (rules.most, rules.guide, site.pump, site.bed.levels, site.frame.crs) == (None,) * 5
    assert site.laterals.runs is None
    assert site.laterals.longest == pytest.approx(300 * FOOT)
    assert site.manifold.end == "pump"
    assert site.manifold.supply_diameter == site.manifold.return_diameter == pytest.approx(INCH)
    assert (site.design.flow, site.design.loading, site.design.flush_velocity) == (None, None, None)
    assert (site.stakeout.interval, site.stakeout.tolerance) == pytest.approx((10 * FOOT, 0.1 * FOOT))
    assert (site.stakeout.ties, site.features, site.notes) == ((), (), ())
    assert site.title == "sites"


def test_defaults_in_metres(tmp_path: Path) -> None:
    site = read_site(site_file(tmp_path, BASE.replace('"ft"', '"m"')))
    assert site.bed.clearance == 0.3
    assert site.tubing.bend_radius == 0.6
    assert site.runs.shortest == 3.0
    assert site.tubing.coil == 150.0
    assert site.laterals.longest == 90.0
    assert site.manifold.supply_diameter == pytest.approx(0.025)
    assert (site.stakeout.interval, site.stakeout.tolerance) == (3.0, 0.03)


def test_every_key() -> None:
    site = read_site(SITES / "every_key.toml")
    kpa = 1000 * WATER_HEAD_PER_PASCAL
    assert site.frame.crs == "EPSG:26919"
    assert site.frame.origin == (300000.0, 4700000.0)
    assert site.bed.outline.bounds == (0.0, 0.0, 30.0, 4.0)
    assert site.bed.levels is not None
    assert site.bed.levels.points == ((0.0, 0.0, 30.0), (30.0, 0.0, 29.0), (30.0, 4.0, 29.4))
    assert [(f.name, f.kind, f.shape.geom_type, f.inside) for f in site.features] == [
        ("dwelling", FeatureKind.BUILDING, "Polygon", False),
        ("lot line", FeatureKind.PROPERTY_LINE, "LineString", False),
        ("larch", FeatureKind.TREE, "Point", True),
    ]
    tubing = site.tubing
    assert tubing.inside_diameter == pytest.approx(0.014)
    assert tubing.pressure_range == pytest.approx((60 * kpa, 350 * kpa))
    assert not tubing.compensating
    assert tubing.emitter_pressure == pytest.approx(100 * kpa)
    assert (tubing.emitter_exponent, tubing.coil, tubing.bend_radius) == (0.5, 100.0, 0.7)
    assert tubing.emitter_flow == pytest.approx(2e-3 / 3600)
    rules = site.runs
    assert (rules.spacing, rules.closest, rules.widest, rules.shortest, rules.most) == (
        0.5,
        0.45,
        0.8,
        2.0,
        6,
    )
    assert rules.pattern is Pattern.DRAWN
    assert rules.guide is not None
    assert rules.guide.wkt == "LINESTRING (0 1, 30 1)"
    assert (site.laterals.runs, site.laterals.longest) == (2, 80.0)
    assert site.manifold.end == (30.0, 2.0)
    assert (site.manifold.supply_diameter, site.manifold.return_diameter) == pytest.approx((0.032, 0.020))
    assert site.pump is not None
    assert (site.pump.at, site.pump.level) == ((40.0, 10.0), 28.5)
    assert site.pump.curve[1] == pytest.approx((40e-3 / 60, 15.0))
    assert site.design.flow == pytest.approx(1.5 / 86400)
    assert site.design.loading == pytest.approx(12e-3 / 86400)
    assert site.design.flush_velocity == 0.6
    assert site.design.least_pitch == 0.005
    assert site.manifold.offset == 0.4
    assert site.zones == ZoneRules(count=2, lines="trunk")
    assert site.stakeout.ties == (("north", (5.0, 10.0)), ("south", (15.0, 10.0)))
    assert site.stakeout.baseline == ((0.0, 0.0), (20.0, 1.0))
    assert site.stakeout.rounding == "1 cm"
    assert (site.stakeout.laid_within, site.stakeout.laid_within_stated) == (0.2, True)
    takeoff = site.takeoff
    assert (takeoff.waste, takeoff.wastes) == (0.06, (("emitting tubing", 0.08),))
    assert [takeoff.pipe, takeoff.blank_coil, takeoff.staple_interval, takeoff.paint] == [5, 50, 1.5, 100]
    assert (takeoff.staple_box, takeoff.cover_depth, takeoff.sand_depth, takeoff.trench_width) == (
        50,
        0.15,
        0.1,
        0.3,
    )
    assert [(price.item, price.amount, price.per) for price in takeoff.prices] == [
        ("emitting tubing", 180.0, "pack"),
        ("supply line pipe", 2.4, "unit"),
        ("stake", 0.35, "unit"),
    ]


def test_the_test_site_has_every_key() -> None:
    text = (SITES / "every_key.toml").read_text()
    for table, keys in known_keys().items():
        for key in keys:
            found = re.search(rf"^(\[+)?{key}(\]+)?( =|$)", text, re.MULTILINE)
            instead = (table, key) == ("zones", "most_flow")  # of count, which stands there
            assert bool(found) is not instead, f"{table}.{key}"


def test_every_key_has_its_words_and_an_example() -> None:
    for name, info in SiteTable.model_fields.items():
        if name not in known_keys():
            assert info.description
            assert info.examples
            continue
        for keys in [known_keys()[name]]:
            assert keys
    for key, (feet, metres) in DEFAULTS.items():
        table, _, last = key.partition(".")
        assert last in known_keys()[table]
        assert feet != metres


def test_survey_feet_and_surveyors_files() -> None:
    site = read_site(SITES / "survey_feet.toml")
    assert site.frame.units is UNIT_SETS["us-ft"]
    assert site.frame.origin == (775086.0, 2956520.0)
    assert max(site.bed.outline.bounds) < 40.0
    assert in_site(site, site.bed.outline).startswith("POLYGON ((775086.5 2956520.25")
    assert site.features[0].shape.geom_type == "Polygon"
    assert site.bed.levels is not None
    assert site.bed.levels.points[0][2] == pytest.approx(104.0 * 1200 / 3937)
    assert site.notes == (
        "survey_feet_bed.csv has no header; its columns are read as point, northing, easting, elevation, description",
    )


@pytest.mark.parametrize(
    "points",
    [
        "[[0, 0], [100, 0], [100, 12], [0, 12]]",
        "[[0, 0], [100, 0], [100, 12], [0, 12], [0, 0]]",
        "[[0, 12], [100, 12], [100, 0], [0, 0]]",
        "[[100, 12], [100, 0], [0, 0], [0, 12], [100, 12]]",
    ],
)
def test_an_outline_may_be_closed_or_not_and_wind_either_way(tmp_path: Path, points: str) -> None:
    site = read_site(site_file(tmp_path, BASE.replace("[[0, 0], [100, 0], [100, 12], [0, 12]]", points)))
    assert site.bed.outline.exterior.is_ccw
    assert in_site(site, site.bed.outline) == "POLYGON ((0 0, 0 12, 100 12, 100 0, 0 0))"
    assert site.notes == ()


def test_doubled_points_are_dropped_and_noted(tmp_path: Path) -> None:
    bed = "x,y\n0,0\n100,0\n100,0\n100,0.001\n100,12\n0,12\n"
    site = read_site(
        site_file(tmp_path, BASE.replace("[[0, 0], [100, 0], [100, 12], [0, 12]]", '"bed.csv"'), bed=bed)
    )
    assert len(site.bed.outline.exterior.coords) == 5
    assert site.notes == (
        "bed.csv: bed.outline: 2 points that repeat the one before were dropped: "
        "line 4 at (100.00, 0.00), line 5 at (100.00, 0.00)",
    )


def test_shapes_of_features(tmp_path: Path) -> None:
    text = BASE
    for number, points in enumerate(["[[50, 60]]", "[50, 60]", "[[0, 40], [9, 40], [9, 50]]"]):
        text += f'\n[[feature]]\nname = "f{number}"\nkind = "building"\nshape = {points}\nsetback = 0\n'
    text += "\n[[feature]]\nshape = [[0, 60], [9, 60], [9, 70], [0, 60]]\nsetback = 5\ninside = true\n"
    site = read_site(site_file(tmp_path, text))
    assert [f.shape.geom_type for f in site.features] == ["Point", "Point", "LineString", "Polygon"]
    assert site.features[3].name == "feature 4"
    assert site.features[3].kind is FeatureKind.OTHER
    assert site.notes == (
        "feature f2 is read as a line, for its points are not closed; "
        "repeat the first point at the end to make it an area",
        "feature feature 4 is marked inside but lies outside the bed",
    )


def test_far_things_are_noted(tmp_path: Path) -> None:
    text = BASE + "\n[pump]\nat = [0, 9000]\n\n[[feature]]\nshape = [[9000, 0]]\nsetback = 5\n"
    notes = read_site(site_file(tmp_path, text)).notes
    assert notes[0].startswith("feature feature 1 lies 8,900 ft from the bed")
    assert notes[1].startswith("the pump lies 8,988 ft from the bed")


def test_one_number_for_the_levels(tmp_path: Path) -> None:
    text = BASE.replace("[tubing]", "levels = 98.5\n[tubing]", 1)
    text = text.replace("[tubing]\nemitter", "\n[tubing]\nemitter")
    site = read_site(site_file(tmp_path, text))
    assert site.bed.levels is not None
    assert site.bed.levels.uniform == pytest.approx(98.5 * FOOT)
    assert site.bed.levels.points == ()


def test_a_site_outside_its_crs_is_noted(tmp_path: Path) -> None:
    notes = read_site(site_file(tmp_path, BASE + '\n[survey]\ncrs = "EPSG:6494"\n')).notes
    assert "lies outside the area that EPSG:6494" in notes[0]


def test_a_byte_order_mark_and_windows_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(b"\xef\xbb\xbf" + BASE.replace("\n", "\r\n").encode())
    assert read_site(path) == read_site(str(path))


def test_a_large_outline_is_read_and_judged_soon(tmp_path: Path) -> None:
    count = 20_000
    out = [f"{i * 0.01},{(i % 2) * 0.02}" for i in range(count)]
    back = [f"{i * 0.01},12" for i in reversed(range(count))]
    text = BASE.replace("[[0, 0], [100, 0], [100, 12], [0, 12]]", '"bed.csv"')
    started = time.process_time()
    read_site(site_file(tmp_path, text, bed="x,y\n" + "\n".join(out + back)))
    out[count // 2] = f"{count * 0.005},13"
    said = faults_of(site_file(tmp_path, text, bed="x,y\n" + "\n".join(out + back)))
    assert "the outline crosses itself at" in said
    assert time.process_time() - started < 8.0


def test_a_tangle_is_named_in_few_lines(tmp_path: Path) -> None:
    chance = random.Random(5)
    tangle = [[chance.randrange(1000), chance.randrange(1000)] for _ in range(400)]
    text = BASE.replace("[[0, 0], [100, 0], [100, 12], [0, 12]]", str(tangle))
    lines = faults_of(site_file(tmp_path, text)).splitlines()
    assert len(lines) == 9
    assert "further places" in lines[-1]


def test_places_of_crossings_are_where_edges_meet() -> None:
    """On a plain grid and on state plane coordinates: the place named is the crossing, by plain algebra."""
    from layout.frame import origin_near
    from layout.model import Frame
    from layout.readers.points import PointTable

    for east, north in [(0.0, 0.0), (2_000_000.0, 700_000.0)]:
        points = ((0.0, 0.0), (90.0, 30.0), (90.0, 0.0), (0.0, 60.0))
        xy = tuple((x + east, y + north) for x, y in points)
        table = PointTable(xy=xy, z=(None,) * 4, places=("a", "b", "c", "d"))
        frame = Frame(units=UNIT_SETS["ft"], origin=origin_near(xy))
        with pytest.raises(SiteError) as caught:
            outline_of(table, frame, Place(file="f", field="k"))
        # y = x / 3 meets y = 60 - 2 x / 3 at x = 60, y = 20
        assert f"({east + 60:.2f}, {north + 20:.2f})" in str(caught.value)


# --- keys set on the command line ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("setting", "check"),
    [
        ("runs.spacing=1.5", lambda site: site.runs.spacing == pytest.approx(1.5 * FOOT)),
        ("runs.spacing = 3", lambda site: site.runs.widest == pytest.approx(4.5 * FOOT)),
        ("runs.pattern=left", lambda site: site.runs.pattern is Pattern.LEFT),
        ('runs.pattern="even"', lambda site: site.runs.pattern is Pattern.EVEN),
        ("units=m", lambda site: site.frame.units.word == "m"),
        ("title=Alder Bend, lot 12", lambda site: site.title == "Alder Bend, lot 12"),
        ("pump.at=[5, 5]", lambda site: site.pump.at == pytest.approx((5 * FOOT, 5 * FOOT))),
        ("pump={at=[5,5], level=90}", lambda site: site.pump.level == pytest.approx(90 * FOOT)),
        ("bed.outline=[[0,0],[50,0],[50,12]]", lambda site: site.bed.outline.area < 300 * FOOT**2 * 1.01),
        ("feature.lot well.setback=30", lambda site: site.features[0].setback == pytest.approx(30 * FOOT)),
        ('feature."lot well".inside=true', lambda site: site.features[0].inside),
        ("tubing.compensating=true", lambda site: site.tubing.compensating),
        ("survey.crs=EPSG:6494", lambda site: site.frame.crs == "EPSG:6494"),
        ("bed.levels=98", lambda site: site.bed.levels.uniform == pytest.approx(98 * FOOT)),
    ],
)
def test_settings(tmp_path: Path, setting: str, check) -> None:  # type: ignore[no-untyped-def]
    text = BASE + '\n[[feature]]\nname = "lot well"\nshape = [[50, 60]]\nsetback = 10\n'
    assert check(read_site(site_file(tmp_path, text), [setting]))


def test_the_last_setting_of_a_key_holds(tmp_path: Path) -> None:
    site = read_site(site_file(tmp_path), ["runs.spacing=1", "runs.spacing=4"])
    assert site.runs.spacing == pytest.approx(4 * FOOT)
    assert site.notes[:2] == tuple(
        f"set for this once, not in the site file: runs.spacing={value}" for value in (1, 4)
    )


@pytest.mark.parametrize(
    ("setting", "expected"),
    [
        ("runs.spacing=-1", "--set runs.spacing=-1: runs.spacing: found -1, but it must be over 0"),
        ("runs.spacing=two", '--set runs.spacing=two: runs.spacing: found "two", but it must be a number'),
        ("runs.spacing=1.5 ft", 'found "1.5 ft", but it must be a number'),
        ("runs.spacing", "--set runs.spacing: a setting needs a key and a value"),
        ("runs.spacing=", "a setting needs a key and a value"),
        ("=3", '"" is no key'),
        ("runs..spacing=3", '"runs..spacing" is no key'),
        ("runs.spaceing=3", "runs.spaceing: the key is not known; the nearest known one is runs.spacing"),
        ("rnus.spacing=3", "--set rnus.spacing=3: rnus: there is no table [rnus]"),
        ("units.word=ft", "units is no table"),
        ("bed.outline=[[0,0]", "the value cannot be read: Unclosed array"),
        ("title='half", "the value cannot be read"),
        ("title=a\nunits = 'm'", "the value cannot be read"),
        ("title='a'\nunits = 'm'", "the value cannot be read: it holds more than one value"),
        ("bed.outline=" + "[" * 5000, "the value cannot be read: brackets stand in brackets"),
        (
            "feature.wel.setback=3",
            '--set feature.wel.setback=3: there is no feature "wel". The nearest is well',
        ),
        ("feature.setback=3", '"feature.setback" is no key of a feature'),
        ("feature.well.setback=-3", 'feature[1] "well": setback: found -3, but it must be 0 or more'),
        ("feature.well.colour=3", 'feature[1] "well": colour: the key is not known'),
        ("pump.level=3", "--set pump.level=3: pump.at: it is missing"),
        (
            "tubing.compensating=false",
            "--set tubing.compensating=false: tubing.emitter_pressure: compensating",
        ),
        ("runs.closest=9", "--set runs.closest=9: runs.closest: closest, 9, is over widest, 3"),
        (
            "bed.outline=gone.csv",
            '--set bed.outline=gone.csv: bed.outline: "gone.csv": there is no such file',
        ),
        (
            "survey.crs=EPSG:2249",
            "--set survey.crs=EPSG:2249: survey.crs: EPSG:2249 counts in US survey feet",
        ),
        ("bed=3", "--set bed=3: bed: found 3, but it must be a table"),
    ],
)
def test_faults_of_settings(tmp_path: Path, setting: str, expected: str) -> None:
    text = BASE + '\n[[feature]]\nname = "well"\nshape = [[50, 60]]\nsetback = 10\n'
    assert expected in faults_of(site_file(tmp_path, text), setting)


def test_examples_of_remedies_are_in_the_units_of_the_site(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    text = "[bed]\noutline = [[0, 0], [9, 0], [9, 9]]\n[tubing]\nemitter_flow = 1\n[runs]\n"
    for units, spacing, emitters in (("ft", "2.0", "2.0"), ("us-ft", "2.0", "2.0"), ("m", "0.6", "0.6")):
        path.write_text(f'units = "{units}"\n{text}')
        said = faults_of(path)
        assert f"Add spacing = {spacing}." in said
        assert f"Add emitter_spacing = {emitters}." in said


def test_every_example_with_a_length_has_its_own_in_metres() -> None:
    """Those of the schema are in feet; what stands instead for metres is a key of the schema, and TOML."""
    known = known_keys()
    for key, example in METRIC.items():
        table, _, name = key.partition(".")
        assert name in known[table]
        assert list(tomllib.loads(example.split(" (")[0])) == [name]
    assert {key for key, pair in DEFAULTS.items() if pair[0] != pair[1]} <= METRIC.keys()


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nshape = [[0, 1], [2, 3]\nsetback = 20\n", 2),
        ('a = 1\nshape = [\n  "]", # ]\n  [0, 1],\nsetback = 20\n', 2),
        ("ties = { a = [0, 1]\nb = 2\n", 0),
        ("shape = [[0, 1]\n", 1),
        ("a = 1\nb = 2 2\n", 0),
        ("shape = [[0, 1], [2 3]]\n", 0),
    ],
)
def test_a_bracket_that_is_left_open_is_named_by_its_own_line(tmp_path: Path, text: str, line: int) -> None:
    path = tmp_path / "site.toml"
    path.write_text(text)
    said = faults_of(path)
    assert ("Close the bracket that is opened on line" in said) == bool(line)
    assert not line or f"opened on line {line}." in said


def test_a_date_and_a_number_of_a_title_block_need_no_quotes(tmp_path: Path) -> None:
    site = read_site(
        site_file(tmp_path, BASE + "\n[sheet]\ndate = 2026-05-01\nrevision = 3\nchecked_by = ' C. D. '\n")
    )
    assert (site.sheet.date, site.sheet.revision, site.sheet.checked_by) == ("2026-05-01", "3", "C. D.")
