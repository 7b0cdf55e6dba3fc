"""The stake-out of a field: every place with its number, its height, and two ways to find it with tapes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from layout.model import FeatureKind, Finding, Laying, Plumbing, Site, Stake, Staking
from layout.plane import Array
from layout.stakes.baseline import Baseline, choose_baseline, given_baseline, offsets
from layout.stakes.swing import GREATEST_CROSSING, LEAST_CROSSING, swings
from layout.stakes.tape import Tape
from layout.stakes.walk import Place, walk

_NAMED = 12
"""Stakes named in a finding; the rest are counted."""

Heights = Callable[[Array], Sequence[float | None]]


def stake_out(site: Site, laying: Laying, plumbing: Plumbing, *, heights: Heights) -> Staking:
    """Stake a field.

    Parameters
    ----------
    site : Site
    laying : Laying
        Its runs are staked, and the blank tubing between them.
    plumbing : Plumbing
        Manifold ends, risers, valves and bends of lines are staked.
    heights : callable
        Gives heights of the ground at points, shape (n, 2) [m]; None where it is not known.

    Returns
    -------
    Staking
        Stakes are numbered in walking order: the ends of a chosen baseline, the edge of the bed, runs, manifolds,
        lines.
    """
    rules = site.stakeout
    tape = Tape.of(rules, site.frame)
    places = walk(site, laying, plumbing, tape)
    if rules.baseline is None:
        found = _chosen(site, places, tape)
        marks = [Place(at, "baseline", f"baseline {name}") for name, at in zip("AB", found.ends, strict=True)]
        places = [*marks, *places]
    else:
        found = given_baseline(rules.baseline, site.features)
    points = np.array([place.at for place in places]).reshape(-1, 2)
    stakes = [
        Stake(
            number=number,
            kind=place.kind,
            at=place.at,
            height=height,
            run=place.run,
            station=place.station,
            description=place.says,
            baseline=offset,
            swing=swing,
        )
        for number, (place, height, offset, swing) in enumerate(
            zip(
                places,
                heights(points),
                offsets(points, found.ends, tape),
                swings(points, rules.ties, site.features, tape),
                strict=True,
            ),
            start=1,
        )
    ]
    return Staking(
        stakes=tuple(stakes),
        baseline=found.ends,
        given=rules.baseline is not None,
        blocked_by=found.blocked_by,
        step=tape.step,
        grain=tape.grain,
    )


def _chosen(site: Site, places: Sequence[Place], tape: Tape) -> Baseline:
    """The baseline with short offsets to the runs, for they are most of the work, that serves all places."""
    points = np.array([place.at for place in places])
    on_runs = points[[bool(place.run) for place in places]]
    return choose_baseline(on_runs if len(on_runs) else points, points, site.features, tape)


def stake_findings(site: Site, staking: Staking) -> Iterator[Finding]:
    """Which stakes two tapes find badly or not at all, and a baseline that something stands in the way of."""
    if staking.blocked_by:
        yield _blocked_baseline(site, staking)
    if not site.stakeout.ties:
        return
    lost = [stake.number for stake in staking.stakes if stake.swing is None]
    if lost:
        yield Finding(
            code="no-tie",
            said=f"{_stakes(lost)} cannot be found by swing ties: they lie in line with the fixed points.",
            remedy="Use the baseline for them, or add a fixed point to the side to stakeout.ties.",
        )
    blocked = [stake.number for stake in staking.stakes if stake.swing is not None and stake.swing.blocked]
    if blocked:
        yield Finding(
            code="blocked-tie",
            said=f"A building, tank, well, tree or water lies across the tapes to {_stakes(blocked, 'stake')}.",
            remedy="Use the baseline for them, or add fixed points to stakeout.ties that they can be seen from.",
        )
    flat = [
        stake.number
        for stake in staking.stakes
        if stake.swing is not None and not LEAST_CROSSING <= stake.swing.crossing <= GREATEST_CROSSING
    ]
    if flat:
        least, greatest = (round(math.degrees(angle)) for angle in (LEAST_CROSSING, GREATEST_CROSSING))
        yield Finding(
            code="poor-tie",
            said=f"The tapes cross at under {least} or over {greatest} degrees at {_stakes(flat, 'stake')}.",
            remedy="Use the baseline for them, or add a fixed point to stakeout.ties that they see from another side.",
        )


def _blocked_baseline(site: Site, staking: Staking) -> Finding:
    lots = {item.name for item in site.features if item.kind is FeatureKind.PROPERTY_LINE}
    through = [f'{"crosses" if name in lots else "runs through"} "{name}"' for name in staking.blocked_by]
    whose = "stakeout.baseline" if staking.given else "The baseline of the stake-out"
    none = "" if staking.given else "; none was found that does not"
    return Finding(
        code="baseline-blocked",
        said=f"{whose} {' and '.join(through)}{none}.",
        remedy="State one that a tape can be laid along and that stays on the lot, as stakeout.baseline.",
    )


def _stakes(numbers: Sequence[int], word: str = "Stake") -> str:
    """Name stakes by their numbers, those that follow each other as a stretch."""
    stretches: list[list[int]] = []
    for number in numbers:
        if stretches and number == stretches[-1][-1] + 1:
            stretches[-1][1:] = [number]
        else:
            stretches.append([number])
    shown = ["-".join(str(tip) for tip in stretch) for stretch in stretches]
    more = len(numbers) - sum(stretch[-1] - stretch[0] + 1 for stretch in stretches[:_NAMED])
    text = ", ".join(shown[:_NAMED]) + (f" and {more} more" if more else "")
    return f"{word}{'s' if len(numbers) > 1 else ''} {text}"
