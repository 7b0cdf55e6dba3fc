"""A flow as people read it off a meter and a watch: ``20.4 s/gal``, ``3.05 gal/min``, ``10 gal in 3:20``."""

from __future__ import annotations

import re
from datetime import date

from layout.errors import Fault, ReadError
from layout.units import GALLON, HOUR, LITRE, MINUTE

VOLUMES: dict[str, float] = {
    **dict.fromkeys(("gal", "gals", "gallon", "gallons"), GALLON),
    **dict.fromkeys(("l", "litre", "litres", "liter", "liters"), LITRE),
    **dict.fromkeys(("m3", "m³"), 1.0),
    **dict.fromkeys(("ft3", "ft³", "cf"), 0.3048**3),
}
TIMES: dict[str, float] = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1.0),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), MINUTE),
    **dict.fromkeys(("h", "hr", "hour", "hours"), HOUR),
}
SHORT: dict[str, str] = {"gpm": "gal/min", "gph": "gal/h", "lpm": "l/min", "lph": "l/h", "lps": "l/s"}
EXAMPLES = (
    'Write it as "20.4 s/gal", "3.05 gal/min", "53.9 s/10 L", "11.5 L/min" or "10 gal in 3 min 20 s"; '
    "gallons are US gallons."
)
LEAST, MOST = 1e-8, 1.0
"""A field gives some thousandths of a litre a second at least, and no cubic metre [m³/s]."""
_NUMBER = r"\d+(?:\.\d+)?|\.\d+"
_OTHERS: dict[str, str] = {
    r"psi|kpa|bar|pascal": "a pressure",
    r"ft|feet|foot|m|in|inch|mm|cm": "a length or a head",
    r"%|percent|per cent": "a share",
    r"ft / s|m / s|fps": "a velocity",
}


def flow_of(text: str, *, field: str = "--record", file: str = "") -> float:
    """The flow that a reading tells of [m³/s].

    Parameters
    ----------
    text : str
        Time for a volume, volume in a time, or volume over time; decimal point, US gallons.
    field, file : str
        What a fault names.

    Raises
    ------
    ReadError
        With what was found, and how to write it.

    Examples
    --------
    >>> round(flow_of("20.4 s/gal") / flow_of("1 gal/min"), 6)
    2.941176
    >>> flow_of("10 gal in 3:20") == flow_of("200 s per 10 gal") == flow_of("20 s a gallon")
    True
    """

    def refuse(said: str, remedy: str = EXAMPLES) -> ReadError:
        return ReadError(Fault(file=file, field=field, said=f'"{_shown(text)}" {said}', remedy=remedy))

    words = _plain(text)
    if re.search(r"\d,\d", words):
        raise refuse("has a decimal comma", "Write a decimal point, and no commas between thousands.")
    if re.match(r"[-−–]\s*[\d.]", words):
        raise refuse("is under 0, and no flow or time is", "Write what was read, without a sign.")
    if re.search(r"\b(?:imp|imperial|uk)\b", words):
        raise refuse("is in imperial gallons", "Multiply by 1.20095 to have US gallons, or write litres.")
    if re.fullmatch(_NUMBER, words):
        raise refuse("has no unit", f"Say what it is. {EXAMPLES}")
    for units, what in _OTHERS.items():
        if re.fullmatch(rf"(?:{_NUMBER})\s*(?:{units})", words):
            raise refuse(f"is {what}, and a flow is wanted")
    found = _over(words) or _timed(words)
    if found is None:
        raise refuse("is no flow that is understood")
    volume, time = found
    if not (volume > 0 and time > 0):
        raise refuse("is nothing, and a flow is over 0", "Where no water flows there is no reading to keep.")
    flow = volume / time
    if not LEAST <= flow <= MOST:
        raise refuse("is no flow that a field has", f"Look at figure and unit. {EXAMPLES}")
    return flow


def date_of(text: str, *, field: str = "--record", file: str = "") -> date:
    """The day of a reading, as ``2026-05-01``.

    Raises
    ------
    ReadError
    """
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text.strip()):
            raise ValueError(text)
        return date.fromisoformat(text.strip())
    except ValueError:
        raise ReadError(
            Fault(
                file=file,
                field=field,
                said=f'"{_shown(text)}" is no day of the calendar',
                remedy="Write year, month and day with all their digits: 2026-05-01.",
            )
        ) from None


def _plain(text: str) -> str:
    """Lower case, one blank between words, the ways to say *per* made one."""
    words = " ".join(text.lower().replace("\u00a0", " ").split())
    words = re.sub(r"\s*(?:/|\bper\b|\ba\b)\s*", " / ", words)
    # a unit may follow its figure at once: 3.05gpm
    return re.sub(
        r"(?<![a-z])(" + "|".join(SHORT) + r")\b", lambda found: SHORT[found[1]].replace("/", " / "), words
    )


_QUANTITY = re.compile(rf"({_NUMBER})?\s*([a-z³]+3?)")


def _quantity(words: str, units: dict[str, float]) -> float | None:
    """``10 gal``; ``gal`` is one."""
    found = _QUANTITY.fullmatch(words.strip())
    if found is None or found[2] not in units:
        return None
    return float(found[1] or 1.0) * units[found[2]]


def _over(words: str) -> tuple[float, float] | None:
    """``20.4 s / gal``, ``3.05 gal / min``: volume and time."""
    parts = words.split(" / ")
    if len(parts) != 2 or not re.match(r"[\d.]", parts[0]):
        return None
    for first, second, turned in ((VOLUMES, TIMES, False), (TIMES, VOLUMES, True)):
        a, b = _quantity(parts[0], first), _quantity(parts[1], second)
        if turned and a is None:
            a = _clock(parts[0])
        if a is not None and b is not None:
            return (b, a) if turned else (a, b)
    return None


def _timed(words: str) -> tuple[float, float] | None:
    """``10 gal in 3 min 20 s``: volume and time."""
    parts = re.split(r"\s+in\s+", words)
    if len(parts) != 2:
        return None
    volume, time = _quantity(parts[0], VOLUMES), _clock(parts[1])
    return None if volume is None or time is None else (volume, time)


def _clock(words: str) -> float | None:
    """``3:20``, ``3 min 20 s``, ``200 s`` [s]."""
    found = re.fullmatch(r"(\d+):(\d{2}(?:\.\d+)?)(?:\s*(?:min|minutes))?", words.strip())
    if found is not None:
        return MINUTE * int(found[1]) + float(found[2]) if float(found[2]) < MINUTE else None
    parts = re.findall(rf"({_NUMBER})\s*([a-z]+)", words)
    if not parts or re.sub(rf"(?:{_NUMBER})\s*[a-z]+|\s|\band\b|,", "", words):
        return None
    if any(unit not in TIMES for _, unit in parts):
        return None
    return sum(float(figure) * TIMES[unit] for figure, unit in parts)


def _shown(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 60 else line[:59] + "…"
