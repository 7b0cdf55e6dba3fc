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
STATED = {"in": 1, "ft": 2, "us-ft": 21, "mm": 4, "cm": 5, "m": 6}
"""Codes by the word of `survey.drawing_units`."""
LEAST_LOT = 10.0
"""No lot is drawn smaller than this [m]; where a header would have it so, nobody chose the units in it."""
FAR_OFF = 20.0
"""What lies farther from the origin than so many times its size is in survey coordinates."""
_SITE_NAMES = {"ft": "international feet", "us-ft": "US survey feet", "m": "metres"}
_FEET = 2
_OVERRULE = "if that is wrong, state survey.drawing_units"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """How large a drawing is and how far from its origin [drawing units]."""

    size: float = 0.0
    reach: float = 0.0


def scale_of(code: int, site: UnitSet, *, name: str, extent: Extent, stated: str | None = None) -> Scale:
    """Find how a drawing's units lead to the site's.

    Parameters
    ----------
    code : int
        The drawing's $INSUNITS.
    site : UnitSet
    name : str
        The drawing's, for the note.
    extent : Extent
        For telling what a wrong unit would cost, and whether the header's can be.
    stated : str, optional
        `survey.drawing_units`, which overrules the header.

    Notes
    -----
    Headers are what programs put there by themselves, and often nobody chose them:

    - Feet do not tell which foot: most CAD programs write the same code for both. A site in US survey feet takes such
      coordinates as they are. US survey feet in the header are meant so, and are converted like any other unit.
    - Inches and millimetres are the units of drawings that nobody gave any. They are not believed where the drawing
      would be smaller than any lot, or lies far from its origin: survey grids count in neither.
    """
    own = _SITE_NAMES[site.word]
    if stated is not None:
        code = STATED[stated]
    elif code not in DRAWING_UNITS:
        said = f"states units of the code {code}, which no site is measured in" if code else "states no units"
        return Scale(
            factor=1.0,
            metres=site.length,
            note=f"{name} {said}; it is read as {own}, the site's units; {_OVERRULE}",
        )
    metres, word = DRAWING_UNITS[code]
    factor = metres / site.length
    if factor == 1.0:
        return Scale(factor=1.0, metres=site.length)
    apart = abs(factor - 1.0) * extent.reach
    same_foot = abs(factor - 1.0) < 1e-5
    if stated is None and code == _FEET and same_foot:
        said = (
            f"{name} says feet, but not which; it is read as {own}, the site's units. Were they international feet, it "
            f"would lie {apart:.2f} ft from there; {_OVERRULE}"
        )
        return Scale(factor=1.0, metres=site.length, note=said if apart >= 0.01 else "")
    if stated is None and factor < 0.5 and _unchosen(metres, extent):
        said = f"{name} says {word}, but in {word} it would be too small for a lot, or on a grid that no survey uses"
        return Scale(
            factor=1.0, metres=site.length, note=f"{said}; it is read as {own}, the site's units; {_OVERRULE}"
        )
    moved = f", which moves it by up to {apart:.2f} ft" if same_foot else ""
    note = f"{name} is in {word}, the site in {own}: its coordinates are multiplied by {factor:.10g}{moved}"
    return Scale(factor=factor, metres=metres, note=note if stated else f"{note}; {_OVERRULE}")


def _unchosen(metres: float, extent: Extent) -> bool:
    """Whether a drawing cannot be in the small units that its header says."""
    return extent.size * metres < LEAST_LOT or extent.reach > FAR_OFF * extent.size
