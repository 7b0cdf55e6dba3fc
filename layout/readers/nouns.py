"""From a checked site file to the nouns: user's units to SI, site coordinates to the local plane."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from layout.frame import to_local
from layout.model import (
    XY,
    Bed,
    DesignBasis,
    Feature,
    FeatureKind,
    Frame,
    LateralRules,
    Levels,
    ManifoldRules,
    Pattern,
    Price,
    Pump,
    RunRules,
    SheetRules,
    Site,
    StakeRules,
    TakeoffRules,
    Tubing,
    ZoneRules,
)
from layout.papers import ratio_of
from layout.readers.schema import DEFAULTS, LEAST_PITCH, WIDEST_OVER_SPACING, FeatureTable, SiteTable
from layout.readers.wastes import REST
from layout.takeoff import WASTE
from layout.units import FOOT, UnitSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Shapes:
    """The shapes of a site file [m].

    Attributes
    ----------
    outline : Polygon
    features : tuple of Point, LineString or Polygon
        In the order of the file.
    levels : Levels or None
        Where they are points.
    guide : LineString or None
    walked : Polygon or None
        The outline as it was walked, where `outline` is that smoothed.
    """

    outline: Polygon
    features: tuple[BaseGeometry, ...]
    levels: Levels | None
    guide: LineString | None
    walked: Polygon | None = None


class _Defaults:
    """What holds where a key is left out, in the units of the site."""

    def __init__(self, units: UnitSet) -> None:
        self.column = 1 if units.word == "m" else 0

    def or_default(self, value: Any, key: str) -> Any:
        return DEFAULTS[key][self.column] if value is None else value


def site_of(
    table: SiteTable, shapes: Shapes, frame: Frame, *, file: Path, prices: tuple[Price, ...] = ()
) -> Site:
    """Put the nouns of a checked site file together.

    Parameters
    ----------
    table : SiteTable
        In the user's units; every figure leaves them here.
    shapes : Shapes
        [m].
    frame : Frame
    file : Path
        The site file; a site without a title is named after its folder.
    prices : tuple of Price
    """
    units = frame.units
    default = _Defaults(units).or_default
    levels = shapes.levels
    if isinstance(table.bed.levels, float):
        levels = Levels(uniform=table.bed.levels * units.length)
    return Site(
        title=table.title or _title(file),
        frame=frame,
        bed=Bed(
            outline=shapes.outline,
            clearance=default(table.bed.clearance, "bed.clearance") * units.length,
            levels=levels,
            walked=shapes.walked,
        ),
        features=tuple(
            _feature(feature, index, shapes.features[index], units)
            for index, feature in enumerate(table.feature)
        ),
        tubing=_tubing(table, units),
        runs=_run_rules(table, shapes.guide, units),
        laterals=LateralRules(
            runs=table.laterals.runs,
            longest=default(table.laterals.longest, "laterals.longest") * units.length,
        ),
        manifold=_manifold_rules(table, frame),
        zones=_zone_rules(table, units),
        pump=_pump(table, frame),
        design=_design(table, units),
        stakeout=StakeRules(
            interval=default(table.stakeout.interval, "stakeout.interval") * units.length,
            tolerance=default(table.stakeout.tolerance, "stakeout.tolerance") * units.length,
            ties=tuple((name, _local(frame, point)) for name, point in table.stakeout.ties),
            baseline=_baseline(table, frame),
            rounding=table.stakeout.rounding,
            laid_within=default(table.stakeout.laid_within, "stakeout.laid_within") * units.length,
            laid_within_stated=table.stakeout.laid_within is not None,
        ),
        sheet=_sheet_rules(table, units),
        takeoff=_takeoff_rules(table, units, prices),
        file=file,
    )


def _takeoff_rules(table: SiteTable, units: UnitSet, prices: tuple[Price, ...]) -> TakeoffRules:
    given, wastes = table.takeoff, dict(table.takeoff.waste or {})
    return TakeoffRules(
        waste=wastes.pop(REST, WASTE),
        wastes=tuple(wastes.items()),
        pipe=_scaled(given.pipe, units.length),
        blank_coil=_scaled(given.blank_coil, units.length),
        staple_interval=_scaled(given.staple_interval, units.length),
        staple_box=given.staple_box,
        paint=_scaled(given.paint, units.length),
        cover_depth=_scaled(given.cover_depth, units.length),
        sand_depth=_scaled(given.sand_depth, units.length),
        trench_width=_scaled(given.trench_width, units.length),
        prices=prices,
    )


def _sheet_rules(table: SiteTable, units: UnitSet) -> SheetRules:
    foot = FOOT if units.word == "m" else units.length
    scale = table.sheet.scale
    return SheetRules(
        size=table.sheet.size or "",
        ratio=ratio_of(scale, foot=foot) if scale else None,
        title=table.sheet.title,
        date=table.sheet.date,
        drawn_by=table.sheet.drawn_by,
        checked_by=table.sheet.checked_by,
        revision=table.sheet.revision,
    )


def _title(path: Path) -> str:
    """Name a site without a title after its folder."""
    name = path.resolve().parent.name or path.stem
    return "".join(char for char in name if char.isprintable()) or "untitled"


def _local(frame: Frame, point: XY) -> XY:
    x, y = to_local(frame, [point])[0]
    return float(x), float(y)


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _per_cent(value: float | None, default: float) -> float:
    return (default if value is None else value) / 100.0


def feature_name(index: int) -> str:
    """Name a feature that the user gave no name, by its place in the file."""
    return f"feature {index + 1}"


def _feature(table: FeatureTable, index: int, shape: BaseGeometry, units: UnitSet) -> Feature:
    return Feature(
        name=table.name or feature_name(index),
        kind=FeatureKind(table.kind),
        shape=shape,
        setback=table.setback * units.length,
        inside=table.inside,
    )


def _tubing(table: SiteTable, units: UnitSet) -> Tubing:
    tubing = table.tubing
    default = _Defaults(units).or_default
    least, greatest = default(tubing.pressure_range, "tubing.pressure_range")
    return Tubing(
        emitter_spacing=tubing.emitter_spacing * units.length,
        emitter_flow=tubing.emitter_flow * units.emitter_flow,
        bend_radius=default(tubing.bend_radius, "tubing.bend_radius") * units.length,
        coil=default(tubing.coil, "tubing.coil") * units.length,
        inside_diameter=_scaled(tubing.inside_diameter, units.diameter),
        pressure_range=(least * units.pressure, greatest * units.pressure),
        compensating=tubing.compensating,
        emitter_pressure=_scaled(tubing.emitter_pressure, units.pressure),
        emitter_exponent=tubing.emitter_exponent,
    )


def _run_rules(table: SiteTable, guide: LineString | None, units: UnitSet) -> RunRules:
    runs = table.runs
    closest = runs.spacing if runs.closest is None else runs.closest
    widest = WIDEST_OVER_SPACING * runs.spacing if runs.widest is None else runs.widest
    shortest = _Defaults(units).or_default(runs.shortest, "runs.shortest")
    return RunRules(
        spacing=runs.spacing * units.length,
        pattern=Pattern(runs.pattern),
        shortest=shortest * units.length,
        closest=closest * units.length,
        widest=widest * units.length,
        most=runs.most,
        guide=guide,
        first=_scaled(runs.first, units.length),
        sides=runs.sides,
    )


def _manifold_rules(table: SiteTable, frame: Frame) -> ManifoldRules:
    manifold = table.manifold
    default = _Defaults(frame.units).or_default
    diameter, end = frame.units.diameter, manifold.end
    return ManifoldRules(
        end=end if end in {"pump", "far"} else _local(frame, end),
        supply_diameter=default(manifold.supply_diameter, "manifold.supply_diameter") * diameter,
        return_diameter=default(manifold.return_diameter, "manifold.return_diameter") * diameter,
        offset=default(manifold.offset, "manifold.offset") * frame.units.length,
    )


def _zone_rules(table: SiteTable, units: UnitSet) -> ZoneRules | None:
    if table.zones is None:
        return None
    rules = table.zones
    return ZoneRules(count=rules.count, most_flow=_scaled(rules.most_flow, units.flow), lines=rules.lines)


def _baseline(table: SiteTable, frame: Frame) -> tuple[XY, XY] | None:
    if table.stakeout.baseline is None:
        return None
    start, end = table.stakeout.baseline
    return _local(frame, start), _local(frame, end)


def _pump(table: SiteTable, frame: Frame) -> Pump | None:
    if table.pump is None:
        return None
    units = frame.units
    return Pump(
        at=_local(frame, table.pump.at),
        level=_scaled(table.pump.level, units.length),
        curve=tuple((flow * units.flow, head * units.length) for flow, head in table.pump.curve),
    )


def _design(table: SiteTable, units: UnitSet) -> DesignBasis:
    default = _Defaults(units).or_default
    warmth = default(table.design.water_temperature, "design.water_temperature")
    return DesignBasis(
        flow=_scaled(table.design.flow, units.daily_flow),
        loading=_scaled(table.design.loading, units.loading),
        flush_velocity=_scaled(table.design.flush_velocity, units.velocity),
        least_pitch=_per_cent(table.design.least_pitch, LEAST_PITCH),
        water_temperature=warmth if units.word == "m" else (warmth - 32.0) / 1.8,
        friction=table.design.friction,
        smoothness=table.design.smoothness,
        filter_loss=_scaled(table.design.filter_loss, units.pressure),
        dose_volumes=table.design.dose_volumes,
        flow_band=table.design.flow_band,
    )
