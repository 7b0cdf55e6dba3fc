"""What was laid, against the plan.

`near` says how shots lie beside runs, `tracks` which follow each other along one tube, `give` which run each tube is,
`match` puts that together; `measure` and `gaps` say how each run was laid, `told` what is to be said of it.

Trade words: a *shot* is one measured point; a *track* are the shots that follow each other along one tube.
"""

from layout.asbuilt.match import Matched, match_shots, unknown_runs
from layout.asbuilt.measure import measure_runs
from layout.asbuilt.told import asbuilt_checks, asbuilt_findings, judged, whole_shift

__all__ = [
    "Matched",
    "asbuilt_checks",
    "asbuilt_findings",
    "judged",
    "match_shots",
    "measure_runs",
    "unknown_runs",
    "whole_shift",
]
