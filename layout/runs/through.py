"""Leading water through the necks of a bed, from the farthest lobe on.

Rows that pass a neck keep their emitters there. Beside them as many lines as fit are led along its walls: a spacing
apart, with emitters, or where more are wanted, of blank tubing closer together. Rows beyond a neck that neither passes
by itself are tied end to end into chains.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from layout.model import Bed, Laying, Lobe, Pattern, RunRules, Sides, Tubing, UsableGround
from layout.runs.bundle import lead
from layout.runs.leading import MOST_BLANK
from layout.runs.led import Led, head_of
from layout.runs.loops import Loops
from layout.runs.neck import NEAR_ENOUGH, Found, Neck
from layout.runs.rings import RING_STEP
from layout.runs.trim import Ground
from layout.runs.windings import Chain, Known, best_chains

MOST_CHOICES = 3
"""Necks up to which all choices between emitters in a neck and room for more lines are tried."""
MOST_BARRED, MOST_TRIED = 3, 7
"""Rows beyond a neck to which blank tubing is given up before one line less is led through it; and how many ways to
lead lines along its walls are tried in all, before none is led."""


def lead_through(led: Led, lobes: Sequence[Lobe], ground: Ground, *, longest: float) -> Led:
    """Feed the lobes beyond necks, from the farthest on.

    Parameters
    ----------
    led : Led
        As rows were laid, with what carries them past obstacles.
    lobes : sequence of Lobe
        In the axes of `ground`.
    ground : Ground
    longest : float
        Greatest length of a lateral [m].

    Returns
    -------
    Led
        Runs with their lobes; shorter than before where blank tubing takes their place.
    """
    shapes = [lobe.outline for lobe in lobes]
    led = led.copy()
    for name, run in led.runs.items():
        away = shapely.distance(np.asarray(shapes, dtype=object), Point(run.line.coords[0]))
        number = int(np.argmin(away))
        # of a bed without a long direction any edge is taken for a manifold end, but only the first lobe has one
        led.runs[name] = replace(run, lobe=number, from_end=run.from_end and number == 0)
    found: list[tuple[float, float, int, Led]] = []
    feeding = _Feeding(lobes, ground, longest)
    for eager in _choices(len(lobes) - 1):
        tried = led
        for number in range(len(lobes) - 1, 0, -1):
            tried = feeding.fed(tried, number, eager=eager[number - 1])
        if any(tried is other for *_, other in found):
            continue
        settled = _settled(tried.copy())
        dry = math.fsum(settled.length((name,)) for name in settled.runs.keys() - settled.reached())
        emitting = math.fsum(run.length for run in settled.runs.values())
        found.append((round(dry, 3), -round(emitting, 3), len(found), tried))
        if dry <= 0:
            break
    return _settled(min(found, key=lambda option: option[:3])[3].copy())


def _choices(necks: int) -> list[tuple[bool, ...]]:
    """For each neck, whether as many emitting lines as fit are led through it at once; all, then fewer, then none."""
    if necks > MOST_CHOICES:
        return [(True,) * necks, (False,) * necks]
    return sorted(itertools.product((True, False), repeat=necks), key=lambda eager: -sum(eager))


def _settled(led: Led) -> Led:
    """Lines with water told apart from those without, and windings only of those with."""
    fed = {line[0] for line in led.lines() if led.runs[line[0]].from_end}
    for line in led.lines():
        for name in line:
            led.runs[name] = replace(led.runs[name], from_end=line[0] in fed)
    led.windings = [winding for winding in led.windings if winding[0] in fed]
    return led


class _Feeding:
    """Lobes fed neck by neck, each neck once for all choices at others that leave its lines alike."""

    def __init__(self, lobes: Sequence[Lobe], ground: Ground, longest: float) -> None:
        self.lobes, self.ground, self.longest = lobes, ground, longest
        self.found, self.loops = Found(), Loops(ground)
        self._necks: dict[tuple[int, int], Neck] = {}
        self._kept: list[Led] = []  # what is known by its id
        self._chains: dict[tuple[int, int, bool], tuple[Led, int]] = {}

    def fed(self, led: Led, number: int, *, eager: bool) -> Led:
        """The lines with as many of one lobe fed as can be; eager, with emitters in the neck first of all."""
        key = (id(led), number)
        if key not in self._necks:
            self._necks[key] = Neck(led.copy(), self.lobes, number, self.ground, self.found, self.loops)
            self._kept.append(led)
        neck = self._necks[key]
        if not neck.far:
            return neck.led
        if eager:
            other, dry = self._chained(key, eager=True)
            if not dry:
                return other
        plain, drier = self._chained(key, eager=False)
        return other if eager and dry <= drier < len(neck.far) else plain

    def _chained(self, key: tuple[int, int], *, eager: bool) -> tuple[Led, int]:
        """As :func:`_chained`."""
        if (*key, eager) not in self._chains:
            neck = self._necks[key]
            pitch = self.ground.spacing * (1.0 if eager else RING_STEP)
            self._chains[*key, eager] = _chained(neck, neck.room(pitch), self.longest, eager=eager)
        return self._chains[*key, eager]


def _chained(neck: Neck, room: tuple[int, int], longest: float, *, eager: bool) -> tuple[Led, int]:
    """Lines in the best chains that can be laid, and how many stay without water.

    Where lines along a wall cannot be laid, they are tried close together, then to other rows, and then one less; where
    blank tubing bars a loop, without that.
    """
    left, right = room
    most_blank = 1.0 if eager else MOST_BLANK  # in the neck itself such lines have emitters
    strands = list(neck.strands)
    known: Known = {}
    barred_rows = tried = 0
    while True:
        chains = best_chains(
            tuple(strands),
            room=(left, right),
            longest=longest,
            most_blank=most_blank,
            eager=eager,
            known=known,
        )
        carried = {hand: neck.carried(chains, hand) for hand in (-1, 1)}
        wide = neck.pitch(len(carried[-1]), len(carried[1]))
        close = dict.fromkeys((-1, 1), RING_STEP * neck.ground.spacing)
        # along a wall with one line how close makes no difference
        for pitch in (wide, close) if max(map(len, carried.values())) > 1 else (wide,):
            led = neck.led.copy()
            failed = [hand for hand in (-1, 1) if not lead(led, neck, carried[hand], hand, pitch[hand])]
            if not failed:
                break
        else:
            # not to the outermost row, and where that does not help either one line less, where there are most
            hand = max(failed, key=lambda hand: (len(carried[hand]), hand))
            tried += 1
            if barred_rows < MOST_BARRED:
                barred_rows += 1
                outermost = carried[hand][0]
                strands[outermost] = replace(strands[outermost], blank=math.inf)
                continue
            left = len(carried[-1]) - (hand < 0)
            right = len(carried[1]) - (hand > 0)
            if tried >= MOST_TRIED:
                left = right = 0
            continue
        barred = _barred_loop(led, neck, chains)
        if barred is None:
            break
        strands[barred] = replace(strands[barred], inner=False)
    _wind(led, neck, chains)
    return led, len(neck.far) - sum(len(chain.strands) for chain in chains)


def _barred_loop(led: Led, neck: Neck, chains: Sequence[Chain]) -> int | None:
    """The left one of two strands whose loop by the neck would come too near to blank tubing; None where none would."""
    tree = shapely.STRtree([join.line for join in led.carries])
    least = NEAR_ENOUGH * RING_STEP * neck.ground.spacing
    for chain in chains:
        for here, there in zip(chain.strands[1:-1:2], chain.strands[2::2], strict=False):
            ends = [led.runs[neck.far[k][0]].line.coords[0] for k in (here, there)]
            if len(tree.query(LineString(ends), predicate="dwithin", distance=least)):
                return min(here, there)
    return None


def _wind(led: Led, neck: Neck, chains: Sequence[Chain]) -> None:
    """Write chains down as windings; what leads on into further lobes is put in where it belongs."""
    inward = {line[0] for line in neck.through}
    for chain in chains:
        if all(neck.far[k][0] in inward for k in chain.strands):
            continue  # these are joined as any neighbours are
        names: list[str] = []
        for k in chain.strands:
            name = neck.far[k][0]
            if name in names:
                continue
            inner = next((winding for winding in led.windings if name in (winding[0], winding[-1])), None)
            if inner is None:
                names.append(name)
            else:
                led.windings.remove(inner)
                names += inner if inner[0] == name else inner[::-1]
        if len(names) > 1:
            led.windings.append(tuple(names))
    back = {join.end: join.start for join in led.carries}
    led.windings = [tuple(head_of(name, back) for name in winding) for winding in led.windings]


def feed_lobes(
    laying: Laying,
    lobes: Sequence[Lobe],
    bed: Bed,
    ground: UsableGround,
    sides: Sides,
    rules: RunRules,
    tubing: Tubing,
    *,
    longest: float,
) -> Laying:
    """Lead water to the runs beyond the necks of a bed.

    Parameters
    ----------
    laying : Laying
        As :func:`layout.runs.lay_runs` gives it.
    lobes : sequence of Lobe
        None for a bed without necks, which stays as it is.
    bed, ground, sides, rules, tubing
        What it was laid by.
    longest : float
        Greatest length of a lateral [m].

    Returns
    -------
    Laying
        With blank tubing through necks among the carries, and windings; its runs are named anew.
    """
    if not lobes or not laying.runs:
        return laying
    cut = Ground(
        outline=Polygon(bed.outline.exterior),
        sides=sides,
        clearance=bed.clearance,
        spacing=rules.spacing,
        closest=rules.closest if laying.pattern is Pattern.EVEN else rules.spacing,
        radius=tubing.bend_radius,
        shortest=rules.shortest,
        kept_clear=ground.kept_clear,
    )
    led = Led({run.name: run for run in laying.runs}, list(laying.carries))
    led = lead_through(led, lobes, cut, longest=longest)
    named = {name: f"R{number}" for number, name in enumerate(led.runs, start=1)}
    place = {name: number for number, name in enumerate(named.values())}
    carries = [replace(join, start=named[join.start], end=named[join.end]) for join in led.carries]
    windings = [tuple(named[name] for name in winding) for winding in led.windings]
    return Laying(
        pattern=laying.pattern,
        runs=tuple(replace(run, name=named[run.name]) for run in led.runs.values()),
        dropped=(*laying.dropped, *led.dropped),
        carries=tuple(sorted(carries, key=lambda join: place[join.start])),
        lobes=tuple(lobes),
        windings=tuple(sorted(windings, key=lambda winding: place[winding[0]])),
    )
