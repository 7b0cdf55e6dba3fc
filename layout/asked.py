"""What becomes of what the site file asks of runs: sides that cannot be followed, and why no run fits at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import shapely
from shapely import Polygon

from layout.errors import Fault
from layout.model import Candidate, Finding, Pattern, Site, UsableGround, site_place, xy

_WHY = {
    "lobes": "the bed has no neck",
    "usable ground": "setbacks leave the bed's edge as it is, or take it apart",
    "outline": "the bed's own sides have no clear long direction",
}
"""Why each kind of sides may not be there."""
_TAKEN = {
    "outline": "the sides of its outline are followed",
    "rectangle": "runs are straight, along its smallest enclosing rectangle",
}


def asked_findings(site: Site, candidates: Sequence[Candidate]) -> Iterator[Finding]:
    """Say where runs follow another line than the site file asks for, or one that nobody would expect.

    Parameters
    ----------
    site : Site
    candidates : sequence of Candidate
        Those that were tried, the one that is laid first.
    """
    if site.runs.sides is None and all(item.follows == "rectangle" for item in candidates):
        yield Finding(
            code="no-long-direction",
            said="The bed has no clear long direction; its runs are straight, along its smallest enclosing rectangle.",
            remedy='To follow another line, draw it and set runs.pattern = "drawn".',
        )
    yield from _other_sides(site, candidates[0])
    guide = site.runs.guide
    drawn = candidates[0].pattern is Pattern.DRAWN
    if drawn and guide is not None and guide.is_closed and guide.within(site.bed.outline):
        yield Finding(
            code="closed-guide",
            said="The line to follow closes within the bed; where it is nearest to the edge it is carried on straight.",
            remedy="Leave a piece of it out where runs should begin, or end it off the bed.",
        )


def _other_sides(site: Site, chosen: Candidate) -> Iterator[Finding]:
    """Say where the sides that the site file asks for are not those that runs follow."""
    asked = site.runs.sides
    if asked is None:
        return
    if chosen.pattern in {Pattern.DRAWN, Pattern.CONTOUR}:
        yield Finding(
            code="sides-not-followed",
            said=f'runs.sides = "{asked}" does nothing: the {chosen.pattern} pattern follows a line, no sides.',
            remedy="Leave runs.sides out, or choose another pattern.",
        )
    elif chosen.follows != asked:
        yield Finding(
            code="sides-not-followed",
            said=f'runs.sides = "{asked}" cannot be followed: {_WHY[asked]}; {_TAKEN[chosen.follows]}.',
            remedy="Leave runs.sides out, or name other sides.",
        )


def no_run(site: Site, ground: UsableGround, *, lobewise: bool) -> Fault:
    """Say why no run fits, with the figures.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    lobewise : bool
        Whether the bed was laid lobe by lobe and in no other way.
    """
    unit = site.frame.units
    shortest = f"{site.runs.shortest / unit.length:g} {unit.length_name}"
    if lobewise:
        return Fault(
            file=str(site.file),
            field="runs.sides",
            said=(
                f"lobe by lobe the bed cannot be laid: no lobe has room for a run of {shortest}, or the rows of two "
                "lobes would come nearer to each other than their gap"
            ),
            remedy='Set runs.sides = "outline", or leave it out.',
        )
    width = 2.0 * float(shapely.maximum_inscribed_circle(site.bed.outline).length)
    if site.runs.spacing > width:
        return Fault(
            file=str(site.file),
            field="runs.spacing",
            said=(
                f"{site.runs.spacing / unit.length:g} {unit.length_name} is wider than the bed, which has "
                f"{width / unit.length:.1f} {unit.length_name} where it is widest; no run of {shortest} fits"
            ),
            remedy="Write the distance from run to run, centre to centre.",
        )
    part = max(getattr(ground.area, "geoms", [ground.area]), key=_area)
    return Fault(
        file=str(site.file),
        field="runs",
        said=(
            f"no run of {shortest} fits in the usable ground of {ground.area.area / unit.area:.1f} "
            f"{unit.area_name} around {site_place(site.frame, xy(part.representative_point()))}"
        ),
        remedy="Make runs.shortest, bed.clearance or a setback smaller, or the bed larger.",
    )


def _area(part: Polygon) -> float:
    return float(part.area)
