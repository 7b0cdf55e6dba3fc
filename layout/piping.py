"""From the runs of a trial to all that carries water to them: laterals, zones, manifolds, lines, fittings."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

from shapely import Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from layout.emitters import place_emitters
from layout.errors import Fault, NoRoomError
from layout.fittings import place_fittings
from layout.laterals import join_runs
from layout.model import (
    EmitterRow,
    Join,
    Lateral,
    LateralRules,
    Plumbing,
    Site,
    Trial,
    UsableGround,
    Zone,
    ZoneLevels,
)
from layout.plane import TOLERANCE
from layout.reaching import reached
from layout.routes.elbows import elbows_along
from layout.terrain import air_places, zone_levels
from layout.zones import make_zones

WORTH = 0.05
"""Share of all pipe, trench and blank tubing that leads back through the bed have to save (judgement of this tool)."""


Joined = tuple[tuple[Lateral, ...], tuple[Join, ...]]
"""The laterals that runs are joined into, and what joins them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piped:
    """What a trial becomes.

    Attributes
    ----------
    laterals : tuple of Lateral
    joins : tuple of Join
    emitters : tuple of EmitterRow
    zones : tuple of Zone
    plumbing : Plumbing
    levels : tuple of ZoneLevels
    """

    laterals: tuple[Lateral, ...]
    joins: tuple[Join, ...]
    emitters: tuple[EmitterRow, ...]
    zones: tuple[Zone, ...]
    plumbing: Plumbing
    levels: tuple[ZoneLevels, ...]


def pipe_trial(site: Site, ground: UsableGround, trial: Trial) -> Piped:
    """Join the runs of a trial into laterals and zones, and lay manifolds, lines and fittings.

    No lateral of several runs is longer than `laterals.longest`, unless no line reaches some of its runs by themselves:
    where only a neighbour can feed them, they are tied to it all the same, and a check fails.

    Laterals that end elsewhere than at the manifold end have a return manifold there, with a line to the pump, unless
    blank tubing that leads back through the bed takes less: of pipe, trench and blank tubing all together a twentieth
    less at least. With it they too are within `longest`.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    trial : Trial

    Raises
    ------
    NoRoomError
        Where more zones are asked for than there are laterals, or no run has an emitter.
    """
    joined, stranded = _joined(site, ground, trial), frozenset[str]()
    made = _piped(site, ground, trial, joined)
    dry = frozenset(
        name for item in made.laterals if item.name not in made.plumbing.fed for name in item.runs
    )
    anew = _joined(site, ground, trial, stranded=dry) if dry else joined
    if anew != joined:
        # Where it leaves fewer laterals than zones are asked for, that is no way.
        with contextlib.suppress(NoRoomError):
            tied = _piped(site, ground, trial, anew)
            if _fed(tied) > _fed(made) + TOLERANCE:
                made, joined, stranded = tied, anew, dry
    made, joined = _shortened(site, ground, trial, made, joined, stranded)
    return _led_back(site, ground, trial, made, joined, stranded)


def _shortened(
    site: Site, ground: UsableGround, trial: Trial, made: Piped, joined: Joined, stranded: Collection[str]
) -> tuple[Piped, Joined]:
    """Join runs anew where a lateral is too long with its lead: such as ends with the lead they would have, or shorter.

    That is taken only where it leaves less over `laterals.longest`, and feeds and reaches as much.
    """
    limit, best, kept = site.laterals.longest, made, joined
    over = [item for item in made.laterals if _over(site, (item,)) and item.lead]
    if not over:
        return made, joined
    excess, lead = max(item.whole - limit for item in over), max(item.lead for item in over)
    tried = [joined]
    for less in (0.0, excess, lead):
        if less >= limit or not _over(site, best.laterals):
            break
        rules = replace(site.laterals, longest=limit - less)
        anew = _joined(site, ground, trial, stranded=stranded, led_back=True, rules=rules)
        if anew in tried:
            continue
        tried.append(anew)
        with contextlib.suppress(NoRoomError):
            other = _piped(site, ground, trial, anew)
            if _is_as_good(site, other, best) and _over(site, other.laterals) < _over(site, best.laterals):
                best, kept = other, anew
    return best, kept


def _over(site: Site, laterals: Sequence[Lateral]) -> float:
    """By how much laterals are longer than they may be, all together, leads included [m]."""
    limit = site.laterals.longest
    return math.fsum(item.whole - limit for item in laterals if item.whole > limit + TOLERANCE)


def _led_back(
    site: Site,
    ground: UsableGround,
    trial: Trial,
    made: Piped,
    joined: Joined,
    stranded: Collection[str],
) -> Piped:
    """Lead returns back through the bed to the manifold end, where that takes less than manifolds and lines elsewhere.

    Where a lateral would be too long with its lead, runs are also joined anew, into such as are not.
    """
    wanted, gains = _spared(site, trial, made)
    taken = _taken(made)
    best, limit = made, (1 - WORTH) * taken
    for anew in (False, True):
        if gains[anew] <= WORTH * taken or not (anew or wanted):
            continue
        if anew:
            joined = _joined(site, ground, trial, stranded=stranded, led_back=True)
        led = _led(site, ground, trial, joined, None if anew else wanted)
        if led is not None and _is_as_good(site, led, made) and _taken(led) < limit:
            best, limit = led, _taken(led)
    return best


def _is_as_good(site: Site, led: Piped, made: Piped) -> bool:
    """Whether no tubing goes dry, no manifold is without a line and no lateral too long for being piped otherwise."""
    fed = _fed(led) >= _fed(made) - TOLERANCE
    short = _over(site, led.laterals) <= _over(site, made.laterals) + TOLERANCE
    return fed and short and len(led.plumbing.unreached) <= len(made.plumbing.unreached)


