"""Which shots follow each other along one tube, whichever run it is, found by nearness and by order."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from layout.asbuilt.near import Beside
from layout.model import Shot
from layout.plane import Array

HOME = 0.75
"""A shot is looked at beside runs no farther from it than this [row spacings] ..."""
AS_NEAR = 0.35
"""... and no farther than the nearest one by more than this [row spacings]."""
STEP = 0.15
"""Shots of one tube differ by so much in their offsets [row spacings] ..."""
DRIFT = 0.05
"""... and by so much more over each length between them ..."""
MOST_STEP = 0.3
"""... but never more than this [row spacings]: tubes that lie side by side are farther apart."""
LOOKED_AT = 8
"""Shots farther on along a run that are looked at for the next one of a tube."""
LONGEST = 40.0
"""Shots farther apart are not linked [row spacings]."""
DRAWN_STEP = 0.6
"""Corners of one drawn line may differ by so much [row spacings]."""
ALONG = 0.7
"""A drawn line goes along a run where it gains so much of its own length on it."""


def tracks_of(
    shots: Sequence[Shot], named: Sequence[int | None], beside: Sequence[Beside], spacing: float
) -> list[tuple[int, ...]]:
    """Part shots into tracks.

    Shots that are named for a run make one track of that run. Others are linked where they follow each other along a
    planned run at about the same offset from it, or along one drawn line.

    Parameters
    ----------
    shots : sequence of Shot
    named : sequence of int or None
        The run each is named for.
    beside : sequence of Beside
        By run.
    spacing : float
        From row to row [m].

    Returns
    -------
    list of tuple of int
        Numbers of shots, rising, by the first of each; shots that are near no run are left out.
    """
    away = _nearest(len(shots), beside)
    tree = _Links(len(shots))
    first_named: dict[int, int] = {}
    for number, run in enumerate(named):
        if run is not None:
            tree.join(number, first_named.setdefault(run, number))
    free = np.array([run is None for run in named], dtype=np.bool_)
    for near in beside:
        home = np.hypot(near.offset, near.beyond)
        seen = (
            free[near.shot]
            & (home <= HOME * spacing)
            & (home <= away[near.shot] + AS_NEAR * spacing)
            & (near.beyond <= spacing)
        )
        _link_along(tree, near, np.flatnonzero(seen), spacing)
        _link_drawn(tree, near, shots, free, spacing)
    near_any = np.flatnonzero(np.isfinite(away))
    return tree.groups([int(number) for number in near_any])


def _nearest(count: int, beside: Sequence[Beside]) -> Array:
    """Distance of each shot from the nearest run [m]; infinity where none is near."""
    found = np.full(count, np.inf)
    for near in beside:
        np.minimum.at(found, near.shot, np.hypot(near.offset, near.beyond))
    return found


def _link_along(tree: _Links, near: Beside, seen: NDArray[np.intp], spacing: float) -> None:
    """Link each shot with the next one along a run that lies at about the same offset."""
    order = seen[np.argsort(near.station[seen], kind="stable")]
    station, offset = near.station[order], near.offset[order]
    for ahead in range(len(order) - 1):
        for other in range(ahead + 1, min(ahead + 1 + LOOKED_AT, len(order))):
            gap = station[other] - station[ahead]
            if gap > LONGEST * spacing:
                break
            if abs(offset[other] - offset[ahead]) <= min(STEP * spacing + DRIFT * gap, MOST_STEP * spacing):
                tree.join(int(near.shot[order[ahead]]), int(near.shot[order[other]]))
                break


def _link_drawn(
    tree: _Links, near: Beside, shots: Sequence[Shot], free: NDArray[np.bool_], spacing: float
) -> None:
    """Link the corners of one drawn line where it goes along a run."""
    for place, number in enumerate(near.shot[:-1].tolist()):
        other = number + 1
        if near.shot[place + 1] != other or shots[number].line < 0:
            continue
        if shots[number].line != shots[other].line or not (free[number] and free[other]):
            continue
        gained = abs(near.station[place + 1] - near.station[place])
        length = float(np.hypot(*(np.asarray(shots[other].at) - shots[number].at)))
        differ = abs(near.offset[place + 1] - near.offset[place])
        beside_it = max(abs(near.offset[place]), abs(near.offset[place + 1])) <= HOME * spacing
        if beside_it and gained >= ALONG * length and differ <= DRAWN_STEP * spacing:
            tree.join(number, other)


class _Links:
    """Numbers that are joined into groups."""

    def __init__(self, count: int) -> None:
        self.parent = list(range(count))

    def root(self, number: int) -> int:
        while self.parent[number] != number:
            self.parent[number] = self.parent[self.parent[number]]
            number = self.parent[number]
        return number

    def join(self, one: int, other: int) -> None:
        a, b = self.root(one), self.root(other)
        self.parent[max(a, b)] = min(a, b)

    def groups(self, numbers: Sequence[int]) -> list[tuple[int, ...]]:
        found: dict[int, list[int]] = {}
        for number in numbers:
            found.setdefault(self.root(number), []).append(number)
        return [tuple(group) for _, group in sorted(found.items())]
