"""Lines of one kind that have a beginning in common, as one tree of pipe: its pieces, tees and elbows."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from shapely import LineString

from layout.model import XY, Fitting, Pipe
from layout.plane import Array, coordinates
from layout.routes.elbows import SMALLEST, TAKEN, elbows_along, made_up_of

SAME = 1e-6
"""Corners that are nearer to each other are one [m]."""
TEE = 90.0
"""By how much the side of a tee turns [degrees]."""


@dataclass(eq=False, slots=True)
class _Joint:
    """A corner of the tree, the manifolds that a line leads to from here, and the next corners."""

    at: XY
    manifolds: list[Pipe] = field(default_factory=list)
    next: list[_Joint] = field(default_factory=list)

    def beyond(self) -> list[Pipe]:
        """The manifolds that water comes to through this corner."""
        return self.manifolds + [pipe for joint in self.next for pipe in joint.beyond()]

    def zone(self) -> int:
        """The zone that the pipe to this corner serves; 0 where several do."""
        zones = {pipe.zone for pipe in self.beyond()}
        return zones.pop() if len(zones) == 1 else 0

    def onward(self, before: XY) -> list[_Joint]:
        """The next corners, that first by which the pipe goes on most nearly straight."""
        return sorted(self.next, key=lambda joint: abs(_turn(before, self.at, joint.at)))


def pieces_of(lines: Sequence[tuple[Pipe, Array]]) -> tuple[list[Pipe], list[Fitting]]:
    """Make of the lines to manifolds, each whole from the pump, what is laid: every stretch once.

    Parameters
    ----------
    lines : sequence of (Pipe, (n, 2) array)
        Manifolds of one kind and size, and the way from the pump to each [m].

    Returns
    -------
    pieces : list of Pipe
        From the pump on, from tee to tee; those that lead to several zones have zone 0.
    fittings : list of Fitting
        A tee where they part, and the elbows: a side of a tee turns by 90 degrees, elbows make up the rest.
    """
    root = _tree(lines)
    kind, size = lines[0][0].kind, lines[0][0].diameter
    pieces: list[Pipe] = []
    fittings: list[Fitting] = []

    def fitting(what: str, at: XY, zone: int) -> None:
        fittings.append(Fitting(kind=what, at=at, on=kind, zone=zone, size=size, of="line"))  # type: ignore[arg-type]

    for string in _strings(root):
        before, joints = string
        zones = {joint.at: joint.zone() for joint in joints[1:]}
        start = joints[0]
        if before is not None:
            fitting("trunk tee", start.at, start.zone())
            rest = abs(_turn(before, start.at, joints[1].at)) - TEE
            made = SMALLEST * round(abs(rest) / SMALLEST) if abs(rest) > TAKEN else 0.0
            for what in made_up_of(made):
                fitting(what, start.at, joints[1].zone())
        walk = [joint.at for joint in joints]
        if joints[-1].manifolds:
            on = coordinates(joints[-1].manifolds[0].line)
            walk.append(tuple((on[1] if kind == "supply" else on[-2]).tolist()))
        for what, at in elbows_along(np.asarray(walk)):
            fitting(what, at, zones.get(at, joints[-1].zone()))
        first = 0
        for place in range(1, len(joints)):
            joint = joints[place]
            if place < len(joints) - 1 and len(joint.next) == 1 and not joint.manifolds:
                continue
            points = [other.at for other in joints[first : place + 1]]
            line = LineString(points if kind == "supply" else points[::-1])
            pieces.append(Pipe(kind=kind, line=line, diameter=size, zone=joint.zone()))
            first = place
    return pieces, fittings


def _strings(root: _Joint) -> Iterator[tuple[XY | None, list[_Joint]]]:
    """Corners in a row, each string going on as straight as it can; before it the corner that its tee is met from."""
    waiting: list[tuple[XY | None, list[_Joint]]] = [(None, [root, joint]) for joint in root.next]
    while waiting:
        before, joints = waiting.pop(0)
        while joints[-1].next:
            here = joints[-1]
            straight, *others = here.onward(joints[-2].at)
            waiting += [(joints[-2].at, [here, other]) for other in others]
            joints.append(straight)
        yield before, joints


def _tree(lines: Sequence[tuple[Pipe, Array]]) -> _Joint:
    """Lay ways from one place over each other."""
    x, y = lines[0][1][0].tolist()
    root = _Joint((x, y))
    for pipe, way in lines:
        here, place = root, 1
        while place < len(way):
            x, y = way[place].tolist()
            following = next((joint for joint in here.next if _along(here.at, joint.at, (x, y))), None)
            if following is None:
                here.next.append(_Joint((x, y)))
                here, place = here.next[-1], place + 1
                continue
            reach, length = math.dist(here.at, (x, y)), math.dist(here.at, following.at)
            if reach < length - SAME:
                between = _Joint((x, y), next=[following])
                here.next[here.next.index(following)] = between
                here, place = between, place + 1
            else:
                here, place = following, place + (reach <= length + SAME)
        here.manifolds.append(pipe)
    return root


def _along(start: XY, one: XY, other: XY) -> bool:
    """Whether two ways from one place lie one above the other as far as the shorter goes."""
    first, second = math.dist(start, one), math.dist(start, other)
    least = min(first, second)
    a = [start[k] + (one[k] - start[k]) / first * least for k in (0, 1)]
    b = [start[k] + (other[k] - start[k]) / second * least for k in (0, 1)]
    return math.dist(a, b) < SAME


def _turn(before: XY, at: XY, after: XY) -> float:
    """Turn of a pipe at a corner [degrees]."""
    one = math.atan2(at[1] - before[1], at[0] - before[0])
    other = math.atan2(after[1] - at[1], after[0] - at[0])
    return math.degrees(math.remainder(other - one, math.tau))
