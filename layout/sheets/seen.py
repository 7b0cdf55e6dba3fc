"""Which marks of the plan show in the window of a view."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon

from layout.sheets.lettering import Lettering
from layout.sheets.marks import Area, Dots, Line, Mark, Text, View

_HAIR = 1e-6


def ground_of(view: View) -> Polygon:
    """The part of the plan in the window of a view [m]."""
    left, bottom, right, top = view.window
    (west, south), (east, north) = view.to_plan([(left, bottom), (right, top)]).tolist()
    ground: Polygon = shapely.box(west, south, east, north)
    return ground


def visible(mark: Mark, view: View) -> bool:
    """Whether a mark of the plan shows in the view's window."""
    window = ground_of(view)
    if isinstance(mark, Line):
        return bool(mark.line.intersects(window))
    if isinstance(mark, Area):
        return bool(mark.shape.intersects(window))
    if isinstance(mark, Dots):
        return bool(np.any(shapely.contains_xy(window, np.asarray(mark.points))))
    return bool(shapely.contains_xy(window, *mark.at))


def near(marks: Sequence[Mark], view: View, *, beyond: float = 3.0) -> list[Mark]:
    """Leave out the marks that lie far from the window, by the way; a text may reach in from `beyond` [in]."""
    west, south, east, north = ground_of(view).buffer(beyond * view.metres_per_inch).bounds
    kept = []
    for mark in marks:
        if isinstance(mark, Line | Area):
            shape = mark.line if isinstance(mark, Line) else mark.shape
            left, bottom, right, top = shape.bounds
        elif isinstance(mark, Dots):
            points = np.asarray(mark.points)
            (left, bottom), (right, top) = points.min(axis=0), points.max(axis=0)
        else:
            (left, bottom), (right, top) = mark.at, mark.at
        if left <= east and right >= west and bottom <= north and top >= south:
            kept.append(mark)
    return kept


def holds(view: View, mark: Text, lettering: Lettering) -> bool:
    """Whether a text of the plan stands whole in the view's window."""
    x, y = view.to_paper([mark.at])[0].tolist()
    low_x, low_y, high_x, high_y = lettering.box(mark, at=(x, y)).bounds
    left, bottom, right, top = view.window
    return bool(
        low_x >= left - _HAIR
        and low_y >= bottom - _HAIR
        and high_x <= right + _HAIR
        and high_y <= top + _HAIR
    )
