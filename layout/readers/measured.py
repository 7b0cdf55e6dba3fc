"""A survey of what was laid: points or drawn lines of any survey file, as shots on the plan of a site."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely
from shapely import LineString

from layout.errors import Fault, FrameError, ReadError
from layout.frame import from_plan, to_local, to_plan, to_site
from layout.frame.crs import horizontal_crs
from layout.model import Shot, Site, site_place
from layout.plane import Array, coordinates, distances
from layout.readers.document import shortened
from layout.readers.geographic import on_plan
from layout.readers.mapfile import map_features
from layout.readers.points import (
    Faults,
    PointTable,
    bytes_of,
    decoded,
    read_points,
    split_name,
)

MOST_SHOTS = 50_000
"""More points than this are not matched."""
THINNED = 0.005
"""Drawn lines lose corners that they need for no more than this [m]."""
NEAR = 3.0
"""Of a survey of this bed something lies within so many of its own sizes."""
BESIDE, FEW, MANY, NONE = 2.0, 0.5, 0.8, 0.02
"""Points no farther from the bed than two row spacings lie in it; where under half of them do, and four fifths would
the other way round or in another unit, they are meant that way."""
_REMEDY = "Are they of this site, in its units and coordinates? Name another system with --crs."


def read_measured(
    name: str, site: Site, *, crs: str | None = None
) -> tuple[tuple[Shot, ...], tuple[str, ...]]:
    """Read measured points.

    Parameters
    ----------
    name : str
        A survey file, with what is wanted of it behind a ``#`` where not all of it is: ``laid.csv``, ``laid.dxf#PIPE``.
    site : Site
    crs : str, optional
        The projected CRS that the points are in, where it is not the site's.

    Returns
    -------
    shots : tuple of Shot
        In the order of the file.
    notes : tuple of str
        What was assumed.

    Raises
    ------
    ReadError
        With every fault of the file, or where its points are nowhere near the bed.
    FrameError
        Where the CRS is none, or the site has none to bring the points into.
    """
    path, part = _found(name)
    table, lines, factor = _table(path, part, site)
    notes = list(table.notes)
    if crs is None:
        table = on_plan(table, site.frame)
    else:
        table, said = _from_other(table, crs, site, factor)
        notes.append(said)
    points = to_local(site.frame, table.xy)
    _refuse_far(points, table, site)
    return _shots(points, table, lines), tuple(notes)


def _found(name: str) -> tuple[Path, str]:
    """The file, and what is wanted of it."""
    path = Path(name)
    if path.is_file():
        return path, ""
    shown, part = split_name(name)
    return Path(shown), part


def _table(path: Path, part: str, site: Site) -> tuple[PointTable, tuple[int, ...], float]:
    """All points of a file; the drawn line that each is of; what a drawing's coordinates were multiplied by."""
    suffix = path.suffix.lower()
    if suffix == ".dxf":
        return _drawn(path, part, site)
    if suffix in {".geojson", ".json"}:
        return *_mapped(path, part), 1.0
    table = read_points(path, shown=str(path), part=part)
    line = 0 if suffix == ".txt" else -1
    return table, (line,) * len(table.xy), 1.0


# --- drawings and maps ------------------------------------------------------------------------------------


def _drawn(path: Path, layer: str, site: Site) -> tuple[PointTable, tuple[int, ...], float]:
    """Points, places of blocks and corners of lines of a drawing; the layer of each is its description."""
    from layout.readers.cad.contents import Drawing

    bytes_of(path, str(path))
    drawing = Drawing(path, name=str(path), units=site.frame.units)
    if layer and not drawing.has(layer):
        said = f"there is no layer {shortened(layer, 40)} in it"
        raise ReadError(Fault(file=str(path), said=said, remedy=f"It has: {drawing.listing()}."))
    items, inserts = drawing.items(layer)
    rows: list[tuple[Array, int, str, str]] = []
    count = 0
    for piece in drawing.flat([item for item in items if not item.block]).pieces:
        points = _thinned(piece.points[:, :2], THINNED / drawing.scale.metres)
        line = count if len(points) > 1 else -1
        count += len(points) > 1
        rows.append((points, line, piece.item.label, piece.item.layer))
    rows += [(drawing.insertion(item)[None, :2], -1, item.label, item.layer) for item in inserts]
    if not rows:
        said = "there are no points, blocks or lines in it" + (f" on layer {layer}" if layer else "")
        raise ReadError(Fault(file=str(path), said=said, remedy=f"It has: {drawing.listing()}."))
    xy = np.vstack([points for points, _, _, _ in rows]) * drawing.scale.factor
    said_of = [(line, label, of) for points, line, label, of in rows for _ in range(len(points))]
    table = PointTable(
        xy=tuple((float(x), float(y)) for x, y in xy),
        z=(None,) * len(xy),
        places=tuple(label for _, label, _ in said_of),
        file=str(path),
        notes=drawing.notes,
        descriptions=tuple(of for _, _, of in said_of),
    )
    return table, tuple(line for line, _, _ in said_of), drawing.scale.factor


def _thinned(points: Array, tolerance: float) -> Array:
    return coordinates(shapely.simplify(LineString(points), tolerance)) if len(points) > 2 else points


