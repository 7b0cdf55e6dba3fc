"""Zones: neighbouring laterals that are dosed together, divided so that all have nearly the same flow."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from layout.errors import Fault, NoRoomError
from layout.model import Check, EmitterRow, Lateral, Run, Site, Zone

INFORMATION = "shown for information, no limit stated"
FIT = 1e-9
"""What rounding may take from a stated flow, as a share of it."""


def make_zones(
    site: Site, laterals: Sequence[Lateral], runs: Sequence[Run], emitters: Sequence[EmitterRow]
) -> tuple[tuple[Lateral, ...], tuple[Zone, ...]]:
    """Divide a field into zones.

    Parameters
    ----------
    site : Site
        With `zones`, how many or of how much flow; without, all is one zone.
    laterals : sequence of Lateral
        From left to right; neighbours stay together.
    runs : sequence of Run
    emitters : sequence of EmitterRow
        Of all runs.

    Returns
    -------
    laterals : tuple of Lateral
        The same, each with its zone.
    zones : tuple of Zone
        From left to right.

    Raises
    ------
    NoRoomError
        More zones are asked for than there are laterals.
    """
    rows = {row.run: row for row in emitters}
    lengths = {run.name: run.length for run in runs}
    counts = [sum(rows[name].count for name in lateral.runs) for lateral in laterals]
    sizes: tuple[int, ...] = (len(laterals),)
    rules = site.zones
    if rules is not None and rules.count is not None:
        if rules.count > len(laterals):
            raise NoRoomError(_too_many(site, rules.count, len(laterals)))
        sizes = even_zones(counts, rules.count)
    elif rules is not None and rules.most_flow is not None:
        most = math.floor(rules.most_flow * (1 + FIT) / site.tubing.emitter_flow)
        sizes = even_zones(counts, fewest_zones(counts, most), most=most)
    zoned: list[Lateral] = []
    zones = []
    for number, size in enumerate(sizes, start=1):
        mine = [replace(lateral, zone=number) for lateral in laterals[len(zoned) : len(zoned) + size]]
        names = [name for lateral in mine for name in lateral.runs]
        zones.append(
            Zone(
                number=number,
                laterals=tuple(lateral.name for lateral in mine),
                runs=tuple(names),
                tubing=math.fsum(lengths[name] for name in names),
                emitters=sum(rows[name].count for name in names),
                flow=math.fsum(rows[name].flow for name in names),
            )
        )
        zoned += mine
    return tuple(zoned), tuple(zones)


def _too_many(site: Site, wanted: int, found: int) -> Fault:
    return Fault(
        file=str(site.file),
        field="zones.count",
        said=f"{wanted} zones are asked for, but the field has {found} lateral{'s' if found > 1 else ''}",
        remedy=f"Ask for {found} at most, or make laterals.longest or laterals.runs smaller.",
    )


def fewest_zones(counts: Sequence[int], most: int) -> int:
    """How few zones of neighbours there can be, none of more than `most`; one that alone has more stands alone.

    Examples
    --------
    >>> fewest_zones([4, 4, 4, 4], 9)
    2
    >>> fewest_zones([4, 20, 4, 4], 9)
    3
    """
    zones, total = 0, math.inf
    for count in counts:
        total += count
        if total > most:
            zones, total = zones + 1, count
    return zones


def even_zones(counts: Sequence[int], zones: int, *, most: int | None = None) -> tuple[int, ...]:
    """Divide neighbours into a number of zones as evenly as can be, exactly.

    The measure: first the least greatest zone, since the pump has to serve it; then the least sum of squares,
    which is the least variance. The first is found by halving, with :func:`fewest_zones` as the test, the second by
    dynamic programming over the end of the last zone and their number.

    Parameters
    ----------
    counts : sequence of int
        Emitters of each lateral, from left to right.
    zones : int
        Not more than laterals.
    most : int, optional
        What no zone may go beyond, but one of a single lateral.

    Returns
    -------
    tuple of int
        Number of laterals to each zone, from left to right.

    Examples
    --------
    >>> even_zones([5, 5, 5, 5, 5, 5], 3)
    (2, 2, 2)
    >>> even_zones([9, 1, 1, 1, 1, 1], 2)
    (1, 5)
    """
    low = max((count for count in counts if most is None or count <= most), default=0)
    high = sum(counts) if most is None else max(most, low)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if fewest_zones(counts, middle) <= zones else (middle + 1, high)
    return _evenest(counts, zones, low)


def _evenest(counts: Sequence[int], zones: int, most: int) -> tuple[int, ...]:
    """Divide neighbours into zones of at most `most` with the least sum of squares; the first ones smaller if equal."""
    ends: NDArray[np.int64] = np.concatenate(([0], np.cumsum(np.asarray(counts, dtype=np.int64))))
    never = np.iinfo(np.int64).max // 4
    best: NDArray[np.int64] = np.full(len(ends), never)
    best[0] = 0
    starts = []
    for _ in range(zones):
        following, start = np.full_like(best, never), np.zeros_like(best)
        for end in range(1, len(ends)):
            totals = ends[end] - ends[:end]
            allowed = totals <= most
            allowed[-1] = True  # one lateral alone
            sums = np.where(allowed & (best[:end] < never), best[:end] + totals**2, never)
            start[end] = int(np.argmin(sums))
            following[end] = sums[start[end]]
        starts.append(start)
        best = following
    cuts = [len(counts)]
    for start in reversed(starts):
        cuts.append(int(start[cuts[-1]]))
    return tuple(end - begin for begin, end in itertools.pairwise(reversed(cuts)))


def evenness_checks(site: Site, laterals: Sequence[Lateral], zones: Sequence[Zone]) -> Iterator[Check]:
    """How even laterals and zones are, and whether a zone has more flow than the site states.

    Parameters
    ----------
    site : Site
    laterals : sequence of Lateral
    zones : sequence of Zone
    """
    lengths = [lateral.whole for lateral in laterals]
    yield _information("longest lateral over the shortest, with loops and leads", max(lengths) / min(lengths))
    if len(zones) > 1:
        flows = [zone.flow for zone in zones]
        yield _information(
            "greatest flow of a zone over the least", max(flows) / max(min(flows), FIT * max(flows))
        )
    if site.zones is None or site.zones.most_flow is None:
        return
    limit = site.zones.most_flow
    over = [zone for zone in zones if zone.flow > limit * (1 + FIT)]
    yield Check(
        name="greatest flow of a zone",
        value=max(zone.flow for zone in zones),
        limit=limit,
        unit="flow",
        sense="most",
        ok=not over,
        source="zones.most_flow",
        place=", ".join(f"{zone.name}, lateral {' '.join(zone.laterals)} alone" for zone in over),
    )


def _information(name: str, value: float) -> Check:
    return Check(
        name=name, value=value, limit=math.inf, unit="factor", sense="most", ok=True, source=INFORMATION
    )
