"""What the plan sheet says of water: figures as in the solution, volumes, doses, basis; and what is not checked."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from layout.checks import unchecked
from layout.model import Design
from layout.sheets.blocks import Block
from layout.sheets.drafting import draft
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Text
from layout.sheets.tables import CAUTIONS, remarks, totals
from layout.sheets.watertables import basis, doses, water
from layout.units import FOOT, GALLON, MINUTE
from tests.fields import curved_field
from tests.watered import planned

FULL = "flow = 183.0\nloading = 0.2\nflush_velocity = 2.0\nfilter_loss = 3.0\ndose_volumes = 4.0"


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Design:
    curve = "curve = [[0, 110], [10, 95], [20, 60]]"
    return planned(tmp_path_factory.mktemp("water"), levels="levels = 0.0", curve=curve, given=FULL)


def rows_of(block: Block) -> list[list[str]]:
    return [[cell.text for cell in row.cells] for row in block.rows]


def test_the_table_has_the_figures_of_the_solution(full: Design) -> None:
    assert full.hydraulics is not None
    zone = full.hydraulics.zones[0]
    assert zone.flush is not None
    assert zone.flush.valve_head is not None
    figures, lettering = Figures(full.site.frame.units), Lettering()
    psi = figures.units.pressure
    dosed, flushed = rows_of(water(full, figures, lettering))
    # 300 emitters of 0.61 gal/h are 3.05 gal/min: common practice, no source
    assert dosed[:3] == ["dosing", "3.05", f"{zone.dose.head / FOOT:.1f}"]
    assert dosed[3] == f"{zone.dose.least.head / psi:.1f} to {zone.dose.greatest.head / psi:.1f}"
    assert dosed[-1] == "shut"
    assert flushed[1:3] == [f"{zone.flush.flow / GALLON * MINUTE:.2f}", f"{zone.flush.head / FOOT:.1f}"]
    assert flushed[4:] == ["2.00", f"{zone.flush.valve_head / FOOT:.1f}"]


def test_volumes_and_doses_by_hand(full: Design) -> None:
    figures, lettering = Figures(full.site.frame.units), Lettering()
    said = {row[0]: row[-1] for row in rows_of(doses(full, figures, lettering))}
    # 0.55 in hold 0.01234 gal/ft, 1.049 in 0.0449 gal/ft: common practice, no source
    tubing = sum(item.length + item.blank for item in full.laterals)
    tubing += sum(riser.line.length for riser in full.plumbing.risers)
    pipes = sum(pipe.line.length for pipe in (*full.plumbing.manifolds, *full.plumbing.lines))
    held = (0.55 / 12) ** 2 * 0.785398 * 7.480519 * tubing / FOOT
    whole = held + (1.049 / 12) ** 2 * 0.785398 * 7.480519 * pipes / FOOT
    assert said["of that in tubing, loops and risers"] == f"{held:.1f} gal"
    assert any(
        name.startswith("to fill when empty") and figure == f"{whole:.1f} gal"
        for name, figure in said.items()
    )
    # 183 gal a day are 6 doses of 30.5 gal, 4 x 7.6 gal and a little, 10 min each at 3.05 gal/min
    count = int(183.0 / (4.0 * held))
    (name,) = [name for name in said if name.startswith(f"{count} doses a day")]
    assert said[name] == f"{183.0 / count:.1f} gal, {183.0 / count / 3.05:.1f} min"


def test_the_basis_has_all_that_heads_rest_on(full: Design, tmp_path: Path) -> None:
    figures, lettering = Figures(full.site.frame.units), Lettering()
    rows = [" ".join(row) for row in rows_of(basis(full, figures, lettering))]
    for words in (
        "Pressure range of the emitters, compensating 7.0 to 60.0 psi",
        "Velocity at lateral ends in flushing 2.00 ft/s",
        "Least dose, over what the tubing holds 4",
        "Pump curve, flow and total head 10.00 gal/min, 95.00 ft",
        "Loss of filter, meter and valves at the pump 3.0 psi",
        "Water temperature 60 °F",
        "Run spacing, center to center 2.00 ft",
    ):
        assert words in rows
    bare = planned(tmp_path, levels="", given="")
    said = [" ".join(row) for row in rows_of(basis(bare, figures, lettering))]
    assert "Loss of filter, meter and valves at the pump none taken" in said
    assert "Pump curve none given" in said
    assert "filter-loss-not-given" in {finding.code for finding in bare.findings}
    assert "filter-loss-not-given" not in {finding.code for finding in full.findings}


def test_what_is_not_checked_stands_beside_the_verdict(full: Design, tmp_path: Path) -> None:
    # one level for the whole bed tells nothing of the ground along the return
    assert unchecked(full) == ("fall of the return line",)
    bare = planned(tmp_path, levels="", given="")
    missing = "loading, flushing, the pump, rise to the bed, loss of filter, meter and valves at the pump"
    assert ", ".join(unchecked(bare)) == f"{missing}, fall of the return line"
    said = [mark.text for mark in draft(full).sheets[0].marks if isinstance(mark, Text)]
    assert "all design checks are ok; not checked: fall of the return line" in said
    assert "flows and pressures" in unchecked(curved_field())


def test_the_sheet_cautions_of_trenches_wet_soil_and_frost() -> None:
    said = " ".join(CAUTIONS)
    for words in (
        "811",
        "cave in",
        "wet soil",
        "frost",
        "tank or pump chamber",
        "pathogens",
        "licensed electrician",
    ):
        assert words in said


def test_sources_of_limits_are_words_on_the_sheet(full: Design) -> None:
    said = " ".join(
        mark.text for sheet in draft(full).sheets for mark in sheet.marks if isinstance(mark, Text)
    )
    keys = {check.source for check in full.checks}
    assert "pump.curve" in keys  # in layout.json it is the key
    assert "at least 2.00 ft/s (velocity stated)" in said
    for key in (
        "pump.curve",
        "design.flush_velocity",
        "tubing.pressure_range",
        "runs.spacing",
        "feature.setback",
    ):
        assert f"({key}" not in said


def test_no_drain_back_is_told_where_no_line_leads(full: Design) -> None:
    """Without a pump there is neither a supply line for water to fall back through nor a flush valve to hold it."""
    figures, lettering = Figures(full.site.frame.units), Lettering()
    bare = replace(
        full, site=replace(full.site, pump=None), plumbing=replace(full.plumbing, lines=()), hydraulics=None
    )
    for design, told in ((full, True), (bare, False)):
        said = " ".join(
            text
            for block in (totals(design, figures, lettering), remarks(design, figures, lettering))
            for row in rows_of(block)
            for text in row
        )
        assert ("Drain-back of supply manifold and line" in said) == told
        assert ("return flush valve, shut but for flushing, holds" in said) == told
        assert "Lay risers so that they fall from the tubing" in said
    # a return that no line reaches has no flush valve to hold it
    only = tuple(line for line in full.plumbing.lines if line.kind == "supply")
    half = replace(full, plumbing=replace(full.plumbing, lines=only))
    said = " ".join(text for row in rows_of(remarks(half, figures, lettering)) for text in row)
    assert "flush valve, shut" not in said
    assert "Drain-back is what then falls" in said


def test_emitters_that_do_not_compensate_have_their_law_in_the_basis(full: Design) -> None:
    tubing = replace(
        full.site.tubing,
        compensating=False,
        emitter_pressure=20.0 * full.site.frame.units.pressure,
        emitter_exponent=0.5,
    )
    design = replace(full, site=replace(full.site, tubing=tubing))
    said = dict(row[:2] for row in rows_of(basis(design, Figures(design.site.frame.units), Lettering())))
    assert said["Emitter's flow is that at, power 0.5 of the pressure"].startswith("20")
    assert not any(
        "power" in row[0] for row in rows_of(basis(full, Figures(full.site.frame.units), Lettering()))
    )


def test_without_hydraulics_there_are_no_volumes(full: Design) -> None:
    bare = replace(full, hydraulics=None)
    figures = Figures(full.site.frame.units)
    assert doses(bare, figures, Lettering()).rows == ()
    assert water(bare, figures, Lettering()).rows == ()


def test_what_is_not_flushed_has_no_line_of_it(full: Design) -> None:
    assert full.hydraulics is not None
    zones = tuple(replace(zone, flush=None, doses=None) for zone in full.hydraulics.zones)
    design = replace(full, hydraulics=replace(full.hydraulics, zones=zones))
    figures = Figures(full.site.frame.units)
    assert len(rows_of(water(design, figures, Lettering()))) == len(zones)
    assert not any("a day" in row[0] for row in rows_of(doses(design, figures, Lettering())))


def test_of_very_many_remarks_the_rest_is_counted(full: Design) -> None:
    notes = tuple(f"bed.csv: note {number}" for number in range(60))
    design = replace(full, site=replace(full.site, notes=notes))
    block = remarks(design, Figures(design.site.frame.units), Lettering())
    said = " ".join(cell.text for row in block.rows for cell in row.cells)
    found = re.search(r"(\d+) more remarks are in layout.json", said)
    assert found is not None
    shown = [number for number in range(60) if re.search(rf"note {number}\b", said)]
    # findings go before notes, and all of them are shown here
    assert len(design.findings) < 20
    assert shown == list(range(len(shown)))
    assert int(found[1]) == 60 - len(shown)
