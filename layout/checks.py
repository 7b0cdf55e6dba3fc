"""Design checks: the laws of a layout and the limits the user states, measured on the finished layout."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Literal

import numpy as np
import shapely
from shapely import LineString, MultiLineString, Polygon

from layout.model import (
    Check,
    Coverage,
    EmitterRow,
    Feature,
    FeatureKind,
    Join,
    Lateral,
    Laying,
    Pattern,
    Plumbing,
    Run,
    Site,
    Unit,
    UsableGround,
    site_place,
    watered,
)
from layout.plane import TOLERANCE

EDGE_SLACK = 0.02
"""What tubing may lie nearer to the bed's edge than its clearance, in row spacings."""
GAP_SHARE = 0.98
"""Least distance between runs side by side, in least gaps."""
BEND_SHARE = 0.95
"""Least bend radius of a run, in bend radii of the tubing."""
DRY_SHARE = 1.25
"""Greatest dry distance, in half spacings."""
COVERED_SHARE = 0.98
"""Least share of usable ground within half a spacing of tubing."""
JUDGEMENT = "judgement of this tool, no published source"
CLOSED_KINDS = frozenset({FeatureKind.BUILDING, FeatureKind.TANK, FeatureKind.WATER_BODY})
"""Features that are areas whatever their points say."""
LISTED = 20
"""Features with a setback check of their own; the others, which lie farther off, share one."""
ROUNDING = 1e-9
"""What rounding of coordinates alone may cost a figure; for setbacks [m], else relative."""


def design_checks(
    site: Site,
    ground: UsableGround,
    laying: Laying,
    laterals: Sequence[Lateral],
    plumbing: Plumbing,
    coverage: Coverage,
    *,
    joins: Sequence[Join] = (),
    emitters: Sequence[EmitterRow] = (),
) -> tuple[Check, ...]:
    """Check a finished layout.

    Clearance and setbacks hold for loops and blank tubing as well as for runs. Pipe may not cross a feature; its
    setbacks are checked with the manifolds and the lines themselves.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    laying : Laying
        With at least one run.
    laterals : sequence of Lateral
    plumbing : Plumbing
    coverage : Coverage
    joins : sequence of Join, optional
    emitters : sequence of EmitterRow, optional
        Of the runs.

    Returns
    -------
    tuple of Check
        Clearance; the setback of each feature; gap, bend, crossing runs; length and feed of runs and
        laterals; dry distance, coverage, loading; what pipes cross. What does not apply is left out. Sources
        are keys of the site file, or say that the limit is a judgement.
    """
    tubing = [run.line for run in laying.runs] + [join.line for join in joins]
    return (
        _clearance(site, tubing),
        *_setbacks(site, tubing),
        *_gap(site, laying, coverage),
        *_widest(site, laying, coverage),
        *_bend(site, laying, coverage),
        _crossing_runs(site, laying.runs),
        _shortest_run(site, laying.runs),
        *_emitters(site, laying.runs, emitters),
        _longest_lateral(site, laterals),
        _fed(site, laying.runs, laterals),
        _dry(site, coverage),
        _covered(coverage),
        *_loading(site, ground),
        _pipe_crossings(site, plumbing),
    )


def _check(
    name: str,
    value: float,
    sense: Literal["least", "most"],
    limit: float,
    *,
    unit: Unit,
    source: str,
    place: str,
) -> Check:
    """Compare a value with its limit; the place is kept only where it fails."""
    slack = ROUNDING * (abs(limit) or 1.0)
    ok = value >= limit - slack if sense == "least" else value <= limit + slack
    return Check(
        name=name,
        value=value,
        limit=limit,
        unit=unit,
        sense=sense,
        ok=bool(ok),
        source=source,
        place="" if ok else place,
    )


# --- where tubing lies ----------------------------------------------------------------------------------


def _clearance(site: Site, tubing: Sequence[LineString]) -> Check:
    """Least distance from tubing to the bed's edge; below 0 where tubing leaves the bed."""
    outline = site.bed.outline
    edge = LineString(outline.exterior.coords)
    shapely.prepare([edge, outline])
    distance = shapely.distance(edge, tubing)
    for number in np.flatnonzero(~shapely.covers(outline, tubing)).tolist():
        beyond = shapely.points(shapely.get_coordinates(tubing[number].difference(outline)))
        distance[number] = min(-float(shapely.distance(edge, beyond).max(initial=0.0)), 0.0)
    worst = int(np.argmin(distance))
    return _check(
        "least clearance to the bed's edge",
        float(distance[worst]),
        "least",
        max(site.bed.clearance - EDGE_SLACK * site.runs.spacing, 0.0),
        unit="length",
        source="bed.clearance, less 0.02 × runs.spacing",
        place=_nearest_place(site, tubing[worst], edge),
    )


