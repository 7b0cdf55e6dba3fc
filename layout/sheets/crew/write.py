"""The crew's sheets put together and written as one PDF, a page each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from shapely import box

from layout.model import Design, Site, Stake
from layout.sheets.crew.enlarged import corners, enlarged
from layout.sheets.crew.enlarged import draw as draw_enlarged
from layout.sheets.crew.notes import (
    DIG,
    FROM_MAP,
    LEVEL,
    PAINT,
    bend_words,
    check_line,
    check_remark,
    check_words,
    ground_words,
    is_from_map,
    paint_words,
    pipe_words,
    square_words,
)
from layout.sheets.crew.paper import (
    BOLD,
    CREW,
    FOOT,
    KEY_SHARE,
    KEY_WIDTH,
    LARGE,
    LARGEST,
    LETTER,
    MARGIN,
    PITCH,
    Frame,
    Letterer,
    paper_of,
)
from layout.sheets.crew.picture import (
    background,
    check_mark,
    feature_names,
    key_marks,
    number_stretches,
    of_this_sheet,
    stake_marks,
    view_of,
)
from layout.sheets.crew.stretches import Stretch, middle_of, stretches
from layout.sheets.crew.strips import Strip, north_marks, strips_of
from layout.sheets.crew.table import (
    error_of,
    letter_starts,
    letter_table,
    rows_of,
    rows_that_fit,
    table_width,
)
from layout.sheets.fieldmarks import bounds
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Colour, Drawing, Sheet, Symbol, View
from layout.sheets.pages import through
from layout.sheets.pdf import write_pages
from layout.sheets.plot import figure_of, settings
from layout.stakes import STEPS, rounding_of

TITLE = "Stake-out"
STRIPS = "The picture is cut into strips that lie level: follow the runs from strip to strip, each with its own north."
FEWEST_ROWS, ROWS_LESS = 12, 3
"""Rows that a table has at least, and by how many it is cut where notes find no room under it."""
STARTS = 10
"""Lines of the first sheet for the baseline and some fixed points, at least."""
ASK = 1.8
"""What is to be checked stands beside the figure where it has so much room, or else over it [in]."""
TITLE_ROOM = 1.0
"""The site's title has so much room at least beside the units [in]."""
BARE = 40
"""Stakes without a number in the picture that are named; the rest are counted."""


def write_stakeout(design: Design, path: Path) -> None:
    """Write all sheets, a page each, in the size of the paper."""
    title = Lettering().clean(design.site.title)
    with settings():
        figures = (figure_of(one, one.sheets[0], outlined=False) for one in crew_sheets(design))
        write_pages(figures, path, title=f"{title}: {TITLE}")


def crew_sheets(design: Design) -> list[Drawing]:
    """The crew's sheets of a design with stakes, one drawing each: an overview, the runs, the pipes."""
    site, lettering = design.site, Lettering()
    frame = Frame(paper_of(site.frame.units), table_width(site))
    left, bottom, right, top = frame.window
    most = rows_that_fit(frame, site)
    while True:
        parts = stretches(
            design,
            most=most,
            window=(right - left, top - bottom),
            rows_of=lambda stake: rows_of(stake, site, lettering),
        )
        if most <= FEWEST_ROWS or all(
            _has_room(design, part, frame, lettering, number=number)
            for number, part in enumerate(parts, start=1)
        ):
            break
        most = max(most - ROWS_LESS, FEWEST_ROWS)  # a shorter table leaves more room for notes
    return [
        _sheet(design, part, frame, lettering, number=number, parts=parts)
        for number, part in enumerate(parts, start=1)
    ]


