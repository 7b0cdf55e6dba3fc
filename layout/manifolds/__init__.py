"""Manifolds beyond the run ends: `lay` puts them there with their risers, `trench` finds the line they follow."""

from layout.manifolds.checks import setback_check
from layout.manifolds.lay import BEYOND, lay_plumbing
from layout.manifolds.trench import STUB

__all__ = ["BEYOND", "STUB", "lay_plumbing", "setback_check"]
