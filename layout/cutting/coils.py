"""Runs cut from coils: every run in one piece where a coil is long enough, from the fewest coils."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from layout.cutting.packing import pack
from layout.model import Coil, Cut, CutList, Run, Splice, Tubing, xy

STEP = 1e-3
"""What is taken off a coil counts in whole steps of this, rounded up [m]."""


def cut_coils(runs: Sequence[Run], tubing: Tubing, *, waste: float) -> CutList:
    """Cut runs from coils.

    Each piece takes its length with the waste off the coil; one that fits a coil only without takes a whole coil. A
    run longer than a coil is spliced in the fewest places, midway between two emitters, its first pieces as long as a
    coil gives: since those coils hold nothing else, no other choice of the places saves a coil.

    First the number of coils is the least; then the remainder of one coil the longest. Coils are pulled in the order of
    their first run, the one with the longest remainder last, and the runs of a coil in their own order.

    Parameters
    ----------
    runs : sequence of Run
        In the order of the bed.
    tubing : Tubing
    waste : float
        Share added to every piece.
    """
    pieces = [piece for run in runs for piece in _pieces(run, tubing, waste)]
    capacity = math.floor(tubing.coil / STEP + 1e-6)
    sizes = [min(capacity, math.ceil(piece.taken / STEP - 1e-6)) for piece in pieces]
    packing = pack(sizes, capacity)
    bins = [sorted(items) for items in packing.bins]
    if len(bins) > 1:
        bins = [*sorted(bins[:-1]), bins[-1]]
    return CutList(
        length=tubing.coil,
        waste=waste,
        coils=tuple(
            Coil(
                number=number,
                cuts=tuple(pieces[item] for item in items),
                left=max(0.0, tubing.coil - math.fsum(pieces[item].taken for item in items)),
            )
            for number, items in enumerate(bins, start=1)
        ),
        splices=tuple(_splices(runs, pieces)),
        bound=packing.bound,
        fewest=packing.certain,
        longest=packing.roomiest,
    )


def _pieces(run: Run, tubing: Tubing, waste: float) -> list[Cut]:
    """A run in one piece, or in the fewest that coils allow."""
    coil, length = tubing.coil, run.length
    count = max(1, math.ceil(length / coil - 1e-9))
    ends = [0.0, *_places(length, count, tubing, waste), length]
    return [
        Cut(
            run=run.name,
            start=start,
            # the last takes what is left, so that the pieces add up to the run
            length=end - start,
            taken=min(coil, (end - start) * (1.0 + waste)),
            number=number,
            of=count,
        )
        for number, (start, end) in enumerate(itertools.pairwise(ends), start=1)
    ]


def _places(length: float, count: int, tubing: Tubing, waste: float) -> list[float]:
    """Where a run is spliced: as far along as a coil with its waste reaches.

    Where that would take more pieces, they are all alike.
    """
    coil, step = tubing.coil, tubing.emitter_spacing
    for each in (coil / (1.0 + waste), length / count):
        whole = math.floor(each / step + 1e-9) * step
        for reach in (whole, each):
            # the first emitter sits half its spacing from the end, so whole spacings lie midway between two
            if reach > 0 and length - (count - 1) * reach <= coil * (1.0 + 1e-12):
                return [reach * number for number in range(1, count)]
    return [length / count * number for number in range(1, count)]


def _splices(runs: Sequence[Run], pieces: Sequence[Cut]) -> list[Splice]:
    lines = {run.name: run.line for run in runs}
    return [
        Splice(run=piece.run, station=piece.start, at=xy(lines[piece.run].interpolate(piece.start)))
        for piece in pieces
        if piece.number > 1
    ]
