"""What any plan must do when its bed is moved, turned, mirrored, scaled, walked the other way, or made smaller.

Random beds of the shapes that beds have, some with a tree in them. Feet; lengths to 1e-6 of themselves.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, assume, example, given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon

from layout.model import Laying, Pattern
from tests import beds
from tests.laid import Array, Field, field, mirrored, moved, obstacle

EXACTLY = 1e-6
"""Of a length."""
PLACED = 1e-4
"""How far a run's end may be from where it should be, in spacings."""
SPACING = 2.0

OFFSETS = (Pattern.LEFT, Pattern.RIGHT, Pattern.CENTRE)
SEEN = {Pattern.LEFT: Pattern.RIGHT, Pattern.RIGHT: Pattern.LEFT}
"""What a pattern is in a mirror."""

EXAMPLES = settings(
    max_examples=10,
    deadline=None,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    suppress_health_check=[HealthCheck.too_slow],
)
"""A random bed has no simpler neighbour: the first one found is as good as any. How long it takes to draw beds, by the
clock, hangs on what else the machine does."""


@dataclass(frozen=True)
class Drawn:
    """A random bed: its outline, the place its manifold end is nearest to, and a tree with its setback."""

    outline: Array
    toward: tuple[float, float]
    tree: tuple[float, float, float] | None = None

    def laid_by(self, pattern: Pattern, *, size: float = 1.0) -> tuple[Field, Laying]:
        """Its runs; `size` is what the rules are scaled by."""
        features = [] if self.tree is None else [obstacle(Point(self.tree[:2]), self.tree[2])]
        site = field(
            self.outline,
            spacing=SPACING * size,
            clearance=size,
            bend_radius=2.0 * size,
            shortest=6.0 * size,
            toward=self.toward,
            features=features,
        )
        return site, site.lay(pattern)

    def moved(self, *, turn: float = 0.0, by: tuple[float, float] = (0.0, 0.0), scale: float = 1.0) -> Drawn:
        """The same bed elsewhere."""

        def there(points: Array) -> Array:
            return moved(points, turn=turn, by=by, scale=scale)

        return self._through(there, scale)

    def mirrored(self) -> Drawn:
        """The same bed in a mirror."""
        return self._through(mirrored, 1.0)

    def walked_from(self, start: int) -> Drawn:
        """The same bed, its outline walked the other way from another point on."""
        return Drawn(np.roll(self.outline[::-1], start, axis=0), self.toward, self.tree)

    def _through(self, motion: Callable[[Array], Array], scale: float) -> Drawn:
        toward = motion(np.asarray([self.toward]))[0]
        tree = None
        if self.tree is not None:
            x, y = motion(np.asarray([self.tree[:2]]))[0]
            tree = (float(x), float(y), self.tree[2] * scale)
        return Drawn(motion(self.outline), (float(toward[0]), float(toward[1])), tree)


def kidney(length: float, width: float, bow: float) -> Array:
    """An oval bent like a bow."""
    a = np.linspace(0, 2 * np.pi, 91)[:-1]
    return np.column_stack((length / 2 * np.cos(a), width / 2 * np.sin(a) + bow * np.cos(a) ** 2))


WIDTHS = st.floats(7.0, 15.0)
SERPENTINE = st.builds(
    lambda amplitude, wavelength, width, swing, length: beds.sinuous(
        amplitude, wavelength, (width, width + swing), length, step=2.0
    ),
    st.floats(1.0, 6.0),
    st.floats(45.0, 90.0),
    WIDTHS,
    st.floats(0.0, 3.0),
    st.floats(50.0, 90.0),
)
ANNULAR = st.builds(
    lambda radius, width, sweep: beds.annular(radius, radius + width, sweep, step=3.0),
    st.floats(10.0, 30.0),
    WIDTHS,
    st.floats(90.0, 170.0),
)
ELL = st.builds(beds.ell, st.floats(30.0, 50.0), st.floats(7.0, 12.0))
KIDNEY = st.builds(kidney, st.floats(55.0, 80.0), st.floats(14.0, 22.0), st.floats(3.0, 10.0))
SHAPES = st.one_of(SERPENTINE, ANNULAR, ELL, KIDNEY)


SHEAR = np.array([[1.0, 0.0], [0.013, 1.0]])


