"""The kinds of value a site file may hold: numbers in their bounds, points, lists of them, words.

Values are checked as TOML gives them: true and false are no numbers, and nothing is converted from text.
"""

from __future__ import annotations

import datetime
import itertools
import math
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, PlainValidator
from pydantic_core import PydanticCustomError

from layout.papers import SIZES, ratio_of
from layout.readers.document import shortened
from layout.readers.points import COORDINATE_LIMIT

LENGTH_LIMIT = 1e6
"""No length or figure of a bed is larger [in its unit]."""
FLOW_LIMIT = 1e9
MOST_PLACES = 500
"""Fixed points, and pairs of a pump's curve."""
MOST_LETTERED = 60
"""Characters in a line of the title block."""

XY = tuple[float, float]


def wrong(said: str, remedy: str = "") -> PydanticCustomError:
    """Make an error of our own; the remedy, where none is given, is to write the key as its example."""
    return PydanticCustomError("wrong", "{said}", {"said": said, "remedy": remedy})


def quoted(value: Any) -> str:
    """Show a value of the site file in a message, the way it is written there."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{shortened(value, 40)}"'
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        # what is nested deeper than a point in a list is not shown: it may be nested without end
        inner = ", ".join("[...]" if _is_nested(item) else quoted(item) for item in value[:3])
        return f"[{inner}, ...]" if len(value) > 3 else f"[{inner}]"
    return shortened(_digits(value), 40)


def _is_nested(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(item, list) for item in value)


def _digits(value: Any) -> str:
    try:
        return f"{value:g}" if isinstance(value, float) and value.is_integer() else str(value)
    except ValueError:  # an integer too long to print
        return "a number of thousands of digits"


def figure(value: float) -> str:
    """Write a limit, a number of any unit, in full: 1,000,000 rather than 1e+06."""
    return f"{value:,.0f}" if abs(value) >= 1e5 else f"{value:g}"


def is_number(value: Any) -> bool:
    """Whether a value is a finite number that a double can hold; true and false are none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) <= 1e300 and math.isfinite(value)


# --- kinds of value -------------------------------------------------------------------------------------


def _point(value: Any) -> XY:
    if not isinstance(value, list) or len(value) != 2 or not all(is_number(part) for part in value):
        raise wrong(f"found {quoted(value)}, but it must be a point: [x, y]")
    if max(abs(part) for part in value) > COORDINATE_LIMIT:
        raise wrong(f"found {quoted(value)}, but coordinates go to {figure(COORDINATE_LIMIT)} at most")
    return float(value[0]), float(value[1])


def _shape(value: Any) -> str | list[Any]:
    if isinstance(value, str | list):
        return value
    raise wrong(f"found {quoted(value)}, but it must be a file name or a list of points")


def _levels(value: Any) -> str | list[Any] | float:
    if isinstance(value, str | list):
        return value
    if is_number(value) and abs(value) <= COORDINATE_LIMIT:
        return float(value)
    raise wrong(f"found {quoted(value)}, but it must be a file name or one number")


def _end(value: Any) -> str | XY:
    if isinstance(value, str):
        if value in {"pump", "far"}:
            return value
        raise wrong(f'found {quoted(value)}, but it must be "pump", "far" or a point [x, y]')
    return _point(value)


def _count_or_best(value: Any) -> int | None:
    if value == "best":
        return None
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= LENGTH_LIMIT:
        return value
    raise wrong(f'found {quoted(value)}, but it must be "best" or a whole number, 1 or more')


def _range(value: Any) -> XY:
    if not isinstance(value, list) or len(value) != 2 or not all(is_number(part) for part in value):
        raise wrong(f"found {quoted(value)}, but it must be two numbers: [least, greatest]")
    least, greatest = value
    if least < 0 or greatest > LENGTH_LIMIT:
        raise wrong(f"found {quoted(value)}, but it must lie between 0 and {figure(LENGTH_LIMIT)}")
    if least >= greatest:
        raise wrong(f"found {quoted(value)}, but the first must be less than the second")
    return float(least), float(greatest)


def _curve(value: Any) -> tuple[XY, ...]:
    if not isinstance(value, list) or len(value) < 2:
        raise wrong(f"found {quoted(value)}, but it must be a list of two or more [flow, head]")
    if len(value) > MOST_PLACES:
        raise wrong(f"found {len(value):,} pairs, but {MOST_PLACES} draw any curve")
    pairs = []
    for number, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2 or not all(is_number(part) for part in pair):
            raise wrong(f"pair {number} is {quoted(pair)}, but it must be [flow, head]")
        if min(pair) < 0 or max(pair) > LENGTH_LIMIT:
            raise wrong(
                f"pair {number} is {quoted(pair)}, but both must lie between 0 and {figure(LENGTH_LIMIT)}"
            )
        pairs.append((float(pair[0]), float(pair[1])))
    for number, (before, after) in enumerate(itertools.pairwise(pairs), start=2):
        if after[0] <= before[0]:
            raise wrong(f"the flow of pair {number} is {after[0]:g}, not over the {before[0]:g} before it")
        if after[1] >= before[1]:
            raise wrong(
                f"the head of pair {number} is {after[1]:g}, not under the {before[1]:g} before it: "
                "a pump's head falls as its flow rises"
            )
    return tuple(pairs)


def _band(value: Any) -> float:
    if is_number(value) and 0 < value <= 0.5:
        return float(value)
    said = f"found {quoted(value)}, but it must be a share of one over 0, 0.5 at most"
    if is_number(value) and 1 <= value <= 50:
        raise wrong(said, f"For {value:g} per cent write {value / 100:g}.")
    raise wrong(said)


