"""``sinuate check``: read a site, validate it, say how much ground is usable and what takes the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from cli.options import AsJson, Settings, SiteFile

if TYPE_CHECKING:
    from layout.model import Site, UsableGround


def check(site: SiteFile, json: AsJson = False, settings: Settings = None) -> None:
    """Read and validate a site, report areas; write nothing."""
    from cli import say
    from layout.limits import refuse_too_large
    from layout.readers.sitefile import read_site
    from layout.usable import usable_ground

    with say.working() as stage:
        stage("reading the site")
        read = read_site(site, settings or ())
        refuse_too_large(read)
        stage("usable ground")
        ground = usable_ground(read.bed, read.features, frame=read.frame, file=str(site))
    if json:
        say.document(_document(read, ground))
    else:
        _print(read, ground)


def _document(site: Site, ground: UsableGround) -> dict[str, Any]:
    """Make the JSON document of a check; lengths, areas and coordinates in site units."""
    from layout.checks.ground import needed
    from layout.frame import to_site
    from layout.meant import meant_findings
    from layout.plane import coordinates, polygons_of
    from layout.sheets.grid import grid_entry

    units, wanted = site.frame.units, needed(site)
    takes = {take.feature: take.area for take in ground.takes}
    return {
        "format": "sinuate-check/1",
        "file": str(site.file),
        "title": site.title,
        "units": units.word,
        "crs": site.frame.crs,
        "grid": grid_entry(site),
        "bed": {
            "area": site.bed.outline.area / units.area,
            "outline": to_site(site.frame, coordinates(site.bed.outline)).tolist(),
            "usable_area": ground.area.area / units.area,
            "usable_pieces": len(polygons_of(ground.area)),
            "clearance": site.bed.clearance / units.length,
        },
        "features": [
            {
                "name": feature.name,
                "kind": feature.kind.value,
                "shape": {"Point": "point", "LineString": "line"}.get(feature.shape.geom_type, "area"),
                "setback": feature.setback / units.length,
                "inside": feature.inside,
                "takes": takes.get(feature.name, 0.0) / units.area,
            }
            for feature in site.features
        ],
        "needed": None
        if wanted is None
        else {"ground": wanted[0] / units.area, "tubing": wanted[1] / units.length},
        "findings": [
            {"code": item.code, "said": item.said, "remedy": item.remedy}
            for item in meant_findings(site, ground)
        ],
        "notes": list(site.notes),
    }


def _needs(site: Site, ground: UsableGround) -> list[tuple[str, str, str]]:
    """How much ground and tubing the stated flow needs at the stated loading."""
    from layout.checks.ground import needed
    from layout.sheets.figures import Figures

    wanted, figures, basis = needed(site), Figures(site.frame.units), site.design
    if wanted is None or basis.flow is None or basis.loading is None:
        return []
    units, over = site.frame.units, ground.area.area - wanted[0]
    spare = figures.area_of(abs(over))
    enough = f"usable ground has {spare} to spare" if over >= -1e-6 else f"usable ground LACKS {spare}"
    flow = f"{basis.flow / units.daily_flow:,.4g} {units.daily_flow_name}"
    loading = f"{basis.loading / units.loading:.4g} {units.loading_name}"
    return [
        ("ground needed", figures.area_of(wanted[0]), f"for {flow} at {loading}; {enough}"),
        (
            "tubing needed",
            figures.length_of(wanted[1]),
            f"for that ground, with runs {figures.length_of(site.runs.spacing)} apart",
        ),
    ]


def _extent(site: Site) -> str:
    """Where the bed lies, so that swapped or shifted coordinates are seen: ``E 100.00 to 180.00, N 20.00 to 44.00``."""
    from layout.frame import to_site

    x0, y0, x1, y1 = site.bed.outline.bounds
    (east, north), (east_most, north_most) = to_site(site.frame, [(x0, y0), (x1, y1)])
    return f"E {east:.2f} to {east_most:.2f}, N {north:.2f} to {north_most:.2f}"


def _print(site: Site, ground: UsableGround) -> None:
    from cli import say
    from layout.meant import meant_findings
    from layout.plane import polygons_of
    from layout.sheets.figures import Figures
    from layout.sheets.grid import grid_words

    figures = Figures(site.frame.units)
    bed = site.bed.outline.area
    edge = bed - site.bed.outline.buffer(-site.bed.clearance).area
    pieces = len(polygons_of(ground.area))
    rows = [("bed", figures.area_of(bed), "")]
    rows.append((f"edge, {figures.length_of(site.bed.clearance)} clear", figures.area_of(edge), ""))
    takes = {take.feature: take.area for take in ground.takes}
    for feature in site.features:
        setback = f"{feature.kind.value}, setback {figures.length_of(feature.setback)}"
        rows.append((feature.name, figures.area_of(takes.get(feature.name, 0.0)), setback))
    share = figures.share(ground.area.area / bed)
    whole = f"{share} of the bed" + (f", in {pieces} pieces" if pieces > 1 else "")
    rows.append(("usable ground", figures.area_of(ground.area.area), whole))
    rows += _needs(site, ground)
    say.line(f"{site.title}: the site file is sound.")
    say.table(("", "takes", ""), rows)
    say.line(f"The bed lies in {_extent(site)} {site.frame.units.length_name}.")
    if sum(area > 0 for area in takes.values()) > 1:
        say.line("Ground that two features take is counted for each.")
    grid = grid_words(site)
    if grid is not None:
        say.line(f"Grid: {grid[0]}, {grid[1]} ({grid[2]}).")
    say.look(meant_findings(site, ground))
    say.notes(site.notes)
