"""Runs: lines at an even spacing that follow the bed, cut to the usable ground and held to the laws of a layout.

`guides` prepares the line that runs follow, `fronts` offsets it, `field` spreads runs between two sides,
`trim` cuts them to the ground and enforces the laws, `lay` puts the four together.
"""

from layout.runs.lay import lay_runs

__all__ = ["lay_runs"]
