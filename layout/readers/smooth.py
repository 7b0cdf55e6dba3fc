"""Smoothing of an outline that was walked point by point, within a tolerance that the user states.

A walked outline has kinks where the true edge has none, each a bend no tubing takes. Between corners, which may
move as any point but stay corners, it is replaced by the curve x that is least for

    sum over walked points |x - point|²  +  integral of λ |x''|² along the outline,

a cubic smoothing spline (Reinsch 1967). How stiff it is, λ, is chosen stretch by stretch, so that straight sides
become straight and bends keep their shape: of many that with the least estimate of its error, squared residuals plus
twice the variance of the walk's error for every degree of freedom (Mallows' Cp; Craven and Wahba 1979 have it for
splines). The walk's error is taken from the walk itself: from third differences of points in a row, across the edge, in
which a straight, a bend and a steady change of bend all cancel (Gasser, Sroka and Jennen-Steinmetz 1986 use second
ones), without the largest fifth of them, which may come of corners. Where half the tolerance says so, and a straight
or a simple bow then does, the error is taken to be up to half as much again, never more: an outline drawn from exact
arcs and straights, with no error in it, stays as it is whatever the tolerance. Where the curve would leave the
tolerance it is drawn back, more and more, until it does not.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, LineString, Polygon

from layout.model import XY, Frame, site_place
from layout.near import SegmentIndex
from layout.plane import TOLERANCE, Array, coordinates, points_at, stations

SAME_TURN, SAME_POINT = 1e-6, 1e-6
"""What rounding may take off a turn [rad]; points nearer to each other, or to the edge, lie on it [m]."""
CORNER = math.radians(60.0)
"""Where the outline turns by more than this at a point [rad], it has a corner; the turn is taken between points at an
arm's length along the outline, so that errors of close points make no corners."""
CUT_CORNER = math.radians(30.0)
"""A turn of more than this [rad] is a corner as well, one that the walk cut, where the outline is straight before and
behind it: turns there are under a third of it and under `FLAT`, and errors alone make none of a quarter as much."""
FLAT = math.radians(10.0)
_ARMS = (10.0, 20.0)
"""An arm is twice the tolerance, but so many times the error of the walk at least, and at most."""
MORE_ERROR = 1.5
"""How many times the error found may be taken for the walk's, where the tolerance says so ..."""
SIMPLE = 8.0
"""... and a curve of no more degrees of freedom then does: a straight has two, a bow or an S some four to eight."""
KEPT = 0.8
"""Share of the third differences that tell the error, the least of them; of as many of a normal distribution the
mean square is `_OF_KEPT` times that of all."""
_OF_KEPT = 0.4377
STRAIGHT = 4.0
"""A step so many times as long as those beside it was drawn as a straight, and counts all along."""
FEWEST = 5
"""A stretch of fewer points than this was drawn from straights rather than walked; only its corners move."""
_SOFTEST, _WIDEST, _CHOICES = 0.3, 60.0, 24
"""Stiffnesses tried: λ is the fourth power of the length that is evened out, over the distance between points; that
length is between so many of these distances, or a third of the stretch."""
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
        How many corners stay corners.
    error : float
        Standard deviation of the walked points across the edge, as the walk itself tells it [m].
    """

    outline: Polygon
    most: float
    mean: float
    at: XY
    corners: int
    error: float


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
    walk = coordinates(shapely.remove_repeated_points(outline.exterior, SAME_POINT))[:-1]
    rough = _error(walk, np.zeros(len(walk), dtype=bool))
    corners = _corners(walk, rough, tolerance)
    if len(corners):
        walk = np.roll(walk, -int(corners[0]), axis=0)
        corners = corners - corners[0]
    is_corner = np.zeros(len(walk), dtype=bool)
    is_corner[corners] = True
    found = _error(walk, is_corner)
    if found < SAME_POINT:  # drawn, not walked
        return _measured(outline, outline, len(corners), found)
    most = min(max(tolerance / 2, found), MORE_ERROR * found)
    stiffness = _stiffness(walk, corners, min(found, tolerance), min(most, tolerance))
    chord = min(TOLERANCE, tolerance / 50)
    for halving in range(_HALVINGS):
        curve = _curve(walk, is_corner, stiffness, tolerance / 2**halving - chord)
        soft = Polygon(coordinates(LinearRing(curve).simplify(chord)))
        if soft.is_valid and soft.area > 0:
            return _measured(outline, soft, len(corners), found)
    return _measured(outline, outline, 0, found)


def smoothing_note(walked: Polygon, found: Smoothed, frame: Frame) -> str:
    """What smoothing did, in a sentence for the user."""
    unit = frame.units
    if found.most <= TOLERANCE:
        moved = f"{found.most / unit.length:.2g} {unit.length_name}"
        return f"bed.smooth: the outline is smooth as it is; it moved by {moved} at most"
    change = 100 * (found.outline.area / walked.area - 1)
    kept = "1 corner stays one" if found.corners == 1 else f"{found.corners} corners stay corners"
    corners = f"; {kept}" if found.corners else ""
    return (
        f"bed.smooth: the outline was smoothed; it moved by {found.most / unit.length:.2f} {unit.length_name} at most, "
        f"at {site_place(frame, found.at)}, and by {found.mean / unit.length:.2f} {unit.length_name} on average; its "
        f"area went from {walked.area / unit.area:,.1f} to {found.outline.area / unit.area:,.1f} {unit.area_name} "
        f"({change:+.2f} %){corners}; its points were off the edge by some {found.error / unit.length:.2g} "
        f"{unit.length_name} (standard deviation, judged by their neighbours)"
    )


def _measured(walked: Polygon, found: Polygon, corners: int, error: float) -> Smoothed:
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
        error=error,
    )


def _error(walk: Array, is_corner: NDArray[np.bool_]) -> float:
    """Standard deviation of walked points across the edge [m]; see the module's text."""
    count = len(walk)
    if count < FEWEST:
        return 0.0
    four = (np.arange(count)[:, None] + np.arange(-1, 3)) % count
    points = walk[four]
    legs = np.diff(points, axis=1)
    place = np.cumsum(np.hypot(legs[..., 0], legs[..., 1]), axis=1)
    place = np.hstack((np.zeros((count, 1)), place))
    apart = place[:, :, None] - place[:, None, :] + np.eye(4)
    weight = 1 / apart.prod(axis=2)
    weight /= np.sqrt((weight**2).sum(axis=1))[:, None]
    off = np.einsum("ij,ijk->ik", weight, points)
    ahead = legs[:, 1] / np.hypot(*legs[:, 1].T)[:, None]
    across = (off[:, 0] * ahead[:, 1] - off[:, 1] * ahead[:, 0])[
        ~(is_corner[four[:, 1]] | is_corner[four[:, 2]])
    ]
    least = np.sort(across**2)[: math.ceil(KEPT * len(across))]
    return math.sqrt(float(least.mean()) / _OF_KEPT) if len(least) else 0.0


