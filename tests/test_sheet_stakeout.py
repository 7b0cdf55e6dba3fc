"""The crew's sheets: what is printed leads to every stake, to scale, in type that can be read, in few sheets."""

from __future__ import annotations

import cmath
import itertools
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader
from shapely import LineString, Point, Polygon, STRtree, box, union_all

from layout.model import Design, Lateral
from layout.sheets.crew import crew_sheets, write_stakeout
from layout.sheets.crew.paper import Frame, paper_of
from layout.sheets.crew.picture import view_of
from layout.sheets.crew.stretches import middle_of, stretches
from layout.sheets.crew.strips import GAIN, north_marks, strips_of
from layout.sheets.crew.table import letters_of, table_width
from layout.sheets.lettering import CAPITAL, Lettering
from layout.sheets.marks import Area, Dots, Drawing, Line, Symbol, Text
from layout.stakes import stake_out
from layout.units import FOOT
from tests.fields import curved_field, tree_field, wide_field
from tests.staked import met

FIGURE = r"(-?\d+\.\d\d)"


def with_stakes(design: Design, *, ties: bool = True) -> Design:
    """A design staked, from four fixed points about it."""
    if ties:
        left, low, right, high = design.site.bed.outline.bounds
        corners = ((left - 5, low - 8), (right + 6, low - 4), (right + 3, high + 9), (left - 7, high + 4))
        named = tuple((f"mark {n}", corner) for n, corner in enumerate(corners, start=1))
        design = replace(
            design, site=replace(design.site, stakeout=replace(design.site.stakeout, ties=named))
        )
    staking = stake_out(
        design.site, design.laying, design.plumbing, heights=lambda points: [None] * len(points)
    )
    return replace(design, staking=staking)


@pytest.fixture(scope="module", params=["curved ft", "curved m", "tree", "no ties"])
def design(request: pytest.FixtureRequest) -> Design:
    made = {
        "curved ft": lambda: with_stakes(curved_field()),
        "curved m": lambda: with_stakes(curved_field("m")),
        "tree": lambda: with_stakes(tree_field()),
        "no ties": lambda: with_stakes(curved_field(), ties=False),
    }
    return made[request.param]()


@pytest.fixture(scope="module")
def sheets(design: Design) -> list[Drawing]:
    return crew_sheets(design)


def texts(drawing: Drawing) -> list[Text]:
    return [mark for mark in drawing.sheets[0].marks if isinstance(mark, Text)]


def test_the_file_has_a_page_for_each_sheet(tmp_path: Path) -> None:
    """Read back as the crew has it."""
    design = with_stakes(curved_field())
    assert design.staking is not None
    design = replace(design, staking=replace(design.staking, stakes=design.staking.stakes[:50]))
    path = tmp_path / "stakeout.pdf"
    write_stakeout(design, path)
    pages, sheets = PdfReader(path).pages, crew_sheets(design)
    for page, drawing in zip(pages, sheets, strict=True):
        assert [float(side) / 72 for side in page.mediabox[2:]] == [17.0, 11.0]
        said = "".join(page.extract_text().split())
        for row in rows_in(drawing).values():
            assert "".join(row.split()) in said
    again = tmp_path / "again.pdf"
    write_stakeout(design, again)
    assert again.read_bytes() == path.read_bytes()


def test_every_stake_is_on_one_sheet_in_walking_order(design: Design, sheets: list[Drawing]) -> None:
    assert design.staking is not None
    printed = [number for drawing in sheets for number in rows_in(drawing)]
    assert printed == [stake.number for stake in design.staking.stakes]


def enlargements(drawing: Drawing) -> list[Polygon]:
    """The frames of larger pictures of crowded stakes: those that a caption stands on."""
    captions = [mark.at for mark in texts(drawing) if mark.text.startswith("Enlarged, ")]
    areas = [mark.shape for mark in drawing.sheets[0].marks if isinstance(mark, Area)]
    return [
        area
        for area in areas
        if isinstance(area, Polygon)
        and any(math.dist((area.bounds[0] + 0.05, area.bounds[3] + 0.07), at) < 1e-6 for at in captions)
    ]