@st.composite
def drawn_beds(draw: st.DrawFn, *, tree: bool) -> Drawn:
    """A bed, its manifold end at the start of its outline.

    Sheared a little: between the halves of a symmetric bed rounding decides, as between equal things it may.
    """
    outline = draw(SHAPES) @ SHEAR
    assume(Polygon(outline).is_valid)
    first = (outline[0] + outline[-1]) / 2
    toward = (float(first[0]), float(first[1]))
    if not tree:
        return Drawn(outline, toward)
    edge = Polygon(outline).exterior.interpolate(draw(st.floats(0.0, 1.0)), normalized=True)
    middle = Polygon(outline).representative_point()
    inward = draw(st.floats(0.0, 1.0))
    x, y = edge.x + inward * (middle.x - edge.x), edge.y + inward * (middle.y - edge.y)
    return Drawn(outline, toward, (x, y, draw(st.floats(0.3, 3.0))))


def lengths(laying: Laying) -> list[float]:
    """Of runs and of blank tubing."""
    return sorted([run.length for run in laying.runs] + [float(join.line.length) for join in laying.carries])


def ends(laying: Laying) -> list[Point]:
    return [Point(run.line.coords[end]) for run in laying.runs for end in (0, -1)]


def same(found: Laying, expected: Laying, *, scale: float = 1.0, within: float = 0.0) -> None:
    """The same runs, whatever their order: as many, as long, and as much left out.

    Rows that follow one side are held to 1e-6. Centre and even rows follow lines found step by step and drawn in
    chords, whose points rounding may put elsewhere along them: those are held to 1e-5, and what is left out to a
    quarter of a spacing.
    """
    offsets = expected.pattern in {Pattern.LEFT, Pattern.RIGHT}
    assert lengths(found) == pytest.approx(
        [scale * length for length in lengths(expected)], rel=EXACTLY if offsets else 1e-5, abs=within
    )
    assert sum(piece.line.length for piece in found.dropped) == pytest.approx(
        scale * sum(piece.line.length for piece in expected.dropped),
        rel=1e-3,
        abs=(0.01 if offsets else 0.25) * SPACING * scale,
    )


def placed(found: Laying, expected: list[Point], *, size: float = 1.0) -> None:
    """The ends of the runs lie where those expected do."""
    here = shapely.MultiPoint(ends(found))
    assert max(here.distance(end) for end in expected) < PLACED * SPACING * size


ENDING_AMID_AN_EDGE = Drawn(
    beds.sinuous(
        1.1232717541403716, 45.70555635862709, (9.12619885907577, 11.862026613183335), 90.0, step=2.0
    )
    @ SHEAR,
    (0.0, 0.0),
)
"""Its side ends amid a straight edge, along which its guide is carried on."""
EIGHTY_LONG = Drawn(kidney(80.0, 16.523893742466424, 9.0) @ SHEAR, (40.064250238387174, 8.689941014669262))
"""As long as so many whole steps of a grid."""
ANY_TURN = st.tuples(st.floats(0, 360), st.tuples(st.floats(-5000, 5000), st.floats(-5000, 5000)))


@EXAMPLES
@example(bed=Drawn(beds.ell(40.0, 9.0), (0.0, 35.5)), pattern=Pattern.RIGHT, motion=(90.0, (0.0, 0.0)))
@example(bed=ENDING_AMID_AN_EDGE, pattern=Pattern.RIGHT, motion=(1.5, (3.0, 4113.049732101666)))
@given(bed=drawn_beds(tree=False), pattern=st.sampled_from(OFFSETS), motion=ANY_TURN)
def test_moved_and_turned_bed_has_the_same_runs(
    bed: Drawn, pattern: Pattern, motion: tuple[float, tuple[float, float]]
) -> None:
    turn, by = motion
    _, here = bed.laid_by(pattern)
    _, there = bed.moved(turn=turn, by=by).laid_by(pattern)
    same(there, here)
    points = moved(np.asarray([(end.x, end.y) for end in ends(here)]), turn=turn, by=by)
    placed(there, [Point(xy) for xy in points])


@EXAMPLES
@given(bed=drawn_beds(tree=False), pattern=st.sampled_from(OFFSETS))
def test_mirrored_bed_has_the_runs_from_its_other_side(bed: Drawn, pattern: Pattern) -> None:
    _, here = bed.laid_by(pattern)
    _, there = bed.mirrored().laid_by(SEEN.get(pattern, pattern))
    same(there, here)
    placed(there, [Point(-end.x, end.y) for end in ends(here)])


@EXAMPLES
@given(
    bed=drawn_beds(tree=False), pattern=st.sampled_from([*OFFSETS, Pattern.EVEN]), scale=st.floats(0.25, 4.0)
)
def test_scaled_bed_with_scaled_rules_has_scaled_runs(bed: Drawn, pattern: Pattern, scale: float) -> None:
    _, here = bed.laid_by(pattern)
    _, there = bed.moved(scale=scale).laid_by(pattern, size=scale)
    same(there, here, scale=scale)
    placed(there, [Point(scale * end.x, scale * end.y) for end in ends(here)], size=scale)


