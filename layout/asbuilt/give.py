"""Tracks given to runs, so that each lies near its run and no run has two tubes side by side.

A track may be nearer to another run than to its own: a tube laid half a spacing off is as far from either. What tells
is that the other run has a tube already. So tracks that are in each other's way are moved, and those that stand where
they go are moved on in turn, as long as the whole becomes the better for it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from layout.asbuilt.near import Beside
from layout.plane import Array

ASTRAY = 2.0
"""What a shot costs that is given to no run; one that is off by a row spacing costs 1."""
SHARED = 4.0
"""What a shot costs that stands beside those of another track of its run."""
BEYOND = 0.25
"""What a shot costs that stands beyond the end of its run by a row spacing."""
CROWDED = 0.4
"""A shot shares a run with another track where it is nearer to its shots than this share of their gaps."""
NOT_MISSED = 0.1
"""What a shot shares that stands where none of the other shots is missed; between two runs it goes where one is."""
DEEPEST = 6
"""Tracks that are moved on at once."""
MOST_MOVES = 400
NOWHERE = -1

Giving = dict[int, int]


def give_tracks(
    tracks: Sequence[tuple[int, ...]],
    fixed: Sequence[int | None],
    beside: Sequence[Beside],
    spacing: float,
) -> list[int]:
    """Give each track to a run.

    Parameters
    ----------
    tracks : sequence of tuple of int
        Numbers of shots.
    fixed : sequence of int or None
        The run that the shots of a track are named for.
    beside : sequence of Beside
        By run.
    spacing : float
        [m].

    Returns
    -------
    list of int
        The run of each track; ``NOWHERE`` for none.
    """
    return _Giver(tracks, fixed, beside, spacing).given()


class _Giver:
    """Weighs and moves tracks; a class only because its steps share the figures."""

    def __init__(
        self,
        tracks: Sequence[tuple[int, ...]],
        fixed: Sequence[int | None],
        beside: Sequence[Beside],
        spacing: float,
    ) -> None:
        self.fixed, self.spacing = fixed, spacing
        self.stations: list[dict[int, Array]] = []
        self.costs: list[dict[int, float]] = []
        home = _by_shot(beside)
        for numbers, named in zip(tracks, fixed, strict=True):
            runs = sorted({run for number in numbers for run in home.get(number, ())})
            runs = [named] if named is not None else runs
            self.stations.append({})
            self.costs.append({NOWHERE: ASTRAY * len(numbers)})
            for run in runs:
                self._weigh(np.asarray(numbers), run, beside[run])
        self.run_of: Giving = {
            track: min(costs, key=lambda run: (round(costs[run], 9), run))
            for track, costs in enumerate(self.costs)
        }
        self.on: dict[int, set[int]] = {}
        for track, run in self.run_of.items():
            self.on.setdefault(run, set()).add(track)
        self.known: dict[tuple[int, int, int], float] = {}

    def _weigh(self, numbers: Array, run: int, near: Beside) -> None:
        """What a track costs on a run, and where its shots stand along it."""
        places = np.searchsorted(near.shot, numbers)
        there = places < len(near.shot)
        there[there] = near.shot[places[there]] == numbers[there]
        found = places[there]
        off = (near.offset[found] / self.spacing) ** 2 + BEYOND * (near.beyond[found] / self.spacing) ** 2
        missing = ASTRAY * float(len(numbers) - len(found))
        self.costs[-1][run] = float(np.minimum(off, ASTRAY).sum()) + missing
        self.stations[-1][run] = np.sort(near.station[found])

    def given(self) -> list[int]:
        """Move tracks, that which helps most first, until no move helps."""
        for _ in range(MOST_MOVES):
            best: tuple[float, Giving] = (-1e-9, {})
            for track in sorted(self.run_of):
                if self.fixed[track] is not None or not self._is_open(track):
                    continue
                for run in self.costs[track]:
                    if run != self.run_of[track]:
                        found = self._change(track, run, {}, DEEPEST)
                        best = min(best, found, key=lambda pair: pair[0])
            if not best[1]:
                break
            for track, run in best[1].items():
                self.on[self.run_of[track]].discard(track)
                self.on.setdefault(run, set()).add(track)
                self.run_of[track] = run
        return [self.run_of[track] for track in range(len(self.costs))]

    def _is_open(self, track: int) -> bool:
        """Whether a track is in another's way, or nowhere."""
        run = self.run_of[track]
        return run == NOWHERE or any(self._shared(track, other, run) for other in self._tracks_on(run, {}))

    def _tracks_on(self, run: int, moved: Giving) -> list[int]:
        kept = [track for track in self.on.get(run, ()) if moved.get(track, run) == run]
        return sorted({*kept, *(track for track, to in moved.items() if to == run)})

    def _change(self, track: int, run: int, moved: Giving, depth: int) -> tuple[float, Giving]:
        """What it changes to move a track to a run, those in its way moved on where that is the better."""
        before = moved.get(track, self.run_of[track])
        change = self.costs[track][run] - self.costs[track][before]
        change -= sum(self._shared(track, other, before) for other in self._tracks_on(before, moved))
        after = {**moved, track: run}
        for other in self._tracks_on(run, after):
            stays = self._shared(track, other, run)
            if not stays:
                continue
            best = (stays, after)
            if depth and other not in after and self.fixed[other] is None:
                for way in self.costs[other]:
                    if way != run:
                        more, then = self._change(other, way, after, depth - 1)
                        best = min(best, (stays + more, then), key=lambda pair: pair[0])
            change, after = change + best[0], best[1]
        return change, after

    def _shared(self, one: int, other: int, run: int) -> float:
        """What it costs that two tracks are on one run."""
        if one == other or run == NOWHERE:
            return 0.0
        key = (min(one, other), max(one, other), run)
        if key not in self.known:
            both = sorted((self.stations[one][run], self.stations[other][run]), key=len)
            named = self.fixed[one] is not None and self.fixed[other] is not None
            self.known[key] = 0.0 if named else SHARED * _crowded(both[0], both[1], self.spacing)
        return self.known[key]


def _by_shot(beside: Sequence[Beside]) -> dict[int, list[int]]:
    """The runs near each shot."""
    found: dict[int, list[int]] = {}
    for run, near in enumerate(beside):
        for number in near.shot.tolist():
            found.setdefault(number, []).append(run)
    return found


def _crowded(few: Array, many: Array, spacing: float) -> float:
    """How many of the fewer stations, one at least, stand right beside the others; those in a hole of them do not."""
    if len(many) == 1:
        return float(abs(few[0] - many[0]) < spacing / 2)
    gaps = np.diff(many)
    usual = float(np.median(gaps))
    inside = few[(few >= many[0] - CROWDED * usual) & (few <= many[-1] + CROWDED * usual)]
    if not len(inside):
        return 0.0
    after = np.clip(np.searchsorted(many, inside), 1, len(many) - 1)
    nearest = np.minimum(np.abs(inside - many[after - 1]), np.abs(many[after] - inside))
    share = nearest / max(usual, 1e-9)
    return float(np.where(share < CROWDED, 1.0, NOT_MISSED * np.maximum(1.0 - share, 0.0)).sum())
