"""The crew's sheets at their limits: hardly any stakes, no baseline, no room, nothing to check."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString, Point, box

from layout.errors import SheetError
from layout.model import Design, FeatureKind
from layout.sheets.crew import crew_sheets
from layout.sheets.crew.enlarged import GAIN, corners, draw, enlarged
from layout.sheets.crew.notes import bend_words, check_line, check_words, ground_words, pipe_words
from layout.sheets.crew.paper import CREW, MARGIN, Frame, Letterer, paper_of
from layout.sheets.crew.picture import Taken, background, key_marks, view_of
from layout.sheets.crew.stretches import Stretch, stretches
from layout.sheets.crew.table import letters_of, table_width
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Dots, Line, Text, View
from layout.units import FOOT
from tests.fields import curved_field, wide_field
from tests.test_sheet_stakeout import texts, with_stakes

VIEW = View(window=(0.0, 0.0, 10.0, 8.0), centre=(0.0, 0.0), metres_per_inch=5.0)


def with_first(design: Design, count: int) -> Design:
    """With the first stakes alone: ends of the baseline and corners of the bed."""
    assert design.staking is not None
    return replace(design, staking=replace(design.staking, stakes=design.staking.stakes[:count]))


def frame_of(design: Design) -> Frame:
    return Frame(paper_of(design.site.frame.units), table_width(design.site))


def test_without_stakes_there_are_no_sheets() -> None:
    assert crew_sheets(curved_field()) == []


def test_a_single_stake_has_a_sheet_and_nothing_to_check() -> None:
    design = with_first(with_stakes(curved_field()), 1)
    (drawing,) = crew_sheets(design)
    said = " ".join(mark.text for mark in texts(drawing))
    assert "Sheet 1 of 1" in said
    assert "stake 1" in said
    assert "CHECK" not in said
    assert design.staking is not None
    assert check_line(design, design.staking.stakes) is None
    assert check_words(design, None) == ("", "")


def test_no_check_is_asked_for_through_a_house() -> None:
    """A building over the whole field: no tape can be drawn from any stake to any other."""
    design = with_stakes(curved_field())
    assert design.staking is not None
    assert check_line(design, design.staking.stakes[:4]) is not None
    everywhere = Point(0, 0).buffer(1e4)
    house = replace(design.site.features[0], kind=FeatureKind.BUILDING, shape=everywhere)
    covered = replace(design, site=replace(design.site, features=(house,)))
    assert check_line(covered, design.staking.stakes[:4]) is None


def test_no_bend_no_word_of_it() -> None:
    design = with_stakes(curved_field())
    assert bend_words(design, Stretch("runs", ())) == ""


def test_where_grid_and_ground_agree_that_is_said() -> None:
    """On a standard parallel of a Lambert grid the scale is 1: that of Michigan Central at 45.7 degrees (EPSG 6494)."""
    from pyproj import Transformer

    turn = Transformer.from_crs("EPSG:4326", "EPSG:6494", always_xy=True)
    x, y = turn.transform(-84.3666667, 45.7)
    design = curved_field()
    frame = replace(design.site.frame, crs="EPSG:6494", origin=(x, y))
    same = replace(design, site=replace(design.site, frame=frame))
    assert ground_words(same) == "Grid and ground are the same here on a tape (combined factor 1.000000)."
    assert ground_words(design) == ""


def test_what_no_scale_shows_is_an_error() -> None:
    design = with_stakes(curved_field())
    with pytest.raises(SheetError, match="larger than the smallest scale shows"):
        view_of(design, (0.0, 0.0, 1e7, 1e7), frame_of(design))


def test_without_a_baseline_none_is_drawn() -> None:
    staked = with_stakes(curved_field())
    assert staked.staking is not None
    baseline = LineString(staked.staking.baseline)

    def lines(design: Design) -> list[LineString]:
        return [mark.line for mark in background(design, VIEW, Stretch("runs", ())) if isinstance(mark, Line)]

    assert baseline in lines(staked)
    assert baseline not in lines(replace(staked, staking=None))
    key = key_marks(replace(staked, staking=None), Stretch("runs", ()), 0.0, 0.0, 3.0, 2.0)
    assert {mark.text for mark in key if isinstance(mark, Text)} == set(letters_of(staked.site).values())
    whole = key_marks(staked, Stretch("runs", ()), 0.0, 0.0, 3.0, 2.0)
    assert {mark.text for mark in whole if isinstance(mark, Text)} > {"A", "B"}


def test_a_key_too_small_for_letters_has_none() -> None:
    staked = with_stakes(curved_field())
    key = key_marks(staked, Stretch("runs", ()), 0.0, 0.0, 0.37, 0.25)
    assert [mark.text for mark in key if isinstance(mark, Text)] == []


@pytest.mark.parametrize("full", [False, True])
def test_a_letter_of_a_fixed_point_is_never_left_out_for_what_stands_about(full: bool) -> None:
    """Where all is taken it stands at its first place all the same: without it the tapes cannot be held."""
    taken = Taken(VIEW, Lettering(), [box(*VIEW.window)] if full else [])
    marks = taken.beside("C", np.array([5.0, 4.0]))
    (text,) = [mark for mark in marks if isinstance(mark, Text)]
    assert math.dist(text.at, (5.0, 4.0)) < 0.3
    assert len(taken.letters) == 1


def test_a_letter_wider_than_the_window_is_not_drawn() -> None:
    small = replace(VIEW, window=(0.0, 0.0, 0.1, 0.1))
    assert Taken(small, Lettering(), []).beside("C", np.array([0.05, 0.05])) == []


def test_of_very_many_fixed_points_as_many_are_listed_as_find_room() -> None:
    plain = curved_field()
    left, low, _, _ = plain.site.bed.outline.bounds
    places = [(left - 5 - n / 10, low - 8 + n / 7) for n in range(120)]
    ties = tuple((f"mark {n}", at) for n, at in enumerate(places, start=1))
    rules = replace(plain.site.stakeout, ties=ties)
    design = with_stakes(replace(plain, site=replace(plain.site, stakeout=rules)), ties=False)
    sheets = crew_sheets(design)
    said = [mark for mark in texts(sheets[0]) if "mark " in mark.text]
    assert 5 < len(said) < 120
    assert all(mark.at[1] > MARGIN for mark in texts(sheets[0]))
    assert not any(mark.text == "Sheets" for mark in texts(sheets[0])), "no room is left for the list"


def test_sheets_that_find_no_room_in_the_list_are_left_out_of_it() -> None:
    """Sixty rows and 38 fixed points: the list ends at the foot of the sheet."""
    plain = wide_field(60, length=60.0)
    left, low, _, _ = plain.site.bed.outline.bounds
    ties = tuple((f"mark {n}", (left - 3.0, low + n)) for n in range(38))
    rules = replace(plain.site.stakeout, ties=ties)
    design = with_stakes(replace(plain, site=replace(plain.site, stakeout=rules)), ties=False)
    sheets = crew_sheets(design)
    listed = [mark.text for mark in texts(sheets[0]) if mark.text[:1].isdecimal() and "  " in mark.text]
    assert all(mark.at[1] > MARGIN - 0.1 for mark in texts(sheets[0]))
    assert len(listed) < len(sheets)


def test_a_stake_without_ties_is_set_from_the_baseline() -> None:
    design = with_stakes(curved_field())
    assert design.staking is not None
    stakes = tuple(replace(stake, swing=None) for stake in design.staking.stakes[:4])
    design = replace(design, staking=replace(design.staking, stakes=stakes))
    rows = [mark.text.split() for mark in texts(crew_sheets(design)[0])]
    told = [row for row in rows if row[0] in {"baseline", "bed"} and len(row) > 4]
    assert [row[-1] for row in told] == ["baseline"] * 4, (
        "in full, where the tapes from fixed points would stand"
    )


def test_few_stakes_of_a_row_are_all_kept() -> None:
    """A large field has only some stakes of each row on its sheets; rows of few stakes have all of theirs."""
    design = with_stakes(wide_field(160, length=14.0))
    parts = stretches(design, most=60, window=(10.0, 7.0), rows_of=lambda _: 1)
    rows = [part for part in parts if part.kind == "runs"]
    assert design.staking is not None
    on_runs = sum(bool(stake.run) for stake in design.staking.stakes)
    assert sum(len(part.stakes) for part in rows) == on_runs


def pipes_of(design: Design) -> Stretch:
    """The stakes of manifolds, risers and lines."""
    assert design.staking is not None
    return Stretch(
        "pipes", tuple(stake for stake in design.staking.stakes if "riser" in stake.description), ()
    )


def test_crowded_stakes_are_shown_larger_with_those_beside_them_and_stand_true_to_scale() -> None:
    design = with_stakes(wide_field())
    stretch = pipes_of(design)
    window = (9.0, 1.0, 16.0, 5.0)
    bare = stretch.stakes[1:3]
    found = enlarged(design, stretch, bare, window, VIEW)
    assert found is not None
    assert found.view.metres_per_inch * GAIN <= VIEW.metres_per_inch
    assert {stake.number for stake in bare} < {stake.number for stake in found.stretch.stakes}
    made = Letterer(Lettering())
    assert {stake.number for stake in draw(made, design, found, VIEW)} >= {stake.number for stake in bare}
    dots = np.array([at for mark in made.marks if isinstance(mark, Dots) for at in mark.points])
    stakes = np.array([stake.at for stake in found.stretch.stakes])
    apart, true = (np.sort(np.hypot(*(at[:, None] - at).T).ravel()) for at in (dots, stakes))
    assert apart * found.view.metres_per_inch == pytest.approx(true, abs=1e-9)
    assert all(box(*window).contains(Point(at)) for at in dots)
    (caption,) = (mark.text for mark in made.marks if isinstance(mark, Text) and "Enlarged" in mark.text)
    assert caption == f"Enlarged, {found.scale}"


def test_nothing_is_shown_larger_for_nothing_or_without_room() -> None:
    design = with_stakes(wide_field())
    stretch = pipes_of(design)
    window = (9.0, 1.0, 16.0, 5.0)
    assert enlarged(design, stretch, (), window, VIEW) is None
    assert enlarged(design, stretch, stretch.stakes[:1], (9.0, 1.0, 16.0, 2.5), VIEW) is None
    near = View(window=VIEW.window, centre=VIEW.centre, metres_per_inch=0.1)
    assert enlarged(design, stretch, stretch.stakes[:1], window, near) is None


def test_a_corner_is_free_where_neither_field_nor_letter_stands() -> None:
    design = with_stakes(wide_field())
    stretch = pipes_of(design)
    left, bottom, right, top = design.site.bed.outline.bounds
    wide = max(right - left, top - bottom)
    far = View(window=VIEW.window, centre=(left - 2 * wide, bottom - 2 * wide), metres_per_inch=wide)
    free = corners(design, stretch, far, [])
    assert free  # the field is small, up and to the right of the middle
    x, y = far.to_paper([(left, bottom)])[0]
    assert not any(box(*window).contains(Point(x, y)) for window in free)
    said = Text(layer=CREW, text="here", at=(free[0][0] + 1.0, free[0][1] + 1.0), height=0.1)
    assert free[0] not in corners(design, stretch, far, [said])


def test_a_lead_is_told_by_the_runs_it_lies_between() -> None:
    """A made-up lead midway between the first two runs, 2 ft apart; where it crosses runs, only the picture tells."""
    design = wide_field()
    assert pipe_words(design) == "Supply whole, return in dashes."
    (x, y), *_, (end, _) = design.laying.runs[0].line.coords
    between = y - FOOT

    def led(line: LineString) -> str:
        riser = replace(design.plumbing.risers[0], lateral="L1", kind="return", line=line)
        return pipe_words(replace(design, plumbing=replace(design.plumbing, risers=(riser,))))

    along = LineString([(x - FOOT, between), (x, between), (end, between), (end, y)])
    assert led(along).endswith(" Lead of L1 return: between R1 and R2, 1.00 ft from R1.")
    across = LineString([(x, y), (x + FOOT, y - 10 * FOOT), (x + 2 * FOOT, y - 30 * FOOT)])
    assert led(across).endswith(" Lead of L1 return: between runs, as pictured.")
