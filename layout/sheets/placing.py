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
from layout.sheets.claimed import Claimed, Objects
from layout.sheets.lettering import ABOVE, BELOW

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
"""Spots that are looked at first, of the cheapest; then four times as many each time."""
_ROUNDING = 1e-9
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
        shapely.prepare(self.avoid)
        self._claimed = Claimed()
        pieces = _segments(linework)
        self._pieces = np.asarray(pieces, dtype=object)
        self._ends = shapely.get_coordinates(self._pieces).reshape(-1, 2, 2)
        self._lines = shapely.STRtree(pieces)

    def claim(self, shape: BaseGeometry) -> None:
        """Take a place for a symbol or a line that no label may cover."""
        self._claimed.claim(shape)

    @property
    def count(self) -> int:
        """How many places are taken."""
        return len(self._claimed)

    def since(self, count: int) -> list[BaseGeometry]:
        """All that is taken but for the first so many."""
        return self._claimed.since(count)

    def release(self, count: int) -> None:
        """Give back all places but the first so many."""
        self._claimed.release(count)

    def tried(self) -> Board:
        """Make a board to try places on: what is taken there is not taken here."""
        board = copy(self)
        board._claimed = self._claimed.copied()
        return board

    def free(self, shape: BaseGeometry) -> bool:
        """Whether a shape lies in the window and touches nothing that is taken."""
        return bool(self._within(np.array([shape.bounds]))[0]) and not self._claimed.touch(shape)

    def _within(self, bounds: Array) -> NDArray[np.bool_]:
        """Which shapes of some bounds lie in the window, shape (n, 4) to (n,)."""
        left, bottom, right, top = self.window.bounds
        inside = (bounds[:, 0] >= left) & (bounds[:, 2] <= right)
        return np.asarray(inside & (bounds[:, 1] >= bottom) & (bounds[:, 3] <= top))

    def place(self, spots: Spots, width: float, height: float) -> Spot | None:
        """Take the best free spot for a text of this size [in]; None where there is none."""
        if not len(spots):
            return None
        led = ~np.isnan(spots.leader[:, 0, 0])
        order = np.argsort(spots.cost, kind="stable")
        best, least, covered = -1, math.inf, False
        start, size = 0, _BATCH
        # The cheapest first: once a spot's own cost is over the best whole one, none after it is better.
        while start < len(order) and spots.cost[order[start]] < least:
            part = order[start : start + size]
            start, size = start + size, 4 * size
            corners = _corners(spots.at[part], spots.angle[part], width, height)
            bounds = np.hstack((corners.min(axis=1), corners.max(axis=1)))
            kept = self._within(bounds)
            part, corners, bounds = part[kept], corners[kept], bounds[kept]
            boxes = np.asarray(shapely.polygons(corners), dtype=object)
            kept = ~self._claimed.touched_by(boxes, bounds, level=spots.angle[part] == 0.0)
            part, corners, boxes = part[kept], corners[kept], boxes[kept]
            leaders = np.full(len(part), None, dtype=object)
            if led[part].any():
                lines = np.asarray(shapely.linestrings(spots.leader[part[led[part]]]), dtype=object)
                leaders[led[part]] = lines
                kept = ~led[part]
                kept[led[part]] = ~self._claimed.touched_by(lines)
                part, corners, boxes, leaders = part[kept], corners[kept], boxes[kept], leaders[kept]
            if not len(part):
                continue
            fixed = spots.cost[part] + _LEADER_COST * self._crossed(leaders)
            fixed += _INSIDE_COST * (led[part] & shapely.intersects(self.avoid, boxes))
            # By the engine only where it may matter: what is as cheap as the cheapest but for rounding.
            rough = fixed + _LINE_COST * self._roughly_covered(corners, boxes)
            near = np.flatnonzero(rough <= min(rough.min(), least) + _ROUNDING)
            if not len(near):
                continue
            under = self._covered(boxes[near])
            cost = fixed[near] + _LINE_COST * under
            found = int(np.argmin(cost))
            if cost[found] < least:
                best, least, covered = int(part[near[found]]), float(cost[found]), bool(under[found] > 0)
                box = boxes[near[found]]
        if best < 0:
            return None
        self.claim(box)
        leader = spots.leader[best] if led[best] else None
        if leader is not None:
            self.claim(_shortened(leader).buffer(CLEAR))
        return Spot(
            at=(float(spots.at[best, 0]), float(spots.at[best, 1])),
            angle=float(spots.angle[best]),
            leader=leader,
            mask=bool(spots.mask[best]) or covered,
        )

    def _covered(self, boxes: Objects) -> Array:
        """Measure the linework under each box [in]."""
        which, lines = self._lines.query(boxes, predicate="intersects")
        lengths = shapely.length(shapely.intersection(boxes[which], self._pieces[lines]))
        return np.asarray(np.bincount(which, weights=lengths, minlength=len(boxes)), dtype=np.float64)

    def _roughly_covered(self, corners: Array, boxes: Objects) -> Array:
        """The same but for rounding, of boxes by their corners, shape (n, 4, 2)."""
        which, lines = self._lines.query(boxes)
        start, end = self._ends[lines].transpose(1, 0, 2)
        # as seen from the first corner of each box along its two sides, each as long as 1
        inside = np.zeros((2, len(which))), np.ones((2, len(which)))
        for side, to in enumerate((1, 3)):
            axis = corners[which, to] - corners[which, 0]
            axis = axis / np.einsum("ij,ij->i", axis, axis)[:, None]
            at = np.einsum("ij,ij->i", start - corners[which, 0], axis)
            step = np.einsum("ij,ij->i", end - start, axis)
            with np.errstate(divide="ignore", invalid="ignore"):
                enters, leaves = np.sort((-at / step, (1.0 - at) / step), axis=0)
            none = np.abs(step) < 1e-15
            beside = none & ((at < 0) | (at > 1))
            inside[0][side] = np.where(none, np.where(beside, 1.0, 0.0), enters)
            inside[1][side] = np.where(none, np.where(beside, 0.0, 1.0), leaves)
        share = np.minimum(inside[1].min(axis=0), 1.0) - np.maximum(inside[0].max(axis=0), 0.0)
        lengths = np.maximum(share, 0.0) * np.hypot(*(end - start).T)
        return np.asarray(np.bincount(which, weights=lengths, minlength=len(corners)), dtype=np.float64)

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
    return np.asarray(shapely.polygons(_corners(spots.at, spots.angle, width, height)), dtype=object)


def _corners(at: Array, angle: Array, width: float, height: float) -> Array:
    """The corners of the box of a text about each of some places, shape (n, 2), turned [degrees], shape (n, 4, 2)."""
    turn = np.radians(angle)
    forward = np.column_stack((np.cos(turn), np.sin(turn)))
    up = np.column_stack((-np.sin(turn), np.cos(turn)))
    half = width / 2 + CLEAR
    low, high = -(0.5 + BELOW) * height - CLEAR / 2, (ABOVE - 0.5) * height + CLEAR / 2
    corners = [at + x * forward + y * up for x, y in ((-half, low), (half, low), (half, high), (-half, high))]
    return np.stack(corners, axis=1)


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
