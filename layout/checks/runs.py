"""Runs: the gaps between them, their bends, and whether each is worth its place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import shapely
from shapely import LineString

from layout.checks.compare import compare, nearest_place
from layout.model import Check, Coverage, EmitterRow, Laying, Pattern, Run, Site, site_place
from layout.model.laws import BEND_LAW, GAP_LAW


def gap(site: Site, laying: Laying, coverage: Coverage) -> Iterator[Check]:
    """Least gap between runs side by side; none with one run."""
    if coverage.gap_least is None:
        return
    even = laying.pattern is Pattern.EVEN
    limit = GAP_LAW * (site.runs.closest if even else site.runs.spacing)
    yield compare(
        "least gap between runs side by side",
        coverage.gap_least,
        "least",
        limit,
        unit="length",
        source=f"{'runs.closest' if even else 'runs.spacing'}, less {100 * (1 - GAP_LAW):.0f} %",
        place=_tightest_gap(site, laying.runs) if coverage.gap_least < limit else "",
    )


def _tightest_gap(site: Site, runs: Sequence[Run]) -> str:
    """Find the two runs of neighbouring rows that come nearest to each other, and where."""
    pairs = [(one, other) for one in runs for other in runs if other.row == one.row + 1]
    if not pairs:
        return ""
    one, other = min(pairs, key=lambda pair: float(pair[0].line.distance(pair[1].line)))
    return f"{one.name} and {other.name} {nearest_place(site, one.line, other.line)}"


def widest(site: Site, laying: Laying, coverage: Coverage) -> Iterator[Check]:
    """Gap that most of the runs of an even pattern keep within."""
    if laying.pattern is not Pattern.EVEN or coverage.gap_p95 is None:
        return
    yield compare(
        "gap between runs that 95 % of them keep within",
        coverage.gap_p95,
        "most",
        site.runs.widest,
        unit="length",
        source="runs.widest",
        place="where rows begin or end",
    )


def bend(site: Site, laying: Laying, coverage: Coverage) -> Iterator[Check]:
    """Runs that a bend breaks, and the tightest bend there is; none where tubing may take corners."""
    if site.tubing.bend_radius == 0:
        return
    cut = [
        piece.line.interpolate(0.5, normalized=True) for piece in laying.dropped if "bend_radius" in piece.why
    ]
    yield compare(
        "places where runs are broken by a bend too tight for the tubing",
        float(len(cut)),
        "most",
        0.0,
        unit="count",
        source="tubing.bend_radius; a clearance of at least the bend radius lets runs turn inner corners",
        place="at " + ", ".join(site_place(site.frame, (at.x, at.y)) for at in cut),
    )
    if coverage.bend_least is None or coverage.bend_at is None:
        return
    yield compare(
        "tightest bend of a run",
        coverage.bend_least,
        "least",
        BEND_LAW * site.tubing.bend_radius,
        unit="length",
        source=f"tubing.bend_radius, less {100 * (1 - BEND_LAW):.0f} %",
        place=f"at {site_place(site.frame, coverage.bend_at)}",
    )


def crossing_runs(site: Site, runs: Sequence[Run]) -> Check:
    """Places where a run crosses or touches itself or another."""
    lines = [run.line for run in runs]
    found = [(f"{run.name} and itself", _own_crossing(run.line)) for run in runs if not run.line.is_simple]
    one, other = shapely.STRtree(lines).query(lines, predicate="intersects")
    for a, b in zip(one.tolist(), other.tolist(), strict=True):
        if a < b:
            x, y = shapely.get_coordinates(lines[a].intersection(lines[b]))[0].tolist()
            found.append((f"{runs[a].name} and {runs[b].name}", (x, y)))
    return compare(
        "places where runs cross",
        float(len(found)),
        "most",
        0.0,
        unit="count",
        source="water in a run flows one way: runs that cross cannot be laid",
        place="; ".join(f"{who} at {site_place(site.frame, at)}" for who, at in found),
    )


def _own_crossing(line: LineString) -> tuple[float, float]:
    """Find the first point at which a line meets itself."""
    knots = [part.coords[-1] for part in shapely.get_parts(shapely.node(line))]
    ends = {line.coords[0], line.coords[-1]}
    x, y = next((knot for knot in knots if knot not in ends), line.coords[0])[:2]
    return (x, y)


def shortest_run(site: Site, runs: Sequence[Run]) -> Check:
    """Length of the shortest run."""
    shortest = min(runs, key=lambda run: run.length)
    return compare(
        "shortest run",
        shortest.length,
        "least",
        site.runs.shortest,
        unit="length",
        source="runs.shortest",
        place=f"{shortest.name} at {site_place(site.frame, shortest.line.coords[0])}",
    )


def without_emitters(site: Site, runs: Sequence[Run], emitters: Sequence[EmitterRow]) -> Iterator[Check]:
    """Runs too short to have an emitter."""
    if not emitters:
        return
    none = {row.run for row in emitters if row.count == 0}
    yield compare(
        "runs without an emitter",
        float(len(none)),
        "most",
        0.0,
        unit="count",
        source="tubing.emitter_spacing",
        place=", ".join(
            f"{run.name} at {site_place(site.frame, run.line.coords[0])}" for run in runs if run.name in none
        ),
    )
