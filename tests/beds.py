"""Test beds, in feet: exact ones whose run lengths follow from geometry, and harder ones without a formula.

Each function gives the outline as an (n, 2) array, with its long sides walked from the manifold end.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def arc(cx: float, cy: float, r: float, a0: float, a1: float, *, step: float = 1.0) -> Array:
    """Points of an arc, angles in degrees, at most `step` degrees apart."""
    n = max(math.ceil(abs(a1 - a0) / step - 1e-9), 1)
    a = np.radians(np.linspace(a0, a1, n + 1))
    return np.column_stack((cx + r * np.cos(a), cy + r * np.sin(a)))


def ring(left: Array, right: Array) -> Array:
    """An outline from its two long sides, both from the manifold end."""
    return np.vstack((left, right[::-1]))


def rect(length: float = 100.0, width: float = 12.0) -> Array:
    return np.array([[0, width], [length, width], [length, 0], [0, 0]], float)


def annular(r0: float = 20.0, r1: float = 32.0, sweep: float = 150.0, *, step: float = 1.0) -> Array:
    """Inner arc on the left, walked counter-clockwise."""
    return ring(arc(0, 0, r0, 0, sweep, step=step), arc(0, 0, r1, 0, sweep, step=step))


def s_arcs(radius: float = 26.0, width: float = 12.0, *, step: float = 1.0) -> Array:
    """Two quarter turns, left then right."""

    def side(offset: float) -> Array:
        first = arc(0, radius, radius - offset, -90, 0, step=step)
        second = arc(2 * radius, radius, radius + offset, 180, 90, step=step)
        return np.vstack((first, second[1:]))

    return ring(side(width / 2), side(-width / 2))


def racetrack(straight: float = 80.0, r: float = 8.0, *, step: float = 2.0) -> Array:
    cap1 = arc(straight, 0, r, 90, -90, step=step)
    cap0 = arc(0, 0, r, 270, 90, step=step)
    return np.vstack((cap0[-1:], cap1, cap0[:-1]))


def wedge(length: float = 100.0, w0: float = 16.0, w1: float = 8.0) -> Array:
    """The straight side on the right (y = 0), the slanted one on the left."""
    return np.array([[0, w0], [length, w1], [length, 0], [0, 0]], float)


def ell(leg: float = 60.0, width: float = 12.0) -> Array:
    """Outer side on the left, inner on the right: along +x... turning right at the corner."""
    left = np.array([[0, leg], [leg, leg], [leg, 0]], float)
    right = np.array([[0, leg - width], [leg - width, leg - width], [leg - width, 0]], float)
    return ring(left, right)


def meander(
    bends: int = 10, r: float = 13.0, width: float = 12.0, straight: float = 20.0, *, step: float = 2.0
) -> Array:
    """Straights joined by half turns, alternately left and right."""
    centre: list[tuple[float, float, float]] = []
    x, y, heading = 0.0, 0.0, 90.0
    sides: dict[float, list[Array]] = {width / 2: [], -width / 2: []}

    def at(px: float, py: float, head: float, offset: float) -> tuple[float, float]:
        a = math.radians(head + 90)
        return (px + offset * math.cos(a), py + offset * math.sin(a))

    for bend in range(bends + 1):
        for offset, points in sides.items():
            points.append(np.array([at(x, y, heading, offset)]))
        x += straight * math.cos(math.radians(heading))
        y += straight * math.sin(math.radians(heading))
        for offset, points in sides.items():
            points.append(np.array([at(x, y, heading, offset)]))
        centre.append((x, y, heading))
        if bend == bends:
            break
        turn = 1 if bend % 2 else -1
        a = math.radians(heading + 90 * turn)
        cx, cy = x + r * math.cos(a), y + r * math.sin(a)
        start = heading - 90 * turn
        for offset, points in sides.items():
            radius = r - turn * offset
            points.append(arc(cx, cy, radius, start, start + 180 * turn, step=step))
        x, y = 2 * cx - x, 2 * cy - y
        heading += 180 * turn
    left, right = (np.vstack(sides[o]) for o in (width / 2, -width / 2))
    return ring(_distinct(left), _distinct(right))


def _distinct(points: Array) -> Array:
    keep = np.concatenate(([True], np.hypot(*np.diff(points, axis=0).T) > 1e-9))
    return points[keep]


def horseshoe(r0: float = 16.0, r1: float = 30.0, sweep: float = 320.0, *, step: float = 1.0) -> Array:
    return annular(r0, r1, sweep, step=step)


def dumbbell(r: float = 15.0, neck: float = 5.0, length: float = 24.0, *, step: float = 3.0) -> Array:
    """Two round lobes joined by a straight neck."""
    a = math.degrees(math.asin(neck / 2 / r))
    gap = length / 2 + r * math.cos(math.radians(a))
    left = arc(-gap, 0, r, a, 360 - a, step=step)
    right = arc(gap, 0, r, 180 + a, 540 - a, step=step)
    return np.vstack((left, right))


def sinuous(
    amplitude: float, wavelength: float, width: tuple[float, float], length: float, step: float = 1.0
) -> Array:
    """A bed along a sine, its width swinging between two values."""
    x = np.linspace(0, length, int(length / step) + 1)
    y = amplitude * np.sin(2 * np.pi * x / wavelength)
    slope = amplitude * 2 * np.pi / wavelength * np.cos(2 * np.pi * x / wavelength)
    normal = np.column_stack((-slope, np.ones_like(x))) / np.hypot(slope, 1)[:, None]
    half = (width[0] + width[1]) / 4 + (width[1] - width[0]) / 4 * np.sin(2 * np.pi * x / (wavelength * 0.8))
    centre = np.column_stack((x, y))
    return ring(centre + normal * half[:, None], centre - normal * half[:, None])


def gentle() -> Array:
    return sinuous(6, 66, (12, 16), 132)


def serpentine() -> Array:
    return sinuous(7, 46, (13, 15), 138)


def gnss(seed: int = 1, jitter: float = 0.3) -> Array:
    """The serpentine bed as walked: a point every 3 to 10 ft, with noise."""
    import shapely

    rng = np.random.default_rng(seed)
    outline = shapely.LinearRing(serpentine())
    along = np.cumsum(rng.uniform(3, 10, 400))
    along = along[along < outline.length]
    points = shapely.get_coordinates(shapely.line_interpolate_point(outline, along))
    return np.asarray(points + rng.normal(0, jitter, points.shape))


def kidney() -> Array:
    a = np.linspace(0, 2 * np.pi, 181)[:-1]
    x = 40 * np.cos(a)
    y = 14 * np.sin(a) + 10 * np.cos(a) ** 2
    return np.column_stack((x, y))


def field10ac() -> Array:
    """A smooth blob of ten acres."""
    a = np.linspace(0, 2 * np.pi, 361)[:-1]
    r = 1 + 0.18 * np.cos(2 * a) + 0.07 * np.sin(3 * a) + 0.04 * np.cos(5 * a + 1)
    points = np.column_stack((1.35 * r * np.cos(a), r * np.sin(a)))
    import shapely

    return np.asarray(points * math.sqrt(435_600 / shapely.Polygon(points).area))


def parallelogram(length: float = 100.0, width: float = 12.0, angle: float = 27.0) -> Array:
    shift = width / math.tan(math.radians(angle))
    return np.array([[shift, width], [length + shift, width], [length, 0], [0, 0]], float)


def trapezium(length: float = 100.0, width: float = 12.0) -> Array:
    return np.array([[width, width], [length - width, width], [length, 0], [0, 0]], float)


def tee() -> Array:
    return np.array([[0, 40], [80, 40], [80, 28], [46, 28], [46, 0], [34, 0], [34, 28], [0, 28]], float)


def cross() -> Array:
    a, b = 10.0, 40.0
    return np.array(
        [
            [a, b],
            [a, a],
            [b, a],
            [b, -a],
            [a, -a],
            [a, -b],
            [-a, -b],
            [-a, -a],
            [-b, -a],
            [-b, a],
            [-a, a],
            [-a, b],
        ],
        float,
    )


def star(points: int = 5, r0: float = 18.0, r1: float = 45.0) -> Array:
    a = np.linspace(0, 2 * np.pi, 2 * points + 1)[:-1] + 0.1
    r = np.where(np.arange(2 * points) % 2, r0, r1)
    return np.column_stack((r * np.cos(a), r * np.sin(a)))


def circle(r: float = 30.0) -> Array:
    return arc(0, 0, r, 0, 360, step=3)[:-1]


EXACT: dict[str, Callable[[], Array]] = {
    "rect": rect,
    "annular": annular,
    "s_arcs": s_arcs,
    "racetrack": racetrack,
    "wedge": wedge,
    "ell": ell,
    "meander": meander,
    "horseshoe": horseshoe,
}
HARD: dict[str, Callable[[], Array]] = {
    "dumbbell": dumbbell,
    "gentle": gentle,
    "serpentine": serpentine,
    "gnss": gnss,
    "kidney": kidney,
    "parallelogram": parallelogram,
    "trapezium": trapezium,
    "tee": tee,
    "cross": cross,
    "star": star,
    "circle": circle,
    "square": lambda: rect(40, 40),
    "short": lambda: rect(20, 14),
}


# --- random beds ---------------------------------------------------------------------------------------


def _whole(outline: Array) -> Array | None:
    """The outline, or None where it crosses itself."""
    import shapely

    polygon = shapely.Polygon(outline)
    return outline if polygon.is_valid and polygon.area > 0 else None


def wobbly(seed: int) -> Array:
    """A serpentine bed along a curve of random curvature, its width wandering, its ends at random angles."""
    rng = np.random.default_rng(seed)
    for _ in range(100):
        length, width = rng.uniform(40, 200), rng.uniform(6, 24)
        n = int(length / rng.uniform(0.8, 6)) + 4
        along = np.linspace(0, length, n)
        waves = [(rng.uniform(30, 160), rng.uniform(0, 2 * np.pi), rng.uniform(0, 1)) for _ in range(3)]
        bend = rng.uniform(0, 1.2) / (width / 2 + 1) * 0.6
        curvature = bend * np.sum([a * np.sin(2 * np.pi * along / w + p) for w, p, a in waves], axis=0)
        heading = np.concatenate(([0.0], np.cumsum((curvature[1:] + curvature[:-1]) / 2 * np.diff(along))))
        heading += rng.uniform(0, 2 * np.pi)
        step = np.column_stack((np.cos(heading), np.sin(heading)))
        centre = np.vstack(([0, 0], np.cumsum((step[1:] + step[:-1]) / 2 * np.diff(along)[:, None], axis=0)))
        normal = np.column_stack((-np.sin(heading), np.cos(heading)))
        swing = rng.uniform(0, 0.35)
        half = [
            width / 2 * (1 + swing * np.sin(2 * np.pi * along / rng.uniform(30, 150) + rng.uniform(0, 6)))
            for _ in range(2)
        ]
        skew = rng.uniform(-0.4, 0.4, 2) * width
        fade = (
            np.clip(1 - along / (width + 1), 0, 1) * skew[0]
            + np.clip(1 - (length - along) / (width + 1), 0, 1) * skew[1]
        )
        left = centre + normal * half[0][:, None] + step * fade[:, None]
        right = centre - normal * half[1][:, None] - step * fade[:, None]
        outline = ring(left, right)
        if rng.uniform() < 0.3:
            outline = outline + rng.normal(0, 0.03 * min(width, length / n), outline.shape)
        if (whole := _whole(outline)) is not None:
            return whole
    raise AssertionError("no whole outline in a hundred tries")


def starry(seed: int) -> Array:
    """A star-shaped polygon with random arms, often very rough."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(4, 24))
    angle = np.sort(rng.uniform(0, 2 * np.pi, n))
    angle = (angle + 4 * np.linspace(0, 2 * np.pi, n, endpoint=False)) / 5
    radius = rng.uniform(15, 60) * rng.uniform(rng.uniform(0.25, 0.9), 1.0, n)
    return np.column_stack((radius * np.cos(angle) * rng.uniform(1, 2.5), radius * np.sin(angle)))