def rows_in(drawing: Drawing) -> dict[int, str]:
    """The rows of the table: stake numbers, and the line that stands at the same height beside each."""
    picture = next(mark for mark in drawing.sheets[0].marks if isinstance(mark, Area))
    left = picture.shape.bounds[2]
    larger = enlargements(drawing)
    beside = [
        mark
        for mark in texts(drawing)
        if mark.at[0] > left and not any(window.contains(Point(mark.at)) for window in larger)
    ]
    numbers = {
        mark.at[1]: int(mark.text) for mark in beside if mark.text.isdecimal() and mark.align == "right"
    }
    return {
        numbers[mark.at[1]]: mark.text for mark in beside if mark.at[1] in numbers and mark.align == "left"
    }


def test_the_printed_rows_alone_lead_to_every_stake(design: Design, sheets: list[Drawing]) -> None:
    """By an independent intersection, from the letters and figures of the sheet."""
    staking, frame = design.staking, design.site.frame
    assert staking is not None
    unit = frame.units.length
    letters = {letter: np.asarray(at) / unit for at, letter in letters_of(design.site).items()}
    start, end = (np.asarray(at) / unit for at in staking.baseline)
    ahead = (end - start) / np.hypot(*(end - start))
    found: dict[int, str] = {}
    for drawing in sheets:
        found |= rows_in(drawing)
    assert set(found) == {stake.number for stake in staking.stakes}
    for stake in staking.stakes:
        place = np.asarray(stake.at) / unit
        row = found[stake.number]
        ties = re.search(rf"(T\d) {FIGURE}\s+(T\d) {FIGURE}\s+(left|right)$", row)
        base = re.search(rf"{FIGURE}\s+{FIGURE}(?: ([RL]))?(?:\s+T|$|\s+baseline)", row)
        assert base is not None, row
        along, aside, side = float(base[1]), float(base[2]), base[3]
        square = np.array([ahead[1], -ahead[0]]) * (1 if side == "R" else -1)
        assert (
            np.hypot(*(start + along * ahead + aside * square - place)) <= stake.baseline.error / unit + 1e-6
        )
        if stake.swing is not None:
            assert ties is not None, row
            one, other = letters[ties[1]], letters[ties[3]]
            at = met(tuple(one), float(ties[2]), tuple(other), float(ties[4]), ties[5])
            assert abs(at - complex(*place)) <= stake.swing.error / unit + 1e-6
        if stake.run and stake.station is not None:
            assert row.startswith(stake.run)
            assert f"{stake.station / unit:.2f}" in row


def test_stakes_are_drawn_where_they_are(design: Design, sheets: list[Drawing]) -> None:
    """Dots to the stated scale, and beside each dot no other number than its own."""
    assert design.staking is not None
    by_number = {stake.number: stake for stake in design.staking.stakes}
    for drawing in sheets:
        view = drawing.sheets[0].view
        assert view is not None
        words = re.search(r"1 in = ([\d.]+) ft|1 : ([\d.]+)", drawing.scale)
        assert words is not None
        unit = design.site.frame.units.length
        ground = float(words[1]) * unit if words[1] else float(words[2]) * 0.0254
        assert view.metres_per_inch == pytest.approx(ground)
        dots = [at for mark in drawing.sheets[0].marks if isinstance(mark, Dots) for at in mark.points]
        window = box(*view.window)
        numbers = rows_in(drawing)
        for number in numbers:
            at = view.to_paper([by_number[number].at])[0]
            assert window.contains(box(*(at - 0.02), *(at + 0.02)))
            assert min(math.dist(at, dot) for dot in dots) < 1e-9


