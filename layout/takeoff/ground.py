"""What is counted on the ground and in it: staples, paint, stakes, trenches, and fill that is brought in."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from layout.model import Join, Part, Plumbing, Run, Site, Stake
from layout.takeoff.adding import Count
from layout.takeoff.items import PAINT


def marks_and_staples(
    site: Site,
    runs: Sequence[Run],
    joins: Sequence[Join],
    plumbing: Plumbing,
    stakes: Sequence[Stake],
    count: Count,
) -> Iterator[Part]:
    """Count what holds tubing down and what marks it."""
    rules, units = site.takeoff, site.frame.units
    lines = [(count.zone(run.name), run.line) for run in runs]
    lines += [(count.zone(join.start), join.line) for join in joins]
    if rules.staple_interval is not None:
        every = rules.staple_interval
        yield replace(
            count.each(
                "staple",
                f"Staple, every {every / units.length:g} {units.length_name} of tubing",
                ((zone, math.ceil(line.length / every - 1e-9) + 1.0) for zone, line in lines),
            ),
            pack=float(rules.staple_box) if rules.staple_box > 1 else 0.0,
            sold="box" if rules.staple_box > 1 else "",
        )
    can = rules.paint or PAINT[units.word == "m"]
    marked = [line.length for _, line in lines] + [trench.line.length for trench in plumbing.trenches]
    yield Part(
        item="marking paint",
        description=f"Marking paint, a can to {can / units.length:g} {units.length_name} of run, loop and pipe trench",
        unit="each",
        net=math.fsum(marked) / can,
        pack=1.0,
        sold="can",
    )
    yield count.each(
        "stake", "Stake along the runs", ((count.zone(stake.run), 1.0) for stake in stakes if stake.run)
    )
    yield Part(
        item="other stake",
        description="Stake round the bed, at pipes, valves, blank tubing and ends of a baseline",
        unit="each",
        net=float(sum(not stake.run for stake in stakes)),
    )


def trenches(runs: Sequence[Run], joins: Sequence[Join], plumbing: Plumbing, count: Count) -> Iterator[Part]:
    """Measure trenches, each once for all pipes in it."""
    tubing = [(count.zone(run.name), run.line) for run in runs]
    tubing += [(count.zone(join.start), join.line) for join in joins]
    tubing += [(riser.zone, riser.line) for riser in plumbing.risers]
    yield count.length("tubing trench", "Trench or slot for runs, loops, blank tubing and risers", tubing)
    yield count.length(
        "manifold trench",
        "Trench for manifolds, one for pipes side by side",
        ((trench.zone, trench.line) for trench in plumbing.trenches if trench.zone),
    )
    yield Part(
        item="line trench",
        description="Trench for lines to the pump, one for pipes side by side",
        unit="length",
        net=math.fsum(trench.line.length for trench in plumbing.trenches if not trench.zone),
    )


def fill(site: Site, plumbing: Plumbing) -> Iterator[Part]:
    """Measure what is brought in, in place: what it settles belongs to the waste."""
    rules, units = site.takeoff, site.frame.units
    length = math.fsum(trench.line.length for trench in plumbing.trenches)

    def said(value: float) -> str:
        return f"{value / units.length:g} {units.length_name}"

    if rules.sand_depth is not None and rules.trench_width is not None:
        yield Part(
            item="sand",
            description=f"Sand in pipe trenches, {said(rules.trench_width)} wide, {said(rules.sand_depth)} deep",
            unit="volume",
            net=length * rules.trench_width * rules.sand_depth,
        )
    if rules.cover_depth is not None:
        area = site.bed.outline.area
        ground = f"{area / units.area:.2f} sq {units.length_name}"
        yield Part(
            item="cover",
            description=f"Fill over {ground} of bed, {said(rules.cover_depth)} deep",
            unit="volume",
            net=area * rules.cover_depth,
        )
