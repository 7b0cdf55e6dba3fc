"""Adds up the parts of a takeoff, zone by zone, and says sizes in its words."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from shapely import LineString

from layout.model import FittingKind, Part, Plumbing, Site
from layout.units import UnitSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """Adds up by zone."""

    zones: int
    zone_of: dict[str, int]

    def zone(self, run: str) -> int:
        """The zone of a run."""
        return self.zone_of.get(run, 1)

    def shares(self, pieces: Iterable[tuple[int, float]]) -> tuple[float, ...]:
        """Add up pieces, each with its zone: a share of lengths [m] or of pieces [1] for each.

        Nothing by zone where zones share some, which have zone 0.
        """
        pieces = list(pieces)
        if any(not zone for zone, _ in pieces):
            return ()
        found: list[list[float]] = [[] for _ in range(self.zones)]
        for zone, size in pieces:
            found[zone - 1].append(size)
        return tuple(math.fsum(sizes) for sizes in found)

    def each(self, item: str, description: str, pieces: Iterable[tuple[int, float]]) -> Part:
        """A part that is counted, of pieces [1] with their zones."""
        pieces = list(pieces)
        net = math.fsum(size for _, size in pieces)
        return Part(item=item, description=description, unit="each", net=net, by_zone=self.shares(pieces))

    def length(
        self,
        item: str,
        description: str,
        lines: Iterable[tuple[int, LineString]],
        *,
        pack: float = 0.0,
        sold: str = "",
        least: int = 0,
    ) -> Part:
        """A part that is measured, of lines [m] with their zones."""
        known = [(zone, float(line.length)) for zone, line in lines]
        return Part(
            item=item,
            description=description,
            unit="length",
            net=math.fsum(length for _, length in known),
            pack=pack,
            sold=sold,
            least=least,
            by_zone=self.shares(known),
        )


def pieces_of(
    plumbing: Plumbing, kind: FittingKind, *, on: str = "", size: float | None = None
) -> Iterator[tuple[int, float]]:
    """Give the zone of each fitting of a kind, to be counted as one: of all pipes and sizes [m], or of one."""
    for fitting in plumbing.fittings:
        if fitting.kind == kind and on in {"", fitting.on} and size in {None, fitting.size}:
            yield fitting.zone, 1.0


def bore_of(site: Site, before: str) -> str:
    """The bore of the tubing [m] in words, where it is stated, after others."""
    bore = site.tubing.inside_diameter
    return "" if bore is None else f"{before}{size_of(bore, site.frame.units)} bore"


def size_of(diameter: float, units: UnitSet) -> str:
    """A diameter [m] in words."""
    return f"{diameter / units.diameter:.4g} {units.diameter_name}"