def test_nothing_is_smaller_than_ten_point_and_nothing_overlaps(sheets: list[Drawing]) -> None:
    lettering = Lettering()
    for drawing in sheets:
        paper = box(0.2, 0.2, drawing.paper.width - 0.2, drawing.paper.height - 0.2)
        marks = texts(drawing)
        assert min(mark.height for mark in marks) >= 10 / 72 * CAPITAL
        boxes = [lettering.box(mark).buffer(-0.025) for mark in marks]
        assert all(paper.contains(shape) for shape in boxes)
        tree = STRtree(boxes)
        pairs = [
            (marks[a].text, marks[b].text) for a, b in tree.query(boxes, predicate="intersects").T if a < b
        ]
        assert pairs == []
        pens = [
            mark.pen
            for mark in (*drawing.plan, *drawing.sheets[0].marks)
            if isinstance(mark, Line) and mark.pen
        ]
        assert {pen.colour.value for pen in pens} <= {"black", "grey"}


def test_the_check_is_true_and_can_be_measured(design: Design, sheets: list[Drawing]) -> None:
    assert design.staking is not None
    unit = design.site.frame.units.length
    by_number = {stake.number: np.asarray(stake.at) / unit for stake in design.staking.stakes}
    for drawing in sheets:
        said = [mark.text for mark in texts(drawing)]
        place = next(number for number, text in enumerate(said) if text.startswith("CHECK"))
        asked = " ".join(said[place : place + 2])
        first, second = map(int, re.findall(r"stake (\d+)", asked))
        must = next(
            float(found[1]) for text in said[place:] if (found := re.fullmatch(r"([\d.]+) (?:ft|m)", text))
        )
        step = design.staking.step / unit
        assert must == pytest.approx(
            float(np.hypot(*(by_number[first] - by_number[second]))), abs=step / 2 + 1e-6
        )
        assert {first, second} <= set(rows_in(drawing))


def test_laterals_are_painted_by_turns_and_numbered(design: Design, sheets: list[Drawing]) -> None:
    def lateral_of(run: str) -> Lateral:
        return next(lateral for lateral in design.laterals if run in lateral.runs)

    seen: dict[str, str] = {}
    for drawing in sheets:
        text = " ".join(mark.text for mark in texts(drawing))
        assert "CALL BEFORE YOU DIG" in text
        assert "LEVEL" in text
        runs = {row.split()[0] for row in rows_in(drawing).values() if re.match(r"R\d", row)}
        for lateral in {lateral_of(run).name for run in runs}:
            found = re.search(rf"Lateral {lateral}: (WHITE|PINK), number (\d+) at both ends", text)
            assert found is not None
            assert found[2] == lateral[1:]
            seen[lateral] = found[1]
    colours = [seen[lateral.name] for lateral in design.laterals]
    assert all(one != other for one, other in itertools.pairwise(colours))


def test_a_large_field_takes_few_sheets() -> None:
    design = with_stakes(wide_field(runs=90, length=320.0), ties=False)
    assert design.staking is not None
    assert len(design.staking.stakes) > 2500
    sheets = crew_sheets(design)
    assert len(sheets) <= 32
    shown = set().union(*(rows_in(drawing) for drawing in sheets))
    ends = {stake.number for stake in design.staking.stakes if stake.kind == "run end"}
    assert ends <= shown
    said = " ".join(mark.text for mark in texts(sheets[3]))
    assert f"{len(design.staking.stakes) - len(shown):,} stakes between those of these sheets" in said


def test_grid_and_ground() -> None:
    """A plan on a grid says what a tape on the ground reads; a map, that known points come first."""
    design = curved_field()
    frame = replace(design.site.frame, crs="EPSG:6494", origin=(13_000_000.0, 700_000.0))
    design = with_stakes(replace(design, site=replace(design.site, frame=frame)))
    text = " ".join(mark.text for mark in texts(crew_sheets(design)[1]))
    from layout.sheets.grid import factors_of

    factors = factors_of(design.site)
    assert factors is not None
    found = re.search(r"the tape reads (longer|shorter): (?:add|take off) (\d\.\d+) ft to every 100 ft", text)
    assert found is not None
    more = (1 / factors.combined - 1) * 100
    assert float(found[2]) == pytest.approx(abs(more), abs=0.0006)
    assert (found[1] == "longer") == (more > 0)
    assert "Taken from a map" not in text
    noted = replace(
        design.site, notes=("bed.geojson: longitude and latitude on WGS 84 are put on EPSG:6494",)
    )
    text = " ".join(mark.text for mark in texts(crew_sheets(replace(design, site=noted))[1]))
    assert "Taken from a map" in text


