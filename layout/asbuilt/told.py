"""What is to be said of a field as laid: a verdict on each run, checks of the whole, findings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from layout.asbuilt.gaps import pair_gaps
from layout.asbuilt.match import Matched
from layout.model import (
    NAMED,
    XY,
    Astray,
    Check,
    Design,
    Finding,
    Frame,
    LaidRun,
    Pattern,
    Shot,
    Site,
    Unit,
    Verdict,
    listed,
    site_place,
)
from layout.model.laws import GAP_LAW
from layout.plane import Array, coordinates, points_at, stations

SHIFT_TOLD = 0.5
"""The whole survey is said to be shifted where it is so by this share of the tolerance ..."""
SHIFT_EXPLAINS = 0.5
"""... and where that leaves at most this share of the mean square offset."""


@dataclass(frozen=True, slots=True)
class _Words:
    """Figures in a site's units."""

    frame: Frame

    def length(self, value: float) -> str:
        units = self.frame.units
        return f"{value / units.length:.2f} {units.length_name}"

    def figure(self, value: float) -> str:
        return f"{value / self.frame.units.length:.2f}"

    def at(self, place: XY) -> str:
        return site_place(self.frame, place)


def least_gap(site: Site, pattern: Pattern) -> float:
    """The least distance between runs that the plan allows [m]."""
    return GAP_LAW * (site.runs.closest if pattern is Pattern.EVEN else site.runs.spacing)


def judged(design: Design, runs: Sequence[LaidRun], *, within: float) -> tuple[LaidRun, ...]:
    """Each run with its verdict, and what is off by more than `within` [m] in words."""
    off = {run.run: run.offset_greatest for run in runs}
    return tuple(_judged(design, run, within, off) for run in runs)


def _judged(design: Design, run: LaidRun, within: float, offs: Mapping[str, float]) -> LaidRun:
    words = _Words(design.site.frame)
    if run.line is None:
        found = f"{run.places} place on it" if run.places == 1 else "none"
        return replace(
            run, verdict="not found", why=(f"two measured places or more are wanted, found {found}",)
        )
    missing = list(_not_measured(design, run, within, words))
    off = list(_off(design, run, within, words, offs))
    verdict: Verdict = "partly measured" if missing else "off" if off else "as planned"
    return replace(run, verdict=verdict, why=(*off, *missing))


def _not_measured(design: Design, run: LaidRun, within: float, words: _Words) -> Iterator[str]:
    """Ends and stretches of which the survey says nothing."""
    usual = max(design.site.runs.spacing, design.site.stakeout.interval / 2)
    for name, beyond in (("start", run.start_beyond), ("end", run.end_beyond)):
        if -beyond > max(within, usual):
            yield (
                f"no point within {words.length(-beyond)} of its planned {name}: laid so much short, or not measured"
            )
    for start, end in run.unmeasured:
        yield f"no point on the bend between stations {words.figure(start)} and {words.figure(end)}"


def _off(
    design: Design, run: LaidRun, within: float, words: _Words, offs: Mapping[str, float]
) -> Iterator[str]:
    """What of a run is farther off than it may be; of two too near to each other the one that is more off is told."""
    if run.offset_greatest > within and run.greatest_at is not None:
        worst = int(np.abs(run.offsets).argmax())
        side = "right" if run.offsets[worst] > 0 else "left"
        yield (
            f"{words.length(run.offset_greatest)} to the {side} of the plan at station "
            f"{words.figure(run.stations[worst])}, {words.at(run.greatest_at)}; {words.figure(run.offset_mean)} on the "
            "mean"
        )
    usual = max(within, design.site.runs.spacing, design.site.stakeout.interval / 2)
    for name, beyond in (("start", run.start_beyond), ("end", run.end_beyond)):
        if within < abs(beyond) and -beyond <= usual:
            way = "beyond" if beyond > 0 else "short of"
            yield f"its {name} {words.length(abs(beyond))} {way} the plan"
    least = least_gap(design.site, design.laying.pattern)
    if run.gap_least is not None and run.gap_at is not None:
        wanted = min(least, run.gap_planned if run.gap_planned is not None else least)
        blamed = run.offset_greatest > within or offs[run.gap_to] <= within
        if run.gap_least < wanted - within and blamed:
            yield f"{words.length(run.gap_least)} from {run.gap_to} at {words.at(run.gap_at)}"
    if run.edge < design.site.bed.clearance - within:
        where = "outside the bed" if run.edge < 0 else "from the edge of the bed"
        yield f"{words.length(abs(run.edge))} {where}, clearance {words.figure(design.site.bed.clearance)}"
    for item in run.setbacks:
        if item.distance < item.setback - within:
            yield f"{words.length(item.distance)} from {item.feature}, setback {words.figure(item.setback)}"


# --- the whole field ------------------------------------------------------------------------------------


