"""What was laid as one document for programs: figures of plan and survey side by side, in site units."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from layout.emitters import seconds_per_volume
from layout.frame import to_site
from layout.model import XY, AsBuilt, Frame, LaidRun
from layout.plane import coordinates
from layout.sheets.jsontext import check_entry
from layout.sheets.layoutjson import dumped_blocks, finite

FORMAT = "sinuate-asbuilt/1"

Json = Any


def asbuilt_document(found: AsBuilt) -> dict[str, Json]:
    """Everything that is known of a field as laid.

    Parameters
    ----------
    found : AsBuilt

    Returns
    -------
    dict
        Blocks ``format``, ``title``, ``units``, ``crs``, ``within``, ``source``, ``complete``, ``ok``, ``runs``,
        ``laterals``, ``zones``, ``totals``, ``points``, ``checks``, ``findings``, ``notes``. What is not known is null.
    """
    site = found.design.site
    frame, units = site.frame, site.frame.units
    made: dict[str, Json] = {
        "format": FORMAT,
        "title": site.title,
        "units": units.word,
        "crs": frame.crs,
        "within": found.within / units.length,
        "source": found.source,
        "complete": found.complete,
        "ok": all(check.ok for check in found.checks),
        "runs": [_run(run, found) for run in found.runs],
        "laterals": list(_laterals(found)),
        "zones": list(_zones(found)),
        "totals": {
            "runs": len(found.runs),
            "found": sum(run.line is not None for run in found.runs),
            **_both(found.runs, frame, timed=True),
        },
        "points": _points(found),
        "checks": [check_entry(item, units) for item in found.checks],
        "findings": [asdict(finding) for finding in found.findings],
        "notes": [*site.notes, *found.notes],
    }
    clean: dict[str, Json] = finite(made)
    return clean


def write_asbuilt(found: AsBuilt, path: Path) -> None:
    """Write the document, UTF-8, one block below the other, one run, lateral, check a line."""
    path.write_text(dumped_blocks(asbuilt_document(found)), encoding="utf-8", newline="\n")


def _run(run: LaidRun, found: AsBuilt) -> Json:
    frame, unit = found.design.site.frame, found.design.site.frame.units.length
    lateral_of = {name: item for item in found.design.laterals for name in item.runs}
    lateral = lateral_of.get(run.run)
    made: dict[str, Json] = {
        "name": run.run,
        "lateral": None if lateral is None else lateral.name,
        "zone": None if lateral is None else f"Z{lateral.zone}",
        "verdict": run.verdict,
        "why": list(run.why),
        "planned": _figures([run], frame, laid=False),
        "laid": None,
        "offset": None,
        "start_beyond": None,
        "end_beyond": None,
        "gap": None,
        "edge": None,
        "setbacks": [],
        "points": [shot.place for shot in run.shots],
        "unmeasured": [[start / unit, end / unit] for start, end in run.unmeasured],
    }
    if run.line is None or run.greatest_at is None:
        return made
    worst = max(range(run.places), key=lambda place: abs(run.offsets[place]))
    made |= {
        "laid": {
            **_figures([run], frame, laid=True),
            "points": to_site(frame, coordinates(run.line)).tolist(),
        },
        "offset": {
            "greatest": run.offset_greatest / unit,
            "side": "right" if run.offsets[worst] > 0 else "left",
            "mean": run.offset_mean / unit,
            "at": _at(run.greatest_at, frame),
            "station": run.stations[worst] / unit,
        },
        "start_beyond": run.start_beyond / unit,
        "end_beyond": run.end_beyond / unit,
        "edge": run.edge / unit,
        "setbacks": [
            {"feature": item.feature, "distance": item.distance / unit, "setback": item.setback / unit}
            for item in run.setbacks
        ],
    }
    if run.gap_least is not None and run.gap_at is not None:
        planned = None if run.gap_planned is None else run.gap_planned / unit
        made["gap"] = {
            "least": run.gap_least / unit,
            "to": run.gap_to,
            "at": _at(run.gap_at, frame),
            "planned": planned,
        }
    return made


def _at(place: XY, frame: Frame) -> list[float]:
    x, y = to_site(frame, [place])[0].tolist()
    return [x, y]


def _laterals(found: AsBuilt) -> Iterable[Json]:
    named = {run.run: run for run in found.runs}
    for item in found.design.laterals:
        runs = [named[name] for name in item.runs]
        yield {
            "name": item.name,
            "zone": f"Z{item.zone}",
            "runs": list(item.runs),
            "complete": _complete(runs),
            **_both(runs, found.design.site.frame),
        }


def _zones(found: AsBuilt) -> Iterable[Json]:
    named = {run.run: run for run in found.runs}
    for item in found.design.zones:
        runs = [named[name] for name in item.runs]
        yield {
            "zone": item.name,
            "laterals": list(item.laterals),
            "complete": _complete(runs),
            **_both(runs, found.design.site.frame, timed=True),
        }


def _complete(runs: Sequence[LaidRun]) -> bool:
    return all(run.verdict in {"as planned", "off"} for run in runs)


def _both(runs: Sequence[LaidRun], frame: Frame, *, timed: bool = False) -> dict[str, Json]:
    """Figures of runs together, as planned and as laid."""
    return {
        "planned": _figures(runs, frame, laid=False, timed=timed),
        "laid": _figures(runs, frame, laid=True, timed=timed),
    }


def _figures(runs: Sequence[LaidRun], frame: Frame, *, laid: bool, timed: bool = False) -> dict[str, Json]:
    units = frame.units
    flow = sum(run.flow if laid else run.flow_planned for run in runs)
    made: dict[str, Json] = {
        "length": sum(run.length if laid else run.planned for run in runs) / units.length,
        "emitters": sum(run.emitters if laid else run.emitters_planned for run in runs),
        "flow": flow / units.flow,
    }
    if timed:
        made["seconds_per_unit_volume"] = seconds_per_volume(flow, units.volume) if flow > 0 else None
    return made


def _points(found: AsBuilt) -> Json:
    frame = found.design.site.frame
    return {
        "measured": found.measured,
        "on_runs": sum(len(run.shots) for run in found.runs),
        "on_pipes": len(found.pipes),
        "doubled": [[shot.place for shot in same] for same in found.doubled],
        "astray": [
            {
                "place": item.shot.place,
                "name": item.shot.name,
                **dict(zip(("x", "y"), _at(item.shot.at, frame), strict=True)),
                "why": item.why,
            }
            for item in found.astray
        ],
    }
