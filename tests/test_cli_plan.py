"""``sinuate plan``: what it passes on, prints, writes and answers; the planning itself stood in for."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from layout.errors import Fault, NoRoomError, SheetError
from layout.model import Design, Finding, Site
from tests.command import Command
from tests.fields import curved_field

SITES = Path(__file__).parent / "sites"
RECTANGLE = SITES / "rectangle.toml"


class Pipeline:
    """Stands in for the conductor and the sheets, and remembers what it was asked."""

    def __init__(self, design: Design) -> None:
        self.design = design
        self.site: Site | None = None
        self.folder: Path | None = None
        self.stages: list[str] = []

    def plan_field(self, site: Site, *, progress: Callable[[str], None] | None = None) -> Design:
        self.site = site
        if progress is not None:
            progress("runs")
        return self.design

    def write_plan(self, _design: Design, folder: Path, **_asked: bool) -> list[Path]:
        self.folder = folder
        return [folder / "plan.dxf", folder / "layout.json"]

    def document(self, design: Design) -> dict[str, Any]:
        return {"format": "sinuate/1", "title": design.site.title}


@pytest.fixture
def pipeline(monkeypatch: pytest.MonkeyPatch) -> Pipeline:
    stand_in = Pipeline(curved_field())
    for module, name in [
        ("layout.plan", "plan_field"),
        ("layout.sheets.write", "write_plan"),
        ("layout.sheets.layoutjson", "document"),
    ]:
        fake = ModuleType(module)
        setattr(fake, name, lambda *a, _name=name, **k: getattr(stand_in, _name)(*a, **k))
        monkeypatch.setitem(sys.modules, module, fake)
    return stand_in


def failing(design: Design) -> Design:
    return replace(
        design, checks=tuple(replace(check, ok=index > 0) for index, check in enumerate(design.checks))
    )


def passing(design: Design) -> Design:
    return replace(design, checks=tuple(replace(check, ok=True) for check in design.checks))


def test_summary(sinuate: Command, pipeline: Pipeline) -> None:
    done = sinuate("plan", RECTANGLE)
    design = pipeline.design
    assert done.code == 0
    assert done.out.startswith(f"{design.site.title}: pattern {design.laying.pattern.value}\n")
    lines = [line.split() for line in done.out.splitlines()]
    feet = sum(run.length for run in design.laying.runs) / 0.3048
    assert ["tubing", f"{feet:,.2f}", "ft"] in [line[:3] for line in lines]
    assert ["runs", str(len(design.laying.runs))] in [line[:2] for line in lines]
    for lateral in design.laterals:
        row = next(line for line in lines if line[:1] == [lateral.name])
        assert row[1 : 1 + len(lateral.runs)] == list(lateral.runs)
        assert row[1 + len(lateral.runs)] == f"{lateral.length / 0.3048:,.2f}"
    assert any("s a gallon" in " ".join(line) for line in lines)
    assert "plan.dxf" in done.out
    assert "local code and licensed practice decide" in done.out


def test_seconds_a_gallon(sinuate: Command, pipeline: Pipeline) -> None:
    # 300 emitters of 0.61 gal/h: 183 gal/h, 3.05 gal/min, 19.7 s a gallon (common practice, no source)
    design = pipeline.design
    gallons_per_hour = 231 * 0.0254**3 / 3600
    pipeline.design = replace(
        design, totals=replace(design.totals, emitters=300, flow=300 * 0.61 * gallons_per_hour)
    )
    out = " ".join(sinuate("plan", RECTANGLE).out.split())
    assert "emitters 300 183.00 gal/h" in out
    assert "flow 3.05 gal/min 19.7 s a gallon" in out


def test_metres(sinuate: Command, pipeline: Pipeline) -> None:
    pipeline.design = curved_field("m")
    out = sinuate("plan", RECTANGLE).out
    assert "s a litre" in out
    assert " ft" not in out


def test_checks_are_listed_and_only_strict_fails(sinuate: Command, pipeline: Pipeline) -> None:
    pipeline.design = failing(pipeline.design)
    check = pipeline.design.checks[0]
    done = sinuate("plan", RECTANGLE)
    assert done.code == 0
    assert f"Checks: {len(pipeline.design.checks) - 1} passed, 1 failed." in done.out
    assert f"FAILED: {check.name} is" in done.out
    assert f"({check.source})" in done.out
    strict = sinuate("plan", RECTANGLE, "--strict")
    assert strict.code == 1
    assert strict.out == done.out
    assert sinuate("plan", RECTANGLE, "--strict", "--json").code == 1
    pipeline.design = passing(pipeline.design)
    assert sinuate("plan", RECTANGLE, "--strict").code == 0


def test_findings_and_notes(sinuate: Command, pipeline: Pipeline) -> None:
    design = pipeline.design
    pipeline.design = replace(
        design,
        findings=(Finding(code="x", said="A piece was not laid", remedy="Lower runs.shortest."),),
        site=replace(design.site, notes=("a point was dropped",)),
    )
    done = sinuate("plan", RECTANGLE)
    assert "Look: A piece was not laid. Lower runs.shortest.\n" in done.out
    assert done.err == "Note: a point was dropped.\n"


def test_json_is_one_document(sinuate: Command, pipeline: Pipeline) -> None:
    done = sinuate("plan", RECTANGLE, "--json")
    assert done.json == {"format": "sinuate/1", "title": pipeline.design.site.title}
    assert done.err == ""


def test_where_it_is_written(sinuate: Command, pipeline: Pipeline, tmp_path: Path) -> None:
    sinuate("plan", RECTANGLE)
    assert pipeline.folder == SITES / "plan"
    sinuate("plan", RECTANGLE, "--out", tmp_path / "deep" / "here")
    assert pipeline.folder == tmp_path / "deep" / "here"


def test_settings_reach_the_site(sinuate: Command, pipeline: Pipeline) -> None:
    sinuate("plan", RECTANGLE, "--set", "runs.spacing=1", "--set", "runs.pattern=left")
    assert pipeline.site is not None
    assert pipeline.site.runs.spacing == pytest.approx(0.3048)
    assert pipeline.site.runs.pattern == "left"
    done = sinuate("plan", RECTANGLE, "--set", "runs.spacing=0")
    assert done.code == 2
    assert done.err.startswith("--set runs.spacing=0: runs.spacing: found 0, but it must be over 0.")


def test_no_room_and_no_folder(sinuate: Command, pipeline: Pipeline, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_folder(*_: object, **__: object) -> list[Path]:
        raise SheetError(Fault(file="x/plan", said="it cannot be written", remedy="Choose another."))

    def no_room(*_: object, **__: object) -> Design:
        raise NoRoomError(Fault(file="site.toml", said="no run fits", remedy="Widen it."))

    monkeypatch.setattr(pipeline, "write_plan", no_folder)
    done = sinuate("plan", RECTANGLE)
    assert (done.code, done.out, done.err) == (2, "", "x/plan: it cannot be written. Choose another.\n")
    monkeypatch.setattr(pipeline, "plan_field", no_room)
    done = sinuate("plan", RECTANGLE, "--json")
    assert (done.code, done.out, done.err) == (1, "", "site.toml: no run fits. Widen it.\n")


def test_many_laterals_are_cut_short(sinuate: Command, pipeline: Pipeline) -> None:
    design = pipeline.design
    pipeline.design = replace(design, laterals=design.laterals * 20)
    assert f"and {len(design.laterals) * 20 - 24} more" in sinuate("plan", RECTANGLE).out


def test_the_bar_shows_only_when_work_lasts_on_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from cli import say

    with say.working() as stage:
        stage("runs")
    assert capsys.readouterr().err == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    monkeypatch.setattr(say, "PATIENCE", 0.05)
    with say.working() as stage:
        stage("soon done")
    assert "soon done" not in capsys.readouterr().err
    monkeypatch.setenv("FORCE_COLOR", "1")
    with say.working() as stage:
        stage("usable ground")
        time.sleep(0.5)
        stage("runs")
        time.sleep(0.2)
    shown = capsys.readouterr()
    assert "usable ground" in shown.err
    assert "runs" in shown.err
    assert shown.out == ""
