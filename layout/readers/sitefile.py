"""The site file and the survey files it names, into a `Site`: every fault of them all reported together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layout.errors import Fault, FrameError, LayoutError, SiteError
from layout.frame import crs_fault, ground_note, mean_level, origin_near, place_in_crs
from layout.limits import MOST_EMITTERS, MOST_STAKES, MOST_TUBING
from layout.model import Feature, FeatureKind, Frame, Price, Site, xy
from layout.readers.document import Document, Loc, load, override, shortened
from layout.readers.geographic import Plane, on_one_plane, unit_said
from layout.readers.nouns import Shapes, feature_name, site_of
from layout.readers.points import PointTable
from layout.readers.prices import read_prices
from layout.readers.references import inside_folder, point_tables
from layout.readers.shapes import Place, feature_shape, guide_of, levels_of, outline_of
from layout.readers.smooth import smoothed, smoothing_note
from layout.readers.validate import validate
from layout.readers.values import is_number, quoted
from layout.units import UNIT_SETS

LEAST_TOLERANCE = 1e-4
"""Runs are staked no finer than this [m]: more stakes would be asked for than anybody drives."""
ABSURD = 10.0
"""What asks for so many times more than one plan holds is taken for a slip of the pen, or of the units."""
TOUCHING = 0.05
"""An outline that runs along a wall may lie in it by so much as surveyed [m]."""
FAR = 1000.0
"""Farther than this from the bed [m] a feature or pump is noted: it may be in other coordinates."""
FARTHEST = 20_000.0
"""Farther than this from the bed [m] no pump stands: lines are not laid so far, nor drawings made of them."""

_STANDING = {
    FeatureKind.BUILDING,
    FeatureKind.TANK,
    FeatureKind.WELL,
    FeatureKind.WATER_BODY,
    FeatureKind.TREE,
}
_AREA_KINDS = {FeatureKind.BUILDING, FeatureKind.TANK, FeatureKind.WATER_BODY, FeatureKind.DRIVE}


def read_site(path: Path | str, overrides: Iterable[str] = ()) -> Site:
    """Read a site file and the survey files it names.

    Parameters
    ----------
    path : Path or str
        The site file.
    overrides : iterable of str
        ``KEY=VALUE``: keys set for this once, checked like the file itself.

    Returns
    -------
    Site
        In the local plane [m] and SI; its `notes` say what was assumed or dropped.

    Raises
    ------
    ReadError
        The site file is missing or no TOML.
    SiteError
        Anything wrong in it or in the files it names: all faults together.
    FrameError
        Only the CRS is wrong.
    """
    document = load(Path(path))
    settings = tuple(overrides)
    faults = override(document, settings)
    tables, unread = point_tables(document)
    units_wrong = _unit_faults(document, tables)
    plane = on_one_plane(document, tables, document.units)
    table, wrong = validate(document)
    frame = _frame(document, plane)
    maker = _Maker(document, frame, plane)
    shapes = maker.shapes()
    faults += [*wrong, *unread, *units_wrong, *plane.faults, *maker.faults, *_cross_faults(document)]
    prices, unpriced = _prices(document)
    faults += unpriced
    foreign = _crs_faults(document, frame)
    if faults or foreign or table is None or shapes is None:
        kind = SiteError if faults else FrameError
        raise kind(*dict.fromkeys((*faults, *foreign)))
    site = site_of(table, shapes, frame, file=document.path, prices=prices)
    _refuse_absurd(document, site)
    _refuse_far_guide(document, site)
    _refuse_far_pump(document, site)
    once = tuple(f"set for this once, not in the site file: {shortened(text, 60)}" for text in settings)
    return replace(site, notes=(*once, *maker.notes, *_notes(site), *_crs_notes(document, site)))


def _prices(document: Document) -> tuple[tuple[Price, ...], list[Fault]]:
    """The user's prices, where a file of them is named, and what is wrong with it."""
    name = document.get("takeoff", "prices")
    if not isinstance(name, str):
        return (), []
    try:
        return read_prices(inside_folder(document, ("takeoff", "prices"), name), document.units), []
    except LayoutError as error:
        return (), list(error.faults)


def _frame(document: Document, plane: Plane) -> Frame:
    """Choose the local plane."""
    first = plane.tables.get(("bed", "outline")) or next(iter(plane.tables.values()), None)
    origin = origin_near(first.xy) if first is not None else (0.0, 0.0)
    return Frame(units=document.units, origin=origin, crs=plane.crs, plane=plane.words)


def _crs_faults(document: Document, frame: Frame) -> list[Fault]:
    if frame.crs is None or frame.units.word != document.get("units"):
        return []  # of units that are no units nothing can be said
    fault = crs_fault(frame.crs, frame.units)
    return [] if fault is None else [document.fault(("survey", "crs"), fault.said, fault.remedy, ("units",))]


