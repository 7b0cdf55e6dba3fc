"""What a field is built of, counted from the items of its layout."""

from layout.takeoff.count import count_parts
from layout.takeoff.items import FITTINGS, ITEMS, NOT_COUNTED, PAINT, PIPE, WASTE, Item, base_item, is_sized

__all__ = [
    "FITTINGS",
    "ITEMS",
    "NOT_COUNTED",
    "PAINT",
    "PIPE",
    "WASTE",
    "Item",
    "base_item",
    "count_parts",
    "is_sized",
]
