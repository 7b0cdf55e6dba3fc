"""Places labels on paper so that none covers another, a symbol, or the edge of the window.

Every label comes with spots where it may stand. A spot that touches what is already taken is out; of the free
ones that with the least cost is taken: its own (how far from the best place) plus the linework it covers.
All in inches on paper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
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
_LEADER_COST = 0.15
"""Cost of a line that a leader crosses."""
_UPRIGHT = 0.09
_TURNS = 16
REACHES = (0.12, 0.28, 0.45, 0.65, 0.9, 1.25, 1.7, 2.3, 3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where a label may stand.

    Attributes
    ----------
    at : (x, y)
        Middle of the text, halfway up a capital.
    angle : float
        [degrees].
    cost : float
    leader : tuple of two points or None
        From the text to what it names.
    mask : bool
        Whether the text breaks the line it stands on.
    """

    at: XY
    angle: float = 0.0
    cost: float = 0.0
    leader: tuple[XY, XY] | None = None
    mask: bool = False


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
        self._taken: list[BaseGeometry] = []
        pieces = _segments(linework)
        self._pieces = np.asarray(pieces, dtype=object)
        self._lines = shapely.STRtree(pieces)

    def claim(self, shape: BaseGeometry) -> None:
        """Take a place for a symbol or a line that no label may cover."""
        self._taken.append(shape)

    def free(self, shape: BaseGeometry) -> bool:
        """Whether a shape lies in the window and touches nothing that is taken."""
        taken = np.asarray(self._taken, dtype=object)
        return bool(self.window.covers(shape)) and not bool(np.any(shapely.intersects(shape, taken)))

    def place(self, spots: Sequence[Spot], width: float, height: float) -> Spot | None:
        """Take the best free spot for a text of this size; None where there is none."""
        if not spots:
            return None
        boxes = _boxes(spots, width, height)
        leaders = _leaders(spots)
        free = shapely.covers(self.window, boxes)
        if self._taken:
            tree = shapely.STRtree(self._taken)
            free[np.unique(tree.query(boxes, predicate="intersects")[0])] = False
            drawn = np.flatnonzero([leader is not None for leader in leaders])
            if len(drawn):
                free[drawn[np.unique(tree.query(leaders[drawn], predicate="intersects")[0])]] = False
        allowed = np.flatnonzero(free)
        if not len(allowed):
            return None
        cost = np.asarray([spot.cost for spot in spots])[allowed]
        covered = self._covered(boxes[allowed])
        cost = cost + _LINE_COST * covered + _LEADER_COST * self._crossed(leaders[allowed])
        led = np.asarray([leader is not None for leader in leaders[allowed]])
        cost = cost + _INSIDE_COST * (led & shapely.intersects(self.avoid, boxes[allowed]))
        least = int(np.argmin(cost))
        best = int(allowed[least])
        spot = spots[best]
        self.claim(boxes[best])
        if spot.leader is not None:
            self.claim(_shortened(spot.leader).buffer(CLEAR))
        return replace(spot, mask=True) if covered[least] > 0 else spot

    def _covered(self, boxes: Objects) -> Array:
        """Measure the linework under each box [in]."""
        which, lines = self._lines.query(boxes, predicate="intersects")
        lengths = shapely.length(shapely.intersection(boxes[which], self._pieces[lines]))
        return np.asarray(np.bincount(which, weights=lengths, minlength=len(boxes)), dtype=np.float64)

    def _crossed(self, leaders: Objects) -> Array:
        """Count the pieces of linework that each leader crosses."""
        count = np.zeros(len(leaders))
        drawn = np.flatnonzero([leader is not None for leader in leaders])
        if len(drawn):
            which, _ = self._lines.query(leaders[drawn], predicate="intersects")
            np.add.at(count, drawn[which], 1.0)
        return count


# --- spots ----------------------------------------------------------------------------------------------


