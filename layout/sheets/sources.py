"""Where limits of checks come from, in words for a reviewer who has no site file before them."""

from __future__ import annotations

import re

WORDS = {
    "bed.clearance": "clearance stated",
    "bed.outline": "edge of the bed",
    "design.dose_volumes": "least dose stated",
    "design.flow": "design flow",
    "design.flush_velocity": "velocity stated",
    "design.least_pitch": "least fall stated",
    "design.loading": "loading stated",
    "feature.setback": "setback stated",
    "feature.shape": "features as surveyed",
    "laterals.longest": "longest lateral stated",
    "pump.curve": "the pump's curve, and what the field needs",
    "runs.closest": "least gap stated",
    "runs.shortest": "shortest run stated",
    "runs.spacing": "run spacing",
    "runs.widest": "widest gap stated",
    "tubing.bend_radius": "tightest bend stated",
    "tubing.emitter_spacing": "emitter spacing",
    "tubing.pressure_range": "pressure range stated",
    "zones.most_flow": "greatest flow stated",
}
"""By key of the site file."""
_KEY = re.compile(r"\b[a-z]+\.[a-z_]+\b")


def source_in_words(source: str) -> str:
    """Write keys of the site file in words.

    Examples
    --------
    >>> source_in_words("runs.spacing, less 2 %"), source_in_words("12VAC5-610-955.B.5 (Virginia)")
    ('run spacing, less 2 %', '12VAC5-610-955.B.5 (Virginia)')
    """
    return _KEY.sub(lambda found: WORDS.get(found[0], found[0]), source)
