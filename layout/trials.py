"""The trials: every pattern that applies, laid and measured, so that the best can be taken and all compared."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString

from layout.asked import no_run
from layout.coverage import candidate, cover
from layout.errors import Fault, NoRoomError, SiteError
from layout.laterals import join_runs
from layout.model import (
    XY,
    Bed,
    Dropped,
    Follows,
    Laying,
    Lobe,
    Pattern,
    Sides,
    Site,
    Trial,
    UsableGround,
    xy,
)
from layout.necks import faces_neck, facing_sides, find_lobes
from layout.plane import TOLERANCE, coordinates
from layout.runs import feed_lobes, lay_lobes, lay_runs
from layout.sides import find_sides, straight_sides
from layout.terrain import bearing_on, level_line
from layout.usable import usable_outline

Progress = Callable[[str], None]
GOOD = 0.25
"""A score at which no other sides need be tried: hardly a dry corner, all fed, nothing left out."""
RESOLUTION = 0.02
"""Scores that differ by no more are equal: then what is tried first is taken, in a fixed order. It weighs like a
driest place half a hundredth of a spacing drier, so that a millimetre in the outline does not change the pattern."""
PHASES = (0.5,)
"""Where ``best`` also tries to lay the first run along a side, beyond the clearance, in spacings: half a spacing shares
what is left over at the far side between both, so that on a bed of one width neither strip is over half a spacing."""
_SIDED = frozenset({Pattern.LEFT, Pattern.RIGHT})
"""Patterns that follow one side."""


def lay_trials(
    site: Site, ground: UsableGround, *, progress: Progress, thorough: bool = False
) -> tuple[Trial, ...]:
    """Lay and measure the pattern that the site names, or all that apply where it names ``best``.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    progress : callable
        Called with the name of each stage as it begins.
    thorough : bool
        Try other sides also where those of the outline do well; what comes of that is marked as extra.

    Returns
    -------
    tuple of Trial
        The one to take first, the others by their score. Of scores that differ by no more than :data:`RESOLUTION`
        the one tried first is taken; where a pattern along the bed's own sides does well, one of other sides is not,
        whatever its score.

    Raises
    ------
    NoRoomError
        Where no run can be laid.
    """
    progress("sides and ends")
    tried: list[Trial] = []
    enough = 0  # trials after which a plan looks no further; it takes the best of these
    lobewise = True
    for along in _ways(site, ground):
        lobewise = lobewise and bool(along.lobe_sides)
        if not enough and any(trial.candidate.score <= GOOD for trial in tried):
            if not thorough:
                break
            enough = len(tried)
        for pattern in along.patterns:
            progress(f"runs, {pattern} pattern")
            trial = _best_phase(site, ground, along, pattern)
            if trial is not None and not any(_alike(trial, other) for other in tried):
                tried.append(trial)
    if not tried:
        raise NoRoomError(no_run(site, ground, lobewise=lobewise))
    first = _best(tried[: enough or None])
    extra = {id(trial) for trial in tried[enough:]} if enough else set()
    others = [replace(trial, extra=id(trial) in extra) for trial in tried if trial is not first]
    return first, *sorted(others, key=_score)


def is_same(trial: Trial, other: Trial) -> bool:
    """Whether two trials are one pattern along one kind of sides, laid alike."""
    return trial.candidate.follows == other.candidate.follows and _alike(trial, other)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Along:
    """Sides that runs may follow, and the patterns to try along them."""

    bed: Bed
    sides: Sides
    follows: Follows
    patterns: tuple[Pattern, ...]
    lines: dict[Pattern, LineString]
    lobes: tuple[Lobe, ...]
    lobe_sides: tuple[Sides, ...] = ()
    """Where it is laid lobe by lobe."""


def _ways(site: Site, ground: UsableGround) -> Iterator[_Along]:
    """The sides to try, those of the outline first."""
    toward, far = manifold_end(site)
    rules, outline = site.runs, site.bed.outline
    best, asked = rules.pattern is Pattern.BEST, rules.sides
    lines = _guides(site)
    plain = (Pattern.LEFT, Pattern.RIGHT, Pattern.CENTRE, Pattern.EVEN) if best else (rules.pattern,)
    own = find_sides(outline, toward=toward, far=far)
    lobes = find_lobes(outline, near=own.near, least=site.bed.clearance + rules.spacing)
    if asked in (None, "outline") or rules.pattern in lines or (asked == "lobes" and not lobes):
        # a line is followed whatever the sides
        patterns = (*plain, *lines) if best else plain
        yield _Along(
            bed=site.bed,
            sides=own,
            follows="outline" if own.certain else "rectangle",
            patterns=patterns,
            lines=lines,
            lobes=lobes,
        )
        if rules.pattern in lines:
            return
    if lobes and (asked == "lobes" or (asked is None and best)):
        yield _Along(
            bed=site.bed,
            sides=own,
            follows="lobes",
            patterns=plain,
            lines=lines,
            lobes=lobes,
            lobe_sides=tuple(_lobe_sides(lobes, k, own) for k in range(len(lobes))),
        )
    if asked == "usable ground" or (asked is None and best):
        left = usable_outline(ground, site.bed, rules.spacing)
        if left is not None:
            sides = find_sides(left, toward=toward, far=far)
            bed = replace(site.bed, outline=left)
            yield _Along(
                bed=bed, sides=sides, follows="usable ground", patterns=plain, lines=lines, lobes=lobes
            )
        elif asked is not None:
            follows: Follows = "outline" if own.certain else "rectangle"
            yield _Along(bed=site.bed, sides=own, follows=follows, patterns=plain, lines=lines, lobes=lobes)
    if asked == "rectangle" or (asked is None and best and own.certain):
        sides = straight_sides(outline, toward=toward, far=far)
        yield _Along(bed=site.bed, sides=sides, follows="rectangle", patterns=plain, lines=lines, lobes=lobes)


def _lobe_sides(lobes: tuple[Lobe, ...], number: int, own: Sides) -> Sides:
    """The sides that the runs of one lobe follow: its own, or straight ones where these do not lead to its neck."""
    lobe = lobes[number]
    if lobe.neck is not None:
        middle = lobe.neck.interpolate(0.5, normalized=True)
        sides = find_sides(lobe.ground, toward=xy(middle))
        return sides if sides.certain and faces_neck(sides, lobe) else facing_sides(lobe.ground, lobe.neck)
    sides = find_sides(lobe.ground, toward=xy(own.near.interpolate(0.5, normalized=True)))
    onward = next(other.neck for other in lobes if other.before == number and other.neck is not None)
    return sides if sides.certain else facing_sides(lobe.ground, onward)


def _best_phase(site: Site, ground: UsableGround, along: _Along, pattern: Pattern) -> Trial | None:
    """One pattern laid and measured; where ``best`` is asked for, with the first run where it scores best."""
    trial = _trial(site, ground, along, pattern)
    rules = site.runs
    sided = pattern in _SIDED or (pattern is Pattern.EVEN and rules.closest < rules.spacing)
    if not sided or rules.pattern is not Pattern.BEST or rules.first is not None:
        return trial
    if trial is None or trial.candidate.score <= GOOD:
        return trial
    shifted = [
        _trial(replace(site, runs=replace(rules, first=first)), ground, along, pattern)
        for first in (site.bed.clearance + phase * rules.spacing for phase in PHASES)
    ]
    return _best([trial, *(other for other in shifted if other is not None)])


def _trial(site: Site, ground: UsableGround, along: _Along, pattern: Pattern) -> Trial | None:
    """One pattern laid and measured; None where no run fits."""
    rules, spacing = site.runs, site.runs.spacing
    laying: Laying | None
    if along.lobe_sides:
        laying = lay_lobes(
            along.bed, ground, along.lobes, along.lobe_sides, rules, site.tubing, pattern=pattern
        )
    else:
        laying = lay_runs(
            along.bed,
            ground,
            along.sides,
            rules,
            site.tubing,
            pattern=pattern,
            guide=along.lines.get(pattern),
            # water that is led through necks is led past obstacles by blank tubing alone
            longest=0.0 if along.lobes else site.laterals.longest,
        )
    if laying is None or not laying.runs:
        return None
    laying = _capped(laying, rules.most)
    laying = feed_lobes(
        laying,
        along.lobes,
        along.bed,
        ground,
        along.sides,
        rules,
        site.tubing,
        longest=site.laterals.longest,
    )
    laying = replace(laying, dropped=_once(laying.dropped))
    coverage = cover(
        ground.area, site.bed.outline, laying.runs, spacing=spacing, radius=site.tubing.bend_radius
    )
    first = rules.first if pattern in {*_SIDED, Pattern.EVEN} else None
    laterals, _ = join_runs(
        laying, site.laterals, spacing=spacing, bed=site.bed, kept_clear=ground.kept_clear
    )
    measured = candidate(
        laying, coverage, spacing=spacing, follows=along.follows, first=first, laterals=laterals
    )
    return Trial(candidate=measured, laying=laying, sides=along.sides)


def _capped(laying: Laying, most: int | None) -> Laying:
    """No more rows than the user's cap over all lobes: of rows laid lobe by lobe, those with most tubing."""
    rows = sorted({run.row for run in laying.runs})
    if most is None or len(rows) <= most:
        return laying
    tubing = {row: math.fsum(run.length for run in laying.runs if run.row == row) for row in rows}
    kept = set(sorted(rows, key=lambda row: (-round(tubing[row], 6), row))[:most])
    runs = tuple(run for run in laying.runs if run.row in kept)
    named = {run.name for run in runs}
    over = [
        Dropped(line=run.line, row=run.row, why="over runs.most")
        for run in laying.runs
        if run.row not in kept
    ]
    return replace(
        laying,
        runs=runs,
        dropped=(*laying.dropped, *over),
        carries=tuple(join for join in laying.carries if join.start in named and join.end in named),
        windings=tuple(winding for winding in laying.windings if named.issuperset(winding)),
    )