def _sheet(
    design: Design,
    stretch: Stretch,
    frame: Frame,
    lettering: Lettering,
    *,
    number: int,
    parts: Sequence[Stretch],
) -> Drawing:
    site, staking = design.site, design.staking
    if staking is None:
        raise ValueError("a design without stakes has no crew's sheets")
    view, scale = view_of(design, _bounds(design, stretch), frame)
    strips, larger = strips_of(design, stretch, frame, view)
    made = Letterer(lettering)
    made.marks.append(Area(layer=CREW, shape=box(*view.window), pen=BOLD))
    check = check_line(design, stretch.stakes)
    first = frozenset() if check is None else frozenset({check.first.number, check.second.number})
    if strips:
        view, scale = strips[0].view, larger
        bare = _strips(made, design, strips, first)
    else:
        if check is not None:
            made.marks.append(check_mark(view, check))
        lettered, bare = stake_marks(design, stretch, view, lettering, first)
        made.marks += lettered
        if stretch.kind == "overview":
            made.marks += feature_names(design, view, lettering, lettered)
    _title(made, frame, design, stretch, view, scale, number, len(parts), turned=bool(strips))
    under = letter_table(made, frame, site, stretch.stakes) - PITCH
    if number > 1:
        under, bare = _enlarge(made, frame, design, stretch, view, bare, under, turned=bool(strips))
    notes = _foot(made, frame, design, stretch, bare, turned=bool(strips))
    lines = _lines(notes, frame, lettering)
    if number == 1:
        under = letter_starts(made, frame, site, staking, under, MARGIN + lines * PITCH)
        _index(made, frame, parts, under, MARGIN + lines * PITCH)
        under = MARGIN + (lines - 1) * PITCH + 0.02
    for text, strong in notes:
        under = made.lines(text, frame.beside + 0.05, under, frame.table - 0.1, strong=strong)
    return Drawing(
        title=lettering.clean(site.title),
        frame=site.frame,
        paper=frame.paper,
        scale=scale,
        plan=() if strips else tuple(background(design, view, stretch)),
        sheets=(Sheet(name=f"Stake-out {number}", marks=tuple(made.marks), view=None if strips else view),),
    )


def _has_room(design: Design, stretch: Stretch, frame: Frame, lettering: Lettering, *, number: int) -> bool:
    """Whether all notes of a sheet find room under its picture and its table, with one on stakes without a number."""
    made, site = Letterer(lettering), design.site
    under = letter_table(made, frame, site, stretch.stakes) - PITCH
    if number == 1:
        under -= STARTS * PITCH
    notes = _foot(made, frame, design, stretch, stretch.stakes[:1], turned=stretch.kind == "runs")
    return under - (_lines(notes, frame, lettering) - 1) * PITCH >= MARGIN


def _lines(notes: Sequence[tuple[str, bool]], frame: Frame, lettering: Lettering) -> int:
    """How many lines notes take under the table."""
    return sum(
        len(lettering.wrapped(text, LETTER, frame.table - 0.1, strong=strong)) for text, strong in notes
    )


def _strips(made: Letterer, design: Design, strips: Sequence[Strip], first: frozenset[int]) -> list[Stake]:
    """Draw the runs in strips one under the other; the stakes whose number found no room."""
    bare: list[Stake] = []
    for number, strip in enumerate(strips):
        made.marks += through(strip.shown, background(design, strip.shown, strip.stretch))
        lettered, left = stake_marks(design, strip.stretch, strip.view, made.lettering, first)
        made.marks += [*lettered, *north_marks(strip)]
        bare += left
        if number:
            x0, _, x1, y = strip.view.window
            made.rule(x0, y, x1, y)
    return bare


def _enlarge(
    made: Letterer,
    frame: Frame,
    design: Design,
    stretch: Stretch,
    view: View,
    bare: list[Stake],
    under: float,
    *,
    turned: bool,
) -> tuple[float, list[Stake]]:
    """Show stakes without a number at a larger scale: under the table, over the notes that go there, or in a corner.

    Where what may come next begins [in], and the stakes that still have no number.
    """
    notes = _foot(Letterer(made.lettering), frame, design, stretch, bare, turned=turned)
    bottom = MARGIN + _lines(notes, frame, made.lettering) * PITCH
    windows = [(frame.beside, bottom, frame.right, under + LETTER)]
    if bare and not turned:
        windows += corners(design, stretch, view, made.marks)
    for number, window in enumerate(windows):
        found = enlarged(design, stretch, bare, window, view)
        if found is not None:
            shown = draw_enlarged(made, design, found, None if turned else view)
            numbered = {stake.number for stake in shown}
            bare = [stake for stake in bare if stake.number not in numbered]
            under = under if number else bottom - PITCH
    return under, bare


