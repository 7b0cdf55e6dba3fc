"""What a field is built of, counted from the items of its layout."""

from layout.takeoff.count import count_parts
from layout.takeoff.items import FITTINGS, ITEMS, PAINT, PIPE, WASTE, Item, base_item, is_sized, not_counted

__all__ = [
    "FITTINGS",
    "ITEMS",
    "PAINT",
    "PIPE",
    "WASTE",
    "Item",
    "base_item",
    "count_parts",
    "is_sized",
    "not_counted",
]