def _unit_faults(document: Document, tables: dict[Loc, PointTable]) -> list[Fault]:
    """List survey files that say themselves that they are in another unit than the site."""
    site = document.get("units")
    if not isinstance(site, str) or site not in UNIT_SETS:
        return []
    found = [(table.file, unit_said(table, site)) for table in dict.fromkeys(tables.values())]
    remedy = "Convert it, or write the units that it is in."
    return [
        Fault(file=file, said=said, remedy=remedy) for file, said in dict.fromkeys(found) if said is not None
    ]


class _Maker:
    """Makes shapes of points; a class only because they share faults and notes."""

    def __init__(self, document: Document, frame: Frame, plane: Plane) -> None:
        self.document, self.frame, self.tables = document, frame, plane.tables
        self.faults: list[Fault] = []
        said = [note for table in plane.tables.values() for note in table.notes]
        self.notes: list[str] = [*dict.fromkeys(said), *plane.notes]

    def shapes(self) -> Shapes | None:
        """Make all of them, in the order of the file; None where one cannot be made."""
        outline = self._make(outline_of, ("bed", "outline"))
        levels = self._make(levels_of, ("bed", "levels"))
        guide = self._make(guide_of, ("runs", "guide"))
        features = tuple(self._make(feature_shape, loc) for loc in self.tables if loc[0] == "feature")
        if outline is None or self.faults:
            return None
        features = tuple(self._boundary(index, shape, outline) for index, shape in enumerate(features))
        walked, outline = self._smoothed(outline)
        return Shapes(outline=outline, features=features, levels=levels, guide=guide, walked=walked)

    def _boundary(self, index: int, shape: BaseGeometry, outline: Polygon) -> BaseGeometry:
        """A property line that runs round the bed, as a line: as an area it would leave no ground."""
        kind = self.document.get("feature", index, "kind")
        if kind != FeatureKind.PROPERTY_LINE or not isinstance(shape, Polygon):
            return shape
        if not shape.contains(outline.representative_point()):
            return shape
        name = self.document.field(("feature", index))
        self.notes.append(f"{name} runs round the bed: it is kept clear of as a line, not as an area")
        return LineString(shape.exterior.coords)

    def _smoothed(self, outline: Polygon) -> tuple[Polygon | None, Polygon]:
        """The outline as walked and smoothed, where the user asks for that; else nothing and the outline itself."""
        tolerance = self.document.get("bed", "smooth")
        if not is_number(tolerance) or tolerance <= 0:
            return None, outline  # left out, or a fault that is listed already
        found = smoothed(outline, tolerance * self.frame.units.length)
        self.notes.append(smoothing_note(outline, found, self.frame))
        return outline, found.outline

    def _make(self, make: Any, loc: Loc) -> Any:
        """Make one shape; None, and faults, where it cannot be."""
        table = self.tables.get(loc)
        if table is None:
            return None
        place = Place(file=table.file or self.document.source(loc), field=self.document.field(loc))
        try:
            shape, notes = make(table, self.frame, place)
        except LayoutError as error:
            self.faults.extend(error.faults)
            return None
        self.notes.extend(notes)
        return shape


def _cross_faults(document: Document) -> list[Fault]:
    """List what is wrong between tables."""
    faults = []
    pattern, levels = document.get("runs", "pattern"), document.get("bed", "levels")
    if pattern == "contour" and not isinstance(levels, str | list):
        said = 'runs.pattern is "contour", so bed.levels must be given'
        if levels is not None:
            said = 'runs.pattern is "contour", but with one number for all levels no level line shows'
        remedy = 'Add levels = "levels.csv" to [bed], or choose another pattern.'
        faults.append(document.fault(("bed", "levels"), said, remedy, ("runs", "pattern")))
    rounding, units = document.get("stakeout", "rounding"), document.get("units")
    fitting = {"ft": ("0.05 ft", "1/8 in"), "us-ft": ("0.05 ft", "1/8 in"), "m": ("1 cm",)}.get(str(units))
    if fitting and isinstance(rounding, str) and rounding in {"0.05 ft", "1/8 in", "1 cm"} - set(fitting):
        said = f"{quoted(rounding)} is on no tape in the site's units, {quoted(units)}"
        remedy = f"Write {' or '.join(f'rounding = {quoted(word)}' for word in fitting)}, or leave it out."
        faults.append(document.fault(("stakeout", "rounding"), said, remedy, ("units",)))
    features = document.get("feature")
    first_at: dict[str, int] = {}
    for index in range(len(features) if isinstance(features, list) else 0):
        name = document.get("feature", index, "name")
        name = name if isinstance(name, str) else feature_name(index)
        first = first_at.setdefault(name.strip(), index)
        if first != index:
            said = f"feature[{first + 1}] has this name already"
            faults.append(document.fault(("feature", index, "name"), said, "Give each feature its own name."))
    return faults


# --- a last look at the whole ----------------------------------------------------------------------------


