"""Manifolds beyond the run ends: `lay` puts them there with their risers, `trench` finds the line they follow.

`fronts` and `served` tell which run ends one manifold may serve, `leads` leads those amid the bed to its edge, `checks`
and `crossings` tell what pipes lie in and across.
"""

from layout.manifolds.checks import lead_findings, setback_check
from layout.manifolds.crossings import crossing_checks, crossing_findings
from layout.manifolds.lay import lay_plumbing
from layout.manifolds.served import BEYOND
from layout.manifolds.trench import STUB

__all__ = [
    "BEYOND",
    "STUB",
    "crossing_checks",
    "crossing_findings",
    "lay_plumbing",
    "lead_findings",
    "setback_check",
]