def _bounds(design: Design, stretch: Stretch) -> tuple[float, float, float, float]:
    """What the picture of a sheet shows [m]: its stakes; on the first one all of the field."""
    own = middle_of(stretch)
    if stretch.kind != "overview":
        return own
    field = bounds(design)
    return (
        min(own[0], field[0]),
        min(own[1], field[1]),
        max(own[2], field[2]),
        max(own[3], field[3]),
    )


def _index(made: Letterer, frame: Frame, parts: Sequence[Stretch], y: float, bottom: float) -> None:
    """List the sheets, as far as there is room for them between a base line and the notes [in]."""
    y -= 0.12
    if y - 2 * PITCH < bottom:
        return
    y = made.lines("Sheets", frame.beside + 0.05, y, frame.table, strong=True, height=LARGE)
    for number, part in enumerate(parts, start=1):
        if y < bottom:
            break
        made.put(f"{number}  {_subject(part)}", frame.beside + 0.05, y, room=frame.table - 0.1)
        y -= PITCH


# --- head -------------------------------------------------------------------------------------------------


def _title(
    made: Letterer,
    frame: Frame,
    design: Design,
    stretch: Stretch,
    view: View,
    scale: str,
    number: int,
    count: int,
    *,
    turned: bool,
) -> None:
    """Letter title, what is staked from this sheet, its number, scale and north."""
    top = frame.paper.height - MARGIN
    sheet = f"Sheet {number} of {count}"
    made.put(sheet, frame.right, top - 0.2, height=LARGEST, align="right", strong=True)
    taken = made.lettering.width(sheet, LARGEST, strong=True)
    room = frame.right - frame.left - taken - 0.3
    made.put(f"STAKE-OUT, {_subject(stretch)}", frame.left, top - 0.2, height=LARGEST, strong=True, room=room)
    units = _units(design.site)
    bar = _bar(made, view, design.site, frame.beside - 0.15, top - 0.6, scale, north=not turned)
    room = bar - frame.left - 0.3
    title, with_units = (
        made.lettering.clean(design.site.title),
        room - made.lettering.width(units, LETTER) - 0.3,
    )
    if with_units < TITLE_ROOM:  # a wide table has room over it
        made.put(units, frame.beside + 0.05, top - 0.56)
        made.put(title, frame.left, top - 0.56, room=room)
    else:
        made.put(f"{made.lettering.fitted(title, LETTER, with_units)} \u2013 {units}", frame.left, top - 0.56)
    for line, text in enumerate(_rounding(design, stretch)):
        made.put(text, frame.right, top - 0.43 - line * PITCH, align="right", room=frame.table)


def _subject(stretch: Stretch) -> str:
    stakes = f"stake{'s' if len(stretch.stakes) > 1 else ''} {of_this_sheet(stretch.stakes)}"
    if stretch.kind == "overview":
        return f"overview: baseline and edge of the bed, {stakes}"
    if stretch.kind == "pipes":
        return f"manifolds, valves, risers and lines: {stakes}"
    runs = stretch.runs
    named = ", ".join(runs) if len(runs) <= 4 else f"{runs[0]} to {runs[-1]}"
    return f"run{'s' if len(runs) > 1 else ''} {named}: {stakes}"


def _units(site: Site) -> str:
    rounding = rounding_of(site.stakeout, site.frame)
    if rounding == "1/8 in":
        return "all distances in feet and inches, to 1/8 inch"
    unit = "metres" if site.frame.units.word == "m" else "feet"
    return f"all distances in {unit}, to {STEPS[rounding]:g}"


def _rounding(design: Design, stretch: Stretch) -> tuple[str, str]:
    site = design.site
    rounding = rounding_of(site.stakeout, site.frame)
    error = error_of(stretch.stakes, site)
    return "offset: R right, L left, from A to B", f"rounding to {rounding} alone moves a stake {error}"


