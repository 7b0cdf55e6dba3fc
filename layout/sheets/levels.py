"""The ground's height beside every point of a sheet's lines, in site units; null where it was not surveyed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from layout.frame import to_local
from layout.model import Site
from layout.terrain import known_heights


def with_heights(entries: Iterable[dict[str, Any]], site: Site) -> list[dict[str, Any]]:
    """The same entries with a list ``z``, one height a point of ``points``; null as a whole without levels.

    Parameters
    ----------
    entries : iterable of dict
        Each with ``points`` in site coordinates.
    site : Site
    """
    made = list(entries)
    if site.bed.levels is None:
        return [{**entry, "z": None} for entry in made]
    walks = [np.asarray(entry["points"], dtype=np.float64).reshape(-1, 2) for entry in made]
    known = known_heights(site.bed.levels, to_local(site.frame, np.vstack(walks))) if walks else []
    unit = site.frame.units.length
    found = iter(None if height is None else height / unit for height in known)
    return [
        {**entry, "z": [next(found) for _ in range(len(walk))]}
        for entry, walk in zip(made, walks, strict=True)
    ]
