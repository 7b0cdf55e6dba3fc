"""``sinuate asbuilt``: surveys of every kind and system, what is written and printed, and what is refused."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.command import Command

CRS = "EPSG:6494"  # Michigan Central, international feet
SITE = f"""
title = "Wren Hollow, invented example"
units = "ft"

[survey]
crs = "{CRS}"

[bed]
outline = [[13000000, 700000], [13000060, 700000], [13000060, 700010], [13000000, 700010]]

[[feature]]
name = "shed"
kind = "building"
shape = [[13000000, 700030], [13000020, 700030], [13000020, 700040], [13000000, 700030]]
setback = 10.0

[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6

[runs]
spacing = 2.0
pattern = "left"

[laterals]
runs = 1
"""
Row = tuple[float, float, str]


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "site.toml"
    path.write_text(SITE)
    return path


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The layout of the site, for its runs."""
    from layout.plan import plan_field
    from layout.readers.sitefile import read_site
    from layout.sheets.layoutjson import document

    path = tmp_path_factory.mktemp("planned") / "site.toml"
    path.write_text(SITE)
    return document(plan_field(read_site(path)))


def measured(plan: Any, *, aside: float = 0.0, run: str = "R2", seed: int = 1) -> list[Row]:
    """Points every 10 on the runs [ft], one of them laid aside; noise of a twentieth."""
    rng = np.random.default_rng(seed)
    rows = []
    for item in plan["runs"]:
        (x0, y0), (x1, y1) = item["points"][0], item["points"][-1]
        for share in np.linspace(0, 1, 7):
            x, y = (1 - share) * np.array([x0, y0]) + share * np.array([x1, y1])
            y += aside if item["name"] == run else 0.0
            dx, dy = rng.normal(0, 0.05, 2)
            rows.append((float(x + dx), float(y + dy), item["name"]))
    order = rng.permutation(len(rows))
    return [rows[number] for number in order]


def as_csv(path: Path, rows: Sequence[Row]) -> Path:
    lines = [f"{number},{y:.4f},{x:.4f},,shot" for number, (x, y, _) in enumerate(rows, start=1)]
    path.write_text("\n".join(["point,northing,easting,elevation,description", *lines]) + "\n")
    return path


def degrees(rows: Sequence[Row]) -> list[tuple[float, float]]:
    from pyproj import Transformer

    turn = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    return [turn.transform(x, y) for x, y, _ in rows]


def as_degrees(path: Path, rows: Sequence[Row]) -> Path:
    lines = [f"{lat:.9f},{lon:.9f}" for lon, lat in degrees(rows)]
    path.write_text("\n".join(["lat,lon", *lines]) + "\n")
    return path


def as_points(path: Path, rows: Sequence[Row]) -> Path:
    features = [
        {"type": "Feature", "properties": {"code": "shot"}, "geometry": {"type": "Point", "coordinates": at}}
        for at in degrees(rows)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def in_order(rows: Sequence[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in sorted(rows, key=lambda row: (row[2], row[0])):
        found.setdefault(row[2], []).append(row)
    return found


def as_lines(path: Path, rows: Sequence[Row]) -> Path:
    features = [
        {
            "type": "Feature",
            "properties": {"name": run},
            "geometry": {"type": "LineString", "coordinates": degrees(part)},
        }
        for run, part in in_order(rows).items()
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def as_drawing(path: Path, rows: Sequence[Row]) -> Path:
    import ezdxf

    doc = ezdxf.new("R2010")
    doc.header["$INSUNITS"] = 2
    for part in in_order(rows).values():
        doc.modelspace().add_lwpolyline([(x, y) for x, y, _ in part], dxfattribs={"layer": "LAID"})
    doc.modelspace().add_circle((13000030, 700200), 5, dxfattribs={"layer": "SHEDS"})
    doc.saveas(path)
    return path.with_name(path.name + "#LAID")


def as_symbols(path: Path, rows: Sequence[Row]) -> Path:
    import ezdxf

    doc = ezdxf.new("R2010")
    doc.header["$INSUNITS"] = 2
    for x, y, _ in rows:
        doc.modelspace().add_point((x, y))
    doc.saveas(path)
    return path


KINDS: dict[str, tuple[str, Callable[[Path, Sequence[Row]], Path]]] = {
    "plan csv": ("laid.csv", as_csv),
    "degrees csv": ("laid.csv", as_degrees),
    "map points": ("laid.geojson", as_points),
    "map lines": ("laid.geojson", as_lines),
    "drawn lines": ("laid.dxf", as_drawing),
    "drawn points": ("laid.dxf", as_symbols),
}


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_kind_of_survey_gives_the_same(sinuate: Command, site: Path, plan: Any, kind: str) -> None:
    name, write = KINDS[kind]
    points = write(site.with_name(name), measured(plan, aside=1.0))
    done = sinuate("asbuilt", site, points, "--json")
    assert done.code == 0, done.err
    found = done.json
    runs = {run["name"]: run for run in found["runs"]}
    assert runs.pop("R2")["verdict"] == "off"
    assert {run["verdict"] for run in runs.values()} == {"as planned"}
    offset = next(run["offset"] for run in found["runs"] if run["name"] == "R2")
    assert offset["mean"] == pytest.approx(1.0, abs=0.06)
    assert offset["side"] == "left"
    assert not found["ok"]
    assert found["complete"]


def test_points_in_another_projected_system(sinuate: Command, site: Path, plan: Any) -> None:
    from pyproj import Transformer

    turn = Transformer.from_crs(CRS, "EPSG:26916", always_xy=True)
    rows = [(*turn.transform(x, y), run) for x, y, run in measured(plan)]
    points = as_csv(site.with_name("utm.csv"), rows)
    done = sinuate("asbuilt", site, points, "--json", "--crs", "EPSG:26916")
    assert done.code == 0, done.err
    assert done.json["ok"]
    assert any("EPSG:26916" in note for note in done.json["notes"])
    # without being told, it is refused: the place and the remedy are named, and nothing is written
    refused = sinuate("asbuilt", site, points)
    assert refused.code == 2
    assert "none of its 35 points is near the bed" in refused.err
    assert "--crs" in refused.err
    odd = sinuate("asbuilt", site, points, "--crs", "EPSG:4326")
    assert (odd.code, "counts in degrees" in odd.err) == (2, True)


def test_what_is_written(sinuate: Command, site: Path, plan: Any) -> None:
    points = as_csv(site.with_name("laid.csv"), measured(plan))
    done = sinuate("asbuilt", site, points)
    assert done.code == 0, done.err
    folder = site.parent / "plan"
    written = {path.name: path.read_bytes() for path in folder.iterdir()}
    found = json.loads(written["asbuilt.json"])
    assert found["format"] == "sinuate-asbuilt/1"
    assert found["within"] == 0.5
    assert "WAC 246-272A-0265" in found["source"]
    planned = {run["name"]: run for run in plan["runs"]}
    for run in found["runs"]:
        assert run["planned"]["length"] == pytest.approx(planned[run["name"]]["length"])
        assert run["planned"]["emitters"] == planned[run["name"]]["emitters"]
        laid = np.array(run["laid"]["points"])
        assert np.hypot(*np.diff(laid, axis=0).T).sum() == pytest.approx(run["laid"]["length"], rel=1e-6)
    for part in ("planned", "laid"):
        for figure in ("length", "emitters", "flow"):
            whole = found["totals"][part][figure]
            for parts in ("runs", "laterals", "zones"):
                assert sum(item[part][figure] for item in found[parts]) == pytest.approx(whole)
        # gal/min of emitters of 0.6 gal/h, and seconds a gallon
        flow = found["totals"][part]["flow"]
        assert flow == pytest.approx(found["totals"][part]["emitters"] * 0.6 / 60)
        assert found["totals"][part]["seconds_per_unit_volume"] == pytest.approx(60 / flow)
    assert found["totals"]["planned"]["flow"] == pytest.approx(plan["totals"]["flow"])
    assert found["points"] == {"measured": 35, "on_runs": 35, "on_pipes": 0, "doubled": [], "astray": []}
    again = sinuate("asbuilt", site, points)
    assert again.out == done.out
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == written


def test_the_printed_table_says_how_each_run_lies(sinuate: Command, site: Path, plan: Any) -> None:
    points = as_csv(site.with_name("laid.csv"), measured(plan, aside=-1.0, run="R3"))
    done = sinuate("asbuilt", site, points)
    rows = {line.split()[0]: line for line in done.out.splitlines() if line.strip()}
    assert rows["R3"].endswith("off")
    assert rows["R1"].endswith("as planned")
    assert "FAIL" in done.out
    assert "to the right of the plan" in done.out
    assert "the authority decide" in done.out


def test_strict_and_the_stated_tolerance(sinuate: Command, site: Path, plan: Any) -> None:
    points = as_csv(site.with_name("laid.csv"), measured(plan, aside=0.7))
    assert sinuate("asbuilt", site, points).code == 0
    assert sinuate("asbuilt", site, points, "--strict").code == 1
    eased = sinuate("asbuilt", site, points, "--strict", "--set", "stakeout.laid_within=1.0", "--json")
    assert eased.code == 0, eased.out
    assert (eased.json["within"], eased.json["source"]) == (1.0, "stakeout.laid_within")


def test_points_that_are_named(sinuate: Command, site: Path, plan: Any) -> None:
    """As the crew's own stakes are named: ``R2 10.00``; those of pipes and corners are set aside."""
    rows = measured(plan, aside=1.9)
    path = site.with_name("named.csv")
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["point", "northing", "easting", "elevation", "description"])
        for number, (x, y, run) in enumerate(rows, start=1):
            writer.writerow([number, y, x, "", f"{run} somewhere"])
        writer.writerow([900, 700000, 13000000, "", "bed corner 1"])
    found = sinuate("asbuilt", site, path, "--json").json
    assert found["points"]["on_pipes"] == 1
    run = next(run for run in found["runs"] if run["name"] == "R2")
    assert run["offset"]["mean"] == pytest.approx(1.9, abs=0.06)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda x, y: (y, x), "the other way round"),
        (lambda x, y: (x * 0.3048, y * 0.3048), "seem to be in metres"),
        (lambda x, y: (x - 500_000, y), "Name another system with --crs"),
    ],
)
def test_surveys_of_elsewhere_are_refused(
    sinuate: Command, site: Path, plan: Any, change: Callable[[float, float], tuple[float, float]], said: str
) -> None:
    points = as_csv(site.with_name("laid.csv"), [(*change(x, y), run) for x, y, run in measured(plan)])
    done = sinuate("asbuilt", site, points)
    assert done.code == 2
    assert "laid.csv" in done.err
    assert said in done.err
    assert not (site.parent / "plan").exists()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda x, y: (y, x), "Easting and northing seem to be the other way round"),
        (lambda x, y: (x * 0.3048, y * 0.3048), "seem to be in metres: convert them to the site's feet"),
    ],
)
def test_near_the_origin_of_a_grid_points_beside_the_bed_are_told(
    sinuate: Command, site: Path, plan: Any, change: Callable[[float, float], tuple[float, float]], said: str
) -> None:
    """There, swapped columns or another unit do not lead far away."""
    text = SITE.replace(f'crs = "{CRS}"', "").replace(" 7000", " ")
    site.write_text(re.sub(r"\b13000(\d\d\d), (\d\d)", lambda at: f"{40 + int(at[1])}, {int(at[2])}", text))
    rows = [(x - 13_000_000 + 40, y - 700_000, run) for x, y, run in measured(plan)]
    done = sinuate("asbuilt", site, as_csv(site.with_name("laid.csv"), rows))
    assert done.code == 0, done.err
    points = as_csv(site.with_name("laid.csv"), [(*change(x, y), run) for x, y, run in rows])
    done = sinuate("asbuilt", site, points)
    assert done.code == 2
    assert said in done.err
    assert "of its 35 points lie in the bed" in done.err


