"""Smoothing of an outline that was walked point by point, within a tolerance that the user states.

A walked outline has kinks where the true edge has none, each a bend no tubing takes. Between true corners it is
replaced by the curve x that is least for

    sum over walked points |x - point|²  +  integral of c r⁴ / h |x''|² along the outline,

a cubic smoothing spline, with h the distance between walked points thereabouts, r the same but at least twice the
tolerance, and c = 0.05: waves shorter than some three r are taken for errors of the walk, longer ones for the
bed's shape. Where the curve would leave the tolerance it is drawn back, more and more, until it does not. That c
was chosen by trial: with a tolerance of 0.6 ft, walks with a point every 3 to 10 ft and an error of 0.3 ft keep about
a seventh of their tight spots, most of them at corners, while outlines drawn from arcs and straights move by 0.03 ft
at most.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, LineString, Polygon

from layout.model import XY, Frame, site_place
from layout.near import SegmentIndex
from layout.plane import TOLERANCE, Array, coordinates, points_at, stations

STIFFNESS = 0.05
"""The constant c of the module's text."""
REACH = 2.0
"""In tolerances: what is smaller than this may be an error of the walk."""
CORNER = np.radians(60.0)
"""Where the outline turns by more than this at a point [rad], it has a corner, which stays; the turn is taken
between the points at the reach along the outline, so that errors of close points make no corners."""
STRAIGHT = 4.0
"""A step so many times as long as those beside it was drawn as a straight, and counts all along."""
FEWEST = 5
"""A stretch of fewer points than this was drawn from straights rather than walked, and stays."""
_PARTS, _MOST_NODES = 8, 40_000
"""Into how many parts the way from point to point is cut, and how many nodes there may be in all."""
_ROUNDS, _HALVINGS = 40, 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Smoothed:
    """A smoothed outline, and how far it is from the walked one.

    Attributes
    ----------
    outline : Polygon
        Valid, counter-clockwise [m].
    most, mean : float
        How far it moved at most and on average [m].
    at : (x, y)
        Where it moved most [m].
    corners : int
        How many corners were kept.
    """

    outline: Polygon
    most: float
    mean: float
    at: XY
    corners: int


def smoothed(outline: Polygon, tolerance: float) -> Smoothed:
    """Smooth an outline.

    Parameters
    ----------
    outline : Polygon
        As walked, without holes [m].
    tolerance : float
        No point of the smoothed outline is farther than this from the walked one, nor the other way round [m].

    Returns
    -------
    Smoothed
        Where smoothing would make the outline cross itself, as in a very narrow neck, it is done by half the
        tolerance, and so on; at last not at all.
    """
    walk = coordinates(outline.exterior)[:-1]
    reach = REACH * tolerance
    stretches = _stretches(walk, reach)
    chord = min(TOLERANCE, tolerance / 50)
    for halving in range(_HALVINGS):
        within = tolerance / 2**halving - chord
        ring = np.vstack([_soft(points, closed, within, chord, reach) for points, closed in stretches])
        found = Polygon(ring)
        if found.is_valid and found.area > 0:
            return _measured(
                outline, found, len(stretches) if len(stretches) > 1 or not stretches[0][1] else 0
            )
    return _measured(outline, outline, 0)


def smoothing_note(walked: Polygon, found: Smoothed, frame: Frame) -> str:
    """What smoothing did, in a sentence for the user."""
    unit = frame.units
    if found.most <= TOLERANCE:
        moved = f"{found.most / unit.length:.2g} {unit.length_name}"
        return f"bed.smooth: the outline is smooth as it is; it moved by {moved} at most"
    change = 100 * (found.outline.area / walked.area - 1)
    corners = f"; {found.corners} corners of over 60 degrees were kept" if found.corners else ""
    return (
        f"bed.smooth: the outline was smoothed; it moved by {found.most / unit.length:.2f} {unit.length_name} at most, "
        f"at {site_place(frame, found.at)}, and by {found.mean / unit.length:.2f} {unit.length_name} on average; its "
        f"area went from {walked.area / unit.area:,.1f} to {found.outline.area / unit.area:,.1f} {unit.area_name} "
        f"({change:+.2f} %){corners}"
    )


def _measured(walked: Polygon, found: Polygon, corners: int) -> Smoothed:
    """Measure how far an outline has moved, by its own points and by those of the walked one."""
    ring, old = LinearRing(found.exterior.coords), LinearRing(walked.exterior.coords)
    step = walked.length / 2000
    here = np.vstack((coordinates(ring.segmentize(step)), coordinates(old)))
    moved = SegmentIndex([LineString(old.coords)]).nearest(coordinates(ring.segmentize(step)))[0]
    back = SegmentIndex([LineString(ring.coords)]).nearest(coordinates(old))[0]
    every = np.concatenate((moved, back))
    worst = int(np.argmax(every))
    return Smoothed(
        outline=shapely.orient_polygons(found),
        most=float(every[worst]),
        mean=float(moved.mean()),
        at=(float(here[worst][0]), float(here[worst][1])),
        corners=corners,
    )


