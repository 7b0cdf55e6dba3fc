"""No label on another, on a symbol or off its window: on all example sites, and on thirty varied beds planned whole."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Polygon

from layout.model import Design
from layout.plan import plan_field
from layout.readers.sitefile import read_site
from layout.sheets import layers
from layout.sheets.arrange import MARGIN
from layout.sheets.drafting import draft
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Drawing, Line, Sheet, Symbol, Text
from layout.sheets.seen import ground_of
from tests.examples import NAMES, Example

BEDS = 30
HAIR = 1e-6


def faults(drawing: Drawing) -> list[str]:
    """Everything that covers a text, and every text off its window or border, in words."""
    lettering = Lettering()
    return [
        f"{sheet.name}: {fault}"
        for sheet in drawing.sheets
        for fault in (*_on_plan(drawing, sheet, lettering), *_on_paper(drawing, sheet, lettering))
    ]


def _on_plan(drawing: Drawing, sheet: Sheet, lettering: Lettering) -> Iterator[str]:
    view = sheet.view
    if view is None:
        return
    window = shapely.box(*view.window)
    here = ground_of(view)
    seen = [
        mark for mark in drawing.plan if isinstance(mark, Symbol) and here.intersects(shapely.Point(mark.at))
    ]
    texts, boxes = [], []
    for mark in drawing.plan:
        if isinstance(mark, Text):
            x, y = view.to_paper([mark.at])[0].tolist()
            box = lettering.box(mark, at=(x, y))
            # also what begins on another sheet and reaches into this one
            if window.intersects(box):
                texts.append(mark)
                boxes.append(box)
    yield from (
        f"{mark.text} leaves the window"
        for mark, box in zip(texts, boxes, strict=True)
        if not window.covers(box)
    )
    yield from _pairs(texts, boxes)
    symbols = [
        (mark.name, shapely.Point(view.to_paper([mark.at])[0]).buffer(0.45 * mark.size))
        for mark in seen
        if mark.layer is not layers.LEADER and mark.layer is not layers.DIMENSION
    ]
    core = [box.buffer(-0.01) for box in boxes]
    leaders = [mark.line for mark in drawing.plan if isinstance(mark, Line) and mark.layer is layers.LEADER]
    crossing = shapely.STRtree(core).query(
        [shapely.transform(line, view.to_paper) for line in leaders], predicate="intersects"
    )
    yield from (f"a leader runs through {texts[index].text}" for index in crossing[1])
    tree = shapely.STRtree([shape for _, shape in symbols])
    for index, box in enumerate(boxes):
        yield from (
            f"{texts[index].text} covers {symbols[one][0]}" for one in tree.query(box, predicate="intersects")
        )


def _on_paper(drawing: Drawing, sheet: Sheet, lettering: Lettering) -> Iterator[str]:
    border = shapely.box(MARGIN, MARGIN, drawing.paper.width - MARGIN, drawing.paper.height - MARGIN)
    texts = [mark for mark in sheet.marks if isinstance(mark, Text)]
    boxes = [lettering.box(mark) for mark in texts]
    yield from (
        f"{mark.text} leaves the border"
        for mark, box in zip(texts, boxes, strict=True)
        if not border.covers(box)
    )
    yield from _pairs(texts, boxes)
    if sheet.view is not None:
        window = shapely.box(*sheet.view.window)
        yield from (
            f"{mark.text} stands on the plan"
            for mark, box in zip(texts, boxes, strict=True)
            if window.intersects(box)
        )


def _pairs(texts: list[Text], boxes: list[Polygon]) -> Iterator[str]:
    first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    for i, j in zip(first.tolist(), second.tolist(), strict=True):
        if i < j and boxes[i].intersection(boxes[j]).area > HAIR:
            yield f"{texts[i].text} and {texts[j].text} overlap"


@pytest.mark.parametrize("name", NAMES)
def test_nothing_collides_on_the_examples(name: str, example: Callable[[str], Example]) -> None:
    assert faults(draft(example(name).design)) == []


# --- thirty beds ------------------------------------------------------------------------------------------


def site_text(seed: int) -> str:
    """Write a site: a winding bed, and by turns a tree in it, zones, levels, metres, a stated sheet, features."""
    random = np.random.default_rng(seed)
    metric = seed % 3 == 2
    unit = 0.3 if metric else 1.0
    long, wide = random.uniform(35, 110), random.uniform(8, 17)
    swing, waves, turned = random.uniform(0, 9), random.uniform(0.3, 1.3), random.uniform(0, 2 * math.pi)
    t = np.linspace(0, 1, 25)
    x, y = long * t, swing * np.sin(2 * math.pi * waves * t)
    normal = np.stack((-np.gradient(y), np.gradient(x)))
    normal /= np.hypot(*normal)
    line = np.stack((x, y))
    ring = np.concatenate((line + wide / 2 * normal, (line - wide / 2 * normal)[:, ::-1]), axis=1).T
    matrix = np.array([[math.cos(turned), math.sin(turned)], [-math.sin(turned), math.cos(turned)]])

    def placed(points: object) -> str:
        moved = (np.asarray(points, dtype=float).reshape(-1, 2) @ matrix + 300.0) * unit
        return "[" + ", ".join(f"[{a:.3f}, {b:.3f}]" for a, b in moved) + "]"

    def one(points: object) -> str:
        return placed(points)[1:-1]

    parts = [
        f'title = "Bed {seed}"',
        f'units = "{"m" if metric else ("ft" if seed % 2 else "us-ft")}"',
        f"[bed]\noutline = {placed(ring)}\nclearance = {unit:.2f}",
    ]
    if seed % 4 == 1:
        grid = [(a, b) for a in np.linspace(-20, long + 20, 7) for b in np.linspace(-40, 40, 6)]
        levels = [(*row, 50 + 0.04 * row[0] + 0.06 * row[1]) for row in grid]
        moved = [(*((np.array(row[:2]) @ matrix + 300.0) * unit), row[2] * unit) for row in levels]
        parts[-1] += "\nlevels = [" + ", ".join(f"[{a:.2f}, {b:.2f}, {c:.3f}]" for a, b, c in moved) + "]"
    house = [(a, b) for a, b in ((0.2, 12), (0.6, 12), (0.6, 30), (0.2, 30))]
    top = swing + wide / 2
    features = [
        ("dwelling", "building", placed([(a * long, top + b) for a, b in house]), 5.0),
        ("lot line", "property line", placed([(-15, -top - 12), (long + 15, -top - 12)]), 5.0),
        ("well", "well", placed([(long + 25, 0)]), 10.0),
        (
            "a rather long name for a pond by the lane",
            "water body",
            placed([(long + 8, top + 8), (long + 20, top + 8), (long + 14, top + 16)]),
            3.0,
        ),
        ("drive", "drive", placed([(-20, top + 34), (long + 10, top + 40)]), 0.0),
    ]
    for name, kind, shape, setback in itertools.islice(features, 1 + seed % 5):
        parts.append(
            f'[[feature]]\nname = "{name}"\nkind = "{kind}"\nshape = {shape}\nsetback = {setback * unit:.2f}'
        )
    if seed % 5 == 3:
        at = placed([line.T[12]])
        parts.append(
            f'[[feature]]\nname = "oak"\nkind = "tree"\nshape = {at}\nsetback = {1.2 * unit:.2f}\ninside = true'
        )
    parts.append(f"[tubing]\nemitter_spacing = {2 * unit:.2f}\nemitter_flow = {0.6 * (3.8 if metric else 1)}")
    parts.append(
        f'[runs]\nspacing = {(1 + seed % 2) * unit:.2f}\npattern = "{("left", "right", "centre")[seed % 3]}"'
    )
    if seed % 4 == 2:
        parts.append("[zones]\ncount = 2")
    parts.append(f"[pump]\nat = {one([(-12 - 0.2 * (seed % 7), 3)])}")
    if seed % 6 == 4:
        parts.append(
            f'[sheet]\nsize = "{"A4" if metric else "ANSI A"}"\nscale = "{"1:50" if metric else "1 in = 5 ft"}"'
        )
    elif seed % 6 == 5:
        parts.append('[sheet]\ndrawn_by = "A. B."\ndate = 2025-03-14\nsize = "ARCH B"')
    return "\n".join(parts) + "\n"


def planned(seed: int, folder: Path) -> Design:
    path = folder / "site.toml"
    path.write_text(site_text(seed), encoding="utf-8")
    return plan_field(read_site(path))


@pytest.mark.parametrize("seed", range(BEDS))
def test_nothing_collides_on_varied_beds(seed: int, tmp_path: Path) -> None:
    design = planned(seed, tmp_path)
    drawing = draft(design)
    assert sum(isinstance(mark, Text) for mark in drawing.plan) > 5
    assert faults(drawing) == []


def test_the_check_finds_a_label_that_is_moved_onto_another(tmp_path: Path) -> None:
    drawing = draft(planned(0, tmp_path))
    first, second = [mark for mark in drawing.plan if isinstance(mark, Text)][:2]
    plan = tuple(replace(mark, at=first.at) if mark is second else mark for mark in drawing.plan)
    assert any("overlap" in fault for fault in faults(replace(drawing, plan=plan)))
