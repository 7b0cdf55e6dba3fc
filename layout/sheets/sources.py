"""Keys of the site file in words, for a reviewer who has no site file before them: in sources of limits, in remarks."""

from __future__ import annotations

import re

WORDS = {
    "bed.clearance": "clearance",
    "bed.levels": "levels of the ground",
    "bed.outline": "edge of the bed",
    "bed.smooth": "smoothing of the outline",
    "design.dose_volumes": "least dose",
    "design.filter_loss": "loss of filters and meter",
    "design.flow": "design flow",
    "design.flow_band": "allowance for readings of flow",
    "design.flush_velocity": "velocity of flushing",
    "design.friction": "law of friction",
    "design.least_pitch": "least fall of returns",
    "design.loading": "loading",
    "design.smoothness": "smoothness of pipes",
    "design.water_temperature": "temperature of the water",
    "feature.inside": "word on what stands in the bed",
    "feature.kind": "kind of the feature",
    "feature.name": "name of the feature",
    "feature.setback": "setback",
    "feature.shape": "shape of the feature",
    "laterals.longest": "longest lateral allowed",
    "laterals.runs": "number of runs to a lateral",
    "manifold.end": "end of the manifolds",
    "manifold.offset": "offset of the manifolds",
    "manifold.return_diameter": "diameter of the return",
    "manifold.supply_diameter": "diameter of the supply",
    "pump.at": "place of the pump",
    "pump.curve": "pump's curve",
    "pump.level": "liquid level",
    "runs.closest": "least gap",
    "runs.first": "distance to the first run",
    "runs.guide": "line to follow",
    "runs.most": "greatest number of runs",
    "runs.pattern": "pattern",
    "runs.shortest": "shortest run",
    "runs.sides": "sides to follow",
    "runs.spacing": "run spacing",
    "runs.widest": "widest gap",
    "stakeout.baseline": "baseline",
    "stakeout.interval": "distance from stake to stake",
    "stakeout.laid_within": "distance that tubing may be laid from the plan",
    "stakeout.rounding": "rounding of tapes",
    "stakeout.ties": "fixed points",
    "stakeout.tolerance": "mid-ordinate between stakes",
    "survey.crs": "reference system",
    "survey.drawing_units": "units of drawings",
    "tubing.bend_radius": "tightest bend",
    "tubing.coil": "length of a coil",
    "tubing.compensating": "kind of emitters",
    "tubing.emitter_exponent": "exponent of the emitters",
    "tubing.emitter_flow": "flow of one emitter",
    "tubing.emitter_pressure": "pressure of the emitters' flow",
    "tubing.emitter_spacing": "emitter spacing",
    "tubing.inside_diameter": "bore of the tubing",
    "tubing.pressure_range": "pressure range",
    "zones.count": "number of zones",
    "zones.lines": "lines of zones",
    "zones.most_flow": "greatest flow of a zone",
}
"""By key of the site file, to stand after ``the`` in a sentence."""
SOURCES = {
    "bed.clearance": "clearance stated",
    "design.dose_volumes": "least dose stated",
    "design.flush_velocity": "velocity stated",
    "design.least_pitch": "least fall stated",
    "design.loading": "loading stated",
    "feature.setback": "setback stated",
    "feature.shape": "features as surveyed",
    "laterals.longest": "longest lateral stated",
    "laterals.runs": "runs to a lateral",
    "pump.curve": "the pump's curve, and what the field needs",
    "runs.closest": "least gap stated",
    "runs.shortest": "shortest run stated",
    "runs.widest": "widest gap stated",
    "tubing.bend_radius": "tightest bend stated",
    "tubing.pressure_range": "pressure range stated",
    "zones.most_flow": "greatest flow stated",
}
"""What a limit comes from, by key, where that is said in other words than in a sentence."""
_KEY = re.compile(r"\b[a-z]+\.[a-z_]+\b")
_SET = re.compile(rf'({_KEY.pattern}) = ("[^"]*")')
_FEATURE = re.compile(r'feature\[\d+\] (?=")')
_BEGIN = re.compile(r"(?:^|(?<=[.?!] ))the\b")


def source_in_words(source: str) -> str:
    """Write keys of the site file that a limit comes from in words.

    Examples
    --------
    >>> source_in_words("runs.spacing, less 2 %"), source_in_words("12VAC5-610-955.B.5 (Virginia)")
    ('run spacing, less 2 %', '12VAC5-610-955.B.5 (Virginia)')
    """
    return _KEY.sub(lambda found: SOURCES.get(found[0], WORDS.get(found[0], found[0])), source)


def remark_in_words(remark: str) -> str:
    """Write keys in a remark in words, as parts of its sentences, and features by their names alone.

    Examples
    --------
    >>> remark_in_words('feature[2] "lot line" runs round the bed; see laterals.longest')
    '"lot line" runs round the bed; see the longest lateral allowed'
    >>> remark_in_words('pump.level is off. Draw it and set runs.pattern = "drawn".')
    'The liquid level is off. Draw it and set "drawn" as the pattern.'
    >>> remark_in_words("set for this once, not in the site file: runs.spacing=1.5")
    'set for this once, not in the site file: runs.spacing=1.5'
    """
    said = _SET.sub(lambda found: f"{found[2]} as {found[1]}" if found[1] in WORDS else found[0], remark)
    said = _FEATURE.sub("", said)

    def worded(found: re.Match[str]) -> str:
        typed = said[found.end() : found.end() + 1] == "="  # as on the command line: runs.spacing=1.5
        return found[0] if typed or found[0] not in WORDS else f"the {WORDS[found[0]]}"

    said = _KEY.sub(worded, said)
    return _BEGIN.sub("The", said)
