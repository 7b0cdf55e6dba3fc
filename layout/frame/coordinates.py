"""Between site coordinates and the local plane, both ways."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layout.model import XY, Frame
from layout.plane import Array


def origin_near(points: ArrayLike) -> XY:
    """Choose a local origin for site coordinates: whole units at the corner of their bounding box.

    Parameters
    ----------
    points : (n, 2) array
        [site units].

    Returns
    -------
    tuple of float
        [site units]; the local coordinates of the points are then 0 or more, and small.

    Examples
    --------
    >>> origin_near([[775086.4, 2956520.9], [775100.0, 2956533.2]])
    (775086.0, 2956520.0)
    """
    corner = np.floor(np.min(np.asarray(points, dtype=np.float64), axis=0))
    return float(corner[0]), float(corner[1])


def to_local(frame: Frame, points: ArrayLike) -> Array:
    """Turn site coordinates [site units] into local coordinates [m], shape (n, 2)."""
    site = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    return (site - np.asarray(frame.origin, dtype=np.float64)) * frame.units.length


def to_site(frame: Frame, points: ArrayLike) -> Array:
    """Turn local coordinates [m] into site coordinates [site units], shape (n, 2)."""
    local = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    return np.asarray(frame.origin, dtype=np.float64) + local / frame.units.length


def point_to_site(frame: Frame, point: XY) -> XY:
    """Turn one local point [m] into site coordinates [site units]."""
    x, y = to_site(frame, [point])[0]
    return float(x), float(y)