def asbuilt_checks(
    design: Design, runs: Sequence[LaidRun], *, within: float, source: str
) -> tuple[Check, ...]:
    """Compare the field as laid with the plan.

    Parameters
    ----------
    design : Design
    runs : sequence of LaidRun
        With their verdicts.
    within : float
        How far tubing may lie from the plan [m].
    source : str
        Where that comes from.
    """
    laid = [run for run in runs if run.line is not None]
    words = _Words(design.site.frame)
    lost = [run.run for run in runs if run.line is None]
    partly = [run.run for run in runs if run.verdict == "partly measured"]
    checks = [
        _check("runs found in the survey", len(laid), len(runs), "least", "count", "the plan", listed(lost)),
        _check(
            "runs not measured to their ends and bends",
            len(partly),
            0,
            "most",
            "count",
            source,
            listed(partly),
        ),
    ]
    if not laid:
        return tuple(checks)
    worst = max(laid, key=lambda run: run.offset_greatest)
    where = "" if worst.greatest_at is None else f"{worst.run} at {words.at(worst.greatest_at)}"
    checks.append(
        _check(
            "greatest offset of a run from the plan",
            worst.offset_greatest,
            within,
            "most",
            "length",
            source,
            where,
        )
    )
    ends = [
        (beyond, run.run, name)
        for run in laid
        for beyond, name in ((run.start_beyond, "start"), (run.end_beyond, "end"))
    ]
    beyond, name, end = max(ends, key=lambda item: abs(item[0]))
    checks.append(
        _check(
            "greatest distance of a run end from the planned one",
            abs(beyond),
            within,
            "most",
            "length",
            source,
            f"{name}, its {end} {'beyond' if beyond > 0 else 'short'}",
        )
    )
    checks += _near_checks(design, laid, within, words)
    tubing, planned = math.fsum(run.length for run in runs), math.fsum(run.planned for run in runs)
    checks.append(_told("tubing as laid, over the plan", tubing / planned, 1.0, "ratio"))
    flow, asked = math.fsum(run.flow for run in runs), math.fsum(run.flow_planned for run in runs)
    checks.append(_told("flow as laid, over the plan", flow / asked if asked else 1.0, 1.0, "ratio"))
    return tuple(checks)


def _near_checks(design: Design, laid: Sequence[LaidRun], within: float, words: _Words) -> Iterator[Check]:
    """Gaps, clearance and setbacks as laid; each may be short by the tolerance."""
    site = design.site
    granted = "less the tolerance of laying"
    pairs = _pairs(design, laid, within)
    if pairs:
        # that pair is told that has least to spare, not that which is nearest: the plan itself may have it so near
        tightest = min(pairs, key=lambda pair: pair.least - pair.limit)
        key = "runs.closest" if design.laying.pattern is Pattern.EVEN else "runs.spacing"
        yield _check(
            "least gap between runs as laid",
            tightest.least,
            tightest.limit,
            "least",
            "length",
            f"{key}, {granted}",
            f"{tightest.first} to {tightest.second} at {words.at(tightest.at)}",
        )
    edge = min(laid, key=lambda run: run.edge)
    yield _check(
        "least clearance to the edge as laid",
        edge.edge,
        site.bed.clearance - within,
        "least",
        "length",
        f"bed.clearance, {granted}",
        edge.run,
    )
    for number, feature in enumerate(site.features):
        near = min(laid, key=lambda run: run.setbacks[number].distance)
        yield _check(
            f"least distance to {feature.name} as laid",
            near.setbacks[number].distance,
            feature.setback - within,
            "least",
            "length",
            f"setback of {feature.name}, {granted}",
            near.run,
        )


def _check(
    name: str,
    value: float,
    limit: float,
    sense: Literal["least", "most"],
    unit: Unit,
    source: str,
    place: str,
) -> Check:
    return Check.against(name, value, sense, limit, unit=unit, source=source, place=place, slack=1e-9)


def _told(name: str, value: float, limit: float, unit: str) -> Check:
    """A figure for information."""
    return Check(
        name=name,
        value=value,
        limit=math.inf,
        unit=unit,  # type: ignore[arg-type]
        sense="most",
        ok=True,
        source=f"the plan is {limit:.0%}",
    )


# --- findings -------------------------------------------------------------------------------------------


