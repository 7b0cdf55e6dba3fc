"""What is mangled: survey files of each kind, prices, readings, what was laid; each with a site that reads it."""

from __future__ import annotations

import io
import json
import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from tests.test_fuzzed_surveys import CSV, JUNK, MAPS, TRAVERSES, damaged
from tests.test_read_dxf_damaged import DAMAGES, TEXTS

SITE = """title = "Mangled"
units = "ft"
{survey}
[bed]
outline = {outline}
{bed}
[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6
inside_diameter = 0.55

[runs]
spacing = 2.0
{runs}
[laterals]
runs = 2

[pump]
at = {pump}
level = 80.0
{more}
"""
SMALL = "[[0, 0], [60, 0], [60, 10], [0, 10]]"
PNEZD = "".join(
    f"{number},{5000 + y},{2000 + x},{98 + number / 10:.2f},EDGE\n"
    for number, (x, y) in enumerate(((0, 0), (60, 0), (62, 9), (30, 12), (0, 10)), start=1)
)
PRICES = (
    "item,unit,price\nemitting tubing,coil,180\nsupply line pipe,ft,2.40\nstake,ea,0.35\n# a remark\n",
    "Item;Unit;Price\nstake;ea;0.35\nemitting tubing;ft;0.31\n",
)
READINGS = (
    "date,zone,state,reading,note\n2026-05-01,Z1,dosing,20.4 s/gal,first\n2026-08-01,Z1,dosing,20.9 s/gal,\n"
    "2027-05-01,Z1,dosing,21.3 s/gal,'=dry\n2027-08-01,Z1,flushing,9.5 gal in 1:05,\n2028-05-01,Z1,dosing,2.7 gpm,\n",
    "reading,date\n11.5 L/min,2026-05-01\n53.9 s/10 L,2026-06-01\n",
)
NUMBERS = (
    *("0", "-0.0", "-1", "1e-300", "1e300", "1e18", "nan", "inf", "-inf", "1e-9", "0.001", "3", "7.5", "100"),
    *("9" * 400, "1e999", "NaN", "Infinity"),
    *("99999", "2147483648", "9223372036854775808", "0x10", "1_000", "true", '"5"', "[]", "{}", "[1, 2]"),
)
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])")


@dataclass(frozen=True, slots=True)
class Hurt:
    """What is done to a file: by chance, or nothing to a sound one."""

    chance: random.Random
    sound: bool = False

    def text(self, text: str) -> bytes:
        """A text with one number changed, or with up to six things done to it."""
        if self.sound:
            return text.encode()
        return (
            damaged(text, self.chance)
            if self.chance.random() < 0.5
            else one_number(text, self.chance).encode()
        )

    def drawing(self, text: str) -> bytes:
        """A drawing with something done to it."""
        return text.encode() if self.sound else self.chance.choice(DAMAGES)(text.encode(), self.chance)


def one_number(text: str, chance: random.Random) -> str:
    """The text with an odd number where one stood, or as :func:`scaled_number`."""
    if chance.random() < 0.5:
        return scaled_number(text, chance)
    found = chance.choice(list(NUMBER.finditer(text)))
    return text[: found.start()] + chance.choice(NUMBERS) + text[found.end() :]


def scaled_number(text: str, chance: random.Random) -> str:
    """The text with one number up to a hundred times as large or as small, or with its sign changed."""
    found = chance.choice(list(NUMBER.finditer(text)))
    put = f"{float(found[0]) * 10 ** chance.uniform(-2, 2) * chance.choice((1, 1, 1, -1)):.6g}"
    return text[: found.start()] + put + text[found.end() :]


def site(folder: Path, outline: str = SMALL, **parts: str) -> None:
    """Write a site file whose outline is given as TOML."""
    given = {"survey": "", "bed": "", "runs": 'pattern = "left"', "pump": "[-20, 5]", "more": "", **parts}
    text = SITE.format(outline=outline, **given)
    (folder / "site.toml").write_text(text, encoding="utf-8")


def _read(hurt: Hurt) -> list[str]:
    """A survey that is read is mostly only looked at, as that is where damage shows; one in five beds is laid."""
    return ["plan" if hurt.sound or hurt.chance.random() < 0.2 else "check", "site.toml"]


def _csv(folder: Path, hurt: Hurt) -> list[str]:
    """Outline, levels and a feature of one table of points."""
    (folder / "lot.csv").write_bytes(hurt.text(CSV[0] if hurt.sound else hurt.chance.choice(CSV)))
    site(folder, '"lot.csv"', bed='levels = "lot.csv"')
    return _read(hurt)


def _pnezd(folder: Path, hurt: Hurt) -> list[str]:
    """Points in the surveyor's order, picked by their code."""
    (folder / "lot.csv").write_bytes(hurt.text(PNEZD))
    more = ""
    if not hurt.sound and hurt.chance.random() < 0.2:
        more = '[[feature]]\nname = "hedge"\nshape = "lot.csv#HEDGE"\nsetback = 3.0'
    site(folder, '"lot.csv#EDGE"', bed='levels = "lot.csv"', pump="[1980, 5005]", more=more)
    return _read(hurt)


def _geojson(folder: Path, hurt: Hurt) -> list[str]:
    """A map on the earth, with heights."""
    (folder / "lot.geojson").write_bytes(hurt.text(hurt.chance.choice(MAPS)))
    part = hurt.chance.choice(("", "#bed"))
    site(folder, f'"lot.geojson{part}"', bed='levels = "lot.geojson"', pump="[-71.06005, 42.36]")
    return _read(hurt)


