"""Places labels on paper so that none covers another, a symbol, or the edge of the window.

Every label comes with spots where it may stand. A spot that touches what is already taken is out; of the free
ones that with the least cost is taken: its own (how far from the best place) plus the linework it covers.
All in inches on paper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.model import XY
from layout.plane import Array, points_at, stations
from layout.sheets.lettering import ABOVE, BELOW

Objects = NDArray[np.object_]

CLEAR = 0.02
"""Kept free around a label [in]."""
_LINE_COST = 6.0
"""Cost of an inch of linework under a label."""
_INSIDE_COST = 0.5
"""Cost of a label with a leader that stands where none is wanted."""
_LEADER_COST = 0.35
"""Cost of a line that a leader crosses."""
_UPRIGHT = 0.09
_BATCH = 24
_TURNS = 16
REACHES = (0.12, 0.28, 0.45, 0.65, 0.9, 1.25, 1.7, 2.3, 3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where a label stands.

    Attributes
    ----------
    at : (x, y)
        Middle of the text, halfway up a capital.
    angle : float
        [degrees].
    leader : (2, 2) array or None
        From the text to what it names.
    mask : bool
        Whether the text breaks the lines it stands on.
    """

    at: XY
    angle: float
    leader: Array | None
    mask: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Spots:
    """Places where a label may stand, each a `Spot` and what it costs.

    Attributes
    ----------
    at : (n, 2) array
    angle, cost : (n,) arrays
    leader : (n, 2, 2) array
        NaN where there is none.
    mask : (n,) array of bool
    """

    at: Array
    angle: Array
    cost: Array
    leader: Array
    mask: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.cost)

    def dearer(self, extra: float) -> Spots:
        """Add to the cost of every spot."""
        return replace(self, cost=self.cost + extra)

    def only(self, which: NDArray[np.bool_] | slice) -> Spots:
        """Keep some of the spots."""
        return Spots(
            at=self.at[which],
            angle=self.angle[which],
            cost=self.cost[which],
            leader=self.leader[which],
            mask=self.mask[which],
        )


def joined(parts: Sequence[Spots]) -> Spots:
    """Put sets of spots together."""
    if not parts:
        return _spots(np.empty((0, 2)), np.empty(0), np.empty(0))
    return Spots(
        at=np.concatenate([part.at for part in parts]),
        angle=np.concatenate([part.angle for part in parts]),
        cost=np.concatenate([part.cost for part in parts]),
        leader=np.concatenate([part.leader for part in parts]),
        mask=np.concatenate([part.mask for part in parts]),
    )


def _spots(at: Array, angle: Array, cost: Array, *, leader: Array | None = None, mask: bool = False) -> Spots:
    count = len(cost)
    return Spots(
        at=at,
        angle=angle,
        cost=cost,
        leader=np.full((count, 2, 2), np.nan) if leader is None else leader,
        mask=np.full(count, mask),
    )


