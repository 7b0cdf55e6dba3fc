"""Figures of the site file that plan, but that hardly anybody means: each is a finding that asks, with a remedy.

What cannot be at all is refused where the site file is read; here the plan stands.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal, NamedTuple

import shapely
from shapely import Point

from layout.model import FeatureKind, Finding, Laying, Site, UsableGround, listed, site_place, xy

Quantity = Literal[
    "length", "diameter", "emitter_flow", "flow", "daily_flow", "loading", "pressure", "velocity", ""
]
"""A field of `UnitSet`; empty: a bare number."""


class Usual(NamedTuple):
    """What a figure usually lies between [SI]."""

    key: str
    quantity: Quantity
    least: float
    most: float


# The bounds are judgement of this tool, no published source: wide enough that what is sold and built passes.
USUAL: tuple[Usual, ...] = (
    Usual("tubing.emitter_spacing", "length", 0.1, 3.0),
    Usual("tubing.emitter_flow", "emitter_flow", 0.1e-3 / 3600, 20e-3 / 3600),
    Usual("tubing.bend_radius", "length", 0.0, 3.0),
    Usual("tubing.inside_diameter", "diameter", 4e-3, 50e-3),
    Usual("tubing.coil", "length", 15.0, 3000.0),
    Usual("runs.spacing", "length", 0.15, 5.0),
    Usual("laterals.longest", "length", 5.0, 1000.0),
    Usual("manifold.supply_diameter", "diameter", 10e-3, 300e-3),
    Usual("manifold.return_diameter", "diameter", 10e-3, 300e-3),
    Usual("manifold.offset", "length", 0.02, 10.0),
    Usual("zones.most_flow", "flow", 1e-6, 0.1),
    Usual("design.flow", "daily_flow", 0.02 / 86400, 2000.0 / 86400),
    Usual("design.loading", "loading", 0.1e-3 / 86400, 0.2 / 86400),
    Usual("design.flush_velocity", "velocity", 0.1, 3.0),
    Usual("design.least_pitch", "", 0.0, 0.2),
    Usual("design.filter_loss", "pressure", 0.0, 70.0),
    Usual("design.dose_volumes", "", 0.5, 50.0),
    Usual("stakeout.interval", "length", 0.3, 50.0),
    Usual("stakeout.tolerance", "length", 1e-3, 1.0),
    Usual("stakeout.laid_within", "length", 0.01, 2.0),
)
"""By key of the site file, which is the way to the value in a `Site` as well."""
OFF = 3.0
"""A point that names a bed end, farther off than this is asked about, in lengths of the bed ..."""
OFF_LEAST = 300.0
"""... and beyond this [m]."""
LEAST_SHARE = 1e-3
"""A flow over the usable ground that is a smaller share of the loading is asked about."""
OVER_GROUND = 60.0
"""A liquid level farther than this from the ground's is asked about [m]."""
SLIPPED = 15.0
"""So is one farther off than this where a shifted decimal point would bring it as near [m]."""


def meant_findings(site: Site, ground: UsableGround, laying: Laying | None = None) -> Iterator[Finding]:
    """Ask about what is hardly meant.

    Parameters
    ----------
    site : Site
    ground : UsableGround
    laying : Laying, optional
        As laid with these figures; without one nothing is asked that only runs tell.

    Yields
    ------
    Finding
        With code ``is-this-meant``; first what is told by the bed and the runs, then what is unusual of itself.
    """
    told: dict[str, Finding] = {}
    by_runs = () if laying is None else _beside_runs(site, laying)
    for key, said, remedy in (*_beside_bed(site), *by_runs, *_far_off(site), *_pump_indoors(site)):
        told.setdefault(
            key, Finding(code="is-this-meant", said=f"{key} {said}: is this meant?", remedy=remedy)
        )
    for bounds in USUAL:
        value = _value(site, bounds)
        usual = value is None or bounds.least * (1 - 1e-9) <= value <= bounds.most * (1 + 1e-9)
        if value is not None and not usual and bounds.key not in told:
            told[bounds.key] = _unusual(site, bounds, value)
    yield from told.values()
    design = site.design
    if design.flow is None or design.loading is None or {"design.flow", "design.loading"} & set(told):
        return
    share = design.flow / ground.area.area / design.loading
    if share < LEAST_SHARE:
        yield Finding(
            code="is-this-meant",
            said=f"design.flow over the usable ground is {share:.1e} of design.loading: is this meant?",
            remedy="Check both, and their units.",
        )


def _value(site: Site, bounds: Usual) -> float | None:
    table, _, field = bounds.key.partition(".")
    rules = getattr(site, table)
    value: float | None = None if rules is None else getattr(rules, field)
    return value


def bed_width(site: Site) -> float:
    """Width of the bed where it is widest [m]."""
    outline = site.bed.outline
    return 2.0 * float(shapely.maximum_inscribed_circle(outline, tolerance=1e-3 * outline.length).length)