def asbuilt_findings(
    design: Design,
    runs: Sequence[LaidRun],
    astray: Sequence[Astray],
    doubled: Sequence[tuple[Shot, ...]],
    *,
    within: float,
    shift: XY | None,
) -> Iterator[Finding]:
    """What deserves a look in a survey of tubing as laid; it may be off by `within` [m]."""
    words = _Words(design.site.frame)
    if shift is not None:
        yield Finding(
            code="survey-shifted",
            said=(
                f"All points together lie {words.length(math.hypot(*shift))} from the plan, "
                f"{words.figure(shift[0])} to the east and {words.figure(shift[1])} to the north"
            ),
            remedy="Has the survey another origin, or a base set up off its mark? Check it on a known point.",
        )
    for run in runs:
        if run.verdict == "not found":
            yield Finding(
                code="run-not-found",
                said=f"{run.run} was not found: {run.why[0]}",
                remedy="Measure both of its ends and all its bends.",
            )
        elif run.verdict != "as planned":
            yield Finding(code="run-off", said=f"{run.run}: {'; '.join(run.why)}", remedy="")
    yield from _too_near(design, runs, within, words)
    yield from _setbacks_short(design, runs, within, words)
    for item in astray[:NAMED]:
        name = f"Point {item.shot.name}" if item.shot.name else "The point"
        yield Finding(
            code="point-astray",
            said=f"{name} ({item.shot.place}, {words.at(item.shot.at)}) lies {item.why}",
            remedy="It is left out. Check it, or say in its description what it is.",
        )
    if len(astray) > NAMED:
        yield Finding(
            code="point-astray", said=f"{len(astray) - NAMED} more points are on nothing planned", remedy=""
        )
    if doubled:
        places = listed([" and ".join(shot.place for shot in same) for same in doubled])
        yield Finding(
            code="doubled-points", said=f"Measured more than once, their mean is taken: {places}", remedy=""
        )


def _too_near(design: Design, runs: Sequence[LaidRun], within: float, words: _Words) -> Iterator[Finding]:
    """Every two runs that lie nearer to each other than they may, whichever of them is off."""
    said = [
        f"{pair.first} and {pair.second} {words.length(pair.least)} at {words.at(pair.at)}, "
        f"limit {words.figure(pair.limit)}"
        for pair in _pairs(design, runs, within)
        if pair.least < pair.limit - 1e-9
    ]
    if said:
        yield Finding(
            code="runs-too-near",
            said=f"Nearer to each other than the plan less the tolerance: {'; '.join(said[:NAMED])}"
            + (f"; and {len(said) - NAMED} more pairs" if len(said) > NAMED else ""),
            remedy="",
        )


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two runs beside each other as laid: the least gap and the limit of it [m], and where on one of them it is."""

    first: str
    second: str
    least: float
    limit: float
    at: XY


def _pairs(design: Design, runs: Sequence[LaidRun], within: float) -> list[_Pair]:
    """All pairs of runs beside each other as laid, in order; none has to be wider apart than it was planned."""
    spacing = design.site.runs.spacing
    planned = {run.name: run for run in design.laying.runs}
    rows = [(planned[run.run].lobe, planned[run.run].row) for run in runs]
    was = pair_gaps([planned[run.run].line for run in runs], rows, spacing)
    least = least_gap(design.site, design.laying.pattern)
    return [
        _Pair(
            first=runs[pair[0]].run,
            second=runs[pair[1]].run,
            least=gap.least,
            limit=min(least, was[pair].least if pair in was else least) - within,
            at=gap.at,
        )
        for pair, gap in sorted(pair_gaps([run.line for run in runs], rows, spacing).items())
    ]


def _setbacks_short(
    design: Design, runs: Sequence[LaidRun], within: float, words: _Words
) -> Iterator[Finding]:
    """Setbacks that are not kept to the last inch, though within the tolerance: for the authority to judge."""
    for number, feature in enumerate(design.site.features):
        laid = [run for run in runs if run.line is not None]
        if not laid:
            return
        near = min(laid, key=lambda run: run.setbacks[number].distance)
        short = feature.setback - near.setbacks[number].distance
        if 0.005 * design.site.frame.units.length < short <= within:
            yield Finding(
                code="setback-short",
                said=(
                    f"{near.run} lies {words.length(near.setbacks[number].distance)} from {feature.name}, "
                    f"{words.figure(short)} nearer than its setback; that is within the tolerance of laying"
                ),
                remedy="Local code and the authority decide whether it may stay.",
            )


def whole_shift(design: Design, matched: Matched, *, within: float) -> XY | None:
    """How far the whole survey is shifted against the plan, where that explains most of the offsets [m]; else None."""
    normals, offsets = [], []
    for run, along, away in zip(design.laying.runs, matched.stations, matched.offsets, strict=True):
        line = coordinates(run.line)
        if not len(along):
            continue
        normals.append(_to_the_right(line, np.clip(along, 0.0, run.length)))
        offsets.append(away)
    if not offsets:
        return None
    square, off = np.vstack(normals), np.concatenate(offsets)
    if len(off) < 4:
        return None
    east, north = np.linalg.lstsq(square, off, rcond=1e-3)[0].tolist()
    left = off - square @ np.array([east, north])
    told = math.hypot(east, north) > SHIFT_TOLD * within
    if told and float(left @ left) <= SHIFT_EXPLAINS * float(off @ off):
        return float(east), float(north)
    return None


def _to_the_right(line: Array, along: Array) -> Array:
    """Unit vectors to the right of a line at stations, shape (n, 2)."""
    reach = 0.01 * stations(line)[-1]
    step = points_at(line, along + reach) - points_at(line, along - reach)
    step /= np.maximum(np.hypot(*step.T), 1e-12)[:, None]
    return np.column_stack((step[:, 1], -step[:, 0]))