@EXAMPLES
@given(bed=drawn_beds(tree=False), pattern=st.sampled_from(OFFSETS), start=st.integers(0, 200))
def test_outline_walked_the_other_way_has_the_same_runs(bed: Drawn, pattern: Pattern, start: int) -> None:
    _, here = bed.laid_by(pattern)
    _, there = bed.walked_from(start).laid_by(pattern)
    same(there, here)
    placed(there, ends(here))


@EXAMPLES
@given(bed=drawn_beds(tree=True), pattern=st.sampled_from([*OFFSETS, Pattern.EVEN]), motion=ANY_TURN)
def test_bed_with_a_tree_has_the_same_runs_elsewhere(
    bed: Drawn, pattern: Pattern, motion: tuple[float, tuple[float, float]]
) -> None:
    """To an eighth of an inch: the chords that a setback's edge is drawn in do not turn with the bed."""
    turn, by = motion
    _, here = bed.laid_by(pattern)
    _, there = bed.moved(turn=turn, by=by).laid_by(pattern)
    same(there, here, within=0.01)


@EXAMPLES
@example(bed=EIGHTY_LONG, motion=(0.0, (2012.4289072302045, -2986.210810909415)), start=0)
@given(bed=drawn_beds(tree=False), motion=ANY_TURN, start=st.integers(0, 200))
def test_even_rows_move_with_their_bed(
    bed: Drawn, motion: tuple[float, tuple[float, float]], start: int
) -> None:
    turn, by = motion
    _, here = bed.laid_by(Pattern.EVEN)
    _, there = bed.walked_from(start).moved(turn=turn, by=by).laid_by(Pattern.EVEN)
    same(there, here)


@EXAMPLES
@given(bed=drawn_beds(tree=False))
def test_even_rows_are_seen_in_a_mirror(bed: Drawn) -> None:
    _, here = bed.laid_by(Pattern.EVEN)
    _, there = bed.mirrored().laid_by(Pattern.EVEN)
    same(there, here)


# --- less ground ---------------------------------------------------------------------------------------

GENTLE = st.one_of(
    st.builds(
        lambda length, near, far, lean: np.array(
            [[0, near], [length, far], [length + lean, 0], [lean / 3, 0]]
        ),
        st.floats(30.0, 80.0),
        WIDTHS,
        WIDTHS,
        st.floats(-6.0, 6.0),
    ),
    st.builds(
        lambda radius, width, sweep: beds.annular(radius, radius + width, sweep, step=3.0),
        st.floats(10.0, 40.0),
        WIDTHS,
        st.floats(50.0, 110.0),
    ),
    st.builds(
        lambda amplitude, wavelength, width: beds.sinuous(
            amplitude, wavelength, (width, width + 1.0), 90.0, step=2.0
        ),
        st.floats(0.5, 3.0),
        st.floats(60.0, 120.0),
        WIDTHS,
    ),
)
"""Beds whose sides turn by less than 2 rad between any two of their points.

A row moved away from its side by d grows by d times its turning at most, and loses 2 d at its ends, where the
clearance grew as well. A side that turns further can gain: rows round a horseshoe are longer the farther out."""


@EXAMPLES
@given(outline=GENTLE, more=st.floats(0.02, 2.0), pattern=st.sampled_from([Pattern.LEFT, Pattern.RIGHT]))
def test_more_clearance_never_gives_more_tubing(outline: Array, more: float, pattern: Pattern) -> None:
    assume(Polygon(outline).is_valid and not Polygon(outline).buffer(-1.5 - more).is_empty)
    little, much = (
        sum(field(outline, clearance=clearance, bend_radius=1.0, shortest=3.0).lengths(pattern))
        for clearance in (1.0, 1.0 + more)
    )
    assert much <= little * (1 + EXACTLY)


@EXAMPLES
@given(bed=drawn_beds(tree=True), pattern=st.sampled_from([*OFFSETS, Pattern.EVEN]))
def test_setback_never_has_tubing_in_it(bed: Drawn, pattern: Pattern) -> None:
    assert bed.tree is not None
    x, y, setback = bed.tree
    _, laying = bed.laid_by(pattern)
    for line in (*(run.line for run in laying.runs), *(join.line for join in laying.carries)):
        assert line.distance(Point(x, y)) >= setback - 1e-9
    assert laying.runs
    assert all(math.isfinite(length) for length in lengths(laying))
