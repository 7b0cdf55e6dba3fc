"""Which parts of the outline are the bed's long sides and which are its ends, found from its shape alone.

The *trunk* is the longest path through the medial axis of the bed; each of its two tips points at an end.
An end is the stretch of outline there that joins the two sides best: where the sides still run parallel to
each other and the outline then turns. A bed without a long direction gets straight sides from its smallest
enclosing rectangle, and says so.
"""

from layout.sides.box import straight_sides
from layout.sides.find import find_sides

__all__ = ["find_sides", "straight_sides"]
