"""What one unit of a drawing is in the site's units, by the drawing's header, and what to say about it.

The codes are those of the header variable $INSUNITS (DXF reference, from memory). The lengths are ours: the
CAD library does not know the US survey foot.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from layout.units import FOOT, INCH, US_SURVEY_FOOT, UnitSet

DRAWING_UNITS: dict[int, tuple[float, str]] = {
    1: (INCH, "inches"),
    2: (FOOT, "feet"),
    3: (5280 * FOOT, "miles"),
    4: (1e-3, "millimetres"),
    5: (1e-2, "centimetres"),
    6: (1.0, "metres"),
    7: (1e3, "kilometres"),
    8: (1e-6 * INCH, "microinches"),
    9: (1e-3 * INCH, "mils"),
    10: (3 * FOOT, "yards"),
    13: (1e-6, "microns"),
    14: (1e-1, "decimetres"),
    15: (1e1, "decametres"),
    16: (1e2, "hectometres"),
    21: (US_SURVEY_FOOT, "US survey feet"),
    22: (US_SURVEY_FOOT / 12, "US survey inches"),
    23: (3 * US_SURVEY_FOOT, "US survey yards"),
    24: (5280 * US_SURVEY_FOOT, "US survey miles"),
}
"""Length [m] and name of a drawing unit, by its code."""
_SITE_NAMES = {"ft": "international feet", "us-ft": "US survey feet", "m": "metres"}
_FEET = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """From a drawing's units to the site's.

    Attributes
    ----------
    factor : float
        Site units in one drawing unit.
    metres : float
        [m] in one drawing unit.
    note : str
        What the user should know of it; empty where drawing and site agree.
    """

    factor: float
    metres: float
    note: str = ""


def drawing_code(doc: Any) -> int:
    """Read the code of a drawing's units; 0 where it states none."""
    try:
        return int(doc.header.get("$INSUNITS", 0))
    except (TypeError, ValueError, OverflowError):
        return 0


def site_word(code: int) -> str | None:
    """The site's word for the units of a drawing, or for the nearest of its kind; None where it states none."""
    if code not in DRAWING_UNITS:
        return None
    exact = {2: "ft", 6: "m", 21: "us-ft"}
    feet, survey = {1, 3, 8, 9, 10}, {22, 23, 24}
    return exact.get(code) or ("ft" if code in feet else "us-ft" if code in survey else "m")


def scale_of(code: int, site: UnitSet, *, name: str, reach: float) -> Scale:
    """Find how a drawing's units lead to the site's.

    Parameters
    ----------
    code : int
        The drawing's $INSUNITS.
    site : UnitSet
    name : str
        The drawing's, for the note.
    reach : float
        Greatest coordinate, for saying what a wrong foot would cost [drawing units].

    Notes
    -----
    A header that says feet does not tell which foot: most CAD programs write the same code for both. A site in US
    survey feet therefore takes such coordinates as they are. US survey feet in the header are meant so, and are
    converted like any other unit.
    """
    same = Scale(factor=1.0, metres=site.length)
    own = _SITE_NAMES[site.word]
    known = DRAWING_UNITS.get(code)
    if known is None:
        said = (
            "states no units"
            if code == 0
            else f"states units of the code {code}, which no site is measured in"
        )
        return Scale(
            factor=1.0, metres=site.length, note=f"{name} {said}; it is read as {own}, the site's units"
        )
    metres, word = known
    if metres == site.length:
        return same
    apart = abs(metres / site.length - 1.0) * reach
    if code == _FEET and site.word == "us-ft":
        if apart < 0.01:
            return same
        said = (
            f"{name} says feet, but not which; it is read as {own}, the site's units. "
            f"Were they international feet, the bed would lie {apart:.2f} ft from there"
        )
        return Scale(factor=1.0, metres=site.length, note=said)
    factor = metres / site.length
    moved = f", which moves it by up to {apart:.2f} ft" if abs(factor - 1.0) < 1e-5 else ""
    note = f"{name} is in {word}, the site in {own}: its coordinates are multiplied by {factor:.10g}{moved}"
    return Scale(factor=factor, metres=metres, note=note)
