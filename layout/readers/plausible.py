"""Figures of the site file that no drip field has, and what to write where another unit makes sense of them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple


class Bounds(NamedTuple):
    """What a key lies between, and what a figure beyond is in all likelihood.

    Attributes
    ----------
    least, most : float
        In the unit that goes with the site; wide enough for all that is made (judgement).
    unit : str
    other : str
        The unit that is often typed instead.
    factor : float
        Of the other unit in the one wanted.
    """

    least: float
    most: float
    unit: str
    other: str
    factor: float


FEET: dict[str, Bounds] = {
    "tubing.inside_diameter": Bounds(0.1, 4.0, "in", "mm", 1 / 25.4),
    "tubing.emitter_flow": Bounds(0.005, 100.0, "gal/h", "L/h", 0.264172),
    "tubing.pressure_range": Bounds(0.0, 250.0, "psi", "kPa", 0.145038),
    "design.flush_velocity": Bounds(0.05, 20.0, "ft/s", "mm/s", 0.00328084),
}
METRES: dict[str, Bounds] = {
    "tubing.inside_diameter": Bounds(2.5, 100.0, "mm", "in", 25.4),
    "tubing.emitter_flow": Bounds(0.02, 400.0, "L/h", "mL/h", 0.001),
    "tubing.pressure_range": Bounds(0.0, 1750.0, "kPa", "Pa", 0.001),
    "design.flush_velocity": Bounds(0.02, 6.0, "m/s", "mm/s", 0.001),
}


def other_units(figures: dict[str, float | None], *, metric: bool) -> Iterator[tuple[str, str, str]]:
    """Look at figures of the site file.

    Parameters
    ----------
    figures : dict
        By key; of a range its greatest. None: left out.
    metric : bool
        Whether the site's units are metres.

    Yields
    ------
    (str, str, str)
        Key, what is said, remedy.

    Examples
    --------
    >>> list(other_units({"tubing.inside_diameter": 14.0}, metric=False))[0][2]
    'Inside diameters are in in: for 14 mm write 0.5512.'
    """
    words = {
        "tubing.inside_diameter": "Inside diameters",
        "tubing.emitter_flow": "Flows of emitters",
        "tubing.pressure_range": "Pressures",
        "design.flush_velocity": "Velocities",
    }
    for key, (least, most, unit, other, factor) in (METRES if metric else FEET).items():
        given = figures.get(key)
        if given is None or least <= given <= most:
            continue
        said = (
            f"{given:g} {unit} is no figure of a drip field, which lies between {least:g} and {most:g} {unit}"
        )
        meant = given * factor
        sense = least <= meant <= most
        hint = f": for {given:g} {other} write {meant:.4g}" if sense else ""
        yield key, said, f"{words[key]} are in {unit}{hint}."