def _corners(walk: Array, error: float, tolerance: float) -> NDArray[np.intp]:
    """The points where an outline turns sharply, of those within an arm of each other the sharpest."""
    thrice = np.vstack((walk, walk, walk, walk[:1]))
    station = stations(thrice)
    count, length = len(walk), station[len(walk)]
    here = station[count : 2 * count]
    least, most = (arms * error for arms in _ARMS)
    arm = min(max(min(max(2 * tolerance, least), most), TOLERANCE), length / 8)
    before, after = (points_at(thrice, here + shift) for shift in (-arm, arm))
    heading = [leg[:, 0] + 1j * leg[:, 1] for leg in (walk - before, after - walk)]
    turn = np.abs(np.angle(heading[1] * heading[0].conj()))
    steps = np.maximum(np.diff(station[count : 2 * count + 1]), arm)
    back, on = 1 / np.roll(steps, 1), 1 / steps
    by_error = error * np.sqrt(back**2 + on**2 + (back + on) ** 2)
    beside = np.median(turn[(np.arange(count)[:, None] + np.array([-3, -2, 2, 3])) % count], axis=1)
    cut = (turn > CUT_CORNER) & (beside < np.minimum(turn / 3, FLAT)) & (turn > 4 * by_error)
    sharp = np.flatnonzero((turn > CORNER - SAME_TURN) | (cut & (count >= 2 * FEWEST)))
    kept: list[int] = []
    for index in sharp[np.argsort(-turn[sharp], kind="stable")].tolist():
        apart = np.abs(here[kept] - here[index])
        if not (np.minimum(apart, length - apart) < arm).any():
            kept.append(index)
    return np.asarray(sorted(kept), dtype=np.intp)