def _once(dropped: tuple[Dropped, ...]) -> tuple[Dropped, ...]:
    """Pieces left out, each once though several attempts left it out."""
    seen = {
        shapely.set_precision(piece.line, TOLERANCE).normalize().wkb: piece for piece in reversed(dropped)
    }
    kept = {id(piece) for piece in seen.values()}
    return tuple(piece for piece in dropped if id(piece) in kept)


def _alike(trial: Trial, other: Trial) -> bool:
    """Whether two trials laid the same runs, along sides that turned out the same."""
    runs, others = trial.laying.runs, other.laying.runs
    if trial.candidate.pattern is not other.candidate.pattern or len(runs) != len(others):
        return False
    return all(_same_line(one.line, two.line) for one, two in zip(runs, others, strict=True))


def _same_line(one: LineString, two: LineString) -> bool:
    """Whether two lines begin, end and run alike, to within a point's width, however many points they have."""
    ends = np.abs(coordinates(one)[[0, -1]] - coordinates(two)[[0, -1]]).max()
    return bool(max(ends, abs(one.length - two.length)) < TOLERANCE)


def _score(trial: Trial) -> float:
    return trial.candidate.score


def _best(tried: Sequence[Trial]) -> Trial:
    """The first of those whose score is as good as the least, to within :data:`RESOLUTION`."""
    least = min(map(_score, tried))
    return next(trial for trial in tried if _score(trial) <= least + RESOLUTION)