def test_feet_and_inches_on_the_sheets() -> None:
    design = curved_field()
    rules = replace(design.site.stakeout, rounding="1/8 in")
    design = with_stakes(replace(design, site=replace(design.site, stakeout=rules)))
    sheets = crew_sheets(design)
    rows = [row for drawing in sheets for row in rows_in(drawing).values()]
    assert all(re.search(r"\d+' \d+(?: \d/\d)?\"", row) for row in rows)
    assert not any("\u2026" in row for row in rows)


def test_what_a_stake_marks_is_told_in_full() -> None:
    """Where several things stand at one stake, in as many rows as it takes; no pipe is named twice."""
    design = with_stakes(curved_field())
    staking = design.staking
    assert staking is not None
    long = "Z1 supply manifold end + Z1 supply zone valve + Z1 supply air valve + riser L14 supply"
    stakes = [replace(one, description=long) if one.kind == "riser" else one for one in staking.stakes]
    design = replace(design, staking=replace(staking, stakes=tuple(stakes)))
    (sheet,) = crew_sheets(design)[-1:]
    said = " ".join(text.text for text in texts(sheet))
    said = re.sub(r" +", " ", said)
    risers = sum(one.kind == "riser" for one in stakes)
    assert risers == 2
    assert [said.count(word) for word in ("Z1", "zone", "air", "L14")] == [risers] * 4
    assert "\u2026" not in said
    bottom = min(text.at[1] for text in texts(sheet))
    assert bottom > 0.4


def test_a_tight_bend_is_told_by_its_radius() -> None:
    """Of stakes nearer than a foot to each other on a bend one stands on the sheet; the point files have all."""
    turn = np.linspace(-math.pi / 2, 0.0, 60)
    arc = np.array([20.0, 1.5]) + 1.5 * np.column_stack((np.cos(turn), np.sin(turn)))
    line = np.vstack(([[0.0, 0.0]], arc, [[21.5, 21.5]])) * FOOT
    plain = curved_field()
    run = replace(plain.laying.runs[0], line=LineString(line))
    design = with_stakes(replace(plain, laying=replace(plain.laying, runs=(run,))))
    staking = design.staking
    assert staking is not None
    sheets = crew_sheets(design)
    shown = {number for drawing in sheets for number in rows_in(drawing)}
    on_run = [stake for stake in staking.stakes if stake.run]
    left_out = [stake for stake in on_run if stake.number not in shown]
    assert left_out
    kept = sorted(stake.station or 0.0 for stake in on_run if stake.number in shown)
    assert np.diff(kept).min() >= FOOT - 1e-6
    for stake in left_out:
        assert min(abs((stake.station or 0.0) - station) for station in kept) < 1.25 * FOOT
    said = " ".join(text.text for drawing in sheets for text in texts(drawing))
    found = re.search(
        r"Tight bends, all of their stakes in stakeout.csv: R1 from (\S+) to (\S+), radius (\S+) ft", said
    )
    assert found is not None
    begins, ends, radius = map(float, found.groups())
    assert radius == pytest.approx(1.5, abs=0.02)
    assert (begins, ends) == pytest.approx((20.0, 20 + 1.5 * math.pi / 2), abs=0.06)