def _stiffness(walk: Array, corners: NDArray[np.intp], error: float, most: float) -> Array:
    """The stiffness of the curve on each step of the walk [m³]; 0 where it was drawn from straights."""
    count = len(walk)
    found = np.zeros(count)
    if not len(corners):
        beside = min(
            count, math.ceil(3 * _WIDEST)
        )  # of a ring, what lies to either side of its seam counts, too
        if count >= FEWEST:
            found[:] = _best(walk[np.arange(-beside, count + beside) % count], beside, error, most)
        return found
    ring = np.vstack((walk, walk[:1]))
    for first, last in itertools.pairwise([*corners.tolist(), count]):
        if last - first + 1 >= FEWEST:
            found[first:last] = _best(ring[first : last + 1], 0, error, most)
    return found


def _best(points: Array, beside: int, error: float, most: float) -> float:
    """The stiffness that is likely to lead nearest to the edge along a stretch [m³].

    So many of the points at either end belong to the ring's other side: they pull, and are not counted.
    """
    steps = np.hypot(*np.diff(points, axis=0).T)
    counted = slice(beside, len(points) - beside)
    usual = float(np.exp(np.log(steps).mean()))
    widest = max(min(float(steps[beside : len(steps) - beside].sum()) / 3, _WIDEST * usual), usual)
    tried = np.geomspace(widest, _SOFTEST * usual, _CHOICES) ** 4 / usual
    curve, free = _solved(points, steps, tried)
    ahead = np.gradient(curve, axis=0)
    off = points[:, :, None] - curve
    across = (off[:, 0] * ahead[:, 1] - off[:, 1] * ahead[:, 0]) / np.hypot(ahead[:, 0], ahead[:, 1])
    left, freedom = (across[counted] ** 2).sum(axis=0), free[counted].sum(axis=0)
    best = int(np.argmin(left + 2 * most**2 * freedom))
    if freedom[best] > SIMPLE:
        best = int(np.argmin(left + 2 * error**2 * freedom))
    return float(tried[best])


def _solved(points: Array, steps: Array, tried: Array) -> tuple[Array, Array]:
    """The spline's points for each stiffness, shape (n, 2, k), and how freely each moves with its own, (n, k).

    By Cholesky factors of the five bands of 1 + λK, and the bands of its inverse from those (Hutchinson and de Hoog
    1985).
    """
    count = len(points)
    ones = np.ones(len(steps))
    straight = np.zeros(count, dtype=bool)
    straight[[0, -1]] = True
    matrix = _bending(steps, ones, straight)
    middle, first, second = (np.pad(matrix.diagonal(by), (0, by))[:, None] * tried for by in range(3))
    pivot, near, far = np.empty((3, count, len(tried)))
    curve = np.repeat(points[:, :, None], len(tried), axis=2)
    for i in range(count):
        pivot[i], side = 1.0 + middle[i], first[i]
        if i > 0:
            pivot[i] -= pivot[i - 1] * near[i - 1] ** 2
            side = side - pivot[i - 1] * near[i - 1] * far[i - 1]
            curve[i] -= near[i - 1] * curve[i - 1]
        if i > 1:
            pivot[i] -= pivot[i - 2] * far[i - 2] ** 2
            curve[i] -= far[i - 2] * curve[i - 2]
        near[i], far[i] = side / pivot[i], second[i] / pivot[i]
    curve /= pivot[:, None]
    free = 1 / pivot
    beside = np.zeros((count, len(tried)))  # of the inverse, next to its diagonal
    for i in range(count - 2, -1, -1):
        two = i + 2 < count
        beyond = -near[i] * beside[i + 1] - far[i] * free[i + 2] if two else 0.0
        beside[i] = -near[i] * free[i + 1] - (far[i] * beside[i + 1] if two else 0.0)
        free[i] -= near[i] * beside[i] + far[i] * beyond
        curve[i] -= near[i] * curve[i + 1] + (far[i] * curve[i + 2] if two else 0.0)
    return curve, free


