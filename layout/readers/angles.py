"""Angles as people write them: 45°30'15", 45-30-15, 45 30 15, 45:30:15, 45d30m15s or decimal degrees.

A point always parts whole degrees from a decimal fraction: 45.3015 is 45 degrees and 0.3015 of one, never
45 degrees, 30 minutes, 15 seconds.
"""

from __future__ import annotations

import re

_SAME = (
    ("º˚øØ¡", "°"),  # the last three: the degree sign of old code pages, read in another
    ("′’‘´`", "'"),
    ("″“”„", '"'),
    ("–—−‐‑", "-"),
    ("\N{NO-BREAK SPACE}\N{THIN SPACE}\N{NARROW NO-BREAK SPACE}\t", " "),
)
_TABLE = str.maketrans({char: mark for chars, mark in _SAME for char in chars})
_WORDS = (
    (re.compile(r"(?<=\d)\s*(?:DEGREES?|DEG\.?|D)(?=[\s\d]|$)"), "°"),
    (re.compile(r"(?<=\d)\s*(?:MINUTES?|MIN\.?|M)(?=[\s\d]|$)"), "'"),
    (re.compile(r"(?<=\d)\s*(?:SECONDS?|SEC\.?)(?=[\s\d]|$)"), '"'),
)
_PARTS = re.compile(r"""(\d+(?:\.\d*)?|\.\d+)\s*([°'":\-]?)\s*""")
_NAMES = {"°": 0, "'": 1, '"': 2}
_HEMISPHERES = {"N": 1.0, "E": 1.0, "S": -1.0, "W": -1.0}


def plain(text: str) -> str:
    """Write a text in capitals, with one kind of degree, minute, second, hyphen and space."""
    return " ".join(text.translate(_TABLE).replace("''", '"').upper().split())


def angle(text: str) -> float | None:
    r"""Read an angle.

    Parameters
    ----------
    text : str
        0 or more: degrees, or degrees and minutes, or degrees, minutes and seconds. Only the last part may have
        decimals.

    Returns
    -------
    float or None
        [degrees]; None where it is no angle.

    Examples
    --------
    >>> angle("45°30'15\""), angle("45-30-15"), angle("45.5"), angle("45°75'")
    (45.50416666666667, 45.50416666666667, 45.5, None)
    """
    bare = plain(text)
    for pattern, mark in _WORDS:
        bare = pattern.sub(mark, bare)
    bare = re.sub(r"(?<=\d)S$", '"', bare)
    found: list[float | None] = [None, None, None]
    place, end, last = -1, 0, ""
    for part in _PARTS.finditer(bare):
        if part.start() != end or "." in last:
            return None
        number, mark, end = part[1], part[2], part.end()
        place = _NAMES.get(mark, place + 1)
        if place > 2 or found[place] is not None or any(later is not None for later in found[place:]):
            return None
        found[place] = float(number)
        last = number
    if end != len(bare) or found[0] is None or bare.endswith((":", "-")):
        return None
    degrees, minutes, seconds = found[0], found[1] or 0.0, found[2] or 0.0
    if minutes >= 60 or seconds >= 60:
        return None
    return degrees + minutes / 60 + seconds / 3600


def latitude_or_longitude(text: str) -> float | None:
    r"""Read a latitude or longitude [degrees]: an angle with a sign, or with N, S, E or W before or behind it.

    Examples
    --------
    >>> latitude_or_longitude("-71.06"), latitude_or_longitude("71°03'36\" W")
    (-71.06, -71.06)
    """
    bare = plain(text)
    sign = 1.0
    if bare[:1] in {"+", "-"}:
        sign, bare = (-1.0 if bare[0] == "-" else 1.0), bare[1:]
    elif bare[:1] in _HEMISPHERES:
        sign, bare = _HEMISPHERES[bare[0]], bare[1:]
    elif bare[-1:] in _HEMISPHERES and not re.search(r"'\s*[\d.]+S$", bare):  # 36S are seconds there
        sign, bare = _HEMISPHERES[bare[-1]], bare[:-1]
    found = angle(bare)
    return None if found is None else sign * found


def in_words(degrees: float) -> str:
    """Write an azimuth [degrees] as a quadrant bearing to the second: ``S 68°05'35" W``.

    Rounded first, then split, so that neither 60 seconds nor a wrong quadrant comes out.
    """
    whole = round(degrees * 3600) % (360 * 3600)
    quadrant, within = divmod(whole, 90 * 3600)
    within = within if quadrant in {0, 2} else 90 * 3600 - within
    minutes, seconds = divmod(within, 60)
    first, last = (("N", "E"), ("S", "E"), ("S", "W"), ("N", "W"))[quadrant]
    return f"{first} {minutes // 60}°{minutes % 60:02d}'{seconds:02d}\" {last}"
