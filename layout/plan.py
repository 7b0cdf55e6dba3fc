"""The conductor: one call a stage, from a site to a finished design. Here alone the stages meet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from shapely import LineString, Polygon

from layout.cells import MOST_EMITTERS, emitter_cells, evenness
from layout.checks import design_checks
from layout.coverage import candidate, cover
from layout.emitters import field_totals, place_emitters
from layout.errors import Fault, NoRoomError, SiteError
from layout.fittings import place_fittings
from layout.laterals import join_runs
from layout.manifolds import lay_plumbing, setback_check
from layout.model import (
    XY,
    Bed,
    Design,
    Dropped,
    Finding,
    Follows,
    Laying,
    Pattern,
    Sides,
    Site,
    Totals,
    Trial,
    UsableGround,
    site_place,
)
from layout.routes import route_checks, route_findings, route_lines
from layout.routes.elbows import elbows_along
from layout.runs import lay_runs
from layout.sides import find_sides, straight_sides
from layout.takeoff import count_parts
from layout.terrain import (
    air_places,
    bearing_on,
    ground_findings,
    height_findings,
    level_findings,
    level_line,
    pitch_checks,
    run_slopes,
    slope_checks,
    zone_levels,
)
from layout.usable import usable_ground, usable_outline
from layout.zones import evenness_checks, make_zones

Progress = Callable[[str], None]
GOOD = 0.25
"""A score at which no other sides need be tried: hardly a dry corner, all fed, nothing left out."""


def plan_field(site: Site, *, progress: Progress | None = None) -> Design:
    """Lay out a whole field.

    Parameters
    ----------
    site : Site
    progress : callable, optional
        Called with the name of each stage as it begins.

    Returns
    -------
    Design

    Raises
    ------
    NoRoomError
        Where no run can be laid.
    """
    tell = progress or (lambda _stage: None)
    tell("usable ground")
    ground = usable_ground(site.bed, site.features, frame=site.frame, file=site.file.name)
    trials = _trials(site, ground, tell)
    best, laying, sides = trials[0].candidate, trials[0].laying, trials[0].sides
    tell("laterals and manifolds")
    laterals, joins = join_runs(
        laying, site.laterals, spacing=site.runs.spacing, bed=site.bed, kept_clear=ground.kept_clear
    )
    emitters = tuple(place_emitters(run, site.tubing) for run in laying.runs)
    laterals, zones = make_zones(site, laterals, laying.runs, emitters)
    plumbing = lay_plumbing(
        laterals,
        laying.runs,
        sides,
        site.manifold,
        pump=site.pump,
        features=site.features,
        outline=site.bed.outline,
        kept_clear=ground.kept_clear,
    )
    plumbing = route_lines(
        plumbing,
        pump=site.pump,
        features=site.features,
        outline=site.bed.outline,
        tubing=[run.line for run in laying.runs] + [join.line for join in joins],
    )
    plumbing = place_fittings(
        plumbing, joins, laterals, air_at=air_places(site, plumbing), bends=elbows_along
    )
    levels = zone_levels(site, zones, laying.runs, plumbing)
    tell("emitters and checks")
    totals = field_totals(laying.runs, emitters, joins)
    cells = emitter_cells(ground.area, site.bed.outline, emitters, spacing=site.runs.spacing)
    mean_and_cv = evenness(cells) if cells else None
    if mean_and_cv is not None:
        totals = replace(totals, cell_mean=mean_and_cv[0], cell_cv=mean_and_cv[1])
    checks = (
        *design_checks(site, ground, laying, laterals, plumbing, best.coverage, joins=joins),
        setback_check(site, plumbing, ground.kept_clear),
        *route_checks(site, plumbing),
        *evenness_checks(site, laterals, zones),
        *pitch_checks(site, levels),
    )
    slopes = run_slopes(site, laying)
    parts = count_parts(site, laying.runs, joins, plumbing, laterals=laterals, zones=zones)
    return Design(
        site=site,
        ground=ground,
        sides=sides,
        laying=laying,
        candidates=tuple(trial.candidate for trial in trials),
        laterals=laterals,
        joins=joins,
        plumbing=plumbing,
        emitters=emitters,
        coverage=best.coverage,
        totals=totals,
        checks=checks + slope_checks(site, laying, slopes),
        parts=parts,
        findings=(
            *_findings(site, laying, sides, totals),
            *ground_findings(site, laying),
            *height_findings(site, laying, joins, plumbing),
            *route_findings(site, plumbing),
            *level_findings(site, levels, plumbing),
        ),
        slopes=slopes,
        cells=cells,
        zones=zones,
        zone_levels=levels,
    )


def compare_patterns(site: Site, *, progress: Progress | None = None) -> tuple[Trial, ...]:
    """Lay and measure every pattern that applies, whichever one the site file asks for.

    Parameters
    ----------
    site : Site
    progress : callable, optional
        Called with the name of each stage as it begins.

    Returns
    -------
    tuple of Trial
        The one that ``best`` takes first, the others by the measure of :func:`layout.coverage.score`. Where a
        pattern along the bed's own sides does well, one of other sides is not taken, whatever its score.

    Raises
    ------
    NoRoomError
        Where no run can be laid.
    """
    tell = progress or (lambda _stage: None)
    tell("usable ground")
    ground = usable_ground(site.bed, site.features, frame=site.frame, file=site.file.name)
    return _trials(replace(site, runs=replace(site.runs, pattern=Pattern.BEST)), ground, tell, thorough=True)


def _trials(site: Site, ground: UsableGround, tell: Progress, *, thorough: bool = False) -> tuple[Trial, ...]:
    """Lay and measure the patterns to try, the best first; other sides only where those of the outline do poorly."""
    tell("sides and ends")
    toward, far = manifold_end(site)
    sides = find_sides(site.bed.outline, toward=toward, far=far)
    spacing = site.runs.spacing
    tried: list[Trial] = []
    enough = 0  # trials after which a plan looks no further; it takes the best of these
    for laying, followed, follows in _layings(site, ground, sides, toward=toward, far=far, tell=tell):
        if not enough and any(
            trial.candidate.score <= GOOD and trial.candidate.follows != follows for trial in tried
        ):
            if not thorough:
                break
            enough = len(tried)
        if laying.runs:
            coverage = cover(
                ground.area, site.bed.outline, laying.runs, spacing=spacing, radius=site.tubing.bend_radius
            )
            measured = candidate(laying, coverage, spacing=spacing, follows=follows)
            tried.append(Trial(candidate=measured, laying=laying, sides=followed))
    if not tried:
        raise NoRoomError(_no_run(site, ground))
    first = min(tried[: enough or None], key=_score)
    others = sorted((trial for trial in tried if trial is not first), key=_score)
    return first, *others


def _score(trial: Trial) -> float:
    """What trials are ranked by: so far that the last digits of a machine decide nothing."""
    return round(trial.candidate.score, 9)


def manifold_end(site: Site) -> tuple[XY, bool]:
    """The point the manifold end is nearest to, and whether it is the other end that is meant."""
    outline = site.bed.outline.exterior.coords[0]
    pump = site.pump.at if site.pump else (float(outline[0]), float(outline[1]))
    if isinstance(site.manifold.end, str):
        return pump, site.manifold.end == "far"
    return site.manifold.end, False


def _layings(
    site: Site, ground: UsableGround, sides: Sides, *, toward: XY, far: bool, tell: Progress
) -> Iterator[tuple[Laying, Sides, Follows]]:
    """The patterns to try: the one that the site file names, or all that apply."""
    wanted = site.runs.pattern
    lines = _guides(site)
    every = (Pattern.LEFT, Pattern.RIGHT, Pattern.CENTRE, Pattern.EVEN, *lines)
    names = every if wanted is Pattern.BEST else (wanted,)
    followed: list[tuple[Bed, Sides, Follows]] = [
        (site.bed, sides, "outline" if sides.certain else "rectangle")
    ]
    if wanted is Pattern.BEST:
        followed += _other_sides(site, ground, sides, toward=toward, far=far)
    for bed, along, follows in followed:
        for name in names:
            if name in lines and along is not sides:
                continue  # these follow a line, whatever the sides
            tell(f"runs, {name} pattern")
            laying = lay_runs(bed, ground, along, site.runs, site.tubing, pattern=name, guide=lines.get(name))
            yield laying, along, follows


def _other_sides(
    site: Site, ground: UsableGround, sides: Sides, *, toward: XY, far: bool
) -> Iterator[tuple[Bed, Sides, Follows]]:
    """Other sides that runs may follow: what setbacks leave of the bed, and the rectangle round it."""
    left = usable_outline(ground, site.bed, site.runs.spacing)
    if left is not None:
        bed = replace(site.bed, outline=left)
        yield bed, find_sides(left, toward=toward, far=far), "usable ground"
    if sides.certain:
        yield site.bed, straight_sides(site.bed.outline, toward=toward, far=far), "rectangle"


def _guides(site: Site) -> dict[Pattern, LineString]:
    """The lines that the drawn and the contour pattern follow, where the site gives them."""
    lines = {}
    if site.runs.guide is not None:
        lines[Pattern.DRAWN] = bearing_on(site.runs.guide, site.bed.outline)
    asked = site.runs.pattern is Pattern.CONTOUR
    if site.bed.levels is not None and site.runs.pattern in {Pattern.CONTOUR, Pattern.BEST}:
        try:
            found = level_line(site.bed.levels, site.bed.outline)
        except SiteError:
            if asked:
                raise
            return lines  # levels that make no surface matter to no other pattern
        if found.line is not None:
            lines[Pattern.CONTOUR] = found.line
        elif asked:
            raise NoRoomError(
                Fault(
                    file=site.file.name,
                    field="runs.pattern",
                    said=f"the contour pattern has no level line to follow: {found.why}",
                    remedy="Choose another pattern, or give levels that show how the ground falls.",
                )
            )
    return lines


def _no_run(site: Site, ground: UsableGround) -> Fault:
    """Why no run fits, with the figures."""
    unit = site.frame.units
    part = max(getattr(ground.area, "geoms", [ground.area]), key=lambda polygon: polygon.area)
    place = site_place(site.frame, _inner(part))
    return Fault(
        file=site.file.name,
        field="runs",
        said=(
            f"no run of {site.runs.shortest / unit.length:g} {unit.length_name} fits in the usable ground of "
            f"{ground.area.area / unit.area:.1f} {unit.area_name} around {place}"
        ),
        remedy="Make runs.shortest, bed.clearance or a setback smaller, or the bed larger.",
    )


def _inner(polygon: Polygon) -> XY:
    point = polygon.representative_point()
    return (float(point.x), float(point.y))


def _findings(site: Site, laying: Laying, sides: Sides, totals: Totals) -> Iterator[Finding]:
    """What deserves a look though the plan stands."""
    if not sides.certain:
        yield Finding(
            code="no-long-direction",
            said="The bed has no clear long direction; its runs are straight, along its smallest enclosing rectangle.",
            remedy='To follow another line, draw it and set runs.pattern = "drawn".',
        )
    guide = site.runs.guide
    if (
        laying.pattern is Pattern.DRAWN
        and guide is not None
        and guide.is_closed
        and guide.within(site.bed.outline)
    ):
        yield Finding(
            code="closed-guide",
            said="The line to follow closes within the bed; where it is nearest to the edge it is carried on straight.",
            remedy="Leave a piece of it out where runs should begin, or end it off the bed.",
        )
    if totals.emitters > MOST_EMITTERS:
        yield Finding(
            code="no-cells",
            said=(
                f"The field has {totals.emitters:,} emitters; the ground of each is worked out, and the coverage "
                f"picture drawn, for {MOST_EMITTERS:,} at most"
            ),
            remedy="Plan the field as several beds to have them.",
        )
    for dropped in laying.dropped:
        yield _dropped(site, dropped)


def _dropped(site: Site, dropped: Dropped) -> Finding:
    unit = site.frame.units
    start, end = dropped.line.coords[0], dropped.line.coords[-1]
    return Finding(
        code="dropped-piece",
        said=(
            f"{dropped.line.length / unit.length:.2f} {unit.length_name} of tubing is left out between "
            f"{site_place(site.frame, start)} and {site_place(site.frame, end)}: "
            f"{dropped.why}."
        ),
    )