def manifold_end(site: Site) -> tuple[XY, bool]:
    """The point the manifold end is nearest to [m], and whether it is the other end that is meant."""
    outline = site.bed.outline.exterior.coords[0]
    pump = site.pump.at if site.pump else (float(outline[0]), float(outline[1]))
    if isinstance(site.manifold.end, str):
        return pump, site.manifold.end == "far"
    return site.manifold.end, False


def _guides(site: Site) -> dict[Pattern, LineString]:
    """The lines that the drawn and the contour pattern follow, where the site gives them."""
    lines = {}
    if site.runs.guide is not None:
        lines[Pattern.DRAWN] = bearing_on(site.runs.guide, site.bed.outline)
    asked = site.runs.pattern is Pattern.CONTOUR
    if site.bed.levels is not None and site.runs.pattern in {Pattern.CONTOUR, Pattern.BEST}:
        try:
            found = level_line(site.bed.levels, site.bed.outline)
        except SiteError:
            if asked:
                raise
            return lines  # levels that make no surface matter to no other pattern
        if found.line is not None:
            lines[Pattern.CONTOUR] = found.line
        elif asked:
            raise NoRoomError(
                Fault(
                    file=str(site.file),
                    field="runs.pattern",
                    said=f"the contour pattern has no level line to follow: {found.why}",
                    remedy="Choose another pattern, or give levels that show how the ground falls.",
                )
            )
    return lines