def test_long_runs_are_cut_into_strips() -> None:
    """Runs that one picture would show as one bar are shown part by part, each turned to lie level, north marked."""
    plain = curved_field()
    turns = np.linspace(0.3 * math.pi, 0.7 * math.pi, 80)[::-1]
    ring = np.column_stack((np.cos(turns), np.sin(turns)))
    one = plain.laying.runs[0]
    runs = tuple(
        replace(one, name=f"R{n + 1}", row=n, line=LineString((500 - 2 * n) * FOOT * ring)) for n in range(4)
    )
    rules = replace(plain.site.stakeout, interval=50 * FOOT, tolerance=FOOT)
    design = replace(plain, laying=replace(plain.laying, runs=runs), site=replace(plain.site, stakeout=rules))
    design = with_stakes(design)
    frame = Frame(paper_of(design.site.frame.units), table_width(design.site))
    left, bottom, right, top = frame.window
    for stretch in stretches(design, most=60, window=(right - left, top - bottom), rows_of=lambda _: 1):
        if stretch.kind != "runs":
            continue
        whole, _ = view_of(design, middle_of(stretch), frame)
        strips, _ = strips_of(design, stretch, frame, whole)
        assert len(strips) > 1
        assert strips[0].view.metres_per_inch <= whole.metres_per_inch / GAIN
        shown = [stake.number for strip in strips for stake in strip.stretch.stakes]
        assert sorted(shown) == sorted(stake.number for stake in stretch.stakes)
        for strip in strips:
            places = np.array([stake.at for stake in strip.stretch.stakes])
            paper = strip.view.to_paper(places)
            assert box(*strip.view.window).buffer(-0.3).contains(LineString(paper))
            # true to scale, only turned
            apart = np.hypot(*(places - places[0]).T) / strip.view.metres_per_inch
            assert np.hypot(*(paper - paper[0]).T) == pytest.approx(apart)
            assert strip.view.to_plan(paper) == pytest.approx(places)
            arrow, letter = north_marks(strip)
            assert isinstance(arrow, Symbol)
            assert isinstance(letter, Text)
            north = strip.view.to_paper([(0.0, 0.0), (0.0, 1.0)])
            way = complex(*(north[1] - north[0]))
            assert math.degrees(cmath.phase(way / 1j)) == pytest.approx(arrow.angle)
            middle = complex(letter.at[0], letter.at[1] + letter.height / 2)
            assert cmath.phase((middle - complex(*arrow.at)) / way) == pytest.approx(0.0, abs=1e-6)
    said = [text.text for drawing in crew_sheets(design)[1:2] for text in texts(drawing)]
    assert any("cut into strips" in text for text in said)


def test_stakes_of_the_check_are_numbered_and_what_is_not_is_said(sheets: list[Drawing]) -> None:
    for drawing in sheets:
        texts = [mark.text for mark in drawing.sheets[0].marks if isinstance(mark, Text)]
        window = box(*drawing.sheets[0].view.window) if drawing.sheets[0].view else None
        assert window is not None
        shown, larger = (
            {
                mark.text
                for mark in drawing.sheets[0].marks
                if isinstance(mark, Text) and part.contains(Point(mark.at)) and mark.text.isdigit()
            }
            for part in (window, union_all(enlargements(drawing)))
        )
        said = " ".join(texts)
        check = re.search(r"from stake (\d+) to stake (\d+)", said)
        assert check is None or set(check.groups()) <= shown
        shown |= larger
        if {str(number) for number in rows_in(drawing)} - shown:
            assert "Not lettered in the picture" in said


def test_no_note_is_left_out_for_want_of_room(design: Design) -> None:
    """However long the runs and however wide the table, every sheet says what must be known before digging."""
    crowded = replace(design.site.stakeout, interval=0.6, rounding="1/8 in")
    ties = bool(crowded.ties)
    made = with_stakes(replace(design, site=replace(design.site, stakeout=crowded)), ties=ties)
    for drawing in crew_sheets(made):
        said = " ".join(mark.text for mark in texts(drawing))
        assert "CALL BEFORE YOU DIG" in said
        assert "Measure LEVEL" in said
        assert "never a utility's colour" in said
        assert ties == ("Swing two tapes" in said)
        boxes = [Lettering().box(mark).buffer(-0.025) for mark in texts(drawing)]
        assert not [
            pair for pair in STRtree(boxes).query(boxes, predicate="intersects").T if pair[0] < pair[1]
        ]