def _stretches(walk: Array, reach: float) -> list[tuple[Array, bool]]:
    """An outline cut at its corners; where it has none it is one stretch, which is closed (True)."""
    corners = _corners(walk, reach)
    if not len(corners):
        return [(walk, True)]
    ring = np.roll(walk, -int(corners[0]), axis=0)
    ring, cuts = np.vstack((ring, ring[:1])), [*(corners - corners[0]).tolist(), len(ring)]
    return [(ring[a : b + 1], False) for a, b in itertools.pairwise(cuts)]


def _corners(walk: Array, reach: float) -> NDArray[np.intp]:
    """The points where an outline turns sharply, of those within a reach of each other the sharpest."""
    thrice = np.vstack((walk, walk, walk, walk[:1]))
    station = stations(thrice)
    count, length = len(walk), station[len(walk)]
    here = station[count : 2 * count]
    arm = min(max(reach, TOLERANCE), length / 8)
    before, after = (points_at(thrice, here + shift) for shift in (-arm, arm))
    heading = [leg[:, 0] + 1j * leg[:, 1] for leg in (walk - before, after - walk)]
    turn = np.abs(np.angle(heading[1] * heading[0].conj()))
    sharp = np.flatnonzero(turn > CORNER)
    kept: list[int] = []
    for index in sharp[np.argsort(-turn[sharp], kind="stable")].tolist():
        apart = np.abs(here[kept] - here[index])
        if not (np.minimum(apart, length - apart) < reach).any():
            kept.append(index)
    return np.asarray(sorted(kept), dtype=np.intp)


def _soft(points: Array, closed: bool, within: float, chord: float, reach: float) -> Array:
    """One stretch smoothed; the last point of one that is not closed, where the next begins, is left out."""
    if len(points) < FEWEST:
        return points if closed else points[:-1]
    walk = np.vstack((points, points[:1])) if closed else points
    steps = np.hypot(*np.diff(walk, axis=0).T)
    parts = max(min(_PARTS, _MOST_NODES // len(steps)), 2)
    share = np.arange(parts) / parts
    nodes = (walk[:-1, None] + np.diff(walk, axis=0)[:, None] * share[None, :, None]).reshape(-1, 2)
    nodes = nodes if closed else np.vstack((nodes, walk[-1:]))
    around = _spacing(steps, closed)
    spacing = np.sqrt(steps * around)
    stiffness = STIFFNESS * np.maximum(spacing, reach) ** 4 / spacing
    counted = np.repeat(steps > STRAIGHT * around, parts)
    counted[::parts] = True
    counted = counted if closed else np.append(counted, True)
    bending = _bending(np.repeat(steps / parts, parts), np.repeat(stiffness, parts), closed)
    curve = _within(nodes, bending, counted, within, closed)
    drawn = LineString(np.vstack((curve, curve[:1])) if closed else curve).simplify(chord)
    return coordinates(drawn)[:-1]


def _within(nodes: Array, bending: Any, counted: NDArray[np.bool_], within: float, closed: bool) -> Array:
    """The smoothest curve by the nodes that count that nowhere leaves the walk by more than a distance [m].

    Other nodes, those between walked points, count for nothing until the curve is too far from them; then they pull.
    """
    from scipy.sparse import diags_array
    from scipy.sparse.linalg import spsolve

    pull = counted.astype(np.float64)
    if not closed:
        pull[[0, -1]] = 1e9
    curve = nodes
    for _ in range(_ROUNDS):
        curve = np.asarray(spsolve((bending + diags_array(pull)).tocsc(), pull[:, None] * nodes))
        off = np.hypot(*(curve - nodes).T)
        over = off > within
        if not over.any():
            break
        harder = np.maximum(pull, 0.05) * np.clip((off / (0.9 * within)) ** 2, 1.3, 50.0)
        pull = np.where(over, harder, pull)
    moved = curve - nodes
    if not closed:
        moved[[0, -1]] = 0.0
    most = float(np.hypot(*moved.T).max())
    # between nodes both lines are straight, so that the curve is nowhere farther off than at a node
    return nodes + moved * min(within / most, 1.0) if most > 0 else nodes


def _spacing(steps: Array, closed: bool) -> Array:
    """Distance between walked points thereabouts: the geometric mean of five steps, a step and those beside it."""
    beside = np.arange(len(steps))[:, None] + np.arange(-2, 3)
    beside = beside % len(steps) if closed else np.clip(beside, 0, len(steps) - 1)
    return np.asarray(np.exp(np.log(steps)[beside].mean(axis=1)))


def _bending(steps: Array, stiffness: Array, closed: bool) -> Any:
    """The matrix of the bending energy of a curve given by nodes, steps apart along the walk."""
    from scipy.sparse import coo_array, diags_array

    count = len(steps) + (0 if closed else 1)
    middle = np.arange(count) if closed else np.arange(1, count - 1)
    before, after = (middle - 1) % count, (middle + 1) % count
    back, on = steps[before], steps[middle]
    row = np.tile(np.arange(len(middle)), 3)
    column = np.concatenate((before, middle, after))
    turn = coo_array(
        (np.concatenate((1 / back, -1 / back - 1 / on, 1 / on)), (row, column)), shape=(len(middle), count)
    ).tocsr()
    weight = 2 / (back + on) * np.minimum(stiffness[before], stiffness[middle])
    return turn.T @ diags_array(weight) @ turn
