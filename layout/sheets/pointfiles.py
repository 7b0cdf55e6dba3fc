"""The stakes as point files of open standards: LandXML 1.2 for instruments and CAD, GPX 1.1 for receivers.

LandXML counts northing before easting, in the site's own foot or metre; GPX latitude and longitude on WGS 84, heights
in metres. Both are written as their published schemas have them, elements and attributes in their order; they are not
validated against the schemas themselves.
"""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as Xml

from layout.errors import Fault, FrameError
from layout.frame import to_degrees, to_site
from layout.model import Design, Site, Staking
from layout.sheets.figures import plain
from layout.sheets.stakeout import decimals_of

LANDXML = "http://www.landxml.org/schema/LandXML-1.2"
GPX = "http://www.topografix.com/GPX/1/1"
CREATOR = "sinuate"
NO_DATE = "2000-01-01"
"""LandXML asks for a date; without one in the site file it is this, so that the same site gives the same file."""
DEGREES = 8
"""Decimals of a degree: under a millimetre and a half."""

_UNITS: dict[str, tuple[str, dict[str, str]]] = {
    "ft": ("Imperial", {"linearUnit": "foot"}),
    "us-ft": ("Imperial", {"linearUnit": "USSurveyFoot"}),
    "m": ("Metric", {"linearUnit": "meter"}),
}
_OTHERS = {
    "Imperial": {
        "areaUnit": "squareFoot",
        "volumeUnit": "cubicFeet",
        "temperatureUnit": "fahrenheit",
        "pressureUnit": "inHG",
        "elevationUnit": "feet",
    },
    "Metric": {
        "areaUnit": "squareMeter",
        "volumeUnit": "cubicMeter",
        "temperatureUnit": "celsius",
        "pressureUnit": "milliBars",
        "elevationUnit": "meter",
    },
}


def write_landxml(design: Design, path: Path) -> None:
    """Write the stakes as LandXML points: northing, easting and, where it is known, elevation."""
    site, staking = design.site, _staking(design)
    frame, unit = site.frame, site.frame.units.length
    decimals = decimals_of(staking, frame)
    root = Xml.Element(
        "LandXML",
        {"xmlns": LANDXML, "version": "1.2", "date": _date(site), "time": "00:00:00", "readOnly": "false"},
    )
    system, linear = _UNITS[frame.units.word]
    units = Xml.SubElement(root, "Units")
    Xml.SubElement(units, system, {**linear, **_OTHERS[system]})
    crs = frame.crs or ""
    if crs:
        code = crs.upper().removeprefix("EPSG:")
        known = {"epsgCode": code} if code.isdecimal() else {"desc": crs}
        Xml.SubElement(root, "CoordinateSystem", known)
    Xml.SubElement(root, "Project", {"name": _plain(site.title), "desc": "stake-out"})
    Xml.SubElement(root, "Application", {"name": CREATOR})
    points = Xml.SubElement(root, "CgPoints")
    places = to_site(frame, [stake.at for stake in staking.stakes])
    for stake, (x, y) in zip(staking.stakes, places.tolist(), strict=True):
        figures = [y, x] + ([] if stake.height is None else [stake.height / unit])
        point = Xml.SubElement(
            points,
            "CgPoint",
            {"name": str(stake.number), "code": stake.run or stake.kind, "desc": stake.description},
        )
        point.text = " ".join(plain(figure, decimals, thousands=False) for figure in figures)
    _write(root, path)


def write_gpx(design: Design, path: Path) -> None:
    """Write the stakes as GPX waypoints.

    Raises
    ------
    FrameError
        Where it is not known where the plan lies on earth.
    """
    site, staking = design.site, _staking(design)
    if site.frame.crs is None:
        said = "GPX holds latitude and longitude, but where the site's plan lies on earth is not known"
        remedy = "State survey.crs, or take the points from stakeout.csv or as LandXML."
        raise FrameError(Fault(file=site.file.name, field="survey.crs", said=said, remedy=remedy))
    root = Xml.Element("gpx", {"xmlns": GPX, "version": "1.1", "creator": CREATOR})
    about = Xml.SubElement(root, "metadata")
    Xml.SubElement(about, "name").text = _plain(site.title)
    Xml.SubElement(
        about, "desc"
    ).text = "Stake-out. Check two known points on site before anything is staked by these."
    degrees = to_degrees(site.frame, [stake.at for stake in staking.stakes])
    for stake, (longitude, latitude) in zip(staking.stakes, degrees.tolist(), strict=True):
        point = Xml.SubElement(
            root, "wpt", {"lat": f"{latitude:.{DEGREES}f}", "lon": f"{longitude:.{DEGREES}f}"}
        )
        if stake.height is not None:
            Xml.SubElement(point, "ele").text = f"{stake.height:.3f}"
        Xml.SubElement(point, "name").text = str(stake.number)
        Xml.SubElement(point, "desc").text = stake.description
    _write(root, path)


def _staking(design: Design) -> Staking:
    if design.staking is None:
        raise ValueError("a design without stakes has no points")
    return design.staking


def _plain(text: str) -> str:
    """A text without the signs that XML cannot hold."""
    return "".join(sign for sign in text if sign.isprintable())


def _date(site: Site) -> str:
    """The date of the drawings, where the site states one as a standard date."""
    stated = site.sheet.date
    parts = stated.split("-")
    standard = [len(part) for part in parts] == [4, 2, 2] and all(part.isdecimal() for part in parts)
    return stated if standard else NO_DATE


def _write(root: Xml.Element, path: Path) -> None:
    Xml.indent(root)
    text = Xml.tostring(root, encoding="unicode")
    path.write_text(f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n', encoding="utf-8", newline="\n")
