"""Manifolds that lie together and are drawn in one picture, with the risers that stand on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapely import LineString, Point

from layout.model import XY, Design, Pipe, Riser

TOGETHER = 4.0
"""Manifolds of one zone no farther apart than so many of their offsets are drawn in one picture."""
ON = 0.02
"""A fitting this near to a pipe is on it [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Manifolds of one zone that lie together.

    Attributes
    ----------
    zone : int
    pipes : tuple of Pipe
    risers : tuple of Riser
        That stand on them.
    """

    zone: int
    pipes: tuple[Pipe, ...]
    risers: tuple[Riser, ...]

    @property
    def shapes(self) -> list[LineString]:
        """The lines of all of them, leads only as far as they come out beside the manifold [m]."""
        risers = (LineString(riser.line.coords[:2]) for riser in self.risers)
        return [*(pipe.line for pipe in self.pipes), *risers]

    @property
    def name(self) -> str:
        """What is drawn: ``supply and return manifold``."""
        kinds = [kind for kind in ("supply", "return") if any(pipe.kind == kind for pipe in self.pipes)]
        several = len(self.pipes) > len(kinds)
        return f"{' and '.join(kinds)} manifold{'s' if several else ''}"


def places(design: Design) -> list[Place]:
    """Find what there is to draw: by zone, manifolds that lie together."""
    found: list[Place] = []
    pipes = design.plumbing.manifolds
    for zone in sorted({pipe.zone for pipe in pipes}):
        groups: list[list[Pipe]] = []
        for pipe in (pipe for pipe in pipes if pipe.zone == zone):
            near = [group for group in groups if _beside(pipe, group, design)]
            groups = [group for group in groups if group not in near]
            groups.append([*(other for group in near for other in group), pipe])
        for group in groups:
            risers = tuple(
                riser
                for riser in design.plumbing.risers
                if riser.zone == zone and own_pipe(riser, design) in group
            )
            found.append(Place(zone=zone, pipes=tuple(group), risers=risers))
    return found


def _beside(pipe: Pipe, group: Sequence[Pipe], design: Design) -> bool:
    reach = TOGETHER * design.site.manifold.offset
    return any(pipe.line.distance(other.line) <= reach for other in group)


def own_pipe(riser: Riser, design: Design) -> Pipe:
    """Find the manifold that a riser stands on."""
    pipes = design.plumbing.manifolds
    if riser.manifold is not None:
        return pipes[riser.manifold]
    foot = Point(riser.line.coords[0])
    own = [pipe for pipe in pipes if (pipe.kind, pipe.zone) == (riser.kind, riser.zone)]
    return min(own or pipes, key=lambda pipe: float(pipe.line.distance(foot)))


def ends(riser: Riser) -> tuple[XY, XY]:
    """Find the foot of a riser on its manifold, and its tip at the tubing [m]."""
    (x, y), (to_x, to_y) = riser.line.coords[0][:2], riser.line.coords[-1][:2]
    return (float(x), float(y)), (float(to_x), float(to_y))