def _unusual(site: Site, bounds: Usual, value: float) -> Finding:
    return Finding(
        code="is-this-meant",
        said=(
            f"{bounds.key} is {_told(site, bounds.quantity, value)}; it is usually between "
            f"{_told(site, bounds.quantity, bounds.least)} and {_told(site, bounds.quantity, bounds.most)} "
            "(judgement of this tool): is this meant?"
        ),
        remedy=f"Check it, and its unit{_unit(site, bounds.quantity)}.",
    )


def _told(site: Site, quantity: Quantity, value: float) -> str:
    if not quantity:
        return f"{value:.4g}"
    units = site.frame.units
    figure = value / getattr(units, quantity)
    text = f"{figure:,.0f}" if abs(figure) >= 1000 else f"{figure:.3g}"
    return f"{text} {getattr(units, f'{quantity}_name')}"


def _unit(site: Site, quantity: Quantity) -> str:
    return f", {getattr(site.frame.units, f'{quantity}_name')}" if quantity else ""


Asked = Iterator[tuple[str, str, str]]
"""Key, what is said of it, remedy."""


def _beside_bed(site: Site) -> Asked:
    """Lengths that the bed is too small for."""
    width, rules = bed_width(site), site.runs
    wide = f"the bed is nowhere wider than {_told(site, 'length', width)}"
    if rules.spacing > width:
        said = f"is {_told(site, 'length', rules.spacing)}, and {wide}, so that coverage by it tells nothing"
        yield "runs.spacing", said, "Write the distance from run to run, centre to centre."
    if rules.first is not None and rules.first > width:
        said = f"is {_told(site, 'length', rules.first)}, and {wide}"
        yield "runs.first", said, "Write the distance from the side that is followed to the first run."
    if site.tubing.bend_radius > max(width, 3.0):
        said = f"is {_told(site, 'length', site.tubing.bend_radius)}, and {wide}"
        yield "tubing.bend_radius", said, "Write the tightest bend that the tubing takes."


def _beside_runs(site: Site, laying: Laying) -> Asked:
    """Lengths that do not go with the runs as laid."""
    if not laying.runs:
        return
    lengths = [run.length for run in laying.runs]
    longest, shortest = max(lengths), min(lengths)
    step, coil = site.tubing.emitter_spacing, site.tubing.coil
    if step > 0.5 * longest:
        said = f"is {_told(site, 'length', step)}, and the longest run has {_told(site, 'length', longest)}"
        yield "tubing.emitter_spacing", said, "Write the distance from emitter to emitter along the tubing."
    if coil < shortest:
        said = (
            f"is {_told(site, 'length', coil)}, shorter than every run; the shortest has "
            f"{_told(site, 'length', shortest)}"
        )
        yield (
            "tubing.coil",
            said,
            "Write the length of one coil as it is bought, or couplings are in every run.",
        )


def _far_off(site: Site) -> Asked:
    """Points and levels far from the bed."""
    outline = site.bed.outline
    least_x, least_y, most_x, most_y = outline.bounds
    far = max(OFF_LEAST, OFF * math.hypot(most_x - least_x, most_y - least_y))
    end = site.manifold.end
    away = 0.0 if isinstance(end, str) else Point(end).distance(outline)
    if away > far and not isinstance(end, str):
        nearest = xy(Point(shapely.shortest_line(outline, Point(end)).coords[0]))
        said = (
            f"lies {_told(site, 'length', away)} from the bed, which is nearest to it at "
            f"{site_place(site.frame, nearest)}"
        )
        yield "manifold.end", said, 'Give a point at the end that is meant, or write "pump" or "far".'
    ground, level = _ground_level(site), site.pump.level if site.pump else None
    if ground is None or level is None:
        return
    off = abs(level - ground)
    slip = next((by for by in (10.0, 0.1) if off > SLIPPED >= abs(level * by - ground)), None)
    if off > OVER_GROUND or slip is not None:
        said = (
            f"is {_told(site, 'length', level)}, and the ground is at about {_told(site, 'length', ground)}"
        )
        hint = "" if slip is None else f" Or is it {_told(site, 'length', level * slip)}?"
        yield "pump.level", said, f"Give it above the same datum as bed.levels.{hint}"


def _pump_indoors(site: Site) -> Asked:
    """A pump inside a building, where a tank is stated that does not hold it."""
    if site.pump is None:
        return
    at = Point(site.pump.at)
    house = next(
        (item for item in site.features if item.kind is FeatureKind.BUILDING and item.shape.contains(at)),
        None,
    )
    tanks = [item for item in site.features if item.kind is FeatureKind.TANK]
    if house is None or not tanks or any(item.shape.covers(at) for item in tanks):
        return
    elsewhere = listed([item.name for item in tanks])
    said = f"lies in {house.name}, not in {elsewhere}, so that lines lead out through its wall"
    yield "pump.at", said, "Give the place of the pump in its tank."


def _ground_level(site: Site) -> float | None:
    levels = site.bed.levels
    if levels is None:
        return None
    if levels.uniform is not None or not levels.points:
        return levels.uniform
    return math.fsum(point[2] for point in levels.points) / len(levels.points)
