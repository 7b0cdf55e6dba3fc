"""Details at scales of their own: manifolds, an end loop, a section through a riser, on sheets of their own.

All is drawn from the design's own numbers; what it does not know stays blank.
"""

from layout.sheets.details.pages import detail_pages

__all__ = ["detail_pages"]
