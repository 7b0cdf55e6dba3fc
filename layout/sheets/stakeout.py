"""The stake-out for the crew: what is printed of each stake, as a point file, for programs, and in words.

Distances are whole marks of the tape and coordinates are rounded before anything is worked out from them, so every
figure here is exactly what the stake was placed by. Errors are rounded up.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

from layout.frame import to_site
from layout.model import XY, Frame, Rounding, Site, Stake, Staking, Swing
from layout.sheets.delimited import write_rows
from layout.sheets.figures import plain
from layout.stakes import rounding_of

COLUMNS = ("point", "northing", "easting", "elevation", "description")
EIGHTHS = 96
"""Eighths of an inch in a foot."""

Json = Any


def decimals_of(staking: Staking, frame: Frame) -> int:
    """How many decimals coordinates are printed with: what they are rounded to."""
    return max(round(-math.log10(staking.grain / frame.units.length)), 0)


def write_points(staking: Staking, frame: Frame, path: Path) -> None:
    """Write the points as comma-separated values for a receiver or an instrument: northing before easting.

    Heights that are not known stay empty. Descriptions hold no commas or quotes, for many receivers take neither, and
    lines end as RFC 4180 has it.
    """
    decimals = decimals_of(staking, frame)
    rows: list[tuple[object, ...]] = [COLUMNS]
    for stake, (x, y) in zip(staking.stakes, _places(staking, frame), strict=True):
        north, east = (Decimal(_plain(value, decimals)) for value in (y, x))
        height = "" if stake.height is None else Decimal(_plain(stake.height / frame.units.length, decimals))
        rows.append((stake.number, north, east, height, stake.description))
    write_rows(path, rows, end="\r\n")


def _places(staking: Staking, frame: Frame) -> list[list[float]]:
    found: list[list[float]] = to_site(frame, [stake.at for stake in staking.stakes]).tolist()
    return found


def _plain(value: float, decimals: int) -> str:
    return plain(value, decimals, thousands=False)


# --- for programs ---------------------------------------------------------------------------------------


def stake_entries(staking: Staking, frame: Frame) -> list[dict[str, Json]]:
    """Every stake as it is printed, in site units: coordinates rounded, distances as tapes are read, errors up."""
    decimals, unit = decimals_of(staking, frame), frame.units.length
    return [
        {
            "point": stake.number,
            "x": round(x, decimals),
            "y": round(y, decimals),
            "z": None if stake.height is None else round(stake.height / unit, decimals),
            "run": stake.run or None,
            "station": None if stake.station is None else _clean(stake.station / unit),
            "description": stake.description,
            "kind": stake.kind,
            "baseline": {
                "station": _clean(stake.baseline.station / unit),
                "offset": _clean(stake.baseline.offset / unit),
                "error": _up(stake.baseline.error, frame),
            },
            **_ties(stake.swing, frame),
        }
        for stake, (x, y) in zip(staking.stakes, _places(staking, frame), strict=True)
    ]


def _ties(swing: Swing | None, frame: Frame) -> dict[str, Json]:
    if swing is None:
        return {"ties": [], "side": None, "crossing": None, "ties_error": None}
    places = to_site(frame, [tie.at for tie in swing.ties]).tolist()
    return {
        "ties": [
            {
                "name": tie.name,
                "at": [_clean(x), _clean(y)],
                "distance": _clean(tie.distance / frame.units.length),
            }
            for tie, (x, y) in zip(swing.ties, places, strict=True)
        ],
        "side": swing.side,
        "crossing": round(math.degrees(swing.crossing), 1),
        "ties_error": _up(swing.error, frame),
    }


def staking_entry(site: Site, staking: Staking) -> dict[str, Json]:
    """What all stakes share: the baseline, what distances and coordinates are rounded to, in site units."""
    frame = site.frame
    ends = to_site(frame, staking.baseline).tolist()
    return {
        "baseline": {
            "from": [_clean(value) for value in ends[0]],
            "to": [_clean(value) for value in ends[1]],
            "given": staking.given,
        },
        "rounding": rounding_of(site.stakeout, frame),
        "step": _clean(staking.step / frame.units.length),
        "decimals": decimals_of(staking, frame),
    }


def _clean(value: float) -> float:
    """A figure of few decimals without what the change of units left behind them."""
    return round(value, 9) + 0.0


def _up(error: float, frame: Frame) -> float:
    """An error in site units, rounded up to what coordinates are printed to."""
    decimals = 3 if frame.units.word == "m" else 2
    scaled = error / frame.units.length * 10.0**decimals
    return round(math.ceil(scaled - 1e-6) / 10.0**decimals, decimals)


# --- in words -------------------------------------------------------------------------------------------


def taped(value: float, rounding: Rounding, frame: Frame) -> str:
    """A rounded distance [m] as it is read on the tape: ``12.35``, or ``12' 4 3/8"`` where that is the tape's way."""
    length = value / frame.units.length
    if rounding != "1/8 in":
        return _plain(length, 2)
    eighths = round(abs(length) * EIGHTHS)
    feet, rest = divmod(eighths, EIGHTHS)
    inches, part = divmod(rest, 8)
    fraction = f" {Fraction(part, 8)}" if part else ""
    return f"{'-' if eighths and length < 0 else ''}{feet}' {inches}{fraction}\""


def place_words(at: XY, staking: Staking, frame: Frame) -> str:
    """A point [m] in site coordinates, to the decimals of the stakes: ``(E 512.40, N 1033.75)``."""
    x, y = (_plain(value, decimals_of(staking, frame)) for value in to_site(frame, [at])[0])
    return f"(E {x}, N {y})"


def offset_words(stake: Stake, rounding: Rounding, frame: Frame) -> str:
    """The offset of a stake with its side: ``7.35 R``; without one on the baseline."""
    offset = stake.baseline.offset
    side = "" if round(offset / frame.units.length, 6) == 0 else " R" if offset > 0 else " L"
    return taped(abs(offset), rounding, frame) + side


def error_words(error: float, frame: Frame) -> str:
    """An error [m], rounded up, in site units."""
    return _plain(_up(error, frame), 3 if frame.units.word == "m" else 2)