class Board:
    """What is taken on the window of a plan, and the linework that labels had better not cover."""

    def __init__(
        self,
        window: tuple[float, float, float, float],
        linework: Sequence[LineString],
        *,
        avoid: BaseGeometry,
    ) -> None:
        self.window, self.avoid = shapely.box(*window), avoid
        shapely.prepare(self.window)
        shapely.prepare(self.avoid)
        self._taken: list[BaseGeometry] = []
        # Their bounds side by side, in an array with room to grow: most of what is taken lies far from any spot.
        self._bounds = np.empty((64, 4))
        pieces = _segments(linework)
        self._pieces = np.asarray(pieces, dtype=object)
        self._lines = shapely.STRtree(pieces)

    def claim(self, shape: BaseGeometry) -> None:
        """Take a place for a symbol or a line that no label may cover."""
        if len(self._taken) == len(self._bounds):
            self._bounds = np.concatenate((self._bounds, np.empty_like(self._bounds)))
        self._bounds[len(self._taken)] = shape.bounds
        self._taken.append(shape)

    @property
    def count(self) -> int:
        """How many places are taken."""
        return len(self._taken)

    def release(self, count: int) -> None:
        """Give back all places but the first so many."""
        del self._taken[count:]

    def tried(self) -> Board:
        """Make a board to try places on: what is taken there is not taken here."""
        board = copy(self)
        board._taken, board._bounds = list(self._taken), self._bounds.copy()
        return board

    def free(self, shape: BaseGeometry) -> bool:
        """Whether a shape lies in the window and touches nothing that is taken."""
        if not self.window.covers(shape):
            return False
        return not any(shape.intersects(other) for other in self._near(shape.bounds))

    def _near(self, bounds: tuple[float, float, float, float]) -> list[BaseGeometry]:
        """List what is taken and may touch something within these bounds."""
        taken = self._bounds[: len(self._taken)]
        left, bottom, right, top = bounds
        touching = (
            (taken[:, 0] <= right) & (taken[:, 2] >= left) & (taken[:, 1] <= top) & (taken[:, 3] >= bottom)
        )
        return [self._taken[index] for index in np.flatnonzero(touching)]

    def place(self, spots: Spots, width: float, height: float) -> Spot | None:
        """Take the best free spot for a text of this size [in]; None where there is none."""
        if not len(spots):
            return None
        boxes = _boxes(spots, width, height)
        led = ~np.isnan(spots.leader[:, 0, 0])
        leaders = np.full(len(spots), None, dtype=object)
        if np.any(led):
            leaders[led] = shapely.linestrings(spots.leader[led])
        free = self._free(boxes, leaders)
        order = free[np.argsort(spots.cost[free], kind="stable")]
        best, least, covered = -1, math.inf, False
        # The cheapest first: once a spot's own cost is over the best whole one, none after it is better.
        for start in range(0, len(order), _BATCH):
            part = order[start : start + _BATCH]
            if spots.cost[part[0]] >= least:
                break
            under = self._covered(boxes[part])
            cost = spots.cost[part] + _LINE_COST * under + _LEADER_COST * self._crossed(leaders[part])
            cost = cost + _INSIDE_COST * (led[part] & shapely.intersects(self.avoid, boxes[part]))
            found = int(np.argmin(cost))
            if cost[found] < least:
                best, least, covered = int(part[found]), float(cost[found]), bool(under[found] > 0)
        if best < 0:
            return None
        self.claim(boxes[best])
        leader = spots.leader[best] if led[best] else None
        if leader is not None:
            self.claim(_shortened(leader).buffer(CLEAR))
        return Spot(
            at=(float(spots.at[best, 0]), float(spots.at[best, 1])),
            angle=float(spots.angle[best]),
            leader=leader,
            mask=bool(spots.mask[best]) or covered,
        )

    def _free(self, boxes: Objects, leaders: Objects) -> NDArray[np.intp]:
        """Find the spots that lie in the window and touch nothing that is taken, nor do their leaders."""
        free = np.asarray(shapely.covers(self.window, boxes))
        every = np.concatenate((boxes, leaders[~shapely.is_missing(leaders)]))
        near = self._near(tuple(shapely.total_bounds(every)))
        if near:
            tree = shapely.STRtree(near)
            free[np.unique(tree.query(boxes, predicate="intersects")[0])] = False
            led = np.flatnonzero(free & ~shapely.is_missing(leaders))
            if len(led):
                free[led[np.unique(tree.query(leaders[led], predicate="intersects")[0])]] = False
        return np.flatnonzero(free)

    def _covered(self, boxes: Objects) -> Array:
        """Measure the linework under each box [in]."""
        which, lines = self._lines.query(boxes, predicate="intersects")
        lengths = shapely.length(shapely.intersection(boxes[which], self._pieces[lines]))
        return np.asarray(np.bincount(which, weights=lengths, minlength=len(boxes)), dtype=np.float64)

    def _crossed(self, leaders: Objects) -> Array:
        """Count the pieces of linework that each leader crosses."""
        which, _ = self._lines.query(leaders, predicate="intersects")
        return np.asarray(np.bincount(which, minlength=len(leaders)), dtype=np.float64)


# --- spots ----------------------------------------------------------------------------------------------


