"""The paths that windings make, parted where they are longer than a lateral may be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from shapely import LineString

from layout.laterals.paths import Path, Plot, goes_on


def wound(plot: Plot, windings: Sequence[Sequence[str]], *, longest: float) -> Iterator[Path]:
    """The paths that windings make, each as far as loops can be laid, and none of two lines over `longest`.

    Parameters
    ----------
    plot : Plot
    windings : sequence of sequence of str
        As of :class:`layout.model.Laying`.
    longest : float
        [m].
    """
    number = {line.runs[0].name: n for n, line in enumerate(plot.lines)}
    for winding in windings:
        steps: list[Path] = []
        loops: list[LineString] = []
        outward = True
        for place, name in enumerate(winding):
            line = number[name]
            if place and not goes_on(plot.lines[number[winding[place - 1]]], plot.lines[line]):
                outward = not outward
            step = Path(steps=((line, outward),), length=plot.lines[line].length)
            loop = plot.loop(steps[-1], step) if steps else None
            if steps and loop is None:
                break
            steps.append(step)
            loops += [] if loop is None else [loop]
        if steps:
            yield from parted(plot, steps, loops, longest=longest)


def parted(plot: Plot, steps: Sequence[Path], loops: Sequence[LineString], *, longest: float) -> list[Path]:
    """Part what loops tie end to end into paths no longer than a lateral may be.

    Of all ways to do that, those come first that leave fewest paths without a gate, for each of these wants a
    manifold of its own; then those that part at fewest places inside the bed, from which a manifold is farther
    than from the far end; then fewest paths; then the most even, of least sum of squared lengths. Found exactly, by
    dynamic programming over the end of the last path.

    Parameters
    ----------
    plot : Plot
    steps : sequence of Path
        Of one line each, in the order of flow.
    loops : sequence of LineString
        Between each and the next, one fewer [m].
    longest : float
        [m]; a single line that is longer stays alone.
    """
    best: list[tuple[tuple[float, ...], list[Path]]] = [((0, 0, 0, 0.0), [])]
    for end in range(1, len(steps) + 1):
        found = []
        for first in range(end):
            path = steps[first]
            for loop, step in zip(loops[first : end - 1], steps[first + 1 : end], strict=True):
                path = path.then(loop, step)
            if end - first > 1 and path.length > longest:
                continue
            cost = (
                not plot.gates(path),
                end < len(steps) and _inside(plot, steps[end - 1], steps[end]),
                1,
                round(path.length**2, 6),
            )
            before, paths = best[first]
            found.append((tuple(a + b for a, b in zip(before, cost, strict=True)), [*paths, path]))
        best.append(min(found, key=lambda option: option[0]))
    return best[-1][1]


def _inside(plot: Plot, before: Path, after: Path) -> bool:
    """Whether one line ends, and the next begins, at an obstacle or a neck rather than at the far end."""
    (line, outward), (other, _) = before.steps[0], after.steps[0]
    return not outward or goes_on(plot.lines[line], plot.lines[other])
