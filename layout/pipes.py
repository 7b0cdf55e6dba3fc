"""Inside diameters of pipe by nominal size."""

from __future__ import annotations

from layout.units import INCH

SCHEDULE_40: dict[float, float] = {
    0.5: 0.622,
    0.75: 0.824,
    1.0: 1.049,
    1.25: 1.380,
    1.5: 1.610,
    2.0: 2.067,
    2.5: 2.469,
    3.0: 3.068,
    4.0: 4.026,
}
"""Nominal bore by nominal size [in]: outside diameter less twice the least wall of Schedule 40 PVC (ASTM D1785)."""
METRIC: dict[float, float] = {
    15.0: 0.5,
    20.0: 0.75,
    25.0: 1.0,
    32.0: 1.25,
    40.0: 1.5,
    50.0: 2.0,
    65.0: 2.5,
    80.0: 3.0,
    100.0: 4.0,
}
"""Nominal size [in] by the metric size of the same pipe [mm] (DN, ISO 6708; from memory)."""
FIT = 0.01
"""What a stated size may differ from a nominal one and still be it, as a share."""


def bore(nominal: float) -> float:
    """Inside diameter of a pipe [m].

    Parameters
    ----------
    nominal : float
        Nominal size [m]: in inches, or metric.

    Returns
    -------
    float
        Nominal bore of Schedule 40; of a size that this has not, the size itself.

    Examples
    --------
    >>> round(bore(1.0 * INCH) / INCH, 3), round(bore(0.025) / INCH, 3), bore(0.020 / 3)
    (1.049, 1.049, 0.006666666666666667)
    """
    inside = _listed(nominal)
    return nominal if inside is None else inside


def nominal(size: float, *, metric: bool) -> float:
    """The figure of a size [m] in the other series, in mm or inches: of a listed one that of the same pipe.

    Examples
    --------
    >>> nominal(1.25 * INCH, metric=True), nominal(0.032, metric=False)
    (32.0, 1.25)
    """
    for mm, inches in METRIC.items():
        if metric and abs(size - inches * INCH) <= FIT * inches * INCH / 4:
            return mm
        if not metric and abs(size - mm / 1000) <= FIT * mm / 4000:
            return inches
    return size * 1000 if metric else size / INCH


def is_listed(nominal: float) -> bool:
    """Whether the bore of a nominal size [m] is known."""
    return _listed(nominal) is not None


def _listed(nominal: float) -> float | None:
    for size, inside in SCHEDULE_40.items():
        if abs(nominal - size * INCH) <= FIT * size * INCH / 4:
            return inside * INCH
    for metric, size in METRIC.items():
        if abs(nominal - metric / 1000) <= FIT * metric / 4000:
            return SCHEDULE_40[size] * INCH
    return None
