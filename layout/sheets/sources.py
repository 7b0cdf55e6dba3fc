"""Keys of the site file in words, for a reviewer who has no site file before them: in sources of limits, in remarks."""

from __future__ import annotations

import re

WORDS = {
    "bed.clearance": "clearance stated",
    "bed.levels": "levels of the ground",
    "bed.outline": "edge of the bed",
    "bed.smooth": "smoothing of the outline",
    "design.dose_volumes": "least dose stated",
    "design.filter_loss": "loss of filters and meter",
    "design.flow": "design flow",
    "design.flush_velocity": "velocity stated",
    "design.least_pitch": "least fall stated",
    "design.loading": "loading stated",
    "feature.setback": "setback stated",
    "feature.shape": "features as surveyed",
    "laterals.longest": "longest lateral stated",
    "laterals.runs": "runs to a lateral",
    "manifold.end": "end of the manifolds",
    "manifold.offset": "offset of the manifolds",
    "manifold.return_diameter": "diameter of the return",
    "manifold.supply_diameter": "diameter of the supply",
    "pump.at": "place of the pump",
    "pump.curve": "the pump's curve, and what the field needs",
    "pump.level": "liquid level",
    "runs.closest": "least gap stated",
    "runs.guide": "line that runs follow",
    "runs.pattern": "pattern",
    "runs.shortest": "shortest run stated",
    "runs.sides": "sides that runs follow",
    "runs.spacing": "run spacing",
    "runs.widest": "widest gap stated",
    "stakeout.baseline": "baseline",
    "stakeout.ties": "fixed points",
    "survey.crs": "reference system",
    "tubing.bend_radius": "tightest bend stated",
    "tubing.coil": "length of a coil",
    "tubing.emitter_flow": "flow of one emitter",
    "tubing.emitter_spacing": "emitter spacing",
    "tubing.inside_diameter": "bore of the tubing",
    "tubing.pressure_range": "pressure range stated",
    "zones.most_flow": "greatest flow stated",
}
"""By key of the site file."""
_KEY = re.compile(r"\b[a-z]+\.[a-z_]+\b")
_FEATURE = re.compile(r'feature\[\d+\] (?=")')


def source_in_words(source: str) -> str:
    """Write keys of the site file in words.

    Examples
    --------
    >>> source_in_words("runs.spacing, less 2 %"), source_in_words("12VAC5-610-955.B.5 (Virginia)")
    ('run spacing, less 2 %', '12VAC5-610-955.B.5 (Virginia)')
    """
    return _KEY.sub(lambda found: WORDS.get(found[0], found[0]), source)


def remark_in_words(remark: str) -> str:
    """Write keys in a remark in words, and features by their names alone.

    Examples
    --------
    >>> remark_in_words('feature[2] "lot line" runs round the bed; see laterals.longest')
    '"lot line" runs round the bed; see longest lateral stated'
    """
    return source_in_words(_FEATURE.sub("", remark))
