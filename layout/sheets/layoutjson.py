"""The whole design as one document for programs: lengths and coordinates in site units, full precision.

What is not known is null; there is never a NaN or an infinity. Rings of areas are closed: their last point is
the first.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from shapely.geometry.base import BaseGeometry

from layout.emitters import seconds_per_volume
from layout.frame import to_site
from layout.model import Candidate, Design, Fitting, Frame, Join, Lateral, Pipe, Run, Zone, ZoneLevels
from layout.plane import coordinates, polygons_of
from layout.sheets.cutlist import cut_entries
from layout.sheets.grid import grid_entry
from layout.sheets.jsontext import check_entry, dumped
from layout.sheets.levels import with_heights
from layout.sheets.stakeout import stake_entries, staking_entry
from layout.sheets.takeoff import takeoff
from layout.sheets.waterjson import water_block

FORMAT = "sinuate/1"
_GEOMETRY = frozenset({"points", "outline", "shell", "holes"})
"""Coordinates of valid geometries: plain and finite as they are, and too many to look at one by one."""

Json = Any


def document(design: Design) -> dict[str, Json]:
    """Everything that is known of a design, ready to be written as JSON.

    Parameters
    ----------
    design : Design

    Returns
    -------
    dict
        Blocks ``format``, ``title``, ``units``, ``crs``, ``grid``, ``bed``, ``pattern``, ``candidates``,
        ``runs``, ``laterals``, ``zones``, ``joins``, ``manifolds``, ``risers``, ``lines``, ``fittings``,
        ``trenches``, ``unreached``, ``crossings``, ``totals``, ``checks``, ``takeoff``, ``coils``, ``staking``,
        ``stakes``, ``dropped``, ``findings``, ``notes``; without stakes, not those.
    """
    frame = design.site.frame
    made: dict[str, Json] = {
        "format": FORMAT,
        "title": design.site.title,
        "units": frame.units.word,
        "crs": frame.crs,
        "grid": grid_entry(design.site),
        "bed": _bed(design),
        "pattern": design.laying.pattern.value,
        "candidates": [candidate_entry(item, frame) for item in design.candidates],
        "runs": _runs(design),
        "laterals": [_lateral(item, design) for item in design.laterals],
        "zones": [_zone(item, design) for item in design.zones],
        "joins": [_join(item, frame) for item in design.joins],
        "manifolds": [_pipe(item, frame) for item in design.plumbing.manifolds],
        "risers": [
            {
                "kind": riser.kind,
                "lateral": riser.lateral,
                "zone": _zone_name(riser.zone),
                **_line(riser.line, frame),
            }
            for riser in design.plumbing.risers
        ],
        "lines": [_pipe(item, frame) for item in design.plumbing.lines],
        "fittings": [_fitting(item, frame) for item in design.plumbing.fittings],
        "trenches": [{**_line(item.line, frame), "pipes": item.pipes} for item in design.plumbing.trenches],
        "unreached": [
            {
                "kind": item.kind,
                "zone": _zone_name(item.zone),
                "at": _points(frame, [item.at])[0],
                "closed_by": [{"name": name, "at": _points(frame, [at])[0]} for name, at in item.closed_by],
            }
            for item in design.plumbing.unreached
        ],
        "crossings": [
            {"feature": name, "at": _points(frame, [at])[0]} for name, at in design.plumbing.crossings
        ],
        "totals": _totals(design),
        "checks": [check_entry(item, design.site.frame.units) for item in design.checks],
        **water_block(design.hydraulics, frame),
        "takeoff": [asdict(line) for line in takeoff(design)],
        "coils": cut_entries(design),
        **_stakes(design),
        "dropped": [{"why": piece.why, **_line(piece.line, frame)} for piece in design.laying.dropped],
        "findings": [asdict(finding) for finding in design.findings],
        "notes": list(design.site.notes),
    }
    for block in ("runs", "joins", "manifolds", "risers", "lines"):
        made[block] = with_heights(made[block], design.site)
    clean: dict[str, Json] = finite(made)
    return clean


def write_layout(design: Design, path: Path) -> None:
    """Write the document, UTF-8, one block below the other, one run, lateral, check … a line."""
    path.write_text(dumped_blocks(document(design)), encoding="utf-8", newline="\n")


def dumped_blocks(made: dict[str, Json]) -> str:
    """A document as text, one block below the other, one item of a list a line."""
    blocks = [f" {dumped(name)}: {_block(value)}" for name, value in made.items()]
    return "{\n" + ",\n".join(blocks) + "\n}\n"


def _block(value: Json) -> str:
    if not isinstance(value, list) or not value:
        return dumped(value)
    return "[\n  " + ",\n  ".join(dumped(item) for item in value) + "\n ]"


# --- blocks ---------------------------------------------------------------------------------------------


def _bed(design: Design) -> Json:
    frame, units = design.site.frame, design.site.frame.units
    outline, ground = design.site.bed.outline, design.ground
    return {
        "outline": _points(frame, coordinates(outline.exterior)),
        "area": outline.area / units.area,
        "usable": [
            {
                "shell": _points(frame, coordinates(part.exterior)),
                "holes": [_points(frame, coordinates(ring)) for ring in part.interiors],
            }
            for part in polygons_of(ground.area)
        ],
        "usable_area": ground.area.area / units.area,
        "takes": [{"feature": take.feature, "area": take.area / units.area} for take in ground.takes],
    }


def candidate_entry(item: Candidate, frame: Frame) -> dict[str, Json]:
    """Figures of a pattern that was tried, in site units."""
    unit = frame.units.length
    return {
        "pattern": item.pattern.value,
        "follows": item.follows,
        "first": _over(item.first, unit),
        "tubing": item.tubing / unit,
        "runs": item.runs,
        "coverage": item.coverage.covered,
        "spacing_min": _over(item.coverage.gap_least, unit),
        "spacing_max": _over(item.coverage.gap_greatest, unit),
        "score": item.score,
        "dry_max": item.coverage.dry / unit,
        "dropped": item.dropped,
        "fed_at_end": item.fed_at_end,
        "fed": item.fed,
        "unreached": item.unreached,
        "lateral_cv": item.uneven,
        "spacing_p5": _over(item.coverage.gap_p5, unit),
        "spacing_p95": _over(item.coverage.gap_p95, unit),
        "bend_radius_min": _over(item.coverage.bend_least, unit),
    }


def _runs(design: Design) -> Json:
    lateral_of = {name: lateral.name for lateral in design.laterals for name in lateral.runs}
    fed = design.plumbing.fed
    emitters = {row.run: row.count for row in design.emitters}
    slopes = {slope.run: slope.greatest for slope in design.slopes}
    return [
        {
            **_run(run, design.site.frame, emitters.get(run.name), lateral_of),
            "fed": lateral_of.get(run.name) in fed,
            "slope_max": slopes.get(run.name),
        }
        for run in design.laying.runs
    ]


def _run(run: Run, frame: Frame, emitters: int | None, lateral_of: dict[str, str]) -> Json:
    line = _line(run.line, frame)
    return {
        "name": run.name,
        **line,
        "emitters": emitters,
        "lateral": lateral_of.get(run.name),
        "row": run.row,
    }


def _lateral(item: Lateral, design: Design) -> Json:
    units = design.site.frame.units
    mine = [row for row in design.emitters if row.run in item.runs]
    return {
        "name": item.name,
        "runs": list(item.runs),
        "length": item.length / units.length,
        "blank": item.blank / units.length,
        "lead": item.lead / units.length,
        "emitters": sum(row.count for row in mine),
        "flow": sum(row.flow for row in mine) / units.flow,
        "supply": _points(design.site.frame, [item.supply])[0],
        "drain": _points(design.site.frame, [item.drain])[0],
        "returns_near": item.returns_near,
        "zone": _zone_name(item.zone),
        "fed": item.name in design.plumbing.fed,
    }


def _zone_name(number: int) -> str | None:
    """Z1, Z2 and so on; None of a trunk."""
    return f"Z{number}" if number else None


def _zone(item: Zone, design: Design) -> Json:
    frame, units = design.site.frame, design.site.frame.units
    return {
        "name": item.name,
        "laterals": list(item.laterals),
        "runs": list(item.runs),
        "tubing": item.tubing / units.length,
        "emitters": item.emitters,
        "flow": item.flow / units.flow,
        **next((_levels(found, frame) for found in design.zone_levels if found.zone == item.number), {}),
    }


def _levels(item: ZoneLevels, frame: Frame) -> Json:
    units = frame.units
    return {
        "high_point": None if item.high is None else _points(frame, [item.high])[0],
        "high_level": _over(item.high_level, units.length),
        "return_pitch": item.pitch,
        "return_known": item.return_known,
        "return_deepening": _over(item.deepening, units.length),
        "volume": item.held / units.volume,
        "drain_back": item.drain_back / units.volume,
    }


def _join(item: Join, frame: Frame) -> Json:
    return {"kind": item.kind, "from": item.start, "to": item.end, **_line(item.line, frame)}


def _pipe(item: Pipe, frame: Frame) -> Json:
    return {
        "kind": item.kind,
        **_line(item.line, frame),
        "diameter": item.diameter / frame.units.diameter,
        "zone": _zone_name(item.zone),
    }


def _fitting(item: Fitting, frame: Frame) -> Json:
    return {
        "kind": item.kind,
        "at": _points(frame, [item.at])[0],
        "on": item.on,
        "zone": _zone_name(item.zone),
        "size": _over(item.size, frame.units.diameter),
        "of": item.of,
    }


def _totals(design: Design) -> Json:
    units, whole, cover = design.site.frame.units, design.totals, design.coverage
    return {
        "tubing": whole.tubing / units.length,
        "emitters": whole.emitters,
        "flow_per_hour": whole.flow / units.emitter_flow,
        "flow": whole.flow / units.flow,
        "seconds_per_unit_volume": seconds_per_volume(whole.flow, units.volume) if whole.flow > 0 else None,
        "coverage": cover.covered,
        "dry_max": cover.dry / units.length,
        "spacing_min": _over(cover.gap_least, units.length),
        "spacing_max": _over(cover.gap_greatest, units.length),
        "bend_radius_min": _over(cover.bend_least, units.length),
        "spacing_p5": _over(cover.gap_p5, units.length),
        "spacing_p95": _over(cover.gap_p95, units.length),
        "clearance_min": cover.clearance_least / units.length,
        "cell_area_mean": _over(whole.cell_mean, units.area),
        "cell_area_cv": whole.cell_cv,
        "blank": whole.blank / units.length,
        "fed": whole.fed,
        "runs": len(design.laying.runs),
        "laterals": len(design.laterals),
        "zones": len(design.zones),
        "drain_back": math.fsum(item.drain_back_added for item in design.zone_levels) / units.volume,
        "lateral_min": min((item.whole for item in design.laterals), default=0.0) / units.length,
        "lateral_max": max((item.whole for item in design.laterals), default=0.0) / units.length,
    }


def _stakes(design: Design) -> dict[str, Json]:
    staking = design.staking
    if staking is None:
        return {}
    frame = design.site.frame
    return {
        "staking": staking_entry(design.site, staking),
        "stakes": stake_entries(staking, frame),
    }


# --- values ---------------------------------------------------------------------------------------------


def _points(frame: Frame, points: Any) -> list[list[float]]:
    listed: list[list[float]] = to_site(frame, points).tolist()
    return listed


def _line(line: BaseGeometry, frame: Frame) -> dict[str, Json]:
    return {"points": _points(frame, coordinates(line)), "length": line.length / frame.units.length}


def _over(value: float | None, factor: float) -> float | None:
    return None if value is None else value / factor


def finite(value: Json) -> Json:
    """Plain numbers for the library's own, and null for what is not a number."""
    if isinstance(value, dict):
        return {key: item if key in _GEOMETRY else finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [finite(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
