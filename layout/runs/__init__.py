"""Runs: lines at an even spacing that follow the bed, cut to the usable ground and held to the laws of a layout.

`guides` prepares the line that runs follow, `fronts` offsets it, `field` spreads runs between two sides,
`trim` cuts them to the ground and enforces the laws, `lay` puts the four together. `carry` leads rows past
obstacles, `through` leads water through necks, and `lobewise` lays a bed with necks lobe by lobe.
"""

from layout.runs.lay import lay_runs
from layout.runs.lobewise import lay_lobes
from layout.runs.through import feed_lobes

__all__ = ["feed_lobes", "lay_lobes", "lay_runs"]