def convex(seed: int) -> Array:
    """The hull of random points, stretched."""
    import shapely

    rng = np.random.default_rng(seed)
    points = rng.normal(0, 1, (int(rng.integers(3, 30)), 2)) * np.array(
        [rng.uniform(15, 50), rng.uniform(8, 25)]
    )
    hull = shapely.convex_hull(shapely.MultiPoint(points))
    return np.asarray(shapely.get_coordinates(hull.buffer(6, join_style="mitre"))[:-1])


def crooked(seed: int) -> Array:
    """A strip of even width along a crooked line, with sharp corners."""
    import shapely

    rng = np.random.default_rng(seed)
    for _ in range(100):
        n = int(rng.integers(2, 6))
        turn = np.concatenate(([0.0], rng.uniform(-1.6, 1.6, n - 1)))
        heading = rng.uniform(0, 6) + np.cumsum(turn)
        leg = rng.uniform(20, 70, n)
        line = np.vstack(
            ([0, 0], np.cumsum(np.column_stack((np.cos(heading), np.sin(heading))) * leg[:, None], axis=0))
        )
        strip = shapely.LineString(line).buffer(
            rng.uniform(4, 10), cap_style="flat", join_style="mitre", mitre_limit=3
        )
        if strip.geom_type == "Polygon" and strip.is_valid and not strip.interiors:
            return np.asarray(shapely.get_coordinates(strip)[:-1])
    raise AssertionError("no whole strip in a hundred tries")


def boxy(seed: int) -> Array:
    """A union of a few boxes: corners and inlets at right angles."""
    import shapely

    rng = np.random.default_rng(seed)
    for _ in range(100):
        boxes = []
        x, y = 0.0, 0.0
        for _ in range(int(rng.integers(2, 5))):
            w, h = rng.uniform(8, 50), rng.uniform(8, 30)
            boxes.append(shapely.box(x, y, x + w, y + h))
            x, y = x + rng.uniform(-0.5, 0.9) * w, y + rng.uniform(-0.5, 0.9) * h
        whole = shapely.union_all(boxes)
        if isinstance(whole, shapely.Polygon) and not whole.interiors:
            return np.asarray(shapely.get_coordinates(whole.exterior)[:-1])
    raise AssertionError("no whole union in a hundred tries")


RANDOM: dict[str, Callable[[int], Array]] = {
    "wobbly": wobbly,
    "starry": starry,
    "convex": convex,
    "crooked": crooked,
    "boxy": boxy,
}
