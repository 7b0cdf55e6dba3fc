"""What the plan sheet says in words and figures: legend, schedules, totals, checks, notes with cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence

import shapely

from layout.emitters import seconds_per_volume
from layout.model import Check, Design, Lateral, PipeKind
from layout.sheets.arcs import FIT
from layout.sheets.blocks import COLUMN, Block, Cell, Row, Sample, Titles, pairs, paragraphs, shortened, table
from layout.sheets.failing import failing
from layout.sheets.figures import Figures, plain, spelt
from layout.sheets.lettering import Lettering
from layout.sheets.sources import remark_in_words, source_in_words
from layout.sheets.watertables import basis, doses, water

NOT_A_PERMIT = "This plan is not a permit. Defer to local code and licensed practice."
CAUTIONS: tuple[str, ...] = (
    "Before digging, have buried utilities located and marked through the one-call service, and wait for the "
    "marks (US: dial 811; 49 CFR 196.103, 29 CFR 1926.651(b)).",
    "Never enter a tank or pump chamber without confined-space training, air testing, ventilation, a "
    "retrieval line and an attendant (US: 29 CFR 1926 Subpart AA for construction, 29 CFR 1910.146 for "
    "later service).",
    "Effluent carries pathogens: wear gloves and eye protection, and wash before eating. Not for drinking.",
    "Trenches and pits cave in without warning: nobody enters one that is deep, or in loose or wet ground, unless it "
    "is sloped or shored and a competent person has looked at it (US: 29 CFR 1926.651, .652). Keep spoil back from it.",
    "Electrical work by a licensed electrician, to the electrical code in force. Lock out the pump first.",
    "No cross-connection with potable water. Keep potable lines clear of the bed and of its pipes.",
    "No vehicles, animals or stored material on the bed, before or after laying. No work on wet soil: it smears and "
    "packs, and takes less water.",
    "Cover over tubing and pipe, and keep from frost, as local code and the designer state: none is taken here.",
    "Do not pull or stretch the tubing. Do not cover it before the inspection that local code asks for.",
)
"""Said on every plan; sources of the law of one country are named as such, the rest is common practice."""
LEGEND = "Legend"
_FINDINGS_SHOWN = 12


def legend(entries: Sequence[tuple[Sample, str]]) -> Block:
    """Show samples and what they mean, of just what is on the sheet."""
    rows = tuple(
        Row(cells=(Cell(text=description, x=0.8),), sample=sample, space=0.02)
        for sample, description in entries
    )
    return Block(heading=LEGEND, rows=rows)


def blocks(design: Design, figures: Figures, lettering: Lettering, *, seen: frozenset[str]) -> list[Block]:
    """Make all blocks but the legend, the ones that must stay on the first sheet first.

    Parameters
    ----------
    design : Design
    figures : Figures
    lettering : Lettering
    seen : frozenset of str
        Names of the features that the plan shows.
    """
    made = [
        cautions(lettering),
        totals(design, figures, lettering),
        checks(design, figures, lettering),
        pipes(design, figures, lettering),
        zones(design, figures, lettering),
        water(design, figures, lettering),
        doses(design, figures, lettering),
        setbacks(design, figures, lettering, seen=seen),
        basis(design, figures, lettering),
        remarks(design, figures, lettering),
        laterals(design, figures, lettering),
        runs(design, figures, lettering),
    ]
    return [block for block in made if block.rows]


def cautions(lettering: Lettering) -> Block:
    """List cautions for the people on the site."""
    return paragraphs("Cautions", (*CAUTIONS, NOT_A_PERMIT), lettering, numbered=True)


def totals(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """Give the field in a few figures: areas, tubing, flow, coverage."""
    whole, cover = design.totals, design.coverage
    pattern = design.laying.pattern.value
    items = [
        ("Bed, inside its edge", figures.area_of(design.site.bed.outline.area)),
        ("Usable ground", figures.area_of(design.ground.area.area)),
        *(
            (f"taken by {lettering.clean(take.feature)}", figures.area_of(take.area))
            for take in design.ground.takes
            if take.area > 0
        ),
        ("Pattern", pattern),
        (f"Emitting tubing, {len(design.laying.runs)} runs", figures.length_of(whole.tubing)),
        ("End loops and blank tubing", figures.length_of(whole.blank)),
        ("Laterals", plain(len(design.laterals), 0)),
        ("Emitters", plain(whole.emitters, 0)),
        ("Flow of all emitters", f"{figures.hourly_of(whole.flow)} = {figures.flow_of(whole.flow)}"),
    ]
    if design.zone_levels and _has_line(design, "supply"):
        drained = [item.drain_back for item in design.zone_levels]
        back = dict.fromkeys(figures.volume(volume) for volume in (min(drained), max(drained)))
        of = "a zone's supply line" if len(design.zones) > 1 else "supply manifold and line"
        items.append((f"Drain-back of {of}", f"{' to '.join(back)} {figures.units.volume_name}"))
    if whole.flow > 0:
        flows = [zone.flow for zone in design.zones if zone.flow > 0] or [whole.flow]
        seconds = [
            plain(seconds_per_volume(flow, figures.units.volume), 1) for flow in (max(flows), min(flows))
        ]
        each = ", each zone by itself" if len(design.zones) > 1 else ""
        items.append((f"Time for one {_volume(figures)}{each}", f"{' to '.join(dict.fromkeys(seconds))} s"))
    items.append(("Ground within half a spacing of tubing", figures.share(cover.covered)))
    items.append(("Farthest usable point from tubing", figures.length_of(cover.dry)))
    if cover.gap_least is not None and cover.gap_greatest is not None:
        gaps = f"{figures.length(cover.gap_least)} to {figures.length_of(cover.gap_greatest)}"
        items.append(("Gap from run to run", gaps))
    if cover.bend_least is not None:
        items.append(("Tightest bend, radius", figures.length_of(cover.bend_least)))
    return pairs("Field", items, lettering)


def _volume(figures: Figures) -> str:
    return "litre" if figures.units.word == "m" else "gallon"


def checks(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """List every design check with its figure, its limit, ok or FAILS, and where the limit comes from."""
    rows = []
    marks = {item.check.name: item.number for item in failing(design)}
    for check in design.checks:
        verdict = "ok" if check.ok else "FAILS"
        if check.name in marks:
            verdict += f", mark {marks[check.name]}"
        room = COLUMN - (1.2 if check.name in marks else 0.6)
        name = lettering.wrapped(lettering.clean(check.name), 0.08, room, strong=not check.ok)
        cells = [Cell(text=line, line=i, strong=not check.ok) for i, line in enumerate(name)]
        cells.append(Cell(text=verdict, x=COLUMN, align="right", strong=not check.ok))
        detail = shortened(lettering.wrapped(lettering.clean(_against(check, figures)), 0.08, COLUMN - 0.15))
        cells.extend(Cell(text=line, x=0.15, line=len(name) + i) for i, line in enumerate(detail))
        rows.append(Row(cells=tuple(cells), lines=len(name) + len(detail), space=0.02))
    return Block(heading="Design checks", rows=tuple(rows))


def _against(check: Check, figures: Figures) -> str:
    """``1.99 ft, at least 1.96 ft (run spacing, less 2 %)``, and where it fails."""
    value, limit = figures.of_check(check, check.value), figures.of_check(check, check.limit)
    source = source_in_words(check.source)
    if math.isinf(check.limit):
        return f"{value}; {source}"
    if value == limit and not check.ok:
        value = f"just {'under' if check.value < check.limit else 'over'} {value}"
    place = f"; {check.place}" if check.place and not check.ok else ""
    return f"{value}, at {check.sense} {limit} ({source}){place}"


def pipes(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """List manifolds, lines to the pump, risers and leads: nominal size and length."""
    plumbing = design.plumbing
    several = len(design.zones) > 1
    rows = [
        [
            pipe.named(what, several=several),
            figures.diameter_of(pipe.diameter),
            figures.length(pipe.line.length),
        ]
        for what, found in (("manifold", plumbing.manifolds), ("line", plumbing.lines))
        for pipe in found
    ]
    for what, lead in (("riser", False), ("lead", True)):
        lengths = [riser.line.length for riser in plumbing.risers if riser.lead is lead]
        if lengths:
            named = f"{len(lengths)} {what}{'s' if len(lengths) > 1 else ''}, of tubing"
            rows.append([named, "", figures.length(sum(lengths))])
    unit = figures.units.length_name
    titles: Titles = (("Pipe", 0.0, "left"), ("Nominal", 2.5, "right"), (f"Length, {unit}", COLUMN, "right"))
    return table("Pipes", titles, rows, lettering, wrap={0: 1.9})


def zones(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """List zones, where there are several: their laterals, tubing, emitters, flow, and what their pipes give back."""
    unit, flow, volume = figures.units.length_name, figures.units.flow_name, figures.units.volume_name
    rows = []
    for zone in design.zones if len(design.zones) > 1 else ():
        first, last = zone.laterals[0], zone.laterals[-1]
        drains = _has_line(design, "supply")
        back = [item.drain_back for item in design.zone_levels if drains and item.zone == zone.number]
        rows.append(
            [
                zone.name,
                first if first == last else f"{first} to {last}",
                figures.length(zone.tubing),
                plain(zone.emitters, 0),
                figures.flow(zone.flow),
                f"{figures.volume(sum(back))} {volume}" if back else "-",
            ]
        )
    titles: Titles = (
        ("Zone", 0.0, "left"),
        ("Laterals", 0.4, "left"),
        (f"Tubing, {unit}", 1.74, "right"),
        ("Emitters", 2.33, "right"),
        (flow, 2.87, "right"),
        ("Drain-back", COLUMN, "right"),
    )
    return table("Zones, dosed one after the other", titles, rows, lettering, wrap={1: 0.75})


def setbacks(design: Design, figures: Figures, lettering: Lettering, *, seen: frozenset[str]) -> Block:
    """List features with the setback asked for and the distance to the nearest tubing, blank tubing as well."""
    # the same tubing as the checks of setbacks are of, so that both give one figure
    tubing = shapely.multilinestrings(
        [run.line for run in design.laying.runs] + [join.line for join in design.joins]
    )
    rows = []
    for item in design.site.features:
        near = figures.length(float(item.shape.distance(tubing))) if not tubing.is_empty else "-"
        shown = "yes" if item.name in seen else "detail"
        name = lettering.clean(item.name)
        rows.append([name, item.kind.value, figures.length(item.setback), near, shown])
    unit = figures.units.length_name
    titles: Titles = (
        ("Feature", 0.0, "left"),
        ("Kind", 0.85, "left"),
        (f"Setback, {unit}", 2.2, "right"),
        ("Nearest tubing", 3.22, "right"),
        ("Shown", COLUMN, "right"),
    )
    return table("Setbacks, as stated by the user", titles, rows, lettering, wrap={0: 0.8})


def laterals(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """List laterals: their runs in the order the water takes, tubing, emitters, flow."""
    counts = {row.run: row for row in design.emitters}
    rows = []
    for lateral in design.laterals:
        mine = [counts[name] for name in lateral.runs if name in counts]
        rows.append(
            [
                f"Z{lateral.zone} {lateral.name}" if len(design.zones) > 1 else lateral.name,
                _chain(lateral),
                figures.length(lateral.length),
                figures.length(lateral.blank),
                plain(sum(row.count for row in mine), 0),
                figures.flow(sum(row.flow for row in mine)),
            ]
        )
    unit, flow = figures.units.length_name, figures.units.flow_name
    titles: Titles = (
        ("Name", 0.0, "left"),
        ("Runs", 0.5, "left"),
        (f"Tubing, {unit}", 1.95, "right"),
        ("Blank", 2.42, "right"),
        ("Emitters", 3.08, "right"),
        (flow, COLUMN, "right"),
    )
    return table("Laterals", titles, rows, lettering, wrap={1: 0.78})


def _chain(lateral: Lateral) -> str:
    return ", ".join(lateral.runs)


def runs(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """List runs: lateral, length, emitters, flow."""
    lateral_of = {name: lateral.name for lateral in design.laterals for name in lateral.runs}
    counts = {row.run: row for row in design.emitters}
    rows = []
    for run in design.laying.runs:
        row = counts.get(run.name)
        rows.append(
            [
                run.name,
                lateral_of.get(run.name, "-"),
                figures.length(run.length),
                plain(row.count, 0) if row else "-",
                figures.hourly(row.flow) if row else "-",
            ]
        )
    unit, flow = figures.units.length_name, figures.units.emitter_flow_name
    titles: Titles = (
        ("Name", 0.0, "left"),
        ("Lateral", 0.7, "left"),
        (f"Length, {unit}", 2.05, "right"),
        ("Emitters", 2.9, "right"),
        (flow, COLUMN, "right"),
    )
    return table("Runs, from left to right", titles, rows, lettering, wrap={})


def remarks(design: Design, figures: Figures, lettering: Lettering) -> Block:
    """Say how to read the plan, and what the planner wants looked at."""
    centre = spelt("centre", figures.units)
    said = [
        f"Lengths are along the {centre} of the tubing, horizontal, in {_unit_words(figures)}. "
        "Runs are named from left to right, seen from the manifold end. In plan.dxf tubing and pipes are lines and "
        f"arcs within {figures.length_of(FIT * design.site.runs.spacing)} of that {centre}; the lengths lettered here "
        "hold.",
        "Setbacks, loading and limits are the user's figures; none is built in as law.",
        _after_a_dose(design),
    ]
    if len(design.laying.dropped):
        length = sum(piece.line.length for piece in design.laying.dropped)
        said.append(f"Pieces not laid: {len(design.laying.dropped)}, together {figures.length_of(length)}.")
    found = [finding.words for finding in design.findings]
    found += list(design.site.notes)
    said += [remark_in_words(text) for text in found[:_FINDINGS_SHOWN]]
    if len(found) > _FINDINGS_SHOWN:
        said.append(f"{len(found) - _FINDINGS_SHOWN} more remarks are in layout.json.")
    return paragraphs("Remarks", [lettering.clean(text) for text in said], lettering, numbered=True)


def _has_line(design: Design, kind: PipeKind) -> bool:
    return any(line.kind == kind for line in design.plumbing.lines)


def _after_a_dose(design: Design) -> str:
    """Say valve by valve what drains after a dose, as drain-back is counted; nothing does where no line leads."""
    said = "Lay risers so that they fall from the tubing to the manifold."
    if not _has_line(design, "supply"):
        return said
    flush = _has_line(design, "return") and "The return flush valve, shut but for flushing, holds the return"
    several = len(design.zones) > 1
    zone = (
        several and f"{'the' if flush else 'The'} zone valve {'' if flush else 'holds '}its supply manifold"
    )
    valves = " and ".join(part for part in (flush, zone) if part)
    return (
        f"{said} {valves}{'. ' if valves else ''}Drain-back is what then falls to the pump all the way through the "
        "supply line, along the ground where it is surveyed; what tubing gives back by its risers is not counted."
    )


def _unit_words(figures: Figures) -> str:
    return {"ft": "international feet", "us-ft": "US survey feet", "m": "metres"}[figures.units.word]