def along(line: Array, width: float, height: float, *, prefer: float, above: float, mask: bool) -> Spots:
    """List spots for a text turned along a line.

    Parameters
    ----------
    line : (n, 2) array
        On paper [in].
    width, height : float
        Of the text [in].
    prefer : float
        Where it had best stand, as a share of the line's length.
    above : float
        From the line to the middle of the text, 0 on it [in]; negative below.
    mask : bool
        Whether the text breaks the line.
    """
    length = float(stations(line)[-1])
    half = width / 2 + 0.06
    if length < 2 * half:
        return joined([])
    count = min(max(int((length - 2 * half) / 0.12), 1), 60)
    centres = np.linspace(half, length - half, count + 1)
    offsets = np.linspace(-width / 2, width / 2, 9)
    samples = points_at(line, (centres[:, None] + offsets[None, :]).ravel()).reshape(len(centres), 9, 2)
    chords = samples[:, -1] - samples[:, 0]
    spans = np.maximum(np.hypot(chords[:, 0], chords[:, 1]), 1e-12)
    ways = chords / spans[:, None]
    # To be read from below or from the right.
    read = (ways[:, 0] > _UPRIGHT) | ((ways[:, 0] > -_UPRIGHT) & (ways[:, 1] > 0))
    ways[~read] *= -1.0
    ups = np.column_stack((-ways[:, 1], ways[:, 0]))
    middles = samples.mean(axis=1)
    bulges = np.einsum("nkx,nx->nk", samples - middles[:, None, :], ups)
    high, low = bulges.max(axis=1), bulges.min(axis=1)
    shift = high if above > 0 else low if above < 0 else np.zeros(len(centres))
    made = _spots(
        middles + ups * (above + shift)[:, None],
        np.degrees(np.arctan2(ways[:, 1], ways[:, 0])),
        0.8 * np.abs(centres / length - prefer) + 4.0 * (high - low),
        mask=mask,
    )
    return made.only((spans >= 0.9 * width) & (high - low <= (0.9 if mask else 0.7) * height))


def around(anchor: XY, width: float, *, size: float = 0.0, reaches: Sequence[float] = REACHES) -> Spots:
    """List spots for a level text about a point, with a leader from the text to the point.

    Parameters
    ----------
    anchor : (x, y)
        What the text names.
    width : float
        Of the text [in].
    size : float
        Radius of the symbol at the point [in]; a text beside it needs no leader.
    reaches : sequence of float
        How far off it may stand [in].
    """
    reach, turn = (
        grid.ravel() for grid in np.meshgrid(reaches, 2 * math.pi * np.arange(_TURNS) / _TURNS, indexing="ij")
    )
    way = np.column_stack((np.cos(turn), np.sin(turn)))
    side = np.where(way[:, 0] >= -1e-9, 1.0, -1.0)
    tips = np.asarray(anchor) + (size + reach)[:, None] * way
    ends = np.asarray(anchor) + (size + 0.03 if size else 0.0) * way
    leader = np.stack((tips, ends), axis=1)
    if size:
        leader[reach <= reaches[0]] = np.nan
    return _spots(
        tips + np.column_stack((side * (width / 2 + 0.05), np.zeros(len(side)))),
        np.zeros(len(side)),
        0.35 * reach + 0.02 * np.abs(way[:, 1]) + 0.02 * (side < 0),
        leader=leader,
    )


def inside(area: Polygon, width: float, height: float) -> Spots:
    """List spots for a level text of a size [in] within an area, the middle first; none where it does not fit."""
    left, bottom, right, top = area.bounds
    across, up = (
        grid.ravel() for grid in np.meshgrid((0.5, 0.35, 0.65, 0.25, 0.75), (0.5, 0.65, 0.35, 0.8, 0.2))
    )
    at = np.column_stack((left + across * (right - left), bottom + up * (top - bottom)))
    made = _spots(at, np.zeros(len(at)), 0.3 * (np.abs(across - 0.5) + np.abs(up - 0.5)), mask=True)
    return made.only(np.asarray(shapely.covers(area, _boxes(made, width, 1.4 * height))))


# --- geometry -------------------------------------------------------------------------------------------


def _boxes(spots: Spots, width: float, height: float) -> Objects:
    """Draw the boxes of a text at its spots, with a little room around."""
    turn = np.radians(spots.angle)
    forward = np.column_stack((np.cos(turn), np.sin(turn)))
    up = np.column_stack((-np.sin(turn), np.cos(turn)))
    half = width / 2 + CLEAR
    low, high = -(0.5 + BELOW) * height - CLEAR / 2, (ABOVE - 0.5) * height + CLEAR / 2
    corners = [
        spots.at + x * forward + y * up for x, y in ((-half, low), (half, low), (half, high), (-half, high))
    ]
    return np.asarray(shapely.polygons(np.stack(corners, axis=1)), dtype=object)


def _segments(lines: Sequence[LineString]) -> list[LineString]:
    """Cut lines into straight pieces, thinned to what can be seen on paper."""
    pieces: list[LineString] = []
    for line in lines:
        points = shapely.get_coordinates(shapely.simplify(line, 0.01))
        if len(points) > 1:
            pairs = np.stack((points[:-1], points[1:]), axis=1)
            pieces.extend(np.asarray(shapely.linestrings(pairs), dtype=object).tolist())
    return pieces


def _shortened(leader: Array) -> LineString:
    """Cut a leader short of its ends, which touch the text and what it names."""
    first, last = leader
    return LineString([first + 0.1 * (last - first), first + 0.9 * (last - first)])