def _bar(made: Letterer, view: View, site: Site, right: float, y: float, scale: str, *, north: bool) -> float:
    """Draw the north arrow, where there is one for all, a bar of the scale, the scale in words; their left end."""
    units = site.frame.units
    per_inch = view.metres_per_inch / units.length
    step = next(
        value
        for power in range(6, -4, -1)
        for value in (5 * 10.0**power, 2 * 10.0**power, 10.0**power)
        if value / per_inch <= 1.6
    )
    long = step / per_inch
    if north:
        made.marks.append(Symbol(layer=CREW, name="north", at=(right - 0.16, y + 0.06), size=0.3))
        made.put("N", right - 0.16, y + 0.24, align="centre", strong=True)
    end = right - 0.95
    for part in range(2):
        shape = box(end - long + part * long / 2, y + 0.02, end - long / 2 + part * long / 2, y + 0.1)
        made.marks.append(Area(layer=CREW, shape=shape, fill=Colour.BLACK if part == 0 else Colour.WHITE))
    label = f"{step:g} {units.length_name}"
    made.put(label, end, y + 0.16, align="right")
    made.put("0", end - long, y + 0.16, align="centre")
    made.put(scale, end - long - 0.2, y + 0.04, align="right", strong=True)
    return end - long - 0.2 - made.lettering.width(scale, LETTER, strong=True)


# --- foot -------------------------------------------------------------------------------------------------


def _foot(
    made: Letterer, frame: Frame, design: Design, stretch: Stretch, bare: Sequence[Stake], *, turned: bool
) -> list[tuple[str, bool]]:
    """Letter the key plan, the check, the paint and the cautions under the picture; what found no room there."""
    left, bottom = frame.left, MARGIN
    top = bottom + FOOT - 0.12
    right = frame.window[2]
    key = left + min(KEY_WIDTH, KEY_SHARE * (right - left))
    made.marks.append(Area(layer=CREW, shape=box(left, bottom, key, top)))
    made.marks += key_marks(design, stretch, left, bottom, key, top)
    start = key + 0.2
    width = right - start
    check = check_line(design, stretch.stakes)
    y = top - 0.17
    if check is not None:
        ask, must = check_words(design, check)
        wide = made.lettering.width(must, LARGEST, strong=True) + 0.2
        room = width - 0.2
        beside = room - wide >= ASK
        after = made.lines(ask, start + 0.1, y - 0.03, room - wide * beside, strong=True, height=LARGE)
        at = y - 0.06 if beside else after - 0.03
        if not beside:
            after -= 1.3 * PITCH
        made.put(must, right - 0.1, at, height=LARGEST, align="right", strong=True)
        after = made.lines(check_remark(design, check), start + 0.1, after, width - 0.2)
        made.marks.append(Area(layer=CREW, shape=box(start, after + LETTER, right, top), pen=BOLD))
        y = after - 0.07
    notes = _notes(design, stretch, bare)
    if turned:
        notes.insert(1, (STRIPS, True))
    while notes:
        text, strong = notes[0]
        lines = made.lettering.wrapped(text, LETTER, width, strong=strong)
        if y - (len(lines) - 1) * PITCH < bottom:
            break
        y = made.lines(text, start, y, width, strong=strong)
        notes.pop(0)
    return notes


def _bare_words(bare: Sequence[Stake]) -> str:
    """Which stakes have no number in the picture."""
    parts = number_stretches(bare)
    more = f" and {len(parts) - BARE} more" if len(parts) > BARE else ""
    return f"Not lettered in the picture, for want of room: {', '.join(parts[:BARE])}{more}."


def _notes(design: Design, stretch: Stretch, bare: Sequence[Stake]) -> list[tuple[str, bool]]:
    """What is to be known at this sheet, the weightiest first."""
    found = [(DIG, True)]
    ground = ground_words(design)
    if ground:
        found.append((ground, False))
    found += [(text, True) for text in paint_words(design, stretch)]
    if stretch.kind == "pipes":
        found.append((pipe_words(design), True))
    if stretch.bends:
        found.append((bend_words(design, stretch), True))
    square = square_words(design, stretch.stakes)
    if square:
        found.append((square, False))
    if bare:
        found.append((_bare_words(bare), False))
    if stretch.left_out:
        found.append(
            (f"{stretch.left_out:,} stakes between those of these sheets stand in stakeout.csv.", True)
        )
    if is_from_map(design):
        found.append((FROM_MAP, True))
    found.append((f"{LEVEL} {PAINT}", False))
    if design.site.stakeout.ties:
        found.append(
            (
                "Swing two tapes; the stake is where they cross, on the side named, as seen by one who stands at the "
                "first point and faces the second. Or measure along the baseline from A, then square to it.",
                False,
            )
        )
    return found