def _mapped(path: Path, part: str) -> tuple[PointTable, tuple[int, ...]]:
    """Points and corners of lines of a map; the names of a feature are its description."""
    name = str(path)
    faults = Faults(name)
    features = map_features(decoded(bytes_of(path, name), name), faults)
    faults.stop()
    wanted = [
        feature
        for feature in features
        if not part or part.casefold() in {text.casefold() for text in (*feature.names, *feature.words)}
    ]
    pieces = [(feature, piece) for feature in wanted for piece in feature.pieces]
    if not pieces:
        said = f'no feature is named "{shortened(part, 40)}"' if part else "the file holds no shapes"
        raise ReadError(Fault(file=name, said=said, remedy="Export the measured points or lines into it."))
    rows = []
    for number, (feature, piece) in enumerate(pieces):
        corners = piece.points[:-1] if piece.kind == "area" else piece.points
        line = -1 if piece.kind == "point" else number
        words = " ".join(dict.fromkeys([*feature.names, *feature.words]))
        single = len(corners) == 1
        for place, corner in enumerate(corners, start=1):
            where = piece.label if single else f"{piece.label}, position {place}"
            rows.append((corner[:2], line, where, words))
    table = PointTable(
        xy=tuple(at for at, _, _, _ in rows),
        z=(None,) * len(rows),
        places=tuple(where for _, _, where, _ in rows),
        file=name,
        geographic=True,
        descriptions=tuple(words for _, _, _, words in rows),
    )
    return table, tuple(line for _, line, _, _ in rows)


# --- onto the plan ----------------------------------------------------------------------------------------


def _from_other(table: PointTable, crs: str, site: Site, factor: float) -> tuple[PointTable, str]:
    """Bring points of another CRS onto the site's plan."""
    found = horizontal_crs(crs)
    if isinstance(found, Fault):
        raise FrameError(replace(found, field="--crs"))
    if table.geographic:
        said = "it is in longitude and latitude already, so it is in no projected CRS"
        raise ReadError(Fault(file=table.file, said=said, remedy="Leave --crs out."))
    if site.frame.crs is None:
        said = f"points in {crs} cannot be brought onto the plan, for where that lies on earth is not known"
        remedy = "State survey.crs in the site file, or give the points in the plan's own coordinates."
        raise FrameError(Fault(file=table.file, field="--crs", said=said, remedy=remedy))
    plan = to_plan(site.frame.crs, from_plan(crs, np.asarray(table.xy) / factor))
    lost = np.flatnonzero(~np.isfinite(plan).all(axis=1))
    if len(lost):
        x, y = table.xy[lost[0]]
        said = f"({x:.2f}, {y:.2f}) is out of reach of {crs}"
        remedy = "Check the coordinates, and the CRS."
        raise ReadError(Fault(file=table.file, field=table.places[lost[0]], said=said, remedy=remedy))
    name = Path(table.file).name
    return replace(table, xy=tuple((float(x), float(y)) for x, y in plan), unit=None), (
        f"{name}: coordinates in {crs} are put on {site.frame.plane or site.frame.crs}"
    )


def _refuse_far(points: Array, table: PointTable, site: Site) -> None:
    """Refuse points that are nowhere near the bed, and say what they may be instead."""
    if len(points) > MOST_SHOTS:
        said = f"the file comes to {len(points):,} points; {MOST_SHOTS:,} can be matched"
        raise ReadError(Fault(file=table.file, said=said, remedy="Thin them out, or take the bed in parts."))
    outline = site.bed.outline
    size = max(outline.bounds[2] - outline.bounds[0], outline.bounds[3] - outline.bounds[1])
    away = distances(points, outline)
    unit = site.frame.units
    if (away <= NEAR * size).any():
        by = BESIDE * site.runs.spacing
        inside = float((away <= by).mean())
        guesses = _guesses(points, site, by, MANY, units=inside < NONE)
        remedy = None if inside >= FEW else next(guesses, None)
        if remedy is None:
            return
        worst, on = int(away.argmax()), int((away <= by).sum())
        said = f"only {on:,} of its {len(points):,} points lie in the bed, where all or most were to be"
        raise ReadError(Fault(file=table.file, field=table.places[worst], said=said, remedy=remedy))
    nearest = int(away.argmin())
    x, y = to_site(site.frame, points[nearest : nearest + 1])[0]
    said = (
        f"none of its {len(points):,} points is near the bed: the nearest, at ({x:.2f}, {y:.2f}), lies "
        f"{away[nearest] / unit.length:,.0f} {unit.length_name} away; the bed lies at "
        f"{site_place(site.frame, outline.representative_point().coords[0])}"
    )
    remedy = next(_guesses(points, site, size, 0.5), _REMEDY)
    raise ReadError(Fault(file=table.file, field=table.places[nearest], said=said, remedy=remedy))


def _guesses(points: Array, site: Site, within: float, share: float, *, units: bool = True) -> Iterator[str]:
    """What would bring a share of the points onto the bed, or as near as that [m]: another order, another unit.

    Where the bed lies near the origin a smaller unit brings all that is about it onto it, pipes and tanks, too: no
    unit is guessed where some points lie in it as they are.
    """
    plan = to_site(site.frame, points)
    tries: Sequence[tuple[Array, str]] = (
        (
            plan[:, ::-1],
            "Easting and northing seem to be the other way round: mend the header, or the order.",
        ),
        (plan / 0.3048, "They seem to be in metres: convert them to the site's feet."),
        (plan * 0.3048, "They seem to be in feet: convert them to the site's metres."),
    )
    for tried, remedy in tries if units else tries[:1]:
        if (distances(to_local(site.frame, tried), site.bed.outline) <= within).mean() >= share:
            yield remedy


def _shots(points: Array, table: PointTable, lines: Sequence[int]) -> tuple[Shot, ...]:
    names = table.names or ("",) * len(points)
    words = table.descriptions or ("",) * len(points)
    return tuple(
        Shot(at=(x, y), place=place, name=name, description=said, line=line)
        for (x, y), place, name, said, line in zip(
            points.tolist(), table.places, names, words, lines, strict=True
        )
    )
