"""Manifolds beyond the run ends: `lay` puts them there with their risers, `trench` finds the line they follow."""

from layout.manifolds.lay import BEYOND, STUB, lay_plumbing

__all__ = ["BEYOND", "STUB", "lay_plumbing"]
