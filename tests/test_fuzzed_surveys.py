"""Two hundred damaged files of each kind: read or refused with file, place and remedy, never a traceback, soon."""

from __future__ import annotations

import json
import random
import time
from pathlib import Path

import pytest

from layout.errors import LayoutError
from layout.readers.sitefile import read_site

FILES = 200
MOST_SECONDS = 2.0
"""Of processor time for one file."""
SITE = """units = "ft"

[bed]
outline = "{name}"
levels = {levels}

[[feature]]
name = "hedge"
shape = "{name}"
setback = 3.0

[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6

[runs]
spacing = 2.0
"""
JUNK = (
    *(
        "",
        "0",
        "-1",
        "1e999",
        "nan",
        "inf",
        "1,5",
        "12.34.56",
        "north",
        "N 45 E",
        "°",
        "\x00",
        "\ufeff",
        "\u2028",
    ),
    *(
        "😀",
        '"',
        "'",
        "#",
        ";",
        "\t",
        ",,,,",
        "{",
        "}",
        "[",
        "]",
        "null",
        "true",
        "1" * 400,
        "x" * 2000,
        "START",
    ),
    *(
        "CURVE",
        "CLOSE",
        "-71.06",
        "180.0001",
        "\r",
        "9" * 5000,
        "type",
        "Polygon",
        "--5",
        "+",
        "1_000",
        "0x10",
    ),
    *("１２", "LEFT R", "R R R", "\x1b[31m"),
)

CSV = (
    "Point,Easting,Northing,Elevation,Description\n"
    + "".join(
        f"{k},{x},{y},98.{k},EDGE {k}\n"
        for k, (x, y) in enumerate(((0, 0), (90, 2), (91, 16), (44, 19), (1, 14)))
    ),
    "".join(f"{k};{y},0;{x},25;98,{k};EB\n" for k, (x, y) in enumerate(((0, 0), (90, 2), (91, 16), (1, 14)))),
    "lat lon z\n42.36 -71.06 20\n42.36 -71.0597 21\n42.36004 -71.0597 20\n42.36004 -71.06 22\n",
)
RING = [
    [-71.06, 42.36, 20],
    [-71.0597, 42.36, 21],
    [-71.0597, 42.36004, 20],
    [-71.06, 42.36004, 22],
    [-71.06, 42.36, 20],
]
MAPS = (
    json.dumps(
        {
            "type": "Feature",
            "properties": {"name": "bed"},
            "geometry": {"type": "Polygon", "coordinates": [RING]},
        }
    ),
    json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "properties": {"name": "bed"},
                    "geometry": {"type": "MultiPolygon", "coordinates": [[RING]]},
                },
                {
                    "type": "Feature",
                    "id": 3,
                    "properties": None,
                    "geometry": {"type": "Point", "coordinates": RING[0]},
                },
            ],
        },
        indent=1,
    ),
)
TRAVERSES = (
    "# lot 4\nSTART 2000.00 500.00\nS 68°05'35\" W 472.68\nN 19-46-00 W 216.13\nN45 55 20E 276.52\n"
    "S 54.98750 E 382.24 ft\n",
    "START N 0 E 0\nDUE NORTH 50\nCURVE R 10 DELTA 180°00'00\" RIGHT\nAZ 180 50.02\nCURVE R 10 LENGTH 31.42 RIGHT\n",
)


def damaged(text: str, chance: random.Random) -> bytes:
    """The text with one to six things done to it."""
    for _ in range(chance.randint(1, 6)):
        lines = text.split("\n")
        at = chance.randrange(len(text) + 1)
        row = chance.randrange(len(lines))
        kind = chance.randrange(9)
        if kind == 0:
            text = text[:at] + chance.choice(JUNK) + text[at:]
        elif kind == 1:
            text = text[:at] + text[at + chance.randint(1, 12) :]
        elif kind == 2:
            text = text[:at]
        elif kind == 3:
            lines[row] = chance.choice(JUNK)
            text = "\n".join(lines)
        elif kind == 4:
            chance.shuffle(lines)
            text = "\n".join(lines)
        elif kind == 5:
            text += "\n".join(lines[row:])
        elif kind == 6 and text:
            text = text.replace(chance.choice(text), chance.choice(JUNK))[:200_000]
        elif kind == 7:
            words = lines[row].split(chance.choice(", ;\t")) or [""]
            words[chance.randrange(len(words))] = chance.choice(JUNK)
            lines[row] = ",".join(words)
            text = "\n".join(lines)
        else:
            text = text.swapcase()
    data = text.encode(chance.choice(("utf-8", "utf-8-sig", "utf-16", "cp1252")), errors="replace")
    if chance.random() < 0.2 and data:
        at = chance.randrange(len(data))
        data = data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
    return data


def judged(folder: Path, name: str, data: bytes) -> str:
    """Read a site whose outline, levels and a feature come from the file; ``read`` or the text of the error."""
    (folder / name).write_bytes(data)
    (folder / "site.toml").write_text(
        SITE.format(name=name, levels="98.0" if name.endswith(".txt") else f'"{name}"')
    )
    begin = time.process_time()
    try:
        read_site(folder / "site.toml")
    except LayoutError as error:
        faults = error.faults
    else:
        faults = ()
    took = time.process_time() - begin
    assert took < MOST_SECONDS
    for fault in faults:
        assert fault.file
        assert fault.said.strip()
        assert fault.remedy.strip()
    text = "\n".join(map(str, faults)) or "read"
    assert len(text) < 20_000
    assert all(char.isprintable() or char == "\n" for char in text)
    return text


@pytest.mark.parametrize(
    ("name", "seeds"),
    [("lot.csv", CSV), ("lot.geojson", MAPS), ("lot.txt", TRAVERSES)],
    ids=["csv", "geojson", "txt"],
)
def test_two_hundred_damaged_files(tmp_path: Path, name: str, seeds: tuple[str, ...]) -> None:
    said = []
    for number in range(FILES):
        chance = random.Random(f"{name} {number}")
        said.append(judged(tmp_path, name, damaged(chance.choice(seeds), chance)))
    refused = [text for text in said if text != "read"]
    assert len(refused) > FILES / 2  # most damage matters
    placed = [
        text for text in refused if any(word in text for word in ("line ", "feature ", "point ", "position "))
    ]
    assert len(placed) > len(refused) / 3


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\0" * 1000,
        "[" * 200_000,
        '{"type":' * 50_000,
        "\n" * 200_000,
        "," * 200_000,
        "N " * 100_000,
        '"' * 99_999,
        "1 " * 100_000,
        "START 0 0\n" + "CURVE R 5 LEFT " * 20_000,
        "START 0 0\n" + "9" * 100_000 + " E 5\n",
        "START 0 0\nN 45" + " " * 50_000 + "x E 5\n",
        "x,y\n" + "(" * 50_000 + ",5\n",
        "START 0 0\n" + "1-" * 50_000 + " 5\n",
        "START 0 0\nCURVE R " + "5 " * 50_000 + "LEFT\n",
    ],
    ids=range(15),
)
@pytest.mark.parametrize("name", ["lot.csv", "lot.geojson", "lot.txt"])
def test_files_made_to_stall(tmp_path: Path, name: str, text: str) -> None:
    assert judged(tmp_path, name, text.encode()) != "read"