def _ties(value: Any) -> tuple[tuple[str, XY], ...]:
    if isinstance(value, dict):
        named = list(value.items())
    elif isinstance(value, list):
        named = [(f"T{number}", point) for number, point in enumerate(value, start=1)]
    else:
        raise wrong(f"found {quoted(value)}, but it must be a list of points or a table {{ name = [x, y] }}")
    if len(named) < 2:
        raise wrong(f"found {len(named)} tie point, but swing ties need two or more")
    if len(named) > MOST_PLACES:
        raise wrong(f"found {len(named):,} tie points, but no more than {MOST_PLACES} can be looked through")
    points = [(str(name), _point(point)) for name, point in named]
    first_at: dict[XY, str] = {}
    for name, point in points:
        other = first_at.setdefault(point, name)
        if other != name:
            raise wrong(
                f"{other} and {name} are one point, {quoted(list(point))}", "Name two different points."
            )
    return tuple(points)


def _baseline(value: Any) -> tuple[XY, XY]:
    if not isinstance(value, list) or len(value) != 2:
        raise wrong(f"found {quoted(value)}, but it must be two points: [[x, y], [x, y]]")
    start, end = _point(value[0]), _point(value[1])
    if start == end:
        raise wrong(f"both its points are {quoted(list(start))}", "Name two different points.")
    return start, end


def _printable(text: str) -> str:
    if not text.strip():
        raise wrong("it is empty")
    if not text.isprintable():
        raise wrong(f"{quoted(text)} holds a line break or another character that cannot be printed")
    return text.strip()


def _lettered(value: Any) -> str:
    """One line of a title block; a date of TOML as it is written there."""
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 10**9:
        return str(value)
    if not isinstance(value, str):
        raise wrong(f"found {quoted(value)}, but it must be one line of text in quotes")
    if len(value) > MOST_LETTERED:
        raise wrong(f"the text is {len(value)} characters long, but there is room for {MOST_LETTERED}")
    return _printable(value)


def _paper_size(value: Any) -> str:
    """Name a sheet as the tables of sizes have it, whatever the case and the blanks."""
    known = {name.replace(" ", "").upper(): name for name in SIZES}
    found = known.get("".join(value.split()).upper()) if isinstance(value, str) else None
    if found is None:
        said = f"found {quoted(value)}, but it must be the name of a sheet size"
        raise wrong(said, f"Write one of {', '.join(SIZES)}, or leave it out.")
    return found


def _plot_scale(value: Any) -> str:
    if not isinstance(value, str) or ratio_of(value) is None:
        said = f"found {quoted(value)}, but it must be a standard scale"
        raise wrong(
            said,
            'Write an engineer\'s scale such as "1 in = 20 ft" (10, 20, 30, 40, 50, 60 ft, and these times or over '
            'ten), or a ratio such as "1:200" (1:100, 125, 200, 250, 300, 400, 500, 750, and these times or over '
            "ten), or leave it out.",
        )
    return value


_FINITE: dict[str, Any] = {"strict": True, "allow_inf_nan": False}
Positive = Annotated[float, Field(gt=0, le=LENGTH_LIMIT, **_FINITE)]
ZeroOrMore = Annotated[float, Field(ge=0, le=LENGTH_LIMIT, **_FINITE)]
Share = Annotated[float, Field(ge=0, le=1, **_FINITE)]
PerCent = Annotated[float, Field(ge=0, le=100, **_FINITE)]
Flow = Annotated[float, Field(gt=0, le=FLOW_LIMIT, **_FINITE)]
Level = Annotated[float, Field(ge=-COORDINATE_LIMIT, le=COORDINATE_LIMIT, **_FINITE)]
Printable = AfterValidator(_printable)
Lettered = Annotated[Any, PlainValidator(_lettered)]
PaperSize = Annotated[str, PlainValidator(_paper_size)]
PlotScale = Annotated[str, PlainValidator(_plot_scale)]
Flag = Annotated[bool, Field(strict=True)]
Point = Annotated[XY, PlainValidator(_point)]
Shape = Annotated[Any, PlainValidator(_shape)]
Levels = Annotated[Any, PlainValidator(_levels)]
End = Annotated[Any, PlainValidator(_end)]
CountOrBest = Annotated[Any, PlainValidator(_count_or_best)]
Range = Annotated[Any, PlainValidator(_range)]
Curve = Annotated[Any, PlainValidator(_curve)]
Ties = Annotated[Any, PlainValidator(_ties)]
BaselinePoints = Annotated[Any, PlainValidator(_baseline)]
Count = Annotated[int, Field(ge=1, le=1_000_000, strict=True)]
Kind = Literal[
    "building", "tank", "well", "property line", "water line", "water body", "tree", "drive", "slope", "other"
]
PatternWord = Literal["best", "left", "right", "centre", "even", "drawn", "contour"]
DrawingUnits = Literal["ft", "us-ft", "m", "in", "mm", "cm"]
LinesWord = Literal["own", "trunk"]
RoundingWord = Literal["0.05 ft", "1/8 in", "1 cm"]
FrictionWord = Literal["darcy-weisbach", "hazen-williams"]
Band = Annotated[float, PlainValidator(_band)]
Smoothness = Annotated[float, Field(ge=80, le=160, **_FINITE)]
Temperature = Annotated[float, Field(ge=0, le=212, **_FINITE)]
SidesWord = Literal["outline", "usable ground", "rectangle", "lobes"]