def _curve(walk: Array, is_corner: NDArray[np.bool_], stiffness: Array, within: float) -> Array:
    """The outline as a smooth curve that nowhere leaves the walk by more than a distance [m], given by close nodes."""
    count = len(walk)
    ahead = np.roll(walk, -1, axis=0) - walk
    steps = np.hypot(*ahead.T)
    parts = max(min(_PARTS, _MOST_NODES // count), 2)
    share = np.arange(parts) / parts
    nodes = (walk[:, None] + ahead[:, None] * share[None, :, None]).reshape(-1, 2)
    stiff = stiffness > 0
    counted = np.repeat(~stiff | (steps > STRAIGHT * _spacing(steps)), parts)
    counted[::parts] = True
    hinge = np.zeros(len(nodes), dtype=bool)
    hinge[::parts] = is_corner
    bending = _bending(np.repeat(steps / parts, parts), np.repeat(stiffness, parts), hinge)
    moved = _within(nodes, bending, counted, within) - nodes
    # what was drawn straight goes with its ends
    by_step = moved.reshape(count, parts, 2)
    start, end = by_step[:, 0], np.roll(by_step[:, 0], -1, axis=0)
    by_step[~stiff] = (start[:, None] + (end - start)[:, None] * share[None, :, None])[~stiff]
    most = float(np.hypot(*moved.T).max())
    # between nodes both lines are straight, so that the curve is nowhere farther off than at a node
    return nodes + moved * min(within / most, 1.0) if most > 0 else nodes


def _within(nodes: Array, bending: Any, counted: NDArray[np.bool_], within: float) -> Array:
    """The smoothest curve by the nodes that count that is nowhere, or hardly, farther from the walk than that [m].

    Other nodes, those between walked points, count for nothing until the curve is too far from them; then they pull.
    """
    from scipy.sparse import diags_array
    from scipy.sparse.linalg import spsolve

    pull = counted.astype(np.float64)
    curve = nodes
    for _ in range(_ROUNDS):
        curve = np.asarray(spsolve((bending + diags_array(pull)).tocsc(), pull[:, None] * nodes))
        off = np.hypot(*(curve - nodes).T)
        over = off > within
        if not over.any():
            break
        harder = np.maximum(pull, 0.05) * np.clip((off / (0.9 * within)) ** 2, 1.3, 50.0)
        pull = np.where(over, harder, pull)
    return curve


def _spacing(steps: Array) -> Array:
    """Distance between walked points thereabouts: the geometric mean of five steps, a step and those beside it."""
    beside = (np.arange(len(steps))[:, None] + np.arange(-2, 3)) % len(steps)
    return np.asarray(np.exp(np.log(steps)[beside].mean(axis=1)))


def _bending(steps: Array, stiffness: Array, hinge: NDArray[np.bool_]) -> Any:
    """The matrix of the bending energy of a curve given by nodes, steps apart; at a hinge it bends for nothing."""
    from scipy.sparse import coo_array, diags_array

    count = len(hinge)
    middle = np.flatnonzero(~hinge)
    before, after = (middle - 1) % count, (middle + 1) % count
    back, on = steps[before], steps[middle]
    row = np.tile(np.arange(len(middle)), 3)
    column = np.concatenate((before, middle, after))
    turn = coo_array(
        (np.concatenate((1 / back, -1 / back - 1 / on, 1 / on)), (row, column)), shape=(len(middle), count)
    ).tocsr()
    weight = 2 / (back + on) * np.minimum(stiffness[before], stiffness[middle])
    return turn.T @ diags_array(weight) @ turn