def _setbacks(site: Site, tubing: Sequence[LineString]) -> Iterator[Check]:
    """Distance from each feature to the nearest tubing, exactly against its setback."""
    features = site.features
    if not features:
        return
    laid = MultiLineString(list(tubing))
    shapely.prepare(laid)
    distance = shapely.distance(laid, [feature.shape for feature in features])
    margin = distance - [feature.setback for feature in features]
    nearest = set(np.argsort(margin, kind="stable")[:LISTED].tolist())
    for number, feature in enumerate(features):
        if number in nearest:
            yield _setback(site, feature, laid, float(distance[number]))
    others = [number for number in range(len(features)) if number not in nearest]
    if others:
        worst = min(others, key=lambda number: float(margin[number]))
        yield Check(
            name=f"distance beyond the setbacks of {len(others)} more features",
            value=float(margin[worst]),
            limit=0.0,
            unit="length",
            sense="least",
            ok=bool(margin[worst] >= -ROUNDING),
            source="feature.setback",
            place="" if margin[worst] >= -ROUNDING else _nearest_place(site, laid, features[worst].shape),
        )


def _setback(site: Site, feature: Feature, laid: MultiLineString, distance: float) -> Check:
    inside = False
    if distance == 0 and feature.shape.geom_type == "Polygon":
        # To touch the edge of an area without a setback is as near as tubing may come.
        inside = laid.intersects(feature.shape.buffer(-TOLERANCE))
    source = "feature.setback"
    open_row = isinstance(feature.shape, LineString) and len(feature.shape.coords) > 2
    if open_row and feature.kind in CLOSED_KINDS:
        # given as an open row of points it is a line by its shape; nobody lays tubing in it for all that
        inside = laid.intersects(Polygon(feature.shape.coords).buffer(-TOLERANCE))
        source = "feature.setback; its points are not closed: repeat the first at the end to make it an area"
    ok = bool(distance >= feature.setback - ROUNDING and not inside)
    return Check(
        name=f"distance to {feature.name}",
        value=distance,
        limit=feature.setback,
        unit="length",
        sense="least",
        ok=ok,
        source=source,
        place="" if ok else _nearest_place(site, laid, feature.shape),
    )


def _nearest_place(site: Site, line: LineString | MultiLineString, other: shapely.Geometry) -> str:
    """Where a line comes nearest to something, in site coordinates."""
    x, y = shapely.get_coordinates(shapely.shortest_line(line, other))[0].tolist()
    return f"at {site_place(site.frame, (x, y))}"


# --- runs -----------------------------------------------------------------------------------------------


def _gap(site: Site, laying: Laying, coverage: Coverage) -> Iterator[Check]:
    if coverage.gap_least is None:
        return
    even = laying.pattern is Pattern.EVEN
    limit = GAP_SHARE * (site.runs.closest if even else site.runs.spacing)
    yield _check(
        "least gap between runs side by side",
        coverage.gap_least,
        "least",
        limit,
        unit="length",
        source=f"{'runs.closest' if even else 'runs.spacing'}, less 2 %",
        place=_tightest_gap(site, laying.runs) if coverage.gap_least < limit else "",
    )


def _tightest_gap(site: Site, runs: Sequence[Run]) -> str:
    """Find the two runs of neighbouring rows that come nearest to each other, and where."""
    pairs = [(one, other) for one in runs for other in runs if other.row == one.row + 1]
    if not pairs:
        return ""
    one, other = min(pairs, key=lambda pair: float(pair[0].line.distance(pair[1].line)))
    return f"{one.name} and {other.name} {_nearest_place(site, one.line, other.line)}"


def _widest(site: Site, laying: Laying, coverage: Coverage) -> Iterator[Check]:
    if laying.pattern is not Pattern.EVEN or coverage.gap_p95 is None:
        return
    yield _check(
        "gap between runs that 95 % of them keep within",
        coverage.gap_p95,
        "most",
        site.runs.widest,
        unit="length",
        source="runs.widest",
        place="where rows begin or end",
    )