def _traverse(folder: Path, hurt: Hurt) -> list[str]:
    (folder / "lot.txt").write_bytes(hurt.text(TRAVERSES[1] if hurt.sound else hurt.chance.choice(TRAVERSES)))
    site(folder, '"lot.txt"', pump="[20, 5]")
    return _read(hurt)


def _dxf(folder: Path, hurt: Hurt) -> list[str]:
    """A drawing with a layer for everything."""
    chance = hurt.chance
    (folder / "lot.dxf").write_bytes(hurt.drawing(TEXTS[chance.choice(list(TEXTS))]))
    house = '[[feature]]\nname = "house"\nkind = "building"\nshape = "lot.dxf#HOUSE"\nsetback = 8.0'
    levels = 'levels = "lot.dxf#SPOT"' if chance.random() < 0.5 else ""
    site(folder, '"lot.dxf#BED"', bed=levels, more=house if chance.random() < 0.5 else "")
    return (
        ["plan", "site.toml"]
        if chance.random() < 0.7
        else ["new", "begun", "--from", "lot.dxf", "--units", "ft"]
    )


def _prices(folder: Path, hurt: Hurt) -> list[str]:
    (folder / "prices.csv").write_bytes(hurt.text(hurt.chance.choice(PRICES)))
    site(folder, more='[takeoff]\nprices = "prices.csv"')
    return ["takeoff", "site.toml"]


def _readings(folder: Path, hurt: Hurt) -> list[str]:
    """The log, read to show it or to add to it; or a reading as typed."""
    chance = hurt.chance
    (folder / "flowlog.csv").write_bytes(hurt.text(chance.choice(READINGS)))
    site(folder, more="[design]\nflush_velocity = 2.0")
    if hurt.sound or chance.random() < 0.5:
        return ["startup", "site.toml", "--trend"]
    said = (
        damaged("20.4 s/gal", chance).decode("utf-8", errors="replace")
        if chance.random() < 0.5
        else "9 s/gal"
    )
    day = (
        damaged("2029-05-01", chance).decode("utf-8", errors="replace")
        if chance.random() < 0.2
        else "2029-05-01"
    )
    typed = [text.replace("\0", "")[:5000] for text in (day, said)]
    return [
        "startup",
        "site.toml",
        "--record",
        *typed,
        "--note",
        chance.choice(JUNK).replace("\0", "")[:5000],
    ]


@cache
def _planned(folder_name: str) -> Any:
    """The small bed planned, for its runs."""
    from layout.plan import plan_field
    from layout.readers.sitefile import read_site

    folder = Path(folder_name)
    folder.mkdir(exist_ok=True)
    site(folder)
    return plan_field(read_site(folder / "site.toml"))


def _design() -> Any:
    import tempfile

    return _planned(str(Path(tempfile.gettempdir()) / "mangled-planned"))


@cache
def _laid() -> tuple[str, str, str]:
    """What was laid of the small bed: named points, lines drawn, points in the surveyor's order without names."""
    from ezdxf.filemanagement import new

    from tests.surveyed import on_runs

    design = _design()
    points = on_runs(design, noise=0.1, seed=3)
    foot = design.site.frame.units.length
    rows = [
        (name, x / foot + design.site.frame.origin[0], y / foot + design.site.frame.origin[1])
        for name, places in points.items()
        for x, y in places
    ]
    named = "point,easting,northing,description\n" + "".join(
        f"{number},{x:.3f},{y:.3f},{name}\n" for number, (name, x, y) in enumerate(rows, start=1)
    )
    plain = "".join(f"{number},{y:.3f},{x:.3f},98.0,TUBE\n" for number, (_, x, y) in enumerate(rows, start=1))
    document = new("R2000", units=2)
    for name in points:
        line = [(x, y) for run, x, y in rows if run == name]
        document.modelspace().add_lwpolyline(line, dxfattribs={"layer": name})
    stream = io.StringIO()
    document.write(stream)
    return named, plain, stream.getvalue()


def _asbuilt(folder: Path, hurt: Hurt) -> list[str]:
    """Points and lines of what was laid."""
    named, plain, drawn = _laid()
    site(folder)
    if hurt.chance.random() < 0.25:
        (folder / "laid.dxf").write_bytes(hurt.drawing(drawn))
        return ["asbuilt", "site.toml", "laid.dxf"]
    (folder / "laid.csv").write_bytes(hurt.text(hurt.chance.choice((named, plain))))
    return ["asbuilt", "site.toml", "laid.csv"]


@cache
def _told() -> str:
    """The as-built of the small bed, as JSON."""
    from layout.plan import measure_laid
    from layout.sheets.asbuiltjson import asbuilt_document
    from tests.surveyed import on_runs, shots_of

    design = _design()
    shots, _ = shots_of(on_runs(design, seed=3))
    return json.dumps(asbuilt_document(measure_laid(design, shots)), indent=1)


def _asbuilt_json(folder: Path, hurt: Hurt) -> list[str]:
    """``asbuilt.json``, of which the start-up takes the flow as laid."""
    (folder / "plan").mkdir()
    text = hurt.text(_told())
    (folder / "plan/asbuilt.json").write_bytes(text)
    site(folder)
    return ["startup", "site.toml", "--asbuilt"]


KINDS: dict[str, Callable[[Path, Hurt], list[str]]] = {
    "csv": _csv,
    "pnezd": _pnezd,
    "dxf": _dxf,
    "geojson": _geojson,
    "traverse": _traverse,
    "prices": _prices,
    "readings": _readings,
    "asbuilt": _asbuilt,
    "asbuilt.json": _asbuilt_json,
}
"""By kind: what writes a folder and gives the command to run in it."""