def _spared(site: Site, trial: Trial, made: Piped) -> tuple[set[str], tuple[float, float]]:
    """Laterals that may be led back to some gain, and what that may spare at most [m].

    The second figure is what may be spared if others too, which are too long with a lead, were joined anew; nought
    where there are none.
    """
    pipes = made.plumbing
    wanted: set[str] = set()
    gain, others = 0.0, 0.0
    to = _manifold_end(trial)
    for manifold in pipes.manifolds:
        ends = [
            item
            for item in made.laterals
            for riser in pipes.risers
            if (riser.kind, riser.lateral) == ("return", item.name)
            and not item.returns_near
            and pipes.under(riser) is manifold
        ]
        own = [pipe for pipe in pipes.way_to(manifold) if pipe.zone]
        spared = math.fsum(2.0 * pipe.line.length for pipe in (manifold, *own))
        spared -= math.fsum(to.distance(Point(item.drain)) for item in ends)
        if ends and own and spared > 0:
            if all(_fits(site, item, to) for item in ends):
                wanted |= {item.name for item in ends}
                gain += spared
            else:
                others += spared
    return wanted, (gain, gain + others if others else 0.0)


def _manifold_end(trial: Trial) -> BaseGeometry:
    """The manifold end of a bed, and where runs begin elsewhere [m]."""
    begins = [Point(run.line.coords[0]) for run in trial.laying.runs]
    return unary_union([trial.sides.near, *begins])


def _fits(site: Site, item: Lateral, to: BaseGeometry, lead: float | None = None) -> bool:
    """Whether a lateral is short enough with its lead, or with the shortest that there may be."""
    lead = float(to.distance(Point(item.drain))) if lead is None else lead
    return item.length + item.blank + lead <= site.laterals.longest


def _led(
    site: Site, ground: UsableGround, trial: Trial, joined: Joined, wanted: Collection[str] | None
) -> Piped | None:
    """Pipe a trial with leads back from laterals that are named, or from all that can be."""
    to = _manifold_end(trial)

    def is_led(item: Lateral) -> bool:
        if wanted is not None:
            return item.name in wanted
        return not item.returns_near and _fits(site, item, to)

    while True:
        led = _piped(site, ground, trial, joined, led_back=is_led)
        back = {riser.lateral: float(riser.line.length) for riser in led.plumbing.risers if riser.back}
        fit = {
            item.name for item in led.laterals if item.name in back and _fits(site, item, to, back[item.name])
        }
        if fit == back.keys():
            return led if fit else None
        wanted = fit


def _lead(item: Lateral, plumbing: Plumbing) -> float:
    """Length of the leads of a lateral [m]."""
    own = (riser.line for riser in plumbing.risers if riser.lead and riser.lateral == item.name)
    return math.fsum(line.length for line in own)


def _taken(piped: Piped) -> float:
    """Length of pipe, trench and blank tubing [m]."""
    pipes = piped.plumbing
    lines = [pipe.line for pipe in (*pipes.manifolds, *pipes.lines)]
    lines += [trench.line for trench in pipes.trenches]
    lines += [*(riser.line for riser in pipes.risers), *(join.line for join in piped.joins)]
    return math.fsum(line.length for line in lines)


def _fed(piped: Piped) -> float:
    """Length of tubing in laterals that are fed [m]."""
    return math.fsum(item.length for item in piped.laterals if item.name in piped.plumbing.fed)


def _joined(
    site: Site,
    ground: UsableGround,
    trial: Trial,
    *,
    stranded: Collection[str] = (),
    led_back: bool = False,
    rules: LateralRules | None = None,
) -> Joined:
    """Join the runs of a trial.

    Runs that are stranded are tied to neighbours even beyond the longest lateral; those whose returns are to be led
    back to the manifold end are joined such that they can. Other rules than the site's may be stated.
    """
    return join_runs(
        trial.laying,
        rules or site.laterals,
        spacing=site.runs.spacing,
        bed=site.bed,
        kept_clear=ground.kept_clear,
        stranded=stranded,
        led_back=led_back,
    )


def _piped(
    site: Site,
    ground: UsableGround,
    trial: Trial,
    joined: Joined,
    *,
    led_back: Callable[[Lateral], bool] | None = None,
) -> Piped:
    """Pipe a trial, its runs joined; the returns of laterals that are led back come to the manifold end."""
    laying, (laterals, joins) = trial.laying, joined
    emitters = tuple(place_emitters(run, site.tubing) for run in laying.runs)
    if not any(row.count for row in emitters):
        unit = site.frame.units
        longest = max(run.length for run in laying.runs) / unit.length
        raise NoRoomError(
            Fault(
                file=str(site.file),
                field="tubing.emitter_spacing",
                said=f"no run is long enough for an emitter; the longest has {longest:.2f} {unit.length_name}",
                remedy="Write the distance from emitter to emitter along the tubing.",
            )
        )
    if led_back is not None:
        laterals = tuple(replace(item, led_back=led_back(item)) for item in laterals)
    laterals, zones = make_zones(site, laterals, laying.runs, emitters)
    plumbing = reached(site, ground, trial, laterals, joins)
    laterals = tuple(replace(item, lead=_lead(item, plumbing)) for item in laterals)
    air_at = air_places(site, plumbing)
    plumbing = place_fittings(
        plumbing,
        joins,
        laterals,
        air_at=air_at,
        bends=elbows_along,
        tanks=[item.shape for item in site.pump_house],
        bend_radius=site.tubing.bend_radius,
    )
    return Piped(
        laterals=laterals,
        joins=joins,
        emitters=emitters,
        zones=zones,
        plumbing=plumbing,
        levels=zone_levels(site, zones, laying.runs, plumbing),
    )