def _refuse_absurd(document: Document, site: Site) -> None:
    """Refuse a spacing that asks for more than any bed holds, before hours are spent on it."""
    area, unit = site.bed.outline.area, site.frame.units
    tubing = area / site.runs.spacing
    if tubing > ABSURD * MOST_TUBING:
        said = (
            f"a spacing of {site.runs.spacing / unit.length:g} on a bed of {area / unit.area:,.0f} "
            f"{unit.area_name} asks for {tubing / unit.length:,.0f} {unit.length_name} of tubing"
        )
        raise SiteError(document.fault(("runs", "spacing"), said, "Check it, and the units of the bed."))
    faults = []
    for loc, step, most in (
        (("tubing", "emitter_spacing"), site.tubing.emitter_spacing, MOST_EMITTERS),
        (("stakeout", "interval"), site.stakeout.interval, MOST_STAKES),
    ):
        if tubing / step > ABSURD * most:
            said = f"{step / unit.length:g} gives {tubing / step:,.0f} of them on this bed"
            faults.append(document.fault(loc, said, "Check it, and the units."))
    if site.stakeout.tolerance < LEAST_TOLERANCE:
        said = f"{site.stakeout.tolerance / unit.length:g} is finer than anything is staked"
        faults.append(document.fault(("stakeout", "tolerance"), said, "Check it, and the units."))
    if faults:
        raise SiteError(*faults)


def _refuse_far_guide(document: Document, site: Site) -> None:
    """Refuse a line to follow that lies far off: it is of another survey, or in other units."""
    guide, unit = site.runs.guide, site.frame.units
    away = 0.0 if guide is None else guide.distance(site.bed.outline)
    if away > FAR:
        said = f"the line to follow lies {away / unit.length:,.0f} {unit.length_name} from the bed"
        raise SiteError(
            document.fault(
                ("runs", "guide"), said, "Give it in the coordinates of the bed, and nearer to it."
            )
        )


def _refuse_far_pump(document: Document, site: Site) -> None:
    """Refuse a pump so far off that no lines lead to it: it is of another survey, or in other units."""
    away = 0.0 if site.pump is None else Point(site.pump.at).distance(site.bed.outline)
    if away > FARTHEST:
        unit = site.frame.units
        said = f"the pump lies {away / unit.length:,.0f} {unit.length_name} from the bed"
        raise SiteError(document.fault(("pump", "at"), said, "Give it in the coordinates of the bed."))


def _crs_notes(document: Document, site: Site) -> tuple[str, ...]:
    at = xy(site.bed.outline.representative_point())
    fault, notes = place_in_crs(site.frame, at)
    if fault is not None:
        raise FrameError(document.fault(("survey", "crs"), fault.said, fault.remedy))
    ground = ground_note(site.frame, at, level=mean_level(site.bed.levels))
    return (*notes, *([ground] if ground and not notes else []))


def _standing_notes(site: Site, feature: Feature) -> list[str]:
    """Ask where a bed lies through what nobody digs through, and where what should stand in it does not."""
    unit, bed, name = site.frame.units, site.bed.outline, f"feature {feature.name}"
    if feature.inside and not feature.shape.intersects(bed):
        return [f"{name} is marked inside but lies outside the bed"]
    if feature.inside and not bed.buffer(TOUCHING).covers(feature.shape):
        return [f"{name} is marked inside but reaches out of the bed; is the outline right?"]
    if feature.inside or feature.kind not in _STANDING or not bed.buffer(-TOUCHING).intersects(feature.shape):
        return []
    shared = feature.shape.intersection(bed).area
    part = f"takes {shared / unit.area:,.0f} {unit.area_name} of the bed" if shared else "stands in the bed"
    return [f"{name} {part}; is the outline right? inside = true says that it stands there"]


def _notes(site: Site) -> list[str]:
    """Note what is legal but likely a slip: features far off, areas left open, holes outside the bed."""
    notes = []
    unit, bed = site.frame.units, site.bed.outline
    for feature in site.features:
        away = feature.shape.distance(bed)
        if away > FAR:
            notes.append(
                f"feature {feature.name} lies {away / unit.length:,.0f} {unit.length_name} from the bed; "
                "are its coordinates of the same survey?"
            )
        else:
            notes += _standing_notes(site, feature)
        if (
            feature.kind in _AREA_KINDS
            and shapely.get_num_coordinates(feature.shape) > 2
            and (feature.shape.geom_type == "LineString")
        ):
            notes.append(
                f"feature {feature.name} is read as a line, for its points are not closed; "
                "repeat the first point at the end to make it an area"
            )
    marks = [(f"tie point {name}", "stakeout.ties", at) for name, at in site.stakeout.ties]
    marks += [("the baseline", "stakeout.baseline", at) for at in (site.stakeout.baseline or ())[:1]]
    for what, key, at in marks:
        away = Point(at).distance(bed)
        if away > FAR:
            notes.append(
                f"{what} lies {away / unit.length:,.0f} {unit.length_name} from the bed; is {key} of the same survey?"
            )
    if site.pump is not None:
        away = Point(site.pump.at).distance(bed)
        if away > FAR:
            notes.append(
                f"the pump lies {away / unit.length:,.0f} {unit.length_name} from the bed; "
                "is pump.at of the same survey?"
            )
        elif bed.buffer(-TOUCHING).contains(Point(site.pump.at)):
            notes.append(
                "the pump stands in the bed, where no trench for its lines can lead out between the runs; move it, "
                "or let the outline go round it"
            )
    return notes