def _bend(site: Site, laying: Laying, coverage: Coverage) -> Iterator[Check]:
    if site.tubing.bend_radius == 0:
        return
    cut = [
        piece.line.interpolate(0.5, normalized=True) for piece in laying.dropped if "bend_radius" in piece.why
    ]
    yield _check(
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
    yield _check(
        "tightest bend of a run",
        coverage.bend_least,
        "least",
        BEND_SHARE * site.tubing.bend_radius,
        unit="length",
        source="tubing.bend_radius, less 5 %",
        place=f"at {site_place(site.frame, coverage.bend_at)}",
    )


def _crossing_runs(site: Site, runs: Sequence[Run]) -> Check:
    """Places where a run crosses or touches itself or another."""
    lines = [run.line for run in runs]
    found = [(f"{run.name} and itself", _own_crossing(run.line)) for run in runs if not run.line.is_simple]
    one, other = shapely.STRtree(lines).query(lines, predicate="intersects")
    for a, b in zip(one.tolist(), other.tolist(), strict=True):
        if a < b:
            x, y = shapely.get_coordinates(lines[a].intersection(lines[b]))[0].tolist()
            found.append((f"{runs[a].name} and {runs[b].name}", (x, y)))
    return _check(
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


def _shortest_run(site: Site, runs: Sequence[Run]) -> Check:
    shortest = min(runs, key=lambda run: run.length)
    return _check(
        "shortest run",
        shortest.length,
        "least",
        site.runs.shortest,
        unit="length",
        source="runs.shortest",
        place=f"{shortest.name} at {site_place(site.frame, shortest.line.coords[0])}",
    )


def _emitters(site: Site, runs: Sequence[Run], emitters: Sequence[EmitterRow]) -> Iterator[Check]:
    """Runs too short to have an emitter."""
    if not emitters:
        return
    none = {row.run for row in emitters if row.count == 0}
    yield _check(
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


# --- laterals and pipes ---------------------------------------------------------------------------------


def _longest_lateral(site: Site, laterals: Sequence[Lateral]) -> Check:
    """Length of the longest lateral with its loops and blank tubing."""
    limit = site.laterals.longest
    lengths = {lateral.name: lateral.length + lateral.blank for lateral in laterals}
    return _check(
        "longest lateral, with loops",
        max(lengths.values()),
        "most",
        limit,
        unit="length",
        source="laterals.longest",
        place=", ".join(name for name, length in lengths.items() if length > limit),
    )


def _fed(site: Site, runs: Sequence[Run], laterals: Sequence[Lateral]) -> Check:
    """Share of tubing that water reaches from the manifold end, through whatever runs."""
    reached = watered(runs, laterals)
    dry = [lateral for lateral in laterals if lateral not in reached]
    whole = math.fsum(lateral.length for lateral in laterals)
    return _check(
        "share of tubing fed from the manifold end",
        math.fsum(lateral.length for lateral in laterals if lateral not in dry) / whole,
        "least",
        1.0,
        unit="ratio",
        source="manifold.end",
        place=", ".join(
            f"{' and '.join(lateral.runs)} at {site_place(site.frame, lateral.supply)}" for lateral in dry
        ),
    )


def _pipe_crossings(site: Site, plumbing: Plumbing) -> Check:
    return _check(
        "features crossed by manifolds, risers or lines",
        float(len(plumbing.crossings)),
        "most",
        0.0,
        unit="count",
        source="feature.shape",
        place="; ".join(f"{name} at {site_place(site.frame, at)}" for name, at in plumbing.crossings),
    )


# --- ground ---------------------------------------------------------------------------------------------


def _dry(site: Site, coverage: Coverage) -> Check:
    return _check(
        "farthest usable ground from tubing",
        coverage.dry,
        "most",
        DRY_SHARE * 0.5 * site.runs.spacing,
        unit="length",
        source=f"1.25 × half of runs.spacing: {JUDGEMENT}",
        place=f"at {site_place(site.frame, coverage.dry_at)}",
    )


def _covered(coverage: Coverage) -> Check:
    return _check(
        "usable ground within half a spacing of tubing",
        coverage.covered,
        "least",
        COVERED_SHARE,
        unit="ratio",
        source=JUDGEMENT,
        place="",
    )


def _loading(site: Site, ground: UsableGround) -> Iterator[Check]:
    """Design flow spread over the usable ground."""
    if site.design.flow is None or site.design.loading is None:
        return
    yield _check(
        "loading of the usable ground",
        site.design.flow / ground.area.area,
        "most",
        site.design.loading,
        unit="loading",
        source="design.flow, design.loading",
        place="",
    )
