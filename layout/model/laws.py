"""The laws that what is laid must keep, as shares of what the user states; the README gives them in words."""

from __future__ import annotations

GAP_LAW = 0.98
"""Least distance between runs side by side, in least gaps."""
BEND_LAW = 0.95
"""Least bend radius of a run, in bend radii of the tubing."""
EDGE_LAW = 0.02
"""What tubing may lie nearer to the bed's edge than its clearance, in row spacings."""
LOOP_LAW = 0.1
"""Least distance from a loop to tubing that it does not tie, in row spacings (judgement of this tool)."""