def along(line: Array, width: float, height: float, *, prefer: float, above: float, mask: bool) -> list[Spot]:
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
        return []
    count = min(max(int((length - 2 * half) / 0.12), 1), 60)
    centres = np.linspace(half, length - half, count + 1)
    offsets = np.linspace(-width / 2, width / 2, 9)
    samples = points_at(line, (centres[:, None] + offsets[None, :]).ravel()).reshape(len(centres), 9, 2)
    chords = samples[:, -1] - samples[:, 0]
    spans = np.hypot(chords[:, 0], chords[:, 1])
    spots = []
    for i, centre in enumerate(centres):
        if spans[i] < 0.9 * width:
            continue
        way = chords[i] / spans[i]
        # To be read from below or from the right.
        way = way if way[0] > _UPRIGHT or (way[0] > -_UPRIGHT and way[1] > 0) else -way
        up = np.array([-way[1], way[0]])
        middle = samples[i].mean(axis=0)
        bulges = (samples[i] - middle) @ up
        spread = float(bulges.max() - bulges.min())
        if spread > (0.9 if mask else 0.7) * height:
            continue
        shift = float((bulges.max() if above >= 0 else bulges.min()) if above else 0.0)
        at = middle + up * (above + shift)
        spots.append(
            Spot(
                at=(float(at[0]), float(at[1])),
                angle=math.degrees(math.atan2(way[1], way[0])),
                cost=0.8 * abs(centre / length - prefer) + 4.0 * spread,
                mask=mask,
            )
        )
    return spots


def around(anchor: XY, width: float, *, size: float = 0.0, reaches: Sequence[float] = REACHES) -> list[Spot]:
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
    spots = []
    for reach in reaches:
        for turn in range(_TURNS):
            angle = 2 * math.pi * turn / _TURNS
            side = 1.0 if math.cos(angle) >= -1e-9 else -1.0
            tip = (anchor[0] + (size + reach) * math.cos(angle), anchor[1] + (size + reach) * math.sin(angle))
            at = (tip[0] + side * (width / 2 + 0.05), tip[1])
            level = 0.02 * abs(math.sin(angle)) + (0.02 if side < 0 else 0.0)
            near = reach <= REACHES[0] and size > 0
            start = size + 0.03 if size else 0.0
            end = (anchor[0] + start * math.cos(angle), anchor[1] + start * math.sin(angle))
            leader = None if near else (tip, end)
            spots.append(Spot(at=at, cost=0.35 * reach + level, leader=leader))
    return spots


def inside(area: Polygon, width: float, height: float) -> list[Spot]:
    """List spots for a level text within an area, the middle first; none where it does not fit."""
    box = area.bounds
    spots = []
    for share_x in (0.5, 0.35, 0.65, 0.25, 0.75):
        for share_y in (0.5, 0.65, 0.35, 0.8, 0.2):
            at = (box[0] + share_x * (box[2] - box[0]), box[1] + share_y * (box[3] - box[1]))
            reach = shapely.box(
                at[0] - width / 2, at[1] - 0.9 * height, at[0] + width / 2, at[1] + 0.9 * height
            )
            if area.covers(reach):
                cost = 0.3 * (abs(share_x - 0.5) + abs(share_y - 0.5))
                spots.append(Spot(at=at, cost=cost, mask=True))
    return spots


# --- geometry -------------------------------------------------------------------------------------------


def _boxes(spots: Sequence[Spot], width: float, height: float) -> Objects:
    """Draw the boxes of a text at its spots, with a little room around."""
    at = np.asarray([spot.at for spot in spots])
    turn = np.radians([spot.angle for spot in spots])
    forward = np.column_stack((np.cos(turn), np.sin(turn)))
    up = np.column_stack((-np.sin(turn), np.cos(turn)))
    half = width / 2 + CLEAR
    low, high = -(0.5 + BELOW) * height - CLEAR / 2, (ABOVE - 0.5) * height + CLEAR / 2
    corners = [at + x * forward + y * up for x, y in ((-half, low), (half, low), (half, high), (-half, high))]
    return np.asarray(shapely.polygons(np.stack(corners, axis=1)), dtype=object)


def _leaders(spots: Sequence[Spot]) -> Objects:
    """Draw the leader of each spot, None where it has none."""
    leaders = np.full(len(spots), None, dtype=object)
    drawn = [index for index, spot in enumerate(spots) if spot.leader is not None]
    if drawn:
        ends = np.asarray([spots[index].leader for index in drawn], dtype=np.float64)
        leaders[drawn] = shapely.linestrings(ends)
    return leaders


def _segments(lines: Sequence[LineString]) -> list[LineString]:
    """Cut lines into straight pieces, thinned to what can be seen on paper."""
    pieces: list[LineString] = []
    for line in lines:
        points = shapely.get_coordinates(shapely.simplify(line, 0.01))
        if len(points) > 1:
            pairs = np.stack((points[:-1], points[1:]), axis=1)
            pieces.extend(np.asarray(shapely.linestrings(pairs), dtype=object).tolist())
    return pieces


def _shortened(leader: tuple[XY, XY]) -> LineString:
    """Cut a leader short of its ends, which touch the text and what it names."""
    first, last = np.asarray(leader[0]), np.asarray(leader[1])
    return LineString([first + 0.1 * (last - first), first + 0.9 * (last - first)])