def test_files_that_cannot_be_read(sinuate: Command, site: Path) -> None:
    for name, text, said in [
        ("none.csv", None, "there is no such file"),
        ("empty.csv", "", "no points"),
        ("odd.csv", "x,y\n1,two\n", "line 2"),
        ("laid.xyz", "1 2", "cannot be read"),
    ]:
        path = site.with_name(name)
        if text is not None:
            path.write_text(text)
        done = sinuate("asbuilt", site, path)
        assert done.code == 2
        assert said in done.err
        assert name in done.err
        assert not (site.parent / "plan").exists()


def test_a_plan_grid_knows_no_degrees(sinuate: Command, site: Path, plan: Any) -> None:
    site.write_text(SITE.replace(f'crs = "{CRS}"', ""))
    rows = measured(plan)
    done = sinuate("asbuilt", site, as_degrees(site.with_name("laid.csv"), rows))
    assert (done.code, "survey.crs" in done.err) == (2, True)
    done = sinuate("asbuilt", site, as_csv(site.with_name("laid.csv"), rows), "--crs", CRS)
    assert (done.code, "survey.crs" in done.err) == (2, True)
    done = sinuate("asbuilt", site, site.with_name("laid.csv"), "--crs", "EPSG:99999")
    assert done.code == 2
    assert '--crs: "EPSG:99999" is no coordinate reference system' in done.err


def test_points_on_pipes_beside_a_bed_at_the_origin_are_no_other_unit(
    sinuate: Command, site: Path, plan: Any
) -> None:
    """Towards the origin a smaller unit brings all onto the bed that is about it."""
    text = SITE.replace(f'crs = "{CRS}"', "").replace(" 7000", " ")
    site.write_text(re.sub(r"\b13000(\d\d\d), (\d\d)", lambda at: f"{40 + int(at[1])}, {int(at[2])}", text))
    rows = [(x - 13_000_000 + 40, y - 700_000, run) for x, y, run in measured(plan)]
    beside = [(x / 2, -25.0 - number, "supply line") for number, (x, _, _) in enumerate(rows)]
    done = sinuate("asbuilt", site, as_csv(site.with_name("laid.csv"), [*rows, *beside, *beside]))
    assert done.code == 0
