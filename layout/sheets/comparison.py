"""The candidate patterns side by side: their figures as a document, and in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import shapely
from shapely import LineString, MultiLineString

from layout.coverage import MEASURE
from layout.frame import to_site
from layout.model import Candidate, EndTrial, Pattern, Site, Trial
from layout.plane import TOLERANCE
from layout.sheets.figures import Figures
from layout.sheets.layoutjson import candidate_entry, finite

FORMAT = "sinuate-compare/1"
FOLLOWED = {
    "outline": "along the bed's own sides",
    "usable ground": "along the sides of the usable ground",
    "rectangle": "straight, along the smallest rectangle",
    "lobes": "lobe by lobe",
}
"""Whose sides a candidate follows, in words."""
_LINES = {
    Pattern.DRAWN: "along the drawn line",
    Pattern.CONTOUR: "along the level line",
}


def comparison(site: Site, trials: Sequence[Trial], ends: Sequence[EndTrial] = ()) -> dict[str, Any]:
    """Everything that is known of the candidates, the best first, ready to be written as JSON, in site units.

    Parameters
    ----------
    site : Site
    trials : sequence of Trial
        The best first.
    ends : sequence of EndTrial, optional
        The manifolds at either end of the bed.
    """
    unit = site.frame.units.length
    first = {index: group[0] for group in alike(trials) for index in group}
    made = {
        "format": FORMAT,
        "title": site.title,
        "units": site.frame.units.word,
        "asked": site.runs.pattern.value,
        "best": trials[0].candidate.pattern.value,
        "measure": MEASURE,
        "candidates": [
            {
                **candidate_entry(trial.candidate, site.frame),
                "rows": rows_of(trial),
                "best": index == 0,
                "planned": trial.planned,
                "same_as": first[index] + 1 if first[index] != index else None,
            }
            for index, trial in enumerate(trials)
        ],
        "ends": [
            {
                "end": item.end,
                "at": to_site(site.frame, [item.at])[0].tolist(),
                "pattern": item.pattern.value,
                "manifolds": item.manifolds / unit,
                "lines": item.lines / unit if site.pump is not None else None,
                "leads": item.leads / unit,
                "laterals": item.laterals,
                "lateral_max": item.longest / unit,
                "unreached": item.unreached,
                "asked": item.asked,
                "refused": item.refused,
            }
            for item in ends
        ],
    }
    clean: dict[str, Any] = finite(made)
    return clean


def rows_of(trial: Trial) -> int:
    """Rows of a candidate: how many runs it has side by side, the pieces of one counted once."""
    return len({run.row for run in trial.laying.runs})


def alike(trials: Sequence[Trial]) -> list[list[int]]:
    """Places of candidates from 0 on, those of the same runs together, in the order of the first of each."""
    groups: list[list[int]] = []
    for index, trial in enumerate(trials):
        same = (group for group in groups if _same(trials[group[0]], trial))
        group = next(same, None)
        if group is None:
            groups.append([index])
        else:
            group.append(index)
    return groups


def _same(one: Trial, other: Trial) -> bool:
    """Whether two candidates lay the same tubing from the same end, leave out the same and feed as much."""
    first, second = one.candidate, other.candidate
    if first.runs != second.runs or len(one.laying.dropped) != len(other.laying.dropped):
        return False
    if not math.isclose(first.tubing, second.tubing, abs_tol=first.runs * TOLERANCE):
        return False
    if not math.isclose(first.fed_at_end, second.fed_at_end, abs_tol=1e-6):
        return False
    return all(
        _coincide(a, b)
        for a, b in (
            ([run.line for run in one.laying.runs], [run.line for run in other.laying.runs]),
            ([join.line for join in one.laying.carries], [join.line for join in other.laying.carries]),
            ([one.sides.near], [other.sides.near]),
        )
    )


def _coincide(some: Sequence[LineString], others: Sequence[LineString]) -> bool:
    """Whether lines lie on others, and those on them."""
    if not some or not others:
        return len(some) == len(others)
    apart = shapely.hausdorff_distance(MultiLineString(list(some)), MultiLineString(list(others)))
    return bool(apart < TOLERANCE)


def along(candidate: Candidate) -> str:
    """Say what a candidate's runs follow."""
    return _LINES.get(candidate.pattern) or FOLLOWED[candidate.follows]


def followed(candidate: Candidate) -> str:
    """Name what a candidate's runs follow, in a word or two."""
    return {Pattern.DRAWN: "drawn line", Pattern.CONTOUR: "level line"}.get(
        candidate.pattern, candidate.follows
    )


def end_words(site: Site, item: EndTrial) -> str:
    """Say in a sentence what pipe it takes to have the manifolds at one end of the bed."""
    figures = Figures(site.frame.units)
    where = {"pump": "the end nearer the pump" if site.pump else "the near end", "far": "the far end"}[
        item.end
    ]
    asked = ", as asked" if item.asked else ""
    if item.refused:
        return f"Manifolds at {where}{asked}: not to be had, {item.refused}."
    pipe = f"manifolds {figures.length_of(item.manifolds)}"
    if item.leads:
        pipe += f", leads {figures.length_of(item.leads)}"
    if site.pump is not None:
        whole = figures.length_of(item.manifolds + item.leads + item.lines)
        pipe += f", lines {figures.length_of(item.lines)}, together {whole}"
    if item.unreached:
        pipe += f", but no line can lead to {item.unreached} of the manifolds"
    if item.longest > site.laterals.longest + TOLERANCE:
        pipe += f"; the longest lateral, {figures.length_of(item.longest)}, is over laterals.longest"
    return f"Manifolds at {where}{asked}: {pipe}."
